//! Logs a value of every public type with `defmt`; `run logtext` decodes it on the host and compares it with
//! `logtext.out`: what a person sees in the log is the trade's notation.

#![no_std]
#![no_main]

use core::panic::PanicInfo;

use cortex_m_semihosting::debug;
use defmt::info;
use defmt_semihosting as _;
use dioptric::{
    axis, bearing, cubic_millimetres, degrees, density, dioptres, fraction,
    lens::{self, EdgedLens, Line, Material, OutlineError, Surface, ThickLens, Tilt, WornLens, WornPair},
    micrometres, milligrams, millimetres, nanometres,
    order::{LensMeasurement, LensOrder, Measurement, Order},
    prism::{self, Eye, Prism},
    prism_dioptres,
    quantity::{self, AbbeNumber, Axis, Dioptre, Millimetre, Point, RefractiveIndex},
    rx::{self, SpheroCylinder, Step},
    sensor::{
        self, Addition, AdditionBasis, AdditionSurface, AssignError, Belongs, Calibration, CalibrationError, Cell,
        Certified, CompactPair, Component, Corridor, Coverage, Detector, DetectorError, Disc, Extra, FinderError, Fit,
        FoundMark, FoundSpot, Freedom, Geometry, GeometryUncertainty, GradientSums, HigherOrderError, HigherOrderSums,
        Hole, ImagePlace, Knot, Lattice, LatticeError, LatticeKind, MapError, Measurand, Orientation, PlacedFrame,
        PlacedSpot, Plate, PolariserSums, Polarity, Portion, PortionSeeds, Portions, Pose, PowerMap, ProgressiveError,
        ProgressiveLayout, Reference, Rejected, Resolution, RobustError, RobustFit, RobustLimits, RoundTopSums,
        SlopeSums, Sources, SpotLimits, SpotNoise, SpotPair, TestLens, TopLine, Vertex, Wavelength,
        WavelengthCorrection, Zernike,
    },
    shape::{Contour, Motion, SizeTarget},
    text::ParseError,
    tolerance::{
        ANSI_Z80_1_PAIR, Acceptance, Class, Finding, ISO_8598_1, ISO_21987, Limit, Measured, Ordered, POLARISER_AXIS,
        Parameter, Rule, TestReading, Uncertainty, judge, judge_instrument, judge_pair,
    },
    vector::{self, PowerMatrix, PowerVector, Sample},
};
use dioptric_embedded::finish;

#[cortex_m_rt::entry]
fn main() -> ! {
    quantities();
    prescriptions();
    vectors();
    prisms();
    lenses();
    worn();
    shapes();
    fits();
    calibrations();
    multifocals();
    zones();
    light();
    verdicts();
    texts();
    finish()
}

fn quantities() {
    info!("Dioptre {} {} {}", dioptres!(-0.25), dioptres!(0.125), Dioptre::MAX);
    info!("PrismDioptre {} {}", prism_dioptres!(1.5), prism_dioptres!(-0.004));
    info!("Millimetre {} {}", millimetres!(-12.5), millimetres!(0.0));
    info!("Micrometre {}", micrometres!(0.045));
    info!("Degree {} {}", degrees!(-11.25), degrees!(180.0));
    info!("Fraction {} {}", fraction!(0.85), fraction!(-0.001));
    info!("Nanometre {}", nanometres!(546.074));
    info!("CubicMillimetre {}", cubic_millimetres!(4250.5));
    info!("Density {}", density!(1.32));
    info!("Milligram {}", milligrams!(5610.75));
    info!("AbbeNumber {}", AbbeNumber::MOST);
    info!("Axis {} {} {}", axis!(0.0), axis!(35.4), Axis::VERTICAL);
    info!("Bearing {} {}", bearing!(7.0), bearing!(359.6));
    info!("RefractiveIndex {}", RefractiveIndex::AIR);
    info!("Point {}", Point::new(millimetres!(-4.0), millimetres!(2.25)));
    info!("quantity::Error {}", quantity::Error::AxisRange);
}

fn prescriptions() {
    let prescription = SpheroCylinder::new(dioptres!(-2.25), dioptres!(-1.5), axis!(35.0)).unwrap_or_default();
    info!("SpheroCylinder {} {}", prescription, SpheroCylinder::from_sphere(dioptres!(-3.0)));
    info!("CrossedCylinders {}", prescription.crossed());
    info!("Step {}", Step::Quarter);
    info!("rx::Error {}", rx::Error::PowerRange);
}

