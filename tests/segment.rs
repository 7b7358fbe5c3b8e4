//! Bifocals and trifocals: the portions told apart by their spots, their powers, and where the segment lies; on lenses traced
//! through real surfaces (`data/multifocal`) and on made ones.

mod common;
#[path = "common/multifocal.rs"]
mod multifocal;
#[path = "common/spots.rs"]
mod spots;

use common::Random;
use dioptric::{
    degrees, millimetres,
    quantity::{Millimetre, Point},
    sensor::{
        Addition, AdditionBasis, Belongs, Disc, Error, HalfTurn, LineSource, PlacedFrame, Portion, PortionSeeds,
        Portions, PoseSource, RoundTopSums, SegmentError, SpotPair, TopLine, Vertex,
    },
};
use multifocal::{Row, geometry, mm, pairs, point, rows};
use spots::{Bench, Lens, Place, normal, on_grid, signed, unit};

const PITCH: Millimetre = millimetres!(1.0);

/// Seeds at places of the lens: as a machine has them that lays the lens roughly where it should.
fn seeds(row: &Row) -> PortionSeeds {
    let disc = |name: &str, radius: f64| Disc::new(row.pose().to_machine(row.point(name)), mm(radius)).unwrap();
    let is_trifocal = !row.text("intermediate_xx").is_empty();
    PortionSeeds {
        distance: disc("distance", 3.0),
        intermediate: is_trifocal.then(|| disc("intermediate", 2.4)),
        near: disc("near", 2.5),
    }
}

struct Traced {
    row: Row,
    pairs: Vec<SpotPair>,
    portions: Portions,
    classes: Vec<Belongs>,
}

fn traced() -> Vec<Traced> {
    let rows = rows("segment_lenses.csv");
    assert_eq!(rows.len(), 5);
    let one = |row: Row| {
        let pairs = pairs(row.file());
        let portions = Portions::separate(&pairs, &geometry(), &seeds(&row)).unwrap();
        let mut classes = vec![Belongs::Nowhere; pairs.len()];
        portions.classify(&pairs, &mut classes).unwrap();
        Traced { row, pairs, portions, classes }
    };
    rows.into_iter().map(one).collect()
}

impl Traced {
    fn is_round(&self) -> bool {
        self.row.file().contains("round")
    }

    fn is_trifocal(&self) -> bool {
        self.row.file().contains("trifocal")
    }

    /// The portion that a place of the lens lies in, and how far it is from the border.
    fn truth(&self, at: Point) -> (Portion, f64) {
        let [x, y] = [at.x.to_f64(), at.y.to_f64()];
        let ([cx, top], cy) = (self.row.place("top"), self.row.number("circle_y_mm"));
        let from_circle = self.row.number("circle_radius_mm") - (x - cx).hypot(y - cy);
        let from_top = if self.is_round() { f64::INFINITY } else { top - y };
        let inside = from_circle.min(from_top);
        let from_bottom = y - self.row.number("bottom_y_mm");
        if inside < 0.0 {
            (Portion::Distance, -inside)
        } else if self.is_trifocal() && from_bottom > 0.0 {
            (Portion::Intermediate, inside.min(from_bottom))
        } else {
            (Portion::Near, inside.min(from_bottom.abs()))
        }
    }

    fn edge(&self) -> Vec<Point> {
        let all = rows("edges.csv");
        let mine = all.iter().filter(|row| row.file() == self.row.file());
        mine.map(|row| point(row.number("x_mm"), row.number("y_mm"))).collect()
    }
}

