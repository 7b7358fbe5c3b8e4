//! Prism as a vector that points to the base: naming bases, adding, resolving, Prentice's rule and its inverse.

mod notation;

pub use notation::{Eye, EyePrism};

use crate::math;
use crate::quantity::{Axis, Bearing, Degree, Millimetre, Point, PrismDioptre, RefractiveIndex};
use crate::vector::{LEAST_POWER, PowerMatrix, PowerVector};
use core::fmt;
use core::iter::Sum;
use core::num::NonZeroU64;
use core::ops::{Add, Neg, Sub};

/// Prism in prism dioptres, pointing to the base: x to the observer's right, y up, for both eyes.
///
/// Sums are exact and saturate component by component.
///
/// ```
/// use dioptric::{bearing, prism::Prism, prism_dioptres};
/// let a = Prism::from_base(prism_dioptres!(3.0), bearing!(0.0));
/// let b = Prism::from_base(prism_dioptres!(4.0), bearing!(90.0));
/// let (amount, base) = (a + b).resultant();
/// assert_eq!((amount.to_string(), base.to_string()), ("5.00".into(), "053".into()));
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Prism {
    /// Component with the base to the observer's right.
    pub x: PrismDioptre,
    /// Component with the base up.
    pub y: PrismDioptre,
}

impl Prism {
    /// No prism.
    pub const ZERO: Self = Self { x: PrismDioptre::ZERO, y: PrismDioptre::ZERO };
    /// Beyond the scale in both components.
    pub const SATURATED: Self = Self { x: PrismDioptre::MAX, y: PrismDioptre::MAX };

    /// From the two components.
    #[must_use]
    pub const fn new(x: PrismDioptre, y: PrismDioptre) -> Self {
        Self { x, y }
    }

    pub(crate) const fn from_bits(x: i32, y: i32) -> Self {
        Self { x: PrismDioptre::from_bits(x), y: PrismDioptre::from_bits(y) }
    }

    /// Resolves an amount and a base bearing into components. A negative amount points the other way.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 plus 3e-9 of the amount; quarter turns exact.
    #[must_use]
    pub fn from_base(amount: PrismDioptre, base: Bearing) -> Self {
        if amount.is_saturated() {
            return Self::SATURATED;
        }
        let (cos, sin) = math::cos_sin(base.to_bits());
        let component = |part: i32| {
            let product = i64::from(amount.to_bits()).wrapping_mul(i64::from(part));
            PrismDioptre::from_bits(math::saturate(math::shift_round(product, 30)))
        };
        Self { x: component(cos), y: component(sin) }
    }

    /// The resultant: amount and base bearing; the bearing of no prism is that of base to the right.
    ///
    /// # Accuracy
    /// Amount within half a unit of 2^-20 plus 3e-9 of itself, saturating; bearing within 4e-7 degree of the components'
    /// direction.
    #[must_use]
    pub fn resultant(self) -> (PrismDioptre, Bearing) {
        let polar = math::polar(self.x.to_bits(), self.y.to_bits());
        let radius = if self.is_saturated() { i32::MAX } else { i32::try_from(polar.radius).unwrap_or(i32::MAX) };
        (PrismDioptre::from_bits(radius), Bearing::from_bits(polar.turn))
    }

    /// The component with its base along a bearing.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 plus 4e-9 of the resultant.
    #[must_use]
    pub fn component(self, base: Bearing) -> PrismDioptre {
        if self.is_saturated() {
            return PrismDioptre::MAX;
        }
        let (cos, sin) = math::cos_sin(base.to_bits());
        let x = i64::from(self.x.to_bits()).wrapping_mul(i64::from(cos));
        let y = i64::from(self.y.to_bits()).wrapping_mul(i64::from(sin));
        PrismDioptre::from_bits(math::saturate(math::shift_round(x.wrapping_add(y), 30)))
    }

    /// Either component is at an end of its scale.
    #[must_use]
    pub const fn is_saturated(self) -> bool {
        self.x.is_saturated() || self.y.is_saturated()
    }

