//! The normal equations of the symmetric fit, and their solution in closed form.
//!
//! Moments are scaled by a power of two so that the references' trace fills 62 bits, and taken as fractions of `2^62`:
//! products of fractions are then one function, and nothing wider than 64 bits is linked into a controller.

use super::{Error, SlopeSums};
use crate::math;
use core::num::NonZeroU64;

/// Fraction bits of the fitted slopes' ratio to position: `u = throw s0 - A x`, `A` dimensionless.
pub(super) const RATIO_BITS: u32 = 28;
/// `|A|` below 4 in each element.
const MOST_RATIO: i64 = 4 << RATIO_BITS;
/// Spots whose spread across is under 1/256 of that along lie on a line: `det < trace^2 / 2^16`.
const COLLINEAR_SHIFT: u32 = 16;
/// Fraction bits of reference moments.
const WHOLE: u32 = 62;
/// Fewer fraction bits of moments with a displacement, which may be 4 times the trace.
const SLOPE_ROOM: u32 = 4;
/// Fewer fraction bits of the displacements' own moment, which may be 32 times the trace.
const SQUARE_ROOM: u32 = 6;

/// Central moments of the references times the number of spots, and what the fit needs of them.
///
/// The normal matrix is `[[p, q, 0], [q, p + r, q], [0, q, r]]`, of determinant `t d` with `t = p + r` and
/// `d = p r - q^2`; its adjugate is `[[d + r^2, -q r, q^2], [-q r, p r, -p q], [q^2, -p q, d + p^2]]`.
///
/// Range: `2^61 <= t < 2^62`, all others below `t` in magnitude, as fractions of `2^62`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Normal {
    p: i64,
    q: i64,
    r: i64,
    trace: i64,
    det: i64,
}

/// Central moments with the displacements, in the scale of [`Normal`].
///
/// Range: `xu` to `yv` below 4 as fractions of `2^58`, `ww` below 32 as a fraction of `2^56`.
pub(super) struct Moments {
    pub(super) normal: Normal,
    xu: i64,
    xv: i64,
    yu: i64,
    yv: i64,
    ww: i64,
    /// A moment is its fraction times `2^scale` units of 2^-32 mm^2, and the number of spots times what it would be alone.
    scale: i32,
    count: NonZeroU64,
}

/// The fitted symmetric matrix, Q28.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Ratio {
    pub(super) xx: i64,
    pub(super) xy: i64,
    pub(super) yy: i64,
}

/// The power of two that makes fractions of moments: up by so many bits, negative for down.
#[derive(Clone, Copy)]
struct Fraction {
    trace: u64,
    up: i32,
}

impl Fraction {
    /// # Errors
    /// [`Error::Collinear`]: no trace.
    fn of(trace: i64) -> Result<Self, Error> {
        if trace <= 0 {
            return Err(Error::Collinear);
        }
        // The trace may have one bit more than the moments: it then loses one, as everything does.
        let up = trace.leading_zeros().cast_signed().wrapping_sub(2);
        Ok(Self { trace: trace.unsigned_abs(), up })
    }

    /// A moment as a fraction of 2^62 with `room` bits less.
    ///
    /// # Errors
    /// [`Error::SlopeRange`] from a quarter of that room on.
    #[inline(never)]
    fn of_moment(self, moment: i64, room: u32) -> Result<i64, Error> {
        if moment.unsigned_abs() >> room.saturating_sub(2) > self.trace {
            return Err(Error::SlopeRange);
        }
        let by = self.up.wrapping_sub(room.cast_signed());
        Ok(if by < 0 { math::shift_round(moment, by.unsigned_abs()) } else { moment << (by & 63) })
    }
}

/// A sum over spots split by their number: `sum = mean * count + rest`.
struct Split {
    sum: i64,
    mean: i64,
    rest: i64,
}

impl Split {
    fn of(sum: i64, count: NonZeroU64) -> Self {
        let mean = math::div_round(sum, count);
        Self { sum, mean, rest: sum.wrapping_sub(mean.wrapping_mul(count.get().cast_signed())) }
    }
}

/// `count * products - a b` over `2^down`: exact when nothing is shifted out.
///
/// With `a = mean count + rest`, it is `count (products - mean_a b - rest_a mean_b) - rest_a rest_b`; the bracket is the
/// central moment within a unit, below 2^62, and the rests are at most half the count.
#[inline(never)]
fn central(products: i64, a: &Split, b: &Split, count: NonZeroU64, down: u32) -> i64 {
    let moment = products.wrapping_sub(a.mean.wrapping_mul(b.sum)).wrapping_sub(a.rest.wrapping_mul(b.mean));
    let shifted = |value: i64| if down == 0 { value } else { math::shift_round(value, down) };
    shifted(moment).wrapping_mul(count.get().cast_signed()).wrapping_sub(shifted(a.rest.wrapping_mul(b.rest)))
}

