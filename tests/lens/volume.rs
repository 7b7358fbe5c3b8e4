//! Volume and weight: closed forms, quadrature in `f64` a thousand times finer, outlines that are none.

use super::edge::{at, prism, rectangle};
use super::{Budget, Random, Worst, index, lens_of, mm, sphere, torus, turned};
use crate::common;
use dioptric::density;
use dioptric::lens::{EdgedLens, Error, OutlineError, Surface, ThickLens};
use dioptric::prism::Prism;
use dioptric::quantity::{CubicMillimetre, Density, Millimetre, Point};
use std::f64::consts::{PI, TAU};

/// Points of an ellipse about a centre, counter-clockwise.
fn ellipse(a: f64, b: f64, centre: (f64, f64), points: u32) -> Vec<Point> {
    let turn = |k: u32| f64::from(k) * TAU / f64::from(points);
    (0..points).map(|k| at(centre.0 + a * turn(k).cos(), centre.1 + b * turn(k).sin())).collect()
}

const GAUSS: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189_1),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.0, 0.568_888_888_888_888_9),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_5),
    (0.906_179_845_938_664, 0.236_926_885_056_189_1),
];

/// By Gauss's five points in eight parts of each radius and in two of each chord.
fn finely(edged: &EdgedLens, outline: &[Point]) -> f64 {
    let (lens, axis) = (edged.lens(), edged.axis());
    let thickness = |x: f64, y: f64| {
        let (x, y) = (x - axis.x.to_f64(), y - axis.y.to_f64());
        let sagitta = |surface| torus(surface, x, y).expect("on it").0;
        lens.thickness().to_f64() - sagitta(&lens.front()) - sagitta(&lens.back())
    };
    let cut = |parts: u32| {
        (0..parts).flat_map(move |k| {
            let part = f64::from(parts);
            GAUSS.map(|(x, w)| ((f64::from(k) + (x + 1.0) / 2.0) / part, w / 2.0 / part))
        })
    };
    let mut sum = 0.0;
    for (k, from) in outline.iter().enumerate() {
        let to = outline[(k + 1) % outline.len()];
        let [ax, ay, bx, by] = [from.x, from.y, to.x, to.y].map(Millimetre::to_f64);
        for (v, along) in cut(2) {
            let (x, y) = (ax + v * (bx - ax), ay + v * (by - ay));
            sum += cut(8).map(|(u, radial)| u * radial * along * thickness(u * x, u * y)).sum::<f64>()
                * (ax * by - ay * bx);
        }
    }
    sum.abs()
}

/// The greatest part of a radius that the outline reaches, and the least thickness on it.
fn reach(edged: &EdgedLens, outline: &[Point]) -> Option<(f64, f64)> {
    let lens = edged.lens();
    let mut reach = (0.0f64, lens.thickness().to_f64());
    for point in outline {
        let (x, y) = ((point.x - edged.axis().x).to_f64(), (point.y - edged.axis().y).to_f64());
        for surface in [lens.front(), lens.back()] {
            let (_, slope) = torus(&surface, x, y)?;
            reach.0 = reach.0.max(slope / slope.hypot(1.0));
        }
        reach.1 = reach.1.min(edged.thickness_at(*point).ok()?.to_f64());
    }
    Some(reach)
}

