//! What a physical lens does: powers of a thick lens, its surfaces, sagittas, thickness and material, and its effect where it is
//! worn: at another distance, tilted and wrapped, where the eye looks through it, and how large.
//!
//! The front surface is the one that light meets first. A surface's power is counted convex plus, on either side, so that the
//! nominal power is the plain sum of both; its radius has the sign of its power. Matrices keep toric surfaces that cross at any
//! angle right: nothing here works meridian by meridian.

mod centre;
mod conic;
mod curves;
pub(crate) mod dispersion;
mod distance;
mod edge;
mod gaze;
mod magnification;
mod material;
mod sagitta;
mod surface;
mod thick;
mod volume;
mod wedge;
mod worn;

pub use conic::conic_sagitta;
pub use curves::ToricCurves;
pub use dispersion::{Line, WavelengthError, index_at};
pub use distance::{
    addition_at_back, addition_at_front, at_cornea, effective_at, from_cornea, near_effectivity, reduced_thickness,
    refitted,
};
pub use edge::{Edge, EdgePoint, EdgedLens, OutlineError};
pub use gaze::{
    Imbalance, LEAST_SLAB_OFF, MOST_GAZE, MOST_ROTATION_DISTANCE, SlabOff, WornLens, WornPair, point_of_gaze,
};
pub use magnification::{
    ENTRANCE_PUPIL_DEPTH, MOST_PUPIL_DISTANCE, Magnification, PrincipalMagnification, percent, power_factor,
};
pub use material::{Material, longitudinal_chromatic_aberration, reflectance, transverse_chromatic_aberration};
pub use sagitta::{MOST_SEMI_DIAMETER, approximate_sagitta, radius_of_sagitta, sagitta};
pub use surface::Surface;
pub use thick::{EquivalentPower, ThickLens};
pub use wedge::wedge_difference;
pub use worn::{MOST_TILT, Tilt};

use crate::quantity::{Dioptre, RefractiveIndex};
use crate::vector::{self, PowerMatrix};
use core::fmt;

/// Why there is no such lens, or why a property of it is out of reach.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Error {
    /// An operand is saturated: its true value is unknown.
    Saturated,
    /// An element of a power exceeds 64 D, or a result is out of reach.
    PowerRange,
    /// An index below [`LEAST_INDEX`].
    IndexRange,
    /// A centre thickness outside 0 to 30 mm.
    ThicknessRange,
    /// An angle of tilt or wrap beyond [`MOST_TILT`].
    AngleRange,
    /// An angle of gaze beyond [`MOST_GAZE`].
    GazeRange,
    /// A distance from the lens outside 0 to 60 mm.
    DistanceRange,
    /// A focal point lies within the lens or the step, or too near its end to tell.
    FocusInside,
    /// A radius of nothing, or so short that the power exceeds 64 D.
    RadiusRange,
    /// A surface so flat that its radius exceeds 32 m.
    Flat,
    /// A semi-diameter, or a point's distance from the axis, outside 0 to 40 mm.
    DiameterRange,
    /// A point where the surface has ended: beyond its radius, or of a [`Surface`] by its powers beyond 0.99 of it.
    BeyondRadius,
    /// A point where the surfaces have crossed: the lens has ended.
    NoThickness,
    /// A prism of more than 50 prism dioptres, or whose wedge has a slope of more than 1/2 or is too steep for the surface.
    PrismRange,
    /// A shape factor of a conic section outside -8 to 8.
    ShapeRange,
}

impl Error {
    /// The operands are out of the operation's range.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(
            self,
            Self::Saturated
                | Self::PowerRange
                | Self::IndexRange
                | Self::ThicknessRange
                | Self::AngleRange
                | Self::GazeRange
                | Self::DistanceRange
                | Self::RadiusRange
                | Self::PrismRange
                | Self::ShapeRange
        )
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Saturated => "a quantity is saturated",
            Self::PowerRange => "a power is out of range (64 D)",
            Self::IndexRange => "the index of a lens is 1.25 or more",
            Self::ThicknessRange => "a centre thickness lies from 0 to 30 mm",
            Self::AngleRange => "an angle of tilt or wrap lies within 30 degrees",
            Self::GazeRange => "an angle of gaze lies within 50 degrees",
            Self::DistanceRange => "a pupil or centre of rotation lies 0 to 60 mm behind the lens",
            Self::FocusInside => "a focal point lies within the lens",
            Self::RadiusRange => "the radius is too short",
            Self::Flat => "the surface is flat",
            Self::DiameterRange => "a semi-diameter lies from 0 to 40 mm",
            Self::BeyondRadius => "the surface does not reach so far",
            Self::NoThickness => "the surfaces cross before",
            Self::PrismRange => "the prism is too strong to be ground",
            Self::ShapeRange => "a shape factor lies from -8 to 8",
        })
    }
}

impl core::error::Error for Error {}

impl From<vector::Error> for Error {
    fn from(error: vector::Error) -> Self {
        match error {
            vector::Error::Saturated => Self::Saturated,
            vector::Error::FocusInStep => Self::FocusInside,
            vector::Error::NoPower | vector::Error::StepRange => Self::PowerRange,
        }
    }
}

/// The least index of a lens, 1.25: no solid material has less (common practice, no source).
pub const LEAST_INDEX: RefractiveIndex = match RefractiveIndex::from_bits(5 << (RefractiveIndex::FRACTION_BITS - 2)) {
    Ok(index) => index,
    Err(_) => RefractiveIndex::AIR,
};

/// The most that an element of a surface's power may be, 64 D: a radius of 8 mm in the lens clock's index.
pub const MOST_POWER: Dioptre = dioptres!(64.0);

/// A power whose elements are within [`MOST_POWER`].
fn checked(power: PowerMatrix) -> Result<PowerMatrix, Error> {
    if power.is_saturated() {
        return Err(Error::Saturated);
    }
    let fits = [power.xx, power.xy, power.yy].iter().all(|element| element.abs() <= MOST_POWER);
    if fits { Ok(power) } else { Err(Error::PowerRange) }
}

/// An index of a lens.
fn checked_index(index: RefractiveIndex) -> Result<RefractiveIndex, Error> {
    if index < LEAST_INDEX { Err(Error::IndexRange) } else { Ok(index) }
}
