//! Power vectors and matrices against the oracle: bounds, exact symmetries, the laws of a group, borders, samples.

mod common;

use common::{Budget, Random, Worst, edges};
use dioptric::oracle;
use dioptric::quantity::{Axis, Degree, Dioptre, Millimetre, Point};
use dioptric::rx::{self, MOST_POWER, SpheroCylinder};
use dioptric::vector::{Error, LEAST_POWER, PowerMatrix, PowerVector, Sample};
use dioptric::{degrees, dioptres, millimetres};
use proptest::prelude::*;

/// Units of 2^-20 in one.
const ONE: f64 = 1_048_576.0;
const UNITS_OF_AXIS: f64 = 4_294_967_296.0 / 180.0;
const RANDOM: u64 = 2_000_000;

/// Every bound that the documentation of `vector` states.
const BUDGETS: &[Budget] = &[
    Budget {
        function: "PowerVector::from, a component",
        domain: "every prescription",
        unit: "D",
        allowed: 0.6 / ONE,
        points: RANDOM,
        measure: component_error,
    },
    Budget {
        function: "PowerVector::from, the vector",
        domain: "every prescription",
        unit: "D",
        allowed: 0.9e-6,
        points: RANDOM,
        measure: vector_error,
    },
    Budget {
        function: "PowerMatrix::from, an element",
        domain: "every prescription",
        unit: "D",
        allowed: 1.2 / ONE,
        points: RANDOM,
        measure: matrix_error,
    },
    Budget {
        function: "PowerVector::sphero_cylinder, sphere",
        domain: "every vector of a prescription",
        unit: "D",
        allowed: 0.6e-6,
        points: RANDOM,
        measure: |worst| back_error(worst, |errors| errors.sphere),
    },
    Budget {
        function: "PowerVector::sphero_cylinder, cylinder",
        domain: "every vector of a prescription",
        unit: "D",
        allowed: 1.2e-6,
        points: RANDOM,
        measure: |worst| back_error(worst, |errors| errors.cylinder),
    },
    Budget {
        function: "PowerVector::sphero_cylinder, axis",
        domain: "every vector of a prescription",
        unit: "degree",
        allowed: 2e-7,
        points: RANDOM,
        measure: |worst| back_error(worst, |errors| errors.axis),
    },
    Budget {
        function: "to a vector and back, sphere",
        domain: "sphere to 40 D, cylinder to 64 D",
        unit: "D",
        allowed: 2e-6,
        points: RANDOM,
        measure: |worst| round_trip_error(worst, |errors| errors.sphere),
    },
    Budget {
        function: "to a vector and back, cylinder",
        domain: "sphere to 40 D, cylinder to 64 D",
        unit: "D",
        allowed: 2e-6,
        points: RANDOM,
        measure: |worst| round_trip_error(worst, |errors| errors.cylinder),
    },
    Budget {
        function: "to a vector and back, axis",
        domain: "cylinder of 0.25 D and more",
        unit: "degree",
        allowed: 0.0002,
        points: RANDOM,
        measure: |worst| round_trip_error(worst, |errors| errors.axis),
    },
    Budget {
        function: "to a vector and back, axis",
        domain: "cylinder below 0.25 D",
        unit: "unit of J, as an angle",
        allowed: 1.0,
        points: RANDOM,
        measure: weak_axis_error,
    },
    Budget {
        function: "PowerVector::half_cylinder",
        domain: "whole, beyond half a unit of 2^-20 D",
        unit: "of itself",
        allowed: 3e-9,
        points: RANDOM,
        measure: half_cylinder_error,
    },
    Budget {
        function: "PowerVector::blur_strength",
        domain: "whole",
        unit: "D",
        allowed: 0.5 / ONE,
        points: RANDOM,
        measure: blur_error,
    },
    Budget {
        function: "PowerVector::power_along",
        domain: "whole, beyond half a unit of 2^-20 D",
        unit: "of the half cylinder",
        allowed: 4e-9,
        points: RANDOM,
        measure: power_along_error,
    },
    Budget {
        function: "PowerVector::torsion_along",
        domain: "whole, beyond half a unit of 2^-20 D",
        unit: "of the half cylinder",
        allowed: 4e-9,
        points: RANDOM,
        measure: torsion_along_error,
    },
    Budget {
        function: "PowerVector::turned",
        domain: "whole, beyond half a unit of 2^-20 D",
        unit: "of the half cylinder",
        allowed: 4e-9,
        points: RANDOM,
        measure: turned_error,
    },
    Budget {
        function: "PowerMatrix::prism_at",
        domain: "elements to 512 D, unsaturated",
        unit: "prism dioptre",
        allowed: 0.5 / ONE,
        points: RANDOM,
        measure: prism_at_error,
    },
    Budget {
        function: "PowerMatrix::inverse",
        domain: "focal lengths to 32 m, beyond half a unit of 2^-16 mm",
        unit: "of the longest focal length",
        allowed: 5e-10,
        points: RANDOM / 2,
        measure: inverse_error,
    },
    Budget {
        function: "PowerMatrix::stepped",
        domain: "det(I - d F) of 1/64 and more, beyond half a unit of 2^-20 D",
        unit: "of (F + result) / det(I - d F)",
        allowed: 4e-9,
        points: RANDOM / 2,
        measure: stepped_error,
    },
];

#[test]
fn every_documented_bound_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

fn exact(lens: SpheroCylinder) -> oracle::SpheroCylinder {
    let axis = f64::from(lens.axis().to_bits()) / UNITS_OF_AXIS;
    oracle::SpheroCylinder { sphere: lens.sphere().to_f64(), cylinder: lens.cylinder().to_f64(), axis }
}

fn bits_of(v: PowerVector) -> [f64; 3] {
    [v.m, v.j0, v.j45].map(|part| f64::from(part.to_bits()))
}

