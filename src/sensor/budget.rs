//! The uncertainty budget of a measured lens: what is known of each source, and what it makes of each result.
//!
//! The law of propagation at the fitted lens. Gap and throw act on the whole power matrix at once, so that what they do to sphere,
//! cylinder and prism goes together; what they do to the axis of a lens whose matrix they only stretch is nothing, as it should be.
//!
//! # Source
//! JCGM 100:2008 (GUM), 5.1.2, 5.2.2 (combination), 6.2.1, 6.3 (expanded uncertainty), G.4.1 (Welch and Satterthwaite); clauses
//! from memory.

mod sources;
mod student;

pub use sources::{Extra, GeometryUncertainty, Resolution, Sources, SpotNoise, Wavelength};
pub use student::{Coverage, Freedom};

use super::linear::{Functional, Model, dioptres, direction, length, metres, number};
use super::scaled::Scaled;
use super::symmetric::{Symmetric, Vector, dot};
use super::{Centre, Fit, StandardUncertainty};
use crate::math;
use crate::quantity::{Degree, Dioptre, Fraction, Micrometre, Millimetre, Point, PrismDioptre};
use crate::vector::Covariance;

/// A result that has an uncertainty.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Measurand {
    /// The sphere, minus-cylinder form: the principal power along the axis.
    Sphere,
    /// The cylinder.
    Cylinder,
    /// The principal power across the axis: sphere plus cylinder.
    Across,
    /// The axis.
    Axis,
    /// The horizontal prism on the sensor's axis.
    PrismX,
    /// The vertical prism on the sensor's axis.
    PrismY,
    /// The amount of the prism on the sensor's axis: along its base.
    PrismAmount,
    /// The optical centre, horizontally.
    CentreX,
    /// The optical centre, vertically.
    CentreY,
}

impl Measurand {
    /// All of them.
    pub const ALL: [Self; 9] = [
        Self::Sphere,
        Self::Cylinder,
        Self::Across,
        Self::Axis,
        Self::PrismX,
        Self::PrismY,
        Self::PrismAmount,
        Self::CentreX,
        Self::CentreY,
    ];
}

/// A line of the budget.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Component {
    /// Noise of the spots; with [`SpotNoise::Residual`] that of the references as well.
    Spots,
    /// Noise of the references.
    References,
    /// The throw.
    Throw,
    /// The gap.
    Gap,
    /// What the errors of gap and throw have in common; below zero where they cancel.
    GapWithThrow,
    /// The Abbe number.
    Wavelength,
    /// The step of the result as shown.
    Resolution,
    /// The further one.
    Extra,
}

const COMPONENTS: usize = 8;

/// The standard uncertainty itself.
const ONCE: Coverage = Coverage::Factor(fraction!(1.0));

impl Component {
    /// All of them.
    pub const ALL: [Self; COMPONENTS] = [
        Self::Spots,
        Self::References,
        Self::Throw,
        Self::Gap,
        Self::GapWithThrow,
        Self::Wavelength,
        Self::Resolution,
        Self::Extra,
    ];
}

/// The budget of one fit.
///
/// # Range
/// It is linear: it holds while uncertainties are small against the cylinder (sphere, cylinder, axis), against the weaker power
/// (centre) and against the prism (its amount). The formula of Welch and Satterthwaite is an approximation: with 3 degrees of
/// freedom, and other sources half as large, 95 % are 93.9 %; with 1, 88 %. From 9 on nothing of it is seen.
///
/// # Accuracy
/// Standard uncertainties within 0.1 % of the law of propagation, or two units of the result's type, where
/// [`Fit::uncertainty`] is as good.
///
/// ```
/// use dioptric::{micrometres, millimetres, quantity::Point, sensor::*};
/// let mut sums = SlopeSums::default();
/// for (x, y, u, v) in [(2.0, 0.0, 1.8, 0.0), (-2.0, 0.0, -1.8, 0.0), (0.0, 2.0, 0.0, 1.8), (0.0, -2.0, 0.0, -1.8)] {
///     let mm = |value| dioptric::quantity::Millimetre::try_from_f64(value).unwrap();
///     sums.add(SpotPair::new(Point::new(mm(x), mm(y)), Point::new(mm(u), mm(v)))?)?;
/// }
/// let fit = sums.fit(&Geometry::new(millimetres!(0.0), millimetres!(20.0))?)?;
/// // A throw known to 0.02 mm: a thousandth of +5.00 D.
/// let geometry = GeometryUncertainty { throw: millimetres!(0.02), ..GeometryUncertainty::default() };
/// let budget = fit.budget(&Sources { geometry, ..Sources::default() }).unwrap();
/// assert_eq!(format!("{:.4}", budget.standard().sphere), "+0.0050");
/// assert_eq!(format!("{:.4}", budget.expanded(Coverage::TWO).sphere), "+0.0100");
/// assert_eq!(budget.entry(Measurand::Sphere).unwrap().dominant(), Component::Throw);
/// # Ok::<(), dioptric::sensor::Error>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Budget {
    pub(super) model: Model,
    sources: Sources,
    /// Double angle of the axis.
    turn: u32,
    cylinder: Dioptre,
    /// Metres.
    centre: Option<Vector>,
    /// Of a fit: `2n - 5`.
    freedom: Freedom,
    known: bool,
}

