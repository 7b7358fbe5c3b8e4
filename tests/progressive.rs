//! Progressive lenses: the fits at the reference points, the addition, the corridor and the near point, of lenses traced through
//! a real surface (`data/multifocal`), against powers by finite differences of rays.

#[path = "common/multifocal.rs"]
mod multifocal;

use dioptric::{
    degrees, dioptres, fraction, millimetres,
    quantity::{Dioptre, Fraction, Millimetre, Point},
    sensor::{
        Addition, AdditionBasis, AdditionError, AdditionSurface, Corridor, Disc, NearPoint, PlacedFrame, Pose,
        ProgressiveError, ProgressiveFits, ProgressiveLayout, Vertex,
    },
    vector::PowerVector,
};
use multifocal::{Row, geometry, mm, pairs, point, rows};

/// 2.5 mm: the aperture of 5 mm that lensmeters commonly have. Common practice, no source.
const RADIUS: Millimetre = millimetres!(2.5);

fn layout(row: &Row) -> ProgressiveLayout {
    ProgressiveLayout {
        distance: row.point("distance"),
        near: row.point("near"),
        prism: row.point("prism"),
        fitting: row.point("fitting"),
    }
}

fn difference(power: PowerVector, [m, j0, j45]: [f64; 3]) -> f64 {
    let off = [power.m.to_f64() - m, power.j0.to_f64() - j0, power.j45.to_f64() - j45];
    off.iter().fold(0.0, |most, off| most.max(off.abs()))
}

fn fits(row: &Row, radius: Millimetre) -> ProgressiveFits {
    let (pairs, geometry, pose) = (pairs(row.file()), geometry(), row.pose());
    PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &pose }.progressive_fits(&layout(row), radius).unwrap()
}

/// Additions within 0.03 D of what the surface gives. Powers at the points themselves within 0.05 D: the
/// disc of 5 mm sees the corridor's curvature.
#[test]
fn additions_of_traced_lenses() {
    let table = rows("progressive_lenses.csv");
    assert_eq!(table.len(), 5);
    for row in &table {
        let fits = fits(row, RADIUS);
        let vertex = row.pose().vertex;
        let addition = Addition::between(&fits.distance, &fits.near, AdditionBasis::MeanPower, vertex).unwrap();
        let (distance, near) = (row.vector("distance"), row.vector("near"));
        let error = addition.value.to_f64() - (near[0] - distance[0]);
        let off = [difference(fits.distance.power, distance), difference(fits.near.power, near)];
        println!(
            "{:62} addition {} off by {error:+.4} D, u {:.4}; distance off {:.4} D, near off {:.4} D; residual {} um, {} spots",
            row.file(),
            addition.value,
            addition.uncertainty.to_f64(),
            off[0],
            off[1],
            fits.near.fit.residual(),
            fits.near.fit.count(),
        );
        assert!(error.abs() < 0.03, "{}: {error}", row.file());
        assert!(off.iter().all(|off| *off < 0.05), "{}: {off:?}", row.file());
        let prism = [fits.prism.x.to_f64() - row.number("prism_x"), fits.prism.y.to_f64() - row.number("prism_y")];
        // r^2 / 40 of the gradient, which at the origin of this lens is addition / 10 sech^2(4 / 5).
        let bound = 2.5f64.powi(2) / 40.0 * (near[0] - distance[0]) / 10.0 * 0.559;
        println!("    prism off {prism:.4?}, by the disc {bound:.4}");
        assert!(prism.iter().all(|off| off.abs() < bound + 0.005), "{}: {prism:?}", row.file());
    }
}

/// The disc explains what the addition is off by: it falls with the square of the radius.
#[test]
fn a_smaller_disc_comes_nearer() {
    for row in rows("progressive_lenses.csv") {
        let off = |radius: f64| {
            let fits = fits(&row, mm(radius));
            let rise = fits.near.power.m - fits.distance.power.m;
            rise.to_f64() - (row.vector("near")[0] - row.vector("distance")[0])
        };
        let (wide, middle, narrow) = (off(5.0), off(2.5), off(1.5));
        println!("{:62} off by {wide:+.4} D at 5 mm, {middle:+.4} at 2.5 mm, {narrow:+.4} at 1.5 mm", row.file());
        assert!(narrow.abs() < 0.02 && narrow.abs() < wide.abs() + 0.005, "{}", row.file());
    }
}

