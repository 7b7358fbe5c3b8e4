//! The power along the line from the distance to the near point.

use super::ProgressiveError;
use crate::math;
use crate::quantity::{Dioptre, Fraction, Millimetre, Point};
use crate::sensor::{Error, LocalFit, PlacedFrame};
use crate::vector::PowerVector;

/// A line on the lens along which power is measured over discs.
///
/// Discs wider than the step overlap, so that neighbours share spots; a disc smooths the profile over its width.
#[derive(Clone, Copy, Debug)]
pub struct Corridor<'a> {
    frame: PlacedFrame<'a>,
    from: Point,
    to: Point,
    step: Millimetre,
    radius: Millimetre,
    steps: u32,
}

/// One place of a profile.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CorridorPoint {
    /// Distance along the line from its start.
    pub along: Millimetre,
    /// The place on the lens.
    pub at: Point,
    /// The lens there, or why it is not known: at the rim there may be too few spots.
    pub fit: Result<LocalFit, Error>,
}

/// Where the power has risen by the asked part of the addition.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CorridorEnd {
    /// The place on the lens.
    pub at: Point,
    /// The corridor's length: the vertical distance from the line's start, measured on the lens.
    pub length: Millimetre,
}

/// How far the unwanted cylinder stays within its limit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CorridorWidth {
    /// To the left of the place; `None` when the limit is not reached, or the spots end before.
    pub left: Option<Millimetre>,
    /// To the right.
    pub right: Option<Millimetre>,
}

impl<'a> Corridor<'a> {
    /// Most steps of a line.
    pub const MOST_STEPS: u32 = 256;

    /// A line from one place of the lens to another, in steps of `step`, over discs of `radius`.
    ///
    /// # Errors
    /// [`ProgressiveError::StepRange`].
    pub fn new(
        frame: PlacedFrame<'a>,
        from: Point,
        to: Point,
        step: Millimetre,
        radius: Millimetre,
    ) -> Result<Self, ProgressiveError> {
        let length = (to - from).distance();
        let steps = u32::try_from(length.to_bits())
            .ok()
            .and_then(|length| length.checked_div(u32::try_from(step.to_bits()).ok()?))
            .filter(|steps| *steps <= Self::MOST_STEPS && !length.is_saturated())
            .ok_or(ProgressiveError::StepRange)?;
        Ok(Self { frame, from, to, step, radius, steps })
    }

