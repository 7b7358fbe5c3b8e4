//! Edge thickness: the turned surface as rays in space meet it, Snell's law at the wedge, outlines too large for their lens.

use super::{Budget, RANDOM, Random, Worst, index, lens_of, lenses, mm, of_index, sphere, torus, turned};
use crate::common;
use dioptric::lens::{EdgedLens, Error, MOST_SEMI_DIAMETER, OutlineError, Surface, ThickLens, wedge_difference};
use dioptric::prism::{Eye, Prism};
use dioptric::quantity::{Bearing, Millimetre, Point, PrismDioptre};
use dioptric::{bearing, prism_dioptres};
use proptest::prelude::*;

pub fn at(x: f64, y: f64) -> Point {
    Point::new(mm(x), mm(y))
}

pub fn prism(x: f64, y: f64) -> Prism {
    let part = |value| PrismDioptre::try_from_f64(value).expect("in range");
    Prism::new(part(x), part(y))
}

/// The slope of the back face that bends a ray along the axis by a prism, from the law of Snell: by bisection.
fn slope(prism: f64, n: f64) -> f64 {
    let (mut low, mut high) = (0.0f64, 0.7f64);
    for _ in 0..200 {
        let a = (low + high) / 2.0;
        let sine = n * a.sin();
        let bent = if sine < 1.0 { sine.asin() - a } else { f64::INFINITY };
        if bent.is_finite() && bent.tan() < prism / 100.0 { low = a } else { high = a }
    }
    low.tan()
}

/// Thickness where a line parallel to the axis meets the turned back surface: by bisection in the surface's own frame. With it the
/// steepest slope of either surface there, and the back's slope along the wedge's.
fn exact(edged: &EdgedLens, point: Point) -> Option<(f64, f64, f64)> {
    let lens = edged.lens();
    let (x, y) = ((point.x - edged.axis().x).to_f64(), (point.y - edged.axis().y).to_f64());
    let (px, py) = (edged.prism().x.to_f64(), edged.prism().y.to_f64());
    let strength = px.hypot(py);
    let g = slope(strength, of_index(lens.index()));
    let (bx, by) = if strength > 0.0 { (px / strength, py / strength) } else { (1.0, 0.0) };
    let (sine, cosine) = (g / g.hypot(1.0), 1.0 / g.hypot(1.0));
    let (along, across) = (x * bx + y * by, y * bx - x * by);
    // z runs with the light; towards the base the surface lies further along it.
    let local = |z: f64| (along * cosine + z * sine, z * cosine - along * sine);
    let depth = |u: f64| torus(&lens.back(), u * bx - across * by, u * by + across * bx);
    let miss = |z: f64| {
        let (u, w) = local(z);
        depth(u).map(|(sagitta, _)| w + sagitta)
    };
    let start = along * g;
    let (mut low, mut high) = (start - 60.0, start + 60.0);
    // The surface may not reach as far as the ends: narrow to where it is there.
    while miss(low).is_none() && low < start {
        low += 0.01;
    }
    while miss(high).is_none() && high > start {
        high -= 0.01;
    }
    if miss(low)? > 0.0 || miss(high)? < 0.0 {
        return None;
    }
    for _ in 0..80 {
        let middle = (low + high) / 2.0;
        if miss(middle)? < 0.0 { low = middle } else { high = middle }
    }
    let (front, steep) = torus(&lens.front(), x, y)?;
    let (_, other) = depth(local(low).0)?;
    Some((lens.thickness().to_f64() + low - front, steep.max(other), other * g))
}