fn matrix_of(f: PowerMatrix) -> oracle::Matrix {
    oracle::Matrix { xx: f.xx.to_f64(), xy: f.xy.to_f64(), yy: f.yy.to_f64() }
}

fn vector(m: i32, j0: i32, j45: i32) -> PowerVector {
    PowerVector { m: Dioptre::from_bits(m), j0: Dioptre::from_bits(j0), j45: Dioptre::from_bits(j45) }
}

/// A quarter-dioptre grid with special axes, then random prescriptions with cylinders of every size.
fn lenses(stream: &str, most_sphere: Dioptre) -> impl Iterator<Item = SpheroCylinder> {
    let axes = (0..=16u32).flat_map(|part| (0..5).map(move |offset| (part << 28).wrapping_add(offset).wrapping_sub(2)));
    let corners = axes.flat_map(|axis| {
        [0, 1, -1, 2, 3, -3, 1 << 18, 1 << 20, -(1 << 25), (1 << 26) - 1, 1 << 26, -(1 << 26)]
            .into_iter()
            .flat_map(move |cylinder| [0, 1, -1, 1 << 24, -(1 << 24)].map(move |sphere| (sphere, cylinder, axis)))
    });
    let mut source = Random::new(stream);
    let random = (0..RANDOM + 200_000).map(move |index| {
        let shift = if index & 3 == 0 { source.u32() % 26 } else { 0 };
        (source.within(MOST_POWER.to_bits()), source.within(MOST_POWER.to_bits()) >> shift, source.u32())
    });
    let most = most_sphere.to_bits();
    corners.chain(random).filter_map(move |(sphere, cylinder, axis)| {
        // Spheres that leave room for the cylinder.
        let sphere = sphere.clamp(-most, most);
        let room = MOST_POWER.to_bits() - cylinder.abs();
        let sphere = if (sphere + cylinder).abs() > MOST_POWER.to_bits() {
            (sphere.abs() % (room + 1)) * -cylinder.signum()
        } else {
            sphere
        };
        SpheroCylinder::new(Dioptre::from_bits(sphere), Dioptre::from_bits(cylinder), Axis::from_bits(axis)).ok()
    })
}

fn component_errors(lens: SpheroCylinder) -> [f64; 3] {
    let (found, wanted) = (bits_of(lens.into()), exact(lens).vector());
    [0, 1, 2].map(|part| (found[part] / ONE - wanted[part]).abs())
}

fn component_error(worst: &mut Worst) {
    for lens in lenses("vector components", MOST_POWER) {
        let [m, j0, j45] = component_errors(lens);
        worst.see(m.max(j0).max(j45), || format!("{lens:?}"));
    }
}

fn vector_error(worst: &mut Worst) {
    for lens in lenses("vectors", MOST_POWER) {
        let [m, j0, j45] = component_errors(lens);
        worst.see((m * m + j0 * j0 + j45 * j45).sqrt(), || format!("{lens:?}"));
    }
}

fn matrix_error(worst: &mut Worst) {
    for lens in lenses("matrices", MOST_POWER) {
        let (found, wanted) = (matrix_of(lens.into()), exact(lens).matrix());
        let errors = [found.xx - wanted.xx, found.xy - wanted.xy, found.yy - wanted.yy];
        worst.see(errors.into_iter().map(f64::abs).fold(0.0, f64::max), || format!("{lens:?}"));
    }
}

/// Errors of a prescription in minus form, dioptres and degrees.
struct Errors {
    sphere: f64,
    cylinder: f64,
    axis: f64,
}

impl Errors {
    fn between(found: SpheroCylinder, wanted: oracle::SpheroCylinder) -> Self {
        let found = exact(found);
        let turn = (found.axis - wanted.axis).rem_euclid(180.0);
        Self {
            sphere: (found.sphere - wanted.sphere).abs(),
            cylinder: (found.cylinder - wanted.cylinder).abs(),
            axis: turn.min(180.0 - turn),
        }
    }
}

/// Vectors of prescriptions, moved off by a few units so that they are not themselves images of a prescription.
fn vectors(stream: &'static str) -> impl Iterator<Item = PowerVector> {
    let mut source = Random::new(stream);
    lenses(stream, MOST_POWER).map(move |lens| {
        let [m, j0, j45] = bits_of(lens.into()).map(|bits| bits as i32 + source.within(2));
        vector(m, j0, j45)
    })
}

fn back_error(worst: &mut Worst, part: fn(&Errors) -> f64) {
    for v in vectors("back") {
        let Ok(found) = v.sphero_cylinder() else { continue };
        if (v.j0, v.j45) == (Dioptre::ZERO, Dioptre::ZERO) {
            assert_eq!((found.axis(), found.sphere()), (Axis::HORIZONTAL, v.m));
            continue;
        }
        let wanted = oracle::SpheroCylinder::from_vector(bits_of(v).map(|bits| bits / ONE));
        worst.see(part(&Errors::between(found, wanted)), || format!("{v:?}"));
    }
}

fn round_trip(lens: SpheroCylinder) -> Option<Errors> {
    let found = PowerVector::from(lens).sphero_cylinder().ok()?;
    Some(Errors::between(found, oracle::SpheroCylinder::from_vector(exact(lens).vector())))
}

fn is_strong(lens: SpheroCylinder) -> bool {
    lens.cylinder().abs() >= dioptres!(0.25)
}

fn round_trip_error(worst: &mut Worst, part: fn(&Errors) -> f64) {
    for lens in lenses("round trip", dioptres!(40.0)) {
        let Some(mut errors) = round_trip(lens) else { continue };
        if !is_strong(lens) {
            // Judged by the unit of J in the next line of the budget.
            errors.axis = 0.0;
        }
        worst.see(part(&errors), || format!("{lens:?}"));
    }
}

