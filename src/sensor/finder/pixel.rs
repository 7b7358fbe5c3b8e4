//! Pixels of 8 and of 10 to 16 bits, and the one question that most of them are asked: is any of these bright?
//!
//! They are asked a word at a time, in lanes: four pixels of 8 bits or two of 16, the first in the lowest.

use core::marker::PhantomData;
use sealed::Lanes;

/// A pixel as the sensor delivers it: `u8`, or `u16` for 10, 12 and up to 16 bits.
pub trait Pixel: sealed::Lanes {}

impl Pixel for u8 {}
impl Pixel for u16 {}

pub(super) mod sealed {
    /// How a type of pixel lies in a word.
    pub trait Lanes: Copy {
        /// Bits of a lane.
        const BITS: u8;
        /// Lanes of a word.
        const LANES: usize;
        /// The lowest bit of every lane.
        const EACH: u32;
        /// The highest.
        const TOP: u32;
        /// All bits of the lowest.
        const LANE: u32;
        /// Pixels whose sums are taken together.
        const PIECE: usize;
        /// A pixel of level 0.
        const ZERO: Self;
        /// The lane that a bit of a word is in.
        fn lane_of(bit: u32) -> u32;
        /// As a number.
        fn level(self) -> u32;
        /// The words of whole groups of pixels, the first pixel lowest.
        fn words(pixels: &[Self]) -> impl Iterator<Item = u32>;
        /// A level, which is not beyond what the type holds.
        fn of_level(level: u32) -> Self;
        /// The pixels of a word into a group of as many.
        fn unpack(word: u32, group: &mut [Self]);
        /// Sum of the lanes of up to 16 words.
        fn sum(words: impl Iterator<Item = u32>) -> u32;

        /// Of the lanes of up to 16 words that are below `bound`, the sum of what they lack to `bound - 1`, and their number.
        ///
        /// Range: lanes without their top bit; `bound` from 1, and its lanes without it too.
        #[inline]
        fn lacks(words: impl Iterator<Item = u32>, bound: u32) -> (u32, u32) {
            let start = bound.wrapping_sub(1).wrapping_mul(Self::EACH) | Self::TOP;
            let mut count = 0u32;
            let lacks = words.map(|word| {
                // The top bit stays where the lane is below the bound; none borrows from the next.
                let left = start.wrapping_sub(word);
                let below = left & Self::TOP;
                let below_each = below >> (Self::BITS.wrapping_sub(1) & 31);
                count = count.wrapping_add(below_each);
                left & below.wrapping_sub(below_each)
            });
            let sum = Self::sum(lacks);
            // The top lane of the product is the sum of all.
            (sum, count.wrapping_mul(Self::EACH) >> (32u8.wrapping_sub(Self::BITS) & 31))
        }
    }
}

impl Lanes for u8 {
    const BITS: u8 = 8;
    const LANES: usize = 4;
    const EACH: u32 = 0x0101_0101;
    const TOP: u32 = 0x8080_8080;
    const LANE: u32 = 0xff;
    const PIECE: usize = 16;
    const ZERO: Self = 0;

    #[inline]
    fn lane_of(bit: u32) -> u32 {
        bit >> 3
    }

    #[inline]
    fn level(self) -> u32 {
        self.into()
    }

    #[inline]
    fn words(pixels: &[Self]) -> impl Iterator<Item = u32> {
        pixels.chunks_exact(4).map(|group| group.try_into().map_or(0, u32::from_le_bytes))
    }

    #[inline]
    fn of_level(level: u32) -> Self {
        level as Self
    }

    #[inline]
    fn unpack(word: u32, group: &mut [Self]) {
        if let Some(group) = group.first_chunk_mut() {
            *group = word.to_le_bytes();
        }
    }

    #[inline]
    fn sum(words: impl Iterator<Item = u32>) -> u32 {
        // Lanes 0 and 2, apart; and lanes 1, 2 and 3, of which the sum of lane 2 is known. Sums of lanes below 2^12.
        let add = |(even, shifted): (u32, u32), word: u32| {
            (even.wrapping_add(word & 0x00ff_00ff), shifted.wrapping_add(word >> 8))
        };
        let (even, shifted) = words.fold((0, 0), add);
        let odd = shifted.wrapping_sub(even >> 16 << 8);
        let halves = even.wrapping_add(odd);
        (halves & 0xffff).wrapping_add(halves >> 16)
    }
}

impl Lanes for u16 {
    const BITS: u8 = 16;
    const LANES: usize = 2;
    const EACH: u32 = 0x0001_0001;
    const TOP: u32 = 0x8000_8000;
    const LANE: u32 = 0xffff;
    const PIECE: usize = 8;
    const ZERO: Self = 0;

    #[inline]
    fn lane_of(bit: u32) -> u32 {
        bit >> 4
    }

