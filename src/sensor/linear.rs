//! The fit linearised in everything that may be wrong.
//!
//! With the throw `t`, the gap `g`, power `F`, slope of the prism on the axis `p`, `K = I - g F`, fitted ratio `A = t V` and
//! `V = F K^-1`:
//!
//! - throw: `dF = -F K dt / t`, `dp = -K p dt / t`;
//! - gap: `dF = -F F dg`, `dp = -F p dg`;
//! - a factor on powers, `1 + e`: `dF = F e`, `dp = p e`;
//! - spots: `dF = K dA K / t`, `dp = K (d mean + dA arm) / t` with `arm = mean reference - g p`, as in
//!   [`StandardUncertainty`](super::StandardUncertainty).
//!
//! A spot's error moves its displacement by itself; a reference's error `e` moves the displacement by `-e` and the position by `e`,
//! which together is `-(I - A) e`: behind a plus lens references matter less, behind a minus lens more.
//!
//! Every result is a functional `tr(G dF) + h . dp`. Everything is in metres, dioptres and radians.

use super::fit::{Fit, MEAN_SHIFT};
use super::moments::INVERSE_BITS;
use super::scaled::Scaled;
use super::symmetric::{Symmetric, Vector, dot};
use crate::math;
use crate::quantity::{Dioptre, Millimetre, PrismDioptre};

/// A count of `2^-bits`.
const fn negative(bits: u32) -> i32 {
    bits.cast_signed().wrapping_neg()
}

pub(super) fn number(value: i32) -> Scaled {
    Scaled::of(i128::from(value), 0)
}

pub(super) fn dioptres(power: Dioptre) -> Scaled {
    Scaled::of(i128::from(power.to_bits()), negative(Dioptre::FRACTION_BITS))
}

/// A length that is a count of `2^-bits` mm, in metres.
pub(super) fn metres(count: i64, bits: u32) -> Scaled {
    Scaled::of(i128::from(count), negative(bits)).over(number(1000))
}

pub(super) fn length(length: Millimetre) -> Scaled {
    metres(i64::from(length.to_bits()), Millimetre::FRACTION_BITS)
}

/// As a slope.
pub(super) fn slope(prism: PrismDioptre) -> Scaled {
    Scaled::of(i128::from(prism.to_bits()), negative(PrismDioptre::FRACTION_BITS)).over(number(100))
}

/// A result as far as it is linear: `tr(power dF) + prism . dp`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Functional {
    pub(super) power: Symmetric,
    pub(super) prism: Vector,
}

impl Functional {
    pub(super) const fn of_power(power: Symmetric) -> Self {
        Self { power, prism: [Scaled::ZERO; 2] }
    }

    pub(super) const fn of_prism(prism: Vector) -> Self {
        Self { power: Symmetric::ZERO, prism }
    }

    pub(super) fn plus(self, other: Self) -> Self {
        let ([a, b], [c, d]) = (self.prism, other.prism);
        Self { power: self.power.plus(other.power), prism: [a.plus(c), b.plus(d)] }
    }

    pub(super) fn scaled(self, by: Scaled) -> Self {
        Self { power: self.power.scaled(by), prism: self.prism.map(|part| part.times(by)) }
    }
}

/// The fit, in metres and dioptres.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Model {
    pub(super) power: Symmetric,
    pub(super) prism: Vector,
    /// `I - g F`.
    step: Symmetric,
    /// `I - A`.
    reference: Symmetric,
    throw: Scaled,
    /// Mean of the references, and that less `g p`.
    mean: Vector,
    arm: Vector,
    /// Sum of the squares of the references' distances from their mean, square metres.
    spread: Scaled,
    /// Their moments over that.
    moments: Symmetric,
    /// The inverse normal matrix times that: elements 11, 12, 13, 22, 23, 33.
    inverse: [Scaled; 6],
    count: Scaled,
    /// Standard deviation of a displacement component, metres.
    pub(super) residual: Scaled,
}

impl Model {
    /// `None` of a fit that is saturated.
    pub(super) fn of(fit: &Fit) -> Option<Self> {
        if fit.is_saturated() {
            return None;
        }
        let power = Symmetric { xx: dioptres(fit.power.xx), xy: dioptres(fit.power.xy), yy: dioptres(fit.power.yy) };
        let prism = [slope(fit.prism.x), slope(fit.prism.y)];
        let (gap, throw) = (length(fit.geometry.gap()), length(fit.geometry.throw()));
        let one = Symmetric::of(number(1));
        let step = one.plus(power.scaled(gap.negated()));
        let ratio = step.inverse()?.times_commuting(power).scaled(throw);
        let place_bits = Millimetre::FRACTION_BITS.wrapping_add(MEAN_SHIFT);
        let (x, y) = fit.centroid;
        let mean = [metres(x, place_bits), metres(y, place_bits)];
        let ([x, y], [p, q]) = (mean, prism.map(|part| part.times(gap)));
        let moments = fit.normal.shares().map(|share| Scaled::of(i128::from(share), negative(62)));
        let inverse = fit.normal.inverse().map(|element| Scaled::of(i128::from(element), negative(INVERSE_BITS)));
        let [xx, xy, yy] = moments;
        Some(Self {
            power,
            prism,
            step,
            reference: one.plus(ratio.scaled(number(-1))),
            throw,
            mean,
            arm: [x.minus(p), y.minus(q)],
            spread: metres(i64::from(fit.spread).max(1), Millimetre::FRACTION_BITS).squared(),
            moments: Symmetric { xx, xy, yy },
            inverse,
            count: Scaled::of(i128::from(fit.count.max(1)), 0),
            residual: metres(i64::from(fit.deviation), place_bits),
        })
    }

