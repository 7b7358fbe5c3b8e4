//! ISO 8980-1: uncut finished single-vision and multifocal lenses.
//!
//! The 2004 edition, the only one of which a table was seen. The prism that is ordered includes the thinning prism
//! (note 1 to Table 4).

use super::{
    AdditionRow, AxisRow, Class, Confidence, CylinderRow, Limit, MeridianRow, Meridians, PrismRow, PrismRule, RowPower,
    Source,
};
use crate::quantity::{Degree, Dioptre, PrismDioptre};

const TABLE_1: Source = Source {
    text: "\"banner das normas\", vdocuments.com.br, poster of ISO 8980-1:2004, Table 1",
    confidence: Confidence::B,
};
const TABLE_4: Source = Source {
    text: "\"banner das normas\", vdocuments.com.br, poster of ISO 8980-1:2004, Table 4",
    confidence: Confidence::B,
};
const AXIS_FROM_MEMORY: Source = Source { text: "ISO 8980-1:2004, from memory, not seen", confidence: Confidence::C };

/// ISO 8980-1:2004, uncut single-vision and multifocal lenses.
///
/// The prism may be off by what Table 4 says plus a centration error of 1 mm in either direction.
///
/// An uncut single-vision lens has an axis tolerance only when its orientation is set beforehand, by prism, a
/// polariser, a gradient tint or its position of wear (from memory). For others exchange the axis table:
///
/// ```
/// use dioptric::quantity::Dioptre;
/// use dioptric::tolerance::{AxisRow, Class, Confidence, ISO_8980_1, Source};
/// const FREE: Source = Source { text: "no orientation is set: ISO 8980-1, from memory", confidence: Confidence::C };
/// const STOCK_LENS: Class =
///     Class { axis: &[AxisRow { cylinder_up_to: Dioptre::MAX, limit: None, source: &FREE }], ..ISO_8980_1 };
/// # assert!(STOCK_LENS.check().is_ok());
/// ```
///
/// # Source
/// As each row says; power and prism confidence B, axis and addition from memory (C).
pub const ISO_8980_1: Class = Class {
    name: "iso8980-1",
    title: "ISO 8980-1:2004, uncut single-vision and multifocal lenses",
    row_power: RowPower::StrongestMeridian,
    meridians: Meridians::Both,
    meridian: &table_1_meridians(&TABLE_1),
    cylinder: &table_1_cylinders(&TABLE_1),
    axis: &[
        axis(dioptres!(0.50), degrees!(7.0), &AXIS_FROM_MEMORY),
        axis(dioptres!(0.75), degrees!(5.0), &AXIS_FROM_MEMORY),
        axis(dioptres!(1.50), degrees!(3.0), &AXIS_FROM_MEMORY),
        axis(Dioptre::MAX, degrees!(2.0), &AXIS_FROM_MEMORY),
    ],
    addition: &additions(),
    prism: PrismRule::Components {
        rows: &prisms(&TABLE_4),
        horizontal_shift: millimetres!(1.0),
        vertical_shift: millimetres!(1.0),
    },
};

/// Column A of Table 1.
pub(super) const fn table_1_meridians(source: &'static Source) -> [MeridianRow; 6] {
    [
        meridian(dioptres!(3.0), 0.12, source),
        meridian(dioptres!(6.0), 0.12, source),
        meridian(dioptres!(9.0), 0.12, source),
        meridian(dioptres!(12.0), 0.18, source),
        meridian(dioptres!(20.0), 0.25, source),
        meridian(Dioptre::MAX, 0.37, source),
    ]
}

/// Columns B of Table 1.
///
/// Its first line has no cell for cylinders above 6.00 D: with both principal powers within 3.00 D there is none.
pub(super) const fn table_1_cylinders(source: &'static Source) -> [CylinderRow; 23] {
    let [a, b, c] = line(dioptres!(3.0), [0.09, 0.12, 0.18], source);
    let [d, e, f, g] = full_line(dioptres!(6.0), [0.12, 0.12, 0.18, 0.25], source);
    let [h, i, j, k] = full_line(dioptres!(9.0), [0.12, 0.18, 0.18, 0.25], source);
    let [l, m, n, o] = full_line(dioptres!(12.0), [0.12, 0.18, 0.25, 0.25], source);
    let [p, q, r, s] = full_line(dioptres!(20.0), [0.18, 0.25, 0.25, 0.25], source);
    let [t, u, v, w] = full_line(Dioptre::MAX, [0.25, 0.25, 0.37, 0.37], source);
    [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p, q, r, s, t, u, v, w]
}

/// Limits for cylinders up to 0.75, 4.00 and 6.00 D.
const fn line(power: Dioptre, [a, b, c]: [f64; 3], source: &'static Source) -> [CylinderRow; 3] {
    [
        cylinder(power, dioptres!(0.75), a, source),
        cylinder(power, dioptres!(4.0), b, source),
        cylinder(power, dioptres!(6.0), c, source),
    ]
}

/// And above.
const fn full_line(power: Dioptre, [a, b, c, d]: [f64; 4], source: &'static Source) -> [CylinderRow; 4] {
    let [to_075, to_4, to_6] = line(power, [a, b, c], source);
    [to_075, to_4, to_6, cylinder(power, Dioptre::MAX, d, source)]
}

pub(super) const fn meridian(up_to: Dioptre, limit: f64, source: &'static Source) -> MeridianRow {
    MeridianRow { up_to, limit: Limit::Absolute(Dioptre::literal(limit)), source }
}

pub(super) const fn cylinder(
    power_up_to: Dioptre,
    cylinder_up_to: Dioptre,
    limit: f64,
    source: &'static Source,
) -> CylinderRow {
    CylinderRow { power_up_to, cylinder_up_to, limit: Limit::Absolute(Dioptre::literal(limit)), source }
}

pub(super) const fn axis(cylinder_up_to: Dioptre, limit: Degree, source: &'static Source) -> AxisRow {
    AxisRow { cylinder_up_to, limit: Some(limit), source }
}

/// The same in all parts, as far as remembered.
pub(super) const fn additions() -> [AdditionRow; 2] {
    const SOURCE: Source = Source {
        text: "from memory, not seen in an ISO text; the rows of ANSI Z80.1 are the same",
        confidence: Confidence::C,
    };
    [
        AdditionRow { up_to: dioptres!(4.0), limit: Limit::Absolute(dioptres!(0.12)), source: &SOURCE },
        AdditionRow { up_to: Dioptre::MAX, limit: Limit::Absolute(dioptres!(0.18)), source: &SOURCE },
    ]
}

/// The same ladder by ordered prism in all parts, as far as seen or remembered.
pub(super) const fn prisms(source: &'static Source) -> [PrismRow; 3] {
    [
        PrismRow { up_to: prism_dioptres!(2.0), limit: prism_dioptres!(0.25), source },
        PrismRow { up_to: prism_dioptres!(10.0), limit: prism_dioptres!(0.37), source },
        PrismRow { up_to: PrismDioptre::MAX, limit: prism_dioptres!(0.50), source },
    ]
}
