//! When a spot is too far from where the others expect it.

use super::RobustError;
use super::expected::{Expected, RESIDUAL_BITS};
use super::quantile::quantile;
use crate::math;
use crate::quantity::{Fraction, Micrometre};
use crate::sensor::SpotPair;

/// What counts as an outlier, and how many there may be.
///
/// # Range
/// Tested by [`RobustFit::of`](super::RobustFit::of).
///
/// # Source
/// The defaults are common practice, no source, but for the multiple: `exp(-k^2 / 2)` of spots with normal noise in both
/// components lie beyond `k` standard deviations (Rayleigh's distribution).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RobustLimits {
    /// Residuals beyond so many robust standard deviations of a displacement component are rejected, 1/256; from 2.
    ///
    /// The robust standard deviation is that of normal noise with the same median distance: `median / sqrt(2 ln 2)`, with
    /// the degrees of freedom of the fit taken off.
    pub multiple: u16,
    /// The limit is never below this: smaller residuals, of aberration and of a detector's own pattern, are never rejected.
    pub least_limit: Micrometre,
    /// Most passes of rejection, from 1.
    pub most_passes: u8,
    /// Least share of the spots that must remain, from 0.5 to 1.
    pub least_share: Fraction,
}

impl Default for RobustLimits {
    /// Six standard deviations, 2 um, eight passes, three quarters.
    ///
    /// Aberration is not normal: the outermost spot of a clean lens is up to five standard deviations off (a toric lens's, over
    /// 6 mm), so that four would cost the strongest lenses their rim.
    fn default() -> Self {
        Self { multiple: 6 << 8, least_limit: micrometres!(2.0), most_passes: 8, least_share: fraction!(0.75) }
    }
}

/// `2^24 / (2 ln 2)`: from the median of squares to the variance of a component.
const VARIANCE_OF_MEDIAN: u64 = 12_102_203;
/// Of a square of [`RobustLimits::multiple`] and of [`VARIANCE_OF_MEDIAN`].
const FACTOR_BITS: u32 = 16 + 24;

impl RobustLimits {
    /// # Errors
    /// [`RobustError::LimitsRange`].
    pub(super) fn check(&self) -> Result<(), RobustError> {
        let shares = fraction!(0.5)..=fraction!(1.0);
        let fits = self.multiple >= 2 << 8
            && self.least_limit >= Micrometre::ZERO
            && self.most_passes > 0
            && shares.contains(&self.least_share);
        if fits { Ok(()) } else { Err(RobustError::LimitsRange) }
    }

    /// Square of the least limit, 2^-40 mm^2.
    pub(super) fn least_square(&self) -> u64 {
        // 2^-14 um to 2^-20 mm: 2^6 / 1000.
        let residual = math::ratio(self.least_limit.to_bits().into(), 1000, RESIDUAL_BITS - Micrometre::FRACTION_BITS);
        residual.unsigned_abs().saturating_pow(2)
    }

    /// Fewest of so many spots that must remain, at least half.
    pub(super) fn fewest(&self, spots: u32) -> u32 {
        let share = u64::from(self.least_share.to_bits().unsigned_abs());
        // Spots are at most 2^16, shares 2^24.
        let product = u64::from(spots).wrapping_mul(share);
        u32::try_from(product.div_ceil(1 << Fraction::FRACTION_BITS)).unwrap_or(u32::MAX)
    }

    /// Square of the limit about a fit, 2^-40 mm^2.
    pub(super) fn square(&self, pairs: &[SpotPair], expected: &Expected) -> u64 {
        let spots = u32::try_from(pairs.len()).unwrap_or(u32::MAX);
        let median = quantile(pairs, expected, spots.wrapping_add(1) >> 1);
        let multiple = u64::from(self.multiple);
        // Below 2^32 2^24: 56 bits; 16 of them are enough.
        let factor = multiple.wrapping_mul(multiple).wrapping_mul(VARIANCE_OF_MEDIAN) >> (FACTOR_BITS - 16);
        // Of 2 n components five are the fit's.
        let (all, free) = (u64::from(spots).wrapping_mul(2), u64::from(spots).wrapping_mul(2).saturating_sub(5).max(1));
        let factor = factor.saturating_mul(all).checked_div(free).unwrap_or(u64::MAX);
        let high = (median >> 16).saturating_mul(factor);
        let low = (median & 0xFFFF).saturating_mul(factor) >> 16;
        high.saturating_add(low).max(self.least_square())
    }
}

/// A residual from its square, 2^-40 mm^2.
pub(super) fn length(square: u64) -> Micrometre {
    let residual = i64::from(math::sqrt(square));
    let scaled = math::shift_round(residual.wrapping_mul(1000), RESIDUAL_BITS - Micrometre::FRACTION_BITS);
    Micrometre::from_bits(math::saturate(scaled))
}

/// `part / whole`, of at most 2^17 spots.
pub(super) fn share(part: u32, whole: u32) -> Fraction {
    Fraction::from_bits(math::saturate(math::ratio(part.into(), whole.into(), Fraction::FRACTION_BITS)))
}
