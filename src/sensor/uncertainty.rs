//! What the scatter of the spots makes of the result: standard uncertainties by the law of propagation.
//!
//! With `sigma` the standard deviation of a displacement, `N` the normal matrix of the fit, `K = I - gap F` the step back:
//! a change `dV` at the plate changes the power at the vertex by `K dV K`, so that a linear functional `tr(G F)` of the power
//! is the functional `tr(K G K V)` of what was fitted. The mean displacement is uncorrelated with `V`; the prism at a point
//! that the light crosses at a lever `arm` from the spots' mean has both.
//!
//! # Accuracy
//! Within 0.5 % of the formula, or 2 units of the result's type.
//!
//! # Source
//! JCGM 100 (GUM), 5.1.2 and 5.2.2.

use super::fit::{Fit, StepBack};
use super::moments::INVERSE_BITS;
use crate::math;
use crate::quantity::{Degree, Dioptre, Millimetre, Point, PrismDioptre};
use crate::vector::PowerVector;
use core::num::NonZeroU64;

/// Standard uncertainties (k = 1) of a fit, from the scatter of its spots alone.
///
/// Gap, throw, calibration and wavelength are not in it.
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

/// Fraction bits of gradients: enough for 0.1 %, few enough for six products in 64 bits.
const GRADIENT_BITS: u32 = 11;
/// Fraction bits of a root of a variance: half of two gradients' and one inverse's.
const ROOT_BITS: u32 = (2 * GRADIENT_BITS + INVERSE_BITS) >> 1;

/// A symmetric matrix of small fixed-point numbers.
#[derive(Clone, Copy)]
struct Symmetric {
    xx: i64,
    xy: i64,
    yy: i64,
}

impl Fit {
    /// Standard uncertainties from the scatter of the spots.
    #[must_use]
    pub fn uncertainty(&self) -> StandardUncertainty {
        let vector = self.vector();
        let polar = math::polar(vector.j0.to_bits(), vector.j45.to_bits());
        let (cos, sin) = math::cos_sin(polar.turn);
        let half = |value: i32| i64::from(value >> (30 - GRADIENT_BITS)) >> 1;
        let (c, s, one) = (half(cos), half(sin), 1i64 << (GRADIENT_BITS - 1));
        let propagation = Propagation::of(self);
        let power = |xx: i64, xy: i64, yy: i64| propagation.power(Symmetric { xx, xy, yy });
        let turning = power(s.wrapping_neg(), c, s);
        let arm = propagation.arm(self, Point::ORIGIN);
        let component = |row: (i64, i64)| propagation.prism(row, arm);
        StandardUncertainty {
            sphere: power(one.wrapping_add(c), s, one.wrapping_sub(c)),
            across: power(one.wrapping_sub(c), s.wrapping_neg(), one.wrapping_add(c)),
            cylinder: power(c, s, c.wrapping_neg()).double(),
            axis: axis_uncertainty(turning, vector),
            prism_x: component((propagation.back.xx, propagation.back.xy)),
            prism_y: component((propagation.back.xy, propagation.back.yy)),
            centre: self.centre_uncertainty(&propagation),
        }
    }

    /// `d centre = 10 F^-1 d p`, with the prism taken at the centre.
    fn centre_uncertainty(&self, propagation: &Propagation) -> Option<Point> {
        let centre = self.centre().point()?;
        let focal = self.power.inverse().ok()?;
        let arm = propagation.arm(self, centre);
        let row = |x: Millimetre, y: Millimetre| propagation.centre((x, y), arm);
        Some(Point::new(row(focal.xx, focal.xy), row(focal.xy, focal.yy)))
    }
}