/// The axis error of weak cylinders as a distance of (J0, J45) in units of 2^-20 D.
fn weak_axis_error(worst: &mut Worst) {
    let mut source = Random::new("weak cylinders");
    for _ in 0..RANDOM {
        let bits = source.within(1 << 18) >> (source.u32() % 17);
        let lens = SpheroCylinder::new(Dioptre::ZERO, Dioptre::from_bits(bits), Axis::from_bits(source.u32()));
        let lens = lens.expect("in range");
        if lens.cylinder() == Dioptre::ZERO || is_strong(lens) {
            worst.see(0.0, String::new);
            continue;
        }
        let errors = round_trip(lens).expect("in range");
        let half = f64::from(lens.cylinder().abs().to_bits()) / 2.0;
        worst.see(half * (2.0 * errors.axis.to_radians()).sin(), || format!("{lens:?}"));
    }
}

/// Vectors of the whole range, extremes included.
fn any_vectors(stream: &'static str) -> impl Iterator<Item = PowerVector> {
    let few = [0, 1, -1, 2, 1 << 20, -(1 << 26), 1 << 30, i32::MAX - 1, 1 - i32::MAX];
    let corners =
        few.into_iter().flat_map(move |m| few.into_iter().flat_map(move |j0| few.map(move |j45| vector(m, j0, j45))));
    let mut source = Random::new(stream);
    let random = (0..RANDOM + 10_000).map(move |index| {
        if index & 1 == 0 {
            vector(source.of_any_size(), source.of_any_size(), source.of_any_size())
        } else {
            vector(source.within(1 << 26), source.within(1 << 26), source.within(1 << 26))
        }
    });
    corners.chain(random).filter(|v| !v.is_saturated())
}

/// What of an error in units lies beyond half a unit, relative to `scale`.
fn beyond_half(error: f64, scale: f64) -> f64 {
    (error.abs() - 0.5).max(0.0) / scale.max(1.0)
}

fn half_cylinder_error(worst: &mut Worst) {
    for v in any_vectors("half cylinder") {
        let [_, j0, j45] = bits_of(v);
        let wanted = j0.hypot(j45);
        let found = v.half_cylinder();
        if found.is_saturated() {
            assert!(wanted > f64::from(i32::MAX) * (1.0 - 3e-9) - 1.0, "{v:?}");
        } else {
            worst.see(beyond_half(f64::from(found.to_bits()) - wanted, wanted), || format!("{v:?}"));
        }
    }
}

fn blur_error(worst: &mut Worst) {
    for v in any_vectors("blur") {
        let wanted = bits_of(v).into_iter().map(|part| part * part).sum::<f64>().sqrt();
        let found = v.blur_strength();
        if found.is_saturated() {
            assert!(wanted > f64::from(i32::MAX) - 1.0, "{v:?}");
        } else {
            worst.see((f64::from(found.to_bits()) - wanted).abs() / ONE, || format!("{v:?}"));
        }
    }
}

/// `(power, torsion)` along a meridian of twice that angle, straight from the definition, in units.
fn along(v: PowerVector, double: f64) -> (f64, f64) {
    let [m, j0, j45] = bits_of(v);
    (m + j0 * double.cos() + j45 * double.sin(), j45 * double.cos() - j0 * double.sin())
}

fn double_angle(axis: Axis) -> f64 {
    f64::from(axis.to_bits()) / 4_294_967_296.0 * std::f64::consts::TAU
}

fn meridian_error(worst: &mut Worst, measure: impl Fn(PowerVector, Axis) -> (Dioptre, f64)) {
    let mut source = Random::new("meridians");
    for v in any_vectors("along") {
        let meridian = Axis::from_bits(source.u32());
        let (found, wanted) = measure(v, meridian);
        let [m, j0, j45] = bits_of(v);
        if found.is_saturated() {
            // The cylinder's part alone, or the sum.
            let largest = wanted.abs().max((wanted - m).abs());
            assert!(largest > f64::from(i32::MAX) * (1.0 - 4e-9) - 1.0, "{v:?}");
            continue;
        }
        let error = f64::from(found.to_bits()) - wanted;
        worst.see(beyond_half(error, j0.hypot(j45)), || format!("{v:?} along {meridian}"));
    }
}

fn power_along_error(worst: &mut Worst) {
    meridian_error(worst, |v, meridian| (v.power_along(meridian), along(v, double_angle(meridian)).0));
}

fn torsion_along_error(worst: &mut Worst) {
    meridian_error(worst, |v, meridian| (v.torsion_along(meridian), along(v, double_angle(meridian)).1));
}

fn turned_error(worst: &mut Worst) {
    let mut source = Random::new("angles");
    for v in any_vectors("turned") {
        let angle = Degree::from_bits(source.of_any_size());
        if angle.is_saturated() {
            continue;
        }
        let turned = v.turned(angle);
        assert_eq!(turned.m, v.m);
        let [_, j0, j45] = bits_of(v);
        // The angle itself is taken to the nearest unit of the axis.
        let double = double_angle(Axis::HORIZONTAL.turned(angle));
        let wanted = [j0 * double.cos() - j45 * double.sin(), j45 * double.cos() + j0 * double.sin()];
        for (found, wanted) in [turned.j0, turned.j45].into_iter().zip(wanted) {
            if found.is_saturated() {
                assert!(wanted.abs() > f64::from(i32::MAX) * (1.0 - 4e-9) - 1.0, "{v:?}");
            } else {
                let error = f64::from(found.to_bits()) - wanted;
                worst.see(beyond_half(error, j0.hypot(j45)), || format!("{v:?} by {angle:?}"));
            }
        }
    }
}

/// The angle's own rounding, which the bound of `turned` does not count.
#[test]
fn turning_takes_the_angle_to_the_nearest_unit_of_the_axis() {
    let v = vector(0, 1 << 24, 0);
    for bits in edges() {
        let angle = Degree::from_bits(bits);
        if angle.is_saturated() {
            assert!(v.turned(angle).is_saturated());
            continue;
        }
        let double = 2.0 * angle.to_f64().to_radians();
        let turned = v.turned(angle);
        let off = f64::from(turned.j0.to_bits()) / f64::from(1 << 24) - double.cos();
        assert!(off.abs() <= 0.5 / f64::from(1 << 24) + 1e-8, "{angle:?} {off}");
    }
}

