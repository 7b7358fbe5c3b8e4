//! A lens in zones: fits over discs in a lattice, from one frame or while its spots come in.

use super::{Disc, Error, Fit, Geometry, LatticeKind, SlopeSums, SpotPair};
use crate::math;
use crate::prism::Prism;
use crate::quantity::{Millimetre, Point};
use crate::vector::PowerVector;
use core::fmt;

/// Why there is no map.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum MapError {
    /// No row, no column, no step, or more than [`PowerMap::MOST_CELLS`].
    Shape,
    /// A disc leaves the range of coordinates: [`Disc`].
    CoordinateRange,
    /// The memory for the sums has not as many cells as the map.
    Memory,
    /// A cell has more spots than its sums can hold: [`SlopeSums::MOST_SPOTS`].
    TooManySpots,
}

impl MapError {
    /// A value is outside the range of its type.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(self, Self::Shape | Self::CoordinateRange | Self::TooManySpots)
    }
}

impl fmt::Display for MapError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Shape => "a map has rows, columns and a step, and up to 4096 cells",
            Self::CoordinateRange => "a disc of the map is out of range (32 mm)",
            Self::Memory => "the memory has not as many cells as the map",
            Self::TooManySpots => "more spots in a cell than the sums can hold (65536)",
        })
    }
}

impl core::error::Error for MapError {}

/// A lattice of discs over the lens, all of one size; rows from the bottom, each from the left.
///
/// The discs are of the back vertex plane, as [`Disc`], and may overlap: the step is what is told apart by place, the radius
/// what is averaged over.
///
/// # Range
/// 1 to [`PowerMap::MOST_CELLS`] cells, whose discs are in the range of [`Disc`].
///
/// ```
/// use dioptric::{millimetres, quantity::Point, sensor::{Disc, LatticeKind, PowerMap}};
/// let area = Disc::new(Point::ORIGIN, millimetres!(2.5))?;
/// let map = PowerMap::new(LatticeKind::Square, area, 9, 9, millimetres!(2.0)).unwrap();
/// assert_eq!(map.cells(), 81);
/// assert_eq!(map.disc(0), Some(Disc::new(Point::new(millimetres!(-8.0), millimetres!(-8.0)), millimetres!(2.5))?));
/// # Ok::<(), dioptric::sensor::Error>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PowerMap {
    lattice: LatticeKind,
    /// Centre of the first disc.
    first: Point,
    radius: Millimetre,
    columns: u16,
    rows: u16,
    step: Millimetre,
    /// Between rows.
    rise: Millimetre,
}

/// A zone of a lens.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MapCell {
    /// Where.
    pub disc: Disc,
    /// Spots whose light comes through it.
    pub count: u32,
    /// The lens there, or why there is none.
    pub fit: Result<Fit, Error>,
}

/// `sqrt(3) / 2` in Q31.
const HEXAGON_RISE: i64 = 1_859_775_393;

impl PowerMap {
    /// Most cells.
    pub const MOST_CELLS: u32 = 4096;

    /// A map about the centre of a disc, of discs of that size.
    ///
    /// The lattice is centred there, rows and columns counted alike; in a hexagonal lattice without the half step of every
    /// other row.
    ///
    /// # Accuracy
    /// Centres within half a unit of 2^-16 mm of the lattice, and within one from each other.
    ///
    /// # Errors
    /// [`MapError::Shape`], [`MapError::CoordinateRange`].
    pub fn new(
        lattice: LatticeKind,
        middle: Disc,
        columns: u16,
        rows: u16,
        step: Millimetre,
    ) -> Result<Self, MapError> {
        let cells = u32::from(columns).wrapping_mul(u32::from(rows));
        if cells == 0 || cells > Self::MOST_CELLS || step <= Millimetre::ZERO || step > SpotPair::MOST {
            return Err(MapError::Shape);
        }
        let rise = match lattice {
            LatticeKind::Square => step,
            LatticeKind::Hexagonal => {
                let bits = i64::from(step.to_bits()).wrapping_mul(HEXAGON_RISE);
                Millimetre::from_bits(math::saturate(math::shift_round(bits, 31)))
            }
        };
        let back = |centre: Millimetre, steps: u16, step: Millimetre| {
            // Half of at most 2^12 steps of 2^21.
            let whole = i64::from(steps.wrapping_sub(1)).wrapping_mul(step.to_bits().into());
            centre - Millimetre::from_bits(math::saturate(math::shift_round(whole, 1)))
        };
        let centre = middle.centre();
        let first = Point::new(back(centre.x, columns, step), back(centre.y, rows, rise));
        let map = Self { lattice, first, radius: middle.radius(), columns, rows, step, rise };
        // The corners are furthest out, and the right end of a row that is shifted.
        let corners = [
            (0, 0),
            (columns.wrapping_sub(1), rows.wrapping_sub(1)),
            (columns.wrapping_sub(1), rows.wrapping_sub(1).min(1)),
        ];
        for (column, row) in corners {
            map.disc_at(column, row).ok_or(MapError::CoordinateRange)?;
        }
        Ok(map)
    }

    /// Cells, and sums that a map in passing needs.
    #[must_use]
    pub const fn cells(&self) -> usize {
        // At most MOST_CELLS.
        (self.columns as usize).wrapping_mul(self.rows as usize)
    }

    /// Columns.
    #[must_use]
    pub const fn columns(&self) -> u16 {
        self.columns
    }

    /// Rows.
    #[must_use]
    pub const fn rows(&self) -> u16 {
        self.rows
    }

