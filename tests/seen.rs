//! What the eyes see of a pair: the prism where they look, the imbalance, slab-off, spectacle magnification; against `f64`,
//! formulas of the textbook, and rays through real surfaces.

mod common;

use common::{Budget, Random, Worst, cases};
use dioptric::lens::{
    self, Error, Imbalance, MOST_GAZE, Magnification, SlabOff, Surface, ThickLens, WornLens, WornPair, percent,
    point_of_gaze, power_factor,
};
use dioptric::prism::{Eye, Prism};
use dioptric::quantity::{Axis, Degree, Dioptre, Fraction, Millimetre, Point, PrismDioptre, RefractiveIndex};
use dioptric::rx::SpheroCylinder;
use dioptric::vector::PowerMatrix;
use dioptric::{dioptres, millimetres, prism_dioptres};
use proptest::prelude::*;

const REGRESSIONS: &str = "tests/data/regressions/seen.txt";
const RANDOM: u64 = 500_000;

const BUDGETS: &[Budget] = &[
    Budget {
        function: "ThickLens::magnification, of the larger principal one",
        domain: "25 D, 15 mm, index from 1.5, pupil to 20 mm, 0.6 to 1.5",
        unit: "of itself",
        allowed: 1e-7,
        points: RANDOM / 4,
        measure: magnification_error,
    },
    Budget {
        function: "lens::power_factor, beyond half a unit, over its square",
        domain: "64 D, 60 mm, det from 1/64",
        unit: "",
        allowed: 6e-9,
        points: RANDOM / 4,
        measure: power_factor_error,
    },
    Budget {
        function: "lens::point_of_gaze",
        domain: "50 degrees, 60 mm",
        unit: "2^-16 mm",
        allowed: 0.55,
        points: RANDOM,
        measure: gaze_error,
    },
    Budget {
        function: "WornLens::prism_at",
        domain: "64 D, 25 mm",
        unit: "2^-20 prism dioptre",
        allowed: 0.5 + 1e-6,
        points: RANDOM,
        measure: prism_error,
    },
];

#[test]
fn every_documented_bound_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

// --- The reference. ---

type Matrix = [[f64; 2]; 2];
const IDENTITY: Matrix = [[1.0, 0.0], [0.0, 1.0]];

fn combine(a: Matrix, p: f64, b: Matrix, q: f64) -> Matrix {
    std::array::from_fn(|i| std::array::from_fn(|j| p * a[i][j] + q * b[i][j]))
}

fn times(a: Matrix, b: Matrix) -> Matrix {
    std::array::from_fn(|i| std::array::from_fn(|j| a[i][0] * b[0][j] + a[i][1] * b[1][j]))
}

fn determinant(a: Matrix) -> f64 {
    a[0][0] * a[1][1] - a[0][1] * a[1][0]
}

fn inverse(a: Matrix) -> Matrix {
    let d = determinant(a);
    [[a[1][1] / d, -a[0][1] / d], [-a[1][0] / d, a[0][0] / d]]
}

/// The larger singular value, from the eigenvalues of `A^T A`.
fn norm(a: Matrix) -> f64 {
    let s = times([[a[0][0], a[1][0]], [a[0][1], a[1][1]]], a);
    let (mean, half) = ((s[0][0] + s[1][1]) / 2.0, (s[0][0] - s[1][1]) / 2.0);
    (mean + half.hypot(s[0][1])).sqrt()
}

fn of(f: PowerMatrix) -> Matrix {
    [[f.xx.to_f64(), f.xy.to_f64()], [f.xy.to_f64(), f.yy.to_f64()]]
}

fn elements(m: Magnification) -> Matrix {
    [[m.xx.to_f64(), m.xy.to_f64()], [m.yx.to_f64(), m.yy.to_f64()]]
}

fn apart(a: Matrix, b: Matrix) -> f64 {
    (0..4).map(|k| (a[k / 2][k % 2] - b[k / 2][k % 2]).abs()).fold(0.0, f64::max)
}

fn of_index(n: RefractiveIndex) -> f64 {
    f64::from(n.to_bits()) / 536_870_912.0
}

