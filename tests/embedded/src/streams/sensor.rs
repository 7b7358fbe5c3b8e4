use dioptric::{
    quantity::{Millimetre, Point},
    sensor::{
        Centre, CompactPair, FinderMemory, Fit, FoundSpot, Geometry, OpenBlob, Run, SlopeSums, SpotFinder, SpotLimits,
        SpotPair, Tile,
    },
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
    Stream { name: "sensor.finder", run: finder },
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

const WIDTH: usize = 77;
const ROWS: u32 = 2400;
const FRAMES: u32 = 2;

impl Digest {
    fn take_spot(&mut self, spot: &FoundSpot) {
        self.take([spot.x, spot.y, spot.light as u32, (spot.light >> 32) as u32, spot.area]);
        self.take([spot.peak, spot.height, spot.elongation, spot.saturated.into()].map(u32::from));
        self.take([spot.left, spot.top, spot.right, spot.bottom].map(u32::from));
    }
}

/// Light patches of every shape, size and height on a noisy ground that grows brighter along the row and down the frame.
fn finder(digest: &mut Digest) {
    for marks in [false, true] {
        let common = if marks { SpotLimits::marks(8) } else { SpotLimits::spots(8) };
        let limits = SpotLimits { least_area: 3, most_elongation: 2000, ..common };
        let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; 2], [Run::EMPTY; 78], [OpenBlob::EMPTY; 78]);
        let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
        let Ok(mut finder) = SpotFinder::new(WIDTH as u16, limits, memory) else { return };
        let mut generator = Generator::new();
        for _ in 0..FRAMES {
            frame(digest, &mut generator, &mut finder, marks);
        }
    }
}

fn frame(digest: &mut Digest, generator: &mut Generator, finder: &mut SpotFinder, marks: bool) {
    // Of each patch: first and one past the last column, rows that are left, height.
    let mut patches = [[0u32; 4]; 3];
    for y in 0..ROWS {
        for patch in &mut patches {
            if patch[2] == 0 {
                let (start, width, rows) = (generator.word() % 80, generator.word() % 12, generator.word() % 12);
                *patch = [start, start + width, rows, generator.word() % 220];
            }
            patch[2] = patch[2].saturating_sub(1);
        }
        let row: [u8; WIDTH] = core::array::from_fn(|x| {
            let x = x as u32;
            let ground = 10 + (x >> 4) + (y >> 7) + (generator.word() >> 30);
            let light = |patch: &[u32; 4]| if (patch[0]..patch[1]).contains(&x) { patch[3] } else { 0 };
            let level = patches.iter().map(light).fold(ground, |sum, height| sum + height).min(255) as u8;
            if marks { !level } else { level }
        });
        let taken = finder.row(&row, |spot: FoundSpot| digest.take_spot(&spot));
        digest.take([u32::from(taken.is_ok())]);
    }
    let rejected = finder.finish(|spot: FoundSpot| digest.take_spot(&spot)).unwrap_or_default();
    digest.take([rejected.too_large, rejected.too_small, rejected.clipped]);
    digest.take([rejected.too_dim, rejected.saturated, rejected.elongated]);
}