/// Lenses of any surfaces to 20 D, prism to 20 prism dioptres, points to 28 mm.
fn over_edges(name: &'static str, worst: &mut Worst, with_prism: bool, most_slope: f64) {
    let mut random = Random::new(name);
    for _ in 0..RANDOM / 10 {
        let scale = random.u32() % 4;
        let mut surface = || {
            let half = random.within(4 << 20) >> scale;
            turned(random.within(16 << 20) >> scale, half, random.u32())
        };
        let (front, back) = (surface(), surface());
        let n = index(1.45 + 0.4 * f64::from(random.u32()) / 4_294_967_296.0);
        let lens = ThickLens::new(front, back, n, mm(30.0)).expect("in range");
        let mut part = |most: i32| random.within(most);
        let amount = if with_prism { 14 << 20 } else { 0 };
        let ground = Prism::new(PrismDioptre::from_bits(part(amount)), PrismDioptre::from_bits(part(amount)));
        let mut place =
            |most: i32| Point::new(Millimetre::from_bits(part(most << 16)), Millimetre::from_bits(part(most << 16)));
        let (axis, point) = (place(6), place(20));
        let Ok(edged) = EdgedLens::new(lens, axis, ground) else { continue };
        let Some((thickness, steep, product)) = exact(&edged, point) else { continue };
        if thickness < 1e-4 || steep > most_slope || product > 0.5 {
            continue;
        }
        match edged.thickness_at(point) {
            Ok(found) => {
                worst.see((found.to_f64() - thickness).abs() * 1000.0, || format!("{edged:?} {point:?}"));
            }
            // The turned place may lie off the surface although the point does not.
            Err(error) => {
                assert!(matches!(error, Error::BeyondRadius | Error::DiameterRange), "{error} {edged:?} {point:?}")
            }
        }
    }
}

const BUDGETS: &[Budget] = &[
    Budget {
        function: "wedge_difference",
        domain: "to 24 prism dioptres and 80 mm, index from 1.5",
        unit: "nm",
        allowed: 8.0,
        points: RANDOM / 20,
        measure: |worst| {
            let mut random = Random::new("wedge");
            for _ in 0..RANDOM / 20 {
                let p = random.within(24 << 20);
                let width = Millimetre::from_bits(random.within(80 << 16));
                let n = index(1.5 + 0.4 * f64::from(random.u32()) / 4_294_967_296.0);
                let found = wedge_difference(PrismDioptre::from_bits(p), n, width).expect("in range").to_f64();
                let amount = f64::from(p) / 1_048_576.0;
                let wanted = slope(amount.abs(), of_index(n)).copysign(amount) * width.to_f64();
                worst.see((found - wanted).abs() * 1e6, || format!("{p} {n:?} {width:?}"));
            }
        },
    },
    Budget {
        function: "EdgedLens::thickness_at",
        domain: "20 D, 34 mm, to 0.9 of the radii, no prism",
        unit: "um",
        allowed: 0.03,
        points: RANDOM / 40,
        measure: |worst| over_edges("edge", worst, false, 2.064),
    },
    Budget {
        function: "EdgedLens::thickness_at",
        domain: "20 D, 34 mm, to 0.9 of the radii, prism to 20",
        unit: "um",
        allowed: 0.05,
        points: RANDOM / 40,
        measure: |worst| over_edges("edge with prism", worst, true, 2.064),
    },
    Budget {
        function: "EdgedLens::thickness_at",
        domain: "20 D, 34 mm, to 0.99 of the radii, prism to 20",
        unit: "um",
        allowed: 0.05,
        points: RANDOM / 40,
        measure: |worst| over_edges("steep edge with prism", worst, true, 7.0),
    },
];

#[test]
fn every_documented_bound_of_an_edge_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

/// A vertical rectangle of so many points a side.
pub fn rectangle(half_width: f64, half_height: f64, per_side: u32) -> Vec<Point> {
    let corners = [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)];
    let mut points = Vec::new();
    for (k, (x, y)) in corners.into_iter().enumerate() {
        let (next_x, next_y) = corners[(k + 1) % 4];
        for step in 0..per_side {
            let part = f64::from(step) / f64::from(per_side);
            points.push(at((x + (next_x - x) * part) * half_width, (y + (next_y - y) * part) * half_height));
        }
    }
    points
}