/// By following the ray back from the pupil, not by factors.
fn seen(front: Matrix, back: Matrix, c: f64, h: f64) -> Matrix {
    // A ray of slope s leaves at -h s.
    let leaves = combine(IDENTITY, -h, IDENTITY, 0.0);
    let inside = combine(IDENTITY, 1.0, times(back, leaves), 1.0);
    let enters = combine(leaves, 1.0, inside, -c);
    inverse(combine(inside, 1.0, times(front, enters), 1.0))
}

fn matrix(source: &mut Random, most: f64) -> PowerMatrix {
    let most = Dioptre::try_from_f64(most).expect("in range").to_bits();
    let mut element = |most| Dioptre::from_bits(source.within(most));
    PowerMatrix { xx: element(most), xy: element(most / 3), yy: element(most) }
}

fn magnification_error(worst: &mut Worst) {
    let mut source = Random::new("seen, magnification");
    for _ in 0..RANDOM {
        let (front, back) = (matrix(&mut source, 18.7), matrix(&mut source, 18.7));
        let index = RefractiveIndex::from_bits((3 << 28) + source.u32() % (1 << 28)).expect("in range");
        let thickness = Millimetre::from_bits(source.within(15 << 16).abs());
        let pupil = Millimetre::from_bits(source.within(20 << 16).abs());
        let lens = ThickLens::new(front, back, index, thickness).expect("in range");
        let power = lens.back_vertex_power().expect("no focus inside");
        if [power.xx, power.xy, power.yy].iter().any(|element| element.abs() > dioptres!(18.0)) {
            continue;
        }
        let want = seen(of(front), of(back), thickness.to_f64() / 1000.0 / of_index(index), pupil.to_f64() / 1000.0);
        let got = elements(lens.magnification(pupil).expect("in range"));
        let size = norm(want);
        if !(0.6..=1.5).contains(&size) {
            continue;
        }
        worst.see(apart(got, want) / size, || format!("{lens:?} {pupil:?}"));
    }
}

fn power_factor_error(worst: &mut Worst) {
    let mut source = Random::new("seen, power factor");
    for _ in 0..RANDOM {
        let power = matrix(&mut source, 64.0);
        let pupil = Millimetre::from_bits(source.within(60 << 16).abs());
        let Ok(got) = power_factor(power, pupil) else { continue };
        let want = inverse(combine(IDENTITY, 1.0, of(power), -pupil.to_f64() / 1000.0));
        let size = norm(want);
        let beyond = apart(elements(got), want) - 0.5 / 16_777_216.0;
        worst.see(beyond.max(0.0) / (size * size), || format!("{power:?} {pupil:?}"));
    }
}

fn gaze_error(worst: &mut Worst) {
    let mut source = Random::new("seen, gaze");
    for _ in 0..RANDOM {
        let mut angle = || Degree::from_bits(source.within(MOST_GAZE.to_bits()));
        let (across, up) = (angle(), angle());
        let distance = Millimetre::from_bits(source.within(60 << 16).abs());
        let got = point_of_gaze(across, up, distance).expect("in range");
        for (got, angle) in [(got.x, across), (got.y, up)] {
            let want = distance.to_f64() * angle.to_f64().to_radians().tan();
            worst.see((got.to_f64() - want).abs() * 65536.0, || format!("{angle:?} {distance:?}"));
        }
    }
}

fn point(source: &mut Random) -> Point {
    let mut coordinate = || Millimetre::from_bits(source.within(25 << 16));
    Point::new(coordinate(), coordinate())
}

fn worn_lens(source: &mut Random, most: f64) -> WornLens {
    let mut component = || PrismDioptre::from_bits(source.within(10 << 20));
    let prism = Prism::new(component(), component());
    WornLens { power: matrix(source, most), prism, reference: point(source) }
}

/// Straight from Prentice's rule, exact in `f64`: units of 2^-20.
fn prentice(lens: &WornLens, at: Point) -> [f64; 2] {
    let f = of(lens.power);
    let (x, y) = (at.x.to_f64() - lens.reference.x.to_f64(), at.y.to_f64() - lens.reference.y.to_f64());
    [
        lens.prism.x.to_f64() - (f[0][0] * x + f[0][1] * y) / 10.0,
        lens.prism.y.to_f64() - (f[1][0] * x + f[1][1] * y) / 10.0,
    ]
}

