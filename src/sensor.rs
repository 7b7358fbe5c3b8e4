//! From spots of light to the power of a lens.
//!
//! A Hartmann-type sensor: collimated light meets the lens, whose back vertex lies on the stop; a plate with holes stands
//! `gap` behind it, the detector `throw` behind the plate. The light through a hole lands on the detector at the hole's own
//! place when no lens is there (the *reference* position), and at `reference + throw * slope` with the lens.
//!
//! The slope at the plate is `s = s0 - V x`, linear in the hole's position; stepping back to the vertex gives power
//! `F = V (I + gap V)^-1`, and prism `100 (I + gap V)^-1 s0`, since the slope field is the prism field.
//!
//! From the same spots: a fit that gross outliers do not bend ([`RobustFit`]), a lens in zones ([`Disc`], [`PowerMap`]), and what
//! a plane of slopes leaves, with the power at the vertex itself ([`HigherOrder`]).
//! Which spot is which hole's: [`Detector`] brings pixels to millimetres, [`Lattice`] says where the holes are, [`Reference`] keeps
//! where they show without a lens and assigns the spots of a frame with one.
//!
//! Beside it, what intensities tell: the plane of transmittance of a polarising lens ([`PolariserSums`]) and the direction of a
//! gradient tint ([`GradientSums`]); and a power measured at one wavelength brought to another ([`WavelengthCorrection`]).
//!
//! And what a reading is worth: gap and throw from test lenses ([`Calibration`]), and what they, the noise and the wavelength leave
//! uncertain in each result ([`Budget`]).
//!
//! Of lenses with more than one power: where the lens lies ([`Pose`]), fits at places of the lens ([`PlacedFrame`]), the
//! [`Addition`] at a named vertex, the [`Corridor`] of a progressive lens, the [`Portions`] of a bifocal or trifocal and the
//! [`TopLine`] of its segment.

mod addition;
mod affine;
mod assign;
mod budget;
mod calibration;
mod detector;
mod disc;
mod finder;
mod fit;
mod geometry;
mod gradient;
mod higher_order;
mod lattice;
mod linear;
mod map;
mod moments;
mod placed;
mod plane;
mod polariser;
mod pose;
mod progressive;
mod reference;
mod robust;
mod scaled;
mod segment;
mod sums;
mod symmetric;
mod uncertainty;
mod wavelength;

pub use addition::{Addition, AdditionBasis, AdditionError, AdditionSurface};
pub use assign::{Anchor, AssignError, Assignment, Cell, Findings, HolePair, PlacedSpot};
pub use budget::{
    Budget, Component, Coverage, Entry, ExpandedUncertainty, Extra, Freedom, GeometryUncertainty, Measurand,
    Resolution, Sources, SpotNoise, Wavelength,
};
pub use calibration::{
    Calibration, CalibrationError, Certified, CorrectionTable, Drift, DriftDirection, DriftState, Knot, LensResidual,
    TestLens,
};
pub use detector::{Detector, DetectorError, ImagePlace, Orientation};
pub use disc::Disc;
pub use finder::{
    FinderError, FinderMemory, FoundSpot, OpenBlob, Pixel, Polarity, Rejected, Run, SpotFinder, SpotLimits, Tile,
};
pub use fit::{Centre, Fit};
pub use geometry::Geometry;
pub use gradient::{Gradient, GradientSums, GradientUncertainty};
pub use higher_order::{HigherOrder, HigherOrderError, HigherOrderSums, Zernike};
pub use lattice::{Hole, Lattice, LatticeError, LatticeKind, Plate};
pub use map::{MapCell, MapError, PowerMap};
pub use placed::{LocalFit, PlacedFrame};
pub use plane::ReadingError;
pub use polariser::{Polarisation, PolarisationUncertainty, PolariserSums};
pub use pose::{
    FoundMark, HalfTurn, LEAST_CYLINDER, MARK_DISTANCE, Pose, PoseError, PoseSource, PoseUncertainty, Vertex,
};
pub use progressive::{
    Corridor, CorridorEnd, CorridorPoint, CorridorProfile, CorridorWidth, NearPoint, ProgressiveError, ProgressiveFits,
    ProgressiveLayout,
};
pub use reference::{Mounting, Reference};
pub use robust::{FitQuality, Outlier, Outliers, RobustError, RobustFit, RobustLimits};
pub use segment::{
    Belongs, LineSource, Portion, PortionSeeds, Portions, RoundTop, RoundTopSums, SegmentError, TopLine,
};
pub use sums::{CompactPair, SlopeSums, SpotPair};
pub use uncertainty::StandardUncertainty;
pub use wavelength::WavelengthCorrection;

use core::fmt;

/// Why spots do not give a power.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Error {
    /// Fewer than three spots.
    TooFewSpots,
    /// More spots than the sums can hold: [`SlopeSums::MOST_SPOTS`].
    TooManySpots,
    /// The spots' references lie on a line, or nearly: the power across it cannot be known.
    Collinear,
    /// The lens has its focus within the gap, or behind the plate by less than half the gap, or is so strong a minus lens
    /// that the plate tells its power no more (`I - gap F` with a determinant above 64): the power at the vertex cannot be
    /// known.
    SingularStepBack,
    /// A coordinate is out of range: [`SpotPair::MOST`].
    CoordinateRange,
    /// The gap or the throw is out of range: [`Geometry`].
    GeometryRange,
    /// The spots move by four times their distance, or as behind 512 D: no lens does that.
    SlopeRange,
}

impl Error {
    /// A value is outside the range of its type.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(self, Self::CoordinateRange | Self::GeometryRange | Self::SlopeRange | Self::TooManySpots)
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooFewSpots => "fewer than three spots",
            Self::TooManySpots => "more spots than the sums can hold (65536)",
            Self::Collinear => "the spots lie on a line",
            Self::SingularStepBack => "a focus lies between lens and plate, or near it",
            Self::CoordinateRange => "a coordinate is out of range (32 mm)",
            Self::GeometryRange => "gap (0 to 128 mm) or throw (2 to 512 mm) is out of range",
            Self::SlopeRange => "the spots move too far for a lens",
        })
    }
}

impl core::error::Error for Error {}
