//! Hartmann measurements made in `f64`: paraxial rays through a lens, patterns of holes, and the detector's grid.
#![allow(dead_code, reason = "each test file uses its part")]

use super::common::Random;
use dioptric::oracle::{Matrix, SpheroCylinder};
use dioptric::quantity::{Millimetre, Point};
use dioptric::sensor::{Error, Fit, Geometry, SlopeSums, SpotPair};
use std::f64::consts::TAU;

/// One unit of 2^-20: of dioptres, of prism dioptres, of degrees.
pub const UNIT: f64 = 1.0 / 1_048_576.0;
/// One unit of length, 2^-16 mm.
pub const GRID: f64 = 1.0 / 65_536.0;

/// A place in the plane, millimetres.
pub type Place = [f64; 2];

pub fn mm(value: f64) -> Millimetre {
    Millimetre::try_from_f64(value).expect("a length within 32 m")
}

pub fn point([x, y]: Place) -> Point {
    Point::new(mm(x), mm(y))
}

pub fn place(point: Point) -> Place {
    [point.x.to_f64(), point.y.to_f64()]
}

/// The nearest place of the grid.
pub fn on_grid(place: Place) -> Place {
    place.map(|c| (c / GRID).round() * GRID)
}

/// What the spots show.
#[derive(Clone, Copy, Debug)]
pub struct Lens {
    /// Back vertex power, dioptres.
    pub power: Matrix,
    /// Prism on the sensor's axis, prism dioptres.
    pub prism: [f64; 2],
}

impl Lens {
    pub fn new(sphere: f64, cylinder: f64, axis: f64, prism: [f64; 2]) -> Self {
        Self { power: SpheroCylinder { sphere, cylinder, axis }.matrix(), prism }
    }

    /// Any lens: sphere to 25 D, cylinder to 6 D, prism to 20.
    pub fn any(random: &mut Random) -> Self {
        let amount = 20.0 * unit(random);
        let base = TAU * unit(random);
        let prism = [amount * base.cos(), amount * base.sin()];
        Self::new(25.0 * signed(random), 6.0 * signed(random), 180.0 * unit(random), prism)
    }

    /// The largest of both principal powers, with its sign, and the smallest.
    pub fn principal(&self) -> [f64; 2] {
        let form = self.power.sphero_cylinder();
        [form.sphere, form.sphere + form.cylinder]
    }
}

/// From 0 to 1.
pub fn unit(random: &mut Random) -> f64 {
    f64::from(random.u32()) / 4_294_967_296.0
}

/// From -1 to 1.
pub fn signed(random: &mut Random) -> f64 {
    2.0 * unit(random) - 1.0
}

/// Two independent draws of the normal distribution (Box and Muller, "A note on the generation of random normal deviates",
/// Ann. Math. Statist. 29, 1958).
pub fn normal(random: &mut Random) -> [f64; 2] {
    let radius = (-2.0 * (1.0 - unit(random)).ln()).sqrt();
    let (sin, cos) = (TAU * unit(random)).sin_cos();
    [radius * cos, radius * sin]
}

/// Distances behind the back vertex, millimetres on the grid.
#[derive(Clone, Copy, Debug)]
pub struct Bench {
    pub gap: f64,
    pub throw: f64,
}

impl Bench {
    pub fn new(gap: f64, throw: f64) -> Self {
        let [gap, throw] = on_grid([gap, throw]);
        Self { gap, throw }
    }

    pub fn geometry(&self) -> Geometry {
        Geometry::new(mm(self.gap), mm(self.throw)).expect("a geometry in range")
    }

    /// `I - gap F`: from slopes at the plate to slopes at the vertex.
    pub fn step_back(&self, power: Matrix) -> Matrix {
        let g = self.gap / 1000.0;
        Matrix { xx: 1.0 - g * power.xx, xy: -g * power.xy, yy: 1.0 - g * power.yy }
    }

    /// Where the light through a hole lands. It leaves the lens at `r` with slope `prism / 100 - F r / 1000`, and must
    /// cross the plate in the hole: `r + gap slope = hole`.
    pub fn spot(&self, lens: &Lens, hole: Place) -> Place {
        let k = self.step_back(lens.power);
        let [a, b] = [0, 1].map(|i| hole[i] - self.gap * lens.prism[i] / 100.0);
        let r = [(k.yy * a - k.xy * b) / k.det(), (k.xx * b - k.xy * a) / k.det()];
        let bent = lens.power.prism_at(r[0], r[1]);
        [0, 1].map(|i| hole[i] + self.throw * (lens.prism[i] + bent[i]) / 100.0)
    }

    /// The spots of a lens behind holes, `[reference x, y, spot x, y]`, with normal noise of `sigma` millimetres, all on
    /// the detector's grid.
    pub fn spots(&self, lens: &Lens, holes: &[Place], sigma: f64, random: &mut Random) -> Vec<[f64; 4]> {
        let noisy = |hole: &Place| {
            let reference = on_grid(*hole);
            let [x, y] = self.spot(lens, reference);
            let [dx, dy] = if sigma > 0.0 { normal(random) } else { [0.0; 2] };
            let [x, y] = on_grid([x + sigma * dx, y + sigma * dy]);
            [reference[0], reference[1], x, y]
        };
        holes.iter().map(noisy).collect()
    }
}

