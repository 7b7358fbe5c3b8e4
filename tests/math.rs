//! The kernels against `f64`: an accuracy budget, exact symmetries, and the laws of rounding.

mod common;

use common::{Budget, Random, Worst, edges, long_edges, turn_edges};
use dioptric::math::{
    Polar, atan2, cos_sin, div_round, div_round_by_word, half_components, polar, ratio, saturate, shift_round, sqrt,
};
use std::f64::consts::{FRAC_PI_4, TAU};
use std::num::{NonZeroU32, NonZeroU64};

const TURN: f64 = 4_294_967_296.0;
const Q30: f64 = 1_073_741_824.0;
const RANDOM: u64 = 5_000_000;

/// Every bound that the documentation of `math` states.
const BUDGETS: &[Budget] = &[
    Budget {
        function: "math::cos_sin",
        domain: "every 256th turn, borders, random",
        unit: "1",
        allowed: 2.5e-9,
        points: (1 << 24) + RANDOM,
        measure: cos_sin_error,
    },
    Budget {
        function: "math::half_components",
        domain: "value to 2^26, every turn",
        unit: "unit of value",
        allowed: 0.6,
        points: RANDOM,
        measure: half_components_error,
    },
    Budget {
        function: "math::polar, turn",
        domain: "whole",
        unit: "rad",
        allowed: 7e-9,
        points: RANDOM,
        measure: polar_turn_error,
    },
    Budget {
        function: "math::polar, radius",
        domain: "whole, beyond half a unit",
        unit: "of itself",
        allowed: 3e-9,
        points: RANDOM,
        measure: polar_radius_error,
    },
    Budget {
        function: "math::ratio",
        domain: "unsaturated, beyond half a unit",
        unit: "of itself",
        allowed: 6e-10,
        points: RANDOM,
        measure: ratio_error,
    },
];

#[test]
fn every_documented_bound_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

fn turns(stream: &str, spaced: u32, random: u64) -> impl Iterator<Item = u32> {
    let mut source = Random::new(stream);
    let step = (TURN / f64::from(spaced)) as u32;
    let even = (0..spaced).map(move |index| index.wrapping_mul(step));
    turn_edges().chain(even).chain((0..random).map(move |_| source.u32()))
}

fn cos_sin_error(worst: &mut Worst) {
    for turn in turns("cos_sin", 1 << 24, RANDOM) {
        let (cos, sin) = cos_sin(turn);
        let (s, c) = (f64::from(turn) * (TAU / TURN)).sin_cos();
        let error = (f64::from(cos) / Q30 - c).abs().max((f64::from(sin) / Q30 - s).abs());
        worst.see(error, || format!("turn {turn:#x}"));
    }
}

fn half_components_error(worst: &mut Worst) {
    let mut see = |value: i32, turn: u32| {
        let (x, y) = half_components(value, turn);
        let (s, c) = (f64::from(turn) * (TAU / TURN)).sin_cos();
        let half = f64::from(value.clamp(-(1 << 26), 1 << 26)) / 2.0;
        let error = (f64::from(x) - half * c).abs().max((f64::from(y) - half * s).abs());
        worst.see(error, || format!("value {value} turn {turn:#x}"));
    };
    for value in edges() {
        turn_edges().for_each(|turn| see(value, turn));
    }
    let mut source = Random::new("half_components");
    for turn in turns("half_components turns", 1 << 20, RANDOM) {
        see(source.within(1 << 26) >> (source.u32() & 15), turn);
        see(1 << 26, turn);
    }
}

/// Vectors where a fold or a rotation changes, all short ones, and random ones of every length.
fn vectors(stream: &str) -> impl Iterator<Item = (i32, i32)> {
    let corners = edges().flat_map(|x| edges().map(move |y| (x, y)));
    // The worst turn and radius that a climb from the worst of 4e8 random vectors found.
    let worst = [(1_122_563_797, 152_357_707), (1_085_102_525, 219_532_241)];
    let short = (-64..=64).flat_map(|x| (-64..=64).map(move |y| (x, y)));
    let mut source = Random::new(stream);
    let borders = (0..200_000u32).flat_map(move |index| {
        let major = i64::from(source.of_any_size().unsigned_abs() >> 1);
        let (numerator, divisor) = [(1, 8), (13, 32), (3, 4), (1, 1)][index as usize & 3];
        let minor = (major * numerator) / divisor + i64::from(index >> 2 & 7) - 3;
        let (major, minor) = (major as i32, minor.clamp(-0x7fff_ffff, 0x7fff_ffff) as i32);
        [(major, minor), (minor, -major), (-minor, major)]
    });
    let round = (0..1u32 << 20).map(|index| {
        let (s, c) = (f64::from(index) * TAU / f64::from(1 << 20)).sin_cos();
        ((c * 2_147_483_647.0) as i32, (s * 2_147_483_647.0) as i32)
    });
    let mut source = Random::new(stream);
    let random = (0..RANDOM).map(move |index| {
        if index & 1 == 0 { (source.i32(), source.i32()) } else { (source.of_any_size(), source.of_any_size()) }
    });
    corners.chain(worst).chain(short).chain(borders).chain(round).chain(random)
}