    #[inline]
    fn level(self) -> u32 {
        self.into()
    }

    #[inline]
    fn words(pixels: &[Self]) -> impl Iterator<Item = u32> {
        let word = |[low, high]: [Self; 2]| u32::from(low) | u32::from(high) << 16;
        pixels.chunks_exact(2).map(move |group| group.try_into().map_or(0, word))
    }

    #[inline]
    fn of_level(level: u32) -> Self {
        level as Self
    }

    #[inline]
    fn unpack(word: u32, group: &mut [Self]) {
        if let Some(group) = group.first_chunk_mut() {
            *group = [word as Self, (word >> 16) as Self];
        }
    }

    #[inline]
    fn sum(words: impl Iterator<Item = u32>) -> u32 {
        words.fold(0, |sum, word| sum.wrapping_add(word & 0xffff).wrapping_add(word >> 16))
    }
}

/// How the levels of a frame are read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Scale {
    /// Full scale.
    pub(super) full: u32,
    /// What turns a level into its depth below full scale; 0 where light is looked for.
    pub(super) flip: u32,
}

impl Scale {
    /// A pixel's level, or its depth below full scale; a level beyond full scale counts as that.
    #[inline]
    fn level(self, raw: u32) -> u32 {
        raw.min(self.full) ^ self.flip
    }

    /// The levels of pixels in their place.
    #[inline]
    fn turn<P: Lanes>(self, pixels: &mut [P]) {
        // Bytes are not beyond full scale.
        if P::BITS > 8 || self.flip != 0 {
            self.turn_each(pixels);
        }
    }

    #[inline(never)]
    fn turn_each<P: Lanes>(self, pixels: &mut [P]) {
        for pixel in pixels {
            *pixel = P::of_level(self.level(pixel.level()));
        }
    }

    /// What turns the levels of a word: all bits of pixels of 8 bits, or full scale in each lane.
    #[inline]
    pub(super) const fn flips<P: Lanes>(self) -> u32 {
        if self.flip == 0 {
            0
        } else if P::BITS == 8 {
            u32::MAX
        } else {
            self.flip.wrapping_mul(P::EACH)
        }
    }
}

/// Pixels of a tile; the last takes what is left over, up to 63.
pub(super) const TILE: usize = 1 << TILE_BITS;
pub(super) const TILE_BITS: u32 = 5;
/// The threshold is a straight line over so many.
pub(super) const HALF_TILE: usize = TILE / 2;

/// A row's pixels.
pub(super) trait Strip: Copy {
    type Pixel: Lanes;
    /// A whole tile.
    type Whole: Words<Pixel = Self::Pixel>;

    /// How many pixels.
    fn count(self) -> usize;

    /// The whole tiles.
    fn tiles(self) -> impl Iterator<Item = Self::Whole>;

    /// One of them.
    fn tile(self, at: usize) -> Option<Self::Whole>;

    /// The levels of the pixels beyond the whole tiles, below [`TILE`].
    fn rest(self, scale: Scale, buffer: &mut [Self::Pixel; TILE]) -> &[Self::Pixel];
}

/// A whole tile, which is read as words.
pub(super) trait Words: Copy {
    type Pixel: Lanes;

    /// Whether its words are as quickly read as its pixels.
    const IN_WORDS: bool = true;

    fn words(self) -> impl Iterator<Item = u32>;

    /// The levels of the pixels.
    fn levels<'b>(self, scale: Scale, buffer: &'b mut [Self::Pixel; TILE]) -> &'b [Self::Pixel]
    where
        Self: 'b;

    /// Whether the union of all levels is above the floor of a lift; `turn` makes depths below full scale of the levels of a word.
    ///
    /// It is at least each of them: where it is not, no pixel is.
    #[inline]
    fn may_be_bright(self, lift: u32, turn: impl Fn(u32) -> u32) -> bool {
        suspects::<Self::Pixel>(self.words().fold(0, |union, word| union | turn(word)), lift) != 0
    }

    /// Whether a pixel is above the floor of a lift.
    #[inline]
    fn is_bright(self, lift: u32, turn: impl Fn(u32) -> u32) -> bool {
        let reach = |reached: u32, word: u32| reached | word | word.wrapping_add(lift);
        self.words().map(turn).fold(0, reach) & Self::Pixel::TOP != 0
    }

    /// Sum of the levels, as the sensor gives them.
    #[inline]
    fn sum(self) -> u32 {
        Self::Pixel::sum(self.words())
    }
}

impl<'a, P: Lanes> Strip for &'a [P] {
    type Pixel = P;
    type Whole = &'a [P; TILE];

    #[inline]
    fn count(self) -> usize {
        self.len()
    }

    #[inline]
    fn tiles(self) -> impl Iterator<Item = Self::Whole> {
        self.chunks_exact(TILE).filter_map(|tile| tile.first_chunk())
    }