fn vectors() {
    let vector = PowerVector { m: dioptres!(-3.0), j0: dioptres!(0.125), j45: dioptres!(-0.5) };
    info!("PowerVector {}", vector);
    let matrix = PowerMatrix::from(vector);
    info!("PowerMatrix {}", matrix);
    info!("FocalMatrix {}", PowerMatrix { xx: dioptres!(4.0), xy: dioptres!(0.0), yy: dioptres!(-5.0) }.inverse());
    info!("vector::Error {}", vector::Error::FocusInStep);
    let mut sample = Sample::default();
    sample.add(vector);
    sample.add(-vector);
    info!("Sample {}", sample);
    info!("Covariance {}", sample.covariance());
}

fn prisms() {
    let prism = Prism::new(prism_dioptres!(1.5), prism_dioptres!(-0.5));
    let vertical = |amount| Prism::new(prism_dioptres!(0.0), amount);
    let (up, down) = (vertical(prism_dioptres!(2.0)), vertical(prism_dioptres!(-0.75)));
    info!("Prism {}, {}, {}, {}", prism, up, down, Prism::ZERO);
    info!("EyePrism {}, {}", prism.of(Eye::Right), prism.of(Eye::Left));
    let horizontal = Prism::new(prism_dioptres!(1.0), prism_dioptres!(0.0));
    info!("EyePrism {}, {}, {}", horizontal.of(Eye::Left), up.of(Eye::Left), Prism::ZERO.of(Eye::Right));
    // Inside what derives its text.
    info!("Some {}", Some(down));
    info!("Eye {}", Eye::Right);
    let cylinder = PowerMatrix { xx: dioptres!(0.0), xy: dioptres!(0.0), yy: dioptres!(2.0) };
    info!("NoPower {}", prism::decentration(cylinder, prism));
}

fn lenses() {
    let (front, back) = (axis!(180.0), axis!(45.0));
    let surface =
        |sphere, cylinder, axis| PowerMatrix::from(SpheroCylinder::new(sphere, cylinder, axis).unwrap_or_default());
    let (front, back) =
        (surface(dioptres!(8.0), dioptres!(-2.0), front), surface(dioptres!(-3.0), dioptres!(-1.0), back));
    let lens = ThickLens::new(front, back, Surface::CLOCK_INDEX, millimetres!(5.0));
    info!("ThickLens {}", lens);
    info!("Surface {}", lens.map(|lens| lens.front()));
    info!("EquivalentPower {}", lens.and_then(|lens| lens.equivalent_power()));
    info!("Material {}", Material::nearest(Surface::CLOCK_INDEX));
    info!("lens::Error {}", lens::Error::FocusInside);
    info!("ToricCurves {}", lens.and_then(|lens| lens.front().curves()));
    let place = |x: Millimetre| Point::new(x, millimetres!(0.0));
    let edged = lens.and_then(|lens| EdgedLens::new(lens, place(millimetres!(2.0)), Prism::ZERO));
    info!("EdgedLens {}", edged);
    let outline = [place(millimetres!(2.0)), place(millimetres!(22.0))];
    info!("Edge {}", edged.map(|edged| edged.edge(outline)));
    info!("OutlineError {}", OutlineError::Empty);
}

fn worn() {
    info!("Tilt {}", Tilt::worn(degrees!(10.0), degrees!(5.0), Eye::Right));
    info!("Tilt {}", Tilt::framed(degrees!(10.0), degrees!(5.0), Eye::Left));
    info!("Tilt {}", Tilt::about(axis!(35.0), degrees!(12.5)));
    let power = |sphere| PowerMatrix { xx: sphere, xy: dioptres!(0.0), yy: sphere };
    let right = WornLens { power: power(dioptres!(-5.0)), ..WornLens::default() };
    let pair = WornPair { right, left: WornLens::default() };
    let reading = Point::new(millimetres!(2.0), millimetres!(-10.0));
    info!("WornPair {}", pair);
    info!("Imbalance {}", pair.imbalance(reading));
    info!("SlabOff {}", pair.slab_off(reading));
    let seen = lens::power_factor(power(dioptres!(5.0)), millimetres!(40.0));
    info!("Magnification {}", seen);
    info!("PrincipalMagnification {}", seen.and_then(|seen| seen.principal()));
}