/// Uncertainty of the direction of (J0, J45), halved: that across it over twice its length.
fn axis_uncertainty(turning: Dioptre, vector: PowerVector) -> Option<Degree> {
    // 180 / pi in 2^-20 degree.
    const DEGREES_PER_RADIAN: i64 = 60_078_979;
    let cylinder = i64::from(vector.half_cylinder().double().to_bits());
    if turning.is_saturated() || cylinder == 0 {
        return None;
    }
    let radians = math::ratio(i64::from(turning.to_bits()), cylinder, 24);
    let degrees = math::shift_round(i64::from(math::saturate(radians)).wrapping_mul(DEGREES_PER_RADIAN), 24);
    let degrees = Degree::from_bits(math::saturate(degrees));
    (degrees <= degrees!(45.0)).then_some(degrees)
}

/// What all uncertainties of one fit share.
struct Propagation {
    /// Inverse normal matrix times its trace, Q16.
    inverse: [i64; 6],
    /// Step back, Q11.
    back: Symmetric,
    /// 2^-24 mm.
    deviation: i64,
    /// 2^-16 mm.
    spread: NonZeroU64,
    /// 2^-16 mm.
    throw: i64,
    count: NonZeroU64,
}

impl Propagation {
    fn of(fit: &Fit) -> Self {
        let back = StepBack::of(fit.power, fit.geometry.gap());
        let coarse = |value: i64| math::shift_round(value, 28 - GRADIENT_BITS);
        Self {
            inverse: fit.normal.inverse(),
            back: Symmetric { xx: coarse(back.xx), xy: coarse(back.xy), yy: coarse(back.yy) },
            deviation: i64::from(fit.deviation),
            spread: NonZeroU64::new(u64::from(fit.spread)).unwrap_or(NonZeroU64::MIN),
            throw: i64::from(fit.geometry.throw().to_bits()),
            count: NonZeroU64::new(u64::from(fit.count)).unwrap_or(NonZeroU64::MIN),
        }
    }

    /// Variance of a functional of `V`, in units of `sigma^2 / trace`, Q38.
    ///
    /// Range: gradients to 2^14, elements of the inverse to 2^33: products below 2^62, saturating.
    fn variance(&self, [a, b, c]: [i64; 3]) -> u64 {
        let [aa, ab, ac, bb, bc, cc] = self.inverse;
        let term = |p: i64, q: i64, element: i64| p.wrapping_mul(q).saturating_mul(element);
        let diagonal = term(a, a, aa).saturating_add(term(b, b, bb)).saturating_add(term(c, c, cc));
        let mixed = term(a, b, ab).saturating_add(term(a, c, ac)).saturating_add(term(b, c, bc));
        diagonal.saturating_add(mixed.saturating_mul(2)).max(0).unsigned_abs()
    }

    /// Standard uncertainty of `tr(G F)`.
    fn power(&self, g: Symmetric) -> Dioptre {
        let root = math::sqrt(self.variance(self.stepped(g)));
        // 2^-24 mm * 2^-19 / (2^-16 mm * 2^-16 mm) * 1000 to 2^-20 D: 2^9.
        let numerator = self.deviation.saturating_mul(i64::from(root)).saturating_mul(1000);
        let divisor = self.throw.saturating_mul(self.spread.get().cast_signed());
        Dioptre::from_bits(math::saturate(math::ratio(numerator, divisor, 28 - ROOT_BITS)))
    }

    /// The gradient by `V` of `tr(K G K V)`.
    fn stepped(&self, g: Symmetric) -> [i64; 3] {
        let k = self.back;
        let round = |value: i64| math::shift_round(value, GRADIENT_BITS);
        let dot = |a: i64, b: i64, c: i64, d: i64| round(a.wrapping_mul(b).wrapping_add(c.wrapping_mul(d)));
        // Rows of G K.
        let (pxx, pxy) = (dot(g.xx, k.xx, g.xy, k.xy), dot(g.xx, k.xy, g.xy, k.yy));
        let (pyx, pyy) = (dot(g.xy, k.xx, g.yy, k.xy), dot(g.xy, k.xy, g.yy, k.yy));
        let xy = dot(k.xx, pxy, k.xy, pyy);
        [dot(k.xx, pxx, k.xy, pyx), xy.wrapping_mul(2), dot(k.xy, pxy, k.yy, pyy)]
    }