#[test]
fn spots_of_traced_lenses_are_told_apart() {
    for lens in traced() {
        let geometry = geometry();
        let (mut wrong, mut open, mut near_border) = (0, 0, 0);
        for (pair, class) in lens.pairs.iter().zip(&lens.classes) {
            let (portion, from_border) = lens.truth(lens.row.pose().to_lens(geometry.exit(pair)));
            // The border lies on the front surface, up to 0.1 mm off where its light leaves the lens, and a hole is 0.3 mm wide.
            if from_border < 0.3 {
                near_border += 1;
                continue;
            }
            match class {
                Belongs::To(found) => wrong += u32::from(*found != portion),
                Belongs::Either | Belongs::Nowhere => open += 1,
            }
        }
        let portions = lens.portions;
        println!(
            "{:56} {} spots: {wrong} wrong, {open} open, {near_border} at the border; {} passes",
            lens.row.file(),
            lens.pairs.len(),
            portions.passes(),
        );
        assert!(wrong == 0 && portions.is_settled(), "{}", lens.row.file());
        // Where both portions send the light to the same place no spot can tell.
        assert!(open <= 9, "{}: {open}", lens.row.file());
    }
}

/// The powers of each portion at its reference point, against finite differences of rays of that portion alone.
#[test]
fn additions_of_traced_segments() {
    for lens in traced() {
        let (geometry, pose) = (geometry(), lens.row.pose());
        let frame = PlacedFrame { pairs: &lens.pairs, geometry: &geometry, pose: &pose };
        let fit = |portion: Portion, name: &str| {
            frame.fit_in_portion(&lens.portions, portion, lens.row.point(name), mm(2.5)).unwrap()
        };
        let (distance, near) = (fit(Portion::Distance, "distance"), fit(Portion::Near, "near"));
        let addition = Addition::between(&distance, &near, AdditionBasis::MeanPower, Vertex::Back).unwrap();
        let exact = |name: &str| lens.row.vector(name)[0];
        let error = addition.value.to_f64() - (exact("near") - exact("distance"));
        println!(
            "{:56} addition {} off by {error:+.4} D, u {:.4}",
            lens.row.file(),
            addition.value,
            addition.uncertainty.to_f64()
        );
        assert!(error.abs() < 0.03, "{}: {error}", lens.row.file());
        if lens.is_trifocal() {
            let middle = fit(Portion::Intermediate, "intermediate");
            let error = middle.power.m.to_f64() - exact("intermediate");
            assert!(error.abs() < 0.03, "{error}");
        } else {
            assert!(frame.fit_in_portion(&lens.portions, Portion::Intermediate, Point::ORIGIN, mm(2.0)).is_err());
        }
        // The disc's own spots, whoever they belong to, give the same in the middle of a portion.
        let all = frame.fit_at(lens.row.point("distance"), mm(2.5)).unwrap();
        assert_eq!(all.power, distance.power);
        assert!(lens.portions.fit(Portion::Near, &geometry).is_ok());
    }
}

/// Top lines between holes 1 mm apart: within three of their uncertainties, of which one is 0.1 mm and more.
#[test]
fn top_lines_of_traced_segments_from_holes() {
    for lens in traced().iter().filter(|lens| !lens.is_round()) {
        let geometry = geometry();
        let lower = if lens.is_trifocal() { Portion::Intermediate } else { Portion::Near };
        let line = TopLine::between(Portion::Distance, lower, &lens.pairs, &lens.classes, &geometry, PITCH).unwrap();
        let truth = lens.row.pose();
        let off = truth.to_lens(line.middle) - lens.row.point("top");
        let tilt = (line.tilt.unwrap() - truth.rotation.unwrap()).to_f64();
        println!(
            "{:56} off by {off}, says {:?} along and {} across; tilt off by {tilt:+.2}, says {}",
            lens.row.file(),
            line.along,
            line.across,
            line.tilt_uncertainty,
        );
        assert_eq!(line.source, LineSource::Holes);
        // The border is on the front, 0.1 mm from where its light leaves.
        assert!(off.y.abs().to_f64() < 3.0 * line.across.to_f64() + 0.1, "{}", lens.row.file());
        // The segment reaches beyond the plate: 16 mm to the right, of which 13 are seen.
        assert_eq!(line.along, None, "{}", lens.row.file());
        assert!(off.x.abs() < mm(2.5), "{}", lens.row.file());
        assert_eq!(line.pose(Point::ORIGIN, Vertex::Back).uncertainty.offset, None);
        assert!(tilt.abs() < 3.0 * line.tilt_uncertainty.to_f64(), "{}", lens.row.file());
        if lens.is_trifocal() {
            let second =
                TopLine::between(Portion::Intermediate, Portion::Near, &lens.pairs, &lens.classes, &geometry, PITCH)
                    .unwrap();
            // 7 mm below the first: the depth of the intermediate portion.
            let depth = line.above(second.middle).to_f64();
            println!("    intermediate depth {depth:.2} mm");
            assert!((depth - 7.0).abs() < 3.0 * line.across.to_f64().hypot(second.across.to_f64()) + 0.1, "{depth}");
        }
    }
}

