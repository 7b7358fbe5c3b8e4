//! Spots and the cells that say which index each has: grown from one spot, each next one where its neighbours predict it.

use super::super::lattice::Hole;
use super::order::Bands;
use super::step::{Basis, Step};
use super::{ALONE, Cell, NOWHERE, PlacedSpot, noted};
use crate::quantity::Point;

/// The four next to an index, each opposite to the next but one.
const AROUND: [Hole; 4] = [Hole::new(1, 0), Hole::new(0, 1), Hole::new(-1, 0), Hole::new(0, -1)];

/// Lines through an index, along which its neighbours predict it.
const LINES: [Hole; 4] = [Hole::new(1, 0), Hole::new(0, 1), Hole::new(1, 1), Hole::new(1, -1)];

/// A found spot is nearer to its prediction than this part of the shortest step.
const REACH_SHIFT: u32 = 3;

/// What the neighbours say of a spot.
pub(super) enum Seen {
    /// It has no index.
    Free,
    /// On no line through it are there two others that predict it.
    Alone,
    /// So far from the prediction, 2^-16 mm.
    Off(u32),
}

pub(super) struct Field<'a> {
    pub(super) spots: &'a mut [PlacedSpot],
    pub(super) cells: &'a mut [Cell],
    /// Of a row of cells.
    pub(super) bits: u32,
}

