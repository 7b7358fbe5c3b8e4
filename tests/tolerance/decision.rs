//! Decision rules, and what is missing, saturated or without a requirement.

use super::{SLACK, d, decision, found, order, pd, plus, rx};
use dioptric::prism::Prism;
use dioptric::quantity::{Axis, Degree, Dioptre, Millimetre, Point, PrismDioptre};
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::StandardUncertainty;
use dioptric::tolerance::*;
use dioptric::vector::PowerVector;
use dioptric::{degrees, dioptres, millimetres, prism_dioptres};

/// All different: each parameter must find its own.
const ALL_KNOWN: Uncertainty = Uncertainty {
    sphere_meridian: Some(dioptres!(0.03125)),
    cylinder_meridian: Some(dioptres!(0.046875)),
    cylinder: Some(dioptres!(0.0625)),
    axis: Some(degrees!(0.5)),
    addition: Some(dioptres!(0.015625)),
    prism_horizontal: Some(prism_dioptres!(0.03125)),
    prism_vertical: Some(prism_dioptres!(0.046875)),
    prism: Some(prism_dioptres!(0.0625)),
    position: Some(millimetres!(0.25)),
    polariser: Some(degrees!(0.25)),
    gradient: Some(degrees!(0.75)),
    length: Some(millimetres!(0.125)),
    tilt: Some(degrees!(0.375)),
    thickness: Some(millimetres!(0.0625)),
    curve: Some(dioptres!(0.25)),
    bicentric: Some(prism_dioptres!(0.125)),
};

/// Where the decision of a rule changes: the largest deviations that conform and that do not yet fail.
fn zones(limit: i32, guard: i32) -> [(i32, Decision); 6] {
    let (inner, outer) = (limit - guard + SLACK, limit + guard + SLACK);
    [
        (0, Decision::Conforms),
        (inner, Decision::Conforms),
        (inner + 1, Decision::Undetermined),
        (limit, Decision::Undetermined),
        (outer, Decision::Undetermined),
        (outer + 1, Decision::Fails),
    ]
}

/// Judges a lens whose parameter is off by so many units, under the guarded rule.
fn guarded(parameter: Parameter, units: i32) -> Verdict {
    let ordered =
        Ordered { power: rx("+2.00 -1.00 x 45"), addition: Some(d(2.0)), prism: Prism::new(pd(0.5), pd(-0.5)) };
    let (mut sphere, mut cylinder, mut axis) = (d(2.0), d(-1.0), Axis::from_degrees(45).unwrap());
    let mut measured = found(ordered.power, &ordered);
    let off = |prism: PrismDioptre| PrismDioptre::from_bits(prism.to_bits() + units);
    let mut class = ISO_21987;
    match parameter {
        Parameter::SphereMeridian => sphere = plus(sphere, units),
        // The sphere stays where it is.
        Parameter::CylinderMeridian | Parameter::Cylinder => cylinder = plus(cylinder, units),
        Parameter::Axis => axis = axis.turned(Degree::from_bits(units)),
        Parameter::Addition => measured.addition = Some(plus(d(2.0), units)),
        Parameter::PrismHorizontal => measured.prism = Some(Prism::new(off(pd(0.5)), pd(-0.5))),
        Parameter::PrismVertical => measured.prism = Some(Prism::new(pd(0.5), off(pd(-0.5)))),
        Parameter::Prism => {
            class = ANSI_Z80_1;
            // A weak lens: the alternative, position, fails.
            measured.power = Some(rx("+0.25 -0.12 x 45").into());
            measured.prism = Some(Prism::new(off(pd(0.5)), pd(-0.5)));
            return judge(&class, &ordered, &measured, Rule::Guarded(ALL_KNOWN));
        }
        _ => unreachable!("see its own test"),
    }
    measured.power = Some(SpheroCylinder::new(sphere, cylinder, axis).unwrap().into());
    judge(&class, &ordered, &measured, Rule::Guarded(ALL_KNOWN))
}

