//! Where the holes of the plate are.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "indices and lengths whose ranges are derived beside each step"
)]

use super::assign::{Basis, Step};
use crate::math;
use crate::quantity::{Degree, Millimetre, Point};
use core::fmt;
use core::ops::RangeInclusive;

/// How the holes lie.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LatticeKind {
    /// The second direction stands 90 degrees from the first: four neighbours.
    #[default]
    Square,
    /// The second direction stands 60 degrees from the first: six neighbours.
    Hexagonal,
}

/// A hole by its index: so many pitches along the first and the second direction.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Hole {
    /// Along the first direction.
    pub i: i8,
    /// Along the second direction.
    pub j: i8,
}

impl Hole {
    /// A hole from its index.
    #[must_use]
    pub const fn new(i: i8, j: i8) -> Self {
        Self { i, j }
    }

    /// Moved by another index; each component saturates.
    #[must_use]
    pub const fn moved(self, by: Self) -> Self {
        Self { i: self.i.saturating_add(by.i), j: self.j.saturating_add(by.j) }
    }
}

/// The plate as drawn: a disc of a lattice.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Plate {
    /// How the holes lie.
    pub kind: LatticeKind,
    /// Distance of neighbours: 0.05 to 8 mm.
    pub pitch: Millimetre,
    /// Place of the hole 0, 0.
    pub origin: Point,
    /// From x to the first direction, counter-clockwise.
    pub rotation: Degree,
    /// Centre of the disc.
    pub centre: Point,
    /// Radius of the disc: a hole exists when its centre is within it, 4 units (60 nm) of slack included.
    pub radius: Millimetre,
    /// A hole larger than the others, hence brighter by half or more: it says which hole is which when many spots are missing.
    pub marker: Option<Hole>,
}

/// Why a plate is none.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LatticeError {
    /// The pitch is out of range: 0.05 to 8 mm.
    PitchRange,
    /// The rotation is beyond 360 degrees.
    RotationRange,
    /// A hole lies beyond 16 mm.
    PlaceRange,
    /// A hole's index is beyond [`Lattice::MOST_INDEX`].
    IndexRange,
    /// Fewer holes than [`Lattice::LEAST_HOLES`].
    TooFewHoles,
    /// The marker is none of the holes.
    NoSuchMarker,
}

impl fmt::Display for LatticeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::PitchRange => "the pitch is out of range (0.05 to 8 mm)",
            Self::RotationRange => "the plate's rotation is out of range (360 degrees)",
            Self::PlaceRange => "a hole is out of range (16 mm)",
            Self::IndexRange => "the disc holds more than 14 holes on a side of hole 0, 0",
            Self::TooFewHoles => "the plate has fewer than 7 holes",
            Self::NoSuchMarker => "the marker is none of the holes",
        })
    }
}

impl core::error::Error for LatticeError {}

/// Holes side by side along the first direction: a disc holds no gap.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
struct Row {
    first: i8,
    count: u8,
    /// Number of the first one.
    start: u16,
}

/// Rows of indices from `-MOST_INDEX` to `MOST_INDEX`.
const ROWS: usize = 29;

/// Units of the directions: 2^-24 mm; eight bits below [`Millimetre`]'s, so that 14 pitches keep their place within a unit.
const EXTRA_BITS: u32 = 8;

/// What a component of an index may be.
const INDICES: RangeInclusive<i8> = -Lattice::MOST_INDEX..=Lattice::MOST_INDEX;

/// Columns of cells that no hole needs: a search steps over a missing hole, two beyond the plate's edge.
const FREE_COLUMNS: i8 = 3;

/// Slack of the disc's radius, in units of 2^-16 mm.
const SLACK: i64 = 4;

/// The holes of a plate, each with an index and a number: row by row, along the first direction.
///
/// # Cost
/// About 190 bytes.
///
/// ```
/// use dioptric::{degrees, millimetres, quantity::{Degree, Point}, sensor::{Hole, Lattice, LatticeKind, Plate}};
/// let plate = Plate {
///     kind: LatticeKind::Square,
///     pitch: millimetres!(0.55),
///     origin: Point::ORIGIN,
///     rotation: degrees!(0.0),
///     centre: Point::ORIGIN,
///     radius: millimetres!(3.3),
///     marker: Some(Hole::new(1, 0)),
/// };
/// let lattice = Lattice::new(plate)?;
/// assert_eq!(lattice.count(), 113);
/// assert_eq!(lattice.place(Hole::new(0, -2)), Point::new(millimetres!(0.0), millimetres!(-1.1)));
/// # Ok::<(), dioptric::sensor::LatticeError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(try_from = "Plate", into = "Plate"))]
pub struct Lattice {
    plate: Plate,
    /// The two directions, a pitch long, 2^-24 mm.
    first: [i32; 2],
    second: [i32; 2],
    rows: [Row; ROWS],
    count: u16,
}

