//! Throw and gap of an instrument from frames of known test lenses.
//!
//! The fitted ratio of displacement to position is `A = t V`, with the throw `t`, the gap `g` and `V = F (I - g F)^-1`. So
//! `A = (t I + g A) F`: every lens of known power gives one relation between both, weak lenses about the throw, strong ones of
//! either sign about the gap. Half the trace of `A` is all that is used: it does not matter how a cylinder was turned,
//!
//! `a = t (f1 / (1 - g f1) + f2 / (1 - g f2)) / 2`.
//!
//! Certificates must hold for the sensor's aperture: spherical aberration grows with the power's square, as what an error of the
//! gap makes does, and would be taken for a gap (2e-4 D for each D^2 is 0.2 mm).
//!
//! A prism without power tells the throw alone: its displacement is `t p / 100`. Least squares by Gauss and Newton, each lens
//! weighted by what its frame and its certificate leave uncertain.

mod correction;
mod drift;
mod lens;

pub use correction::{CorrectionTable, Knot};
pub use drift::{Drift, DriftDirection, DriftState};
pub use lens::{Certified, LensResidual, TestLens};

use super::budget::{Freedom, GeometryUncertainty};
use super::linear::{length, number};
use super::scaled::Scaled;
use super::symmetric::{Symmetric, Vector, dot};
use super::{Error, Geometry};
use crate::math;
use crate::quantity::{Fraction, Millimetre};
use core::fmt;

/// Why test lenses give no calibration.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CalibrationError {
    /// Fewer test lenses than asked for: three for a calibration, one for a check.
    TooFewLenses,
    /// The lenses are too much alike to tell the gap from the throw: [`Calibration::LEAST_INDEPENDENCE`].
    TooAlike,
    /// A frame or its certificate is beyond the scale.
    Saturated,
    /// Neither frame nor certificate of a lens has any uncertainty: no weight can be given.
    NoUncertainty,
    /// A test lens has its focus within the gap, or nearly.
    FocusInGap,
    /// No geometry was found within the allowed steps: most likely a certificate belongs to another lens.
    NoConvergence,
    /// The geometry found is out of range: [`Geometry`].
    GeometryRange,
    /// More knots than the caller's memory holds.
    TooManyKnots,
    /// Knots do not ascend, or a correction is beyond 1 D or 1 prism dioptre.
    BadKnot,
}

impl CalibrationError {
    /// A value is outside its range.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(self, Self::Saturated | Self::GeometryRange | Self::BadKnot)
    }
}

impl fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooFewLenses => "too few test lenses",
            Self::TooAlike => "the test lenses are too much alike",
            Self::Saturated => "a test lens is beyond the scale",
            Self::NoUncertainty => "a test lens has no uncertainty at all",
            Self::FocusInGap => "a test lens has its focus within the gap",
            Self::NoConvergence => "no geometry fits the test lenses",
            Self::GeometryRange => "the geometry found is out of range",
            Self::TooManyKnots => "more knots than there is memory for",
            Self::BadKnot => "a knot is out of order, or its correction too large",
        })
    }
}

impl core::error::Error for CalibrationError {}

/// What test lenses say of an instrument's geometry.
///
/// # Accuracy
/// Gap and throw within 20 nm of the exact least squares of the same lenses, where [`Calibration::LEAST_INDEPENDENCE`] is exceeded
/// tenfold; standard uncertainties within 0.1 % or two units.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Calibration {
    geometry: Geometry,
    uncertainty: GeometryUncertainty,
    chi_squared: Fraction,
    count: u16,
}

/// Sums of one step.
struct Step {
    normal: Symmetric,
    right: Vector,
    chi_squared: Scaled,
}