fn polar_turn_error(worst: &mut Worst) {
    for (x, y) in vectors("polar turn").filter(|v| *v != (0, 0)) {
        let exact = f64::from(y).atan2(f64::from(x)) / TAU * TURN;
        let apart = (f64::from(polar(x, y).turn) - exact).rem_euclid(TURN);
        worst.see(apart.min(TURN - apart) / TURN * TAU, || format!("({x}, {y})"));
    }
}

fn polar_radius_error(worst: &mut Worst) {
    for (x, y) in vectors("polar radius").filter(|v| *v != (0, 0)) {
        let exact = f64::from(x).hypot(f64::from(y));
        let error = (f64::from(polar(x, y).radius) - exact).abs();
        worst.see((error - 0.5).max(0.0) / exact, || format!("({x}, {y})"));
    }
}

/// `numerator / divisor * 2^exponent`, and whether 64 bits hold it beyond doubt.
fn exact_ratio(numerator: i64, divisor: i64, exponent: u32) -> (f64, bool) {
    let exact = numerator as f64 / divisor as f64 * 2f64.powi(exponent as i32);
    (exact, exact.abs() < i64::MAX as f64 * (1.0 - 1e-9))
}

fn ratio_operands() -> impl Iterator<Item = (i64, i64, u32)> {
    let corners = long_edges().flat_map(|numerator| {
        long_edges().flat_map(move |divisor| {
            [0, 1, 16, 17, 30, 31, 32, 36, 61, 62].map(move |exponent| (numerator, divisor, exponent))
        })
    });
    let mut source = Random::new("ratio");
    let random = (0..RANDOM).map(move |_| (source.long_of_any_size(), source.long_of_any_size(), source.u32() % 63));
    corners.chain(random).filter(|(_, divisor, _)| *divisor != 0)
}

fn ratio_error(worst: &mut Worst) {
    for (numerator, divisor, exponent) in ratio_operands() {
        let (exact, fits) = exact_ratio(numerator, divisor, exponent);
        if !fits {
            worst.see(0.0, String::new);
            continue;
        }
        let error = (ratio(numerator, divisor, exponent) as f64 - exact).abs();
        let excess = (error - 0.5).max(0.0) / exact.abs().max(f64::MIN_POSITIVE);
        worst.see(excess, || format!("{numerator} / {divisor} * 2^{exponent}"));
    }
}

#[test]
fn cosine_and_sine_are_exact_at_the_quarter_turns() {
    let one = 1 << 30;
    let quarters = [(one, 0), (0, one), (-one, 0), (0, -one)];
    for (quarter, expected) in quarters.into_iter().enumerate() {
        assert_eq!(cos_sin((quarter as u32) << 30), expected);
    }
}

#[test]
fn cosine_and_sine_mirror_exactly() {
    for turn in turns("cos_sin mirrors", 1 << 22, 1_000_000) {
        let (cos, sin) = cos_sin(turn);
        let mirrors = [
            (turn.wrapping_neg(), (cos, -sin), "even cosine, odd sine"),
            (turn.wrapping_add(1 << 30), (-sin, cos), "quarter turn"),
            (turn.wrapping_add(1 << 31), (-cos, -sin), "half turn"),
            ((1u32 << 30).wrapping_sub(turn), (sin, cos), "diagonal"),
            ((1u32 << 31).wrapping_sub(turn), (-cos, sin), "vertical axis"),
        ];
        for (mirrored, expected, what) in mirrors {
            assert_eq!(cos_sin(mirrored), expected, "{what} of {turn:#x}");
        }
    }
}

