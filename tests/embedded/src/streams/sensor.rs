use dioptric::{
    quantity::{Millimetre, Point},
    sensor::{Centre, CompactPair, Disc, Fit, Geometry, SlopeSums, SpotPair},
    vector::PowerMatrix,
};

use super::{
    Digest, Stream,
    digest::{Words, halves},
    inputs::{Generator, RANDOM, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "sensor.fit", run: fit },
    Stream { name: "sensor.fit_compact", run: fit_compact },
    Stream { name: "sensor.fit_anything", run: fit_anything },
    Stream { name: "sensor.disc", run: disc },
];

/// Spots of a fit: few, so that the stream is about the solution as much as about the sums.
const SPOTS: u32 = 9;

fn millimetres(whole: i32) -> Millimetre {
    Millimetre::from_bits(whole << Millimetre::FRACTION_BITS)
}

impl Digest {
    fn take_fit(&mut self, fit: &Fit) {
        self.take(fit.power().words());
        self.take(fit.prism().words());
        self.take([fit.residual().to_bits() as u32]);
        self.take(fit.rotation().words());
        match fit.centre() {
            Centre::Point(point) => self.take(point.words()),
            Centre::Line { nearest, direction, remaining } => {
                self.take(nearest.words());
                self.take(direction.words());
                self.take(remaining.words());
            }
            Centre::None => self.take([u32::MAX]),
        }
        let uncertainty = fit.uncertainty();
        self.take([uncertainty.sphere, uncertainty.cylinder, uncertainty.across].map(|part| part.to_bits() as u32));
        self.take([uncertainty.prism_x, uncertainty.prism_y].map(|part| part.to_bits() as u32));
        self.take_or(uncertainty.axis);
        self.take_or(uncertainty.centre);
        let covariance = fit.covariance().map_or([0; 6], |c| [c.m, c.j0, c.j45, c.m_j0, c.m_j45, c.j0_j45]);
        for element in covariance {
            self.take([element as u32, (element >> 32) as u32]);
        }
    }

    fn take_result(&mut self, sums: &SlopeSums, geometry: Geometry) {
        match sums.fit(&geometry) {
            Ok(fit) => self.take_fit(&fit),
            Err(error) => self.take([u32::from(error.is_range())]),
        }
    }
}

impl Generator {
    fn geometry(&mut self) -> Option<Geometry> {
        let (gap, throw) = ((self.word() % 20) as i32, (self.word() % 60) as i32 + 2);
        Geometry::new(millimetres(gap), millimetres(throw)).ok()
    }

    /// Within 4 mm of the axis.
    fn hole(&mut self) -> Point {
        let mut coordinate = || Millimetre::from_bits((self.word() as i32) >> 13);
        Point::new(coordinate(), coordinate())
    }
}

/// Where a lens in the plate of the given power, with noise of some micrometres, sends the light through a hole.
fn seen(power: PowerMatrix, throw: Millimetre, hole: Point, generator: &mut Generator) -> Point {
    let prism = power.prism_at(hole);
    let mut moved = |at: Millimetre, prism_bits: i32| {
        let noise = (generator.word() as i32) >> 23;
        let shift = (i64::from(prism_bits) * i64::from(throw.to_bits()) / 100) >> 20;
        Millimetre::from_bits(at.to_bits().saturating_add(shift as i32).saturating_add(noise))
    };
    Point::new(moved(hole.x, prism.x.to_bits()), moved(hole.y, prism.y.to_bits()))
}

fn fit(digest: &mut Digest) {
    random(|generator| {
        let Some(geometry) = generator.geometry() else { return };
        let power = generator.prescription().into();
        let mut sums = SlopeSums::default();
        let pairs: [SpotPair; SPOTS as usize] = core::array::from_fn(|_| {
            let hole = generator.hole();
            let nothing_there = SpotPair::new(Point::ORIGIN, Point::ORIGIN);
            let pair = SpotPair::new(hole, seen(power, geometry.throw(), hole, generator)).or(nothing_there);
            pair.unwrap_or_else(|_| unreachable!("the origin is in range"))
        });
        let added = sums.add_all(&pairs);
        digest.take([u32::from(added.is_ok()), sums.count()]);
        digest.take_result(&sums, geometry);
    });
}

fn fit_compact(digest: &mut Digest) {
    random(|generator| {
        let Some(geometry) = generator.geometry() else { return };
        let mut sums = SlopeSums::default();
        let pairs: [CompactPair; SPOTS as usize] = core::array::from_fn(|_| {
            let [a, b] = halves(generator.long());
            // Two of the full range, two far smaller: as displacements are.
            CompactPair { x: a as i16, y: (a >> 16) as i16, dx: b as i16 >> 5, dy: (b >> 16) as i16 >> 5 }
        });
        let added = sums.add_compact(&pairs);
        digest.take([u32::from(added.is_ok()), sums.count()]);
        digest.take_result(&sums, geometry);
    });
}

/// Coordinates of every magnitude: out of range, on a line, and all in one place.
fn fit_anything(digest: &mut Digest) {
    let mut generator = Generator::new();
    let mut merged = SlopeSums::default();
    for _ in 0..RANDOM {
        let Some(geometry) = generator.geometry() else { continue };
        let mut sums = SlopeSums::default();
        for _ in 0..3 + generator.word() % 2 {
            let mut point = || {
                let mut coordinate = || Millimetre::from_bits(generator.signed() >> 9);
                Point::new(coordinate(), coordinate())
            };
            let added = SpotPair::new(point(), point()).and_then(|pair| sums.add(pair));
            digest.take([u32::from(added.is_ok())]);
        }
        let added = merged.merge(&sums);
        digest.take([u32::from(added.is_ok()), merged.count()]);
        digest.take_result(&sums, geometry);
    }
    if let Ok(geometry) = Geometry::new(millimetres(5), millimetres(20)) {
        digest.take_result(&merged, geometry);
    }
}

/// Spots of every displacement, and discs that take some of them.
fn disc(digest: &mut Digest) {
    random(|generator| {
        let Some(geometry) = generator.geometry() else { return };
        let Ok(disc) = Disc::new(generator.hole(), Millimetre::from_bits((generator.word() >> 14) as i32)) else {
            return;
        };
        let pair = SpotPair::new(generator.hole(), generator.hole());
        digest.take([u32::from(pair.is_ok())]);
        let Ok(pair) = pair else { return };
        digest.take(geometry.exit(&pair).words());
        digest.take([disc.sums(&[pair], &geometry).map_or(u32::MAX, |sums| sums.count())]);
    });
}
