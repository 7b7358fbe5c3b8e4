//! A lens to start from that up to a quarter of outliers cannot reach.

use super::RobustError;
use super::expected::Expected;
use super::limits::RobustLimits;
use super::quantile::quantile;
use crate::sensor::{SlopeSums, SpotPair};

/// Threes of spots that are tried.
pub(super) const DRAWS: u32 = 32;
/// Concentration steps.
const STEPS: u32 = 2;

/// # Errors
/// [`RobustError::TooFewRemain`] when no three spots give a lens; [`RobustError::Fit`].
pub(super) fn started(pairs: &[SpotPair], count: u32, limits: &RobustLimits) -> Result<Expected, RobustError> {
    let half = count.wrapping_add(1) >> 1;
    let mut best: Option<(Expected, u64)> = None;
    for draw in 0..DRAWS {
        let Ok(expected) = Expected::of(&three(pairs, draw)?) else { continue };
        // A 64th is the quantile's own; what is not clearly better is not worth its two passes.
        let goal = best.map_or(u64::MAX, |(_, median)| median.wrapping_sub(median >> 5));
        let is_near = |pair| u32::from(expected.square(pair) < goal);
        if pairs.iter().map(is_near).fold(0, u32::wrapping_add) >= half {
            best = Some((expected, quantile(pairs, &expected, half)));
        }
    }
    let (mut expected, _) = best.ok_or(RobustError::TooFewRemain)?;
    for _ in 0..STEPS {
        let most = quantile(pairs, &expected, limits.fewest(count));
        expected = Expected::of(&expected.sums_within(pairs, most)?)?;
    }
    Ok(expected)
}

/// Sums over the three spots with the smallest hashes: drawn by what they are, so that their order does not matter.
fn three(pairs: &[SpotPair], draw: u32) -> Result<SlopeSums, RobustError> {
    let mut least: [Option<(Key, SpotPair)>; 3] = [None; 3];
    for pair in pairs {
        let mut entry = Some((Key::of(pair, draw), *pair));
        for kept in &mut least {
            let before = match (&entry, &*kept) {
                (Some((new, _)), Some((old, _))) => new < old,
                (Some(_), None) => true,
                (None, _) => false,
            };
            if before {
                core::mem::swap(kept, &mut entry);
            }
        }
    }
    let mut sums = SlopeSums::default();
    for (_, pair) in least.into_iter().flatten() {
        sums.add(pair)?;
    }
    Ok(sums)
}

/// Hash first; then the coordinates, so that only equal spots are equal.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Key(u32, [i32; 4]);

impl Key {
    #[inline]
    fn of(pair: &SpotPair, draw: u32) -> Self {
        let (hole, spot) = (pair.reference(), pair.spot());
        let parts = [hole.x, hole.y, spot.x, spot.y].map(crate::quantity::Millimetre::to_bits);
        // Multiplication and shift, as in Knuth, "The art of computer programming", volume 3, 6.4; the odd factor is
        // 2^32 over the golden ratio.
        let mixed = |hash: u32, part: u32| {
            let product = (hash ^ part).wrapping_mul(0x9E37_79B9);
            product ^ (product >> 15)
        };
        Self(parts.into_iter().fold(mixed(0, draw), |hash, part| mixed(hash, part.cast_unsigned())), parts)
    }
}
