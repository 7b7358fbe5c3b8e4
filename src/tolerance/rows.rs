//! The rows of a tolerance table, and how one is found.

use super::{Confidence, Source};
use crate::math;
use crate::quantity::{Degree, Dioptre, Millimetre, PrismDioptre};

/// A tolerance limit: how far the measured value may lie from the ordered one, to either side.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum Limit {
    /// So much.
    Absolute(Dioptre),
    /// So many percent of the ordered value that is judged: of that meridian's power, of the cylinder, of the addition.
    /// Up to 100.
    Percent(u8),
}

impl Limit {
    /// The limit for an ordered value.
    ///
    /// # Accuracy
    /// Percentages within half a unit of 2^-20 D.
    ///
    /// ```
    /// use dioptric::{dioptres, tolerance::Limit};
    /// assert_eq!(Limit::Percent(2).of(dioptres!(-8.0)), dioptres!(0.16));
    /// ```
    #[must_use]
    pub const fn of(self, ordered: Dioptre) -> Dioptre {
        match self {
            Self::Absolute(limit) => limit,
            Self::Percent(percent) => percentage(percent, ordered.to_bits().unsigned_abs()),
        }
    }
}

/// Hundreds and rest apart, so that words suffice: the rest's product is below 100 * 256.
const fn percentage(percent: u8, magnitude: u32) -> Dioptre {
    let percent = percent as u32;
    let hundreds = magnitude.wrapping_div(100).saturating_mul(percent);
    let rest = magnitude.wrapping_rem(100).wrapping_mul(percent).wrapping_add(50).wrapping_div(100);
    Dioptre::from_bits(math::saturate(hundreds.saturating_add(rest) as i64))
}

/// The `up_to` of a row that ends before `bound`, for a table that says "less than".
///
/// ```
/// use dioptric::{dioptres, tolerance::{below, AxisRow, Confidence, Source}};
/// const SOURCE: Source = Source { text: "house rule", confidence: Confidence::A };
/// const NO_AXIS: AxisRow = AxisRow { cylinder_up_to: below(dioptres!(0.125)), limit: None, source: &SOURCE };
/// # let _ = NO_AXIS;
/// ```
#[must_use]
pub const fn below(bound: Dioptre) -> Dioptre {
    // One unit less, and the slack that every row has at its end.
    Dioptre::from_bits(bound.to_bits().saturating_sub(Dioptre::SLACK.to_bits()).saturating_sub(1))
}

/// A row for a principal power.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct MeridianRow {
    /// Largest magnitude of the power that picks the row ([`super::RowPower`]).
    pub up_to: Dioptre,
    /// How far each judged principal power may be off.
    pub limit: Limit,
    /// Where it comes from.
    pub source: &'static Source,
}

/// A row for the cylinder.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct CylinderRow {
    /// Largest magnitude of the power that picks the row ([`super::RowPower`]).
    pub power_up_to: Dioptre,
    /// Largest magnitude of the ordered cylinder.
    pub cylinder_up_to: Dioptre,
    /// How far the cylinder may be off.
    pub limit: Limit,
    /// Where it comes from.
    pub source: &'static Source,
}

/// A row for the axis.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct AxisRow {
    /// Largest magnitude of the ordered cylinder. An eighth is 0.125 here, though it is written 0.12.
    pub cylinder_up_to: Dioptre,
    /// How far the axis may be turned; `None`: so small a cylinder has no requirement.
    pub limit: Option<Degree>,
    /// Where it comes from.
    pub source: &'static Source,
}

/// A row for the addition.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct AdditionRow {
    /// Largest magnitude of the ordered addition.
    pub up_to: Dioptre,
    /// How far the addition may be off.
    pub limit: Limit,
    /// Where it comes from.
    pub source: &'static Source,
}

/// A row for each component of the prism.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct PrismRow {
    /// Largest amount of the ordered prism, its resultant.
    pub up_to: PrismDioptre,
    /// How far each component may be off, before the effect of the shift is added.
    pub limit: PrismDioptre,
    /// Where it comes from.
    pub source: &'static Source,
}