#[test]
fn half_components_are_odd_and_turn_exactly() {
    let mut source = Random::new("half_components laws");
    for turn in turns("half_components law turns", 1 << 16, 200_000) {
        let value = source.of_any_size();
        let (x, y) = half_components(value, turn);
        assert_eq!(half_components(value.wrapping_neg(), turn), (-x, -y), "negated {value} {turn:#x}");
        assert_eq!(half_components(value, turn.wrapping_add(1 << 31)), (-x, -y), "half turn {value} {turn:#x}");
        assert_eq!(half_components(value, turn.wrapping_neg()), (x, -y), "mirror {value} {turn:#x}");
        assert_eq!(half_components(value, (1u32 << 30).wrapping_sub(turn)), (y, x), "diagonal {value} {turn:#x}");
    }
}

#[test]
fn half_components_take_what_is_larger_as_the_largest() {
    for value in [(1 << 26) + 1, i32::MAX] {
        assert_eq!(half_components(value, 12_345), half_components(1 << 26, 12_345));
        assert_eq!(half_components(-value, 12_345), half_components(-(1 << 26), 12_345));
    }
    assert_eq!(half_components(i32::MIN, 12_345), half_components(-(1 << 26), 12_345));
}

#[test]
fn polar_is_exact_on_axes_and_diagonals() {
    for length in edges().filter(|length| *length > 0) {
        let along = |x: i32, y: i32| {
            let Polar { radius, turn } = polar(x, y);
            (radius, f64::from(turn) / TURN * 8.0)
        };
        let on_axis = u32::try_from(length).expect("positive");
        assert_eq!(along(length, 0), (on_axis, 0.0));
        assert_eq!(along(0, length), (on_axis, 2.0));
        assert_eq!(along(-length, 0), (on_axis, 4.0));
        assert_eq!(along(0, -length), (on_axis, 6.0));
        let (diagonal, first) = along(length, length);
        assert!((f64::from(diagonal) - f64::from(length) * 2f64.sqrt()).abs() <= 0.5 + 3e-9 * f64::from(diagonal));
        assert_eq!(first, 1.0);
        assert_eq!(along(-length, length), (diagonal, 3.0));
        assert_eq!(along(-length, -length), (diagonal, 5.0));
        assert_eq!(along(length, -length), (diagonal, 7.0));
    }
    assert_eq!(polar(0, 0), Polar { radius: 0, turn: 0 });
    assert_eq!(polar(i32::MIN, i32::MIN), Polar { radius: 3_037_000_500, turn: 5 << 29 });
    assert_eq!(polar(i32::MIN, 0), Polar { radius: 1 << 31, turn: 1 << 31 });
    assert_eq!(polar(0, i32::MIN), Polar { radius: 1 << 31, turn: 3 << 30 });
}

#[test]
fn polar_mirrors_exactly() {
    for (x, y) in vectors("polar mirrors") {
        let Polar { radius, turn } = polar(x, y);
        assert_eq!(atan2(y, x), turn);
        // i32::MIN has no mirror image, the origin no direction.
        if x == i32::MIN || y == i32::MIN || (x, y) == (0, 0) {
            continue;
        }
        let mirrors = [
            (polar(x, -y), turn.wrapping_neg(), "horizontal"),
            (polar(-x, y), (1u32 << 31).wrapping_sub(turn), "vertical"),
            (polar(y, x), (1u32 << 30).wrapping_sub(turn), "diagonal"),
            (polar(-y, x), turn.wrapping_add(1 << 30), "quarter turn"),
        ];
        for (mirrored, expected, what) in mirrors {
            assert_eq!(mirrored, Polar { radius, turn: expected }, "{what} of ({x}, {y})");
        }
    }
}

/// `root` is nearest: `(root - 1/2)^2 < value <= (root + 1/2)^2` in integers.
fn assert_nearest_root(value: u64) {
    let root = u128::from(sqrt(value));
    let value = u128::from(value);
    // The root of what lies above (2^32 - 1/2)^2 does not fit: the largest word stands for it.
    let above = root == u128::from(u32::MAX) || value <= root * root + root;
    assert!(above && value + root > root * root || value == 0, "sqrt({value}) = {root}");
}