/// The lens of the same prescription measured with its front on the stop: left and right, axis and base come out in the lens's
/// own frame, and the addition is that of the front vertex.
#[test]
fn a_lens_on_its_front_gives_the_front_vertex_addition() {
    let table = rows("progressive_lenses.csv");
    let (back, front) = (&table[1], &table[3]);
    let (on_back, on_front) = (fits(back, RADIUS), fits(front, RADIUS));
    let addition = |fits: &ProgressiveFits, vertex| {
        Addition::between(&fits.distance, &fits.near, AdditionBasis::MeanPower, vertex)
    };
    assert_eq!(addition(&on_front, Vertex::Back), Err(AdditionError::OtherVertex(Vertex::Front)));
    assert_eq!(
        Addition::between(&on_back.distance, &on_front.near, AdditionBasis::MeanPower, Vertex::Back),
        Err(AdditionError::OtherVertex(Vertex::Front)),
    );
    let (a, b) = (addition(&on_back, Vertex::Back).unwrap(), addition(&on_front, Vertex::Front).unwrap());
    let exact = |row: &Row| row.vector("near")[0] - row.vector("distance")[0];
    let differs = (b.value - a.value).to_f64() - (exact(front) - exact(back));
    assert!(differs.abs() < 0.03, "{differs}");
    assert_eq!((a.vertex, b.vertex), (Vertex::Back, Vertex::Front));
    // Both see the same cylinder: an axis that was mirrored wrongly would be 120 degrees off.
    let axis = |fits: &ProgressiveFits| fits.distance.power.sphero_cylinder().unwrap().axis();
    assert!(axis(&on_front).angle_from(axis(&on_back)).abs() < degrees!(3.0));
}

#[test]
fn the_vertex_of_an_addition_is_that_of_its_surface_unless_stated() {
    assert_eq!(AdditionSurface::Front.vertex(None), Vertex::Front);
    assert_eq!(AdditionSurface::Back.vertex(None), Vertex::Back);
    assert_eq!(AdditionSurface::Both.vertex(None), Vertex::Back);
    assert_eq!(AdditionSurface::Front.vertex(Some(Vertex::Back)), Vertex::Back);
}

/// The bases agree where the near portion has the distance cylinder, and differ by half of it where it has none.
#[test]
fn bases_of_an_addition() {
    let row = &rows("progressive_lenses.csv")[1];
    let fits = fits(row, RADIUS);
    let with = |distance: &str, near: &str, basis| {
        let power = |text: &str| text.parse::<dioptric::rx::SpheroCylinder>().unwrap().into();
        let mut pair = [fits.distance, fits.near];
        pair[0].power = power(distance);
        pair[1].power = power(near);
        Addition::between(&pair[0], &pair[1], basis, Vertex::Back).unwrap().value.to_string()
    };
    use AdditionBasis::{MeanPower, NearestHorizontal, NearestVertical, Sphere};
    for basis in [MeanPower, Sphere, NearestVertical, NearestHorizontal] {
        assert_eq!(with("+1.00 -1.00 x 80", "+3.00 -1.00 x 80", basis), "+2.00", "{basis:?}");
        // The same near power from a cylinder whose axis has passed 45 degrees.
        assert_eq!(with("+1.00 -1.00 x 44", "+3.00 -1.00 x 46", basis), "+2.00", "{basis:?}");
    }
    // Near power +3.00 alike in all meridians: distance +1.00 along 80, pl along 170.
    assert_eq!(with("+1.00 -1.00 x 80", "+3.00", MeanPower), "+2.50");
    assert_eq!(with("+1.00 -1.00 x 80", "+3.00", Sphere), "+2.00");
    assert_eq!(with("+1.00 -1.00 x 80", "+3.00", NearestVertical), "+2.00");
    assert_eq!(with("+1.00 -1.00 x 80", "+3.00", NearestHorizontal), "+3.00");
    // A power beyond the range of a prescription has no sphere, and a saturated one no mean.
    let mut near = fits.near;
    near.power.m = Dioptre::MAX;
    let between = |basis| Addition::between(&fits.distance, &near, basis, Vertex::Back);
    assert_eq!(between(MeanPower), Err(AdditionError::PowerRange));
    assert_eq!(between(Sphere), Err(AdditionError::PowerRange));
}

