//! Outlines: boxing, lengths, areas, offsets and sizes against the same in f64 on a curve a hundred times as dense.

use dioptric::quantity::{Bearing, Degree, Millimetre, Point};
use dioptric::shape::{Contour, Error, SizeTarget};
use proptest::prelude::*;
use std::f64::consts::{PI, TAU};

fn mm(value: f64) -> Millimetre {
    Millimetre::try_from_f64(value).expect("in range")
}

/// A smooth shape: a radius by the angle, in harmonics.
#[derive(Clone, Debug)]
struct Shape {
    mean: f64,
    cosines: [f64; 5],
    sines: [f64; 5],
}

impl Shape {
    fn round(mean: f64) -> Self {
        Self { mean, cosines: [0.0; 5], sines: [0.0; 5] }
    }

    fn radius(&self, angle: f64) -> f64 {
        let waves = self.cosines.iter().zip(&self.sines).zip(1..);
        self.mean
            + waves.map(|((c, s), k)| c * (f64::from(k) * angle).cos() + s * (f64::from(k) * angle).sin()).sum::<f64>()
    }

    /// The place at an angle, a distance along the normal away; derivatives in closed form.
    fn place(&self, angle: f64, distance: f64) -> [f64; 2] {
        let r = self.radius(angle);
        let waves = self.cosines.iter().zip(&self.sines).zip(1..);
        let d: f64 = waves
            .map(|((c, s), k)| f64::from(k) * (s * (f64::from(k) * angle).cos() - c * (f64::from(k) * angle).sin()))
            .sum();
        let (sin, cos) = angle.sin_cos();
        let (tx, ty) = (d * cos - r * sin, d * sin + r * cos);
        let speed = tx.hypot(ty);
        [r * cos + distance * ty / speed, r * sin - distance * tx / speed]
    }

    fn radii(&self, count: usize) -> Vec<Millimetre> {
        (0..count).map(|at| mm(self.radius(TAU * at as f64 / count as f64))).collect()
    }

    fn dense(&self, distance: f64) -> Vec<[f64; 2]> {
        (0..40_000).map(|at| self.place(TAU * f64::from(at) / 40_000.0, distance)).collect()
    }
}

/// Of a polygon so dense that it is short by 1e-9 of itself.
fn length(places: &[[f64; 2]], sphere: Option<f64>) -> f64 {
    let depth = |[x, y]: [f64; 2]| sphere.map_or(0.0, |r| (r * r - x * x - y * y).sqrt());
    let around = places.iter().zip(places.iter().cycle().skip(1));
    around.map(|(a, b)| (b[0] - a[0]).hypot(b[1] - a[1]).hypot(depth(*b) - depth(*a))).sum()
}

fn area(places: &[[f64; 2]]) -> f64 {
    places.iter().zip(places.iter().cycle().skip(1)).map(|(a, b)| (a[0] * b[1] - a[1] * b[0]) / 2.0).sum()
}

/// Smooth shapes: every harmonic small enough that the radius of curvature is above 5 mm, of either sign.
fn shapes() -> impl Strategy<Value = Shape> {
    let part = |most: f64| (-most..most, -most..most);
    (20.0..30.0, part(1.5), part(2.5), part(0.4), part(0.15), part(0.05)).prop_map(|(mean, a, b, c, d, e)| Shape {
        mean,
        cosines: [a.0, b.0, c.0, d.0, e.0],
        sines: [a.1, b.1, c.1, d.1, e.1],
    })
}

fn uneven(shape: &Shape, count: usize, seed: f64) -> (Vec<Millimetre>, Vec<Bearing>) {
    let turn = |at: usize| (at as f64 + 0.35 * (at as f64 * seed).sin() + 0.5) / count as f64;
    let angles: Vec<_> = (0..count).map(|at| Bearing::from_bits((turn(at) * 4_294_967_296.0) as u32)).collect();
    let radii = angles.iter().map(|angle| mm(shape.radius(f64::from(angle.to_bits()) * TAU / 4_294_967_296.0)));
    (radii.collect(), angles)
}

