//! Prism against `f64`: components and resultants, sharing, deviation, decentration, and how bases are named.

mod common;

use common::{Budget, Random, Worst, edges};
use dioptric::prism::{Eye, NoPower, Prism, apical_angle, decentration, deviation, from_deviation};
use dioptric::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, Point, PrismDioptre, RefractiveIndex};
use dioptric::rx::SpheroCylinder;
use dioptric::text::ParseErrorKind;
use dioptric::vector::{LEAST_POWER, PowerMatrix};
use dioptric::{bearing, degrees, dioptres, millimetres, prism_dioptres};
use std::f64::consts::TAU;

const ONE: f64 = 1_048_576.0;
const TURN: f64 = 4_294_967_296.0;
const RANDOM: u64 = 2_000_000;

/// Every bound that the documentation of `prism` states.
const BUDGETS: &[Budget] = &[
    Budget {
        function: "Prism::from_base",
        domain: "whole, beyond half a unit of 2^-20",
        unit: "of the amount",
        allowed: 3e-9,
        points: RANDOM,
        measure: from_base_error,
    },
    Budget {
        function: "Prism::resultant, amount",
        domain: "whole, beyond half a unit of 2^-20",
        unit: "of itself",
        allowed: 3e-9,
        points: RANDOM,
        measure: |worst| resultant_error(worst, |amount, _| amount),
    },
    Budget {
        function: "Prism::resultant, bearing",
        domain: "whole",
        unit: "degree",
        allowed: 4e-7,
        points: RANDOM,
        measure: |worst| resultant_error(worst, |_, bearing| bearing),
    },
    Budget {
        function: "Prism::component",
        domain: "whole, beyond half a unit of 2^-20",
        unit: "of the resultant",
        allowed: 4e-9,
        points: RANDOM,
        measure: component_error,
    },
    Budget {
        function: "prism::deviation",
        domain: "whole",
        unit: "degree",
        allowed: 1.0 / ONE,
        points: RANDOM,
        measure: deviation_error,
    },
    Budget {
        function: "prism::from_deviation",
        domain: "to 80 degrees, times cos^2",
        unit: "prism dioptre",
        allowed: 8e-7,
        points: RANDOM,
        measure: from_deviation_error,
    },
    Budget {
        function: "prism::apical_angle",
        domain: "index 1.001 to 4, beyond half a unit of 2^-20, times n - 1",
        unit: "degree",
        allowed: 1.0 / ONE,
        points: RANDOM,
        measure: apical_error,
    },
    Budget {
        function: "prism::decentration",
        domain: "coordinates to 32 m, beyond 0.6 units of 2^-16 mm",
        unit: "of itself",
        allowed: 6e-10,
        points: RANDOM / 2,
        measure: decentration_error,
    },
];

#[test]
fn every_documented_bound_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

fn prism(x: i32, y: i32) -> Prism {
    Prism::new(PrismDioptre::from_bits(x), PrismDioptre::from_bits(y))
}

fn bits(p: Prism) -> (f64, f64) {
    (f64::from(p.x.to_bits()), f64::from(p.y.to_bits()))
}

fn radians(base: Bearing) -> f64 {
    f64::from(base.to_bits()) / TURN * TAU
}

fn beyond_half(error: f64, scale: f64) -> f64 {
    (error.abs() - 0.5).max(0.0) / scale.max(1.0)
}

fn prisms(stream: &str) -> impl Iterator<Item = Prism> {
    let corners = edges().flat_map(|x| edges().map(move |y| prism(x, y)));
    let mut source = Random::new(stream);
    let random = (0..RANDOM + 10_000).map(move |index| {
        if index & 1 == 0 {
            prism(source.of_any_size(), source.of_any_size())
        } else {
            prism(source.within(40 << 20), source.within(40 << 20))
        }
    });
    corners.chain(random).filter(|p| !p.is_saturated())
}

fn from_base_error(worst: &mut Worst) {
    let mut source = Random::new("bases");
    for amount in prisms("from base").map(|p| p.x) {
        let base = Bearing::from_bits(source.u32());
        let found = bits(Prism::from_base(amount, base));
        let (sin, cos) = radians(base).sin_cos();
        let wanted = f64::from(amount.to_bits());
        for error in [found.0 - wanted * cos, found.1 - wanted * sin] {
            worst.see(beyond_half(error, wanted.abs()), || format!("{amount:?} @ {base:?}"));
        }
    }
}

