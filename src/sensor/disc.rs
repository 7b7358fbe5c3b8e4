//! A disc of the lens, and the spots whose light comes through it.

use super::{Error, Geometry, SlopeSums, SpotPair};
use crate::math;
use crate::quantity::{Millimetre, Point};

/// A disc of the back vertex plane, counted from the sensor's axis.
///
/// # Range
/// Centre within the coordinates of a [`SpotPair`], radius from 0 to 32 mm.
///
/// ```
/// use dioptric::{millimetres, quantity::Point, sensor::Disc};
/// let near_point = Disc::new(Point::new(millimetres!(-2.0), millimetres!(-14.0)), millimetres!(2.5))?;
/// assert!(near_point.contains(Point::new(millimetres!(-2.0), millimetres!(-11.5))));
/// assert!(!near_point.contains(Point::new(millimetres!(0.0), millimetres!(-12.0))));
/// # Ok::<(), dioptric::sensor::Error>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Disc {
    centre: Point,
    radius: Millimetre,
}

impl Disc {
    /// A disc from its centre and radius.
    ///
    /// # Errors
    /// [`Error::CoordinateRange`].
    pub fn new(centre: Point, radius: Millimetre) -> Result<Self, Error> {
        // The range of a pair's coordinates is that of a disc's centre.
        let centre = SpotPair::new(centre, centre)?.reference();
        let radius_fits = (Millimetre::ZERO..=SpotPair::MOST).contains(&radius);
        if radius_fits { Ok(Self { centre, radius }) } else { Err(Error::CoordinateRange) }
    }

    /// Its centre.
    #[must_use]
    pub const fn centre(&self) -> Point {
        self.centre
    }

    /// Its radius.
    #[must_use]
    pub const fn radius(&self) -> Millimetre {
        self.radius
    }

    /// Whether a point lies in the disc or on its border.
    ///
    /// # Accuracy
    /// Exact.
    #[must_use]
    pub fn contains(&self, point: Point) -> bool {
        let square = |a: Millimetre| u64::from(a.to_bits().unsigned_abs()).pow(2);
        // The differences saturate below 2^31: each square is at most 2^62, and their sum at most 2^63.
        let offset = point - self.centre;
        square(offset.x).saturating_add(square(offset.y)) <= square(self.radius)
    }

    /// Sums over the spots whose light leaves the lens within the disc.
    ///
    /// # Errors
    /// [`Error::TooManySpots`].
    pub fn sums(&self, pairs: &[SpotPair], geometry: &Geometry) -> Result<SlopeSums, Error> {
        let mut sums = SlopeSums::default();
        let back = geometry.gap_over_throw();
        for pair in pairs {
            if self.contains(back.exit(pair)) {
                sums.add(*pair)?;
            }
        }
        Ok(sums)
    }
}

/// Gap over throw, Q32: at most 64, so below 2^39.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct GapOverThrow(i64);

impl GapOverThrow {
    /// Where the light of a spot leaves the back vertex plane.
    ///
    /// The light goes straight from the lens through the hole to the detector: the hole, less `gap / throw` of the displacement.
    pub(super) fn exit(self, pair: &SpotPair) -> Point {
        let along =
            |moved: Millimetre| Millimetre::from_bits(math::saturate(math::shift_round(self.moved(moved), RATIO_BITS)));
        let moved = pair.displacement();
        pair.reference() - Point::new(along(moved.x), along(moved.y))
    }

    /// Where the light of all spots of sums leaves the back vertex plane on the mean; the origin without spots.
    pub(super) fn mean_exit(self, sums: &SlopeSums) -> Point {
        let count = i64::from(sums.count);
        let [x, y, u, v] = sums.linear.map(|sum| math::ratio(sum, count.max(1), 0));
        // As in `exit`: means are no larger than what they are of.
        let part = |at: i64, moved: i64| {
            Millimetre::from_bits(math::saturate(
                at.wrapping_sub(math::shift_round(self.0.wrapping_mul(moved), RATIO_BITS)),
            ))
        };
        Point::new(part(x, u), part(y, v))
    }

    /// The same as seen from a point, 2^-24 mm.
    pub(super) fn exit_from(self, point: Point, pair: &SpotPair) -> (i64, i64) {
        let (hole, moved) = (pair.reference(), pair.displacement());
        let along = |hole: Millimetre, from: Millimetre, moved: Millimetre| {
            let whole = i64::from(hole.to_bits()).wrapping_sub(from.to_bits().into());
            (whole << EXIT_SHIFT).wrapping_sub(math::shift_round(self.moved(moved), RATIO_BITS - EXIT_SHIFT))
        };
        (along(hole.x, point.x, moved.x), along(hole.y, point.y, moved.y))
    }

    /// Of a displacement, 2^-48 mm: below 2^61.
    fn moved(self, displacement: Millimetre) -> i64 {
        self.0.wrapping_mul(displacement.to_bits().into())
    }
}

/// Fraction bits of the ratio.
const RATIO_BITS: u32 = 32;
/// Extra bits of [`GapOverThrow::exit_from`].
pub(super) const EXIT_SHIFT: u32 = 8;

impl Geometry {
    pub(super) fn gap_over_throw(&self) -> GapOverThrow {
        GapOverThrow(math::ratio(self.gap().to_bits().into(), self.throw().to_bits().into(), RATIO_BITS))
    }

    /// Where the light of a spot leaves the lens, in the plane of its back vertex.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-16 mm and 4e-8 of the displacement.
    ///
    /// ```
    /// use dioptric::{millimetres, quantity::Point, sensor::{Geometry, SpotPair}};
    /// let at = |x| Point::new(x, millimetres!(0.0));
    /// let geometry = Geometry::new(millimetres!(5.0), millimetres!(20.0))?;
    /// let pair = SpotPair::new(at(millimetres!(2.0)), at(millimetres!(1.0)))?;
    /// assert_eq!(geometry.exit(&pair), at(millimetres!(2.25)));
    /// # Ok::<(), dioptric::sensor::Error>(())
    /// ```
    #[must_use]
    pub fn exit(&self, pair: &SpotPair) -> Point {
        self.gap_over_throw().exit(pair)
    }
}