fn matrices(stream: &'static str, most: i32) -> impl Iterator<Item = PowerMatrix> {
    let mut source = Random::new(stream);
    (0..RANDOM).map(move |index| {
        let shift = if index & 1 == 0 { 0 } else { source.u32() % 20 };
        let mut element = || Dioptre::from_bits(source.within(most) >> shift);
        PowerMatrix { xx: element(), xy: element(), yy: element() }
    })
}

fn prism_at_error(worst: &mut Worst) {
    let mut source = Random::new("points");
    for f in matrices("prism at", 512 << 20) {
        let shift = source.u32() & 15;
        let point =
            Point::new(Millimetre::from_bits(source.i32() >> shift), Millimetre::from_bits(source.i32() >> shift));
        if point.is_saturated() {
            continue;
        }
        let prism = f.prism_at(point);
        let bits = |value: i32| i128::from(value);
        let (x, y) = (bits(point.x.to_bits()), bits(point.y.to_bits()));
        for (found, a, b) in [(prism.x, f.xx, f.xy), (prism.y, f.xy, f.yy)] {
            let sum = -(bits(a.to_bits()) * x + bits(b.to_bits()) * y);
            let wanted = sum as f64 / 655_360.0;
            if found.is_saturated() {
                assert!(wanted.abs() > f64::from(i32::MAX) - 1.0, "{f:?} {point}");
                worst.see(0.0, String::new);
            } else {
                worst.see((f64::from(found.to_bits()) - wanted).abs() / ONE, || format!("{f:?} {point}"));
            }
        }
    }
}

fn inverse_error(worst: &mut Worst) {
    let corners = [0.031, -0.04, 0.5, 1.0, -3.0, 20.0, 64.0].map(|power| Dioptre::try_from_f64(power).expect("fits"));
    let corners: Vec<PowerMatrix> =
        corners.into_iter().flat_map(|xx| corners.map(|yy| PowerMatrix { xx, xy: Dioptre::ZERO, yy })).collect();
    // One meridian as weak as can be, where focal lengths are longest and count most units.
    let mut source = Random::new("weak meridians");
    let weak = (0..RANDOM / 2).map(|_| {
        let (m, strength) = (source.within(20 << 20), 32_300 + source.within(300));
        let cylinder = Dioptre::from_bits(m - strength).double();
        let lens = SpheroCylinder::new(Dioptre::from_bits(strength), cylinder, Axis::from_bits(source.u32()));
        PowerMatrix::from(lens.expect("in range"))
    });
    for f in corners.into_iter().chain(weak).chain(matrices("inverse", 64 << 20)) {
        let Ok(found) = f.inverse() else { continue };
        let exact = matrix_of(f);
        let det = exact.det();
        let weakest = {
            let lens = exact.sphero_cylinder();
            lens.sphere.abs().min((lens.sphere + lens.cylinder).abs())
        };
        let longest = 65_536_000.0 / weakest;
        let wanted = [exact.yy, -exact.xy, exact.xx].map(|element| element / det * 65_536_000.0);
        for (found, wanted) in [found.xx, found.xy, found.yy].into_iter().zip(wanted) {
            worst.see(beyond_half(f64::from(found.to_bits()) - wanted, longest), || format!("{f:?}"));
        }
    }
}

/// The larger principal power of a matrix, and `det(I - d F)`.
fn step_scale(f: oracle::Matrix, millimetres: f64) -> (f64, f64) {
    let lens = f.sphero_cylinder();
    let d = millimetres / 1000.0;
    let (a, b) = (lens.sphere, lens.sphere + lens.cylinder);
    (a.abs().max(b.abs()), (1.0 - d * a) * (1.0 - d * b))
}

fn stepped_error(worst: &mut Worst) {
    let mut source = Random::new("steps");
    for f in matrices("stepped", 100 << 20) {
        let distance = Millimetre::from_bits(source.within(60 << 16) >> (source.u32() & 7));
        let Ok(found) = f.stepped(distance) else { continue };
        let wanted = matrix_of(f).step(distance.to_f64());
        let (before, det) = step_scale(matrix_of(f), distance.to_f64());
        let (after, _) = step_scale(wanted, 0.0);
        for (found, wanted) in [(found.xx, wanted.xx), (found.xy, wanted.xy), (found.yy, wanted.yy)] {
            let error = f64::from(found.to_bits()) - wanted * ONE;
            let scale = (before + after) * ONE / det;
            if !found.is_saturated() {
                worst.see(beyond_half(error, scale), || format!("{f:?} by {distance}"));
            }
        }
    }
}

/// Both forms, negation and mirror images agree to the bit, out and back.
fn assert_symmetric(lens: SpheroCylinder) {
    let v = PowerVector::from(lens);
    assert_eq!(PowerVector::from(lens.transposed()), v, "{lens:?}");
    let negated = SpheroCylinder::new(-lens.sphere(), -lens.cylinder(), lens.axis()).expect("in range");
    assert_eq!(PowerVector::from(negated), -v, "{lens:?}");
    let mirror = |v: PowerVector| PowerVector { j45: -v.j45, ..v };
    assert_eq!(PowerVector::from(lens.mirrored()), mirror(v), "{lens:?}");
    let crossed = SpheroCylinder::new(lens.sphere(), lens.cylinder(), lens.axis().perpendicular()).expect("in range");
    assert_eq!(PowerVector::from(crossed), PowerVector { m: v.m, j0: -v.j0, j45: -v.j45 }, "{lens:?}");
    assert_eq!(v.m, lens.spherical_equivalent());
    let Ok(back) = v.sphero_cylinder() else { return };
    assert_eq!(back.spherical_equivalent(), v.m, "{lens:?}");
    assert!(back.cylinder() <= Dioptre::ZERO);
    if back.cylinder() == Dioptre::ZERO {
        assert_eq!((back.axis(), back.sphere()), (Axis::HORIZONTAL, v.m));
    } else {
        assert_eq!(mirror(v).sphero_cylinder(), Ok(back.mirrored()), "{lens:?}");
        if let Ok(negated) = (-v).sphero_cylinder() {
            let plus = SpheroCylinder::new(-back.sphere(), -back.cylinder(), back.axis()).expect("in range");
            assert_eq!(negated, plus.minus_form(), "{lens:?}");
        }
    }
}

