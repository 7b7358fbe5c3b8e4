//! Measures of an outline of 400 corners.

use dioptric::{
    quantity::{Degree, Millimetre, Point},
    shape::{Contour, SizeTarget},
};
use dioptric_embedded::count::report;

use crate::inputs::{Generator, inputs};

const CORNERS: usize = 400;
const SPHERE: Millimetre = Millimetre::from_bits(80 << 16);
const TARGET: SizeTarget =
    SizeTarget { circumference: Millimetre::from_bits(165 << 16), apex: Millimetre::from_bits(1 << 15), sphere: None };

/// About 25 mm, with two harmonics of up to 2 mm.
fn outline(generator: &mut Generator) -> [Millimetre; CORNERS] {
    let (first, second) = (generator.below(2 << 16), generator.below(2 << 16));
    core::array::from_fn(|at| {
        let wave = |harmonic: u32, size: i32| {
            let (cos, _) = dioptric::math::cos_sin((at as u32 * harmonic).wrapping_mul(10_737_418));
            ((i64::from(cos) * i64::from(size)) >> 30) as i32
        };
        Millimetre::from_bits((25 << 16) + wave(1, first) + wave(2, second))
    })
}

fn outlines() -> impl Iterator<Item = [Millimetre; CORNERS]> {
    inputs(outline).take(8)
}

#[inline(never)]
pub fn all() {
    let sum = |radii: [Millimetre; CORNERS]| {
        let contour = Contour::new(&radii).ok()?;
        Some(contour.corners().fold(Point::ORIGIN, |sum, corner| sum + corner))
    };
    report("outline: 400 corners", 1, outlines(), sum);
    report("outline: box", 1, outlines(), |radii| Some(Contour::new(&radii).ok()?.boxing()));
    report("outline: effective diameter", 1, outlines(), |radii| Some(Contour::new(&radii).ok()?.effective_diameter()));
    report("outline: area", 1, outlines(), |radii| Some(Contour::new(&radii).ok()?.area_square_micrometres()));
    report("outline: circumference", 1, outlines(), |radii| Some(Contour::new(&radii).ok()?.circumference()));
    report("outline: circumference on a sphere", 1, outlines(), |radii| {
        Contour::new(&radii).ok()?.circumference_on_sphere(SPHERE).ok()
    });
    report("outline: sharpest bends", 1, outlines(), |radii| Some(Contour::new(&radii).ok()?.bends(4)));
    report("outline: turned by a part of a step", 1, outlines(), |own| {
        let mut radii = [Millimetre::ZERO; CORNERS];
        Contour::new(&own).ok()?.turned(Degree::from_bits(1 << 20), &mut radii).ok().map(|turned| turned.count())
    });
    report("outline: offset by 1 mm", 1, outlines(), |own| {
        let mut radii = [Millimetre::ZERO; CORNERS];
        Contour::new(&own).ok()?.offset(Millimetre::from_bits(1 << 16), &mut radii).ok().map(|moved| moved.count())
    });
    report("outline: sized to a circumference", 1, outlines(), |own| {
        let mut radii = [Millimetre::ZERO; CORNERS];
        Contour::new(&own).ok()?.sized(&TARGET, &mut radii).ok().map(|(sized, _)| sized.count())
    });
}
