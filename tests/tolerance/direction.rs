//! Directions that are judged alone.

use dioptric::quantity::{Axis, Bearing, Degree};
use dioptric::tolerance::{Confidence, Decision, DirectionLimit, POLARISER_AXIS, Rule, Source, Uncertainty};
use dioptric::{axis, bearing, degrees};

const HOUSE: Source = Source { text: "house rule", confidence: Confidence::A };
const TINT: DirectionLimit = DirectionLimit { limit: degrees!(5.0), source: &HOUSE };

fn guarded(u: Option<Degree>) -> Rule {
    Rule::Guarded(Uncertainty { axis: u, ..Uncertainty::default() })
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
                let found = POLARISER_AXIS.judge_axis(ordered, Some(ordered.turned(turn)), Rule::Simple);
                assert_eq!(found, expected, "{ordered} {turn:?}");
            }
        }
    }
}

#[test]
fn a_bearing_has_a_sense() {
    let judged = |measured| TINT.judge_bearing(bearing!(270.0), Some(measured), Rule::Simple);
    assert_eq!(judged(bearing!(274.9)), Decision::Conforms);
    assert_eq!(judged(bearing!(265.1)), Decision::Conforms);
    assert_eq!(judged(bearing!(264.9)), Decision::Fails);
    assert_eq!(judged(bearing!(90.0)), Decision::Fails);
    assert_eq!(TINT.judge_bearing(bearing!(359.0), Some(Bearing::from_bits(0)), Rule::Simple), Decision::Conforms);
}

#[test]
fn uncertainty_guards_the_limit() {
    let at = |turned, u| POLARISER_AXIS.judge_axis(axis!(90.0), Some(turned), guarded(u));
    let half = Some(degrees!(0.5));
    assert_eq!(at(axis!(92.4), half), Decision::Conforms);
    assert_eq!(at(axis!(92.6), half), Decision::Undetermined);
    assert_eq!(at(axis!(93.4), half), Decision::Undetermined);
    assert_eq!(at(axis!(93.6), half), Decision::Fails);
    assert_eq!(at(axis!(90.0), None), Decision::Undetermined);
    assert_eq!(TINT.judge_bearing(bearing!(90.0), Some(bearing!(94.6)), guarded(half)), Decision::Undetermined);
}

#[test]
fn no_direction_is_undetermined() {
    for rule in [Rule::Simple, guarded(Some(degrees!(0.1)))] {
        assert_eq!(POLARISER_AXIS.judge_axis(axis!(90.0), None, rule), Decision::Undetermined);
        assert_eq!(TINT.judge_bearing(bearing!(90.0), None, rule), Decision::Undetermined);
    }
    let none = DirectionLimit { limit: degrees!(-1.0), source: &HOUSE };
    assert_eq!(none.judge_axis(axis!(90.0), Some(axis!(90.0)), Rule::Simple), Decision::Fails);
}
