//! Tolerance tables and verdicts.

#[path = "tolerance/decision.rs"]
mod decision;
#[path = "tolerance/direction.rs"]
mod direction;
#[path = "tolerance/instrument.rs"]
mod instrument;
#[path = "tolerance/limits.rs"]
mod limits;
#[path = "tolerance/prism.rs"]
mod prism;
#[path = "tolerance/properties.rs"]
mod properties;
#[path = "tolerance/published.rs"]
mod published;
#[path = "tolerance/tables.rs"]
mod tables;
#[path = "tolerance/text.rs"]
mod text;

use dioptric::quantity::{Dioptre, PrismDioptre};
use dioptric::rx::SpheroCylinder;
use dioptric::tolerance::{Decision, Measured, Ordered, Parameter, Value, Verdict};

/// Units past a limit, or past the end of a row, that still count as on it.
const SLACK: i32 = 2;

fn rx(text: &str) -> SpheroCylinder {
    text.parse().unwrap_or_else(|error| panic!("{text}: {error}"))
}

fn d(value: f64) -> Dioptre {
    Dioptre::try_from_f64(value).unwrap()
}

fn pd(value: f64) -> PrismDioptre {
    PrismDioptre::try_from_f64(value).unwrap()
}

/// So many units more.
fn plus(value: Dioptre, units: i32) -> Dioptre {
    Dioptre::from_bits(value.to_bits() + units)
}

fn order(power: SpheroCylinder) -> Ordered {
    Ordered { power, ..Ordered::default() }
}

/// Measured exactly so, with the prism of the order.
fn found(power: SpheroCylinder, ordered: &Ordered) -> Measured {
    Measured { power: Some(power.into()), addition: ordered.addition, prism: Some(ordered.prism) }
}

fn decision(verdict: &Verdict, parameter: Parameter) -> Decision {
    verdict.finding(parameter).unwrap_or_else(|| panic!("no finding about the {parameter}")).decision()
}

/// The limit of a finding in its own unit.
fn limit(verdict: &Verdict, parameter: Parameter) -> Option<f64> {
    verdict.finding(parameter).unwrap_or_else(|| panic!("no finding about the {parameter}")).limit().map(number)
}

fn number(value: Value) -> f64 {
    match value {
        Value::Power(power) => power.to_f64(),
        Value::Axis(axis) => axis.degrees().to_f64(),
        Value::Bearing(bearing) => bearing.degrees().to_f64(),
        Value::Angle(angle) => angle.to_f64(),
        Value::Prism(prism) => prism.to_f64(),
        Value::Length(length) => length.to_f64(),
    }
}
