//! Toric surfaces as the trade writes them: base curve and cross curve.

use super::{Error, Surface, ThickLens};
use crate::quantity::{Axis, Dioptre};
use crate::rx::SpheroCylinder;
use crate::vector::{PowerMatrix, PowerVector};
use core::fmt;

/// A toric surface by the powers of its two principal meridians: the base curve is the flatter one, the cross curve the other.
///
/// Along the base curve's meridian the surface has the base curve, so base, difference and meridian are the sphere, the cylinder and
/// the axis of the surface's power: in plus-cylinder form on a convex surface, in minus-cylinder form on a hollow one. Of two as
/// flat with opposite signs the plus one is the base. Equal curves are a sphere.
///
/// # Units
/// Dioptres, at whatever index the powers are meant; convex plus.
///
/// # Range
/// That of a [`SpheroCylinder`].
///
/// # Source
/// Common practice, no source; the words are those of ISO 13666 (from memory).
///
/// ```
/// use dioptric::{axis, dioptres, lens::ToricCurves, rx::SpheroCylinder};
/// let front = ToricCurves::new(dioptres!(6.0), dioptres!(8.0), axis!(90.0)).unwrap();
/// assert_eq!(front.to_string(), "+6.00 @ 090 / +8.00 @ 180");
/// assert_eq!(front.sphero_cylinder().to_string(), "+6.00 +2.00 x 090");
/// let back: SpheroCylinder = "-8.00 +2.00 x 90".parse().unwrap();
/// assert_eq!(ToricCurves::from(back).to_string(), "-6.00 @ 180 / -8.00 @ 090");
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(from = "SpheroCylinder", into = "SpheroCylinder"))]
pub struct ToricCurves(SpheroCylinder);

impl From<SpheroCylinder> for ToricCurves {
    /// Exact.
    fn from(power: SpheroCylinder) -> Self {
        let (along, across) = power.principal_powers();
        let along_is_base = along.abs() < across.abs() || (along.abs() == across.abs() && along >= across);
        Self(if along_is_base { power } else { power.transposed() })
    }
}

impl From<ToricCurves> for SpheroCylinder {
    /// Exact.
    fn from(curves: ToricCurves) -> Self {
        curves.0
    }
}

impl From<ToricCurves> for PowerMatrix {
    /// # Accuracy
    /// Within 1.2 units of 2^-20 D.
    fn from(curves: ToricCurves) -> Self {
        curves.0.into()
    }
}

impl TryFrom<PowerMatrix> for ToricCurves {
    type Error = Error;
    /// # Accuracy
    /// Both curves within 1.6e-6 D.
    fn try_from(power: PowerMatrix) -> Result<Self, Error> {
        if power.is_saturated() {
            return Err(Error::Saturated);
        }
        let written = PowerVector::from(power).sphero_cylinder().map_err(|_| Error::PowerRange)?;
        Ok(written.into())
    }
}

impl ToricCurves {
    /// From one curve, the other, and the meridian of the first; the flatter is the base curve, whichever is named first.
    ///
    /// # Errors
    /// [`Error::PowerRange`] for a curve, or a difference of both, beyond 64 D; [`Error::Saturated`].
    pub fn new(curve: Dioptre, other: Dioptre, meridian: Axis) -> Result<Self, Error> {
        if curve.is_saturated() || other.is_saturated() {
            return Err(Error::Saturated);
        }
        let power = SpheroCylinder::new(curve, other - curve, meridian).map_err(|_| Error::PowerRange)?;
        Ok(power.into())
    }

    /// A thin lens with one toric surface: the base curve wanted, and the prescription. Returns the toric surface, and the power of the
    /// other, spherical one.
    ///
    /// A plus base curve is that of the front, a minus one that of the back; the prescription is taken in the form of the same sign.
    /// Of a lens with thickness, take [`ThickLens::for_front`] or [`ThickLens::for_back`].
    ///
    /// # Accuracy
    /// Exact.
    ///
    /// # Errors
    /// [`Error::PowerRange`]; [`Error::Saturated`].
    ///
    /// # Source
    /// Toric transposition (textbook).
    ///
    /// ```
    /// use dioptric::{dioptres, lens::ToricCurves};
    /// let (front, back) = ToricCurves::for_base("+3.00 -1.00 x 180".parse().unwrap(), dioptres!(6.0)).unwrap();
    /// assert_eq!((front.to_string(), back), ("+6.00 @ 090 / +7.00 @ 180".into(), dioptres!(-4.0)));
    /// let (back, front) = ToricCurves::for_base("+3.00 -1.00 x 180".parse().unwrap(), dioptres!(-6.0)).unwrap();
    /// assert_eq!((back.to_string(), front), ("-6.00 @ 180 / -7.00 @ 090".into(), dioptres!(9.0)));
    /// ```
    pub fn for_base(wanted: SpheroCylinder, base: Dioptre) -> Result<(Self, Dioptre), Error> {
        let wanted = if base < Dioptre::ZERO { wanted.minus_form() } else { wanted.plus_form() };
        let toric = Self::new(base, base + wanted.cylinder(), wanted.axis())?;
        let other = wanted.sphere() - base;
        if other.abs() > super::MOST_POWER { Err(Error::PowerRange) } else { Ok((toric, other)) }
    }

    /// The base curve: the flatter one.
    #[must_use]
    pub const fn base(self) -> Dioptre {
        self.0.sphere()
    }

    /// The cross curve: the steeper one. Exact.
    #[must_use]
    pub fn cross(self) -> Dioptre {
        self.0.principal_powers().1
    }

    /// The meridian along which the base curve lies; of a sphere any.
    #[must_use]
    pub const fn meridian(self) -> Axis {
        self.0.axis()
    }

    /// The surface's power as sphere, cylinder and axis: the sphere is the base curve. Exact.
    #[must_use]
    pub const fn sphero_cylinder(self) -> SpheroCylinder {
        self.0
    }
}

impl fmt::Display for ToricCurves {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.base(), f)?;
        if self.0.cylinder() == Dioptre::ZERO {
            return Ok(());
        }
        write!(f, " @ {} / ", self.meridian())?;
        fmt::Display::fmt(&self.cross(), f)?;
        write!(f, " @ {}", self.meridian().perpendicular())
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for ToricCurves {
    fn format(&self, f: defmt::Formatter<'_>) {
        let (meridian, other) = (self.meridian(), self.meridian().perpendicular());
        defmt::write!(f, "{} @ {} / {} @ {}", self.base(), meridian, self.cross(), other);
    }
}

impl Surface {
    /// Base curve and cross curve, at the surface's own index.
    ///
    /// # Accuracy
    /// Both curves within 1.6e-6 D.
    ///
    /// # Errors
    /// [`Error::PowerRange`] for a principal power or a cylinder beyond 64 D.
    pub fn curves(&self) -> Result<ToricCurves, Error> {
        self.power().try_into()
    }
}

impl ThickLens {
    /// The base curve of the lens, as lenses are listed: the flatter curve of the front surface, at the index 1.530 of the tools
    /// and clocks ([`Surface::CLOCK_INDEX`]), whatever the lens's own.
    ///
    /// At the lens's own index it is `front().curves()?.base()`.
    ///
    /// # Accuracy
    /// Within 2.6e-6 D.
    ///
    /// # Errors
    /// [`Error::PowerRange`].
    ///
    /// # Source
    /// Common practice, no source: others list the surface's true power, or that of the back of a back-toric lens.
    pub fn base_curve(&self) -> Result<Dioptre, Error> {
        Ok(self.front().at_index(Surface::CLOCK_INDEX)?.curves()?.base())
    }
}
