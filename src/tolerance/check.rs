//! Finds a bad row in a tolerance table, when the program is compiled if need be.

use super::{Class, Limit, PrismRule, RowPower};
use crate::quantity::{Degree, Dioptre, Millimetre, PrismDioptre};
use core::fmt;

/// The part of a [`Class`] or a [`PairClass`](super::PairClass) with something wrong.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Table {
    /// [`Class::meridian`].
    Meridian,
    /// [`Class::cylinder`].
    Cylinder,
    /// [`Class::axis`].
    Axis,
    /// [`Class::addition`].
    Addition,
    /// [`Class::prism`].
    Prism,
    /// [`PairClass::imbalance`](super::PairClass::imbalance).
    Imbalance,
    /// [`PairClass::imbalance_power_variation`](super::PairClass::imbalance_power_variation).
    ImbalancePowerVariation,
    /// [`PairClass::polariser`](super::PairClass::polariser), then [`PairClass::gradient`](super::PairClass::gradient).
    Direction,
    /// [`PairClass::geometry`](super::PairClass::geometry), a row for each field in their order.
    Geometry,
}

/// What is wrong with it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ErrorKind {
    /// There is no row.
    Empty,
    /// The row does not end beyond the one before it.
    NotAscending,
    /// A limit, or a shift, is negative.
    NegativeLimit,
    /// A limit, or a shift, is at the end of its scale, or above 100 percent: it limits nothing.
    LimitRange,
    /// The last row does not reach to the end of the scale: `MAX`.
    NotOpen,
}

/// What is wrong with a tolerance table, and where.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Error {
    table: Table,
    row: u16,
    kind: ErrorKind,
}

impl Error {
    /// The table.
    #[must_use]
    pub const fn table(self) -> Table {
        self.table
    }

    /// Index of the row, counted from 0; 65535 means that or more.
    #[must_use]
    pub const fn row(self) -> usize {
        self.row as usize
    }

    /// What is wrong.
    #[must_use]
    pub const fn kind(self) -> ErrorKind {
        self.kind
    }

    /// A limit is out of its range.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(self.kind, ErrorKind::NegativeLimit | ErrorKind::LimitRange)
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let table = match self.table {
            Table::Meridian => "meridian",
            Table::Cylinder => "cylinder",
            Table::Axis => "axis",
            Table::Addition => "addition",
            Table::Prism => "prism",
            Table::Imbalance => "imbalance",
            Table::ImbalancePowerVariation => "power-variation imbalance",
            Table::Direction => "direction",
            Table::Geometry => "geometry",
        };
        let problem = match self.kind {
            ErrorKind::Empty => "there is no row",
            ErrorKind::NotAscending => "the row does not end beyond the one before it",
            ErrorKind::NegativeLimit => "a limit is negative",
            ErrorKind::LimitRange => "a limit is too large to limit anything",
            ErrorKind::NotOpen => "the last row must be open: MAX",
        };
        write!(f, "{table} table, row {}: {problem}", self.row.saturating_add(1))
    }
}

impl core::error::Error for Error {}

/// Walks down one table. Rows without a number of their own before them start from -1, so that a row up to 0 is one.
struct Walk {
    table: Table,
    row: u16,
    up_to: i32,
}

impl Walk {
    const fn down(table: Table) -> Self {
        Self { table, row: 0, up_to: -1 }
    }

    const fn error(&self, kind: ErrorKind) -> Error {
        Error { table: self.table, row: self.row, kind }
    }

    /// Past one row.
    const fn past(self, up_to: i32, limit: Result<(), ErrorKind>) -> Result<Self, Error> {
        if let Err(kind) = limit {
            return Err(self.error(kind));
        }
        if up_to <= self.up_to {
            return Err(self.error(ErrorKind::NotAscending));
        }
        Ok(Self { table: self.table, row: self.row.saturating_add(1), up_to })
    }

    /// After the last row.
    const fn end(self) -> Result<(), Error> {
        let last = Self { table: self.table, row: self.row.saturating_sub(1), up_to: self.up_to };
        if self.row == 0 {
            return Err(last.error(ErrorKind::Empty));
        }
        if self.up_to < i32::MAX {
            return Err(last.error(ErrorKind::NotOpen));
        }
        Ok(())
    }
}

const fn bounded(limit: i32) -> Result<(), ErrorKind> {
    match limit {
        i32::MAX => Err(ErrorKind::LimitRange),
        ..0 => Err(ErrorKind::NegativeLimit),
        _ => Ok(()),
    }
}

const fn bounded_limit(limit: Limit) -> Result<(), ErrorKind> {
    match limit {
        Limit::Absolute(limit) => bounded(limit.to_bits()),
        Limit::Percent(101..) => Err(ErrorKind::LimitRange),
        Limit::Percent(_) => Ok(()),
    }
}

/// `?`, which a `const fn` does not have.
macro_rules! attempt {
    ($result:expr) => {
        match $result {
            Ok(value) => value,
            Err(error) => return Err(error),
        }
    };
}

/// Walks down the rows of a table.
macro_rules! walk {
    ($table:expr, $rows:expr, $row:ident => ($up_to:expr, $limit:expr)) => {{
        let mut walk = Walk::down($table);
        let mut rows = $rows;
        while let [$row, rest @ ..] = rows {
            walk = attempt!(walk.past($up_to, $limit));
            rows = rest;
        }
        walk.end()
    }};
}

