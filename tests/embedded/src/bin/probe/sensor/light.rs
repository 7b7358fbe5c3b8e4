use core::hint::black_box;

use dioptric::{
    lens::Line,
    quantity::{AbbeNumber, Fraction, Nanometre},
    sensor::{GradientSums, PolariserSums, ReadingError, WavelengthCorrection},
};

use crate::{axis, dioptres, int, keep, point, prism::prism, show, vector::vector, word};

pub fn probe() {
    polariser();
    gradient();
    wavelength();
}

fn fraction() -> Fraction {
    Fraction::from_bits(int() >> (word() & 31))
}

fn polariser() {
    let mut sums = PolariserSums::default();
    for _ in 0..word() & 15 {
        keep(PolariserSums::add(&mut sums, axis(), fraction()));
    }
    let other = black_box(sums);
    keep(PolariserSums::merge(&mut sums, &other));
    keep(PolariserSums::count(&sums));
    match PolariserSums::fit(&sums) {
        Ok(found) => keep(found),
        Err(error) => unread(error),
    }
}

fn gradient() {
    let mut sums = GradientSums::default();
    for _ in 0..word() & 15 {
        keep(GradientSums::add(&mut sums, point(), fraction()));
    }
    let other = black_box(sums);
    keep(GradientSums::merge(&mut sums, &other));
    keep(GradientSums::count(&sums));
    match GradientSums::fit(&sums) {
        Ok(found) => keep(found),
        Err(error) => unread(error),
    }
}

fn unread(error: ReadingError) {
    keep(ReadingError::is_range(error));
    show(&error);
}

fn wavelength() {
    let line = black_box(Line::E);
    let Ok(abbe) = AbbeNumber::from_bits(word()) else { return };
    let measured = Nanometre::from_bits(int());
    match WavelengthCorrection::new(measured, line, abbe) {
        Ok(correction) => {
            keep(WavelengthCorrection::factor(&correction));
            keep(WavelengthCorrection::power(&correction, dioptres()));
            keep(WavelengthCorrection::vector(&correction, vector()));
            keep(WavelengthCorrection::prism(&correction, prism()));
            keep(WavelengthCorrection::abbe_uncertainty(&correction, dioptres(), fraction()));
        }
        Err(error) => show(&error),
    }
}