#[test]
fn forms_negation_and_mirror_images_agree_to_the_bit() {
    lenses("symmetry", MOST_POWER).take(500_000).for_each(assert_symmetric);
    for quarters in -16..=16 {
        for degrees in 0..=180 {
            let cylinder = Dioptre::from_bits(quarters << 18);
            let axis = Axis::from_degrees(degrees).expect("in range");
            assert_symmetric(SpheroCylinder::new(dioptres!(-1.25), cylinder, axis).expect("in range"));
        }
    }
}

/// An axis of 22.5 degrees has J0 = J45: the components once came from two polynomials and differed from their mirror image's.
#[test]
fn the_diagonals_of_the_double_angle_have_equal_components() {
    for eighths in [1u32, 3, 5, 7] {
        for cylinder in [dioptres!(-1.0), dioptres!(0.25), dioptres!(-63.99), dioptres!(64.0)] {
            let lens = SpheroCylinder::new(Dioptre::ZERO, cylinder, Axis::from_bits(eighths << 29)).expect("in range");
            let v = PowerVector::from(lens);
            assert_eq!(v.j0.abs(), v.j45.abs(), "{lens:?}");
            assert_symmetric(lens);
        }
    }
}

fn small_vectors() -> impl Strategy<Value = PowerVector> {
    let part = || -(1 << 28)..1 << 28;
    (part(), part(), part()).prop_map(|(m, j0, j45)| vector(m, j0, j45))
}

fn all_vectors() -> impl Strategy<Value = PowerVector> {
    let part = || prop_oneof![any::<i32>(), Just(i32::MAX), Just(i32::MIN), -3..3];
    (part(), part(), part()).prop_map(|(m, j0, j45)| vector(m, j0, j45))
}

proptest! {
    #![proptest_config(common::cases(20_000, "tests/data/regressions/vector.txt"))]

    #[test]
    fn powers_form_a_group(a in small_vectors(), b in small_vectors(), c in small_vectors()) {
        prop_assert_eq!(a + b, b + a);
        prop_assert_eq!((a + b) + c, a + (b + c));
        prop_assert_eq!(a + PowerVector::ZERO, a);
        prop_assert_eq!(a + -a, PowerVector::ZERO);
        prop_assert_eq!(a - b, a + -b);
        prop_assert_eq!(-(a + b), -a + -b);
        prop_assert_eq!(b + a.residual_after(b), a);
        prop_assert_eq!([a, b, c].into_iter().sum::<PowerVector>(), a + b + c);
    }

    #[test]
    fn a_sum_with_a_saturated_power_is_saturated(a in all_vectors(), b in all_vectors()) {
        if a.is_saturated() || b.is_saturated() {
            prop_assert!((a + b).is_saturated() && (b + a).is_saturated() && (a - b).is_saturated());
        }
        prop_assert_eq!(-(a + b), -a + -b);
    }

    #[test]
    fn a_saturated_power_is_never_read_as_one(v in all_vectors(), part in 0..3, end in prop_oneof![Just(Dioptre::MAX), Just(Dioptre::MIN)]) {
        let v = match part {
            0 => PowerVector { m: end, ..v },
            1 => PowerVector { j0: end, ..v },
            _ => PowerVector { j45: end, ..v },
        };
        prop_assert!(v.sphero_cylinder().is_err());
        prop_assert!(v.blur_strength().is_saturated());
        prop_assert!(v.power_along(Axis::VERTICAL).is_saturated());
        prop_assert!(v.torsion_along(Axis::VERTICAL).is_saturated());
        let turned = v.turned(degrees!(10.0));
        prop_assert!(turned.j0.is_saturated() && turned.j45.is_saturated());
        prop_assert!(PowerMatrix::from(v).is_saturated());
    }

    #[test]
    fn matrix_and_vector_are_the_same_power(v in small_vectors()) {
        let f = PowerMatrix::from(v);
        prop_assert_eq!(PowerVector::from(f), v);
        prop_assert_eq!(f.trace(), v.m.double());
        let [m, j0, j45] = bits_of(v);
        let wanted = m * m - j0 * j0 - j45 * j45;
        prop_assert!((f.determinant_bits() as f64 - wanted).abs() <= 1e-12 * m.powi(2).max(j0.powi(2)).max(1.0) * 10.0);
    }

    #[test]
    fn any_matrix_becomes_the_nearest_vector(xx in -(1 << 30)..1 << 30, xy in any::<i32>(), yy in -(1 << 30)..1 << 30) {
        let f = PowerMatrix { xx: Dioptre::from_bits(xx), xy: Dioptre::from_bits(xy), yy: Dioptre::from_bits(yy) };
        let v = PowerVector::from(f);
        prop_assert!((2 * i64::from(v.m.to_bits()) - (i64::from(xx) + i64::from(yy))).abs() <= 1);
        prop_assert!((2 * i64::from(v.j0.to_bits()) - (i64::from(xx) - i64::from(yy))).abs() <= 1);
        prop_assert_eq!(v.j45, f.xy);
    }
}

