//! Effectivity: what a lens's power is worth at another place along the light.
//!
//! Distances count in the direction of the light, towards the eye: a positive step goes from the lens to the eye. A vertex
//! distance is the lens's distance before the cornea, so the smaller one is nearer the eye. Powers are taken and given as
//! matrices, so that sphero-cylinders at any axis need no meridians; the axis does not change.
//!
//! # Source
//! Effectivity `F / (1 - d F)`, in matrix form (Keating; Harris).

use super::Error;
use crate::math;
use crate::quantity::{Millimetre, RefractiveIndex};
use crate::vector::PowerMatrix;
use core::num::NonZeroU64;

/// The vergence that light from far has `distance` behind the lens, counted towards the eye; before it when negative.
///
/// # Accuracy
/// That of [`PowerMatrix::stepped`].
///
/// # Errors
/// Those of [`PowerMatrix::stepped`], as [`Error`].
///
/// ```
/// use dioptric::{lens, millimetres, rx::SpheroCylinder, vector::PowerVector};
/// let lens: SpheroCylinder = "-8.00 -2.00 x 30".parse().unwrap();
/// let there = PowerVector::from(lens::effective_at(lens, millimetres!(12.0)).unwrap());
/// assert_eq!(there.sphero_cylinder().unwrap().to_string(), "-7.30 -1.63 x 030");
/// ```
pub fn effective_at(power: impl Into<PowerMatrix>, distance: Millimetre) -> Result<PowerMatrix, Error> {
    Ok(power.into().stepped(distance)?)
}

/// The lens to fit at one vertex distance for the same effect as a lens refracted at another.
///
/// # Accuracy
/// That of [`PowerMatrix::stepped`].
///
/// # Errors
/// Those of [`PowerMatrix::stepped`], as [`Error`]; [`Error::Saturated`] for a distance, too.
pub fn refitted(
    power: impl Into<PowerMatrix>,
    refracted_at: Millimetre,
    fitted_at: Millimetre,
) -> Result<PowerMatrix, Error> {
    if refracted_at.is_saturated() || fitted_at.is_saturated() {
        return Err(Error::Saturated);
    }
    effective_at(power, refracted_at - fitted_at)
}

/// What a spectacle lens is worth at the cornea: the contact lens for the same effect.
///
/// # Accuracy
/// That of [`PowerMatrix::stepped`].
///
/// # Errors
/// Those of [`PowerMatrix::stepped`], as [`Error`].
pub fn at_cornea(power: impl Into<PowerMatrix>, vertex_distance: Millimetre) -> Result<PowerMatrix, Error> {
    refitted(power, vertex_distance, Millimetre::ZERO)
}

/// The spectacle lens at a vertex distance that is worth a power at the cornea: [`at_cornea`] the other way.
///
/// # Accuracy
/// That of [`PowerMatrix::stepped`].
///
/// # Errors
/// Those of [`PowerMatrix::stepped`], as [`Error`].
pub fn from_cornea(power: impl Into<PowerMatrix>, vertex_distance: Millimetre) -> Result<PowerMatrix, Error> {
    refitted(power, Millimetre::ZERO, vertex_distance)
}

/// Centre thickness over index: the distance in air that changes vergences as the glass does.
///
/// # Accuracy
/// Within half a unit of 2^-16 mm; saturated for a saturated thickness.
#[must_use]
pub fn reduced_thickness(thickness: Millimetre, index: RefractiveIndex) -> Millimetre {
    if thickness.is_saturated() {
        return thickness;
    }
    let Some(divisor) = NonZeroU64::new(u64::from(index.to_bits())) else { return Millimetre::MAX };
    // 2^31 * 2^29 fits.
    let scaled = i64::from(thickness.to_bits()) << RefractiveIndex::FRACTION_BITS;
    Millimetre::from_bits(math::saturate(math::div_round(scaled, divisor)))
}

/// The addition that a bench finds at the back vertex, of a lens whose addition at the front vertex is known.
///
/// For an addition worked on the front surface, or fused behind it: there the addition at the front vertex is the difference
/// of the front surfaces. `front` is the front surface's power in the distance portion, counted convex plus, `reduced` the
/// [`reduced_thickness`].
///
/// # Accuracy
/// Within 1.5e-6 D of exact for the `reduced` given, for front surfaces within 25 D, additions within 4 D and reduced thicknesses
/// up to 10 mm. The rounding of [`reduced_thickness`] alone adds up to 7.6e-9 m times the difference of the squared powers.
///
/// # Errors
/// Those of [`PowerMatrix::stepped`], as [`Error`].
///
/// # Source
/// The vertex powers of a thick lens; the back surface's power drops out of the difference.
pub fn addition_at_back(
    front: impl Into<PowerMatrix>,
    addition: impl Into<PowerMatrix>,
    reduced: Millimetre,
) -> Result<PowerMatrix, Error> {
    let front = front.into();
    let near = sum(front, addition.into()).stepped(reduced)?;
    Ok(difference(near, front.stepped(reduced)?))
}

/// The addition at the front vertex, of a lens whose addition at the back vertex is known: [`addition_at_back`] the other way.
///
/// # Accuracy
/// Within 2e-6 D of exact for the `reduced` given, over the domain of [`addition_at_back`].
///
/// # Errors
/// Those of [`PowerMatrix::stepped`], as [`Error`].
pub fn addition_at_front(
    front: impl Into<PowerMatrix>,
    addition: impl Into<PowerMatrix>,
    reduced: Millimetre,
) -> Result<PowerMatrix, Error> {
    if reduced.is_saturated() {
        return Err(Error::Saturated);
    }
    let front = front.into();
    let near = sum(front.stepped(reduced)?, addition.into());
    Ok(difference(near.stepped(-reduced)?, front))
}

/// What a near object's light has more at the back vertex than the object's vergence and the back vertex power together:
/// the near effectivity error, from the thickness that the light crosses at another vergence than light from far.
///
/// `front` is the front surface's power where the light passes (the near portion's, for an addition), counted convex plus;
/// `object` is the vergence of the object's light at the front vertex: -2.50 D from 400 mm.
///
/// # Accuracy
/// Within 1.5e-6 D of exact for the `reduced` given, for front surfaces within 25 D, objects within 5 D and reduced thicknesses
/// up to 10 mm.
///
/// # Errors
/// Those of [`PowerMatrix::stepped`], as [`Error`].
///
/// # Source
/// The step of the vergence through the lens, as in [`addition_at_back`].
pub fn near_effectivity(
    front: impl Into<PowerMatrix>,
    object: impl Into<PowerMatrix>,
    reduced: Millimetre,
) -> Result<PowerMatrix, Error> {
    let object = object.into();
    Ok(difference(addition_at_back(front, object, reduced)?, object))
}

fn sum(a: PowerMatrix, b: PowerMatrix) -> PowerMatrix {
    PowerMatrix { xx: a.xx + b.xx, xy: a.xy + b.xy, yy: a.yy + b.yy }
}

fn difference(a: PowerMatrix, b: PowerMatrix) -> PowerMatrix {
    PowerMatrix { xx: a.xx - b.xx, xy: a.xy - b.xy, yy: a.yy - b.yy }
}
