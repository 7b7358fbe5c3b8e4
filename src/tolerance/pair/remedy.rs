//! The least shift of a lens that takes too much prism away, or brings its reference point back.

use crate::math;
use crate::prism::Prism;
use crate::quantity::{Millimetre, Point, PrismDioptre};
use crate::vector::{LEAST_POWER, PowerMatrix};

/// The least shift of a lens, in the plane, after which neither component of a surplus of prism exceeds its limit.
///
/// A lens shifted by `s` has `F s / 10` more prism at a place that stays. The shortest `s` with `p + F s / 10` in the box of the limits
/// either meets one of its sides, at right angles to what it leaves unchanged, or one of its corners.
///
/// # Units
/// Prism dioptres; millimetres.
///
/// # Range
/// Powers, surplus and limits to 64 D and 64 prism dioptres. A surplus beyond its limits is brought 96 units of 2^-20 within them, so
/// that the shifted lens conforms for all the rounding of its shift.
///
/// # Accuracy
/// Each coordinate within 0.6 units of 2^-16 mm plus 6e-10 of itself of the least shift into that smaller box.
///
/// Returns `None` where no shift does it: a direction without power ([`LEAST_POWER`]), a limit of less than 96 units, an operand out of range.
///
/// # Source
/// Prentice's rule; the least distance to a convex set.
#[must_use]
pub fn shift_for_imbalance(power: PowerMatrix, surplus: Prism, limits: [PrismDioptre; 2]) -> Option<Point> {
    let [first, second] = limits;
    let [across, up] = Band::of_prism(power, surplus, [first, second]);
    least_shift([across, up])
}

/// A shift `s` satisfies it when `value + row s / 10` is within the limit, to either side.
#[derive(Clone, Copy)]
pub(super) struct Band {
    /// 2^-20 D.
    row: [i64; 2],
    value: PrismDioptre,
    limit: PrismDioptre,
}

/// What a shift may miss its target by: half a unit of each coordinate, 7.6e-6 mm, at 64 D is 51 units of prism, and both are 73.
const ROUNDING: PrismDioptre = PrismDioptre::from_bits(80);
const MARGIN: PrismDioptre = PrismDioptre::from_bits(96);
const MOST: PrismDioptre = prism_dioptres!(64.0);
/// The power with which a prism dioptre is a millimetre: 10 D.
const MILLIMETRES: i64 = 10 << 20;

impl Band {
    /// Of the horizontal and of the vertical component.
    pub(super) fn of_prism(power: PowerMatrix, surplus: Prism, [across, up]: [PrismDioptre; 2]) -> [Self; 2] {
        let [xx, xy, yy] = [power.xx, power.xy, power.yy].map(|element| i64::from(element.to_bits()));
        [Self { row: [xx, xy], value: surplus.x, limit: across }, Self { row: [xy, yy], value: surplus.y, limit: up }]
    }

    /// Of a position, horizontally or vertically.
    pub(super) fn of_position(horizontal: bool, value: Millimetre, limit: Millimetre) -> Self {
        let row = if horizontal { [MILLIMETRES, 0] } else { [0, MILLIMETRES] };
        let finer = PrismDioptre::FRACTION_BITS.wrapping_sub(Millimetre::FRACTION_BITS);
        let as_prism = |length: Millimetre| {
            PrismDioptre::from_bits(math::saturate(i64::from(length.to_bits()).wrapping_shl(finer)))
        };
        Self { row, value: as_prism(value), limit: as_prism(limit) }
    }

    fn is_in_range(&self) -> bool {
        let most = i64::from(MOST.to_bits());
        self.value.abs() <= MOST
            && self.limit <= MOST
            && self.row.iter().all(|element| element.saturating_abs() <= most)
    }

    fn holds(&self, shift: Point) -> bool {
        let [a, b] = self.row;
        // 2^26 times 2^31, twice: ten times what it makes of the prism, 2^-20.
        let product = a.wrapping_mul(shift.x.to_bits().into()).wrapping_add(b.wrapping_mul(shift.y.to_bits().into()));
        let tenfold = |prism: PrismDioptre| i64::from(prism.to_bits()).wrapping_mul(10);
        let after = tenfold(self.value).wrapping_add(math::shift_round(product, Millimetre::FRACTION_BITS));
        after.saturating_abs() <= tenfold(self.limit - MARGIN + ROUNDING)
    }

    /// The ends to which the value may be brought.
    fn ends(&self) -> [PrismDioptre; 2] {
        let inner = self.limit - MARGIN;
        [inner, -inner]
    }
}

/// The shortest shift that satisfies both.
pub(super) fn least_shift(bands: [Band; 2]) -> Option<Point> {
    if !bands.iter().all(Band::is_in_range) {
        return None;
    }
    if bands.iter().all(|band| band.value.abs() <= band.limit) {
        return Some(Point::ORIGIN);
    }
    if bands.iter().any(|band| band.limit < MARGIN) {
        return None;
    }
    let [first, second] = bands;
    let sides = first
        .ends()
        .into_iter()
        .map(|end| onto(&first, end))
        .chain(second.ends().into_iter().map(|end| onto(&second, end)));
    let corners = first.ends().into_iter().flat_map(|end| second.ends().map(|other| corner(&bands, [end, other])));
    let candidates = sides.chain(corners).flatten();
    let fits = |shift: &Point| !shift.is_saturated() && bands.iter().all(|band| band.holds(*shift));
    candidates.filter(fits).min_by_key(|shift| square(*shift))
}

/// The shortest shift that brings a value there: along its row.
fn onto(band: &Band, end: PrismDioptre) -> Option<Point> {
    let [a, b] = band.row;
    let least = i64::from(LEAST_POWER.to_bits());
    // 64 D is 2^26: squares below 2^53.
    let row = a.wrapping_mul(a).wrapping_add(b.wrapping_mul(b));
    let change = i64::from((end - band.value).to_bits());
    (row >= least.wrapping_mul(least))
        .then(|| Point::new(tenfold_ratio(change.wrapping_mul(a), row), tenfold_ratio(change.wrapping_mul(b), row)))
}

/// The shift that brings both values there.
fn corner([first, second]: &[Band; 2], [end, other]: [PrismDioptre; 2]) -> Option<Point> {
    let ([a, b], [c, d]) = (first.row, second.row);
    let (p, q) = (end - first.value, other - second.value);
    let (p, q) = (i64::from(p.to_bits()), i64::from(q.to_bits()));
    // Products below 2^53.
    let det = a.wrapping_mul(d).wrapping_sub(b.wrapping_mul(c));
    let least = i64::from(LEAST_POWER.to_bits());
    (det.saturating_abs() >= least.wrapping_mul(least)).then(|| {
        let x = d.wrapping_mul(p).wrapping_sub(b.wrapping_mul(q));
        let y = a.wrapping_mul(q).wrapping_sub(c.wrapping_mul(p));
        Point::new(tenfold_ratio(x, det), tenfold_ratio(y, det))
    })
}

/// `10 a / b` in millimetres, both in 2^-40.
fn tenfold_ratio(numerator: i64, divisor: i64) -> Millimetre {
    // 10 as 5 * 2, with eight more bits against the factor's rounding.
    let fifth = math::ratio(numerator, divisor, 17 + 8);
    Millimetre::from_bits(math::saturate(math::shift_round(fifth.saturating_mul(5), 8)))
}

/// Of a shift that is not saturated: either square is below 2^62.
pub(super) fn square(shift: Point) -> u64 {
    let square = |part: Millimetre| u64::from(part.to_bits().unsigned_abs()).pow(2);
    square(shift.x).saturating_add(square(shift.y))
}
