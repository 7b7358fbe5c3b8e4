//! Every published row, at both sides of its limit and of its borders, through `judge` alone.

use super::published::{Allowed, Row, rows};
use super::{SLACK, d, decision, found, limit, number, order, plus, rx};
use dioptric::quantity::{Axis, Degree, Dioptre};
use dioptric::rx::SpheroCylinder;
use dioptric::tolerance::{ANSI_Z80_1, ANSI_Z80_1_PROGRESSIVE};
use dioptric::tolerance::{Class, Decision, ISO_8980_1, ISO_21987, Limit, Measured, Ordered, Parameter, Rule, judge};

/// Beyond every row's border, and within what a prescription holds.
const STRONG: f64 = 31.0;

fn rx_of(sphere: Dioptre, cylinder: Dioptre) -> SpheroCylinder {
    SpheroCylinder::new(sphere, cylinder, Axis::from_degrees(35).unwrap()).unwrap()
}

/// Magnitudes that belong to the row "above `over`, up to and including `up_to`": its ends, one unit inside them, and
/// the last and first units that the slack gives it.
fn members(over: Option<f64>, end: Option<(f64, bool)>, begins_at_bound: bool) -> Vec<Dioptre> {
    let mut members = Vec::new();
    match over {
        None => members.push(Dioptre::ZERO),
        // The row before says "less than": its bound belongs here.
        Some(over) if begins_at_bound => members.extend([d(over), plus(d(over), 1)]),
        Some(over) => members.extend([plus(d(over), SLACK + 1), plus(d(over), SLACK + 2)]),
    }
    match end {
        Some((end, true)) => members.extend([plus(d(end), -1), d(end), plus(d(end), 1), plus(d(end), SLACK)]),
        Some((end, false)) => members.extend([plus(d(end), -2), plus(d(end), -1)]),
        None => members.push(d(STRONG)),
    }
    members
}

/// The limit of a finding is what the published row says for that ordered magnitude, to the nearest unit.
fn assert_limit(row: &Row, seen: Option<f64>, ordered: Dioptre) {
    let exact = match row.allowed() {
        Allowed::Absolute(limit) => limit,
        Allowed::Percent(percent) => ordered.to_f64().abs() * percent / 100.0,
        Allowed::NoLimit => return assert_eq!(seen, None, "{row:?}"),
    };
    let units = (seen.expect("a limit") - exact).abs() * 2f64.powi(20);
    assert!(units <= 0.5 + 1e-6, "{row:?}: {seen:?} for {exact}");
}

/// Deviations of either sign: on the limit and within the slack conform, one unit more fails.
fn assert_both_sides(limit: f64, mut decide: impl FnMut(i32) -> Decision) {
    let limit = d(limit).to_bits();
    for sign in [-1, 1] {
        for inside in [0, limit - 1, limit, limit + 1, limit + SLACK] {
            assert_eq!(decide(sign * inside), Decision::Conforms, "{sign} {inside} of {limit}");
        }
        assert_eq!(decide(sign * (limit + SLACK + 1)), Decision::Fails, "{sign} {limit} and 3");
    }
}

#[test]
fn every_meridian_row() {
    let mut judged = 0;
    for row in rows().into_iter().filter(|row| row.parameter == "meridian") {
        let end = row.power_up_to.map(|end| (end, true));
        for power in members(row.power_over, end, false).into_iter().flat_map(|power| [power, -power]) {
            // Alone, and as the stronger of two: across it half as much.
            let half = power.half();
            for ordered in [rx_of(power, Dioptre::ZERO), rx_of(power, half - power)] {
                judged += assert_meridian(&row, ordered, power);
            }
        }
    }
    assert!(judged > 300, "{judged}");
}

