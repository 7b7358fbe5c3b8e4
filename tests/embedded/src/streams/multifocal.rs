use dioptric::{
    quantity::{Axis, Degree, Millimetre, Point},
    rx::SpheroCylinder,
    sensor::{
        Addition, AdditionBasis, Belongs, Corridor, Disc, FoundMark, Geometry, LocalFit, PlacedFrame, Portion,
        PortionSeeds, Portions, Pose, ProgressiveLayout, RoundTopSums, SpotPair, TopLine, Vertex,
    },
    vector::{PowerMatrix, PowerVector},
};

use super::{
    Digest, Stream,
    digest::Words,
    inputs::{Generator, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "sensor.pose", run: pose },
    Stream { name: "sensor.marks", run: marks },
    Stream { name: "sensor.progressive", run: progressive },
    Stream { name: "sensor.portions", run: portions },
    Stream { name: "sensor.edges", run: edges },
];

const PITCH: Millimetre = millimetres(1);
/// Holes in a row and in a column.
const ROWS: i32 = 13;
const SPOTS: usize = (ROWS * ROWS) as usize;
/// Frames of [`SPOTS`] each, of lenses with a corridor and of segments.
const FRAMES: [u32; 2] = [128, 64];

const fn millimetres(whole: i32) -> Millimetre {
    Millimetre::from_bits(whole << Millimetre::FRACTION_BITS)
}

impl Generator {
    /// To 8 mm in each coordinate.
    fn near_point(&mut self) -> Point {
        let mut coordinate = || Millimetre::from_bits((self.word() as i32) >> 12);
        Point::new(coordinate(), coordinate())
    }

    fn pose(&mut self) -> Pose {
        let vertex = if self.word() & 1 == 0 { Vertex::Back } else { Vertex::Front };
        Pose::given(self.near_point(), Degree::from_bits((self.word() as i32) >> 3), vertex)
    }
}

impl Digest {
    fn take_pose(&mut self, pose: Option<Pose>) {
        self.take_or(pose.map(|pose| pose.offset));
        self.take_or(pose.and_then(|pose| pose.rotation));
        self.take_or(pose.and_then(|pose| pose.uncertainty.offset));
        self.take_or(pose.and_then(|pose| pose.uncertainty.rotation));
    }

    fn take_local(&mut self, local: Option<LocalFit>) {
        self.take_or(local.map(|local| local.power));
        self.take_or(local.map(|local| local.prism));
        self.take_or(local.map(|local| local.centroid));
    }

    fn take_line(&mut self, line: Option<TopLine>) {
        self.take_or(line.map(|line| line.middle));
        self.take_or(line.and_then(|line| line.tilt));
        self.take_or(line.and_then(|line| line.along));
        self.take_or(line.map(|line| line.across));
        self.take_or(line.map(|line| line.tilt_uncertainty));
        self.take_or(line.map(|line| line.above(Point::ORIGIN)));
        self.take_pose(line.map(|line| line.pose(Point::new(millimetres(2), millimetres(-4)), Vertex::Back)));
    }
}

fn pose(digest: &mut Digest) {
    random(|generator| {
        let pose = generator.pose();
        digest.take(pose.to_machine(generator.point()).words());
        digest.take(pose.to_lens(generator.point()).words());
        digest.take(pose.prism_to_machine(generator.prism()).words());
        digest.take(pose.prism_to_lens(generator.prism()).words());
        digest.take(pose.axis_to_machine(Axis::from_bits(generator.word())).words());
        digest.take(pose.axis_to_lens(Axis::from_bits(generator.word())).words());
        digest.take(pose.power_to_machine(generator.vector()).words());
        digest.take(pose.power_to_lens(generator.vector()).words());
    });
}

fn marks(digest: &mut Digest) {
    random(|generator| {
        let truth = generator.pose();
        let mut mark = |at: Point| {
            let off = Point::new(Millimetre::from_bits((generator.word() >> 18) as i32), Millimetre::ZERO);
            let uncertainty = Millimetre::from_bits((generator.word() >> 20) as i32);
            FoundMark { at: truth.to_machine(at) + off, uncertainty }
        };
        let along = |x: i32| Point::new(millimetres(x), Millimetre::ZERO);
        let found = [mark(along(-17)), mark(Point::ORIGIN), mark(along(17))];
        digest.take_pose(Pose::from_marks(&found, Millimetre::from_bits(6000), truth.vertex).ok());
    });
}