#[test]
fn a_wedge_is_thicker_at_its_base_by_the_law_of_the_thin_prism() {
    let wedge = |p, n, width| wedge_difference(p, index(n), mm(width)).map(Millimetre::to_f64);
    // Textbook: 100 (n - 1) t / d = P; the exact law takes up to (P/100)^2 n / (2 (n - 1)) of it.
    for (p, n, width) in [(3.0, 1.5, 50.0), (1.0, 1.523, 60.0), (6.0, 1.66, 45.0), (10.0, 1.5, 50.0), (20.0, 1.5, 10.0)]
    {
        let thin = p * width / 100.0 / (n - 1.0);
        let found = wedge(PrismDioptre::try_from_f64(p).expect("in range"), n, width).expect("in range");
        let short = (thin - found) / found;
        let bound = (p / 100.0f64).powi(2) * n / 2.0 / (n - 1.0);
        assert!(short > 0.9 * bound && short <= bound * 1.000_001, "{p} {n}: {short} {bound}");
    }
    assert_eq!(wedge(prism_dioptres!(27.9), 1.5, 10.0), Err(Error::PrismRange));
    assert!(wedge(prism_dioptres!(27.8), 1.5, 10.0).is_ok());
    assert_eq!(wedge(prism_dioptres!(50.1), 3.0, 10.0), Err(Error::PrismRange));
    assert_eq!(wedge(prism_dioptres!(1.0), 1.2, 10.0), Err(Error::IndexRange));
    assert_eq!(wedge(PrismDioptre::MIN, 1.5, 10.0), Err(Error::Saturated));
    assert_eq!(wedge_difference(prism_dioptres!(1.0), index(1.5), Millimetre::MAX), Err(Error::Saturated));
    assert_eq!(wedge(prism_dioptres!(-5.0), 1.5, 10.0).map(|v| -v), wedge(prism_dioptres!(5.0), 1.5, 10.0));
}

#[test]
fn the_base_is_the_thick_side() {
    let flat = ThickLens::new(sphere(0.0), sphere(0.0), index(1.5), mm(4.0)).expect("in range");
    for eye in [Eye::Right, Eye::Left] {
        let ground = Prism::from_bases(eye, prism_dioptres!(2.0), prism_dioptres!(0.0));
        let edged = EdgedLens::new(flat, Point::ORIGIN, ground).expect("in range");
        let edge = edged.edge(rectangle(25.0, 15.0, 10)).expect("thick enough");
        let nasal = if eye == Eye::Right { 1.0 } else { -1.0 };
        assert!(edge.thickest.point.x.to_f64() * nasal > 24.9, "base in is thick at the nose: {edge:?}");
        assert!(edge.thinnest.point.x.to_f64() * nasal < -24.9, "{edge:?}");
        let difference = (edge.thickest.thickness - edge.thinnest.thickness).to_f64();
        let wedge = wedge_difference(prism_dioptres!(2.0), flat.index(), mm(50.0)).expect("in range").to_f64();
        assert!((difference - wedge).abs() < 5e-5, "{difference} {wedge}");
    }
    let up =
        EdgedLens::new(flat, Point::ORIGIN, Prism::from_base(prism_dioptres!(3.0), bearing!(90.0))).expect("in range");
    let even = EdgedLens::new(flat, Point::ORIGIN, Prism::ZERO).expect("in range").edge(rectangle(25.0, 15.0, 10));
    assert_eq!(
        even.map(|edge| (edge.thickest.index, edge.thinnest.index)),
        Ok((0, 0)),
        "of points as thick, the first"
    );
    assert!(up.thickness_at(at(0.0, 10.0)).ok() > up.thickness_at(at(0.0, -10.0)).ok());
    assert_eq!(up.thickness_at(at(10.0, 0.0)), Ok(mm(4.0)));
}

