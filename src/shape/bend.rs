//! How sharply the outline bends, and whether it is hollow.

use super::area::cross;
use super::{Contour, numbered};
use crate::math;
use crate::quantity::{Millimetre, Point};

/// A bend of the outline.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Bend {
    /// Index of the corner.
    pub corner: usize,
    /// Radius of curvature; negative where the outline is hollow.
    pub radius: Millimetre,
}

/// The sharpest bends of an outline.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Bends {
    /// The least radius outwards.
    pub sharpest: Option<Bend>,
    /// The least radius inwards; `None`: the outline is convex. What is flatter than 2 m counts as straight.
    pub hollowest: Option<Bend>,
}

impl Bends {
    /// Nowhere hollow.
    #[must_use]
    pub const fn is_convex(&self) -> bool {
        self.hollowest.is_none()
    }
}

/// 2 m as a curvature, 2^-24 of 1/mm.
const FLAT: i64 = 8389;

impl Contour<'_> {
    /// The sharpest bends, each by the circle through a corner and the corners `span` before and behind it.
    ///
    /// A wider span smooths a traced outline: with chords of `h` an error `e` of a radius makes one of `4 e / h^2` in the curvature. A tool of a
    /// larger radius than that of the hollowest bend cannot cut the shape.
    ///
    /// # Range
    /// A span from 1 to a quarter of the corners; others are taken as the nearest of these.
    ///
    /// # Accuracy
    /// The curvature of the circle through the three corners, an average over both chords of `h` mm, within `4e-5 / h^2` of 1/mm: over
    /// chords of 0.3 mm or more a straight line is never hollow.
    ///
    /// ```
    /// use dioptric::{millimetres, shape::Contour};
    /// let radii = [millimetres!(25.0); 400];
    /// let bends = Contour::new(&radii)?.bends(4);
    /// assert!(bends.is_convex());
    /// assert_eq!(format!("{:.1}", bends.sharpest.unwrap().radius), "25.0");
    /// # Ok::<(), dioptric::shape::Error>(())
    /// ```
    #[must_use]
    pub fn bends(&self, span: usize) -> Bends {
        let span = span.min(self.count() >> 2).max(1);
        let round = || self.corners().chain(self.corners());
        // The middle one first: the others are a span before and behind it.
        let last = self.count().wrapping_sub(span);
        let triples = self.corners().zip(round().skip(last)).zip(round().skip(span));
        let (mut sharpest, mut hollowest) = ((FLAT, None), (-FLAT, None));
        for (corner, ((here, before), behind)) in numbered(triples) {
            let curvature = curvature(before, here, behind);
            if curvature > sharpest.0 {
                sharpest = (curvature, Some(corner));
            }
            if curvature < hollowest.0 {
                hollowest = (curvature, Some(corner));
            }
        }
        let bend = |(curvature, corner): (i64, Option<usize>)| {
            corner.map(|corner| Bend { corner, radius: radius_of(curvature) })
        };
        Bends { sharpest: bend(sharpest), hollowest: bend(hollowest) }
    }
}

/// One over the curvature.
fn radius_of(curvature: i64) -> Millimetre {
    Millimetre::from_bits(math::saturate(math::ratio(1 << 24, curvature, Millimetre::FRACTION_BITS)))
}

/// Of the circle through three points, `2 a x b / (|a| |b| |a + b|)`, in 2^-24 of 1/mm.
///
/// Range: edges below 2^23 units of 2^-16 mm, cross products and products of two below 2^47.
fn curvature(before: Point, here: Point, behind: Point) -> i64 {
    let (a, b) = (here - before, behind - here);
    let lengths = length(a).wrapping_mul(length(b));
    let double_sine = math::ratio(cross(a, b), lengths, 31);
    math::ratio(double_sine, length(behind - before), 24 + Millimetre::FRACTION_BITS - 30)
}

fn length(edge: Point) -> i64 {
    i64::from(edge.distance().to_bits())
}