fn check(contour: &Contour, shape: &Shape) {
    let dense = shape.dense(0.0);
    let near = |name: &str, found: Millimetre, exact: f64, bound: f64| {
        assert!((found.to_f64() - exact).abs() < bound, "{name}: {found} {exact} {shape:?}");
    };
    near("length", contour.circumference(), length(&dense, None), 0.001);
    near("on a sphere", contour.circumference_on_sphere(mm(80.0)).unwrap(), length(&dense, Some(80.0)), 0.001);
    let area_off = contour.area_square_micrometres() as f64 * 1e-6 - area(&dense);
    assert!(area_off.abs() < 0.01, "{area_off} {shape:?}");
    let most = |of: &dyn Fn(&[f64; 2]) -> f64| dense.iter().map(of).fold(f64::MIN, f64::max);
    let (right, up, left, down) = (most(&|p| p[0]), most(&|p| p[1]), most(&|p| -p[0]), most(&|p| -p[1]));
    let boxing = contour.boxing();
    near("right", boxing.most.x, right, 0.0005);
    near("up", boxing.most.y, up, 0.0005);
    near("left", boxing.least.x, -left, 0.0005);
    near("down", boxing.least.y, -down, 0.0005);
    near("A", boxing.width(), right + left, 0.001);
    near("B", boxing.height(), up + down, 0.001);
    let (x, y) = ((right - left) / 2.0, (up - down) / 2.0);
    near("effective diameter", contour.effective_diameter().0, 2.0 * most(&|p| (p[0] - x).hypot(p[1] - y)), 0.002);
    let mut radii = vec![Millimetre::ZERO; 400];
    let (recentred, centre) = contour.recentred(&mut radii).unwrap();
    near("centre", centre.x, x, 0.0005);
    assert!(recentred.boxing().centre().distance() < mm(0.001));
    near("length about the centre", recentred.circumference(), length(&dense, None), 0.001);
}

#[derive(serde::Deserialize)]
struct ClosedForm {
    a_mm: f64,
    b_mm: f64,
    power: f64,
    length_mm: f64,
    area_mm2: f64,
}

/// `|x/a|^p + |y/b|^p = 1`.
fn superellipse_radii(shape: &ClosedForm, count: usize) -> Vec<Millimetre> {
    let radius = |at: usize| {
        let (sin, cos) = (TAU * at as f64 / count as f64).sin_cos();
        let part = |value: f64, axis: f64| (value / axis).abs().powf(shape.power);
        mm((part(cos, shape.a_mm) + part(sin, shape.b_mm)).powf(-1.0 / shape.power))
    };
    (0..count).map(radius).collect()
}

/// Closed forms and integrals to 15 digits by mpmath: `tests/data/shape/make_closed_forms.py`.
#[test]
fn circles_ellipses_and_superellipses_have_their_length_and_area() {
    let mut table = csv::Reader::from_path("tests/data/shape/closed_forms.csv").expect("the table");
    let mut worst = [0.0f64; 2];
    for shape in table.deserialize::<ClosedForm>() {
        let shape = shape.expect("a row");
        for count in [400, 720, 1440] {
            let radii = superellipse_radii(&shape, count);
            let contour = Contour::new(&radii).expect("an outline");
            let length = (contour.circumference().to_f64() - shape.length_mm).abs();
            let area = (contour.area_square_micrometres() as f64 * 1e-6 - shape.area_mm2).abs();
            println!("{} x {} p {} {count}: {length:.1e} mm {area:.1e} mm2", shape.a_mm, shape.b_mm, shape.power);
            worst = [worst[0].max(length), worst[1].max(area)];
        }
    }
    // The goal is 0.005 mm.
    assert!(worst[0] < 0.001 && worst[1] < 0.01, "{worst:?}");
}

/// An ellipse's least radius is `b^2 / a`, at the ends of its longer axis.
#[test]
fn bends_are_those_of_the_circle_through_three_corners() {
    for radius in [5.0, 12.0, 30.0, 64.0] {
        for (count, span) in [(400, 1), (400, 6), (1440, 4)] {
            let chord = TAU * radius * f64::from(span) / f64::from(count);
            if chord < 0.3 {
                continue;
            }
            let radii = vec![mm(radius); count as usize];
            let bends = Contour::new(&radii).expect("a circle").bends(span as usize);
            assert!(bends.is_convex());
            let found = bends.sharpest.expect("not flat").radius.to_f64();
            assert!((1.0 / found - 1.0 / radius).abs() < 4e-5 / (chord * chord), "{radius} {count} {span}: {found}");
        }
    }
    let ellipse = ClosedForm { a_mm: 30.0, b_mm: 15.0, power: 2.0, length_mm: 0.0, area_mm2: 0.0 };
    let radii = superellipse_radii(&ellipse, 720);
    let bends = Contour::new(&radii).expect("an ellipse").bends(2);
    let sharpest = bends.sharpest.expect("not flat");
    assert!(bends.is_convex() && [0, 360].contains(&sharpest.corner), "{sharpest:?}");
    assert!((sharpest.radius.to_f64() - 7.5).abs() < 0.08, "{sharpest:?}");
}

