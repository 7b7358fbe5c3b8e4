//! The threshold: the background, which follows the lighting along the rows and from row to row, and a margin above it.
//!
//! A row is cut into tiles of [`TILE`] pixels. Each holds the level and the noise of its background; between the tiles'
//! centres the threshold is interpolated, so that an uneven lighting does not step within a spot.

use super::{
    limits::SpotLimits,
    pixel::{Scale, Strip, TILE, TILE_BITS, Words, lift, sealed::Lanes},
    scan::Bright,
};
use core::num::NonZeroU32;

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
    /// Height of the threshold above the level, Q8, at most 2^25.
    margin: u32,
    /// Threshold at the centre, Q8, below 2^26.
    centre: u32,
    /// Lifts a lane that is above the floor into its top bit.
    lift: u32,
}

/// The thresholds of a tile, Q8: at the centre and at the two ends, there the means with the neighbours'.
#[derive(Clone, Copy)]
pub(super) struct Thresholds {
    pub(super) left: u32,
    pub(super) centre: u32,
    pub(super) right: u32,
}

impl Thresholds {
    /// Of a tile among the others; at the border of the frame, its own.
    #[inline]
    pub(super) fn of(tiles: &[Tile], at: usize) -> Self {
        let mean = |a: &Tile, b: &Tile| a.centre.wrapping_add(b.centre) >> 1;
        if let Some([before, tile, after]) = tiles.get(at.wrapping_sub(1)..).and_then(|rest| rest.first_chunk()) {
            return Self { left: mean(before, tile), centre: tile.centre, right: mean(tile, after) };
        }
        Self::at_border(tiles, at)
    }

    #[inline(never)]
    fn at_border(tiles: &[Tile], at: usize) -> Self {
        let centre_of = |at: usize| tiles.get(at).map(|tile| tile.centre);
        let centre = centre_of(at).unwrap_or(u32::MAX >> 1);
        let end = |neighbour: usize| centre_of(neighbour).unwrap_or(centre).wrapping_add(centre) >> 1;
        Self { left: end(at.wrapping_sub(1)), centre, right: end(at.wrapping_add(1)) }
    }

    /// Whole part of the lowest of the three: no pixel up to it is bright.
    pub(super) fn floor(&self) -> u32 {
        self.left.min(self.centre).min(self.right) >> LEVEL_BITS
    }
}

impl Tile {
    /// An unused one.
    pub const EMPTY: Self = Self { level: 0, noise: 0, margin: 0, centre: 0, lift: 0 };

    #[inline]
    pub(super) const fn lift(&self) -> u32 {
        self.lift
    }

    /// Takes the first row's median, which a spot that covers less than half the tile leaves as it is.
    fn start<P: Lanes>(&mut self, levels: Levels<P>) {
        self.level = levels.median() << LEVEL_BITS;
        self.noise = self.noise_below(levels);
    }

    /// Twice the mean depth below the level: the mean absolute deviation of a symmetric noise, whatever is bright.
    fn noise_below<P: Lanes>(&self, levels: Levels<P>) -> u32 {
        let depth = |level: u32| self.level.saturating_sub(level << LEVEL_BITS);
        // At most 63 of 24 bits.
        let sum = levels.fold(0u32, |sum, level| sum.wrapping_add(depth(level)));
        mean(sum, levels.count()).wrapping_mul(2)
    }

    fn set_margin(&mut self, limits: &SpotLimits) {
        let sigma = u64::from(self.noise).wrapping_mul(DEVIATION) >> 8;
        let by_noise = sigma.wrapping_mul(limits.sigmas.into());
        let margin = by_noise.max(u64::from(limits.margin) << LEVEL_BITS);
        let most = 1u64 << 25;
        self.margin = margin.min(most) as u32;
        self.centre = self.level.wrapping_add(self.margin);
    }

    /// Follows the mean of dark pixels.
    fn follow(&mut self, mean: u32) {
        self.step(mean.cast_signed().wrapping_sub(self.level.cast_signed()) >> QUICK);
    }

    /// Follows pixels of which some may be bright: each pulls by no more than the margin.
    fn pull<P: Lanes>(&mut self, levels: Levels<P>) {
        let (level, most) = (self.level.cast_signed(), self.margin.cast_signed());
        let pull = |pixel: u32| {
            let off = (pixel << LEVEL_BITS).cast_signed().wrapping_sub(level);
            off.min(most).max(most.wrapping_neg())
        };
        // At most 63 of 24 bits: no level is further off.
        let sum = levels.fold(0i32, |sum, level| sum.wrapping_add(pull(level)));
        let size = mean(sum.unsigned_abs(), levels.count()).cast_signed() >> SLOW;
        self.step(if sum < 0 { size.wrapping_neg() } else { size });
    }

