//! A frame of spots with the pose of the lens: fits at places of the lens, in the lens's own frame.

use super::{Disc, Error, Fit, Geometry, Pose, SlopeSums, SpotPair, Vertex};
use crate::prism::Prism;
use crate::quantity::{Millimetre, Point};
use crate::vector::PowerVector;

/// A frame of spots, the geometry it was taken with, and where the lens lay.
#[derive(Clone, Copy, Debug)]
pub struct PlacedFrame<'a> {
    /// The spots.
    pub pairs: &'a [SpotPair],
    /// Gap and throw.
    pub geometry: &'a Geometry,
    /// The lens's pose.
    pub pose: &'a Pose,
}

/// What a fit over a disc says about the lens at the disc's centre, in the lens's frame.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LocalFit {
    /// The place on the lens that was asked for.
    pub at: Point,
    /// Where the light of the fitted spots leaves the lens on the mean: where the power is that of [`LocalFit::power`], when
    /// it changes evenly over the disc. Of few spots it is some tenths of a pitch off the place.
    pub centroid: Point,
    /// Power at [`LocalFit::vertex`]. Mean power is its `m`; sphere, cylinder and axis: [`PowerVector::sphero_cylinder`].
    pub power: PowerVector,
    /// Prism there.
    pub prism: Prism,
    /// The vertex at which the power was measured.
    pub vertex: Vertex,
    /// The fit itself, in the machine's frame: its uncertainties, its residual, its spots.
    pub fit: Fit,
}

impl PlacedFrame<'_> {
    /// Fits the spots whose light leaves the lens within `radius` of a place on it.
    ///
    /// # Accuracy
    /// That of [`SlopeSums::fit`] for the spots in the disc, turned as [`Pose::power_to_lens`] does.
    ///
    /// What the lens has at the place itself differs by what it does over the disc, of radius `r` mm and evenly filled: the mean
    /// power by `r^2 / 12` of its Laplacian in D/mm^2, the prism by `r^2 / 40` of the mean power's gradient in D/mm. At 2.5 mm,
    /// in the corridor of a progressive lens of addition 3.50, that is 0.04 D and 0.03 prism dioptre.
    ///
    /// # Errors
    /// [`Error::CoordinateRange`] when the place lies beyond 32 mm in the machine, and what [`SlopeSums::fit`] returns.
    pub fn fit_at(&self, at: Point, radius: Millimetre) -> Result<LocalFit, Error> {
        let disc = self.disc(at, radius)?;
        self.local(at, &disc.sums(self.pairs, self.geometry)?)
    }

    /// The disc of the machine's frame round a place of the lens.
    pub(super) fn disc(&self, at: Point, radius: Millimetre) -> Result<Disc, Error> {
        Disc::new(self.pose.to_machine(at), radius)
    }

    /// The fit of sums, as seen at a place of the lens.
    pub(super) fn local(&self, at: Point, sums: &SlopeSums) -> Result<LocalFit, Error> {
        let fit = sums.fit(self.geometry)?;
        Ok(LocalFit {
            at,
            centroid: self.pose.to_lens(self.geometry.gap_over_throw().mean_exit(sums)),
            power: self.pose.power_to_lens(fit.vector()),
            prism: self.pose.prism_to_lens(fit.prism_at(self.pose.to_machine(at))),
            vertex: self.pose.vertex,
            fit,
        })
    }
}