/// The profile along the line from the distance to the near point against finite differences at the same places: within what
/// the disc makes of the Laplacian and its spots' centroid of the gradient.
#[test]
fn profiles_follow_the_surface() {
    let expected = rows("profiles.csv");
    for row in rows("progressive_lenses.csv") {
        let (pairs, geometry, pose, layout) = (pairs(row.file()), geometry(), row.pose(), layout(&row));
        let frame = PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &pose };
        let step = (layout.near - layout.distance).distance().to_f64() / 11.0;
        let corridor = Corridor::new(frame, layout.distance, layout.near, mm(step), mm(2.0)).unwrap();
        let mine: Vec<_> = expected.iter().filter(|line| line.file() == row.file()).collect();
        let addition = row.vector("near")[0] - row.vector("distance")[0];
        let (mut seen, mut worst) = (0, [0.0f64; 2]);
        for (found, want) in corridor.profile().zip(&mine) {
            assert!((found.at - point(want.number("x_mm"), want.number("y_mm"))).distance() < mm(0.01));
            let local = found.fit.unwrap();
            let [xx, xy, yy] = ["xx", "xy", "yy"].map(|name| want.number(name));
            let exact = [(xx + yy) / 2.0, (xx - yy) / 2.0, xy];
            let error = local.power.m.to_f64() - exact[0];
            // Of the step that this surface has, the Laplacian is below 0.0154 * 1.5 addition, the gradient below addition / 10;
            // a third more for the polynomial that stands for the step.
            let off = (local.centroid - local.at).distance().to_f64();
            let bound = addition * (1.33 * 2.0f64.powi(2) / 12.0 * 0.0154 * 1.5 + 0.1 * off);
            assert!(error.abs() < bound, "{}: {error}, not {bound} at {}", row.file(), found.at);
            worst = [worst[0].max(error.abs()), worst[1].max(difference(local.power, exact))];
            seen += 1;
        }
        println!("{:62} mean power within {:.4} D; all parts within {:.4} D", row.file(), worst[0], worst[1]);
        assert_eq!((seen, mine.len()), (12, 12), "{}", row.file());
    }
}

/// Common practice, no source: the length from the fitting cross to 85 % of the addition.
#[test]
fn corridor_lengths_and_widths() {
    for row in rows("progressive_lenses.csv") {
        let (pairs, geometry, pose, layout) = (pairs(row.file()), geometry(), row.pose(), layout(&row));
        let frame = PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &pose };
        let fits = frame.progressive_fits(&layout, RADIUS).unwrap();
        let corridor = Corridor::new(frame, layout.fitting, layout.near, mm(0.5), mm(2.0)).unwrap();
        let (distance, rise) = (fits.distance.power.m, fits.near.power.m - fits.distance.power.m);
        let end = corridor.end(distance, rise, fraction!(0.85)).unwrap();
        let off = end.length.to_f64() - row.number("corridor_mm");
        let width = corridor.width(point(1.0, -4.0), fits.distance.power, dioptres!(0.75));
        let [left, right] = [(width.left, "left"), (width.right, "right")]
            .map(|(found, side)| found.unwrap().to_f64() - row.number(&format!("width_{side}_mm")));
        println!(
            "{:62} length {} off by {off:+.3} mm, width off by {left:+.3}, {right:+.3} mm",
            row.file(),
            end.length
        );
        assert!(off.abs() < 0.2, "{}: {off}", row.file());
        assert!(left.abs() < 0.2 && right.abs() < 0.2, "{}: {left} {right}", row.file());
        assert_eq!(corridor.end(distance, rise, fraction!(1.5)), Err(ProgressiveError::NotReached));
        assert_eq!(corridor.width(point(1.0, -4.0), fits.distance.power, dioptres!(50.0)).left, None);
        // Reached at the start: no length. Of a degressive lens, a fall counts.
        assert_eq!(corridor.end(distance, rise, Fraction::ZERO - fraction!(1.0)).unwrap().length, Millimetre::ZERO);
        let up = Corridor::new(frame, layout.near, layout.fitting, mm(0.5), mm(2.0)).unwrap();
        assert!(up.end(fits.near.power.m, -rise, fraction!(0.5)).is_ok());
    }
}