/// Through points of the edge with 5 um of noise: the accurate way; and the pose that follows.
#[test]
fn top_lines_of_traced_segments_through_points() {
    for lens in traced().iter().filter(|lens| !lens.is_round()) {
        let line = TopLine::through(&lens.edge()).unwrap();
        let truth = lens.row.pose();
        let (ordered, back) = (lens.row.point("top"), Vertex::Back);
        let pose = line.pose(ordered, back);
        let (off, turned) = (pose.offset - truth.offset, (pose.rotation.unwrap() - truth.rotation.unwrap()).to_f64());
        let says = pose.uncertainty;
        println!(
            "{:56} pose off by {:.4?}, {:.4?} mm and {turned:+.4} deg, says {says:?}",
            lens.row.file(),
            off.x,
            off.y
        );
        assert!(turned.abs() < 4.0 * says.rotation.unwrap().to_f64());
        assert!(off.y.abs().to_f64() < 4.0 * says.offset.unwrap().y.to_f64());
        assert!(off.x.abs().to_f64() < 4.0 * says.offset.unwrap().x.to_f64());
        assert!(off.distance() < mm(0.02) && turned.abs() < 0.03);
        assert_eq!((pose.source, pose.half_turn), (PoseSource::TopLine, HalfTurn::Assumed));
        // The segment drop, below the prism reference point at the lens's origin.
        let drop = line.above(truth.to_machine(Point::ORIGIN));
        assert!((drop - ordered.y).abs() < mm(0.02), "{}: {drop}", lens.row.file());
    }
}

#[test]
fn round_tops_of_a_traced_segment() {
    let all = traced();
    let lens = all.iter().find(|lens| lens.is_round()).unwrap();
    let (truth, top) = (lens.row.pose(), lens.row.point("top"));
    let mut sums = RoundTopSums::default();
    sums.add_border(&lens.pairs, &lens.classes, &geometry(), PITCH).unwrap();
    let by_holes = sums.fit().unwrap();
    let mut sums = RoundTopSums::default();
    lens.edge().iter().for_each(|point| sums.add(*point).unwrap());
    let by_points = sums.fit().unwrap();
    for (found, slack) in [(by_holes, 0.1), (by_points, 0.0)] {
        let off = truth.to_lens(found.top) - top;
        let says = found.uncertainty.unwrap();
        println!("round top off by {:.4?}, {:.4?} mm, says {says:.4}; radius {:.3}", off.x, off.y, found.radius);
        assert!(off.y.abs().to_f64() < 3.0 * says.to_f64() + slack, "{off:?}");
    }
    assert!((by_points.radius - mm(11.0)).abs() < mm(0.02));
    // No straight line parts a round segment from what is around it.
    let line = TopLine::between(Portion::Distance, Portion::Near, &lens.pairs, &lens.classes, &geometry(), PITCH);
    println!("as a straight top: {line:?}");
}

/// A flat-top segment on a lattice of holes, in `f64`: the hole's exit decides.
struct Made {
    lens: Lens,
    addition: f64,
    height: f64,
    tilt: f64,
    /// The segment's middle along its top line.
    middle: f64,
    /// Its radius; its optical centre lies 5 mm below the line.
    radius: f64,
    noise: f64,
}

