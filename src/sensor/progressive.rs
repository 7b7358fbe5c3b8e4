//! Progressive lenses: fits at the maker's reference points, the corridor, and the place of the near point.

mod corridor;
mod near_point;

pub use corridor::{Corridor, CorridorEnd, CorridorPoint, CorridorProfile, CorridorWidth};
pub use near_point::NearPoint;

use super::{Error, Geometry, LocalFit, PlacedFrame, Pose, PoseError, SpotPair};
use crate::prism::Prism;
use crate::quantity::{Dioptre, Millimetre, Point};
use core::fmt;

/// Where the maker's points lie, counted from the middle between the alignment marks, seen from the front.
///
/// # Source
/// The points: ISO 13666. Where they lie is the maker's to say.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ProgressiveLayout {
    /// Distance (primary) reference point.
    pub distance: Point,
    /// Near design reference point.
    pub near: Point,
    /// Prism reference point.
    pub prism: Point,
    /// Fitting point: the fitting cross.
    pub fitting: Point,
}

impl ProgressiveLayout {
    /// The layout of the other eye's lens: left and right change. Exact.
    #[must_use]
    pub fn mirrored(self) -> Self {
        let other = |point: Point| Point::new(-point.x, point.y);
        Self {
            distance: other(self.distance),
            near: other(self.near),
            prism: other(self.prism),
            fitting: other(self.fitting),
        }
    }
}

/// A progressive lens at its reference points.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ProgressiveFits {
    /// At the distance reference point.
    pub distance: LocalFit,
    /// At the near reference point.
    pub near: LocalFit,
    /// Prism at the prism reference point, thinning prism included; its base in the lens's frame.
    pub prism: Prism,
}

/// Why a corridor or a near point is not known.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ProgressiveError {
    /// The step is 0 or less, or so small that the line or the area has more than [`Corridor::MOST_STEPS`] or
    /// [`NearPoint::MOST_STEPS`].
    StepRange,
    /// The power does not rise so far on the line.
    NotReached,
    /// No disc of the area has enough spots.
    NoFit,
}

impl fmt::Display for ProgressiveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::StepRange => "the step is out of range for the line or the area",
            Self::NotReached => "the power does not rise so far on the line",
            Self::NoFit => "no disc of the area has enough spots",
        })
    }
}

impl core::error::Error for ProgressiveError {}

impl PlacedFrame<'_> {
    /// Fits at the reference points of a progressive lens, over discs of one radius.
    ///
    /// # Errors
    /// Those of [`PlacedFrame::fit_at`].
    pub fn progressive_fits(&self, layout: &ProgressiveLayout, radius: Millimetre) -> Result<ProgressiveFits, Error> {
        Ok(ProgressiveFits {
            distance: self.fit_at(layout.distance, radius)?,
            near: self.fit_at(layout.near, radius)?,
            prism: self.fit_at(layout.prism, radius)?.prism,
        })
    }
}

/// Additions that differ by less than this between both ways up do not tell which is right.
///
/// Twice the tolerance of an addition (ANSI Z80.1, ISO 21987: 0.12 D). Common practice, no source.
const LEAST_DIFFERENCE: Dioptre = dioptres!(0.25);

impl ProgressiveLayout {
    /// Which way up the lens lies: the pose, or the pose turned by half a turn, whichever has the larger difference of mean
    /// power from the distance to the near reference point; for a degressive lens, whose ordered addition is negative, the
    /// smaller.
    ///
    /// # Errors
    /// [`PoseError::NoAddition`] when both differ by less than 0.25 D; [`PoseError::Fit`] when the reference points of both
    /// ways up do not all have spots.
    pub fn upright(
        &self,
        pairs: &[SpotPair],
        geometry: &Geometry,
        pose: Pose,
        radius: Millimetre,
        ordered: Dioptre,
    ) -> Result<Pose, PoseError> {
        let rise = |pose: &Pose| -> Result<Dioptre, Error> {
            let frame = PlacedFrame { pairs, geometry, pose };
            Ok(frame.fit_at(self.near, radius)?.power.m - frame.fit_at(self.distance, radius)?.power.m)
        };
        let other = pose.half_turned();
        let more = rise(&pose)? - rise(&other)?;
        if more.is_saturated() {
            return Err(PoseError::Saturated);
        }
        if more.abs() < LEAST_DIFFERENCE {
            return Err(PoseError::NoAddition);
        }
        let is_upright = (more > Dioptre::ZERO) == (ordered >= Dioptre::ZERO);
        Ok(Pose { half_turn: super::HalfTurn::Known, ..if is_upright { pose } else { other } })
    }
}
