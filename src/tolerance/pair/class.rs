//! The table of one standard for a mounted pair.

use super::super::rows::{effect_of_shift, reaches};
use super::super::{Class, Confidence, DirectionLimit, Source};
use crate::order::LensKind;
use crate::quantity::{Degree, Dioptre, Millimetre, PrismDioptre};

/// What one standard asks of a mounted pair of spectacle lenses, beside what it asks of each lens.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct PairClass {
    /// Short name, without blanks.
    pub name: &'static str,
    /// Standard and edition.
    pub title: &'static str,
    /// For single-vision and multifocal lenses.
    pub single_vision: &'static Class,
    /// For power-variation lenses.
    pub power_variation: &'static Class,
    /// Prism imbalance of single-vision and multifocal lenses.
    pub imbalance: ImbalanceRule,
    /// Of power-variation and position-specific lenses.
    pub imbalance_power_variation: ImbalanceRule,
    /// Which lens the blame falls on.
    pub blame: BlameRule,
    /// Plane of transmittance of a polarising lens; `None`: not judged.
    pub polariser: Option<DirectionLimit>,
    /// Direction of a gradient tint; `None`: not judged. No standard was found that limits it: set your own.
    pub gradient: Option<DirectionLimit>,
    /// Heights, positions, thickness, curves.
    pub geometry: GeometryLimits,
}

/// How the prism imbalance of a pair is limited.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum ImbalanceRule {
    /// In either direction the imbalance, or the position of the reference points: the pair fails where both are exceeded.
    PrismOrPosition {
        /// Horizontally.
        horizontal: PrismOrPosition,
        /// Vertically; the position is the difference of the heights.
        vertical: PrismOrPosition,
        /// The horizontal position is limited for each lens by itself, not for the distance of both.
        each: bool,
    },
    /// By rows of the ordered prism, each with what a shift makes of a strong lens's power.
    Rows {
        /// Limits by ordered prism.
        rows: &'static [ImbalanceRow],
        /// Which of the two lenses' power in that direction counts.
        power: RowLens,
    },
    /// Each lens's own prism is judged instead, by its class.
    EachLens,
}

/// A limit of prism and a limit of position, of which one is enough.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct PrismOrPosition {
    /// Greatest imbalance.
    pub prism: PrismDioptre,
    /// Greatest deviation of the position.
    pub position: Millimetre,
    /// Where both come from.
    pub source: &'static Source,
}

/// A row for the imbalance.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct ImbalanceRow {
    /// Largest amount of the ordered prism of either lens, its resultant.
    pub up_to: PrismDioptre,
    /// Horizontally.
    pub horizontal: ImbalanceLimit,
    /// Vertically.
    pub vertical: ImbalanceLimit,
    /// Where it comes from.
    pub source: &'static Source,
}

/// A limit of the imbalance in one direction.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct ImbalanceLimit {
    /// Largest magnitude of the power in that direction for which [`Self::within`] is the limit.
    pub power_up_to: Dioptre,
    /// The limit for so much power.
    pub within: PrismDioptre,
    /// For more: this, and the effect of a shift.
    pub beyond: PrismDioptre,
    /// That shift: a tenth of its product with the power (Prentice).
    pub shift: Millimetre,
}

impl ImbalanceLimit {
    /// The limit for a power in that direction.
    ///
    /// # Accuracy
    /// Within one unit of 2^-20.
    ///
    /// ```
    /// use dioptric::{dioptres, millimetres, prism_dioptres, tolerance::ImbalanceLimit};
    /// let vertical = ImbalanceLimit {
    ///     power_up_to: dioptres!(5.0),
    ///     within: prism_dioptres!(0.75),
    ///     beyond: prism_dioptres!(0.25),
    ///     shift: millimetres!(1.0),
    /// };
    /// assert_eq!(vertical.of(dioptres!(-5.0)), prism_dioptres!(0.75));
    /// assert_eq!(vertical.of(dioptres!(-8.0)).to_string(), "1.05");
    /// ```
    #[must_use]
    pub fn of(&self, power: Dioptre) -> PrismDioptre {
        let power = power.abs();
        if reaches(self.power_up_to.to_bits(), power.to_bits()) {
            self.within
        } else {
            self.beyond + effect_of_shift(self.shift, power)
        }
    }
}

/// Which lens of a pair picks a row.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum RowLens {
    /// The one with more power in that direction.
    Stronger,
    /// The one with less: the stricter reading.
    Weaker,
}

/// Which lens of a pair has to give way.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum BlameRule {
    /// Measuring begins at the lens with more power in that direction, so that what is found is found on the other.
    OtherThanStronger,
    /// The lens whose own prism is further from its order (common practice, no source).
    FurtherOff,
}

