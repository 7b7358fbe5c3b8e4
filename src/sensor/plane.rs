//! The plane `v = a + b p + d q` through readings by least squares, from integer sums.
//!
//! What a polariser's readings over the double angle's cosine and sine have in common with transmittances over the lens.

use super::scaled::Scaled;
use crate::math;
use core::fmt;
use core::num::NonZeroU32;

/// Why readings of light do not give a result.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ReadingError {
    /// Fewer than three readings.
    TooFew,
    /// More readings than the sums can hold: 16384.
    TooMany,
    /// The readings were taken at points on a line, or at fewer than three angles modulo 180 degrees, or nearly so.
    Degenerate,
    /// An intensity beyond -1 to 1, or a point beyond 64 mm in a coordinate.
    OutOfRange,
    /// No light on the mean of all angles: there is nothing that polarisation could be a part of.
    Dark,
}

impl ReadingError {
    /// A value is outside the range of its type.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(self, Self::TooMany | Self::OutOfRange)
    }
}

impl fmt::Display for ReadingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooFew => "fewer than three readings",
            Self::TooMany => "more readings than the sums can hold (16384)",
            Self::Degenerate => "the readings lie on a line, or at fewer than three angles",
            Self::OutOfRange => "an intensity (-1 to 1) or a coordinate (64 mm) is out of range",
            Self::Dark => "there is no light",
        })
    }
}

impl core::error::Error for ReadingError {}

/// Most readings.
pub(super) const MOST_READINGS: u32 = 1 << 14;
/// Largest place, in either coordinate.
pub(super) const MOST_PLACE: u32 = 1 << 22;
/// Largest value.
const MOST_VALUE: u32 = 1 << 24;
/// Readings whose spread across is under 1/256 of that along lie on a line: `det < trace^2 / 2^16`.
const DEGENERATE_SHIFT: u32 = 16;
/// Bits to which moments are brought before they are multiplied.
const WIDE: u32 = 62;

/// Range: places to 2^22, values to 2^24, so that products are below 2^48 and sums of 2^14 of them to 2^62.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct PlaneSums {
    count: u32,
    /// Of p, q, v.
    linear: [i64; 3],
    /// Of pp, pq, qq, pv, qv, vv.
    products: [i64; 6],
}

impl PlaneSums {
    /// # Errors
    /// [`ReadingError::OutOfRange`], [`ReadingError::TooMany`].
    pub(super) fn add(&mut self, p: i32, q: i32, v: i32) -> Result<(), ReadingError> {
        let place_fits = p.unsigned_abs() <= MOST_PLACE && q.unsigned_abs() <= MOST_PLACE;
        if !place_fits || v.unsigned_abs() > MOST_VALUE {
            return Err(ReadingError::OutOfRange);
        }
        let [p, q, v] = [p, q, v].map(i64::from);
        let products = [(p, p), (p, q), (q, q), (p, v), (q, v), (v, v)].map(|(a, b)| a.wrapping_mul(b));
        self.merge(&Self { count: 1, linear: [p, q, v], products })
    }

    /// # Errors
    /// [`ReadingError::TooMany`]: nothing is then added.
    pub(super) fn merge(&mut self, other: &Self) -> Result<(), ReadingError> {
        if other.count > MOST_READINGS.saturating_sub(self.count) {
            return Err(ReadingError::TooMany);
        }
        self.count = self.count.wrapping_add(other.count);
        for (sum, part) in self.linear.iter_mut().zip(&other.linear) {
            *sum = sum.wrapping_add(*part);
        }
        for (sum, part) in self.products.iter_mut().zip(&other.products) {
            *sum = sum.wrapping_add(*part);
        }
        Ok(())
    }

    pub(super) const fn count(&self) -> u32 {
        self.count
    }

    /// # Errors
    /// [`ReadingError::TooFew`], [`ReadingError::Degenerate`].
    pub(super) fn fit(&self) -> Result<Plane, ReadingError> {
        let count = NonZeroU32::new(self.count).filter(|count| count.get() >= 3).ok_or(ReadingError::TooFew)?;
        let moments = Moments::of(self, count);
        let pattern = Pattern::of(&moments)?;
        let slopes = pattern.solve(&moments);
        let number = Scaled::of(i128::from(self.count), 0);
        Ok(Plane {
            slopes,
            means: self.linear.map(|sum| Scaled::of(i128::from(sum), 0).over(number)),
            variance: pattern.variance(&moments, slopes, count),
            number,
            inverse: pattern.inverse(),
            trace: Scaled::of(pattern.trace, pattern.scale),
        })
    }
}

