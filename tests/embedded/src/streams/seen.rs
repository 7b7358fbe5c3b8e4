use dioptric::{
    lens::{self, Magnification, ThickLens, WornLens, WornPair},
    prism::Eye,
    quantity::{Degree, Dioptre, Fraction, Millimetre, RefractiveIndex},
    vector::PowerMatrix,
};

use super::{
    Digest, Stream,
    inputs::{Generator, random},
};

pub const STREAMS: &[Stream] =
    &[Stream { name: "lens.gaze", run: gaze }, Stream { name: "lens.magnification", run: magnification }];

/// Mostly within 64 D.
fn power(generator: &mut Generator) -> PowerMatrix {
    let mut element = || Dioptre::from_bits(generator.signed() >> 5);
    PowerMatrix { xx: element(), xy: element(), yy: element() }
}

/// Mostly from 0 to 60 mm.
fn distance(generator: &mut Generator) -> Millimetre {
    Millimetre::from_bits((generator.word() % (61 << 16)) as i32)
}

fn gaze(digest: &mut Digest) {
    random(|generator| {
        let mut angle = || Degree::from_bits(generator.signed() >> 5);
        let (across, up) = (angle(), angle());
        digest.take_or(lens::point_of_gaze(across, up, distance(generator)).ok());
        let mut worn = || WornLens { power: power(generator), prism: generator.prism(), reference: generator.point() };
        let pair = WornPair { right: worn(), left: worn() };
        let (at, other) = (generator.point(), generator.point());
        digest.take_or(pair.right.prism_at(at).ok());
        digest.take_or(pair.imbalance_at(at, other).ok().map(|found| found.0));
        let slab_off = pair.slab_off(at).ok().flatten();
        digest.take_or(slab_off.map(|found| found.base_up));
        digest.take([u32::from(slab_off.is_some_and(|found| found.eye == Eye::Right))]);
    });
}

fn elements(found: Magnification) -> [u32; 4] {
    [found.xx, found.xy, found.yx, found.yy].map(|element| element.to_bits() as u32)
}

fn take(digest: &mut Digest, found: Option<Magnification>) {
    digest.take(found.map_or([u32::MAX; 4], elements));
    let Some(principal) = found.and_then(|found| found.principal().ok()) else { return };
    digest.take([principal.greatest, principal.least].map(|part| lens::percent(part).to_bits() as u32));
    digest.take([principal.along.to_bits(), principal.turn.to_bits() as u32]);
}

fn magnification(digest: &mut Digest) {
    random(|generator| {
        let (front, back, pupil) = (power(generator), power(generator), distance(generator));
        let index =
            RefractiveIndex::from_bits((5 << 27) + generator.word() % (11 << 27)).unwrap_or(RefractiveIndex::AIR);
        let thickness = Millimetre::from_bits((generator.word() % (15 << 16)) as i32);
        take(digest, lens::power_factor(front, pupil).ok());
        let lens = ThickLens::new(front, back, index, thickness).ok();
        let whole = lens.and_then(|lens| lens.magnification(pupil).ok());
        let shape = lens.and_then(|lens| lens.shape_factor().ok());
        take(digest, shape);
        take(digest, whole);
        take(digest, whole.zip(shape).and_then(|(whole, shape)| whole.against(shape).ok()));
        let mut element = || Fraction::from_bits(generator.signed());
        let any = Magnification { xx: element(), xy: element(), yx: element(), yy: element() };
        take(digest, Some(any));
    });
}