/// Limits of what is read with a rule, a thickness gauge or a lens clock. `None`: the standard asks for nothing.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct GeometryLimits {
    /// Height of a segment's top.
    pub segment_height: Option<LengthLimit>,
    /// Height of a fitting point.
    pub fitting_height: Option<LengthLimit>,
    /// Monocular centration distance of a fitting point.
    pub fitting_distance: Option<LengthLimit>,
    /// Difference of the heights of both segments, less the one ordered.
    pub segment_heights: Option<LengthLimit>,
    /// Difference of the heights of both fitting points, less the one ordered.
    pub fitting_heights: Option<LengthLimit>,
    /// Distance of the segments' middles.
    pub near_centration: Option<LengthLimit>,
    /// Width and depth of a segment.
    pub segment_size: Option<LengthLimit>,
    /// Difference of width or depth of both segments.
    pub segment_difference: Option<LengthLimit>,
    /// Centre thickness.
    pub centre_thickness: Option<LengthLimit>,
    /// Tilt of a segment's top.
    pub segment_tilt: Option<TiltLimit>,
    /// Tilt of the alignment reference marks.
    pub marks_tilt: Option<TiltLimit>,
    /// Base curve.
    pub base_curve: Option<CurveLimit>,
    /// Warpage.
    pub warpage: Option<CurveLimit>,
}

/// How far a length may be off, to either side.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct LengthLimit {
    /// So far.
    pub limit: Millimetre,
    /// Where it comes from.
    pub source: &'static Source,
}

/// How far a line may be tilted, to either side.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct TiltLimit {
    /// So far.
    pub limit: Degree,
    /// Where it comes from.
    pub source: &'static Source,
}

/// How far a curve may be off, to either side.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct CurveLimit {
    /// So far.
    pub limit: Dioptre,
    /// Where it comes from.
    pub source: &'static Source,
}

impl ImbalanceRule {
    fn provenance(&self) -> Confidence {
        match self {
            Self::PrismOrPosition { horizontal, vertical, .. } => {
                horizontal.source.confidence.max(vertical.source.confidence)
            }
            Self::Rows { rows, .. } => {
                rows.iter().map(|row| row.source.confidence).fold(Confidence::A, Confidence::max)
            }
            Self::EachLens => Confidence::A,
        }
    }
}

impl GeometryLimits {
    fn provenance(&self) -> Confidence {
        let lengths = [
            self.segment_height,
            self.fitting_height,
            self.fitting_distance,
            self.segment_heights,
            self.fitting_heights,
            self.near_centration,
            self.segment_size,
            self.segment_difference,
            self.centre_thickness,
        ];
        let lengths = lengths.into_iter().flatten().map(|row| row.source);
        let tilts = [self.segment_tilt, self.marks_tilt].into_iter().flatten().map(|row| row.source);
        let curves = [self.base_curve, self.warpage].into_iter().flatten().map(|row| row.source);
        lengths.chain(tilts).chain(curves).map(|source| source.confidence).fold(Confidence::A, Confidence::max)
    }
}

impl PairClass {
    /// The shipped classes.
    pub const ALL: [&'static Self; 2] = [&super::ANSI_Z80_1_PAIR, &super::ISO_21987_PAIR];

    /// The shipped class of that [`PairClass::name`].
    #[must_use]
    pub fn find(name: &str) -> Option<&'static Self> {
        Self::ALL.into_iter().find(|class| class.name == name)
    }

    /// By what a lens of that kind is judged.
    ///
    /// ```
    /// use dioptric::{order::LensKind, tolerance::ISO_21987_PAIR};
    /// assert_eq!(ISO_21987_PAIR.of_lens(LensKind::PowerVariation).name, "iso21987-progressive");
    /// ```
    #[must_use]
    pub const fn of_lens(&self, kind: LensKind) -> &'static Class {
        match kind {
            LensKind::PowerVariation => self.power_variation,
            LensKind::SingleVision | LensKind::Multifocal => self.single_vision,
        }
    }

    /// How sure the least sure row is, those of the lens classes included.
    #[must_use]
    pub fn provenance(&self) -> Confidence {
        let directions = [self.polariser, self.gradient].into_iter().flatten().map(|row| row.source.confidence);
        let directions = directions.fold(Confidence::A, Confidence::max);
        self.single_vision
            .provenance()
            .max(self.power_variation.provenance())
            .max(self.imbalance.provenance())
            .max(self.imbalance_power_variation.provenance())
            .max(self.geometry.provenance())
            .max(directions)
    }
}