#[test]
fn turns_by_eighths_are_exact_and_undo_themselves() {
    let mut source = Random::new("turns");
    for _ in 0..100_000 {
        let v = vector(source.of_any_size(), source.within(i32::MAX - 1), source.within(i32::MAX - 1));
        if v.is_saturated() {
            continue;
        }
        let PowerVector { m, j0, j45 } = v;
        for (angle, expected) in [
            (degrees!(0.0), v),
            (degrees!(45.0), PowerVector { m, j0: -j45, j45: j0 }),
            (degrees!(90.0), PowerVector { m, j0: -j0, j45: -j45 }),
            (degrees!(-45.0), PowerVector { m, j0: j45, j45: -j0 }),
            (degrees!(135.0), PowerVector { m, j0: j45, j45: -j0 }),
            (degrees!(180.0), v),
            (degrees!(-360.0), v),
        ] {
            assert_eq!(v.turned(angle), expected, "{v:?} by {angle}");
        }
        let angle = Degree::from_bits(source.of_any_size());
        let mirrored = PowerVector { j45: -j45, ..v };
        let turned = v.turned(angle);
        assert_eq!(mirrored.turned(-angle), PowerVector { j45: -turned.j45, ..turned }, "mirror image");
        assert_eq!((-v).turned(angle), -turned, "odd");
    }
}

#[test]
fn a_meridian_agrees_with_the_sine_squared_law_and_the_turned_matrix() {
    let mut source = Random::new("sine squared");
    for lens in lenses("meridian lenses", MOST_POWER).take(200_000) {
        let meridian = Axis::from_bits(source.u32());
        let wanted = exact(lens).power_along(f64::from(meridian.to_bits()) / UNITS_OF_AXIS);
        let v = PowerVector::from(lens);
        assert!((v.power_along(meridian).to_f64() - wanted).abs() <= 2e-6, "{lens:?} along {meridian}");
        // The matrix in axes turned to the meridian: the lens turned the other way.
        let back = Degree::from_bits(-(f64::from(meridian.to_bits()) / UNITS_OF_AXIS * ONE).round() as i32);
        let turned = PowerMatrix::from(v.turned(back));
        assert!((turned.xx.to_f64() - v.power_along(meridian).to_f64()).abs() <= 4e-6, "{lens:?}");
        assert!((turned.xy.to_f64() - v.torsion_along(meridian).to_f64()).abs() <= 4e-6, "{lens:?}");
    }
    let lens: SpheroCylinder = "+2.00 -1.50 x 30".parse().expect("a prescription");
    let v = PowerVector::from(lens);
    for (meridian, power) in
        [(lens.axis(), lens.sphere()), (lens.axis().perpendicular(), lens.sphere() + lens.cylinder())]
    {
        assert!((v.power_along(meridian) - power).abs() <= Dioptre::SLACK, "a principal power");
        assert!(v.torsion_along(meridian).abs() <= Dioptre::SLACK, "no torsion along a principal meridian");
    }
}

#[test]
fn a_vector_beyond_a_prescription_is_refused() {
    let most = MOST_POWER.to_bits();
    for on_the_limit in [
        vector(0, most / 2, 0),
        vector(most, 0, 0),
        vector(-most, 0, 0),
        vector(most - 5, 3, 4),
        vector(5 - most, 0, 5),
    ] {
        assert!(on_the_limit.sphero_cylinder().is_ok(), "{on_the_limit:?}");
    }
    assert_eq!(vector(most - 4, 3, 4).sphero_cylinder(), Err(rx::Error::PowerRange));
    assert_eq!(vector(4 - most, 3, 4).sphero_cylinder(), Err(rx::Error::PowerRange));
    assert_eq!(vector(0, most / 2 + 1, 0).sphero_cylinder(), Err(rx::Error::CylinderRange));
    assert_eq!(vector(most, 1, 0).sphero_cylinder(), Err(rx::Error::PowerRange));
    assert_eq!(vector(-most, 0, 1).sphero_cylinder(), Err(rx::Error::PowerRange));
    assert_eq!(vector(i32::MAX, 0, 0).sphero_cylinder(), Err(rx::Error::PowerRange));
    assert_eq!(vector(i32::MIN, 1 << 25, 0).sphero_cylinder(), Err(rx::Error::PowerRange));
    assert_eq!(vector(0, i32::MAX, i32::MAX).sphero_cylinder(), Err(rx::Error::CylinderRange));
    assert_eq!(vector(0, i32::MIN, 0).sphero_cylinder(), Err(rx::Error::CylinderRange));
}

fn sphere(power: Dioptre) -> PowerMatrix {
    PowerMatrix { xx: power, xy: Dioptre::ZERO, yy: power }
}

#[test]
fn a_power_without_reach_has_no_focal_lengths() {
    let plano: PowerMatrix = "pl -2.00 x 37".parse::<SpheroCylinder>().expect("a prescription").into();
    let saturated = PowerMatrix { xx: Dioptre::MAX, ..sphere(dioptres!(1.0)) };
    for (power, expected) in [
        (sphere(Dioptre::ZERO), Error::NoPower),
        (sphere(dioptres!(0.01)), Error::NoPower),
        (sphere(LEAST_POWER - Dioptre::from_bits(1)), Error::NoPower),
        // Beyond 32 m.
        (sphere(dioptres!(0.03)), Error::NoPower),
        (plano, Error::NoPower),
        (saturated, Error::Saturated),
    ] {
        assert_eq!(power.inverse(), Err(expected), "{power:?}");
        assert!(!expected.to_string().is_empty());
        assert_eq!(expected.is_range(), expected == Error::Saturated);
    }
    let focal = sphere(dioptres!(0.03125)).inverse().expect("32 m");
    assert_eq!(focal.xx, millimetres!(32000.0));
    assert_eq!(focal.xx, focal.yy);
}