/// Central moments times the number of readings, exact.
///
/// Range: below 2^14 * 2^62 = 2^76.
struct Moments {
    pp: i128,
    pq: i128,
    qq: i128,
    pv: i128,
    qv: i128,
    vv: i128,
}

impl Moments {
    fn of(sums: &PlaneSums, count: NonZeroU32) -> Self {
        let [p, q, v] = sums.linear.map(i128::from);
        let [pp, pq, qq, pv, qv, vv] = sums.products.map(i128::from);
        let count = i128::from(count.get());
        let central = |products: i128, a: i128, b: i128| products.wrapping_mul(count).wrapping_sub(a.wrapping_mul(b));
        Self {
            pp: central(pp, p, p),
            pq: central(pq, p, q),
            qq: central(qq, q, q),
            pv: central(pv, p, v),
            qv: central(qv, q, v),
            vv: central(vv, v, v),
        }
    }
}

/// Where the readings were taken: their moments over `2^scale`, of at most 62 bits.
struct Pattern {
    pp: i128,
    pq: i128,
    qq: i128,
    trace: i128,
    det: i128,
    scale: i32,
}

/// The fitted slopes along p and q: counts of `2^exponent`, below 2^31.
#[derive(Clone, Copy)]
struct Slopes {
    p: i64,
    q: i64,
    exponent: i32,
}

impl Pattern {
    /// # Errors
    /// [`ReadingError::Degenerate`].
    fn of(moments: &Moments) -> Result<Self, ReadingError> {
        let down = bits(moments.pp.saturating_add(moments.qq)).saturating_sub(WIDE);
        let [pp, pq, qq] = [moments.pp, moments.pq, moments.qq].map(|moment| shifted(moment, negative(down)));
        let trace = pp.wrapping_add(qq);
        let det = difference(pp, qq, pq, pq);
        if trace <= 0 || det <= trace.wrapping_mul(trace) >> DEGENERATE_SHIFT {
            return Err(ReadingError::Degenerate);
        }
        Ok(Self { pp, pq, qq, trace, det, scale: down.cast_signed() })
    }

    /// Cramer's rule. Moments of 62 bits: products below 2^124.
    fn solve(&self, moments: &Moments) -> Slopes {
        let down = bits(moments.pv).max(bits(moments.qv)).saturating_sub(WIDE);
        let [pv, qv] = [moments.pv, moments.qv].map(|moment| shifted(moment, negative(down)));
        let det = Scaled::of(self.det, self.scale);
        let along = |numerator: i128| Scaled::of(numerator, down.cast_signed()).over(det);
        let along_p = along(difference(pv, self.qq, qv, self.pq));
        let along_q = along(difference(qv, self.pp, pv, self.pq));
        let (p, q, exponent) = along_p.together(along_q);
        Slopes { p, q, exponent }
    }

    /// Variance of a reading, with `n - 3` degrees of freedom.
    ///
    /// The whole quadratic form, whose error is of second order in the slopes' rounding. Range: slopes below 2^31, moments
    /// below 2^76 with values and of 62 bits without: all below 2^126.
    fn variance(&self, moments: &Moments, slopes: Slopes, count: NonZeroU32) -> Option<Scaled> {
        const GUARD: i32 = 32;
        let freedom = count.get().checked_sub(3).filter(|freedom| *freedom > 0)?;
        let [p, q] = [slopes.p, slopes.q].map(i128::from);
        let product = |a: i128, b: i128| a.wrapping_mul(b);
        let linear = product(p, moments.pv).wrapping_add(product(q, moments.qv));
        let mixed = product(product(p, q), self.pq).wrapping_mul(2);
        let form = product(product(p, p), self.pp).wrapping_add(product(product(q, q), self.qq)).wrapping_add(mixed);
        let once = slopes.exponent.wrapping_add(GUARD);
        let twice = once.wrapping_add(slopes.exponent).wrapping_add(self.scale);
        let squares = shifted(moments.vv, GUARD)
            .wrapping_sub(shifted(linear, once.wrapping_add(1)))
            .wrapping_add(shifted(form, twice));
        let divisor = Scaled::of(i128::from(count.get()).wrapping_mul(i128::from(freedom)), 0);
        Some(Scaled::of(squares.max(0), GUARD.wrapping_neg()).over(divisor))
    }

    /// The inverse of the moments times their trace, Q24: elements pp, pq, qq, below 2^40.
    fn inverse(&self) -> [i128; 3] {
        let scale = Scaled::of(self.trace, 0).over(Scaled::of(self.det, 0));
        [self.qq, self.pq.wrapping_neg(), self.pp]
            .map(|moment| i128::from(Scaled::of(moment, 0).times(scale).to_fixed(INVERSE_BITS)))
    }
}

