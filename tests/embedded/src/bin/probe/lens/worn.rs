use core::hint::black_box;

use dioptric::{
    lens::{self, Error, Tilt},
    prism::Eye,
    quantity::RefractiveIndex,
};

use crate::{axis, degrees, keep, millimetres, vector::matrix, word};

pub fn probe() {
    distances();
    let eye = black_box(Eye::Left);
    tilted(Tilt::worn(degrees(), degrees(), eye));
    tilted(Tilt::framed(degrees(), degrees(), eye));
    tilted(Tilt::about(axis(), degrees()));
}

fn index() -> RefractiveIndex {
    RefractiveIndex::from_bits(word()).unwrap_or(RefractiveIndex::AIR)
}

fn distances() {
    keep(lens::effective_at(matrix(), millimetres()));
    keep(lens::refitted(matrix(), millimetres(), millimetres()));
    keep(lens::at_cornea(matrix(), millimetres()));
    keep(lens::from_cornea(matrix(), millimetres()));
    keep(lens::reduced_thickness(millimetres(), index()));
    keep(lens::addition_at_back(matrix(), matrix(), millimetres()));
    keep(lens::addition_at_front(matrix(), matrix(), millimetres()));
    keep(lens::near_effectivity(matrix(), matrix(), millimetres()));
}

fn tilted(tilt: Result<Tilt, Error>) {
    match tilt {
        Ok(tilt) => {
            keep(Tilt::mirrored(tilt));
            keep(Tilt::effective(tilt, matrix(), index()));
            keep(Tilt::to_order(tilt, matrix(), index()));
            keep(Tilt::martin_effective(tilt, matrix(), index()));
            keep(Tilt::martin_to_order(tilt, matrix(), index()));
            keep(Tilt::prism(tilt, matrix(), millimetres(), index()));
        }
        Err(error) => super::error_of(error),
    }
}
