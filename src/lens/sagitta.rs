//! How deep a surface is: the sagitta.

use super::{Error, Surface, surface};
use crate::math;
use crate::quantity::{Millimetre, Point};
use core::num::NonZeroU64;

/// The most that a semi-diameter, or a point's distance from the axis, may be: 40 mm.
pub const MOST_SEMI_DIAMETER: Millimetre = millimetres!(40.0);

/// A semi-diameter, a count of 2^-16 mm: below 2^22.
fn checked(semi_diameter: Millimetre) -> Result<i64, Error> {
    let fits = (Millimetre::ZERO..=MOST_SEMI_DIAMETER).contains(&semi_diameter);
    if fits { Ok(semi_diameter.to_bits().into()) } else { Err(Error::DiameterRange) }
}

/// Sagitta of a spherical surface, exact: `r - sqrt(r^2 - y^2)`, with the sign of the radius.
///
/// # Units
/// Millimetres.
///
/// # Range
/// Semi-diameters from 0 to 40 mm, to the whole hemisphere.
///
/// # Accuracy
/// Within half a unit of 15 nm.
///
/// # Errors
/// [`Error::DiameterRange`], [`Error::BeyondRadius`], [`Error::Saturated`].
///
/// # Source
/// Circle of a radius (textbook).
///
/// ```
/// use dioptric::{lens::sagitta, millimetres};
/// assert_eq!(sagitta(millimetres!(50.0), millimetres!(30.0)), Ok(millimetres!(10.0)));
/// ```
pub fn sagitta(radius: Millimetre, semi_diameter: Millimetre) -> Result<Millimetre, Error> {
    if radius.is_saturated() {
        return Err(Error::Saturated);
    }
    let semi_diameter = checked(semi_diameter)?.unsigned_abs();
    let magnitude = u64::from(radius.to_bits().unsigned_abs());
    if semi_diameter > magnitude {
        return Err(Error::BeyondRadius);
    }
    // Squares below 2^62.
    let along = magnitude.wrapping_mul(magnitude).wrapping_sub(semi_diameter.wrapping_mul(semi_diameter));
    let depth = magnitude.wrapping_sub(math::sqrt(along).into()).cast_signed();
    Ok(signed_as(radius, depth))
}

/// Sagitta of a spherical surface, as it is usually approximated: `y^2 / 2r`.
///
/// Falls short of [`sagitta`] by a part of about `(y / 2r)^2`: a tenth where the semi-diameter is 0.6 of the radius.
///
/// # Units
/// Millimetres.
///
/// # Range
/// Semi-diameters from 0 to 40 mm, also beyond the radius.
///
/// # Accuracy
/// Of `y^2 / 2r`: within half a unit of 15 nm.
///
/// # Errors
/// [`Error::DiameterRange`], [`Error::RadiusRange`] for no radius, and [`Error::Saturated`], also for a result beyond the scale.
///
/// # Source
/// Textbook.
pub fn approximate_sagitta(radius: Millimetre, semi_diameter: Millimetre) -> Result<Millimetre, Error> {
    if radius.is_saturated() {
        return Err(Error::Saturated);
    }
    let semi_diameter = checked(semi_diameter)?;
    let twice = u64::from(radius.to_bits().unsigned_abs()) << 1;
    let divisor = NonZeroU64::new(twice).ok_or(Error::RadiusRange)?;
    let depth = signed_as(radius, math::div_round(semi_diameter.wrapping_mul(semi_diameter), divisor));
    if depth.is_saturated() { Err(Error::Saturated) } else { Ok(depth) }
}

/// The radius of a spherical surface from a sagitta: `(y^2 + s^2) / 2s`, what a spherometer does.
///
/// # Units
/// Millimetres.
///
/// # Range
/// Semi-diameters from 0 to 40 mm; sagittas no deeper than them, which is a hemisphere.
///
/// # Accuracy
/// Within half a unit of 15 nm, of the sagitta given.
///
/// # Errors
/// [`Error::DiameterRange`]; [`Error::BeyondRadius`] for a sagitta that is deeper; [`Error::Flat`] beyond 32 m.
///
/// # Source
/// Circle of a radius (textbook).
pub fn radius_of_sagitta(depth: Millimetre, semi_diameter: Millimetre) -> Result<Millimetre, Error> {
    let semi_diameter = checked(semi_diameter)?;
    let magnitude = i64::from(depth.to_bits().unsigned_abs());
    if magnitude > semi_diameter {
        return Err(Error::BeyondRadius);
    }
    let divisor = NonZeroU64::new(magnitude.unsigned_abs() << 1).ok_or(Error::Flat)?;
    // Squares below 2^44.
    let squares = semi_diameter.wrapping_mul(semi_diameter).wrapping_add(magnitude.wrapping_mul(magnitude));
    let radius = signed_as(depth, math::div_round(squares, divisor));
    if radius.is_saturated() { Err(Error::Flat) } else { Ok(radius) }
}

