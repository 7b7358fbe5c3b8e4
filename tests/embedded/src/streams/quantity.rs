use dioptric::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre};

use super::{
    Digest, Stream,
    digest::Words,
    inputs::{edges, random, turn_edges},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "quantity.sums", run: sums },
    Stream { name: "quantity.thousandths", run: thousandths },
    Stream { name: "quantity.directions", run: directions },
    Stream { name: "quantity.distance", run: distance },
];

fn sums(digest: &mut Digest) {
    for a in edges().map(Dioptre::from_bits) {
        for b in edges().map(Dioptre::from_bits) {
            digest.take([a + b, a - b].map(|sum| sum.to_bits() as u32));
        }
        digest.take([a.half(), a.double(), -a, a.abs()].map(|value| value.to_bits() as u32));
    }
}

fn thousandths(digest: &mut Digest) {
    for thousandths in (-25_000..25_000).chain(edges()) {
        digest.take_or(Dioptre::from_thousandths(thousandths).ok());
        digest.take_or(Millimetre::from_thousandths(thousandths).ok());
    }
}

fn directions(digest: &mut Digest) {
    let mut take = |turn, other, angle| {
        let (axis, bearing) = (Axis::from_bits(turn), Bearing::from_bits(turn));
        digest.take(axis.degrees().words());
        digest.take(bearing.degrees().words());
        digest.take([u32::from(axis.whole_degrees()), u32::from(bearing.whole_degrees())]);
        digest.take([axis.rounded(), axis.turned(angle)].map(Axis::to_bits));
        digest.take([bearing.rounded(), bearing.turned(angle)].map(Bearing::to_bits));
        digest.take(axis.angle_from(Axis::from_bits(other)).words());
    };
    turn_edges().for_each(|turn| take(turn, 0, Degree::MAX));
    random(|generator| take(generator.word(), generator.word(), Degree::from_bits(generator.signed())));
}

fn distance(digest: &mut Digest) {
    random(|generator| digest.take(generator.point().distance().words()));
}
