//! What was compared with what, and what came out.

use super::rows::Requirement;
use super::rule::{Decision, Rule};
use crate::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, PrismDioptre};

/// What is judged.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Parameter {
    /// Principal power of the sphere in minus-cylinder form: the more positive one.
    SphereMeridian,
    /// The other principal power: sphere plus cylinder.
    CylinderMeridian,
    /// Cylinder, minus form.
    Cylinder,
    /// Axis of the minus cylinder.
    Axis,
    /// Addition.
    Addition,
    /// Prism, its component with the base to the observer's right.
    PrismHorizontal,
    /// Prism, its component with the base up.
    PrismVertical,
    /// Prism, its resultant.
    Prism,
    /// Position of the point that has the ordered prism, from where it should be.
    ReferencePoint,
    /// Plane of transmittance of a polarising lens.
    PolariserAxis,
    /// Direction towards the lighter side of a gradient tint.
    GradientDirection,
    /// Height above the lower boxed tangent of a segment's top or a fitting point.
    Height,
    /// Monocular centration distance of a fitting point.
    FittingPoint,
    /// Tilt of a segment's top or of the alignment reference marks.
    SegmentTilt,
    /// Width of a segment.
    SegmentWidth,
    /// Depth of a segment.
    SegmentDepth,
    /// Thickness at the reference point.
    CentreThickness,
    /// Base curve.
    BaseCurve,
    /// Warpage: cylinder that mounting has put into the base curve.
    Warpage,
    /// Of a pair: horizontal prism imbalance.
    ImbalanceHorizontal,
    /// Of a pair: vertical prism imbalance.
    ImbalanceVertical,
    /// Of a pair: distance of the reference points.
    CentrationDistance,
    /// Of a pair: difference of the reference points' heights, the right one's less the left one's.
    ReferenceHeights,
    /// Of a pair: distance of the segments' middles.
    NearCentration,
    /// Of a pair: difference of the heights of segments or fitting points, the right one's less the left one's.
    HeightDifference,
    /// Of a pair: difference of the segments' sizes.
    SegmentDifference,
    /// Of a pair: bicentric prism, the right one's less the left one's.
    BicentricPrism,
}

/// A quantity with its unit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Value {
    /// Power, dioptres.
    Power(Dioptre),
    /// Axis.
    Axis(Axis),
    /// Direction with a sense.
    Bearing(Bearing),
    /// Difference of two axes or directions, degrees.
    Angle(Degree),
    /// Prism, prism dioptres.
    Prism(PrismDioptre),
    /// Length, millimetres.
    Length(Millimetre),
}

impl Value {
    /// At an end of its scale: the true value is beyond, or unknown.
    #[must_use]
    pub const fn is_saturated(self) -> bool {
        match self {
            Self::Power(power) => power.is_saturated(),
            Self::Axis(_) | Self::Bearing(_) => false,
            Self::Angle(angle) => angle.is_saturated(),
            Self::Prism(prism) => prism.is_saturated(),
            Self::Length(length) => length.is_saturated(),
        }
    }
}

impl Parameter {
    /// A deviation, limit or uncertainty of this parameter.
    const fn difference(self, bits: i32) -> Value {
        match self {
            Self::SphereMeridian
            | Self::CylinderMeridian
            | Self::Cylinder
            | Self::Addition
            | Self::BaseCurve
            | Self::Warpage => Value::Power(Dioptre::from_bits(bits)),
            Self::Axis | Self::PolariserAxis | Self::GradientDirection | Self::SegmentTilt => {
                Value::Angle(Degree::from_bits(bits))
            }
            Self::PrismHorizontal
            | Self::PrismVertical
            | Self::Prism
            | Self::ImbalanceHorizontal
            | Self::ImbalanceVertical
            | Self::BicentricPrism => Value::Prism(PrismDioptre::from_bits(bits)),
            Self::ReferencePoint
            | Self::Height
            | Self::FittingPoint
            | Self::SegmentWidth
            | Self::SegmentDepth
            | Self::CentreThickness
            | Self::CentrationDistance
            | Self::ReferenceHeights
            | Self::NearCentration
            | Self::HeightDifference
            | Self::SegmentDifference => Value::Length(Millimetre::from_bits(bits)),
        }
    }

    /// About both lenses together.
    const fn is_of_pair(self) -> bool {
        matches!(
            self,
            Self::ImbalanceHorizontal
                | Self::ImbalanceVertical
                | Self::CentrationDistance
                | Self::ReferenceHeights
                | Self::NearCentration
                | Self::HeightDifference
                | Self::SegmentDifference
                | Self::BicentricPrism
        )
    }

    /// A value of this parameter as ordered or measured.
    const fn value(self, bits: i32) -> Value {
        match self {
            Self::Axis | Self::PolariserAxis => Value::Axis(Axis::from_bits(bits.cast_unsigned())),
            Self::GradientDirection => Value::Bearing(Bearing::from_bits(bits.cast_unsigned())),
            _ => self.difference(bits),
        }
    }
}