impl Field<'_> {
    fn slot(&self, at: Hole) -> usize {
        let mask = 1usize.wrapping_shl(self.bits).wrapping_sub(1);
        let wrapped = |index: i8| usize::from(index.cast_unsigned()) & mask;
        wrapped(at.j).wrapping_shl(self.bits) | wrapped(at.i)
    }

    /// The spot of an index.
    pub(super) fn spot_at(&self, at: Hole) -> Option<&PlacedSpot> {
        let number = self.cells.get(self.slot(at))?.spot()?;
        self.spots.get(number).filter(|spot| spot.at == at)
    }

    fn place_at(&self, at: Hole) -> Option<Point> {
        self.spot_at(at).map(|spot| spot.place)
    }

    pub(super) fn put(&mut self, number: usize, at: Hole) {
        let slot = self.slot(at);
        if let (Some(spot), Some(cell)) = (self.spots.get_mut(number), self.cells.get_mut(slot)) {
            spot.at = at;
            *cell = Cell::of_spot(number);
        }
    }

    /// Takes a spot away from its index.
    pub(super) fn free(&mut self, number: usize) {
        let Some(spot) = self.spots.get_mut(number) else { return };
        let at = spot.at;
        spot.at = NOWHERE;
        let slot = self.slot(at);
        if let Some(cell) = self.cells.get_mut(slot) {
            *cell = Cell::EMPTY;
        }
    }

    /// The spot that holds an index's cell, with that index or another.
    pub(super) fn holder(&self, at: Hole) -> Option<usize> {
        self.cells.get(self.slot(at))?.spot()
    }

    pub(super) fn clear(&mut self) {
        self.cells.fill(Cell::EMPTY);
        for spot in self.spots.iter_mut() {
            spot.at = NOWHERE;
        }
    }

    /// Gives indices to all spots that a walk from neighbour to neighbour reaches, counted from the seed; returns how many.
    ///
    /// Each spot is walked from once, to its four neighbours and, over a missing hole, to the next but one; each index is looked
    /// for once.
    pub(super) fn grow(&mut self, bands: &Bands, seed: usize, basis: Basis, step: u32) -> usize {
        let reach = (step >> REACH_SHIFT).cast_signed();
        self.clear();
        self.put(seed, Hole::new(0, 0));
        let (mut current, mut last, mut count) = (seed, seed, 1usize);
        while let Some(spot) = self.spots.get(current).copied() {
            let around = AROUND.map(|by| self.place_at(spot.at.moved(by)));
            let local = local(spot.place, around, basis);
            for (by, there) in AROUND.into_iter().zip(around) {
                if there.is_some() {
                    continue;
                }
                let found = self.find(bands, &spot, by, local, reach);
                let found = found.or_else(|| self.find(bands, &spot, by.moved(by), local, reach));
                if let Some(found) = found {
                    if let Some(link) = self.spots.get_mut(last) {
                        link.next = found as u16;
                    }
                    (last, count) = (found, count.wrapping_add(1));
                }
            }
            if current == last {
                break;
            }
            current = self.spots.get(current).map_or(usize::MAX, |spot| spot.next.into());
        }
        count
    }

    /// Looks for the spot of an index next to a spot's, unless that was looked for before.
    fn find(&mut self, bands: &Bands, spot: &PlacedSpot, by: Hole, local: Basis, reach: i32) -> Option<usize> {
        /// Nothing that grows from a plate's spot lies farther.
        const FARTHEST: u8 = 31;
        let at = spot.at.moved(by);
        let slot = self.slot(at);
        let cell = self.cells.get_mut(slot)?;
        if *cell != Cell::EMPTY || at.i.unsigned_abs() > FARTHEST || at.j.unsigned_abs() > FARTHEST {
            return None;
        }
        let found = bands.nearest_free(self.spots, local.step(by).from(spot.place), reach);
        match found {
            Some(number) => self.put(number, at),
            None => *cell = Cell::CLOSED,
        }
        found
    }

    /// How far a spot is from where its neighbours predict it, along the line that agrees best; a line whose answer is
    /// below `enough` is taken at once.
    ///
    /// Between two neighbours the prediction is their middle; beyond two on one side it is as far again, which counts half:
    /// it is off by twice the curvature.
    pub(super) fn see(&mut self, number: usize, enough: u32) -> Seen {
        let Some(spot) = self.spots.get(number).filter(|spot| !spot.is_free()) else { return Seen::Free };
        let mut least = None;
        for line in LINES {
            let Some(off) = self.residual_along(spot, line) else { continue };
            if least.is_none_or(|least| off < least) {
                least = Some(off);
            }
            if off <= enough {
                break;
            }
        }
        if let Some(spot) = self.spots.get_mut(number) {
            spot.next = least.map_or(ALONE, noted);
        }
        least.map_or(Seen::Alone, Seen::Off)
    }

    /// Takes the index from all spots that were alone when last seen.
    pub(super) fn free_alone(&mut self) {
        for number in 0..self.spots.len() {
            if self.spots.get(number).is_some_and(|spot| !spot.is_free() && spot.next == ALONE) {
                self.free(number);
            }
        }
    }

    #[inline(never)]
    fn residual_along(&self, spot: &PlacedSpot, by: Hole) -> Option<u32> {
        let back = Hole::new(by.i.wrapping_neg(), by.j.wrapping_neg());
        let (next, before) = (self.place_at(spot.at.moved(by)), self.place_at(spot.at.moved(back)));
        let bend = match (next, before) {
            (Some(next), Some(before)) => Step::between(before, spot.place).minus(Step::between(spot.place, next)),
            (Some(next), None) => self.bend(spot, next, spot.at.moved(by).moved(by))?,
            (None, Some(before)) => self.bend(spot, before, spot.at.moved(back).moved(back))?,
            (None, None) => return None,
        };
        Some(bend.size() >> 1)
    }

    /// What the step from the next but one to the next differs from that to the spot.
    fn bend(&self, spot: &PlacedSpot, next: Point, beyond: Hole) -> Option<Step> {
        let beyond = self.place_at(beyond)?;
        Some(Step::between(beyond, next).minus(Step::between(next, spot.place)))
    }
}

/// The steps along both directions at a place: from its neighbours where they are known.
fn local(place: Point, [right, up, left, down]: [Option<Point>; 4], basis: Basis) -> Basis {
    let along = |next: Option<Point>, before: Option<Point>, otherwise: Step| match (next, before) {
        (Some(next), Some(before)) => Step::between(before, next).half(),
        (Some(next), None) => Step::between(place, next),
        (None, Some(before)) => Step::between(before, place),
        (None, None) => otherwise,
    };
    Basis { first: along(right, left, basis.first), second: along(up, down, basis.second) }
}
