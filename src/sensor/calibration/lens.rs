//! A test lens: what its certificate says, and what its frame shows.

use super::CalibrationError;
use crate::math;
use crate::quantity::{Dioptre, Fraction, PrismDioptre};
use crate::rx::SpheroCylinder;
use crate::sensor::Fit;
use crate::sensor::budget::{Sources, SpotNoise};
use crate::sensor::linear::{dioptres, number, slope};
use crate::sensor::scaled::Scaled;
use crate::sensor::symmetric::{Vector, dot};

/// What the certificate of a test lens says.
///
/// To compare an instrument with itself, as in a daily check, put here what it read when it was calibrated, with an uncertainty
/// of nothing: the certificate's own error is then in both and cancels.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Certified {
    /// A sphere or a cylinder, by its back vertex power. The axis does not matter.
    Power {
        /// Back vertex power, at the instrument's wavelength.
        power: SpheroCylinder,
        /// Standard uncertainty of its mean power.
        uncertainty: Dioptre,
    },
    /// A prism without power. The base does not matter.
    Prism {
        /// Amount, at the instrument's wavelength.
        amount: PrismDioptre,
        /// Its standard uncertainty.
        uncertainty: PrismDioptre,
    },
}

/// A test lens in front of the sensor.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct TestLens {
    certified: Certified,
    /// Half the trace of `A`, or the displacement on the axis in metres.
    seen: Scaled,
    /// Variance of that from the noise of the spots.
    variance: Scaled,
}

/// A test lens against a geometry.
pub(super) struct Seen {
    /// Seen less expected.
    pub(super) deviation: Scaled,
    pub(super) expected: Scaled,
    /// Of what is expected, by throw and gap.
    pub(super) gradient: Vector,
    /// Of what is expected, by the certified value, in dioptres or slope.
    by_certified: Scaled,
    /// From frame and certificate.
    pub(super) variance: Scaled,
}

/// What a test lens leaves.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LensResidual {
    /// Of a power.
    Power {
        /// Measured less certified mean back vertex power.
        deviation: Dioptre,
        /// That over its standard uncertainty, from frame and certificate; saturates at 128.
        standardised: Fraction,
    },
    /// Of a prism.
    Prism {
        /// Measured less certified amount.
        deviation: PrismDioptre,
        /// That over its standard uncertainty, from frame and certificate; saturates at 128.
        standardised: Fraction,
    },
}

impl LensResidual {
    /// The residual over its standard uncertainty.
    #[must_use]
    pub const fn standardised(self) -> Fraction {
        match self {
            Self::Power { standardised, .. } | Self::Prism { standardised, .. } => standardised,
        }
    }
}

/// Measured at most so strong: `1 - g f` below it has the focus in the gap.
const LEAST_CLEARANCE: Scaled = Scaled::power_of_two(-4);

impl TestLens {
    /// A test lens from the fit of its frame.
    ///
    /// Which geometry the fit was made with does not matter: only what the spots show is taken from it.
    ///
    /// # Errors
    /// [`CalibrationError::Saturated`].
    pub fn new(fit: &Fit, certified: Certified, noise: SpotNoise) -> Result<Self, CalibrationError> {
        let sources = Sources { spots: noise, ..Sources::default() };
        let budget = fit.budget(&sources).ok_or(CalibrationError::Saturated)?;
        let model = &budget.model;
        let noise = budget.noise().map(Scaled::squared);
        let (seen, variance) = match certified {
            Certified::Power { .. } => (model.mean_ratio(), model.mean_ratio_variance(noise)),
            Certified::Prism { .. } => {
                let moved = model.displacement();
                let amount = dot(moved, moved).root();
                // No displacement has no direction: any will do.
                let along =
                    if amount.is_positive() { moved.map(|part| part.over(amount)) } else { [number(1), Scaled::ZERO] };
                (amount, model.displacement_variance(noise, along))
            }
        };
        let is_saturated = match certified {
            Certified::Power { power, uncertainty } => power.sphere().is_saturated() || uncertainty.is_saturated(),
            Certified::Prism { amount, uncertainty } => amount.is_saturated() || uncertainty.is_saturated(),
        };
        if is_saturated { Err(CalibrationError::Saturated) } else { Ok(Self { certified, seen, variance }) }
    }

    /// What the certificate says.
    #[must_use]
    pub const fn certified(&self) -> Certified {
        self.certified
    }

    /// # Errors
    /// [`CalibrationError::FocusInGap`], [`CalibrationError::NoUncertainty`].
    pub(super) fn against(&self, [throw, gap]: Vector) -> Result<Seen, CalibrationError> {
        let (expected, gradient, by_certified, uncertainty) = match self.certified {
            Certified::Power { power, uncertainty } => {
                let (first, second) = power.principal_powers();
                let [first, second] = [principal(first, gap)?, principal(second, gap)?];
                let mean = |a: Scaled, b: Scaled| a.plus(b).times(Scaled::of(1, -1));
                let plate = mean(first.plate, second.plate);
                let by_gap = mean(first.plate.squared(), second.plate.squared()).times(throw);
                let by_power = mean(first.magnified.squared(), second.magnified.squared()).times(throw);
                (plate.times(throw), [plate, by_gap], by_power, dioptres(uncertainty))
            }
            Certified::Prism { amount, uncertainty } => {
                let bent = slope(amount.abs());
                (bent.times(throw), [bent, Scaled::ZERO], throw, slope(uncertainty))
            }
        };
        let variance = self.variance.plus(uncertainty.times(by_certified).squared());
        if !variance.is_positive() {
            return Err(CalibrationError::NoUncertainty);
        }
        Ok(Seen { deviation: self.seen.minus(expected), expected, gradient, by_certified, variance })
    }

    pub(super) fn residual(&self, seen: &Seen) -> LensResidual {
        let deviation = seen.deviation.over(seen.by_certified);
        let standardised = fraction(seen.deviation.over(seen.variance.root()));
        match self.certified {
            Certified::Power { .. } => LensResidual::Power {
                deviation: Dioptre::from_bits(math::saturate(deviation.to_fixed(Dioptre::FRACTION_BITS))),
                standardised,
            },
            Certified::Prism { .. } => LensResidual::Prism {
                deviation: PrismDioptre::from_bits(math::saturate(
                    deviation.times(number(100)).to_fixed(PrismDioptre::FRACTION_BITS),
                )),
                standardised,
            },
        }
    }
}

/// A principal power at the plate: `f / (1 - g f)`, and how much it is magnified there.
struct Principal {
    plate: Scaled,
    magnified: Scaled,
}

/// # Errors
/// [`CalibrationError::FocusInGap`].
fn principal(power: Dioptre, gap: Scaled) -> Result<Principal, CalibrationError> {
    let power = dioptres(power);
    let clearance = number(1).minus(power.times(gap));
    if !clearance.exceeds(LEAST_CLEARANCE) {
        return Err(CalibrationError::FocusInGap);
    }
    let magnified = number(1).over(clearance);
    Ok(Principal { plate: power.times(magnified), magnified })
}

pub(super) fn fraction(value: Scaled) -> Fraction {
    Fraction::from_bits(math::saturate(value.to_fixed(Fraction::FRACTION_BITS)))
}

#[cfg(feature = "defmt")]
impl defmt::Format for TestLens {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{}", self.certified);
    }
}