/// Judges the meridian of `ordered` that has `power`; returns how often.
fn assert_meridian(row: &Row, ordered: SpheroCylinder, power: Dioptre) -> usize {
    let class = row.class();
    let minus = ordered.minus_form();
    let is_sphere = minus.sphere() == power;
    let parameter = if is_sphere { Parameter::SphereMeridian } else { Parameter::CylinderMeridian };
    let verdict = judge(class, &order(ordered), &found(ordered, &order(ordered)), Rule::Simple);
    if verdict.finding(parameter).is_none() {
        // The class asks for the sphere meridian only.
        assert!(class.name.starts_with("ansi") && !is_sphere);
        return 0;
    }
    let seen = limit(&verdict, parameter);
    assert_limit(row, seen, power);
    assert_both_sides(seen.unwrap(), |deviation| {
        // Both meridians move together: the cylinder stays.
        let measured = rx_of(plus(minus.sphere(), deviation), minus.cylinder());
        decision(&judge(class, &order(ordered), &found(measured, &order(ordered)), Rule::Simple), parameter)
    });
    1
}

#[test]
fn every_cylinder_row() {
    for row in rows().into_iter().filter(|row| row.parameter == "cylinder") {
        let mut judged = 0;
        let powers = members(row.power_over, row.power_up_to.map(|end| (end, true)), false);
        for power in powers {
            for cylinder in members(row.over, row.end(), false) {
                judged += assert_cylinder(&row, power, cylinder);
            }
        }
        assert!(judged > 0, "{row:?}");
    }
}

fn assert_cylinder(row: &Row, power: Dioptre, cylinder: Dioptre) -> usize {
    // With the strongest principal power fixed, no lens has more than twice as much cylinder.
    if row.class.starts_with("iso") && cylinder > power.double() {
        return 0;
    }
    let (class, mut judged) = (row.class(), 0);
    for ordered in [rx_of(power, -cylinder), rx_of(-power, cylinder), rx_of(power, -cylinder).transposed()] {
        let verdict = judge(class, &order(ordered), &found(ordered, &order(ordered)), Rule::Simple);
        let seen = limit(&verdict, Parameter::Cylinder);
        assert_limit(row, seen, cylinder);
        let minus = ordered.minus_form();
        assert_both_sides(seen.unwrap(), |deviation| {
            let shifted = plus(minus.cylinder(), deviation);
            // A cylinder of the other sign is a cylinder turned by 90 degrees, not less cylinder.
            if shifted > Dioptre::ZERO {
                let size = deviation.abs();
                return if size <= d(seen.unwrap()).to_bits() + SLACK { Decision::Conforms } else { Decision::Fails };
            }
            let measured = rx_of(minus.sphere(), shifted);
            decision(
                &judge(class, &order(ordered), &found(measured, &order(ordered)), Rule::Simple),
                Parameter::Cylinder,
            )
        });
        judged += 1;
    }
    judged
}

#[test]
fn every_axis_row() {
    let (mut judged, mut before_is_less_than) = (0, false);
    for row in rows().into_iter().filter(|row| row.parameter == "axis") {
        let begins_at_bound = row.over.is_some() && before_is_less_than;
        before_is_less_than = matches!(row.end(), Some((_, false)));
        for cylinder in members(row.over, row.end(), begins_at_bound) {
            if cylinder != Dioptre::ZERO {
                judged += assert_axis(&row, cylinder);
            }
        }
    }
    assert!(judged > 500, "{judged}");
}

fn assert_axis(row: &Row, cylinder: Dioptre) -> usize {
    let class = row.class();
    let mut judged = 0;
    for (axis, cylinder) in [(35, -cylinder), (178, -cylinder), (3, -cylinder), (90, cylinder)] {
        let axis = Axis::from_degrees(axis).unwrap();
        let ordered = order(SpheroCylinder::new(d(-1.0), cylinder, axis).unwrap());
        let turned = |units: i32| {
            let power = SpheroCylinder::new(d(-1.0), cylinder, axis.turned(Degree::from_bits(units))).unwrap();
            judge(class, &ordered, &found(power, &ordered), Rule::Simple)
        };
        let seen = limit(&turned(0), Parameter::Axis);
        match row.allowed() {
            Allowed::Absolute(limit) => {
                assert_eq!(seen, Some(limit), "{row:?}");
                assert_both_sides(limit, |units| decision(&turned(units), Parameter::Axis));
            }
            _ => {
                assert_eq!(seen, None, "{row:?}");
                assert_eq!(decision(&turned(90 << 20), Parameter::Axis), Decision::Conforms);
            }
        }
        judged += 1;
    }
    judged
}

