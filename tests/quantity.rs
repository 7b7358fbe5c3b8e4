//! Quantities: their text, their saturating sums, and the two kinds of direction.

mod common;

use common::{Budget, Random, Worst, edges};
use dioptric::quantity::{
    Axis, Bearing, CubicMillimetre, Degree, Density, Dioptre, Error, Fraction, Micrometre, Milligram, Millimetre,
    Nanometre, Point, PrismDioptre, RefractiveIndex,
};
use dioptric::text::{ParseError, ParseErrorKind};
use dioptric::{axis, bearing, degrees, dioptres, micrometres, millimetres, prism_dioptres};
use proptest::prelude::*;

fn failure<T: std::fmt::Debug>(parsed: Result<T, ParseError>) -> (ParseErrorKind, usize) {
    let error = parsed.expect_err("refused");
    (error.kind(), error.position())
}

#[test]
fn powers_are_written_as_the_trade_writes_them() {
    let table = [
        (dioptres!(0.0), "+0.00"),
        (dioptres!(-1.125), "-1.12"),
        (dioptres!(0.125), "+0.12"),
        (dioptres!(-0.375), "-0.37"),
        (dioptres!(0.625), "+0.62"),
        (dioptres!(10.875), "+10.87"),
        (dioptres!(0.25), "+0.25"),
        (dioptres!(-0.25), "-0.25"),
        (dioptres!(-0.001), "+0.00"),
        (dioptres!(0.996), "+1.00"),
        (dioptres!(-63.999), "-64.00"),
        (Dioptre::MAX, "+2048.00"),
        (Dioptre::MIN, "-2048.00"),
    ];
    for (power, text) in table {
        assert_eq!(power.to_string(), text);
    }
}

#[test]
fn every_eighth_is_written_with_its_own_two_digits() {
    let digits = ["00", "12", "25", "37", "50", "62", "75", "87"];
    for eighths in 0..512 {
        let power = Dioptre::from_bits(eighths << (Dioptre::FRACTION_BITS - 3));
        let text = format!("{}.{}", eighths / 8, digits[eighths as usize % 8]);
        assert_eq!(power.to_string(), format!("+{text}"));
        if eighths > 0 {
            assert_eq!((-power).to_string(), format!("-{text}"));
        }
        assert_eq!(format!("{power:.3}"), format!("+{:.3}", f64::from(eighths) / 8.0));
    }
}

#[test]
fn width_fill_sign_and_precision_are_honoured() {
    let power = dioptres!(-1.125);
    assert_eq!(format!("{power:.3}|{power:.0}|{power:.1}"), "-1.125|-1|-1.1");
    assert_eq!(format!("{power:8}|{power:<8}|{power:^8}|{power:>8}"), "   -1.12|-1.12   | -1.12  |   -1.12");
    assert_eq!(format!("{power:*^9}|{power:08}|{:08}", -power), "**-1.12**|-0001.12|+0001.12");
    assert_eq!(format!("{power:3}"), "-1.12");
    let length = millimetres!(12.5);
    assert_eq!(format!("{length}|{length:+}|{length:08.1}|{length:+8.3}"), "12.50|+12.50|000012.5| +12.500");
    assert_eq!(millimetres!(-12.5).to_string(), "-12.50");
    assert_eq!(format!("{:.9}", dioptres!(0.1)), "+0.100000381");
    assert_eq!(format!("{:.20}", dioptres!(0.1)), "+0.100000381", "no more digits than there are");
    assert_eq!(degrees!(-0.5).to_string(), "-0.50");
    assert_eq!(prism_dioptres!(1.5).to_string(), "1.50");
    assert_eq!(micrometres!(0.25).to_string(), "0.25");
}