#[test]
fn a_step_is_refused_at_its_borders() {
    let ten = sphere(dioptres!(10.0));
    let saturated = PowerMatrix { xy: Dioptre::MIN, ..ten };
    for (power, distance, expected) in [
        (ten, millimetres!(100.0), Error::FocusInStep),
        (ten, millimetres!(87.6), Error::FocusInStep),
        (ten, millimetres!(120.0), Error::FocusInStep),
        (ten, millimetres!(199.99), Error::FocusInStep),
        (ten, millimetres!(200.0), Error::StepRange),
        (ten, millimetres!(-200.0), Error::StepRange),
        (sphere(dioptres!(600.0)), millimetres!(1.0), Error::StepRange),
        (ten, Millimetre::MAX, Error::Saturated),
        (saturated, millimetres!(1.0), Error::Saturated),
        // One meridian in focus, the other far from it.
        (PowerMatrix { yy: dioptres!(-10.0), ..ten }, millimetres!(100.0), Error::FocusInStep),
    ] {
        assert_eq!(power.stepped(distance), Err(expected), "{power:?} by {distance}");
    }
    assert!(ten.stepped(millimetres!(87.4)).is_ok());
    assert!(ten.stepped(millimetres!(-199.9)).is_ok());
    assert_eq!(ten.stepped(Millimetre::ZERO), Ok(ten));
}

#[test]
fn a_step_and_back_returns_to_the_power() {
    let mut source = Random::new("step and back");
    let mut worst = 0.0f64;
    for lens in lenses("stepped lenses", dioptres!(20.0)).take(400_000) {
        let f = PowerMatrix::from(lens);
        let distance = Millimetre::from_bits(source.within(15 << 16));
        let Ok(there) = f.stepped(distance) else { continue };
        let Ok(back) = there.stepped(-distance) else { continue };
        let (power, det) = step_scale(matrix_of(f), distance.to_f64());
        // The error of the first step, magnified by the second, plus the second's own.
        let growth = det.max(1.0 / det).powi(2);
        let bound = (2.0 + 8e-9 * power * ONE / det.min(1.0)) * growth / ONE;
        for (a, b) in [(f.xx, back.xx), (f.xy, back.xy), (f.yy, back.yy)] {
            let error = (a - b).abs().to_f64();
            assert!(error <= bound, "{lens:?} by {distance}: {error:e} against {bound:e}");
            if power <= 20.0 {
                worst = worst.max(error);
            }
        }
        let mirrored = PowerMatrix { xy: -f.xy, ..f };
        assert_eq!(mirrored.stepped(distance), Ok(PowerMatrix { xy: -there.xy, ..there }), "mirror image");
        let negated = PowerMatrix { xx: -f.xx, xy: -f.xy, yy: -f.yy };
        let expected = PowerMatrix { xx: -there.xx, xy: -there.xy, yy: -there.yy };
        assert_eq!(negated.stepped(-distance), Ok(expected), "odd in power and distance");
    }
    println!("step of up to 15 mm and back, powers to 20 D: {worst:.3e} D");
    assert!(worst < 5e-6, "{worst:e}");
}

#[test]
fn prism_beyond_the_range_is_saturated() {
    let point = Point::new(millimetres!(1.0), millimetres!(0.0));
    assert!(sphere(dioptres!(512.5)).prism_at(point).is_saturated());
    assert!(sphere(Dioptre::MAX).prism_at(point).is_saturated());
    assert!(sphere(dioptres!(1.0)).prism_at(Point::new(Millimetre::MAX, Millimetre::ZERO)).is_saturated());
    assert!(sphere(dioptres!(500.0)).prism_at(Point::new(millimetres!(1000.0), Millimetre::ZERO)).x.is_saturated());
    let p = sphere(dioptres!(5.0)).prism_at(Point::new(millimetres!(10.0), millimetres!(-4.0)));
    assert_eq!((p.x.to_string(), p.y.to_string()), ("-5.00".into(), "2.00".into()), "base towards the centre");
    assert_eq!(sphere(dioptres!(5.0)).prism_at(Point::ORIGIN), dioptric::prism::Prism::ZERO);
}

fn sample_of(powers: &[PowerVector]) -> Sample {
    let mut sample = Sample::default();
    powers.iter().for_each(|power| sample.add(*power));
    sample
}

/// Two passes in integers of 128 bits: the covariance of two components times `count (count - 1)`, and its divisor.
fn two_pass(a: &[i64], b: &[i64]) -> (i128, i128) {
    let count = a.len() as i128;
    let total = |values: &[i64]| values.iter().map(|value| i128::from(*value)).sum::<i128>();
    let (mean_a, mean_b) = (total(a), total(b));
    let product = |(x, y): (&i64, &i64)| (count * i128::from(*x) - mean_a) * (count * i128::from(*y) - mean_b);
    (a.iter().zip(b).map(product).sum::<i128>() / count, count * (count - 1))
}

fn assert_statistics(powers: &[PowerVector]) {
    let sample = sample_of(powers);
    let column = |part: fn(&PowerVector) -> Dioptre| -> Vec<i64> {
        powers.iter().map(|power| i64::from(part(power).to_bits())).collect()
    };
    let columns = [column(|v| v.m), column(|v| v.j0), column(|v| v.j45)];
    let mean = sample.mean().expect("not empty");
    for (found, values) in [mean.m, mean.j0, mean.j45].into_iter().zip(&columns) {
        let sum: i128 = values.iter().map(|value| i128::from(*value)).sum();
        let count = values.len() as i128;
        assert!((2 * i128::from(found.to_bits()) * count - 2 * sum).abs() <= count, "nearest mean");
    }
    let c = sample.covariance().expect("two or more");
    let found = [(c.m, 0, 0), (c.j0, 1, 1), (c.j45, 2, 2), (c.m_j0, 0, 1), (c.m_j45, 0, 2), (c.j0_j45, 1, 2)];
    for (found, a, b) in found {
        let (numerator, divisor) = two_pass(&columns[a], &columns[b]);
        let off = (i128::from(found) * divisor - numerator).abs();
        assert!(off <= divisor + 1, "covariance {a}{b} of {}: {found}", powers.len());
    }
    for (deviation, variance) in c.standard_deviations().into_iter().zip([c.m, c.j0, c.j45]) {
        let wanted = (variance as f64).sqrt();
        assert!((f64::from(deviation.to_bits()) - wanted).abs() <= 0.5 + 1e-6 || deviation.is_saturated());
    }
}

