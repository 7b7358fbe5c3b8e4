//! Is this lens the one that was ordered? A standard as a table of tolerances, and the verdict on one lens.
//!
//! A [`Class`] is the table of one standard for one kind of lens. Anyone can write one: every field is public, and
//! [`Class::check`] finds a bad row when the program is compiled. [`judge`] compares a lens as measured with the lens
//! as ordered, row by row, and returns a [`Verdict`] whose [`Finding`]s say what was compared with what.
//!
//! The shipped tables come from published summaries of the standards, not from the licensed texts, and a standard's
//! numbers change with its edition. Every row names its [`Source`] and how sure it is, [`Class::provenance`] the least
//! sure of them: check a table against the licensed standard before relying on it.
//!
//! # How a row is found
//! Ranges are "above the row before, up to and including `up_to`"; the last row of a table has no end
//! ([`MAX`](crate::quantity::Dioptre::MAX)). The ordered lens picks the row, never the measured one. An ordered power
//! no more than [`SLACK`](crate::quantity::Dioptre::SLACK) past `up_to` counts as on it: decimals are not exact in
//! binary. (Source: the printed headings "nominal value" and "<=" in "Quick Reference Guide - Ansi Z80.1-2015" and
//! "OptiCampus ANSI Z80.1-2010 Summary".)
//!
//! # A table of one's own
//! ```
//! use dioptric::{degrees, dioptres, prism_dioptres, millimetres, quantity::Dioptre};
//! use dioptric::tolerance::{
//!     AdditionRow, AxisRow, Class, Confidence, CylinderRow, Limit, MeridianRow, Meridians, PrismRule, RowPower, Source,
//! };
//!
//! const HOUSE: Source = Source { text: "house rule of 2024-03", confidence: Confidence::A };
//! const STRICT: Class = Class {
//!     name: "house-strict",
//!     title: "house rule, premium lenses",
//!     row_power: RowPower::StrongestMeridian,
//!     meridians: Meridians::Both,
//!     meridian: &[
//!         MeridianRow { up_to: dioptres!(6.0), limit: Limit::Absolute(dioptres!(0.06)), source: &HOUSE },
//!         MeridianRow { up_to: Dioptre::MAX, limit: Limit::Percent(1), source: &HOUSE },
//!     ],
//!     cylinder: &[CylinderRow {
//!         power_up_to: Dioptre::MAX,
//!         cylinder_up_to: Dioptre::MAX,
//!         limit: Limit::Absolute(dioptres!(0.06)),
//!         source: &HOUSE,
//!     }],
//!     axis: &[
//!         AxisRow { cylinder_up_to: dioptres!(0.25), limit: None, source: &HOUSE },
//!         AxisRow { cylinder_up_to: Dioptre::MAX, limit: Some(degrees!(2.0)), source: &HOUSE },
//!     ],
//!     addition: &[AdditionRow { up_to: Dioptre::MAX, limit: Limit::Absolute(dioptres!(0.12)), source: &HOUSE }],
//!     prism: PrismRule::PrismOrPosition { prism: prism_dioptres!(0.25), position: millimetres!(0.5), source: &HOUSE },
//! };
//! const _: () = assert!(STRICT.check().is_ok());
//! # assert_eq!(STRICT.provenance(), Confidence::A);
//! ```
//! A shipped table with one part exchanged: `Class { axis: MY_ROWS, ..tolerance::ISO_8980_1 }`.

mod ansi_z80_1;
mod check;
mod direction;
mod display;
mod instrument;
mod iso_21987;
mod iso_8598_1;
mod iso_8980_1;
mod iso_8980_2;
mod judge;
mod pair;
mod rows;
mod rule;
mod verdict;

pub use ansi_z80_1::{ANSI_Z80_1, ANSI_Z80_1_PROGRESSIVE};
pub use check::{Error, ErrorKind, Table};
pub use direction::{DirectionLimit, POLARISER_AXIS};
pub use instrument::{InstrumentVerdict, TestReading, judge_instrument};
pub use iso_8598_1::ISO_8598_1;
pub use iso_8980_1::ISO_8980_1;
pub use iso_8980_2::ISO_8980_2;
pub use iso_21987::{ISO_21987, ISO_21987_PROGRESSIVE};
pub use judge::{Measured, MeasuredPower, Ordered, judge};
pub use pair::{
    ANSI_Z80_1_PAIR, Acceptance, BlameRule, CurveLimit, GeometryLimits, ISO_21987_PAIR, ImbalanceLimit, ImbalanceRow,
    ImbalanceRule, LengthLimit, PairClass, PairVerdict, PrismOrPosition, RowLens, TiltLimit, judge_pair,
    shift_for_imbalance,
};
pub use rows::{AdditionRow, AxisRow, CylinderRow, Limit, MeridianRow, PrismRow, PrismRule, below};
pub use rule::{Decision, Rule, Uncertainty};
pub use verdict::{Finding, Parameter, Value, Verdict};

