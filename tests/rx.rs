//! The written prescription: its three forms, rounding, reading and writing.

mod common;

use common::edges;
use dioptric::quantity::{Axis, Dioptre};
use dioptric::rx::{CrossedCylinders, Error, MOST_POWER, SpheroCylinder, Step};
use dioptric::text::ParseErrorKind;
use dioptric::{axis, dioptres};
use proptest::prelude::*;

fn quarters(count: i32) -> Dioptre {
    Dioptre::from_bits(count << (Dioptre::FRACTION_BITS - 2))
}

fn read(text: &str) -> SpheroCylinder {
    text.parse().unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// Any prescription, down to the last bit.
fn prescriptions() -> impl Strategy<Value = SpheroCylinder> {
    let most = MOST_POWER.to_bits();
    (-most..=most, -most..=most, any::<u32>()).prop_filter_map("in range", |(sphere, across, axis)| {
        let sphere = Dioptre::from_bits(sphere);
        SpheroCylinder::new(sphere, Dioptre::from_bits(across) - sphere, Axis::from_bits(axis)).ok()
    })
}

/// The grid of quarter dioptres and whole degrees: spheres to 20 D, cylinders to 6 D.
fn grid() -> impl Iterator<Item = SpheroCylinder> {
    (-80..=80).flat_map(|sphere| {
        (-24..=24).flat_map(move |cylinder| {
            (1..=180).map(move |degrees| {
                let axis = Axis::from_degrees(degrees).expect("in range");
                SpheroCylinder::new(quarters(sphere), quarters(cylinder), axis).expect("in range")
            })
        })
    })
}

/// The laws of the three forms, exact to the bit.
fn assert_forms_agree(lens: SpheroCylinder) {
    let other = lens.transposed();
    assert_eq!(other.transposed(), lens);
    assert_eq!(other.sphere(), lens.sphere() + lens.cylinder());
    assert_eq!(other.cylinder(), -lens.cylinder());
    assert_eq!(other.axis(), lens.axis().perpendicular());
    assert_eq!(SpheroCylinder::new(other.sphere(), other.cylinder(), other.axis()), Ok(other), "in range");
    let (minus, plus) = (lens.minus_form(), lens.plus_form());
    assert!(minus.cylinder() <= Dioptre::ZERO && plus.cylinder() >= Dioptre::ZERO);
    assert_eq!(
        (plus.minus_form(), minus.plus_form()),
        if lens.cylinder() == Dioptre::ZERO { (lens, lens) } else { (minus, plus) }
    );
    assert!([lens, other].contains(&minus) && [lens, other].contains(&plus));
    assert_eq!(lens.spherical_equivalent(), other.spherical_equivalent());
    assert_eq!(lens.crossed().sphero_cylinder(), Ok(lens));
    let (along, across) = lens.principal_powers();
    assert_eq!(other.principal_powers(), (across, along));
    let crossed = CrossedCylinders { first: along, first_axis: lens.axis().perpendicular(), second: across };
    assert_eq!(lens.crossed(), crossed);
    assert_eq!(lens.mirrored().mirrored(), lens);
    assert_eq!(lens.mirrored().transposed(), other.mirrored());
}

#[test]
fn the_forms_agree_on_every_quarter_dioptre_and_degree() {
    grid().for_each(assert_forms_agree);
}

proptest! {
    #![proptest_config(common::cases(50_000, "tests/data/regressions/rx.txt"))]

    #[test]
    fn the_forms_agree_over_the_whole_range(lens in prescriptions()) {
        assert_forms_agree(lens);
    }

    #[test]
    fn the_spherical_equivalent_is_nearest(lens in prescriptions()) {
        let exact = f64::from(lens.sphere().to_bits()) + f64::from(lens.cylinder().to_bits()) / 2.0;
        prop_assert!((f64::from(lens.spherical_equivalent().to_bits()) - exact).abs() <= 0.5);
    }

    #[test]
    fn enough_digits_read_back_to_the_bit(lens in prescriptions()) {
        prop_assume!(lens.cylinder() != Dioptre::ZERO);
        let text = format!("{:.7} {:.7} x {:.9}", lens.sphere(), lens.cylinder(), lens.axis());
        let back = read(&text);
        prop_assert_eq!((back.sphere(), back.cylinder()), (lens.sphere(), lens.cylinder()));
        // Axes are written from degrees of 2^-20.
        prop_assert!(back.axis().angle_from(lens.axis()).abs().to_bits() <= 1);
    }
}

#[test]
fn a_prescription_that_exists_is_in_range() {
    let most = MOST_POWER;
    let unit = Dioptre::from_bits(1);
    let at = axis!(35.0);
    let good = [
        (most, Dioptre::ZERO),
        (-most, Dioptre::ZERO),
        (-most, most),
        (most, -most),
        (Dioptre::ZERO, -most),
        (dioptres!(-32.0), dioptres!(-32.0)),
    ];
    for (sphere, cylinder) in good {
        assert!(SpheroCylinder::new(sphere, cylinder, at).is_ok(), "{sphere} {cylinder}");
    }
    let bad = [
        (most + unit, Dioptre::ZERO, Error::PowerRange),
        (-most - unit, unit, Error::PowerRange),
        (most, unit, Error::PowerRange),
        (-most, -unit, Error::PowerRange),
        (dioptres!(-32.0), dioptres!(-32.0) - unit, Error::PowerRange),
        (-unit, most + unit, Error::CylinderRange),
        (Dioptre::ZERO, -most - unit, Error::CylinderRange),
        (Dioptre::MAX, Dioptre::ZERO, Error::PowerRange),
        (Dioptre::MIN, Dioptre::ZERO, Error::PowerRange),
        (Dioptre::ZERO, Dioptre::MAX, Error::CylinderRange),
        (Dioptre::MAX, Dioptre::MIN, Error::CylinderRange),
    ];
    for (sphere, cylinder, error) in bad {
        assert_eq!(SpheroCylinder::new(sphere, cylinder, at), Err(error), "{sphere} {cylinder}");
        assert!(error.is_range() && error.to_string().contains("64 D"));
    }
    assert_eq!(SpheroCylinder::from_sphere(most + unit), Err(Error::PowerRange));
    assert_eq!(SpheroCylinder::from_sphere(Dioptre::ZERO), Ok(SpheroCylinder::PLANO));
    assert_eq!(SpheroCylinder::default(), SpheroCylinder::PLANO);
    let apart = CrossedCylinders { first: most, first_axis: at, second: -most };
    assert_eq!(apart.sphero_cylinder(), Err(Error::CylinderRange));
}

fn steps() -> [(Step, i32); 3] {
    [(Step::Quarter, 4), (Step::Eighth, 8), (Step::Hundredth, 100)]
}

#[test]
fn powers_round_to_the_nearest_step_and_ties_away_from_zero() {
    for (step, per_dioptre) in steps() {
        // Every unit of two dioptres, and the borders of the range.
        let most = MOST_POWER.to_bits();
        for bits in (-(1 << 20)..=1 << 20).chain(most - 200_000..=most).chain(edges()) {
            let power = Dioptre::from_bits(bits);
            let rounded = step.round(power);
            assert_eq!(step.round(-power), -rounded);
            if power.is_saturated() || rounded.is_saturated() {
                assert_eq!(rounded.abs(), Dioptre::MAX);
                continue;
            }
            let steps = (power.to_f64() * f64::from(per_dioptre)).round();
            let nearest = Dioptre::try_from_f64(steps / f64::from(per_dioptre)).expect("in range");
            assert_eq!(rounded, nearest, "{power:?} by {step:?}");
        }
    }
    assert_eq!(Step::Quarter.round(dioptres!(0.125)), dioptres!(0.25));
    assert_eq!(Step::Quarter.round(dioptres!(-0.125)), dioptres!(-0.25));
    assert_eq!(Step::Eighth.round(dioptres!(-0.0625)), dioptres!(-0.125));
}

#[test]
fn rounding_again_changes_nothing() {
    for (step, per_dioptre) in steps() {
        for count in -64 * per_dioptre..=64 * per_dioptre {
            let power = Dioptre::try_from_f64(f64::from(count) / f64::from(per_dioptre)).expect("in range");
            assert_eq!(step.round(power), power);
        }
    }
}

#[test]
fn eighths_are_written_short_and_found_again_by_rounding() {
    for (written, exact) in [("0.12", 0.125), ("0.37", 0.375), ("0.62", 0.625), ("0.87", 0.875)] {
        for sign in ["+", "-"] {
            let power: Dioptre = format!("{sign}{written}").parse().expect("a power");
            let eighth = Step::Eighth.round(power);
            assert_eq!(eighth.to_f64().abs(), exact);
            assert_eq!(eighth.to_string(), format!("{sign}{written}"));
        }
    }
}

#[test]
fn prescriptions_round_in_the_form_they_are_written_in() {
    let table = [
        ("-2.13 -1.10 x 34.6", Step::Quarter, "-2.25 -1.00 x 035"),
        ("-2.13 -1.10 x 34.6", Step::Eighth, "-2.12 -1.12 x 035"),
        ("-2.134 -1.106 x 34.6", Step::Hundredth, "-2.13 -1.11 x 035"),
        ("+1.00 -0.50 x 0.4", Step::Quarter, "+1.00 -0.50 x 180"),
        ("+1.00 -0.50 x 179.6", Step::Quarter, "+1.00 -0.50 x 180"),
        ("+1.00 -0.50 x 0.5", Step::Quarter, "+1.00 -0.50 x 001"),
        ("+1.00 -0.124 x 37", Step::Quarter, "+1.00 DS"),
        ("+1.00 +0.124 x 37", Step::Quarter, "+1.00 DS"),
        ("+2.00 +1.25 x 90", Step::Quarter, "+2.00 +1.25 x 090"),
    ];
    for (text, step, expected) in table {
        let rounded = read(text).rounded(step).expect("in range");
        assert_eq!(rounded.to_string(), expected, "{text}");
        assert_eq!(rounded.rounded(step), Ok(rounded), "{text}");
    }
    let sphere = read("+1.00 -0.12 x 37").rounded(Step::Quarter).expect("in range");
    assert_eq!(sphere.axis(), Axis::HORIZONTAL, "no cylinder has axis 180");
    let edge = read("+0.125 +63.875 x 10");
    assert_eq!(edge.rounded(Step::Quarter), Err(Error::PowerRange));
}

/// What is printed at a step is read back as it was; eighths after rounding, as they are written short.
#[test]
fn reading_undoes_writing_at_each_step() {
    for (step, per_dioptre) in steps() {
        for count in -20 * per_dioptre..=20 * per_dioptre {
            let sphere = Dioptre::try_from_f64(f64::from(count) / f64::from(per_dioptre)).expect("in range");
            let cylinder = step.round(Dioptre::from_bits(sphere.to_bits() >> 2));
            let axis = Axis::from_degrees((count.unsigned_abs() % 181) as u16).expect("in range");
            let lens = SpheroCylinder::new(sphere, cylinder, axis).expect("in range");
            let lens = lens.rounded(step).expect("in range");
            let back = read(&lens.to_string()).rounded(step);
            assert_eq!(back, Ok(lens), "{lens}");
            if step != Step::Eighth {
                assert_eq!(read(&lens.to_string()), lens);
            }
        }
    }
}

#[test]
fn what_people_type_is_read() {
    let lens = "+2.00 -1.25 x 090";
    let table = [
        ("+2.00 -1.25 x 90", lens),
        ("+2.00-1.25x90", lens),
        ("2 -1.25X090", lens),
        ("2.0 -1.250 x 90.0", lens),
        ("+2.00 / -1.25 x 90", lens),
        ("+2.00/-1.25x90", lens),
        ("+2.00 \u{2212}1.25 \u{d7} 90", lens),
        ("+2.00 \u{2013}1.25 * 90", lens),
        ("+2.00 DS -1.25 DC x 90", lens),
        ("+2.00 ds / -1.25 dc x 90", lens),
        ("+2.00D -1.25D x 90\u{b0}", lens),
        ("+2.00 sph -1.25 cyl x 90 \u{b0}", lens),
        ("   +2.00   -1.25   x   90   ", lens),
        ("\t+2.00\t-1.25\tx\t90\n", lens),
        ("+2.00 1.25 x 90", "+2.00 +1.25 x 090"),
        ("-3.00", "-3.00 DS"),
        ("-3", "-3.00 DS"),
        ("-3.00 DS", "-3.00 DS"),
        ("-3.00DS", "-3.00 DS"),
        ("-3.00 D", "-3.00 DS"),
        ("-3.00 Sph", "-3.00 DS"),
        ("-3.00 0.00", "-3.00 DS"),
        ("-3.00 +0.00 x 45", "-3.00 DS"),
        ("pl -0.50 x 180", "+0.00 -0.50 x 180"),
        ("PL -0.50 x 180", "+0.00 -0.50 x 180"),
        ("plan +0.50 x 5", "+0.00 +0.50 x 005"),
        ("plano / -0.50 x 180", "+0.00 -0.50 x 180"),
        ("Plano", "+0.00 DS"),
        ("pl", "+0.00 DS"),
        ("-0", "+0.00 DS"),
        ("-0.25 -0.25 x 0", "-0.25 -0.25 x 180"),
        ("-.5 -.25 x 5.", "-0.50 -0.25 x 005"),
        ("-1.125 -0.875 x 32.5", "-1.12 -0.87 x 033"),
    ];
    for (text, expected) in table {
        assert_eq!(read(text).to_string(), expected, "{text:?}");
    }
    assert_eq!(format!("{:.3}", read("-1.125 -0.875 x 35")), "-1.125 -0.875 x 035");
    assert_eq!(read("+3.25 -0.50 x 90").crossed().to_string(), "+3.25 x 180 / +2.75 x 090");
}

#[test]
fn what_is_no_prescription_is_refused_where_it_goes_wrong() {
    use ParseErrorKind::{AxisMissing, AxisRange, CylinderMissing, Empty, NumberExpected, OutOfRange, Trailing};
    let table = [
        ("", Empty, 0),
        ("  \n", Empty, 3),
        ("abc", NumberExpected, 0),
        ("x 90", NumberExpected, 0),
        ("plx", NumberExpected, 0),
        ("sph -2.00", NumberExpected, 0),
        ("-2.00 x 90", CylinderMissing, 6),
        ("pl x 90", CylinderMissing, 3),
        ("-2.00 -1.00", AxisMissing, 11),
        ("-2.00 -1.00 ", AxisMissing, 12),
        ("-2.00 -1.00 x", AxisMissing, 13),
        ("-2.00 -1.00 x  ", AxisMissing, 15),
        ("-2.00 -1.00 90", AxisMissing, 12),
        ("-2.00 -1.00 @ 90", AxisMissing, 12),
        ("-2.00 0.00 90", AxisMissing, 11),
        ("-2.00 -1.00 x 181", AxisRange, 14),
        ("-2.00 -1.00 x 180.5", AxisRange, 14),
        ("-2.00 -1.00 x -5", AxisRange, 14),
        ("-2.00 -1.00 x 9999999999", AxisRange, 14),
        ("-2.00 -1.00 x abc", NumberExpected, 14),
        ("-2.00 -1.00 x 90 foo", Trailing, 17),
        ("-2.00 -1.00 x 90 x 90", Trailing, 17),
        ("-2,00 -1,00 x 90", Trailing, 2),
        ("-2.00 DC x 90", Trailing, 6),
        ("-2.00 DS DS", Trailing, 9),
        ("-2.00 // -1.00 x 90", Trailing, 7),
        ("-2.00 /", NumberExpected, 7),
        ("-2.00 / ", NumberExpected, 8),
        ("-2.00 - 1.00 x 90", NumberExpected, 7),
        ("-65.00", OutOfRange, 0),
        ("  -60.00 -5.00 x 90", OutOfRange, 2),
        ("+1.00 +63.50 x 90", OutOfRange, 0),
        ("3000", OutOfRange, 0),
        ("-2.00 -3000 x 90", OutOfRange, 6),
    ];
    for (text, kind, position) in table {
        let error = text.parse::<SpheroCylinder>().expect_err(text);
        assert_eq!((error.kind(), error.position()), (kind, position), "{text:?}");
        assert_eq!(error.is_range(), matches!(kind, AxisRange | OutOfRange), "{text:?}");
    }
}

#[cfg(feature = "serde")]
#[test]
fn goes_over_the_wire_and_is_checked_when_read() {
    let lens = read("-2.25 -1.50 x 90");
    let json = serde_json::to_string(&lens).expect("serialises");
    assert_eq!(json, r#"{"sphere":-2359296,"cylinder":-1572864,"axis":2147483648}"#);
    assert_eq!(serde_json::from_str::<SpheroCylinder>(&json).expect("deserialises"), lens);
    let bytes = postcard::to_stdvec(&lens).expect("serialises");
    // Zigzag and varint, as the postcard wire format has it: 4718591, 3145727, 2^31.
    assert_eq!(bytes, [0xff, 0xff, 0x9f, 0x02, 0xff, 0xff, 0xbf, 0x01, 0x80, 0x80, 0x80, 0x80, 0x08]);
    assert_eq!(postcard::from_bytes::<SpheroCylinder>(&bytes), Ok(lens));
    let beyond = r#"{"sphere":67108864,"cylinder":1,"axis":0}"#;
    let error = serde_json::from_str::<SpheroCylinder>(beyond).expect_err("beyond 64 D").to_string();
    assert!(error.contains("a principal power lies beyond 64 D"), "{error}");
    let crossed = lens.crossed();
    let json = serde_json::to_string(&crossed).expect("serialises");
    assert_eq!(serde_json::from_str::<CrossedCylinders>(&json).expect("deserialises"), crossed);
}