/// Ellipses, rectangles and triangles, decentred, on toric lenses nowhere thinner than 0.5 mm.
fn over_shapes(name: &'static str, worst: &mut Worst, least: f64, most: f64) {
    // The worst there is: a thin round lens, hollow to the limit all along its edge, on a flat front.
    for radius in [25.0, 32.0, 36.0] {
        let back = Surface::from_radius(mm(-radius), index(1.5)).expect("in range").power();
        let lens = ThickLens::new(sphere(0.0), back, index(1.5), mm(0.5)).expect("in range");
        let edged = EdgedLens::new(lens, Point::ORIGIN, Prism::ZERO).expect("in range");
        let outline = ellipse(radius * most, radius * most, (0.0, 0.0), 80);
        let found = edged.volume(outline.iter().copied()).expect("thick enough").to_f64();
        worst.see((found / finely(&edged, &outline) - 1.0).abs(), || format!("{edged:?}"));
    }
    let mut random = Random::new(name);
    for _ in 0..4000 {
        let mut surface = |mean: i32| turned(random.within(mean), random.within(3 << 20), random.u32());
        let (front, back) = (surface(14 << 20), surface(18 << 20));
        let n = index(1.5 + 0.25 * f64::from(random.u32()) / 4_294_967_296.0);
        let lens = ThickLens::new(front, back, n, mm(1.0)).expect("in range");
        let mut part = |from: f64, to: f64| from + (to - from) * f64::from(random.u32()) / 4_294_967_296.0;
        let (a, b) = (part(18.0, 29.0), part(12.0, 24.0));
        let axis = at(part(-5.0, 5.0), part(-4.0, 4.0));
        let outline = match (part(0.0, 3.0)) as u32 {
            0 => ellipse(a, b, (part(-3.0, 3.0), part(-2.0, 2.0)), 80),
            1 => rectangle(a * 0.8, b * 0.8, 1),
            _ => vec![at(a, -b / 2.0), at(part(-5.0, 5.0), b), at(-a, -b / 2.0)],
        };
        let edged = EdgedLens::new(lens, axis, Prism::ZERO).expect("in range");
        // As thick as a lens is made: half a millimetre where it is thinnest.
        let Ok(thicker) = edged.with_least_edge(outline.iter().copied(), mm(0.5)) else { continue };
        let centre = thicker.lens().thickness().max(mm(1.0));
        let lens = ThickLens::new(front, back, n, centre).expect("in range");
        let edged = EdgedLens::new(lens, axis, Prism::ZERO).expect("in range");
        let Some((reached, thinnest)) = reach(&edged, &outline) else { continue };
        if reached < least || reached > most || thinnest < 0.499 {
            continue;
        }
        let Ok(found) = edged.volume(outline.iter().copied()) else { continue };
        let exact = finely(&edged, &outline);
        worst.see((found.to_f64() / exact - 1.0).abs(), || format!("{edged:?} {outline:?}"));
    }
}

const BUDGETS: &[Budget] = &[
    Budget {
        function: "EdgedLens::volume",
        domain: "outlines to 0.7 of the radii",
        unit: "of itself",
        allowed: 3e-5,
        points: 1000,
        measure: |worst| over_shapes("volume", worst, 0.0, 0.7),
    },
    Budget {
        function: "EdgedLens::volume",
        domain: "outlines to 0.9 of the radii",
        unit: "of itself",
        allowed: 5e-4,
        points: 100,
        measure: |worst| over_shapes("volume of deep lenses", worst, 0.7, 0.9),
    },
];

#[test]
fn every_documented_bound_of_a_volume_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

/// Volume of the cap of a sphere.
fn cap(radius: f64, semi: f64) -> f64 {
    let height = radius - (radius * radius - semi * semi).sqrt();
    PI * height * height * (radius - height / 3.0)
}

#[test]
fn round_lenses_have_the_volume_of_cylinder_and_caps() {
    // Surfaces by their radii; the polygon of 2000 points lacks 1.6e-6 of the circle.
    for (front, back, centre, semi) in [(100.0, -80.0, 2.0, 30.0), (60.0, 200.0, 9.0, 25.0), (80.0, -50.0, 1.5, 32.5)] {
        let surface = |radius: f64| Surface::from_radius(mm(radius), index(1.5)).expect("in range").power();
        let lens = ThickLens::new(surface(front), surface(back), index(1.5), mm(centre)).expect("in range");
        let edged = EdgedLens::new(lens, Point::ORIGIN, Prism::ZERO).expect("in range");
        let edge = edged.thickness_along(dioptric::bearing!(0.0), mm(semi)).expect("on it").to_f64();
        // From the edge inwards: the cylinder of the edge's height, and what each surface rises above it.
        let caps = cap(front.abs(), semi).copysign(front) + cap(back.abs(), semi).copysign(back);
        let exact = PI * semi * semi * edge + caps;
        let found = edged.volume(ellipse(semi, semi, (0.0, 0.0), 2000)).expect("thick enough").to_f64();
        assert!((found / exact - 1.0).abs() < 1e-5, "{found} {exact}");
    }
}

#[test]
fn neither_sense_nor_start_nor_place_of_an_outline_matters() {
    let lens = ThickLens::new(lens_of("+6.00 -2.00 x 30"), lens_of("-4.00 DS"), index(1.6), mm(7.0)).expect("in range");
    let edged = EdgedLens::new(lens, at(2.0, -3.0), prism(1.0, -2.0)).expect("in range");
    let mut outline = ellipse(26.0, 18.0, (1.0, 0.5), 120);
    let first = edged.volume(outline.iter().copied()).expect("thick enough");
    outline.rotate_left(37);
    assert_eq!(edged.volume(outline.iter().copied()), Ok(first), "to the bit");
    outline.reverse();
    let back = edged.volume(outline.iter().copied()).expect("thick enough");
    assert!((back - first).abs() <= CubicMillimetre::from_bits(2), "{back} {first}");
    // Moved with its axis, the fan of triangles is another one.
    let moved = EdgedLens::new(lens, at(2.0 + 9.0, -3.0 - 7.0), prism(1.0, -2.0)).expect("in range");
    let outline = ellipse(26.0, 18.0, (10.0, -6.5), 120);
    let found = moved.volume(outline).expect("thick enough");
    assert!((found.to_f64() / first.to_f64() - 1.0).abs() < 1e-5, "{found} {first}");
}

