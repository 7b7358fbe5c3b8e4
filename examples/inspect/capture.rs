//! From two frames of a sensor, one without a lens and one with it, to spot pairs.

use crate::pgm::{self, Image};
use crate::sensor::Sensor;
use crate::spots::Fault;
use dioptric::quantity::Point;
use dioptric::sensor::{
    AssignError, Assignment, Cell, FinderMemory, Findings, FoundSpot, Mounting, OpenBlob, PlacedSpot, Reference,
    Rejected, Run, SpotFinder, SpotPair, Tile,
};
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

/// What the frames gave.
pub struct Capture {
    pub pairs: Vec<SpotPair>,
    /// How the plate lies, by the frame without a lens.
    pub mounting: Mounting,
    /// How sure the assignment is.
    pub findings: Findings,
    /// Blobs of the frame with the lens that are no spots.
    pub rejected: Rejected,
    /// Spots of it that belong to no hole.
    pub extra: Vec<Point>,
}

impl Capture {
    /// Reads both frames, finds the spots, and assigns them to the holes.
    pub fn read(frame: &Path, empty: &Path, sensor: &Sensor) -> Result<Self, Fault> {
        let lattice = &sensor.lattice;
        let mut cells = vec![Cell::EMPTY; lattice.cells()];
        let mut places = vec![None; lattice.count().into()];

        let (mut spots, _) = spots(empty, sensor)?;
        let reference = Reference::measure(lattice, &mut spots, &mut cells, &mut places);
        let (reference, _) = reference.map_err(|error| unassigned(empty, spots.len(), error))?;

        let (mut spots, rejected) = self::spots(frame, sensor)?;
        let count = spots.len();
        let assignment = reference.assign(&mut spots, &mut cells);
        let assignment = assignment.map_err(|error| unassigned(frame, count, error))?;
        Ok(Self::of(&assignment, *reference.mounting(), rejected))
    }

    fn of(assignment: &Assignment, mounting: Mounting, rejected: Rejected) -> Self {
        Self {
            pairs: assignment.pairs().map(|assigned| assigned.pair).collect(),
            mounting,
            findings: *assignment.findings(),
            rejected,
            extra: assignment.extra().map(PlacedSpot::place).collect(),
        }
    }
}

fn unassigned(path: &Path, spots: usize, error: AssignError) -> Fault {
    fault(path, format!("{spots} spots: {error}"))
}

fn fault(path: &Path, what: impl Into<String>) -> Fault {
    Fault::of_file(&path.display().to_string(), what)
}

/// The spots of a frame, in millimetres.
fn spots(path: &Path, sensor: &Sensor) -> Result<(Vec<PlacedSpot>, Rejected), Fault> {
    let image = image(path, sensor)?;
    let width = usize::from(sensor.width);
    let (mut tiles, mut runs) = (vec![Tile::EMPTY; SpotFinder::tiles(sensor.width)], vec![Run::EMPTY; width + 2]);
    let mut blobs = vec![OpenBlob::EMPTY; width + 2];
    let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
    let refused = |error: &dyn std::fmt::Display| fault(path, error.to_string());
    let mut finder = SpotFinder::new(sensor.width, sensor.limits, memory).map_err(|error| refused(&error))?;
    let mut found: Vec<FoundSpot> = Vec::new();
    for row in image.rows() {
        finder.row(row, |spot| found.push(spot)).map_err(|error| refused(&error))?;
    }
    let rejected = finder.finish(|spot| found.push(spot)).map_err(|error| refused(&error))?;
    let placed: Result<_, _> = found.iter().map(|spot| sensor.detector.spot(spot)).collect();
    Ok((placed.map_err(|error| refused(&error))?, rejected))
}

/// A frame as the setup promises it.
fn image(path: &Path, sensor: &Sensor) -> Result<Image, Fault> {
    let file = File::open(path).map_err(|error| fault(path, error.to_string()))?;
    let image = pgm::read(BufReader::new(file)).map_err(|error| fault(path, error.to_string()))?;
    let (width, height) = (image.width, image.height());
    if (width, height) != (sensor.width.into(), sensor.height.into()) {
        let what = format!("{width} x {height} pixels instead of the setup's {} x {}", sensor.width, sensor.height);
        return Err(fault(path, what));
    }
    if image.bits() != u32::from(sensor.limits.bits) {
        return Err(fault(path, format!("{} bits instead of the setup's {}", image.bits(), sensor.limits.bits)));
    }
    Ok(image)
}
