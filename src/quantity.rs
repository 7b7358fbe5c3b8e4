//! Units as types: dioptres, prism dioptres, millimetres, degrees, and the two kinds of direction.
//!
//! A linear quantity is a signed 32-bit count of `2^-FRACTION_BITS` units, symmetric about zero. Sums *saturate* at the
//! ends and stay there: a saturated value added to anything is still saturated, every verdict rejects it
//! ([`Dioptre::is_saturated`]), and nothing wraps; of two saturated parts the first decides. Decimal hundredths are not exact in binary; [`Dioptre::SLACK`] says how
//! much that may matter.

mod abbe;
mod angle;
mod index;

pub use abbe::AbbeNumber;
pub use angle::{Axis, Bearing};
pub use index::RefractiveIndex;

use crate::math;
use crate::text::{Notation, ParseError, ParseErrorKind, Reader, read_whole, write_fixed};
use core::fmt;
use core::iter::Sum;
use core::ops::{Add, Neg, Sub};
use core::str::FromStr;

/// A value outside what a constructor takes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Error {
    /// A linear quantity beyond the 32 bits that hold it.
    Range,
    /// An axis outside 0 to 180 degrees.
    AxisRange,
    /// A base bearing outside 0 to 360 degrees.
    BearingRange,
    /// A refractive index outside 1 to 4.
    IndexRange,
    /// An Abbe number outside 15 to 100.
    AbbeRange,
}

impl Error {
    /// Always: every error here is a value out of its range.
    #[must_use]
    pub const fn is_range(self) -> bool {
        true
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Range => "the quantity is out of range",
            Self::AxisRange => "an axis lies from 0 to 180 degrees",
            Self::BearingRange => "a base bearing lies from 0 to 360 degrees",
            Self::IndexRange => "a refractive index lies from 1 to 4",
            Self::AbbeRange => "an Abbe number lies from 15 to 100",
        })
    }
}

impl core::error::Error for Error {}

/// `a + b`; a part that is saturated already decides the sum.
#[inline]
const fn sticky_sum(a: i32, b: i32) -> i32 {
    const QUARTER: i32 = 1 << 30;
    // Both within a quarter of the scale, as every lens is: no overflow, nothing saturated. One unit less below for b, as
    // twice -2^30 would be i32::MIN.
    if a.wrapping_add(QUARTER) | b.wrapping_add(QUARTER - 1) >= 0 {
        a.wrapping_add(b)
    } else {
        sticky_sum_of_large(a, b)
    }
}

#[cold]
const fn sticky_sum_of_large(a: i32, b: i32) -> i32 {
    if a.unsigned_abs() >= i32::MAX as u32 {
        a
    } else if b.unsigned_abs() >= i32::MAX as u32 {
        b
    } else {
        let sum = a.saturating_add(b);
        if sum == i32::MIN { -i32::MAX } else { sum }
    }
}

/// Half, halves away from zero, of a value short of `i32::MAX`.
#[inline]
pub(crate) const fn halved(value: i32) -> i32 {
    // Shifting right floors: one more for what is not negative, which changes nothing for what is even.
    value.wrapping_add(1).wrapping_add(value >> 31) >> 1
}