impl Step {
    /// # Errors
    /// [`CalibrationError::FocusInGap`], [`CalibrationError::NoUncertainty`].
    fn of(lenses: &[TestLens], at: Vector) -> Result<Self, CalibrationError> {
        let mut step = Self { normal: Symmetric::ZERO, right: [Scaled::ZERO; 2], chi_squared: Scaled::ZERO };
        for lens in lenses {
            let seen = lens.against(at)?;
            let weight = number(1).over(seen.variance);
            let [by_throw, by_gap] = seen.gradient;
            let [right_throw, right_gap] = step.right;
            step.normal = step.normal.plus(Symmetric::of_pair(seen.gradient, seen.gradient).scaled(weight));
            let weighted = seen.deviation.times(weight);
            step.right = [right_throw.plus(by_throw.times(weighted)), right_gap.plus(by_gap.times(weighted))];
            step.chi_squared = step.chi_squared.plus(seen.deviation.times(weighted));
        }
        Ok(step)
    }

    /// The covariance of throw and gap.
    ///
    /// # Errors
    /// [`CalibrationError::TooAlike`].
    fn covariance(&self) -> Result<Symmetric, CalibrationError> {
        let Symmetric { xx, yy, .. } = self.normal;
        let least = xx.times(yy).times(Scaled::of(i128::from(Calibration::LEAST_INDEPENDENCE.to_bits()), -24));
        if !self.normal.determinant().exceeds(least) {
            return Err(CalibrationError::TooAlike);
        }
        self.normal.inverse().ok_or(CalibrationError::TooAlike)
    }
}

/// So many steps are taken at most; each squares what is wrong.
const MOST_STEPS: u32 = 16;

impl Calibration {
    /// Fewest test lenses: two for throw and gap, one to tell how well they agree.
    pub const LEAST_LENSES: usize = 3;

    /// One less the squared correlation of throw and gap, at least: 1/256. A set of one sign needs powers a factor of some 1.5
    /// apart; lenses of both signs are far better.
    pub const LEAST_INDEPENDENCE: Fraction = fraction!(0.003_906_25);

    /// Finds throw and gap, starting from the nominal ones.
    ///
    /// A gap that comes out below nothing by less than three of its standard uncertainties is taken as none.
    ///
    /// # Range
    /// The nominal throw within a factor of two; up to 65535 test lenses.
    ///
    /// # Errors
    /// [`CalibrationError`], except the two about knots.
    ///
    /// # Source
    /// Weighted least squares (Gauss and Newton, textbook); uncertainties by the law of propagation: JCGM 100 (GUM), 5.2.2.
    pub fn of(lenses: &[TestLens], nominal: Geometry) -> Result<Self, CalibrationError> {
        if lenses.len() < Self::LEAST_LENSES {
            return Err(CalibrationError::TooFewLenses);
        }
        let start = [length(nominal.throw()), length(nominal.gap())];
        let mut at = start;
        // A hundredth of the grid's 15 nm, in metres.
        let small = Scaled::of(1, -33);
        for _ in 0..MOST_STEPS {
            let step = Step::of(lenses, at)?;
            let covariance = step.covariance()?;
            let change = covariance.times_vector(step.right);
            at = moved(at, change);
            if change.into_iter().all(|part| small.exceeds(part.magnitude())) {
                return Self::finished(lenses, at, nominal);
            }
        }
        Err(CalibrationError::NoConvergence)
    }

    /// # Errors
    /// [`CalibrationError`].
    fn finished(lenses: &[TestLens], at: Vector, nominal: Geometry) -> Result<Self, CalibrationError> {
        let step = Step::of(lenses, at)?;
        let covariance = step.covariance()?;
        let [throw, gap] = at;
        let spread = covariance.yy.root();
        let is_none = gap.negated().is_positive() && spread.times(number(3)).exceeds(gap.magnitude());
        let gap = if is_none { Scaled::ZERO } else { gap };
        let geometry =
            Geometry::new(millimetres(gap), millimetres(throw)).map_err(|_: Error| CalibrationError::GeometryRange)?;
        let both = [geometry.throw(), nominal.throw()].map(length);
        let [found, expected] = both;
        if found.exceeds(expected.times(number(2))) || expected.exceeds(found.times(number(2))) {
            return Err(CalibrationError::GeometryRange);
        }
        let correlation = covariance.xy.over(covariance.xx.root().times(spread));
        Ok(Self {
            geometry,
            uncertainty: GeometryUncertainty {
                gap: millimetres(spread),
                throw: millimetres(covariance.xx.root()),
                correlation: Fraction::from_bits(math::saturate(correlation.to_fixed(Fraction::FRACTION_BITS))),
                freedom: Freedom::INFINITE,
            },
            chi_squared: Fraction::from_bits(math::saturate(step.chi_squared.to_fixed(Fraction::FRACTION_BITS))),
            count: u16::try_from(lenses.len()).unwrap_or(u16::MAX),
        })
    }