#[test]
fn every_addition_row() {
    for row in rows().into_iter().filter(|row| row.parameter == "addition") {
        let class = row.class();
        for addition in members(row.over, row.end(), false).into_iter().flat_map(|addition| [addition, -addition]) {
            let ordered = Ordered { addition: Some(addition), ..Ordered::default() };
            let with = |deviation| {
                let measured = Measured { addition: Some(plus(addition, deviation)), ..found(ordered.power, &ordered) };
                judge(class, &ordered, &measured, Rule::Simple)
            };
            let seen = limit(&with(0), Parameter::Addition);
            assert_limit(&row, seen, addition);
            assert_both_sides(seen.unwrap(), |deviation| decision(&with(deviation), Parameter::Addition));
        }
    }
}

/// As a person types them: hundredths, on the limit and one hundredth beyond.
#[test]
fn a_written_value_on_a_decimal_limit_conforms() {
    for sphere in -1200..=1200 {
        let ordered = rx_of(Dioptre::from_thousandths(sphere * 10).unwrap(), Dioptre::ZERO);
        let limits = judge(&ISO_8980_1, &order(ordered), &found(ordered, &order(ordered)), Rule::Simple);
        let hundredths = (limit(&limits, Parameter::SphereMeridian).unwrap() * 100.0).round() as i32;
        for (off, expected) in [(hundredths, Decision::Conforms), (hundredths + 1, Decision::Fails)] {
            for sign in [-1, 1] {
                let measured = rx_of(Dioptre::from_thousandths((sphere + sign * off) * 10).unwrap(), Dioptre::ZERO);
                let verdict = judge(&ISO_8980_1, &order(ordered), &found(measured, &order(ordered)), Rule::Simple);
                assert_eq!(decision(&verdict, Parameter::SphereMeridian), expected, "{ordered} {measured}");
            }
        }
    }
}

/// Published examples: 6.50 D is the last power with 0.13 D, and 2 % of it is 0.13 as well ("Quick Reference Guide -
/// Ansi Z80.1-2015"); at 10.00 D the limits are 0.18 and 0.12 (practice article on GB 10810, book118.com), at plano
/// 0.12 and 0.09 (page quoting GB 10810.1, smilingsouls.net): the Chinese standard has the grid of ISO 8980-1.
#[test]
fn published_examples() {
    let check = |class: &Class, text: &str, parameter, expected: f64| {
        let ordered = order(rx(text));
        let verdict = judge(class, &ordered, &found(ordered.power, &ordered), Rule::Simple);
        let seen = limit(&verdict, parameter).unwrap();
        assert!((seen - expected).abs() < 1e-6, "{} {text}: {seen}", class.name);
    };
    check(&ANSI_Z80_1, "-6.50", Parameter::SphereMeridian, 0.13);
    check(&ANSI_Z80_1, "-8.00", Parameter::SphereMeridian, 0.16);
    check(&ANSI_Z80_1, "+10.00", Parameter::SphereMeridian, 0.20);
    check(&ANSI_Z80_1_PROGRESSIVE, "+8.00", Parameter::SphereMeridian, 0.16);
    check(&ANSI_Z80_1, "pl -4.50 x 90", Parameter::Cylinder, 0.15);
    check(&ANSI_Z80_1, "pl -5.00 x 90", Parameter::Cylinder, 0.20);
    // The sphere meridian in minus form picks and is judged, not the stronger one: here 1.00, not -7.00.
    check(&ANSI_Z80_1, "-7.00 +8.00 x 90", Parameter::SphereMeridian, 0.13);
    check(&ISO_8980_1, "10.00", Parameter::SphereMeridian, 0.18);
    check(&ISO_8980_1, "10.00", Parameter::Cylinder, 0.12);
    check(&ISO_8980_1, "pl", Parameter::SphereMeridian, 0.12);
    check(&ISO_8980_1, "pl", Parameter::Cylinder, 0.09);
}

