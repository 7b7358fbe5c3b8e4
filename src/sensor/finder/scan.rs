//! From a row's pixels to its runs of bright ones.

use super::{
    FinderError,
    background::{LEVEL_BITS, Thresholds, Tile},
    blob::RunSums,
    labels::Labels,
    pixel::{self, HALF_TILE, Scale, Strip, TILE, Words, sealed::Lanes, suspects},
};
use core::num::NonZeroU32;

/// Tiles of a row with a pixel above their floor.
#[derive(Default)]
pub(super) struct Bright([u32; 4]);

impl Bright {
    /// Asks each whole tile.
    ///
    /// `false_alarms` is of the row before, and then of this one: tiles whose union of levels is above the floor although no pixel
    /// is. Where they are many, as on a ground whose levels differ in a leading bit, the pixels are asked at once. The answer is
    /// the same.
    #[inline(never)]
    pub(super) fn of<S: Strip>(tiles: &[Tile], row: S, scale: Scale, false_alarms: &mut u32) -> Self {
        let flips = scale.flips::<S::Pixel>();
        let by_union = S::Whole::IN_WORDS && *false_alarms <= (tiles.len() as u32) >> FEW_BITS;
        match (flips, by_union) {
            (0, true) => Self::by_union(tiles, row, |word| word, false_alarms),
            (_, true) => Self::by_union(tiles, row, |word| word ^ flips, false_alarms),
            (0, false) => Self::by_pixel(tiles, row, |word| word, false_alarms),
            (_, false) => Self::by_pixel(tiles, row, |word| word ^ flips, false_alarms),
        }
    }

    #[inline]
    fn by_union<S: Strip>(tiles: &[Tile], row: S, turn: impl Fn(u32) -> u32, false_alarms: &mut u32) -> Self {
        let (mut bright, mut alarms) = (Self::default(), 0u32);
        // What counts along with an iterator may overflow, for all the compiler knows.
        let mut at = 0usize;
        for (tile, whole) in tiles.iter().zip(row.tiles()) {
            if whole.may_be_bright(tile.lift(), &turn) {
                let is_bright = is_bright(whole, tile.lift(), &turn);
                bright.set(at, is_bright);
                alarms = alarms.wrapping_add(u32::from(!is_bright));
            }
            at = at.wrapping_add(1);
        }
        *false_alarms = alarms;
        bright
    }

    #[inline]
    fn by_pixel<S: Strip>(tiles: &[Tile], row: S, turn: impl Fn(u32) -> u32, false_alarms: &mut u32) -> Self {
        let mut bright = Self::default();
        let mut at = 0usize;
        for (tile, whole) in tiles.iter().zip(row.tiles()) {
            if whole.is_bright(tile.lift(), &turn) {
                bright.set(at, true);
            }
            at = at.wrapping_add(1);
        }
        // The union has another try in some rows.
        *false_alarms = false_alarms.saturating_sub(1);
        bright
    }

    pub(super) const fn is_none(&self) -> bool {
        let [a, b, c, d] = self.0;
        a | b | c | d == 0
    }

    fn set(&mut self, tile: usize, is_bright: bool) {
        if let Some(bits) = self.0.get_mut(tile >> 5) {
            let bit = 1 << (tile & 31);
            *bits = if is_bright { *bits | bit } else { *bits & !bit };
        }
    }

    pub(super) fn has(&self, tile: usize) -> bool {
        self.0.get(tile >> 5).is_some_and(|bits| bits >> (tile & 31) & 1 == 1)
    }

    /// The next from a tile on.
    fn next(&self, from: usize) -> Option<usize> {
        let mut at = from >> 5;
        let mut bits = self.0.get(at)? & (u32::MAX << (from & 31));
        while bits == 0 {
            at = at.wrapping_add(1);
            bits = *self.0.get(at)?;
        }
        Some(at.wrapping_mul(32).wrapping_add(bits.trailing_zeros() as usize))
    }
}

/// Few false alarms are a quarter of the tiles.
const FEW_BITS: u32 = 2;

/// Apart, so that the loop over the tiles keeps no words for it.
#[inline(never)]
fn is_bright<W: Words>(whole: W, lift: u32, turn: impl Fn(u32) -> u32) -> bool {
    whole.is_bright(lift, turn)
}

