//! Finds a bad row in the table for a mounted pair.

use super::super::{
    CurveLimit, DirectionLimit, GeometryLimits, ImbalanceLimit, ImbalanceRow, ImbalanceRule, LengthLimit, PairClass,
    TiltLimit,
};
use super::{Error, ErrorKind, Table, Walk, all_bounded, bounded};

impl PairClass {
    /// Checks the tables, those of both lens classes first: as [`Class::check`](super::super::Class::check).
    ///
    /// A class that fails this does no harm to the program; [`judge_pair`](super::super::judge_pair) is undetermined where it finds no row.
    ///
    /// # Errors
    /// [`Error`] names the first row that is wrong; of limits that are no rows, their place.
    ///
    /// ```
    /// use dioptric::tolerance::{ANSI_Z80_1_PAIR, ImbalanceRule, ISO_21987_PAIR, PairClass};
    /// const _: () = assert!(ISO_21987_PAIR.check().is_ok()); // or the program does not compile
    /// let ImbalanceRule::Rows { rows: [first, ..], power } = ISO_21987_PAIR.imbalance else { unreachable!() };
    /// let imbalance = ImbalanceRule::Rows { rows: core::slice::from_ref(first), power };
    /// let error = PairClass { imbalance, ..ISO_21987_PAIR }.check().unwrap_err();
    /// assert_eq!(error.to_string(), "imbalance table, row 1: the last row must be open: MAX");
    /// ```
    pub const fn check(&self) -> Result<(), Error> {
        attempt!(self.single_vision.check());
        attempt!(self.power_variation.check());
        attempt!(check_imbalance(&self.imbalance, Table::Imbalance));
        attempt!(check_imbalance(&self.imbalance_power_variation, Table::ImbalancePowerVariation));
        attempt!(all_bounded(Table::Direction, &[direction(self.polariser), direction(self.gradient)]));
        check_geometry(&self.geometry)
    }
}

const fn check_imbalance(rule: &ImbalanceRule, table: Table) -> Result<(), Error> {
    match rule {
        ImbalanceRule::PrismOrPosition { horizontal, vertical, .. } => all_bounded(
            table,
            &[
                horizontal.prism.to_bits(),
                horizontal.position.to_bits(),
                vertical.prism.to_bits(),
                vertical.position.to_bits(),
            ],
        ),
        ImbalanceRule::Rows { rows, .. } => walk!(table, *rows, row => (row.up_to.to_bits(), bounded_row(row))),
        ImbalanceRule::EachLens => Ok(()),
    }
}

const fn bounded_row(row: &ImbalanceRow) -> Result<(), ErrorKind> {
    attempt!(bounded_limit(&row.horizontal));
    bounded_limit(&row.vertical)
}

/// The power may have no end: then there are no strong lenses.
const fn bounded_limit(limit: &ImbalanceLimit) -> Result<(), ErrorKind> {
    if limit.power_up_to.to_bits() < 0 {
        return Err(ErrorKind::NegativeLimit);
    }
    attempt!(bounded(limit.within.to_bits()));
    attempt!(bounded(limit.beyond.to_bits()));
    bounded(limit.shift.to_bits())
}

const fn check_geometry(limits: &GeometryLimits) -> Result<(), Error> {
    all_bounded(
        Table::Geometry,
        &[
            length(limits.segment_height),
            length(limits.fitting_height),
            length(limits.fitting_distance),
            length(limits.segment_heights),
            length(limits.fitting_heights),
            length(limits.near_centration),
            length(limits.segment_size),
            length(limits.segment_difference),
            length(limits.centre_thickness),
            tilt(limits.segment_tilt),
            tilt(limits.marks_tilt),
            curve(limits.base_curve),
            curve(limits.warpage),
        ],
    )
}

/// What is not limited is not wrong.
const fn length(limit: Option<LengthLimit>) -> i32 {
    match limit {
        Some(limit) => limit.limit.to_bits(),
        None => 0,
    }
}

const fn tilt(limit: Option<TiltLimit>) -> i32 {
    match limit {
        Some(limit) => limit.limit.to_bits(),
        None => 0,
    }
}

const fn curve(limit: Option<CurveLimit>) -> i32 {
    match limit {
        Some(limit) => limit.limit.to_bits(),
        None => 0,
    }
}

const fn direction(limit: Option<DirectionLimit>) -> i32 {
    match limit {
        Some(limit) => limit.limit.to_bits(),
        None => 0,
    }
}

const _: () = {
    let mut classes: &[&PairClass] = &PairClass::ALL;
    while let [class, rest @ ..] = classes {
        assert!(class.check().is_ok(), "a shipped table has a bad row");
        classes = rest;
    }
};