    fn step(&mut self, off: i32) {
        self.level = self.level.cast_signed().wrapping_add(off).max(0).cast_unsigned();
        self.centre = self.level.wrapping_add(self.margin);
    }

    #[inline(never)]
    fn follow_noise(&mut self, noise: u32, limits: &SpotLimits) {
        let step = noise.cast_signed().wrapping_sub(self.noise.cast_signed()) >> NOISE_RATE;
        self.noise = self.noise.cast_signed().wrapping_add(step).max(0).cast_unsigned();
        self.set_margin(limits);
    }
}

/// The levels of a tile's pixels: up to [`TILE`], and in the last tile those that are left over.
#[derive(Clone, Copy)]
struct Levels<'p, P> {
    whole: &'p [P],
    rest: &'p [P],
}

impl<P: Lanes> Levels<'_, P> {
    const fn count(&self) -> usize {
        self.whole.len().wrapping_add(self.rest.len())
    }

    fn fold<A>(&self, start: A, mut add: impl FnMut(A, u32) -> A) -> A {
        let mut sum = start;
        for part in [self.whole, self.rest] {
            for pixel in part {
                sum = add(sum, pixel.level());
            }
        }
        sum
    }

    /// Least level that at least half of the pixels do not exceed, found digit by digit.
    fn median(&self) -> u32 {
        const DIGIT: u32 = 4;
        let mut rank = self.count().div_ceil(2) as u32;
        let mut found = 0u32;
        let mut shift = u32::from(P::BITS);
        while shift > 0 {
            shift = shift.wrapping_sub(DIGIT);
            // How many of the levels that begin as the median does go on with each digit: up to 63.
            let mut counts = [0u8; 1 << DIGIT];
            self.fold((), |(), level| {
                let level = level >> (shift & 31);
                if let Some(count) = counts.get_mut((level & 0xf) as usize).filter(|_| level >> DIGIT == found) {
                    *count = count.wrapping_add(1);
                }
            });
            let mut digit = 0u32;
            for count in counts.map(u32::from) {
                if count >= rank {
                    break;
                }
                rank = rank.wrapping_sub(count);
                digit = digit.wrapping_add(1);
            }
            found = found << DIGIT | digit & 0xf;
        }
        found
    }
}

/// Mean of so many; 0 of none.
fn mean(sum: u32, count: usize) -> u32 {
    if count == TILE { sum >> TILE_BITS } else { NonZeroU32::new(count as u32).map_or(0, |count| sum / count) }
}

/// Hands the levels of a tile's pixels over.
fn with_levels<S: Strip>(row: S, at: usize, is_last: bool, scale: Scale, then: impl FnOnce(Levels<S::Pixel>)) {
    let mut buffer = [S::Pixel::ZERO; TILE];
    let mut beyond = [S::Pixel::ZERO; TILE];
    let whole = row.tile(at).map_or(&[][..], |whole| whole.levels(scale, &mut buffer));
    then(Levels { whole, rest: if is_last { row.rest(scale, &mut beyond) } else { &[] } });
}

/// The tiles of a frame, and how they are read.
#[derive(Debug)]
pub(super) struct Ground<'a> {
    pub(super) tiles: &'a mut [Tile],
    pub(super) scale: Scale,
    pub(super) limits: SpotLimits,
}

impl Ground<'_> {
    /// Takes the backgrounds from the first row.
    #[inline(never)]
    pub(super) fn start<S: Strip>(&mut self, row: S) {
        for at in 0..self.tiles.len() {
            let is_last = at == self.tiles.len().wrapping_sub(1);
            let Some(tile) = self.tiles.get_mut(at) else { break };
            with_levels(row, at, is_last, self.scale, |levels| tile.start(levels));
        }
        // A tile whose few pixels have a median below their mean would take its own noise for too little, and half of what is
        // above for bright: as bright it would follow slowly, and so stay.
        let usual = self.usual_noise();
        for tile in self.tiles.iter_mut() {
            tile.noise = tile.noise.max(usual);
            tile.set_margin(&self.limits);
        }
        for at in 0..self.tiles.len() {
            set_lift::<S::Pixel>(self.tiles, at);
        }
    }

    /// Mean of the tiles' noise.
    fn usual_noise(&self) -> u32 {
        // Below 2^25 each, and 128 tiles: below 2^32.
        let sum = self.tiles.iter().fold(0u32, |sum, tile| sum.saturating_add(tile.noise));
        mean(sum, self.tiles.len())
    }

    /// Lets an eighth of the tiles follow the row.
    #[inline(never)]
    pub(super) fn follow<S: Strip>(&mut self, row: S, y: u16, bright: &Bright) {
        let y = u32::from(y);
        let noise_too = (y / PERIOD).is_multiple_of(NOISE_VISITS);
        // A last tile with more than its pixels is taken by itself.
        let even = if row.count().is_multiple_of(TILE) { self.tiles.len() } else { self.tiles.len().wrapping_sub(1) };
        let any_bright = !bright.is_none();
        let (scale, limits) = (self.scale, &self.limits);
        let mut at = (y % PERIOD) as usize;
        while let Some(tile) = self.tiles.get_mut(at) {
            let is_bright = any_bright && bright.has(at);
            match row.tile(at).filter(|_| !is_bright && at < even) {
                Some(whole) => {
                    tile.follow(mean_of_dark(whole, scale));
                    if noise_too {
                        tile.follow_noise(noise_of_dark(tile, whole, scale), limits);
                    }
                }
                None => follow_levels(tile, row, at, (is_bright, at >= even, noise_too), scale, limits),
            }
            set_lifts::<S::Pixel>(self.tiles, at);
            at = at.wrapping_add(PERIOD as usize);
        }
    }
}

