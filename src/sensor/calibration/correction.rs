//! What remains when the geometry is right: a small correction by the value read, linear between knots.

use super::{Calibration, CalibrationError, Certified, LensResidual, TestLens};
use crate::math;
use crate::prism::Prism;
use crate::quantity::{Dioptre, PrismDioptre};
use crate::vector::PowerVector;
use core::num::NonZeroU64;

/// A value as the instrument reads it, and what to add to it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Knot<Quantity> {
    /// As read.
    pub at: Quantity,
    /// What is added.
    pub correction: Quantity,
}

/// A correction, linear between its knots, constant beyond them, none without any. The knots belong to the caller.
///
/// Of powers, by the principal power as read; of prism, by the amount as read, with no correction of no prism.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CorrectionTable<'a, Quantity> {
    knots: &'a [Knot<Quantity>],
}

/// The largest correction: 1 D or 1 prism dioptre. More is no correction but a fault.
const MOST_BITS: u32 = 1 << 20;

impl<'a, Quantity> CorrectionTable<'a, Quantity>
where
    Quantity: Copy + Into<i32> + From<i32>,
{
    /// A table of knots, stored ones for example.
    ///
    /// # Errors
    /// [`CalibrationError::BadKnot`]: values do not ascend strictly, or a correction is beyond 1 D or 1 prism dioptre.
    pub fn new(knots: &'a [Knot<Quantity>]) -> Result<Self, CalibrationError> {
        let ascends = knots.iter().zip(knots.iter().skip(1)).all(|(a, b)| a.at.into() < b.at.into());
        let is_small = |knot: &Knot<Quantity>| {
            let bits: i32 = knot.correction.into();
            bits.unsigned_abs() <= MOST_BITS
        };
        let in_scale = |knot: &Knot<Quantity>| knot.at.into().unsigned_abs() < i32::MAX.unsigned_abs();
        if ascends && knots.iter().all(|knot| is_small(knot) && in_scale(knot)) {
            Ok(Self { knots })
        } else {
            Err(CalibrationError::BadKnot)
        }
    }

    /// The knots.
    #[must_use]
    pub const fn knots(&self) -> &'a [Knot<Quantity>] {
        self.knots
    }

    /// What to add to a value as read.
    ///
    /// # Accuracy
    /// Within half a unit plus 1e-9 of the step between two corrections.
    #[must_use]
    pub fn correction(&self, read: Quantity) -> Quantity {
        let read: i32 = read.into();
        let above = self.knots.iter().find(|knot| knot.at.into() >= read);
        let below = self.knots.iter().rev().find(|knot| knot.at.into() <= read);
        match (below, above) {
            (Some(below), Some(above)) => Quantity::from(between(bits(below), bits(above), read)),
            (Some(end), None) | (None, Some(end)) => end.correction,
            (None, None) => Quantity::from(0),
        }
    }
}

fn bits<Quantity: Copy + Into<i32>>(knot: &Knot<Quantity>) -> [i64; 2] {
    [i64::from(knot.at.into()), i64::from(knot.correction.into())]
}

/// The straight line through two knots, in counts. Corrections differ by at most 2^21 and places by 2^32.
fn between([from, low]: [i64; 2], [to, high]: [i64; 2], read: i32) -> i32 {
    let (along, whole) = (i64::from(read).wrapping_sub(from), to.wrapping_sub(from));
    let rise = high.wrapping_sub(low);
    let risen = if whole == 0 { 0 } else { math::ratio(rise.wrapping_mul(along), whole, 0) };
    math::saturate(low.wrapping_add(risen))
}

impl CorrectionTable<'_, Dioptre> {
    /// A power with the correction of each principal power; the axis stays.
    ///
    /// # Accuracy
    /// Each principal power within 3 units of 2^-20 D of the table's straight line. A saturated power stays saturated.
    #[must_use]
    pub fn power(&self, read: PowerVector) -> PowerVector {
        if read.is_saturated() {
            return read;
        }
        let half = read.half_cylinder();
        let (first, second) = (self.correction(read.m + half), self.correction(read.m - half));
        let stretch = i64::from((first - second).half().to_bits());
        let along = |part: Dioptre| {
            let added = math::ratio(stretch.wrapping_mul(i64::from(part.to_bits())), i64::from(half.to_bits()), 0);
            if half == Dioptre::ZERO { part } else { part + Dioptre::from_bits(math::saturate(added)) }
        };
        PowerVector { m: read.m + (first + second).half(), j0: along(read.j0), j45: along(read.j45) }
    }
}

impl CorrectionTable<'_, PrismDioptre> {
    /// A prism with the correction of its amount; the base stays.
    ///
    /// # Accuracy
    /// The amount within 2 units of 2^-20 prism dioptre of the table's straight line. A saturated prism stays saturated.
    #[must_use]
    pub fn prism(&self, read: Prism) -> Prism {
        let (amount, _) = read.resultant();
        if amount.is_saturated() || amount == PrismDioptre::ZERO {
            return read;
        }
        let weak = self.knots.first().filter(|first| amount < first.at);
        let correction = weak.map_or_else(
            || self.correction(amount),
            |first| PrismDioptre::from_bits(between([0, 0], bits(first), amount.to_bits())),
        );
        let along = |part: PrismDioptre| {
            let product = i64::from(correction.to_bits()).wrapping_mul(i64::from(part.to_bits()));
            part + PrismDioptre::from_bits(math::saturate(math::ratio(product, i64::from(amount.to_bits()), 0)))
        };
        Prism { x: along(read.x), y: along(read.y) }
    }
}