    /// The prism in a vertical mirror: right eye's to left eye's. Exact.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self { x: -self.x, y: self.y }
    }

    /// Shares a prism that is written for the right eye between both: `(right, left)`, with the same effect on the pair.
    ///
    /// What the pair feels is `right - left`, which stays this prism to the bit; the left eye takes its part the other way
    /// round. `right_percent` is the right eye's part, 0 to 100.
    ///
    /// ```
    /// use dioptric::{prism::{Eye, Prism}};
    /// let whole = Prism::parse("3.00 base in 1.00 base up", Eye::Right)?;
    /// let (right, left) = whole.shared(50);
    /// assert_eq!(right.of(Eye::Right).to_string(), "1.50 base in 0.50 base up");
    /// assert_eq!(left.of(Eye::Left).to_string(), "1.50 base in 0.50 base down");
    /// # Ok::<(), dioptric::text::ParseError>(())
    /// ```
    #[must_use]
    pub fn shared(self, right_percent: u8) -> (Self, Self) {
        const HUNDRED: NonZeroU64 = NonZeroU64::new(100).unwrap();
        let part = |component: PrismDioptre| {
            if component.is_saturated() {
                return component;
            }
            let scaled = i64::from(component.to_bits()).wrapping_mul(i64::from(right_percent.min(100)));
            PrismDioptre::from_bits(math::saturate(math::div_round(scaled, HUNDRED)))
        };
        let right = Self { x: part(self.x), y: part(self.y) };
        (right, right - self)
    }
}

impl Add for Prism {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        Self { x: self.x + other.x, y: self.y + other.y }
    }
}

impl Sub for Prism {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        Self { x: self.x - other.x, y: self.y - other.y }
    }
}

impl Neg for Prism {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self { x: -self.x, y: -self.y }
    }
}

impl Sum for Prism {
    fn sum<I: Iterator<Item = Self>>(prisms: I) -> Self {
        prisms.fold(Self::ZERO, Add::add)
    }
}

/// Deviation of light by a prism: `atan(P / 100)`.
///
/// # Accuracy
/// Within one unit of 2^-20 degree (1e-6).
///
/// # Source
/// Definition of the prism dioptre (ISO 13666): 1 cm in 1 m.
///
/// ```
/// assert_eq!(format!("{:.4}", dioptric::prism::deviation(dioptric::prism_dioptres!(7.0))), "4.0042");
/// ```
#[must_use]
pub fn deviation(prism: PrismDioptre) -> Degree {
    if prism.is_saturated() {
        return if prism < PrismDioptre::ZERO { Degree::MIN } else { Degree::MAX };
    }
    let turn = math::atan2(prism.to_bits(), 100 << PrismDioptre::FRACTION_BITS);
    // A turn of 2^32 is 360 degrees; the angle lies within a quarter turn.
    let degrees = math::shift_round(i64::from(turn.cast_signed()).wrapping_mul(360), 32 - Degree::FRACTION_BITS);
    Degree::from_bits(math::saturate(degrees))
}

/// Prism that deviates light by an angle: `100 tan(angle)`.
///
/// # Range
/// Angles within 80 degrees; `None` beyond.
///
/// # Accuracy
/// Within `8e-7 / cos^2(angle)` prism dioptre.
///
/// # Source
/// Definition of the prism dioptre (ISO 13666).
#[must_use]
pub fn from_deviation(angle: Degree) -> Option<PrismDioptre> {
    if angle.abs() > degrees!(80.0) {
        return None;
    }
    let (cos, sin) = math::cos_sin(Bearing::default().turned(angle).to_bits());
    let cos = NonZeroU64::new(u64::from(cos.unsigned_abs()))?;
    // 2^30 * 100 * 2^20 is below 2^57.
    let scaled = i64::from(sin).wrapping_mul(100 << PrismDioptre::FRACTION_BITS);
    Some(PrismDioptre::from_bits(math::saturate(math::div_round(scaled, cos))))
}

/// Apical angle of a thin prism: its deviation over `n - 1`.
///
/// # Range
/// `None` for an index of 1, which deviates nothing.
///
/// # Accuracy
/// Within half a unit of 2^-20 degree, and one unit over `n - 1`; saturates.
///
/// # Source
/// Thin-prism formula, deviation = (n - 1) a.
#[must_use]
pub fn apical_angle(prism: PrismDioptre, index: RefractiveIndex) -> Option<Degree> {
    let excess = NonZeroU64::new(u64::from(index.to_bits().wrapping_sub(RefractiveIndex::AIR.to_bits())))?;
    let deviation = deviation(prism);
    if deviation.is_saturated() {
        return Some(deviation);
    }
    let scaled = i64::from(deviation.to_bits()) << RefractiveIndex::FRACTION_BITS;
    Some(Degree::from_bits(math::saturate(math::div_round(scaled, excess))))
}

