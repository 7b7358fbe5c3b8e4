//! ANSI Z80.1, the American recommendations for prescription lenses.
//!
//! Editions 2010 and 2015, whose numbers agree in all that was seen. The 2020 edition was not seen. Row and limit are
//! taken from the sphere meridian of the minus-cylinder form, the cylinder is judged on its own (2015; in 1999 and 2010
//! it was the meridian of greatest magnitude: [`Meridians::Strongest`]).

use super::{
    AdditionRow, AxisRow, Class, Confidence, CylinderRow, Limit, MeridianRow, Meridians, PrismRule, RowPower, Source,
    below,
};
use crate::quantity::{Degree, Dioptre};

const GUIDES: Source = Source {
    text: "\"Quick Reference Guide - Ansi Z80.1-2015\", docslib.org; \"OptiCampus ANSI Z80.1-2010 Summary\", opticampus.opti.vision",
    confidence: Confidence::A,
};
const GUIDE_2015: Source =
    Source { text: "\"Quick Reference Guide - Ansi Z80.1-2015\", docslib.org", confidence: Confidence::B };

/// ANSI Z80.1-2015, single-vision and multifocal lenses, unmounted.
///
/// Either the prism at the prism reference point or the position of that point must conform. Clause 5.1.4 of the 2010
/// edition says "and"; its own method, clause 8.4, measures the position only when the prism fails, and the 2015 guide
/// says "or", which is what is practised ("ANSI Z80.1 Prism inspection - question", optiboard.com, quotes both
/// clauses). The limits of a mounted pair are no part of this table.
///
/// # Source
/// As each row says; confidence A throughout, but B for the cylinder below which no axis is asked.
pub const ANSI_Z80_1: Class = Class {
    name: "ansi-z80.1",
    title: "ANSI Z80.1-2015, single-vision and multifocal lenses",
    row_power: RowPower::SphereMeridian,
    meridians: Meridians::Sphere,
    meridian: &[meridian(dioptres!(6.50), absolute(0.13)), meridian(Dioptre::MAX, Limit::Percent(2))],
    cylinder: &[
        cylinder(dioptres!(2.00), absolute(0.13)),
        cylinder(dioptres!(4.50), absolute(0.15)),
        cylinder(Dioptre::MAX, Limit::Percent(4)),
    ],
    axis: &AXIS,
    addition: &ADDITION,
    prism: PRISM,
};

/// ANSI Z80.1-2015, progressive lenses, unmounted; powers at the distance reference point, prism as [`ANSI_Z80_1`].
///
/// # Source
/// As each row says; confidence A throughout, but B for the cylinder below which no axis is asked.
pub const ANSI_Z80_1_PROGRESSIVE: Class = Class {
    name: "ansi-z80.1-progressive",
    title: "ANSI Z80.1-2015, progressive lenses",
    meridian: &[meridian(dioptres!(8.00), absolute(0.16)), meridian(Dioptre::MAX, Limit::Percent(2))],
    cylinder: &[
        cylinder(dioptres!(2.00), absolute(0.16)),
        cylinder(dioptres!(3.50), absolute(0.18)),
        cylinder(Dioptre::MAX, Limit::Percent(5)),
    ],
    ..ANSI_Z80_1
};

const AXIS: [AxisRow; 6] = [
    AxisRow { cylinder_up_to: below(dioptres!(0.12)), limit: None, source: &GUIDE_2015 },
    axis(dioptres!(0.25), degrees!(14.0)),
    axis(dioptres!(0.50), degrees!(7.0)),
    axis(dioptres!(0.75), degrees!(5.0)),
    axis(dioptres!(1.50), degrees!(3.0)),
    axis(Dioptre::MAX, degrees!(2.0)),
];

const ADDITION: [AdditionRow; 2] = [
    AdditionRow { up_to: dioptres!(4.00), limit: absolute(0.12), source: &GUIDES },
    AdditionRow { up_to: Dioptre::MAX, limit: absolute(0.18), source: &GUIDES },
];

const PRISM: PrismRule =
    PrismRule::PrismOrPosition { prism: prism_dioptres!(0.33), position: millimetres!(1.0), source: &GUIDES };

const fn absolute(limit: f64) -> Limit {
    Limit::Absolute(Dioptre::literal(limit))
}

const fn meridian(up_to: Dioptre, limit: Limit) -> MeridianRow {
    MeridianRow { up_to, limit, source: &GUIDES }
}

/// The sphere does not matter.
const fn cylinder(up_to: Dioptre, limit: Limit) -> CylinderRow {
    CylinderRow { power_up_to: Dioptre::MAX, cylinder_up_to: up_to, limit, source: &GUIDES }
}

const fn axis(up_to: Dioptre, limit: Degree) -> AxisRow {
    AxisRow { cylinder_up_to: up_to, limit: Some(limit), source: &GUIDES }
}
