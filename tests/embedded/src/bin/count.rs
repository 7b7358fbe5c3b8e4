//! Prints the instructions of a call of each core function, and what floating point costs for the same job.

#![no_std]
#![no_main]

use dioptric::{
    math,
    prism::{self, Prism},
    quantity::{Axis, Dioptre, Millimetre, Point, PrismDioptre},
    rx::{self, SpheroCylinder},
    sensor::{CompactPair, Geometry, SlopeSums, SpotPair},
    tolerance::{ANSI_Z80_1, ISO_21987, Measured, Ordered, Rule, judge},
    vector::{PowerMatrix, PowerVector},
};
use dioptric_embedded::{
    baseline::{double, single},
    count::{self, report},
    finish,
};
use panic_semihosting as _;

const INPUTS: usize = 64;

/// xorshift32 (Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8(14), 2003): the same inputs everywhere.
struct Generator(u32);

impl Generator {
    fn word(&mut self) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        self.0
    }

    /// Below a bound that is far below 2^32.
    fn below(&mut self, bound: u32) -> i32 {
        (self.word() % bound) as i32
    }

    /// Every magnitude equally often, both signs.
    fn signed(&mut self) -> i32 {
        (self.word() as i32) >> (self.word() & 31)
    }
}

fn inputs<T: Copy>(mut one: impl FnMut(&mut Generator) -> T) -> [T; INPUTS] {
    let mut generator = Generator(0x2545_F491);
    core::array::from_fn(|_| one(&mut generator))
}

/// Sphere and cylinder in hundredths of a dioptre, to 10 D and 6 D, in quarters; axis in whole degrees.
fn written(generator: &mut Generator) -> (i32, i32, i32) {
    (25 * (generator.below(81) - 40), -25 * generator.below(25), 1 + generator.below(180))
}

#[inline(never)]
fn kernels() {
    report("`math::cos_sin`", 1, &inputs(Generator::word), math::cos_sin);
    let components = inputs(|generator| (generator.below(1 << 26), generator.word()));
    report("`math::half_components`", 1, &components, |(value, turn)| math::half_components(value, turn));
    report("`math::polar`", 1, &inputs(|g| (g.signed(), g.signed())), |(x, y)| math::polar(x, y));
    let long = inputs(|generator| u64::from(generator.word()) << 32 | u64::from(generator.word()));
    report("`math::sqrt`", 1, &long, math::sqrt);
}

/// The same prescription for the library.
fn prescription((sphere, cylinder, axis): (i32, i32, i32)) -> SpheroCylinder {
    let power = |hundredths| Dioptre::from_thousandths(10 * hundredths).unwrap_or_default();
    let axis = Axis::from_degrees(axis as u16).unwrap_or_default();
    SpheroCylinder::new(power(sphere), power(cylinder), axis).unwrap_or_default()
}

#[inline(never)]
fn algebra() {
    let prescriptions = inputs(|generator| prescription(written(generator)));
    let vectors = prescriptions.map(PowerVector::from);
    report("prescription to power vector", 1, &prescriptions, |rx| PowerVector::from(rx));
    report("power vector to prescription", 1, &vectors, PowerVector::sphero_cylinder);
    report("transposition", 1, &prescriptions, SpheroCylinder::transposed);
    let with_meridian =
        inputs(|generator| (prescription(written(generator)).into(), Axis::from_bits(generator.word())));
    report("power along a meridian", 1, &with_meridian, |(vector, axis)| PowerVector::power_along(vector, axis));
    let matrices = prescriptions.map(PowerMatrix::from);
    report("inverse of a power matrix", 1, &matrices, PowerMatrix::inverse);
    let step = Millimetre::from_bits(12 << Millimetre::FRACTION_BITS);
    report("vertex step of 12 mm", 1, &matrices.map(|matrix| (matrix, step)), |(matrix, step)| matrix.stepped(step));
}

#[inline(never)]
fn prisms() {
    let millimetres =
        |generator: &mut Generator| Millimetre::from_bits((generator.below(40) - 20) << Millimetre::FRACTION_BITS);
    let points = inputs(|generator| {
        let point = Point::new(millimetres(generator), millimetres(generator));
        (PowerMatrix::from(prescription(written(generator))), point)
    });
    report("prism at a point (Prentice)", 1, &points, |(power, point)| power.prism_at(point));
    let component = |generator: &mut Generator| PrismDioptre::from_bits(generator.below(1 << 23) - (1 << 22));
    let prisms = inputs(|generator| Prism::new(component(generator), component(generator)));
    report("prism to amount and base", 1, &prisms, Prism::resultant);
    let wanted = inputs(|generator| {
        let prism = Prism::new(component(generator), component(generator));
        (PowerMatrix::from(prescription(written(generator))), prism)
    });
    report("decentration for a prism", 1, &wanted, |(power, prism)| prism::decentration(power, prism));
}

/// Two prescriptions to vectors, their sum, and back.
fn round_trip((a, b): (SpheroCylinder, SpheroCylinder)) -> Result<SpheroCylinder, rx::Error> {
    (PowerVector::from(a) + PowerVector::from(b)).sphero_cylinder()
}

