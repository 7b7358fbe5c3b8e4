//! The pose of a progressive lens from its alignment marks.

use super::{HalfTurn, Pose, PoseError, PoseSource, PoseUncertainty, Vertex, angle_of, quadrature};
use crate::math;
use crate::quantity::{Bearing, Millimetre, Point};

/// Distance between the permanent alignment marks of a progressive lens: 34 mm, half of it on each side of the plane through
/// the prism reference point.
///
/// # Source
/// The distance: slides on ABNT NBR ISO 8980-1, pt.scribd.com/presentation/588442232. That the marks are equally far from the
/// vertical plane through the fitting point or the prism reference point: ISO 8980-2, from memory, not seen.
pub const MARK_DISTANCE: Millimetre = millimetres!(34.0);

/// A mark as it was found, in the machine's frame.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FoundMark {
    /// Where.
    pub at: Point,
    /// Standard uncertainty of each coordinate.
    pub uncertainty: Millimetre,
}

impl Pose {
    /// The pose of a lens from its two alignment marks, picked from all marks that were found by their distance: the only
    /// pair within `limit` of [`MARK_DISTANCE`].
    ///
    /// The lens's origin is the middle between the marks. Both marks look alike: the lens is taken to lie upright, within a
    /// quarter turn; [`crate::sensor::ProgressiveLayout::upright`] asks the addition.
    ///
    /// # Range
    /// The rotation lies above -90 and up to 90 degrees.
    ///
    /// # Accuracy
    /// Offset within one unit of 2^-16 mm of the middle, rotation within 2 units of 2^-20 degree of the marks' direction.
    /// Uncertainties by the law of propagation from the marks': `hypot(u1, u2) / 2` of the offset, `hypot(u1, u2) / distance`
    /// of the rotation, within one unit and 1e-8; how well the marks were engraved is not in it.
    ///
    /// # Errors
    /// [`PoseError::NoPair`], [`PoseError::AmbiguousPair`], [`PoseError::TooManyMarks`].
    ///
    /// # Source
    /// JCGM 100 (GUM), 5.1.2.
    ///
    /// ```
    /// use dioptric::{millimetres, quantity::Point, sensor::{FoundMark, Pose, PoseError, Vertex}};
    /// let mark = |x, y| FoundMark { at: Point::new(x, y), uncertainty: millimetres!(0.01) };
    /// let (left, right) = (mark(millimetres!(-16.5), millimetres!(1.0)), mark(millimetres!(17.5), millimetres!(1.0)));
    /// let scratch = mark(millimetres!(3.0), millimetres!(-8.0));
    /// let pose = Pose::from_marks(&[right, scratch, left], millimetres!(0.3), Vertex::Back)?;
    /// assert_eq!(pose.offset.to_string(), "0.50, 1.00 mm");
    /// assert_eq!(Pose::from_marks(&[left, scratch], millimetres!(0.3), Vertex::Back), Err(PoseError::NoPair));
    /// # Ok::<(), PoseError>(())
    /// ```
    pub fn from_marks(marks: &[FoundMark], limit: Millimetre, vertex: Vertex) -> Result<Self, PoseError> {
        if marks.len() > Self::MOST_MARKS {
            return Err(PoseError::TooManyMarks);
        }
        let mut found = None;
        let mut rest = marks;
        while let Some((first, others)) = rest.split_first() {
            for second in others {
                let off = (second.at - first.at).distance() - MARK_DISTANCE;
                if off.abs() <= limit && found.replace((*first, *second)).is_some() {
                    return Err(PoseError::AmbiguousPair);
                }
            }
            rest = others;
        }
        let (first, second) = found.ok_or(PoseError::NoPair)?;
        Ok(Self::between(first, second, vertex))
    }

    fn between(first: FoundMark, second: FoundMark, vertex: Vertex) -> Self {
        let across = second.at - first.at;
        // To the observer's right, or straight up.
        let is_right = (across.x, across.y) > (Millimetre::ZERO, Millimetre::ZERO);
        let across = if is_right { across } else { -across };
        let direction = Bearing::from_bits(math::atan2(across.y.to_bits(), across.x.to_bits()));
        let both = quadrature(first.uncertainty, second.uncertainty);
        let middle = |a: Millimetre, b: Millimetre| a + (b - a).half();
        Self {
            offset: Point::new(middle(first.at.x, second.at.x), middle(first.at.y, second.at.y)),
            rotation: Some(direction.angle_from(Bearing::default())),
            vertex,
            half_turn: HalfTurn::Assumed,
            uncertainty: PoseUncertainty {
                offset: Some(Point::new(both.half(), both.half())),
                rotation: Some(angle_of(both, across.distance())),
            },
            source: PoseSource::Marks,
        }
    }
}
