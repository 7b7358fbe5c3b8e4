//! Whether an instrument still is what its calibration says.

use super::lens::fraction;
use super::{Calibration, CalibrationError, TestLens};
use crate::quantity::Fraction;
use crate::sensor::linear::number;
use crate::sensor::scaled::Scaled;
use crate::sensor::symmetric::Vector;

/// How an instrument stands against its calibration.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum DriftState {
    /// Nothing beyond what is uncertain.
    Within,
    /// Past a warning limit: check again.
    Warning,
    /// Past a limit of action: calibrate.
    Out,
}

/// Which way an instrument reads.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum DriftDirection {
    /// Powers and prisms as too strong: larger in magnitude.
    Stronger,
    /// Powers and prisms as too weak.
    Weaker,
}

/// A check of an instrument by one or more test lenses.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Drift {
    /// The worse of what the common factor and the worst single lens say.
    pub state: DriftState,
    /// By the common factor; `None` when it is 1.
    pub direction: Option<DriftDirection>,
    /// What all displacements are larger by, relatively; below zero: smaller.
    pub scale: Fraction,
    /// Its standard uncertainty, that of the calibration included.
    pub uncertainty: Fraction,
    /// The scale over its standard uncertainty; saturates at 128.
    pub statistic: Fraction,
    /// Index of the lens with the largest deviation over its standard uncertainty.
    pub worst: u32,
    /// That deviation over its standard uncertainty, positive when read too strong; saturates at 128.
    pub worst_statistic: Fraction,
}

impl Drift {
    /// The common factor's statistic: warning.
    ///
    /// # Source
    /// Two and three standard deviations: warning and action limits of control charts (common practice; from memory).
    pub const WARNING: Fraction = fraction!(2.0);
    /// The common factor's statistic: action.
    pub const ACTION: Fraction = fraction!(3.0);
    /// A single lens's statistic: warning. One more than for the factor, as there are several of them.
    pub const LENS_WARNING: Fraction = fraction!(3.0);
    /// A single lens's statistic: action.
    pub const LENS_ACTION: Fraction = fraction!(4.0);
}

impl Calibration {
    /// Checks the instrument by test lenses.
    ///
    /// Two statistics: a factor common to all lenses, as a changed throw makes, and the worst single lens, as a changed gap or a
    /// soiled lens makes. The uncertainty of the calibration is in both.
    ///
    /// # Accuracy
    /// Statistics within 0.1 % or 1e-6.
    ///
    /// # Errors
    /// [`CalibrationError::TooFewLenses`]: none, or none with power or prism; [`CalibrationError::FocusInGap`],
    /// [`CalibrationError::NoUncertainty`].
    pub fn check(&self, lenses: &[TestLens]) -> Result<Drift, CalibrationError> {
        let mut common = Common { product: Scaled::ZERO, square: Scaled::ZERO, gradient: [Scaled::ZERO; 2] };
        let (mut worst, mut worst_statistic) = (0, Scaled::ZERO);
        for (index, lens) in (0..u32::MAX).zip(lenses) {
            let seen = lens.against(self.at())?;
            common.add(seen.deviation, seen.expected, seen.gradient, seen.variance);
            let deviation = seen.variance.plus(self.variance(seen.gradient)).root();
            let statistic = seen.deviation.over(deviation);
            if statistic.magnitude().exceeds(worst_statistic.magnitude()) {
                let weaker = seen.expected.negated().is_positive();
                (worst, worst_statistic) = (index, if weaker { statistic.negated() } else { statistic });
            }
        }
        if !common.square.is_positive() {
            return Err(CalibrationError::TooFewLenses);
        }
        let inverse = number(1).over(common.square);
        let scale = common.product.times(inverse);
        let gradient = common.gradient.map(|part| part.times(inverse));
        let uncertainty = inverse.plus(self.variance(gradient)).root();
        let (statistic, worst_statistic) = (fraction(scale.over(uncertainty)), fraction(worst_statistic));
        let single = state(worst_statistic, Drift::LENS_WARNING, Drift::LENS_ACTION);
        Ok(Drift {
            state: state(statistic, Drift::WARNING, Drift::ACTION).max(single),
            direction: match fraction(scale).to_bits() {
                0 => None,
                1.. => Some(DriftDirection::Stronger),
                _ => Some(DriftDirection::Weaker),
            },
            scale: fraction(scale),
            uncertainty: fraction(uncertainty),
            statistic,
            worst,
            worst_statistic,
        })
    }
}

fn state(statistic: Fraction, warning: Fraction, action: Fraction) -> DriftState {
    match statistic.abs() {
        size if size > action => DriftState::Out,
        size if size > warning => DriftState::Warning,
        _ => DriftState::Within,
    }
}

/// Least squares for one factor `1 + s`: `s = sum(w y e) / sum(w y y)`, and how it goes with throw and gap.
struct Common {
    product: Scaled,
    square: Scaled,
    gradient: Vector,
}

impl Common {
    fn add(&mut self, deviation: Scaled, expected: Scaled, [by_throw, by_gap]: Vector, variance: Scaled) {
        let weighted = expected.over(variance);
        self.product = self.product.plus(weighted.times(deviation));
        self.square = self.square.plus(weighted.times(expected));
        let [throw, gap] = self.gradient;
        self.gradient = [throw.plus(weighted.times(by_throw)), gap.plus(weighted.times(by_gap))];
    }
}
