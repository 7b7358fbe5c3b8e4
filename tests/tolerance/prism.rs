//! Prism at the reference point: components with the effect of a shift, and prism or position.

use super::published::{Allowed, table};
use super::{SLACK, decision, found, limit, number, order, pd, rx};
use dioptric::bearing;
use dioptric::prism::Prism;
use dioptric::quantity::PrismDioptre;
use dioptric::tolerance::*;

fn bits(prism: PrismDioptre, units: i32) -> PrismDioptre {
    PrismDioptre::from_bits(prism.to_bits() + units)
}

fn single(class: &str, parameter: &str) -> f64 {
    match table(class, parameter)[..] {
        [ref row] => match row.allowed() {
            Allowed::Absolute(value) => value,
            other => panic!("{other:?}"),
        },
        ref rows => panic!("{rows:?}"),
    }
}

const ISO: [&str; 4] = ["iso21987", "iso21987-progressive", "iso8980-1", "iso8980-2"];

/// Amounts within a published row: its ends, its inside, and the units that the slack moves.
fn amounts(over: Option<f64>, up_to: Option<f64>) -> Vec<PrismDioptre> {
    let mut amounts = vec![over.map_or(PrismDioptre::ZERO, |over| bits(pd(over), SLACK + 1))];
    match up_to {
        Some(end) => amounts.extend([bits(pd(end), -1), pd(end), bits(pd(end), SLACK)]),
        None => amounts.push(pd(25.0)),
    }
    amounts
}

/// `k + 0.1 * shift * Smax`, at both sides, for every row, on lenses of every kind.
#[test]
fn every_component_row() {
    for class in ISO {
        let shifts = ["horizontal shift", "vertical shift"].map(|shift| single(class, shift));
        for row in table(class, "prism") {
            let Allowed::Absolute(k) = row.allowed() else { panic!("{row:?}") };
            for amount in amounts(row.over, row.end().map(|(end, _)| end)) {
                for (lens, strongest) in [
                    ("pl", 0.0),
                    ("+5.00", 5.0),
                    ("-7.25 -2.25 x 30", 9.5),
                    ("+1.00 -13.37 x 120", 12.37),
                    ("pl +3.00 x 10", 3.0),
                ] {
                    let class = Class::find(class).unwrap();
                    let limits = shifts.map(|shift| k + 0.1 * shift * strongest);
                    assert_components(class, lens, Prism::new(amount, PrismDioptre::ZERO), limits);
                    assert_components(class, lens, Prism::new(PrismDioptre::ZERO, -amount), limits);
                }
            }
        }
    }
}

fn assert_components(class: &Class, lens: &str, ordered: Prism, exact: [f64; 2]) {
    let ordered = Ordered { prism: ordered, ..order(rx(lens)) };
    let judged = |measured: Prism| {
        let measured = Measured { prism: Some(measured), ..found(ordered.power, &ordered) };
        judge(class, &ordered, &measured, Rule::Simple)
    };
    let cases = [(Parameter::PrismHorizontal, exact[0]), (Parameter::PrismVertical, exact[1])];
    for (at, (parameter, exact)) in cases.into_iter().enumerate() {
        let seen = limit(&judged(ordered.prism), parameter).unwrap();
        // The row's decimal and the effect round once each.
        assert!((seen - exact).abs() * 2f64.powi(20) <= 1.6, "{} {lens} {parameter}: {seen} for {exact}", class.name);
        let units = pd(seen).to_bits();
        for sign in [-1, 1] {
            for (units, expected) in
                [(units, Decision::Conforms), (units + SLACK, Decision::Conforms), (units + SLACK + 1, Decision::Fails)]
            {
                let Prism { x, y } = ordered.prism;
                let measured =
                    if at == 0 { Prism::new(bits(x, sign * units), y) } else { Prism::new(x, bits(y, sign * units)) };
                let verdict = judged(measured);
                assert_eq!(decision(&verdict, parameter), expected, "{} {lens} {parameter}", class.name);
                assert_eq!(verdict.decision(), expected, "the other component is as ordered");
            }
        }
    }
}