#[test]
fn the_guarded_rule_has_three_zones_for_every_parameter() {
    let bits = |value: f64| d(value).to_bits();
    // ISO 21987 at these powers; the prism limits with the effect of 1 mm and 0.5 mm of 2.00 D. ANSI: 0.33.
    for (parameter, limit, guard) in [
        (Parameter::SphereMeridian, bits(0.12), bits(0.03125)),
        (Parameter::CylinderMeridian, bits(0.12), bits(0.046875)),
        (Parameter::Cylinder, bits(0.12), bits(0.0625)),
        (Parameter::Axis, bits(4.0), bits(0.5)),
        (Parameter::Addition, bits(0.12), bits(0.015625)),
        (Parameter::PrismHorizontal, bits(0.25) + bits(0.2), bits(0.03125)),
        (Parameter::PrismVertical, bits(0.25) + bits(0.1), bits(0.046875)),
        (Parameter::Prism, bits(0.33), bits(0.0625)),
    ] {
        for (units, expected) in zones(limit, guard) {
            for sign in [-1, 1] {
                let verdict = guarded(parameter, sign * units);
                let finding = verdict.finding(parameter).unwrap();
                assert_eq!(finding.decision(), expected, "{parameter} {sign} {units}: {finding}");
                assert!(finding.uncertainty().is_some());
            }
        }
    }
}

#[test]
fn the_guarded_position_has_three_zones() {
    // +10.00 D: a prism of p lies p mm off; prism alone fails from 0.33 + 0.0625 on.
    let ordered = order(rx("+10.00"));
    for (position, expected) in [
        (0.74, Decision::Conforms),
        (0.76, Decision::Undetermined),
        (1.0, Decision::Undetermined),
        (1.24, Decision::Undetermined),
        (1.26, Decision::Fails),
    ] {
        let measured = Measured { prism: Some(Prism::new(pd(0.0), pd(position))), ..found(ordered.power, &ordered) };
        let verdict = judge(&ANSI_Z80_1, &ordered, &measured, Rule::Guarded(ALL_KNOWN));
        assert_eq!(decision(&verdict, Parameter::ReferencePoint), expected, "{position}");
        assert_eq!(decision(&verdict, Parameter::Prism), expected, "{position}");
        assert_eq!(verdict.decision(), expected, "{position}");
    }
}

#[test]
fn an_uncertainty_wider_than_the_limit_proves_no_conformity() {
    let ordered = order(rx("-1.00"));
    let wide = Uncertainty { sphere_meridian: Some(dioptres!(0.2)), ..ALL_KNOWN };
    let verdict = judge(&ISO_21987, &ordered, &found(ordered.power, &ordered), Rule::Guarded(wide));
    assert_eq!(verdict.decision(), Decision::Undetermined);
    let boundless = Uncertainty { sphere_meridian: Some(Dioptre::MAX), ..ALL_KNOWN };
    let verdict = judge(&ISO_21987, &ordered, &found(rx("-60.00"), &ordered), Rule::Guarded(boundless));
    assert_eq!(decision(&verdict, Parameter::SphereMeridian), Decision::Undetermined);
}

/// Invented: legs of 3 and 4, so that lengths are 5.
const OF_A_FIT: StandardUncertainty = StandardUncertainty {
    sphere: dioptres!(0.0078125),
    cylinder: dioptres!(0.015625),
    across: dioptres!(0.01171875),
    axis: Some(degrees!(0.25)),
    prism_x: prism_dioptres!(0.0234375),
    prism_y: prism_dioptres!(0.03125),
    centre: Some(Point::new(millimetres!(0.75), millimetres!(1.0))),
};

#[test]
fn a_fit_gives_each_parameter_twice_its_own_standard_uncertainty() {
    let expanded = Uncertainty {
        sphere_meridian: Some(dioptres!(0.015625)),
        cylinder_meridian: Some(dioptres!(0.0234375)),
        cylinder: Some(dioptres!(0.03125)),
        axis: Some(degrees!(0.5)),
        addition: None,
        prism_horizontal: Some(prism_dioptres!(0.046875)),
        prism_vertical: Some(prism_dioptres!(0.0625)),
        prism: Some(prism_dioptres!(0.078125)),
        position: Some(millimetres!(2.5)),
        ..Uncertainty::default()
    };
    assert_eq!(Uncertainty::of_fit(&OF_A_FIT), expanded);
    let open = StandardUncertainty { axis: None, centre: None, ..OF_A_FIT };
    assert_eq!(Uncertainty::of_fit(&open), Uncertainty { axis: None, position: None, ..expanded });
}

