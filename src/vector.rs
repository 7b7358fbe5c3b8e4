//! Power as a vector (M, J0, J45) and as a matrix: the forms in which lenses add, turn and step.
//!
//! M is the spherical equivalent, J0 and J45 the components of the cross-cylinder:
//! `J0 = -(C/2) cos 2A`, `J45 = -(C/2) sin 2A`. The matrix is `[[M + J0, J45], [J45, M - J0]]`.
//!
//! # Source
//! Thibos, Wheeler and Horner 1997 (vector); Long 1976, Keating, Harris (matrix).

mod sample;

pub use sample::{Covariance, Sample};

use crate::math;
use crate::prism::Prism;
use crate::quantity::{Axis, Degree, Dioptre, Millimetre, Point, RefractiveIndex};
use crate::rx::{self, SpheroCylinder};
use core::fmt;
use core::iter::Sum;
use core::num::NonZeroU64;
use core::ops::{Add, Neg, Sub};

/// Why an operation on powers has no result.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Error {
    /// A component is saturated: the true value is unknown.
    Saturated,
    /// A meridian has less power than [`LEAST_POWER`]: its focal length is out of reach.
    NoPower,
    /// The step times the power reaches 2: far outside the use of a spectacle lens.
    StepRange,
    /// A focal point lies within the step, or too near its end to tell.
    FocusInStep,
}

impl Error {
    /// The operands are out of the operation's range.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(self, Self::Saturated | Self::StepRange)
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Saturated => "a power is saturated",
            Self::NoPower => "a meridian has no power",
            Self::StepRange => "the step times the power is 2 or more",
            Self::FocusInStep => "a focal point lies within the step",
        })
    }
}

impl core::error::Error for Error {}

/// A principal power below this, 0.02 D, counts as none where something is divided by it.
///
/// A bench reads powers to about 0.01 D; a centre or focal length from less than twice that would be noise. Common
/// practice, no source.
pub const LEAST_POWER: Dioptre = dioptres!(0.02);

/// Power as mean power and cross-cylinder components, dioptres.
///
/// Sums, differences and negations are exact, and saturate component by component.
///
/// ```
/// use dioptric::{rx::SpheroCylinder, vector::PowerVector};
/// let (a, b): (SpheroCylinder, SpheroCylinder) = ("+3.00 -1.50 x 10".parse()?, "+2.00 -0.75 x 100".parse()?);
/// let sum = PowerVector::from(a) + PowerVector::from(b);
/// assert_eq!(sum.sphero_cylinder().unwrap().to_string(), "+4.25 -0.75 x 010");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct PowerVector {
    /// Mean power: the spherical equivalent.
    pub m: Dioptre,
    /// Cross-cylinder with axes at 180 and 90.
    pub j0: Dioptre,
    /// Cross-cylinder with axes at 45 and 135.
    pub j45: Dioptre,
}

impl From<SpheroCylinder> for PowerVector {
    /// # Accuracy
    /// Each component within 0.6 units of 2^-20 D, and 0.9e-6 D in all, of exact. Both forms of a prescription give the
    /// same bits; the negated lens gives the negated bits.
    #[inline]
    fn from(rx: SpheroCylinder) -> Self {
        let cylinder = rx.cylinder().to_bits();
        // The components of minus half the cylinder: the complement's top bit is the opposite sign.
        let (j0, j45) =
            math::half_components_of(cylinder.unsigned_abs(), !cylinder.cast_unsigned(), rx.axis().to_bits());
        Self { m: rx.spherical_equivalent(), j0: Dioptre::from_small_bits(j0), j45: Dioptre::from_small_bits(j45) }
    }
}

impl PowerVector {
    /// No power.
    pub const ZERO: Self = Self { m: Dioptre::ZERO, j0: Dioptre::ZERO, j45: Dioptre::ZERO };