    /// A disc by the number of its cell.
    #[must_use]
    pub fn disc(&self, cell: usize) -> Option<Disc> {
        let row = u16::try_from(cell.checked_div(self.columns.into())?).ok()?;
        let column = u16::try_from(cell.checked_rem(self.columns.into())?).ok()?;
        if row < self.rows { self.disc_at(column, row) } else { None }
    }

    fn disc_at(&self, column: u16, row: u16) -> Option<Disc> {
        let shift = if self.is_shifted(row) { self.step.half() } else { Millimetre::ZERO };
        let centre = Point::new(along(self.first.x, column, self.step) + shift, along(self.first.y, row, self.rise));
        Disc::new(centre, self.radius).ok()
    }

    fn is_shifted(&self, row: u16) -> bool {
        self.lattice == LatticeKind::Hexagonal && row & 1 == 1
    }

    /// The cells of one frame, one after the other; nothing is stored.
    ///
    /// # Cost
    /// One pass over all spots and one fit a cell.
    pub fn of_frame<'a>(
        &self,
        pairs: &'a [SpotPair],
        geometry: &'a Geometry,
    ) -> impl Iterator<Item = MapCell> + use<'a> {
        let map = *self;
        (0..map.cells()).filter_map(move |cell| {
            let disc = map.disc(cell)?;
            Some(match disc.sums(pairs, geometry) {
                Ok(sums) => MapCell::of(disc, &sums, geometry),
                Err(error) => MapCell { disc, count: SlopeSums::MOST_SPOTS, fit: Err(error) },
            })
        })
    }

    /// Adds a spot to the sums of every cell whose disc its light comes through: for spots that come one by one.
    ///
    /// The sums are those of [`Disc::sums`], to the bit.
    ///
    /// # Cost
    /// One comparison a row, one a column of the rows within reach, and [`SlopeSums::add`] for each disc hit.
    ///
    /// # Errors
    /// [`MapError::Memory`]: nothing is then added. [`MapError::TooManySpots`]: the spot is then left out of that cell and of
    /// those behind it.
    pub fn add(&self, sums: &mut [SlopeSums], pair: SpotPair, geometry: &Geometry) -> Result<(), MapError> {
        self.match_memory(sums)?;
        self.add_at(sums, pair, geometry.exit(&pair))
    }

    /// [`PowerMap::add`] of many.
    ///
    /// # Errors
    /// Those of [`PowerMap::add`].
    pub fn add_all(&self, sums: &mut [SlopeSums], pairs: &[SpotPair], geometry: &Geometry) -> Result<(), MapError> {
        self.match_memory(sums)?;
        let back = geometry.gap_over_throw();
        for pair in pairs {
            self.add_at(sums, *pair, back.exit(pair))?;
        }
        Ok(())
    }

    fn match_memory(&self, sums: &[SlopeSums]) -> Result<(), MapError> {
        if sums.len() == self.cells() { Ok(()) } else { Err(MapError::Memory) }
    }

    fn add_at(&self, sums: &mut [SlopeSums], pair: SpotPair, exit: Point) -> Result<(), MapError> {
        let radius = i64::from(self.radius.to_bits());
        // Differences of coordinates are below 2^32: their squares, and the sum of two, below 2^63.
        let square = |a: Millimetre, b: Millimetre| {
            let difference = i64::from(a.to_bits()).wrapping_sub(b.to_bits().into());
            difference.saturating_mul(difference)
        };
        let reach = radius.wrapping_mul(radius);
        for (row, sums) in (0..self.rows).zip(sums.chunks_exact_mut(usize::from(self.columns).max(1))) {
            let up = square(exit.y, along(self.first.y, row, self.rise));
            if up > reach {
                continue;
            }
            let shift = if self.is_shifted(row) { self.step.half() } else { Millimetre::ZERO };
            for (column, cell) in (0..self.columns).zip(sums) {
                let across = square(exit.x, along(self.first.x, column, self.step) + shift);
                if across.saturating_add(up) <= reach {
                    cell.add(pair).map_err(|_| MapError::TooManySpots)?;
                }
            }
        }
        Ok(())
    }

    /// The cells of sums that [`PowerMap::add`] has filled.
    ///
    /// # Errors
    /// [`MapError::Memory`].
    pub fn of_sums<'a>(
        &self,
        sums: &'a [SlopeSums],
        geometry: &'a Geometry,
    ) -> Result<impl Iterator<Item = MapCell> + use<'a>, MapError> {
        self.match_memory(sums)?;
        let map = *self;
        let cell = move |(cell, sums): (usize, &SlopeSums)| Some(MapCell::of(map.disc(cell)?, sums, geometry));
        Ok((0..map.cells()).zip(sums).filter_map(cell))
    }
}

/// So many steps on.
fn along(from: Millimetre, steps: u16, step: Millimetre) -> Millimetre {
    // 2^12 steps of at most 2^21 units: below 2^34.
    let way = i64::from(steps).wrapping_mul(step.to_bits().into());
    Millimetre::from_bits(math::saturate(way.wrapping_add(from.to_bits().into())))
}

impl MapCell {
    fn of(disc: Disc, sums: &SlopeSums, geometry: &Geometry) -> Self {
        Self { disc, count: sums.count, fit: sums.fit(geometry) }
    }

    /// Prism at the disc's centre, with the lens where the sensor saw it.
    ///
    /// # Accuracy
    /// That of [`Fit::prism_at`].
    #[must_use]
    pub fn prism(&self) -> Option<Prism> {
        self.fit.ok().map(|fit| fit.prism_at(self.disc.centre()))
    }

    /// Back vertex power.
    #[must_use]
    pub fn power(&self) -> Option<PowerVector> {
        self.fit.ok().map(|fit| fit.vector())
    }
}