impl Made {
    /// Coordinates along and across the top line, from its middle.
    fn to_line(&self, [x, y]: Place) -> Place {
        let (sin, cos) = self.tilt.to_radians().sin_cos();
        let (x, y) = (x - self.middle, y - self.height);
        [x * cos + y * sin, y * cos - x * sin]
    }

    fn contains(&self, at: Place) -> bool {
        let [along, across] = self.to_line(at);
        across < 0.0 && along.hypot(across + 5.0) < self.radius
    }

    /// The lens of the segment: the addition, with no prism of its own at its centre.
    fn segment(&self) -> Lens {
        let (sin, cos) = self.tilt.to_radians().sin_cos();
        let centre = [self.middle + 5.0 * sin, self.height - 5.0 * cos];
        let mut lens = self.lens;
        lens.power.xx += self.addition;
        lens.power.yy += self.addition;
        for (prism, at) in lens.prism.iter_mut().zip(centre) {
            *prism += self.addition * at / 10.0;
        }
        lens
    }

    /// Spots at the bench; `split` of those whose hole, 0.3 mm wide, is crossed by the border lie between both portions'.
    fn pairs(&self, bench: &Bench, holes: &[Place], split: bool, random: &mut Random) -> Vec<SpotPair> {
        let segment = self.segment();
        let exit = |hole: &Place, spot: &Place| [0, 1].map(|i| hole[i] - bench.gap / bench.throw * (spot[i] - hole[i]));
        let one = |hole: &Place| {
            let hole = on_grid(*hole);
            let [first, second] = [&self.lens, &segment].map(|lens| bench.spot(lens, hole));
            let [above, below] = [!self.contains(exit(&hole, &first)), self.contains(exit(&hole, &second))];
            let crossed = self.to_line(exit(&hole, &first))[1].abs() < 0.15;
            let spot = match (above, below) {
                _ if crossed && split => [0, 1].map(|i| (first[i] + second[i]) / 2.0),
                (true, false) => first,
                (false, true) => second,
                // No light, or two spots of which one is found.
                (false, false) => return None,
                (true, true) => first,
            };
            let [dx, dy] = normal(random);
            let spot = [spot[0] + self.noise * dx, spot[1] + self.noise * dy];
            SpotPair::new(point(hole[0], hole[1]), point(spot[0], spot[1])).ok()
        };
        holes.iter().filter_map(one).collect()
    }

    fn seeds(&self) -> PortionSeeds {
        let disc = |x: f64, y: f64| Disc::new(point(x, y), mm(2.2)).unwrap();
        PortionSeeds { distance: disc(0.0, 6.0), intermediate: None, near: disc(self.middle, self.height - 5.5) }
    }
}

