//! From the rows of an image to spots, one row at a time: no frame is ever stored.
//!
//! A pixel is bright when it is above the threshold: the local background plus a margin. Bright pixels that touch, corners
//! included, are one blob; a blob is over as soon as a row does not touch it, and is then handed out or counted among the
//! rejected.
//!
//! The background is kept in tiles of 32 columns, each of which follows every eighth row by half of what it is off: lighting
//! may rise or fall by a quarter of the margin within 16 rows, and by half of it within 32 columns. A step of the lighting is one large blob until the tiles have followed: by 1/64 of the margin in eight rows.
//! Each tile takes the median of its pixels in the first row: a mark or spot there must cover less than half of a tile.
//!
//! The noise of a tile is twice the mean depth of its pixels below the background, which spots leave alone.
#![allow(
    clippy::cast_possible_truncation,
    clippy::integer_division,
    reason = "sizes and levels whose ranges are derived beside each step; divisors are constants or NonZero"
)]

mod background;
mod blob;
mod labels;
mod limits;
mod pixel;
mod quotient;
mod scan;

pub use background::Tile;
pub use blob::{FoundSpot, OpenBlob};
pub use labels::Run;
pub use limits::{Polarity, Rejected, SpotLimits};
pub use pixel::Pixel;

use background::Ground;
use blob::RunSums;
use core::fmt;
use labels::Labels;
use limits::{Measure, Reason, full_scale};
use pixel::{Packed, Scale, Strip, TILE, sealed::Lanes};
use scan::{Bright, Scan};

/// Why a frame cannot be searched.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum FinderError {
    /// The width is 0 or beyond [`SpotFinder::MOST_PIXELS`].
    WidthRange,
    /// The limits contradict each other or leave their range: [`SpotLimits`].
    LimitsRange,
    /// Fewer tiles than [`SpotFinder::tiles`] of the width.
    TooFewTiles,
    /// A row is not as wide as the finder.
    RowWidth,
    /// Rows of bytes while the limits say more than 8 bits.
    PixelBits,
    /// More rows than [`SpotFinder::MOST_PIXELS`].
    TooManyRows,
    /// A row has more runs of bright pixels than half the runs in the memory.
    TooManyRuns,
    /// More blobs are open at once than there are in the memory.
    TooManyBlobs,
    /// The frame ended before its first row.
    NoRows,
}

impl FinderError {
    /// More memory would have helped.
    #[must_use]
    pub const fn is_memory(self) -> bool {
        matches!(self, Self::TooFewTiles | Self::TooManyRuns | Self::TooManyBlobs)
    }
}

impl fmt::Display for FinderError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::WidthRange => "the width is out of range (1 to 4096 pixels)",
            Self::LimitsRange => "the limits are out of range: 8 to 16 bits, a margin, areas in order and to 32768",
            Self::TooFewTiles => "fewer tiles than the width needs",
            Self::RowWidth => "a row is not as wide as the frame",
            Self::PixelBits => "rows of bytes hold 8 bits, not more",
            Self::TooManyRows => "more rows than a frame may have (4096)",
            Self::TooManyRuns => "more runs of bright pixels in a row than the memory holds",
            Self::TooManyBlobs => "more open blobs than the memory holds",
            Self::NoRows => "the frame has no rows",
        })
    }
}

impl core::error::Error for FinderError {}

/// The memory that a finder works in. Its contents do not matter; more than is needed changes no result.
#[derive(Debug)]
pub struct FinderMemory<'a> {
    /// [`SpotFinder::tiles`] of the width, or more.
    pub tiles: &'a mut [Tile],
    /// Twice the most runs of bright pixels in a row: for any frame, the width and one more.
    pub runs: &'a mut [Run],
    /// As many as blobs may be open at once, those of one row and those that end with the row before: for any frame, the width
    /// and one more.
    pub blobs: &'a mut [OpenBlob],
}

