//! The plane of a portion: what it displaces a spot by, as a linear function of the hole's place.

use super::Portion;
use crate::math;
use crate::sensor::fit::MEAN_SHIFT;
use crate::sensor::moments::{Moments, RATIO_BITS};
use crate::sensor::{Error, SlopeSums, SpotPair};
use core::num::NonZeroU64;

/// `displacement = origin - ratio place`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Plane {
    /// Displacement at the sensor's axis, 2^-24 mm.
    origin: (i64, i64),
    /// Q28, elements below 2^30: words, which controllers multiply fast.
    ratio: [i32; 3],
    /// Standard deviation of a displacement, 2^-24 mm.
    deviation: u32,
}

/// From 2^-24 mm to 2^-20, in which residuals are squared.
const COARSE: u32 = 4;
/// Residuals beyond 2^29 units of 2^-20 mm, 512 mm, count as this: the squares of their differences fit 62 bits.
const MOST_RESIDUAL: i32 = 1 << 29;

impl Plane {
    pub(super) fn through(sums: &SlopeSums) -> Result<Self, Error> {
        let count = NonZeroU64::new(u64::from(sums.count)).filter(|n| n.get() >= 3).ok_or(Error::TooFewSpots)?;
        let moments = Moments::of(sums, count)?;
        let ratio = moments.solve()?;
        let [x, y, u, v] = sums.linear.map(|sum| math::div_round(sum << MEAN_SHIFT, count));
        // The plane passes through the means: below 2^59 each product.
        let origin = |mean: i64, a: i64, b: i64| {
            let moved = a.wrapping_mul(x).wrapping_add(b.wrapping_mul(y));
            mean.wrapping_add(math::shift_round(moved, RATIO_BITS))
        };
        Ok(Self {
            origin: (origin(u, ratio.xx, ratio.xy), origin(v, ratio.xy, ratio.yy)),
            ratio: [ratio.xx, ratio.xy, ratio.yy].map(math::saturate),
            deviation: moments.deviation(ratio),
        })
    }

    /// 2^-20 mm.
    pub(super) fn deviation(&self) -> i64 {
        i64::from(self.deviation >> COARSE)
    }

    /// What a spot's displacement differs by, 2^-20 mm.
    ///
    /// Range: `|ratio|` below 2^30, places below 2^21.
    fn residual(&self, pair: &SpotPair) -> (i32, i32) {
        let (at, moved) = (pair.reference(), pair.displacement());
        let part = |moved: i32, origin: i64, a: i32, b: i32| {
            let sum = product(a, at.x.to_bits()).wrapping_add(product(b, at.y.to_bits()));
            // 2^-44 mm to 2^-24.
            let bent = math::shift_round(sum, RATIO_BITS - MEAN_SHIFT);
            let rest = (i64::from(moved) << MEAN_SHIFT).wrapping_sub(origin).wrapping_add(bent);
            math::saturate(math::shift_round(rest, COARSE)).clamp(-MOST_RESIDUAL, MOST_RESIDUAL)
        };
        let [xx, xy, yy] = self.ratio;
        (part(moved.x.to_bits(), self.origin.0, xx, xy), part(moved.y.to_bits(), self.origin.1, xy, yy))
    }
}

/// The plane nearest to a spot.
pub(super) struct Nearest {
    pub(super) portion: Portion,
    /// Square of the distance to it, 2^-40 mm^2.
    pub(super) residual: i64,
    /// Square of the distance from there to the next plane.
    pub(super) jump: i64,
}

impl Nearest {
    /// Of two planes or more.
    pub(super) fn of(pair: &SpotPair, planes: impl Iterator<Item = (Portion, Plane)>) -> Option<Self> {
        let mut best: Option<(Portion, (i32, i32), i64)> = None;
        let mut second: Option<((i32, i32), i64)> = None;
        for (portion, plane) in planes {
            let at = plane.residual(pair);
            let size = square(at);
            if best.is_none_or(|(.., least)| size < least) {
                second = best.map(|(_, at, size)| (at, size));
                best = Some((portion, at, size));
            } else if second.is_none_or(|(_, least)| size < least) {
                second = Some((at, size));
            }
        }
        let ((portion, near, residual), (next, _)) = (best?, second?);
        Some(Self { portion, residual, jump: square((near.0.wrapping_sub(next.0), near.1.wrapping_sub(next.1))) })
    }
}

fn square((x, y): (i32, i32)) -> i64 {
    product(x, x).wrapping_add(product(y, y))
}

fn product(a: i32, b: i32) -> i64 {
    i64::from(a).wrapping_mul(i64::from(b))
}
