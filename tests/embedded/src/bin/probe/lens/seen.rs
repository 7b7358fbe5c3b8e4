use core::hint::black_box;

use dioptric::{
    lens::{self, Imbalance, Magnification, SlabOff, WornLens, WornPair},
    prism::Eye,
    quantity::Fraction,
};

use crate::{degrees, keep, millimetres, point, prism::prism, vector::matrix, word};

fn worn() -> WornLens {
    WornLens { power: matrix(), prism: prism(), reference: point() }
}

fn fraction() -> Fraction {
    Fraction::from_bits(word().cast_signed())
}

pub fn probe() {
    keep(lens::point_of_gaze(degrees(), degrees(), millimetres()));
    keep(WornLens::prism_at(&worn(), point()));
    let pair = WornPair { right: worn(), left: worn() };
    keep(WornPair::imbalance(&pair, point()));
    keep(WornPair::imbalance_at(&pair, point(), point()));
    keep(WornPair::slab_off(&pair, point()).map(|found| found.map(SlabOff::reversed)));
    let imbalance = Imbalance(prism());
    keep(Imbalance::before(imbalance, black_box(Eye::Left)));
    keep(Imbalance::base_in(imbalance));
    keep(Imbalance::right_base_up(imbalance));
    let found = Magnification { xx: fraction(), xy: fraction(), yx: fraction(), yy: fraction() };
    keep(Magnification::mirrored(found));
    keep(Magnification::principal(found));
    keep(Magnification::against(found, black_box(Magnification::ONE)));
    keep(lens::percent(fraction()));
    keep(lens::power_factor(matrix(), millimetres()));
}