fn resultant_error(worst: &mut Worst, part: fn(f64, f64) -> f64) {
    for p in prisms("resultants") {
        let (x, y) = bits(p);
        let (amount, base) = p.resultant();
        let exact = x.hypot(y);
        if amount.is_saturated() {
            assert!(exact > f64::from(i32::MAX) * (1.0 - 3e-9) - 1.0, "{p:?}");
            continue;
        }
        if p == Prism::ZERO {
            assert_eq!((amount, base), (PrismDioptre::ZERO, Bearing::default()));
            continue;
        }
        let apart = (f64::from(base.to_bits()) / TURN * 360.0 - y.atan2(x).to_degrees()).rem_euclid(360.0);
        let error = beyond_half(f64::from(amount.to_bits()) - exact, exact);
        worst.see(part(error, apart.min(360.0 - apart)), || format!("{p:?}"));
    }
}

fn component_error(worst: &mut Worst) {
    let mut source = Random::new("component bases");
    for p in prisms("components") {
        let base = Bearing::from_bits(source.u32());
        let (x, y) = bits(p);
        let (sin, cos) = radians(base).sin_cos();
        let found = p.component(base);
        let wanted = x * cos + y * sin;
        if found.is_saturated() {
            assert!(wanted.abs() > f64::from(i32::MAX) * (1.0 - 4e-9) - 1.0, "{p:?}");
        } else {
            worst.see(beyond_half(f64::from(found.to_bits()) - wanted, x.hypot(y)), || format!("{p:?} @ {base:?}"));
        }
    }
}

fn deviation_error(worst: &mut Worst) {
    for amount in prisms("deviation").map(|p| p.x) {
        let found = deviation(amount);
        assert_eq!(deviation(-amount), -found);
        let wanted = (amount.to_f64() / 100.0).atan().to_degrees();
        worst.see((found.to_f64() - wanted).abs(), || format!("{amount:?}"));
    }
}

fn from_deviation_error(worst: &mut Worst) {
    let most = degrees!(80.0).to_bits();
    let mut source = Random::new("angles");
    let angles = edges().chain([most, -most]).chain((0..RANDOM).map(|_| source.within(most)));
    for angle in angles.map(Degree::from_bits).filter(|angle| angle.abs().to_bits() <= most) {
        let found = from_deviation(angle).expect("within 80 degrees");
        assert_eq!(from_deviation(-angle), Some(-found));
        let exact = angle.to_f64().to_radians();
        let error = (found.to_f64() - 100.0 * exact.tan()).abs();
        worst.see(error * exact.cos().powi(2), || format!("{angle:?}"));
    }
}

fn apical_error(worst: &mut Worst) {
    let mut source = Random::new("indices");
    let least = (1u32 << 29) + (1 << 19);
    for amount in prisms("apical").map(|p| p.x) {
        let index = RefractiveIndex::from_bits(least + source.u32() % ((1 << 31) - least)).expect("1 to 4");
        let excess = f64::from(index.to_bits()) / f64::from(1 << 29) - 1.0;
        let found = apical_angle(amount, index).expect("deviates");
        let wanted = (amount.to_f64() / 100.0).atan().to_degrees() / excess;
        if found.is_saturated() {
            assert!(wanted.abs() >= 2047.9, "{amount:?} {index:?}");
            continue;
        }
        let error = (found.to_f64() - wanted).abs() - 0.5 / ONE;
        worst.see(error.max(0.0) * excess, || format!("{amount:?} n {index:?}"));
    }
}

/// Lenses to 30 D, one in three with a meridian near the least power.
fn lenses(stream: &str, count: u64) -> impl Iterator<Item = SpheroCylinder> {
    let mut source = Random::new(stream);
    (0..count).map(move |index| {
        let strong = Dioptre::from_bits(source.within(30 << 20));
        let weak = if index % 3 == 0 { source.within(1 << 17) } else { source.within(30 << 20) };
        let across = Dioptre::from_bits(weak) - strong;
        SpheroCylinder::new(strong, across, Axis::from_bits(source.u32())).expect("within 64 D")
    })
}