    #[inline]
    fn tile(self, at: usize) -> Option<Self::Whole> {
        self.get(at.wrapping_mul(TILE)..)?.first_chunk()
    }

    fn rest(self, scale: Scale, buffer: &mut [P; TILE]) -> &[P] {
        let rest = self.chunks_exact(TILE).remainder();
        let (levels, _) = buffer.split_at_mut_checked(rest.len()).unwrap_or_default();
        levels.copy_from_slice(rest);
        scale.turn(levels);
        levels
    }
}

impl<P: Lanes> Words for &[P; TILE] {
    type Pixel = P;
    const IN_WORDS: bool = cfg!(not(dioptric_narrow_multiplier));

    #[inline]
    fn words(self) -> impl Iterator<Item = u32> {
        P::words(self)
    }

    #[inline]
    fn levels<'b>(self, scale: Scale, buffer: &'b mut [P; TILE]) -> &'b [P]
    where
        Self: 'b,
    {
        if P::BITS == 8 && scale.flip == 0 {
            return self;
        }
        *buffer = *self;
        scale.turn(buffer);
        buffer
    }

    /// Where words are read at aligned places only, one by one.
    #[cfg(dioptric_narrow_multiplier)]
    #[inline]
    fn is_bright(self, lift: u32, turn: impl Fn(u32) -> u32) -> bool {
        let reach = |reached: u32, pixel: &P| reached | (turn(pixel.level()) & P::LANE).wrapping_add(lift & P::LANE);
        self.iter().fold(0, reach) > P::LANE >> 1
    }

    #[cfg(dioptric_narrow_multiplier)]
    #[inline]
    fn sum(self) -> u32 {
        self.iter().fold(0, |sum, pixel| sum.wrapping_add(pixel.level()))
    }
}

/// Pixels as they lie in the words of a little-endian memory.
#[derive(Debug)]
pub(super) struct Packed<'a, P> {
    /// As many as the pixels fill, the last perhaps in part.
    words: &'a [u32],
    count: usize,
    pixel: PhantomData<P>,
}

impl<P> Clone for Packed<'_, P> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<P> Copy for Packed<'_, P> {}

impl<'a, P: Lanes> Packed<'a, P> {
    const TILE_WORDS: usize = TILE / P::LANES;

    /// So many pixels in just as many words as they need, otherwise nothing.
    pub(super) fn new(words: &'a [u32], count: usize) -> Option<Self> {
        (words.len() == count.div_ceil(P::LANES)).then_some(Self { words, count, pixel: PhantomData })
    }
}

impl<'a, P: Lanes> Strip for Packed<'a, P> {
    type Pixel = P;
    type Whole = PackedTile<'a, P>;

    #[inline]
    fn count(self) -> usize {
        self.count
    }

    #[inline]
    fn tiles(self) -> impl Iterator<Item = Self::Whole> {
        let whole = (self.count >> TILE_BITS).wrapping_mul(Self::TILE_WORDS);
        let words = self.words.get(..whole).unwrap_or_default();
        words.chunks_exact(Self::TILE_WORDS).map(|words| PackedTile { words, pixel: PhantomData })
    }

    #[inline]
    fn tile(self, at: usize) -> Option<Self::Whole> {
        let from = at.wrapping_mul(Self::TILE_WORDS);
        let words = self.words.get(from..)?.get(..Self::TILE_WORDS).filter(|_| at < self.count >> TILE_BITS)?;
        Some(PackedTile { words, pixel: PhantomData })
    }

    fn rest(self, scale: Scale, buffer: &mut [P; TILE]) -> &[P] {
        let whole = (self.count >> TILE_BITS).wrapping_mul(Self::TILE_WORDS);
        for (group, &word) in buffer.chunks_exact_mut(P::LANES).zip(self.words.get(whole..).unwrap_or_default()) {
            P::unpack(word, group);
        }
        let (levels, _) = buffer.split_at_mut_checked(self.count % TILE).unwrap_or_default();
        scale.turn(levels);
        levels
    }
}

/// A whole tile of [`Packed`] pixels.
#[derive(Debug)]
pub(super) struct PackedTile<'a, P> {
    words: &'a [u32],
    pixel: PhantomData<P>,
}

impl<P> Clone for PackedTile<'_, P> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<P> Copy for PackedTile<'_, P> {}

impl<P: Lanes> Words for PackedTile<'_, P> {
    type Pixel = P;

    #[inline]
    fn words(self) -> impl Iterator<Item = u32> {
        self.words.iter().copied()
    }

    #[inline]
    fn levels<'b>(self, scale: Scale, buffer: &'b mut [P; TILE]) -> &'b [P]
    where
        Self: 'b,
    {
        for (group, &word) in buffer.chunks_exact_mut(P::LANES).zip(self.words) {
            P::unpack(word, group);
        }
        scale.turn(buffer);
        buffer
    }
}