/// One result's part of the budget.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Entry {
    /// Effective degrees of freedom of the combined standard uncertainty.
    pub freedom: Freedom,
    shares: [Fraction; COMPONENTS],
}

impl Entry {
    /// The component's part of the combined variance. All parts add up to one, or are zero.
    ///
    /// # Accuracy
    /// Within 2^-22.
    #[must_use]
    pub fn share(&self, component: Component) -> Fraction {
        let mut both = Component::ALL.iter().zip(&self.shares);
        both.find(|(one, _)| **one == component).map_or(Fraction::ZERO, |(_, share)| *share)
    }

    /// The component with the largest share.
    #[must_use]
    pub fn dominant(&self) -> Component {
        let both = Component::ALL.iter().zip(&self.shares);
        both.fold(
            (Component::Spots, Fraction::MIN),
            |most, (one, share)| {
                if *share > most.1 { (*one, *share) } else { most }
            },
        )
        .0
    }
}

/// Expanded uncertainties `U = k u`, each with the coverage factor of its own degrees of freedom.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ExpandedUncertainty {
    /// Of the sphere, minus-cylinder form.
    pub sphere: Dioptre,
    /// Of the cylinder.
    pub cylinder: Dioptre,
    /// Of the power across the axis: sphere plus cylinder.
    pub across: Dioptre,
    /// Of the axis; `None` when it is not known to 45 degrees.
    pub axis: Option<Degree>,
    /// Of the horizontal prism on the sensor's axis.
    pub prism_x: PrismDioptre,
    /// Of the vertical prism on the sensor's axis.
    pub prism_y: PrismDioptre,
    /// Of the amount of the prism; `None` of no prism, which has no base.
    pub prism_amount: Option<PrismDioptre>,
    /// Of the optical centre's coordinates; `None` when it is no point.
    pub centre: Option<Point>,
}

/// Variances of one result, in its own unit.
struct Variances {
    parts: [Scaled; COMPONENTS],
    total: Scaled,
}

impl Fit {
    /// The uncertainty budget; `None` of a saturated fit, of which nothing is known.
    ///
    /// # Cost
    /// No more than a few conversions; each result of the budget is worked out when asked for.
    #[must_use]
    pub fn budget(&self, sources: &Sources) -> Option<Budget> {
        let model = Model::of(self)?;
        let vector = self.vector();
        let polar = math::polar(vector.j0.to_bits(), vector.j45.to_bits());
        let is_point = matches!(self.centre(), Centre::Point(_));
        let centre = model.focal().filter(|_| is_point).map(|focal| focal.times_vector(model.prism));
        Some(Budget {
            model,
            sources: *sources,
            turn: polar.turn,
            cylinder: vector.half_cylinder().double(),
            centre,
            freedom: Freedom::new(self.count.saturating_mul(2).saturating_sub(5)),
            known: !matches!(sources.spots, SpotNoise::Residual),
        })
    }
}

impl Budget {
    /// Combined standard uncertainties (k = 1).
    ///
    /// # Accuracy
    /// That of [`Budget`].
    #[must_use]
    pub fn standard(&self) -> StandardUncertainty {
        let of = |measurand| self.expand(measurand, ONCE);
        StandardUncertainty {
            sphere: power(of(Measurand::Sphere)),
            cylinder: power(of(Measurand::Cylinder)),
            across: power(of(Measurand::Across)),
            axis: self.axis(ONCE),
            prism_x: prism(of(Measurand::PrismX)),
            prism_y: prism(of(Measurand::PrismY)),
            centre: self.centre(ONCE),
        }
    }

