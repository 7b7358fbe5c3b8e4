//! Least squares of places against the indices of their holes: an origin and two directions.
#![allow(clippy::cast_possible_truncation, reason = "shifts whose ranges are derived beside each step")]

use super::assign::{Basis, Step, Turn};
use super::lattice::Hole;
use crate::math::{self, Polar};
use crate::quantity::{Degree, Fraction, Micrometre, Millimetre, Point};
use core::num::NonZeroU64;

/// Fraction bits of the fitted vectors: eight more than a place's.
const EXTRA_BITS: u32 = 8;

/// Sums over up to 2^10 places within 2^21, with indices within 31: below 2^20 of indices' products, 2^26 of a mixed product
/// and 2^36 of their sum.
#[derive(Clone, Copy, Default)]
struct Sums {
    count: i32,
    i: i32,
    j: i32,
    ii: i32,
    ij: i32,
    jj: i32,
    x: i64,
    y: i64,
    ix: i64,
    iy: i64,
    jx: i64,
    jy: i64,
}

impl Sums {
    fn add(&mut self, hole: Hole, place: Point) {
        let (i, j) = (i32::from(hole.i), i32::from(hole.j));
        let (x, y) = (place.x.to_bits(), place.y.to_bits());
        let add = |sum: &mut i32, part: i32| *sum = sum.wrapping_add(part);
        let add_long = |sum: &mut i64, part: i32| *sum = sum.wrapping_add(part.into());
        add(&mut self.count, 1);
        add(&mut self.i, i);
        add(&mut self.j, j);
        add(&mut self.ii, i.wrapping_mul(i));
        add(&mut self.ij, i.wrapping_mul(j));
        add(&mut self.jj, j.wrapping_mul(j));
        add_long(&mut self.x, x);
        add_long(&mut self.y, y);
        add_long(&mut self.ix, i.wrapping_mul(x));
        add_long(&mut self.iy, i.wrapping_mul(y));
        add_long(&mut self.jx, j.wrapping_mul(x));
        add_long(&mut self.jy, j.wrapping_mul(y));
    }

    /// `count` times a sum of products, less the product of the sums: the count times the central moment.
    fn central(&self, product: i64, a: i32, b: i64) -> i64 {
        i64::from(self.count).wrapping_mul(product).wrapping_sub(i64::from(a).wrapping_mul(b))
    }
}

/// Where the lattice lies in the plane.
#[derive(Clone, Copy)]
pub(super) struct Affine {
    /// Of the index 0, 0; 2^-24 mm.
    origin: [i32; 2],
    /// 2^-24 mm.
    first: [i32; 2],
    second: [i32; 2],
    count: NonZeroU64,
}

impl Affine {
    /// Places in the fit.
    pub(super) const fn count(&self) -> usize {
        self.count.get() as usize
    }

    /// `None` for fewer than three places, or for indices on a line. The iterator is dynamic for the sake of the smallest flash:
    /// one copy for all.
    pub(super) fn fit(places: &mut dyn Iterator<Item = (Hole, Point)>) -> Option<Self> {
        let mut sums = Sums::default();
        for (hole, place) in places {
            sums.add(hole, place);
        }
        let count = NonZeroU64::new(sums.count.unsigned_abs().into())?;
        // Below 2^30; the determinant below 2^60.
        let of_indices = |product: i32, a: i32, b: i32| sums.central(product.into(), a, b.into());
        let ii = of_indices(sums.ii, sums.i, sums.i);
        let ij = of_indices(sums.ij, sums.i, sums.j);
        let jj = of_indices(sums.jj, sums.j, sums.j);
        let determinant = ii.wrapping_mul(jj).wrapping_sub(ij.wrapping_mul(ij));
        if determinant <= 0 {
            return None;
        }
        // Mixed moments, below 2^47, are shifted to below 2^32 where they are larger: the products stay below 2^62.
        let solved = |with_i: i64, with_j: i64| {
            let down = 32u32.saturating_sub((with_i.unsigned_abs() | with_j.unsigned_abs()).leading_zeros()) & 63;
            let (p, q) = (with_i >> down, with_j >> down);
            let value = |a: i64, b: i64| {
                math::saturate(math::ratio(a.wrapping_sub(b), determinant, EXTRA_BITS.wrapping_add(down)))
            };
            (value(jj.wrapping_mul(p), ij.wrapping_mul(q)), value(ii.wrapping_mul(q), ij.wrapping_mul(p)))
        };
        let (first_x, second_x) = solved(sums.central(sums.ix, sums.i, sums.x), sums.central(sums.jx, sums.j, sums.x));
        let (first_y, second_y) = solved(sums.central(sums.iy, sums.i, sums.y), sums.central(sums.jy, sums.j, sums.y));
        let origin = |sum: i64, first: i32, second: i32| {
            let part = |vector: i32, sum: i32| i64::from(vector).wrapping_mul(sum.into());
            let rest = part(first, sums.i).wrapping_add(part(second, sums.j));
            math::saturate(math::div_round((sum << EXTRA_BITS).wrapping_sub(rest), count))
        };
        Some(Self {
            origin: [origin(sums.x, first_x, second_x), origin(sums.y, first_y, second_y)],
            first: [first_x, first_y],
            second: [second_x, second_y],
            count,
        })
    }

