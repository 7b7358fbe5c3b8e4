//! Directions that are judged alone: the plane of transmittance of a polarising lens, the direction of a gradient tint.

use super::{Confidence, Decision, Parameter, Rule, Source};
use crate::quantity::{Axis, Bearing, Degree};

/// How far a direction may be turned, to either side.
///
/// ```
/// use dioptric::{axis, tolerance::{Decision, POLARISER_AXIS, Rule}};
/// assert_eq!(POLARISER_AXIS.judge_axis(axis!(180.0), Some(axis!(2.5)), Rule::Simple), Decision::Conforms);
/// assert_eq!(POLARISER_AXIS.judge_axis(axis!(180.0), Some(axis!(176.5)), Rule::Simple), Decision::Fails);
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
    /// Judges an axis, modulo 180 degrees. `None`, no axis found or not measured: undetermined.
    ///
    /// Under guarded acceptance the U of an axis counts: the field [`Uncertainty::axis`](super::Uncertainty::axis) is to be that of
    /// this axis.
    #[must_use]
    pub fn judge_axis(&self, ordered: Axis, measured: Option<Axis>, rule: Rule) -> Decision {
        self.judge(measured.map(|measured| measured.angle_from(ordered)), rule)
    }

    /// Judges a bearing, such as that towards the lighter side of a gradient tint. As [`DirectionLimit::judge_axis`], modulo 360
    /// degrees. No standard was found that limits it: the limit is the user's.
    #[must_use]
    pub fn judge_bearing(&self, ordered: Bearing, measured: Option<Bearing>, rule: Rule) -> Decision {
        self.judge(measured.map(|measured| measured.angle_from(ordered)), rule)
    }

    fn judge(&self, deviation: Option<Degree>, rule: Rule) -> Decision {
        deviation.map_or(Decision::Undetermined, |deviation| {
            rule.decide(deviation.to_bits(), self.limit.to_bits(), rule.uncertainty(Parameter::Axis))
        })
    }
}
