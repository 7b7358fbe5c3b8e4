//! Poses: places, axes, prisms and powers between the lens's frame and the machine's, and what a pose is found by.

mod common;
#[path = "common/multifocal.rs"]
mod multifocal;
#[path = "common/spots.rs"]
mod spots;

use common::Random;
use dioptric::{
    degrees, dioptres, millimetres,
    prism::Prism,
    prism_dioptres,
    quantity::{Axis, Degree, Millimetre, Point, PrismDioptre},
    rx::SpheroCylinder,
    sensor::{FoundMark, HalfTurn, MARK_DISTANCE, PlacedFrame, Pose, PoseError, PoseSource, ProgressiveLayout, Vertex},
    vector::PowerVector,
};
use multifocal::{mm, point, rows};
use proptest::prelude::*;
use spots::{Bench, Lens, normal, signed};

fn any_pose() -> impl Strategy<Value = Pose> {
    let offset = (-(1i32 << 22)..1 << 22, -(1i32 << 22)..1 << 22);
    (offset, -(180i32 << 20)..=180 << 20, any::<bool>()).prop_map(|((x, y), turned, front)| {
        let offset = Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        Pose::given(offset, Degree::from_bits(turned), if front { Vertex::Front } else { Vertex::Back })
    })
}

/// The same in `f64`: mirrored, turned, moved.
fn exact(pose: &Pose, [x, y]: [f64; 2]) -> [f64; 2] {
    let x = if pose.vertex == Vertex::Front { -x } else { x };
    let (sin, cos) = pose.rotation.unwrap_or(Degree::ZERO).to_f64().to_radians().sin_cos();
    [x * cos - y * sin, x * sin + y * cos]
}

proptest! {
    #![proptest_config(common::cases(4096, "pose"))]

    #[test]
    fn places_go_to_the_machine_and_back(pose in any_pose(), x in -(1i32 << 22)..1 << 22, y in -(1i32 << 22)..1 << 22) {
        let place = Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        let there = pose.to_machine(place);
        let want = exact(&pose, [f64::from(x), f64::from(y)]);
        let found = there - pose.offset;
        for (found, want) in [(found.x, want[0]), (found.y, want[1])] {
            prop_assert!((f64::from(found.to_bits()) - want).abs() <= 0.6, "{found} {want}");
        }
        let off = pose.to_lens(there) - place;
        prop_assert!(off.x.to_bits().abs() <= 1 && off.y.to_bits().abs() <= 1, "{off:?}");
        let off = pose.to_machine(pose.to_lens(place)) - place;
        prop_assert!(off.x.to_bits().abs() <= 1 && off.y.to_bits().abs() <= 1, "{off:?}");
    }

    #[test]
    fn axes_go_to_the_machine_and_back_exactly(pose in any_pose(), bits in any::<u32>()) {
        let axis = Axis::from_bits(bits);
        prop_assert_eq!(pose.axis_to_lens(pose.axis_to_machine(axis)), axis);
        prop_assert_eq!(pose.axis_to_machine(pose.axis_to_lens(axis)), axis);
    }

    #[test]
    fn prisms_turn_as_places_do(pose in any_pose(), x in -(1i32 << 26)..1 << 26, y in -(1i32 << 26)..1 << 26) {
        let prism = Prism::new(PrismDioptre::from_bits(x), PrismDioptre::from_bits(y));
        let there = pose.prism_to_machine(prism);
        let want = exact(&pose, [f64::from(x), f64::from(y)]);
        let bound = 0.5 + 5e-9 * f64::from(x).hypot(f64::from(y));
        for (found, want) in [(there.x, want[0]), (there.y, want[1])] {
            prop_assert!((f64::from(found.to_bits()) - want).abs() <= bound, "{found} {want}");
        }
        let off = pose.prism_to_lens(there) - prism;
        prop_assert!(off.x.to_bits().abs() <= 1 && off.y.to_bits().abs() <= 1, "{off:?}");
    }

    /// The power matrix is a tensor: the prism at a place is the same in both frames.
    #[test]
    fn powers_turn_with_places_and_prisms(
        pose in any_pose(), parts in prop::array::uniform3(-(8i32 << 20)..8 << 20), x in -(1i32 << 20)..1 << 20, y in -(1i32 << 20)..1 << 20,
    ) {
        let [m, j0, j45] = parts.map(dioptric::quantity::Dioptre::from_bits);
        let power = PowerVector { m, j0, j45 };
        let there = pose.power_to_machine(power);
        let place = Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        let moved = pose.to_machine(place) - pose.offset;
        let by_lens = pose.prism_to_machine(dioptric::vector::PowerMatrix::from(power).prism_at(place));
        let by_machine = dioptric::vector::PowerMatrix::from(there).prism_at(moved);
        // One unit of power over 16 mm is 1.6 of prism in each of two elements; a unit of place, 16 D * 15 nm, 2.5e-5.
        let off = by_lens - by_machine;
        prop_assert!(off.x.to_bits().abs() <= 40 && off.y.to_bits().abs() <= 40, "{off:?}");
        let back = pose.power_to_lens(there) - power;
        prop_assert!([back.m, back.j0, back.j45].iter().all(|part| part.to_bits().abs() <= 1), "{back:?}");
    }
}