/// What is asked of the prism at the prism reference point.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum PrismRule {
    /// The horizontal and the vertical component each within the row's limit plus what a shift of the lens makes of its
    /// power: `limit + 0.1 * shift * Smax`, with Smax the larger magnitude of the ordered principal powers.
    Components {
        /// Limits by ordered prism.
        rows: &'static [PrismRow],
        /// The shift that is allowed horizontally.
        horizontal_shift: Millimetre,
        /// The shift that is allowed vertically.
        vertical_shift: Millimetre,
    },
    /// Either the prism at the reference point, or the position of the point that has the ordered prism.
    PrismOrPosition {
        /// Longest deviation of the prism, in whatever direction.
        prism: PrismDioptre,
        /// Longest distance of the point from its place.
        position: Millimetre,
        /// Where both come from.
        source: &'static Source,
    },
    /// Nothing: no finding about prism.
    NoRequirement,
}

impl PrismRule {
    pub(super) fn provenance(&self) -> Confidence {
        match self {
            Self::Components { rows, .. } => {
                rows.iter().map(|row| row.source.confidence).fold(Confidence::A, Confidence::max)
            }
            Self::PrismOrPosition { source, .. } => source.confidence,
            Self::NoRequirement => Confidence::A,
        }
    }
}

/// What a table asks of one value.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Requirement {
    /// A limit, in units of the value's own quantity.
    Within(i32),
    /// A row that asks for nothing.
    Nothing,
    /// No row: the table does not know such a lens.
    Unknown,
}

impl Requirement {
    fn of(limit: Option<i32>) -> Self {
        limit.map_or(Self::Unknown, Self::Within)
    }
}

/// On the end of a row or before it. In counts: the open end needs no more than to stay the largest.
pub(super) fn reaches(up_to: i32, value: i32) -> bool {
    value <= up_to.saturating_add(Dioptre::SLACK.to_bits())
}

impl super::Class {
    pub(super) fn meridian_requirement(&self, row_power: Dioptre, ordered: Dioptre) -> Requirement {
        let row = self.meridian.iter().find(|row| reaches(row.up_to.to_bits(), row_power.to_bits()));
        Requirement::of(row.map(|row| row.limit.of(ordered).to_bits()))
    }

    pub(super) fn cylinder_requirement(&self, row_power: Dioptre, ordered: Dioptre) -> Requirement {
        let cylinder = ordered.abs();
        let mut rows = self.cylinder.iter();
        let row = rows.find(|row| {
            reaches(row.power_up_to.to_bits(), row_power.to_bits())
                && reaches(row.cylinder_up_to.to_bits(), cylinder.to_bits())
        });
        Requirement::of(row.map(|row| row.limit.of(ordered).to_bits()))
    }

    pub(super) fn axis_requirement(&self, ordered_cylinder: Dioptre) -> Requirement {
        let cylinder = ordered_cylinder.abs();
        match self.axis.iter().find(|row| reaches(row.cylinder_up_to.to_bits(), cylinder.to_bits())) {
            Some(AxisRow { limit: Some(limit), .. }) => Requirement::Within(limit.to_bits()),
            Some(AxisRow { limit: None, .. }) => Requirement::Nothing,
            None => Requirement::Unknown,
        }
    }

    pub(super) fn addition_requirement(&self, ordered: Dioptre) -> Requirement {
        let row = self.addition.iter().find(|row| reaches(row.up_to.to_bits(), ordered.abs().to_bits()));
        Requirement::of(row.map(|row| row.limit.of(ordered).to_bits()))
    }
}

/// The limit of one component of the prism.
pub(super) fn component_requirement(
    rows: &[PrismRow],
    ordered: PrismDioptre,
    shift: Millimetre,
    strongest: Dioptre,
) -> Requirement {
    let row = rows.iter().find(|row| reaches(row.up_to.to_bits(), ordered.to_bits()));
    Requirement::of(row.map(|row| (row.limit + effect_of_shift(shift, strongest)).to_bits()))
}

/// The prism that a lens's power adds when the lens is shifted: a tenth of their product (Prentice).
///
/// # Accuracy
/// Within 0.6 units of 2^-20.
pub(super) fn effect_of_shift(shift: Millimetre, power: Dioptre) -> PrismDioptre {
    let product = i64::from(shift.to_bits()).wrapping_mul(i64::from(power.to_bits()));
    let tenfold = math::saturate(math::shift_round(product, Millimetre::FRACTION_BITS));
    PrismDioptre::from_bits(tenfold.saturating_add(5).wrapping_div(10))
}