fn decentration_error(worst: &mut Worst) {
    let mut source = Random::new("wanted");
    for lens in lenses("decentred", RANDOM) {
        let f = PowerMatrix::from(lens);
        // Up to 200 prism dioptres, so that with a weak meridian the centre is metres away, where the last bits show.
        let wanted = prism(source.within(200 << 20), source.within(200 << 20) >> (source.u32() & 15));
        let Ok(found) = decentration(f, wanted) else { continue };
        // The determinant cancels: exact in integers.
        let wide = |value: Dioptre| i128::from(value.to_bits());
        let det = wide(f.xx) * wide(f.yy) - wide(f.xy) * wide(f.xy);
        let (x, y) = (i128::from(wanted.x.to_bits()), i128::from(wanted.y.to_bits()));
        let exact = [wide(f.yy) * x - wide(f.xy) * y, wide(f.xx) * y - wide(f.xy) * x]
            .map(|numerator| numerator as f64 / det as f64 * 10.0);
        for (found, exact) in [found.x, found.y].into_iter().zip(exact) {
            if found.is_saturated() {
                assert!(exact.abs() > 32_767.0, "{lens} {wanted}");
            } else {
                let error = (f64::from(found.to_bits()) - exact * 65_536.0).abs() - 0.6;
                worst.see(error.max(0.0) / (exact.abs() * 65_536.0), || format!("{lens:?} {wanted:?}"));
            }
        }
    }
}

/// Lenses and prisms as they are ordered: the centre is found to a hundredth of a micrometre.
#[test]
fn decentration_is_the_inverse_of_prentices_rule() {
    let mut source = Random::new("ordered prisms");
    let mut worst = 0.0f64;
    for lens in lenses("ordered", 200_000) {
        let f = PowerMatrix::from(lens);
        let wanted = prism(source.within(10 << 20), source.within(10 << 20));
        let Ok(centre) = decentration(f, wanted) else { continue };
        if centre.is_saturated() {
            continue;
        }
        // The point where the prism is wanted, seen from the centre.
        let found = f.prism_at(-centre);
        let largest = lens.sphere().abs().max((lens.sphere() + lens.cylinder()).abs()).to_f64();
        // Half a unit of length in each coordinate, and 6e-10 of its value.
        let length = centre.x.abs().max(centre.y.abs()).to_f64();
        let bound = 0.5 / ONE + largest * (1.1 / 65_536.0 + 1.2e-9 * length) / 10.0;
        for error in [(found.x - wanted.x).to_f64().abs(), (found.y - wanted.y).to_f64().abs()] {
            assert!(error <= bound, "{lens} {wanted}: {error:e} against {bound:e}");
            worst = worst.max(error);
        }
        assert_eq!(decentration(f, -wanted), Ok(-centre), "odd");
        let mirrored = PowerMatrix { xy: -f.xy, ..f };
        let across = Point::new(-centre.x, centre.y);
        assert_eq!(decentration(mirrored, wanted.mirrored()), Ok(across), "mirror image");
    }
    println!("prism at the found centre: {worst:.3e} prism dioptre from the wanted");
}

#[test]
fn decentration_is_right_to_the_unit() {
    // 1 prism dioptre at 3 D: 3.333 mm; the fifth of it alone was rounded once.
    let sphere: PowerMatrix = "+3.00".parse::<SpheroCylinder>().expect("a prescription").into();
    let centre = decentration(sphere, Prism::new(prism_dioptres!(1.0), PrismDioptre::ZERO)).expect("powered");
    assert_eq!(centre.x.to_bits(), 218_453); // 10 / 3 * 2^16 = 218 453.33
    let saturated = decentration(sphere, Prism::SATURATED).expect("no statement about power");
    assert!(saturated.is_saturated());
    let beyond = PowerMatrix { xx: Dioptre::MAX, ..sphere };
    assert!(decentration(beyond, Prism::ZERO).expect("no statement about power").is_saturated());
}