    /// The prescription in minus-cylinder form.
    ///
    /// # Accuracy
    /// Sphere within 0.6e-6 D, cylinder within 1.2e-6 D; axis within 2e-7 degree of the direction of (J0, J45); a power
    /// without cylinder has axis 180. The spherical equivalent of the result is M to the bit.
    ///
    /// # Errors
    /// [`rx::Error`] beyond the range of a prescription, saturated components included.
    #[inline]
    pub fn sphero_cylinder(self) -> Result<SpheroCylinder, rx::Error> {
        let polar = math::polar(self.j0.to_bits(), self.j45.to_bits());
        SpheroCylinder::from_mean(self.m.to_bits(), polar.radius, Axis::from_bits(polar.turn))
    }

    /// Half the cylinder: the length of (J0, J45).
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 D plus 3e-9 of itself.
    #[must_use]
    pub fn half_cylinder(self) -> Dioptre {
        if self.j0.is_saturated() || self.j45.is_saturated() {
            return Dioptre::MAX;
        }
        let radius = math::polar(self.j0.to_bits(), self.j45.to_bits()).radius;
        Dioptre::from_bits(i32::try_from(radius).unwrap_or(i32::MAX))
    }

    /// Blur strength: the length of (M, J0, J45).
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 D; saturates.
    ///
    /// # Source
    /// Thibos, Wheeler and Horner 1997.
    #[must_use]
    pub fn blur_strength(self) -> Dioptre {
        if self.is_saturated() {
            return Dioptre::MAX;
        }
        // Three squares below 2^62 each.
        let square = |part: Dioptre| u64::from(part.to_bits().unsigned_abs()).wrapping_pow(2);
        let root = math::sqrt(square(self.m).wrapping_add(square(self.j0)).wrapping_add(square(self.j45)));
        Dioptre::from_bits(i32::try_from(root).unwrap_or(i32::MAX))
    }

    /// Power along a meridian: the sine-squared law, `S + C sin^2(meridian - A)`.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 D plus 4e-9 of the half cylinder.
    ///
    /// # Source
    /// Long 1976 (curvital power).
    #[must_use]
    pub fn power_along(self, meridian: Axis) -> Dioptre {
        if self.is_saturated() {
            return Dioptre::MAX;
        }
        let (cos, sin) = math::cos_sin(meridian.to_bits());
        self.m + sum_of_products(self.j0, cos, self.j45, sin)
    }

    /// Torsional power along a meridian, `C sin(meridian - A) cos(meridian - A)`: the off-diagonal of the matrix in axes
    /// turned to that meridian.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 D plus 4e-9 of the half cylinder.
    ///
    /// # Source
    /// Long 1976; Keating.
    #[must_use]
    pub fn torsion_along(self, meridian: Axis) -> Dioptre {
        if self.is_saturated() {
            return Dioptre::MAX;
        }
        let (cos, sin) = math::cos_sin(meridian.to_bits());
        sum_of_products(self.j45, cos, -self.j0, sin)
    }

    /// The lens turned counter-clockwise by `angle`, as the observer sees it.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 D plus 4e-9 of the half cylinder; multiples of 45 degrees exact.
    #[must_use]
    pub fn turned(self, angle: Degree) -> Self {
        if self.is_saturated() || angle.is_saturated() {
            return Self { j0: Dioptre::MAX, j45: Dioptre::MAX, ..self };
        }
        let (cos, sin) = math::cos_sin(Axis::HORIZONTAL.turned(angle).to_bits());
        Self {
            m: self.m,
            j0: sum_of_products(self.j0, cos, -self.j45, sin),
            j45: sum_of_products(self.j45, cos, self.j0, sin),
        }
    }

    /// What is left to correct when `self` is wanted and `placed` is there: `self - placed`. Exact.
    #[must_use]
    pub fn residual_after(self, placed: Self) -> Self {
        self - placed
    }

    /// Any component is at an end of its scale.
    #[must_use]
    pub const fn is_saturated(self) -> bool {
        self.m.is_saturated() || self.j0.is_saturated() || self.j45.is_saturated()
    }
}

