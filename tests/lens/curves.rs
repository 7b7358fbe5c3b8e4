//! Base and cross curves, toric transposition, conic meridians.

use super::{Budget, RANDOM, Random, apart, index, lens_of, mm, of, powers, sphere, turned};
use crate::common;
use dioptric::lens::{Error, Surface, ThickLens, ToricCurves, conic_sagitta, sagitta};
use dioptric::quantity::{Axis, Dioptre, Fraction, Millimetre, RefractiveIndex};
use dioptric::rx::SpheroCylinder;
use dioptric::vector::{PowerMatrix, PowerVector};
use dioptric::{axis, dioptres, fraction, millimetres};
use proptest::prelude::*;

const UM: f64 = 1000.0;

/// Radii, shape factors and semi-diameters, to the ends of ellipses.
fn conics(name: &str) -> impl Iterator<Item = (Millimetre, Fraction, Millimetre)> {
    let mut random = Random::new(name);
    (0..RANDOM).filter_map(move |_| {
        let semi = random.u32() % ((40 << 16) + 1);
        let radius = (8 << 16) + (random.u32() >> (6 + random.u32() % 10)) % ((1 << 26) - (8 << 16));
        let shape = match random.u32() % 8 {
            0 => 0,
            1 => 1 << 24,
            // An ellipse that ends at or just beyond the semi-diameter.
            2 | 3 if semi > 0 => {
                ((f64::from(radius) / f64::from(semi)).powi(2) * 16_777_216.0) as i32 - random.within(64).abs()
            }
            _ => random.within(8 << 24) >> (random.u32() % 8),
        };
        let fits = f64::from(radius).powi(2) >= f64::from(shape) / 16_777_216.0 * f64::from(semi).powi(2);
        (fits && shape.abs() <= 8 << 24).then(|| {
            let radius = Millimetre::from_bits(radius as i32);
            let radius = if random.u32() & 1 == 0 { radius } else { -radius };
            (radius, Fraction::from_bits(shape), Millimetre::from_bits(semi as i32))
        })
    })
}

const BUDGETS: &[Budget] = &[
    Budget {
        function: "conic_sagitta",
        domain: "radii from 8 mm, shape factors to 8, 40 mm",
        unit: "um",
        allowed: 0.3,
        points: RANDOM / 4,
        measure: |worst| {
            for (radius, shape, semi) in conics("conic") {
                let found = conic_sagitta(radius, shape, semi).expect("on it").to_f64();
                let (r, p, y) = (radius.to_f64().abs(), shape.to_f64(), semi.to_f64());
                let exact = (y * y / (r + (r * r - p * y * y).max(0.0).sqrt())).copysign(radius.to_f64());
                worst.see((found - exact).abs() * UM, || format!("{radius:?} {shape:?} {semi:?}"));
            }
        },
    },
    Budget {
        function: "Surface::curves",
        domain: "principal powers to 64 D",
        unit: "D",
        allowed: 1.6e-6,
        points: RANDOM / 4,
        measure: |worst| {
            let mut random = Random::new("curves");
            for _ in 0..RANDOM / 4 {
                let PowerMatrix { xx, xy, yy } = turned(random.within(40 << 20), random.within(20 << 20), random.u32());
                // Sums of an odd count are halved with a rounding.
                let power = PowerMatrix { xx: Dioptre::from_bits(xx.to_bits() + random.within(1)), xy, yy };
                let curves = Surface::new(power, index(1.5)).expect("in range").curves().expect("in range");
                let f = of(power);
                let (mean, half) = ((f[0][0] + f[1][1]) / 2.0, ((f[0][0] - f[1][1]) / 2.0).hypot(f[0][1]));
                let (more, less) = (mean + half, mean - half);
                let (base, cross) = if mean < 0.0 { (more, less) } else { (less, more) };
                // Of two as flat within a rounding, either may be the base.
                let (base, cross) =
                    if (curves.base().to_f64() - base).abs() > 1e-3 { (cross, base) } else { (base, cross) };
                let error = (curves.base().to_f64() - base).abs().max((curves.cross().to_f64() - cross).abs());
                worst.see(error, || format!("{power:?} {curves}"));
            }
        },
    },
];

#[test]
fn every_documented_bound_of_curves_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