/// A magnitude in units of 2^-16 mm, with the sign of a length.
fn signed_as(sign: Millimetre, magnitude: i64) -> Millimetre {
    let signed = if sign < Millimetre::ZERO { magnitude.wrapping_neg() } else { magnitude };
    Millimetre::from_bits(math::saturate(signed))
}

/// Bits below a unit of 2^-16 mm, so that a steep slope does not magnify a rounding of the place.
pub(super) const FINE_BITS: u32 = 10;
const ONE_Q30: i64 = 1 << 30;
/// 0.99 of the radius.
const FARTHEST: u64 = 1_063_004_405;

impl Surface {
    /// Sagitta at a point counted from the pole, exact: plus where the surface is convex, as its power.
    ///
    /// A toric surface is a torus: the arc of the steeper meridian, swept along that of the flatter one about an axis as far from
    /// the pole as the flatter radius. The arc of the flatter meridian swept along the steeper makes another torus of the same
    /// powers, which departs in the fourth order off the principal meridians, where both agree.
    ///
    /// # Units
    /// Millimetres.
    ///
    /// # Range
    /// To 40 mm from the pole; along and across the axis each to 0.99 of the radius.
    ///
    /// # Accuracy
    /// Within 0.02 um to 0.9 of the radius, 0.05 um to 0.99: a steep slope magnifies what the root of the power rounds.
    ///
    /// # Errors
    /// [`Error::DiameterRange`]; [`Error::BeyondRadius`].
    ///
    /// # Source
    /// Circle of a radius, twice (textbook).
    pub fn sagitta_at(&self, point: Point) -> Result<Millimetre, Error> {
        let fine = |length: Millimetre| i64::from(length.to_bits()) << FINE_BITS;
        Ok(from_fine(self.fine_sagitta(fine(point.x), fine(point.y))?))
    }

    /// [`Self::sagitta_at`] in counts of 2^-26 mm.
    pub(super) fn fine_sagitta(&self, x: i64, y: i64) -> Result<i64, Error> {
        if Point::new(from_fine(x), from_fine(y)).distance() > MOST_SEMI_DIAMETER {
            return Err(Error::DiameterRange);
        }
        // Twice the vector, so that nothing is rounded before the root: below 2^28.
        let power = self.power();
        let polar = math::polar((power.xx - power.yy).to_bits(), power.xy.double().to_bits());
        let (along, across) = turned(x, y, polar.turn >> 1);
        let (mean, half) = (i64::from(power.trace().to_bits()), i64::from(polar.radius));
        let (more, less) = (mean.wrapping_add(half), mean.wrapping_sub(half));
        let (steep, flat) = if mean < 0 { ((across, less), (along, more)) } else { ((along, more), (across, less)) };
        // One, in the units of a length times twice a power: n - 1 is from 2^27, so this from 2^54 to 2^59.
        let one = surface::refraction(self.index()).wrapping_mul(1000 << (8 + FINE_BITS));
        let first = arc(steep, one)?;
        // The circle of the sweep is smaller by what the first arc has dropped: 1/R' = (1/R) / (1 - first/R).
        let second = arc(flat, one.wrapping_sub(flat.1.wrapping_mul(first)))?;
        Ok(first.wrapping_add(second))
    }
}

/// A length, a count of 2^-26 mm, in units of its type.
pub(super) fn from_fine(fine: i64) -> Millimetre {
    Millimetre::from_bits(math::saturate(math::shift_round(fine, FINE_BITS)))
}

/// A point's components along and across a direction, in its own units.
fn turned(x: i64, y: i64, turn: u32) -> (i64, i64) {
    let (cos, sin) = math::cos_sin(turn);
    let (cos, sin) = (i64::from(cos), i64::from(sin));
    // 40 mm is below 2^31.4.
    let component = |a: i64, b: i64| math::shift_round(x.wrapping_mul(a).wrapping_add(y.wrapping_mul(b)), 30);
    (component(cos, sin), component(sin.wrapping_neg(), cos))
}

/// Depth of an arc at a distance: `y k / (1 + sqrt(1 - k^2))` with `k = y / r = y F / one`.
///
/// That form needs no radius, so that a flat surface is no exception.
///
/// Range: 40 mm are below 2^31.4 and twice 128 D at most 2^28; what a first arc takes from `one` is below 2^59.4, too. `k` is good
/// to 1.1e-9, so at 0.99 the depth to 7e-9 of the distance.
fn arc((distance, power): (i64, i64), one: i64) -> Result<i64, Error> {
    if one <= 0 {
        return Err(Error::BeyondRadius);
    }
    let k = math::ratio(distance.wrapping_mul(power), one, 30);
    if k.unsigned_abs() > FARTHEST {
        return Err(Error::BeyondRadius);
    }
    let square = k.unsigned_abs().wrapping_mul(k.unsigned_abs());
    let root = u64::from(math::sqrt((1u64 << 60).wrapping_sub(square)));
    let divisor = NonZeroU64::new(ONE_Q30.unsigned_abs().wrapping_add(root)).ok_or(Error::BeyondRadius)?;
    Ok(math::div_round(distance.wrapping_mul(k), divisor))
}