#[test]
fn debug_shows_the_quantity() {
    assert_eq!(format!("{:?}", dioptres!(-1.125)), "-1.125000 D");
    assert_eq!(format!("{:?}", prism_dioptres!(0.5)), "0.500000 cm/m");
    assert_eq!(format!("{:?}", millimetres!(0.5)), "0.500000 mm");
    assert_eq!(format!("{:?}", axis!(35.0)), "35.000000 deg");
    let point = Point::new(millimetres!(1.5), millimetres!(-2.0));
    assert_eq!(point.to_string(), "1.50, -2.00 mm");
    assert_eq!(format!("{point:.1}"), "1.5, -2.0 mm");
}

#[test]
fn decimal_text_is_read_with_its_sign() {
    let table = [
        ("-0.25", dioptres!(-0.25)),
        ("+0.25", dioptres!(0.25)),
        ("-0.001", dioptres!(-0.001)),
        ("-0.000001", dioptres!(-0.000001)),
        ("-0", Dioptre::ZERO),
        ("+0.00", Dioptre::ZERO),
        (".5", dioptres!(0.5)),
        ("-.5", dioptres!(-0.5)),
        ("5.", dioptres!(5.0)),
        ("-5.", dioptres!(-5.0)),
        ("007.50", dioptres!(7.5)),
        ("\u{2212}1.25", dioptres!(-1.25)),
        ("\u{2013}1.25", dioptres!(-1.25)),
        ("  2.5\t", dioptres!(2.5)),
        ("0.12345678901234567890", dioptres!(0.123456789)),
        ("2047.999", dioptres!(2047.999)),
        ("-2047.999", dioptres!(-2047.999)),
    ];
    for (text, expected) in table {
        assert_eq!(text.parse(), Ok(expected), "{text}");
    }
}

#[test]
fn what_is_no_number_is_refused_where_it_stops_being_one() {
    use ParseErrorKind::{Empty, NumberExpected, OutOfRange, Trailing};
    let table = [
        ("", Empty, 0),
        (" \t ", Empty, 3),
        ("abc", NumberExpected, 0),
        ("-", NumberExpected, 1),
        (".", NumberExpected, 1),
        ("-.", NumberExpected, 2),
        ("--1", NumberExpected, 1),
        ("+-1", NumberExpected, 1),
        ("- 1", NumberExpected, 1),
        ("\u{2212}x", NumberExpected, 1),
        ("NaN", NumberExpected, 0),
        ("inf", NumberExpected, 0),
        ("\u{661}", NumberExpected, 0),
        ("1..2", Trailing, 2),
        ("1.2.3", Trailing, 3),
        ("1,25", Trailing, 1),
        ("1 2", Trailing, 2),
        ("1e3", Trailing, 1),
        ("1.00 D", Trailing, 5),
        ("1-", Trailing, 1),
        ("2048", OutOfRange, 0),
        ("-2048", OutOfRange, 0),
        ("2047.9999999", OutOfRange, 0),
        (" 1000000", OutOfRange, 1),
        (" 99999999999999999999999999999999999999", OutOfRange, 1),
    ];
    for (text, kind, position) in table {
        assert_eq!(failure(text.parse::<Dioptre>()), (kind, position), "{text:?}");
    }
}

#[test]
fn parse_errors_say_what_and_where() {
    let error = "1,25".parse::<Dioptre>().expect_err("a comma");
    assert_eq!(error.to_string(), "something follows that does not belong here, at character 2");
    assert!(error.is_syntax() && !error.is_range());
    let error = "3000".parse::<Dioptre>().expect_err("too large");
    assert!(error.is_range() && !error.is_syntax());
    let long = " ".repeat(70_000) + "x";
    assert_eq!(failure(long.parse::<Dioptre>()), (ParseErrorKind::NumberExpected, 65_535), "the place saturates");
}