/// A row that is being read.
pub(super) struct Scan<'s, 'm> {
    pub(super) y: u16,
    pub(super) scale: Scale,
    pub(super) tiles: &'s [Tile],
    pub(super) labels: &'s mut Labels<'m>,
    pub(super) bright: Bright,
    /// The bright pixels before the next.
    pub(super) run: RunSums,
}

/// Bright pixels side by side: sums of their heights, and of these sums, and of those.
///
/// Range: of 32 pixels whose heights are below 2^16, or 8 of 2^24: below 2^29 and 2^31.
#[derive(Clone, Copy, Default)]
pub(super) struct Sums {
    pub(super) light: u32,
    pub(super) first: u32,
    pub(super) second: u32,
    /// Largest height, in units of [`Line`].
    height: i32,
    pub(super) peak: u32,
    pub(super) pixels: u32,
}

impl Sums {
    /// Largest height, 1/256 count.
    pub(super) const fn height(&self) -> u32 {
        (self.height >> Line::BITS).cast_unsigned()
    }
}

impl Scan<'_, '_> {
    /// Finds the runs and labels them; says in which tiles something was above the floor.
    pub(super) fn row<S: Strip>(mut self, row: S) -> Result<Bright, FinderError> {
        let whole = row.count() / TILE;
        let mut next = 0usize;
        while let Some(at) = self.bright.next(next) {
            if at != next {
                self.end_run(next.wrapping_mul(TILE) as u32)?;
            }
            let Some(tile) = row.tile(at) else { break };
            self.tile(tile.levels(self.scale, &mut [S::Pixel::ZERO; TILE]), at, 0)?;
            next = at.wrapping_add(1);
        }
        if next != whole {
            self.end_run(next.wrapping_mul(TILE) as u32)?;
        }
        if !row.count().is_multiple_of(TILE) {
            let mut buffer = [S::Pixel::ZERO; TILE];
            let rest = row.rest(self.scale, &mut buffer);
            let last = whole.saturating_sub(1);
            let floor = Thresholds::of(self.tiles, last).floor();
            if rest.iter().any(|level| level.level() > floor) {
                self.bright.set(last, true);
            }
            self.tile(rest, last, whole.wrapping_sub(last).wrapping_mul(TILE) as u32)?;
        }
        self.end_run(row.count() as u32)?;
        Ok(self.bright)
    }

    /// Levels of a tile from the column `from` of it on, of which one may be bright.
    #[inline(never)]
    fn tile<P: Lanes>(&mut self, levels: &[P], at: usize, from: u32) -> Result<(), FinderError> {
        let Some(tile) = self.tiles.get(at) else { return Ok(()) };
        let lift = tile.lift();
        let Thresholds { left, centre, right } = Thresholds::of(self.tiles, at);
        // A lift that stands for a high floor says "bright" too often.
        if tile.lift() == pixel::lift::<P>(0) && from == 0 {
            let floor = left.min(centre).min(right) >> LEVEL_BITS;
            self.bright.set(at, levels.iter().any(|level| level.level() > floor));
        }
        let mut sums = Sums::default();
        let mut end = (at.wrapping_mul(TILE) as u32).wrapping_add(from);
        let (first, second) = levels.split_at_checked(HALF_TILE).unwrap_or((levels, &[]));
        let halves = [(first, Line::between(left, centre)), (second, Line::between(centre, right))];
        // Beyond the second half the threshold stays what it is.
        let beyond = [(levels, Line::between(right, right)), (&[][..], Line::between(right, right))];
        for (half, mut line) in if from == 0 { halves } else { beyond } {
            for piece in half.chunks(P::PIECE) {
                end = end.wrapping_add(piece.len() as u32);
                self.piece(piece, &mut line, lift, &mut sums, end)?;
                if P::BITS > 8 {
                    self.run = self.run.with(&sums, end);
                    sums = Sums::default();
                }
            }
        }
        if sums.pixels > 0 {
            self.run = self.run.with(&sums, end);
        }
        Ok(())
    }

    /// Levels before a column, all in one half of a tile.
    #[inline]
    fn piece<P: Lanes>(
        &mut self,
        levels: &[P],
        line: &mut Line,
        lift: u32,
        sums: &mut Sums,
        end: u32,
    ) -> Result<(), FinderError> {
        let is_open = sums.pixels | self.run.pixels > 0;
        let mut rest = if is_open { levels } else { line.pass_dark(levels, lift) };
        while !rest.is_empty() {
            let bright = line.take_bright(rest, sums);
            rest = rest.get(bright..).unwrap_or_default();
            if rest.is_empty() {
                break;
            }
            self.finish_run(sums, end.wrapping_sub(rest.len() as u32))?;
            rest = line.pass_dark(rest, lift);
        }
        Ok(())
    }