    /// What an error of the throw of one metre makes of a result.
    pub(super) fn by_throw(&self, result: &Functional) -> Scaled {
        let power = self.power.times_commuting(self.step);
        self.change(result, power, self.step.times_vector(self.prism)).over(self.throw).negated()
    }

    /// What an error of the gap of one metre makes of a result.
    pub(super) fn by_gap(&self, result: &Functional) -> Scaled {
        let power = self.power.times_commuting(self.power);
        self.change(result, power, self.power.times_vector(self.prism)).negated()
    }

    /// What a factor of `1 + e` on powers makes of a result, over `e`.
    pub(super) fn by_factor(&self, result: &Functional) -> Scaled {
        self.change(result, self.power, self.prism)
    }

    #[inline(never)]
    fn change(&self, result: &Functional, power: Symmetric, prism: Vector) -> Scaled {
        result.power.trace_with(power).plus(dot(result.prism, prism))
    }

    /// Variance of a result when a spot's displacement has one square metre in each component.
    pub(super) fn by_spots(&self, result: &Functional) -> Scaled {
        self.by_displacements(result, Symmetric::of(number(1)))
    }

    /// Variance of a result when a reference's place has one square metre in each coordinate.
    pub(super) fn by_references(&self, result: &Functional) -> Scaled {
        self.by_displacements(result, self.reference.times_commuting(self.reference))
    }

    /// Variance of a result for displacements of a covariance `Q` each: `(tr(Q W M W) + k Q k / n) / t^2`, with the moments `M`
    /// and `W` the inverse normal matrix times the result's gradient by `A`.
    #[inline(never)]
    fn by_displacements(&self, result: &Functional, covariance: Symmetric) -> Scaled {
        let lever = self.step.times_vector(result.prism);
        let gradient = self.step.around(result.power).plus(Symmetric::of_pair(lever, self.arm));
        let of_slopes = self.ratio_variance(covariance, gradient);
        let of_mean = dot(lever, covariance.times_vector(lever)).over(self.count);
        of_slopes.plus(of_mean).over(self.throw.squared())
    }

    /// Half the trace of `A`: the ratio of displacement to position that a sphere would have.
    pub(super) fn mean_ratio(&self) -> Scaled {
        let trace = self.reference.xx.plus(self.reference.yy);
        number(1).minus(trace.times(Scaled::of(1, -1)))
    }

    /// Variance of [`Self::mean_ratio`] for variances of spots and references.
    pub(super) fn mean_ratio_variance(&self, noise: [Scaled; 2]) -> Scaled {
        self.ratio_variance(self.noise(noise), Symmetric::of(Scaled::of(1, -1)))
    }

    /// Displacement on the axis: `throw K^-1 p`, metres. `I - g F` of a fit has an inverse.
    pub(super) fn displacement(&self) -> Vector {
        let inverse = self.step.inverse().unwrap_or(Symmetric::ZERO);
        inverse.scaled(self.throw).times_vector(self.prism)
    }

    /// Variance of [`Self::displacement`] along a direction for variances of spots and references.
    pub(super) fn displacement_variance(&self, noise: [Scaled; 2], along: Vector) -> Scaled {
        let noise = self.noise(noise);
        let of_slopes = self.ratio_variance(noise, Symmetric::of_pair(along, self.mean));
        dot(along, noise.times_vector(along)).over(self.count).plus(of_slopes)
    }

    /// Covariance of a displacement.
    fn noise(&self, [spots, references]: [Scaled; 2]) -> Symmetric {
        self.reference.times_commuting(self.reference).scaled(references).plus(Symmetric::of(spots))
    }

    /// Variance of `tr(gradient A)` for a covariance of displacements.
    fn ratio_variance(&self, covariance: Symmetric, gradient: Symmetric) -> Scaled {
        covariance.trace_with(self.weights(gradient).around(self.moments)).over(self.spread)
    }

    fn weights(&self, gradient: Symmetric) -> Symmetric {
        let [aa, ab, ac, bb, bc, cc] = self.inverse;
        let (a, b, c) = (gradient.xx, gradient.xy.times(number(2)), gradient.yy);
        let row = |p: Scaled, q: Scaled, r: Scaled| p.times(a).plus(q.times(b)).plus(r.times(c));
        Symmetric { xx: row(aa, ab, ac), xy: row(ab, bb, bc), yy: row(ac, bc, cc) }
    }

    /// The lens's place where it has no prism, metres; `None` when a meridian has no power.
    pub(super) fn focal(&self) -> Option<Symmetric> {
        self.power.inverse()
    }
}

/// Cosine and sine of the double angle of the cylinder's axis.
pub(super) fn direction(turn: u32) -> Vector {
    let (cos, sin) = math::cos_sin(turn);
    [cos, sin].map(|part| Scaled::of(i128::from(part), negative(30)))
}