/// The laws that every linear quantity obeys, whatever its unit.
macro_rules! linear_laws {
    ($module:ident, $name:ident, $exact_digits:literal) => {
        mod $module {
            use super::*;

            const ONE: f64 = (1u64 << $name::FRACTION_BITS) as f64;

            proptest! {
                #![proptest_config(common::cases(2_000, "tests/data/regressions/quantity.txt"))]

                #[test]
                fn enough_digits_read_back_to_the_bit(bits in 1 - i32::MAX..i32::MAX) {
                    let value = $name::from_bits(bits);
                    let text = format!(concat!("{:.", $exact_digits, "}"), value);
                    prop_assert_eq!(text.parse(), Ok(value));
                }

                #[test]
                fn reading_and_writing_again_changes_no_digit(bits in any::<i32>(), shift in 0..31u32) {
                    let value = $name::from_bits(bits >> shift);
                    let text = value.to_string();
                    if let Ok(read) = text.parse::<$name>() {
                        prop_assert_eq!(read.to_string(), text);
                    } else {
                        prop_assert!(value.abs().to_f64() >= $name::MAX.to_f64() - 0.005);
                    }
                }

                #[test]
                fn text_is_the_nearest_decimal(bits in any::<i32>(), digits in 0..=9usize) {
                    let value = $name::from_bits(bits);
                    let written: f64 = format!("{value:.digits$}").parse().expect("a number");
                    let half = 0.5 * 10f64.powi(-(digits as i32));
                    prop_assert!((written - value.to_f64()).abs() <= half + 1e-11 + value.to_f64().abs() * f64::EPSILON);
                }
            }

            #[test]
            fn an_end_of_the_scale_is_never_left() {
                for end in [$name::MAX, $name::MIN] {
                    assert!(end.is_saturated() && end.abs() == $name::MAX && -(-end) == end);
                    assert_eq!((end.half(), end.double()), (end, end));
                    for value in edges().map($name::from_bits).filter(|value| *value != -end) {
                        assert_eq!((end + value, value + end), (end, end), "{value:?}");
                    }
                    for value in edges().map($name::from_bits).filter(|value| *value != end) {
                        assert_eq!((end - value, value - end), (end, -end), "{value:?}");
                        assert!([$name::ZERO, end, -value].into_iter().sum::<$name>().is_saturated());
                    }
                    // Opposite ends have no sum: the first decides, so that it is still an end.
                    assert_eq!((end + -end, end - end), (end, end));
                }
            }

            #[test]
            fn sums_are_exact_or_saturate_symmetrically() {
                for a in edges() {
                    for b in edges() {
                        let (x, y) = ($name::from_bits(a), $name::from_bits(b));
                        let sum = x + y;
                        if !x.is_saturated() && !y.is_saturated() {
                            let exact = i64::from(a) + i64::from(b);
                            assert_eq!(i64::from(sum.to_bits()), exact.clamp(-0x7fff_ffff, 0x7fff_ffff));
                            assert_eq!(sum, y + x);
                        }
                        assert_eq!(-sum, -x + -y);
                        assert_eq!(x - y, x + -y);
                        for value in [x, -x, x.abs(), x.half(), x.double(), sum, x - y] {
                            assert_ne!(value.to_bits(), i32::MIN);
                        }
                    }
                }
            }

            #[test]
            fn halves_round_away_from_zero() {
                for bits in edges().chain(-300..300) {
                    let value = $name::from_bits(bits);
                    if value.is_saturated() {
                        continue;
                    }
                    let exact = (f64::from(bits) / 2.0).round();
                    assert_eq!(f64::from(value.half().to_bits()), exact);
                    let double = (2 * i64::from(bits)).clamp(-0x7fff_ffff, 0x7fff_ffff);
                    assert_eq!(i64::from(value.double().to_bits()), double);
                }
            }

            #[test]
            fn thousandths_literals_and_floats_are_nearest() {
                let check = |thousandths: i32| {
                    let exact = f64::from(thousandths) / 1000.0;
                    let value = $name::from_thousandths(thousandths);
                    if (exact * ONE).abs().round() >= f64::from(i32::MAX) {
                        assert_eq!(value, Err(Error::Range));
                        assert_eq!($name::try_from_f64(exact), Err(Error::Range));
                        return;
                    }
                    let value = value.expect("fits");
                    // i128 holds the product; a tie goes away from zero.
                    let scaled = (i128::from(thousandths.unsigned_abs()) << $name::FRACTION_BITS) + 500;
                    let nearest = scaled / 1000 * i128::from(thousandths.signum());
                    assert_eq!(i128::from(value.to_bits()), nearest);
                    assert_eq!($name::literal(exact), value);
                    assert_eq!($name::try_from_f64(exact), Ok(value));
                    let text = format!("{exact:.3}");
                    assert_eq!(text.parse(), Ok(value), "{text}");
                };
                edges().chain(-70_000..70_000).for_each(check);
            }

            #[test]
            fn floats_are_exact_one_way_and_nearest_the_other() {
                for bits in edges() {
                    let value = $name::from_bits(bits);
                    let float = value.to_f64();
                    assert_eq!(float, f64::from(value.to_bits()) / ONE);
                    let back = if value.is_saturated() { Err(Error::Range) } else { Ok(value) };
                    assert_eq!($name::try_from_f64(float), back);
                }
                for nothing in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, -1e10] {
                    assert_eq!($name::try_from_f64(nothing), Err(Error::Range));
                }
                assert_eq!($name::try_from_f64(0.5 / ONE), Ok($name::from_bits(1)));
                assert_eq!($name::try_from_f64(-0.5 / ONE), Ok($name::from_bits(-1)));
                assert_eq!($name::try_from_f64(0.499 / ONE), Ok($name::ZERO));
                assert_eq!($name::try_from_f64(-0.0), Ok($name::ZERO));
            }

            #[cfg(feature = "serde")]
            #[test]
            fn goes_over_the_wire_as_its_bits() {
                for bits in edges() {
                    let value = $name::from_bits(bits);
                    let json = serde_json::to_string(&value).expect("serialises");
                    assert_eq!(json, value.to_bits().to_string());
                    assert_eq!(serde_json::from_str::<$name>(&json).expect("deserialises"), value);
                    let bytes = postcard::to_stdvec(&value).expect("serialises");
                    assert_eq!(bytes, postcard::to_stdvec(&value.to_bits()).expect("serialises"));
                    assert_eq!(postcard::from_bytes::<$name>(&bytes), Ok(value));
                }
                let least: $name = serde_json::from_str("-2147483648").expect("deserialises");
                assert_eq!(least, $name::MIN);
            }
        }
    };
}

