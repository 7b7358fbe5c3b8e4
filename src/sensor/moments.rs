//! The normal equations of the symmetric fit, and their solution in closed form.

use super::{Error, SlopeSums};
use crate::math;

/// Fraction bits of the fitted slopes' ratio to position: `u = throw s0 - A x`, `A` dimensionless.
pub(super) const RATIO_BITS: u32 = 28;
/// `|A|` below 4 in each element.
const MOST_RATIO: i64 = 4 << RATIO_BITS;
/// Bits to which moments are scaled: three of them multiply to 120.
const MOMENT_BITS: u32 = 40;
/// Spots whose spread across is under 1/256 of that along lie on a line: `det < trace^2 / 2^16`.
const COLLINEAR_SHIFT: u32 = 16;

/// Central moments of positions and displacements times the number of spots, units of `2^(shift - 32)` mm^2.
///
/// `n sum(xy) - sum(x) sum(y)` divides by nothing: the moments are exact as long as they fit [`EXACT_BITS`].
pub(super) struct Moments {
    xx: i64,
    xy: i64,
    yy: i64,
    xu: i64,
    xv: i64,
    yu: i64,
    yv: i64,
    ww: i64,
    /// Even.
    pub(super) shift: u32,
}

/// Bits of a moment: 113 spots within 3 mm need 50.
const EXACT_BITS: u32 = 61;

/// The fitted symmetric matrix, Q28.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Ratio {
    pub(super) xx: i64,
    pub(super) xy: i64,
    pub(super) yy: i64,
}

/// The reference moments scaled to 40 bits, and the determinant of the 2 x 2 block.
///
/// The normal matrix is `[[p, q, 0], [q, p + r, q], [0, q, r]]`, of determinant `t d` with `t = p + r` and
/// `d = p r - q^2`; its adjugate is `[[d + r^2, -q r, q^2], [-q r, p r, -p q], [q^2, -p q, d + p^2]]`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Normal {
    p: i128,
    q: i128,
    r: i128,
    trace: i128,
    det: i128,
}

impl Moments {
    pub(super) fn of(sums: &SlopeSums) -> Self {
        let s = sums;
        let count = i128::from(s.count);
        let part = |a: i64, b: i64| i128::from(a).wrapping_mul(i128::from(b));
        let central = |sum: i64, a: i64, b: i64| count.wrapping_mul(i128::from(sum)).wrapping_sub(part(a, b));
        let (xx, yy) = (central(s.xx, s.x, s.x), central(s.yy, s.y, s.y));
        let ww = central(s.ww, s.u, s.u).wrapping_sub(part(s.v, s.v));
        // No mixed moment exceeds the larger of its two.
        let bits = 128u32.wrapping_sub(xx.max(yy).max(ww).leading_zeros());
        let shift = bits.saturating_sub(EXACT_BITS).wrapping_add(1) & !1;
        let short = |moment: i128| shortened(moment, shift);
        Self {
            xx: short(xx),
            xy: short(central(s.xy, s.x, s.y)),
            yy: short(yy),
            xu: short(central(s.xu, s.x, s.u)),
            xv: short(central(s.xv, s.x, s.v)),
            yu: short(central(s.yu, s.y, s.u)),
            yv: short(central(s.yv, s.y, s.v)),
            ww: short(ww),
            shift,
        }
    }

    /// Sum of both reference moments.
    pub(super) fn trace(&self) -> i64 {
        self.xx.wrapping_add(self.yy)
    }

    /// Shift that brings the larger reference moment to [`MOMENT_BITS`]; negative shifts up.
    fn excess(&self) -> i32 {
        let bits = 64u32.wrapping_sub(self.xx.max(self.yy).leading_zeros());
        bits.cast_signed().wrapping_sub(MOMENT_BITS.cast_signed())
    }

    /// The normal matrix.
    ///
    /// # Errors
    /// [`Error::Collinear`].
    pub(super) fn normal(&self) -> Result<Normal, Error> {
        let scale = |moment: i64| i128::from(scaled(moment, self.excess()));
        let (p, q, r) = (scale(self.xx), scale(self.xy), scale(self.yy));
        let trace = p.wrapping_add(r);
        let det = p.wrapping_mul(r).wrapping_sub(q.wrapping_mul(q));
        if det <= trace.wrapping_mul(trace) >> COLLINEAR_SHIFT {
            return Err(Error::Collinear);
        }
        Ok(Normal { p, q, r, trace, det })
    }

    /// The symmetric matrix that leaves the least squares.
    ///
    /// # Accuracy
    /// Each element within `2^-39 cond (1 + |A|)` plus one unit of 2^-28, where `cond < 2^16` is the moments' condition.
    ///
    /// # Errors
    /// [`Error::SlopeRange`].
    pub(super) fn solve(&self, normal: &Normal) -> Result<Ratio, Error> {
        let Normal { p, q, r, trace, det } = *normal;
        // A right side beyond four times the matrix means a ratio beyond its range.
        let scale = |moment: i64| {
            let value = i128::from(scaled(moment, self.excess()).wrapping_neg());
            if value.unsigned_abs() >> 3 > trace.unsigned_abs() { Err(Error::SlopeRange) } else { Ok(value) }
        };
        let (f, h) = (scale(self.xu)?, scale(self.yv)?);
        let g = scale(self.xv.wrapping_add(self.yu))?;
        let square = |a: i128| a.wrapping_mul(a);
        let divisor = trace.wrapping_mul(det);
        let solve = |first: i128, second: i128, third: i128| {
            let sum = first.wrapping_mul(f).wrapping_add(second.wrapping_mul(g)).wrapping_add(third.wrapping_mul(h));
            let ratio = wide_ratio(sum, divisor, RATIO_BITS);
            if ratio.unsigned_abs() < MOST_RATIO.unsigned_abs() { Ok(ratio) } else { Err(Error::SlopeRange) }
        };
        let (qr, pq) = (q.wrapping_mul(r).wrapping_neg(), p.wrapping_mul(q).wrapping_neg());
        Ok(Ratio {
            xx: solve(det.wrapping_add(square(r)), qr, square(q))?,
            xy: solve(qr, p.wrapping_mul(r), pq)?,
            yy: solve(square(q), pq, det.wrapping_add(square(p)))?,
        })
    }

