//! Prints the instructions of a call of each core function, and what floating point costs for the same job.

#![no_std]
#![no_main]

mod frames;
mod holes;
mod inputs;
mod lenses;
mod light;
mod multifocal;
mod outlines;

use core::{cell::RefCell, sync::atomic::Ordering};

use dioptric::{
    math,
    order::{Measurement, Order},
    prism::{self, Prism},
    quantity::{Axis, Dioptre, Millimetre, Point, PrismDioptre},
    rx::{self, SpheroCylinder},
    sensor::{
        Calibration, CalibrationError, Certified, CompactPair, Coverage, Disc, Drift, Entry, ExpandedUncertainty, Fit,
        Freedom, Geometry, GeometryUncertainty, HigherOrder, LatticeKind, Measurand, PowerMap, RobustFit, RobustLimits,
        SlopeSums, Sources, SpotNoise, SpotPair, TestLens,
    },
    tolerance::{
        ANSI_Z80_1, ANSI_Z80_1_PAIR, Acceptance, Class, ISO_21987, ISO_21987_PAIR, Measured, Ordered, PairClass,
        PairVerdict, Rule, Verdict, judge, judge_pair, shift_for_imbalance,
    },
    vector::{PowerMatrix, PowerVector},
};
use dioptric_embedded::{
    baseline::{double, single},
    count::{self, report},
    finish,
};
use inputs::{Generator, INPUTS, array, inputs};
use panic_semihosting as _;

#[inline(never)]
fn kernels() {
    report("`math::cos_sin`", 1, inputs(Generator::word), math::cos_sin);
    let components = inputs(|generator| (generator.below(1 << 26), generator.word()));
    report("`math::half_components`", 1, components, |(value, turn)| math::half_components(value, turn));
    report("`math::polar`", 1, inputs(|g| (g.signed(), g.signed())), |(x, y)| math::polar(x, y));
    let long = inputs(|generator| u64::from(generator.word()) << 32 | u64::from(generator.word()));
    report("`math::sqrt`", 1, long, math::sqrt);
}

#[inline(never)]
fn algebra() {
    let prescriptions = || inputs(Generator::prescription);
    report("prescription to power vector", 1, prescriptions(), |rx| PowerVector::from(rx));
    report("power vector to prescription", 1, prescriptions().map(PowerVector::from), PowerVector::sphero_cylinder);
    report("transposition", 1, prescriptions(), SpheroCylinder::transposed);
    let with_meridian = inputs(|generator| (generator.prescription().into(), Axis::from_bits(generator.word())));
    report("power along a meridian", 1, with_meridian, |(vector, axis)| PowerVector::power_along(vector, axis));
    report("inverse of a power matrix", 1, prescriptions().map(PowerMatrix::from), PowerMatrix::inverse);
    report("vertex step of 12 mm", 1, prescriptions().map(PowerMatrix::from), stepped);
}

fn stepped(power: PowerMatrix) -> Option<PowerMatrix> {
    power.stepped(Millimetre::from_bits(12 << Millimetre::FRACTION_BITS)).ok()
}

#[inline(never)]
fn prisms() {
    let at_points = inputs(|generator| (PowerMatrix::from(generator.prescription()), generator.point()));
    report("prism at a point (Prentice)", 1, at_points, |(power, point)| power.prism_at(point));
    report("prism to amount and base", 1, inputs(Generator::prism), Prism::resultant);
    let wanted = inputs(|generator| (PowerMatrix::from(generator.prescription()), generator.prism()));
    report("decentration for a prism", 1, wanted, |(power, prism)| prism::decentration(power, prism));
}

/// Two prescriptions to vectors, their sum, and back.
fn round_trip((a, b): (SpheroCylinder, SpheroCylinder)) -> Result<SpheroCylinder, rx::Error> {
    (PowerVector::from(a) + PowerVector::from(b)).sphero_cylinder()
}