#[test]
fn profiles_have_their_start_their_steps_and_their_end() {
    let row = &rows("progressive_lenses.csv")[0];
    let (pairs, geometry, pose) = (pairs(row.file()), geometry(), row.pose());
    let frame = PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &pose };
    let places = |to: f64, step: f64| -> Vec<f64> {
        let corridor = Corridor::new(frame, Point::ORIGIN, point(0.0, to), mm(step), RADIUS).unwrap();
        corridor.profile().map(|point| point.along.to_f64()).collect()
    };
    assert_eq!(places(-4.0, 2.0), [0.0, 2.0, 4.0]);
    assert_eq!(places(-5.0, 2.0), [0.0, 2.0, 4.0, 5.0]);
    assert_eq!(places(-1.0, 2.0), [0.0, 1.0]);
    assert_eq!(places(0.0, 2.0), [0.0]);
    let new = |to: f64, step: f64| Corridor::new(frame, Point::ORIGIN, point(0.0, to), mm(step), RADIUS).err();
    assert_eq!(new(-10.0, 0.0), Some(ProgressiveError::StepRange));
    assert_eq!(new(-10.0, -1.0), Some(ProgressiveError::StepRange));
    assert_eq!(new(-10.0, 0.03), Some(ProgressiveError::StepRange));
    // Beyond the spots a place has no fit, and says so.
    let corridor = Corridor::new(frame, Point::ORIGIN, point(0.0, 30.0), mm(10.0), RADIUS).unwrap();
    let known: Vec<_> = corridor.profile().map(|point| point.fit.is_ok()).collect();
    assert_eq!(known, [true, true, false, false]);
}

/// The near point of a lens whose layout is not known: the power counts, the place is vague where the power is flat.
#[test]
fn near_points_are_found() {
    for row in rows("progressive_lenses.csv") {
        let (pairs, geometry, pose) = (pairs(row.file()), geometry(), row.pose());
        let frame = PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &pose };
        let area = Disc::new(point(2.0, -12.0), mm(4.0)).unwrap();
        let found = frame.find_near_point(&area, mm(0.5), mm(2.0)).unwrap();
        let off = found.local.at - row.point("highest");
        let error = found.local.power.m.to_f64() - row.number("highest_mean");
        let is_inside = area.contains(row.point("highest"));
        println!("{:62} off by {off}, power by {error:+.4} D, inside {is_inside}", row.file());
        // Seen from the front, the power of one of them rises beyond the area.
        assert_eq!(found.at_border, !is_inside, "{}", row.file());
        assert!(found.at_border || off.distance() < mm(1.0) && error.abs() < 0.03, "{}: {off} {error}", row.file());
    }
    let row = &rows("progressive_lenses.csv")[0];
    let (pairs, geometry, pose) = (pairs(row.file()), geometry(), row.pose());
    let frame = PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &pose };
    let search = |x: f64, y: f64, radius: f64, step: f64| {
        frame.find_near_point(&Disc::new(point(x, y), mm(radius)).unwrap(), mm(step), RADIUS)
    };
    // The power still rises at the border of an area that lies too high.
    assert!(search(1.0, -3.0, 2.0, 0.5).unwrap().at_border);
    assert_eq!(search(0.0, 0.0, 4.0, 0.0).err(), Some(ProgressiveError::StepRange));
    assert_eq!(search(0.0, 0.0, 4.0, 0.2).err(), Some(ProgressiveError::StepRange));
    assert_eq!(search(0.0, 25.0, 2.0, 0.5).err(), Some(ProgressiveError::NoFit));
    assert_eq!(NearPoint::MOST_STEPS, 16);
}

#[test]
fn the_other_eyes_layout_is_mirrored() {
    let right = layout(&rows("progressive_lenses.csv")[0]);
    assert_eq!(right.mirrored().near, point(-2.5, -14.0));
    assert_eq!(right.mirrored().mirrored(), right);
    let pose = Pose::default();
    assert_eq!(pose.to_machine(right.mirrored().near), point(-2.5, -14.0));
}