fn assert_adds_up(lens: SpheroCylinder, wanted: Prism) -> NoPower {
    let f = PowerMatrix::from(lens);
    let partly = decentration(f, wanted).expect_err("a meridian without power");
    let given = f.prism_at(-partly.reachable);
    let strongest = lens.sphere().abs().max((lens.sphere() + lens.cylinder()).abs()).to_f64();
    // A unit of length, and of each component, and the matrix's own rounding over the distance.
    let far = partly.reachable.distance().to_f64();
    let bound = 2.0 / ONE + strongest / 65_536.0 / 10.0 + far * (2.0 / ONE + 3e-9 * strongest) / 10.0;
    for (part, missing, wanted) in [(given.x, partly.missing.x, wanted.x), (given.y, partly.missing.y, wanted.y)] {
        let error = (part + missing - wanted).to_f64().abs();
        assert!(error <= bound, "{lens} {wanted}: {error:e} against {bound:e}");
    }
    partly
}

#[test]
fn a_plano_cylinder_reaches_what_lies_across_its_axis() {
    let mut source = Random::new("plano");
    for degrees in 1..=180u16 {
        for cylinder in [dioptres!(-2.0), dioptres!(0.25), dioptres!(7.75), dioptres!(-0.5)] {
            let axis = Axis::from_degrees(degrees).expect("in range");
            let lens = SpheroCylinder::new(Dioptre::ZERO, cylinder, axis).expect("in range");
            let wanted = prism(source.within(8 << 20), source.within(8 << 20));
            let partly = assert_adds_up(lens, wanted);
            // Nothing changes along the axis; what can be moved moves across it.
            let free = partly.free.expect("the axis");
            let apart = free.angle_from(axis.bearing()).abs().to_f64();
            assert!(apart < 1e-3 || (apart - 180.0).abs() < 1e-3, "{lens}: free along {free}");
            let along = radians(axis.bearing());
            let (x, y) = (partly.reachable.x.to_f64(), partly.reachable.y.to_f64());
            assert!((x * along.cos() + y * along.sin()).abs() < 1e-3, "{lens}: {}", partly.reachable);
            // What is missing lies along the axis, as the axis has no power.
            let (x, y) = (partly.missing.x.to_f64(), partly.missing.y.to_f64());
            assert!((x * along.sin() - y * along.cos()).abs() < 1e-4, "{lens}: {}", partly.missing);
            // Of a prism that lies across the axis nothing is missing.
            let across = Prism::from_base(prism_dioptres!(2.5), axis.perpendicular().bearing());
            let all = assert_adds_up(lens, across);
            assert!(all.missing.resultant().0 < prism_dioptres!(0.0001), "{lens}: {}", all.missing);
        }
    }
}

#[test]
fn a_nearly_plano_meridian_counts_as_none() {
    let mut source = Random::new("nearly plano");
    let unit = Dioptre::from_bits(1);
    for weak in [LEAST_POWER - unit - unit, -LEAST_POWER + unit + unit, dioptres!(0.01), unit, -unit] {
        for _ in 0..2_000 {
            let axis = Axis::from_bits(source.u32());
            let strong = Dioptre::from_bits(source.within(20 << 20));
            if strong.abs() <= LEAST_POWER + unit + unit {
                continue;
            }
            for (sphere, across) in [(weak, strong), (strong, weak)] {
                let lens = SpheroCylinder::new(sphere, across - sphere, axis).expect("in range");
                assert_adds_up(lens, prism(source.within(5 << 20), source.within(5 << 20)));
            }
        }
    }
}

#[test]
fn a_lens_without_power_misses_all_of_a_prism() {
    let wanted = Prism::new(prism_dioptres!(1.0), prism_dioptres!(-2.0));
    for text in ["pl", "+0.01 DS", "-0.01 +0.02 x 30"] {
        let lens: SpheroCylinder = text.parse().expect("a prescription");
        let partly = assert_adds_up(lens, wanted);
        assert_eq!(partly, NoPower { reachable: Point::ORIGIN, missing: wanted, free: None });
        assert_eq!(partly.to_string(), "a meridian has no power: decentring by 0.00, 0.00 mm leaves 2.24 @ 297");
    }
}

