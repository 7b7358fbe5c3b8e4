//! The job itself, from the rows of a camera to a verdict, in memory of a fixed size: what a product keeps of this example.
#![allow(dead_code, reason = "each program that includes this module uses its part")]

use dioptric::{
    quantity::Point,
    sensor::{
        AssignError, Cell, Detector, DetectorError, Error, FinderError, FinderMemory, Findings, Geometry, Lattice,
        Mounting, OpenBlob, PlacedSpot, Reference, RobustError, RobustFit, RobustLimits, Run, SpotFinder, SpotLimits,
        SpotPair, Tile,
    },
    tolerance::{self, Class, Measured, Ordered, Rule, Verdict},
};

use super::bench::{HOLES, WIDTH};
use super::camera::Camera;

/// More spots than this are no frame of this plate.
const SPOTS: usize = 160;
/// Of [`Lattice::cells`].
const CELLS: usize = 256;

/// In the memory where no pair has been written yet.
const NO_PAIR: SpotPair = match SpotPair::new(Point::ORIGIN, Point::ORIGIN) {
    Ok(pair) => pair,
    Err(_) => panic!("the origin is in range"),
};

/// What a measurement works in.
pub struct Memory {
    row: [u8; WIDTH as usize],
    tiles: [Tile; SpotFinder::tiles(WIDTH)],
    runs: [Run; 64],
    blobs: [OpenBlob; 16],
    spots: [PlacedSpot; SPOTS],
    cells: [Cell; CELLS],
    pairs: [SpotPair; HOLES],
}

/// Where the light of each hole lands without a lens.
pub type Places = [Option<Point>; HOLES];

/// Why there is no measurement: in which step, and why.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Fault {
    Spots(FinderError),
    TooManySpots,
    Place(DetectorError),
    Holes(AssignError),
    Pair(Error),
    Fit(RobustError),
}

impl From<FinderError> for Fault {
    fn from(error: FinderError) -> Self {
        Self::Spots(error)
    }
}

impl From<DetectorError> for Fault {
    fn from(error: DetectorError) -> Self {
        Self::Place(error)
    }
}

impl From<AssignError> for Fault {
    fn from(error: AssignError) -> Self {
        Self::Holes(error)
    }
}

impl From<RobustError> for Fault {
    fn from(error: RobustError) -> Self {
        Self::Fit(error)
    }
}

/// What a frame shows.
pub struct Inspected {
    pub findings: Findings,
    pub fit: RobustFit,
    pub verdict: Verdict,
}

impl Memory {
    pub const fn new() -> Self {
        let nowhere = PlacedSpot::new(Point::ORIGIN, 0);
        Self {
            row: [0; WIDTH as usize],
            tiles: [Tile::EMPTY; SpotFinder::tiles(WIDTH)],
            runs: [Run::EMPTY; 64],
            blobs: [OpenBlob::EMPTY; 16],
            spots: [nowhere; SPOTS],
            cells: [Cell::EMPTY; CELLS],
            pairs: [NO_PAIR; HOLES],
        }
    }

    /// The pairs of the frame that was inspected last; behind them older ones.
    pub const fn pairs(&self) -> &[SpotPair] {
        &self.pairs
    }

    /// Finds the spots of a frame; returns how many.
    fn look(&mut self, camera: &mut Camera, detector: &Detector) -> Result<usize, Fault> {
        let memory = FinderMemory { tiles: &mut self.tiles, runs: &mut self.runs, blobs: &mut self.blobs };
        let mut finder = SpotFinder::new(WIDTH, SpotLimits::spots(8), memory)?;
        let mut free = self.spots.iter_mut();
        let mut fault = None;
        let mut take = |spot| match (detector.spot(&spot), free.next()) {
            (Ok(spot), Some(place)) => *place = spot,
            (Err(error), _) => fault = Some(error.into()),
            (_, None) => fault = Some(Fault::TooManySpots),
        };
        while camera.row(&mut self.row) {
            finder.row(&self.row, &mut take)?;
        }
        finder.finish(&mut take)?;
        let left = free.len();
        fault.map_or(Ok(SPOTS.saturating_sub(left)), Err)
    }

    /// Takes the frame without a lens: writes where each hole's light lands, and says how the plate lies.
    pub fn reference(
        &mut self,
        camera: &mut Camera,
        detector: &Detector,
        lattice: &Lattice,
        places: &mut Places,
    ) -> Result<Mounting, Fault> {
        let count = self.look(camera, detector)?;
        let spots = self.spots.get_mut(..count).unwrap_or_default();
        let (reference, _) = Reference::measure(lattice, spots, &mut self.cells, places)?;
        Ok(*reference.mounting())
    }

    /// Inspects the lens of a frame.
    pub fn inspect(
        &mut self,
        camera: &mut Camera,
        (detector, geometry): (&Detector, &Geometry),
        (lattice, places): (&Lattice, &Places),
        (class, ordered): (&Class, &Ordered),
    ) -> Result<Inspected, Fault> {
        let count = self.look(camera, detector)?;
        let spots = self.spots.get_mut(..count).unwrap_or_default();
        let reference = Reference::from_places(lattice, places)?;
        let assignment = reference.assign(spots, &mut self.cells)?;
        let mut pairs = 0usize;
        for (place, assigned) in self.pairs.iter_mut().zip(assignment.pairs()) {
            *place = assigned.pair;
            pairs = pairs.saturating_add(1);
        }
        let pairs = self.pairs.get(..pairs).unwrap_or_default();
        let fit = RobustFit::of(pairs, geometry, &RobustLimits::default())?;
        let (power, prism) = (fit.fit().vector(), fit.fit().prism());
        let measured = Measured { power: Some(power.into()), prism: Some(prism), addition: None };
        let verdict = tolerance::judge(class, ordered, &measured, Rule::Simple);
        Ok(Inspected { findings: *assignment.findings(), fit, verdict })
    }
}
