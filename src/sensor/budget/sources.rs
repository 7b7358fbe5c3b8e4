//! What an uncertainty budget is made from.

use super::student::Freedom;
use crate::quantity::{Degree, Dioptre, Fraction, Micrometre, Millimetre, Point, PrismDioptre};
use crate::sensor::WavelengthCorrection;
use core::num::NonZeroU16;

/// The standard uncertainties (k = 1) that go into a budget. Signs do not count. The default is the scatter of the fit alone.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sources {
    /// Noise of the spots and of their references.
    pub spots: SpotNoise,
    /// Of gap and throw.
    pub geometry: GeometryUncertainty,
    /// Material of the lens, when the result is to hold at a reference line.
    pub wavelength: Option<Wavelength>,
    /// Of the result as shown.
    pub resolution: Resolution,
    /// Anything else.
    pub extra: Extra,
}

/// Where the noise of a spot's place is known from.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SpotNoise {
    /// From what the fit leaves, with `2n - 5` degrees of freedom: the noise of spots and references together, and whatever
    /// of the lens is no sphere and cylinder.
    #[default]
    Residual,
    /// From experience with the instrument.
    Known {
        /// Standard deviation of a spot's centroid in one frame, each coordinate.
        centroid: Micrometre,
        /// Degrees of freedom of that.
        freedom: Freedom,
        /// Frames over which the spots were averaged.
        frames: NonZeroU16,
        /// Frames over which the references were averaged.
        reference_frames: NonZeroU16,
    },
}

/// Standard uncertainties of the distances, as a calibration gives them.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GeometryUncertainty {
    /// Of the gap.
    pub gap: Millimetre,
    /// Of the throw.
    pub throw: Millimetre,
    /// Correlation coefficient of both errors; beyond -1 to 1 it counts as at that end.
    pub correlation: Fraction,
    /// Degrees of freedom.
    pub freedom: Freedom,
}

/// A result at a reference line: what it is corrected by, and how well the Abbe number is known.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wavelength {
    /// The correction.
    pub correction: WavelengthCorrection,
    /// The Abbe number lies within so much to either side, anywhere as likely.
    pub abbe_half_width: Fraction,
}

/// Steps to which results are rounded; the error is rectangular, of half a step to either side.
///
/// # Source
/// JCGM 100:2008, F.2.2.1 (from memory): a step over the root of 12.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Resolution {
    /// Of sphere, cylinder and principal powers.
    pub power: Dioptre,
    /// Of the axis.
    pub axis: Degree,
    /// Of each component of the prism, and of its amount.
    pub prism: PrismDioptre,
    /// Of the optical centre's coordinates.
    pub position: Millimetre,
}

/// A further standard uncertainty of each result, independent of all others.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Extra {
    /// Of the sphere.
    pub sphere: Dioptre,
    /// Of the cylinder.
    pub cylinder: Dioptre,
    /// Of the power across the axis.
    pub across: Dioptre,
    /// Of the axis.
    pub axis: Degree,
    /// Of the horizontal prism.
    pub prism_x: PrismDioptre,
    /// Of the vertical prism.
    pub prism_y: PrismDioptre,
    /// Of the optical centre's coordinates.
    pub centre: Point,
    /// Degrees of freedom of all of them.
    pub freedom: Freedom,
}