#[test]
fn quarter_turns_are_exact_and_prisms_add_exactly() {
    for amount in edges().map(PrismDioptre::from_bits).filter(|amount| !amount.is_saturated()) {
        let zero = PrismDioptre::ZERO;
        assert_eq!(Prism::from_base(amount, bearing!(0.0)), Prism::new(amount, zero));
        assert_eq!(Prism::from_base(amount, bearing!(90.0)), Prism::new(zero, amount));
        assert_eq!(Prism::from_base(amount, bearing!(180.0)), Prism::new(-amount, zero));
        assert_eq!(Prism::from_base(amount, bearing!(270.0)), Prism::new(zero, -amount));
        for base in [bearing!(0.0), bearing!(37.0), bearing!(135.0), bearing!(301.5)] {
            let p = Prism::from_base(amount, base);
            assert_eq!(Prism::from_base(-amount, base), -p);
            assert_eq!(Prism::from_base(amount, base.opposite()), -p);
            assert_eq!(p - p, Prism::ZERO);
            assert_eq!(p.mirrored().mirrored(), p);
            assert_eq!((-p).resultant().0, p.resultant().0);
        }
    }
    assert!(Prism::from_base(PrismDioptre::MAX, bearing!(10.0)).is_saturated());
    assert!((Prism::SATURATED + Prism::ZERO).is_saturated());
    assert_eq!(Prism::SATURATED.resultant().0, PrismDioptre::MAX);
    assert_eq!(Prism::SATURATED.component(bearing!(10.0)), PrismDioptre::MAX);
    let parts = [prism(1, 2), prism(-30, 4), prism(5, -600)];
    assert_eq!(parts.into_iter().sum::<Prism>(), prism(-24, -594));
}

#[test]
fn shared_prism_acts_on_the_pair_as_the_whole() {
    for whole in prisms("shared").take(100_000).chain([Prism::ZERO]) {
        for percent in [0, 1, 33, 50, 67, 99, 100] {
            let (right, left) = whole.shared(percent);
            assert_eq!(right - left, whole, "{percent}% of {whole:?}");
            let share = f64::from(percent) / 100.0;
            let (x, y) = bits(whole);
            let (rx, ry) = bits(right);
            assert!((rx - x * share).abs() <= 0.5 + 1e-6 && (ry - y * share).abs() <= 0.5 + 1e-6, "{whole:?}");
        }
        assert_eq!(whole.shared(100), (whole, Prism::ZERO));
        assert_eq!(whole.shared(0), (Prism::ZERO, -whole));
        assert_eq!(whole.shared(255), whole.shared(100));
        assert_eq!(
            (-whole).shared(37),
            {
                let (right, left) = whole.shared(37);
                (-right, -left)
            },
            "odd"
        );
    }
    let (right, left) = Prism::SATURATED.shared(50);
    assert!(right.is_saturated() && left.is_saturated());
}

#[test]
fn nasal_is_to_the_right_on_the_right_eye_and_to_the_left_on_the_left() {
    let (inward, up) = (prism_dioptres!(1.5), prism_dioptres!(-0.5));
    let right = Prism::from_bases(Eye::Right, inward, up);
    let left = Prism::from_bases(Eye::Left, inward, up);
    assert_eq!((right.x, left.x, right.y, left.y), (inward, -inward, up, up));
    assert_eq!(right.mirrored(), left);
    for (prism, eye) in [(right, Eye::Right), (left, Eye::Left)] {
        assert_eq!((prism.of(eye).base_in(), prism.of(eye).base_up()), (inward, up));
        assert_eq!(prism.of(eye).prism(), prism);
        assert_eq!(prism.of(eye).to_string(), "1.50 base in 0.50 base down");
        assert_eq!(prism.of(eye.other()).to_string(), "1.50 base out 0.50 base down");
        assert_eq!(eye.other().other(), eye);
    }
    assert_eq!(format!("{}|{:>6}", Eye::Right, Eye::Left), "right|  left");
}

#[test]
fn deviation_and_prism_are_inverse() {
    for hundredths in -20_000..=20_000 {
        let amount = PrismDioptre::from_thousandths(hundredths * 10).expect("in range");
        let back = from_deviation(deviation(amount)).expect("within 80 degrees");
        let slope = 1.0 + (amount.to_f64() / 100.0).powi(2);
        let bound = 0.5 / ONE + slope * (100.0 * (0.85 / ONE).to_radians() + 8e-7);
        assert!((back - amount).to_f64().abs() <= bound, "{amount}");
    }
    assert_eq!(deviation(PrismDioptre::ZERO), Degree::ZERO);
    assert_eq!(deviation(prism_dioptres!(100.0)), degrees!(45.0));
    assert_eq!((deviation(PrismDioptre::MAX), deviation(PrismDioptre::MIN)), (Degree::MAX, Degree::MIN));
    assert_eq!(from_deviation(degrees!(45.0)), Some(prism_dioptres!(100.0)));
    assert_eq!(from_deviation(degrees!(80.0) + Degree::from_bits(1)), None);
    assert_eq!((from_deviation(Degree::MAX), from_deviation(Degree::MIN)), (None, None));
}

