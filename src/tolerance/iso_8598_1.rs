//! ISO 8598-1: focimeters (lensmeters), judged by their readings of test lenses.
//!
//! Almost all from memory: no table of it was seen.

use super::iso_8980_1::{cylinder, meridian};
use super::{AxisRow, Class, Confidence, Meridians, PrismRow, PrismRule, RowPower, Source};
use crate::quantity::{Dioptre, Millimetre, PrismDioptre};

const POWER_WEAK: Source = Source {
    text: "ISO 8598-1:2014, vertex power; a trade page gives 0.06 D as the one limit of this edition",
    confidence: Confidence::B,
};
const POWER: Source =
    Source { text: "ISO 8598-1:2014, vertex power, from memory, not seen", confidence: Confidence::C };
const CYLINDER: Source = Source {
    text: "no limit of the cylinder's own is remembered of ISO 8598-1:2014: that of the vertex power is taken",
    confidence: Confidence::D,
};
const AXIS: Source = Source { text: "ISO 8598-1:2014, axis, from memory, not seen", confidence: Confidence::D };
const PRISM: Source = Source { text: "ISO 8598-1:2014, prism, from memory, not seen", confidence: Confidence::C };

/// ISO 8598-1:2014, what a focimeter may be off by: for [`judge_instrument`](super::judge_instrument), not for lenses.
///
/// The standard judges readings of test lenses (ISO 9342-1: spheres of 5, 10, 15, 20 and 25 D of either sign, prisms of 2, 5, 10, 15
/// and 20 prism dioptres, a cylinder of 5 D, by a supplier's page). The reference wavelength is that of the line e or d.
///
/// # Source
/// As each row says: the first row of the vertex power confidence B, the others and prism from memory (C), axis and cylinder from
/// memory with nothing behind it (D). That errors of cylinder, axis and prism are judged at all is seen in the contents of AS ISO
/// 8598.1:2017 (store.standards.org.au); how, is not.
pub const ISO_8598_1: Class = Class {
    name: "iso8598-1",
    title: "ISO 8598-1:2014, focimeters, by their readings of test lenses",
    row_power: RowPower::StrongestMeridian,
    meridians: Meridians::Both,
    meridian: &[
        meridian(dioptres!(5.0), 0.06, &POWER_WEAK),
        meridian(dioptres!(10.0), 0.09, &POWER),
        meridian(dioptres!(15.0), 0.12, &POWER),
        meridian(dioptres!(20.0), 0.18, &POWER),
        meridian(Dioptre::MAX, 0.25, &POWER),
    ],
    cylinder: &[
        cylinder(dioptres!(5.0), Dioptre::MAX, 0.06, &CYLINDER),
        cylinder(dioptres!(10.0), Dioptre::MAX, 0.09, &CYLINDER),
        cylinder(dioptres!(15.0), Dioptre::MAX, 0.12, &CYLINDER),
        cylinder(dioptres!(20.0), Dioptre::MAX, 0.18, &CYLINDER),
        cylinder(Dioptre::MAX, Dioptre::MAX, 0.25, &CYLINDER),
    ],
    axis: &[AxisRow { cylinder_up_to: Dioptre::MAX, limit: Some(degrees!(1.0)), source: &AXIS }],
    addition: &[],
    prism: PrismRule::Components {
        rows: &[
            prism(prism_dioptres!(5.0), prism_dioptres!(0.1)),
            prism(prism_dioptres!(10.0), prism_dioptres!(0.2)),
            prism(prism_dioptres!(15.0), prism_dioptres!(0.3)),
            prism(prism_dioptres!(20.0), prism_dioptres!(0.4)),
            prism(PrismDioptre::MAX, prism_dioptres!(0.5)),
        ],
        horizontal_shift: Millimetre::ZERO,
        vertical_shift: Millimetre::ZERO,
    },
};

const fn prism(up_to: PrismDioptre, limit: PrismDioptre) -> PrismRow {
    PrismRow { up_to, limit, source: &PRISM }
}
