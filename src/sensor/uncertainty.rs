//! What the scatter of the spots makes of the result: standard uncertainties by the law of propagation.
//!
//! With `sigma` the standard deviation of a displacement, `N` the normal matrix of the fit, `K = I - gap F` the step back:
//! a change `dV` at the plate changes the power at the vertex by `K dV K`, so that a linear functional `tr(G F)` of the power
//! is the functional `tr(K G K V)` of what was fitted. The mean displacement is uncorrelated with `V`; the prism at a point
//! that the light crosses at a lever `arm` from the spots' mean has both.
//!
//! Gradients are taken at the fitted lens: the results hold while they are small against the cylinder (sphere, cylinder,
//! axis) and against the weaker power (centre).
//!
//! # Accuracy
//! Within 0.08 % of the formula, or 2 units of the result's type, where the residual is at least 0.05 um, the cylinder at least
//! 0.25 D, and the condition of the spots' pattern (ratio of its principal second moments) at most 4096.
//!
//! # Source
//! JCGM 100 (GUM), 5.1.2 and 5.2.2.

use super::fit::{Fit, MEAN_SHIFT, StepBack};
use super::moments::INVERSE_BITS;
use crate::math;
use crate::quantity::{Degree, Dioptre, Millimetre, Point, PrismDioptre};
use crate::vector::{Covariance, PowerVector};
use core::num::NonZeroU64;

/// Standard uncertainties (k = 1) of a fit, from the scatter of its spots alone.
///
/// Gap, throw, calibration and wavelength are not in it. Of a saturated fit everything is saturated, or `None`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StandardUncertainty {
    /// Of the sphere, minus-cylinder form.
    pub sphere: Dioptre,
    /// Of the cylinder.
    pub cylinder: Dioptre,
    /// Of the power across the axis: sphere plus cylinder.
    pub across: Dioptre,
    /// Of the axis; `None` when it is not known to 45 degrees.
    pub axis: Option<Degree>,
    /// Of the horizontal prism on the sensor's axis.
    pub prism_x: PrismDioptre,
    /// Of the vertical prism on the sensor's axis.
    pub prism_y: PrismDioptre,
    /// Of the optical centre's coordinates; `None` when it is no point.
    pub centre: Option<Point>,
}

/// Fraction bits of directions, of the step back, of levers and of gradients.
const GRADIENT_BITS: u32 = 20;
/// Bits to which gradients are brought for a variance: two of them and an element of the inverse multiply to 93.
const SHORT_BITS: u32 = 30;

/// A symmetric matrix, Q20.
#[derive(Clone, Copy)]
struct Symmetric {
    xx: i64,
    xy: i64,
    yy: i64,
}

impl StandardUncertainty {
    const UNKNOWN: Self = Self {
        sphere: Dioptre::MAX,
        cylinder: Dioptre::MAX,
        across: Dioptre::MAX,
        axis: None,
        prism_x: PrismDioptre::MAX,
        prism_y: PrismDioptre::MAX,
        centre: None,
    };
}

impl Fit {
    /// Standard uncertainties from the scatter of the spots.
    #[must_use]
    pub fn uncertainty(&self) -> StandardUncertainty {
        if self.is_saturated() {
            return StandardUncertainty::UNKNOWN;
        }
        let vector = self.vector();
        let polar = math::polar(vector.j0.to_bits(), vector.j45.to_bits());
        let (cos, sin) = math::cos_sin(polar.turn);
        let (half, whole) = (31 - GRADIENT_BITS, 30 - GRADIENT_BITS);
        let coarse = |value: i32, shift: u32| math::shift_round(i64::from(value), shift);
        let (c, s, one) = (coarse(cos, half), coarse(sin, half), 1i64 << (GRADIENT_BITS - 1));
        let propagation = Propagation::of(self);
        let power = |xx: i64, xy: i64, yy: i64| propagation.power(Symmetric { xx, xy, yy });
        let arm = propagation.arm(self, Point::ORIGIN);
        let component = |row: (i64, i64)| propagation.prism(row, arm);
        let doubled = (coarse(cos, whole), coarse(sin, whole));
        StandardUncertainty {
            sphere: power(one.wrapping_add(c), s, one.wrapping_sub(c)),
            across: power(one.wrapping_sub(c), s.wrapping_neg(), one.wrapping_add(c)),
            cylinder: power(doubled.0, doubled.1, doubled.0.wrapping_neg()),
            axis: propagation.axis(Symmetric { xx: s.wrapping_neg(), xy: c, yy: s }, vector),
            prism_x: component((propagation.back.xx, propagation.back.xy)),
            prism_y: component((propagation.back.xy, propagation.back.yy)),
            centre: self.centre_uncertainty(&propagation),
        }
    }

