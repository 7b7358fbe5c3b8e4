//! The threshold: the background, which follows the lighting along the rows and from row to row, and a margin above it.
//!
//! A row is cut into tiles of [`TILE`] pixels. Each holds the level and the noise of its background; between the tiles'
//! centres the threshold is interpolated, so that an uneven lighting does not step within a spot.

use super::{
    limits::SpotLimits,
    pixel::{Scale, sealed::Pixel},
};
use core::num::NonZeroU32;

/// Pixels of a tile; the last takes what is left over, up to 63.
pub(super) const TILE: usize = 1 << TILE_BITS;
const TILE_BITS: u32 = 5;
const HALF_TILE: u32 = 16;
/// Fraction bits of levels.
pub(super) const LEVEL_BITS: u32 = 8;
/// Rows from one visit of a tile to the next.
const PERIOD: u32 = 8;
/// The noise is read at one visit in four.
const NOISE_VISITS: u32 = 4;
/// A tile moves by half of what it is off; one with anything bright in it by 1/64, so that a spot hardly lifts its own
/// threshold, and yet a step of the lighting is taken in at last.
const QUICK: u32 = 1;
const SLOW: u32 = 6;
/// The noise moves by an eighth.
const NOISE_RATE: u32 = 3;
/// `sqrt(pi / 2)`, Q8: standard deviation over mean absolute deviation of a normal distribution.
const DEVIATION: u64 = 321;

/// One tile's background, for the memory that the caller gives.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Tile {
    /// Level of the background, Q8.
    level: u32,
    /// Its mean absolute deviation, Q8.
    noise: u32,
    /// Threshold at the centre, Q8, below 2^26.
    centre: u32,
    /// Threshold at the two ends, Q8: means with the neighbours'.
    left: u32,
    right: u32,
    /// Whole part of the lowest of the three: no pixel up to it is bright.
    floor: u32,
    /// Whether the last row had a pixel above the floor.
    busy: bool,
}

impl Tile {
    /// An unused one.
    pub const EMPTY: Self = Self { level: 0, noise: 0, centre: 0, left: 0, right: 0, floor: 0, busy: false };

    pub(super) const fn floor(&self) -> u32 {
        self.floor
    }

    pub(super) const fn set_busy(&mut self, busy: bool) {
        self.busy = busy;
    }

    /// Threshold at the middle of the pixel `at` of the tile, Q8; never below the lowest of its three.
    ///
    /// Range: thresholds below 2^26 and a factor below 32: below 2^31.
    #[inline]
    pub(super) const fn threshold(&self, at: u32) -> u32 {
        let (from, to, at) = if at < HALF_TILE {
            (self.left, self.centre, at)
        } else {
            (self.centre, self.right, at.wrapping_sub(HALF_TILE))
        };
        if at >= HALF_TILE {
            return to;
        }
        let rise = to.cast_signed().wrapping_sub(from.cast_signed());
        let part = rise.wrapping_mul(at.wrapping_mul(2).wrapping_add(1).cast_signed()) >> 5;
        from.wrapping_add(part.cast_unsigned())
    }

    /// Takes the first row's median, which a spot that covers less than half the tile leaves as it is.
    fn start<P: Pixel>(&mut self, pixels: &[P], scale: Scale, limits: &SpotLimits) {
        let levels = || pixels.iter().map(|&pixel| scale.level(pixel));
        let half = pixels.len().div_ceil(2);
        let up_to = |level: u32| levels().fold(0usize, |count, other| count.wrapping_add(usize::from(other <= level)));
        let is_upper = |level: u32| up_to(level) >= half;
        let median = levels().filter(|&level| is_upper(level)).min().unwrap_or(0);
        self.level = median << LEVEL_BITS;
        self.noise = self.noise_below(pixels, scale);
        self.set_centre(limits);
    }

    /// Twice the mean depth below the level: the mean absolute deviation of a symmetric noise, whatever is bright.
    fn noise_below<P: Pixel>(&self, pixels: &[P], scale: Scale) -> u32 {
        let depth = |pixel: P| self.level.saturating_sub(scale.level(pixel) << LEVEL_BITS);
        // At most 63 of 24 bits.
        let sum = pixels.iter().fold(0u32, |sum, &pixel| sum.wrapping_add(depth(pixel)));
        mean(sum, pixels.len()).wrapping_mul(2)
    }

    fn set_centre(&mut self, limits: &SpotLimits) {
        let sigma = u64::from(self.noise).wrapping_mul(DEVIATION) >> 8;
        let by_noise = sigma.wrapping_mul(limits.sigmas.into());
        let margin = by_noise.max(u64::from(limits.margin) << LEVEL_BITS);
        let most = 1u64 << 25;
        self.centre = self.level.saturating_add(margin.min(most) as u32);
    }