#[test]
fn mean_and_covariance_are_those_of_two_passes() {
    let mut source = Random::new("samples");
    for count in [2usize, 3, 4, 7, 10, 100, 1000, 9973] {
        for spread in [0, 1, 50, 1 << 20, 1 << 26, 1 << 30, i32::MAX - 1] {
            let centre = source.within(1 << 25);
            let mut part = |centre: i32| centre.saturating_add(source.within(spread)).clamp(1 - i32::MAX, i32::MAX - 1);
            // Two components that vary together.
            let powers: Vec<_> = (0..count)
                .map(|_| {
                    let j0 = part(0);
                    vector(part(centre), j0, (j0 >> 1) + part(0) / 2)
                })
                .filter(|v| !v.is_saturated())
                .collect();
            assert_statistics(&powers);
        }
    }
}

/// A million lenses of 3 D scatter: the sum of squares is beyond 64 bits, the variance is not.
#[test]
fn large_samples_keep_their_covariance() {
    let powers = [vector(-(3 << 20), 1 << 20, 0), vector(3 << 20, -(1 << 20), 0)];
    let mut sample = sample_of(&powers);
    for doubling in 1..=31 {
        let other = sample;
        sample.merge(&other);
        let count = if doubling == 31 { 1u64 << 31 } else { 2 << doubling };
        assert_eq!(u64::from(sample.count()), count);
        if doubling == 31 {
            // 2^32 lenses are too many: the merged sample is refused as a whole.
            assert_eq!(u64::from(sample.rejected()), 1 << 31);
        }
        let c = sample.covariance().expect("two or more");
        let wanted = |bits: i64| {
            let exact = bits as f64 * 2f64.powi(40) * count as f64 / (count - 1) as f64;
            exact.round() as i64
        };
        for (found, wanted) in [(c.m, wanted(9)), (c.j0, wanted(1)), (c.m_j0, wanted(-3)), (c.j45, 0)] {
            assert!((found - wanted).abs() <= 1, "{count}: {found} {wanted}");
        }
        assert_eq!(sample.mean(), Some(PowerVector::ZERO));
    }
}

#[test]
fn the_largest_scatter_saturates_and_does_not_wrap() {
    let (low, high) = (1 - i32::MAX, i32::MAX - 1);
    let sample = sample_of(&[vector(low, high, 0), vector(high, low, 0)]);
    let c = sample.covariance().expect("two");
    assert!(c.m > 1 << 62 && c.j0 > 1 << 62 && c.m_j0 < -(1 << 62), "{c:?}");
}

#[test]
fn the_order_of_a_sample_does_not_matter() {
    let mut source = Random::new("order");
    let mut powers: Vec<_> =
        (0..997).map(|_| vector(source.i32(), source.of_any_size(), source.within(1 << 26))).collect();
    powers.push(vector(i32::MAX, 0, 0));
    powers.push(vector(0, i32::MIN, 0));
    let whole = sample_of(&powers);
    let saturated = powers.iter().filter(|power| power.is_saturated()).count();
    assert!(saturated >= 2);
    assert_eq!((whole.count() as usize, whole.rejected() as usize), (powers.len() - saturated, saturated));
    for _ in 0..50 {
        let cut = (source.u32() as usize) % powers.len();
        powers.swap(cut, (source.u32() as usize) % 999);
        powers.rotate_left(cut / 2);
        let (first, rest) = powers.split_at(cut);
        let (middle, last) = rest.split_at(rest.len() / 3);
        let parts = [sample_of(first), sample_of(middle), sample_of(last)];
        let merged = |order: [usize; 3]| {
            order.into_iter().fold(Sample::default(), |mut sum, index| {
                sum.merge(&parts[index]);
                sum
            })
        };
        for order in [[0, 1, 2], [2, 1, 0], [1, 2, 0]] {
            assert_eq!(merged(order), whole);
        }
    }
}

#[test]
fn small_samples_have_what_they_can_have() {
    let empty = Sample::default();
    assert_eq!((empty.mean(), empty.covariance()), (None, None));
    let one = sample_of(&[vector(5, -7, 9)]);
    assert_eq!((one.mean(), one.covariance()), (Some(vector(5, -7, 9)), None));
    let saturated = sample_of(&[vector(0, i32::MAX, 0)]);
    assert_eq!((saturated.count(), saturated.rejected(), saturated.mean()), (0, 1, None));
}

#[test]
fn powers_are_written_with_their_names() {
    let v = PowerVector { m: dioptres!(-1.5), j0: dioptres!(0.5), j45: dioptres!(-0.125) };
    assert_eq!(v.to_string(), "M -1.50 J0 +0.50 J45 -0.12");
    assert_eq!(format!("{v:.3}"), "M -1.500 J0 +0.500 J45 -0.125");
}

#[cfg(feature = "serde")]
#[test]
fn goes_over_the_wire() {
    let v = vector(-5, 1 << 20, i32::MAX);
    let json = serde_json::to_string(&v).expect("serialises");
    assert_eq!(json, r#"{"m":-5,"j0":1048576,"j45":2147483647}"#);
    assert_eq!(serde_json::from_str::<PowerVector>(&json).expect("deserialises"), v);
    let sample = sample_of(&[vector(1, 2, 3), vector(-40, 50, 6), v]);
    let bytes = postcard::to_stdvec(&sample).expect("serialises");
    assert_eq!(postcard::from_bytes::<Sample>(&bytes), Ok(sample));
}