/// Declares one linear quantity: its storage, its text and its arithmetic.
macro_rules! linear {
    ($(#[$doc:meta])* $name:ident, $bits:literal, $unit:literal, $notation:expr, $shown:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(from = "i32", into = "i32"))]
        pub struct $name(i32);

        impl $name {
            /// Binary digits after the point.
            pub const FRACTION_BITS: u32 = $bits;
            /// Nothing.
            pub const ZERO: Self = Self(0);
            /// The largest value, which means "this or more".
            pub const MAX: Self = Self(i32::MAX);
            /// The smallest value, which means "this or less".
            pub const MIN: Self = Self(-i32::MAX);

            #[doc = concat!("From a count of `2^-", $bits, "` ", $unit, ". `i32::MIN` becomes [`Self::MIN`].")]
            #[must_use]
            #[inline]
            pub const fn from_bits(bits: i32) -> Self {
                Self(if bits == i32::MIN { -i32::MAX } else { bits })
            }

            /// From a count known to be far from the ends.
            #[inline]
            #[allow(dead_code, reason = "not every quantity has a kernel that makes it")]
            pub(crate) const fn from_small_bits(bits: i32) -> Self {
                Self(bits)
            }

            #[doc = concat!("The count of `2^-", $bits, "` ", $unit, ".")]
            #[must_use]
            #[inline]
            pub const fn to_bits(self) -> i32 {
                self.0
            }

            /// From thousandths, rounded to nearest.
            ///
            /// # Errors
            /// [`Error::Range`] when the value does not fit.
            #[inline]
            pub const fn from_thousandths(thousandths: i32) -> Result<Self, Error> {
                let bits = thousandths_to_bits(thousandths, $bits);
                if bits.unsigned_abs() >= i32::MAX as u64 {
                    return Err(Error::Range);
                }
                Ok(Self(math::saturate(bits)))
            }

            /// For the literal macro: evaluated by the compiler, so that no float is left in the program.
            #[doc(hidden)]
            #[must_use]
            #[allow(
                clippy::cast_possible_truncation,
                clippy::cast_precision_loss,
                clippy::arithmetic_side_effects,
                clippy::panic,
                clippy::missing_panics_doc,
                reason = "runs at compile time, where a panic is a compile error"
            )]
            pub const fn literal(value: f64) -> Self {
                let scaled = value * (1u64 << $bits) as f64;
                assert!(scaled < 2_147_483_646.0 && scaled > -2_147_483_646.0, "literal out of range");
                Self(if scaled < 0.0 { (scaled - 0.5) as i32 } else { (scaled + 0.5) as i32 })
            }

            /// At an end of the scale: the true value is unknown, and no verdict accepts it.
            #[must_use]
            #[inline]
            pub const fn is_saturated(self) -> bool {
                self.0.unsigned_abs() >= i32::MAX as u32
            }

            /// The magnitude.
            #[must_use]
            #[inline]
            pub const fn abs(self) -> Self {
                Self(self.0.saturating_abs())
            }

            /// Half, rounded to nearest, halves away from zero. Half of a saturated value is saturated.
            #[must_use]
            #[inline]
            pub const fn half(self) -> Self {
                if self.is_saturated() {
                    return self;
                }
                Self(halved(self.0))
            }

            /// Twice the value, saturating.
            #[must_use]
            #[inline]
            pub const fn double(self) -> Self {
                Self(sticky_sum(self.0, self.0))
            }

            /// Numerically nearest `f64`: exact.
            #[cfg(feature = "libm")]
            #[must_use]
            pub fn to_f64(self) -> f64 {
                f64::from(self.0) / crate::oracle::exp2($bits)
            }

            /// From `f64`, rounded to nearest.
            ///
            /// # Errors
            /// [`Error::Range`] for NaN, infinities and what does not fit.
            #[cfg(feature = "libm")]
            pub fn try_from_f64(value: f64) -> Result<Self, Error> {
                crate::oracle::round_to_i32(value * crate::oracle::exp2($bits)).map(Self).ok_or(Error::Range)
            }
        }

        impl From<i32> for $name {
            fn from(bits: i32) -> Self {
                Self::from_bits(bits)
            }
        }

        impl From<$name> for i32 {
            fn from(value: $name) -> i32 {
                value.to_bits()
            }
        }

        impl Add for $name {
            type Output = Self;
            #[inline]
            fn add(self, other: Self) -> Self {
                Self(sticky_sum(self.0, other.0))
            }
        }

        impl Sub for $name {
            type Output = Self;
            #[inline]
            fn sub(self, other: Self) -> Self {
                Self(sticky_sum(self.0, other.0.wrapping_neg()))
            }
        }

        impl Neg for $name {
            type Output = Self;
            #[inline]
            fn neg(self) -> Self {
                Self(self.0.wrapping_neg())
            }
        }

        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(parts: I) -> Self {
                parts.fold(Self::ZERO, Add::add)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write_fixed(f, i64::from(self.0), $bits, $notation)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, concat!("{:.6} ", $shown), self)
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $name {
            fn format(&self, f: defmt::Formatter<'_>) {
                crate::log::fixed(f, i64::from(self.0), $bits, $notation);
            }
        }

        impl FromStr for $name {
            type Err = ParseError;

            fn from_str(text: &str) -> Result<Self, ParseError> {
                read_whole(text, Self::read)
            }
        }

        impl $name {
            pub(crate) fn read(reader: &mut Reader<'_>) -> Result<Self, ParseError> {
                let place = reader.clone();
                let bits = reader.number()?.to_bits($bits);
                bits.map(Self).ok_or_else(|| place.error(ParseErrorKind::OutOfRange))
            }
        }

    };
}

/// Thousandths in units of `2^-bits`, rounded to nearest, halves away from zero.
const fn thousandths_to_bits(thousandths: i32, bits: u32) -> i64 {
    const HALF: u64 = 500;
    let scaled = ((thousandths.unsigned_abs() as u64) << bits).wrapping_add(HALF);
    let magnitude = scaled.wrapping_div(1000).cast_signed();
    if thousandths < 0 { magnitude.wrapping_neg() } else { magnitude }
}

linear! {
    /// Optical power in dioptres (1/m): a signed count of 2^-20 D (0.95e-6 D), to 2048 D.
    ///
    /// Displays as the trade writes a power, `+0.50`, and eighths as `0.12 0.37 0.62 0.87`; a precision asks for more.
    ///
    /// ```
    /// use dioptric::{dioptres, quantity::Dioptre};
    /// let power = dioptres!(-1.125);
    /// assert_eq!(power.to_string(), "-1.12");
    /// assert_eq!(format!("{power:.3}"), "-1.125");
    /// assert_eq!("-0.25".parse::<Dioptre>()?, dioptres!(-0.25));
    /// # Ok::<(), dioptric::text::ParseError>(())
    /// ```
    Dioptre, 20, "dioptres", Notation { digits: 2, plus: true, eighths: true }, "D"
}