    /// Expanded uncertainties.
    ///
    /// # Accuracy
    /// That of [`Budget`], times the coverage factor.
    #[must_use]
    pub fn expanded(&self, coverage: Coverage) -> ExpandedUncertainty {
        let of = |measurand| self.expand(measurand, coverage);
        ExpandedUncertainty {
            sphere: power(of(Measurand::Sphere)),
            cylinder: power(of(Measurand::Cylinder)),
            across: power(of(Measurand::Across)),
            axis: self.axis(coverage),
            prism_x: prism(of(Measurand::PrismX)),
            prism_y: prism(of(Measurand::PrismY)),
            prism_amount: of(Measurand::PrismAmount).map(|u| prism(Some(u))),
            centre: self.centre(coverage),
        }
    }

    /// A result's degrees of freedom, and the shares of its components; `None` where the result has no uncertainty: the axis of a
    /// lens without cylinder, the amount of no prism, a centre that is no point.
    #[must_use]
    pub fn entry(&self, measurand: Measurand) -> Option<Entry> {
        let variances = self.variances(measurand)?;
        let share = |part: Scaled| {
            let share = if variances.total.is_positive() { part.over(variances.total) } else { Scaled::ZERO };
            Fraction::from_bits(math::saturate(share.to_fixed(Fraction::FRACTION_BITS)))
        };
        Some(Entry { freedom: self.effective_freedom(&variances), shares: variances.parts.map(share) })
    }

    /// Covariance of the power vector, without the parts that belong to single results: resolution and the further one.
    ///
    /// # Accuracy
    /// Within 0.2 % of the largest element, or one unit of 2^-40 D^2.
    #[must_use]
    pub fn covariance(&self) -> Covariance {
        let half = Scaled::of(1, -1);
        let factor = self.factor();
        let of = |xx: Scaled, xy: Scaled, yy: Scaled| Functional::of_power(Symmetric { xx, xy, yy }.scaled(factor));
        let m = of(half, Scaled::ZERO, half);
        let j0 = of(half, Scaled::ZERO, half.negated());
        let j45 = of(Scaled::ZERO, half, Scaled::ZERO);
        let variance = |result: Functional| self.propagated(&result).into_iter().fold(Scaled::ZERO, Scaled::plus);
        // A quarter of what the variances of sum and difference differ by.
        let element = |a: Functional, b: Functional| {
            let difference = variance(a.plus(b)).minus(variance(a.plus(b.scaled(number(-1)))));
            difference.times(Scaled::of(1, -2)).to_fixed(40)
        };
        Covariance {
            m: variance(m).to_fixed(40),
            j0: variance(j0).to_fixed(40),
            j45: variance(j45).to_fixed(40),
            m_j0: element(m, j0),
            m_j45: element(m, j45),
            j0_j45: element(j0, j45),
        }
    }

    /// What powers and prisms are multiplied by.
    fn factor(&self) -> Scaled {
        let factor = self.sources.wavelength.map(|wavelength| wavelength.correction.factor());
        factor.map_or(number(1), |factor| Scaled::of(i128::from(factor.to_bits()), -24))
    }

    fn functional(&self, measurand: Measurand) -> Option<Functional> {
        let [cos, sin] = direction(self.turn);
        let half = Scaled::of(1, -1);
        let one = number(1);
        let turned = |xx: Scaled, xy: Scaled, yy: Scaled| Functional::of_power(Symmetric { xx, xy, yy });
        let (more, less) = (one.plus(cos).times(half), one.minus(cos).times(half));
        let (lean, hundred) = (sin.times(half), number(100));
        let functional = match measurand {
            Measurand::Sphere => turned(more, lean, less),
            Measurand::Across => turned(less, lean.negated(), more),
            Measurand::Cylinder => turned(cos, sin, cos.negated()),
            Measurand::Axis => {
                if self.cylinder == Dioptre::ZERO {
                    return None;
                }
                let across = turned(lean.negated(), cos.times(half), lean);
                // 180 / pi, Q24.
                return Some(across.scaled(Scaled::of(961_263_669, -24).over(dioptres(self.cylinder))));
            }
            Measurand::PrismX => Functional::of_prism([hundred, Scaled::ZERO]),
            Measurand::PrismY => Functional::of_prism([Scaled::ZERO, hundred]),
            Measurand::PrismAmount => Functional::of_prism(self.base()?.map(|part| part.times(hundred))),
            Measurand::CentreX => return self.place([one, Scaled::ZERO]),
            Measurand::CentreY => return self.place([Scaled::ZERO, one]),
        };
        Some(functional.scaled(self.factor()))
    }

