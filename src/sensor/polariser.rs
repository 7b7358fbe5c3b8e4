//! The plane of transmittance of a polarising lens, from intensities behind an analyser.
//!
//! Unpolarised light crosses the lens, then an analyser at the angle `t`; the intensity is `I = (S0 + S1 cos 2t + S2 sin 2t) / 2`
//! (Malus). At any three angles or more the three parameters follow by least squares.

use super::plane::{self, GRADIENT_BITS, MOST_READINGS, Plane, PlaneSums, ReadingError};
use super::scaled::Scaled;
use crate::math;
use crate::quantity::{Axis, Degree, Fraction};

/// Fraction bits of the double angle's cosine and sine.
const PLACE_BITS: u32 = 22;

/// Sums over readings of intensity at angles of the analyser: any order, any grouping, the same bits.
///
/// # Units
/// Angles of the analyser's own plane of transmittance, in the lens plane. Intensities as a fraction of the detector's full
/// scale: a count of a 16-bit detector is `Fraction::from_bits(count << 8)`.
///
/// # Range
/// Up to [`PolariserSums::MOST_READINGS`]; intensities from -1 to 1, as noise about the dark level may be below it.
///
/// ```
/// use dioptric::{axis, fraction, sensor::{PolariserSums, ReadingError}};
/// let mut sums = PolariserSums::default();
/// for (angle, intensity) in [(axis!(0.0), fraction!(0.0)), (axis!(60.0), fraction!(0.375)), (axis!(120.0), fraction!(0.375))] {
///     sums.add(angle, intensity)?;
/// }
/// let light = sums.fit()?;
/// assert_eq!(light.axis.map(|axis| axis.whole_degrees()), Some(90));
/// assert_eq!(light.efficiency.to_string(), "1.000");
/// # Ok::<(), ReadingError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PolariserSums(PlaneSums);

/// What readings behind an analyser say of a lens.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Polarisation {
    /// The plane of transmittance: where the intensity is greatest. The lens absorbs what is polarised at right angles.
    ///
    /// `None`: too little polarised. The efficiency is below [`Polarisation::LEAST_EFFICIENCY`], or what varies with the angle
    /// below three of its standard uncertainties (common practice, no source).
    pub axis: Option<Axis>,
    /// Polarising efficiency `(Tmax - Tmin) / (Tmax + Tmin)`, the degree of linear polarisation; noise may bring it above 1.
    ///
    /// It is the lens's only as far as the analyser is perfect and the source unpolarised: divide by the analyser's own.
    pub efficiency: Fraction,
    /// Mean over all angles of the analyser: S0 / 2.
    pub mean: Fraction,
    /// Standard deviation of a reading from the fit, with `n - 3` degrees of freedom; `None` of three readings.
    pub residual: Option<Fraction>,
    /// From the scatter of the readings alone; `None` of three readings.
    pub uncertainty: Option<PolarisationUncertainty>,
}

/// Standard uncertainties (k = 1) of a [`Polarisation`], from the scatter of its readings.
///
/// By the law of propagation at the fitted values, so they hold while they are small. Errors of the analyser's scale and of
/// a source that is itself polarised are not in it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PolarisationUncertainty {
    /// Of the axis; `None` when there is none.
    pub axis: Option<Degree>,
    /// Of the efficiency.
    pub efficiency: Fraction,
}

impl Polarisation {
    /// Below this the light is taken as unpolarised: 2^-10.
    pub const LEAST_EFFICIENCY: Fraction = fraction!(0.000_976_562_5);
}

impl PolariserSums {
    /// Most readings that the sums hold.
    pub const MOST_READINGS: u32 = MOST_READINGS;