    /// Lever at the plate of the light that leaves the lens at `point`, over the spread, Q11: spots' mean less where the
    /// light crosses, `K r + gap p / 100`.
    fn arm(&self, fit: &Fit, point: Point) -> (i64, i64) {
        let (x, y) = (i64::from(point.x.to_bits()), i64::from(point.y.to_bits()));
        let gap = i64::from(fit.geometry.gap().to_bits());
        let along = |a: i64, b: i64, prism: PrismDioptre, mean: Millimetre| {
            let moved = math::shift_round(a.wrapping_mul(x).wrapping_add(b.wrapping_mul(y)), GRADIENT_BITS);
            let slope = math::ratio(i64::from(prism.to_bits()), 100 << PrismDioptre::FRACTION_BITS, 20);
            let bent = math::shift_round(gap.wrapping_mul(slope), 20);
            let lever = i64::from(mean.to_bits()).wrapping_sub(moved).wrapping_sub(bent);
            let spread = self.spread.get().cast_signed();
            math::ratio(lever, spread, GRADIENT_BITS).clamp(-MOST_ARM, MOST_ARM)
        };
        (
            along(self.back.xx, self.back.xy, fit.prism.x, fit.centroid.x),
            along(self.back.xy, self.back.yy, fit.prism.y, fit.centroid.y),
        )
    }

    /// Root of the variance of `row . (mean displacement + throw dV arm)`, in units of sigma, Q19.
    fn root(&self, (k, l): (i64, i64), (x, y): (i64, i64)) -> i64 {
        let round = |value: i64| math::shift_round(value, GRADIENT_BITS);
        let gradient = [
            round(k.wrapping_mul(x)),
            round(k.wrapping_mul(y).wrapping_add(l.wrapping_mul(x))),
            round(l.wrapping_mul(y)),
        ];
        let square = k.wrapping_mul(k).wrapping_add(l.wrapping_mul(l)).unsigned_abs();
        let mean = math::div_round((square << INVERSE_BITS).cast_signed(), self.count).unsigned_abs();
        i64::from(math::sqrt(mean.saturating_add(self.variance(gradient))))
    }

    fn prism(&self, row: (i64, i64), arm: (i64, i64)) -> PrismDioptre {
        let scaled = self.deviation.saturating_mul(self.root(row, arm)).saturating_mul(100);
        // 2^-24 mm * 2^-19 / 2^-16 mm to 2^-20: 2^-7.
        let value = math::ratio(scaled, self.throw << 7, 0);
        PrismDioptre::from_bits(math::saturate(value))
    }

    fn centre(&self, (x, y): (Millimetre, Millimetre), arm: (i64, i64)) -> Millimetre {
        let length = Point::new(x, y).distance();
        let unit =
            |part: Millimetre| math::ratio(i64::from(part.to_bits()), i64::from(length.to_bits()), GRADIENT_BITS);
        let (p, q) = (unit(x), unit(y));
        let round = |value: i64| math::shift_round(value, GRADIENT_BITS);
        let row = (
            round(p.wrapping_mul(self.back.xx).wrapping_add(q.wrapping_mul(self.back.xy))),
            round(p.wrapping_mul(self.back.xy).wrapping_add(q.wrapping_mul(self.back.yy))),
        );
        // Focal length (2^-16 mm) * 2^-24 mm * 2^-11 / 2^-16 mm to 2^-16 mm: 2^-19.
        let root = math::shift_round(self.root(row, arm), ROOT_BITS - GRADIENT_BITS);
        let scaled = self.deviation.saturating_mul(root).saturating_mul(i64::from(length.to_bits()));
        Millimetre::from_bits(math::saturate(math::ratio(scaled, self.throw << 19, 0)))
    }
}

/// A lever of 16 spreads: far outside the spots.
const MOST_ARM: i64 = 16 << GRADIENT_BITS;
