//! Polariser, gradient tint, wavelength.

use dioptric::{
    lens::Line,
    quantity::{AbbeNumber, Axis, Fraction, Nanometre},
    sensor::{Gradient, GradientSums, Polarisation, PolariserSums, WavelengthCorrection},
    vector::PowerVector,
};
use dioptric_embedded::count::report;

use crate::inputs::{Generator, inputs};

/// Twelve readings every 15 degrees of a polariser at 0 degrees: 0.5 (1 + cos 2a), with a little noise.
fn polariser(generator: &mut Generator) -> PolariserSums {
    const COSINES: [i32; 12] = [1000, 866, 500, 0, -500, -866, -1000, -866, -500, 0, 500, 866];
    let mut sums = PolariserSums::default();
    for (step, cosine) in COSINES.into_iter().enumerate() {
        let intensity = (1000 + cosine) * ((1 << 23) / 1000) + generator.below(1 << 14);
        let _counted = sums.add(Axis::from_bits((step as u32) * (u32::MAX / 12 + 1)), Fraction::from_bits(intensity));
    }
    sums
}

/// 25 readings within 20 mm, darker upwards.
fn gradient(generator: &mut Generator) -> GradientSums {
    let mut sums = GradientSums::default();
    for _ in 0..25 {
        let at = generator.point();
        let light = (1 << 23) - at.y.to_bits() * 4 + generator.below(1 << 14);
        let _counted = sums.add(at, Fraction::from_bits(light));
    }
    sums
}

fn axis_of(sums: PolariserSums) -> Option<Polarisation> {
    sums.fit().ok()
}

fn direction_of(sums: GradientSums) -> Option<Gradient> {
    sums.fit().ok()
}

fn correction(abbe: AbbeNumber) -> Option<WavelengthCorrection> {
    WavelengthCorrection::new(Nanometre::from_bits(850 << Nanometre::FRACTION_BITS), Line::E, abbe).ok()
}

fn abbe(generator: &mut Generator) -> Option<AbbeNumber> {
    AbbeNumber::from_bits((30 << AbbeNumber::FRACTION_BITS) + generator.word() % (28 << AbbeNumber::FRACTION_BITS)).ok()
}

#[inline(never)]
pub fn all() {
    let readings =
        inputs(|g| (PolariserSums::default(), Axis::from_bits(g.word()), Fraction::from_bits(g.below(1 << 24))));
    report("polariser: a reading", 1, readings, |(mut sums, axis, light)| {
        let _counted = sums.add(axis, light);
        sums
    });
    report("polariser: axis of 12 readings", 1, inputs(polariser), axis_of);
    let readings = inputs(|g| (GradientSums::default(), g.point(), Fraction::from_bits(g.below(1 << 24))));
    report("gradient: a reading", 1, readings, |(mut sums, at, light)| {
        let _counted = sums.add(at, light);
        sums
    });
    report("gradient: direction of 25 readings", 1, inputs(gradient), direction_of);
    let numbers = || inputs(abbe).flatten();
    report("wavelength: correction of a material", 1, numbers(), correction);
    let corrections = numbers().filter_map(correction);
    let powers = corrections.zip(inputs(Generator::prescription).map(PowerVector::from));
    report("wavelength: a power corrected", 1, powers, |(correction, power)| correction.vector(power));
}