use core::fmt;

/// The tolerances of one standard for one kind of lens.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Class {
    /// A short name, for settings and records.
    pub name: &'static str,
    /// Standard, edition, kind of lens.
    pub title: &'static str,
    /// Which ordered power picks the row of the meridian and cylinder tables.
    pub row_power: RowPower,
    /// Which principal meridians are judged.
    pub meridians: Meridians,
    /// Limits of a principal power.
    pub meridian: &'static [MeridianRow],
    /// Limits of the cylinder, ordered by power, then by cylinder.
    pub cylinder: &'static [CylinderRow],
    /// Limits of the cylinder's axis.
    pub axis: &'static [AxisRow],
    /// Limits of the addition. Empty: for lenses without one, and an addition that is ordered stays undetermined.
    pub addition: &'static [AdditionRow],
    /// What is asked of the prism at the prism reference point.
    pub prism: PrismRule,
}

/// The ordered power, taken without its sign, that picks a row.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum RowPower {
    /// The principal power of greatest magnitude.
    StrongestMeridian,
    /// The sphere of the minus-cylinder form.
    SphereMeridian,
}

/// The principal meridians that are judged.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum Meridians {
    /// Both.
    Both,
    /// The one whose ordered power has the greatest magnitude.
    Strongest,
    /// That of the sphere in the minus-cylinder form.
    Sphere,
}

/// How sure a number is, from best to worst.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum Confidence {
    /// Seen in two or more independent publications that agree.
    A,
    /// Seen in one publication.
    B,
    /// From memory, with a partial sighting or arithmetic behind it.
    C,
    /// From memory, with nothing behind it.
    D,
}

impl Confidence {
    /// What the user of a table with such a row must know.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::A => "every row was seen in two or more publications that agree",
            Self::B => "contains rows seen in one publication only",
            Self::C => "contains rows from memory: check against the licensed standard",
            Self::D => "contains rows from memory that nothing backs: check against the licensed standard",
        }
    }
}

impl fmt::Display for Confidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.text())
    }
}

/// Where a row comes from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Source {
    /// Title of the publication.
    pub text: &'static str,
    /// How sure the row is.
    pub confidence: Confidence,
}

impl Class {
    /// The shipped classes. A program that names one class links that one alone; one that uses this list links all.
    pub const ALL: [&'static Self; 6] =
        [&ANSI_Z80_1, &ANSI_Z80_1_PROGRESSIVE, &ISO_21987, &ISO_21987_PROGRESSIVE, &ISO_8980_1, &ISO_8980_2];

    /// The shipped classes by which an instrument is judged, not a lens: [`judge_instrument`].
    pub const INSTRUMENTS: [&'static Self; 1] = [&ISO_8598_1];

    /// The shipped class for lenses of that [`Class::name`].
    ///
    /// ```
    /// use dioptric::tolerance::Class;
    /// assert!(Class::find("iso21987").is_some());
    /// assert!(Class::find("iso 21987").is_none());
    /// ```
    #[must_use]
    pub fn find(name: &str) -> Option<&'static Self> {
        Self::ALL.into_iter().find(|class| class.name == name)
    }

    /// How sure the least sure row is.
    ///
    /// ```
    /// use dioptric::tolerance::{ISO_21987, Confidence};
    /// assert_eq!(ISO_21987.provenance(), Confidence::D);
    /// assert!(ISO_21987.provenance().text().contains("check against the licensed standard"));
    /// ```
    #[must_use]
    pub fn provenance(&self) -> Confidence {
        let meridian = self.meridian.iter().map(|row| row.source);
        let cylinder = self.cylinder.iter().map(|row| row.source);
        let axis = self.axis.iter().map(|row| row.source);
        let addition = self.addition.iter().map(|row| row.source);
        let tables = meridian.chain(cylinder).chain(axis).chain(addition);
        tables.map(|source| source.confidence).fold(self.prism.provenance(), Confidence::max)
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.title)
    }
}