    /// The places along the line: the start, every step, and the end if the last step does not meet it.
    #[must_use]
    pub fn profile(&self) -> CorridorProfile<'a> {
        CorridorProfile { corridor: *self, next: 0 }
    }

    /// The place so far along the line: within a unit of 2^-16 mm.
    fn place(&self, along: Millimetre) -> Point {
        let whole = self.to - self.from;
        let length = i64::from(whole.distance().to_bits());
        let part = |side: Millimetre| {
            let product = i64::from(side.to_bits()).wrapping_mul(i64::from(along.to_bits()));
            Millimetre::from_bits(math::saturate(math::ratio(product, length, 0)))
        };
        self.from + Point::new(part(whole.x), part(whole.y))
    }

    /// How far along the line a point lies, that of its foot: within a unit of 2^-16 mm.
    fn along(&self, point: Point) -> Millimetre {
        let (whole, from) = (self.to - self.from, point - self.from);
        let product = |a: Millimetre, b: Millimetre| i64::from(a.to_bits()).wrapping_mul(i64::from(b.to_bits()));
        let sum = product(whole.x, from.x).wrapping_add(product(whole.y, from.y));
        Millimetre::from_bits(math::saturate(math::ratio(sum, i64::from(whole.distance().to_bits()), 0)))
    }

    /// Where the mean power has risen above that of the distance reference point by a part of the addition, for the first time
    /// along the line: between two steps linear, each at the centroid of its spots.
    ///
    /// Started at the fitting cross and asked for 0.85 of the addition, it is what is often called the corridor length.
    /// That definition: common practice, no source.
    ///
    /// # Accuracy
    /// Within 2 units of 2^-16 mm of linear interpolation between the profile's mean powers; of the lens itself, what its
    /// discs smooth.
    ///
    /// # Errors
    /// [`ProgressiveError::NotReached`].
    pub fn end(&self, distance: Dioptre, addition: Dioptre, part: Fraction) -> Result<CorridorEnd, ProgressiveError> {
        let goal = i64::from(addition.to_bits().unsigned_abs()).wrapping_mul(i64::from(part.to_bits()));
        let goal = math::shift_round(goal, Fraction::FRACTION_BITS);
        let rise = |local: &LocalFit| {
            let rise = i64::from((local.power.m - distance).to_bits());
            if addition < Dioptre::ZERO { rise.wrapping_neg() } else { rise }
        };
        let mut before: Option<(Millimetre, i64)> = None;
        for point in self.profile() {
            let Ok(local) = point.fit else { continue };
            let (along, risen) = (self.along(local.centroid), rise(&local));
            if risen >= goal {
                let reached = match before {
                    // A step is below 2^31, a rise below 2^33; less than the goal before, and not less here.
                    Some((start, low)) => {
                        let step = i64::from((along - start).to_bits()).wrapping_mul(goal.wrapping_sub(low));
                        start + Millimetre::from_bits(math::saturate(math::ratio(step, risen.wrapping_sub(low), 0)))
                    }
                    None => point.along,
                };
                let at = self.place(reached);
                return Ok(CorridorEnd { at, length: (at.y - self.from.y).abs() });
            }
            before = Some((along, risen));
        }
        Err(ProgressiveError::NotReached)
    }

    /// How far to the sides of a place the unwanted cylinder stays within `limit`: the cylinder of what the power there
    /// differs by from that of the distance reference point. In the corridor's steps, between two of them linear.
    ///
    /// # Accuracy
    /// Within 2 units of 2^-16 mm of linear interpolation between the fits' unwanted cylinders.
    #[must_use]
    pub fn width(&self, at: Point, distance: PowerVector, limit: Dioptre) -> CorridorWidth {
        CorridorWidth {
            left: self.reach(at, -self.step, distance, limit),
            right: self.reach(at, self.step, distance, limit),
        }
    }

    fn reach(&self, at: Point, step: Millimetre, distance: PowerVector, limit: Dioptre) -> Option<Millimetre> {
        let unwanted = |away: Millimetre| {
            let place = Point::new(at.x + away, at.y);
            let local = self.frame.fit_at(place, self.radius).ok()?;
            Some((local.power - distance).half_cylinder().double())
        };
        let (mut away, mut low) = (Millimetre::ZERO, unwanted(Millimetre::ZERO)?);
        if low > limit {
            return Some(Millimetre::ZERO);
        }
        for _ in 0..Self::MOST_STEPS {
            let high = unwanted(away + step)?;
            if high > limit {
                let bits = |a: Dioptre| i64::from(a.to_bits());
                let part = i64::from(step.to_bits()).wrapping_mul(bits(limit - low));
                let part = math::ratio(part, bits(high - low).max(1), 0);
                return Some((away + Millimetre::from_bits(math::saturate(part))).abs());
            }
            (away, low) = (away + step, high);
        }
        None
    }
}

/// The places of a [`Corridor`], from its start to its end.
#[derive(Clone, Debug)]
pub struct CorridorProfile<'a> {
    corridor: Corridor<'a>,
    next: u32,
}

impl Iterator for CorridorProfile<'_> {
    type Item = CorridorPoint;

    fn next(&mut self) -> Option<CorridorPoint> {
        let corridor = &self.corridor;
        let length = (corridor.to - corridor.from).distance();
        let done = i64::from(self.next).wrapping_mul(i64::from(corridor.step.to_bits()));
        let along = if self.next <= corridor.steps {
            Millimetre::from_bits(math::saturate(done))
        } else {
            let last = i64::from(corridor.steps).wrapping_mul(i64::from(corridor.step.to_bits()));
            let is_met = last == i64::from(length.to_bits());
            if is_met || self.next > corridor.steps.saturating_add(1) {
                return None;
            }
            length
        };
        self.next = self.next.saturating_add(1);
        let at = corridor.place(along);
        Some(CorridorPoint { along, at, fit: corridor.frame.fit_at(at, corridor.radius) })
    }
}
