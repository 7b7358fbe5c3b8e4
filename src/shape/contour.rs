//! A closed outline as radii about a centre.

use super::Error;
use crate::math;
use crate::quantity::{Bearing, Millimetre, Point};
use core::num::NonZeroU64;

/// A closed outline: radii from a centre within it, counter-clockwise from the observer's right, borrowed from the caller.
///
/// Every ray from the centre meets it once. The angles are evenly spaced from 0, or given; heights, if known, are the third
/// coordinate of each corner, towards the observer.
///
/// # Units
/// Millimetres.
///
/// # Range
/// 64 to 2048 corners, radii above 0 and up to 64 mm, heights within 64 mm, angles rising, less than a full turn and at most 12
/// degrees apart.
///
/// ```
/// use dioptric::{millimetres, shape::Contour};
/// let radii = [millimetres!(25.0); 400];
/// let round = Contour::new(&radii)?;
/// assert_eq!(round.corners().nth(100).unwrap().to_string(), "0.00, 25.00 mm");
/// # Ok::<(), dioptric::shape::Error>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Contour<'a> {
    radii: &'a [Millimetre],
    /// Empty for evenly spaced ones.
    angles: &'a [Bearing],
    /// Empty when not known.
    heights: &'a [Millimetre],
}

impl<'a> Contour<'a> {
    /// Fewest corners.
    pub const LEAST_COUNT: usize = 64;
    /// Most corners.
    pub const MOST_COUNT: usize = 2048;
    /// The longest radius, 64 mm.
    pub const MOST_RADIUS: Millimetre = millimetres!(64.0);
    /// The greatest height, either way, 64 mm.
    pub const MOST_HEIGHT: Millimetre = millimetres!(64.0);
    /// The widest angle from one corner to the next, 12 degrees.
    pub const MOST_STEP: Bearing = Bearing::literal(12.0);

    /// Radii at evenly spaced angles, the first at 0.
    ///
    /// # Errors
    /// [`Error::CornerCount`], [`Error::RadiusRange`].
    pub fn new(radii: &'a [Millimetre]) -> Result<Self, Error> {
        Self { radii, angles: &[], heights: &[] }.checked()
    }

    /// Radii at angles of their own.
    ///
    /// # Errors
    /// [`Error::LengthsDiffer`], [`Error::Crosses`], [`Error::Gap`], and those of [`Self::new`].
    pub fn with_angles(radii: &'a [Millimetre], angles: &'a [Bearing]) -> Result<Self, Error> {
        if radii.len() != angles.len() {
            return Err(Error::LengthsDiffer);
        }
        Self { radii, angles, heights: &[] }.checked()
    }

    /// The same with a height at each corner.
    ///
    /// # Errors
    /// [`Error::LengthsDiffer`], [`Error::HeightRange`].
    pub fn with_heights(self, heights: &'a [Millimetre]) -> Result<Self, Error> {
        if self.radii.len() != heights.len() {
            return Err(Error::LengthsDiffer);
        }
        match first(heights, |height| height.abs() > Self::MOST_HEIGHT) {
            Some(at) => Err(Error::HeightRange(at)),
            None => Ok(Self { heights, ..self }),
        }
    }

    fn checked(self) -> Result<Self, Error> {
        if !(Self::LEAST_COUNT..=Self::MOST_COUNT).contains(&self.radii.len()) {
            return Err(Error::CornerCount);
        }
        let bad = |radius: Millimetre| radius <= Millimetre::ZERO || radius > Self::MOST_RADIUS;
        if let Some(at) = first(self.radii, bad) {
            return Err(Error::RadiusRange(at));
        }
        self.angles_checked()
    }

    fn angles_checked(self) -> Result<Self, Error> {
        let Some((&first, rest)) = self.angles.split_first() else { return Ok(self) };
        let mut last = first;
        for (&angle, at) in rest.iter().zip(1u16..) {
            if angle.to_bits() <= last.to_bits() {
                return Err(Error::Crosses(at));
            }
            if angle.to_bits().wrapping_sub(last.to_bits()) > Self::MOST_STEP.to_bits() {
                return Err(Error::Gap(at));
            }
            last = angle;
        }
        // The step over 0, from the last to the first.
        let closing = first.to_bits().wrapping_sub(last.to_bits());
        if closing > Self::MOST_STEP.to_bits() { Err(Error::Gap(0)) } else { Ok(self) }
    }

    /// How many corners.
    #[must_use]
    pub const fn count(&self) -> usize {
        self.radii.len()
    }

    /// The radii.
    #[must_use]
    pub const fn radii(&self) -> &'a [Millimetre] {
        self.radii
    }

    /// The heights; `None` when they are not known.
    #[must_use]
    pub const fn heights(&self) -> Option<&'a [Millimetre]> {
        if self.heights.is_empty() { None } else { Some(self.heights) }
    }

    /// The angle of a corner; that of the corner counted on from the first where there are fewer.
    ///
    /// # Accuracy
    /// An evenly spaced one within half a unit of 2^-32 turn.
    #[must_use]
    pub fn angle(&self, at: usize) -> Bearing {
        match self.angles.get(at) {
            Some(angle) => *angle,
            None => even_angle(at, self.radii.len()),
        }
    }

    /// The corners, counter-clockwise, counted from the centre.
    ///
    /// # Accuracy
    /// Each coordinate within one unit of 2^-16 mm, 15 nm.
    #[must_use]
    pub const fn corners(&self) -> Corners<'a> {
        Corners { contour: *self, at: 0 }
    }
}

/// Corners of a [`Contour`], in order.
#[derive(Clone, Debug)]
pub struct Corners<'a> {
    contour: Contour<'a>,
    at: usize,
}

impl Iterator for Corners<'_> {
    type Item = Point;

    fn next(&mut self) -> Option<Point> {
        let radius = *self.contour.radii.get(self.at)?;
        let angle = self.contour.angle(self.at);
        self.at = self.at.wrapping_add(1);
        Some(at_angle(radius, angle))
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let left = self.contour.radii.len().saturating_sub(self.at);
        (left, Some(left))
    }
}

impl ExactSizeIterator for Corners<'_> {}

/// The index of the first that is so.
fn first(values: &[Millimetre], is_so: impl Fn(Millimetre) -> bool) -> Option<u16> {
    values.iter().zip(0u16..).find(|(value, _)| is_so(**value)).map(|(_, at)| at)
}

/// The angle of one of `count` evenly spaced corners.
fn even_angle(at: usize, count: usize) -> Bearing {
    // Indices are below 2^11 where there is a corner: shifted by 32, below 2^43.
    let turns = i64::try_from(at).unwrap_or_default() << 32;
    let count = u64::try_from(count).ok().and_then(NonZeroU64::new).unwrap_or(NonZeroU64::MIN);
    Bearing::from_bits(u32::try_from(math::div_round(turns, count) & 0xffff_ffff).unwrap_or_default())
}

/// The point at a distance and an angle.
pub(super) fn at_angle(radius: Millimetre, angle: Bearing) -> Point {
    let (cos, sin) = math::cos_sin(angle.to_bits());
    // 2^22 times 2^30.
    let part = |factor: i32| {
        let product = i64::from(radius.to_bits()).wrapping_mul(factor.into());
        Millimetre::from_bits(math::saturate(math::shift_round(product, 30)))
    };
    Point::new(part(cos), part(sin))
}