/// A cylinder's axis and its power vector agree in both frames, of a mirrored lens too.
#[test]
fn axis_and_power_of_a_turned_lens_agree() {
    let rx: SpheroCylinder = "+1.00 -2.00 x 30".parse().unwrap();
    for vertex in [Vertex::Back, Vertex::Front] {
        let pose = Pose::given(Point::ORIGIN, degrees!(12.0), vertex);
        let there = pose.power_to_machine(rx.into()).sphero_cylinder().unwrap();
        assert!(there.axis().angle_from(pose.axis_to_machine(rx.axis())).abs() < degrees!(0.0001), "{vertex:?}");
        let expected = if vertex == Vertex::Front { 162 } else { 42 };
        assert_eq!(there.axis().whole_degrees(), expected);
    }
}

#[test]
fn what_is_saturated_stays_so() {
    let pose = Pose::given(Point::ORIGIN, degrees!(30.0), Vertex::Back);
    let beyond = Point::new(Millimetre::MAX, Millimetre::ZERO);
    assert!(pose.to_machine(beyond).is_saturated() && pose.to_lens(beyond).is_saturated());
    assert!(pose.prism_to_machine(Prism::SATURATED).is_saturated());
    let lost = Pose { offset: beyond, ..pose };
    assert!(lost.to_machine(Point::ORIGIN).is_saturated() && lost.to_lens(Point::ORIGIN).is_saturated());
}

fn mark(at: Point) -> FoundMark {
    FoundMark { at, uncertainty: millimetres!(0.01) }
}

/// ISO 8980-2: two marks 34 mm apart. Found with noise, the pose is off by as much as it says.
#[test]
fn the_pose_from_marks_is_as_uncertain_as_it_says() {
    let mut random = Random::new("pose from marks");
    let (mut turns, mut places, trials) = (0.0, 0.0, 4000);
    for _ in 0..trials {
        let vertex = if random.u32() & 1 == 0 { Vertex::Back } else { Vertex::Front };
        let truth = Pose::given(
            point(signed(&mut random), signed(&mut random)),
            multifocal::degrees(20.0 * signed(&mut random)),
            vertex,
        );
        let mut found = |x: f64| {
            let at = truth.to_machine(point(x, 0.0));
            let [dx, dy] = normal(&mut random);
            FoundMark { at: at + point(0.01 * dx, 0.01 * dy), uncertainty: mm(0.01) }
        };
        let marks = [found(17.0), mark(point(3.0, -8.0)), found(-17.0)];
        let pose = Pose::from_marks(&marks, mm(0.2), vertex).unwrap();
        let uncertainty = pose.uncertainty;
        let turned = (pose.rotation.unwrap() - truth.rotation.unwrap()).to_f64();
        turns += (turned / uncertainty.rotation.unwrap().to_f64()).powi(2);
        let off = pose.offset - truth.offset;
        places += (off.x.to_f64() / uncertainty.offset.unwrap().x.to_f64()).powi(2);
        places += (off.y.to_f64() / uncertainty.offset.unwrap().y.to_f64()).powi(2);
        assert!(turned.abs() <= 5.0 * uncertainty.rotation.unwrap().to_f64());
        assert_eq!((pose.source, pose.half_turn), (PoseSource::Marks, HalfTurn::Assumed));
    }
    // Mean squares of standard normal draws: 1, within four of their deviations sqrt(2 / n).
    let (turns, places) = (turns / f64::from(trials), places / f64::from(2 * trials));
    println!("mean squared deviation in standard uncertainties: rotation {turns:.3}, offset {places:.3}");
    assert!((turns - 1.0).abs() < 4.0 * (2.0 / f64::from(trials)).sqrt());
    assert!((places - 1.0).abs() < 4.0 * (1.0 / f64::from(trials)).sqrt());
}

/// `hypot(u, u) / 2` and `hypot(u, u) / 34` rad for equal uncertainties.
#[test]
fn the_uncertainty_from_marks_is_the_propagated_one() {
    let marks = [mark(point(-17.0, 0.0)), mark(point(17.0, 0.0))];
    let pose = Pose::from_marks(&marks, mm(0.1), Vertex::Back).unwrap();
    let root = 0.01 * 2f64.sqrt();
    assert!((pose.uncertainty.offset.unwrap().x.to_f64() - root / 2.0).abs() < 3e-5);
    assert!((pose.uncertainty.rotation.unwrap().to_f64() - (root / 34.0).to_degrees()).abs() < 1e-4);
    assert_eq!(MARK_DISTANCE, mm(34.0));
}