#[test]
fn along_a_bearing_from_the_axis_is_at_the_point_there() {
    let lens = ThickLens::new(lens_of("+6.00 -2.00 x 30"), lens_of("-4.00 DS"), index(1.6), mm(5.0)).expect("in range");
    let edged = EdgedLens::new(lens, at(2.0, -3.0), prism(1.0, -2.0)).expect("in range");
    for (bearing, x, y) in [(bearing!(0.0), 20.0, 0.0), (bearing!(90.0), 0.0, 20.0), (bearing!(180.0), -20.0, 0.0)] {
        assert_eq!(edged.thickness_along(bearing, mm(20.0)), edged.thickness_at(at(2.0 + x, y - 3.0)));
    }
    let (far, near) =
        (edged.thickness_along(bearing!(210.0), mm(20.0)), edged.thickness_along(bearing!(30.0), mm(-20.0)));
    assert_eq!(far, near);
    let point = at(2.0 - 20.0 * 30.0f64.to_radians().cos(), -13.0);
    assert!((far.expect("on it") - edged.thickness_at(point).expect("on it")).to_bits().abs() <= 1);
    assert_eq!(edged.thickness_along(Bearing::default(), Millimetre::MAX), Err(Error::DiameterRange));
}

#[test]
fn an_edge_that_ends_before_the_outline_names_the_thinnest_point() {
    // +8 D, 4 mm in the middle: gone at the corners 30 mm out.
    let lens = ThickLens::new(sphere(8.0), sphere(0.0), index(1.5), mm(4.0)).expect("in range");
    let edged = EdgedLens::new(lens, at(1.0, 1.0), Prism::ZERO).expect("in range");
    let outline = rectangle(24.0, 18.0, 8);
    let Err(OutlineError::At { index, point, reason }) = edged.edge(outline.clone()) else { panic!("it has an edge") };
    assert_eq!((index, point, reason), (16, at(-24.0, -18.0), Error::NoThickness), "the corner farthest from the axis");
    assert_eq!(edged.thickness_at(point), Err(Error::NoThickness));

    let thicker = edged.with_least_edge(outline.clone(), mm(1.2)).expect("not too thick");
    let edge = thicker.edge(outline.clone()).expect("it has");
    assert_eq!((edge.thinnest.index, edge.thinnest.thickness), (16, mm(1.2)));
    assert_eq!(thicker.lens().front(), lens.front());
    // 8 D at 1.5: radius 62.5 mm; the corner is 25 and 19 mm from the axis.
    let sagitta = 62.5 - (62.5f64.powi(2) - 25.0f64.powi(2) - 19.0f64.powi(2)).sqrt();
    assert!((thicker.lens().thickness().to_f64() - 1.2 - sagitta).abs() < 5e-5);

    let fault = |found: Result<EdgedLens, OutlineError>| match found {
        Err(OutlineError::At { index, reason, .. }) => (index, reason),
        other => panic!("{other:?}"),
    };
    assert_eq!(fault(edged.with_least_edge(outline.clone(), mm(25.0))), (16, Error::ThicknessRange));
    assert_eq!(fault(edged.with_least_edge(outline.clone(), mm(-0.1))), (16, Error::ThicknessRange));
    // A minus lens is thickest at the edge: so thin an edge leaves no middle.
    let minus = ThickLens::new(sphere(0.0), sphere(-8.0), lens.index(), mm(2.0)).expect("in range");
    let minus = EdgedLens::new(minus, Point::ORIGIN, Prism::ZERO).expect("in range");
    assert_eq!(fault(minus.with_least_edge(outline.clone(), mm(0.5))).1, Error::ThicknessRange);

    assert_eq!(edged.edge([]), Err(OutlineError::Empty));
    let far = at(MOST_SEMI_DIAMETER.to_f64() + 1.1, 1.0);
    let wrong = OutlineError::At { index: 1, point: far, reason: Error::DiameterRange };
    assert_eq!(edged.edge([Point::ORIGIN, far]), Err(wrong));
    assert_eq!(wrong.to_string(), "point 1 at 41.10, 1.00 mm: a semi-diameter lies from 0 to 40 mm");
    assert!(!wrong.is_range() && !OutlineError::Empty.is_range() && OutlineError::DensityRange.is_range());
    assert_eq!(EdgedLens::new(lens, Point::new(Millimetre::MAX, mm(0.0)), Prism::ZERO), Err(Error::Saturated));
    assert_eq!(EdgedLens::new(lens, Point::ORIGIN, prism(30.0, 30.0)), Err(Error::PrismRange));
}