/// Finds spots in the rows of a frame.
///
/// # Range
/// Up to [`SpotFinder::MOST_PIXELS`] columns and rows, 8 to 16 bits.
///
/// # Cost
/// 20 bytes of memory a tile of 32 columns, 6 a run, 72 an open blob.
///
/// ```
/// use dioptric::sensor::{FinderMemory, FoundSpot, OpenBlob, Run, SpotFinder, SpotLimits, Tile};
/// let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; 1], [Run::EMPTY; 8], [OpenBlob::EMPTY; 4]);
/// let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
/// let limits = SpotLimits { least_area: 4, ..SpotLimits::spots(8) };
/// let mut finder = SpotFinder::new(12, limits, memory)?;
/// let mut spots = Vec::new();
/// for row in [
///     [9u8, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9],
///     [9, 9, 9, 9, 90, 90, 9, 9, 9, 9, 9, 9],
///     [9, 9, 9, 9, 90, 90, 9, 9, 9, 90, 9, 9],
///     [9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9, 9],
/// ] {
///     finder.row(&row, |spot: FoundSpot| spots.push(spot))?;
/// }
/// let rejected = finder.finish(|spot| spots.push(spot))?;
/// assert_eq!(spots.len(), 1);
/// assert_eq!((spots[0].x, spots[0].y), (9 << 15, 3 << 15)); // 4.5, 1.5
/// assert_eq!(rejected.too_small, 1);
/// # Ok::<(), dioptric::sensor::FinderError>(())
/// ```
#[derive(Debug)]
pub struct SpotFinder<'a> {
    width: u16,
    /// Rows so far.
    rows: u16,
    ground: Ground<'a>,
    labels: Labels<'a>,
    rejected: Rejected,
    failed: Option<FinderError>,
    /// What [`Bright::of`] keeps from row to row: it changes no result.
    false_alarms: u32,
}

impl<'a> SpotFinder<'a> {
    /// Most columns, and most rows.
    pub const MOST_PIXELS: u16 = 4096;

    /// How many tiles a width needs.
    #[must_use]
    pub const fn tiles(width: u16) -> usize {
        let whole = width as usize / TILE;
        if whole == 0 { 1 } else { whole }
    }

    /// A finder for frames of a width.
    ///
    /// # Errors
    /// [`FinderError::WidthRange`], [`FinderError::LimitsRange`], [`FinderError::TooFewTiles`].
    pub fn new(width: u16, limits: SpotLimits, memory: FinderMemory<'a>) -> Result<Self, FinderError> {
        if width == 0 || width > Self::MOST_PIXELS {
            return Err(FinderError::WidthRange);
        }
        limits.check()?;
        let tiles = memory.tiles.get_mut(..Self::tiles(width)).ok_or(FinderError::TooFewTiles)?;
        let full = full_scale(limits.bits).into();
        let flip = if limits.polarity == Polarity::DarkOnBright { full } else { 0 };
        let labels = Labels::new(memory.runs, memory.blobs);
        Ok(Self {
            width,
            rows: 0,
            ground: Ground { tiles, scale: Scale { full, flip }, limits },
            labels,
            rejected: Rejected::default(),
            failed: None,
            false_alarms: 0,
        })
    }

    /// The limits.
    #[must_use]
    pub const fn limits(&self) -> &SpotLimits {
        &self.ground.limits
    }

    /// What was rejected so far in this frame.
    #[must_use]
    pub const fn rejected(&self) -> Rejected {
        self.rejected
    }

    /// Takes the next row, and hands out each spot that it does not touch any more: in the order in which they end, and of those that
    /// end together, first the one whose place in the memory comes first.
    ///
    /// # Errors
    /// [`FinderError::RowWidth`] and [`FinderError::PixelBits`]: the row is left out. [`FinderError::TooManyRows`],
    /// [`FinderError::TooManyRuns`], [`FinderError::TooManyBlobs`]: the frame is lost, and every further row says so until
    /// [`SpotFinder::restart`] or [`SpotFinder::finish`].
    pub fn row<P: Pixel>(&mut self, row: &[P], found: impl FnMut(FoundSpot)) -> Result<(), FinderError> {
        self.take(Some(row), found)
    }

    /// [`SpotFinder::row`] of pixels that are packed in words, four `u8` or two `u16`, the first in the lowest bits: as pixels
    /// lie in the memory of a little-endian core. What the last word holds beyond the width is not looked at.
    ///
    /// The spots are the same to the bit. A Cortex-M0 reads words at aligned places only, where a buffer for direct memory access
    /// lies: there a dark pixel costs less in words than by itself. A Cortex-M3 and later take either form alike.
    ///
    /// # Errors
    /// Those of [`SpotFinder::row`]; [`FinderError::RowWidth`] when the words are not just as many as the width fills.
    ///
    /// ```
    /// use dioptric::sensor::{FinderMemory, OpenBlob, Run, SpotFinder, SpotLimits, Tile};
    /// # let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; 1], [Run::EMPTY; 8], [OpenBlob::EMPTY; 4]);
    /// # let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
    /// let limits = SpotLimits { least_area: 1, ..SpotLimits::spots(8) };
    /// let mut finder = SpotFinder::new(6, limits, memory)?;
    /// let dark = [0x0909_0909, 0x0909];
    /// let mut places = Vec::new();
    /// for words in [dark, [0x5a09_0909, 0x0909], dark] {
    ///     finder.packed_row::<u8>(&words, |spot| places.push((spot.x >> 16, spot.y >> 16)))?;
    /// }
    /// assert_eq!(places, [(3, 1)]);
    /// # Ok::<(), dioptric::sensor::FinderError>(())
    /// ```
    pub fn packed_row<P: Pixel>(&mut self, words: &[u32], found: impl FnMut(FoundSpot)) -> Result<(), FinderError> {
        self.take(Packed::<P>::new(words, self.width.into()), found)
    }

