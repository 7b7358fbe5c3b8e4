//! What a perfect sensor would read, by rays alone.

use super::bench::Bench;
use super::lens::Lens;
use super::plate::Plate;
use dioptric::oracle::{self, Fit};
use glam::DVec2;

/// Half the side of the square about the axis over which power at the axis is taken, mm: its aberration is below 1e-6 D for a
/// spectacle lens.
const SMALL: f64 = 0.01;

/// Power and prism at the axis, in the limit of a small pupil, through the zones that lie there.
pub fn at_axis(bench: Bench, lens: &Lens) -> Option<Fit> {
    let zones = bench.land(lens, DVec2::ZERO).first()?.zones;
    let side = [-SMALL, 0.0, SMALL];
    let places = side.iter().flat_map(|&y| side.map(|x| DVec2::new(x, y)));
    let spots: Option<Vec<_>> = places.map(|at| Some(row(at, bench.land_by(lens, at, zones)?.at))).collect();
    oracle::fit(&spots?, bench.gap, bench.throw)
}

/// Least squares over all the holes of the plate whose light comes through given zones, and how many those are.
pub fn over_plate(bench: Bench, lens: &Lens, plate: &Plate, zones: [usize; 2]) -> (usize, Option<Fit>) {
    let landings = |at: DVec2| bench.land(lens, at).into_iter().map(move |landing| (at, landing));
    let of_zone = plate.holes().into_iter().flat_map(|hole| landings(hole.at)).filter(|(_, l)| l.zones == zones);
    let spots: Vec<_> = of_zone.map(|(at, landing)| row(at, landing.at)).collect();
    (spots.len(), oracle::fit(&spots, bench.gap, bench.throw))
}

fn row(hole: DVec2, spot: DVec2) -> [f64; 4] {
    [hole.x, hole.y, spot.x, spot.y]
}