    /// Adds a reading.
    ///
    /// # Errors
    /// [`ReadingError::OutOfRange`], [`ReadingError::TooMany`]; the reading is then left out.
    pub fn add(&mut self, analyser: Axis, intensity: Fraction) -> Result<(), ReadingError> {
        let (cos, sin) = math::cos_sin(analyser.to_bits());
        let place = |part: i32| math::saturate(math::shift_round(i64::from(part), GRADIENT_BITS - PLACE_BITS));
        self.0.add(place(cos), place(sin), intensity.to_bits())
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

    /// Fits the law of Malus by least squares: unequal angles and unequal numbers of readings at each are as good.
    ///
    /// # Accuracy
    /// Against exact least squares of the same readings, where the efficiency is from 0.05 and the pattern of double angles has
    /// a condition (ratio of its principal second moments) of at most 16: axis within 4e-5 degree, efficiency within 1.5e-6,
    /// residual within 2e-7, standard uncertainties within 8e-4 of themselves and two units, where the residual is from 1e-4. It is
    /// the rounding of cosines to 2^-22 that shows.
    /// Mirror images and turns by 45 degrees agree to the bit.
    ///
    /// # Errors
    /// [`ReadingError::TooFew`]; [`ReadingError::Degenerate`]: fewer than three angles modulo 180 degrees, or all within half
    /// a degree; [`ReadingError::Dark`].
    ///
    /// # Source
    /// Malus's law in Stokes parameters; law of propagation: JCGM 100 (GUM), 5.1.2 and 5.2.2. Of N equally spaced angles it is
    /// `sd(axis) = sqrt(2 / N) sigma / (S0 efficiency)`.
    pub fn fit(&self) -> Result<Polarisation, ReadingError> {
        let plane = self.0.fit()?;
        let (slope, turn) = plane.steepest();
        let mean = mean_over_all_angles(&plane);
        if !mean.is_positive() {
            return Err(ReadingError::Dark);
        }
        // A cosine of one is 2^22 steps of the plane.
        let one = Scaled::of(1, PLACE_BITS.cast_signed());
        let ratio = slope.times(one).over(mean);
        let efficiency = fraction(ratio.to_fixed(Fraction::FRACTION_BITS));
        let scatter = plane.slope_uncertainties(turn);
        let is_polarised = efficiency >= Polarisation::LEAST_EFFICIENCY;
        let axis = is_polarised && plane::is_known(slope, scatter.map(|(_, across)| across));
        Ok(Polarisation {
            axis: axis.then_some(Axis::from_bits(turn)),
            efficiency,
            mean: fraction(mean.to_fixed(0)),
            residual: plane.variance.map(|variance| fraction(variance.root().to_fixed(0))),
            uncertainty: scatter.zip(efficiency_uncertainty(&plane, ratio, mean, turn)).map(
                |((_, across), of_ratio)| PolarisationUncertainty {
                    axis: axis.then(|| Degree::from_bits(plane::degrees(across, slope, 1))),
                    efficiency: of_ratio,
                },
            ),
        })
    }
}

/// `S0 / 2 = v - b p - d q` at the readings' mean, in units of 2^-24.
fn mean_over_all_angles(plane: &Plane) -> Scaled {
    let [p, q, v] = plane.means;
    let [along_p, along_q] = plane.slopes();
    // The two parts first: their order then does not matter, and turns by 45 degrees, which exchange them, agree to the bit.
    v.plus(along_p.times(p).plus(along_q.times(q)).negated())
}

/// With amplitude R and mean a: `d(R / a) = (dR + e b . m) / a - e dv / a`, where `m` is the mean of the double angles'
/// directions, `dR` the change of slope along the axis, and `dv` that of the readings' mean, which no slope's is tied to.
fn efficiency_uncertainty(plane: &Plane, ratio: Scaled, mean: Scaled, turn: u32) -> Option<Fraction> {
    let (cos, sin) = math::cos_sin(turn);
    // e m in Q30: e is held below 2, as more of it is noise.
    let capped = Scaled::of(i128::from(ratio.to_fixed(GRADIENT_BITS).min(2 << GRADIENT_BITS)), 0);
    let [p, q, _] = plane.means;
    let one = Scaled::of(1, PLACE_BITS.cast_signed());
    let gradient = |unit: i32, mean: Scaled| i64::from(unit).wrapping_add(mean.times(capped).over(one).to_fixed(0));
    let of_slopes = plane.slope_variance(gradient(cos, p), gradient(sin, q))?.times(one).times(one);
    let of_mean = plane.variance?.over(plane.number).times(ratio).times(ratio);
    let uncertainty = of_slopes.plus(of_mean).root().over(mean);
    Some(fraction(uncertainty.to_fixed(Fraction::FRACTION_BITS)))
}

fn fraction(bits: i64) -> Fraction {
    Fraction::from_bits(math::saturate(bits))
}