impl Moments {
    /// # Errors
    /// [`Error::Collinear`], [`Error::SlopeRange`].
    pub(super) fn of(sums: &SlopeSums, count: NonZeroU64) -> Result<Self, Error> {
        let [x, y, u, v] = sums.linear.map(|sum| Split::of(sum, count));
        let [xx, xy, yy, xu, xv, yu, yv, ww] = sums.products;
        // What the largest moment, times the number of spots, has beyond 62 bits. No mixed moment exceeds both its squares.
        let squares = xx.max(yy).max(ww);
        let bits = 128u32.wrapping_sub(squares.leading_zeros()).wrapping_sub(count.leading_zeros());
        let down = bits.saturating_sub(WHOLE);
        let terms = [
            (xx, &x, &x),
            (xy, &x, &y),
            (yy, &y, &y),
            (xu, &x, &u),
            (xv, &x, &v),
            (yu, &y, &u),
            (yv, &y, &v),
            (ww, &u, &u),
            (0, &v, &v),
        ];
        let [xx, xy, yy, xu, xv, yu, yv, uu, vv] = terms.map(|(products, a, b)| central(products, a, b, count, down));
        let fraction = Fraction::of(xx.saturating_add(yy))?;
        let mut moments = [
            (xx, 0),
            (xy, 0),
            (yy, 0),
            (xu, SLOPE_ROOM),
            (xv, SLOPE_ROOM),
            (yu, SLOPE_ROOM),
            (yv, SLOPE_ROOM),
            (uu.wrapping_add(vv), SQUARE_ROOM),
        ];
        for (moment, room) in &mut moments {
            *moment = fraction.of_moment(*moment, *room)?;
        }
        let [xx, xy, yy, xu, xv, yu, yv, ww] = moments.map(|(moment, _)| moment);
        let scale = down.cast_signed().wrapping_sub(fraction.up);
        Ok(Self { normal: Normal::of(xx, xy, yy)?, xu, xv, yu, yv, ww, scale, count })
    }

    /// The symmetric matrix that leaves the least squares.
    ///
    /// # Accuracy
    /// Each element within `2^-52 cond (1 + |A|)` plus one unit of 2^-28, where `cond < 2^16` is the moments' condition.
    ///
    /// # Errors
    /// [`Error::SlopeRange`].
    pub(super) fn solve(&self) -> Result<Ratio, Error> {
        let Normal { p, q, r, trace, det } = self.normal;
        let [f, g, h] = self.right_side();
        let divisor = product(trace, det);
        // The numerator's parts are below 12, 2 and 2: their sum is below 16 in 2^58.
        let solve = |parts: [i64; 3]| {
            let sum = parts.into_iter().fold(0, i64::wrapping_add);
            let ratio = math::ratio(sum, divisor, RATIO_BITS + SLOPE_ROOM);
            if ratio.unsigned_abs() < MOST_RATIO.unsigned_abs() { Ok(ratio) } else { Err(Error::SlopeRange) }
        };
        let (first, second) = (difference(r, f, q, g), difference(p, h, q, g));
        let square = product(q, q);
        Ok(Ratio {
            xx: solve([product(det, f), product(r, first), product(square, h)])?,
            xy: solve([difference(product(p, r), g, q, product(r, f).wrapping_add(product(p, h))), 0, 0])?,
            yy: solve([product(det, h), product(p, second), product(square, f)])?,
        })
    }

    /// The normal equations' right side: below 4, 8 and 4.
    fn right_side(&self) -> [i64; 3] {
        [self.xu.wrapping_neg(), self.xv.wrapping_add(self.yu).wrapping_neg(), self.yv.wrapping_neg()]
    }