#[test]
fn a_hollow_is_found_where_it_is() {
    // r = 25 + 4 cos 2t: at 90 degrees r = 21, r'' = 16, the curvature (r^2 - r r'') / r^3.
    let shape = Shape { cosines: [0.0, 4.0, 0.0, 0.0, 0.0], ..Shape::round(25.0) };
    let hollow = Shape { cosines: [0.0, 6.0, 0.0, 0.0, 0.0], ..Shape::round(25.0) };
    let radii = shape.radii(400);
    assert!(Contour::new(&radii).expect("an outline").bends(3).is_convex(), "(21 - 16) / 21^2: 88 mm");
    let radii = hollow.radii(400);
    let hollowest = Contour::new(&radii).expect("an outline").bends(3).hollowest.expect("19 - 24 < 0");
    assert!([100, 300].contains(&hollowest.corner), "{hollowest:?}");
    // r = 19, r'' = 24: 19^2 / (19 - 24).
    assert!((hollowest.radius.to_f64() / (-361.0 / 5.0) - 1.0).abs() < 0.02, "{hollowest:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn measures(shape in shapes(), seed in 0.1..3.0) {
        check(&Contour::new(&shape.radii(400)).unwrap(), &shape);
        let (radii, angles) = uneven(&shape, 500, seed);
        check(&Contour::with_angles(&radii, &angles).unwrap(), &shape);
    }

    #[test]
    fn offsets(shape in shapes(), distance in -2.0..2.0) {
        let radii = shape.radii(400);
        let contour = Contour::new(&radii).unwrap();
        let (mut there, mut back) = ([Millimetre::ZERO; 400], [Millimetre::ZERO; 400]);
        let moved = contour.offset(mm(distance), &mut there).unwrap();
        // Steiner, and the same curve in f64.
        let steiner = length(&shape.dense(0.0), None) + TAU * distance;
        prop_assert!((moved.circumference().to_f64() - steiner).abs() < 0.001);
        prop_assert!((moved.area_square_micrometres() as f64 * 1e-6 - area(&shape.dense(distance))).abs() < 0.02);
        let again = moved.offset(mm(-distance), &mut back).unwrap();
        for (a, b) in again.radii().iter().zip(&radii) {
            prop_assert!((*a - *b).abs() < mm(0.002), "{a} {b}");
        }
    }

    #[test]
    fn sizes(shape in shapes(), more in -6.0..6.0, apex in -1.0..1.0, curved in any::<bool>()) {
        let radii = shape.radii(400);
        let contour = Contour::new(&radii).unwrap();
        let sphere = curved.then_some(80.0);
        let target = length(&shape.dense(0.0), sphere) + more;
        let target = SizeTarget { circumference: mm(target), apex: mm(apex), sphere: sphere.map(mm) };
        let mut out = [Millimetre::ZERO; 400];
        let (_, distance) = contour.sized(&target, &mut out).unwrap();
        let exact = length(&shape.dense(distance.to_f64() + apex), sphere);
        prop_assert!((exact - target.circumference.to_f64()).abs() < 0.002, "{exact} {target:?}");
    }

    #[test]
    fn resampling(shape in shapes(), seed in 0.1..3.0, count in 256usize..1000) {
        let (radii, angles) = uneven(&shape, 500, seed);
        let mut out = vec![Millimetre::ZERO; count];
        Contour::with_angles(&radii, &angles).unwrap().resampled(&mut out).unwrap();
        for (found, exact) in out.iter().zip(shape.radii(count)) {
            prop_assert!((*found - exact).abs() < mm(0.0001), "{found} {exact}");
        }
    }

    #[test]
    fn turns_and_mirrors(shape in shapes(), degrees in -400.0..400.0) {
        let radii = shape.radii(400);
        let contour = Contour::new(&radii).unwrap();
        let (mut once, mut twice, mut angles) = ([Millimetre::ZERO; 400], [Millimetre::ZERO; 400], []);
        let mirrored = contour.mirrored(&mut once, &mut angles).unwrap();
        prop_assert_eq!(mirrored.circumference(), contour.circumference());
        prop_assert_eq!(mirrored.area_square_micrometres(), contour.area_square_micrometres());
        for (a, b) in mirrored.corners().zip(contour.corners().collect::<Vec<_>>().into_iter().rev().cycle().skip(199)) {
            prop_assert_eq!((a.x, a.y), (-b.x, b.y));
        }
        let mut angles = [];
        prop_assert_eq!(mirrored.mirrored(&mut twice, &mut angles).unwrap(), contour);
        let turned = contour.turned(Degree::try_from_f64(degrees).unwrap(), &mut once).unwrap();
        prop_assert!((turned.circumference() - contour.circumference()).abs() < mm(0.0005));
        prop_assert!((turned.area_square_micrometres() - contour.area_square_micrometres()).abs() < 5000);
        // Of all shapes as long the circle is the largest.
        let length = contour.circumference().to_f64();
        prop_assert!(contour.area_square_micrometres() as f64 * 1e-6 <= length * length / (4.0 * PI) + 0.01);
    }

    #[test]
    fn uneven_mirror_twice(shape in shapes(), seed in 0.1..3.0) {
        let (radii, angles) = uneven(&shape, 101, seed);
        let contour = Contour::with_angles(&radii, &angles).unwrap();
        let zeros = (vec![Millimetre::ZERO; 101], vec![Bearing::from_bits(0); 101]);
        let (mut once, mut twice) = (zeros.clone(), zeros);
        let mirrored = contour.mirrored(&mut once.0, &mut once.1).unwrap();
        prop_assert_eq!(mirrored.mirrored(&mut twice.0, &mut twice.1).unwrap(), contour);
    }
}

