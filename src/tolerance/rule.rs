//! Decision rules: how a limit and a measurement uncertainty become a decision.

use super::verdict::Parameter;
use crate::prism::Prism;
use crate::quantity::{Degree, Dioptre, Millimetre, Point, PrismDioptre};
use crate::sensor::{ExpandedUncertainty, StandardUncertainty};
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

/// Expanded uncertainty U = k u of each [`Parameter`]. The sign does not count.
///
/// `None`: not known. Under the guarded rule nothing is proved without it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Uncertainty {
    /// Of the sphere in minus-cylinder form.
    pub sphere_meridian: Option<Dioptre>,
    /// Of the other principal power: sphere plus cylinder.
    pub cylinder_meridian: Option<Dioptre>,
    /// Of the cylinder.
    pub cylinder: Option<Dioptre>,
    /// Of the axis.
    pub axis: Option<Degree>,
    /// Of the addition.
    pub addition: Option<Dioptre>,
    /// Of the prism's horizontal component.
    pub prism_horizontal: Option<PrismDioptre>,
    /// Of the prism's vertical component.
    pub prism_vertical: Option<PrismDioptre>,
    /// Of the length of the prism's deviation, for [`PrismRule::PrismOrPosition`](super::PrismRule::PrismOrPosition).
    pub prism: Option<PrismDioptre>,
    /// Of the distance of the prism reference point.
    pub position: Option<Millimetre>,
    /// Of a polariser's plane of transmittance.
    pub polariser: Option<Degree>,
    /// Of a gradient tint's direction.
    pub gradient: Option<Degree>,
    /// Of positions and sizes read on the lens in its frame: heights, centration distances, segments.
    pub length: Option<Millimetre>,
    /// Of the tilt of a segment or of marks.
    pub tilt: Option<Degree>,
    /// Of the thickness.
    pub thickness: Option<Millimetre>,
    /// Of a curve read with a lens clock: base curve, warpage.
    pub curve: Option<Dioptre>,
    /// Of a bicentric prism.
    pub bicentric: Option<PrismDioptre>,
}

impl Uncertainty {
    /// That of a fit, with coverage factor k = 2: about 95 % for errors that are nearly normal.
    ///
    /// The lengths of two components, prism and position, get the length of both components' U: in no direction is the
    /// standard uncertainty of a deviation along it larger than that, however the components are correlated. There is no
    /// addition, polariser or tint in a fit. The scatter of the spots is all that is in it: for errors of gap, throw and wavelength
    /// see [`Uncertainty::of_budget`].
    ///
    /// # Range
    /// Saturates: at the end of its scale a U proves nothing, just as `None`.
    ///
    /// # Accuracy
    /// Twice the standard uncertainty, exact; the two lengths as [`Prism::resultant`] and [`Point::distance`].
    ///
    /// # Source
    /// Expanded uncertainty, and k = 2 for about 95 %: JCGM 100:2008 (GUM), 6.2.1 and 6.3.3 (from memory).
    #[must_use]
    pub fn of_fit(standard: &StandardUncertainty) -> Self {
        let (horizontal, vertical) = (standard.prism_x.double(), standard.prism_y.double());
        Self {
            sphere_meridian: Some(standard.sphere.double()),
            cylinder_meridian: Some(standard.across.double()),
            cylinder: Some(standard.cylinder.double()),
            axis: standard.axis.map(Degree::double),
            prism_horizontal: Some(horizontal),
            prism_vertical: Some(vertical),
            prism: Some(Prism::new(horizontal, vertical).resultant().0),
            position: standard.centre.map(|centre| Point::distance(centre + centre)),
            ..Self::default()
        }
    }

    /// That of a whole budget, already expanded: [`Budget::expanded`](crate::sensor::Budget::expanded).
    ///
    /// The lengths of two components as in [`Uncertainty::of_fit`]; there is no addition in a fit.
    ///
    /// # Accuracy
    /// Exact; the two lengths as [`Prism::resultant`] and [`Point::distance`].
    #[must_use]
    pub fn of_budget(expanded: &ExpandedUncertainty) -> Self {
        Self {
            sphere_meridian: Some(expanded.sphere),
            cylinder_meridian: Some(expanded.across),
            cylinder: Some(expanded.cylinder),
            axis: expanded.axis,
            prism_horizontal: Some(expanded.prism_x),
            prism_vertical: Some(expanded.prism_y),
            prism: Some(Prism::new(expanded.prism_x, expanded.prism_y).resultant().0),
            position: expanded.centre.map(Point::distance),
            ..Self::default()
        }
    }
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
            Parameter::SphereMeridian => expanded.sphere_meridian.map(Dioptre::to_bits),
            Parameter::CylinderMeridian => expanded.cylinder_meridian.map(Dioptre::to_bits),
            Parameter::Cylinder => expanded.cylinder.map(Dioptre::to_bits),
            Parameter::Axis => expanded.axis.map(Degree::to_bits),
            Parameter::Addition => expanded.addition.map(Dioptre::to_bits),
            Parameter::PrismHorizontal | Parameter::ImbalanceHorizontal => {
                expanded.prism_horizontal.map(PrismDioptre::to_bits)
            }
            Parameter::PrismVertical | Parameter::ImbalanceVertical => {
                expanded.prism_vertical.map(PrismDioptre::to_bits)
            }
            Parameter::Prism => expanded.prism.map(PrismDioptre::to_bits),
            Parameter::ReferencePoint | Parameter::CentrationDistance | Parameter::ReferenceHeights => {
                expanded.position.map(Millimetre::to_bits)
            }
            Parameter::PolariserAxis => expanded.polariser.map(Degree::to_bits),
            Parameter::GradientDirection => expanded.gradient.map(Degree::to_bits),
            Parameter::Height
            | Parameter::FittingPoint
            | Parameter::SegmentWidth
            | Parameter::SegmentDepth
            | Parameter::NearCentration
            | Parameter::HeightDifference
            | Parameter::SegmentDifference => expanded.length.map(Millimetre::to_bits),
            Parameter::SegmentTilt => expanded.tilt.map(Degree::to_bits),
            Parameter::CentreThickness => expanded.thickness.map(Millimetre::to_bits),
            Parameter::BaseCurve | Parameter::Warpage => expanded.curve.map(Dioptre::to_bits),
            Parameter::BicentricPrism => expanded.bicentric.map(PrismDioptre::to_bits),
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