/// The alpha = asin(C / 2F) of "OLA White Paper ANSI Z80.1-2005" (D. Torgersen), C = 0.12 D, is the basis of the axis
/// rows: at the end of each row whose limit it set, the rounded angle is no larger than the limit.
#[test]
fn axis_limits_are_those_of_the_residual_cylinder() {
    for (cylinder, limit_degrees) in [("0.25", 14.0), ("0.50", 7.0), ("0.75", 5.0)] {
        let ordered = order(rx(&format!("pl -{cylinder} x 90")));
        let verdict = judge(&ANSI_Z80_1, &ordered, &found(ordered.power, &ordered), Rule::Simple);
        assert_eq!(limit(&verdict, Parameter::Axis), Some(limit_degrees));
        let basis = (0.12 / (2.0 * cylinder.parse::<f64>().unwrap())).asin().to_degrees().round();
        assert_eq!(basis, limit_degrees, "{cylinder}");
    }
}

#[test]
fn percentages_are_rounded_to_the_nearest_unit() {
    let magnitudes = [0, 1, 3, 49, 50, 51, 99, 100, 101, 12_345, 6_815_744, 67_108_864, 1_000_000_007, i32::MAX];
    for (percent, bits) in (0..=100).flat_map(|percent| magnitudes.map(|bits| (percent, bits))) {
        let exact = (i64::from(bits) * i64::from(percent) + 50) / 100;
        let limit = Limit::Percent(percent as u8);
        assert_eq!(i64::from(limit.of(Dioptre::from_bits(bits)).to_bits()), exact, "{percent} % of {bits}");
        assert_eq!(limit.of(Dioptre::from_bits(-bits)), limit.of(Dioptre::from_bits(bits)));
    }
    // Above 100, which `check` refuses, it saturates.
    assert!(Limit::Percent(255).of(Dioptre::MAX).is_saturated());
}

#[test]
fn the_ordered_lens_picks_the_row() {
    // Ordered 6.00 has a cylinder limit of 0.12, 6.06 would have the next row's; both for cylinders above 0.75.
    let ordered = order(rx("-5.00 -1.00 x 90"));
    for (measured, expected) in [("-5.06 -1.13 x 90", Decision::Fails), ("-5.06 -1.12 x 90", Decision::Conforms)] {
        let verdict = judge(&ISO_21987, &ordered, &found(rx(measured), &ordered), Rule::Simple);
        assert_eq!(decision(&verdict, Parameter::Cylinder), expected, "{measured}");
    }
    // And the other way round: ordered above 6.00 with 0.18, measured below.
    let ordered = order(rx("-5.06 -1.00 x 90"));
    let verdict = judge(&ISO_21987, &ordered, &found(rx("-4.98 -0.82 x 90"), &ordered), Rule::Simple);
    assert_eq!(decision(&verdict, Parameter::Cylinder), Decision::Conforms);
    // Axis: ordered 0.50 allows 9 degrees, measured 0.53 would allow 6.
    let ordered = order(rx("-1.00 -0.50 x 90"));
    let verdict = judge(&ISO_21987, &ordered, &found(rx("-1.00 -0.53 x 98"), &ordered), Rule::Simple);
    assert_eq!(decision(&verdict, Parameter::Axis), Decision::Conforms);
}

#[test]
fn the_axis_wraps() {
    for (ordered, measured, degrees, expected) in [
        (178, 3, 5.0, Decision::Fails),
        (3, 178, -5.0, Decision::Fails),
        (178, 2, 4.0, Decision::Conforms),
        (180, 4, 4.0, Decision::Conforms),
        (0, 176, -4.0, Decision::Conforms),
        (45, 135, 90.0, Decision::Fails),
        (1, 90, 89.0, Decision::Fails),
    ] {
        let lens = |axis| rx(&format!("-2.00 -1.00 x {axis}"));
        let order = order(lens(ordered));
        let verdict = judge(&ISO_21987, &order, &found(lens(measured), &order), Rule::Simple);
        let finding = verdict.finding(Parameter::Axis).unwrap();
        let deviation = number(finding.deviation().unwrap());
        assert!((deviation - degrees).abs() < 2e-6, "{ordered} {measured}: {deviation}");
        assert_eq!(finding.decision(), expected, "{ordered} {measured}");
    }
}