/// The resultant picks the row, so that an oblique base counts with its whole amount.
#[test]
fn the_resultant_of_the_ordered_prism_picks_the_row() {
    let class = &ISO_8980_1;
    for (amount, expected) in [(1.99, 0.25), (2.01, 0.37), (9.99, 0.37), (10.01, 0.50)] {
        let ordered = Ordered { prism: Prism::from_base(pd(amount), bearing!(45.0)), ..order(rx("pl")) };
        let verdict = judge(class, &ordered, &found(ordered.power, &ordered), Rule::Simple);
        for parameter in [Parameter::PrismHorizontal, Parameter::PrismVertical] {
            assert!((limit(&verdict, parameter).unwrap() - expected).abs() < 1e-6, "{amount}");
        }
    }
}

/// The measured power has no say in the limit.
#[test]
fn the_ordered_power_makes_the_shift() {
    let ordered = order(rx("-10.00"));
    for measured in ["-10.00", "-12.00"] {
        let verdict = judge(&ISO_8980_1, &ordered, &found(rx(measured), &ordered), Rule::Simple);
        assert!((limit(&verdict, Parameter::PrismVertical).unwrap() - 1.25).abs() < 1e-6);
    }
}

struct Case {
    lens: &'static str,
    prism: (f64, f64),
    /// Whether the prism alone and the position alone conform.
    prism_holds: bool,
    position_holds: bool,
    /// Distance by Prentice's rule, by hand; `None`: no such point.
    millimetres: Option<f64>,
}

const CASES: [Case; 9] = [
    // Both: 0.20 and 0.20 / 5.00 D = 0.4 mm.
    Case { lens: "+5.00", prism: (0.2, 0.0), prism_holds: true, position_holds: true, millimetres: Some(0.4) },
    // Prism only: 0.30 on 1.00 D is 3 mm.
    Case { lens: "-1.00", prism: (0.0, 0.3), prism_holds: true, position_holds: false, millimetres: Some(3.0) },
    // Position only: 0.50 on 10.00 D is 0.5 mm.
    Case { lens: "-10.00", prism: (0.3, -0.4), prism_holds: false, position_holds: true, millimetres: Some(0.5) },
    // Neither: 0.50 on 2.00 D is 2.5 mm.
    Case { lens: "+2.00", prism: (0.3, 0.4), prism_holds: false, position_holds: false, millimetres: Some(2.5) },
    // Plano: no point has other prism than the rest.
    Case { lens: "pl", prism: (0.3, 0.0), prism_holds: true, position_holds: false, millimetres: None },
    Case { lens: "pl", prism: (0.4, 0.0), prism_holds: false, position_holds: false, millimetres: None },
    Case { lens: "pl", prism: (0.0, 0.0), prism_holds: true, position_holds: true, millimetres: Some(0.0) },
    // A plano meridian, axis 90: power acts along 180 only. 0.50 base out on 6.00 D is 0.83 mm.
    Case {
        lens: "pl -6.00 x 90",
        prism: (0.5, 0.0),
        prism_holds: false,
        position_holds: true,
        millimetres: Some(0.833_333),
    },
    Case { lens: "pl -6.00 x 90", prism: (0.0, 0.5), prism_holds: false, position_holds: false, millimetres: None },
];

#[test]
fn prism_or_position_in_all_combinations() {
    for (case, class) in CASES.iter().flat_map(|case| [(case, ANSI_Z80_1), (case, ANSI_Z80_1_PROGRESSIVE)]) {
        for ordered_prism in [Prism::ZERO, Prism::new(pd(1.5), pd(-0.75))] {
            let ordered = Ordered { prism: ordered_prism, ..order(rx(case.lens)) };
            let measured = ordered_prism + Prism::new(pd(case.prism.0), pd(case.prism.1));
            let measured = Measured { prism: Some(measured), ..found(ordered.power, &ordered) };
            assert_case(case, &judge(&class, &ordered, &measured, Rule::Simple));
        }
    }
}

