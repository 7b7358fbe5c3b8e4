//! Spots in the order of their height, and the nearest to a place.

use super::PlacedSpot;
use super::step::Step;
use crate::quantity::Point;
use core::cell::Cell;

/// Gaps of Shell's sort (D. L. Shell, "A high-speed sorting procedure", Communications of the ACM 2 (1959) 30): each prime to
/// the next.
const GAPS: [usize; 7] = [701, 301, 132, 57, 23, 10, 4];

/// Sorts by y, then x: a finder hands spots out almost in this order, which costs no move.
pub(super) fn sort(spots: &mut [PlacedSpot]) {
    let cells = Cell::from_mut(spots).as_slice_of_cells();
    for gap in GAPS {
        if gap < cells.len() {
            sort_by_gap(cells, gap);
        }
    }
    sort_by_gap(cells, 1);
}

fn key(spot: &PlacedSpot) -> (i32, i32) {
    (spot.place.y.to_bits(), spot.place.x.to_bits())
}

fn sort_by_gap(cells: &[Cell<PlacedSpot>], gap: usize) {
    for taken in gap..cells.len() {
        let Some(mut hole) = cells.get(taken) else { return };
        let (spot, mut below) = (hole.get(), taken.checked_sub(gap));
        while let Some(lower) = below.and_then(|at| cells.get(at)) {
            let held = lower.get();
            if key(&held) <= key(&spot) {
                break;
            }
            hole.set(held);
            hole = lower;
            below = below.and_then(|at| at.checked_sub(gap));
        }
        hole.set(spot);
    }
}

/// Bands of equal height, at most.
const BANDS: usize = 32;

/// Where each band of sorted spots starts.
pub(super) struct Bands {
    starts: [u16; BANDS],
    lowest: i32,
    /// A band is `2^shift` units high.
    shift: u32,
}

impl Bands {
    pub(super) fn of(spots: &[PlacedSpot]) -> Self {
        let height = |spot: Option<&PlacedSpot>| spot.map_or(0, |spot| spot.place.y.to_bits());
        let (lowest, highest) = (height(spots.first()), height(spots.last()));
        // Places are within 2^21: the difference is positive and below 2^22, whose bits beyond five are left out.
        let span = highest.wrapping_sub(lowest).unsigned_abs();
        const BEYOND: u32 = u32::BITS - BANDS.trailing_zeros();
        let shift = BEYOND.saturating_sub(span.leading_zeros());
        let mut bands = Self { starts: [u16::MAX; BANDS], lowest, shift };
        let mut filled = 0usize;
        for (number, spot) in spots.iter().enumerate() {
            let band = bands.band(spot.place.y.to_bits());
            if band >= filled {
                for start in bands.starts.iter_mut().take(band.wrapping_add(1)).skip(filled) {
                    *start = number as u16;
                }
                filled = band.wrapping_add(1);
            }
        }
        bands
    }

    fn band(&self, y: i32) -> usize {
        let above = y.wrapping_sub(self.lowest).max(0).unsigned_abs();
        above.wrapping_shr(self.shift) as usize
    }

    /// The free spot nearest to a place, within a square of so many units each way; of equally near ones the first.
    pub(super) fn nearest_free(&self, spots: &[PlacedSpot], place: Point, reach: i32) -> Option<usize> {
        let lowest = place.y.to_bits().wrapping_sub(reach);
        let highest = place.y.to_bits().wrapping_add(reach);
        let start = usize::from(*self.starts.get(self.band(lowest))?);
        let (mut nearest, mut least) = (None, reach.unsigned_abs());
        for (number, spot) in spots.get(start..)?.iter().enumerate() {
            if spot.place.y.to_bits() > highest {
                break;
            }
            let distance = Step::between(place, spot.place).size();
            if distance < least && spot.is_free() {
                (nearest, least) = (Some(start.wrapping_add(number)), distance);
            }
        }
        nearest
    }
}
