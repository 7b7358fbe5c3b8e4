//! From the instrument's wavelength to that of the order.
//!
//! By Cauchy's formula of two terms, `n = A + B / w^2` for the wavelength `w`, an index and an Abbe number fix the index at every
//! wavelength: `n - 1 = (n_d - 1) (V + K) / V` with `K = (w^-2 - w_d^-2) / (w_F^-2 - w_C^-2)`. A thin lens's power goes with
//! `n - 1`, so that of `F_ref = F_meas (n_ref - 1) / (n_meas - 1)` only `(V + K_ref) / (V + K_meas)` is left: the index itself
//! cancels out.

use crate::math;
use crate::prism::Prism;
use crate::quantity::{AbbeNumber, Dioptre, Fraction, Nanometre, PrismDioptre, RefractiveIndex};
use crate::vector::PowerVector;
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

/// Fraction bits of K and of sums with it: below 2^(7 + 28).
const PLACE_BITS: u32 = 28;
/// Fraction bits of the factor.
const FACTOR_BITS: u32 = 30;
/// One.
const ONE: i64 = 1 << FACTOR_BITS;
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
fn place_of(wavelength: Nanometre) -> Result<i64, WavelengthError> {
    let fits = (WavelengthCorrection::SHORTEST..=WavelengthCorrection::LONGEST).contains(&wavelength);
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
const fn in_places(abbe_bits: u32) -> i64 {
    (abbe_bits as i64) << (PLACE_BITS - AbbeNumber::FRACTION_BITS)
}

/// Refractive index at a wavelength, from that at the line d and the Abbe number.
///
/// # Range
/// Wavelengths from 380 to 1100 nm.
///
/// # Accuracy
/// Within 3e-9 of Cauchy's formula of two terms. That formula is itself a model: see [`WavelengthCorrection`].
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

/// Brings powers and prisms from the instrument's wavelength to a reference line.
///
/// # Range
/// Instruments from 380 to 1100 nm, near-infrared sources included.
///
/// # Accuracy
/// Results within half a unit plus 1.2e-9 of themselves of Cauchy's formula of two terms, for a thin lens; a saturated value stays
/// saturated. The formula is a model of the material, best between the lines F and C that fix it. Of N-BK7 (V 64) and PMMA
/// (V 53) the power brought to the line d departs by under 0.04 % from 440 to 700 nm; in the near infrared by up to 0.12 % at
/// 850 nm, 0.26 % at 1000 nm and 0.38 % at 1100 nm (N-BK7; PMMA stays under 0.06 %). Where that is too much, calibrate with
/// a lens of the same material.
///
/// ```
/// use dioptric::{dioptres, nanometres, quantity::AbbeNumber, sensor::{Line, WavelengthCorrection}};
/// let abbe = AbbeNumber::from_bits(32 << 24).unwrap();
/// let correction = WavelengthCorrection::new(nanometres!(850.0), Line::E, abbe)?;
/// assert_eq!(correction.power(dioptres!(-8.0)).to_string(), "-8.26");
/// # Ok::<(), dioptric::sensor::WavelengthError>(())
/// ```
///
/// # Source
/// `F_ref = F_meas (n_ref - 1) / (n_meas - 1)` (textbook).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct WavelengthCorrection {
    /// `V + K_meas`, Q28.
    divisor: i64,
    /// `K_ref - K_meas`, Q28.
    step: i64,
    /// `(V + K_ref) / (V + K_meas)`, Q30.
    factor: i64,
}

impl WavelengthCorrection {
    /// The shortest wavelength of an instrument.
    pub const SHORTEST: Nanometre = nanometres!(380.0);
    /// The longest.
    pub const LONGEST: Nanometre = nanometres!(1100.0);

    /// From the instrument's wavelength to a reference line, for a material.
    ///
    /// # Errors
    /// [`WavelengthError::WavelengthRange`].
    pub fn new(instrument: Nanometre, reference: Line, abbe: AbbeNumber) -> Result<Self, WavelengthError> {
        let abbe = in_places(abbe.to_bits());
        let (from, to) = (place_of(instrument)?, place_of(reference.wavelength())?);
        let (divisor, step) = (abbe.wrapping_add(from), to.wrapping_sub(from));
        // One plus what is small keeps no correction at all exact.
        let factor = math::ratio(step, divisor, FACTOR_BITS).wrapping_add(ONE);
        Ok(Self { divisor, step, factor })
    }