fn prism_error(worst: &mut Worst) {
    let mut source = Random::new("seen, prism");
    for _ in 0..RANDOM {
        let (lens, at) = (worn_lens(&mut source, 64.0), point(&mut source));
        let (got, want) = (lens.prism_at(at).expect("in range"), prentice(&lens, at));
        let error = (got.x.to_f64() - want[0]).abs().max((got.y.to_f64() - want[1]).abs());
        worst.see(error * 1_048_576.0, || format!("{lens:?} {at:?}"));
    }
}

// --- Values by the textbook's formulas. ---

fn lens_of(rx: &str) -> WornLens {
    WornLens { power: rx.parse::<SpheroCylinder>().expect("a prescription").into(), ..WornLens::default() }
}

fn millimetre(value: f64) -> Millimetre {
    Millimetre::try_from_f64(value).expect("in range")
}

fn at(x: f64, y: f64) -> Point {
    Point::new(millimetre(x), millimetre(y))
}

/// Formulas from memory (any textbook of ophthalmic optics); digits by hand: `1 / (1 - t F1 / n)`, `1 / (1 - h Fv)`.
#[test]
fn factors_of_spheres_are_the_textbooks() {
    let rows = [
        // Front, back vertex power, index, thickness, pupil.
        ("+8.00", "+5.00", "1.5", 6.0, 15.0, 1.0 / (1.0 - 0.032), 1.0 / (1.0 - 0.075)),
        ("+2.00", "-6.00", "1.498", 2.0, 17.0, 1.0 / (1.0 - 0.004 / 1.498), 1.0 / (1.0 + 0.102)),
        ("+14.00", "+12.00", "1.523", 8.0, 15.0, 1.0 / (1.0 - 0.112 / 1.523), 1.0 / (1.0 - 0.18)),
    ];
    for (front, wanted, index, thickness, pupil, shape, power) in rows {
        let index: RefractiveIndex = index.parse().expect("an index");
        let (front, wanted) = (lens_of(front).power, lens_of(wanted).power);
        let lens = ThickLens::for_front(front, wanted, index, millimetre(thickness)).expect("a lens");
        let close = |found: Magnification, want: f64| {
            let [[xx, xy], [yx, yy]] = elements(found);
            assert!((xx - want).abs() < 1.5e-7 && (yy - want).abs() < 1.5e-7, "{found:?} {want}");
            assert_eq!([xy, yx], [0.0, 0.0]);
        };
        close(lens.shape_factor().expect("a factor"), shape);
        close(power_factor(wanted, millimetre(pupil)).expect("a factor"), power);
        close(lens.magnification(millimetre(pupil)).expect("a magnification"), shape * power);
    }
}

/// Rule of thumb from memory: about 1.5 % a dioptre at 15 mm, so anisometropia of 2 D differs by about 3 %.
#[test]
fn a_pair_differs_by_what_its_powers_do() {
    let of = |rx: &str| power_factor(lens_of(rx).power, millimetres!(15.0)).expect("a factor");
    let difference = of("+2.00").against(of("pl")).expect("an inverse").principal().expect("in range");
    assert!((percent(difference.greatest).to_f64() - 100.0 * (1.0 / 0.97 - 1.0)).abs() < 2e-5);
    assert!((percent(difference.least).to_f64() - 3.0927835).abs() < 2e-5);
    let cylinder = of("pl +2.00 x 180").principal().expect("in range");
    assert_eq!(cylinder.along, Axis::VERTICAL, "a cylinder magnifies across its axis");
    assert!(
        (percent(cylinder.greatest).to_f64() - 3.0927835).abs() < 2e-5 && percent(cylinder.least) == Fraction::ZERO
    );
    assert_eq!(cylinder.turn, Degree::ZERO);
}