impl TryFrom<Plate> for Lattice {
    type Error = LatticeError;
    fn try_from(plate: Plate) -> Result<Self, LatticeError> {
        Self::new(plate)
    }
}

impl From<Lattice> for Plate {
    fn from(lattice: Lattice) -> Self {
        lattice.plate
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Lattice {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{} holes of {}", self.count, self.plate);
    }
}

/// A turn of a sixth, a quarter.
const SIXTH: u32 = 715_827_883;
const QUARTER: u32 = 1 << 30;

/// A rotation as a turn of 2^32, to half a unit of 2^-32: it wraps.
fn turn(rotation: Degree) -> u32 {
    // 2^32 / 360 over 2^20 is 2^9 / 45 = 11.38; the rotation is below 2^29.
    let scaled = i64::from(rotation.to_bits()) << 9;
    math::div_round(scaled, const { core::num::NonZeroU64::new(45).unwrap() }) as u32
}

/// A length times a cosine or sine, Q1.30, in 2^-24 mm. Lengths below 2^19: products below 2^49.
fn component(length: Millimetre, ratio: i32) -> i32 {
    math::saturate(math::shift_round(i64::from(length.to_bits()).wrapping_mul(ratio.into()), 30 - EXTRA_BITS))
}

/// Whether nodes of an unturned lattice lie in the disc: in half units, so that half a pitch is exact.
struct Extent {
    pitch: i64,
    /// Height of a row, Q30 of the pitch.
    height: i64,
    /// What a row is shifted by, in half pitches.
    shift: i64,
    centre: [i64; 2],
    square: i64,
}

impl Extent {
    fn of(plate: &Plate) -> Self {
        let (cos, sin) = math::cos_sin(turn(plate.rotation));
        let off = plate.centre - plate.origin;
        // Into the lattice's own frame: lengths below 2^22, products below 2^52; doubled by one bit less.
        let turned = |a: Millimetre, c: i32, b: Millimetre, s: i32| {
            let sum = i64::from(a.to_bits())
                .wrapping_mul(c.into())
                .wrapping_add(i64::from(b.to_bits()).wrapping_mul(s.into()));
            math::shift_round(sum, 29)
        };
        let reach = i64::from(plate.radius.to_bits()).wrapping_add(SLACK).wrapping_mul(2);
        let (height, shift) = match plate.kind {
            LatticeKind::Square => (1 << 30, 0),
            LatticeKind::Hexagonal => (i64::from(math::cos_sin(SIXTH).1), 1),
        };
        Self {
            pitch: plate.pitch.to_bits().into(),
            height,
            shift,
            centre: [turned(off.x, cos, off.y, sin), turned(off.y, cos, off.x, sin.wrapping_neg())],
            square: reach.wrapping_mul(reach),
        }
    }

    /// Pitch below 2^19, indices to 15: 2^24 in half units, and 2^23 of the centre; squares below 2^50.
    fn contains(&self, hole: Hole) -> bool {
        let (i, j) = (i64::from(hole.i), i64::from(hole.j));
        let x = i.wrapping_mul(2).wrapping_add(j.wrapping_mul(self.shift)).wrapping_mul(self.pitch);
        let y = math::shift_round(j.wrapping_mul(self.pitch).wrapping_mul(self.height), 29);
        let [dx, dy] = [x.wrapping_sub(self.centre[0]), y.wrapping_sub(self.centre[1])];
        dx.wrapping_mul(dx).wrapping_add(dy.wrapping_mul(dy)) <= self.square
    }

    /// The holes of a row.
    fn row(&self, j: i8) -> Row {
        let mut row = Row::default();
        for i in -BEYOND..=BEYOND {
            if self.contains(Hole { i, j }) {
                if row.count == 0 {
                    row.first = i;
                }
                row.count = row.count.saturating_add(1);
            }
        }
        row
    }
}

/// One more than an index may be: there a hole must not be.
const BEYOND: i8 = Lattice::MOST_INDEX + 1;

impl Lattice {
    /// Largest component of an index, either sign.
    pub const MOST_INDEX: i8 = 14;
    /// Fewest holes of a plate.
    pub const LEAST_HOLES: u16 = 7;
    /// Narrowest pitch.
    pub const LEAST_PITCH: Millimetre = millimetres!(0.05);
    /// Widest pitch.
    pub const MOST_PITCH: Millimetre = millimetres!(8.0);
    /// Farthest that a hole may be from the sensor's axis, in either coordinate.
    pub const MOST_PLACE: Millimetre = millimetres!(16.0);