    /// Sum of squared residuals of a symmetric matrix times the number of spots, Q56 of the moments' unit.
    ///
    /// Evaluated as the whole quadratic form, whose error is of second order in the matrix's rounding.
    /// Range: `|A| < 2^30` in Q28, moments to 2^61: each term below 2^123 in Q56, five of them below 2^126.
    pub(super) fn residual(&self, fit: Ratio) -> u128 {
        let wide = |value: i64| i128::from(value);
        let (a, b, c) = (wide(fit.xx), wide(fit.xy), wide(fit.yy));
        let (p, q, r) = (wide(self.xx), wide(self.xy), wide(self.yy));
        let linear = a
            .wrapping_mul(wide(self.xu))
            .wrapping_add(b.wrapping_mul(wide(self.xv).wrapping_add(wide(self.yu))))
            .wrapping_add(c.wrapping_mul(wide(self.yv)));
        let quadratic = a
            .wrapping_mul(a)
            .wrapping_mul(p)
            .wrapping_add(b.wrapping_mul(b).wrapping_mul(p.wrapping_add(r)))
            .wrapping_add(c.wrapping_mul(c).wrapping_mul(r))
            .wrapping_add(b.wrapping_mul(a.wrapping_add(c)).wrapping_mul(q) << 1);
        let sum = (wide(self.ww) << (2 * RATIO_BITS)).wrapping_add(linear << (RATIO_BITS + 1)).wrapping_add(quadratic);
        sum.max(0).unsigned_abs()
    }

    /// Half the antisymmetric part of the unconstrained fit, Q28: the rotation, in radians, of the spots about their mean.
    pub(super) fn rotation(&self, normal: &Normal) -> i64 {
        let Normal { p, q, r, det, .. } = *normal;
        let scale = |moment: i64| i128::from(scaled(moment, self.excess()));
        let (xu, xv, yu, yv) = (scale(self.xu), scale(self.xv), scale(self.yu), scale(self.yv));
        let vyx = r.wrapping_mul(xv).wrapping_sub(q.wrapping_mul(yv));
        let vxy = p.wrapping_mul(yu).wrapping_sub(q.wrapping_mul(xu));
        wide_ratio(vyx.wrapping_sub(vxy), det << 1, RATIO_BITS)
    }
}

/// Fraction bits of [`Normal::inverse`].
pub(super) const INVERSE_BITS: u32 = 16;

impl Normal {
    /// The inverse normal matrix times the trace, Q16: elements 11, 12, 13, 22, 23, 33.
    pub(super) fn inverse(&self) -> [i64; 6] {
        let Self { p, q, r, det, .. } = *self;
        let over_det = |value: i128| wide_ratio(value, det, INVERSE_BITS);
        let one = 1i64 << INVERSE_BITS;
        [
            over_det(r.wrapping_mul(r)).wrapping_add(one),
            over_det(q.wrapping_mul(r)).wrapping_neg(),
            over_det(q.wrapping_mul(q)),
            over_det(p.wrapping_mul(r)),
            over_det(p.wrapping_mul(q)).wrapping_neg(),
            over_det(p.wrapping_mul(p)).wrapping_add(one),
        ]
    }
}

/// `value / 2^shift`, rounded, halves away from zero, saturated to 64 bits.
pub(super) fn shortened(value: i128, shift: u32) -> i64 {
    let half = (1u128 << (shift & 127)) >> 1;
    let magnitude = value.unsigned_abs().wrapping_add(half) >> (shift & 127);
    let short = i64::try_from(magnitude).unwrap_or(i64::MAX);
    if value < 0 { short.wrapping_neg() } else { short }
}

/// `value / 2^shift`, rounded; a negative shift multiplies, saturating: such a value is refused as [`Error::SlopeRange`].
fn scaled(value: i64, shift: i32) -> i64 {
    match shift {
        0 => value,
        1.. => math::shift_round(value, shift.unsigned_abs()),
        _ => value.saturating_mul(1i64 << (shift.unsigned_abs() & 63)),
    }
}

/// [`math::ratio`] of 128-bit integers, both brought to 63 bits first.
///
/// # Accuracy
/// Within half a unit plus 5e-10 of itself. Odd in either operand.
pub(super) fn wide_ratio(numerator: i128, divisor: i128, exponent: u32) -> i64 {
    let narrow = |value: i128| {
        let magnitude = value.unsigned_abs();
        let down = 65u32.saturating_sub(magnitude.leading_zeros());
        let short = i64::try_from(magnitude >> (down & 127)).unwrap_or(i64::MAX);
        (if value < 0 { short.wrapping_neg() } else { short }, down)
    };
    let (n, n_down) = narrow(numerator);
    let (d, d_down) = narrow(divisor);
    let total = exponent.wrapping_add(n_down);
    if total >= d_down {
        math::ratio(n, d, total.wrapping_sub(d_down))
    } else {
        math::ratio(math::shift_round(n, d_down.wrapping_sub(total)), d, 0)
    }
}
