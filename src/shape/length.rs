//! The circumference, in the plane and in space.

use super::{Contour, Error};
use crate::math;
use crate::quantity::{Millimetre, Point};
use core::num::NonZeroU32;

/// A point in space, in units of 2^-16 mm.
type Place = [i32; 3];

impl Contour<'_> {
    /// The circumference in the plane.
    ///
    /// A polygon is short by a twenty-fourth of each edge's cube times the curvature's square; the curvature comes from how much
    /// shorter the chord over two edges is than both, whatever their lengths (for equal ones this is Richardson's extrapolation).
    ///
    /// # Accuracy
    /// Of a smooth outline within 0.001 mm at 400 corners or more, where the radius of curvature is nowhere below 5 mm; the error falls
    /// with the fourth power of the count. Saturates.
    #[must_use]
    pub fn circumference(&self) -> Millimetre {
        length(self.corners().map(flat))
    }

    /// The circumference in space, by the heights; `None` when they are not known.
    ///
    /// # Accuracy
    /// As [`Self::circumference`].
    #[must_use]
    pub fn circumference_in_space(&self) -> Option<Millimetre> {
        let heights = self.heights()?;
        Some(length(self.corners().zip(heights).map(|(corner, height)| {
            let [x, y, _] = flat(corner);
            [x, y, height.to_bits()]
        })))
    }

    /// The circumference of the outline laid over a sphere whose vertex is at the centre: a base curve. Of a surface's power and
    /// index, the radius is that of [`Surface`](crate::lens::Surface).
    ///
    /// # Accuracy
    /// As [`Self::circumference`], where the sphere's radius is at least 1.1 times the longest radius.
    ///
    /// # Errors
    /// [`Error::SphereRadius`].
    pub fn circumference_on_sphere(&self, radius: Millimetre) -> Result<Millimetre, Error> {
        length_on(self.corners(), Some(radius))
    }
}

/// The length of a closed path in the plane, or laid over a sphere.
pub(super) fn length_on(
    corners: impl Iterator<Item = Point> + Clone,
    sphere: Option<Millimetre>,
) -> Result<Millimetre, Error> {
    let Some(radius) = sphere else { return Ok(length(corners.map(flat))) };
    let radius = u64::from(u32::try_from(radius.to_bits()).map_err(|_| Error::SphereRadius)?);
    let square = radius.wrapping_mul(radius);
    if corners.clone().any(|corner| squared(corner) >= square) {
        return Err(Error::SphereRadius);
    }
    let laid = |corner: Point| [corner.x.to_bits(), corner.y.to_bits(), depth(square, squared(corner))];
    Ok(length(corners.map(laid)))
}

/// How far a place is from the plane through the sphere's centre.
fn depth(square: u64, distance: u64) -> i32 {
    i32::try_from(math::sqrt(square.saturating_sub(distance))).unwrap_or(i32::MAX)
}

fn squared(point: Point) -> u64 {
    let square = |length: Millimetre| u64::from(length.to_bits().unsigned_abs()).pow(2);
    square(point.x).saturating_add(square(point.y))
}

const fn flat(point: Point) -> Place {
    [point.x.to_bits(), point.y.to_bits(), 0]
}

/// Binary digits that an edge's length has beyond those of a coordinate.
const EXTRA: u32 = 8;

fn length(places: impl Iterator<Item = Place> + Clone) -> Millimetre {
    // 2048 edges below 2^32 and a few times as much again.
    let mut sum = 0i64;
    for [a, b, chord] in edges(places) {
        let short = i64::from(a).wrapping_add(b.into()).wrapping_sub(chord.into());
        // Each edge is the second of one corner.
        sum = sum.wrapping_add(weighted(short, a, b)).wrapping_add(b.into());
    }
    Millimetre::from_bits(math::saturate(math::shift_round(sum, EXTRA)))
}

/// At each corner the edge before it, the edge after it and the chord over both, in 2^-24 mm.
fn edges(places: impl Iterator<Item = Place> + Clone) -> impl Iterator<Item = [u32; 3]> {
    let mut ahead = places.clone().chain(places.take(2));
    let mut before = ahead.next().unwrap_or_default();
    let mut here = ahead.next().unwrap_or_default();
    let mut first = distance(before, here);
    ahead.map(move |after| {
        let second = distance(here, after);
        let edges = [first, second, distance(before, after)];
        (before, here, first) = (here, after, second);
        edges
    })
}

/// A sixth of `value` times `(a^2 - a b + b^2) / (a b)`: what a curve has beyond its chords, from what it has between them and one over
/// both. Where the edges are within a thirty-second of each other the factor is 1 within 0.1 %.
pub(super) fn weighted(value: i64, a: u32, b: u32) -> i64 {
    const SIX: NonZeroU32 = NonZeroU32::MIN.saturating_add(5);
    let (short, long) = (a.min(b), a.max(b));
    let apart = long.wrapping_sub(short);
    let value = if apart <= short >> 5 {
        value
    } else {
        // 1 + apart^2 / (a b), at most 8: a spike gains no more.
        let part = math::ratio(apart.into(), short.into(), 12).min(1 << 16);
        let other = math::ratio(apart.into(), long.into(), 12);
        let factor = math::shift_round(part.wrapping_mul(other), 12).min(7 << 12).wrapping_add(1 << 12);
        math::shift_round(value.wrapping_mul(factor), 12)
    };
    math::div_round_by_word(value, SIX)
}

/// Of places within 128 mm of each other.
fn distance(from: Place, to: Place) -> u32 {
    let mut square = 0u64;
    for (from, to) in from.into_iter().zip(to) {
        let part = u64::from(to.wrapping_sub(from).unsigned_abs());
        square = square.saturating_add(part.saturating_mul(part));
    }
    math::sqrt(square.saturating_mul(1 << (2 * EXTRA)))
}
