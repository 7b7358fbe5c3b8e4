//! How the index goes with the wavelength.
//!
//! By Cauchy's formula of two terms, `n = A + B / w^2` for the wavelength `w`, an index and an Abbe number fix the index at every
//! wavelength: `n - 1 = (n_d - 1) (V + K) / V` with `K = (w^-2 - w_d^-2) / (w_F^-2 - w_C^-2)`.

use super::Material;
use crate::math;
use crate::quantity::{AbbeNumber, Nanometre, RefractiveIndex};
use core::fmt;

/// Why a power or an index is not known at a wavelength.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum WavelengthError {
    /// A wavelength outside 380 to 1100 nm.
    WavelengthRange,
    /// The index at the wavelength is outside the range of its type.
    IndexRange,
}

impl WavelengthError {
    /// Always: every error here is a value out of its range.
    #[must_use]
    pub const fn is_range(self) -> bool {
        true
    }
}

impl fmt::Display for WavelengthError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::WavelengthRange => "a wavelength lies from 380 to 1100 nm",
            Self::IndexRange => "the index at that wavelength is out of range",
        })
    }
}

impl core::error::Error for WavelengthError {}

/// The reference line of an order.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Line {
    /// The green line e of mercury.
    E,
    /// The yellow line d of helium.
    D,
}

impl Line {
    /// Its wavelength: 546.074 nm and 587.5618 nm.
    ///
    /// # Source
    /// Lines of ISO 7944 (from memory; the figures as in glass catalogues).
    #[must_use]
    pub const fn wavelength(self) -> Nanometre {
        match self {
            Self::E => nanometres!(546.074),
            Self::D => nanometres!(587.5618),
        }
    }
}

/// The shortest wavelength at which an index is known.
pub(crate) const SHORTEST: Nanometre = nanometres!(380.0);
/// The longest.
pub(crate) const LONGEST: Nanometre = nanometres!(1100.0);

/// Fraction bits of K and of sums with it: below 2^(7 + 28).
const PLACE_BITS: u32 = 28;
/// Fraction bits of the factor.
pub(crate) const FACTOR_BITS: u32 = 30;
/// `1 / (w_F^-2 - w_C^-2)` in square nanometres: F 486.1327 nm, C 656.2725 nm.
const SPAN: f64 = 1.0 / (1.0 / (486.132_7 * 486.132_7) - 1.0 / (656.272_5 * 656.272_5));
/// [`SPAN`], a count of 2^-24.
const SPAN_BITS: i64 = whole(SPAN * (1u64 << SPAN_FRACTION) as f64);
const SPAN_FRACTION: u32 = 24;
/// `w_d^-2` times [`SPAN`], Q28.
const D_PLACE: i64 = whole(SPAN / (587.561_8 * 587.561_8) * (1u64 << PLACE_BITS) as f64);

/// Rounded; evaluated by the compiler, so that no float is left in the program.
#[allow(clippy::cast_possible_truncation, reason = "runs at compile time, on values far below 2^53")]
const fn whole(value: f64) -> i64 {
    (value + 0.5) as i64
}

/// K of a wavelength, Q28: 1.52 less than nothing at no frequency, -1.08 at 1100 nm, 0 at the line d, 2.11 at 380 nm.
///
/// Range: squares of wavelengths are below 2^(2 * 21 + 20) = 2^62 in 2^-40 nm^2.
///
/// # Errors
/// [`WavelengthError::WavelengthRange`].
pub(crate) fn place_of(wavelength: Nanometre) -> Result<i64, WavelengthError> {
    let fits = (SHORTEST..=LONGEST).contains(&wavelength);
    if !fits {
        return Err(WavelengthError::WavelengthRange);
    }
    let bits = i64::from(wavelength.to_bits());
    let square = bits.wrapping_mul(bits);
    // 2^-24 nm^2 over 2^-40 nm^2 to 2^-28.
    let inverse = math::ratio(SPAN_BITS, square, 2 * Nanometre::FRACTION_BITS - SPAN_FRACTION + PLACE_BITS);
    Ok(inverse.wrapping_sub(D_PLACE))
}

/// An Abbe number, or a difference of two, in Q28.
pub(crate) const fn in_places(abbe_bits: u32) -> i64 {
    (abbe_bits as i64) << (PLACE_BITS - AbbeNumber::FRACTION_BITS)
}

/// Refractive index at a wavelength, from that at the line d and the Abbe number.
///
/// # Range
/// Wavelengths from 380 to 1100 nm.
///
/// # Accuracy
/// Within 3e-9 of Cauchy's formula of two terms. That formula is itself a model: see
/// [`WavelengthCorrection`](crate::sensor::WavelengthCorrection).
///
/// # Errors
/// [`WavelengthError`].
///
/// # Source
/// Cauchy's formula of two terms (textbook), fixed by `n_d` and `V_d = (n_d - 1) / (n_F - n_C)`.
pub fn index_at(
    index: RefractiveIndex,
    abbe: AbbeNumber,
    wavelength: Nanometre,
) -> Result<RefractiveIndex, WavelengthError> {
    let abbe = in_places(abbe.to_bits());
    let factor = math::ratio(abbe.wrapping_add(place_of(wavelength)?), abbe, FACTOR_BITS);
    let air = i64::from(RefractiveIndex::AIR.to_bits());
    // Below 3 * 2^29 times a factor below 2^31.
    let refraction = scaled(i64::from(index.to_bits()).wrapping_sub(air), factor);
    let bits = u32::try_from(refraction.wrapping_add(air)).map_err(|_| WavelengthError::IndexRange)?;
    RefractiveIndex::from_bits(bits).map_err(|_| WavelengthError::IndexRange)
}

impl Material {
    /// Refractive index of the material at a wavelength.
    ///
    /// # Range
    /// Wavelengths from 380 to 1100 nm.
    ///
    /// # Accuracy
    /// That of [`index_at`].
    ///
    /// # Errors
    /// [`WavelengthError`].
    ///
    /// ```
    /// use dioptric::{lens::{Line, Material}};
    /// let crown = Material::nearest("1.523".parse().unwrap());
    /// assert_eq!(format!("{:.4}", crown.index_at(Line::E.wavelength()).unwrap()), "1.5251");
    /// ```
    pub fn index_at(&self, wavelength: Nanometre) -> Result<RefractiveIndex, WavelengthError> {
        index_at(self.index, self.abbe, wavelength)
    }
}

/// `value * factor`, the factor Q30 and below 2^31.
///
/// Range: values below 2^32.
pub(crate) fn scaled(value: i64, factor: i64) -> i64 {
    math::shift_round(value.wrapping_mul(factor), FACTOR_BITS)
}
