//! Detector and plate as they are stored: read back to the bit, and what no constructor takes is refused.
#![cfg(feature = "serde")]

#[path = "common/stored.rs"]
mod stored;

use dioptric::quantity::{Millimetre, Point};
use dioptric::sensor::{Detector, Hole, ImagePlace, Lattice, LatticeKind, Orientation, Plate};
use dioptric::{degrees, millimetres};
use stored::returns;

const PLATE: Plate = Plate {
    kind: LatticeKind::Hexagonal,
    pitch: millimetres!(0.5),
    origin: Point::new(millimetres!(0.01), millimetres!(-0.02)),
    rotation: degrees!(12.5),
    centre: Point::new(millimetres!(0.1), millimetres!(0.0)),
    radius: millimetres!(3.0),
    marker: Some(Hole::new(1, -2)),
};
const AXIS: ImagePlace = ImagePlace { x: 320 << 16, y: -(240 << 16) };

fn detector() -> Detector {
    Detector::new(3_450_000, AXIS, Orientation::MirroredTurned90).expect("in range")
}

fn lattice() -> Lattice {
    Lattice::new(PLATE).expect("a plate")
}

#[test]
fn stored_values_return() {
    returns(detector());
    returns(lattice());
    returns(PLATE);
    returns(Plate { marker: None, kind: LatticeKind::Square, ..PLATE });
    for hole in [Hole::default(), Hole::new(i8::MIN, i8::MAX), Hole::new(-1, 127)] {
        returns(hole);
    }
}

#[test]
fn a_lattice_is_stored_as_its_plate() {
    assert_eq!(postcard::to_stdvec(&lattice()), postcard::to_stdvec(&PLATE));
    assert_eq!(postcard::to_stdvec(&Hole::new(1, -2)), Ok(vec![1, 0xFE]));
}

/// Written by hand in place of the constructor.
#[test]
fn plates_that_are_none_are_not_read() {
    let is_read = |plate: Plate| {
        let bytes = postcard::to_stdvec(&plate).expect("serialises");
        let text = serde_json::to_string(&plate).expect("serialises");
        let read = postcard::from_bytes::<Lattice>(&bytes).is_ok();
        assert_eq!(read, serde_json::from_str::<Lattice>(&text).is_ok(), "{text}");
        assert_eq!(read, Lattice::new(plate).is_ok(), "{text}");
        read
    };
    assert!(is_read(PLATE));
    for plate in [
        Plate { pitch: millimetres!(0.049), ..PLATE },
        Plate { pitch: millimetres!(8.01), ..PLATE },
        Plate { pitch: Millimetre::ZERO, ..PLATE },
        Plate { rotation: degrees!(360.1), ..PLATE },
        Plate { origin: Point::new(millimetres!(16.1), Millimetre::ZERO), ..PLATE },
        Plate { centre: Point::new(Millimetre::ZERO, Millimetre::MIN), ..PLATE },
        Plate { radius: millimetres!(-1.0), ..PLATE },
        Plate { radius: Millimetre::MAX, ..PLATE },
        Plate { radius: millimetres!(0.3), marker: None, ..PLATE },
        Plate { marker: Some(Hole::new(50, 0)), ..PLATE },
    ] {
        assert!(!is_read(plate), "{plate:?}");
    }
}

#[test]
fn detectors_that_are_none_are_not_read() {
    let text = serde_json::to_string(&detector()).expect("serialises");
    for (found, other) in [
        ("3450000", (Detector::LEAST_PIXEL - 1).to_string()),
        ("3450000", (Detector::MOST_PIXEL + 1).to_string()),
        ("3450000", "0".into()),
        ("3450000", "-1".into()),
        (&AXIS.x.to_string(), (Detector::MOST_AXIS + 1).to_string()),
        (&AXIS.y.to_string(), i32::MIN.to_string()),
        ("MirroredTurned90", "Skewed".into()),
    ] {
        let changed = text.replace(found, &other);
        assert_ne!(changed, text, "{found}");
        assert!(serde_json::from_str::<Detector>(&changed).is_err(), "{changed}");
    }
    let least = text.replace("3450000", &Detector::LEAST_PIXEL.to_string());
    assert!(serde_json::from_str::<Detector>(&least).is_ok());
    // Pixel, axis and orientation in turn: a pixel of no width in the bytes.
    let bytes = postcard::to_stdvec(&(0u32, AXIS, Orientation::Upright)).expect("serialises");
    assert!(postcard::from_bytes::<Detector>(&bytes).is_err());
    let bytes = postcard::to_stdvec(&(3_450_000u32, AXIS, Orientation::MirroredTurned90)).expect("serialises");
    assert_eq!(postcard::from_bytes(&bytes), Ok(detector()));
}