#[test]
fn a_decentred_lens_is_the_usual_sum_of_sagittas() {
    // -4.00 D on a front of +4.00 D, centre 2 mm, index 1.498; 30 mm from the axis 6.060984 mm, computed to twelve digits in f64.
    let lens = ThickLens::for_front(sphere(4.0), sphere(-4.0), index(1.498), mm(2.0)).expect("in range");
    let edged = EdgedLens::new(lens, at(3.0, -2.0), Prism::ZERO).expect("in range");
    let found = edged.thickness_at(at(33.0, -2.0)).expect("on it").to_f64();
    assert!((found - 6.060_984_306_28).abs() < 1e-4, "{found}");
    assert_eq!((edged.lens(), edged.axis(), edged.prism()), (lens, at(3.0, -2.0), Prism::ZERO));
}

#[test]
fn a_surfaced_lens_has_the_wanted_power_and_the_wanted_edge() {
    let mut random = Random::new("surfaced");
    let outline = rectangle(22.0, 16.0, 6);
    let (mut worst, mut found) = (0.0f64, 0);
    for _ in 0..2000 {
        let front = sphere(2.0 + 12.0 * f64::from(random.u32()) / 4_294_967_296.0);
        let wanted = turned(random.within(9 << 20), random.within(2 << 20), random.u32());
        let n = index(1.5 + 0.25 * f64::from(random.u32()) / 4_294_967_296.0);
        let blank = ThickLens::new(front, sphere(0.0), n, mm(20.0)).expect("in range");
        let ground = Prism::new(
            PrismDioptre::from_bits(random.within(2 << 20)),
            PrismDioptre::from_bits(random.within(2 << 20)),
        );
        let blank = EdgedLens::new(blank, at(2.0, -3.0), ground).expect("in range");
        let least = mm(1.2);
        // A minus lens that thin at its edge has no middle.
        let Ok(lens) = blank.for_least_edge(wanted, outline.iter().copied(), least) else { continue };
        assert_eq!(lens.lens().back_vertex_power(), Ok(wanted));
        assert_eq!((lens.lens().front().power(), lens.prism(), lens.axis()), (front, ground, at(2.0, -3.0)));
        let thinnest = lens.edge(outline.iter().copied()).expect("thick enough").thinnest.thickness;
        worst = worst.max((thinnest - least).to_f64().abs() * 1000.0);
        found += 1;
    }
    println!("{found} lenses, least edge within {worst:.3} um");
    assert!(found > 800 && worst <= 0.1, "{found} {worst}");

    let flat = ThickLens::new(sphere(0.0), sphere(0.0), index(1.5), mm(2.0)).expect("in range");
    let flat = EdgedLens::new(flat, Point::ORIGIN, Prism::ZERO).expect("in range");
    assert_eq!(flat.for_least_edge(sphere(1.0), [], mm(1.0)), Err(OutlineError::Empty));
    for (power, least) in [(-8.0, 0.5), (3.0, -0.5)] {
        let found = flat.for_least_edge(sphere(power), [at(20.0, 0.0)], mm(least));
        let wanted = OutlineError::At { index: 0, point: at(20.0, 0.0), reason: Error::ThicknessRange };
        assert_eq!(found, Err(wanted), "{power}");
    }
    let impossible = OutlineError::Lens(Error::PowerRange);
    assert_eq!(flat.for_least_edge(sphere(64.5), [at(20.0, 0.0)], mm(1.0)), Err(impossible));
    assert!(impossible.is_range() && impossible.to_string() == Error::PowerRange.to_string());
}

