use core::hint::black_box;

use dioptric::{
    quantity::{AbbeNumber, Fraction, Nanometre, Point, RefractiveIndex},
    sensor::{
        self, Centre, CompactPair, Error, Fit, Geometry, GradientSums, Line, PolariserSums, ReadingError, SlopeSums,
        SpotPair, WavelengthCorrection, WavelengthError,
    },
};

use crate::{axis, dioptres, int, keep, millimetres, point, prism::prism, show, vector::vector, word};

pub fn probe() {
    match Geometry::new(millimetres(), millimetres()) {
        Ok(geometry) => {
            keep(Geometry::gap(&geometry));
            keep(Geometry::throw(&geometry));
            match SlopeSums::fit(&sums(), &geometry) {
                Ok(fit) => fitted(&fit),
                Err(error) => failed(error),
            }
        }
        Err(error) => failed(error),
    }
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
    show(&Line::wavelength(line));
    let (Ok(abbe), Ok(index)) = (AbbeNumber::from_bits(word()), RefractiveIndex::from_bits(word())) else { return };
    let measured = Nanometre::from_bits(int());
    keep(sensor::index_at(index, abbe, measured));
    match WavelengthCorrection::new(measured, line, abbe) {
        Ok(correction) => {
            keep(WavelengthCorrection::factor(&correction));
            keep(WavelengthCorrection::power(&correction, dioptres()));
            keep(WavelengthCorrection::vector(&correction, vector()));
            keep(WavelengthCorrection::prism(&correction, prism()));
            keep(WavelengthCorrection::abbe_uncertainty(&correction, dioptres(), fraction()));
        }
        Err(error) => {
            keep(WavelengthError::is_range(error));
            show(&error);
        }
    }
}

fn sums() -> SlopeSums {
    let mut sums = SlopeSums::default();
    if let (Ok(first), Ok(second)) = (SpotPair::new(point(), point()), SpotPair::new(point(), point())) {
        for _ in 0..word() & 15 {
            keep(SlopeSums::add(&mut sums, first));
        }
        keep(SlopeSums::add_all(&mut sums, black_box(&[first, second, first])));
        keep(SpotPair::reference(&first));
        keep(SpotPair::spot(&first));
        keep(SpotPair::displacement(&first));
        keep(SpotPair::try_from(<[Point; 2]>::from(first)));
    }
    let pair = || CompactPair { x: int() as i16, y: int() as i16, dx: int() as i16, dy: int() as i16 };
    keep(SlopeSums::add_compact(&mut sums, black_box(&[pair(), pair(), pair()])));
    let other = black_box(sums);
    keep(SlopeSums::merge(&mut sums, &other));
    keep(SlopeSums::count(&sums));
    sums
}

fn fitted(fit: &Fit) {
    keep(Fit::power(fit));
    keep(Fit::vector(fit));
    keep(Fit::sphero_cylinder(fit));
    keep(Fit::prism(fit));
    keep(Fit::prism_at(fit, point()));
    keep(Centre::point(Fit::centre(fit)));
    keep(Fit::residual(fit));
    keep(Fit::rotation(fit));
    keep(Fit::count(fit));
    keep(Fit::geometry(fit));
    keep(Fit::is_saturated(fit));
    keep(Fit::uncertainty(fit));
    keep(Fit::covariance(fit));
}

fn failed(error: Error) {
    keep(Error::is_range(error));
    show(&error);
}
