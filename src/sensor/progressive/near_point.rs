//! The near point of a lens whose maker's layout is not known: where the mean power is highest.

use super::ProgressiveError;
use crate::math;
use crate::quantity::{Dioptre, Millimetre, Point};
use crate::sensor::{Disc, LocalFit, PlacedFrame};

/// Where the mean power is highest within an area.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NearPoint {
    /// The lens there.
    pub local: LocalFit,
    /// The place lies at the border of the area, or of the spots: the power may be higher outside.
    pub at_border: bool,
}

impl NearPoint {
    /// Most steps from the middle of the area to its border.
    pub const MOST_STEPS: i32 = 16;
}

impl PlacedFrame<'_> {
    /// Searches an area of the lens for the highest mean power: a square lattice of steps, and between the best place and its
    /// neighbours a parabola along each direction. Of equal powers the one found first: from the lowest row, each from the left.
    ///
    /// The near portion of a lens is wide and flat: the place is vague where the power hardly changes, and the power is what
    /// counts.
    ///
    /// # Range
    /// The area in the lens's frame.
    ///
    /// # Accuracy
    /// The place is exact to the lattice's step; between, within 1e-3 of a step of the parabolas through the mean powers.
    ///
    /// # Cost
    /// A fit for every place: up to 1089, each of which sees all spots.
    ///
    /// # Errors
    /// [`ProgressiveError::StepRange`] when the area has more than [`NearPoint::MOST_STEPS`] steps to its border,
    /// [`ProgressiveError::NoFit`].
    pub fn find_near_point(
        &self,
        area: &Disc,
        step: Millimetre,
        radius: Millimetre,
    ) -> Result<NearPoint, ProgressiveError> {
        let steps = area.radius().to_bits().checked_div(step.to_bits()).ok_or(ProgressiveError::StepRange)?;
        if step <= Millimetre::ZERO || steps > NearPoint::MOST_STEPS {
            return Err(ProgressiveError::StepRange);
        }
        let lattice = Lattice { frame: self, area, step, radius };
        let range = steps.wrapping_neg()..=steps;
        let places = range.clone().flat_map(|row| range.clone().map(move |column| (column, row)));
        let mut best: Option<((i32, i32), LocalFit)> = None;
        for place in places {
            if let Some(local) = lattice.fit(place) {
                if best.is_none_or(|(_, best)| local.power.m > best.power.m) {
                    best = Some((place, local));
                }
            }
        }
        let (place, local) = best.ok_or(ProgressiveError::NoFit)?;
        Ok(lattice.refined(place, local))
    }
}

struct Lattice<'a> {
    frame: &'a PlacedFrame<'a>,
    area: &'a Disc,
    step: Millimetre,
    radius: Millimetre,
}

impl Lattice<'_> {
    fn fit(&self, (column, row): (i32, i32)) -> Option<LocalFit> {
        // At most 16 steps of at most 32 mm.
        let away = |steps: i32| Millimetre::from_bits(self.step.to_bits().saturating_mul(steps));
        let at = self.area.centre() + Point::new(away(column), away(row));
        if self.area.contains(at) { self.frame.fit_at(at, self.radius).ok() } else { None }
    }

    /// The peak of the parabola through three mean powers, from the middle one, which is the highest.
    fn peak(&self, before: Dioptre, best: Dioptre, after: Dioptre) -> Millimetre {
        let bits = |power: Dioptre| i64::from(power.to_bits());
        let curvature = bits(best).wrapping_mul(2).wrapping_sub(bits(before)).wrapping_sub(bits(after));
        if curvature <= 0 {
            return Millimetre::ZERO;
        }
        // Half a step at most: below 2^20 * 2^33.
        let slope = bits(after).wrapping_sub(bits(before)).wrapping_mul(i64::from(self.step.to_bits()));
        Millimetre::from_bits(math::saturate(math::ratio(slope, curvature.wrapping_mul(2), 0)))
    }

    fn refined(&self, (column, row): (i32, i32), local: LocalFit) -> NearPoint {
        let mean = |dx: i32, dy: i32| {
            let place = (column.wrapping_add(dx), row.wrapping_add(dy));
            self.fit(place).map(|local| local.power.m)
        };
        let (Some(left), Some(right), Some(below), Some(above)) = (mean(-1, 0), mean(1, 0), mean(0, -1), mean(0, 1))
        else {
            return NearPoint { local, at_border: true };
        };
        let best = local.power.m;
        let away = Point::new(self.peak(left, best, right), self.peak(below, best, above));
        let refined = self.frame.fit_at(local.at + away, self.radius);
        NearPoint { local: refined.unwrap_or(local), at_border: false }
    }
}