    /// Standard uncertainty of the mean power from the scatter of the spots: the root of the covariance's first element at a
    /// fifth of its cost. Saturated of what is saturated.
    pub(super) fn mean_power_uncertainty(&self) -> Dioptre {
        if self.is_saturated() {
            return Dioptre::MAX;
        }
        let half = 1i64 << (GRADIENT_BITS - 1);
        Propagation::of(self).power(Symmetric { xx: half, xy: 0, yy: half })
    }

    /// Covariance of the power vector at the vertex, from the scatter of the spots; `None` of a saturated power.
    ///
    /// # Accuracy
    /// Within 0.2 % of the largest element, or one unit of 2^-40 D^2.
    ///
    /// # Source
    /// JCGM 100 (GUM), 5.2.2.
    #[must_use]
    pub fn covariance(&self) -> Option<Covariance> {
        if self.is_saturated() {
            return None;
        }
        let propagation = Propagation::of(self);
        let half = 1i64 << (GRADIENT_BITS - 1);
        let m = Symmetric { xx: half, xy: 0, yy: half };
        let j0 = Symmetric { xx: half, xy: 0, yy: half.wrapping_neg() };
        let j45 = Symmetric { xx: 0, xy: half, yy: 0 };
        let element = |a: Symmetric, b: Symmetric| propagation.covariance(a, b);
        Some(Covariance {
            m: element(m, m),
            j0: element(j0, j0),
            j45: element(j45, j45),
            m_j0: element(m, j0),
            m_j45: element(m, j45),
            j0_j45: element(j0, j45),
        })
    }

    /// `d centre = 10 F^-1 d p`, with the prism taken at the centre.
    fn centre_uncertainty(&self, propagation: &Propagation) -> Option<Point> {
        let centre = self.centre().point()?;
        let arm = propagation.arm(self, centre);
        let determinant = self.power.determinant_bits();
        // Rows of the adjugate of F.
        let row = |x: Dioptre, y: Dioptre| propagation.centre((x, y), determinant, arm);
        Some(Point::new(row(self.power.yy, -self.power.xy), row(-self.power.xy, self.power.xx)))
    }
}

/// What all uncertainties of one fit share.
struct Propagation {
    /// Inverse normal matrix times its trace, Q16.
    inverse: [i64; 6],
    /// Step back.
    back: Symmetric,
    /// 2^-24 mm.
    deviation: i128,
    /// 2^-16 mm.
    spread: i64,
    /// 2^-16 mm.
    throw: i128,
    count: NonZeroU64,
}

fn round(value: i64) -> i64 {
    math::shift_round(value, GRADIENT_BITS)
}

impl Propagation {
    fn of(fit: &Fit) -> Self {
        let back = StepBack::of(fit.power, fit.geometry.gap());
        let coarse = |value: i64| math::shift_round(value, 28 - GRADIENT_BITS);
        Self {
            inverse: fit.normal.inverse(),
            back: Symmetric { xx: coarse(back.xx), xy: coarse(back.xy), yy: coarse(back.yy) },
            deviation: i128::from(fit.deviation),
            spread: i64::from(fit.spread).max(1),
            throw: i128::from(fit.geometry.throw().to_bits()),
            count: NonZeroU64::new(u64::from(fit.count)).unwrap_or(NonZeroU64::MIN),
        }
    }

    /// Root of the variance of a functional of `V` in units of sigma over the spread, and a variance of its own; Q28, half of
    /// two gradients' fraction bits and one inverse's.
    ///
    /// Range: gradients below 2^71; elements of the inverse below 2^33, so that the sum of nine products is below 2^97.
    fn root(&self, gradient: [i128; 3], own: i128) -> i128 {
        let most = gradient.into_iter().fold(0, |most, part| part.unsigned_abs().max(most));
        let down = 128u32.wrapping_sub(most.leading_zeros()).saturating_sub(SHORT_BITS);
        let [a, b, c] = gradient.map(|part| shortened(part, down));
        let [aa, ab, ac, bb, bc, cc] = self.inverse;
        let term = |p: i64, q: i64, element: i64| i128::from(p.wrapping_mul(q)).wrapping_mul(i128::from(element));
        let diagonal = term(a, a, aa).wrapping_add(term(b, b, bb)).wrapping_add(term(c, c, cc));
        let mixed = term(a, b, ab).wrapping_add(term(a, c, ac)).wrapping_add(term(b, c, bc));
        let variance = diagonal.wrapping_add(mixed.wrapping_mul(2)).wrapping_add(own >> down.wrapping_mul(2).min(127));
        wide_root(variance.max(0).unsigned_abs()) << (down & 63)
    }