/// Anisometropia, reading 10 mm below: Prentice's rule by hand. The slab-off stands on the lens with the most minus or least plus
/// vertical power (common practice, no source).
#[test]
fn slab_off_stands_on_the_most_minus_or_least_plus_lens() {
    let reading = at(0.0, -10.0);
    for (right, left, eye, amount) in [
        ("-5.00", "-2.00", Eye::Right, 3.0),
        ("+1.00", "+3.50", Eye::Right, 2.5),
        ("+1.00", "-1.50", Eye::Left, 2.5),
        // Vertical powers: -1.00 and +0.50.
        ("-4.00 +3.00 x 180", "+0.50 -2.00 x 90", Eye::Right, 1.5),
    ] {
        let pair = WornPair { right: lens_of(right), left: lens_of(left) };
        let found = pair.slab_off(reading).expect("in range").expect("an imbalance");
        assert_eq!(found.eye, eye, "{right} {left}");
        assert!((found.base_up.to_f64() - amount).abs() < 3e-6, "{found:?}");
        // Base up on that lens, or base down on the other, levels the pair.
        let up = Prism::new(PrismDioptre::ZERO, found.base_up);
        let before = pair.imbalance(reading).expect("in range").0;
        let (other, down) = found.reversed();
        assert_eq!(other, found.eye.other());
        for (eye, prism) in [(found.eye, up), (other, down)] {
            let after = if eye == Eye::Right { before + prism } else { before - prism };
            assert!(after.y.to_bits().abs() <= 1, "{after:?}");
        }
    }
    let same = WornPair { right: lens_of("-3.00"), left: lens_of("-3.00") };
    assert_eq!(same.slab_off(reading), Ok(None));
    // An ordered vertical prism stays.
    let ordered = Prism::new(PrismDioptre::ZERO, prism_dioptres!(2.0));
    let prismatic = WornPair { right: WornLens { prism: ordered, ..lens_of("-3.00") }, left: lens_of("-3.00") };
    assert_eq!(prismatic.slab_off(reading), Ok(None));
    assert_eq!(prismatic.imbalance(reading), Ok(Imbalance(ordered)));
}

/// Both eyes turned right: a minus pair's right lens has base in there, the left one base out, and equal powers cancel. Converging,
/// both have base in.
#[test]
fn version_cancels_and_vergence_adds_for_equal_powers() {
    let pair = WornPair { right: lens_of("-4.00"), left: lens_of("-4.00") };
    let right = pair.right.prism_at(at(5.0, 0.0)).expect("in range");
    assert_eq!(
        (right.of(Eye::Right).base_in(), right.of(Eye::Left).base_in()),
        (prism_dioptres!(2.0), prism_dioptres!(-2.0))
    );
    assert_eq!(pair.imbalance(at(5.0, 0.0)), Ok(Imbalance::default()));
    let converged = pair.imbalance_at(at(2.5, 0.0), at(-2.5, 0.0)).expect("in range");
    assert_eq!(converged.base_in(), prism_dioptres!(2.0));
    for eye in [Eye::Right, Eye::Left] {
        assert_eq!(converged.before(eye).to_string(), "2.00 base in");
    }
    let vertical = Imbalance(Prism::new(PrismDioptre::ZERO, prism_dioptres!(1.0)));
    assert_eq!(vertical.before(Eye::Right).to_string(), "1.00 base up");
    assert_eq!(vertical.before(Eye::Left).to_string(), "1.00 base down");
    assert_eq!(vertical.right_base_up(), prism_dioptres!(1.0));
}

// --- Laws. ---

fn mirrored_power(f: PowerMatrix) -> PowerMatrix {
    PowerMatrix { xy: -f.xy, ..f }
}

fn mirrored(lens: WornLens) -> WornLens {
    let WornLens { power, prism, reference } = lens;
    WornLens { power: mirrored_power(power), prism: prism.mirrored(), reference: Point::new(-reference.x, reference.y) }
}