#[test]
fn an_apical_angle_needs_an_index_and_a_known_prism() {
    assert_eq!(apical_angle(prism_dioptres!(1.0), RefractiveIndex::AIR), None);
    for index in ["1.0001", "1.5", "2.5", "3.9"] {
        let index = index.parse().expect("an index");
        assert_eq!(apical_angle(PrismDioptre::MAX, index), Some(Degree::MAX), "{index}");
        assert_eq!(apical_angle(PrismDioptre::MIN, index), Some(Degree::MIN), "{index}");
        assert_eq!(apical_angle(PrismDioptre::ZERO, index), Some(Degree::ZERO), "{index}");
    }
}

#[test]
fn prism_is_read_as_people_type_it() {
    let (x, y) = (|x: f64| PrismDioptre::literal(x), |y: f64| PrismDioptre::literal(y));
    let up = Prism::new(PrismDioptre::ZERO, y(1.5));
    let both = Prism::new(x(2.0), y(-0.5));
    let table = [
        ("1.50 base up", up),
        ("1.5 up", up),
        ("1.50 BU", up),
        ("1.50bu", up),
        ("1.5 Base Up", up),
        ("1.5 @ 90", up),
        ("1.5@90", up),
        ("1.5 @ 90\u{b0}", up),
        ("1.5 base 90", up),
        ("  1.50   base   up  ", up),
        ("1.50 base down", -up),
        ("1.5 bd", -up),
        ("1.5 @ 270", -up),
        ("2 in 0.5 down", both),
        ("2.00 BI 0.50 BD", both),
        ("2.00 base in / 0.50 base down", both),
        ("2.00 base in, 0.50 base down", both),
        ("0.50 down & 2.00 in", both),
        ("1.00 in 1.00 in .5 @ 270", both),
        ("2.00 base out 0.50 base up", -both),
        ("2 bo .5 bu", -both),
        ("0", Prism::ZERO),
        ("0.00", Prism::ZERO),
        ("0 base up", Prism::ZERO),
        ("-0 up", Prism::ZERO),
    ];
    for (text, expected) in table {
        assert_eq!(Prism::parse(text, Eye::Right), Ok(expected), "{text:?}");
        assert_eq!(
            Prism::parse(text, Eye::Left),
            Ok(expected).map(|p| if text.contains('@') && text.contains("in") {
                // Degrees are the same for both eyes, in and out are not.
                Prism::new(-p.x, p.y)
            } else {
                p.mirrored()
            }),
            "{text:?}"
        );
    }
}

#[test]
fn what_is_no_prism_is_refused_where_it_goes_wrong() {
    use ParseErrorKind::{BaseMissing, BaseRange, Empty, EyeNeeded, NegativePrism, NumberExpected, OutOfRange};
    let table = [
        ("", Empty, 0),
        ("   ", Empty, 3),
        ("up", NumberExpected, 0),
        ("base up", NumberExpected, 0),
        ("1.5", BaseMissing, 3),
        ("1.5 ", BaseMissing, 4),
        ("1.5 base", BaseMissing, 8),
        ("1.5 base ", BaseMissing, 9),
        ("1.5 @", BaseMissing, 5),
        ("1.5 @ ", BaseMissing, 6),
        ("1.5 base sideways", BaseMissing, 9),
        ("1.5 upper", BaseMissing, 4),
        ("1.5 x 90", BaseMissing, 4),
        ("1.5 @ 361", BaseRange, 6),
        ("1.5 @ -1", BaseRange, 6),
        ("1.5 base 360.5", BaseRange, 9),
        ("1.5 @ 99999999", BaseRange, 6),
        ("1.5 @ up", NumberExpected, 6),
        ("1.5 in", EyeNeeded, 4),
        ("1.0 up 1.5 base out", EyeNeeded, 16),
        ("-1.5 up", NegativePrism, 0),
        ("1.0 up \u{2212}0.5 @ 30", NegativePrism, 7),
        ("1 up,", NumberExpected, 5),
        ("1 up / ", NumberExpected, 7),
        ("1 up what", NumberExpected, 5),
        ("1,5 up", BaseMissing, 1),
        ("1.5 @ 90 90", BaseMissing, 11),
        ("3000 up", OutOfRange, 0),
        ("1 up 3000 up", OutOfRange, 5),
        ("2000 up 2000 up", OutOfRange, 0),
        ("2000 up 2000 up 2000 down", OutOfRange, 0),
    ];
    for (text, kind, position) in table {
        let error = text.parse::<Prism>().expect_err(text);
        assert_eq!((error.kind(), error.position()), (kind, position), "{text:?}");
        assert_eq!(error.is_range(), matches!(kind, BaseRange | NegativePrism | OutOfRange), "{text:?}");
        if kind != EyeNeeded {
            assert_eq!(Prism::parse(text, Eye::Left), Err(error), "{text:?}");
        } else {
            assert!(Prism::parse(text, Eye::Left).is_ok(), "{text:?}");
        }
    }
}