    /// `sigma root` of the functional `tr(G F)`, times 1000: over throw and spread, it is in 2^-20 D.
    fn scaled_power(&self, g: Symmetric) -> i128 {
        let root = self.root(self.stepped(g).map(i128::from), 0);
        self.deviation.saturating_mul(root).saturating_mul(1000)
    }

    /// Standard uncertainty of `tr(G F)`.
    fn power(&self, g: Symmetric) -> Dioptre {
        let divisor = self.throw.wrapping_mul(i128::from(self.spread));
        // 2^-24 mm * 2^-28 / (2^-16 mm * 2^-16 mm) is 2^-20 / mm.
        Dioptre::from_bits(math::saturate(wide_ratio(self.scaled_power(g), divisor, 0)))
    }

    /// Covariance of `tr(A F)` and `tr(B F)`, 2^-40 D^2: a quarter of what the variances of their sum and difference differ by.
    fn covariance(&self, a: Symmetric, b: Symmetric) -> i64 {
        let divisor = self.throw.wrapping_mul(i128::from(self.spread));
        let variance = |xx: i64, xy: i64, yy: i64| {
            // 2^-30 D, so that its square is fine enough.
            let deviation = i128::from(wide_ratio(self.scaled_power(Symmetric { xx, xy, yy }), divisor, 10));
            deviation.saturating_mul(deviation)
        };
        let sum = variance(a.xx.wrapping_add(b.xx), a.xy.wrapping_add(b.xy), a.yy.wrapping_add(b.yy));
        let rest = variance(a.xx.wrapping_sub(b.xx), a.xy.wrapping_sub(b.xy), a.yy.wrapping_sub(b.yy));
        // A quarter, and from 2^-60 D^2 to 2^-40.
        shortened(sum.saturating_sub(rest), 22)
    }

    /// Uncertainty of the direction of (J0, J45), halved: that of the component `turning` across it, over twice its length.
    fn axis(&self, turning: Symmetric, vector: PowerVector) -> Option<Degree> {
        // 180 / pi in 2^-20 degree.
        const DEGREES_PER_RADIAN: i128 = 60_078_979;
        let cylinder = vector.half_cylinder().double();
        let divisor = self.throw.wrapping_mul(i128::from(self.spread)).wrapping_mul(i128::from(cylinder.to_bits()));
        let scaled = self.scaled_power(turning).saturating_mul(DEGREES_PER_RADIAN);
        let degrees = Degree::from_bits(math::saturate(wide_ratio(scaled, divisor, 0)));
        (cylinder != Dioptre::ZERO && degrees <= degrees!(45.0)).then_some(degrees)
    }

    /// The gradient by `V` of `tr(K G K V)`.
    ///
    /// Range: `|K| < 2^8`, so that products are below 2^57.
    fn stepped(&self, g: Symmetric) -> [i64; 3] {
        let k = self.back;
        let dot = |a: i64, b: i64, c: i64, d: i64| round(a.wrapping_mul(b).wrapping_add(c.wrapping_mul(d)));
        // Rows of G K.
        let (pxx, pxy) = (dot(g.xx, k.xx, g.xy, k.xy), dot(g.xx, k.xy, g.xy, k.yy));
        let (pyx, pyy) = (dot(g.xy, k.xx, g.yy, k.xy), dot(g.xy, k.xy, g.yy, k.yy));
        let xy = dot(k.xx, pxy, k.xy, pyy);
        [dot(k.xx, pxx, k.xy, pyx), xy.wrapping_mul(2), dot(k.xy, pxy, k.yy, pyy)]
    }