/// Over many heights and tilts: no spot of a whole hole is taken wrongly, and the line is off by as much as it says.
#[test]
fn lines_between_holes_are_as_uncertain_as_they_say() {
    let mut random = Random::new("segments");
    let bench = Bench::new(5.0, 20.0);
    let holes = spots::lattice(1.0, 15.0);
    let (mut heights, mut tilts, mut middles, mut unknown, trials) = (0.0, 0.0, 0.0, 0, 400);
    for trial in 0..trials {
        let made = Made {
            lens: Lens::new(4.0 * signed(&mut random), -2.0 * unit(&mut random), 180.0 * unit(&mut random), [0.0; 2]),
            addition: 0.75 + 2.75 * unit(&mut random),
            height: -2.0 + signed(&mut random),
            tilt: 8.0 * signed(&mut random),
            middle: 2.0 * signed(&mut random),
            radius: 8.5,
            noise: 0.0005,
        };
        let pairs = made.pairs(&bench, &holes, trial % 2 == 0, &mut random);
        let portions = Portions::separate(&pairs, &bench.geometry(), &made.seeds()).unwrap();
        let mut classes = vec![Belongs::Nowhere; pairs.len()];
        portions.classify(&pairs, &mut classes).unwrap();
        for (pair, class) in pairs.iter().zip(&classes) {
            let at = bench.geometry().exit(pair);
            let place = [at.x.to_f64(), at.y.to_f64()];
            let [along, across] = made.to_line(place);
            let near_line = across.abs() < 0.16 || (along.hypot(across + 5.0) - made.radius).abs() < 0.01;
            let right = if made.contains(place) { Portion::Near } else { Portion::Distance };
            assert!(near_line || !matches!(class, Belongs::To(found) if *found != right), "{trial}: {at}");
        }
        let line =
            TopLine::between(Portion::Distance, Portion::Near, &pairs, &classes, &bench.geometry(), PITCH).unwrap();
        // The height where the line says it is.
        let off = made.to_line([line.middle.x.to_f64(), line.middle.y.to_f64()]);
        heights += (off[1] / line.across.to_f64()).powi(2);
        middles += (off[0] / line.along.unwrap().to_f64()).powi(2);
        let Some(tilt) = line.tilt else {
            unknown += 1;
            continue;
        };
        tilts += ((tilt.to_f64() - made.tilt) / line.tilt_uncertainty.to_f64()).powi(2);
        assert_eq!(line.pose(Point::ORIGIN, Vertex::Back).half_turn, HalfTurn::Known);
    }
    let n = f64::from(trials);
    let (heights, middles, tilts) = (heights / n, middles / n, tilts / f64::from(trials - unknown));
    println!(
        "mean squared deviation in standard uncertainties: across {heights:.2}, along {middles:.2}, tilt {tilts:.2}; {unknown} tilts unknown"
    );
    assert!((0.5..1.5).contains(&heights) && (0.5..1.5).contains(&tilts) && (0.5..1.5).contains(&middles));
}

/// 113 holes of 6 mm radius, a segment of +2.00 whose line runs along a row: its split light belongs nowhere.
#[test]
fn split_light_belongs_nowhere() {
    let mut random = Random::new("split");
    let bench = Bench::new(5.0, 20.0);
    let holes = spots::lattice(1.0, 6.0);
    assert_eq!(holes.len(), 113);
    let made = Made {
        lens: Lens::new(-2.0, -1.0, 30.0, [0.0; 2]),
        addition: 2.0,
        height: 0.0,
        tilt: 0.0,
        middle: 0.0,
        radius: 14.0,
        noise: 0.0005,
    };
    let pairs = made.pairs(&bench, &holes, true, &mut random);
    let disc = |y: f64| Disc::new(point(0.0, y), mm(1.5)).unwrap();
    let seeds = PortionSeeds { distance: disc(3.0), intermediate: None, near: disc(-3.0) };
    let portions = Portions::separate(&pairs, &bench.geometry(), &seeds).unwrap();
    let mut split = 0;
    for pair in &pairs {
        let is_on_line = pair.reference().y.abs() < mm(0.1);
        if is_on_line {
            split += 1;
            assert_eq!(portions.of(pair), Belongs::Nowhere, "{:?}", pair.reference());
        }
    }
    assert!(split > 8, "{split}");
    // Another hole's spot belongs nowhere either, and at the segment's optical centre both portions agree.
    let wild = SpotPair::new(point(0.0, 4.0), point(0.4, 4.9)).unwrap();
    assert_eq!(portions.of(&wild), Belongs::Nowhere);
    let spot = bench.spot(&made.lens, [0.0, -5.0]);
    let centre = pairs.iter().min_by_key(|pair| (bench.geometry().exit(pair) - point(0.0, -5.0)).distance()).unwrap();
    println!("{spot:?} {:?} {:?}", centre.reference(), portions.of(centre));
    let mut reversed = pairs.clone();
    reversed.reverse();
    assert_eq!(Portions::separate(&reversed, &bench.geometry(), &seeds).unwrap(), portions);
    assert!(portions.count(Portion::Distance) > 40 && portions.count(Portion::Near) > 40);
    assert_eq!(portions.count(Portion::Intermediate), 0);
}