    /// Direction of the base; `None` of no prism.
    fn base(&self) -> Option<Vector> {
        let amount = dot(self.model.prism, self.model.prism).root();
        amount.is_positive().then(|| self.model.prism.map(|part| part.over(amount)))
    }

    /// A coordinate of the centre `r = F^-1 p`, in millimetres: `row . dp - row . dF r`.
    fn place(&self, coordinate: Vector) -> Option<Functional> {
        let centre = self.centre?;
        let row = self.model.focal()?.times_vector(coordinate).map(|part| part.times(number(1000)));
        Some(Functional { power: Symmetric::of_pair(row, centre).scaled(number(-1)), prism: row })
    }

    /// Variances of a result from spots, references, throw, gap, both, and the Abbe number.
    fn propagated(&self, result: &Functional) -> [Scaled; 6] {
        let model = &self.model;
        let [spots, references] = self.noise().map(Scaled::squared);
        let geometry = &self.sources.geometry;
        let throw = model.by_throw(result).times(length(geometry.throw.abs()));
        let gap = model.by_gap(result).times(length(geometry.gap.abs()));
        let correlation = geometry.correlation.to_bits().clamp(-1 << 24, 1 << 24);
        let common = throw.times(gap).times(Scaled::of(i128::from(correlation), -23));
        let wavelength = model.by_factor(result).times(self.relative_wavelength());
        let of_references = if self.known { model.by_references(result).times(references) } else { Scaled::ZERO };
        [
            model.by_spots(result).times(spots),
            of_references,
            throw.squared(),
            gap.squared(),
            common,
            wavelength.squared(),
        ]
    }

    /// Standard deviation of a spot's and of a reference's coordinate, metres.
    pub(super) fn noise(&self) -> [Scaled; 2] {
        match self.sources.spots {
            SpotNoise::Residual => [self.model.residual, Scaled::ZERO],
            SpotNoise::Known { centroid, frames, reference_frames, .. } => {
                // From 2^-14 um.
                let one = metres(i64::from(centroid.abs().to_bits()), Micrometre::FRACTION_BITS).over(number(1000));
                [frames, reference_frames].map(|frames| one.over(Scaled::of(i128::from(frames.get()), 0).root()))
            }
        }
    }

    /// Relative standard uncertainty of a corrected power.
    fn relative_wavelength(&self) -> Scaled {
        const PROBE: Dioptre = dioptres!(64.0);
        let Some(wavelength) = &self.sources.wavelength else { return Scaled::ZERO };
        let deviation = wavelength.correction.abbe_uncertainty(PROBE, wavelength.abbe_half_width);
        dioptres(deviation).over(dioptres(PROBE).times(self.factor()))
    }

    fn variances(&self, measurand: Measurand) -> Option<Variances> {
        let [spots, references, throw, gap, common, wavelength] = self.propagated(&self.functional(measurand)?);
        let twelfth = number(1).over(number(12));
        let resolution = self.step(measurand).squared().times(twelfth);
        let extra = self.extra(measurand)?;
        let parts = [spots, references, throw, gap, common, wavelength, resolution, extra];
        Some(Variances { total: parts.into_iter().fold(Scaled::ZERO, Scaled::plus), parts })
    }

    /// The step of a result as shown, in its own unit.
    fn step(&self, measurand: Measurand) -> Scaled {
        let resolution = &self.sources.resolution;
        let (bits, fraction_bits): (i32, i32) = match measurand {
            Measurand::Sphere | Measurand::Cylinder | Measurand::Across => (resolution.power.to_bits(), 20),
            Measurand::Axis => (resolution.axis.to_bits(), 20),
            Measurand::PrismX | Measurand::PrismY | Measurand::PrismAmount => (resolution.prism.to_bits(), 20),
            Measurand::CentreX | Measurand::CentreY => (resolution.position.to_bits(), 16),
        };
        Scaled::of(i128::from(bits), fraction_bits.wrapping_neg())
    }