proptest! {
    #![proptest_config(cases(2000, REGRESSIONS))]

    #[test]
    fn pairs_mirror_and_exchange(seed: u64) {
        let mut source = Random::seeded(seed);
        let (right, left, gaze) = (worn_lens(&mut source, 64.0), worn_lens(&mut source, 64.0), point(&mut source));
        let pair = WornPair { right, left };
        let imbalance = pair.imbalance(gaze).unwrap();
        // Exchanged lenses: the negative.
        let exchanged = WornPair { right: left, left: right };
        prop_assert_eq!(exchanged.imbalance(gaze).unwrap(), Imbalance(-imbalance.0));
        // A mirrored wearer: the eyes exchanged, and the names stay.
        let mirror = WornPair { right: mirrored(left), left: mirrored(right) };
        let there = mirror.imbalance(Point::new(-gaze.x, gaze.y)).unwrap();
        for eye in [Eye::Right, Eye::Left] {
            prop_assert_eq!(there.before(eye.other()).base_in(), imbalance.before(eye).base_in());
            prop_assert_eq!(there.before(eye.other()).base_up(), imbalance.before(eye).base_up());
        }
        let turned = mirror.slab_off(Point::new(-gaze.x, gaze.y)).unwrap();
        let other = |found: SlabOff| SlabOff { eye: found.eye.other(), ..found };
        prop_assert_eq!(turned, pair.slab_off(gaze).unwrap().map(other));
    }

    #[test]
    fn magnifications_mirror_and_compare(seed: u64) {
        let mut source = Random::seeded(seed);
        let (front, back) = (matrix(&mut source, 20.0), matrix(&mut source, 20.0));
        let lens = |front, back| ThickLens::new(front, back, Surface::CLOCK_INDEX, millimetres!(6.0)).unwrap();
        let pupil = millimetres!(15.0);
        let (one, other) = (lens(front, back), lens(mirrored_power(front), mirrored_power(back)));
        let found = one.magnification(pupil).unwrap();
        prop_assert_eq!(other.magnification(pupil).unwrap(), found.mirrored());
        // At no distance from the pupil only the shape counts, a thin lens has no shape.
        prop_assert_eq!(one.magnification(Millimetre::ZERO).unwrap(), one.shape_factor().unwrap());
        let thin = ThickLens::new(front, back, Surface::CLOCK_INDEX, Millimetre::ZERO).unwrap();
        prop_assert_eq!(thin.shape_factor().unwrap(), Magnification::ONE);
        prop_assert_eq!(thin.magnification(pupil).unwrap(), power_factor(thin.nominal_power(), pupil).unwrap());
        // Against itself one, against another one and back: the product.
        let itself = found.against(found).unwrap();
        prop_assert!(apart(elements(itself), IDENTITY) < 1e-7);
        let second = thin.magnification(pupil).unwrap();
        let product = times(elements(found.against(second).unwrap()), elements(second));
        prop_assert!(apart(product, elements(found)) < 3e-7);
    }

    /// Singular values: their squares' sum and product, and the direction is magnified by the greatest.
    #[test]
    fn principal_magnifications_are_singular_values(seed: u64) {
        let mut source = Random::seeded(seed);
        let mut element = || Fraction::from_bits(source.within(1 << 24));
        let m = Magnification { xx: element(), xy: element(), yx: element(), yy: element() };
        let (a, found) = (elements(m), m.principal().unwrap());
        let (greatest, least) = (found.greatest.to_f64(), found.least.to_f64());
        prop_assert!((greatest - norm(a)).abs() < 1.1 / 16_777_216.0 + 3e-9);
        prop_assert!((greatest * least - determinant(a)).abs() < 4e-7);
        let (sin, cos) = (f64::from(found.along.to_bits()) * std::f64::consts::PI / 4_294_967_296.0).sin_cos();
        let image = [a[0][0] * cos + a[0][1] * sin, a[1][0] * cos + a[1][1] * sin];
        prop_assert!((image[0].hypot(image[1]) - greatest).abs() < 3e-7);
    }
}

