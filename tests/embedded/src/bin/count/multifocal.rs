//! Multifocal lenses: their pose, their additions, and the portions of a segment behind 113 holes.

use core::cell::RefCell;

use dioptric::{
    prism::Prism,
    quantity::{Degree, Millimetre, Point},
    rx::SpheroCylinder,
    sensor::{
        Addition, AdditionBasis, AdditionError, Belongs, Disc, Error, Fit, FoundMark, Geometry, LocalFit, PlacedFrame,
        Portion, PortionSeeds, Portions, Pose, PoseError, SegmentError, SpotPair, TopLine, Vertex,
    },
};
use dioptric_embedded::count::report;

use crate::inputs::{Generator, INPUTS, array, inputs};
use crate::{geometry, sum_all};

const HOLES: usize = 113;

const fn millimetres(whole: i32) -> Millimetre {
    Millimetre::from_bits(whole << Millimetre::FRACTION_BITS)
}

const RADIUS: Millimetre = Millimetre::from_bits(5 << (Millimetre::FRACTION_BITS - 1));

/// A lens of -1.00, and below its middle a segment of +2.00 with its optical centre 3 mm below the line; holes 1 mm apart,
/// throw 20 mm, so that light moves by a fiftieth of its distance from the centre a dioptre.
#[inline(never)]
fn spots(pairs: &mut [SpotPair; HOLES]) -> Option<()> {
    let mut noise = inputs(Generator::word).map(|word| (word >> 27) as i32 - 16).cycle_of();
    let mut places = (-6i32..=6).flat_map(|y| (-6i32..=6).map(move |x| (x, y))).filter(|(x, y)| x * x + y * y <= 36);
    for pair in pairs {
        let (x, y) = places.next()?;
        let (addition, centre) = if y < 0 { (2, -3) } else { (0, 0) };
        let moved = |at: i32, centre: i32, noise: i32| {
            let at = at << Millimetre::FRACTION_BITS;
            let from_segment = at - (centre << Millimetre::FRACTION_BITS);
            Millimetre::from_bits(at + at / 50 - addition * from_segment / 50 + noise)
        };
        let spot = Point::new(moved(x, 0, noise()), moved(y, centre, noise()));
        *pair = SpotPair::new(Point::new(millimetres(x), millimetres(y)), spot).ok()?;
    }
    Some(())
}

/// Starts over at the end.
trait CycleOf {
    fn cycle_of(self) -> impl FnMut() -> i32;
}

impl<I: Iterator<Item = i32>> CycleOf for I {
    fn cycle_of(self) -> impl FnMut() -> i32 {
        let mut seen = [0; INPUTS];
        for (place, value) in seen.iter_mut().zip(self) {
            *place = value;
        }
        let mut next = 0;
        move || {
            next = (next + 1) % INPUTS;
            seen[next]
        }
    }
}

fn from_marks(marks: [FoundMark; 2]) -> Result<Pose, PoseError> {
    Pose::from_marks(&marks, millimetres(1), Vertex::Back)
}

fn from_order((fit, ordered): (Option<Fit>, SpheroCylinder)) -> Option<Pose> {
    Pose::from_single_vision(&fit?, ordered, Prism::ZERO, Vertex::Back).ok()
}

#[inline(never)]
fn poses(pairs: &[SpotPair], geometry: &Geometry) {
    let mark = |x: i32, y: i32| FoundMark {
        at: Point::new(millimetres(x), Millimetre::from_bits(y)),
        uncertainty: Millimetre::from_bits(500),
    };
    let marks = inputs(|generator| [mark(-17, generator.below(1 << 18)), mark(17, generator.below(1 << 18))]);
    report("pose from two marks", 1, marks, from_marks);
    let fit = sum_all(pairs).fit(geometry).ok();
    report("pose from axis and centre", 1, inputs(Generator::prescription).map(|rx| (fit, rx)), from_order);
    let posed = inputs(|generator| {
        (Pose::given(Point::ORIGIN, Degree::from_bits(generator.below(1 << 26)), Vertex::Front), generator.point())
    });
    report("place of the lens to the machine", 1, posed, |(pose, point)| pose.to_machine(point));
}

fn fit_at((frame, place): (PlacedFrame<'_>, Point)) -> Result<LocalFit, Error> {
    frame.fit_at(place, RADIUS)
}

fn addition((distance, near, basis): (&LocalFit, &LocalFit, AdditionBasis)) -> Result<Addition, AdditionError> {
    Addition::between(distance, near, basis, Vertex::Back)
}

#[inline(never)]
fn additions(pairs: &[SpotPair], geometry: &Geometry) {
    let pose = Pose::default();
    let frame = PlacedFrame { pairs, geometry, pose: &pose };
    let places = [3, -3].map(|y| (frame, Point::new(Millimetre::ZERO, millimetres(y))));
    report("fit at a place, of 113 spots", 1, places, fit_at);
    let [Ok(distance), Ok(near)] = places.map(fit_at) else { return };
    report("addition, mean powers", 1, [(&distance, &near, AdditionBasis::MeanPower)], addition);
    report("addition, nearest the vertical", 1, [(&distance, &near, AdditionBasis::NearestVertical)], addition);
}

type Frame<'a> = (&'a [SpotPair], &'a Geometry);

fn separate(((pairs, geometry), seeds): (Frame<'_>, &PortionSeeds)) -> Result<Portions, SegmentError> {
    Portions::separate(pairs, geometry, seeds)
}

fn classify(
    (portions, pairs, classes): (&Portions, &[SpotPair], &RefCell<[Belongs; HOLES]>),
) -> Result<(), SegmentError> {
    portions.classify(pairs, &mut *classes.borrow_mut())
}

fn top_line(((pairs, geometry), classes): (Frame<'_>, &[Belongs])) -> Result<TopLine, SegmentError> {
    TopLine::between(Portion::Distance, Portion::Near, pairs, classes, geometry, millimetres(1))
}

#[inline(never)]
fn segments(pairs: &[SpotPair], geometry: &Geometry) {
    let disc = |y: i32| Disc::new(Point::new(Millimetre::ZERO, millimetres(y)), millimetres(2));
    let (Ok(distance), Ok(near)) = (disc(3), disc(-3)) else { return };
    let (frame, seeds) = ((pairs, geometry), PortionSeeds { distance, intermediate: None, near });
    report("portions of 113 spots", 1, [(frame, &seeds)], separate);
    let Ok(portions) = separate((frame, &seeds)) else { return };
    let classes = RefCell::new([Belongs::Nowhere; HOLES]);
    report("class of a spot", HOLES as u32, [(&portions, pairs, &classes)], classify);
    let classes = classes.into_inner();
    report("top line between 113 holes", 1, [(frame, &classes[..])], top_line);
    let near_line = |generator: &mut Generator| {
        Point::new(Millimetre::from_bits(generator.below(1 << 20)), Millimetre::from_bits(generator.below(1 << 8)))
    };
    report("top line, a point of 64", INPUTS as u32, [&array(near_line)[..]], TopLine::through);
}

/// Each part apart, so that their stacks do not add up.
#[inline(never)]
pub fn multifocals() {
    let mut pairs = [SpotPair::default(); HOLES];
    let (Some(()), Some(geometry)) = (spots(&mut pairs), geometry()) else { return };
    poses(&pairs, &geometry);
    additions(&pairs, &geometry);
    segments(&pairs, &geometry);
}
