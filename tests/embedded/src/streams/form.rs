use dioptric::{
    density,
    lens::{EdgedLens, Material, Surface, ThickLens, ToricCurves, conic_sagitta, wedge_difference},
    prism::Prism,
    quantity::{Axis, Bearing, Dioptre, Fraction, Millimetre, Nanometre, Point, PrismDioptre, RefractiveIndex},
    vector::PowerMatrix,
};

use super::{
    Digest, Stream,
    digest::Words,
    inputs::{Generator, edges, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "lens.edge", run: edge },
    Stream { name: "lens.curves", run: curves },
    Stream { name: "lens.conic", run: conic },
];

/// From 1.45 to 1.95.
fn index(generator: &mut Generator) -> RefractiveIndex {
    RefractiveIndex::from_bits(778_463_949 + (generator.word() >> 4)).unwrap_or(RefractiveIndex::AIR)
}

/// Principal powers to 16 D.
fn power(generator: &mut Generator) -> PowerMatrix {
    let mut element = || Dioptre::from_bits(generator.signed() >> 8);
    PowerMatrix { xx: element(), xy: Dioptre::from_bits(element().to_bits() >> 2), yy: element() }
}

/// Both coordinates to 2 to the power of `bits` units.
fn point(generator: &mut Generator, bits: u32) -> Point {
    let mut coordinate = || Millimetre::from_bits(generator.signed() >> (31 - bits));
    Point::new(coordinate(), coordinate())
}

/// Where the outline leaves the lens, that is the result.
fn edge(digest: &mut Digest) {
    let mut count = 0u32;
    random(|generator| {
        let ground = Prism::new(
            PrismDioptre::from_bits(generator.signed() >> 7),
            PrismDioptre::from_bits(generator.signed() >> 7),
        );
        let lens = ThickLens::new(
            power(generator),
            power(generator),
            index(generator),
            Millimetre::from_bits((generator.word() >> 11) as i32 & 0x1F_FFFF),
        );
        digest.take_or(wedge_difference(ground.x, index(generator), Millimetre::from_bits(generator.signed())).ok());
        let (axis, outline) = (point(generator, 18), [(); 3].map(|()| point(generator, 20)));
        let Ok(edged) = lens.and_then(|lens| EdgedLens::new(lens, axis, ground)) else { return digest.take([0]) };
        match edged.edge(outline) {
            Ok(edge) => digest.take([
                edge.thickest.index,
                edge.thickest.thickness.to_bits() as u32,
                edge.thinnest.index,
                edge.thinnest.thickness.to_bits() as u32,
            ]),
            Err(error) => digest.take([u32::from(error.is_range())]),
        }
        let bearing = Bearing::from_bits(generator.word());
        digest.take_or(edged.thickness_along(bearing, Millimetre::from_bits(generator.signed() >> 11)).ok());
        let least = edged.with_least_edge(outline, Millimetre::from_bits(generator.signed() >> 13));
        digest.take_or(least.ok().map(|edged| edged.lens().thickness()));
        // Each takes as long as a hundred edges.
        count += 1;
        if count.is_multiple_of(64) {
            let surfaced = edged.for_least_edge(power(generator), outline, Millimetre::from_bits(1 << 16));
            digest.take_or(surfaced.ok().map(|edged| edged.lens().thickness()));
            digest.take_or(edged.volume(outline).ok());
            digest.take_or(edged.weight(outline, density!(1.32)).ok());
        }
    });
}

fn curves(digest: &mut Digest) {
    let mut take = |curves: Option<ToricCurves>| digest.take_or(curves.map(ToricCurves::sphero_cylinder));
    random(|generator| {
        let (one, other) = (generator.dioptres(), generator.dioptres());
        take(ToricCurves::new(one, other, Axis::from_bits(generator.word())).ok());
        take(ToricCurves::for_base(generator.prescription(), generator.dioptres()).ok().map(|(toric, _)| toric));
        take(Surface::new(generator.matrix(), index(generator)).ok().and_then(|surface| surface.curves().ok()));
    });
    random(|generator| {
        let lens = ThickLens::new(generator.matrix(), power(generator), index(generator), Millimetre::ZERO);
        digest.take_or(lens.and_then(|lens| lens.base_curve()).ok());
        let material = Material::nearest(index(generator));
        let wavelength = Nanometre::from_bits((360 << 20) + (generator.word() % (760 << 20)) as i32);
        digest.take([material.index_at(wavelength).map_or(0, RefractiveIndex::to_bits)]);
    });
}

fn conic(digest: &mut Digest) {
    for radius in edges().map(Millimetre::from_bits) {
        for shape in edges().map(|edge| Fraction::from_bits(edge >> 3)) {
            digest.take_or(conic_sagitta(radius, shape, Millimetre::from_bits(40 << 16)).ok());
        }
    }
    random(|generator| {
        let radius = Millimetre::from_bits(generator.signed());
        let semi_diameter = Millimetre::from_bits((generator.word() % (40 << 16)) as i32);
        digest.take_or(conic_sagitta(radius, Fraction::from_bits(generator.signed() >> 4), semi_diameter).ok());
        digest.take(radius.words());
    });
}
