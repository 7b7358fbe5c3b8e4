//! What a lens does by its form, where it is worn, and as a pair.

use dioptric::{
    lens::{self, EdgedLens, Surface, ThickLens, Tilt, WornLens, WornPair},
    math,
    prism::{Eye, Prism},
    quantity::{Degree, Dioptre, Fraction, Millimetre, Point, RefractiveIndex},
    rx::SpheroCylinder,
    vector::PowerMatrix,
};
use dioptric_embedded::count::report;

use crate::inputs::{Generator, inputs};

/// 1.5.
const INDEX: RefractiveIndex = match RefractiveIndex::from_bits(3 << (RefractiveIndex::FRACTION_BITS - 1)) {
    Ok(index) => index,
    Err(_) => RefractiveIndex::AIR,
};

const fn millimetres(whole: i32) -> Millimetre {
    Millimetre::from_bits(whole << Millimetre::FRACTION_BITS)
}

/// A front of 4 to 8 D with a cylinder, 3 mm, and the back for a prescription.
fn form(generator: &mut Generator) -> (PowerMatrix, PowerMatrix) {
    let cylinder = PowerMatrix::from(generator.prescription());
    let base = Dioptre::from_bits((4 << 20) + generator.below(4 << 20));
    let front = PowerMatrix { xx: base, xy: Dioptre::from_bits(cylinder.xy.to_bits() / 4), yy: base };
    (front, generator.prescription().into())
}

fn lens((front, wanted): (PowerMatrix, PowerMatrix)) -> Option<ThickLens> {
    ThickLens::for_front(front, wanted, INDEX, millimetres(3)).ok()
}

fn lenses() -> impl Iterator<Item = ThickLens> {
    inputs(form).filter_map(lens)
}

/// Within 10 mm of the axis, where every such lens has its surfaces.
fn near(generator: &mut Generator) -> Point {
    let mut coordinate = || Millimetre::from_bits(generator.below(20 << 16) - (10 << 16));
    Point::new(coordinate(), coordinate())
}

#[inline(never)]
fn forms() {
    report("thick lens: back surface for a front", 1, inputs(form), lens);
    report("thick lens: back vertex power", 1, lenses(), |lens| lens.back_vertex_power());
    report("thick lens: equivalent power", 1, lenses(), |lens| lens.equivalent_power());
    let fronts = || lenses().map(|lens| lens.front()).zip(inputs(near));
    report("toric surface: sagitta at a point", 1, fronts(), |(surface, at): (Surface, Point)| surface.sagitta_at(at));
    report("thick lens: thickness at a point", 1, lenses().zip(inputs(near)), |(lens, at)| lens.thickness_at(at));
}

fn tilted(generator: &mut Generator) -> (Option<Tilt>, SpheroCylinder) {
    let mut angle = || Degree::from_bits(generator.below(20 << 20));
    let tilt = Tilt::worn(angle(), angle(), Eye::Right).ok();
    (tilt, generator.prescription())
}

#[inline(never)]
fn wear() {
    let powers = || inputs(Generator::prescription).map(PowerMatrix::from);
    report("power at another distance", 1, powers(), |power| lens::effective_at(power, millimetres(12)).ok());
    let poses = || inputs(tilted).map(|(tilt, rx)| (tilt, PowerMatrix::from(rx)));
    report("tilt and wrap: effective power", 1, poses(), |(tilt, power)| tilt?.effective(power, INDEX).ok());
    report("tilt and wrap: power to order", 1, poses(), |(tilt, power)| tilt?.to_order(power, INDEX).ok());
}

fn worn(generator: &mut Generator) -> WornLens {
    WornLens { power: generator.prescription().into(), prism: generator.prism(), reference: Point::ORIGIN }
}

fn gaze(generator: &mut Generator) -> (Degree, Degree) {
    let mut angle = || Degree::from_bits(generator.below(60 << 20) - (30 << 20));
    (angle(), angle())
}

#[inline(never)]
fn eyes() {
    report("point of gaze", 1, inputs(gaze), |(across, up)| lens::point_of_gaze(across, up, millimetres(27)).ok());
    let looks = inputs(|g| (worn(g), g.point()));
    report("prism at a point of gaze", 1, looks, |(lens, at): (WornLens, Point)| -> Option<Prism> {
        lens.prism_at(at).ok()
    });
    let pairs = || inputs(|g| (WornPair { right: worn(g), left: worn(g) }, g.point()));
    report("prism imbalance of a pair", 1, pairs(), |(pair, at)| pair.imbalance(at).ok());
    report("slab-off of a pair", 1, pairs(), |(pair, at)| pair.slab_off(at).ok());
    report("spectacle magnification of a thick lens", 1, lenses(), |lens| lens.magnification(millimetres(15)).ok());
    let seen = || lenses().filter_map(|lens| lens.magnification(millimetres(15)).ok());
    report("principal magnifications", 1, seen(), |seen| seen.principal().ok());
}

/// 400 corners of an oval 50 mm wide and 40 mm high.
fn outline() -> impl Iterator<Item = Point> {
    (0..400u32).map(|at| {
        let (cos, sin) = math::cos_sin((at << 24) / 400 << 8);
        Point::new(Millimetre::from_bits((cos >> 14) * 25), Millimetre::from_bits((sin >> 14) * 20))
    })
}

fn edged(generator: &mut Generator) -> Option<EdgedLens> {
    let axis = Point::new(millimetres(2), millimetres(-1));
    EdgedLens::new(lens(form(generator))?, axis, Prism::ZERO).ok()
}

#[inline(never)]
fn edges() {
    let lenses = || inputs(edged).flatten();
    report("thickest and thinnest edge of 400 corners", 1, lenses(), |lens| lens.edge(outline()).ok());
    report("volume within 400 corners", 1, lenses(), |lens| lens.volume(outline()).ok());
    let radii = inputs(|g| (millimetres(60), Fraction::from_bits(g.below(1 << 24)), millimetres(20)));
    report("sagitta of a conic", 1, radii, |(radius, shape, at)| lens::conic_sagitta(radius, shape, at).ok());
}

#[inline(never)]
pub fn all() {
    forms();
    edges();
    wear();
    eyes();
}