    fn visit<P: Pixel>(&mut self, pixels: &[P], scale: Scale, limits: &SpotLimits, noise_too: bool) {
        let level = self.level.cast_signed();
        let off = if self.busy {
            // Each pixel pulls by no more than the margin.
            let most = self.centre.saturating_sub(self.level).cast_signed();
            let pull = |pixel: P| {
                let off = (scale.level(pixel) << LEVEL_BITS).cast_signed().wrapping_sub(level);
                off.min(most).max(most.wrapping_neg())
            };
            // At most 63 of 24 bits: no level is further off.
            let sum = pixels.iter().fold(0i32, |sum, &pixel| sum.wrapping_add(pull(pixel)));
            let size = mean(sum.unsigned_abs(), pixels.len()).cast_signed() >> SLOW;
            if sum < 0 { size.wrapping_neg() } else { size }
        } else {
            let sum = P::sum(pixels);
            let count = pixels.len() as u32;
            let sum = if scale.flip == 0 { sum } else { count.wrapping_mul(scale.flip).saturating_sub(sum) };
            let mean = mean(sum << LEVEL_BITS, pixels.len()).cast_signed();
            mean.wrapping_sub(level) >> QUICK
        };
        self.level = level.wrapping_add(off).max(0).cast_unsigned();
        if noise_too {
            let noise = self.noise_below(pixels, scale).cast_signed();
            let step = noise.wrapping_sub(self.noise.cast_signed()) >> NOISE_RATE;
            self.noise = self.noise.cast_signed().wrapping_add(step).max(0).cast_unsigned();
        }
        self.set_centre(limits);
    }
}

impl Default for Tile {
    fn default() -> Self {
        Self::EMPTY
    }
}

/// Mean of so many; 0 of none.
fn mean(sum: u32, count: usize) -> u32 {
    if count == TILE { sum >> TILE_BITS } else { NonZeroU32::new(count as u32).map_or(0, |count| sum / count) }
}

/// Each tile with its pixels and the place of the first.
pub(super) fn tiled<'a, P>(
    tiles: &'a mut [Tile],
    row: &'a [P],
) -> impl Iterator<Item = (usize, &'a mut Tile, &'a [P])> + use<'a, P> {
    let last = tiles.len().wrapping_sub(1);
    let mut rest = row;
    let mut next = 0usize;
    tiles.iter_mut().map(move |tile| {
        // What counts along with an iterator may overflow, for all the compiler knows.
        let at = next;
        next = next.wrapping_add(1);
        let (pixels, after) =
            if at == last { (rest, &[][..]) } else { rest.split_at_checked(TILE).unwrap_or((rest, &[])) };
        rest = after;
        (at, tile, pixels)
    })
}

/// Takes the backgrounds from the first row.
pub(super) fn start<P: Pixel>(tiles: &mut [Tile], row: &[P], scale: Scale, limits: &SpotLimits) {
    for (_, tile, pixels) in tiled(tiles, row) {
        tile.start(pixels, scale, limits);
    }
    for at in 0..tiles.len() {
        join(tiles, at);
    }
}

/// Lets an eighth of the tiles follow the row.
pub(super) fn follow<P: Pixel>(tiles: &mut [Tile], row: &[P], y: u32, scale: Scale, limits: &SpotLimits) {
    let noise_too = (y / PERIOD).is_multiple_of(NOISE_VISITS);
    let last = tiles.len().wrapping_sub(1);
    let first = (y % PERIOD) as usize;
    for at in (first..tiles.len()).step_by(PERIOD as usize) {
        let from = at.wrapping_mul(TILE);
        let to = if at == last { row.len() } else { from.wrapping_add(TILE) };
        let (Some(tile), Some(pixels)) = (tiles.get_mut(at), row.get(from..to)) else { continue };
        tile.visit(pixels, scale, limits, noise_too);
        join(tiles, at.wrapping_sub(1));
        join(tiles, at);
        join(tiles, at.wrapping_add(1));
    }
}

/// The ends of a tile's threshold from its neighbours'; at the border, its own.
fn join(tiles: &mut [Tile], at: usize) {
    let centre_of = |at: usize| tiles.get(at).map(|tile| tile.centre);
    let (before, after) = (centre_of(at.wrapping_sub(1)), centre_of(at.wrapping_add(1)));
    let Some(tile) = tiles.get_mut(at) else { return };
    let end = |neighbour: Option<u32>| neighbour.unwrap_or(tile.centre).wrapping_add(tile.centre) >> 1;
    (tile.left, tile.right) = (end(before), end(after));
    tile.floor = tile.left.min(tile.centre).min(tile.right) >> LEVEL_BITS;
}
