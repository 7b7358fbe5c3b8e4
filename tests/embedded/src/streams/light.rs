use dioptric::{
    lens::{Line, index_at},
    quantity::{AbbeNumber, Axis, Bearing, Fraction, Nanometre, RefractiveIndex},
    sensor::{GradientSums, PolariserSums, WavelengthCorrection},
};

use super::{
    Digest, Stream,
    digest::Words,
    inputs::{Generator, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "sensor.polariser", run: polariser },
    Stream { name: "sensor.gradient", run: gradient },
    Stream { name: "sensor.wavelength", run: wavelength },
];

fn axis_bits(axis: Option<Axis>) -> u32 {
    axis.map_or(u32::MAX, Axis::to_bits)
}

impl Generator {
    /// Half of them within 1, half of any magnitude.
    fn fraction(&mut self) -> Fraction {
        let shift = if self.word() & 1 == 0 { 7 } else { 0 };
        Fraction::from_bits(self.signed() >> shift)
    }
}

fn polariser(digest: &mut Digest) {
    let mut merged = PolariserSums::default();
    random(|generator| {
        let mut sums = PolariserSums::default();
        for _ in 0..3 + generator.word() % 6 {
            // Every fourth angle on a multiple of 45 degrees, where readings coincide.
            let mask = if generator.word() & 3 == 0 { 3 << 30 } else { u32::MAX };
            let added = sums.add(Axis::from_bits(generator.word() & mask), generator.fraction());
            digest.take([u32::from(added.is_ok())]);
        }
        let added = merged.merge(&sums);
        digest.take([u32::from(added.is_ok()), merged.count()]);
        match sums.fit() {
            Ok(found) => {
                digest.take([axis_bits(found.axis)]);
                digest.take([found.efficiency, found.mean].map(|part| part.to_bits() as u32));
                digest.take_or(found.residual);
                digest.take_or(found.uncertainty.and_then(|uncertainty| uncertainty.axis));
                digest.take_or(found.uncertainty.map(|uncertainty| uncertainty.efficiency));
            }
            Err(error) => digest.take([u32::from(error.is_range())]),
        }
    });
    digest.take([merged.fit().map_or(0, |found| axis_bits(found.axis))]);
}

fn gradient(digest: &mut Digest) {
    let mut merged = GradientSums::default();
    random(|generator| {
        let mut sums = GradientSums::default();
        for _ in 0..3 + generator.word() % 6 {
            let added = sums.add(generator.point(), generator.fraction());
            digest.take([u32::from(added.is_ok())]);
        }
        let added = merged.merge(&sums);
        digest.take([u32::from(added.is_ok()), merged.count()]);
        match sums.fit() {
            Ok(found) => {
                digest.take([found.lighter.map_or(u32::MAX, Bearing::to_bits)]);
                digest.take([found.slope, found.mean].map(|part| part.to_bits() as u32));
                digest.take_or(found.residual);
                digest.take_or(found.uncertainty.and_then(|uncertainty| uncertainty.direction));
                digest.take_or(found.uncertainty.map(|uncertainty| uncertainty.slope));
            }
            Err(error) => digest.take([u32::from(error.is_range())]),
        }
    });
    digest.take([merged.fit().map_or(0, |found| found.lighter.map_or(u32::MAX, Bearing::to_bits))]);
}

fn wavelength(digest: &mut Digest) {
    random(|generator| {
        let measured = Nanometre::from_bits((360 << 20) + (generator.word() % (760 << 20)) as i32);
        let line = if generator.word() & 1 == 0 { Line::E } else { Line::D };
        let Ok(abbe) = AbbeNumber::from_bits((15 << 24) + generator.word() % (86 << 24)) else { return };
        let index = RefractiveIndex::from_bits((1 << 29) + generator.word() % (3 << 29));
        digest.take([index
            .ok()
            .and_then(|index| index_at(index, abbe, measured).ok())
            .map_or(0, RefractiveIndex::to_bits)]);
        match WavelengthCorrection::new(measured, line, abbe) {
            Ok(correction) => {
                digest.take(correction.factor().words());
                digest.take(correction.vector(generator.vector()).words());
                digest.take(correction.prism(generator.prism()).words());
                digest.take(correction.abbe_uncertainty(generator.dioptres(), generator.fraction()).words());
            }
            Err(error) => digest.take([u32::from(error.is_range())]),
        }
    });
}