fn assert_case(case: &Case, verdict: &Verdict) {
    let Case { lens, prism, prism_holds, position_holds, millimetres } = *case;
    let either = prism_holds || position_holds;
    let expected = if either { Decision::Conforms } else { Decision::Fails };
    for (parameter, holds) in [(Parameter::Prism, prism_holds), (Parameter::ReferencePoint, position_holds)] {
        let finding = verdict.finding(parameter).unwrap();
        assert_eq!(finding.decision(), expected, "{lens} {prism:?}: {finding}");
        assert_eq!(finding.is_excused(), either && !holds, "{lens} {prism:?}: {finding}");
    }
    assert_eq!(verdict.decision(), expected, "{lens} {prism:?}: {verdict}");
    let found = verdict.finding(Parameter::ReferencePoint).unwrap().measured().unwrap();
    match millimetres {
        // Rounding of the prism, 0.5e-6, over 1.00 D, and of the length.
        Some(millimetres) => assert!((number(found) - millimetres).abs() < 5e-5, "{lens}: {found}"),
        None => assert!(found.is_saturated(), "{lens}: {found}"),
    }
}

/// On an oblique plano cylinder a prism along the powered meridian is put together from rounded parts; none is missing.
#[test]
fn a_prism_along_the_powered_meridian_has_its_point() {
    for axis in 1..=180u16 {
        let ordered = order(rx(&format!("pl -5.00 x {axis}")));
        let across = dioptric::quantity::Bearing::from_degrees(axis + 90).unwrap();
        let measured = Measured { prism: Some(Prism::from_base(pd(0.45), across)), ..found(ordered.power, &ordered) };
        let verdict = judge(&ANSI_Z80_1, &ordered, &measured, Rule::Simple);
        let point = verdict.finding(Parameter::ReferencePoint).unwrap();
        assert!((number(point.measured().unwrap()) - 0.9).abs() < 1e-4, "{axis}: {point}");
        assert_eq!(verdict.decision(), Decision::Conforms, "{axis}: {verdict}");
    }
}

#[test]
fn both_sides_of_prism_and_position() {
    // 0.33 exactly on the limit, on a lens without power; the 0.33 that a base of 45 degrees makes, too.
    let plano = order(rx("pl"));
    let judged = |ordered: &Ordered, prism: Prism| {
        let measured = Measured { prism: Some(prism), ..found(ordered.power, ordered) };
        judge(&ANSI_Z80_1, ordered, &measured, Rule::Simple).decision()
    };
    for (units, expected) in [(0, Decision::Conforms), (SLACK, Decision::Conforms), (SLACK + 1, Decision::Fails)] {
        for sign in [-1, 1] {
            let amount = PrismDioptre::from_bits(sign * bits(pd(0.33), units).to_bits());
            assert_eq!(judged(&plano, Prism::new(amount, PrismDioptre::ZERO)), expected);
            assert_eq!(judged(&plano, Prism::new(PrismDioptre::ZERO, amount)), expected);
        }
    }
    assert_eq!(judged(&plano, Prism::from_base(pd(0.33), bearing!(45.0))), Decision::Conforms);
    // 1.0 mm on 8.00 D is 0.80; a unit of length, 15 nm, is 0.13 units of prism here, so step by ten.
    let strong = order(rx("-8.00"));
    for (prism, expected) in [(0.8, Decision::Conforms), (0.8 + 1e-6, Decision::Conforms), (0.801, Decision::Fails)] {
        for sign in [-1.0, 1.0] {
            assert_eq!(judged(&strong, Prism::new(pd(sign * prism), pd(0.0))), expected, "{prism}");
        }
    }
}

#[test]
fn without_a_power_the_prism_alone_can_conform_but_not_the_verdict() {
    let ordered = order(rx("-10.00"));
    for (prism, expected) in [(0.3, Decision::Conforms), (0.4, Decision::Undetermined)] {
        let measured = Measured { power: None, prism: Some(Prism::new(pd(prism), pd(0.0))), ..Measured::default() };
        let verdict = judge(&ANSI_Z80_1, &ordered, &measured, Rule::Simple);
        assert_eq!(decision(&verdict, Parameter::Prism), expected);
        assert_eq!(decision(&verdict, Parameter::ReferencePoint), expected);
        assert_eq!(verdict.decision(), Decision::Undetermined);
    }
}
