//! The example's ray trace: against spots that another tracer traced, against paraxial optics, and at the edges of a segment.

#[path = "../examples/render/optics/mod.rs"]
mod optics;

use dioptric::oracle::SpheroCylinder;
use glam::{DMat3, DVec2, DVec3, dvec2};
use optics::{
    Bench, DISTANCE_Y, Kind, Lattice, Lens, NEAR_Y, Order, Plate, Pose, Segment, Shape, Surface, Term, at_axis,
    paraxial,
};
use std::collections::HashMap;

type Row = HashMap<String, String>;

fn table(file: &str) -> Vec<Row> {
    let path = format!("{}/tests/data/raytrace/{file}", env!("CARGO_MANIFEST_DIR"));
    let rows = csv::Reader::from_path(&path).expect("the file is there").into_deserialize();
    rows.map(|row| row.expect("a row")).collect()
}

fn number(row: &Row, name: &str) -> f64 {
    row[name].parse().unwrap_or_else(|_| panic!("{name}: {}", row[name]))
}

fn surface(row: &Row, side: &str) -> Surface {
    let get = |name: &str| number(row, &format!("{side}_{name}"));
    let shape = Shape::Torus {
        along: get("radius_along_axis_mm"),
        across: get("radius_across_axis_mm"),
        axis_deg: get("axis_deg"),
    };
    let gradient = DVec2::from_angle(get("tilt_bearing_deg").to_radians()) * get("tilt_deg").to_radians().tan();
    Surface { shape, gradient }
}

fn traced_lens(row: &Row) -> (Bench, Lens) {
    let centre = dvec2(number(row, "decentration_x_mm"), number(row, "decentration_y_mm"));
    let lens = Lens {
        index: number(row, "index"),
        thickness: number(row, "centre_thickness_mm"),
        front: surface(row, "front"),
        back: surface(row, "back"),
        pose: Pose::decentred(centre),
    };
    (Bench { gap: number(row, "gap_mm"), throw: number(row, "throw_mm") }, lens)
}

/// `tests/data/raytrace/README.md`: spots by `optiland`, rounded to 0.1 nm, each by a ray within 0.1 nm of the hole's centre.
#[test]
fn the_spots_are_those_of_another_tracer() {
    let lenses = table("lenses.csv");
    assert_eq!(lenses.len(), 34);
    let mut worst = 0f64;
    for row in &lenses {
        let (bench, lens) = traced_lens(row);
        let spots = table(&row["file"]);
        assert_eq!(spots.len(), 113);
        for spot in &spots {
            let hole = dvec2(number(spot, "ref_x_mm"), number(spot, "ref_y_mm"));
            let wanted = dvec2(number(spot, "x_mm"), number(spot, "y_mm"));
            let landings = bench.land(&lens, hole);
            assert_eq!(landings.len(), 1);
            assert!(landings[0].miss < 1e-9, "{}: {:e} mm from the hole", row["file"], landings[0].miss);
            worst = worst.max((landings[0].at - wanted).abs().max_element());
        }
    }
    println!("largest difference {worst:.1e} mm");
    // Half of the last decimal, 5e-8, and what 1e-10 mm at the hole may become at the detector.
    assert!(worst < 6e-8, "{worst:e}");
}

/// The thick-lens formula as the script beside those files has it, of twelve digits.
#[test]
fn paraxial_power_and_prism_are_those_of_the_files() {
    for row in &table("lenses.csv") {
        let (_, lens) = traced_lens(row);
        let (power, prism) = paraxial(&lens);
        let pairs = [
            (power.x_axis.x, "paraxial_xx"),
            (power.x_axis.y, "paraxial_xy"),
            (power.y_axis.x, "paraxial_xy"),
            (power.y_axis.y, "paraxial_yy"),
            (prism.x, "paraxial_prism_x"),
            (prism.y, "paraxial_prism_y"),
        ];
        for (value, name) in pairs {
            // Curvatures here are differences over 0.02 mm.
            assert!((value - number(row, name)).abs() < 1e-4, "{} {name}: {value}", row["file"]);
        }
    }
}

const BENCH: Bench = Bench { gap: 5.0, throw: 20.0 };