#[test]
fn the_uncertainty_of_a_fit_saturates() {
    let half = |top: i32| top / 2 + 1;
    let (power, prism) = (Dioptre::from_bits(half(i32::MAX)), PrismDioptre::from_bits(half(i32::MAX)));
    let wide = StandardUncertainty {
        sphere: power,
        cylinder: Dioptre::MAX,
        across: power,
        axis: Some(degrees!(45.0)),
        prism_x: prism,
        prism_y: prism_dioptres!(0.0),
        centre: Some(Point::new(millimetres!(0.0), Millimetre::from_bits(half(i32::MAX)))),
    };
    let expanded = Uncertainty {
        sphere_meridian: Some(Dioptre::MAX),
        cylinder_meridian: Some(Dioptre::MAX),
        cylinder: Some(Dioptre::MAX),
        axis: Some(degrees!(90.0)),
        addition: None,
        prism_horizontal: Some(PrismDioptre::MAX),
        prism_vertical: Some(prism_dioptres!(0.0)),
        prism: Some(PrismDioptre::MAX),
        position: Some(Millimetre::MAX),
        ..Uncertainty::default()
    };
    assert_eq!(Uncertainty::of_fit(&wide), expanded);
    // Neither conformity nor failure is proved by it.
    let ordered = order(rx("-1.00"));
    for measured in ["-1.00", "-60.00"] {
        let verdict = judge(&ISO_21987, &ordered, &found(rx(measured), &ordered), Rule::Guarded(expanded));
        assert_eq!(decision(&verdict, Parameter::SphereMeridian), Decision::Undetermined, "{measured}");
    }
}

#[test]
fn the_sign_of_an_uncertainty_does_not_count() {
    let negative = Uncertainty { sphere_meridian: Some(dioptres!(-0.03125)), ..ALL_KNOWN };
    let ordered = order(rx("-1.00"));
    for measured in ["-1.00", "-1.08", "-1.10", "-1.14", "-1.16"] {
        let judged =
            |uncertainty| judge(&ISO_21987, &ordered, &found(rx(measured), &ordered), Rule::Guarded(uncertainty));
        assert_eq!(judged(negative), judged(ALL_KNOWN));
    }
}

#[test]
fn without_its_uncertainty_nothing_is_proved() {
    let ordered = Ordered { addition: Some(d(2.0)), ..order(rx("-1.00 -1.00 x 90")) };
    for class in Class::ALL {
        for measured in [found(ordered.power, &ordered), found(rx("+5.00 -3.00 x 20"), &ordered)] {
            let verdict = judge(class, &ordered, &measured, Rule::Guarded(Uncertainty::default()));
            for finding in verdict.findings() {
                assert_eq!(finding.decision(), Decision::Undetermined, "{}: {finding}", class.name);
                assert!(finding.to_string().ends_with(", U unknown: undetermined"), "{finding}");
            }
        }
    }
    // One that is missing does not hide another that fails.
    let known = Uncertainty { axis: None, ..ALL_KNOWN };
    let verdict = judge(&ISO_21987, &ordered, &found(rx("-3.00 -1.00 x 90"), &ordered), Rule::Guarded(known));
    assert_eq!(decision(&verdict, Parameter::Axis), Decision::Undetermined);
    assert_eq!(verdict.decision(), Decision::Fails);
}

#[test]
fn what_was_not_measured_is_undetermined() {
    let ordered = Ordered { addition: Some(d(2.0)), ..order(rx("-1.00 -1.00 x 90")) };
    for class in Class::ALL {
        for rule in [Rule::Simple, Rule::Guarded(ALL_KNOWN)] {
            let verdict = judge(class, &ordered, &Measured::default(), rule);
            assert!(verdict.findings().count() >= 6, "{}", class.name);
            for finding in verdict.findings() {
                assert_eq!(finding.decision(), Decision::Undetermined, "{finding}");
                assert_eq!((finding.measured(), finding.deviation(), finding.share_per_mille()), (None, None, None));
            }
            let whole = found(ordered.power, &ordered);
            assert_eq!(judge(class, &ordered, &whole, rule).decision(), Decision::Conforms, "{}", class.name);
            for part in [
                Measured { power: None, ..whole },
                Measured { addition: None, ..whole },
                Measured { prism: None, ..whole },
            ] {
                let decision = judge(class, &ordered, &part, rule).decision();
                assert_eq!(decision, Decision::Undetermined, "{} {part:?}", class.name);
            }
        }
    }
}

