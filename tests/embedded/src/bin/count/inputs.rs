//! The same inputs on every core: lenses as they are ordered, spots as a sensor sees them.

use dioptric::{
    order::{LensKind, LensMeasurement, LensOrder, Measurement, Order},
    prism::Prism,
    quantity::{Axis, Dioptre, Millimetre, Point, PrismDioptre},
    rx::SpheroCylinder,
    sensor::{CompactPair, Geometry, Lattice, PlacedSpot, SpotPair},
    tolerance::{Measured, Ordered},
    vector::{PowerMatrix, PowerVector},
};
use dioptric_embedded::baseline::{double, single};

/// Inputs of a row of the table.
pub const INPUTS: usize = 64;

/// xorshift32 (Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8(14), 2003).
pub struct Generator(u32);

impl Generator {
    pub const fn from_seed(seed: u32) -> Self {
        Self(seed)
    }

    pub const fn new() -> Self {
        Self(0x2545_F491)
    }

    pub fn word(&mut self) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        self.0
    }

    /// Below a bound that is far below 2^32.
    pub fn below(&mut self, bound: u32) -> i32 {
        (self.word() % bound) as i32
    }

    /// Every magnitude equally often, both signs.
    pub fn signed(&mut self) -> i32 {
        (self.word() as i32) >> (self.word() & 31)
    }

    /// Sphere and cylinder in hundredths of a dioptre, to 10 D and 6 D, in quarters; axis in whole degrees.
    fn written(&mut self) -> (i32, i32, i32) {
        (25 * (self.below(81) - 40), -25 * self.below(25), 1 + self.below(180))
    }

    pub fn prescription(&mut self) -> SpheroCylinder {
        let (sphere, cylinder, axis) = self.written();
        let power = |hundredths| Dioptre::from_thousandths(10 * hundredths).unwrap_or_default();
        let axis = Axis::from_degrees(axis as u16).unwrap_or_default();
        SpheroCylinder::new(power(sphere), power(cylinder), axis).unwrap_or_default()
    }

    /// [`Generator::prescription`] in floating point.
    pub fn double(&mut self) -> double::Prescription {
        let (sphere, cylinder, axis) = self.written();
        (f64::from(sphere) / 100.0, f64::from(cylinder) / 100.0, f64::from(axis).to_radians())
    }

    /// [`Generator::prescription`] in single precision.
    pub fn single(&mut self) -> single::Prescription {
        let (sphere, cylinder, axis) = self.double();
        (sphere as f32, cylinder as f32, axis as f32)
    }

    /// To 4 prism dioptres in each component.
    pub fn prism(&mut self) -> Prism {
        let mut component = || PrismDioptre::from_bits(self.below(1 << 23) - (1 << 22));
        Prism::new(component(), component())
    }

    /// To 20 mm from the centre in each coordinate.
    pub fn point(&mut self) -> Point {
        let mut coordinate = || Millimetre::from_bits((self.below(40) - 20) << Millimetre::FRACTION_BITS);
        Point::new(coordinate(), coordinate())
    }

    /// Holes within 4 mm, a lens of +5 D at the plate and 20 mm throw, a little noise. `None`: never.
    pub fn spot(&mut self) -> Option<SpotPair> {
        let mut pair = || {
            let hole = self.below(1 << 19) - (1 << 18);
            (hole, hole - hole / 10 + self.below(64) - 32)
        };
        let (x, y) = (pair(), pair());
        let point = |x, y| Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        SpotPair::new(point(x.0, y.0), point(x.1, y.1)).ok()
    }

    /// A spot of a lens of that power.
    pub fn spot_of(&mut self, power: PowerMatrix, geometry: Geometry) -> Option<SpotPair> {
        let mut coordinate = || Millimetre::from_bits(self.below(1 << 19) - (1 << 18));
        let hole = Point::new(coordinate(), coordinate());
        let prism = power.stepped(geometry.gap()).ok()?.prism_at(hole);
        let moved = |at: Millimetre, prism: PrismDioptre| {
            let shift = (i64::from(prism.to_bits()) * i64::from(geometry.throw().to_bits()) / 100) >> 20;
            Millimetre::from_bits(at.to_bits() + shift as i32)
        };
        SpotPair::new(hole, Point::new(moved(hole.x, prism.x), moved(hole.y, prism.y))).ok()
    }

    pub fn compact_spot(&mut self) -> Option<CompactPair> {
        let pair = self.spot()?;
        let short = |millimetre: Millimetre| (millimetre.to_bits() >> 4) as i16;
        let (hole, moved) = (pair.reference(), pair.displacement());
        Some(CompactPair { x: short(hole.x), y: short(hole.y), dx: short(moved.x), dy: short(moved.y) })
    }

    /// [`Generator::spot`] for the baseline, which takes displacements.
    pub fn double_spot(&mut self) -> double::Spot {
        let mut pair = || {
            let hole = f64::from(self.below(8000) - 4000) / 1000.0;
            (hole, -hole / 10.0)
        };
        let (x, y) = (pair(), pair());
        (x.0, y.0, x.1, y.1)
    }

    pub fn single_spot(&mut self) -> single::Spot {
        let (x, y, u, v) = self.double_spot();
        (x as f32, y as f32, u as f32, v as f32)
    }

    /// The plate's spots behind a lens of +5 D and +3 D at the plate, axis 45, throw 20 mm, with 2 prism dioptres, in any
    /// order; some are missing, and as many ghosts are there.
    pub fn frame(&mut self, lattice: &Lattice, spots: &mut [PlacedSpot]) {
        for (spot, hole) in spots.iter_mut().zip(lattice.holes()) {
            let place = lattice.place(hole);
            let (x, y) = (place.x.to_bits(), place.y.to_bits());
            let mut landed = |along: i32, across: i32| along - along * 8 / 100 - across * 2 / 100 + self.below(10) - 5;
            let (mut u, mut v) = (landed(x, y) + 26_000, landed(y, x));
            if self.below(16) == 0 {
                (u, v) = (self.below(1 << 19) - (1 << 18), self.below(1 << 19) - (1 << 18));
            }
            let point = Point::new(Millimetre::from_bits(u), Millimetre::from_bits(v));
            *spot = PlacedSpot::new(point, 1000 + self.below(100) as u32);
        }
        for last in (1..spots.len()).rev() {
            spots.swap(last, self.below(last as u32 + 1) as usize);
        }
    }

    /// A lens a little off what was ordered, as a sensor gives it.
    pub fn order_and_lens(&mut self) -> (Ordered, Measured) {
        let power = self.prescription();
        let mut off = || self.below(1 << 17) - (1 << 16);
        let mut near = |part: Dioptre| part + Dioptre::from_bits(off());
        let vector = PowerVector::from(power);
        let read = PowerVector { m: near(vector.m), j0: near(vector.j0), j45: near(vector.j45) };
        let prism = Prism::new(PrismDioptre::from_bits(off()), PrismDioptre::from_bits(off()));
        let measured = Measured { power: Some(read.into()), addition: None, prism: Some(prism) };
        (Ordered { power, ..Ordered::default() }, measured)
    }

    /// One bifocal of a pair, with its height and thickness, and what was measured of it: so much prism off that some pairs fail.
    fn bifocal(&mut self) -> (LensOrder, LensMeasurement) {
        let (Ordered { power, prism, addition }, mut optics) = self.order_and_lens();
        optics.prism = optics.prism.map(|prism| prism + prism + prism + prism);
        let length = |tenths: i32| Some(Millimetre::from_bits((tenths << Millimetre::FRACTION_BITS) / 10));
        let order = LensOrder {
            kind: LensKind::Multifocal,
            power,
            prism,
            addition,
            near_centration: length(300),
            height: length(180),
            centre_thickness: length(20),
            ..LensOrder::default()
        };
        let measured = LensMeasurement {
            optics,
            near_centration: length(295 + self.below(10)),
            height: length(175 + self.below(10)),
            centre_thickness: length(18 + self.below(5)),
            ..LensMeasurement::default()
        };
        (order, measured)
    }

    /// A pair of bifocals a little off what was ordered.
    pub fn pair(&mut self) -> (Order, Measurement) {
        let ((right, of_right), (left, of_left)) = (self.bifocal(), self.bifocal());
        let order = Order { right: Some(right), left: Some(left) };
        (order, Measurement { right: of_right, left: of_left })
    }
}

/// [`INPUTS`] inputs; each call starts over.
pub fn inputs<T>(mut one: impl FnMut(&mut Generator) -> T) -> impl Iterator<Item = T> {
    let mut generator = Generator::new();
    (0..INPUTS).map(move |_| one(&mut generator))
}

/// [`INPUTS`] of one kind in a row, as a function that takes a slice wants them.
pub fn array<T: Copy>(mut one: impl FnMut(&mut Generator) -> T) -> [T; INPUTS] {
    let mut generator = Generator::new();
    core::array::from_fn(|_| one(&mut generator))
}
