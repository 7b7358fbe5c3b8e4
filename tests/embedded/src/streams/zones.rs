use dioptric::{
    quantity::{Millimetre, Point},
    sensor::{
        Disc, Fit, Geometry, HigherOrder, HigherOrderError, HigherOrderSums, LatticeKind, MapCell, MapError, Outlier,
        PowerMap, RobustError, RobustFit, RobustLimits, SlopeSums, SpotPair, Zernike,
    },
};

use super::{Digest, Stream, digest::Words, inputs::Generator};

pub const STREAMS: &[Stream] = &[
    Stream { name: "sensor.robust", run: robust },
    Stream { name: "sensor.map", run: map },
    Stream { name: "sensor.higher_order", run: higher_order },
];

const FRAMES: u32 = 320;
const SPOTS: usize = 37;

impl Digest {
    fn take_lens(&mut self, fit: &Fit) {
        self.take(fit.power().words());
        self.take(fit.prism().words());
        self.take([fit.residual().to_bits() as u32, fit.count()]);
    }
}

/// A place within 4 mm in each direction.
fn place(generator: &mut Generator) -> Point {
    let mut coordinate = || Millimetre::from_bits((generator.word() as i32) >> 13);
    Point::new(coordinate(), coordinate())
}

fn geometry(generator: &mut Generator) -> Option<Geometry> {
    let whole = |millimetres: i32| Millimetre::from_bits(millimetres << Millimetre::FRACTION_BITS);
    Geometry::new(whole((generator.word() % 15) as i32), whole((generator.word() % 30) as i32 + 10)).ok()
}

/// Spots of a lens with coma, noise of a few units, and up to a quarter of them anywhere.
fn frame(generator: &mut Generator) -> Option<[SpotPair; SPOTS]> {
    let powers = [generator.word(), generator.word()].map(|word| (word as i32) >> 23);
    let noise = generator.word() & 15;
    let astray = generator.word() % 10;
    let mut pairs = [SpotPair::default(); SPOTS];
    for (index, pair) in (0u32..).zip(&mut pairs) {
        let hole = place(generator);
        let mut moved = |at: Millimetre, power: i32| {
            let (at, bent) = (i64::from(at.to_bits()), i64::from(hole.x.to_bits()) * i64::from(hole.x.to_bits()));
            let shift = ((at * i64::from(power)) >> 11) + (bent >> 28);
            let off = (generator.word() as i32).checked_shr(32 - noise).unwrap_or(0);
            Millimetre::from_bits((at + shift) as i32 + off)
        };
        let seen = Point::new(moved(hole.x, powers[0]), moved(hole.y, powers[1]));
        let spot = if index < astray { place(generator) } else { seen };
        *pair = SpotPair::new(hole, spot).ok()?;
    }
    Some(pairs)
}

fn code(error: RobustError) -> u32 {
    match error {
        RobustError::Fit(_) => 1,
        RobustError::LimitsRange => 2,
        RobustError::TooFewRemain => 3,
        _ => 4,
    }
}

fn robust(digest: &mut Digest) {
    let mut generator = Generator::new();
    for _ in 0..FRAMES {
        let (Some(geometry), Some(pairs)) = (geometry(&mut generator), frame(&mut generator)) else { continue };
        let limits = RobustLimits { multiple: 600 + (generator.word() >> 20) as u16, ..RobustLimits::default() };
        match RobustFit::of(&pairs, &geometry, &limits) {
            Ok(found) => {
                digest.take_lens(found.fit());
                let (outliers, quality) = (found.outliers(), found.quality());
                digest.take([found.used(), outliers.marginal, outliers.gross, found.passes().into()]);
                digest.take([found.limit(), quality.largest, quality.residual].map(|part| part.to_bits() as u32));
                digest.take([quality.rejected.to_bits() as u32, quality.converged.into()]);
                for pair in &pairs {
                    digest.take([found.outlier(pair).map_or(0, |why| if why == Outlier::Gross { 2 } else { 1 })]);
                }
            }
            Err(error) => digest.take([code(error)]),
        }
    }
}

impl Digest {
    fn take_cell(&mut self, cell: &MapCell) {
        self.take(cell.disc.centre().words());
        self.take([cell.count]);
        match &cell.fit {
            Ok(fit) => self.take_lens(fit),
            Err(error) => self.take([error.is_range().into()]),
        }
        self.take_or(cell.prism());
    }
}

fn map(digest: &mut Digest) {
    let mut generator = Generator::new();
    for _ in 0..FRAMES {
        let (Some(geometry), Some(pairs)) = (geometry(&mut generator), frame(&mut generator)) else { continue };
        let lattice = if generator.word() & 1 == 0 { LatticeKind::Square } else { LatticeKind::Hexagonal };
        let radius = Millimetre::from_bits((generator.word() >> 14) as i32);
        let Ok(disc) = Disc::new(place(&mut generator), radius) else { continue };
        let step = Millimetre::from_bits((generator.word() >> 14) as i32);
        let map = match PowerMap::new(lattice, disc, 3, 3, step) {
            Ok(map) => map,
            Err(error) => {
                digest.take([if error == MapError::Shape { 1 } else { 2 }]);
                continue;
            }
        };
        let mut sums = [SlopeSums::default(); 9];
        let added = map.add_all(&mut sums, &pairs, &geometry);
        digest.take([added.is_ok().into()]);
        if let Ok(cells) = map.of_sums(&sums, &geometry) {
            cells.for_each(|cell| digest.take_cell(&cell));
        }
        let frame = map.of_frame(&pairs, &geometry);
        digest.take([frame.map(|cell| cell.count).sum()]);
    }
}

impl Digest {
    fn take_wavefront(&mut self, found: &HigherOrder, at: Point) {
        for term in Zernike::ALL {
            self.take([found.coefficient(term).to_bits() as u32, term.index().into()]);
        }
        self.take([found.rms(), found.unexplained()].map(|part| part.to_bits() as u32));
        self.take(found.power().words());
        self.take_or(found.power_at(at));
        self.take_or(found.prism_at(at));
        self.take([found.count()]);
    }
}

fn higher_order(digest: &mut Digest) {
    let mut generator = Generator::new();
    for _ in 0..FRAMES {
        let (Some(geometry), Some(pairs)) = (geometry(&mut generator), frame(&mut generator)) else { continue };
        let radius = Millimetre::from_bits((5 << 16) - (generator.word() >> 14) as i32);
        let Ok(disc) = Disc::new(Point::ORIGIN, radius) else { continue };
        let Ok(mut sums) = HigherOrderSums::new(disc, &geometry) else { continue };
        for pair in &pairs {
            let added = sums.add(*pair);
            digest.take([added.is_ok_and(|within| within).into()]);
        }
        match sums.fit() {
            Ok(found) => digest.take_wavefront(&found, place(&mut generator)),
            Err(error) => digest.take([if error == HigherOrderError::Singular { 1 } else { 2 }]),
        }
    }
}
