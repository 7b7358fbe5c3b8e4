//! Quotients of a blob's sums in 1/65536, without a division of 64 bits where the blob is of the usual size.

use crate::math;
use core::num::{NonZeroU32, NonZeroU64};

/// Fraction bits.
pub(super) const PART_BITS: u32 = 16;
/// Bits of a quotient that a division of 32 bits yields when the divisor is below 2^24.
const STEP_BITS: u32 = 8;

/// A quotient split at the unit: whole units, and 1/65536 beyond, rounded, halves up, to as many as a whole one.
#[derive(Clone, Copy)]
pub(super) struct Quotient {
    pub(super) whole: u64,
    pub(super) part: u32,
}

impl Quotient {
    /// Range: a divisor below 2^39.
    pub(super) fn of(moment: u64, light: NonZeroU64) -> Self {
        if let Some((moment, light)) = short(moment, light) {
            let (whole, part) = short_quotient(moment, light);
            return Self { whole: whole.into(), part };
        }
        let rest = (moment % light) << PART_BITS;
        let part = rest.wrapping_add(light.get() >> 1) / light;
        Self { whole: moment / light, part: part as u32 }
    }
}

/// `numerator / divisor * 2^16` as [`math::ratio`] gives it, to the bit.
pub(super) fn ratio(numerator: i64, divisor: i64) -> i64 {
    let light = NonZeroU64::new(divisor.max(0).unsigned_abs());
    let Some((moment, light)) = light.and_then(|light| short(numerator.unsigned_abs(), light)) else {
        return math::ratio(numerator, divisor, PART_BITS);
    };
    let (whole, part) = short_quotient(moment, light);
    let ratio = (i64::from(whole) << PART_BITS).wrapping_add(part.into());
    if numerator < 0 { ratio.wrapping_neg() } else { ratio }
}

/// Square root as [`math::sqrt`] gives it, to the bit.
pub(super) fn sqrt(value: u64) -> u32 {
    let Ok(short) = u32::try_from(value) else { return math::sqrt(value) };
    let root = short.isqrt();
    root.wrapping_add(u32::from(short.wrapping_sub(root.wrapping_mul(root)) > root))
}

/// In 32 bits, where both fit and the divisor leaves room for a step.
fn short(moment: u64, light: NonZeroU64) -> Option<(u32, NonZeroU32)> {
    let room = u32::MAX >> STEP_BITS;
    let light = u32::try_from(light.get()).ok().filter(|&light| light <= room).and_then(NonZeroU32::new);
    Some((u32::try_from(moment).ok()?, light?))
}

/// Long division, [`STEP_BITS`] at a time.
fn short_quotient(moment: u32, light: NonZeroU32) -> (u32, u32) {
    let (whole, mut rest) = (moment / light, moment % light);
    let mut part = 0u32;
    for _ in 0..PART_BITS / STEP_BITS {
        let shifted = rest << STEP_BITS;
        part = (part << STEP_BITS) | (shifted / light);
        rest = shifted % light;
    }
    (whole, part.wrapping_add(u32::from(rest >= light.get().wrapping_sub(rest))))
}

#[cfg(test)]
mod tests {
    use super::{PART_BITS, Quotient, ratio, sqrt};
    use crate::math;
    use core::num::NonZeroU64;

    #[test]
    fn short_and_long_divisions_agree() {
        let mut state = 1u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            state ^ state >> 29
        };
        for _ in 0..2_000_000 {
            let (moment, light) = (next() >> (20 + next() % 44), (next() >> (25 + next() % 39)).max(1));
            let exact = ((u128::from(moment) << (PART_BITS + 1)) / u128::from(light) + 1) >> 1;
            let quotient = Quotient::of(moment, NonZeroU64::new(light).unwrap_or(NonZeroU64::MIN));
            assert_eq!(
                (u128::from(quotient.whole) << PART_BITS) + u128::from(quotient.part),
                exact,
                "{moment} {light}"
            );
            assert!(quotient.part <= 1 << PART_BITS);
            let (magnitude, light) = (moment.cast_signed(), light.cast_signed());
            let signed = if next() & 1 == 0 { magnitude } else { -magnitude };
            assert_eq!(ratio(signed, light), math::ratio(signed, light, PART_BITS), "{signed} {light}");
            assert_eq!(sqrt(moment), math::sqrt(moment), "{moment}");
        }
        for divisor in [0, -1, 1, i64::MAX] {
            for numerator in [0, 1, -1, 1 << 32, i64::MIN, i64::MAX] {
                assert_eq!(
                    ratio(numerator, divisor),
                    math::ratio(numerator, divisor, PART_BITS),
                    "{numerator} {divisor}"
                );
            }
        }
    }
}
