//! The fit of a lens to slope sums, stepped back to the vertex.

use super::moments::{Moments, Normal, RATIO_BITS, Ratio, product};
use super::{Error, Geometry, SlopeSums};
use crate::math;
use crate::prism::{self, Prism};
use crate::quantity::{Bearing, Degree, Dioptre, Micrometre, Millimetre, Point, PrismDioptre};
use crate::rx::{self, SpheroCylinder};
use crate::vector::{PowerMatrix, PowerVector};
use core::num::NonZeroU64;

/// The lens that fits the spots best: its power at the back vertex, and its prism on the sensor's axis.
///
/// # Source
/// Symmetric five-parameter least squares over the slopes; step back in matrix form.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Fit {
    pub(super) power: PowerMatrix,
    pub(super) prism: Prism,
    pub(super) geometry: Geometry,
    pub(super) count: u32,
    /// Standard deviation of a displacement, 2^-24 mm.
    pub(super) deviation: u32,
    /// Mean of the spots' references, 2^-24 mm.
    pub(super) centroid: (i64, i64),
    pub(super) normal: Normal,
    /// Root of the summed squares of the references' distances from their mean, 2^-16 mm.
    pub(super) spread: u32,
    rotation: i64,
}

/// The optical centre: where the lens has no prism.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Centre {
    /// One point.
    Point(Point),
    /// A meridian has no power: the prism along the other one vanishes on a line.
    Line {
        /// The line's point nearest the sensor's axis.
        nearest: Point,
        /// Its direction.
        direction: Bearing,
        /// Prism along the line, the same everywhere: with none, every point of the line is an optical centre.
        remaining: Prism,
    },
    /// No meridian has power: the prism is the same everywhere.
    None,
}

impl Centre {
    /// The centre, if it is a point.
    #[must_use]
    pub const fn point(self) -> Option<Point> {
        match self {
            Self::Point(point) => Some(point),
            Self::Line { .. } | Self::None => None,
        }
    }
}

impl SlopeSums {
    /// Fits a lens.
    ///
    /// # Accuracy
    /// Against exact least squares of the same spots, exactly stepped back, for powers to 64 D, spots whose mean lies within
    /// 12 mm of the axis, and any pattern that is accepted; `K` is the larger principal value of `I - gap F` (above 1 behind a
    /// minus lens), at least 1:
    /// - power within `K^2 2e-6 D`;
    /// - prism within `K (2e-6 + 9e-6 mm / throw)` prism dioptres, plus the power's bound times the gap in metres times the
    ///   prism at the plate.
    ///
    /// # Errors
    /// [`Error::TooFewSpots`], [`Error::Collinear`], [`Error::SlopeRange`], [`Error::SingularStepBack`].
    pub fn fit(&self, geometry: &Geometry) -> Result<Fit, Error> {
        let count = NonZeroU64::new(u64::from(self.count)).filter(|n| n.get() >= 3).ok_or(Error::TooFewSpots)?;
        let moments = Moments::of(self, count)?;
        let ratio = moments.solve()?;
        let power = at_plate(ratio, geometry)?.stepped(-geometry.gap()).map_err(|_| Error::SingularStepBack)?;
        let mean = |sum: i64| math::div_round(sum << MEAN_SHIFT, count);
        let [x, y, u, v] = self.linear.map(mean);
        Ok(Fit {
            power,
            prism: prism_on_axis(on_axis(ratio, (x, y), (u, v)), power, geometry),
            geometry: *geometry,
            count: self.count,
            deviation: moments.deviation(ratio),
            centroid: (x, y),
            normal: moments.normal,
            spread: moments.spread(),
            rotation: moments.rotation(),
        })
    }
}

/// Extra bits of a mean: 2^-24 mm.
pub(super) const MEAN_SHIFT: u32 = 8;

/// Powers at the plate that can be stepped stay below this.
const MOST_POWER: Dioptre = dioptres!(512.0);

/// Power at the plate: `V = A / throw`.
fn at_plate(ratio: Ratio, geometry: &Geometry) -> Result<PowerMatrix, Error> {
    let throw = i64::from(geometry.throw().to_bits());
    // 1000 mm per metre; 2^-28 over 2^-16 mm to 2^-20 D leaves 2^8.
    let element = |value: i64| {
        let power = Dioptre::from_bits(math::saturate(math::ratio(value.wrapping_mul(1000), throw, 8)));
        if power.abs() < MOST_POWER { Ok(power) } else { Err(Error::SlopeRange) }
    };
    Ok(PowerMatrix { xx: element(ratio.xx)?, xy: element(ratio.xy)?, yy: element(ratio.yy)? })
}

/// Displacement at the sensor's axis, 2^-24 mm: `throw s0 = mean(u) + A mean(x)`.
pub(super) fn on_axis(ratio: Ratio, (x, y): (i64, i64), (u, v): (i64, i64)) -> (i64, i64) {
    // |A| < 2^30, means below 2^29: products below 2^59.
    let moved = |a: i64, b: i64| math::shift_round(a.wrapping_mul(x).wrapping_add(b.wrapping_mul(y)), RATIO_BITS);
    (u.wrapping_add(moved(ratio.xx, ratio.xy)), v.wrapping_add(moved(ratio.xy, ratio.yy)))
}

/// Prism at the vertex: `100 (I - gap F) s0`, which equals `100 (I + gap V)^-1 s0`.
fn prism_on_axis(displacement: (i64, i64), power: PowerMatrix, geometry: &Geometry) -> Prism {
    if power.is_saturated() {
        return Prism::SATURATED;
    }
    let back = StepBack::of(power, geometry.gap());
    let throw = geometry.throw();
    Prism {
        x: prism_component((back.xx, back.xy), displacement, throw),
        y: prism_component((back.xy, back.yy), displacement, throw),
    }
}

