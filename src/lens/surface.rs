//! One surface of a lens: its power at an index, its radii, what a lens clock says of it.

use super::{Error, checked, checked_index};
use crate::math;
use crate::quantity::{Axis, Dioptre, Millimetre, RefractiveIndex};
use crate::vector::{PowerMatrix, PowerVector};
use core::num::NonZeroU64;

/// A spherical or toric surface: its power against air, and the index of the material behind it.
///
/// The same shape has another power at another index, in proportion to `n - 1`; [`Self::at_index`] goes from one to the other. A
/// *curve* is the power that a shape has at an index agreed on: that of the lens clock, or of the tools.
///
/// # Units
/// Dioptres; radii in millimetres, plus for convex.
///
/// # Range
/// Elements within 64 D, index from 1.25.
///
/// # Source
/// `F = (n - 1) / r` (textbook).
///
/// ```
/// use dioptric::{dioptres, lens::Surface, millimetres};
/// let read = Surface::from_clock_reading(dioptres!(5.0), "1.586".parse()?).unwrap();
/// assert_eq!(read.power().xx.to_string(), "+5.53");
/// assert_eq!(Surface::from_radius(millimetres!(-75.0), "1.6".parse()?).unwrap().power().yy, dioptres!(-8.0));
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(try_from = "SurfaceParts", into = "SurfaceParts")
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Surface {
    power: PowerMatrix,
    index: RefractiveIndex,
}

/// A surface as it is stored, not yet checked.
#[cfg(feature = "serde")]
#[derive(serde::Serialize, serde::Deserialize)]
struct SurfaceParts {
    power: PowerMatrix,
    index: RefractiveIndex,
}

#[cfg(feature = "serde")]
impl TryFrom<SurfaceParts> for Surface {
    type Error = Error;
    fn try_from(parts: SurfaceParts) -> Result<Self, Error> {
        Self::new(parts.power, parts.index)
    }
}

#[cfg(feature = "serde")]
impl From<Surface> for SurfaceParts {
    fn from(surface: Surface) -> Self {
        Self { power: surface.power, index: surface.index }
    }
}

impl Surface {
    /// The index for which a lens clock is marked, and to which tools are commonly numbered: 1.530.
    ///
    /// # Source
    /// Common practice (textbook); some clocks and tools are marked for 1.523 or another: use [`Self::at_index`] with theirs.
    pub const CLOCK_INDEX: RefractiveIndex = match RefractiveIndex::from_bits(821_412_495) {
        Ok(index) => index,
        Err(_) => RefractiveIndex::AIR,
    };

    /// From a power at an index.
    ///
    /// # Errors
    /// [`Error::Saturated`], [`Error::PowerRange`], [`Error::IndexRange`].
    pub fn new(power: PowerMatrix, index: RefractiveIndex) -> Result<Self, Error> {
        Ok(Self { power: checked(power)?, index: checked_index(index)? })
    }

    /// From what is known to be in range.
    pub(super) const fn trusted(power: PowerMatrix, index: RefractiveIndex) -> Self {
        Self { power, index }
    }

    /// A sphere of a power.
    ///
    /// # Errors
    /// Those of [`Self::new`].
    pub fn sphere(power: Dioptre, index: RefractiveIndex) -> Result<Self, Error> {
        Self::new(PowerMatrix { xx: power, xy: Dioptre::ZERO, yy: power }, index)
    }

    /// A sphere of a radius, plus for convex.
    ///
    /// # Accuracy
    /// Power within half a unit of 2^-20 D.
    ///
    /// # Errors
    /// [`Error::RadiusRange`], [`Error::Saturated`], [`Error::IndexRange`].
    pub fn from_radius(radius: Millimetre, index: RefractiveIndex) -> Result<Self, Error> {
        if radius.is_saturated() {
            return Err(Error::Saturated);
        }
        let index = checked_index(index)?;
        let bits = reciprocal(radius.to_bits(), index).ok_or(Error::RadiusRange)?;
        Self::sphere(Dioptre::from_bits(bits), index).map_err(|_| Error::RadiusRange)
    }