#[test]
fn pairs_of_marks_that_are_none_or_several_are_refused() {
    let limit = mm(0.3);
    let from = |marks: &[FoundMark]| Pose::from_marks(marks, limit, Vertex::Back);
    let (left, right) = (mark(point(-17.0, 0.0)), mark(point(17.0, 0.0)));
    assert_eq!(from(&[]), Err(PoseError::NoPair));
    assert_eq!(from(&[left]), Err(PoseError::NoPair));
    assert_eq!(from(&[left, mark(point(17.31, 0.0))]), Err(PoseError::NoPair));
    assert!(from(&[left, mark(point(17.3, 0.0))]).is_ok());
    assert_eq!(from(&[left, right, mark(point(17.1, 0.2))]), Err(PoseError::AmbiguousPair));
    assert_eq!(from(&[left; 33]), Err(PoseError::TooManyMarks));
    assert!(PoseError::AmbiguousPair.is_marks() && !PoseError::NoCentre.is_marks());
    // The order does not matter, nor does a mark that has no partner.
    assert_eq!(from(&[left, right]), from(&[right, mark(point(0.0, 5.0)), left]));
}

/// Marks straight above each other: a quarter turn, of which the upper end is taken.
#[test]
fn the_rotation_from_marks_is_above_minus_90_and_up_to_90() {
    for (tilt, expected) in [(-89.0, -89.0), (89.0, 89.0), (90.0, 90.0), (-90.0, 90.0), (91.0, -89.0), (180.0, 0.0)] {
        let truth = Pose::given(Point::ORIGIN, multifocal::degrees(tilt), Vertex::Back);
        let marks = [-17.0, 17.0].map(|x| mark(truth.to_machine(point(x, 0.0))));
        let found = Pose::from_marks(&marks, mm(0.1), Vertex::Back).unwrap().rotation.unwrap();
        assert!((found.to_f64() - expected).abs() < 1e-4, "{tilt}: {found}");
    }
    let pose = Pose::given(Point::ORIGIN, degrees!(4.0), Vertex::Back);
    assert_eq!(pose.half_turned().rotation, Some(degrees!(-176.0)));
    assert_eq!(pose.half_turned().half_turned(), pose);
}

/// Every traced progressive lens from its own marks; the one that lies the other way up is found out by its addition.
#[test]
fn the_addition_tells_which_way_up_a_lens_lies() {
    let geometry = multifocal::geometry();
    for row in rows("progressive_lenses.csv") {
        let pairs = multifocal::pairs(row.file());
        let layout = multifocal_layout(&row);
        let truth = row.pose();
        let marks = ["mark_0", "mark_1"].map(|name| FoundMark { at: row.point(name), uncertainty: mm(0.005) });
        let pose = Pose::from_marks(&marks, mm(0.2), truth.vertex).unwrap();
        let upright = layout.upright(&pairs, &geometry, pose, mm(2.5), dioptres!(2.0)).unwrap();
        let turned = (upright.rotation.unwrap() - truth.rotation.unwrap()).to_f64();
        assert!(turned.abs() < 1e-4, "{}: {turned}", row.file());
        assert_eq!(upright.half_turn, HalfTurn::Known);
        assert!((upright.offset - truth.offset).distance() < mm(1e-4), "{}", row.file());
        // A degressive lens would lie the other way round.
        let degressive = layout.upright(&pairs, &geometry, pose, mm(2.5), dioptres!(-2.0)).unwrap();
        assert!((degressive.rotation.unwrap() - upright.rotation.unwrap()).abs() > degrees!(179.0));
        assert_eq!(upright.uncertainty, pose.uncertainty);
    }
}

fn multifocal_layout(row: &multifocal::Row) -> ProgressiveLayout {
    ProgressiveLayout {
        distance: row.point("distance"),
        near: row.point("near"),
        prism: row.point("prism"),
        fitting: row.point("fitting"),
    }
}

fn plate() -> Vec<spots::Place> {
    let steps = || (-16..=16).map(f64::from);
    steps().flat_map(|y| steps().map(move |x| [x, y])).filter(|[x, y]| x.hypot(*y) <= 16.0).collect()
}

