//! A quantile of squared residuals in bounded memory: first the octave that it lies in, then which 64th of that.

use super::expected::Expected;
use crate::sensor::SpotPair;

/// Bits of the bins within an octave.
const BINS_BITS: u32 = 6;

/// The `rank`th smallest square, counted from 1, or up to a 64th more; the largest for a rank beyond the spots.
///
/// Two passes over the spots, 256 bytes each.
pub(super) fn quantile(pairs: &[SpotPair], expected: &Expected, rank: u32) -> u64 {
    let squares = || pairs.iter().map(|pair| expected.square(pair));
    // Squares are at most 2^63: 64 octaves, the first of which is zero alone.
    let octave = |square: u64| 64u32.wrapping_sub(square.leading_zeros()).min(63);
    let (found, below) = bin_of(squares().map(octave), rank);
    let start = octave_start(found);
    let shift = found.saturating_sub(1).saturating_sub(BINS_BITS);
    let bin = |square: u64| u32::try_from(square.wrapping_sub(start) >> (shift & 63)).unwrap_or(u32::MAX).min(63);
    let within = squares().filter(|square| octave(*square) == found).map(bin);
    let (fine, _) = bin_of(within, rank.wrapping_sub(below));
    // The last value of the bin.
    start.saturating_add((u64::from(fine).wrapping_add(1) << (shift & 63)).wrapping_sub(1))
}

const fn octave_start(octave: u32) -> u64 {
    if octave == 0 { 0 } else { 1u64 << (octave.wrapping_sub(1) & 63) }
}

/// The bin that holds the `rank`th, and how many are in those below.
fn bin_of(bins: impl Iterator<Item = u32>, rank: u32) -> (u32, u32) {
    let mut counts = [0u32; 64];
    for bin in bins {
        if let Some(count) = counts.get_mut(bin as usize) {
            *count = count.wrapping_add(1);
        }
    }
    let mut below = 0u32;
    let mut last = (0, 0);
    for (bin, count) in (0u32..64).zip(counts) {
        if count > 0 {
            last = (bin, below);
        }
        let upto = below.wrapping_add(count);
        if upto >= rank {
            break;
        }
        below = upto;
    }
    last
}