#[test]
fn the_flatter_curve_is_the_base() {
    for (written, base, cross, meridian) in [
        ("+6.00 +2.00 x 20", 6.0, 8.0, axis!(20.0)),
        ("+8.00 -2.00 x 110", 6.0, 8.0, axis!(20.0)),
        ("-6.00 -2.00 x 20", -6.0, -8.0, axis!(20.0)),
        ("-8.00 +2.00 x 110", -6.0, -8.0, axis!(20.0)),
        ("+1.00 -4.00 x 30", 1.0, -3.0, axis!(30.0)),
        ("-1.00 +4.00 x 30", -1.0, 3.0, axis!(30.0)),
        ("pl -4.00 x 30", 0.0, -4.0, axis!(30.0)),
        // As flat: the plus one.
        ("-2.00 +4.00 x 30", 2.0, -2.0, axis!(120.0)),
    ] {
        let power: SpheroCylinder = written.parse().expect("a power");
        let curves = ToricCurves::from(power);
        let at = |value| Dioptre::try_from_f64(value).expect("in range");
        assert_eq!((curves.base(), curves.cross(), curves.meridian()), (at(base), at(cross), meridian), "{written}");
        assert_eq!(curves.sphero_cylinder().minus_form(), power.minus_form());
        // Whichever is named first.
        let named = ToricCurves::new(at(cross), at(base), meridian.perpendicular());
        assert_eq!(named, Ok(curves));
    }
    let round = ToricCurves::new(dioptres!(6.0), dioptres!(6.0), axis!(20.0)).expect("in range");
    assert_eq!((round.to_string(), round.cross()), ("+6.00".into(), dioptres!(6.0)));
    assert_eq!(ToricCurves::new(dioptres!(65.0), dioptres!(6.0), axis!(20.0)), Err(Error::PowerRange));
    assert_eq!(ToricCurves::new(dioptres!(-40.0), dioptres!(40.0), axis!(20.0)), Err(Error::PowerRange));
    assert_eq!(ToricCurves::new(Dioptre::MAX, dioptres!(40.0), axis!(20.0)), Err(Error::Saturated));
    assert_eq!(ToricCurves::try_from(PowerMatrix { xy: Dioptre::MIN, ..sphere(1.0) }), Err(Error::Saturated));
}

#[test]
fn toric_transposition_gives_the_written_surfaces() {
    // By the rule of any textbook, worked by hand: the prescription in the form of the base curve's sign, the base curve taken from the
    // sphere for the other surface, the cylinder added to it for the cross curve.
    for (rx, base, toric, other) in [
        ("+2.00 +1.00 x 90", 6.0, "+6.00 @ 090 / +7.00 @ 180", -4.0),
        ("+2.00 +1.00 x 90", -6.0, "-6.00 @ 180 / -7.00 @ 090", 9.0),
        ("-3.00 -2.50 x 15", 4.0, "+4.00 @ 105 / +6.50 @ 015", -9.5),
        ("-3.00 -2.50 x 15", -5.0, "-5.00 @ 015 / -7.50 @ 105", 2.0),
        ("+4.00 DS", 8.0, "+8.00", -4.0),
    ] {
        let wanted: SpheroCylinder = rx.parse().expect("a prescription");
        let (surface, sphere) =
            ToricCurves::for_base(wanted, Dioptre::try_from_f64(base).expect("ok")).expect("in range");
        assert_eq!((surface.to_string().as_str(), sphere.to_f64()), (toric, other), "{rx}");
        let sum = PowerVector::from(surface.sphero_cylinder())
            + PowerVector::from(SpheroCylinder::from_sphere(sphere).expect("ok"));
        assert_eq!(sum, PowerVector::from(wanted), "{rx}");
    }
    let strong = lens_of("+30.00 DS");
    let rx = PowerVector::from(strong).sphero_cylinder().expect("in range");
    assert_eq!(ToricCurves::for_base(rx, dioptres!(-40.0)), Err(Error::PowerRange));
    assert_eq!(ToricCurves::for_base(rx, Dioptre::MIN), Err(Error::Saturated));
}