/// Mean level of a whole tile with no pixel above the floor, Q8.
#[inline(never)]
fn mean_of_dark<W: Words>(whole: W, scale: Scale) -> u32 {
    let sum = whole.sum();
    let sum = if scale.flip == 0 { sum } else { (scale.flip << TILE_BITS).saturating_sub(sum) };
    sum << (LEVEL_BITS - TILE_BITS)
}

#[inline(never)]
fn noise_of_dark<W: Words>(tile: &Tile, whole: W, scale: Scale) -> u32 {
    let half = W::Pixel::LANE >> 1;
    // The first whole level above the background's, or that itself.
    let bound = tile.level.wrapping_add((1 << LEVEL_BITS) - 1) >> LEVEL_BITS;
    // No pixel is above the floor, and that is not above the centre; so lanes lack their top bit.
    if tile.centre >> LEVEL_BITS > half || bound == 0 || W::Pixel::BITS > 8 {
        let mut buffer = [W::Pixel::ZERO; TILE];
        return tile.noise_below(Levels { whole: whole.levels(scale, &mut buffer), rest: &[] });
    }
    let flips = scale.flips::<W::Pixel>();
    let (lacks, count) = W::Pixel::lacks(whole.words().map(|word| word ^ flips), bound);
    let beyond = tile.level.wrapping_sub(bound.wrapping_sub(1) << LEVEL_BITS);
    let sum = (lacks << LEVEL_BITS).wrapping_add(count.wrapping_mul(beyond));
    (sum >> TILE_BITS).wrapping_mul(2)
}

#[inline(never)]
fn follow_levels<S: Strip>(
    tile: &mut Tile,
    row: S,
    at: usize,
    (is_bright, is_last, noise_too): (bool, bool, bool),
    scale: Scale,
    limits: &SpotLimits,
) {
    with_levels(row, at, is_last, scale, |levels| {
        if is_bright {
            tile.pull(levels);
        } else {
            let sum = levels.fold(0u32, u32::wrapping_add);
            tile.follow(mean(sum << LEVEL_BITS, levels.count()));
        }
        if noise_too {
            tile.follow_noise(tile.noise_below(levels), limits);
        }
    });
}

/// The lifts of a tile whose centre has changed, and of its neighbours.
#[inline]
fn set_lifts<P: Lanes>(tiles: &mut [Tile], at: usize) {
    let first = at.wrapping_sub(2);
    if let Some([a, b, c, d, e]) = tiles.get_mut(first..).and_then(|rest| rest.first_chunk_mut()) {
        b.lift = lift_between::<P>(a.centre, b.centre, c.centre);
        c.lift = lift_between::<P>(b.centre, c.centre, d.centre);
        d.lift = lift_between::<P>(c.centre, d.centre, e.centre);
    } else {
        set_lift::<P>(tiles, at.wrapping_sub(1));
        set_lift::<P>(tiles, at);
        set_lift::<P>(tiles, at.wrapping_add(1));
    }
}

/// The lift from the floor of a tile's threshold: the lowest of the centre and the means with its neighbours'.
#[inline]
fn lift_between<P: Lanes>(before: u32, centre: u32, after: u32) -> u32 {
    lift::<P>(before.min(after).min(centre).wrapping_add(centre) >> (1 + LEVEL_BITS))
}

#[inline(never)]
fn set_lift<P: Lanes>(tiles: &mut [Tile], at: usize) {
    let centre_of = |at: usize| tiles.get(at).map(|tile| tile.centre);
    let Some(centre) = centre_of(at) else { return };
    let [before, after] = [at.wrapping_sub(1), at.wrapping_add(1)].map(|at| centre_of(at).unwrap_or(centre));
    if let Some(tile) = tiles.get_mut(at) {
        tile.lift = lift_between::<P>(before, centre, after);
    }
}