fn order(sphere: f64, cylinder: f64, axis: f64) -> Order {
    let power = SpheroCylinder { sphere, cylinder, axis };
    Order { power, prism: DVec2::ZERO, kind: Kind::SingleVision, index: 1.6, thickness: None, base_curve: None }
}

#[test]
fn a_centred_lens_reads_at_the_axis_what_was_ordered() {
    for sphere in [-25.0, -10.0, -2.25, 0.0, 0.5, 4.0, 12.0, 25.0] {
        for (cylinder, axis) in [(0.0, 180.0), (-1.5, 35.0), (-4.0, 90.0), (2.0, 150.0)] {
            let order = order(sphere, cylinder, axis);
            let read = at_axis(BENCH, &order.lens()).expect("light at the axis");
            let wanted = order.power.matrix();
            let off = [read.power.xx - wanted.xx, read.power.xy - wanted.xy, read.power.yy - wanted.yy];
            let worst = off.iter().fold(0f64, |worst, off| worst.max(off.abs()));
            // What is left is the aberration over 0.01 mm, which grows as the cube of the power.
            assert!(worst < 2e-5, "{sphere} {cylinder} x {axis}: {worst:e}");
            assert!(read.prism.iter().all(|prism| prism.abs() < 1e-9), "{:?}", read.prism);
        }
    }
}

/// Exact refraction against the thin prism, which `tests/data/raytrace/README.md` puts at 4e-4 for a wedge of 3.
#[test]
fn prism_is_towards_its_base() {
    for (x, y) in [(3.0, 0.0), (0.0, 1.5), (-1.0, -2.0)] {
        let order = Order { prism: dvec2(x, y), ..order(-2.0, -1.0, 20.0) };
        let read = at_axis(BENCH, &order.lens()).expect("light at the axis").prism;
        assert!((read[0] - x).hypot(read[1] - y) < 0.005, "{read:?} instead of {x}, {y}");
    }
}

#[test]
fn a_polynomial_can_be_any_of_the_other_forms() {
    let plate = PLATE.holes();
    // A sphere of 90 mm as itself, and as a sphere of 100 mm with the difference as a series in the squared height.
    let [k1, k2] = [1.0 / 90.0f64, 1.0 / 100.0];
    // c r^2 / 2 + c^3 r^4 / 8 + c^5 r^6 / 16 + 5 c^7 r^8 / 128.
    let series = [(1, 0.5, 1), (2, 0.125, 3), (3, 0.0625, 5), (4, 5.0 / 128.0, 7)];
    let choose = |n: i32, k: i32| (0..k).fold(1.0, |c, i| c * f64::from(n - i) / f64::from(i + 1));
    let terms = series.iter().flat_map(|&(n, factor, order)| {
        let factor = factor * (k1.powi(order) - k2.powi(order));
        (0..=n).map(move |k| Term { u: 2 * k, v: 2 * (n - k), factor: factor * choose(n, k) })
    });
    let lens = |front: Shape| Lens { front: front.into(), ..order(3.0, -1.0, 30.0).lens() };
    let sphere = lens(Shape::sphere(90.0));
    let polynomial = lens(Shape::Polynomial { radius: 100.0, terms: terms.collect() });
    for hole in plate {
        let [a, b] = [&sphere, &polynomial].map(|lens| BENCH.land(lens, hole.at)[0].at);
        assert!(a.distance(b) < 1e-9, "{a} {b}");
    }
}

const PLATE: Plate = Plate { lattice: Lattice::Square, pitch: 0.4, radius: 2.4, rotation_deg: 0.0, marker: None };

/// Second differences of a surface's height: xx, xy, yy.
fn curvatures(shape: &Shape, at: DVec2) -> [f64; 3] {
    const STEP: f64 = 0.02;
    let height = |x: f64, y: f64| shape.height(0, at + STEP * dvec2(x, y));
    let second = |a: f64, b: f64| (a - 2.0 * height(0.0, 0.0) + b) / (STEP * STEP);
    let twist = height(1.0, 1.0) - height(1.0, -1.0) - height(-1.0, 1.0) + height(-1.0, -1.0);
    [
        second(height(1.0, 0.0), height(-1.0, 0.0)),
        twist / (4.0 * STEP * STEP),
        second(height(0.0, 1.0), height(0.0, -1.0)),
    ]
}

