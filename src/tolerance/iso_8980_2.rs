//! ISO 8980-2: uncut finished power-variation lenses (progressive and degressive).
//!
//! From memory throughout.

use super::iso_8980_1::{additions, axis, cylinder, meridian, prisms};
use super::{AxisRow, Class, Confidence, CylinderRow, MeridianRow, Meridians, PrismRule, RowPower, Source, below};
use crate::quantity::Dioptre;

const TABLE_1: Source = Source { text: "ISO 8980-2, Table 1, from memory, not seen", confidence: Confidence::C };
const AXIS_FROM_MEMORY: Source =
    Source { text: "ISO 8980-2:2017, axis, from memory, not seen", confidence: Confidence::D };
const PRISM_FROM_MEMORY: Source =
    Source { text: "ISO 8980-2, prism, from memory, not seen", confidence: Confidence::D };

/// ISO 8980-2:2017, uncut power-variation lenses.
///
/// Power is judged at the distance (primary) reference point, prism at the prism reference point; the prism that is
/// ordered includes the thinning prism. The prism may be off by the row's limit plus 0.1 Smax horizontally and 0.05
/// Smax vertically: the effect of 1 mm and of half a millimetre. (The poster of ISO 8980-1:2004 shows 1 mm in both
/// directions; which is right is open.)
///
/// # Source
/// From memory: powers and addition confidence C, axis and prism D.
pub const ISO_8980_2: Class = Class {
    name: "iso8980-2",
    title: "ISO 8980-2:2017, uncut power-variation lenses",
    row_power: RowPower::StrongestMeridian,
    meridians: Meridians::Both,
    meridian: &power_variation_meridians(&TABLE_1),
    cylinder: &power_variation_cylinders(&TABLE_1),
    axis: &[
        AxisRow { cylinder_up_to: below(dioptres!(0.125)), limit: None, source: &AXIS_FROM_MEMORY },
        axis(dioptres!(0.25), degrees!(14.0), &AXIS_FROM_MEMORY),
        axis(dioptres!(0.50), degrees!(7.0), &AXIS_FROM_MEMORY),
        axis(dioptres!(0.75), degrees!(5.0), &AXIS_FROM_MEMORY),
        axis(dioptres!(1.50), degrees!(3.0), &AXIS_FROM_MEMORY),
        axis(Dioptre::MAX, degrees!(2.0), &AXIS_FROM_MEMORY),
    ],
    addition: &additions(),
    prism: PrismRule::Components {
        rows: &prisms(&PRISM_FROM_MEMORY),
        horizontal_shift: millimetres!(1.0),
        vertical_shift: millimetres!(0.5),
    },
};

/// Column A.
pub(super) const fn power_variation_meridians(source: &'static Source) -> [MeridianRow; 5] {
    [
        meridian(dioptres!(6.0), 0.12, source),
        meridian(dioptres!(9.0), 0.18, source),
        meridian(dioptres!(12.0), 0.18, source),
        meridian(dioptres!(20.0), 0.25, source),
        meridian(Dioptre::MAX, 0.37, source),
    ]
}

/// Columns B.
pub(super) const fn power_variation_cylinders(source: &'static Source) -> [CylinderRow; 15] {
    let [a, b, c] = line(dioptres!(6.0), [0.12, 0.18, 0.25], source);
    let [d, e, f] = line(dioptres!(9.0), [0.18, 0.18, 0.25], source);
    let [g, h, i] = line(dioptres!(12.0), [0.18, 0.25, 0.25], source);
    let [j, k, l] = line(dioptres!(20.0), [0.18, 0.25, 0.25], source);
    let [m, n, o] = line(Dioptre::MAX, [0.25, 0.37, 0.37], source);
    [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o]
}

/// Limits for cylinders up to 4.00 and 6.00 D, and above.
const fn line(power: Dioptre, [a, b, c]: [f64; 3], source: &'static Source) -> [CylinderRow; 3] {
    [
        cylinder(power, dioptres!(4.0), a, source),
        cylinder(power, dioptres!(6.0), b, source),
        cylinder(power, Dioptre::MAX, c, source),
    ]
}