/// Where a lens of +5.00 D at the plate, throw 20 mm, puts four spots: moved by a tenth of their distance.
const SPOTS: [[Millimetre; 4]; 4] = [
    [millimetres!(2.0), millimetres!(0.0), millimetres!(1.8), millimetres!(0.0)],
    [millimetres!(-2.0), millimetres!(0.0), millimetres!(-1.8), millimetres!(0.0)],
    [millimetres!(0.0), millimetres!(2.0), millimetres!(0.0), millimetres!(1.8)],
    [millimetres!(0.0), millimetres!(-2.0), millimetres!(0.0), millimetres!(-1.8)],
];

fn shapes() {
    let radii = [millimetres!(25.0); 64];
    let contour = Contour::new(&radii);
    info!("Boxing {}", contour.map(|contour| contour.boxing()));
    info!("Bends {}", contour.map(|contour| contour.bends(4)));
    info!("Motion {}", Motion::new(degrees!(1.5), Point::new(millimetres!(2.0), millimetres!(-0.5))));
    let target = SizeTarget { circumference: millimetres!(160.0), apex: millimetres!(0.5), sphere: None };
    info!("SizeTarget {}", target);
    info!("shape::Error {}", Contour::new(&radii[1..]));
}

fn fits() {
    let mut sums = SlopeSums::default();
    for [x, y, u, v] in SPOTS {
        let pair = SpotPair::new(Point::new(x, y), Point::new(u, v));
        info!("SpotPair {}", pair);
        let added = pair.and_then(|pair| sums.add(pair));
        info!("added {}", added);
    }
    info!("CompactPair {}", CompactPair { x: 1, y: -2, dx: 3, dy: -4 });
    info!("SlopeSums {}", sums);
    let geometry = Geometry::new(millimetres!(0.0), millimetres!(20.0));
    info!("Geometry {}", geometry);
    let fit = geometry.and_then(|geometry| sums.fit(&geometry));
    info!("Fit {}", fit);
    if let Ok(fit) = fit {
        info!("Centre {}", fit.centre());
        info!("StandardUncertainty {}", fit.uncertainty());
        uncertainties(&fit);
    }
    info!("sensor::Error {}", sensor::Error::Collinear);
    info!("Disc {}", Disc::new(Point::ORIGIN, millimetres!(3.0)));
    info!("SpotLimits {}", SpotLimits::spots(8));
    info!("Polarity {}", Polarity::DarkOnBright);
    info!("FoundSpot {}", FoundSpot { x: 9 << 15, y: 3 << 15, area: 4, ..FoundSpot::default() });
    info!("Rejected {}", Rejected { too_small: 1, ..Rejected::default() });
    info!("FinderError {}", FinderError::TooManyRuns);
    holes();
}

fn holes() {
    let axis = ImagePlace { x: 320 << 16, y: 240 << 16 };
    info!("Detector {}", Detector::new(3_450_000, axis, Orientation::Mirrored));
    info!("DetectorError {}", DetectorError::PlaceRange);
    let plate = Plate {
        kind: LatticeKind::Hexagonal,
        pitch: millimetres!(0.5),
        origin: Point::ORIGIN,
        rotation: degrees!(3.0),
        centre: Point::ORIGIN,
        radius: millimetres!(1.0),
        marker: Some(Hole::new(1, 0)),
    };
    info!("LatticeError {}", LatticeError::TooFewHoles);
    let Ok(lattice) = Lattice::new(plate) else { return };
    info!("Lattice {}", lattice);
    let mut spots = [PlacedSpot::new(Point::ORIGIN, 1000); 19];
    for (spot, hole) in spots.iter_mut().zip(lattice.holes()) {
        *spot = PlacedSpot::new(lattice.place(hole), if plate.marker == Some(hole) { 2000 } else { 1000 });
    }
    let (mut cells, mut places) = ([Cell::EMPTY; 64], [None; 19]);
    let Ok((reference, findings)) = Reference::measure(&lattice, &mut spots, &mut cells, &mut places) else { return };
    info!("Findings {}", findings);
    info!("Mounting {}", reference.mounting());
    let Ok(assignment) = reference.assign(&mut spots, &mut cells) else { return };
    info!("HolePair {}", assignment.pairs().next());
    info!("PlacedSpot {}", PlacedSpot::new(Point::ORIGIN, 1000));
    info!("AssignError {}", AssignError::Ambiguous);
}