#[inline(never)]
fn round_trips() {
    report("round trip", 1, inputs(|g| (g.prescription(), g.prescription())), round_trip);
    report("round trip, `f32` and libm", 1, inputs(|g| (g.single(), g.single())), single::round_trip);
    report("round trip, `f64` and libm", 1, inputs(|g| (g.double(), g.double())), double::round_trip);
}

fn sum(spots: &[Option<SpotPair>; INPUTS]) -> SlopeSums {
    let mut sums = SlopeSums::default();
    for spot in spots.iter().flatten() {
        let _counted = sums.add(*spot);
    }
    sums
}

fn sum_all(spots: &[SpotPair]) -> SlopeSums {
    let mut sums = SlopeSums::default();
    let _counted = sums.add_all(spots);
    sums
}

fn sum_compact(spots: &[CompactPair]) -> SlopeSums {
    let mut sums = SlopeSums::default();
    let _counted = sums.add_compact(spots);
    sums
}

#[inline(never)]
fn sums_a_spot() {
    const PARTS: u32 = INPUTS as u32;
    let spots = array(Generator::spot);
    report("fit, a spot by itself", PARTS, [&spots], sum);
    if let Some(first) = spots[0] {
        report("fit, a spot of a slice", PARTS, [&spots.map(|spot| spot.unwrap_or(first))[..]], sum_all);
    }
    let spots = array(Generator::compact_spot);
    if let Some(first) = spots[0] {
        report("fit, a compact spot", PARTS, [&spots.map(|spot| spot.unwrap_or(first))[..]], sum_compact);
    }
}

/// The baselines apart, so that their stack does not add up.
#[inline(never)]
fn float_sums_a_spot() {
    report("fit, a spot, `f32`", INPUTS as u32, [&array(Generator::single_spot)[..]], single::sum);
    report("fit, a spot, `f64`", INPUTS as u32, [&array(Generator::double_spot)[..]], double::sum);
}

fn geometry() -> Option<Geometry> {
    let millimetres = |whole: i32| Millimetre::from_bits(whole << Millimetre::FRACTION_BITS);
    Geometry::new(millimetres(5), millimetres(20)).ok()
}

fn solution((sums, geometry): (SlopeSums, Geometry)) -> Option<Fit> {
    sums.fit(&geometry).ok()
}

#[inline(never)]
fn fits() {
    let Some(geometry) = geometry() else { return };
    // Sums that grow spot by spot, from enough for a fit on: so the inputs vary.
    let grown = || {
        let mut sums = sum(&array(Generator::spot));
        inputs(Generator::spot).flatten().map(move |spot| {
            let _counted = sums.add(spot);
            (sums, geometry)
        })
    };
    report("fit, solution", 1, grown(), solution);
    report("fit, optical centre", 1, grown().filter_map(solution), |fit| fit.centre());
    report("fit, standard uncertainties", 1, grown().filter_map(solution), |fit| fit.uncertainty());
    report("uncertainty budget, expanded", 1, grown().filter_map(solution), budget);
    report("uncertainty budget, shares of one result", 1, grown().filter_map(solution), shares);
    calibrations(grown().filter_map(solution), geometry);
}

/// Noise and geometry known, effective degrees of freedom.
fn sources() -> Sources {
    let geometry = GeometryUncertainty {
        gap: Millimetre::from_bits(2000),
        throw: Millimetre::from_bits(1000),
        freedom: Freedom::new(10),
        ..GeometryUncertainty::default()
    };
    Sources { geometry, ..Sources::default() }
}

fn budget(fit: Fit) -> Option<ExpandedUncertainty> {
    Some(fit.budget(&sources())?.expanded(Coverage::Percent95))
}

fn shares(fit: Fit) -> Option<Entry> {
    fit.budget(&sources())?.entry(Measurand::Sphere)
}

/// The usual number of test lenses.
const TEST_LENSES: usize = 10;

