//! The least shift of a lens that takes too much prism away.

use crate::math;
use crate::prism::{Prism, decentration};
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
/// Powers to 64 D, surplus and limits to 64 prism dioptres. Limits are taken as 16 units of 2^-20 less, so that the shifted lens conforms for
/// all the rounding of its shift.
///
/// # Accuracy
/// Each coordinate within 0.6 units of 2^-16 mm plus 6e-10 of itself of the least shift into that smaller box.
///
/// Returns `None` where no shift does it: a direction without power ([`LEAST_POWER`]), a limit of less than 16 units, a saturated operand.
///
/// # Source
/// Prentice's rule; the least distance to a convex set.
#[must_use]
pub fn shift_for_imbalance(power: PowerMatrix, surplus: Prism, limits: [PrismDioptre; 2]) -> Option<Point> {
    let [x, y] = limits;
    let limits = [x - MARGIN, y - MARGIN];
    let is_bad = limits.iter().any(|limit| *limit < PrismDioptre::ZERO || *limit > MOST)
        || surplus.x.abs() > MOST
        || surplus.y.abs() > MOST
        || power.is_saturated();
    if is_bad {
        return None;
    }
    let task = Task { power, surplus, limits };
    if task.fits(surplus) {
        return Some(Point::ORIGIN);
    }
    let candidates = task.sides().into_iter().chain(task.corners());
    candidates.flatten().min_by_key(|shift| square(*shift))
}

const MARGIN: PrismDioptre = PrismDioptre::from_bits(16);
/// What a candidate may be past its own target for rounding.
const ROUNDING: PrismDioptre = PrismDioptre::from_bits(8);
const MOST: PrismDioptre = prism_dioptres!(64.0);

struct Task {
    power: PowerMatrix,
    surplus: Prism,
    limits: [PrismDioptre; 2],
}

impl Task {
    fn fits(&self, prism: Prism) -> bool {
        let [x, y] = self.limits;
        prism.x.abs() <= x + ROUNDING && prism.y.abs() <= y + ROUNDING
    }

    /// Onto the nearer vertical and the nearer horizontal side of the box.
    fn sides(&self) -> [Option<Point>; 2] {
        let PowerMatrix { xx, xy, yy } = self.power;
        let [x, y] = self.limits;
        let to_x = self.surplus.x.min(x).max(-x) - self.surplus.x;
        let to_y = self.surplus.y.min(y).max(-y) - self.surplus.y;
        [self.onto([xx.to_bits(), xy.to_bits()], to_x), self.onto([xy.to_bits(), yy.to_bits()], to_y)]
    }

    /// The shortest shift that changes a component by so much: along that row of the power.
    fn onto(&self, [a, b]: [i32; 2], change: PrismDioptre) -> Option<Point> {
        let (a, b) = (i64::from(a), i64::from(b));
        // 64 D is 2^26: squares below 2^53.
        let row = a.wrapping_mul(a).wrapping_add(b.wrapping_mul(b));
        let least = i64::from(LEAST_POWER.to_bits());
        if row < least.wrapping_mul(least) {
            return None;
        }
        let coordinate = |part: i64| {
            // 2^27 times 2^26; 10 mm D per prism dioptre as 5 * 2, with eight more bits against the factor's rounding.
            let fifth = math::ratio(i64::from(change.to_bits()).wrapping_mul(part), row, 17 + 8);
            Millimetre::from_bits(math::saturate(math::shift_round(fifth.saturating_mul(5), 8)))
        };
        let shift = Point::new(coordinate(a), coordinate(b));
        let after = self.surplus - self.power.prism_at(shift);
        (!shift.is_saturated() && self.fits(after)).then_some(shift)
    }

    /// Into each corner of the box.
    fn corners(&self) -> [Option<Point>; 4] {
        let [x, y] = self.limits;
        [Prism::new(x, y), Prism::new(-x, y), Prism::new(-x, -y), Prism::new(x, -y)].map(|corner| {
            let shift = decentration(self.power, corner - self.surplus).ok()?;
            (!shift.is_saturated()).then_some(shift)
        })
    }
}

/// Saturated shifts are no candidates, so that either square is below 2^62.
fn square(shift: Point) -> u64 {
    let square = |part: Millimetre| u64::from(part.to_bits().unsigned_abs()).pow(2);
    square(shift.x).saturating_add(square(shift.y))
}