/// Spots that both planes send to the same place, exactly.
#[test]
fn where_portions_agree_a_spot_belongs_to_either() {
    let mut random = Random::new("either");
    let bench = Bench::new(0.0, 20.0);
    let made = Made {
        lens: Lens::new(1.0, 0.0, 180.0, [0.0; 2]),
        addition: 1.0,
        height: 0.0,
        tilt: 0.0,
        middle: 0.0,
        radius: 14.0,
        noise: 0.0,
    };
    let pairs = made.pairs(&bench, &spots::lattice(1.0, 8.0), false, &mut random);
    let disc = |y: f64| Disc::new(point(0.0, y), mm(1.5)).unwrap();
    let seeds = PortionSeeds { distance: disc(3.0), intermediate: None, near: disc(-3.0) };
    let portions = Portions::separate(&pairs, &bench.geometry(), &seeds).unwrap();
    let at_centre = pairs.iter().find(|pair| pair.reference() == point(0.0, -5.0)).unwrap();
    assert_eq!(portions.of(at_centre), Belongs::Either);
    let either = pairs.iter().filter(|pair| portions.of(pair) == Belongs::Either).count();
    assert_eq!(either, 1);
}

#[test]
fn portions_and_lines_that_cannot_be_known_are_refused() {
    let row = &rows("segment_lenses.csv")[0];
    let (pairs, geometry, good) = (pairs(row.file()), geometry(), seeds(row));
    let empty = Disc::new(point(25.0, 25.0), mm(1.0)).unwrap();
    let refused = Portions::separate(&pairs, &geometry, &PortionSeeds { near: empty, ..good });
    assert_eq!(refused, Err(SegmentError::Portion(Portion::Near, Error::TooFewSpots)));
    let portions = Portions::separate(&pairs, &geometry, &good).unwrap();
    let mut few = [Belongs::Nowhere; 3];
    assert_eq!(portions.classify(&pairs, &mut few), Err(SegmentError::TooFewClasses));
    let between =
        |classes: &[Belongs]| TopLine::between(Portion::Distance, Portion::Near, &pairs, classes, &geometry, PITCH);
    assert_eq!(between(&few), Err(SegmentError::TooFewClasses));
    assert_eq!(between(&vec![Belongs::Nowhere; pairs.len()]), Err(SegmentError::TooFewSpots));
    assert_eq!(between(&vec![Belongs::To(Portion::Near); pairs.len()]), Err(SegmentError::TooFewSpots));
    // Alternating: nothing parts them.
    let mixed: Vec<_> =
        (0..pairs.len()).map(|at| Belongs::To(if at % 2 == 0 { Portion::Near } else { Portion::Distance })).collect();
    assert_eq!(between(&mixed), Err(SegmentError::NotStraight));
    assert_eq!(RoundTopSums::default().add_border(&pairs, &few, &geometry, PITCH), Err(SegmentError::TooFewClasses));
}

/// Least squares of distances from a line in `f64`.
fn exact_line(points: &[Place]) -> ([f64; 2], f64, f64) {
    let n = points.len() as f64;
    let mean = [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / n);
    let moment = |i: usize, j: usize| points.iter().map(|p| (p[i] - mean[i]) * (p[j] - mean[j])).sum::<f64>();
    let (xx, xy, yy) = (moment(0, 0), moment(0, 1), moment(1, 1));
    let angle = (2.0 * xy).atan2(xx - yy) / 2.0;
    let across =
        points.iter().map(|p| ((p[1] - mean[1]) * angle.cos() - (p[0] - mean[0]) * angle.sin()).powi(2)).sum::<f64>();
    (mean, angle, (across / (n - 2.0).max(1.0)).sqrt())
}

