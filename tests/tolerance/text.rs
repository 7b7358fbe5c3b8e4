//! What a person reads.

use super::{d, found, order, pd, rx};
use dioptric::prism::Prism;
use dioptric::tolerance::*;
use dioptric::{axis, bearing, degrees, dioptres, millimetres, prism_dioptres};

fn text(verdict: &Verdict, parameter: Parameter) -> String {
    verdict.finding(parameter).unwrap().to_string()
}

#[test]
fn findings_read_as_the_trade_writes() {
    let ordered =
        Ordered { addition: Some(d(2.0)), prism: Prism::new(pd(1.0), pd(0.0)), ..order(rx("-2.00 -1.00 x 5")) };
    let measured = Measured {
        power: Some(rx("-2.06 -1.10 x 178").into()),
        addition: None,
        prism: Some(Prism::new(pd(1.25), pd(-0.5))),
    };
    let verdict = judge(&ISO_21987, &ordered, &measured, Rule::Simple);
    for (parameter, expected) in [
        (Parameter::SphereMeridian, "sphere meridian -2.06 for -2.00, off by -0.060 of 0.120 D: conforms"),
        (Parameter::CylinderMeridian, "cylinder meridian -3.16 for -3.00, off by -0.160 of 0.120 D: fails"),
        (Parameter::Cylinder, "cylinder -1.10 for -1.00, off by -0.100 of 0.120 D: conforms"),
        (Parameter::Axis, "axis 178 for 005, off by -7.000 of 4.000 deg: fails"),
        (Parameter::Addition, "addition not measured for +2.00: undetermined"),
        (Parameter::PrismHorizontal, "horizontal prism 1.25 for 1.00, off by 0.250 of 0.550 cm/m: conforms"),
        (Parameter::PrismVertical, "vertical prism -0.50 for 0.00, off by -0.500 of 0.400 cm/m: fails"),
    ] {
        assert_eq!(text(&verdict, parameter), expected);
    }
    assert_eq!(
        verdict.to_string(),
        "fails: cylinder meridian -3.16 for -3.00, off by -0.160 of 0.120 D: fails; axis 178 for 005, off by -7.000 of \
         4.000 deg: fails; addition not measured for +2.00: undetermined; vertical prism -0.50 for 0.00, off by -0.500 of \
         0.400 cm/m: fails"
    );
    let sphere = verdict.finding(Parameter::SphereMeridian).unwrap();
    assert_eq!(format!("{sphere:.4}"), "sphere meridian -2.0600 for -2.0000, off by -0.0600 of 0.1200 D: conforms");
}

#[test]
fn alternatives_uncertainties_and_saturation_show() {
    let ordered = order(rx("-10.00"));
    let measured = Measured { prism: Some(Prism::new(pd(0.5), pd(0.0))), ..found(ordered.power, &ordered) };
    let verdict = judge(&ANSI_Z80_1, &ordered, &measured, Rule::Simple);
    assert_eq!(text(&verdict, Parameter::Prism), "prism 0.50 for 0.00, off by 0.500 of 0.330 cm/m, excused: conforms");
    assert_eq!(
        text(&verdict, Parameter::ReferencePoint),
        "reference point 0.50 for 0.00, off by 0.500 of 1.000 mm: conforms"
    );
    assert_eq!(verdict.to_string(), "conforms");

    let guarded = Rule::Guarded(Uncertainty { sphere_meridian: Some(d(0.05)), ..Uncertainty::default() });
    let verdict = judge(&ANSI_Z80_1, &ordered, &found(rx("-10.18"), &ordered), guarded);
    assert_eq!(
        text(&verdict, Parameter::SphereMeridian),
        "sphere meridian -10.18 for -10.00, off by -0.180 of 0.200 D, U 0.050: undetermined"
    );
    assert_eq!(
        text(&verdict, Parameter::Cylinder),
        "cylinder +0.00 for +0.00, off by 0.000 of 0.130 D, U unknown: undetermined"
    );

    let plano = order(rx("pl -0.10 x 90"));
    let beyond = dioptric::vector::PowerVector { m: d(80.0), ..dioptric::vector::PowerVector::ZERO };
    let measured = Measured { power: Some(beyond.into()), ..found(plano.power, &plano) };
    let verdict = judge(&ISO_21987, &plano, &measured, Rule::Simple);
    assert_eq!(text(&verdict, Parameter::Cylinder), "cylinder saturated for -0.10, off by saturated of 0.090 D: fails");
    assert_eq!(text(&verdict, Parameter::Axis), "axis saturated for 090, off by saturated deg, no limit: fails");
}

#[test]
fn values_carry_their_unit() {
    for (value, expected) in [
        (Value::Power(dioptres!(-2.0)), "-2.00 D"),
        (Value::Axis(axis!(35.0)), "035"),
        (Value::Bearing(bearing!(270.0)), "270"),
        (Value::Angle(degrees!(2.5)), "2.50 deg"),
        (Value::Prism(prism_dioptres!(0.33)), "0.33 cm/m"),
        (Value::Length(millimetres!(1.0)), "1.00 mm"),
        (Value::Power(dioptric::quantity::Dioptre::MAX), "saturated"),
    ] {
        assert_eq!(value.to_string(), expected);
    }
    assert_eq!(format!("{:>12}|{:<8}|", Decision::Undetermined, Decision::Fails), "undetermined|fails   |");
}

#[cfg(feature = "serde")]
#[test]
fn a_verdict_is_written_with_its_units() {
    let ordered = order(rx("-2.00"));
    let verdict = judge(&ISO_21987, &ordered, &found(rx("-2.25"), &ordered), Rule::Simple);
    let written = serde_json::to_value(verdict).unwrap();
    assert_eq!(written["decision"], "Fails");
    let sphere = &written["findings"][0];
    assert_eq!(sphere["parameter"], "SphereMeridian");
    assert_eq!(sphere["ordered"]["Power"], -2 << 20);
    assert_eq!(sphere["measured"]["Power"], -9 << 18);
    assert_eq!(sphere["share_per_mille"], 2083);
    assert_eq!(sphere["excused"], false);
    assert_eq!(written["findings"][3], serde_json::Value::Null);
    // What was judged can be read back and judged again.
    let measured = found(rx("-2.25"), &ordered);
    let record = serde_json::to_string(&(ordered, measured, Rule::Simple)).unwrap();
    let (ordered, measured, rule): (Ordered, Measured, Rule) = serde_json::from_str(&record).unwrap();
    assert_eq!(judge(&ISO_21987, &ordered, &measured, rule), verdict);
}