linear_laws!(dioptre, Dioptre, "7");
linear_laws!(prism_dioptre, PrismDioptre, "7");
linear_laws!(millimetre, Millimetre, "5");
linear_laws!(micrometre, Micrometre, "5");
linear_laws!(degree, Degree, "7");
linear_laws!(fraction, Fraction, "8");
linear_laws!(nanometre, Nanometre, "7");
linear_laws!(cubic_millimetre, CubicMillimetre, "4");
linear_laws!(density, Density, "7");
linear_laws!(milligram, Milligram, "4");

#[test]
fn the_word_without_opposite_is_the_smallest_value() {
    assert_eq!(Dioptre::from_bits(i32::MIN), Dioptre::MIN);
    assert_eq!(Dioptre::from(i32::MIN), Dioptre::MIN);
    assert_eq!(i32::from(Dioptre::MIN), -i32::MAX);
}

/// The laws of a direction: exhaustive over whole degrees.
macro_rules! direction_laws {
    ($module:ident, $name:ident, $full:literal, $error:ident, $parse_error:ident) => {
        mod $module {
            use super::*;

            const UNITS: f64 = 4_294_967_296.0 / $full as f64;

            fn exact_degrees(direction: $name) -> f64 {
                f64::from(direction.to_bits()) / UNITS
            }

            #[test]
            fn whole_degrees_are_nearest_and_survive_text_and_rounding() {
                for degrees in 0..=$full {
                    let direction = $name::from_degrees(degrees).expect("in range");
                    let turn = ((u64::from(degrees) << 33) / $full).div_ceil(2) as u32;
                    assert_eq!(direction.to_bits(), turn, "{degrees}");
                    let shown = if degrees == 0 { $full } else { degrees };
                    assert_eq!(direction.whole_degrees(), shown);
                    assert_eq!(direction.degrees(), Degree::from_bits(i32::from(shown) << 20));
                    assert_eq!(direction.rounded(), direction);
                    assert_eq!($name::literal(f64::from(degrees)), direction);
                    assert_eq!(direction.to_string(), format!("{shown:03}"));
                    assert_eq!(format!("{direction:.2}"), format!("{shown:03}.00"));
                    for text in [degrees.to_string(), direction.to_string(), format!(" {degrees}.0 ")] {
                        assert_eq!(text.parse(), Ok(direction), "{text}");
                    }
                }
                assert_eq!($name::from_degrees($full + 1), Err(Error::$error));
                assert_eq!($name::from_degrees(u16::MAX), Err(Error::$error));
            }

            #[test]
            fn a_whole_degree_is_left_at_half_a_degree() {
                for degrees in 1..=$full {
                    // Half a unit of degrees before the half, so that a half as it is written always goes up.
                    let border = (f64::from(degrees) - 0.5 - 0.5 / f64::from(1 << 20)) * UNITS;
                    let (below, above) = (border.ceil() as u32 - 1, border.ceil() as u32);
                    let lower = if degrees == 1 { $full } else { degrees - 1 };
                    assert_eq!($name::from_bits(below).whole_degrees(), lower);
                    assert_eq!($name::from_bits(above).whole_degrees(), degrees);
                    for (bits, shown) in [(below, lower), (above, degrees)] {
                        let direction = $name::from_bits(bits);
                        assert_eq!(direction.to_string(), format!("{shown:03}"));
                        assert_eq!(direction.rounded(), $name::from_degrees(shown).expect("in range"));
                    }
                }
            }

            #[test]
            fn written_halves_go_up() {
                for degrees in 0..$full {
                    let direction: $name = format!("{degrees}.5").parse().expect("in range");
                    assert_eq!(direction.whole_degrees(), degrees + 1);
                    assert_eq!(direction.to_string(), format!("{:03}", degrees + 1));
                }
            }

            /// Whatever the precision, nothing is written as 0, and the text is the nearest decimal.
            #[test]
            fn what_would_be_written_as_zero_is_the_full_scale() {
                for digits in 0..=9usize {
                    let half = 0.5 * 10f64.powi(-(digits as i32));
                    let border = (half * UNITS) as u32;
                    let near = (0..200u32).map(|offset| border.wrapping_add(offset).wrapping_sub(100));
                    let sides = (0..200u32).map(|offset| offset.wrapping_sub(100));
                    for direction in near.chain(sides).map($name::from_bits) {
                        let text = format!("{direction:.digits$}");
                        let written: f64 = text.parse().expect("a number");
                        assert!(written > 0.0 && written <= f64::from($full), "{text} at {digits} digits");
                        let apart = (written - exact_degrees(direction)).rem_euclid(f64::from($full));
                        let apart = apart.min(f64::from($full) - apart);
                        assert!(apart <= half * (1.0 + 1e-9) + 0.5 / f64::from(1 << 20), "{text}: {apart}");
                    }
                }
            }

            #[test]
            fn decimal_degrees_are_read_to_the_nearest_unit() {
                let mut source = Random::new("decimal degrees");
                for _ in 0..200_000 {
                    let nano = source.u64() % ($full * 1_000_000_000 + 1);
                    let text = format!("{}.{:09}", nano / 1_000_000_000, nano % 1_000_000_000);
                    let scale = u128::from($full * 1_000_000_000u64);
                    let nearest = (((u128::from(nano) << 33) / scale).div_ceil(2)) as u32;
                    assert_eq!(text.parse::<$name>().expect("in range").to_bits(), nearest, "{text}");
                }
            }

            #[test]
            fn what_is_no_direction_is_refused() {
                use ParseErrorKind::{Empty, NumberExpected, Trailing, $parse_error};
                let above = format!("{}.000000001", $full);
                let table = [
                    ("", Empty, 0),
                    ("x", NumberExpected, 0),
                    ("-1", $parse_error, 0),
                    (" -0.000000001", $parse_error, 1),
                    (&above, $parse_error, 0),
                    ("361", $parse_error, 0),
                    ("  99999999999999", $parse_error, 2),
                    ("90 90", Trailing, 3),
                    ("90\u{b0}", Trailing, 2),
                ];
                for (text, kind, position) in table {
                    assert_eq!(failure(text.parse::<$name>()), (kind, position), "{text:?}");
                }
                assert_eq!("-0".parse(), Ok($name::default()));
            }

            #[test]
            fn turning_adds_the_nearest_angle_and_turns_back() {
                let mut source = Random::new("turned");
                let angles = edges().chain((0..100_000).map(|_| source.of_any_size())).map(Degree::from_bits);
                for angle in angles {
                    let direction = $name::from_bits(0x1234_5678);
                    let turned = direction.turned(angle);
                    assert_eq!(turned.turned(-angle), direction, "{angle:?}");
                    let moved = f64::from(turned.to_bits()) - f64::from(direction.to_bits());
                    let apart = (moved - angle.to_f64() * UNITS).rem_euclid(4_294_967_296.0);
                    assert!(apart.min(4_294_967_296.0 - apart) <= 0.5 + 1e-4, "{angle:?} {apart}");
                }
                let full = Degree::from_bits($full << 20);
                assert_eq!($name::from_bits(77).turned(full), $name::from_bits(77));
            }

            #[test]
            fn the_angle_between_directions_is_the_short_way() {
                let half = Degree::from_bits($full << 19);
                let mut source = Random::new("angle_from");
                let differences = edges().chain((0..100_000).map(|_| source.i32()));
                for difference in differences.map(|difference| difference as u32) {
                    let other = $name::from_bits(0x89ab_cdef);
                    let direction = $name::from_bits(other.to_bits().wrapping_add(difference));
                    let angle = direction.angle_from(other);
                    assert!(angle > -half && angle <= half, "{difference:#x}: {angle:?}");
                    let exact = f64::from(difference as i32) / UNITS;
                    let apart = (angle.to_f64() - exact).rem_euclid(f64::from($full));
                    let apart = apart.min(f64::from($full) - apart);
                    assert!(apart <= (0.5 + 1e-9) / f64::from(1 << 20), "{difference:#x}: {angle:?}");
                    if angle != half {
                        assert_eq!(other.angle_from(direction), -angle, "{difference:#x}");
                    }
                }
                assert_eq!($name::from_bits(1 << 31).angle_from($name::default()), half);
                assert_eq!($name::default().angle_from($name::from_bits(1 << 31)), half);
            }

            #[test]
            fn degrees_are_above_zero_and_nearest() {
                for bits in edges().map(|edge| edge as u32).chain((0..1 << 16).map(|part| part << 16)) {
                    let direction = $name::from_bits(bits);
                    let degrees = direction.degrees();
                    assert!(degrees > Degree::ZERO && degrees <= Degree::from_bits($full << 20));
                    let apart = (degrees.to_f64() - exact_degrees(direction)).rem_euclid(f64::from($full));
                    assert!(apart.min(f64::from($full) - apart) <= (0.5 + 1e-9) / f64::from(1 << 20));
                }
            }

            #[cfg(feature = "serde")]
            #[test]
            fn goes_over_the_wire_as_its_bits() {
                for bits in edges().map(|edge| edge as u32) {
                    let direction = $name::from_bits(bits);
                    let json = serde_json::to_string(&direction).expect("serialises");
                    assert_eq!(json, bits.to_string());
                    assert_eq!(serde_json::from_str::<$name>(&json).expect("deserialises"), direction);
                    let bytes = postcard::to_stdvec(&direction).expect("serialises");
                    assert_eq!(postcard::from_bytes::<$name>(&bytes), Ok(direction));
                }
            }
        }
    };
}