    /// A sphere from the reading of a lens clock marked for [`Self::CLOCK_INDEX`].
    ///
    /// # Accuracy
    /// Power within half a unit of 2^-20 D plus 1.8e-9 of itself.
    ///
    /// # Errors
    /// Those of [`Self::new`], for the power found, too.
    pub fn from_clock_reading(reading: Dioptre, index: RefractiveIndex) -> Result<Self, Error> {
        Self::sphere(reading, Self::CLOCK_INDEX)?.at_index(index)
    }

    /// The power.
    #[must_use]
    pub const fn power(&self) -> PowerMatrix {
        self.power
    }

    /// The index for which the power is given.
    #[must_use]
    pub const fn index(&self) -> RefractiveIndex {
        self.index
    }

    /// The same shape at another index: `F (n' - 1) / (n - 1)`. With the index to which tools are numbered, the tool curve.
    ///
    /// # Accuracy
    /// Each element within half a unit of 2^-20 D.
    ///
    /// # Errors
    /// [`Error::PowerRange`], [`Error::IndexRange`].
    pub fn at_index(&self, index: RefractiveIndex) -> Result<Self, Error> {
        let index = checked_index(index)?;
        let divisor = NonZeroU64::new(refraction(self.index).unsigned_abs()).ok_or(Error::IndexRange)?;
        // 64 D is 2^26, n - 1 below 3 * 2^29: products below 2^58.
        let element = |bits: i64| {
            Dioptre::from_bits(math::saturate(math::div_round(bits.wrapping_mul(refraction(index)), divisor)))
        };
        let [xx, xy, yy] = self.power.bits();
        let power = PowerMatrix { xx: element(xx), xy: element(xy), yy: element(yy) };
        Self::new(power, index)
    }

    /// What a lens clock marked for [`Self::CLOCK_INDEX`] reads along a meridian.
    ///
    /// # Accuracy
    /// Within 2.7 units of 2^-20 D plus 6e-9 of the power: the conversion, then mean and cross-cylinder, then the sum are rounded.
    ///
    /// # Errors
    /// [`Error::PowerRange`].
    pub fn clock_reading(&self, meridian: Axis) -> Result<Dioptre, Error> {
        Ok(PowerVector::from(self.at_index(Self::CLOCK_INDEX)?.power).power_along(meridian))
    }

    /// The radius along a meridian, plus for convex: of the circle that meets the surface's section there most closely.
    ///
    /// # Accuracy
    /// Within half a unit of 15 nm of that of [`PowerVector::power_along`]'s power, which for a sphere is exact.
    ///
    /// # Errors
    /// [`Error::Flat`] beyond 32 m.
    pub fn radius_along(&self, meridian: Axis) -> Result<Millimetre, Error> {
        let power = PowerVector::from(self.power).power_along(meridian);
        reciprocal(power.to_bits(), self.index).map(Millimetre::from_bits).ok_or(Error::Flat)
    }
}

/// `n - 1`, a count of 2^-29.
pub(super) const fn refraction(index: RefractiveIndex) -> i64 {
    (index.to_bits() as i64).wrapping_sub(RefractiveIndex::AIR.to_bits() as i64)
}

/// Power of a radius, and as well radius of a power: `1000 (n - 1) / value`, where one is a count of 2^-20 and the other of 2^-16.
///
/// Range: the numerator is below 1000 * 2^31 * 2^7 < 2^48.
fn reciprocal(value: i32, index: RefractiveIndex) -> Option<i32> {
    const UP: u32 = Dioptre::FRACTION_BITS + Millimetre::FRACTION_BITS - RefractiveIndex::FRACTION_BITS;
    let divisor = NonZeroU64::new(value.unsigned_abs().into())?;
    let magnitude = math::div_round(refraction(index).wrapping_mul(1000 << UP), divisor);
    let bits = math::saturate(if value < 0 { magnitude.wrapping_neg() } else { magnitude });
    (bits.unsigned_abs() < i32::MAX.unsigned_abs()).then_some(bits)
}
