//! From the instrument's wavelength to that of the order.
//!
//! By Cauchy's formula of two terms ([`index_at`](crate::lens::index_at)), `n - 1` goes with `V + K`, where `K` is that of the
//! wavelength, 0 at the line d. A thin lens's power goes with `n - 1`, so that of `F_ref = F_meas (n_ref - 1) / (n_meas - 1)` only
//! `(V + K_ref) / (V + K_meas)` is left: the index itself cancels out.

use crate::lens::dispersion::{FACTOR_BITS, LONGEST, SHORTEST, in_places, place_of, scaled};
use crate::lens::{Line, WavelengthError};
use crate::math;
use crate::prism::Prism;
use crate::quantity::{AbbeNumber, Dioptre, Fraction, Nanometre, PrismDioptre};
use crate::vector::PowerVector;

/// One.
const ONE: i64 = 1 << FACTOR_BITS;

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
/// use dioptric::{dioptres, lens::{Line, WavelengthError}, nanometres, quantity::AbbeNumber, sensor::WavelengthCorrection};
/// let abbe = AbbeNumber::from_bits(32 << 24).unwrap();
/// let correction = WavelengthCorrection::new(nanometres!(850.0), Line::E, abbe)?;
/// assert_eq!(correction.power(dioptres!(-8.0)).to_string(), "-8.26");
/// # Ok::<(), WavelengthError>(())
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
    pub const SHORTEST: Nanometre = SHORTEST;
    /// The longest.
    pub const LONGEST: Nanometre = LONGEST;

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

#[cfg(feature = "defmt")]
impl defmt::Format for WavelengthCorrection {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "factor {}", self.factor());
    }
}
