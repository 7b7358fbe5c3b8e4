//! A fit that gross outliers do not bend: spots of the wrong hole, dust, reflections.
//!
//! Least squares alone are no start: enough outliers on one side drag the fit so far that none of them stands out (masking).
//! So the start is the lens through three spots that half of all spots lie nearest to, out of [`DRAWS`] drawn threes (least
//! median of squares); two concentration steps then fit the share of the spots that must remain. From there on, each pass
//! fits the spots whose residual against the last fit is within the limit, until the set stays the same. A spot that was
//! rejected in one pass comes back in the next when it lies near enough: nothing is kept of a spot.
//!
//! Three spots out of which `e` are outliers are clean with probability `(1 - e)^3`; of all draws at a fifth of outliers, none
//! is with `(1 - 0.8^3)^32 = 1e-10`, at a quarter with 3e-8.
//!
//! # Source
//! Rousseeuw, "Least median of squares regression", J. Am. Stat. Assoc. 79, 1984; Rousseeuw and Van Driessen, "Computing LTS
//! regression for large data sets", Data Min. Knowl. Disc. 12, 2006 (concentration).

mod expected;
mod limits;
mod quantile;
mod start;

pub use limits::RobustLimits;

use super::fit::Fit;
use super::{Error, Geometry, SlopeSums, SpotPair};
use crate::quantity::{Fraction, Micrometre};
use core::fmt;
use expected::Expected;
use start::started;

/// Why there is no robust fit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum RobustError {
    /// The spots, or those that remain, give no lens.
    Fit(Error),
    /// The limits are out of range: [`RobustLimits`].
    LimitsRange,
    /// Fewer spots agree with one lens than [`RobustLimits::least_share`].
    TooFewRemain,
}

impl RobustError {
    /// A value is outside the range of its type.
    #[must_use]
    pub const fn is_range(self) -> bool {
        match self {
            Self::Fit(error) => error.is_range(),
            Self::LimitsRange => true,
            Self::TooFewRemain => false,
        }
    }
}

impl From<Error> for RobustError {
    fn from(error: Error) -> Self {
        Self::Fit(error)
    }
}

impl fmt::Display for RobustError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Fit(error) => fmt::Display::fmt(error, f),
            Self::LimitsRange => {
                f.write_str("the limits are out of range: a multiple from 2, a share from half to all, a pass")
            }
            Self::TooFewRemain => f.write_str("too few spots agree with one lens"),
        }
    }
}

impl core::error::Error for RobustError {}

/// Why a spot is not in the fit.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Outlier {
    /// Its residual is beyond the limit, but not eight times that: a smeared spot, a scratch, or the tail of the noise.
    Marginal,
    /// Its residual is beyond eight times the limit: another hole's spot, a reflection, dust.
    Gross,
}

/// How many spots are not in the fit, by reason.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Outliers {
    /// [`Outlier::Marginal`].
    pub marginal: u32,
    /// [`Outlier::Gross`].
    pub gross: u32,
}

impl Outliers {
    /// Both reasons together.
    #[must_use]
    pub const fn total(&self) -> u32 {
        // Never more than the spots of a fit.
        self.marginal.wrapping_add(self.gross)
    }

    const fn count(&mut self, outlier: Outlier) {
        let count = match outlier {
            Outlier::Marginal => &mut self.marginal,
            Outlier::Gross => &mut self.gross,
        };
        *count = count.wrapping_add(1);
    }
}

/// How far a robust fit is to be trusted: what a controller compares with limits of its own.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FitQuality {
    /// Standard deviation of a displacement component of the spots used: [`Fit::residual`].
    pub residual: Micrometre,
    /// Largest residual, as a distance, of a spot used.
    pub largest: Micrometre,
    /// Share of the spots that is not in the fit.
    pub rejected: Fraction,
    /// The last pass changed nothing. If not, spots at the limit go in and out, and the next pass might differ a little.
    pub converged: bool,
}

