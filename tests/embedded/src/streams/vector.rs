use dioptric::{
    quantity::{Axis, Degree, Dioptre, Millimetre},
    rx::SpheroCylinder,
    vector::{PowerVector, Sample},
};

use super::{
    Digest, Stream,
    digest::{Words, halves},
    inputs::{edges, random, turn_edges},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "vector.from_prescription", run: vector_from_prescription },
    Stream { name: "vector.to_prescription", run: vector_to_prescription },
    Stream { name: "vector.along", run: along },
    Stream { name: "vector.turned", run: turned },
    Stream { name: "vector.inverse", run: inverse },
    Stream { name: "vector.stepped", run: stepped },
    Stream { name: "vector.sample", run: sample },
];

fn vector_from_prescription(digest: &mut Digest) {
    random(|generator| digest.take(PowerVector::from(generator.prescription()).words()));
    let axes = turn_edges().map(Axis::from_bits);
    for rx in axes.filter_map(|axis| SpheroCylinder::new(Dioptre::ZERO, Dioptre::from_bits(-(3 << 19)), axis).ok()) {
        digest.take(PowerVector::from(rx).words());
    }
}

fn vector_to_prescription(digest: &mut Digest) {
    for j0 in edges().map(|edge| Dioptre::from_bits(edge >> 5)) {
        for j45 in edges().map(|edge| Dioptre::from_bits(edge >> 5)) {
            digest.take_or(PowerVector { m: Dioptre::ZERO, j0, j45 }.sphero_cylinder().ok());
        }
    }
    random(|generator| {
        let vector = generator.vector();
        digest.take_or(vector.sphero_cylinder().ok());
        digest.take([vector.half_cylinder(), vector.blur_strength()].map(|part| part.to_bits() as u32));
    });
}

fn along(digest: &mut Digest) {
    random(|generator| {
        let (vector, meridian) = (generator.vector(), Axis::from_bits(generator.word()));
        digest.take(vector.power_along(meridian).words());
        digest.take(vector.torsion_along(meridian).words());
    });
}

fn turned(digest: &mut Digest) {
    random(|generator| digest.take(generator.vector().turned(Degree::from_bits(generator.signed())).words()));
}

fn inverse(digest: &mut Digest) {
    random(|generator| match generator.matrix().inverse() {
        Ok(focal) => digest.take([focal.xx, focal.xy, focal.yy].map(|part| part.to_bits() as u32)),
        Err(_) => digest.take([u32::MAX]),
    });
}

fn stepped(digest: &mut Digest) {
    random(|generator| {
        let distance = Millimetre::from_bits(generator.signed() >> 9);
        digest.take_or(generator.matrix().stepped(distance).ok());
    });
}

fn sample(digest: &mut Digest) {
    let mut sample = Sample::default();
    random(|generator| {
        sample.add(generator.prescription().into());
        digest.take_or(sample.mean());
        if let Some(covariance) = sample.covariance() {
            digest.take(halves(covariance.m as u64));
            digest.take(halves(covariance.j0_j45 as u64));
            digest.take(covariance.standard_deviations().map(|part| part.to_bits() as u32));
        }
    });
}