    /// Gap and throw.
    #[must_use]
    pub const fn geometry(&self) -> Geometry {
        self.geometry
    }

    /// Their standard uncertainties and correlation, for a [`Budget`](super::Budget).
    ///
    /// They follow from the stated uncertainties of frames and certificates, not from how well the lenses agree: for that see
    /// [`Calibration::is_consistent`].
    #[must_use]
    pub const fn uncertainty(&self) -> GeometryUncertainty {
        self.uncertainty
    }

    /// Sum of the squares of the lenses' residuals over their standard uncertainties, with `n - 2` degrees of freedom.
    ///
    /// # Accuracy
    /// Within 0.1 % or 1e-3; saturates at 128.
    #[must_use]
    pub const fn chi_squared(&self) -> Fraction {
        self.chi_squared
    }

    /// Test lenses used.
    #[must_use]
    pub const fn count(&self) -> u16 {
        self.count
    }

    /// The lenses agree as well as 99 of 100 sets would whose uncertainties are as stated.
    ///
    /// # Source
    /// Chi-squared by the cube of Wilson and Hilferty (1931), textbook: within 1 % of the 99 % quantile.
    #[must_use]
    pub fn is_consistent(&self) -> bool {
        let freedom = Scaled::of(i128::from(self.count.saturating_sub(2).max(1)), 0);
        let part = number(2).over(freedom.times(number(9)));
        // 2.326348, Q24.
        let root = number(1).minus(part).plus(part.root().times(Scaled::of(39_029_643, -24)));
        let most = root.squared().times(root).times(freedom);
        let seen = Scaled::of(i128::from(self.chi_squared.to_bits()), -24);
        // At the end of the scale, with more than some 90 lenses, nothing can be said.
        !seen.exceeds(most) && self.chi_squared < Fraction::MAX
    }

    /// What a test lens leaves with this geometry.
    ///
    /// # Errors
    /// [`CalibrationError::FocusInGap`], [`CalibrationError::NoUncertainty`].
    pub fn residual(&self, lens: &TestLens) -> Result<LensResidual, CalibrationError> {
        let seen = lens.against(self.at())?;
        Ok(lens.residual(&seen))
    }

    /// Throw and gap, metres.
    fn at(&self) -> Vector {
        [length(self.geometry.throw()), length(self.geometry.gap())]
    }

    /// Variance that the geometry's own uncertainty adds along a gradient.
    fn variance(&self, [by_throw, by_gap]: Vector) -> Scaled {
        let throw = by_throw.times(length(self.uncertainty.throw));
        let gap = by_gap.times(length(self.uncertainty.gap));
        let correlation = Scaled::of(i128::from(self.uncertainty.correlation.to_bits()), -23);
        dot([throw, gap], [throw, gap]).plus(throw.times(gap).times(correlation))
    }
}

/// Throw and gap after a step of at most half the throw in either.
fn moved([throw, gap]: Vector, [by_throw, by_gap]: Vector) -> Vector {
    let most = throw.times(Scaled::of(1, -1));
    let bounded = |step: Scaled| match step.magnitude().exceeds(most) {
        true if step.is_positive() => most,
        true => most.negated(),
        false => step,
    };
    [throw.plus(bounded(by_throw)), gap.plus(bounded(by_gap))]
}

fn millimetres(metres: Scaled) -> Millimetre {
    let scaled = metres.times(number(1000)).to_fixed(Millimetre::FRACTION_BITS);
    Millimetre::from_bits(math::saturate(scaled))
}