/// `a * p + b * q` with `p` and `q` in Q1.30.
///
/// Each product is below 2^61 in magnitude: their sum fits.
fn sum_of_products(a: Dioptre, p: i32, b: Dioptre, q: i32) -> Dioptre {
    let first = i64::from(a.to_bits()).wrapping_mul(i64::from(p));
    let second = i64::from(b.to_bits()).wrapping_mul(i64::from(q));
    Dioptre::from_bits(math::saturate(math::shift_round(first.wrapping_add(second), 30)))
}

impl Add for PowerVector {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        Self { m: self.m + other.m, j0: self.j0 + other.j0, j45: self.j45 + other.j45 }
    }
}

impl Sub for PowerVector {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        Self { m: self.m - other.m, j0: self.j0 - other.j0, j45: self.j45 - other.j45 }
    }
}

impl Neg for PowerVector {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self { m: -self.m, j0: -self.j0, j45: -self.j45 }
    }
}

impl Sum for PowerVector {
    fn sum<I: Iterator<Item = Self>>(lenses: I) -> Self {
        lenses.fold(Self::ZERO, Add::add)
    }
}

impl fmt::Display for PowerVector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("M ")?;
        fmt::Display::fmt(&self.m, f)?;
        f.write_str(" J0 ")?;
        fmt::Display::fmt(&self.j0, f)?;
        f.write_str(" J45 ")?;
        fmt::Display::fmt(&self.j45, f)
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for PowerVector {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "M {} J0 {} J45 {}", self.m, self.j0, self.j45);
    }
}

/// Power as the symmetric matrix that takes a point of the lens to the slope it gives the light, dioptres.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PowerMatrix {
    /// Horizontal power.
    pub xx: Dioptre,
    /// Torsional power.
    pub xy: Dioptre,
    /// Vertical power.
    pub yy: Dioptre,
}

impl From<PowerVector> for PowerMatrix {
    /// Exact; saturates.
    fn from(v: PowerVector) -> Self {
        Self { xx: v.m + v.j0, xy: v.j45, yy: v.m - v.j0 }
    }
}

impl From<PowerMatrix> for PowerVector {
    /// # Accuracy
    /// Within half a unit of 2^-20 D.
    fn from(f: PowerMatrix) -> Self {
        Self { m: (f.xx + f.yy).half(), j0: (f.xx - f.yy).half(), j45: f.xy }
    }
}

impl From<SpheroCylinder> for PowerMatrix {
    /// # Accuracy
    /// Within 1.2 units of 2^-20 D.
    fn from(rx: SpheroCylinder) -> Self {
        PowerVector::from(rx).into()
    }
}

/// A matrix of focal lengths, millimetres: the inverse of a power.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FocalMatrix {
    /// Horizontal.
    pub xx: Millimetre,
    /// Torsional.
    pub xy: Millimetre,
    /// Vertical.
    pub yy: Millimetre,
}

impl PowerMatrix {
    /// The sum of the principal powers, twice the mean power. Exact; saturates.
    #[must_use]
    pub fn trace(self) -> Dioptre {
        self.xx + self.yy
    }

    /// The product of the principal powers, in units of 2^-40 D^2. Exact.
    ///
    /// # Range
    /// Two products below 2^62 each.
    #[must_use]
    pub fn determinant_bits(self) -> i64 {
        let [xx, xy, yy] = self.bits();
        xx.wrapping_mul(yy).wrapping_sub(xy.wrapping_mul(xy))
    }

    #[inline]
    pub(crate) fn bits(self) -> [i64; 3] {
        [i64::from(self.xx.to_bits()), i64::from(self.xy.to_bits()), i64::from(self.yy.to_bits())]
    }

    /// Any element is at an end of its scale.
    #[must_use]
    pub const fn is_saturated(self) -> bool {
        self.xx.is_saturated() || self.xy.is_saturated() || self.yy.is_saturated()
    }