/// One parameter of the lens, as ordered and as measured, its limit, and the decision.
///
/// Holds plain counts: the parameter says of what unit, which keeps the judging code to one size for all.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(into = "Written"))]
pub struct Finding {
    parameter: Parameter,
    decision: Decision,
    excused: bool,
    ordered: i32,
    measured: Option<i32>,
    deviation: Option<i32>,
    limit: Option<i32>,
    uncertainty: Option<i32>,
}

/// A parameter as it came from the bench.
#[derive(Clone, Copy)]
pub(super) struct Reading {
    /// `None`: not measured, or the lens has none.
    pub measured: Option<i32>,
    /// Measured less ordered; `None`: not measured. At an end of the scale: unknown, and never within a limit.
    pub deviation: Option<i32>,
}

impl Finding {
    #[inline(never)] // Once a lens and parameter: size counts, not speed.
    pub(super) fn new(parameter: Parameter, ordered: i32, reading: Reading, asked: Requirement, rule: &Rule) -> Self {
        let uncertainty = rule.uncertainty(parameter);
        let decision = match (reading.deviation, asked) {
            (None, _) => Decision::Undetermined,
            (Some(deviation), _) if deviation.saturating_abs() == i32::MAX => Decision::Fails,
            (Some(deviation), Requirement::Within(limit)) => rule.decide(deviation, limit, uncertainty),
            (Some(_), Requirement::Nothing) => Decision::Conforms,
            (Some(_), Requirement::Unknown) => Decision::Undetermined,
        };
        let limit = if let Requirement::Within(limit) = asked { Some(limit) } else { None };
        let Reading { measured, deviation } = reading;
        Self { parameter, decision, excused: false, ordered, measured, deviation, limit, uncertainty }
    }

    /// Of two findings one is enough: both take the better decision.
    pub(super) fn either(first: Self, second: Self) -> [Self; 2] {
        let better = first.decision.min(second.decision);
        [first, second].map(|own| Self { decision: better, excused: own.decision > better, ..own })
    }

    /// What was judged.
    #[must_use]
    pub const fn parameter(&self) -> Parameter {
        self.parameter
    }

    /// The outcome, the standard's alternative included.
    #[must_use]
    pub const fn decision(&self) -> Decision {
        self.decision
    }

    /// By its own limit alone the decision would be worse: the alternative that the standard allows made it better.
    #[must_use]
    pub const fn is_excused(&self) -> bool {
        self.excused
    }

    /// As ordered: power and axis in minus-cylinder form.
    #[must_use]
    pub const fn ordered(&self) -> Value {
        self.parameter.value(self.ordered)
    }

    /// As measured; `None` when it was not. A lens without cylinder has no axis.
    #[must_use]
    pub fn measured(&self) -> Option<Value> {
        self.measured.map(|bits| self.parameter.value(bits))
    }

    /// Measured less ordered. For the axis the short way round, counter-clockwise positive; for [`Parameter::Prism`]
    /// and [`Parameter::ReferencePoint`] the length of the difference.
    #[must_use]
    pub fn deviation(&self) -> Option<Value> {
        self.deviation.map(|bits| self.parameter.difference(bits))
    }

    /// The tolerance limit; `None` when the class asks for nothing, or has no row for such a lens.
    #[must_use]
    pub fn limit(&self) -> Option<Value> {
        self.limit.map(|bits| self.parameter.difference(bits))
    }

    /// The expanded uncertainty that was taken into account.
    #[must_use]
    pub fn uncertainty(&self) -> Option<Value> {
        self.uncertainty.map(|bits| self.parameter.difference(bits))
    }

    /// The deviation as counts; `None` when nothing was measured, or the scale was left.
    pub(super) fn deviation_bits(&self) -> Option<i32> {
        self.deviation.filter(|deviation| deviation.saturating_abs() < i32::MAX)
    }

    /// The limit less the uncertainty that is taken into account.
    pub(super) fn guarded_limit_bits(&self) -> Option<i32> {
        self.limit.map(|limit| limit.saturating_sub(self.uncertainty.unwrap_or_default()))
    }

    /// How much of the tolerance the deviation uses, in thousandths; `None` without either, without an allowance, or
    /// when the deviation is saturated.
    ///
    /// # Accuracy
    /// Within half a thousandth of the limit while the deviation is below 4 D, 4 degrees, 4 prism dioptres or 64 mm;
    /// beyond, within as much more as limit and deviation lose by rounding down to 22 digits of the deviation.
    #[must_use]
    pub fn share_per_mille(&self) -> Option<u32> {
        let size = self.deviation?.unsigned_abs();
        let limit = self.limit.filter(|limit| *limit > 0)?.unsigned_abs();
        if size >= i32::MAX.unsigned_abs() {
            return None;
        }
        // Below 2^22, a thousandfold fits a word.
        let surplus = 10u32.saturating_sub(size.leading_zeros());
        let (thousandfold, limit) = ((size >> surplus).wrapping_mul(1000), (limit >> surplus).max(1));
        let quotient = thousandfold.checked_div(limit)?;
        let rest = thousandfold.wrapping_sub(quotient.wrapping_mul(limit));
        Some(quotient.saturating_add(u32::from(rest >= limit.wrapping_sub(rest))))
    }
}