#[test]
fn lines_through_points_are_the_least_squares() {
    let mut random = Random::new("edge points");
    let mut worst = [0.0f64; 3];
    for _ in 0..2000 {
        let count = 3 + random.u32() % 60;
        let (tilt, at) = (signed(&mut random) * 80.0, [20.0 * signed(&mut random), 20.0 * signed(&mut random)]);
        let (sin, cos) = tilt.to_radians().sin_cos();
        let half = 3.0 + 10.0 * unit(&mut random);
        let noise = 0.02 * unit(&mut random);
        let places: Vec<Place> = (0..count)
            .map(|i| {
                let along = half * (2.0 * f64::from(i) / f64::from(count - 1) - 1.0);
                let [dx, dy] = normal(&mut random);
                on_grid([at[0] + along * cos + noise * dx, at[1] + along * sin + noise * dy])
            })
            .collect();
        let points: Vec<_> = places.iter().map(|p| point(p[0], p[1])).collect();
        let line = TopLine::through(&points).unwrap();
        let (mean, angle, scatter) = exact_line(&places);
        worst[0] = worst[0].max((line.tilt.unwrap().to_f64() - angle.to_degrees()).abs());
        // Distance of the middle from the exact line.
        let off = [line.middle.x.to_f64() - mean[0], line.middle.y.to_f64() - mean[1]];
        worst[1] = worst[1].max((off[1] * angle.cos() - off[0] * angle.sin()).abs() * 65536.0);
        let across = scatter / f64::from(count).sqrt();
        worst[2] = worst[2].max((line.across.to_f64() - across).abs() * 65536.0);
        let truth = [line.middle.x.to_f64() - at[0], line.middle.y.to_f64() - at[1]];
        assert!((truth[0] * cos + truth[1] * sin).abs() < 0.1, "{truth:?}");
    }
    println!(
        "line through points: tilt within {:.2e} deg, middle within {:.2} units, uncertainty within {:.2} units",
        worst[0], worst[1], worst[2]
    );
    assert!(worst[0] < 1e-5 && worst[1] < 2.0 && worst[2] < 1.0, "{worst:?}");
}

/// The scatter of many noisy lines is what each says of itself.
#[test]
fn lines_through_points_are_as_uncertain_as_they_say() {
    let mut random = Random::new("noisy lines");
    let (mut across, mut tilts, trials) = (0.0, 0.0, 2000);
    for _ in 0..trials {
        let points: Vec<_> = (-20..=20)
            .map(|i| {
                let [_, dy] = normal(&mut random);
                point(f64::from(i) / 2.0, 0.01 * dy)
            })
            .collect();
        let line = TopLine::through(&points).unwrap();
        across += (line.middle.y.to_f64() / line.across.to_f64()).powi(2);
        tilts += (line.tilt.unwrap().to_f64() / line.tilt_uncertainty.to_f64()).powi(2);
    }
    let (across, tilts) = (across / f64::from(trials), tilts / f64::from(trials));
    println!("mean squared deviation in standard uncertainties: across {across:.3}, tilt {tilts:.3}");
    // Student's t of 39 degrees of freedom: 39 / 37, within four of its deviations.
    assert!((across - 1.054).abs() < 0.15 && (tilts - 1.054).abs() < 0.15);
}