/// A lens without addition: nothing tells which way up it lies.
#[test]
fn a_lens_without_addition_does_not_tell() {
    let mut random = Random::new("no addition");
    let bench = Bench::new(5.0, 20.0);
    let spots = bench.spots(&Lens::new(2.0, -1.0, 30.0, [0.0; 2]), &plate(), 0.0005, &mut random);
    let pairs = spots::pairs(&spots).unwrap();
    let layout =
        ProgressiveLayout { distance: point(0.0, 8.0), near: point(2.5, -12.0), ..ProgressiveLayout::default() };
    let found = layout.upright(&pairs, &bench.geometry(), Pose::default(), mm(2.5), dioptres!(2.0));
    assert_eq!(found, Err(PoseError::NoAddition));
    let far = ProgressiveLayout { distance: point(0.0, 25.0), ..layout };
    let found = far.upright(&pairs, &bench.geometry(), Pose::default(), mm(2.5), dioptres!(2.0));
    assert!(matches!(found, Err(PoseError::Fit(_))), "{found:?}");
    let frame = PlacedFrame { pairs: &pairs, geometry: &bench.geometry(), pose: &Pose::default() };
    assert!(frame.fit_at(point(40.0, 0.0), mm(2.0)).is_err());
}

fn single_vision(pose: &Pose, rx: SpheroCylinder, prism: Prism, seed: &str) -> Result<Pose, PoseError> {
    let mut random = Random::new(seed);
    let bench = Bench::new(5.0, 20.0);
    let power = pose.power_to_machine(rx.into());
    let written = power.sphero_cylinder().unwrap();
    // At the origin of the lens it has the ordered prism; on the sensor's axis that and Prentice's.
    let there = pose.prism_to_machine(prism);
    let on_axis = dioptric::vector::PowerMatrix::from(power).prism_at(-pose.offset) + there;
    let lens = Lens::new(
        written.sphere().to_f64(),
        written.cylinder().to_f64(),
        written.axis().degrees().to_f64(),
        [on_axis.x.to_f64(), on_axis.y.to_f64()],
    );
    let spots = bench.spots(&lens, &spots::lattice(0.5, 3.0), 0.0002, &mut random);
    let fit = spots::sums(&spots::pairs(&spots).unwrap()).unwrap().fit(&bench.geometry()).unwrap();
    Pose::from_single_vision(&fit, rx, prism, pose.vertex)
}

#[test]
fn a_single_vision_lens_lies_where_its_axis_and_centre_say() {
    let none = Prism::ZERO;
    let some = Prism::new(prism_dioptres!(1.0), prism_dioptres!(-0.5));
    for (text, prism, vertex) in [
        ("-3.00 -1.50 x 35", none, Vertex::Back),
        ("+2.00 -0.75 x 178", some, Vertex::Back),
        ("-1.00 +2.00 x 100", some, Vertex::Front),
    ] {
        let truth = Pose::given(point(1.3, -0.7), degrees!(7.5), vertex);
        let rx: SpheroCylinder = text.parse().unwrap();
        let pose = single_vision(&truth, rx, prism, text).unwrap();
        let turned = pose.rotation.unwrap() - truth.rotation.unwrap();
        let uncertainty = pose.uncertainty;
        assert!(
            turned.abs() < degrees!(0.2) && turned.abs().to_f64() < 5.0 * uncertainty.rotation.unwrap().to_f64(),
            "{text}: {turned}"
        );
        let off = pose.offset - truth.offset;
        assert!(off.distance() < mm(0.02), "{text}: {off}");
        assert_eq!((pose.source, pose.half_turn), (PoseSource::AxisAndCentre, HalfTurn::Assumed));
        println!("{text}: off by {off} and {turned} deg, says {:?}", uncertainty);
    }
}

#[test]
fn a_sphere_has_no_rotation_and_a_lens_without_power_no_place() {
    let truth = Pose::given(point(1.0, 2.0), degrees!(30.0), Vertex::Back);
    let sphere = single_vision(&truth, "-4.00".parse().unwrap(), Prism::ZERO, "sphere").unwrap();
    assert_eq!((sphere.rotation, sphere.uncertainty.rotation), (None, None));
    assert!((sphere.offset - truth.offset).distance() < mm(0.02));
    // Its own frame then counts as upright.
    assert_eq!(sphere.axis_to_machine(Axis::VERTICAL), Axis::VERTICAL);
    let weak = single_vision(&truth, "-4.00 -0.10 x 20".parse().unwrap(), Prism::ZERO, "weak").unwrap();
    assert_eq!(weak.rotation, None);
    assert_eq!(single_vision(&truth, "pl".parse().unwrap(), Prism::ZERO, "plano"), Err(PoseError::NoCentre));
    let plano_cylinder = single_vision(&truth, "pl -2.00 x 40".parse().unwrap(), Prism::ZERO, "cylinder");
    assert_eq!(plano_cylinder, Err(PoseError::NoCentre));
    let refused = single_vision(&truth, "-4.00".parse().unwrap(), Prism::ZERO, "sphere");
    assert!(refused.is_ok());
}
