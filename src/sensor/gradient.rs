//! Direction and slope of a gradient tint, from transmittances at points of the lens.

use super::plane::{self, MOST_READINGS, PlaneSums, ReadingError};
use super::scaled::Scaled;
use crate::math;
use crate::quantity::{Bearing, Degree, Fraction, Millimetre, Point};

/// Sums over transmittances at points of the lens: any order, any grouping, the same bits.
///
/// # Units
/// Points in the lens plane, millimetres; transmittances as fractions.
///
/// # Range
/// Up to [`GradientSums::MOST_READINGS`]; coordinates to 64 mm, transmittances from -1 to 1, as noise about the dark level may
/// be below it.
///
/// ```
/// use dioptric::{fraction, millimetres, quantity::Point, sensor::{GradientSums, ReadingError}};
/// let mut sums = GradientSums::default();
/// for (x, y, transmittance) in [
///     (millimetres!(0.0), millimetres!(10.0), fraction!(0.15)),
///     (millimetres!(-10.0), millimetres!(-10.0), fraction!(0.65)),
///     (millimetres!(10.0), millimetres!(-10.0), fraction!(0.65)),
/// ] {
///     sums.add(Point::new(x, y), transmittance)?;
/// }
/// let gradient = sums.fit()?; // dark above, light below
/// assert_eq!(gradient.lighter.map(|bearing| bearing.whole_degrees()), Some(270));
/// assert_eq!(gradient.slope.to_string(), "0.025"); // per millimetre
/// # Ok::<(), ReadingError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GradientSums(PlaneSums);

/// The plane that fits the transmittances best.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gradient {
    /// Towards the lighter side, where the transmittance rises most; the darker side is [`Bearing::opposite`].
    ///
    /// `None`: no direction. The slope is zero, or below three of its standard uncertainties (common practice, no source).
    pub lighter: Option<Bearing>,
    /// How much the transmittance rises that way, per millimetre.
    pub slope: Fraction,
    /// Mean of the transmittances: that at the mean of the points.
    pub mean: Fraction,
    /// Standard deviation of a transmittance from the plane, with `n - 3` degrees of freedom; `None` of three. A tint that is
    /// not linear shows in it.
    pub residual: Option<Fraction>,
    /// From the scatter alone; `None` of three readings.
    pub uncertainty: Option<GradientUncertainty>,
}

/// Standard uncertainties (k = 1) of a [`Gradient`], from the scatter of its readings.
///
/// By the law of propagation at the fitted values, so they hold while they are small.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GradientUncertainty {
    /// Of the direction; `None` when there is none.
    pub direction: Option<Degree>,
    /// Of the slope, per millimetre.
    pub slope: Fraction,
}

impl GradientSums {
    /// Most readings that the sums hold.
    pub const MOST_READINGS: u32 = MOST_READINGS;

    /// Adds a reading.
    ///
    /// # Errors
    /// [`ReadingError::OutOfRange`], [`ReadingError::TooMany`]; the reading is then left out.
    pub fn add(&mut self, place: Point, transmittance: Fraction) -> Result<(), ReadingError> {
        self.0.add(place.x.to_bits(), place.y.to_bits(), transmittance.to_bits())
    }

    /// Adds the readings of other sums.
    ///
    /// # Errors
    /// [`ReadingError::TooMany`]: nothing is then added.
    pub fn merge(&mut self, other: &Self) -> Result<(), ReadingError> {
        self.0.merge(&other.0)
    }

    /// Readings in the sums.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.0.count()
    }

    /// Fits a plane by least squares.
    ///
    /// # Accuracy
    /// Against exact least squares of the same readings, for points within 30 mm in a pattern whose condition (ratio of its
    /// principal second moments) is at most 16, and slopes from 1e-4 per millimetre: direction within 5e-7 degree, slope, mean
    /// and residual within one unit of 2^-24, standard uncertainties within 3e-8 of themselves and half a unit, where the
    /// residual is from 1e-4. Mirror images and half and quarter turns of the points agree to the bit.
    ///
    /// # Errors
    /// [`ReadingError::TooFew`], [`ReadingError::Degenerate`].
    ///
    /// # Source
    /// Least squares; law of propagation: JCGM 100 (GUM), 5.1.2 and 5.2.2.
    pub fn fit(&self) -> Result<Gradient, ReadingError> {
        let plane = self.0.fit()?;
        let (slope, turn) = plane.steepest();
        let scatter = plane.slope_uncertainties(turn);
        let is_known = plane::is_known(slope, scatter.map(|(_, across)| across));
        let [.., mean] = plane.means;
        Ok(Gradient {
            lighter: is_known.then_some(Bearing::from_bits(turn)),
            slope: per_millimetre(slope),
            mean: fraction(mean.to_fixed(0)),
            residual: plane.variance.map(|variance| fraction(variance.root().to_fixed(0))),
            uncertainty: scatter.map(|(along, across)| GradientUncertainty {
                direction: is_known.then(|| Degree::from_bits(plane::degrees(across, slope, 0))),
                slope: per_millimetre(along),
            }),
        })
    }
}

fn per_millimetre(slope: Scaled) -> Fraction {
    fraction(slope.to_fixed(Millimetre::FRACTION_BITS))
}

fn fraction(bits: i64) -> Fraction {
    Fraction::from_bits(math::saturate(bits))
}