/// Spots of a lattice of holes, with noise, of a lens whose power `at` gives for each hole.
fn frame(generator: &mut Generator, mut moved: impl FnMut(Point) -> Point) -> [SpotPair; SPOTS] {
    let mut next = 0;
    core::array::from_fn(|_| {
        let at = next;
        next += 1;
        let hole = Point::new(millimetres(at % ROWS - ROWS / 2), millimetres(at / ROWS - ROWS / 2));
        let mut noise = || Millimetre::from_bits((generator.word() as i32) >> 26);
        let spot = hole + moved(hole) + Point::new(noise(), noise());
        SpotPair::new(hole, spot).unwrap_or_default()
    })
}

/// What a power displaces light by at a throw of 20 mm, behind a hole so far from its centre.
fn displaced(power: PowerMatrix, from_centre: Point) -> Point {
    let prism = power.prism_at(from_centre);
    // A fifth of 2^-20 to 2^-16.
    let moved = |bits: i32| Millimetre::from_bits(bits / 80);
    Point::new(moved(prism.x.to_bits()), moved(prism.y.to_bits()))
}

fn geometry() -> Option<Geometry> {
    Geometry::new(millimetres(5), millimetres(20)).ok()
}

impl Generator {
    /// To 5 D of sphere and cylinder.
    fn weak_lens(&mut self) -> SpheroCylinder {
        let mut power = || dioptric::quantity::Dioptre::from_bits((self.word() as i32) >> 9);
        SpheroCylinder::new(power(), power(), Axis::from_bits(self.word())).unwrap_or_default()
    }
}

/// A lens whose power rises downwards, at a pose, by every step that uses it.
fn progressive(digest: &mut Digest) {
    let Some(geometry) = geometry() else { return };
    let mut generator = Generator::new();
    for _ in 0..FRAMES[0] {
        let power = PowerVector::from(generator.weak_lens());
        let pairs = frame(&mut generator, |hole| {
            let rise = hole.y.to_bits().wrapping_neg() << 1;
            let risen = PowerVector { m: power.m + dioptric::quantity::Dioptre::from_bits(rise), ..power };
            displaced(risen.into(), hole)
        });
        let turned = Degree::from_bits((generator.word() as i32) >> 7);
        let vertex = if generator.word() & 1 == 0 { Vertex::Back } else { Vertex::Front };
        let pose =
            Pose::given(Point::new(Millimetre::from_bits((generator.word() >> 15) as i32), PITCH), turned, vertex);
        let layout = ProgressiveLayout {
            distance: Point::new(Millimetre::ZERO, millimetres(4)),
            near: Point::new(PITCH, millimetres(-5)),
            ..ProgressiveLayout::default()
        };
        let placed = PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &pose };
        let radius = Millimetre::from_bits(5 << 15);
        let upright = layout.upright(&pairs, &geometry, pose.half_turned(), radius, dioptric::quantity::Dioptre::ZERO);
        digest.take_pose(upright.ok());
        let Ok(fits) = placed.progressive_fits(&layout, radius) else { continue };
        digest.take_local(Some(fits.distance));
        digest.take_local(Some(fits.near));
        digest.take(fits.prism.words());
        for basis in [
            AdditionBasis::MeanPower,
            AdditionBasis::Sphere,
            AdditionBasis::NearestVertical,
            AdditionBasis::NearestHorizontal,
        ] {
            let addition = Addition::between(&fits.distance, &fits.near, basis, vertex).ok();
            digest.take_or(addition.map(|addition| addition.value));
            digest.take_or(addition.map(|addition| addition.uncertainty));
        }
        let single = Pose::from_single_vision(&fits.near.fit, generator.weak_lens(), fits.prism, vertex);
        digest.take_pose(single.ok());
        let Ok(corridor) = Corridor::new(placed, layout.distance, layout.near, PITCH, radius) else { continue };
        for place in corridor.profile() {
            digest.take(place.along.words());
            digest.take(place.at.words());
            digest.take_local(place.fit.ok());
        }
        let (distance, rise) = (fits.distance.power, fits.near.power.m - fits.distance.power.m);
        let most = dioptric::quantity::Fraction::from_bits(14_260_634);
        let end = corridor.end(distance.m, rise, most).ok();
        digest.take_or(end.map(|end| end.at));
        digest.take_or(end.map(|end| end.length));
        let width = corridor.width(layout.prism, distance, distance.m.abs().half());
        digest.take_or(width.left);
        digest.take_or(width.right);
        let area = Disc::new(layout.near, millimetres(2));
        let near = area.ok().and_then(|area| placed.find_near_point(&area, PITCH, radius).ok());
        digest.take_local(near.map(|near| near.local));
    }
}