/// A wanted prism that decentring alone cannot give: a meridian of the lens has no power.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoPower {
    /// The decentration that gives as much of the wanted prism as the powered meridian can.
    pub reachable: Point,
    /// What remains to be ground as prism.
    pub missing: Prism,
    /// Direction along which the centre may move without effect: that of the meridian without power. `None` when no
    /// meridian has power.
    pub free: Option<Bearing>,
}

impl fmt::Display for NoPower {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a meridian has no power: decentring by {} leaves {}", self.reachable, self.missing)
    }
}

impl core::error::Error for NoPower {}

/// The decentration that gives a wanted prism: where the optical centre must lie, seen from the point where the prism is
/// wanted. `d = F^-1 p`.
///
/// # Units
/// Prism dioptres; millimetres.
///
/// # Accuracy
/// Each coordinate within 0.6 units of 2^-16 mm (15 nm) plus 6e-10 of itself; saturates beyond 32 m.
///
/// # Errors
/// [`NoPower`] when a principal power is below [`LEAST_POWER`], with what can be reached.
///
/// # Source
/// Prentice's rule inverted; M. Jalie, "Lens Talk", The Indian Optician.
///
/// ```
/// use dioptric::{prism::{decentration, Prism}, prism_dioptres, rx::SpheroCylinder};
/// let lens: SpheroCylinder = "+6.00 -3.00 x 140".parse()?;
/// let wanted = Prism::new(prism_dioptres!(-2.0), prism_dioptres!(3.0));
/// assert_eq!(decentration(lens.into(), wanted).unwrap().to_string(), "-2.25, 6.29 mm");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
pub fn decentration(power: PowerMatrix, wanted: Prism) -> Result<Point, NoPower> {
    if power.is_saturated() || wanted.is_saturated() {
        return Ok(Point::new(Millimetre::MAX, Millimetre::MAX));
    }
    let vector = PowerVector::from(power);
    let (along, across) = vector.principal_magnitudes();
    if along.min(across) < LEAST_POWER {
        return Err(reachable(vector, wanted));
    }
    let det = power.determinant_bits();
    let (xx, xy, yy) = (i64::from(power.xx.to_bits()), i64::from(power.xy.to_bits()), i64::from(power.yy.to_bits()));
    let (x, y) = (i64::from(wanted.x.to_bits()), i64::from(wanted.y.to_bits()));
    // Powers below 2^31, prisms below 2^31: products below 2^62, differences below 2^63. 10 mm D per prism dioptre,
    // taken as 5 * 2 to keep the factor out of the product: 2^-40 / 2^-40 to 2^-16 mm, doubled. Eight more bits keep the
    // factor 5 from the rounding.
    let coordinate = |a: i64, b: i64, c: i64, d: i64| {
        let numerator = a.wrapping_mul(b).wrapping_sub(c.wrapping_mul(d));
        let fifth = math::ratio(numerator, det, 17 + 8);
        Millimetre::from_bits(math::saturate(math::shift_round(fifth.saturating_mul(5), 8)))
    };
    Ok(Point::new(coordinate(yy, x, xy, y), coordinate(xx, y, xy, x)))
}

/// What the powered meridian, if there is one, can give of a prism.
fn reachable(power: PowerVector, wanted: Prism) -> NoPower {
    let polar = math::polar(power.j0.to_bits(), power.j45.to_bits());
    let half = power.half_cylinder();
    let (along, across) = (power.m + half, power.m - half);
    if along.abs().max(across.abs()) < LEAST_POWER {
        return NoPower { reachable: Point::ORIGIN, missing: wanted, free: None };
    }
    let axis = Axis::from_bits(polar.turn).bearing();
    let square = Bearing::from_bits(axis.to_bits().wrapping_add(1 << 30));
    let (strength, powered, free) =
        if along.abs() > across.abs() { (along, axis, square) } else { (across, square, axis) };
    let part = wanted.component(powered);
    let length = math::ratio(i64::from(part.to_bits()).wrapping_mul(10), i64::from(strength.to_bits()), 16);
    let (cos, sin) = math::cos_sin(powered.to_bits());
    let project = |component: i32| {
        let product = i64::from(math::saturate(length)).wrapping_mul(i64::from(component));
        Millimetre::from_bits(math::saturate(math::shift_round(product, 30)))
    };
    NoPower {
        reachable: Point::new(project(cos), project(sin)),
        missing: wanted - Prism::from_base(part, powered),
        // A line has no sense: its end in the upper half plane.
        free: Some(Bearing::from_bits(free.to_bits() & (u32::MAX >> 1))),
    }
}