/// A fit without its outliers, and what became of every spot.
///
/// # Accuracy
/// When nothing is rejected, the fit is [`SlopeSums::fit`] of all spots, bit for bit; else that of the spots used. Both are
/// independent of the spots' order.
///
/// With normal noise alone, a spot of 113 is lost with probability 5.5e-4 at a multiple of 4 (`exp(-4^2 / 2)` of Rayleigh's
/// distribution is 3.4e-4; the rest is the scatter of the median), and the standard deviation of the mean power grows by
/// 0.25 %; at the default of 6 the probability is below 1e-6. None is lost while the noise is well below
/// [`RobustLimits::least_limit`].
///
/// Up to a fifth of outliers of any size, on one side or in a cluster too, leaves no trace when they lie beyond the limit; one
/// within it moves the fit as any spot of its residual does.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct RobustFit {
    fit: Fit,
    quality: FitQuality,
    outliers: Outliers,
    passes: u8,
    decision: Decision,
}

/// What a spot is measured by: where it is expected, and how far off it may be.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Decision {
    expected: Expected,
    /// Square of the limit, 2^-40 mm^2.
    limit: u64,
}

/// Bits of the square of eight.
const GROSS_SHIFT: u32 = 6;

impl Decision {
    fn outlier(&self, pair: &SpotPair) -> Option<Outlier> {
        let square = self.expected.square(pair);
        if square <= self.limit {
            None
        } else if square >> GROSS_SHIFT <= self.limit {
            Some(Outlier::Marginal)
        } else {
            Some(Outlier::Gross)
        }
    }

    fn sums(&self, pairs: &[SpotPair]) -> Result<SlopeSums, Error> {
        self.expected.sums_within(pairs, self.limit)
    }
}

impl RobustFit {
    /// Fits a lens to the spots that agree with one.
    ///
    /// # Cost
    /// One pass over the spots when none is further than [`RobustLimits::least_limit`] from the plain fit; else about 70 passes
    /// for the start and 4 for each pass of rejection. 2.5 to 3.2 KB of stack on M0, whatever the number of spots.
    ///
    /// # Errors
    /// [`RobustError::LimitsRange`]; [`RobustError::TooFewRemain`]; [`RobustError::Fit`] as [`SlopeSums::fit`], for all spots
    /// as for those that remain.
    ///
    /// ```
    /// use dioptric::{quantity::{Millimetre, Point}, sensor::{Geometry, RobustFit, RobustLimits, SpotPair}};
    /// // +5.00 D at the plate, throw 20 mm: spots move by -x / 10. One landed in its neighbour's place.
    /// let mm = |value| Millimetre::try_from_f64(value).unwrap();
    /// let pairs: Vec<SpotPair> = (0..25)
    ///     .map(|i| {
    ///         let (x, y) = (f64::from(i % 5 - 2), f64::from(i / 5 - 2));
    ///         let stray = if i == 7 { 0.9 } else { 0.0 };
    ///         SpotPair::new(Point::new(mm(x), mm(y)), Point::new(mm(0.9 * x + stray), mm(0.9 * y))).unwrap()
    ///     })
    ///     .collect();
    /// let geometry = Geometry::new(mm(0.0), mm(20.0)).unwrap();
    /// let found = RobustFit::of(&pairs, &geometry, &RobustLimits::default())?;
    /// assert_eq!(found.fit().sphero_cylinder().unwrap().sphere().to_string(), "+5.00");
    /// assert_eq!((found.outliers().gross, found.uses(&pairs[7])), (1, false));
    /// # Ok::<(), dioptric::sensor::RobustError>(())
    /// ```
    pub fn of(pairs: &[SpotPair], geometry: &Geometry, limits: &RobustLimits) -> Result<Self, RobustError> {
        limits.check()?;
        let mut all = SlopeSums::default();
        all.add_all(pairs)?;
        match Expected::of(&all) {
            Ok(expected) => {
                let plain = Decision { expected, limit: limits.least_square() };
                if plain.expected.largest_within(pairs, u64::MAX) <= plain.limit {
                    return Self::judged(pairs, geometry, plain, &all, Passes { made: 1, converged: true });
                }
            }
            // Outliers may be that far off.
            Err(Error::SlopeRange) => (),
            Err(error) => return Err(error.into()),
        }
        let (decision, sums, passes) = rejecting(pairs, started(pairs, all.count, limits)?, limits)?;
        if sums.count < limits.fewest(all.count) {
            return Err(RobustError::TooFewRemain);
        }
        Self::judged(pairs, geometry, decision, &sums, passes)
    }