#[test]
fn no_lens_changes_nothing() {
    let none = PowerMatrix::default();
    assert_eq!(power_factor(none, millimetres!(60.0)), Ok(Magnification::ONE));
    let plate = ThickLens::new(none, none, Surface::CLOCK_INDEX, millimetres!(30.0)).expect("a plate");
    assert_eq!(plate.magnification(millimetres!(20.0)), Ok(Magnification::ONE));
    let one = Magnification::ONE.principal().expect("in range");
    assert_eq!((percent(one.greatest), percent(one.least), one.turn), (Fraction::ZERO, Fraction::ZERO, Degree::ZERO));
    assert_eq!(one.along, Axis::HORIZONTAL);
    assert_eq!(WornLens::default().prism_at(at(20.0, -20.0)), Ok(Prism::ZERO));
    assert_eq!(point_of_gaze(Degree::ZERO, Degree::ZERO, millimetres!(60.0)), Ok(Point::ORIGIN));
}

#[test]
fn what_is_out_of_range_is_named() {
    let sphere = |d| PowerMatrix { xx: d, xy: Dioptre::ZERO, yy: d };
    let beyond = Degree::from_bits(MOST_GAZE.to_bits() + 1);
    assert_eq!(point_of_gaze(beyond, Degree::ZERO, millimetres!(27.0)), Err(Error::GazeRange));
    assert_eq!(point_of_gaze(Degree::ZERO, -beyond, millimetres!(27.0)), Err(Error::GazeRange));
    assert_eq!(point_of_gaze(Degree::ZERO, Degree::MAX, millimetres!(27.0)), Err(Error::GazeRange));
    assert_eq!(point_of_gaze(Degree::ZERO, Degree::ZERO, millimetres!(60.1)), Err(Error::DistanceRange));
    assert_eq!(point_of_gaze(Degree::ZERO, Degree::ZERO, millimetres!(-0.1)), Err(Error::DistanceRange));
    assert_eq!(power_factor(sphere(dioptres!(1.0)), Millimetre::MAX), Err(Error::DistanceRange));
    assert_eq!(power_factor(sphere(dioptres!(1.0)), millimetres!(-1.0)), Err(Error::DistanceRange));
    assert_eq!(power_factor(sphere(dioptres!(64.1)), millimetres!(1.0)), Err(Error::PowerRange));
    assert_eq!(power_factor(sphere(dioptres!(50.0)), millimetres!(20.0)), Err(Error::PowerRange));
    assert_eq!(power_factor(sphere(dioptres!(45.0)), millimetres!(20.0)), Err(Error::FocusInside));
    assert_eq!(power_factor(sphere(Dioptre::MAX), millimetres!(20.0)), Err(Error::Saturated));
    let saturated = Magnification { xx: Fraction::MAX, ..Magnification::ONE };
    assert_eq!(saturated.principal(), Err(Error::PowerRange));
    assert_eq!(Magnification::ONE.against(saturated), Err(Error::Saturated));
    let flat = Magnification { xx: Fraction::ZERO, ..Magnification::ONE };
    assert_eq!(Magnification::ONE.against(flat), Err(Error::PowerRange));
    assert!(percent(Fraction::MAX).is_saturated() && percent(Fraction::from_bits(100 << 24)).is_saturated());
    let lens = WornLens { power: sphere(dioptres!(64.01)), ..WornLens::default() };
    assert_eq!(lens.prism_at(Point::ORIGIN), Err(Error::PowerRange));
    assert_eq!(lens_of("+1.00").prism_at(Point::new(Millimetre::MAX, Millimetre::ZERO)), Err(Error::Saturated));
    let strong = WornLens { power: sphere(dioptres!(64.0)), ..WornLens::default() };
    assert_eq!(strong.prism_at(Point::new(millimetres!(30000.0), Millimetre::ZERO)), Err(Error::PowerRange));
    let prismatic = WornLens { prism: Prism::SATURATED, ..WornLens::default() };
    assert_eq!(prismatic.prism_at(Point::ORIGIN), Err(Error::Saturated));
    let pair = WornPair { right: lens, left: lens_of("pl") };
    assert_eq!(pair.imbalance(Point::ORIGIN), Err(Error::PowerRange));
    assert_eq!(pair.slab_off(Point::new(Millimetre::ZERO, Millimetre::MIN)), Err(Error::Saturated));
    for error in [Error::GazeRange, Error::DistanceRange] {
        assert!(error.is_range() && !error.to_string().is_empty());
    }
    assert_eq!(lens::ENTRANCE_PUPIL_DEPTH, millimetres!(3.0));
}

