//! A closed outline as radii about a centre.

use super::Error;
use crate::math;
use crate::quantity::{Bearing, Millimetre, Point};
use core::num::{NonZeroU32, NonZeroUsize};

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
            None => Steps::of(self.radii.len()).angle(at),
        }
    }

    /// The corners, counter-clockwise, counted from the centre.
    ///
    /// # Accuracy
    /// Each coordinate within one unit of 2^-16 mm, 15 nm.
    #[must_use]
    pub fn corners(&self) -> Corners<'a> {
        let steps = Steps::of(self.radii.len());
        Corners { contour: *self, at: 0, steps, turn: 0, rest: steps.half() }
    }

    /// The angles where they are given, otherwise empty.
    pub(super) const fn given_angles(&self) -> &'a [Bearing] {
        self.angles
    }

    /// A corner, counted around.
    pub(super) fn corner(&self, at: usize) -> Point {
        let count = NonZeroUsize::new(self.radii.len()).unwrap_or(NonZeroUsize::MIN);
        let at = at % count;
        at_angle(self.radii.get(at).copied().unwrap_or_default(), self.angle(at))
    }
}

/// Corners of a [`Contour`], in order.
#[derive(Clone, Debug)]
pub struct Corners<'a> {
    contour: Contour<'a>,
    at: usize,
    steps: Steps,
    turn: u32,
    rest: u32,
}

impl Corners<'_> {
    /// The angle of the corner that comes next.
    fn angle(&mut self) -> Bearing {
        if let Some(angle) = self.contour.angles.get(self.at) {
            return *angle;
        }
        let angle = self.turn;
        self.turn = angle.wrapping_add(self.steps.whole);
        self.rest = self.rest.wrapping_add(self.steps.rest);
        if self.rest >= self.steps.count.get() {
            self.rest = self.rest.wrapping_sub(self.steps.count.get());
            self.turn = self.turn.wrapping_add(1);
        }
        Bearing::from_bits(angle)
    }
}

impl Iterator for Corners<'_> {
    type Item = Point;

    fn next(&mut self) -> Option<Point> {
        let radius = *self.contour.radii.get(self.at)?;
        let angle = self.angle();
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

/// Evenly spaced angles, counted on without a division: `round(at 2^32 / count)`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Steps {
    /// Whole part and rest of one step.
    whole: u32,
    rest: u32,
    count: NonZeroU32,
}

impl Steps {
    #[allow(clippy::integer_division, reason = "whole steps and rests")]
    pub(super) fn of(count: usize) -> Self {
        let count = u32::try_from(count).ok().and_then(NonZeroU32::new).unwrap_or(NonZeroU32::MIN);
        // 2^32 = u32::MAX + 1.
        let (whole, rest) = (u32::MAX / count, (u32::MAX % count).wrapping_add(1));
        if rest == count.get() {
            Self { whole: whole.wrapping_add(1), rest: 0, count }
        } else {
            Self { whole, rest, count }
        }
    }

    #[allow(clippy::integer_division, reason = "whole steps and rests")]
    pub(super) fn angle(self, at: usize) -> Bearing {
        let at = u32::try_from(at).unwrap_or_default() % self.count;
        // Below 2^22 for as many corners as there may be.
        let rests = at.wrapping_mul(self.rest).wrapping_add(self.half()) / self.count;
        Bearing::from_bits(at.wrapping_mul(self.whole).wrapping_add(rests))
    }

    const fn half(self) -> u32 {
        self.count.get() >> 1
    }
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