    fn take<S: Strip>(&mut self, row: Option<S>, mut found: impl FnMut(FoundSpot)) -> Result<(), FinderError> {
        if let Some(error) = self.failed {
            return Err(error);
        }
        let row = row.filter(|row| row.count() == usize::from(self.width)).ok_or(FinderError::RowWidth)?;
        if S::Pixel::BITS < self.ground.limits.bits {
            return Err(FinderError::PixelBits);
        }
        let bright = match self.label(row) {
            Ok(bright) => bright,
            Err(error) => {
                self.failed = Some(error);
                return Err(error);
            }
        };
        self.ground.follow(row, self.rows, &bright);
        if self.labels.is_any_open() {
            let judge = Judge { limits: &self.ground.limits, width: self.width };
            let rejected = &mut self.rejected;
            self.labels.end_row(self.rows, |blob| judge.settle(blob, false, rejected, &mut found));
        }
        self.rows = self.rows.wrapping_add(1);
        Ok(())
    }

    /// Finds the runs of bright pixels and labels them.
    fn label<S: Strip>(&mut self, row: S) -> Result<Bright, FinderError> {
        if self.rows >= Self::MOST_PIXELS {
            return Err(FinderError::TooManyRows);
        }
        if self.rows == 0 {
            self.ground.start(row);
        }
        let (tiles, labels, scale) = (&*self.ground.tiles, &mut self.labels, self.ground.scale);
        let bright = Bright::of(tiles, row, scale, &mut self.false_alarms);
        if bright.is_none() && row.count().is_multiple_of(TILE) {
            return Ok(bright);
        }
        let scan = Scan { y: self.rows, scale, tiles, labels, bright, run: RunSums::NONE };
        scan.row(row)
    }

    /// Ends the frame: hands out the spots that are left, says what was rejected, and is ready for the next frame.
    ///
    /// # Errors
    /// [`FinderError::NoRows`], and what lost the frame.
    pub fn finish(&mut self, mut found: impl FnMut(FoundSpot)) -> Result<Rejected, FinderError> {
        let failed = self.failed.or(if self.rows == 0 { Some(FinderError::NoRows) } else { None });
        if failed.is_none() {
            let judge = Judge { limits: &self.ground.limits, width: self.width };
            let rejected = &mut self.rejected;
            self.labels.end_frame(|blob| judge.settle(blob, true, rejected, &mut found));
        }
        let rejected = self.rejected;
        self.restart();
        failed.map_or(Ok(rejected), Err)
    }

    /// Forgets the frame so far.
    pub fn restart(&mut self) {
        self.labels.clear();
        self.rejected = Rejected::default();
        self.failed = None;
        self.rows = 0;
    }
}

/// Who says whether a blob is a spot.
struct Judge<'a> {
    limits: &'a SpotLimits,
    width: u16,
}

impl Judge<'_> {
    /// `last`: the blob is not followed by a row, since the frame ends.
    fn settle(&self, blob: &OpenBlob, last: bool, rejected: &mut Rejected, found: &mut impl FnMut(FoundSpot)) {
        let ends_columns = blob.left == 0 || blob.right >= self.width.wrapping_sub(1);
        let measure = Measure {
            area: blob.area,
            height: blob.whole_height(),
            saturated: blob.peak >= self.limits.saturation.into(),
            clipped: last || blob.top == 0 || ends_columns,
        };
        if let Some(reason) = self.limits.reason(&measure) {
            rejected.count(reason);
            return;
        }
        match blob.spot(measure.saturated) {
            Some(spot) if spot.elongation <= self.limits.most_elongation => found(spot),
            Some(_) => rejected.count(Reason::Elongated),
            None => rejected.count(Reason::TooDim),
        }
    }
}
