//! Directions, judged beside a class: the plane of transmittance of a polarising lens, the direction of a gradient tint.

use super::rows::Requirement;
use super::verdict::Reading;
use super::{Confidence, Finding, Parameter, Rule, Source};
use crate::quantity::{Axis, Bearing, Degree};

/// How far a direction may be turned, to either side.
///
/// ```
/// use dioptric::{axis, tolerance::{Decision, POLARISER_AXIS, Rule}};
/// let judged = |measured| POLARISER_AXIS.judge_axis(axis!(180.0), Some(measured), Rule::Simple).decision();
/// assert_eq!(judged(axis!(2.5)), Decision::Conforms);
/// assert_eq!(judged(axis!(176.5)), Decision::Fails);
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct DirectionLimit {
    /// So far. Below zero: nothing conforms.
    pub limit: Degree,
    /// Where it comes from.
    pub source: &'static Source,
}

const POLARISER_SOURCE: Source = Source {
    text: "ISO 8980-3, plane of transmittance, from published descriptions of its test: a split-field polariser cut at +-3 degrees",
    confidence: Confidence::B,
};

/// The plane of transmittance of an uncut polarising lens against its marking: 3 degrees.
///
/// # Source
/// ISO 8980-3, from published descriptions of its test (confidence B). The requirement itself was not seen; for mounted lenses
/// ISO 21987:2017 is said to ask the same, from memory (confidence C).
pub const POLARISER_AXIS: DirectionLimit = DirectionLimit { limit: degrees!(3.0), source: &POLARISER_SOURCE };

impl DirectionLimit {
    /// Judges a polariser's plane of transmittance, modulo 180 degrees. `None`, no axis found or not measured: undetermined.
    ///
    /// Under guarded acceptance the field [`Uncertainty::polariser`](super::Uncertainty::polariser) counts.
    #[must_use]
    pub fn judge_axis(&self, ordered: Axis, measured: Option<Axis>, rule: Rule) -> Finding {
        let deviation = measured.map(|measured| measured.angle_from(ordered));
        self.judge(Parameter::PolariserAxis, ordered.to_bits(), measured.map(Axis::to_bits), deviation, &rule)
    }

    /// Judges the bearing towards the lighter side of a gradient tint. As [`DirectionLimit::judge_axis`], modulo 360 degrees, by
    /// [`Uncertainty::gradient`](super::Uncertainty::gradient). No standard was found that limits it: the limit is the user's.
    #[must_use]
    pub fn judge_bearing(&self, ordered: Bearing, measured: Option<Bearing>, rule: Rule) -> Finding {
        let deviation = measured.map(|measured| measured.angle_from(ordered));
        self.judge(Parameter::GradientDirection, ordered.to_bits(), measured.map(Bearing::to_bits), deviation, &rule)
    }

    fn judge(
        &self,
        parameter: Parameter,
        ordered: u32,
        measured: Option<u32>,
        deviation: Option<Degree>,
        rule: &Rule,
    ) -> Finding {
        let reading = Reading { measured: measured.map(u32::cast_signed), deviation: deviation.map(Degree::to_bits) };
        Finding::new(parameter, ordered.cast_signed(), reading, Requirement::Within(self.limit.to_bits()), rule)
    }
}