fn test_lens((fit, certified): (Fit, Certified)) -> Result<TestLens, CalibrationError> {
    TestLens::new(&fit, certified, SpotNoise::Residual)
}

fn calibration((lenses, geometry): (&[TestLens], Geometry)) -> Result<Calibration, CalibrationError> {
    Calibration::of(lenses, geometry)
}

fn check((found, lenses): (&Calibration, &[TestLens])) -> Result<Drift, CalibrationError> {
    found.check(lenses)
}

/// Spheres of 5 to 25 D of either sign.
fn calibrations(fits: impl Iterator<Item = Fit>, geometry: Geometry) {
    let certified = Certified::Power { power: SpheroCylinder::default(), uncertainty: Dioptre::from_bits(1 << 13) };
    report("calibration: a test lens", 1, fits.map(|fit| (fit, certified)), test_lens);
    let lens = |at: usize| {
        let whole = 5 * (at as i32 / 2 + 1);
        let power = Dioptre::from_bits(if at % 2 == 0 { whole } else { -whole } << Dioptre::FRACTION_BITS);
        let power = SpheroCylinder::from_sphere(power).ok()?;
        let certified = Certified::Power { power, uncertainty: Dioptre::from_bits(1 << 13) };
        let mut sums = SlopeSums::default();
        for spot in array(|generator| generator.spot_of(power.into(), geometry)).into_iter().flatten() {
            sums.add(spot).ok()?;
        }
        TestLens::new(&sums.fit(&geometry).ok()?, certified, SpotNoise::Residual).ok()
    };
    let lenses: [Option<TestLens>; TEST_LENSES] = core::array::from_fn(lens);
    let Some(first) = lenses[0] else { return };
    let lenses = lenses.map(|lens| lens.unwrap_or(first));
    report("calibration of 10 test lenses", 1, [(&lenses[..], geometry)], calibration);
    let Ok(found) = Calibration::of(&lenses, geometry) else { return };
    report("calibration: check with 1 test lens", 1, [(&found, &lenses[..1])], check);
}

/// The usual pattern: a square lattice within a circle.
const FRAME: usize = 113;

/// A lens of +5 D at the plate with noise of half a micrometre, and a number of spots 1 mm astray.
fn frame(astray: usize) -> [SpotPair; FRAME] {
    // Four of each of the 64: more than two a spot.
    let mut noise = inputs(|generator| [(); 4].map(|()| generator.below(64) - 32)).flatten();
    let mut holes = (-6..=6i32).flat_map(|j| (-6..=6i32).map(move |i| (i, j))).filter(|(i, j)| i * i + j * j <= 36);
    core::array::from_fn(|at| {
        let (i, j) = holes.next().unwrap_or((0, 0));
        let mut spot = |hole: i32| hole - hole / 10 + noise.next().unwrap_or(0) + if at < astray { 1 << 16 } else { 0 };
        let (x, y) = (i << 15, j << 15);
        let point = |x, y| Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        SpotPair::new(point(x, y), point(spot(x), spot(y))).unwrap_or_default()
    })
}

fn robust((pairs, geometry): (&[SpotPair; FRAME], Geometry)) -> Option<RobustFit> {
    RobustFit::of(pairs, &geometry, &RobustLimits::default()).ok()
}

fn higher_order((disc, pairs, geometry): (Disc, &[SpotPair; FRAME], Geometry)) -> Option<HigherOrder> {
    disc.higher_order(pairs, &geometry).ok()
}

const CELLS: usize = 81;

type Sums<'a> = RefCell<&'a mut [SlopeSums]>;

fn map_sums((map, sums, pairs, geometry): (&PowerMap, &Sums, &[SpotPair; FRAME], Geometry)) -> bool {
    map.add_all(&mut sums.borrow_mut(), pairs, &geometry).is_ok()
}

