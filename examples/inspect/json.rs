//! The result for programs.

use crate::capture::Capture;
use crate::lens::Lens;
use crate::pair::Pair;
use dioptric::prism::Eye;
use dioptric::quantity::{Axis, Bearing, Degree, Dioptre, Micrometre, Millimetre, Point, PrismDioptre};
use dioptric::sensor::Findings;
use dioptric::tolerance::{self, Rule, Value};
use serde::Serialize;
use std::fmt::Display;

/// Six decimals; null when undefined.
type Number = Option<f64>;

/// One lens.
#[derive(Serialize)]
pub struct Object {
    eye: String,
    class: &'static str,
    provenance: &'static str,
    rule: &'static str,
    spots: u32,
    #[serde(skip_serializing_if = "Option::is_none")]
    frame: Option<Frame>,
    sphere: Number,
    cylinder: Number,
    axis: Number,
    prism_x: Number,
    prism_y: Number,
    centre_x: Number,
    centre_y: Number,
    residual_um: Number,
    expanded_uncertainty: Expanded,
    verdict: String,
    findings: Vec<Finding>,
}

/// A pair.
#[derive(Serialize)]
pub struct PairObject {
    lenses: Vec<Object>,
    pair: Together,
}

/// What both lenses show together.
#[derive(Serialize)]
struct Together {
    class: &'static str,
    provenance: &'static str,
    verdict: String,
    findings: Vec<Finding>,
    blamed_horizontally: Option<String>,
    blamed_vertically: Option<String>,
    shift_right: Option<[Number; 2]>,
    shift_left: Option<[Number; 2]>,
    not_judged: Vec<String>,
}

impl From<&Pair> for PairObject {
    fn from(pair: &Pair) -> Self {
        let verdict = &pair.verdict;
        let findings = verdict.pair.iter().flat_map(|pair| pair.findings()).map(Finding::from).collect();
        let name = |eye: Option<Eye>| eye.map(|eye| eye.to_string());
        let shift = |shift: Option<Point>| shift.map(|shift| [shift.x.number(), shift.y.number()]);
        Self {
            lenses: pair.lenses.iter().map(Object::from).collect(),
            pair: Together {
                class: pair.class.name,
                provenance: pair.class.provenance().text(),
                verdict: verdict.decision().to_string(),
                findings,
                blamed_horizontally: name(verdict.blamed_horizontally),
                blamed_vertically: name(verdict.blamed_vertically),
                shift_right: shift(verdict.shift_right),
                shift_left: shift(verdict.shift_left),
                not_judged: not_judged(pair),
            },
        }
    }
}

fn not_judged(pair: &Pair) -> Vec<String> {
    let of = |eye: Eye| pair.unjudged(eye).into_iter().map(move |what| format!("{eye} {what}"));
    let lenses = pair.not_ordered.iter().map(|eye| format!("{eye} lens"));
    of(Eye::Right).chain(of(Eye::Left)).chain(lenses).collect()
}

/// What the frames gave besides the spots of the fit.
#[derive(Serialize)]
struct Frame {
    missing: u16,
    extra: u16,
    refused: usize,
    rejected: u32,
    turned: Number,
}

impl Frame {
    fn of(capture: &Capture, refused: usize) -> Self {
        let Findings { missing, extra, rotation, .. } = capture.findings;
        Self { missing, extra, refused, rejected: capture.rejected.total(), turned: rotation.number() }
    }
}

#[derive(Serialize)]
struct Expanded {
    sphere: Number,
    cylinder: Number,
    axis: Number,
    prism_x: Number,
    prism_y: Number,
    centre_x: Number,
    centre_y: Number,
}

#[derive(Serialize)]
struct Finding {
    parameter: String,
    ordered: Number,
    measured: Number,
    deviation: Number,
    limit: Number,
    uncertainty: Number,
    excused: bool,
    decision: String,
}

impl From<&Lens> for Object {
    fn from(lens: &Lens) -> Self {
        let (power, prism, centre) = (lens.power(), lens.fit.prism(), lens.centre());
        Self {
            eye: lens.order.eye.to_string(),
            class: lens.class.name,
            provenance: lens.class.provenance().text(),
            rule: match lens.rule {
                Rule::Simple => "simple",
                Rule::Guarded(_) => "guarded",
            },
            spots: lens.fit.count(),
            frame: lens.capture.as_ref().map(|capture| Frame::of(capture, lens.refused.len())),
            sphere: power.and_then(|power| power.sphere().number()),
            cylinder: power.and_then(|power| power.cylinder().number()),
            axis: lens.axis().and_then(Decimals::number),
            prism_x: prism.x.number(),
            prism_y: prism.y.number(),
            centre_x: centre.and_then(|centre| centre.x.number()),
            centre_y: centre.and_then(|centre| centre.y.number()),
            residual_um: lens.fit.residual().number(),
            expanded_uncertainty: Expanded::of(lens),
            verdict: lens.verdict.decision().to_string(),
            findings: lens.verdict.findings().map(Finding::from).collect(),
        }
    }
}

impl Expanded {
    fn of(lens: &Lens) -> Self {
        let (u, centre) = (&lens.expanded, lens.expanded_centre);
        Self {
            sphere: u.sphere_meridian.and_then(Decimals::number),
            cylinder: u.cylinder.and_then(Decimals::number),
            axis: u.axis.and_then(Decimals::number),
            prism_x: u.prism_horizontal.and_then(Decimals::number),
            prism_y: u.prism_vertical.and_then(Decimals::number),
            centre_x: centre.and_then(|u| u.x.number()),
            centre_y: centre.and_then(|u| u.y.number()),
        }
    }
}

impl From<&tolerance::Finding> for Finding {
    fn from(finding: &tolerance::Finding) -> Self {
        Self {
            parameter: finding.parameter().to_string().replace(' ', "_"),
            ordered: finding.ordered().number(),
            measured: finding.measured().and_then(Decimals::number),
            deviation: finding.deviation().and_then(Decimals::number),
            limit: finding.limit().and_then(Decimals::number),
            uncertainty: finding.uncertainty().and_then(Decimals::number),
            excused: finding.is_excused(),
            decision: finding.decision().to_string(),
        }
    }
}

/// A quantity as a number. At the end of its scale the value is unknown: none.
trait Decimals {
    fn number(self) -> Number;
}

/// By way of text, which is the crate's own rounding of the quantity's bits.
fn decimals(quantity: impl Display) -> Number {
    format!("{quantity:.6}").parse().ok()
}

macro_rules! decimals {
    ($($quantity:ty),*) => {
        $(impl Decimals for $quantity {
            fn number(self) -> Number {
                if self.is_saturated() { None } else { decimals(self) }
            }
        })*
    };
}

decimals!(Dioptre, PrismDioptre, Millimetre, Micrometre, Degree);

impl Decimals for Axis {
    fn number(self) -> Number {
        decimals(self)
    }
}

impl Decimals for Bearing {
    fn number(self) -> Number {
        decimals(self)
    }
}

impl Decimals for Value {
    fn number(self) -> Number {
        match self {
            Self::Power(power) => power.number(),
            Self::Axis(axis) => axis.number(),
            Self::Bearing(bearing) => bearing.number(),
            Self::Angle(angle) => angle.number(),
            Self::Prism(prism) => prism.number(),
            Self::Length(length) => length.number(),
        }
    }
}