/// What the documentation says of the usual sum, and of the edge between two points.
#[test]
fn the_usual_sum_and_points_apart_miss_by_what_is_said() {
    // 5 mm of sagitta at a slope of 0.3: `r (1 - cos a) = 5` with `tan a = 0.3`.
    let radius = 5.0 / (1.0 - 1.0 / 1.09f64.sqrt());
    let semi = radius * 0.3 / 1.09f64.sqrt();
    let back = Surface::from_radius(mm(-radius), index(1.5)).expect("in range").power();
    let lens = ThickLens::new(sphere(0.0), back, index(1.5), mm(5.0)).expect("in range");
    let turned = EdgedLens::new(lens, Point::ORIGIN, prism(3.5, 0.0)).expect("in range");
    let rise = wedge_difference(prism_dioptres!(3.5), index(1.5), mm(semi)).expect("in range");
    let usual = lens.thickness_at(at(semi, 0.0)).expect("on it") + rise;
    let missed = (turned.thickness_at(at(semi, 0.0)).expect("on it") - usual).to_f64().abs();
    assert!((0.14..0.15).contains(&missed), "{missed}");
    // Points 0.3 mm apart on +16 D and -16 D: between them the edge is off the mean of both by their distance squared / 8 r.
    let lens = ThickLens::new(sphere(0.0), sphere(-16.0), index(1.5), mm(2.0)).expect("in range");
    let thickness = |x: f64| lens.thickness_at(at(x, 0.0)).expect("on it").to_f64();
    for x in [0.0, 5.0, 15.0, 20.0] {
        let between = (thickness(x - 0.15) + thickness(x + 0.15)) / 2.0 - thickness(x);
        assert!(between > 0.0002 && between < 0.001, "{x}: {between}");
    }
}

proptest! {
    #![proptest_config(common::cases(2000, super::REGRESSIONS))]

    #[test]
    fn without_prism_it_is_the_thick_lens_moved(lens in lenses(), x in -28 << 16..=28 << 16, y in -28 << 16..=28 << 16) {
        let (point, axis) = (Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y)), at(2.5, -1.25));
        let edged = EdgedLens::new(lens, axis, Prism::ZERO).expect("in range");
        prop_assert_eq!(edged.thickness_at(point + axis), lens.thickness_at(point));
    }

    #[test]
    fn the_mirrored_lens_has_the_mirrored_edge(lens in lenses(), x in -28 << 16..=28 << 16, y in -28 << 16..=28 << 16,
        px in -12 << 20..12 << 20, py in -12 << 20..12 << 20) {
        let point = Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        let ground = Prism::new(PrismDioptre::from_bits(px), PrismDioptre::from_bits(py));
        let mirrored = |surface: Surface| dioptric::vector::PowerMatrix { xy: -surface.power().xy, ..surface.power() };
        let mirror = ThickLens::new(mirrored(lens.front()), mirrored(lens.back()), lens.index(), lens.thickness()).expect("in range");
        let one = EdgedLens::new(lens, Point::ORIGIN, ground).and_then(|edged| edged.thickness_at(point));
        let other = EdgedLens::new(mirror, Point::ORIGIN, ground.mirrored());
        let other = other.and_then(|edged| edged.thickness_at(Point::new(-point.x, point.y)));
        // Half of an odd turn has no mirror image: a unit or two.
        match (one, other) {
            (Ok(one), Ok(other)) => prop_assert!((one - other).abs() <= mm(0.0001), "{one:?} {other:?}"),
            (Err(Error::NoThickness), Ok(rest)) | (Ok(rest), Err(Error::NoThickness)) => prop_assert!(rest <= mm(0.0001)),
            (one, other) => prop_assert_eq!(one, other),
        }
    }
}

#[cfg(feature = "serde")]
#[test]
fn an_edged_lens_is_read_back_and_checked() {
    let lens = ThickLens::new(sphere(6.0), sphere(-4.0), index(1.5), mm(5.0)).expect("in range");
    let edged = EdgedLens::new(lens, at(3.0, -2.0), prism(1.0, 2.0)).expect("in range");
    let mut written = serde_json::to_value(edged).expect("serialises");
    assert_eq!(serde_json::from_value::<EdgedLens>(written.clone()).expect("deserialises"), edged);
    written["prism"]["x"] = (60 << 20).into();
    assert!(serde_json::from_value::<EdgedLens>(written).is_err());
}
