use core::hint::black_box;

use dioptric::vector::{Covariance, Error, PowerMatrix, PowerVector, Sample};

use crate::{axis, degrees, dioptres, keep, millimetres, point, rx::prescription, show};

pub fn vector() -> PowerVector {
    PowerVector { m: dioptres(), j0: dioptres(), j45: dioptres() }
}

pub fn matrix() -> PowerMatrix {
    PowerMatrix { xx: dioptres(), xy: dioptres(), yy: dioptres() }
}

pub fn probe() {
    vectors();
    matrices();
    samples();
}

fn vectors() {
    let (vector, other) = (vector(), PowerVector::from(prescription()));
    keep(PowerVector::sphero_cylinder(vector));
    keep(PowerVector::half_cylinder(vector));
    keep(PowerVector::blur_strength(vector));
    keep(PowerVector::power_along(vector, axis()));
    keep(PowerVector::torsion_along(vector, axis()));
    keep(PowerVector::turned(vector, degrees()));
    keep(PowerVector::residual_after(vector, other));
    keep(PowerVector::is_saturated(vector));
    keep(vector + other);
    keep(vector - other);
    keep(-vector);
    keep([vector, other, vector].into_iter().sum::<PowerVector>());
    show(&vector);
}

fn matrices() {
    let matrix = matrix();
    keep(PowerMatrix::from(vector()));
    keep(PowerMatrix::from(prescription()));
    keep(PowerVector::from(matrix));
    keep(PowerMatrix::trace(matrix));
    keep(PowerMatrix::determinant_bits(matrix));
    keep(PowerMatrix::is_saturated(matrix));
    keep(PowerMatrix::prism_at(matrix, point()));
    keep(PowerMatrix::inverse(matrix));
    if let Err(error) = PowerMatrix::stepped(matrix, millimetres()) {
        keep(Error::is_range(error));
        show(&error);
    }
}

fn samples() {
    let mut sample = Sample::default();
    Sample::add(&mut sample, vector());
    let other = black_box(sample);
    Sample::merge(&mut sample, &other);
    keep(Sample::count(&sample));
    keep(Sample::rejected(&sample));
    keep(Sample::mean(&sample));
    if let Some(covariance) = Sample::covariance(&sample) {
        keep(Covariance::standard_deviations(&covariance));
    }
}