#[test]
fn roots_are_nearest() {
    (0..1 << 21).for_each(assert_nearest_root);
    let mut source = Random::new("sqrt");
    let roots = edges().map(|edge| u64::from(edge as u32)).chain((0..1_000_000).map(|_| u64::from(source.u32())));
    for root in roots {
        let (square, border) = (root * root, root * root + root);
        for value in [square.saturating_sub(1), square, square + 1, border - u64::from(border > 0), border, border + 1]
        {
            assert_nearest_root(value);
        }
    }
    [u64::MAX, u64::MAX - 1, 1 << 63].into_iter().for_each(assert_nearest_root);
    assert_eq!(sqrt(u64::MAX), u32::MAX);
}

/// Nearest, halves away from zero, in 128 bits.
fn nearest_quotient(numerator: i128, divisor: i128) -> i128 {
    let magnitude = (2 * numerator.abs() + divisor) / (2 * divisor);
    magnitude * numerator.signum()
}

#[test]
fn quotients_are_nearest() {
    let check = |numerator: i64, divisor: u64| {
        let exact = nearest_quotient(numerator.into(), divisor.into());
        let expected = exact.clamp((-i64::MAX).into(), i64::MAX.into());
        let divisor = NonZeroU64::new(divisor).expect("not 0");
        assert_eq!(i128::from(div_round(numerator, divisor)), expected, "{numerator} / {divisor}");
        if let Ok(word) = NonZeroU32::try_from(divisor) {
            assert_eq!(div_round_by_word(numerator, word), div_round(numerator, divisor));
        }
    };
    for numerator in -1000..=1000 {
        (1..=300).for_each(|divisor| check(numerator, divisor));
    }
    for numerator in long_edges() {
        for divisor in long_edges().map(|edge| edge as u64).filter(|divisor| *divisor != 0) {
            check(numerator, divisor);
        }
    }
    let mut source = Random::new("div_round");
    for _ in 0..1_000_000 {
        check(source.long_of_any_size(), (source.long_of_any_size() as u64).max(1));
    }
}

#[test]
fn shifts_are_nearest_quotients() {
    let check = |value: i64, bits: u32| {
        let expected = nearest_quotient(value.into(), 1 << bits.clamp(1, 62));
        assert_eq!(i128::from(shift_round(value, bits)), expected, "{value} >> {bits}");
    };
    for bits in (0..70).chain([u32::MAX]) {
        (-3000..=3000).for_each(|value| check(value, bits));
        long_edges().for_each(|value| check(value, bits));
    }
}

#[test]
fn small_ratios_are_nearest() {
    for numerator in -200..=200 {
        for divisor in (-70..=70i64).filter(|divisor| *divisor != 0) {
            for exponent in 0..=20 {
                let scaled = i128::from(numerator) << exponent;
                let exact = nearest_quotient(scaled * i128::from(divisor.signum()), divisor.abs().into());
                assert_eq!(
                    i128::from(ratio(numerator, divisor, exponent)),
                    exact,
                    "{numerator}/{divisor} 2^{exponent}"
                );
            }
        }
    }
}

#[test]
fn ratios_are_odd_and_saturate_with_their_sign() {
    for (numerator, divisor, exponent) in ratio_operands() {
        let (exact, fits) = exact_ratio(numerator, divisor, exponent);
        let result = ratio(numerator, divisor, exponent);
        assert!(result >= -i64::MAX);
        if !fits && exact.abs() > i64::MAX as f64 * (1.0 + 1e-9) {
            let end = if exact < 0.0 { -i64::MAX } else { i64::MAX };
            assert_eq!(result, end, "{numerator} / {divisor} * 2^{exponent}");
        }
        if numerator != i64::MIN {
            assert_eq!(ratio(-numerator, divisor, exponent), -result);
        }
        if divisor != i64::MIN {
            assert_eq!(ratio(numerator, -divisor, exponent), -result);
        }
    }
    for exponent in [0, 16, 62] {
        assert_eq!(ratio(1, 0, exponent), i64::MAX);
        assert_eq!(ratio(-1, 0, exponent), -i64::MAX);
        assert_eq!(ratio(0, 0, exponent), 0);
    }
}

#[test]
fn saturation_is_symmetric() {
    for value in long_edges() {
        let expected = value.clamp(-0x7fff_ffff, 0x7fff_ffff);
        assert_eq!(i64::from(saturate(value)), expected);
        if value != i64::MIN {
            assert_eq!(saturate(-value), -saturate(value));
        }
    }
}