/// A surface without cylinder along a line has, beside it, a cylinder that grows twice as fast as the power along it (Minkwitz's
/// theorem, from memory).
#[test]
fn a_progression_obeys_the_law_of_its_astigmatism() {
    let rise = 2.0 / (1000.0 * 0.5);
    let lens = Order {
        kind: Kind::Progressive { addition: 2.0 },
        index: 1.5,
        base_curve: Some(0.0),
        ..order(0.0, 0.0, 180.0)
    };
    let shape = lens.lens().front.shape;
    let mut last = -1.0;
    for step in 0..=24 {
        let at = dvec2(0.0, DISTANCE_Y + (NEAR_Y - DISTANCE_Y) * f64::from(step) / 24.0);
        let [xx, xy, yy] = curvatures(&shape, at);
        assert!((xx - yy).abs() < 1e-4 * rise && xy.abs() < 1e-9, "{at}: {xx} {yy} {xy}");
        assert!(xx > last, "the power grows downwards");
        last = xx;
        let along = curvatures(&shape, at + dvec2(0.0, 0.5))[0] - curvatures(&shape, at - dvec2(0.0, 0.5))[0];
        let cylinder = |[xx, xy, yy]: [f64; 3]| (xx - yy).hypot(2.0 * xy);
        let beside = cylinder(curvatures(&shape, at + dvec2(0.5, 0.0)));
        // The cylinder at 0.5 mm beside, from 0 on the line, against twice the growth over 0.5 mm.
        assert!((beside - along.abs()).abs() < 0.02 * rise, "{at}: {beside} {along}");
    }
    let [top, bottom] = [DISTANCE_Y, NEAR_Y].map(|y| curvatures(&shape, dvec2(0.0, y))[0]);
    assert!(top.abs() < 1e-4 * rise && (bottom - rise).abs() < 1e-4 * rise, "{top} {bottom}");
}

#[test]
fn a_lens_that_rests_on_the_stop_is_square_to_the_axis_there() {
    for (x, y) in [(0.0, 0.0), (0.0, -14.0), (6.0, 9.0)] {
        let lens = order(-4.0, -2.0, 35.0).lens().resting(dvec2(x, y));
        let into = lens.pose.turn.transpose();
        let foot = into * -lens.pose.shift;
        assert!((foot.truncate() - dvec2(x, y)).length() < 1e-12, "{foot}");
        let turn = DMat3::from_rotation_z(lens.back.shape.turn_deg().to_radians());
        let local = turn.transpose() * foot;
        let (f, gradient) = lens.back.shape.equation(0, local);
        let normal = lens.pose.turn * (turn * gradient.normalize());
        assert!(f.abs() < 1e-12 && (normal - DVec3::Z).length() < 1e-12, "{f} {normal}");
    }
}

fn bifocal(kind: Kind) -> Lens {
    Order { kind, index: 1.5, ..order(0.5, 0.0, 180.0) }.lens()
}

/// Image jump: the addition times the distance of the segment's edge from its optical centre, in cm (textbook rule for thin lenses,
/// from memory).
#[test]
fn the_edge_of_a_segment_has_the_image_jump_of_its_addition() {
    let lens = bifocal(Kind::StraightTopBifocal { addition: 2.0 });
    let prism = |y: f64| at_axis(BENCH, &lens.clone().resting(dvec2(0.0, y))).expect("light").prism[1];
    // 0.3 mm from the edge, clear of its shadow, and back to it by Prentice's rule.
    let jump = (prism(-4.7) + 0.3 * 0.5 / 10.0) - (prism(-5.3) - 0.3 * 2.5 / 10.0);
    // 2 D times 0.5 cm; the thickness makes the front 1.3 % stronger at the back.
    assert!((jump - 1.0).abs() < 0.025, "{jump}");
    let read = at_axis(BENCH, &lens.resting(dvec2(0.0, -10.0))).expect("light").power;
    assert!((read.xx - 2.5).abs() < 0.08 && (read.yy - 2.5).abs() < 0.08, "{read:?}");
}