#[test]
fn a_wedge_adds_what_lies_on_its_side() {
    let flat = ThickLens::new(sphere(0.0), sphere(0.0), index(1.5), mm(4.0)).expect("in range");
    // The centre of the shape lies 3 mm towards the base: there the slope of 2 prism dioptres is 0.04 less 0.06 %.
    let edged = EdgedLens::new(flat, at(-3.0, 0.0), prism(2.0, 0.0)).expect("in range");
    let slope = 0.02 / (1.5 * (1.0f64 + 0.0004).sqrt() - 1.0);
    let found = edged.volume(rectangle(25.0, 15.0, 3)).expect("thick enough").to_f64();
    assert!((found - 50.0 * 30.0 * (4.0 + 3.0 * slope)).abs() < 0.02, "{found}");
}

#[test]
fn a_flat_lens_has_area_times_thickness_to_the_bit() {
    let flat = |thickness| {
        let lens = ThickLens::new(sphere(0.0), sphere(0.0), index(1.5), thickness).expect("in range");
        EdgedLens::new(lens, at(2.0, 1.0), Prism::ZERO).expect("in range")
    };
    assert_eq!(
        flat(mm(2.0)).volume(rectangle(25.0, 15.0, 1)),
        Ok(CubicMillimetre::try_from_f64(3000.0).expect("in range"))
    );
    // A strip of one by 4.75 / 4096 mm, one thick, is five units: to nearest.
    let height = Millimetre::from_bits(4 * 16 + 12);
    let none = Millimetre::ZERO;
    let strip = [Point::ORIGIN, Point::new(mm(1.0), none), Point::new(mm(1.0), height), Point::new(none, height)];
    assert_eq!(flat(mm(1.0)).volume(strip), Ok(CubicMillimetre::from_bits(5)));
}

#[test]
fn weight_is_volume_by_density() {
    let lens = ThickLens::for_front(sphere(4.0), sphere(-4.0), index(1.498), mm(2.0)).expect("in range");
    let edged = EdgedLens::new(lens, Point::ORIGIN, Prism::ZERO).expect("in range");
    let outline = ellipse(25.0, 18.0, (0.0, 0.0), 400);
    let volume = edged.volume(outline.clone()).expect("thick enough").to_f64();
    for density in [density!(0.5), density!(1.32), density!(2.54), density!(8.0)] {
        let found = edged.weight(outline.clone(), density).expect("thick enough").to_f64();
        assert!((found - volume * density.to_f64()).abs() <= 0.002, "{found}");
    }
    // An ordinary lens weighs some grams.
    let grams = edged.weight(outline.clone(), density!(1.32)).expect("thick enough").to_f64() / 1000.0;
    assert!((5.0..7.0).contains(&grams), "{grams}");
    for density in [density!(0.49), density!(8.01), Density::MAX, Density::MIN] {
        assert_eq!(edged.weight(outline.clone(), density), Err(OutlineError::DensityRange));
    }
}

#[test]
fn an_outline_that_encloses_nothing_or_leaves_the_lens_is_refused() {
    let lens = ThickLens::new(sphere(8.0), sphere(0.0), index(1.5), mm(4.0)).expect("in range");
    let edged = EdgedLens::new(lens, Point::ORIGIN, Prism::ZERO).expect("in range");
    for outline in [vec![], vec![at(1.0, 1.0)], vec![at(1.0, 1.0), at(5.0, 2.0)]] {
        assert_eq!(edged.volume(outline), Err(OutlineError::Empty));
    }
    let corners = rectangle(24.0, 18.0, 1);
    let wrong = OutlineError::At { index: 0, point: at(24.0, 18.0), reason: Error::NoThickness };
    assert_eq!(edged.volume(corners), Err(wrong));
    let far = Point::new(Millimetre::MAX, Millimetre::MIN);
    let wrong = OutlineError::At { index: 2, point: far, reason: Error::DiameterRange };
    assert_eq!(edged.volume([at(1.0, 0.0), at(0.0, 1.0), far]), Err(wrong));
}
