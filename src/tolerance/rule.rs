//! Decision rules: how a limit and a measurement uncertainty become a decision.

use super::verdict::Parameter;
use crate::quantity::{Degree, Dioptre, Millimetre, PrismDioptre};
use core::fmt;

/// The outcome, from best to worst.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Decision {
    /// Within the tolerance; under the guarded rule, proved to be.
    Conforms,
    /// Neither is proved, or something was not measured.
    Undetermined,
    /// Outside the tolerance, or beyond the scale; under the guarded rule, proved to be outside.
    Fails,
}

impl Decision {
    pub(super) const fn text(self) -> &'static str {
        match self {
            Self::Conforms => "conforms",
            Self::Undetermined => "undetermined",
            Self::Fails => "fails",
        }
    }
}

impl fmt::Display for Decision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.text())
    }
}

/// Expanded uncertainty U = k u of each measured quantity. The sign does not count.
///
/// `None`: not known. Under the guarded rule nothing is proved without it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Uncertainty {
    /// Of a principal power.
    pub meridian: Option<Dioptre>,
    /// Of the cylinder.
    pub cylinder: Option<Dioptre>,
    /// Of the axis.
    pub axis: Option<Degree>,
    /// Of the addition.
    pub addition: Option<Dioptre>,
    /// Of the prism: of a component, and of the length of its deviation.
    pub prism: Option<PrismDioptre>,
    /// Of the position of the prism reference point.
    pub position: Option<Millimetre>,
}

/// How measurement uncertainty counts. To be agreed before measuring.
///
/// # Source
/// Simple and guarded acceptance, and agreeing the rule first: ILAC-G8:09/2019, pages 9 and 10. Zones of width U on
/// either side of a limit in which nothing is proved: ISO 14253-1 (from pages about it and from memory). Terms: JCGM
/// 106:2012 (from memory).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Rule {
    /// Simple acceptance: conforms within the limit, fails beyond it.
    Simple,
    /// Guarded acceptance with a guard band of U: conforms within limit - U, fails beyond limit + U, undetermined
    /// between.
    Guarded(Uncertainty),
}

/// How far past a limit counts as on it, in the last units of every quantity: [`Dioptre::SLACK`].
const SLACK: i32 = Dioptre::SLACK.to_bits();

impl Rule {
    /// U of a parameter, in its own units; `None` under simple acceptance and when unknown.
    pub(super) fn uncertainty(&self, parameter: Parameter) -> Option<i32> {
        let Self::Guarded(expanded) = self else { return None };
        let bits = match parameter {
            Parameter::SphereMeridian | Parameter::CylinderMeridian => expanded.meridian.map(Dioptre::to_bits),
            Parameter::Cylinder => expanded.cylinder.map(Dioptre::to_bits),
            Parameter::Axis => expanded.axis.map(Degree::to_bits),
            Parameter::Addition => expanded.addition.map(Dioptre::to_bits),
            Parameter::PrismHorizontal | Parameter::PrismVertical | Parameter::Prism => {
                expanded.prism.map(PrismDioptre::to_bits)
            }
            Parameter::ReferencePoint => expanded.position.map(Millimetre::to_bits),
        };
        bits.map(i32::saturating_abs)
    }

    /// The zone in which a deviation lies.
    pub(super) fn decide(&self, deviation: i32, limit: i32, uncertainty: Option<i32>) -> Decision {
        let guard = match (self, uncertainty) {
            (Self::Simple, _) => 0,
            (Self::Guarded(_), Some(expanded)) => expanded,
            (Self::Guarded(_), None) => return Decision::Undetermined,
        };
        let size = deviation.saturating_abs();
        if size <= limit.saturating_sub(guard).saturating_add(SLACK) {
            Decision::Conforms
        } else if size > limit.saturating_add(guard).saturating_add(SLACK) {
            Decision::Fails
        } else {
            Decision::Undetermined
        }
    }
}