#[test]
fn the_surface_of_a_segment_is_joined_at_its_rim() {
    let segment = Segment { radius: 60.0, centre: dvec2(2.0, -16.0), half_width: 11.0, top: None };
    for main in [85.0, 250.0, f64::INFINITY] {
        let shape = Shape::Segment { radius: main, segment };
        let mut rim = 0;
        for bearing in 0..36 {
            let along = DVec2::from_angle(f64::from(bearing * 10).to_radians());
            // The rim is a circle about the normal: seen from above, nearly one.
            let inside = |r: f64| {
                let at = segment.centre + r * along;
                shape.zone(at.extend(shape.height(0, at))) == 1
            };
            let (mut near, mut far) = (9.0, 13.0);
            for _ in 0..60 {
                let middle = f64::midpoint(near, far);
                if inside(middle) { near = middle } else { far = middle }
            }
            let at = segment.centre + near * along;
            assert!((shape.height(0, at) - shape.height(1, at)).abs() < 1e-9, "{main}: {at}");
            rim += 1;
        }
        assert_eq!(rim, 36);
    }
}

#[test]
fn an_edge_throws_a_shadow_or_lets_both_sides_in() {
    let counts = |addition: f64| -> Vec<usize> {
        // Square to the light: the ledge is seen from above, and hides nothing itself.
        let lens = Lens { pose: Pose::decentred(dvec2(0.0, 5.0)), ..bifocal(Kind::StraightTopBifocal { addition }) };
        (-40..=40).map(|step| BENCH.land(&lens, dvec2(0.1, f64::from(step) * 0.01)).len()).collect()
    };
    let (plus, minus) = (counts(2.0), counts(-2.0));
    // 1 prism dioptre over 5 mm of gap and the glass is 0.05 mm and more: five holes at least.
    assert!(plus.iter().all(|&n| n <= 1) && plus.iter().filter(|&&n| n == 0).count() >= 5, "{plus:?}");
    assert!(minus.iter().all(|&n| n >= 1) && minus.iter().filter(|&&n| n == 2).count() >= 5, "{minus:?}");
    assert_eq!([plus[0], plus[80], minus[0], minus[80]], [1; 4]);
}

#[test]
fn light_that_cannot_pass_does_not_land() {
    let ball = |front: f64, back: f64| Lens {
        index: 1.5,
        thickness: 4.0,
        front: Shape::sphere(front).into(),
        back: Shape::sphere(back).into(),
        pose: Pose::CENTRED,
    };
    assert_eq!(BENCH.land(&ball(2.0, -2.0), dvec2(0.0, 9.0)), []);
    let lens = ball(100.0, 100.0);
    assert_eq!(BENCH.land(&lens, dvec2(0.0, 9.0)).len(), 1);
}

#[test]
fn lattices_have_the_holes_of_their_disc() {
    let holes = PLATE.holes();
    assert_eq!(holes.len(), 113);
    // Rows from the top, each from the left, as in the ray-traced files.
    let spots = table("minus_12_00_n174_near.csv");
    for (hole, spot) in holes.iter().zip(&spots) {
        let scaled = dvec2(number(spot, "ref_x_mm"), number(spot, "ref_y_mm")) * 0.8;
        assert!(hole.at.distance(scaled) < 1e-6, "{hole:?} {scaled}");
    }
    let hexagonal = Plate { lattice: Lattice::Hexagonal, rotation_deg: 15.0, marker: Some([1, -2]), ..PLATE };
    let holes = hexagonal.holes();
    // The squared distance of a node is i^2 + ij + j^2 steps.
    let within = |(i, j): (i32, i32)| i * i + i * j + j * j <= 36;
    let counted = (-12..=12).flat_map(|i| (-12..=12).map(move |j| (i, j))).filter(|&node| within(node)).count();
    assert_eq!(holes.len(), counted);
    let nearest = |hole: &optics::Hole| {
        let others = holes.iter().filter(|other| other.node != hole.node).map(|other| other.at.distance(hole.at));
        others.fold(f64::INFINITY, f64::min)
    };
    assert!(holes.iter().all(|hole| (nearest(hole) - 0.4).abs() < 1e-12));
    let markers: Vec<_> = holes.iter().filter(|hole| hole.is_marker).collect();
    assert_eq!(markers.len(), 1);
    let upright = 0.4 * dvec2(1.0 - 1.0, -2.0 * 0.75f64.sqrt());
    let turned = DVec2::from_angle(15f64.to_radians()).rotate(upright);
    assert!(markers[0].at.distance(turned) < 1e-12);
}