direction_laws!(axes, Axis, 180, AxisRange, AxisRange);
direction_laws!(bearings, Bearing, 360, BearingRange, BaseRange);

#[test]
fn the_named_directions_have_exact_bits() {
    assert_eq!(
        [45, 90, 135, 180, 0].map(|degrees| Axis::from_degrees(degrees).map(Axis::to_bits)),
        [Ok(1 << 30), Ok(1 << 31), Ok(3 << 30), Ok(0), Ok(0)]
    );
    assert_eq!(
        [45, 90, 180, 270, 360].map(|degrees| Bearing::from_degrees(degrees).map(Bearing::to_bits)),
        [Ok(1 << 29), Ok(1 << 30), Ok(1 << 31), Ok(3 << 30), Ok(0)]
    );
    assert_eq!((Axis::HORIZONTAL, Axis::VERTICAL), (axis!(180.0), axis!(90.0)));
}

#[test]
fn perpendicular_opposite_and_mirror_undo_themselves() {
    for bits in edges().map(|edge| edge as u32) {
        let axis = Axis::from_bits(bits);
        assert_eq!(axis.perpendicular().perpendicular(), axis);
        assert_eq!(axis.mirrored().mirrored(), axis);
        assert_eq!(axis.perpendicular().mirrored(), axis.mirrored().perpendicular());
        assert!(axis.bearing().to_bits() < 1 << 31, "the upper half plane");
        let bearing = Bearing::from_bits(bits);
        assert_eq!(bearing.opposite().opposite(), bearing);
    }
    assert_eq!(axis!(20.0).mirrored(), axis!(160.0));
    assert_eq!(axis!(35.0).perpendicular().whole_degrees(), 125);
    assert_eq!(axis!(35.0).bearing(), bearing!(35.0));
    assert_eq!(bearing!(20.0).opposite(), bearing!(200.0));
}

