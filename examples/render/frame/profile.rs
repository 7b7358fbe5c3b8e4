//! A spot's light, integrated over the pixels.

/// How a spot's light falls off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Profile {
    /// A normal distribution.
    Gaussian,
    /// The diffraction of a round hole, `(2 J1(v) / v)^2`, as wide at half its height as the Gaussian.
    Airy,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    pub column: f64,
    pub row: f64,
    /// Standard deviation of the Gaussian, pixels.
    pub sigma: f64,
    /// Light at the centre, electrons a pixel of area.
    pub height: f64,
}

/// Of `(2 J1(v) / v)^2`: where it is half (by solving it).
const AIRY_HALF: f64 = 1.616_339_948_310_703;
/// `sqrt(2 ln 2)`: where a Gaussian of standard deviation 1 is half.
const GAUSSIAN_HALF: f64 = 1.177_410_022_515_474_7;

/// Standard deviations up to which a spot is drawn: a Gaussian is below 3e-11 there, and the rings of an Airy spot,
/// `8 / (pi v^3)` at most, below 6e-4.
const REACH: f64 = 7.0;
const AIRY_REACH: f64 = 12.0;

/// Points and weights of Gauss and Legendre with four points on a pixel from -1/2 to 1/2: Abramowitz and Stegun, "Handbook of
/// mathematical functions" (1964), table 25.4, from memory.
const POINTS: [(f64, f64); 4] = [
    (-0.430_568_155_797_026_3, 0.173_927_422_568_726_9),
    (-0.169_990_521_792_428_1, 0.326_072_577_431_273_1),
    (0.169_990_521_792_428_1, 0.326_072_577_431_273_1),
    (0.430_568_155_797_026_3, 0.173_927_422_568_726_9),
];

impl Profile {
    const fn reach(self) -> f64 {
        match self {
            Self::Gaussian => REACH,
            Self::Airy => AIRY_REACH,
        }
    }
}

impl Spot {
    /// Electrons of every pixel within reach: column, row, electrons.
    pub fn each_pixel(&self, profile: Profile, width: usize, height: usize, mut add: impl FnMut(usize, usize, f64)) {
        let reach = profile.reach() * self.sigma;
        let range = |centre: f64, most: usize| {
            // Casts from float saturate: what lies before the frame starts at 0.
            ((centre - reach).floor() as usize)..((centre + reach).ceil() as usize + 1).min(most)
        };
        for row in range(self.row, height) {
            for column in range(self.column, width) {
                let (x, y) = (column as f64 - self.column, row as f64 - self.row);
                add(column, row, self.height * self.over_pixel(profile, x, y));
            }
        }
    }

    /// Integral over the pixel at this distance from the centre, for a height of 1.
    fn over_pixel(&self, profile: Profile, x: f64, y: f64) -> f64 {
        match profile {
            Profile::Gaussian => {
                let root = self.sigma * 2f64.sqrt();
                let share = |at: f64| (libm::erf((at + 0.5) / root) - libm::erf((at - 0.5) / root)) / 2.0;
                std::f64::consts::TAU * self.sigma * self.sigma * share(x) * share(y)
            }
            Profile::Airy => {
                let scale = AIRY_HALF / (GAUSSIAN_HALF * self.sigma);
                let at = |dx: f64, dy: f64| airy(scale * (x + dx).hypot(y + dy));
                POINTS.iter().flat_map(|(dx, wx)| POINTS.map(|(dy, wy)| wx * wy * at(*dx, dy))).sum()
            }
        }
    }
}

fn airy(v: f64) -> f64 {
    if v < 1e-6 { 1.0 } else { (2.0 * libm::j1(v) / v).powi(2) }
}
