//! Differences of places in whole units of 2^-16 mm.
//!
//! Range: places are within 2^21, so that differences are within 2^22 and their sums by a few steps within 2^26.

use super::super::lattice::Hole;
use crate::math;
use crate::quantity::{Millimetre, Point};

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(in super::super) struct Step {
    pub(in super::super) x: i32,
    pub(in super::super) y: i32,
}

impl Step {
    pub(super) const fn between(from: Point, to: Point) -> Self {
        Self { x: to.x.to_bits().wrapping_sub(from.x.to_bits()), y: to.y.to_bits().wrapping_sub(from.y.to_bits()) }
    }

    pub(super) const fn from(self, place: Point) -> Point {
        Point::new(
            Millimetre::from_small_bits(place.x.to_bits().wrapping_add(self.x)),
            Millimetre::from_small_bits(place.y.to_bits().wrapping_add(self.y)),
        )
    }

    pub(super) const fn plus(self, other: Self) -> Self {
        Self { x: self.x.wrapping_add(other.x), y: self.y.wrapping_add(other.y) }
    }

    pub(super) const fn minus(self, other: Self) -> Self {
        Self { x: self.x.wrapping_sub(other.x), y: self.y.wrapping_sub(other.y) }
    }

    /// Half, rounded down.
    pub(super) const fn half(self) -> Self {
        Self { x: self.x >> 1, y: self.y >> 1 }
    }

    pub(super) const fn times(self, factor: i8) -> Self {
        Self { x: self.x.wrapping_mul(factor as i32), y: self.y.wrapping_mul(factor as i32) }
    }

    /// The larger component.
    pub(super) const fn size(self) -> u32 {
        let (x, y) = (self.x.unsigned_abs(), self.y.unsigned_abs());
        if x > y { x } else { y }
    }

    pub(in super::super) const fn cross(self, other: Self) -> i64 {
        let products = (self.x as i64).wrapping_mul(other.y as i64);
        products.wrapping_sub((self.y as i64).wrapping_mul(other.x as i64))
    }

    pub(in super::super) const fn dot(self, other: Self) -> i64 {
        (self.x as i64).wrapping_mul(other.x as i64).wrapping_add((self.y as i64).wrapping_mul(other.y as i64))
    }
}

/// What a step along each of the lattice's directions moves a spot by.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(in super::super) struct Basis {
    pub(in super::super) first: Step,
    pub(in super::super) second: Step,
}

impl Basis {
    pub(super) const fn step(self, by: Hole) -> Step {
        self.first.times(by.i).plus(self.second.times(by.j))
    }

    /// Trace and twice the antisymmetric part of the matrix that takes the directions of `lattice` to these, times the
    /// determinant of those: their ratio is the tangent of the rotation that a symmetric matrix is followed by.
    pub(in super::super) const fn turn_against(self, lattice: Self) -> Turn {
        // M = [b1 b2] adj[a1 a2]; its trace is b1 x a2 - b2 x a1, and M21 - M12 is b1 . a2 - b2 . a1.
        let (first, second) = (lattice.first, lattice.second);
        Turn {
            trace: self.first.cross(second).wrapping_sub(self.second.cross(first)),
            twist: self.first.dot(second).wrapping_sub(self.second.dot(first)),
        }
    }

    /// From 2^-24 mm to 2^-16 mm.
    pub(in super::super) fn coarse(self) -> Self {
        let coarse = |step: Step| {
            let part = |value: i32| math::saturate(math::shift_round(value.into(), 8));
            Step { x: part(step.x), y: part(step.y) }
        };
        Self { first: coarse(self.first), second: coarse(self.second) }
    }

    pub(in super::super) const fn cell(self) -> i64 {
        self.first.cross(self.second)
    }
}

/// A rotation by its tangent, `twist / trace`. Steps are within 2^29 (32 mm in 2^-24): below 2^60.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in super::super) struct Turn {
    pub(in super::super) trace: i64,
    pub(in super::super) twist: i64,
}

impl Turn {
    /// Tangent of the largest rotation that is taken for one of the mounting: 7.1 degrees.
    const MOST: u32 = 3;

    /// Whether the rotation is by less than 7.1 degrees.
    pub(super) const fn is_small(self) -> bool {
        self.trace > 0 && self.twist.unsigned_abs() << Self::MOST <= self.trace.unsigned_abs()
    }

    /// Whether so many times the tangent is below another's. Both traces are positive.
    pub(super) const fn is_less(self, factor: u32, other: Self) -> bool {
        let ((twist, trace), (other_twist, other_trace)) = (self.scaled(), other.scaled());
        twist.wrapping_mul(other_trace).wrapping_mul(factor as u64) < other_twist.wrapping_mul(trace)
    }

    /// Both magnitudes shifted to below 2^30, so that products and a few times them fit.
    const fn scaled(self) -> (u64, u64) {
        let (twist, trace) = (self.twist.unsigned_abs(), self.trace.unsigned_abs());
        let down = 34u32.saturating_sub((twist | trace).leading_zeros()) & 63;
        (twist >> down, trace >> down)
    }
}