// --- Rays through real surfaces: no paraxial formula, no power of a lens. ---

type Vector = [f64; 3];

/// Follows a ray along +z to a paraboloid and through it. A curvature matrix, 1/m, is convex towards the light when positive.
fn refracted(from: Vector, ray: Vector, form: Matrix, vertex: f64, ratio: f64) -> (Vector, Vector) {
    let gradient = |p: Vector| [form[0][0] * p[0] + form[0][1] * p[1], form[1][0] * p[0] + form[1][1] * p[1]];
    let mut length = 0.0;
    let mut p = from;
    for _ in 0..20 {
        p = [0, 1, 2].map(|i| from[i] + length * ray[i]);
        let g = gradient(p);
        let height = vertex + (g[0] * p[0] + g[1] * p[1]) / 2.0;
        length -= (p[2] - height) / (ray[2] - g[0] * ray[0] - g[1] * ray[1]);
    }
    let g = gradient(p);
    let size = (1.0 + g[0] * g[0] + g[1] * g[1]).sqrt();
    let normal = [-g[0] / size, -g[1] / size, 1.0 / size];
    let cos: f64 = (0..3).map(|i| normal[i] * ray[i]).sum();
    let bend = (1.0 - ratio * ratio * (1.0 - cos * cos)).sqrt() - ratio * cos;
    (p, [0, 1, 2].map(|i| ratio * ray[i] + bend * normal[i]))
}

/// From the pupil's middle backwards through the lens to the object: the object's slope of the seen slope, along x and along y.
#[test]
fn rays_through_crossed_toric_surfaces_are_magnified_as_said() {
    const SMALL: f64 = 1e-4;
    let (mut source, mut worst) = (Random::new("seen, rays"), 0f64);
    for _ in 0..2000 {
        let (front, back) = (matrix(&mut source, 12.0), matrix(&mut source, 12.0));
        let lens = ThickLens::new(front, back, Surface::CLOCK_INDEX, millimetres!(8.0)).expect("a lens");
        let (n, h, t) = (of_index(Surface::CLOCK_INDEX), 0.0165, 0.008);
        let form = |power: PowerMatrix, sign: f64| combine(of(power), sign / (n - 1.0), IDENTITY, 0.0);
        // Backwards the light meets the back surface first, and what was convex to one side is so still.
        let object = |x: f64, y: f64| {
            let size = (1.0 + x * x + y * y).sqrt();
            let ray = [x / size, y / size, 1.0 / size];
            let (at, inside) = refracted([0.0; 3], ray, form(back, 1.0), h, 1.0 / n);
            let (_, out) = refracted(at, inside, form(front, -1.0), h + t, n);
            [out[0] / out[2], out[1] / out[2]]
        };
        let (x, y) = (object(SMALL, 0.0), object(0.0, SMALL));
        let wanted = inverse([[x[0] / SMALL, y[0] / SMALL], [x[1] / SMALL, y[1] / SMALL]]);
        let found = elements(lens.magnification(millimetres!(16.5)).expect("in range"));
        worst = worst.max(apart(found, wanted) / norm(wanted));
    }
    println!("magnification against rays: {worst:.2e}");
    assert!(worst < 3e-7, "{worst:e}");
}

#[cfg(feature = "serde")]
#[test]
fn what_is_seen_is_stored_and_read_back() {
    let pair = WornPair { right: lens_of("-5.00 -1.00 x 30"), left: lens_of("-2.00") };
    let slab_off = pair.slab_off(at(0.0, -10.0)).expect("in range").expect("an imbalance");
    let found = power_factor(pair.right.power, millimetres!(15.0)).expect("a factor");
    let whole =
        (pair, slab_off, found, found.principal().expect("in range"), pair.imbalance(at(1.0, 2.0)).expect("in range"));
    let text = serde_json::to_string(&whole).expect("written");
    assert_eq!(
        serde_json::from_str::<(WornPair, SlabOff, Magnification, lens::PrincipalMagnification, Imbalance)>(&text)
            .expect("read"),
        whole
    );
}