    /// The prism at a point, counted from the optical centre: `p = -F r`.
    ///
    /// # Units
    /// Point in millimetres, prism in prism dioptres.
    ///
    /// # Range
    /// Elements below 512 D, as every lens has; beyond, and for saturated operands, the prism is saturated.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 prism dioptre.
    ///
    /// # Source
    /// Prentice's rule in matrix form (Long 1976).
    #[must_use]
    pub fn prism_at(self, point: Point) -> Prism {
        const UNIT: NonZeroU64 = NonZeroU64::new(10 << Millimetre::FRACTION_BITS).unwrap();
        const MOST: i64 = 512 << Dioptre::FRACTION_BITS;
        let [xx, xy, yy] = self.bits();
        if point.is_saturated() || [xx, xy, yy].iter().any(|element| element.unsigned_abs() > MOST.unsigned_abs()) {
            return Prism::SATURATED;
        }
        let (x, y) = (i64::from(point.x.to_bits()), i64::from(point.y.to_bits()));
        // Products below 2^60, their sum below 2^61.
        let component = |a: i64, b: i64| {
            let sum = a.wrapping_mul(x).wrapping_add(b.wrapping_mul(y));
            math::saturate(math::div_round(sum.wrapping_neg(), UNIT))
        };
        Prism::from_bits(component(xx, xy), component(xy, yy))
    }

    /// The focal lengths, `F^-1`.
    ///
    /// # Accuracy
    /// Within 5e-10 of the longest focal length, and half a unit of 15 nm.
    ///
    /// # Errors
    /// [`Error::NoPower`] when a principal power is below [`LEAST_POWER`] or a focal length beyond 32 m;
    /// [`Error::Saturated`].
    pub fn inverse(self) -> Result<FocalMatrix, Error> {
        if self.is_saturated() {
            return Err(Error::Saturated);
        }
        let (strong, weak) = PowerVector::from(self).principal_magnitudes();
        if strong.min(weak) < LEAST_POWER {
            return Err(Error::NoPower);
        }
        let det = self.determinant_bits();
        // 1000 mm per metre: element * 2^20 D / (det * 2^40 D^2) is metres; 2^36 more makes it 2^-16 m.
        let length = |element: i64| {
            let bits = math::ratio(element.wrapping_mul(1000), det, 36);
            let length = Millimetre::from_bits(math::saturate(bits));
            if length.is_saturated() { Err(Error::NoPower) } else { Ok(length) }
        };
        let [xx, xy, yy] = self.bits();
        Ok(FocalMatrix { xx: length(yy)?, xy: length(xy.wrapping_neg())?, yy: length(xx)? })
    }

    /// The vergence after a step of `distance` towards the eye: `F (I - d F)^-1`.
    ///
    /// # Range
    /// `|d F| < 2` in every element, `det(I - d F) >= 1/64`.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 D plus `4e-9 (|F| + |result|) / det(I - d F)`, where `|F|` is the stronger principal power.
    ///
    /// # Errors
    /// [`Error::StepRange`], [`Error::FocusInStep`], [`Error::Saturated`].
    ///
    /// # Source
    /// Effectivity in matrix form (Keating; Harris).
    ///
    /// ```
    /// use dioptric::{dioptres, millimetres, quantity::Dioptre, vector::PowerMatrix};
    /// let sphere = PowerMatrix { xx: dioptres!(10.0), xy: Dioptre::ZERO, yy: dioptres!(10.0) };
    /// assert_eq!(sphere.stepped(millimetres!(12.0)).unwrap().xx.to_string(), "+11.36"); // 10 / (1 - 0.12)
    /// ```
    pub fn stepped(self, distance: Millimetre) -> Result<Self, Error> {
        if self.is_saturated() || distance.is_saturated() {
            return Err(Error::Saturated);
        }
        self.after(&Dimensionless::of(self, distance).ok_or(Error::StepRange)?)
    }

    /// [`Self::stepped`] through a distance in a medium: `F (I - (d/n) F)^-1`.
    ///
    /// The reduced distance is never rounded to a length: 8 nm of it would already be 5e-6 D at 25 D.
    ///
    /// # Errors
    /// Those of [`Self::stepped`].
    pub(crate) fn stepped_in(self, distance: Millimetre, index: RefractiveIndex) -> Result<Self, Error> {
        if self.is_saturated() || distance.is_saturated() {
            return Err(Error::Saturated);
        }
        self.after(&Dimensionless::reduced(self, distance, index).ok_or(Error::StepRange)?)
    }