#[test]
fn what_is_saturated_fails() {
    let ordered = Ordered { addition: Some(d(2.0)), ..order(rx("-1.00 -1.00 x 90")) };
    let whole = found(ordered.power, &ordered);
    let good = PowerVector::from(ordered.power);
    let high = PrismDioptre::MAX;
    let saturated = [
        Measured { power: Some(PowerVector { m: Dioptre::MAX, ..good }.into()), ..whole },
        Measured { power: Some(PowerVector { j0: Dioptre::MIN, ..good }.into()), ..whole },
        Measured { power: Some(PowerVector { j45: Dioptre::MAX, ..good }.into()), ..whole },
        // Beyond any spectacle lens, though not at the end of the scale.
        Measured { power: Some(PowerVector { m: d(100.0), ..good }.into()), ..whole },
        Measured { addition: Some(Dioptre::MAX), ..whole },
        Measured { addition: Some(Dioptre::MIN), ..whole },
        Measured { prism: Some(Prism::new(high, pd(0.0))), ..whole },
        Measured { prism: Some(Prism::new(pd(0.0), -high)), ..whole },
        Measured { prism: Some(Prism::SATURATED), ..whole },
    ];
    let boundless = Uncertainty {
        sphere_meridian: Some(Dioptre::MAX),
        cylinder_meridian: Some(Dioptre::MAX),
        cylinder: Some(Dioptre::MAX),
        axis: None,
        addition: Some(Dioptre::MAX),
        prism_horizontal: Some(high),
        prism_vertical: Some(high),
        prism: Some(high),
        position: Some(Millimetre::MAX),
        ..Uncertainty::default()
    };
    for class in Class::ALL {
        for rule in [Rule::Simple, Rule::Guarded(ALL_KNOWN), Rule::Guarded(boundless)] {
            for measured in &saturated {
                let verdict = judge(class, &ordered, measured, rule);
                assert_eq!(verdict.decision(), Decision::Fails, "{} {measured:?}: {verdict}", class.name);
                assert!(verdict.to_string().contains("saturated"), "{verdict}");
            }
        }
        // So does an order at the end of the scale, whatever is measured.
        for ordered in
            [Ordered { addition: Some(Dioptre::MAX), ..ordered }, Ordered { prism: Prism::SATURATED, ..ordered }]
        {
            let verdict = judge(class, &ordered, &found(ordered.power, &ordered), Rule::Simple);
            assert_eq!(verdict.decision(), Decision::Fails, "{}", class.name);
        }
    }
}

#[test]
fn all_power_findings_of_a_saturated_power_fail() {
    let ordered = order(rx("-1.00 -1.00 x 90"));
    let power = PowerVector { m: Dioptre::MIN, ..PowerVector::ZERO };
    let verdict =
        judge(&ISO_21987, &ordered, &Measured { power: Some(power.into()), ..Measured::default() }, Rule::Simple);
    for parameter in [Parameter::SphereMeridian, Parameter::CylinderMeridian, Parameter::Cylinder, Parameter::Axis] {
        assert_eq!(decision(&verdict, parameter), Decision::Fails, "{parameter}");
    }
}

#[test]
fn a_lens_without_cylinder_has_no_axis() {
    let ordered = order(rx("-1.00"));
    for class in Class::ALL {
        // Ordered without: no finding, whatever axis a trace of cylinder has; the cylinder's own limit still applies.
        let verdict = judge(class, &ordered, &found(rx("-1.00 -0.05 x 90"), &ordered), Rule::Simple);
        assert_eq!(verdict.finding(Parameter::Axis), None, "{}", class.name);
        assert_eq!(verdict.decision(), Decision::Conforms);
        let verdict = judge(class, &ordered, &found(rx("-0.90 -0.20 x 90"), &ordered), Rule::Simple);
        assert_eq!(decision(&verdict, Parameter::Cylinder), Decision::Fails, "{}", class.name);
        // Measured without: its axis cannot be told.
        let toric = order(rx("-1.00 -0.12 x 90"));
        let verdict = judge(class, &toric, &found(rx("-1.00"), &toric), Rule::Simple);
        assert_eq!(decision(&verdict, Parameter::Axis), Decision::Undetermined, "{}", class.name);
        assert_eq!(verdict.finding(Parameter::Axis).unwrap().measured(), None);
    }
}