/// Most findings of one lens: one for each [`Parameter`] that is not of a pair.
const MOST_FINDINGS: usize = 19;

/// The findings of one lens, and what follows from them.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(into = "WrittenVerdict"))]
pub struct Verdict {
    findings: [Option<Finding>; MOST_FINDINGS],
}

impl Verdict {
    /// Of what [`super::judge`] finds: two meridians, cylinder, axis, addition, two about prism; or of what
    /// [`super::judge_pair`] finds about both lenses together.
    #[inline]
    pub(super) fn of<const COUNT: usize>(found: [Option<Finding>; COUNT]) -> Self {
        const { assert!(COUNT <= MOST_FINDINGS, "as many places as findings") }
        let mut findings = [None; MOST_FINDINGS];
        findings.iter_mut().zip(found).for_each(|(place, finding)| *place = finding);
        Self { findings }
    }

    /// What was found about those parameters alone.
    pub(super) fn only(self, keep: fn(Parameter) -> bool) -> Self {
        Self { findings: self.findings.map(|finding| finding.filter(|finding| keep(finding.parameter))) }
    }

    /// The verdict with one more finding, such as that of a polariser; an earlier one about the same parameter gives way.
    ///
    /// A finding about a pair is none about a lens, and is left out.
    ///
    /// ```
    /// use dioptric::axis;
    /// use dioptric::tolerance::{self, ISO_21987, Measured, Ordered, POLARISER_AXIS, Parameter, Rule};
    ///
    /// let verdict = tolerance::judge(&ISO_21987, &Ordered::default(), &Measured::default(), Rule::Simple);
    /// let polariser = POLARISER_AXIS.judge_axis(axis!(180.0), Some(axis!(176.0)), Rule::Simple);
    /// let polariser = verdict.with(polariser).finding(Parameter::PolariserAxis).unwrap().to_string();
    /// assert_eq!(polariser, "polariser axis 176 for 180, off by -4.000 of 3.000 deg: fails");
    /// ```
    #[must_use]
    pub fn with(mut self, finding: Finding) -> Self {
        if finding.parameter.is_of_pair() {
            return self;
        }
        let same = |other: &Option<Finding>| other.is_some_and(|other| other.parameter == finding.parameter);
        let behind_all = || self.findings.iter().rposition(Option::is_some).map_or(0, |last| last.saturating_add(1));
        let at = self.findings.iter().position(same).unwrap_or_else(behind_all);
        // There are as many places as a lens has parameters: when the last is taken, one before it is free.
        let at = if at < MOST_FINDINGS { Some(at) } else { self.findings.iter().position(Option::is_none) };
        if let Some(place) = at.and_then(|at| self.findings.get_mut(at)) {
            *place = Some(finding);
        }
        self
    }

    /// What was judged: power, axis, addition, prism, and what was added to them, in this order.
    pub fn findings(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter_map(Option::as_ref)
    }

    /// What was found about one parameter; `None` when it was not judged.
    #[must_use]
    pub fn finding(&self, parameter: Parameter) -> Option<&Finding> {
        self.findings().find(|finding| finding.parameter == parameter)
    }

    /// The worst of the findings; undetermined when there is none.
    #[must_use]
    pub fn decision(&self) -> Decision {
        self.findings().map(Finding::decision).max().unwrap_or(Decision::Undetermined)
    }
}

/// What goes over the wire. Not read back: a verdict is made by judging, and can be made again.
#[cfg(feature = "serde")]
#[derive(serde::Serialize)]
struct Written {
    parameter: Parameter,
    ordered: Value,
    measured: Option<Value>,
    deviation: Option<Value>,
    limit: Option<Value>,
    uncertainty: Option<Value>,
    share_per_mille: Option<u32>,
    decision: Decision,
    excused: bool,
}

#[cfg(feature = "serde")]
impl From<Finding> for Written {
    fn from(finding: Finding) -> Self {
        Self {
            parameter: finding.parameter,
            ordered: finding.ordered(),
            measured: finding.measured(),
            deviation: finding.deviation(),
            limit: finding.limit(),
            uncertainty: finding.uncertainty(),
            share_per_mille: finding.share_per_mille(),
            decision: finding.decision,
            excused: finding.excused,
        }
    }
}

#[cfg(feature = "serde")]
#[derive(serde::Serialize)]
struct WrittenVerdict {
    decision: Decision,
    findings: [Option<Finding>; MOST_FINDINGS],
}

#[cfg(feature = "serde")]
impl From<Verdict> for WrittenVerdict {
    fn from(verdict: Verdict) -> Self {
        Self { decision: verdict.decision(), findings: verdict.findings }
    }
}