#[test]
fn refractive_indices_lie_from_one_to_four() {
    let table =
        [("1", 1.0), ("1.0", 1.0), ("1.498", 1.498), ("1.8", 1.8), ("2.0", 2.0), ("2.65", 2.65), ("3.999", 3.999)];
    for (text, expected) in table {
        let index: RefractiveIndex = text.parse().expect(text);
        assert!((f64::from(index.to_bits()) / f64::from(1 << 29) - expected).abs() <= 2e-9, "{text}");
        assert_eq!(RefractiveIndex::from_bits(index.to_bits()), Ok(index));
        assert_eq!(RefractiveIndex::try_from(u32::from(index)), Ok(index));
        assert_eq!(index.to_string(), format!("{expected:.3}"));
        assert_eq!(format!("{index:.9}").parse(), Ok(index));
    }
    use ParseErrorKind::{Empty, NumberExpected, OutOfRange, Trailing};
    let refused = [
        ("", Empty, 0),
        ("n", NumberExpected, 0),
        (" 0.999999", OutOfRange, 1),
        ("-1.5", OutOfRange, 0),
        ("4", OutOfRange, 0),
        ("5", OutOfRange, 0),
        ("1.5.2", Trailing, 3),
    ];
    for (text, kind, position) in refused {
        assert_eq!(failure(text.parse::<RefractiveIndex>()), (kind, position), "{text:?}");
    }
    let one = 1u32 << 29;
    assert_eq!(RefractiveIndex::from_bits(one), Ok(RefractiveIndex::AIR));
    assert!(RefractiveIndex::from_bits((1 << 31) - 1).is_ok());
    for bits in [0, one - 1, 1 << 31, u32::MAX] {
        assert_eq!(RefractiveIndex::from_bits(bits), Err(Error::IndexRange), "{bits:#x}");
        assert_eq!(RefractiveIndex::try_from(bits), Err(Error::IndexRange));
    }
}