    /// Root of the mean squared residual of a symmetric matrix, 2^-24 mm, with `2 n - 5` degrees of freedom.
    ///
    /// Evaluated as the whole quadratic form, whose error is of second order in the matrix's rounding.
    /// Range: elements below 4: their squares below 16 in 2^58, their products with moments below that; all to 2^56.
    #[allow(
        clippy::inline_always,
        reason = "on the smallest board, which has one caller, 200 bytes less than a call of its own"
    )]
    #[inline(always)]
    pub(super) fn deviation(&self, fit: Ratio) -> u32 {
        let Normal { p, q, r, trace, .. } = self.normal;
        let [a, b, c] = [fit.xx, fit.xy, fit.yy].map(|element| element << (60 - RATIO_BITS));
        let [f, g, h] = self.right_side();
        let linear = product(a, f).wrapping_add(product(b, g)).wrapping_add(product(c, h));
        let pure = product(product(a, a), p)
            .wrapping_add(product(product(b, b), trace))
            .wrapping_add(product(product(c, c), r));
        // a + c may be 8: one bit less.
        let mixed = product(product(b, (a >> 1).wrapping_add(c >> 1)), q);
        let squares = self
            .ww
            .wrapping_sub(linear << 1)
            .wrapping_add(math::shift_round(pure, SQUARE_ROOM - SLOPE_ROOM))
            .wrapping_add(mixed);
        let freedom = self.count.get().wrapping_mul(2).saturating_sub(5);
        // 2^-56 of 2^62, and from 2^-32 mm^2 to 2^-48.
        let exponent = self.scale.wrapping_add(SQUARE_ROOM.cast_signed()).wrapping_add(16);
        root(squares.max(0).unsigned_abs(), self.count.get().wrapping_mul(freedom), exponent)
    }

    /// Root of the summed squares of the references' distances from their mean, in 2^-16 mm.
    pub(super) fn spread(&self) -> u32 {
        root(self.normal.trace.unsigned_abs(), self.count.get(), self.scale)
    }

    /// Half the antisymmetric part of the unconstrained fit, Q28: the rotation, in radians, of the spots about their mean.
    pub(super) fn rotation(&self) -> i64 {
        let Normal { p, q, r, det, .. } = self.normal;
        let antisymmetric = difference(r, self.xv, q, self.yv).wrapping_sub(difference(p, self.yu, q, self.xu));
        math::ratio(antisymmetric, det, RATIO_BITS + SLOPE_ROOM - 1)
    }
}

/// Fraction bits of [`Normal::inverse`].
pub(super) const INVERSE_BITS: u32 = 16;

impl Normal {
    fn of(p: i64, q: i64, r: i64) -> Result<Self, Error> {
        let trace = p.wrapping_add(r);
        let det = difference(p, r, q, q);
        if det <= product(trace, trace) >> COLLINEAR_SHIFT {
            return Err(Error::Collinear);
        }
        Ok(Self { p, q, r, trace, det })
    }

    /// The references' moments xx, xy, yy over their trace, Q62.
    pub(super) fn shares(&self) -> [i64; 3] {
        [self.p, self.q, self.r].map(|moment| math::ratio(moment, self.trace, WHOLE))
    }

    /// The inverse normal matrix times the trace, Q16: elements 11, 12, 13, 22, 23, 33.
    pub(super) fn inverse(&self) -> [i64; 6] {
        let Self { p, q, r, det, .. } = *self;
        let over_det = |a: i64, b: i64| math::ratio(product(a, b), det, INVERSE_BITS);
        let one = 1i64 << INVERSE_BITS;
        [
            over_det(r, r).wrapping_add(one),
            over_det(q, r).wrapping_neg(),
            over_det(q, q),
            over_det(p, r),
            over_det(p, q).wrapping_neg(),
            over_det(p, p).wrapping_add(one),
        ]
    }
}

/// `a b - c d`.
#[inline(never)]
fn difference(a: i64, b: i64, c: i64, d: i64) -> i64 {
    product(a, b).wrapping_sub(product(c, d))
}

/// `a b / 2^62`, rounded to nearest, halves away from zero.
///
/// Range: `|a|, |b| < 2^63`, of which the product's magnitude below `2^125`. Odd in either operand.
#[inline(never)]
pub(super) fn product(a: i64, b: i64) -> i64 {
    const LOW: u64 = u32::MAX as u64;
    let (x, y) = (a.unsigned_abs(), b.unsigned_abs());
    let part = |x: u64, y: u64| x.wrapping_mul(y);
    let (low, high) = (part(x & LOW, y & LOW), part(x >> 32, y >> 32));
    let (first, second) = (part(x >> 32, y & LOW), part(x & LOW, y >> 32));
    let middle = (low >> 32).wrapping_add(first & LOW).wrapping_add(second & LOW);
    let upper = high.wrapping_add(first >> 32).wrapping_add(second >> 32).wrapping_add(middle >> 32);
    // Bits 62 and 63 of the low word, and bit 61 to round.
    let below = middle & LOW;
    let magnitude = (upper << 2).wrapping_add(below >> 30).wrapping_add(below >> 29 & 1).cast_signed();
    if (a < 0) == (b < 0) { magnitude } else { magnitude.wrapping_neg() }
}

/// `sqrt(value / divisor * 2^exponent)`, rounded; saturates.
pub(super) fn root(value: u64, divisor: u64, exponent: i32) -> u32 {
    // As many bits more before the division as there is room for, so that an even power is left for after the root.
    let room = value.leading_zeros().cast_signed();
    let up = room.wrapping_sub(room.wrapping_add(exponent) & 1).max(0);
    let root = math::sqrt((value << (up & 63)).checked_div(divisor).unwrap_or(0));
    let half = exponent.wrapping_sub(up) >> 1;
    let scaled = if half < 0 {
        math::shift_round(i64::from(root), half.unsigned_abs())
    } else {
        i64::from(root).checked_shl(half.unsigned_abs()).filter(|_| half < 31).unwrap_or(i64::MAX)
    };
    u32::try_from(scaled).unwrap_or(u32::MAX)
}