    /// # Errors
    /// [`RobustError::Fit`].
    fn judged(
        pairs: &[SpotPair],
        geometry: &Geometry,
        decision: Decision,
        sums: &SlopeSums,
        passes: Passes,
    ) -> Result<Self, RobustError> {
        let fit = sums.fit(geometry)?;
        let mut outliers = Outliers::default();
        for outlier in pairs.iter().filter_map(|pair| decision.outlier(pair)) {
            outliers.count(outlier);
        }
        let quality = FitQuality {
            residual: fit.residual(),
            largest: limits::length(decision.expected.largest_within(pairs, decision.limit)),
            rejected: limits::share(outliers.total(), outliers.total().wrapping_add(fit.count)),
            converged: passes.converged,
        };
        Ok(Self { fit, quality, outliers, passes: passes.made, decision })
    }

    /// The lens that the spots used show.
    #[must_use]
    pub const fn fit(&self) -> &Fit {
        &self.fit
    }

    /// How far it is to be trusted.
    #[must_use]
    pub const fn quality(&self) -> FitQuality {
        self.quality
    }

    /// Spots in the fit.
    #[must_use]
    pub const fn used(&self) -> u32 {
        self.fit.count
    }

    /// Spots that are not, by reason.
    #[must_use]
    pub const fn outliers(&self) -> Outliers {
        self.outliers
    }

    /// Passes of rejection made; 1 when the plain fit left nothing to reject.
    #[must_use]
    pub const fn passes(&self) -> u8 {
        self.passes
    }

    /// Largest residual, as a distance, that the last pass let through.
    ///
    /// # Accuracy
    /// Within a unit of 1 nm of the limit that was used.
    #[must_use]
    pub fn limit(&self) -> Micrometre {
        limits::length(self.decision.limit)
    }

    /// Whether a spot is in the fit.
    ///
    /// # Accuracy
    /// Exact for the spots that were given; for others, whether they would have been within the limit.
    #[must_use]
    pub fn uses(&self, pair: &SpotPair) -> bool {
        self.outlier(pair).is_none()
    }

    /// Why a spot is not in the fit; `None` when it is.
    #[must_use]
    pub fn outlier(&self, pair: &SpotPair) -> Option<Outlier> {
        self.decision.outlier(pair)
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for RobustFit {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{}, {}, limit {} um, {}", self.fit, self.outliers, self.limit(), self.quality);
    }
}

#[derive(Clone, Copy)]
struct Passes {
    made: u8,
    converged: bool,
}

/// Fits what is within the limit of the last fit, until that stays the same.
///
/// # Errors
/// [`RobustError::Fit`].
fn rejecting(
    pairs: &[SpotPair],
    start: Expected,
    limits: &RobustLimits,
) -> Result<(Decision, SlopeSums, Passes), RobustError> {
    let mut decision = Decision { expected: start, limit: limits.square(pairs, &start) };
    let mut sums = decision.sums(pairs)?;
    for made in 1..limits.most_passes {
        let expected = Expected::of(&sums)?;
        let next = Decision { expected, limit: limits.square(pairs, &expected) };
        let sums_then = next.sums(pairs)?;
        let converged = sums_then == sums;
        (decision, sums) = (next, sums_then);
        if converged {
            return Ok((decision, sums, Passes { made: made.wrapping_add(1), converged }));
        }
    }
    Ok((decision, sums, Passes { made: limits.most_passes, converged: false }))
}