    /// Ends a run that goes up to a column, if there is one.
    #[inline]
    fn end_run(&mut self, column: u32) -> Result<(), FinderError> {
        if self.run.pixels > 0 { self.finish_run(&mut Sums::default(), column) } else { Ok(()) }
    }

    /// Ends a run with the pixels before a column, if there is one or the other.
    #[inline(never)]
    fn finish_run(&mut self, sums: &mut Sums, column: u32) -> Result<(), FinderError> {
        let run = self.run.with(sums, column);
        (*sums, self.run.pixels) = (Sums::default(), 0);
        if run.pixels > 0 { self.labels.add(&run, column as u16, self.y) } else { Ok(()) }
    }
}

/// The threshold along a half of a tile at the middle of the next pixel, in units of 2^-13 count.
///
/// Range: thresholds below 2^26, Q8: below 2^31; a level is below 2^29, and so the difference is an i32.
#[derive(Clone, Copy)]
struct Line {
    /// One less than a unit of 1/256 count, less the threshold.
    negated: i32,
    fall: i32,
}

impl Line {
    const BITS: u32 = 5;
    /// 1/256 count.
    const UNIT: i32 = 1 << Self::BITS;

    /// From the threshold at the first pixel's edge to that at the last one's.
    #[inline]
    const fn between(from: u32, to: u32) -> Self {
        let (from, to) = (from.cast_signed(), to.cast_signed());
        let rise = to.wrapping_sub(from);
        Self {
            negated: (Self::UNIT - 1).wrapping_sub(from << Self::BITS).wrapping_sub(rise),
            fall: rise.wrapping_mul(2),
        }
    }

    /// Height of a level above the threshold and less than a unit more, so that its whole units are those rounded up.
    #[inline]
    const fn height(&self, level: u32) -> i32 {
        (level << (LEVEL_BITS + Self::BITS)).cast_signed().wrapping_add(self.negated)
    }

    #[inline]
    const fn step(&mut self, pixels: u32) {
        self.negated = self.negated.wrapping_sub(self.fall.wrapping_mul(pixels.cast_signed()));
    }

    /// Takes the bright pixels that come first, and says how many they are; apart, for the sake of registers.
    #[inline(never)]
    fn take_bright<P: Lanes>(&mut self, levels: &[P], sums: &mut Sums) -> usize {
        // Copies, which the compiler keeps in registers.
        let (mut line, mut grown) = (*self, *sums);
        let mut pixels = 0usize;
        for level in levels {
            // A level of 0 is never bright. This third way out keeps the compiler from unrolling the loop, for which it would
            // need more registers than there are.
            let Some(level) = NonZeroU32::new(level.level()) else { break };
            let level = level.get();
            let height = line.height(level);
            if height < Self::UNIT {
                break;
            }
            line.step(1);
            grown.light = grown.light.wrapping_add((height >> Self::BITS).cast_unsigned());
            grown.first = grown.first.wrapping_add(grown.light);
            grown.second = grown.second.wrapping_add(grown.first);
            grown.height = grown.height.max(height);
            grown.peak = grown.peak.max(level);
            pixels = pixels.wrapping_add(1);
        }
        grown.pixels = grown.pixels.wrapping_add(pixels as u32);
        (*self, *sums) = (line, grown);
        pixels
    }

    /// Passes over the dark pixels that come first.
    #[inline]
    fn pass_dark<'p, P: Lanes>(&mut self, levels: &'p [P], lift: u32) -> &'p [P] {
        let mut rest = levels;
        loop {
            // Where words are read at aligned places only, the pixels are asked one by one.
            let word = if cfg!(dioptric_narrow_multiplier) { None } else { P::words(rest).next() };
            if let Some(word) = word {
                let suspects = suspects::<P>(word, lift);
                let dark = if suspects == 0 { P::LANES as u32 } else { P::lane_of(suspects.trailing_zeros()) };
                self.step(dark);
                rest = rest.get(dark as usize..).unwrap_or_default();
                if suspects == 0 {
                    continue;
                }
            }
            let Some((level, after)) = rest.split_first() else { return rest };
            if self.height(level.level()) >= Self::UNIT {
                return rest;
            }
            self.step(1);
            rest = after;
        }
    }
}
