//! Meridians that are no circles: the sagitta of a conic section.

use super::{Error, MOST_SEMI_DIAMETER};
use crate::math;
use crate::quantity::{Fraction, Millimetre};
use core::num::NonZeroU64;

/// Sagitta of a conic section, by which the meridian of an aspherical or atoric surface is described:
/// `y^2 / (r + sqrt(r^2 - p y^2))`, with the sign of the radius.
///
/// `r` is the radius at the pole. The shape factor `p` is 1 for a circle, between 0 and 1 for an ellipse along its long axis, above 1
/// along its short one, 0 for a parabola and negative for a hyperbola; it is `1 + Q` of the asphericity `Q`, and `1 - e^2` of the
/// eccentricity. Terms of higher order that a designer adds are not in it.
///
/// # Units
/// Millimetres.
///
/// # Range
/// Radii from 8 mm, shape factors from -8 to 8, semi-diameters from 0 to 40 mm, to the end of an ellipse.
///
/// # Accuracy
/// Within 0.3 um. The root is good to 0.71 units of 15 nm, an ellipse's end included; `(y / (r + root))^2` times that is in the
/// result: up to 1 of a circle, 6 of a parabola, 25 of a long ellipse at its end.
///
/// # Errors
/// [`Error::DiameterRange`]; [`Error::RadiusRange`]; [`Error::ShapeRange`]; [`Error::BeyondRadius`]; [`Error::Saturated`].
///
/// # Source
/// Conic section from its vertex (textbook: Baker's equation).
///
/// ```
/// use dioptric::{fraction, lens::conic_sagitta, millimetres};
/// let (radius, semi) = (millimetres!(50.0), millimetres!(30.0));
/// assert_eq!(conic_sagitta(radius, fraction!(1.0), semi), Ok(millimetres!(10.0)));
/// assert_eq!(conic_sagitta(radius, fraction!(0.0), semi), Ok(millimetres!(9.0)));
/// ```
pub fn conic_sagitta(radius: Millimetre, shape: Fraction, semi_diameter: Millimetre) -> Result<Millimetre, Error> {
    if radius.is_saturated() {
        return Err(Error::Saturated);
    }
    if !(Millimetre::ZERO..=MOST_SEMI_DIAMETER).contains(&semi_diameter) {
        return Err(Error::DiameterRange);
    }
    if radius.abs() < millimetres!(8.0) {
        return Err(Error::RadiusRange);
    }
    if shape.abs() > fraction!(8.0) {
        return Err(Error::ShapeRange);
    }
    // Below 2^31, squares below 2^62; below 2^22, squares below 2^44, eight of them below 2^47.
    let magnitude = i64::from(radius.to_bits().unsigned_abs());
    let square = i64::from(semi_diameter.to_bits()).wrapping_mul(semi_diameter.to_bits().into());
    let taken = shaped(square, shape);
    let under =
        u64::try_from(magnitude.wrapping_mul(magnitude).wrapping_sub(taken)).map_err(|_| Error::BeyondRadius)?;
    let divisor = magnitude.unsigned_abs().wrapping_add(math::sqrt(under).into());
    let depth = math::div_round(square, NonZeroU64::new(divisor).ok_or(Error::RadiusRange)?);
    let signed = if radius < Millimetre::ZERO { depth.wrapping_neg() } else { depth };
    Ok(Millimetre::from_bits(math::saturate(signed)))
}

/// A square below 2^44 times a shape factor of up to 2^27 in units of 2^-24, rounded.
fn shaped(square: i64, shape: Fraction) -> i64 {
    let product = i128::from(square).wrapping_mul(shape.to_bits().into());
    let rounded = product.wrapping_add(1 << (Fraction::FRACTION_BITS - 1)) >> Fraction::FRACTION_BITS;
    i64::try_from(rounded).unwrap_or(i64::MAX)
}
