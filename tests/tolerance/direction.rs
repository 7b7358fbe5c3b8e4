//! Directions, judged beside a class.

use dioptric::quantity::{Axis, Bearing, Degree};
use dioptric::tolerance::{
    ANSI_Z80_1, Class, Confidence, Decision, DirectionLimit, ISO_21987, Measured, Ordered, POLARISER_AXIS, Parameter,
    Rule, Source, Uncertainty, Value, judge,
};
use dioptric::{axis, bearing, degrees, dioptres};

const HOUSE: Source = Source { text: "house rule", confidence: Confidence::A };
const TINT: DirectionLimit = DirectionLimit { limit: degrees!(5.0), source: &HOUSE };

fn guarded(u: Option<Degree>) -> Rule {
    Rule::Guarded(Uncertainty { polariser: u, gradient: u, ..Uncertainty::default() })
}

/// The limit in degrees against every whole ordered axis, one unit of angle to either side of it and around the half turn.
#[test]
fn three_degrees_to_either_side_of_every_axis() {
    assert_eq!((POLARISER_AXIS.limit, POLARISER_AXIS.source.confidence), (degrees!(3.0), Confidence::B));
    for ordered in 0..=180 {
        let ordered = Axis::from_degrees(ordered).expect("in range");
        for (turn, expected) in [
            (degrees!(0.0), Decision::Conforms),
            (degrees!(3.0), Decision::Conforms),
            (degrees!(3.000_01), Decision::Fails),
            (degrees!(90.0), Decision::Fails),
            (degrees!(177.0), Decision::Conforms),
            (degrees!(176.999_9), Decision::Fails),
        ] {
            for turn in [turn, -turn] {
                let found = POLARISER_AXIS.judge_axis(ordered, Some(ordered.turned(turn)), Rule::Simple).decision();
                assert_eq!(found, expected, "{ordered} {turn:?}");
            }
        }
    }
}

#[test]
fn a_bearing_has_a_sense() {
    let judged = |measured| TINT.judge_bearing(bearing!(270.0), Some(measured), Rule::Simple).decision();
    assert_eq!(judged(bearing!(274.9)), Decision::Conforms);
    assert_eq!(judged(bearing!(265.1)), Decision::Conforms);
    assert_eq!(judged(bearing!(264.9)), Decision::Fails);
    assert_eq!(judged(bearing!(90.0)), Decision::Fails);
    assert_eq!(
        TINT.judge_bearing(bearing!(359.0), Some(Bearing::from_bits(0)), Rule::Simple).decision(),
        Decision::Conforms
    );
}

#[test]
fn uncertainty_guards_the_limit() {
    let at = |turned, u| POLARISER_AXIS.judge_axis(axis!(90.0), Some(turned), guarded(u)).decision();
    let half = Some(degrees!(0.5));
    assert_eq!(at(axis!(92.4), half), Decision::Conforms);
    assert_eq!(at(axis!(92.6), half), Decision::Undetermined);
    assert_eq!(at(axis!(93.4), half), Decision::Undetermined);
    assert_eq!(at(axis!(93.6), half), Decision::Fails);
    assert_eq!(at(axis!(90.0), None), Decision::Undetermined);
    assert_eq!(
        TINT.judge_bearing(bearing!(90.0), Some(bearing!(94.6)), guarded(half)).decision(),
        Decision::Undetermined
    );
}

#[test]
fn no_direction_is_undetermined() {
    for rule in [Rule::Simple, guarded(Some(degrees!(0.1)))] {
        assert_eq!(POLARISER_AXIS.judge_axis(axis!(90.0), None, rule).decision(), Decision::Undetermined);
        assert_eq!(TINT.judge_bearing(bearing!(90.0), None, rule).decision(), Decision::Undetermined);
    }
    let none = DirectionLimit { limit: degrees!(-1.0), source: &HOUSE };
    assert_eq!(none.judge_axis(axis!(90.0), Some(axis!(90.0)), Rule::Simple).decision(), Decision::Fails);
}

/// A verdict is as bad as its worst finding, a direction's included, and has one finding for each parameter.
#[test]
fn directions_join_the_verdict() {
    let ordered = Ordered { power: "-2.00".parse().unwrap(), ..Ordered::default() };
    let power = Some(ordered.power.into());
    let measured = Measured { power, prism: Some(ordered.prism), ..Measured::default() };
    for class in Class::ALL {
        let verdict = judge(class, &ordered, &measured, Rule::Simple);
        assert_eq!(verdict.decision(), Decision::Conforms, "{}", class.name);
        let polariser = |at| POLARISER_AXIS.judge_axis(axis!(180.0), Some(at), Rule::Simple);
        let tint = |at| TINT.judge_bearing(bearing!(90.0), Some(at), Rule::Simple);

        let both = verdict.with(polariser(axis!(1.0))).with(tint(bearing!(88.0)));
        assert_eq!(both.decision(), Decision::Conforms);
        assert_eq!(both.findings().count(), verdict.findings().count() + 2);
        assert!(both.findings().zip(verdict.findings()).all(|(with, without)| with == without));
        let deviation = |parameter| both.finding(parameter).unwrap().deviation();
        assert_eq!(deviation(Parameter::PolariserAxis), Some(Value::Angle(degrees!(1.0))));
        assert_eq!(deviation(Parameter::GradientDirection), Some(Value::Angle(degrees!(-2.0))));

        let worse = both.with(polariser(axis!(170.0)));
        assert_eq!(worse.findings().count(), both.findings().count());
        assert_eq!(worse.decision(), Decision::Fails);
        assert_eq!(worse.with(polariser(axis!(1.0))), both);
    }
}

/// Findings of all parameters, taken from verdicts of classes that judge different ones.
#[test]
fn a_verdict_has_room_for_every_parameter() {
    let addition = Some(dioptres!(2.0));
    let ordered = Ordered { power: "-2.00 -1.00 x 35".parse().unwrap(), addition, ..Ordered::default() };
    let power = Some(ordered.power.into());
    let measured = Measured { power, addition, prism: Some(ordered.prism) };
    let judged = |class| judge(class, &ordered, &measured, Rule::Simple);
    let mut verdict = judged(&ANSI_Z80_1);
    for finding in judged(&ISO_21987).findings().chain(judged(&ANSI_Z80_1).findings()) {
        verdict = verdict.with(*finding);
    }
    let polariser = POLARISER_AXIS.judge_axis(axis!(180.0), None, Rule::Simple);
    let whole = verdict.with(polariser).with(TINT.judge_bearing(bearing!(90.0), None, Rule::Simple));
    assert_eq!(whole.findings().count(), 11);
    assert_eq!(whole.decision(), Decision::Undetermined);
}