/// Adds to each lane what lifts it into its top bit when it is above `floor`.
///
/// A floor with the top bit has no such lift: of it that of 0 is taken, which says "bright" too often.
pub(super) fn lift<P: Lanes>(floor: u32) -> u32 {
    let most = P::LANE >> 1;
    let reach = most.checked_sub(floor).unwrap_or(most);
    reach.wrapping_mul(P::EACH)
}

/// The top bits of the lanes that may be above the floor of their lift: none when none is, and the lowest is right.
///
/// A lane without the top bit does not spill into the next: it is below 2^7, and so is its lift, or 2^15 both. One with the
/// top bit is bright in itself, whatever those after it come to.
#[inline]
pub(super) const fn suspects<P: Lanes>(word: u32, lift: u32) -> u32 {
    (word | word.wrapping_add(lift)) & P::TOP
}

#[cfg(test)]
mod tests {
    use super::{Lanes, Packed, Scale, Strip, TILE, Words, lift, suspects};

    /// A tile whose pixels are `quiet` but for one.
    fn tile<P: Lanes>(quiet: P, at: usize, pixel: P) -> [P; TILE] {
        core::array::from_fn(|place| if place == at { pixel } else { quiet })
    }

    fn packed<P: Lanes>(pixels: &[P; TILE], words: &mut [u32; TILE]) -> usize {
        words.iter_mut().zip(P::words(pixels)).map(|(place, word)| *place = word).count()
    }

    /// Every level against every floor, on a ground that is the floor itself: nothing spills from lane to lane.
    fn each_is_compared<P: Lanes>(levels: impl Iterator<Item = u32> + Clone, full: u32) {
        for floor in levels.clone().filter(|&floor| floor <= P::LANE >> 1) {
            for level in levels.clone() {
                for (at, flip) in [(0, 0), (1, full), (2, 0), (3, full), (30, 0), (31, full)] {
                    let scale = Scale { full, flip };
                    let flips = scale.flips::<P>();
                    let pixels = tile(P::of_level(floor ^ flip), at, P::of_level(level ^ flip));
                    let mut words = [0; TILE];
                    let count = packed(&pixels, &mut words);
                    let whole = words.get(..count).and_then(|words| Packed::<P>::new(words, TILE)?.tile(0));
                    let bright = level > floor;
                    let lift = lift::<P>(floor);
                    let turn = |word| word ^ flips;
                    assert_eq!((&pixels).is_bright(lift, turn), bright, "{level} {floor} {at}");
                    assert_eq!(whole.map(|tile| tile.is_bright(lift, turn)), Some(bright), "{level} {floor} {at}");
                    assert!((&pixels).may_be_bright(lift, turn) || !bright, "{level} {floor} {at}");
                    let first = (&pixels).words().find_map(|word| match suspects::<P>(word ^ flips, lift) {
                        0 => None,
                        bits => Some(P::lane_of(bits.trailing_zeros()) as usize),
                    });
                    assert_eq!(first, bright.then_some(at & P::LANES.wrapping_sub(1)), "{level} {floor} {at}");
                }
            }
        }
    }

    #[test]
    fn pixels_are_compared_in_lanes() {
        each_is_compared::<u8>(0..=255, 255);
        let edges = [0, 1, 2, 255, 256, 1000, 4095, 32_766, 32_767, 32_768, 32_769, 65_534, 65_535];
        each_is_compared::<u16>(edges.into_iter(), 65_535);
    }

    #[test]
    fn sums_and_lacks_are_those_of_the_pixels() {
        let mut state = 1u32;
        for _ in 0..20_000 {
            let mut next = || {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                state >> 24
            };
            let bytes: [u8; TILE] = core::array::from_fn(|_| next() as u8);
            let exact: u32 = bytes.iter().map(|&byte| u32::from(byte)).sum();
            assert_eq!((&bytes).sum(), exact);
            let words: [u16; TILE] = bytes.map(|byte| u16::from(byte) << 8 | 255);
            assert_eq!((&words).sum(), exact * 256 + 255 * 32);
            let (halves, bound) = (bytes.map(|byte| byte & 127), 1 + next() % 128);
            let below = halves.iter().map(|&byte| u32::from(byte)).filter(|&level| level < bound);
            let lacks = (below.clone().map(|level| bound - 1 - level).sum::<u32>(), below.count() as u32);
            assert_eq!(u8::lacks((&halves).words(), bound), lacks, "{halves:?} {bound}");
        }
        assert_eq!((&[255u8; TILE]).sum(), 255 * 32);
        assert_eq!((&[u16::MAX; TILE]).sum(), 65_535 * 32);
    }
}