const INVERSE_BITS: u32 = 24;
/// Fraction bits of a gradient in [`Plane::slope_variance`].
pub(super) const GRADIENT_BITS: u32 = 30;

/// The fitted plane.
pub(super) struct Plane {
    slopes: Slopes,
    /// Of p, q, v.
    pub(super) means: [Scaled; 3],
    /// Of a reading; `None` without a degree of freedom.
    pub(super) variance: Option<Scaled>,
    /// How many readings.
    pub(super) number: Scaled,
    inverse: [i128; 3],
    trace: Scaled,
}

impl Plane {
    /// Slopes along p and q.
    pub(super) fn slopes(&self) -> [Scaled; 2] {
        [self.slopes.p, self.slopes.q].map(|slope| Scaled::of(i128::from(slope), self.slopes.exponent))
    }

    /// The steepest slope, and its direction in the plane of p and q as a turn.
    pub(super) fn steepest(&self) -> (Scaled, u32) {
        let polar = math::polar(math::saturate(self.slopes.p), math::saturate(self.slopes.q));
        (Scaled::of(i128::from(polar.radius), self.slopes.exponent), polar.turn)
    }

    /// Variance of `g . slopes`, with `g` in Q30, below 2^34; `None` without a degree of freedom.
    ///
    /// The moments' inverse times the number of readings, times a reading's variance (law of propagation).
    pub(super) fn slope_variance(&self, p: i64, q: i64) -> Option<Scaled> {
        let [p, q] = [p, q].map(i128::from);
        let [pp, pq, qq] = self.inverse;
        let product = |a: i128, b: i128, c: i128| a.wrapping_mul(b).wrapping_mul(c);
        let form = product(p, p, pp).wrapping_add(product(q, q, qq)).wrapping_add(product(p, q, pq).wrapping_mul(2));
        let form = Scaled::of(form.max(0), negative(2 * GRADIENT_BITS + INVERSE_BITS));
        Some(self.variance?.times(self.number).times(form).over(self.trace))
    }

    /// Standard uncertainties of the steepest slope, and of the slope across it, which is zero.
    pub(super) fn slope_uncertainties(&self, turn: u32) -> Option<(Scaled, Scaled)> {
        let (cos, sin) = math::cos_sin(turn);
        let [cos, sin] = [cos, sin].map(i64::from);
        Some((self.slope_variance(cos, sin)?.root(), self.slope_variance(sin.wrapping_neg(), cos)?.root()))
    }
}

/// A direction is known when the slope is at least so many of its standard uncertainties across.
pub(super) const LEAST_RATIO: i128 = 3;

/// 180 / pi in 2^-20 degree.
pub(super) const DEGREES_PER_RADIAN: i128 = 60_078_979;

/// `across / slope` radians in 2^-20 degree, over `2^halvings`.
pub(super) fn degrees(across: Scaled, slope: Scaled, halvings: i32) -> i32 {
    let radians = across.over(slope);
    math::saturate(radians.times(Scaled::of(DEGREES_PER_RADIAN, halvings.wrapping_neg())).to_fixed(0))
}

/// Whether a direction stands out of its own uncertainty; without one, whether there is any.
pub(super) fn is_known(slope: Scaled, across: Option<Scaled>) -> bool {
    let least = across.unwrap_or(Scaled::ZERO).times(Scaled::of(LEAST_RATIO, 0));
    slope.is_positive() && !least.plus(slope.negated()).is_positive()
}

fn bits(value: i128) -> u32 {
    128u32.wrapping_sub(value.unsigned_abs().leading_zeros())
}

const fn negative(bits: u32) -> i32 {
    bits.cast_signed().wrapping_neg()
}

/// `a b - c d`.
fn difference(a: i128, b: i128, c: i128, d: i128) -> i128 {
    a.wrapping_mul(b).wrapping_sub(c.wrapping_mul(d))
}

/// `value * 2^by`, rounded to nearest, halves away from zero.
#[inline(never)]
fn shifted(value: i128, by: i32) -> i128 {
    if by >= 0 {
        return value.checked_shl(by.unsigned_abs()).unwrap_or(0);
    }
    let down = by.unsigned_abs();
    if down > 127 {
        return 0;
    }
    let half = 1u128 << (down.wrapping_sub(1) & 127);
    let magnitude = (value.unsigned_abs().wrapping_add(half) >> (down & 127)).cast_signed();
    if value < 0 { magnitude.wrapping_neg() } else { magnitude }
}