linear! {
    /// Prismatic power in prism dioptres (cm deviation per m): a signed count of 2^-20, to 2048.
    ///
    /// ```
    /// assert_eq!(dioptric::prism_dioptres!(1.5).to_string(), "1.50");
    /// ```
    PrismDioptre, 20, "prism dioptres", Notation { digits: 2, plus: false, eighths: false }, "cm/m"
}

linear! {
    /// Length in millimetres: a signed count of 2^-16 mm (15 nm), to 32.7 m.
    ///
    /// ```
    /// assert_eq!(dioptric::millimetres!(-12.5).to_string(), "-12.50");
    /// ```
    Millimetre, 16, "millimetres", Notation { digits: 2, plus: false, eighths: false }, "mm"
}

linear! {
    /// A small length in micrometres: a signed count of 2^-14 um (0.06 nm), to 131 mm.
    ///
    /// ```
    /// assert_eq!(dioptric::micrometres!(0.25).to_string(), "0.25");
    /// ```
    Micrometre, 14, "micrometres", Notation { digits: 2, plus: false, eighths: false }, "um"
}

linear! {
    /// A difference of directions, or a deviation of light, in degrees: a signed count of 2^-20 degree, to 2048.
    ///
    /// ```
    /// assert_eq!(dioptric::degrees!(2.0).to_string(), "2.00");
    /// ```
    Degree, 20, "degrees", Notation { digits: 2, plus: false, eighths: false }, "deg"
}

linear! {
    /// A number without unit, such as a transmittance or an efficiency: a signed count of 2^-24 (6e-8), to 128.
    ///
    /// ```
    /// assert_eq!(dioptric::fraction!(0.85).to_string(), "0.850");
    /// ```
    Fraction, 24, "of one", Notation { digits: 3, plus: false, eighths: false }, "of 1"
}

linear! {
    /// A wavelength in nanometres: a signed count of 2^-20 nm, to 2048 nm.
    ///
    /// ```
    /// assert_eq!(dioptric::nanometres!(546.074).to_string(), "546.07");
    /// ```
    Nanometre, 20, "nanometres", Notation { digits: 2, plus: false, eighths: false }, "nm"
}

linear! {
    /// Volume in cubic millimetres: a signed count of 2^-12 mm3, to 524 288 mm3.
    ///
    /// ```
    /// assert_eq!(dioptric::cubic_millimetres!(4250.5).to_string(), "4250.50");
    /// ```
    CubicMillimetre, 12, "cubic millimetres", Notation { digits: 2, plus: false, eighths: false }, "mm3"
}

linear! {
    /// Density in grams per cubic centimetre, which are milligrams per cubic millimetre: a signed count of 2^-20, to 2048.
    ///
    /// ```
    /// assert_eq!(dioptric::density!(1.32).to_string(), "1.32");
    /// ```
    Density, 20, "grams per cubic centimetre", Notation { digits: 2, plus: false, eighths: false }, "g/cm3"
}

linear! {
    /// Mass in milligrams, which the trade calls weight: a signed count of 2^-12 mg, to 524 288 mg.
    ///
    /// ```
    /// assert_eq!(dioptric::milligrams!(8500.5).to_string(), "8500.5");
    /// ```
    Milligram, 12, "milligrams", Notation { digits: 1, plus: false, eighths: false }, "mg"
}

impl Dioptre {
    /// How far past a limit a value still counts as on it: 2 units of 2^-20 D, 1.9e-6 D.
    ///
    /// A decimal such as 0.09 has no exact binary form, so a deviation that is 0.09 on paper may come out one unit more.
    pub const SLACK: Self = Self(2);
}

/// A point of the lens plane: millimetres to the observer's right and up, the observer facing the lens's front.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Point {
    /// To the observer's right.
    pub x: Millimetre,
    /// Up.
    pub y: Millimetre,
}

impl Point {
    /// The origin.
    pub const ORIGIN: Self = Self { x: Millimetre::ZERO, y: Millimetre::ZERO };

    /// A point from its two coordinates.
    #[must_use]
    pub const fn new(x: Millimetre, y: Millimetre) -> Self {
        Self { x, y }
    }

    /// Distance from the origin.
    ///
    /// # Accuracy
    /// Within one unit, 15 nm, plus 3e-9 of itself; saturates.
    #[must_use]
    pub fn distance(self) -> Millimetre {
        if self.is_saturated() {
            return Millimetre::MAX;
        }
        Millimetre(i32::try_from(math::polar(self.x.0, self.y.0).radius).unwrap_or(i32::MAX))
    }

    /// Either coordinate is at an end of its scale.
    #[must_use]
    pub const fn is_saturated(self) -> bool {
        self.x.is_saturated() || self.y.is_saturated()
    }
}

impl Add for Point {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { x: self.x + other.x, y: self.y + other.y }
    }
}

impl Sub for Point {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self { x: self.x - other.x, y: self.y - other.y }
    }
}

impl Neg for Point {
    type Output = Self;
    fn neg(self) -> Self {
        Self { x: -self.x, y: -self.y }
    }
}

impl fmt::Display for Point {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.x, f)?;
        f.write_str(", ")?;
        fmt::Display::fmt(&self.y, f)?;
        f.write_str(" mm")
    }
}
