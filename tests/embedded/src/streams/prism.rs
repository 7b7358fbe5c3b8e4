use dioptric::{
    prism::{self, Prism},
    quantity::{Bearing, Degree, PrismDioptre, RefractiveIndex},
};

use super::{Digest, Stream, digest::Words, inputs::random};

pub const STREAMS: &[Stream] = &[
    Stream { name: "prism.prentice", run: prentice },
    Stream { name: "prism.resolved", run: resolved },
    Stream { name: "prism.deviation", run: deviation },
    Stream { name: "prism.decentration", run: decentration },
];

fn prentice(digest: &mut Digest) {
    random(|generator| digest.take(generator.matrix().prism_at(generator.point()).words()));
}

fn resolved(digest: &mut Digest) {
    random(|generator| {
        let (prism, base) = (generator.prism(), Bearing::from_bits(generator.word()));
        let (amount, bearing) = prism.resultant();
        digest.take([amount.to_bits() as u32, bearing.to_bits()]);
        digest.take(prism.component(base).words());
        digest.take(Prism::from_base(prism.x, base).words());
        let (right, left) = prism.shared((base.to_bits() % 101) as u8);
        digest.take(right.words());
        digest.take(left.words());
    });
}

fn deviation(digest: &mut Digest) {
    random(|generator| {
        let prism = PrismDioptre::from_bits(generator.signed());
        digest.take(prism::deviation(prism).words());
        digest.take_or(prism::from_deviation(Degree::from_bits(generator.signed())));
        let index = RefractiveIndex::from_bits((1 << 29) + (generator.word() >> 3)).ok();
        digest.take_or(index.and_then(|index| prism::apical_angle(prism, index)));
    });
}

fn decentration(digest: &mut Digest) {
    random(|generator| match prism::decentration(generator.matrix(), generator.prism()) {
        Ok(point) => digest.take(point.words()),
        Err(no_power) => {
            digest.take(no_power.reachable.words());
            digest.take(no_power.missing.words());
            digest.take_or(no_power.free);
        }
    });
}