    /// What a power is multiplied by.
    ///
    /// # Accuracy
    /// Within half a unit.
    #[must_use]
    pub fn factor(&self) -> Fraction {
        Fraction::from_bits(math::saturate(math::shift_round(self.factor, FACTOR_BITS - Fraction::FRACTION_BITS)))
    }

    /// A power at the reference line.
    ///
    /// # Accuracy
    /// Within half a unit plus 1.2e-9 of itself; odd; saturates.
    #[must_use]
    pub fn power(&self, measured: Dioptre) -> Dioptre {
        if measured.is_saturated() {
            return measured;
        }
        Dioptre::from_bits(math::saturate(scaled(i64::from(measured.to_bits()), self.factor)))
    }

    /// A power vector at the reference line.
    ///
    /// # Accuracy
    /// That of [`Self::power`] in each component.
    #[must_use]
    pub fn vector(&self, measured: PowerVector) -> PowerVector {
        PowerVector { m: self.power(measured.m), j0: self.power(measured.j0), j45: self.power(measured.j45) }
    }

    /// A prism at the reference line: it bends light by `n - 1` as a lens does.
    ///
    /// # Accuracy
    /// That of [`Self::power`] in each component.
    #[must_use]
    pub fn prism(&self, measured: Prism) -> Prism {
        let component = |measured: PrismDioptre| {
            if measured.is_saturated() {
                return measured;
            }
            PrismDioptre::from_bits(math::saturate(scaled(i64::from(measured.to_bits()), self.factor)))
        };
        Prism { x: component(measured.x), y: component(measured.y) }
    }

    /// Standard uncertainty (k = 1) of [`Self::power`] from an Abbe number known to plus or minus `half_width`, anything in
    /// between being as likely: half the difference of the powers at both ends, over the root of 3.
    ///
    /// # Range
    /// Of the half-width, whose sign does not count, up to half of `V + K_meas`, which is 13.9 at least; beyond,
    /// [`Dioptre::MAX`]: nothing is known.
    ///
    /// # Accuracy
    /// Within one unit, of powers to 64 D.
    ///
    /// # Source
    /// Rectangular distribution: JCGM 100 (GUM), 4.3.7.
    #[must_use]
    pub fn abbe_uncertainty(&self, measured: Dioptre, half_width: Fraction) -> Dioptre {
        // 1 / sqrt(3), Q30.
        const INVERSE_ROOT_3: i64 = 619_925_131;
        let half_width = in_places(half_width.to_bits().unsigned_abs());
        if measured.is_saturated() || half_width > self.divisor >> 1 {
            return Dioptre::MAX;
        }
        // The ends' quotients differ by 2 step h / (V^2 - h^2), V here with K: both factors of the divisor are below 2^35.
        let (less, more) = (self.divisor.wrapping_sub(half_width), self.divisor.wrapping_add(half_width));
        let relative = math::ratio(self.step, less, FACTOR_BITS).unsigned_abs().cast_signed();
        let change = scaled(relative, math::ratio(half_width, more, FACTOR_BITS));
        // The relative change is below a quarter: products of Q30 and a power stay below 2^59.
        let power = i64::from(measured.abs().to_bits());
        let deviation = math::shift_round(power.wrapping_mul(scaled(change, INVERSE_ROOT_3)), FACTOR_BITS);
        Dioptre::from_bits(math::saturate(deviation))
    }
}

/// `value * factor`, the factor Q30 and below 2^31.
///
/// Range: values below 2^32.
fn scaled(value: i64, factor: i64) -> i64 {
    math::shift_round(value.wrapping_mul(factor), FACTOR_BITS)
}

#[cfg(feature = "defmt")]
impl defmt::Format for WavelengthCorrection {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "factor {}", self.factor());
    }
}