#[test]
fn what_is_printed_is_read_back() {
    let hundredths = |count: i32| PrismDioptre::from_thousandths(count * 10).expect("in range");
    for x in (-1000..=1000).step_by(7) {
        for y in [-350, -25, 0, 1, 50, 725] {
            let prism = Prism::new(hundredths(x), hundredths(y));
            for eye in [Eye::Right, Eye::Left] {
                let text = prism.of(eye).to_string();
                assert_eq!(Prism::parse(&text, eye), Ok(prism), "{text}");
            }
        }
    }
    for amount in [1, 2, 25, 50, 125, 250, 333, 1000, 4000].map(hundredths) {
        for degrees in 1..=360u16 {
            let base = Bearing::from_degrees(degrees).expect("in range");
            let prism = Prism::from_base(amount, base);
            let text = prism.to_string();
            let expected = match degrees {
                90 => format!("{amount} base up"),
                270 => format!("{amount} base down"),
                _ => format!("{amount} @ {base}"),
            };
            assert_eq!(text, expected);
            assert_eq!(text.parse(), Ok(prism), "{text}");
        }
    }
    assert_eq!(Prism::ZERO.to_string(), "0.00");
    assert_eq!(Prism::ZERO.of(Eye::Left).to_string(), "0.00");
    let small = Prism::new(prism_dioptres!(1.25), PrismDioptre::ZERO);
    assert_eq!(small.of(Eye::Right).to_string(), "1.25 base in");
    assert_eq!(format!("{:.1}", small.of(Eye::Left)), "1.3 base out", "precision is honoured");
    assert_eq!(format!("{small:.3}"), "1.250 @ 360");
}

#[cfg(feature = "serde")]
#[test]
fn goes_over_the_wire() {
    let prism = prism(-5, 1 << 20);
    let json = serde_json::to_string(&prism).expect("serialises");
    assert_eq!(json, r#"{"x":-5,"y":1048576}"#);
    assert_eq!(serde_json::from_str::<Prism>(&json).expect("deserialises"), prism);
    let bytes = postcard::to_stdvec(&(prism, Eye::Left)).expect("serialises");
    assert_eq!(postcard::from_bytes::<(Prism, Eye)>(&bytes), Ok((prism, Eye::Left)));
}

#[test]
fn a_length_beyond_the_scale_is_saturated() {
    // 100 prism dioptres at 0.031 D lie 32 km away.
    let weak: PowerMatrix = "+0.031".parse::<SpheroCylinder>().expect("a prescription").into();
    let far = decentration(weak, Prism::new(prism_dioptres!(110.0), prism_dioptres!(-110.0))).expect("powered");
    assert_eq!((far.x, far.y), (Millimetre::MAX, Millimetre::MIN));
    assert_eq!(far.distance(), Millimetre::MAX);
    let near = decentration(weak, Prism::new(prism_dioptres!(3.1), PrismDioptre::ZERO)).expect("powered");
    assert!((near.x - millimetres!(1000.0)).abs() < millimetres!(0.1));
}

/// A number and another number is no prism: the bearing needs `@` or `base` before it.
#[test]
fn a_bearing_needs_its_word() {
    let error = "2.5 37".parse::<Prism>().expect_err("no base named");
    assert_eq!((error.kind(), error.position()), (dioptric::text::ParseErrorKind::BaseMissing, 4));
}
