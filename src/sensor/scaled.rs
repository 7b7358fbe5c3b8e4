//! A mantissa of 31 bits with a power of two: for sums whose sizes differ too much for one fixed point.

use crate::math;
use core::num::NonZeroU64;

/// `mantissa * 2^exponent`.
///
/// Range: the mantissa is 0 or from 2^30 to below 2^31 in magnitude; exponents stay within some hundreds.
///
/// # Accuracy
/// Each operation within 2^-31 of its result, `plus` within 2^-31 of the larger operand; all odd where the mathematics is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Scaled {
    mantissa: i64,
    exponent: i32,
}

const BITS: u32 = 31;

impl Scaled {
    pub(super) const ZERO: Self = Self { mantissa: 0, exponent: -1024 };

    /// `2^exponent`.
    pub(super) const fn power_of_two(exponent: i32) -> Self {
        Self { mantissa: 1 << (BITS - 1), exponent: exponent.wrapping_sub_unsigned(BITS - 1) }
    }

    /// `value * 2^exponent`.
    #[inline(never)]
    pub(super) fn of(value: i128, exponent: i32) -> Self {
        if let Ok(short) = i64::try_from(value) {
            return Self::of_long(short, exponent);
        }
        // 64 bits or more: some are lost.
        let magnitude = value.unsigned_abs();
        let down = 128u32.wrapping_sub(magnitude.leading_zeros()).saturating_sub(BITS);
        let half = magnitude >> (down.wrapping_sub(1) & 127) & 1;
        let rounded = (magnitude >> (down & 127)).wrapping_add(half);
        // Rounded up to 2^31: one bit less.
        let carry = u32::from(rounded >> BITS != 0);
        let mantissa = i64::try_from(rounded >> carry).unwrap_or(0);
        let exponent = exponent.wrapping_add_unsigned(down.wrapping_add(carry));
        Self { mantissa: if value < 0 { mantissa.wrapping_neg() } else { mantissa }, exponent }
    }

    /// [`Self::of`] of what fits 63 bits: the same to the bit, and far cheaper.
    #[inline(never)]
    fn of_long(value: i64, exponent: i32) -> Self {
        let magnitude = value.unsigned_abs();
        let bits = 64u32.wrapping_sub(magnitude.leading_zeros());
        if bits == 0 {
            return Self::ZERO;
        }
        let down = bits.saturating_sub(BITS);
        let half = if down == 0 { 0 } else { magnitude >> (down.wrapping_sub(1) & 63) & 1 };
        let rounded = (magnitude >> (down & 63)).wrapping_add(half);
        // Rounded up to 2^31: one bit less.
        let carry = u32::from(rounded >> BITS != 0);
        let up = BITS.saturating_sub(bits);
        let mantissa = (rounded >> carry << (up & 31)).cast_signed();
        let exponent = exponent.wrapping_add_unsigned(down.wrapping_add(carry)).wrapping_sub_unsigned(up);
        Self { mantissa: if value < 0 { mantissa.wrapping_neg() } else { mantissa }, exponent }
    }

    pub(super) const fn is_positive(self) -> bool {
        self.mantissa > 0
    }

    pub(super) fn times(self, other: Self) -> Self {
        if self.mantissa == 0 || other.mantissa == 0 {
            return Self::ZERO;
        }
        let product = self.mantissa.wrapping_mul(other.mantissa);
        Self::of_long(product, self.exponent.wrapping_add(other.exponent))
    }

    /// The quotient; 0 for a divisor of 0, which the callers have excluded.
    pub(super) fn over(self, divisor: Self) -> Self {
        let Some(magnitude) = NonZeroU64::new(divisor.mantissa.unsigned_abs()) else { return Self::ZERO };
        let quotient = math::div_round(self.mantissa << BITS, magnitude);
        let signed = if divisor.mantissa < 0 { quotient.wrapping_neg() } else { quotient };
        let exponent = self.exponent.wrapping_sub(divisor.exponent).wrapping_sub_unsigned(BITS);
        Self::of_long(signed, exponent)
    }

    pub(super) fn plus(self, other: Self) -> Self {
        let (large, small) = if self.exponent >= other.exponent { (self, other) } else { (other, self) };
        let apart = large.exponent.wrapping_sub(small.exponent).unsigned_abs();
        if large.mantissa == 0 {
            return small;
        }
        if apart > 64 || small.mantissa == 0 {
            return large;
        }
        if apart <= BITS {
            return Self::of_long((large.mantissa << (apart & 63)).wrapping_add(small.mantissa), small.exponent);
        }
        Self::of((i128::from(large.mantissa) << (apart & 127)).wrapping_add(i128::from(small.mantissa)), small.exponent)
    }

    pub(super) fn minus(self, other: Self) -> Self {
        self.plus(other.negated())
    }

    pub(super) fn exceeds(self, other: Self) -> bool {
        self.minus(other).is_positive()
    }

    pub(super) const fn magnitude(self) -> Self {
        Self { mantissa: self.mantissa.wrapping_abs(), exponent: self.exponent }
    }

    pub(super) fn squared(self) -> Self {
        self.times(self)
    }

    pub(super) const fn negated(self) -> Self {
        Self { mantissa: self.mantissa.wrapping_neg(), exponent: self.exponent }
    }

    /// The square root; 0 for what is negative.
    pub(super) fn root(self) -> Self {
        // An even exponent, and 62 or 63 bits under the root.
        let up = 32u32.wrapping_sub(self.exponent.unsigned_abs() & 1);
        let radicand = self.mantissa.max(0).unsigned_abs() << (up & 63);
        let exponent = self.exponent.wrapping_sub_unsigned(up) >> 1;
        Self::of_long(i64::from(math::sqrt(radicand)), exponent)
    }

    /// As a count of `2^-fraction_bits`, rounded to nearest, saturating.
    pub(super) fn to_fixed(self, fraction_bits: u32) -> i64 {
        let shift = self.exponent.wrapping_add_unsigned(fraction_bits);
        match u32::try_from(shift) {
            Ok(0) => self.mantissa,
            Ok(up) if up < 32 => self.mantissa << up,
            Ok(_) => self.mantissa.signum().wrapping_mul(i64::MAX),
            Err(_) if shift < -62 => 0,
            Err(_) => math::shift_round(self.mantissa, shift.unsigned_abs()),
        }
    }

    /// Two numbers over one power of two, 31 bits of the larger: mantissas and exponent.
    pub(super) fn together(self, other: Self) -> (i64, i64, i32) {
        let exponent = self.exponent.max(other.exponent);
        let brought = |number: Self| match exponent.wrapping_sub(number.exponent) {
            0 => number.mantissa,
            down if down > 62 => 0,
            down => math::shift_round(number.mantissa, down.unsigned_abs()),
        };
        (brought(self), brought(other), exponent)
    }
}
