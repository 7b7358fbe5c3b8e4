use core::hint::black_box;

use dioptric::{
    quantity::Fraction,
    sensor::{
        Addition, AdditionBasis, AdditionError, AdditionSurface, Belongs, Corridor, Disc, FoundMark, Geometry,
        PlacedFrame, Portion, PortionSeeds, Portions, Pose, PoseError, ProgressiveError, ProgressiveLayout,
        RoundTopSums, SegmentError, SpotPair, TopLine, Vertex,
    },
    vector::PowerVector,
};

use crate::{axis, degrees, dioptres, int, keep, millimetres, point, show, word};

const SPOTS: usize = 5;

pub fn probe(geometry: &Geometry) {
    let pose = pose();
    let Ok(pair) = SpotPair::new(point(), point()) else { return };
    let pairs = black_box([pair; SPOTS]);
    let frame = PlacedFrame { pairs: &pairs, geometry, pose: &pose };
    progressive(&frame);
    segment(&frame);
}

fn vertex() -> Vertex {
    if int() < 0 { Vertex::Back } else { Vertex::Front }
}

fn pose() -> Pose {
    let pose = Pose::given(point(), degrees(), vertex());
    let pose = Pose::half_turned(pose);
    keep(Pose::to_machine(pose, point()));
    keep(Pose::to_lens(pose, point()));
    keep(Pose::axis_to_machine(pose, axis()));
    keep(Pose::axis_to_lens(pose, axis()));
    let prism = dioptric::prism::Prism::new(crate::prism_dioptres(), crate::prism_dioptres());
    keep(Pose::prism_to_machine(pose, prism));
    keep(Pose::prism_to_lens(pose, prism));
    let power = power();
    keep(Pose::power_to_machine(pose, power));
    keep(Pose::power_to_lens(pose, power));
    let mark = || FoundMark { at: point(), uncertainty: millimetres() };
    match Pose::from_marks(black_box(&[mark(), mark(), mark()]), millimetres(), vertex()) {
        Ok(found) => found,
        Err(error) => {
            not_placed(error);
            pose
        }
    }
}

fn power() -> PowerVector {
    PowerVector { m: dioptres(), j0: dioptres(), j45: dioptres() }
}

fn not_placed(error: PoseError) {
    keep(PoseError::is_marks(error));
    show(&error);
}

fn progressive(frame: &PlacedFrame<'_>) {
    let layout = ProgressiveLayout { distance: point(), near: point(), prism: point(), fitting: point() };
    let layout = ProgressiveLayout::mirrored(layout);
    match ProgressiveLayout::upright(&layout, frame.pairs, frame.geometry, *frame.pose, millimetres(), dioptres()) {
        Ok(pose) => keep(pose),
        Err(error) => not_placed(error),
    }
    if let Ok(fits) = PlacedFrame::progressive_fits(frame, &layout, millimetres()) {
        for basis in [
            AdditionBasis::MeanPower,
            AdditionBasis::Sphere,
            AdditionBasis::NearestVertical,
            AdditionBasis::NearestHorizontal,
        ] {
            let vertex = AdditionSurface::vertex(black_box(AdditionSurface::Front), black_box(None));
            match Addition::between(&fits.distance, &fits.near, basis, vertex) {
                Ok(addition) => keep(addition),
                Err(error) => show::<AdditionError>(&error),
            }
        }
        keep(Pose::from_single_vision(
            &fits.near.fit,
            power().sphero_cylinder().unwrap_or_default(),
            fits.prism,
            vertex(),
        ));
    }
    match Corridor::new(*frame, point(), point(), millimetres(), millimetres()) {
        Ok(corridor) => {
            for place in Corridor::profile(&corridor) {
                keep(place);
            }
            keep(Corridor::end(&corridor, dioptres(), dioptres(), Fraction::from_bits(int())));
            keep(Corridor::width(&corridor, point(), power(), dioptres()));
        }
        Err(error) => show::<ProgressiveError>(&error),
    }
    if let Ok(area) = Disc::new(point(), millimetres()) {
        keep(PlacedFrame::find_near_point(frame, &area, millimetres(), millimetres()));
    }
    keep(PlacedFrame::fit_at(frame, point(), millimetres()));
}

fn segment(frame: &PlacedFrame<'_>) {
    let disc = || Disc::new(point(), millimetres());
    let (Ok(distance), Ok(near)) = (disc(), disc()) else { return };
    let seeds = PortionSeeds { distance, intermediate: disc().ok(), near };
    let mut classes = [Belongs::To(Portion::Near), Belongs::To(Portion::Distance), Belongs::Either, Belongs::Nowhere];
    match Portions::separate(frame.pairs, frame.geometry, &seeds) {
        Ok(portions) => {
            keep(Portions::classify(&portions, frame.pairs, &mut classes));
            if let Some(pair) = frame.pairs.first() {
                keep(Portions::of(&portions, pair));
            }
            keep(Portions::count(&portions, black_box(Portion::Intermediate)));
            keep(Portions::passes(&portions));
            keep(Portions::is_settled(&portions));
            keep(Portions::fit(&portions, black_box(Portion::Near), frame.geometry));
            keep(PlacedFrame::fit_in_portion(frame, &portions, black_box(Portion::Near), point(), millimetres()));
        }
        Err(error) => show::<SegmentError>(&error),
    }
    let classes = black_box(classes);
    let (upper, lower) = (black_box(Portion::Distance), black_box(Portion::Near));
    let line = TopLine::between(upper, lower, frame.pairs, &classes, frame.geometry, millimetres());
    let points = black_box([point(), point(), point()]);
    for line in [line, TopLine::through(&points)] {
        match line {
            Ok(line) => {
                keep(TopLine::above(&line, point()));
                keep(TopLine::pose(&line, point(), vertex()));
            }
            Err(error) => show(&error),
        }
    }
    let mut sums = RoundTopSums::default();
    for _ in 0..word() & 15 {
        keep(RoundTopSums::add(&mut sums, point()));
    }
    keep(RoundTopSums::add_border(&mut sums, frame.pairs, &classes, frame.geometry, millimetres()));
    keep(RoundTopSums::count(&sums));
    keep(RoundTopSums::fit(&sums));
}