/// The spots as the crate takes them: exact, being on the grid.
pub fn pairs(spots: &[[f64; 4]]) -> Result<Vec<SpotPair>, Error> {
    let length = |value: f64| Millimetre::try_from_f64(value).map_err(|_| Error::CoordinateRange);
    let at = |x: f64, y: f64| Ok(Point::new(length(x)?, length(y)?));
    spots.iter().map(|&[a, b, c, d]| SpotPair::new(at(a, b)?, at(c, d)?)).collect()
}

pub fn sums(pairs: &[SpotPair]) -> Result<SlopeSums, Error> {
    let mut sums = SlopeSums::default();
    sums.add_all(pairs)?;
    Ok(sums)
}

pub fn fitted(spots: &[[f64; 4]], bench: &Bench) -> Result<Fit, Error> {
    sums(&pairs(spots)?)?.fit(&bench.geometry())
}

/// A square lattice within a circle.
pub fn lattice(pitch: f64, radius: f64) -> Vec<Place> {
    let most = (radius / pitch).floor() as i32;
    let row = |j: i32| (-most..=most).map(move |i| [f64::from(i) * pitch, f64::from(j) * pitch]);
    (-most..=most).flat_map(row).filter(|[x, y]| x.hypot(*y) <= radius).collect()
}

/// Holes evenly on a circle, the first at `start` degrees.
pub fn ring(count: u32, radius: f64, start: f64) -> Vec<Place> {
    let angle = |i: u32| start.to_radians() + TAU * f64::from(i) / f64::from(count);
    (0..count).map(|i| [radius * angle(i).cos(), radius * angle(i).sin()]).collect()
}

/// A hexagon and its middle.
pub fn hexagon(radius: f64) -> Vec<Place> {
    let mut holes = ring(6, radius, 0.0);
    holes.push([0.0, 0.0]);
    holes
}

/// Two rows of five, of that half length and that half distance.
pub fn two_rows(length: f64, distance: f64) -> Vec<Place> {
    let row = |side: f64| (-2..=2).map(move |i| [length * f64::from(i) / 2.0, side * distance]);
    row(-1.0).chain(row(1.0)).collect()
}

/// Holes anywhere within a circle.
pub fn scattered(count: u32, radius: f64, random: &mut Random) -> Vec<Place> {
    let hole = |_| {
        let (r, t) = (radius * unit(random).sqrt(), TAU * unit(random));
        [r * t.cos(), r * t.sin()]
    };
    (0..count).map(hole).collect()
}

/// Flattens a pattern across a direction, turns it there and moves it.
pub fn arranged(holes: &[Place], flattened: f64, direction: f64, [dx, dy]: Place) -> Vec<Place> {
    let (sin, cos) = direction.to_radians().sin_cos();
    let turned = |[x, y]: &Place| [x * cos - y * flattened * sin + dx, x * sin + y * flattened * cos + dy];
    holes.iter().map(turned).collect()
}

/// Ratio of the larger to the smaller principal second moment about the mean: 1 for a round pattern, infinite for a line.
pub fn condition(holes: &[Place]) -> f64 {
    let n = holes.len() as f64;
    let mean = [0, 1].map(|i| holes.iter().map(|h| h[i]).sum::<f64>() / n);
    let moment = |i: usize, j: usize| holes.iter().map(|h| (h[i] - mean[i]) * (h[j] - mean[j])).sum::<f64>();
    let form = Matrix { xx: moment(0, 0), xy: moment(0, 1), yy: moment(1, 1) }.sphero_cylinder();
    let across = form.sphere + form.cylinder;
    if across > 0.0 { form.sphere / across } else { f64::INFINITY }
}

/// Square lattice, few and many holes, flattened almost to a line, off the axis.
pub fn any_holes(random: &mut Random) -> Vec<Place> {
    let size = 1.0 + 5.0 * unit(random);
    let start = 360.0 * unit(random);
    let holes = match random.u32() % 8 {
        0 | 1 => lattice(0.5, size.min(3.0)),
        2 => ring(3, size, start),
        3 => ring(4, size, start),
        4 => hexagon(size),
        5 => two_rows(size, size / 2.0),
        6 => scattered(3, size, random),
        _ => scattered(4 + random.u32() % 40, size, random),
    };
    let flattened = if random.u32() & 1 == 0 { 1.0 } else { (-8.0 * unit(random)).exp2() };
    let moved = if random.u32() & 1 == 0 { [0.0; 2] } else { [8.0 * signed(random), 8.0 * signed(random)] };
    arranged(&holes, flattened, start, moved)
}

/// Throws of 2 to 512 mm, gaps from none to the throw.
pub fn any_bench(random: &mut Random) -> Bench {
    let throw = 2.0 * 256f64.powf(unit(random));
    let gap = if random.u32() & 3 == 0 { 0.0 } else { throw.min(128.0) * unit(random) };
    Bench::new(gap, throw)
}
