use dioptric::{
    quantity::{Degree, Millimetre, Point},
    sensor::{
        Assignment, Cell, Detector, Findings, FoundSpot, Hole, ImagePlace, Lattice, LatticeKind, Orientation,
        PlacedSpot, Plate, Reference,
    },
};

use super::{
    Digest, Stream,
    inputs::{Generator, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "sensor.detector", run: detector },
    Stream { name: "sensor.lattice", run: lattice },
    Stream { name: "sensor.assign", run: assign },
];

fn detector(digest: &mut Digest) {
    random(|generator| {
        let pixel = Detector::LEAST_PIXEL + generator.word() % (8 << (generator.word() % 24));
        let axis = ImagePlace { x: generator.signed() >> 3, y: generator.signed() >> 3 };
        let orientation = Orientation::ALL[generator.word() as usize & 7];
        let Ok(detector) = Detector::new(pixel, axis, orientation) else { return digest.take([0]) };
        let at = ImagePlace { x: generator.signed() >> 3, y: generator.signed() >> 3 };
        digest.take_or(detector.place(at).ok());
        let back = detector.image_place(generator.point()).unwrap_or_default();
        digest.take([back.x, back.y].map(|part| part as u32));
        let found = FoundSpot { x: generator.word() >> 4, y: generator.word() >> 4, ..FoundSpot::default() };
        digest.take_or(detector.spot(&found).ok().map(|spot| spot.place()));
    });
}

impl Generator {
    fn plate(&mut self, pitches: u32) -> Plate {
        let near = |generator: &mut Self| {
            let mut part = || Millimetre::from_bits((generator.word() >> 16) as i32 - (1 << 15));
            Point::new(part(), part())
        };
        let pitch = 25_000 + (self.word() >> 16) as i32;
        Plate {
            kind: if self.word() & 1 == 0 { LatticeKind::Square } else { LatticeKind::Hexagonal },
            pitch: Millimetre::from_bits(pitch),
            origin: near(self),
            rotation: Degree::from_bits((self.word() >> 9) as i32 - (1 << 22)),
            centre: near(self),
            radius: Millimetre::from_bits(pitch / 16 * (self.word() % (16 * pitches)) as i32),
            marker: if self.word() & 1 == 0 { None } else { Some(Hole::new(1, 0)) },
        }
    }
}

fn hole_word(hole: Hole) -> u32 {
    u32::from(hole.i as u8) << 8 | u32::from(hole.j as u8)
}

fn lattice(digest: &mut Digest) {
    random(|generator| {
        let Ok(lattice) = Lattice::new(generator.plate(13)) else { return digest.take([0]) };
        digest.take([lattice.count().into(), lattice.cells() as u32]);
        let hole = lattice.hole((generator.word() % u32::from(lattice.count())) as u16).unwrap_or_default();
        digest.take([hole_word(hole)]);
        digest.take_or(Some(lattice.place(hole)));
        digest.take([lattice.nearest(generator.point()).map_or(u32::MAX, hole_word)]);
    });
}

const SPOTS: usize = 169;
const FRAMES: u32 = 150;

fn assign(digest: &mut Digest) {
    let mut generator = Generator::new();
    let (mut cells, mut places) = ([Cell::EMPTY; 256], [None; SPOTS]);
    for _ in 0..FRAMES {
        let Ok(lattice) = Lattice::new(generator.plate(7)) else { continue };
        let count = usize::from(lattice.count()).min(SPOTS);
        let mut spots = [PlacedSpot::new(Point::ORIGIN, 0); SPOTS];
        let straight = [1 << 20, 0, 1 << 20, 0, 0];
        frame(&mut generator, &lattice, straight, &mut spots[..count]);
        let measured = Reference::measure(&lattice, &mut spots[..count], &mut cells, &mut places[..count]);
        let Ok((reference, findings)) = measured else {
            digest.take([1]);
            continue;
        };
        take_findings(digest, &findings);
        let mut part = |most: u32| (generator.word() % (2 * most)) as i32 - most as i32;
        let lens = [(1 << 20) + part(1 << 19), part(1 << 17), (1 << 20) + part(1 << 19), part(1 << 18), part(1 << 18)];
        frame(&mut generator, &lattice, lens, &mut spots[..count]);
        match reference.assign(&mut spots[..count], &mut cells) {
            Ok(assignment) => take_assignment(digest, &assignment),
            Err(error) => digest.take([2, error as u32]),
        }
    }
}

/// Spots behind a symmetric map, 2^-20, and a shift; one in sixteen is anywhere.
fn frame(generator: &mut Generator, lattice: &Lattice, [xx, xy, yy, right, up]: [i32; 5], spots: &mut [PlacedSpot]) {
    for (spot, hole) in spots.iter_mut().zip(lattice.holes()) {
        let place = lattice.place(hole);
        let product = |a: i32, b: Millimetre| i64::from(a) * i64::from(b.to_bits());
        let mut noisy = |sum: i64, shift: i32| (sum >> 20) as i32 + shift + (generator.word() >> 30) as i32;
        let x = noisy(product(xx, place.x) + product(xy, place.y), right);
        let y = noisy(product(xy, place.x) + product(yy, place.y), up);
        let mut landed = Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        if generator.word() & 15 == 0 {
            landed = Point::new(Millimetre::from_bits(generator.signed() >> 12), Millimetre::from_bits(y));
        }
        let light = if lattice.plate().marker == Some(hole) { 2000 } else { 1000 };
        *spot = PlacedSpot::new(landed, light);
    }
}

fn take_findings(digest: &mut Digest, findings: &Findings) {
    digest.take([findings.assigned, findings.missing, findings.extra, findings.lead as u16].map(u32::from));
    digest.take([findings.anchor as u32, findings.rotation.to_bits() as u32]);
    digest.take([findings.residual, findings.largest_step].map(|part| part.to_bits() as u32));
}

fn take_assignment(digest: &mut Digest, assignment: &Assignment) {
    take_findings(digest, assignment.findings());
    for found in assignment.pairs() {
        digest.take([hole_word(found.hole)]);
        digest.take_or(Some(found.pair.displacement()));
    }
}