/// Prism of a row of the step back, Q28, and a displacement, 2^-24 mm.
///
/// Absurd spots reach 2^33 units of 2^-24 mm, the step back 2^34: 28 bits more in each leave 2^-6 of their product.
#[cfg_attr(dioptric_narrow_multiplier, inline(never))]
fn prism_component(row: (i64, i64), displacement: (i64, i64), throw: Millimetre) -> PrismDioptre {
    let part = |back: i64, moved: i64| product(back << 28, moved << 28);
    let sum = part(row.0, displacement.0).saturating_add(part(row.1, displacement.1));
    // Q22 times 2^-24 mm over 2^-16 mm to 2^-20, times 100: 25 / 2^8. Five more bits keep the factor 25 from the rounding;
    // the ratio is below 2^43.
    let value = math::ratio(sum, i64::from(throw.to_bits()) << 8, 5).wrapping_mul(25);
    PrismDioptre::from_bits(math::saturate(math::shift_round(value, 5)))
}

/// `I - gap F` in Q28: takes slopes at the plate to slopes at the vertex.
pub(super) struct StepBack {
    pub(super) xx: i64,
    pub(super) xy: i64,
    pub(super) yy: i64,
}

impl StepBack {
    pub(super) fn of(power: PowerMatrix, gap: Millimetre) -> Self {
        // 2^-36 m D / 1000 to 2^-28.
        const UNIT: NonZeroU64 = NonZeroU64::new(1000 << 8).unwrap();
        let part = |element: Dioptre| {
            let product = i64::from(element.to_bits()).wrapping_mul(i64::from(gap.to_bits()));
            math::div_round(product, UNIT).wrapping_neg()
        };
        let one = 1i64 << 28;
        Self { xx: part(power.xx).wrapping_add(one), xy: part(power.xy), yy: part(power.yy).wrapping_add(one) }
    }
}

impl Fit {
    /// Back vertex power as a matrix.
    #[must_use]
    pub const fn power(&self) -> PowerMatrix {
        self.power
    }

    /// Back vertex power as a vector.
    #[must_use]
    pub fn vector(&self) -> PowerVector {
        self.power.into()
    }

    /// Back vertex power in minus-cylinder form.
    ///
    /// # Errors
    /// [`rx::Error`] beyond the range of a prescription.
    pub fn sphero_cylinder(&self) -> Result<SpheroCylinder, rx::Error> {
        self.vector().sphero_cylinder()
    }

    /// Prism where the sensor's axis meets the lens.
    #[must_use]
    pub const fn prism(&self) -> Prism {
        self.prism
    }

    /// Prism at a point of the lens, counted from the sensor's axis: that on the axis, plus Prentice's.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 prism dioptre of the plane of [`Fit::prism`] and [`Fit::power`].
    #[must_use]
    pub fn prism_at(&self, point: Point) -> Prism {
        self.prism + self.power.prism_at(point)
    }

    /// The optical centre, seen from the sensor's axis.
    ///
    /// # Accuracy
    /// That of [`prism::decentration`].
    #[must_use]
    pub fn centre(&self) -> Centre {
        match prism::decentration(self.power, self.prism) {
            Ok(point) => Centre::Point(point),
            Err(prism::NoPower { free: None, .. }) => Centre::None,
            Err(prism::NoPower { reachable, missing, free: Some(direction) }) => {
                Centre::Line { nearest: reachable, direction, remaining: missing }
            }
        }
    }

    /// Standard deviation of what the fit leaves of a displacement component, with `2n - 5` degrees of freedom.
    ///
    /// # Accuracy
    /// Within 0.1 nm of exact least squares to 150 spots; with more, within 20 nm in quadrature (2 nm of 0.1 um).
    #[must_use]
    pub fn residual(&self) -> Micrometre {
        // 2^-24 mm to 2^-14 um: 1000 / 2^10.
        let scaled = i64::from(self.deviation).wrapping_mul(1000);
        Micrometre::from_bits(math::saturate(math::shift_round(scaled, 10)))
    }

    /// Rotation of the spots about their mean that the symmetric fit leaves over, counter-clockwise.
    ///
    /// A lens gives next to none: it tells a detector turned against its reference, or spots given to the wrong holes. A
    /// prism of 4 prism dioptres leaves some 1e-3 degree.
    ///
    /// # Accuracy
    /// Within one unit of 2^-20 degree.
    #[must_use]
    pub fn rotation(&self) -> Degree {
        // 180 / pi in 2^-20 degree per radian, over 2^28.
        const DEGREES_PER_RADIAN: i64 = 60_078_979;
        let scaled = math::saturate(self.rotation);
        let degrees = math::shift_round(i64::from(scaled).wrapping_mul(DEGREES_PER_RADIAN), RATIO_BITS);
        Degree::from_bits(math::saturate(degrees))
    }

    /// Spots in the fit.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// The geometry the fit was made with.
    #[must_use]
    pub const fn geometry(&self) -> Geometry {
        self.geometry
    }

    /// Prism in either component beyond the scale, or a power beyond it.
    #[must_use]
    pub fn is_saturated(&self) -> bool {
        self.prism.is_saturated() || self.power.is_saturated()
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Fit {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "{} prism {} residual {} um of {} spots",
            self.vector(),
            self.prism,
            self.residual(),
            self.count
        );
    }
}