mod pair;

impl Class {
    /// Checks the tables: none is empty (but the addition's may be), rows ascend, the last is open, limits are neither
    /// negative nor without bound.
    ///
    /// A class that fails this does no harm to the program; [`super::judge`] is undetermined where it finds no row.
    ///
    /// # Errors
    /// [`Error`] names the first row that is wrong.
    ///
    /// ```
    /// use dioptric::tolerance::{Class, ErrorKind, ISO_21987};
    /// const _: () = assert!(ISO_21987.check().is_ok()); // or the program does not compile
    /// let error = Class { axis: &[], ..ISO_21987 }.check().unwrap_err();
    /// assert_eq!(error.to_string(), "axis table, row 1: there is no row");
    /// ```
    pub const fn check(&self) -> Result<(), Error> {
        attempt!(walk!(Table::Meridian, self.meridian, row => (row.up_to.to_bits(), bounded_limit(row.limit))));
        attempt!(self.check_cylinder());
        attempt!(walk!(Table::Axis, self.axis, row => (row.cylinder_up_to.to_bits(), bounded_axis(row.limit))));
        if !self.addition.is_empty() {
            attempt!(walk!(Table::Addition, self.addition, row => (row.up_to.to_bits(), bounded_limit(row.limit))));
        }
        self.check_prism()
    }

    /// Blocks of rows with the same power ascend by cylinder, each to its end; the blocks ascend by power.
    const fn check_cylinder(&self) -> Result<(), Error> {
        let mut block = Walk::down(Table::Cylinder);
        let mut power = -1;
        let mut rows = self.cylinder;
        while let [row, rest @ ..] = rows {
            let row_power = row.power_up_to.to_bits();
            if row_power != power {
                if row_power < power {
                    return Err(block.error(ErrorKind::NotAscending));
                }
                if block.row > 0 {
                    block = attempt!(self.past_block(block, power));
                }
                power = row_power;
            }
            block = attempt!(block.past(row.cylinder_up_to.to_bits(), bounded_limit(row.limit)));
            rows = rest;
        }
        let last = Walk { up_to: if power < i32::MAX { power } else { block.up_to }, ..block };
        last.end()
    }

    /// From a finished block of cylinder rows to the next.
    ///
    /// A block is finished when it is open, or when no lens has more cylinder: with both principal powers within P, the
    /// cylinder is within 2 P.
    const fn past_block(&self, block: Walk, power: i32) -> Result<Walk, Error> {
        let most = match self.row_power {
            RowPower::StrongestMeridian => power.saturating_mul(2),
            RowPower::SphereMeridian => i32::MAX,
        };
        if block.up_to < most {
            let last = Walk { row: block.row.saturating_sub(1), ..block };
            return Err(last.error(ErrorKind::NotOpen));
        }
        Ok(Walk { up_to: -1, ..block })
    }

    const fn check_prism(&self) -> Result<(), Error> {
        match self.prism {
            PrismRule::NoRequirement => Ok(()),
            PrismRule::PrismOrPosition { prism, position, .. } => {
                of_whole(all_bounded(Table::Prism, &[prism.to_bits(), position.to_bits()]))
            }
            PrismRule::Components { rows, horizontal_shift, vertical_shift } => {
                attempt!(walk!(Table::Prism, rows, row => (row.up_to.to_bits(), bounded(row.limit.to_bits()))));
                of_whole(all_bounded(Table::Prism, &[horizontal_shift.to_bits(), vertical_shift.to_bits()]))
            }
        }
    }
}

const fn bounded_axis(limit: Option<Degree>) -> Result<(), ErrorKind> {
    match limit {
        Some(limit) => bounded(limit.to_bits()),
        None => Ok(()),
    }
}

/// A table without such places: the row is the first.
const fn of_whole(found: Result<(), Error>) -> Result<(), Error> {
    match found {
        Ok(()) => Ok(()),
        Err(Error { table, kind, .. }) => Err(Error { table, row: 0, kind }),
    }
}

/// Limits that are no rows of ordered values; the error's row is the limit's place.
const fn all_bounded(table: Table, limits: &[i32]) -> Result<(), Error> {
    let mut walk = Walk::down(table);
    let mut limits = limits;
    while let [limit, rest @ ..] = limits {
        let up_to = walk.up_to.saturating_add(1);
        walk = attempt!(walk.past(up_to, bounded(*limit)));
        limits = rest;
    }
    Ok(())
}

/// The open end is the same count of units in every quantity.
const _: () = assert!(
    Dioptre::MAX.to_bits() == i32::MAX
        && PrismDioptre::MAX.to_bits() == i32::MAX
        && Degree::MAX.to_bits() == i32::MAX
        && Millimetre::MAX.to_bits() == i32::MAX
);
const _: () = {
    let mut lists: &[&[&Class]] = &[&Class::ALL, &Class::INSTRUMENTS];
    while let [classes, others @ ..] = lists {
        let mut classes: &[&Class] = classes;
        while let [class, rest @ ..] = classes {
            assert!(class.check().is_ok(), "a shipped table has a bad row");
            classes = rest;
        }
        lists = others;
    }
};