#[test]
fn whole_steps_turn_exactly() {
    let mut shape = Shape::round(25.0);
    shape.cosines[0] = 2.0;
    let radii = shape.radii(400);
    let mut out = [Millimetre::ZERO; 400];
    Contour::new(&radii).unwrap().turned(Degree::try_from_f64(0.9 * 7.0).unwrap(), &mut out).unwrap();
    assert_eq!(out[7..], radii[..393]);
}

#[test]
fn steps_are_rounded_divisions() {
    for count in 64..=2048u64 {
        let radii = vec![mm(25.0); count as usize];
        let contour = Contour::new(&radii).unwrap();
        for (at, corner) in (0u64..).zip(contour.corners()) {
            let turn = (((at << 32) + count / 2) / count) as u32;
            assert_eq!(contour.angle(at as usize).to_bits(), turn);
            let (cos, _) = dioptric::math::cos_sin(turn);
            let x = dioptric::math::shift_round(i64::from(mm(25.0).to_bits()) * i64::from(cos), 30);
            assert_eq!(i64::from(corner.x.to_bits()), x);
        }
    }
}

#[test]
fn few_corners_still_do() {
    for count in [64, 100, 200] {
        let radii = vec![mm(25.0); count];
        let contour = Contour::new(&radii).unwrap();
        let off = contour.circumference().to_f64() - 50.0 * PI;
        assert!(off.abs() < 157.08 * (TAU / count as f64).powi(4) / 400.0 + 0.0001, "{count}: {off}");
    }
}

#[test]
fn what_cannot_be() {
    let radii = [mm(10.0); 400];
    let round = Contour::new(&radii).unwrap();
    let mut out = [Millimetre::ZERO; 400];
    assert!(matches!(round.offset(mm(-11.0), &mut out), Err(Error::Crosses(_))));
    assert!(matches!(round.about(Point::new(mm(11.0), mm(0.0)), &mut out), Err(Error::Crosses(_))));
    assert_eq!(round.circumference_on_sphere(mm(10.0)), Err(Error::SphereRadius));
    assert_eq!(round.circumference_on_sphere(mm(-80.0)), Err(Error::SphereRadius));
    let target = SizeTarget { circumference: mm(2000.0), apex: mm(0.0), sphere: None };
    assert_eq!(round.sized(&target, &mut out).unwrap_err(), Error::Unreachable);
    let target = SizeTarget { circumference: mm(-10.0), ..target };
    assert!(matches!(round.sized(&target, &mut out), Err(Error::Crosses(_))));
    assert_eq!(round.resampled(&mut out[..63]).unwrap_err(), Error::CornerCount);
    assert_eq!(round.mirrored(&mut out[..63], &mut []).unwrap_err(), Error::LengthsDiffer);
}

/// `tests/data/shape/shapely.csv`: written by the script beside it, with shapely (PyPI), on outlines of our own.
#[test]
fn shapely_agrees() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/shape/shapely.csv");
    let mut rows = 0;
    for row in csv::Reader::from_path(path).unwrap().records() {
        let row = row.unwrap();
        let f: Vec<f64> = row.iter().skip(1).map(|field| field.parse().unwrap()).collect();
        let mut shape = Shape::round(f[0]);
        shape.cosines.copy_from_slice(&f[1..6]);
        shape.sines.copy_from_slice(&f[6..11]);
        let (radii, mut out) = (shape.radii(400), [Millimetre::ZERO; 400]);
        let contour = Contour::new(&radii).unwrap();
        let boxing = contour.boxing();
        let box_found = [boxing.least.x, boxing.least.y, boxing.most.x, boxing.most.y];
        for (found, exact) in box_found.iter().zip(&f[12..16]) {
            assert!((found.to_f64() - exact).abs() < 0.0005, "{row:?}: {found} {exact}");
        }
        let moved = contour.offset(mm(f[11]), &mut out).unwrap();
        for (contour, at) in [(contour, 16), (moved, 18)] {
            assert!((contour.circumference().to_f64() - f[at]).abs() < 0.002, "{row:?}: {}", contour.circumference());
            let area = contour.area_square_micrometres() as f64 * 1e-6;
            assert!((area - f[at + 1]).abs() < 0.02, "{row:?}: {area}");
        }
        rows += 1;
    }
    assert_eq!(rows, 8);
}