#[test]
fn the_base_curve_of_a_lens_is_that_of_the_tools_index() {
    // Radius of the flatter meridian 600/6 = 100 mm: 530/100 = 5.30 D at 1.530.
    let lens = ThickLens::new(lens_of("+6.00 +2.00 x 20"), sphere(-4.0), index(1.6), mm(4.0)).expect("in range");
    assert!((lens.base_curve().expect("in range").to_f64() - 5.3).abs() < 2.6e-6);
    assert!((lens.front().curves().expect("in range").base().to_f64() - 6.0).abs() < 1.6e-6);
    // A back-toric lens: its back surface in minus-cylinder form.
    let lens = ThickLens::for_front(sphere(6.0), lens_of("+2.00 -1.50 x 35"), index(1.5), millimetres!(0.0))
        .expect("in range");
    let back = lens.back().curves().expect("in range");
    assert_eq!(back.to_string(), "-4.00 @ 035 / -5.50 @ 125");
}

#[test]
fn conic_sections_are_what_they_are_called() {
    let (radius, semi) = (mm(-60.0), mm(30.0));
    let circle = conic_sagitta(radius, fraction!(1.0), semi).expect("on it");
    assert!((circle - sagitta(radius, semi).expect("on it")).to_bits().abs() <= 1);
    assert_eq!(conic_sagitta(radius, fraction!(0.0), semi), Ok(mm(-7.5)), "a parabola: y^2 / 2r");
    // An ellipse with half axes a across and b along the axis has r = a^2/b and p = a^2/b^2: at its end the sagitta is b.
    let (a, b) = (40.0f64, 32.0f64);
    let shape = Fraction::try_from_f64((a / b).powi(2)).expect("ok");
    assert!((conic_sagitta(mm(a * a / b), shape, mm(a)).expect("its end").to_f64() - b).abs() < 1e-4);
    // A hyperbola tends to its asymptote from below: flatter than a parabola.
    assert!(conic_sagitta(mm(60.0), fraction!(-1.0), semi).expect("on it") < mm(7.5));
    for (r, p, y, wanted) in [
        (60.0, 1.0, 40.1, Error::DiameterRange),
        (60.0, 1.0, -0.1, Error::DiameterRange),
        (7.9, 1.0, 4.0, Error::RadiusRange),
        (60.0, 8.1, 4.0, Error::ShapeRange),
        (60.0, -8.1, 4.0, Error::ShapeRange),
        (20.0, 1.0, 20.001, Error::BeyondRadius),
        (30.0, 4.0, 15.001, Error::BeyondRadius),
    ] {
        assert_eq!(conic_sagitta(mm(r), Fraction::try_from_f64(p).expect("ok"), mm(y)), Err(wanted), "{r} {p} {y}");
    }
    assert_eq!(conic_sagitta(Millimetre::MIN, fraction!(1.0), semi), Err(Error::Saturated));
    assert!(Error::ShapeRange.is_range());
}

proptest! {
    #![proptest_config(common::cases(3000, super::REGRESSIONS))]

    #[test]
    fn curves_and_back_is_the_surface(power in powers(), n in 5u32 << 27..4 << 29) {
        let surface = Surface::new(power, RefractiveIndex::from_bits(n).expect("in range")).expect("in range");
        if let Ok(curves) = surface.curves() {
            prop_assert!(curves.base().abs() <= curves.cross().abs());
            prop_assert!(apart(of(curves.into()), of(power)) < 3e-6, "{curves}");
            let again = ToricCurves::new(curves.base(), curves.cross(), curves.meridian());
            prop_assert_eq!(again, Ok(curves));
        }
    }

    #[test]
    fn a_transposed_lens_has_the_prescription_wanted(s in -20 << 20..20 << 20, c in -8 << 20..8 << 20, a in any::<u32>(), base in -20 << 20..20 << 20) {
        let rx = SpheroCylinder::new(Dioptre::from_bits(s), Dioptre::from_bits(c), Axis::from_bits(a)).expect("in range");
        let (toric, other) = ToricCurves::for_base(rx, Dioptre::from_bits(base)).expect("in range");
        let surface = toric.sphero_cylinder();
        let surface = if (surface.cylinder() < Dioptre::ZERO) == (rx.cylinder() < Dioptre::ZERO) { surface } else { surface.transposed() };
        prop_assert_eq!(surface.sphere() + other, rx.sphere());
        prop_assert_eq!(surface.cylinder(), rx.cylinder());
    }
}

#[cfg(feature = "serde")]
#[test]
fn curves_are_read_back() {
    let curves = ToricCurves::new(dioptres!(6.0), dioptres!(8.0), axis!(90.0)).expect("in range");
    let written = serde_json::to_string(&curves).expect("serialises");
    assert_eq!(serde_json::from_str::<ToricCurves>(&written).expect("deserialises"), curves);
}