#[cfg(feature = "serde")]
#[test]
fn an_index_is_checked_when_it_is_read() {
    let index: RefractiveIndex = "1.6".parse().expect("an index");
    let json = serde_json::to_string(&index).expect("serialises");
    assert_eq!(serde_json::from_str::<RefractiveIndex>(&json).expect("deserialises"), index);
    let bytes = postcard::to_stdvec(&index).expect("serialises");
    assert_eq!(postcard::from_bytes::<RefractiveIndex>(&bytes), Ok(index));
    for wrong in ["0", "536870911", "2147483648", "4294967295", "-1"] {
        assert!(serde_json::from_str::<RefractiveIndex>(wrong).is_err(), "{wrong}");
    }
}

#[test]
fn errors_are_small() {
    assert_eq!(size_of::<Error>(), 1);
    assert_eq!(size_of::<ParseErrorKind>(), 1);
    assert_eq!(size_of::<ParseError>(), 4);
    assert_eq!(size_of::<dioptric::rx::Error>(), 1);
    assert_eq!(size_of::<dioptric::vector::Error>(), 1);
    assert_eq!(size_of::<Result<Dioptre, Error>>(), 8);
    // The one that carries what can still be done.
    assert_eq!(size_of::<dioptric::prism::NoPower>(), 24);
}

