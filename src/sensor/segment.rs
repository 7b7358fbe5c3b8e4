//! Bifocals and trifocals: which spots belong to which portion, the powers of each, and where the segment lies.
//!
//! Within a portion a spot's displacement is linear in its hole's place, with coefficients of the portion's own: each portion
//! is a plane. A spot belongs to the plane that it lies near, if it lies far from the others.

mod circle;
mod line;
mod planes;

pub use circle::{RoundTop, RoundTopSums};
pub use line::{LineSource, TopLine};

use super::{Disc, Error, Fit, Geometry, LocalFit, PlacedFrame, SlopeSums, SpotPair};
use crate::quantity::{Millimetre, Point};
use core::fmt;
use planes::{Nearest, Plane};

/// A part of a lens with one power.
///
/// # Source
/// The words: ISO 13666.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Portion {
    /// Distance portion: the main lens.
    Distance,
    /// Intermediate portion of a trifocal.
    Intermediate,
    /// Near portion.
    Near,
}

/// What a spot belongs to.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Belongs {
    /// One portion.
    To(Portion),
    /// Two portions alike: their light falls on the same place, as it does near the segment's optical centre.
    Either,
    /// None: the light of a hole on the border splits, or the spot is another hole's.
    #[default]
    Nowhere,
}

/// Discs that surely lie within one portion each, in the machine's frame.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PortionSeeds {
    /// In the distance portion.
    pub distance: Disc,
    /// In the intermediate portion, of a trifocal.
    pub intermediate: Option<Disc>,
    /// In the near portion.
    pub near: Disc,
}

/// Why portions or a segment's border are not known.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum SegmentError {
    /// The spots of a portion do not give a plane.
    Portion(Portion, Error),
    /// Fewer classes than spots.
    TooFewClasses,
    /// Fewer spots than needed on a side of the border: one each, and two different places along it.
    TooFewSpots,
    /// No straight line has all spots of the lower portion below and those of the upper one above.
    NotStraight,
    /// Fewer than three points, or more than 65536.
    PointCount,
    /// The points lie in one place, or on a line where a circle is asked for.
    Degenerate,
    /// A point lies beyond 64 mm.
    PointRange,
}

impl fmt::Display for SegmentError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Portion(portion, error) => {
                f.write_str(match portion {
                    Portion::Distance => "distance portion: ",
                    Portion::Intermediate => "intermediate portion: ",
                    Portion::Near => "near portion: ",
                })?;
                return fmt::Display::fmt(error, f);
            }
            Self::TooFewClasses => "fewer classes than spots",
            Self::TooFewSpots => "too few spots on a side of the border",
            Self::NotStraight => "no straight line parts the spots of the two portions",
            Self::PointCount => "fewer than three points, or more than 65536",
            Self::Degenerate => "the points do not determine the border",
            Self::PointRange => "a point lies beyond 64 mm",
        })
    }
}

impl core::error::Error for SegmentError {}

/// The portions of a lens, told apart by its spots.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Portions {
    planes: [Option<Plane>; 3],
    sums: [SlopeSums; 3],
    least_jump: i64,
    passes: u32,
    is_settled: bool,
}

const ALL: [Portion; 3] = [Portion::Distance, Portion::Intermediate, Portion::Near];

impl Portions {
    /// Most passes over the spots.
    pub const MOST_PASSES: u32 = 8;

    /// Tells portions apart: planes through the spots of the seeds, then, as often as it changes anything and at most
    /// [`Portions::MOST_PASSES`] times, planes through all spots that belong to one portion.
    ///
    /// A spot belongs to the nearest plane if it lies within a quarter of the distance from there to the next plane. It
    /// belongs to either where these two planes are less than four times the residual apart, or 2 um.
    ///
    /// The order of the spots does not matter: the result has the same bits.
    ///
    /// # Errors
    /// [`SegmentError::Portion`]: the spots of a seed, or later of a portion, do not give a plane.
    pub fn separate(pairs: &[SpotPair], geometry: &Geometry, seeds: &PortionSeeds) -> Result<Self, SegmentError> {
        let mut portions =
            Self { planes: [None; 3], sums: Default::default(), least_jump: LEAST_JUMP, passes: 0, is_settled: false };
        let discs = [Some(&seeds.distance), seeds.intermediate.as_ref(), Some(&seeds.near)];
        for ((sum, disc), portion) in portions.sums.iter_mut().zip(discs).zip(ALL) {
            let Some(disc) = disc else { continue };
            *sum = disc.sums(pairs, geometry).map_err(|error| SegmentError::Portion(portion, error))?;
        }
        portions.lay_planes(discs.map(|disc| disc.is_some()))?;
        while portions.passes < Self::MOST_PASSES && !portions.is_settled {
            portions.regroup(pairs)?;
            portions.passes = portions.passes.wrapping_add(1);
        }
        Ok(portions)
    }