#[test]
fn a_cylinder_below_the_least_has_an_axis_without_limit() {
    let ordered = order(rx("-1.00 -0.10 x 90"));
    for class in [ANSI_Z80_1, ANSI_Z80_1_PROGRESSIVE, ISO_21987, ISO_21987_PROGRESSIVE, ISO_8980_2] {
        let verdict = judge(&class, &ordered, &found(rx("-1.00 -0.10 x 180"), &ordered), Rule::Simple);
        let axis = verdict.finding(Parameter::Axis).unwrap();
        assert_eq!((axis.limit(), axis.decision(), axis.share_per_mille()), (None, Decision::Conforms, None));
        assert_eq!(axis.deviation(), Some(Value::Angle(degrees!(90.0))));
    }
}

#[test]
fn an_addition_is_judged_when_it_is_ordered() {
    let without = order(rx("-1.00"));
    let measured = Measured { addition: Some(d(3.0)), ..found(without.power, &without) };
    let verdict = judge(&ISO_21987, &without, &measured, Rule::Simple);
    assert_eq!(verdict.finding(Parameter::Addition), None);
    // A class without rows for it cannot tell.
    let single_vision = Class { addition: &[], ..ISO_21987 };
    let ordered = Ordered { addition: Some(d(2.0)), ..without };
    let verdict = judge(&single_vision, &ordered, &found(ordered.power, &ordered), Rule::Simple);
    assert_eq!(decision(&verdict, Parameter::Addition), Decision::Undetermined);
    assert_eq!(verdict.decision(), Decision::Undetermined);
}

#[test]
fn a_table_without_a_row_for_the_lens_is_undetermined() {
    let closed = &[MeridianRow {
        up_to: dioptres!(6.0),
        limit: Limit::Absolute(dioptres!(0.12)),
        source: &Source { text: "invented for a test", confidence: Confidence::A },
    }];
    let class = Class { meridian: closed, axis: &[], cylinder: &[], ..ISO_21987 };
    let ordered = order(rx("-8.00 -1.00 x 90"));
    let verdict = judge(&class, &ordered, &found(ordered.power, &ordered), Rule::Simple);
    for parameter in [Parameter::SphereMeridian, Parameter::CylinderMeridian, Parameter::Cylinder, Parameter::Axis] {
        assert_eq!(decision(&verdict, parameter), Decision::Undetermined, "{parameter}");
    }
    let nothing = Class { prism: PrismRule::NoRequirement, ..class };
    let verdict = judge(&nothing, &ordered, &found(ordered.power, &ordered), Rule::Simple);
    assert_eq!(verdict.findings().count(), 4);
}

/// The rule of Z80.1 before 2015: "AMERICAN NATIONAL STANDARD Z80.1-1999", hollywoodoptical.com.
#[test]
fn the_strongest_meridian_alone_can_be_judged() {
    let class = Class { row_power: RowPower::StrongestMeridian, meridians: Meridians::Strongest, ..ANSI_Z80_1 };
    for (text, judged, other) in [
        ("+1.00 -8.00 x 90", Parameter::CylinderMeridian, Parameter::SphereMeridian),
        ("+8.00 -1.00 x 90", Parameter::SphereMeridian, Parameter::CylinderMeridian),
        ("-1.00 -6.00 x 90", Parameter::CylinderMeridian, Parameter::SphereMeridian),
        ("+1.00 -2.00 x 90", Parameter::SphereMeridian, Parameter::CylinderMeridian),
    ] {
        let ordered = order(rx(text));
        let verdict = judge(&class, &ordered, &found(ordered.power, &ordered), Rule::Simple);
        assert_eq!(decision(&verdict, judged), Decision::Conforms, "{text}");
        assert_eq!(verdict.finding(other), None, "{text}");
    }
}