#[test]
fn errors_say_what_was_wrong() {
    for error in [Error::Range, Error::AxisRange, Error::BearingRange, Error::IndexRange, Error::AbbeRange] {
        assert!(error.is_range());
        assert!(error.to_string().contains("range") || error.to_string().contains("lies from"), "{error}");
    }
}

const BUDGETS: &[Budget] = &[Budget {
    function: "quantity::Point::distance",
    domain: "whole, beyond half a unit of 2^-16 mm",
    unit: "of itself",
    allowed: 3e-9,
    points: 1_000_000,
    measure: distance_error,
}];

#[test]
fn every_documented_bound_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

fn distance_error(worst: &mut Worst) {
    let mut source = Random::new("distance");
    let corners = edges().flat_map(|x| edges().map(move |y| (x, y)));
    for (x, y) in corners.chain((0..2_000_000).map(|_| (source.of_any_size(), source.of_any_size() | 1))) {
        let point = Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        let exact = point.x.to_f64().hypot(point.y.to_f64()) * 65_536.0;
        let distance = point.distance();
        if distance.is_saturated() {
            assert!(point.is_saturated() || exact >= f64::from(i32::MAX) * (1.0 - 3e-9) - 0.5, "({x}, {y})");
            continue;
        }
        assert!(!point.is_saturated());
        let error = (f64::from(distance.to_bits()) - exact).abs();
        worst.see((error - 0.5).max(0.0) / exact.max(1e-9), || format!("({x}, {y})"));
    }
}

#[test]
fn points_add_by_coordinates() {
    let (a, b) = (Point::new(millimetres!(1.5), millimetres!(-2.0)), Point::new(millimetres!(0.25), millimetres!(4.0)));
    assert_eq!(a + b, Point::new(millimetres!(1.75), millimetres!(2.0)));
    assert_eq!(a - b, a + -b);
    assert_eq!(a - a, Point::ORIGIN);
    let far = Point::new(Millimetre::MAX, millimetres!(0.0));
    assert!((far + a).is_saturated() && (far + a).distance() == Millimetre::MAX);
}

/// The end of an axis in the upper half plane, mirrored, is the end of the mirrored axis: to the bit, half units included.
#[test]
fn the_bearing_of_a_mirrored_axis_is_mirrored() {
    for step in 0..200_001u32 {
        let axis = Axis::from_bits(step.wrapping_mul(21_474).wrapping_add(step));
        let mirrored = (1u32 << 31).wrapping_sub(axis.bearing().to_bits());
        assert_eq!(axis.mirrored().bearing().to_bits() & (u32::MAX >> 1), mirrored & (u32::MAX >> 1), "{axis:?}");
    }
}
