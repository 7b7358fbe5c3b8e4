//! The sensor of a frame in the crate's quantities, from the setup file: see `examples/render/setup.rs`.

use crate::setup::{Direction, Distances, Lattice as Kind, Setup};
use dioptric::quantity::{Degree, Millimetre, Point};
use dioptric::sensor::{
    Detector, Geometry, GeometryUncertainty, Hole, ImagePlace, Lattice, LatticeKind, Orientation, Plate, SpotLimits,
};
use std::fmt::Display;

/// A sensor that takes frames.
pub struct Sensor {
    pub geometry: Geometry,
    pub detector: Detector,
    pub lattice: Lattice,
    pub width: u16,
    pub height: u16,
    pub limits: SpotLimits,
    /// Of gap and throw, if the setup says it.
    pub uncertainty: Option<GeometryUncertainty>,
}

impl Sensor {
    /// Reads a setup file's text.
    pub fn read(text: &str) -> Result<Self, String> {
        let setup = Setup::read(text)?;
        let (gap, throw) = (millimetres("gap_mm", setup.gap_mm)?, millimetres("throw_mm", setup.throw_mm)?);
        Ok(Self {
            geometry: Geometry::new(gap, throw).map_err(said)?,
            detector: detector(&setup)?,
            lattice: lattice(&setup)?,
            width: setup.detector.width_px,
            height: setup.detector.height_px,
            limits: SpotLimits::spots(setup.detector.bits),
            uncertainty: setup.uncertainty.as_ref().map(uncertainty).transpose()?,
        })
    }
}

fn uncertainty(known: &Distances) -> Result<GeometryUncertainty, String> {
    Ok(GeometryUncertainty {
        gap: millimetres("uncertainty of gap_mm", known.gap_mm)?,
        throw: millimetres("uncertainty of throw_mm", known.throw_mm)?,
        ..GeometryUncertainty::default()
    })
}

fn said(error: impl Display) -> String {
    error.to_string()
}

fn millimetres(name: &str, value: f64) -> Result<Millimetre, String> {
    Millimetre::try_from_f64(value).map_err(|error| format!("{name} = {value}: {error}"))
}

fn detector(setup: &Setup) -> Result<Detector, String> {
    let described = &setup.detector;
    let place = |name: &str, pixels: f64| {
        let bits = (pixels * 65536.0).round();
        // The range is the detector's to judge; here a float becomes a number.
        let fits = bits.abs() < f64::from(i32::MAX);
        fits.then_some(bits as i32).ok_or_else(|| format!("{name} = {pixels}: out of range"))
    };
    let axis = ImagePlace {
        x: place("axis_column_px", described.axis_column_px)?,
        y: place("axis_row_px", described.axis_row_px)?,
    };
    let picometres = (described.pixel_um * 1e6).round().clamp(0.0, f64::from(u32::MAX)) as u32;
    Detector::new(picometres, axis, orientation(described.columns_run, described.rows_run)).map_err(said)
}

/// Which way columns and rows run, as what turns the image upright. The setup has been checked: they are square to each other.
const fn orientation(columns: Direction, rows: Direction) -> Orientation {
    match (columns, rows) {
        (Direction::Right, Direction::Up) => Orientation::MirroredTurned180,
        (Direction::Right, _) => Orientation::Upright,
        (Direction::Left, Direction::Up) => Orientation::Turned180,
        (Direction::Left, _) => Orientation::Mirrored,
        (Direction::Up, Direction::Left) => Orientation::MirroredTurned270,
        (Direction::Up, _) => Orientation::Turned90,
        (Direction::Down, Direction::Left) => Orientation::Turned270,
        (Direction::Down, _) => Orientation::MirroredTurned90,
    }
}

fn lattice(setup: &Setup) -> Result<Lattice, String> {
    let holes = &setup.plate;
    let rotation = holes.rotation_deg;
    Lattice::new(Plate {
        kind: match holes.lattice {
            Kind::Square => LatticeKind::Square,
            Kind::Hexagonal => LatticeKind::Hexagonal,
        },
        pitch: millimetres("pitch_mm", holes.pitch_mm)?,
        origin: Point::ORIGIN,
        rotation: Degree::try_from_f64(rotation).map_err(|error| format!("rotation_deg = {rotation}: {error}"))?,
        centre: Point::ORIGIN,
        radius: millimetres("radius_mm", holes.radius_mm)?,
        marker: holes.marker_node.map(marker).transpose()?,
    })
    .map_err(said)
}

fn marker([i, j]: [i32; 2]) -> Result<Hole, String> {
    match (i8::try_from(i), i8::try_from(j)) {
        (Ok(i), Ok(j)) => Ok(Hole::new(i, j)),
        _ => Err(format!("marker_node = [{i}, {j}]: out of range")),
    }
}