    /// Lever at the plate of the light that leaves the lens at `point`, over the spread: spots' mean less where the light
    /// crosses, `K r + gap p / 100`.
    fn arm(&self, fit: &Fit, point: Point) -> (i64, i64) {
        const HUNDRED: NonZeroU64 = NonZeroU64::new(100 << PrismDioptre::FRACTION_BITS).unwrap();
        let (x, y) = (i64::from(point.x.to_bits()), i64::from(point.y.to_bits()));
        let gap = i64::from(fit.geometry.gap().to_bits());
        // 2^-24 mm throughout.
        let along = |a: i64, b: i64, prism: PrismDioptre, mean: i64| {
            let moved =
                math::shift_round(a.wrapping_mul(x).wrapping_add(b.wrapping_mul(y)), GRADIENT_BITS - MEAN_SHIFT);
            let bent = math::div_round(gap.wrapping_mul(i64::from(prism.to_bits())) << MEAN_SHIFT, HUNDRED);
            let lever = mean.wrapping_sub(moved).wrapping_sub(bent);
            math::ratio(lever, self.spread, GRADIENT_BITS - MEAN_SHIFT)
        };
        (
            along(self.back.xx, self.back.xy, fit.prism.x, fit.centroid.0),
            along(self.back.xy, self.back.yy, fit.prism.y, fit.centroid.1),
        )
    }

    /// `sigma root` of `row . (mean displacement + throw dV arm)`.
    fn scaled_prism(&self, (k, l): (i64, i64), (x, y): (i64, i64)) -> i128 {
        let product = |a: i64, b: i64| i128::from(a).wrapping_mul(i128::from(b));
        let gradient = [product(k, x), product(k, y).wrapping_add(product(l, x)), product(l, y)];
        let square = k.wrapping_mul(k).wrapping_add(l.wrapping_mul(l));
        let mean = i128::from(math::div_round(square, self.count)) << INVERSE_BITS;
        self.deviation.saturating_mul(self.root(gradient.map(|part| i128::from(shortened(part, GRADIENT_BITS))), mean))
    }

    fn prism(&self, row: (i64, i64), arm: (i64, i64)) -> PrismDioptre {
        let scaled = self.scaled_prism(row, arm).saturating_mul(100);
        // 2^-24 mm * 2^-28 / 2^-16 mm to 2^-20: 2^-16.
        PrismDioptre::from_bits(math::saturate(wide_ratio(scaled, self.throw << 16, 0)))
    }

    /// Of `10 (x, y) . d p / det F`, with a row of the adjugate of `F`.
    fn centre(&self, (x, y): (Dioptre, Dioptre), determinant: i64, arm: (i64, i64)) -> Millimetre {
        let (x, y) = (x.to_bits(), y.to_bits());
        let length = math::polar(x, y).radius;
        let unit = |part: i32| math::ratio(i64::from(part), i64::from(length), GRADIENT_BITS);
        let (p, q) = (unit(x), unit(y));
        let k = self.back;
        let dot = |a: i64, b: i64| round(p.wrapping_mul(a).wrapping_add(q.wrapping_mul(b)));
        let scaled = self.scaled_prism((dot(k.xx, k.xy), dot(k.xy, k.yy)), arm);
        // 10 * 100; 2^-20 D * 2^-24 mm * 2^-28 / (2^-40 D^2 * 2^-16 mm) is 2^-16 / D.
        let numerator = scaled.saturating_mul(i128::from(length)).saturating_mul(1000);
        let divisor = i128::from(determinant.unsigned_abs()).wrapping_mul(self.throw);
        Millimetre::from_bits(math::saturate(wide_ratio(numerator, divisor, 0)))
    }
}

/// Square root, to 32 bits.
fn wide_root(value: u128) -> i128 {
    let down = 128u32.wrapping_sub(value.leading_zeros()).saturating_sub(64).wrapping_add(1) & !1;
    let short = u64::try_from(value >> (down & 127)).unwrap_or(u64::MAX);
    i128::from(math::sqrt(short)) << (down >> 1)
}

/// `value / 2^shift`, rounded, halves away from zero, saturated to 64 bits.
fn shortened(value: i128, shift: u32) -> i64 {
    let half = (1u128 << (shift & 127)) >> 1;
    let magnitude = value.unsigned_abs().wrapping_add(half) >> (shift & 127);
    let short = i64::try_from(magnitude).unwrap_or(i64::MAX);
    if value < 0 { short.wrapping_neg() } else { short }
}

/// [`math::ratio`] of 128-bit integers, both brought to 63 bits first.
///
/// # Accuracy
/// Within half a unit plus 5e-10 of itself. Odd in either operand.
fn wide_ratio(numerator: i128, divisor: i128, exponent: u32) -> i64 {
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