fn uncertainties(fit: &Fit) {
    let geometry = GeometryUncertainty { throw: millimetres!(0.02), ..GeometryUncertainty::default() };
    let extra = Extra { sphere: dioptres!(0.01), freedom: Freedom::new(8), ..Extra::default() };
    let correction = WavelengthCorrection::new(nanometres!(850.0), Line::E, AbbeNumber::MOST);
    let wavelength = correction.ok().map(|correction| Wavelength { correction, abbe_half_width: fraction!(1.0) });
    let resolution = Resolution { power: dioptres!(0.01), ..Resolution::default() };
    let sources = Sources { geometry, extra, wavelength, resolution, ..Sources::default() };
    info!("Sources {}", sources);
    if let Some(budget) = fit.budget(&sources) {
        info!("Budget {}", budget);
        info!("ExpandedUncertainty {}", budget.expanded(Coverage::TWO));
        info!("Entry {}", budget.entry(Measurand::Sphere));
        info!("Component {} Coverage {}", Component::GapWithThrow, Coverage::Percent95);
    }
}

/// The frame of a sphere in the plate, whose spots 2 mm from the axis move away from it by so much.
fn frame(moved: Millimetre) -> Result<Fit, sensor::Error> {
    let mut sums = SlopeSums::default();
    let (out, none) = (millimetres!(2.0), Millimetre::ZERO);
    for (x, y, u, v) in
        [(out, none, moved, none), (-out, none, -moved, none), (none, out, none, moved), (none, -out, none, -moved)]
    {
        let reference = Point::new(x, y);
        sums.add(SpotPair::new(reference, reference + Point::new(u, v))?)?;
    }
    sums.fit(&Geometry::new(millimetres!(0.0), millimetres!(20.0))?)
}

fn calibrations() {
    let certified = |power: Dioptre| Certified::Power {
        power: SpheroCylinder::from_sphere(power).unwrap_or_default(),
        uncertainty: dioptres!(0.01),
    };
    let lens = |moved: Millimetre, power: Dioptre| {
        let fit = frame(moved).map_err(|_| CalibrationError::Saturated)?;
        TestLens::new(&fit, certified(power), SpotNoise::Residual)
    };
    let plus = lens(millimetres!(-0.2), dioptres!(5.0));
    info!("TestLens {}", plus);
    let lenses = (plus, lens(millimetres!(0.2), dioptres!(-5.0)), lens(millimetres!(-0.401), dioptres!(10.0)));
    let (Ok(plus), Ok(minus), Ok(strong)) = lenses else { return };
    let Ok(nominal) = Geometry::new(millimetres!(1.0), millimetres!(19.0)) else { return };
    let lenses = [plus, minus, strong];
    info!("CalibrationError {}", Calibration::of(&[plus, plus, plus], nominal));
    let Ok(found) = Calibration::of(&lenses, nominal) else { return };
    info!("Calibration {}", found);
    info!("LensResidual {}", found.residual(&strong));
    info!("Drift {}", found.check(&lenses));
    let mut knots = [Knot::default(); 3];
    info!("CorrectionTable {}", found.power_corrections(&lenses, &mut knots));
}