    /// The lattice of a plate.
    ///
    /// # Errors
    /// [`LatticeError`]; it says which part of the plate is at fault.
    #[inline(never)]
    pub fn new(plate: Plate) -> Result<Self, LatticeError> {
        const WHOLE: Degree = degrees!(360.0);
        if plate.pitch < Self::LEAST_PITCH || plate.pitch > Self::MOST_PITCH {
            return Err(LatticeError::PitchRange);
        }
        if plate.rotation.abs() > WHOLE {
            return Err(LatticeError::RotationRange);
        }
        let is_far = |point: Point| point.x.abs() > Self::MOST_PLACE || point.y.abs() > Self::MOST_PLACE;
        if is_far(plate.origin) || is_far(plate.centre) || plate.radius > Self::MOST_PLACE {
            return Err(LatticeError::PlaceRange);
        }
        if plate.radius < Millimetre::ZERO {
            return Err(LatticeError::TooFewHoles);
        }
        let first_turn = turn(plate.rotation);
        let second_turn = first_turn.wrapping_add(match plate.kind {
            LatticeKind::Square => QUARTER,
            LatticeKind::Hexagonal => SIXTH,
        });
        let direction = |turn: u32| {
            let (cos, sin) = math::cos_sin(turn);
            [component(plate.pitch, cos), component(plate.pitch, sin)]
        };
        let (rows, count) = rows(&plate)?;
        let lattice = Self { plate, first: direction(first_turn), second: direction(second_turn), rows, count };
        if lattice.holes().any(|hole| is_far(lattice.place(hole))) {
            return Err(LatticeError::PlaceRange);
        }
        if plate.marker.is_some_and(|marker| !lattice.contains(marker)) {
            return Err(LatticeError::NoSuchMarker);
        }
        Ok(lattice)
    }

    /// The plate as drawn.
    #[must_use]
    pub const fn plate(&self) -> &Plate {
        &self.plate
    }

    /// How many holes there are.
    #[must_use]
    pub const fn count(&self) -> u16 {
        self.count
    }

    fn row(&self, j: i8) -> Option<&Row> {
        self.rows.get(usize::from(j.wrapping_add(Self::MOST_INDEX) as u8))
    }

    /// Whether there is a hole.
    #[must_use]
    pub fn contains(&self, hole: Hole) -> bool {
        self.number(hole).is_some()
    }

    /// The number of a hole, from 0 on, below [`Lattice::count`].
    #[must_use]
    pub fn number(&self, hole: Hole) -> Option<u16> {
        let row = self.row(hole.j)?;
        let along = hole.i.wrapping_sub(row.first) as u8;
        if along < row.count { Some(row.start.wrapping_add(along.into())) } else { None }
    }

    /// The hole of a number.
    #[must_use]
    pub fn hole(&self, number: u16) -> Option<Hole> {
        for (row, j) in self.rows.iter().zip(INDICES) {
            let along = number.wrapping_sub(row.start);
            if along < row.count.into() {
                return Some(Hole { i: row.first.wrapping_add((along as u8).cast_signed()), j });
            }
        }
        None
    }

    /// All holes, by their numbers.
    pub fn holes(&self) -> impl Iterator<Item = Hole> + '_ {
        let of_row = |(row, j): (&Row, i8)| {
            let first = row.first;
            (0..row.count).map(move |along| Hole { i: first.wrapping_add(along.cast_signed()), j })
        };
        self.rows.iter().zip(INDICES).flat_map(of_row)
    }

    /// Which columns of a row are holes: bit `i mod 32` for index `i`.
    pub(super) fn columns(&self, j: i8) -> u32 {
        let row = self.row(j).copied().unwrap_or_default();
        (1u32.wrapping_shl(row.count.into()).wrapping_sub(1)).rotate_left(u32::from(row.first as u8) & 31)
    }

    /// The place of an index, hole or not.
    ///
    /// # Accuracy
    /// Within one unit, 15 nm, plus half of what the pitch's last unit is times the index.
    #[must_use]
    #[inline(never)]
    pub fn place(&self, hole: Hole) -> Point {
        let coordinate = |origin: Millimetre, first: i32, second: i32| {
            let off = i64::from(first)
                .wrapping_mul(hole.i.into())
                .wrapping_add(i64::from(second).wrapping_mul(hole.j.into()));
            origin + Millimetre::from_bits(math::saturate(math::shift_round(off, EXTRA_BITS)))
        };
        let Self { first: [fx, fy], second: [sx, sy], plate: Plate { origin, .. }, .. } = *self;
        Point::new(coordinate(origin.x, fx, sx), coordinate(origin.y, fy, sy))
    }

