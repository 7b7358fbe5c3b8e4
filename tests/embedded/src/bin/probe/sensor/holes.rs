use core::hint::black_box;

use dioptric::{
    quantity::{Degree, Point},
    sensor::{
        AssignError, Assignment, Cell, Detector, DetectorError, FoundSpot, Hole, ImagePlace, Lattice, LatticeError,
        LatticeKind, Orientation, PlacedSpot, Plate, Reference,
    },
};

use crate::{degrees, int, keep, millimetres, point, show, word};

pub fn probe() {
    detector();
    match Lattice::new(plate()) {
        Ok(lattice) => lattice_of(&lattice),
        Err(error) => no_lattice(error),
    }
    no_lattice(black_box(LatticeError::IndexRange));
}

fn detector() {
    let orientation = *Orientation::ALL.get(word() as usize & 7).unwrap_or(&Orientation::Upright);
    match Detector::new(word(), ImagePlace { x: int(), y: int() }, orientation) {
        Ok(detector) => {
            keep(Detector::pixel_picometres(&detector));
            keep(Detector::axis(&detector));
            keep(Detector::orientation(&detector));
            keep(Detector::place(&detector, ImagePlace { x: int(), y: int() }));
            keep(Detector::image_place(&detector, point()));
            keep(Detector::spot(&detector, &FoundSpot { x: word(), y: word(), ..FoundSpot::default() }));
        }
        Err(error) => no_place(error),
    }
}

#[inline(never)]
fn no_place(error: DetectorError) {
    show(&error);
}

#[inline(never)]
fn hole() -> Hole {
    Hole::new(word() as i8, int() as i8)
}

fn plate() -> Plate {
    let kind = if word() & 1 == 0 { LatticeKind::Square } else { LatticeKind::Hexagonal };
    let (origin, centre, rotation): (Point, Point, Degree) = (point(), point(), degrees());
    Plate { kind, pitch: millimetres(), origin, rotation, centre, radius: millimetres(), marker: Some(hole()) }
}

#[inline(never)]
fn no_lattice(error: LatticeError) {
    show(&error);
}

fn lattice_of(lattice: &Lattice) {
    keep(Lattice::plate(lattice));
    keep(Lattice::count(lattice));
    keep(Lattice::contains(lattice, hole()));
    keep(Lattice::number(lattice, Hole::moved(hole(), hole())));
    keep(Lattice::hole(lattice, word() as u16));
    keep(Lattice::holes(lattice).last());
    keep(Lattice::place(lattice, hole()));
    keep(Lattice::nearest(lattice, point()));
    keep(Lattice::neighbours(lattice, hole()).last());
    keep(Lattice::cells(lattice));
    let (mut spots, mut cells) = (black_box([PlacedSpot::new(point(), word()); 31]), [Cell::EMPTY; 64]);
    let mut places = black_box([Some(point()); 31]);
    keep(PlacedSpot::place(&spots[0]));
    keep(PlacedSpot::light(&spots[0]));
    match Reference::measure(lattice, &mut spots, &mut cells, &mut places) {
        Ok((reference, findings)) => {
            keep(findings);
            referred(&reference, hole());
        }
        Err(error) => not_assigned(error),
    }
    let stored = black_box(places);
    match Reference::from_places(lattice, &stored) {
        Ok(reference) => match Reference::assign(&reference, &mut spots, &mut cells) {
            Ok(assignment) => assigned(&assignment),
            Err(error) => not_assigned(error),
        },
        Err(error) => not_assigned(error),
    }
}

fn referred(reference: &Reference, hole: Hole) {
    keep(Reference::lattice(reference));
    keep(Reference::places(reference));
    keep(Reference::place(reference, hole));
    keep(Reference::mounting(reference));
}

fn assigned(assignment: &Assignment) {
    keep(Assignment::findings(assignment));
    for pair in Assignment::pairs(assignment) {
        keep(pair);
    }
    keep(Assignment::extra(assignment).last());
}

#[inline(never)]
fn not_assigned(error: AssignError) {
    show(&error);
}