impl Calibration {
    /// The correction of powers that the test lenses of power ask for: at the mean power as read, what it is short of its
    /// certificate. Lenses within [`Calibration::KNOT_DISTANCE`] share a knot, the mean of theirs.
    ///
    /// # Errors
    /// [`CalibrationError::TooManyKnots`], [`CalibrationError::BadKnot`], [`CalibrationError::FocusInGap`],
    /// [`CalibrationError::NoUncertainty`].
    pub fn power_corrections<'a>(
        &self,
        lenses: &[TestLens],
        memory: &'a mut [Knot<Dioptre>],
    ) -> Result<CorrectionTable<'a, Dioptre>, CalibrationError> {
        let certified = |lens: &TestLens| match lens.certified() {
            Certified::Power { power, .. } => Some(power.spherical_equivalent()),
            Certified::Prism { .. } => None,
        };
        let deviation = |lens: &TestLens| match self.residual(lens)? {
            LensResidual::Power { deviation, .. } => Ok(deviation),
            LensResidual::Prism { .. } => Ok(Dioptre::ZERO),
        };
        let count = leaders(lenses, certified, memory)?;
        averaged(lenses, certified, deviation, memory, count)
    }

    /// The correction of prism that the test prisms ask for, as [`Calibration::power_corrections`].
    ///
    /// # Errors
    /// [`CalibrationError::TooManyKnots`], [`CalibrationError::BadKnot`], [`CalibrationError::NoUncertainty`].
    pub fn prism_corrections<'a>(
        &self,
        lenses: &[TestLens],
        memory: &'a mut [Knot<PrismDioptre>],
    ) -> Result<CorrectionTable<'a, PrismDioptre>, CalibrationError> {
        let certified = |lens: &TestLens| match lens.certified() {
            Certified::Power { .. } => None,
            Certified::Prism { amount, .. } => Some(amount.abs()),
        };
        let deviation = |lens: &TestLens| match self.residual(lens)? {
            LensResidual::Power { .. } => Ok(PrismDioptre::ZERO),
            LensResidual::Prism { deviation, .. } => Ok(deviation),
        };
        let count = leaders(lenses, certified, memory)?;
        averaged(lenses, certified, deviation, memory, count)
    }

    /// Certificates closer than this share a knot: 1/16 D or prism dioptre.
    pub const KNOT_DISTANCE: Dioptre = dioptres!(0.0625);
}

fn are_near(a: i32, b: i32) -> bool {
    a.saturating_sub(b).saturating_abs() < Calibration::KNOT_DISTANCE.to_bits()
}

/// One knot for each certified value, in ascending order, none near another; returns how many.
///
/// # Errors
/// [`CalibrationError::TooManyKnots`].
fn leaders<Quantity: Copy + Into<i32> + From<i32>>(
    lenses: &[TestLens],
    certified: impl Fn(&TestLens) -> Option<Quantity>,
    memory: &mut [Knot<Quantity>],
) -> Result<usize, CalibrationError> {
    let mut count = 0usize;
    for at in lenses.iter().filter_map(certified) {
        if memory.iter().take(count).any(|knot| are_near(knot.at.into(), at.into())) {
            continue;
        }
        let used = count.saturating_add(1);
        let Some(knots) = memory.get_mut(..used) else { return Err(CalibrationError::TooManyKnots) };
        // The new one takes the place of the first larger one, that of the next, and so on to the end.
        let mut carried = Knot { at, correction: Quantity::from(0) };
        for knot in knots.iter_mut().take(count) {
            if knot.at.into() > carried.at.into() {
                core::mem::swap(knot, &mut carried);
            }
        }
        if let Some(last) = knots.last_mut() {
            *last = carried;
        }
        count = used;
    }
    Ok(count)
}

/// The knots brought to the means of their lenses.
///
/// # Errors
/// [`CalibrationError`].
fn averaged<'a, Quantity: Copy + Into<i32> + From<i32>>(
    lenses: &[TestLens],
    certified: impl Fn(&TestLens) -> Option<Quantity>,
    deviation: impl Fn(&TestLens) -> Result<Quantity, CalibrationError>,
    memory: &'a mut [Knot<Quantity>],
    count: usize,
) -> Result<CorrectionTable<'a, Quantity>, CalibrationError> {
    for knot in memory.iter_mut().take(count) {
        let leader: i32 = knot.at.into();
        let (mut number, mut places, mut deviations) = (0u64, 0i64, 0i64);
        for lens in lenses {
            let Some(at) = certified(lens).map(Into::into).filter(|at| are_near(*at, leader)) else { continue };
            let deviation = i64::from(deviation(lens)?.into());
            number = number.wrapping_add(1);
            places = places.wrapping_add(i64::from(at)).wrapping_add(deviation);
            deviations = deviations.wrapping_add(deviation);
        }
        let Some(number) = NonZeroU64::new(number) else { continue };
        let mean = |sum: i64| math::saturate(math::div_round(sum, number));
        *knot = Knot { at: mean(places).into(), correction: mean(deviations.wrapping_neg()).into() };
    }
    let memory: &'a [Knot<Quantity>] = memory;
    CorrectionTable::new(memory.get(..count).unwrap_or_default())
}
