//! The outline brought to a circumference, so that the lens fits its rim.

use super::length::length_on;
use super::{Contour, Error};
use crate::math;
use crate::quantity::Millimetre;

/// The circumference to which an outline is brought, and where it is taken.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SizeTarget {
    /// Wanted.
    pub circumference: Millimetre,
    /// From the outline to where it is taken: a bevel's height, or a groove's depth negated.
    pub apex: Millimetre,
    /// The radius of the sphere over which it is taken, vertex at the centre; in the plane when there is none.
    pub sphere: Option<Millimetre>,
}

/// Most corrections.
const MOST_ROUNDS: usize = 12;
/// Near enough.
const CLOSE: Millimetre = millimetres!(0.0005);

impl Contour<'_> {
    /// The outline offset so that its circumference is the one wanted, in as many evenly spaced corners as the buffer holds, and the
    /// offset along the normal.
    ///
    /// Outwards by `d` a smooth closed curve gains `2 pi d` (Steiner), convex or not while it does not cross itself: one step in the
    /// plane.
    ///
    /// # Accuracy
    /// The circumference within 0.001 mm of the one wanted, as [`Self::circumference`] tells it.
    ///
    /// # Errors
    /// [`Error::Unreachable`]; those of [`Self::offset`], of the outline or of where its circumference is taken;
    /// [`Error::SphereRadius`].
    pub fn sized<'b>(
        &self,
        target: &SizeTarget,
        radii: &'b mut [Millimetre],
    ) -> Result<(Contour<'b>, Millimetre), Error> {
        let distance = self.distance_to(target)?;
        Ok((self.offset(distance, radii)?, distance))
    }

    fn distance_to(&self, target: &SizeTarget) -> Result<Millimetre, Error> {
        // From the outline itself, where nothing can cross.
        let mut apex = Millimetre::ZERO;
        for _ in 0..MOST_ROUNDS {
            if apex.abs() > Self::MOST_RADIUS {
                return Err(Error::Unreachable);
            }
            self.check_offset(apex)?;
            let missing = target.circumference - length_on(self.offset_corners(apex), target.sphere)?;
            if missing.abs() <= CLOSE {
                return Ok(apex - target.apex);
            }
            apex = apex + over_two_pi(missing);
        }
        Err(Error::Unreachable)
    }
}

/// Within 1e-9 of itself.
fn over_two_pi(length: Millimetre) -> Millimetre {
    // 2^32 / 2 pi.
    let product = i64::from(length.to_bits()).wrapping_mul(683_565_276);
    Millimetre::from_bits(math::saturate(math::shift_round(product, 32)))
}