    /// The hole nearest to a place; none when the nearest node of the lattice is no hole.
    ///
    /// # Range
    /// Places to 128 mm from the origin; farther ones are near no hole.
    #[must_use]
    #[inline(never)]
    pub fn nearest(&self, place: Point) -> Option<Hole> {
        const FAR: Millimetre = millimetres!(128.0);
        let off = place - self.plate.origin;
        if off.x.abs() > FAR || off.y.abs() > FAR {
            return None;
        }
        let (x, y) = (i64::from(off.x.to_bits()), i64::from(off.y.to_bits()));
        let cross =
            |ax: i64, ay: i64, [bx, by]: [i32; 2]| ax.wrapping_mul(by.into()).wrapping_sub(ay.wrapping_mul(bx.into()));
        let [fx, fy] = self.first.map(i64::from);
        let cell = cross(fx, fy, self.second);
        // 2^-40 over 2^-48 mm^2.
        let i = math::ratio(cross(x, y, self.second), cell, EXTRA_BITS);
        let j = math::ratio(cross(x, y, self.first).wrapping_neg(), cell, EXTRA_BITS);
        let near = Hole { i: i8::try_from(i).ok()?, j: i8::try_from(j).ok()? };
        let distance = |node: &Hole| {
            let off = place - self.place(*node);
            let (x, y) = (i64::from(off.x.to_bits()), i64::from(off.y.to_bits()));
            x.wrapping_mul(x).wrapping_add(y.wrapping_mul(y))
        };
        // Rounding along slanted directions may be one node off.
        let around = (-1..=1).flat_map(|j| (-1..=1).map(move |i| near.moved(Hole { i, j })));
        around.min_by_key(distance).filter(|node| self.contains(*node))
    }

    /// The holes next to one, a pitch away: up to four, or six.
    pub fn neighbours(&self, hole: Hole) -> impl Iterator<Item = Hole> + '_ {
        const AROUND: [Hole; 6] =
            [Hole::new(1, 0), Hole::new(0, 1), Hole::new(-1, 0), Hole::new(0, -1), Hole::new(-1, 1), Hole::new(1, -1)];
        let count = match self.plate.kind {
            LatticeKind::Square => 4,
            LatticeKind::Hexagonal => 6,
        };
        AROUND.iter().take(count).map(move |&by| hole.moved(by)).filter(|node| self.contains(*node))
    }

    /// How many [`Cell`](super::Cell)s an assignment works in: the square of the least power of two that exceeds the plate's
    /// width in holes by three. Indices wrap there, and neither two holes nor a hole and a place next to the plate share one.
    #[must_use]
    pub fn cells(&self) -> usize {
        1usize.wrapping_shl(self.cell_bits().wrapping_mul(2))
    }

    /// Of a row of cells.
    pub(super) fn cell_bits(&self) -> u32 {
        let used = self.rows.iter().zip(INDICES).filter(|(row, _)| row.count > 0);
        let ends = used.map(|(row, j)| (row.first, row.first.wrapping_add(row.count.cast_signed()), j));
        let empty = (i8::MAX, i8::MIN, i8::MAX, i8::MIN);
        let (left, right, low, high) = ends.fold(empty, |(left, right, low, high), (first, end, j)| {
            (left.min(first), right.max(end), low.min(j), high.max(j.wrapping_add(1)))
        });
        // At most 29 holes wide: below 2^5 with what is left free.
        let most = right.wrapping_sub(left).max(high.wrapping_sub(low)).wrapping_add(FREE_COLUMNS - 1) as u8;
        u8::BITS.wrapping_sub(most.leading_zeros())
    }

    /// The two directions, 2^-24 mm.
    pub(super) const fn fine_directions(&self) -> Basis {
        let ([fx, fy], [sx, sy]) = (self.first, self.second);
        Basis { first: Step { x: fx, y: fy }, second: Step { x: sx, y: sy } }
    }
}

/// The rows of a plate, and how many holes they hold.
fn rows(plate: &Plate) -> Result<([Row; ROWS], u16), LatticeError> {
    let extent = Extent::of(plate);
    let (mut rows, mut count) = ([Row::default(); ROWS], 0u16);
    for (row, j) in rows.iter_mut().zip(INDICES) {
        *row = extent.row(j);
        let end = row.first.wrapping_add(row.count.cast_signed());
        if row.count > 0 && (row.first < -Lattice::MOST_INDEX || end > BEYOND) {
            return Err(LatticeError::IndexRange);
        }
        row.start = count;
        count = count.wrapping_add(row.count.into());
    }
    if extent.row(-BEYOND).count > 0 || extent.row(BEYOND).count > 0 {
        return Err(LatticeError::IndexRange);
    }
    if count < Lattice::LEAST_HOLES { Err(LatticeError::TooFewHoles) } else { Ok((rows, count)) }
}
