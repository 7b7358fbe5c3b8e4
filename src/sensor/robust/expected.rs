//! Where a fit expects the spots, and how far off they are.

use crate::math;
use crate::sensor::fit::{MEAN_SHIFT, on_axis};
use crate::sensor::moments::{Moments, RATIO_BITS};
use crate::sensor::{Error, SlopeSums, SpotPair};
use core::num::NonZeroU64;

/// The displacements of a fit: `on_axis - A x`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Expected {
    /// 2^-24 mm, below 2^34.
    on_axis: (i64, i64),
    /// `A` in Q28: elements xx, xy, yy, below 4.
    ratio: [i32; 3],
}

/// Fraction bits of a residual in millimetres: 1 nm.
pub(super) const RESIDUAL_BITS: u32 = 20;
/// From displacements times `A`, 2^-44 mm.
const DOWN: u32 = 16 + RATIO_BITS - RESIDUAL_BITS;

impl Expected {
    /// # Errors
    /// Those of [`SlopeSums::fit`], but for the step back.
    pub(super) fn of(sums: &SlopeSums) -> Result<Self, Error> {
        let count = NonZeroU64::new(u64::from(sums.count)).filter(|n| n.get() >= 3).ok_or(Error::TooFewSpots)?;
        let ratio = Moments::of(sums, count)?.solve()?;
        let [x, y, u, v] = sums.linear.map(|sum| math::div_round(sum << MEAN_SHIFT, count));
        let elements = [ratio.xx, ratio.xy, ratio.yy].map(math::saturate);
        Ok(Self { on_axis: on_axis(ratio, (x, y), (u, v)), ratio: elements })
    }

    /// Square of a spot's distance from where it is expected, 2^-40 mm^2; a component saturates at 2 m.
    ///
    /// Range: terms below 2^54, so residuals below 2^33 before they saturate.
    #[inline]
    pub(super) fn square(&self, pair: &SpotPair) -> u64 {
        let (hole, moved) = (pair.reference(), pair.displacement());
        let (x, y) = (hole.x.to_bits(), hole.y.to_bits());
        let [xx, xy, yy] = self.ratio;
        let product = |a: i32, b: i32| i64::from(a).wrapping_mul(i64::from(b));
        let residual = |moved: i32, on_axis: i64, first: i32, second: i32| {
            let bent = product(first, x).wrapping_add(product(second, y));
            let sum = (i64::from(moved) << RATIO_BITS).wrapping_sub(on_axis << (DOWN - 4)).wrapping_add(bent);
            math::saturate(math::shift_round(sum, DOWN)).unsigned_abs()
        };
        let across = residual(moved.x.to_bits(), self.on_axis.0, xx, xy);
        let up = residual(moved.y.to_bits(), self.on_axis.1, xy, yy);
        let square = |part: u32| u64::from(part).wrapping_mul(u64::from(part));
        square(across).saturating_add(square(up))
    }

    /// Sums over the spots whose square is at most so much.
    ///
    /// # Errors
    /// [`Error::TooManySpots`].
    pub(super) fn sums_within(&self, pairs: &[SpotPair], most: u64) -> Result<SlopeSums, Error> {
        let mut sums = SlopeSums::default();
        for pair in pairs.iter().filter(|pair| self.square(pair) <= most) {
            sums.add(*pair)?;
        }
        Ok(sums)
    }

    /// The largest square that is at most so much; 0 when there is none.
    pub(super) fn largest_within(&self, pairs: &[SpotPair], most: u64) -> u64 {
        pairs.iter().map(|pair| self.square(pair)).filter(|square| *square <= most).max().unwrap_or(0)
    }
}
