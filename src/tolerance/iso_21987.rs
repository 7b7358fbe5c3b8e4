//! ISO 21987: mounted spectacle lenses.
//!
//! From memory throughout: no table of it was seen.

use super::iso_8980_1::{additions, axis, prisms, table_1_cylinders, table_1_meridians};
use super::iso_8980_2::{power_variation_cylinders, power_variation_meridians};
use super::{AxisRow, Class, Confidence, Meridians, PrismRule, RowPower, Source, below};
use crate::quantity::Dioptre;

const TABLE_1: Source = Source {
    text: "ISO 21987:2017, Table 1, from memory: the grid of ISO 8980-1:2004 (\"banner das normas\", vdocuments.com.br)",
    confidence: Confidence::C,
};
const TABLE_2: Source = Source { text: "ISO 21987:2017, Table 2, from memory, not seen", confidence: Confidence::C };
const AXIS: Source = Source {
    text: "ISO 21987:2017, axis, from memory; its extremes, 2 and 16 degrees, on a German optician's page on DIN EN ISO 21987",
    confidence: Confidence::C,
};
const PRISM: Source = Source {
    text: "ISO 21987:2017, prism of a position-specific lens, from memory, not seen; a pair of others is judged by its imbalance",
    confidence: Confidence::D,
};
const PRISM_POWER_VARIATION: Source = Source {
    text: "ISO 21987:2017, prism of a power-variation lens, from memory, not seen",
    confidence: Confidence::D,
};

/// ISO 21987:2017, mounted single-vision and multifocal lenses.
///
/// Of a mounted pair of single-vision lenses (not specific to a position of wear) and of multifocal lenses the standard
/// judges the prism *imbalance* of the two lenses, which one lens alone cannot show. For one such lens this table asks
/// what the same standard asks of position-specific and power-variation lenses: each component within the row's limit
/// plus 0.1 Smax horizontally and 0.05 Smax vertically, the effect of 1 mm and of half a millimetre. A lens that fails
/// it may still belong to a pair that conforms.
///
/// # Source
/// From memory: powers, axis and addition confidence C, prism D.
pub const ISO_21987: Class = Class {
    name: "iso21987",
    title: "ISO 21987:2017, mounted single-vision and multifocal lenses",
    row_power: RowPower::StrongestMeridian,
    meridians: Meridians::Both,
    meridian: &table_1_meridians(&TABLE_1),
    cylinder: &table_1_cylinders(&TABLE_1),
    axis: &[
        AxisRow { cylinder_up_to: below(dioptres!(0.125)), limit: None, source: &AXIS },
        axis(dioptres!(0.25), degrees!(16.0), &AXIS),
        axis(dioptres!(0.50), degrees!(9.0), &AXIS),
        axis(dioptres!(0.75), degrees!(6.0), &AXIS),
        axis(dioptres!(1.50), degrees!(4.0), &AXIS),
        axis(dioptres!(2.50), degrees!(3.0), &AXIS),
        axis(Dioptre::MAX, degrees!(2.0), &AXIS),
    ],
    addition: &additions(),
    prism: PrismRule::Components {
        rows: &prisms(&PRISM),
        horizontal_shift: millimetres!(1.0),
        vertical_shift: millimetres!(0.5),
    },
};

/// ISO 21987:2017, mounted power-variation (progressive and degressive) lenses, judged at the primary reference point.
///
/// # Source
/// From memory: powers, axis and addition confidence C, prism D. That Table 2 is for these lenses and is applied at the
/// primary reference point: "Legislation: Revised British Standards" (R. Rabbetts), opticianonline.net.
pub const ISO_21987_PROGRESSIVE: Class = Class {
    name: "iso21987-progressive",
    title: "ISO 21987:2017, mounted power-variation lenses",
    meridian: &power_variation_meridians(&TABLE_2),
    cylinder: &power_variation_cylinders(&TABLE_2),
    prism: PrismRule::Components {
        rows: &prisms(&PRISM_POWER_VARIATION),
        horizontal_shift: millimetres!(1.0),
        vertical_shift: millimetres!(0.5),
    },
    ..ISO_21987
};