    /// What a place is off, 2^-24 mm; beyond 64 mm it saturates.
    fn off(&self, hole: Hole, place: Point) -> [i32; 2] {
        let off = |place: Millimetre, origin: i32, first: i32, second: i32| {
            let part = |vector: i32, index: i8| i64::from(vector).wrapping_mul(index.into());
            // Places are below 2^29 in this unit; the map's own, at indices within 31, below 2^36.
            let predicted = part(origin, 1).wrapping_add(part(first, hole.i)).wrapping_add(part(second, hole.j));
            math::saturate((i64::from(place.to_bits()) << EXTRA_BITS).wrapping_sub(predicted))
        };
        let Self { origin: [ox, oy], first: [fx, fy], second: [sx, sy], .. } = *self;
        [off(place.x, ox, fx, sx), off(place.y, oy, fy, sy)]
    }

    /// The larger of what the coordinates of a place are off, in whole units of 2^-16 mm.
    pub(super) fn distance(&self, hole: Hole, place: Point) -> u32 {
        let [x, y] = self.off(hole, place);
        x.unsigned_abs().max(y.unsigned_abs()) >> EXTRA_BITS
    }

    /// The largest that a coordinate is off, in whole units of 2^-16 mm, and the root of the mean square of all.
    pub(super) fn residual(&self, places: &mut dyn Iterator<Item = (Hole, Point)>) -> (u32, Micrometre) {
        /// 2 mm: the squares of both coordinates stay below 2^51, their sum over 2^10 places below 2^61.
        const MOST: i32 = 1 << 25;
        let (mut largest, mut squares) = (0u32, 0i64);
        for (hole, place) in places {
            let [x, y] = self.off(hole, place);
            largest = largest.max(x.unsigned_abs()).max(y.unsigned_abs());
            let square = |off: i32| {
                let off = i64::from(off.clamp(-MOST, MOST));
                off.wrapping_mul(off)
            };
            squares = squares.wrapping_add(square(x)).wrapping_add(square(y));
        }
        // The mean of both coordinates, four times: its root is twice that of the mean.
        let mean = math::div_round(squares << 1, self.count).max(0).unsigned_abs();
        // From 2^-25 mm to 2^-14 um.
        let micrometres = i64::from(math::sqrt(mean)).wrapping_mul(1000);
        (largest >> EXTRA_BITS, Micrometre::from_bits(math::saturate(math::shift_round(micrometres, 11))))
    }

    /// The place of the index 0, 0.
    pub(super) fn origin(&self) -> Point {
        let [x, y] =
            self.origin.map(|part| Millimetre::from_bits(math::saturate(math::shift_round(part.into(), EXTRA_BITS))));
        Point::new(x, y)
    }

    /// The directions, 2^-24 mm.
    pub(super) fn fine_basis(&self) -> Basis {
        let step = |[x, y]: [i32; 2]| Step { x, y };
        Basis { first: step(self.first), second: step(self.second) }
    }

    /// Rotation against directions, 2^-24 mm, counter-clockwise.
    pub(super) fn rotation(&self, directions: Basis) -> Degree {
        let Polar { turn, .. } = polar(self.fine_basis().turn_against(directions)).0;
        // 360 degrees in 2^-20 over 2^32.
        Degree::from_bits(math::saturate(math::shift_round(i64::from(turn.cast_signed()).wrapping_mul(360), 12)))
    }

    /// Mean scale against directions, 2^-24 mm.
    pub(super) fn scale(&self, directions: Basis) -> Fraction {
        // Of a rotation times a scale, trace and twist are 2 scale times cosine and sine, times the cell.
        let (Polar { radius, .. }, shift) = polar(self.fine_basis().turn_against(directions));
        let exponent = (Fraction::FRACTION_BITS - 1).wrapping_add(shift);
        Fraction::from_bits(math::saturate(math::ratio(radius.into(), directions.cell().max(1), exponent)))
    }
}

/// Trace and twist as a vector, both shifted down by the bits that come with it.
fn polar(turn: Turn) -> (Polar, u32) {
    let down = 34u32.saturating_sub((turn.trace.unsigned_abs() | turn.twist.unsigned_abs()).leading_zeros()) & 63;
    (math::polar(math::saturate(turn.trace >> down), math::saturate(turn.twist >> down)), down)
}