#[test]
fn points_that_make_no_line_or_circle_are_refused() {
    let (a, b) = (point(1.0, 2.0), point(3.0, 2.0));
    assert_eq!(TopLine::through(&[a, b]), Err(SegmentError::PointCount));
    assert_eq!(TopLine::through(&[a, a, a]), Err(SegmentError::Degenerate));
    assert_eq!(TopLine::through(&[a, b, point(65.0, 0.0)]), Err(SegmentError::PointRange));
    let line = TopLine::through(&[a, point(2.0, 2.0), b]).unwrap();
    assert_eq!((line.middle, line.tilt, line.across), (point(2.0, 2.0), Some(degrees!(0.0)), Millimetre::ZERO));
    // Points all round are no line: the tilt is not given.
    let round: Vec<_> = (0..12)
        .map(|i| {
            let (s, c) = (f64::from(i) * std::f64::consts::FRAC_PI_6).sin_cos();
            point(c, 1.2 * s)
        })
        .collect();
    assert_eq!(TopLine::through(&round).unwrap().tilt, None);
    let circle = |points: &[Point]| {
        let mut sums = RoundTopSums::default();
        points.iter().try_for_each(|point| sums.add(*point)).and_then(|()| sums.fit())
    };
    assert_eq!(circle(&[a, b]), Err(SegmentError::PointCount));
    assert_eq!(circle(&[a, b, point(5.0, 2.0)]), Err(SegmentError::Degenerate));
    assert_eq!(circle(&[a, b, point(0.0, -65.0)]), Err(SegmentError::PointRange));
    assert_eq!(circle(&[a, b, point(2.0, 3.0)]).unwrap().uncertainty, None);
}

/// Circles against the same least squares in `f64`, and their tops' scatter against what each says.
#[test]
fn circles_are_the_least_squares_and_as_uncertain_as_they_say() {
    let mut random = Random::new("circles");
    let (mut worst, mut spread, trials) = (0.0f64, 0.0, 2000);
    for _ in 0..trials {
        let (centre, radius) = ([5.0 * signed(&mut random), -10.0 * unit(&mut random)], 8.0 + 6.0 * unit(&mut random));
        let count = 20 + random.u32() % 60;
        let arc = 120.0 + 240.0 * unit(&mut random);
        let places: Vec<Place> = (0..count)
            .map(|i| {
                let angle = (90.0 + arc * (f64::from(i) / f64::from(count - 1) - 0.5)).to_radians();
                let [noise, _] = normal(&mut random);
                let r = radius + 0.01 * noise;
                on_grid([centre[0] + r * angle.cos(), centre[1] + r * angle.sin()])
            })
            .collect();
        let mut sums = RoundTopSums::default();
        places.iter().for_each(|p| sums.add(point(p[0], p[1])).unwrap());
        assert_eq!(sums.count(), count);
        let found = sums.fit().unwrap();
        let exact = exact_circle(&places);
        let got = [found.centre.x.to_f64(), found.centre.y.to_f64(), found.radius.to_f64()];
        let error = (0..3).map(|i| (got[i] - exact[i]).abs()).fold(0.0, f64::max);
        worst = worst.max(error * 65536.0);
        spread += ((found.top.y.to_f64() - centre[1] - radius) / found.uncertainty.unwrap().to_f64()).powi(2);
    }
    let spread = spread / f64::from(trials);
    println!("circle within {worst:.2} units; top's mean squared deviation in standard uncertainties {spread:.3}");
    assert!(worst < 2.0 && (spread - 1.05).abs() < 0.15, "{worst} {spread}");
}

/// Kasa's circle in `f64`, about the mean.
fn exact_circle(points: &[Place]) -> [f64; 3] {
    let n = points.len() as f64;
    let mean = [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / n);
    let at: Vec<_> = points.iter().map(|p| [p[0] - mean[0], p[1] - mean[1]]).collect();
    let sum = |f: &dyn Fn(&Place) -> f64| at.iter().map(f).sum::<f64>();
    let z = |p: &Place| p[0] * p[0] + p[1] * p[1];
    let (xx, xy, yy) = (sum(&|p| p[0] * p[0]), sum(&|p| p[0] * p[1]), sum(&|p| p[1] * p[1]));
    let (xz, yz) = (sum(&|p| p[0] * z(p)), sum(&|p| p[1] * z(p)));
    let det = xx * yy - xy * xy;
    let (x, y) = ((xz * yy - yz * xy) / det / 2.0, (yz * xx - xz * xy) / det / 2.0);
    [mean[0] + x, mean[1] + y, (x * x + y * y + (xx + yy) / n).sqrt()]
}
