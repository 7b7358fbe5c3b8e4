//! Spots to the holes they came through.

use core::cell::RefCell;

use dioptric::{
    quantity::{Degree, Millimetre, Point},
    sensor::{
        Cell, Detector, FoundSpot, Hole, ImagePlace, Lattice, LatticeKind, Orientation, PlacedSpot, Plate, Reference,
    },
};

use dioptric_embedded::count::report;

use crate::inputs::{Generator, inputs};

/// The plate's holes.
const HOLES: usize = 113;

type Frame<'a, 'b> = (&'a Reference<'b>, &'a RefCell<[PlacedSpot; HOLES]>, &'a RefCell<[Cell; 256]>);

fn assigned((reference, spots, cells): Frame) -> Option<u16> {
    let (mut spots, mut cells) = (spots.borrow_mut(), cells.borrow_mut());
    reference.assign(&mut spots[..], &mut cells[..]).ok().map(|assignment| assignment.findings().assigned)
}

fn pixels_to_plane((detector, spot): (&Detector, FoundSpot)) -> Option<PlacedSpot> {
    detector.spot(&spot).ok()
}

/// A plate of 113 holes 0.55 mm apart, seen without a lens as drawn, and eight frames with a lens.
#[inline(never)]
pub fn holes() {
    let pitch = Millimetre::from_bits(36_045);
    let radius = Millimetre::from_bits(6 * 36_045);
    let plate = Plate {
        kind: LatticeKind::Square,
        pitch,
        origin: Point::ORIGIN,
        rotation: Degree::ZERO,
        centre: Point::ORIGIN,
        radius,
        marker: Some(Hole::new(1, 0)),
    };
    let Ok(lattice) = Lattice::new(plate) else { return };
    let mut places = [None; HOLES];
    for (place, hole) in places.iter_mut().zip(lattice.holes()) {
        *place = Some(lattice.place(hole));
    }
    let Ok(reference) = Reference::from_places(&lattice, &places) else { return };
    let cells = RefCell::new([Cell::EMPTY; 256]);
    let spots = RefCell::new([PlacedSpot::new(Point::ORIGIN, 0); HOLES]);
    let frames = inputs(|generator| generator.word()).take(8).map(|seed| {
        Generator::from_seed(seed).frame(&lattice, &mut spots.borrow_mut()[..]);
        (&reference, &spots, &cells)
    });
    report("113 spots to their holes", 1, frames, assigned);
    let axis = ImagePlace { x: 320 << 16, y: 240 << 16 };
    let Ok(detector) = Detector::new(3_450_000, axis, Orientation::Upright) else { return };
    let found = inputs(|generator| (generator.word() >> 7, generator.word() >> 7));
    let found = found.map(|(x, y)| (&detector, FoundSpot { x, y, ..FoundSpot::default() }));
    report("spot to millimetres", 1, found, pixels_to_plane);
}
