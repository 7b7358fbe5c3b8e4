//! Symmetric matrices of two rows, with a power of two in each element.

use super::scaled::Scaled;

/// `[[xx, xy], [xy, yy]]`.
///
/// # Accuracy
/// Each operation within some 2^-29 of its largest element.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Symmetric {
    pub(super) xx: Scaled,
    pub(super) xy: Scaled,
    pub(super) yy: Scaled,
}

/// A vector of the plane.
pub(super) type Vector = [Scaled; 2];

/// `a b + c d`.
fn sum(a: Scaled, b: Scaled, c: Scaled, d: Scaled) -> Scaled {
    a.times(b).plus(c.times(d))
}

pub(super) fn dot(a: Vector, b: Vector) -> Scaled {
    let ([a, c], [b, d]) = (a, b);
    sum(a, b, c, d)
}

impl Symmetric {
    pub(super) const ZERO: Self = Self { xx: Scaled::ZERO, xy: Scaled::ZERO, yy: Scaled::ZERO };

    /// So much of the identity.
    pub(super) const fn of(diagonal: Scaled) -> Self {
        Self { xx: diagonal, xy: Scaled::ZERO, yy: diagonal }
    }

    /// `(a b^T + b a^T) / 2`.
    pub(super) fn of_pair(a: Vector, b: Vector) -> Self {
        let ([ax, ay], [bx, by]) = (a, b);
        let half = Scaled::of(1, -1);
        Self { xx: ax.times(bx), xy: sum(ax, by, ay, bx).times(half), yy: ay.times(by) }
    }

    pub(super) fn plus(self, other: Self) -> Self {
        Self { xx: self.xx.plus(other.xx), xy: self.xy.plus(other.xy), yy: self.yy.plus(other.yy) }
    }

    pub(super) fn scaled(self, by: Scaled) -> Self {
        Self { xx: self.xx.times(by), xy: self.xy.times(by), yy: self.yy.times(by) }
    }

    pub(super) fn determinant(self) -> Scaled {
        self.xx.times(self.yy).minus(self.xy.squared())
    }

    /// `None` of a determinant that is not positive or negative.
    pub(super) fn inverse(self) -> Option<Self> {
        let determinant = self.determinant();
        if determinant == Scaled::ZERO {
            return None;
        }
        let over = |element: Scaled| element.over(determinant);
        Some(Self { xx: over(self.yy), xy: over(self.xy.negated()), yy: over(self.xx) })
    }

    pub(super) fn times_vector(self, [x, y]: Vector) -> Vector {
        [sum(self.xx, x, self.xy, y), sum(self.xy, x, self.yy, y)]
    }

    /// `self inner self`.
    pub(super) fn around(self, inner: Self) -> Self {
        let first = inner.times_vector([self.xx, self.xy]);
        let second = inner.times_vector([self.xy, self.yy]);
        Self {
            xx: dot([self.xx, self.xy], first),
            xy: dot([self.xy, self.yy], first),
            yy: dot([self.xy, self.yy], second),
        }
    }

    /// The product of two that commute.
    pub(super) fn times_commuting(self, other: Self) -> Self {
        Self {
            xx: sum(self.xx, other.xx, self.xy, other.xy),
            xy: sum(self.xx, other.xy, self.xy, other.yy),
            yy: sum(self.xy, other.xy, self.yy, other.yy),
        }
    }

    /// Trace of the product.
    pub(super) fn trace_with(self, other: Self) -> Scaled {
        let mixed = self.xy.times(other.xy).times(Scaled::of(2, 0));
        sum(self.xx, other.xx, self.yy, other.yy).plus(mixed)
    }
}