fn multifocals() {
    let at = |x, y| Point::new(x, y);
    let mark = |x| FoundMark { at: at(x, millimetres!(1.0)), uncertainty: millimetres!(0.01) };
    let marks = [mark(millimetres!(-16.5)), mark(millimetres!(17.5))];
    info!("FoundMark {}", marks);
    info!("Pose {}", Pose::from_marks(&marks, millimetres!(0.2), Vertex::Front));
    info!("PoseError {}", Pose::from_marks(&[], millimetres!(0.2), Vertex::Back));
    info!(
        "ProgressiveLayout {}",
        ProgressiveLayout { near: at(millimetres!(2.5), millimetres!(-14.0)), ..Default::default() }
    );
    info!("ProgressiveError {}", ProgressiveError::NotReached);
    let mut pairs = [SpotPair::default(); SPOTS.len()];
    for (pair, [x, y, u, v]) in pairs.iter_mut().zip(SPOTS) {
        *pair = SpotPair::new(at(x, y), at(u, v)).unwrap_or_default();
    }
    let (Ok(geometry), Ok(area)) =
        (Geometry::new(millimetres!(0.0), millimetres!(20.0)), Disc::new(Point::ORIGIN, millimetres!(0.5)))
    else {
        return;
    };
    let frame = PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &Pose::default() };
    let fits = frame.progressive_fits(&ProgressiveLayout::default(), millimetres!(2.5));
    info!("ProgressiveFits {}", fits);
    let local = frame.fit_at(Point::ORIGIN, millimetres!(2.5));
    info!("LocalFit {}", local);
    if let Ok(local) = local {
        let addition = |vertex| Addition::between(&local, &local, AdditionBasis::NearestVertical, vertex);
        info!("Addition {}", addition(Vertex::Back));
        info!("AdditionError {}", addition(Vertex::Front));
    }
    info!("AdditionSurface {}", AdditionSurface::Front);
    info!("NearPoint {}", frame.find_near_point(&area, millimetres!(0.25), millimetres!(2.5)));
    let corridor = Corridor::new(frame, Point::ORIGIN, Point::ORIGIN, millimetres!(1.0), millimetres!(2.5));
    if let Ok(corridor) = corridor {
        info!("CorridorPoint {}", corridor.profile().next());
        info!("CorridorEnd {}", corridor.end(dioptres!(1.0), dioptres!(4.0), fraction!(0.85)));
        info!("CorridorWidth {}", corridor.width(Point::ORIGIN, PowerVector::ZERO, dioptres!(0.5)));
    }
    let seeds = PortionSeeds { distance: area, intermediate: None, near: area };
    info!("PortionSeeds {}", seeds);
    info!("SegmentError {}", Portions::separate(&pairs, &geometry, &seeds).err());
    info!("Belongs {} {}", Belongs::To(Portion::Near), Belongs::Nowhere);
    let edge = [at(millimetres!(-9.0), millimetres!(-3.0)), at(millimetres!(9.0), millimetres!(-3.0))];
    let line = TopLine::through(&[edge[0], at(millimetres!(0.0), millimetres!(-3.0)), edge[1]]);
    info!("TopLine {}", line);
    if let Ok(line) = line {
        info!("Pose {}", line.pose(at(millimetres!(2.0), millimetres!(-3.0)), Vertex::Back));
    }
    let mut round = RoundTopSums::default();
    for point in edge.into_iter().chain([at(millimetres!(0.0), millimetres!(6.0))]) {
        info!("added {}", round.add(point));
    }
    info!("RoundTopSums {}", round);
    info!("RoundTop {}", round.fit());
}

/// Holes in a lattice of 1 mm, behind +5.00 D at the plate; one spot is in its neighbour's place.
fn stray_frame() -> Result<[SpotPair; 25], sensor::Error> {
    let mut pairs = [SpotPair::default(); 25];
    for (index, pair) in (0i32..).zip(&mut pairs) {
        let (x, y) = ((index % 5 - 2) << 16, (index / 5 - 2) << 16);
        let stray = if index == 7 { 9 * (1 << 16) / 10 } else { 0 };
        let point = |x, y| Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        *pair = SpotPair::new(point(x, y), point(x - x / 10 + stray, y - y / 10))?;
    }
    Ok(pairs)
}

fn zones() {
    let geometry = Geometry::new(millimetres!(0.0), millimetres!(20.0));
    let (Ok(geometry), Ok(pairs)) = (geometry, stray_frame()) else { return };
    info!("RobustLimits {}", RobustLimits::default());
    let robust = RobustFit::of(&pairs, &geometry, &RobustLimits::default());
    info!("RobustFit {}", robust);
    if let Ok(robust) = robust {
        info!("FitQuality {}", robust.quality());
        info!("Outliers {}", robust.outliers());
        info!("Outlier {}", robust.outlier(&pairs[7]));
    }
    info!("RobustError {} {}", RobustError::TooFewRemain, RobustError::Fit(sensor::Error::Collinear));
    let Ok(disc) = Disc::new(Point::ORIGIN, millimetres!(3.0)) else { return };
    let map = PowerMap::new(LatticeKind::Hexagonal, disc, 2, 1, millimetres!(2.0));
    info!("PowerMap {}", map);
    if let Ok(map) = map {
        for cell in map.of_frame(&pairs, &geometry) {
            info!("MapCell {}", cell);
        }
    }
    info!("MapError {}", MapError::Memory);
    let sums = HigherOrderSums::new(disc, &geometry);
    info!("HigherOrderSums {}", sums);
    info!("HigherOrder {}", disc.higher_order(&pairs, &geometry));
    info!("Zernike {}", Zernike::SphericalAberration);
    info!("HigherOrderError {}", HigherOrderError::Singular);
}

