//! The short way: indices by rounding, where one affine map fits all spots well enough.

use super::super::affine::Affine;
use super::super::lattice::Hole;
use super::field::Field;
use super::step::{Basis, Step};
use super::{PlacedSpot, found};
use crate::math;
use crate::quantity::Point;

/// Fraction bits of an index.
const INDEX_BITS: u32 = 8;
/// Fraction bits of the inverse map, indices for a unit of length. Steps of 2^12 to 2^20 units: within 2^28.
const INVERSE_BITS: u32 = 32;
/// A place within a fifth of an index of a node is taken: two rings that are told apart by rounding are then apart by the rest.
const NEAR: u32 = 51;
/// Indices that the steps at the seed are good for.
const CLOSE: u8 = 3;
/// Nothing that belongs to the plate lies farther.
const FARTHEST: u8 = 31;

/// From places to indices.
struct Rounding {
    origin: Point,
    first: [i32; 2],
    second: [i32; 2],
}

impl Rounding {
    /// Steps within 2^26, their cell within 2^52.
    fn of(origin: Point, basis: Basis) -> Self {
        let part = |length: i32| math::saturate(math::ratio(length.into(), basis.cell(), INVERSE_BITS));
        let Basis { first, second } = basis;
        Self {
            origin,
            first: [part(second.y), part(second.x.wrapping_neg())],
            second: [part(first.y.wrapping_neg()), part(first.x)],
        }
    }

    /// The node nearest to a place, and how far from it the place is, in 1/256 of an index; none beyond `farthest`.
    fn node(&self, place: Point, farthest: u8) -> Option<(Hole, u32)> {
        let step = Step::between(self.origin, place);
        let product = |a: i32, b: i32| i64::from(a).wrapping_mul(b.into());
        let index = |[x, y]: [i32; 2]| {
            // Below 2^53; saturated parts of a cell next to nothing give no index that is taken.
            let sum = product(x, step.x).wrapping_add(product(y, step.y));
            let fine = (sum >> (INVERSE_BITS - INDEX_BITS)) as i32;
            let whole = fine.wrapping_add(1 << (INDEX_BITS - 1)) >> INDEX_BITS;
            let rest = fine.wrapping_sub(whole << INDEX_BITS).unsigned_abs();
            (whole.unsigned_abs() <= farthest.into()).then_some((whole as i8, rest))
        };
        let ((i, along), (j, across)) = (index(self.first)?, index(self.second)?);
        Some((Hole::new(i, j), along.max(across)))
    }
}

impl Field<'_> {
    /// Gives indices to the spots near nodes, counted from the seed; returns how many.
    ///
    /// The steps at the seed index what lies within three of them; the best affine map of those indexes all.
    pub(super) fn scatter(&mut self, seed: Point, basis: Basis) -> Option<usize> {
        self.round(&Rounding::of(seed, basis), CLOSE);
        let affine = Affine::fit(&mut found(self.spots))?;
        Some(self.round(&Rounding::of(affine.origin(), affine.fine_basis().coarse()), FARTHEST))
    }

    /// Of two spots at a node the nearer one is taken, of equally near ones the lower; of two that share a cell, the one nearer
    /// to the origin: the same whatever their order.
    fn round(&mut self, rounding: &Rounding, farthest: u8) -> usize {
        self.clear();
        let mut count = 0usize;
        for number in 0..self.spots.len() {
            let node = |spot: &PlacedSpot| {
                let (at, off) = rounding.node(spot.place(), farthest).filter(|(_, off)| *off <= NEAR)?;
                Some((at, (off, spot.place.y, spot.place.x)))
            };
            let Some((at, rank)) = self.spots.get(number).and_then(node) else { continue };
            let holder = self.holder(at);
            let held = holder.and_then(|holder| self.spots.get(holder)).and_then(node);
            let is_better =
                held.is_none_or(|(there, least)| if there == at { rank < least } else { is_inner(at, there) });
            if !is_better {
                continue;
            }
            match holder {
                Some(holder) => self.free(holder),
                None => count = count.wrapping_add(1),
            }
            self.put(number, at);
        }
        count
    }
}

fn is_inner(one: Hole, other: Hole) -> bool {
    let rank = |hole: Hole| (hole.i.unsigned_abs().max(hole.j.unsigned_abs()), hole);
    rank(one) < rank(other)
}
