//! A shape moved in its plane.

use crate::math;
use crate::quantity::{Bearing, Degree, Millimetre, Point};

/// A turn about the origin, counter-clockwise, and then a shift: where a point of the shape comes to lie in the lens.
///
/// ```
/// use dioptric::{degrees, millimetres, quantity::Point, shape::Motion};
/// let motion = Motion::new(degrees!(90.0), Point::new(millimetres!(2.0), millimetres!(0.0)));
/// let there = motion.of(Point::new(millimetres!(10.0), millimetres!(1.0)));
/// assert_eq!(there.to_string(), "1.00, 10.00 mm");
/// assert_eq!(motion.back(there).to_string(), "10.00, 1.00 mm");
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Motion {
    /// Counter-clockwise, about the shape's origin.
    pub turn: Degree,
    /// After the turn.
    pub shift: Point,
}

impl Motion {
    /// A turn and a shift.
    #[must_use]
    pub const fn new(turn: Degree, shift: Point) -> Self {
        Self { turn, shift }
    }

    /// Where a point comes to lie.
    ///
    /// # Accuracy
    /// Each coordinate within one unit of 2^-16 mm plus 5e-9 of the point's distance from the origin, for points within 1024 mm; saturates.
    #[must_use]
    pub fn of(&self, point: Point) -> Point {
        turned(point, self.turn) + self.shift
    }

    /// The point that comes to lie there: [`Self::of`] the other way.
    ///
    /// # Accuracy
    /// As [`Self::of`].
    #[must_use]
    pub fn back(&self, point: Point) -> Point {
        turned(point - self.shift, -self.turn)
    }
}

fn turned(point: Point, turn: Degree) -> Point {
    if point.is_saturated() || turn.is_saturated() {
        return Point::new(Millimetre::MAX, Millimetre::MAX);
    }
    let (cos, sin) = math::cos_sin(Bearing::from_bits(0).turned(turn).to_bits());
    let (x, y) = (i64::from(point.x.to_bits()), i64::from(point.y.to_bits()));
    // 2^31 times 2^30, twice.
    let part = |a: i32, b: i32| {
        let sum = x.wrapping_mul(a.into()).wrapping_add(y.wrapping_mul(b.into()));
        Millimetre::from_bits(math::saturate(math::shift_round(sum, 30)))
    };
    Point::new(part(cos, sin.wrapping_neg()), part(sin, cos))
}
