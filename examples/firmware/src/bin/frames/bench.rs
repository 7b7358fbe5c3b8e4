//! The sensor's own figures: those of `setup.toml` of the renderer's default.

use dioptric::{
    degrees, millimetres,
    quantity::{Degree, Point},
    sensor::{
        Detector, DetectorError, Error, Geometry, Hole, ImagePlace, Lattice, LatticeError, LatticeKind, Orientation,
        Plate,
    },
};

/// Pixels of a row.
pub const WIDTH: u16 = 640;
/// Holes of the plate.
pub const HOLES: usize = 113;
const NO_TURN: Degree = degrees!(0.0);

/// From the lens's back vertex to the plate, and from there to the detector.
pub fn geometry() -> Result<Geometry, Error> {
    Geometry::new(millimetres!(5.0), millimetres!(20.0))
}

/// Pixels of 15 um; the axis meets column 321.3, row 238.6; the camera looks against the light, rows downwards.
pub fn detector() -> Result<Detector, DetectorError> {
    const AXIS: ImagePlace = ImagePlace { x: 21_056_717, y: 15_636_890 };
    Detector::new(15_000_000, AXIS, Orientation::Mirrored)
}

/// The plate as drawn.
pub fn lattice() -> Result<Lattice, LatticeError> {
    Lattice::new(Plate {
        kind: LatticeKind::Square,
        pitch: millimetres!(0.4),
        origin: Point::ORIGIN,
        rotation: NO_TURN,
        centre: Point::ORIGIN,
        radius: millimetres!(2.4),
        marker: Some(Hole::new(0, 0)),
    })
}