/// The vectors of two prescriptions, their sum, and back; the same prescriptions in each.
#[inline(never)]
fn round_trips() {
    let pairs = inputs(|generator| (written(generator), written(generator)));
    let double = |(sphere, cylinder, axis): (i32, i32, i32)| -> double::Prescription {
        (f64::from(sphere) / 100.0, f64::from(cylinder) / 100.0, f64::from(axis).to_radians())
    };
    let single = |written| -> single::Prescription {
        let (sphere, cylinder, axis) = double(written);
        (sphere as f32, cylinder as f32, axis as f32)
    };
    report("round trip", 1, &pairs.map(|(a, b)| (prescription(a), prescription(b))), round_trip);
    report("round trip, `f32` and libm", 1, &pairs.map(|(a, b)| (single(a), single(b))), single::round_trip);
    report("round trip, `f64` and libm", 1, &pairs.map(|(a, b)| (double(a), double(b))), double::round_trip);
}

/// Displacements of a lens of +5 D and 20 mm throw, with a little noise.
fn spot(generator: &mut Generator) -> SpotPair {
    let mut pair = || {
        let hole = generator.below(1 << 19) - (1 << 18);
        (hole, hole - hole / 10 + generator.below(64) - 32)
    };
    let (x, y) = (pair(), pair());
    let point = |x, y| Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
    match SpotPair::new(point(x.0, y.0), point(x.1, y.1)) {
        Ok(pair) => pair,
        // Positions stay within 8 mm.
        Err(_) => unreachable!(),
    }
}

fn compact(pair: SpotPair) -> CompactPair {
    let short = |millimetre: Millimetre| (millimetre.to_bits() >> 4) as i16;
    let moved = pair.displacement();
    CompactPair { x: short(pair.reference().x), y: short(pair.reference().y), dx: short(moved.x), dy: short(moved.y) }
}

fn sum(spots: &[SpotPair]) -> SlopeSums {
    let mut sums = SlopeSums::default();
    let _within = sums.add_all(spots);
    sums
}

fn sum_compact(spots: &[CompactPair]) -> SlopeSums {
    let mut sums = SlopeSums::default();
    let _counted = sums.add_compact(spots);
    sums
}

#[inline(never)]
fn measure() {
    let spots = inputs(spot);
    report("fit, a spot", INPUTS as u32, &[&spots[..]], sum);
    report("fit, a compact spot", INPUTS as u32, &[&spots.map(compact)[..]], sum_compact);
    let millimetres = |whole: i32| Millimetre::from_bits(whole << Millimetre::FRACTION_BITS);
    let Ok(geometry) = Geometry::new(millimetres(5), millimetres(20)) else { return };
    // The sample grows spot by spot, so that the inputs vary.
    let mut sums = sum(&spots);
    let grown = spots.map(|spot| {
        let _within = sums.add(spot);
        (sums, geometry)
    });
    report("fit, solution", 1, &grown, |(sums, geometry)| sums.fit(&geometry));
    let Ok(fit) = sums.fit(&geometry) else { return };
    report("fit, optical centre", 1, &[fit], |fit| fit.centre());
    report("fit, standard uncertainties", 1, &[fit], |fit| fit.uncertainty());
}

/// A lens a little off the order, as `MeasuredPower::Vector`: what a sensor gives.
#[inline(never)]
fn verdicts() {
    let lenses = inputs(|generator| {
        let power = prescription(written(generator));
        let mut off = || generator.below(1 << 17) - (1 << 16);
        let vector = PowerVector::from(power);
        let near = |part: Dioptre, by| part + Dioptre::from_bits(by);
        let read = PowerVector { m: near(vector.m, off()), j0: near(vector.j0, off()), j45: near(vector.j45, off()) };
        let prism = Prism::new(PrismDioptre::from_bits(off()), PrismDioptre::from_bits(off()));
        let measured = Measured { power: Some(read.into()), addition: None, prism: Some(prism) };
        (Ordered { power, ..Ordered::default() }, measured)
    });
    report("verdict, ISO 21987", 1, &lenses, |(ordered, measured)| {
        judge(&ISO_21987, &ordered, &measured, Rule::Simple)
    });
    report("verdict, ANSI Z80.1", 1, &lenses, |(ordered, measured)| {
        judge(&ANSI_Z80_1, &ordered, &measured, Rule::Simple)
    });
}

#[inline(never)]
fn float_fits() {
    let spots: [double::Spot; INPUTS] = inputs(|generator| {
        let mut next = || f64::from(generator.below(8000) - 4000) / 1000.0;
        (next(), next(), next(), next())
    });
    report("fit, a spot, `f64`", INPUTS as u32, &[&spots[..]], double::sum);
    let spots = spots.map(|(x, y, u, v)| (x as f32, y as f32, u as f32, v as f32));
    report("fit, a spot, `f32`", INPUTS as u32, &[&spots[..]], single::sum);
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(peripherals) = cortex_m::Peripherals::take() else { finish() };
    count::start(peripherals.SYST);
    kernels();
    algebra();
    prisms();
    round_trips();
    measure();
    verdicts();
    float_fits();
    finish()
}