    /// Planes through the sums, and how far apart they must be.
    #[inline(never)] // Its stack goes before the next pass: controllers have little.
    fn lay_planes(&mut self, asked: [bool; 3]) -> Result<(), SegmentError> {
        self.least_jump = LEAST_JUMP;
        for (((plane, sum), portion), is_asked) in self.planes.iter_mut().zip(&self.sums).zip(ALL).zip(asked) {
            if is_asked {
                let found = Plane::through(sum).map_err(|error| SegmentError::Portion(portion, error))?;
                self.least_jump = self.least_jump.max(found.deviation().wrapping_mul(4));
                *plane = Some(found);
            }
        }
        Ok(())
    }

    /// One pass: sums over the spots that belong to each portion, and planes through those.
    #[inline(never)]
    fn regroup(&mut self, pairs: &[SpotPair]) -> Result<(), SegmentError> {
        let mut sums = [SlopeSums::default(); 3];
        for pair in pairs {
            let Belongs::To(portion) = self.of(pair) else { continue };
            for (sum, candidate) in sums.iter_mut().zip(ALL) {
                if candidate == portion {
                    sum.add(*pair).map_err(|error| SegmentError::Portion(portion, error))?;
                }
            }
        }
        self.is_settled = sums == self.sums;
        self.sums = sums;
        self.lay_planes(self.planes.map(|plane| plane.is_some()))
    }

    /// What a spot belongs to.
    #[must_use]
    pub fn of(&self, pair: &SpotPair) -> Belongs {
        let candidates = ALL.into_iter().zip(&self.planes).filter_map(|(portion, plane)| Some((portion, (*plane)?)));
        match Nearest::of(pair, candidates) {
            Some(nearest) if nearest.jump < self.least_jump.wrapping_mul(self.least_jump) => Belongs::Either,
            // A quarter of the distance: a sixteenth of its square.
            Some(nearest) if nearest.residual < nearest.jump >> 4 => Belongs::To(nearest.portion),
            _ => Belongs::Nowhere,
        }
    }

    /// Writes what each spot belongs to.
    ///
    /// # Errors
    /// [`SegmentError::TooFewClasses`].
    pub fn classify(&self, pairs: &[SpotPair], classes: &mut [Belongs]) -> Result<(), SegmentError> {
        if classes.len() < pairs.len() {
            return Err(SegmentError::TooFewClasses);
        }
        for (class, pair) in classes.iter_mut().zip(pairs) {
            *class = self.of(pair);
        }
        Ok(())
    }

    /// Spots of a portion.
    #[must_use]
    pub fn count(&self, portion: Portion) -> u32 {
        self.sums_of(portion).count()
    }

    /// Passes over the spots.
    #[must_use]
    pub const fn passes(&self) -> u32 {
        self.passes
    }

    /// The last pass changed nothing.
    #[must_use]
    pub const fn is_settled(&self) -> bool {
        self.is_settled
    }

    fn sums_of(&self, portion: Portion) -> SlopeSums {
        let [distance, intermediate, near] = self.sums;
        match portion {
            Portion::Distance => distance,
            Portion::Intermediate => intermediate,
            Portion::Near => near,
        }
    }

    /// The fit of all spots of a portion: its mean over the portion. At a reference point: [`PlacedFrame::fit_in_portion`].
    ///
    /// # Errors
    /// Those of [`SlopeSums::fit`].
    pub fn fit(&self, portion: Portion, geometry: &Geometry) -> Result<Fit, Error> {
        self.sums_of(portion).fit(geometry)
    }
}

/// Planes nearer than 2 um, 2^-20 mm, cannot be told apart.
const LEAST_JUMP: i64 = 2097;

impl PlacedFrame<'_> {
    /// [`PlacedFrame::fit_at`], of the spots of one portion alone: light of the other portion is left out.
    ///
    /// # Accuracy
    /// That of [`PlacedFrame::fit_at`].
    ///
    /// # Errors
    /// Those of [`PlacedFrame::fit_at`].
    pub fn fit_in_portion(
        &self,
        portions: &Portions,
        portion: Portion,
        at: Point,
        radius: Millimetre,
    ) -> Result<LocalFit, Error> {
        let disc = self.disc(at, radius)?;
        let mut sums = SlopeSums::default();
        for pair in self.pairs {
            if disc.contains(self.geometry.exit(pair)) && portions.of(pair) == Belongs::To(portion) {
                sums.add(*pair)?;
            }
        }
        self.local(at, &sums)
    }
}