    /// `F (I - A)^-1` for `A`, a multiple of `F`.
    fn after(self, step: &Dimensionless) -> Result<Self, Error> {
        let (determinant, trace_positive) = step.complement();
        if determinant < ONE_Q30 >> 6 || !trace_positive {
            return Err(Error::FocusInStep);
        }
        let divisor = NonZeroU64::new(determinant.unsigned_abs()).ok_or(Error::FocusInStep)?;
        let [xx, xy, yy] = self.bits();
        // F - d det F: each product is below 2^31 * 2^32.
        let numerator = |element: i64, other: i64| {
            element.wrapping_mul(ONE_Q30.wrapping_sub(other)).wrapping_add(xy.wrapping_mul(step.xy))
        };
        if [xx, xy, yy].iter().any(|element| element.unsigned_abs() >= 1 << 29) {
            return Err(Error::StepRange);
        }
        let element = |numerator: i64| Dioptre::from_bits(math::saturate(math::div_round(numerator, divisor)));
        Ok(Self { xx: element(numerator(xx, step.yy)), xy: element(xy << 30), yy: element(numerator(yy, step.xx)) })
    }
}

const ONE_Q30: i64 = 1 << 30;

/// A length times a power matrix, Q30, elements within 2.
pub(crate) struct Dimensionless {
    pub(crate) xx: i64,
    pub(crate) xy: i64,
    pub(crate) yy: i64,
}

impl Dimensionless {
    pub(crate) fn of(power: PowerMatrix, distance: Millimetre) -> Option<Self> {
        // 2^-36 of mm D, 1000 of which make one: 2^-30 of one is 64000 of them.
        const UNIT: NonZeroU64 = NonZeroU64::new(1000 << 6).unwrap();
        let times = |element: i64| {
            let product = element.wrapping_mul(i64::from(distance.to_bits()));
            let value = math::div_round(product, UNIT);
            (value.unsigned_abs() < 2 << 30).then_some(value)
        };
        let [xx, xy, yy] = power.bits();
        Some(Self { xx: times(xx)?, xy: times(xy)?, yy: times(yy)? })
    }

    /// The distance over the index, times the power.
    ///
    /// # Accuracy
    /// Within half a unit plus 6e-10 of itself.
    pub(crate) fn reduced(power: PowerMatrix, distance: Millimetre, index: RefractiveIndex) -> Option<Self> {
        // 2^-36 of mm D over 1000 times 2^-29: 23 more bits make it 2^-30. The divisor is below 2^41.
        const UP: u32 = 30 + RefractiveIndex::FRACTION_BITS - Dioptre::FRACTION_BITS - Millimetre::FRACTION_BITS;
        let divisor = i64::from(index.to_bits()).wrapping_mul(1000);
        let times = |element: i64| {
            let product = element.wrapping_mul(i64::from(distance.to_bits()));
            let value = math::ratio(product, divisor, UP);
            (value.unsigned_abs() < 2 << 30).then_some(value)
        };
        let [xx, xy, yy] = power.bits();
        Some(Self { xx: times(xx)?, xy: times(xy)?, yy: times(yy)? })
    }

    /// `det(I - A)` in Q30, and whether `trace(I - A)` is positive.
    pub(crate) fn complement(&self) -> (i64, bool) {
        // Products below 2^62, their difference below 2^63.
        let products = self.xx.wrapping_mul(self.yy).wrapping_sub(self.xy.wrapping_mul(self.xy));
        let rest = ONE_Q30.wrapping_sub(self.xx).wrapping_sub(self.yy);
        (rest.wrapping_add(math::shift_round(products, 30)), rest.wrapping_add(ONE_Q30) > 0)
    }
}

impl PowerVector {
    /// The magnitudes of the two principal powers: along the minus-cylinder axis, and across it.
    pub(crate) fn principal_magnitudes(self) -> (Dioptre, Dioptre) {
        let half = self.half_cylinder();
        ((self.m + half).abs(), (self.m - half).abs())
    }
}