fn light() {
    let (mut polariser, mut gradient) = (PolariserSums::default(), GradientSums::default());
    let readings = [
        (axis!(0.0), millimetres!(-8.0), millimetres!(1.0), fraction!(0.75)),
        (axis!(45.0), millimetres!(8.0), millimetres!(-2.0), fraction!(0.5)),
        (axis!(90.0), millimetres!(0.0), millimetres!(9.0), fraction!(0.25)),
        (axis!(135.0), millimetres!(1.0), millimetres!(-7.0), fraction!(0.51)),
    ];
    for (angle, x, y, value) in readings {
        info!("added {} {}", polariser.add(angle, value), gradient.add(Point::new(x, y), value));
    }
    info!("PolariserSums {}", polariser);
    info!("Polarisation {}", polariser.fit());
    info!("GradientSums {}", gradient);
    info!("Gradient {}", gradient.fit());
    info!("ReadingError {}", GradientSums::default().fit());
    info!("WavelengthCorrection {}", WavelengthCorrection::new(nanometres!(850.0), Line::D, AbbeNumber::MOST));
    info!("WavelengthError {}", WavelengthCorrection::new(nanometres!(300.0), Line::E, AbbeNumber::MOST));
    info!("DirectionLimit {}", POLARISER_AXIS);
    info!("Finding {}", POLARISER_AXIS.judge_axis(axis!(90.0), Some(axis!(95.0)), Rule::Simple));
    info!("Finding {}", POLARISER_AXIS.judge_bearing(bearing!(90.0), Some(bearing!(271.0)), Rule::Simple));
}

fn verdicts() {
    let power = SpheroCylinder::new(dioptres!(-2.0), dioptres!(-1.0), axis!(35.0)).unwrap_or_default();
    let ordered = Ordered { power, ..Ordered::default() };
    info!("Ordered {}", ordered);
    let read = SpheroCylinder::new(dioptres!(-2.06), dioptres!(-0.97), axis!(41.0)).unwrap_or_default();
    let measured = Measured { power: Some(read.into()), ..Measured::default() };
    info!("Measured {}", measured);
    let expanded = Uncertainty { sphere_meridian: Some(dioptres!(0.02)), ..Uncertainty::default() };
    for rule in [Rule::Simple, Rule::Guarded(expanded)] {
        info!("Rule {}", rule);
        let verdict = judge(&ISO_21987, &ordered, &measured, rule);
        info!("Verdict {}", verdict);
        for finding in verdict.findings() {
            info!("Finding {} {}", finding.parameter(), finding);
        }
        info!("Value {}", verdict.finding(Parameter::Axis).and_then(Finding::deviation));
    }
    let reading = TestReading::Power { nominal: power, measured: Some(read.into()) };
    info!("TestReading {}", reading);
    let verdict =
        judge_instrument(&ISO_8598_1, &[reading], Rule::Simple, |index, finding| info!("of {} {}", index, finding));
    info!("InstrumentVerdict {}", verdict);
    let lens = LensOrder { power, height: Some(millimetres!(18.0)), ..LensOrder::default() };
    let order = Order { right: Some(lens), left: Some(lens) };
    info!("Order {}", order);
    let up = Prism::new(prism_dioptres!(0.0), prism_dioptres!(0.6));
    let right = LensMeasurement { optics: Measured { prism: Some(up), ..measured }, ..LensMeasurement::default() };
    let left =
        LensMeasurement { optics: Measured { prism: Some(Prism::ZERO), ..measured }, ..LensMeasurement::default() };
    let pair = Measurement { right, left };
    info!("Measurement {}", pair);
    info!("PairVerdict {}", judge_pair(&ANSI_Z80_1_PAIR, &order, &pair, Acceptance::Simple));
    info!("ImbalanceRule {}", ANSI_Z80_1_PAIR.imbalance);
    info!("Class {} {}", ISO_21987.name, ISO_21987.provenance());
    info!("Limit {} {}", Limit::Percent(2), Limit::Absolute(dioptres!(0.12)));
    info!("tolerance::Error {}", Class { axis: &[], ..ISO_21987 }.check());
}

fn texts() {
    let error: Result<SpheroCylinder, ParseError> = "-3.00 -1.25 x 190".parse();
    info!("ParseError {}", error);
}

/// Prints nothing: text would fall among the encoded frames.
#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    debug::exit(debug::EXIT_FAILURE);
    loop {
        cortex_m::asm::nop();
    }
}