const fn number(belongs: Belongs) -> u32 {
    match belongs {
        Belongs::To(portion) => portion as u32,
        Belongs::Either => 4,
        _ => 5,
    }
}

/// Segments below a line of every height and tilt, straight and round, of bifocals and of trifocals.
fn portions(digest: &mut Digest) {
    let Some(geometry) = geometry() else { return };
    let mut generator = Generator::new();
    for round in 0..FRAMES[1] {
        let powers: [PowerMatrix; 3] = core::array::from_fn(|_| generator.weak_lens().into());
        let (height, tilt) = ((generator.word() >> 15) as i32, (generator.word() as i32) >> 19);
        let is_trifocal = round % 3 == 0;
        let centre = Point::new(Millimetre::from_bits((generator.word() >> 15) as i32), millimetres(-5));
        let pairs = frame(&mut generator, |hole| {
            let below = height - hole.y.to_bits() + (i64::from(hole.x.to_bits()) * i64::from(tilt) / 65536) as i32;
            let inside = if round % 4 == 1 { (hole - centre).distance() < millimetres(4) } else { below > 0 };
            let at = if !inside {
                0
            } else if is_trifocal && below < 4 << 16 {
                1
            } else {
                2
            };
            displaced(powers[at], hole - if at == 0 { Point::ORIGIN } else { centre })
        });
        let disc =
            |y: i32| Disc::new(Point::new(Millimetre::ZERO, millimetres(y)), Millimetre::from_bits(5 << 15)).ok();
        let (Some(distance), Some(near)) = (disc(5), disc(-5)) else { continue };
        let seeds = PortionSeeds { distance, intermediate: disc(-1).filter(|_| is_trifocal), near };
        let found = Portions::separate(&pairs, &geometry, &seeds);
        digest.take([u32::from(found.is_ok())]);
        let Ok(found) = found else { continue };
        let mut classes = [Belongs::Nowhere; SPOTS];
        digest.take([
            u32::from(found.classify(&pairs, &mut classes).is_ok()),
            found.passes(),
            found.is_settled().into(),
        ]);
        for class in classes {
            digest.take([number(class)]);
        }
        let pose = generator.pose();
        let placed = PlacedFrame { pairs: &pairs, geometry: &geometry, pose: &pose };
        for portion in [Portion::Distance, Portion::Intermediate, Portion::Near] {
            digest.take([found.count(portion)]);
            digest.take_or(found.fit(portion, &geometry).ok().map(|fit| fit.power()));
            digest.take_local(placed.fit_in_portion(&found, portion, Point::ORIGIN, millimetres(6)).ok());
        }
        let lower = if is_trifocal { Portion::Intermediate } else { Portion::Near };
        let line = TopLine::between(Portion::Distance, lower, &pairs, &classes, &geometry, PITCH);
        digest.take_line(line.ok());
        let mut sums = RoundTopSums::default();
        digest.take([u32::from(sums.add_border(&pairs, &classes, &geometry, PITCH).is_ok()), sums.count()]);
        digest.take_round(&sums);
    }
}

impl Digest {
    fn take_round(&mut self, sums: &RoundTopSums) {
        let round = sums.fit().ok();
        self.take_or(round.map(|round| round.centre));
        self.take_or(round.map(|round| round.radius));
        self.take_or(round.map(|round| round.top));
        self.take_or(round.and_then(|round| round.uncertainty));
    }
}

/// Points along a line or round a circle, with noise of every size; and anywhere.
fn edges(digest: &mut Digest) {
    random(|generator| {
        let (start, step) = (generator.near_point(), generator.near_point());
        let noise = generator.word() % 24 + 8;
        let mut anywhere = generator.word() % 8 == 0;
        let points: [Point; 7] = core::array::from_fn(|at| {
            let mut off = || Millimetre::from_bits((generator.word() as i32) >> noise);
            let along = Point::new(step.x.half(), step.y.half());
            let on_line = (0..at).fold(start, |place, _| place + Point::new(along.x.half(), along.y.half()));
            let off = Point::new(off(), off());
            anywhere = !anywhere && at % 5 == 4;
            if anywhere { off } else { on_line + off }
        });
        digest.take_line(TopLine::through(&points).ok());
        let mut sums = RoundTopSums::default();
        for point in points {
            // Bent into an arc.
            let bent = (i64::from(point.x.to_bits()).pow(2) >> 20) as i32;
            let added = sums.add(Point::new(point.x, point.y - Millimetre::from_bits(bent)));
            digest.take([u32::from(added.is_ok())]);
        }
        digest.take_round(&sums);
    });
}