fn map_fits((map, sums, geometry): (&PowerMap, &Sums, Geometry)) -> usize {
    let sums = sums.borrow();
    map.of_sums(&sums, &geometry).map_or(0, |cells| cells.filter(|cell| cell.fit.is_ok()).count())
}

#[inline(never)]
fn robust_fits() {
    let Some(geometry) = geometry() else { return };
    let (clean, astray) = (frame(0), frame(11));
    report("robust fit of 113 clean spots", 1, [(&clean, geometry)], robust);
    report("robust fit of 113 spots, 11 of them astray", 1, [(&astray, geometry)], robust);
}

/// Discs of 2 mm, 0.6 mm apart, over 6 mm.
#[inline(never)]
fn maps() {
    let (Some(geometry), pairs) = (geometry(), frame(0)) else { return };
    let Ok(disc) = Disc::new(Point::ORIGIN, Millimetre::from_bits(1 << 16)) else { return };
    let Ok(map) = PowerMap::new(LatticeKind::Square, disc, 9, 9, Millimetre::from_bits(39_322)) else { return };
    let mut sums = [SlopeSums::default(); CELLS];
    let sums = RefCell::new(&mut sums[..]);
    report("map of 9 x 9 cells, sums of 113 spots", 1, [(&map, &sums, &pairs, geometry)], map_sums);
    report("map of 9 x 9 cells, fits", 1, [(&map, &sums, geometry)], map_fits);
}

#[inline(never)]
fn wavefronts() {
    let (Some(geometry), pairs) = (geometry(), frame(0)) else { return };
    let Ok(disc) = Disc::new(Point::ORIGIN, Millimetre::from_bits(7 << 15)) else { return };
    report("wavefront to the fourth order of 113 spots", 1, [(disc, &pairs, geometry)], higher_order);
}

fn verdict((class, ordered, measured): (&Class, Ordered, Measured)) -> Verdict {
    judge(class, &ordered, &measured, Rule::Simple)
}

#[inline(never)]
fn verdicts() {
    let lenses = |class: &'static Class| {
        inputs(Generator::order_and_lens).map(move |(ordered, measured)| (class, ordered, measured))
    };
    report("verdict, ISO 21987", 1, lenses(&ISO_21987), verdict);
    report("verdict, ANSI Z80.1", 1, lenses(&ANSI_Z80_1), verdict);
    let pairs =
        |class: &'static PairClass| inputs(Generator::pair).map(move |(order, measured)| (class, order, measured));
    report("verdict on a pair, ISO 21987", 1, pairs(&ISO_21987_PAIR), verdict_on_pair);
    report("verdict on a pair, ANSI Z80.1", 1, pairs(&ANSI_Z80_1_PAIR), verdict_on_pair);
    let imbalances = inputs(|generator| (PowerMatrix::from(generator.prescription()), generator.prism()));
    report("least shift for an imbalance", 1, imbalances, |(power, surplus)| {
        shift_for_imbalance(power, surplus, [PrismDioptre::from_bits(1 << 19); 2])
    });
}

fn verdict_on_pair((class, order, measured): (&PairClass, Order, Measurement)) -> Option<PairVerdict> {
    judge_pair(class, &order, &measured, Acceptance::Simple).ok()
}

#[cortex_m_rt::exception]
fn SysTick() {
    let wraps = count::WRAPS.load(Ordering::SeqCst);
    count::WRAPS.store(wraps.wrapping_add(1), Ordering::SeqCst);
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let Some(peripherals) = cortex_m::Peripherals::take() else { finish() };
    count::start(peripherals.SYST);
    kernels();
    algebra();
    prisms();
    round_trips();
    sums_a_spot();
    float_sums_a_spot();
    fits();
    robust_fits();
    maps();
    wavefronts();
    frames::frames();
    multifocal::multifocals();
    lenses::all();
    light::all();
    outlines::all();
    holes::holes();
    verdicts();
    finish()
}