/// A polynomial of `math.rs`: its coefficients as integers of so many binary places, and the worst error it may have.
struct Polynomial {
    coefficients: &'static [(u32, i32)],
    /// How the source writes the two innermost coefficients.
    source: &'static str,
    end: f64,
    exact: fn(f64) -> f64,
    /// From `x` and the alternating sum over powers of `x^2`.
    shape: fn(f64, f64) -> f64,
    error: f64,
}

/// `a0 - x2 (a1 - x2 (a2 - ...))`.
fn alternating(coefficients: &[(u32, i32)], x: f64) -> f64 {
    coefficients
        .iter()
        .rev()
        .fold(0.0, |tail, (integer, places)| f64::from(*integer) * 2f64.powi(-places) - tail * x * x)
}

/// The scales are those that `tests/data/kernels/make_kernels.py` prints.
const POLYNOMIALS: [Polynomial; 4] = [
    Polynomial {
        coefficients: &[(3_373_259_380, 32), (1_387_194_847, 34), (171_102_661, 36), (77_046, 31)],
        source: "171_102_661u32.wrapping_sub(77_046u32",
        end: 1.0,
        exact: |u| (FRAC_PI_4 * u).sin(),
        shape: |u, sum| u * sum,
        // Of the whole u2; the cut one that the source uses makes up for half of it.
        error: 1.75e-9,
    },
    Polynomial {
        coefficients: &[(2_649_351_760, 33), (544_750_554, 35), (44_797_121, 37), (60_668, 34)],
        source: "44_797_121u32.wrapping_sub(60_668u32",
        end: 1.0,
        exact: |u| (FRAC_PI_4 * u).cos(),
        shape: |u, sum| 1.0 - u * u * sum,
        // c1 is moved to meet the sine on the diagonal.
        error: 1.85e-9,
    },
    Polynomial {
        coefficients: &[(2_734_260_751, 34), (911_282_002, 34), (32_543, 20)],
        source: "911_282_002u32.wrapping_sub(32_543u32",
        end: 1.0 / 7.0,
        exact: f64::atan,
        shape: |q, sum| TAU * q * sum,
        error: 2.7e-9,
    },
    Polynomial {
        coefficients: &[(2_147_483_394, 32), (536_795_173, 32), (15_990, 18)],
        source: "536_795_173u32.wrapping_sub(15_990u32",
        end: 1.0 / 7.0,
        exact: |q| q.hypot(1.0),
        shape: |q, sum| 1.0 + q * q * sum,
        // The outermost coefficient is cut.
        error: 7.1e-11,
    },
];

#[test]
fn the_polynomials_have_the_errors_of_their_fits() {
    const SOURCE: &str = include_str!("../src/math.rs");
    const STEPS: u32 = 200_000;
    for Polynomial { coefficients, source, end, exact, shape, error } in POLYNOMIALS {
        assert!(SOURCE.contains(source), "math.rs has no {source}");
        for (integer, _) in coefficients {
            let digits = grouped(*integer);
            assert!(SOURCE.contains(&digits), "math.rs has no coefficient {digits}");
        }
        let worst = (0..=STEPS)
            .map(|step| f64::from(step) / f64::from(STEPS) * end)
            .map(|x| (shape(x, alternating(coefficients, x)) - exact(x)).abs())
            .fold(0.0, f64::max);
        println!("{source}: {worst:.3e}");
        assert!(worst <= error && error <= 1.2 * worst, "{source}: {worst:e} against {error:e}");
    }
}

/// An integer as the source writes it: `1_234_567`.
fn grouped(integer: u32) -> String {
    let digits = integer.to_string();
    let grouped: Vec<&str> =
        digits.as_bytes().rchunks(3).rev().map(|part| std::str::from_utf8(part).expect("ASCII")).collect();
    grouped.join("_")
}

#[test]
fn the_sector_rotations_are_cosines_and_sines() {
    const SOURCE: &str = include_str!("../src/math.rs");
    for twenty_fourths in 1..=3 {
        let angle = TAU / 24.0 * f64::from(twenty_fourths);
        let integer = |value: f64| (value * TURN).round() as u32;
        for (name, value) in [("cos", angle.cos()), ("sin", angle.sin())] {
            let written = format!("{name}: {}", grouped(integer(value)));
            assert!(SOURCE.contains(&written), "math.rs has no {written}");
        }
    }
}