#[test]
fn each_class_judges_the_parameters_of_its_standard() {
    use Parameter::{
        Addition, Axis, Cylinder, CylinderMeridian, Prism, PrismHorizontal, PrismVertical, ReferencePoint,
    };
    let iso =
        vec![Parameter::SphereMeridian, CylinderMeridian, Cylinder, Axis, Addition, PrismHorizontal, PrismVertical];
    let ansi = vec![Parameter::SphereMeridian, Cylinder, Axis, Addition, Prism, ReferencePoint];
    let ordered = Ordered { addition: Some(d(2.0)), ..order(rx("-1.00 -6.00 x 90")) };
    for class in Class::ALL {
        let verdict = judge(class, &ordered, &found(ordered.power, &ordered), Rule::Simple);
        let judged: Vec<_> = verdict.findings().map(Finding::parameter).collect();
        assert_eq!(judged, if class.name.starts_with("ansi") { ansi.clone() } else { iso.clone() }, "{}", class.name);
    }
}

#[test]
fn the_written_form_does_not_matter() {
    let (ordered, measured) = (rx("+1.00 -2.00 x 35"), rx("+1.06 -2.09 x 37"));
    let reference = judge(&ISO_21987, &order(ordered), &found(measured, &order(ordered)), Rule::Simple);
    assert_eq!(reference.decision(), Decision::Conforms);
    for ordered in [ordered, ordered.transposed()] {
        for measured in [measured, measured.transposed()] {
            assert_eq!(judge(&ISO_21987, &order(ordered), &found(measured, &order(ordered)), Rule::Simple), reference);
        }
    }
}

#[test]
fn a_vector_is_judged_as_what_it_says_in_writing() {
    let ordered = order(rx("-2.00 -1.00 x 35"));
    let written = rx("-2.06 -1.03 x 37");
    let verdict = judge(&ISO_21987, &ordered, &found(written, &ordered), Rule::Simple);
    let vector = Measured { power: Some(PowerVector::from(written).into()), ..found(written, &ordered) };
    let other = judge(&ISO_21987, &ordered, &vector, Rule::Simple);
    for (one, other) in verdict.findings().zip(other.findings()) {
        let difference = super::number(one.deviation().unwrap()) - super::number(other.deviation().unwrap());
        // What a vector keeps of a prescription: 2e-6 D, and 2e-4 degree from 0.25 D of cylinder.
        let allowed = if one.parameter() == Parameter::Axis { 2e-4 } else { 2e-6 };
        assert!(difference.abs() < allowed, "{one} {other}: {difference}");
        assert_eq!(one.decision(), other.decision());
    }
}

#[test]
fn shares_are_per_mille_of_the_limit() {
    let ordered = order(rx("-1.00"));
    for (measured, expected) in [
        ("-1.00", 0),
        ("-1.06", 500),
        ("-0.94", 500),
        ("-1.12", 1000),
        ("-1.13", 1083),
        ("-2.20", 10_000),
        ("-60.0", 491_667),
    ] {
        let verdict = judge(&ISO_21987, &ordered, &found(rx(measured), &ordered), Rule::Simple);
        let share = verdict.finding(Parameter::SphereMeridian).unwrap().share_per_mille().unwrap();
        let allowed = if share > 100_000 { share / 10_000 } else { 0 };
        assert!(share.abs_diff(expected) <= allowed, "{measured}: {share}");
    }
    const SOURCE: &Source = &Source { text: "invented for a test", confidence: Confidence::A };
    const fn row(limit: i32) -> MeridianRow {
        MeridianRow { up_to: Dioptre::MAX, limit: Limit::Absolute(Dioptre::from_bits(limit)), source: SOURCE }
    }
    // Halves go up: one unit of 2000.
    let class = Class { meridian: &[const { row(2000) }], ..ISO_21987 };
    let measured = SpheroCylinder::from_sphere(plus(d(-1.0), 1)).unwrap();
    let verdict = judge(&class, &ordered, &found(measured, &ordered), Rule::Simple);
    assert_eq!(verdict.finding(Parameter::SphereMeridian).unwrap().share_per_mille(), Some(1));
    // No allowance, no share.
    let strict = Class { meridian: &[const { row(0) }], ..ISO_21987 };
    let verdict = judge(&strict, &ordered, &found(rx("-1.01"), &ordered), Rule::Simple);
    assert_eq!(verdict.finding(Parameter::SphereMeridian).unwrap().share_per_mille(), None);
    assert_eq!(verdict.decision(), Decision::Fails);
}