    /// The further variance of a result.
    fn extra(&self, measurand: Measurand) -> Option<Scaled> {
        let extra = &self.sources.extra;
        let square =
            |bits: i32, fraction_bits: i32| Scaled::of(i128::from(bits), fraction_bits.wrapping_neg()).squared();
        let (x, y) = (square(extra.prism_x.to_bits(), 20), square(extra.prism_y.to_bits(), 20));
        Some(match measurand {
            Measurand::Sphere => square(extra.sphere.to_bits(), 20),
            Measurand::Cylinder => square(extra.cylinder.to_bits(), 20),
            Measurand::Across => square(extra.across.to_bits(), 20),
            Measurand::Axis => square(extra.axis.to_bits(), 20),
            Measurand::PrismX => x,
            Measurand::PrismY => y,
            Measurand::PrismAmount => dot(self.base()?.map(Scaled::squared), [x, y]),
            Measurand::CentreX => square(extra.centre.x.to_bits(), 16),
            Measurand::CentreY => square(extra.centre.y.to_bits(), 16),
        })
    }

    /// Welch and Satterthwaite: `u^4 / sum(u_i^4 / v_i)`, rounded down. Spots and references share the degrees of their one
    /// noise, gap and throw those of their calibration.
    fn effective_freedom(&self, variances: &Variances) -> Freedom {
        // What the roundings of some tens of operations may take from a whole number.
        const MARGIN: i64 = 1 << 6;
        let [spots, references, throw, gap, common, _, _, extra] = variances.parts;
        let of_noise = match self.sources.spots {
            SpotNoise::Residual => self.freedom,
            SpotNoise::Known { freedom, .. } => freedom,
        };
        let groups = [
            (spots.plus(references), of_noise),
            (throw.plus(gap).plus(common), self.sources.geometry.freedom),
            (extra, self.sources.extra.freedom),
        ];
        let sum = groups
            .into_iter()
            .filter(|(_, freedom)| !freedom.is_infinite())
            .fold(Scaled::ZERO, |sum, (part, freedom)| {
                sum.plus(part.squared().over(Scaled::of(i128::from(freedom.degrees()), 0)))
            });
        if !sum.is_positive() {
            return Freedom::INFINITE;
        }
        let degrees = variances.total.squared().over(sum).to_fixed(16).saturating_add(MARGIN) >> 16;
        Freedom::new(u32::try_from(degrees).unwrap_or(u32::MAX))
    }

    /// `k u` in the result's own unit.
    fn expand(&self, measurand: Measurand, coverage: Coverage) -> Option<Scaled> {
        let variances = self.variances(measurand)?;
        let factor = match coverage {
            Coverage::Factor(factor) => factor.abs(),
            level => level.factor(self.effective_freedom(&variances)),
        };
        Some(variances.total.root().times(Scaled::of(i128::from(factor.to_bits()), -24)))
    }

    /// `None` from 45 degrees of standard uncertainty on.
    fn axis(&self, coverage: Coverage) -> Option<Degree> {
        let degrees = |value: Scaled| Degree::from_bits(math::saturate(value.to_fixed(Degree::FRACTION_BITS)));
        let is_known = degrees(self.expand(Measurand::Axis, ONCE)?) <= degrees!(45.0);
        if is_known { self.expand(Measurand::Axis, coverage).map(degrees) } else { None }
    }

    fn centre(&self, coverage: Coverage) -> Option<Point> {
        let of = |measurand| {
            let expanded = self.expand(measurand, coverage)?;
            Some(Millimetre::from_bits(math::saturate(expanded.to_fixed(Millimetre::FRACTION_BITS))))
        };
        Some(Point::new(of(Measurand::CentreX)?, of(Measurand::CentreY)?))
    }
}

fn power(value: Option<Scaled>) -> Dioptre {
    value.map_or(Dioptre::MAX, |value| Dioptre::from_bits(math::saturate(value.to_fixed(Dioptre::FRACTION_BITS))))
}

fn prism(value: Option<Scaled>) -> PrismDioptre {
    let bits = |value: Scaled| PrismDioptre::from_bits(math::saturate(value.to_fixed(PrismDioptre::FRACTION_BITS)));
    value.map_or(PrismDioptre::MAX, bits)
}

#[cfg(feature = "defmt")]
impl defmt::Format for Budget {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{}", self.standard());
    }
}
