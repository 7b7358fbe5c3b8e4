use dioptric::{
    lens::{self, Tilt},
    prism::Eye,
    quantity::{Axis, Degree, Dioptre, Millimetre, RefractiveIndex},
    vector::PowerMatrix,
};

use super::{
    Digest, Stream,
    inputs::{Generator, random},
};

pub const STREAMS: &[Stream] =
    &[Stream { name: "lens.distance", run: distance }, Stream { name: "lens.tilt", run: tilt }];

/// Mostly a glass.
fn index(generator: &mut Generator) -> RefractiveIndex {
    RefractiveIndex::from_bits((1 << 29) + (generator.word() >> 3)).unwrap_or(RefractiveIndex::AIR)
}

/// Mostly within 64 D.
fn power(generator: &mut Generator) -> PowerMatrix {
    let mut element = || Dioptre::from_bits(generator.signed() >> 5);
    PowerMatrix { xx: element(), xy: element(), yy: element() }
}

/// Within 32 degrees.
fn angle(generator: &mut Generator) -> Degree {
    Degree::from_bits(generator.signed() >> 6)
}

fn distance(digest: &mut Digest) {
    random(|generator| {
        let (front, other) = (power(generator), power(generator));
        let thickness = Millimetre::from_bits(generator.signed() >> 10);
        let reduced = lens::reduced_thickness(thickness, index(generator));
        digest.take([reduced.to_bits() as u32]);
        digest.take_or(lens::refitted(front, thickness, reduced).ok());
        digest.take_or(lens::addition_at_back(front, other, reduced).ok());
        digest.take_or(lens::addition_at_front(front, other, reduced).ok());
        digest.take_or(lens::near_effectivity(front, other, reduced).ok());
    });
}

fn tilt(digest: &mut Digest) {
    random(|generator| {
        let (first, second) = (angle(generator), angle(generator));
        let eye = if generator.word() & 1 == 0 { Eye::Right } else { Eye::Left };
        let (power, index) = (power(generator), index(generator));
        let thickness = Millimetre::from_bits(generator.signed() >> 10);
        for tilt in [
            Tilt::worn(first, second, eye),
            Tilt::framed(first, second, eye),
            Tilt::about(Axis::from_bits(generator.word()), first),
        ] {
            let tilt = tilt.ok();
            digest.take_or(tilt.and_then(|tilt| tilt.effective(power, index).ok()));
            digest.take_or(tilt.and_then(|tilt| tilt.to_order(power, index).ok()));
            digest.take_or(tilt.and_then(|tilt| tilt.martin_effective(power, index).ok()));
            digest.take_or(tilt.and_then(|tilt| tilt.martin_to_order(power, index).ok()));
            digest.take_or(tilt.and_then(|tilt| tilt.prism(power, thickness, index).ok()));
        }
    });
}
