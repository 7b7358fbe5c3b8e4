//! Directions: an axis, which has no sense (full scale 180 degrees), and a base bearing, which has (360).

use super::{Degree, Error};
use crate::math;
use crate::text::{Decimal, Notation, ParseError, ParseErrorKind, Reader, read_whole, write_fixed};
use core::fmt;
use core::str::FromStr;

/// Declares a direction whose `u32` wraps at `$full` degrees.
macro_rules! direction {
    ($(#[$doc:meta])* $name:ident, $full:literal, $error:ident, $parse_error:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, Hash, Default)]
        #[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(transparent))]
        pub struct $name(u32);

        impl $name {
            #[doc = concat!("From a count of `", $full, " / 2^32` degrees.")]
            #[must_use]
            #[inline]
            pub const fn from_bits(bits: u32) -> Self {
                Self(bits)
            }

            #[doc = concat!("The count of `", $full, " / 2^32` degrees.")]
            #[must_use]
            #[inline]
            pub const fn to_bits(self) -> u32 {
                self.0
            }

            #[doc = concat!("From whole degrees, 0 to ", $full, "; both ends are the same direction.")]
            ///
            /// # Errors
            #[doc = concat!("[`Error::", stringify!($error), "`] outside them.")]
            pub const fn from_degrees(degrees: u16) -> Result<Self, Error> {
                if degrees > $full {
                    return Err(Error::$error);
                }
                Ok(Self(whole_degrees(degrees, $full)))
            }

            /// For the literal macro: evaluated by the compiler, so that no float is left in the program.
            #[doc(hidden)]
            #[must_use]
            #[allow(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                clippy::cast_precision_loss,
                clippy::arithmetic_side_effects,
                clippy::panic,
                clippy::missing_panics_doc,
                reason = "runs at compile time, where a panic is a compile error"
            )]
            pub const fn literal(degrees: f64) -> Self {
                assert!(degrees >= 0.0 && degrees <= $full as f64, "direction out of range");
                Self((degrees * (1u64 << 32) as f64 / $full as f64 + 0.5) as u64 as u32)
            }

            #[doc = concat!("In degrees, above 0 and up to ", $full, ".")]
            ///
            /// # Accuracy
            /// Within half a unit of 2^-20 degree.
            #[must_use]
            pub const fn degrees(self) -> Degree {
                let degrees = degrees_of(self.0 as i64, $full);
                Degree::from_bits(if degrees == 0 { $full << Degree::FRACTION_BITS } else { degrees })
            }

            #[doc = concat!("In whole degrees as the trade writes them: 1 to ", $full, ", and ", $full, " rather than 0.")]
            ///
            /// Of [`Self::degrees`], so that half a degree, which as a turn is rarely exact, always goes up.
            #[must_use]
            pub const fn whole_degrees(self) -> u16 {
                let degrees = self.degrees().to_bits().cast_unsigned();
                // At least 1 unit and at most $full degrees: the sum and its quotient fit.
                let rounded = (degrees.wrapping_add(1 << (Degree::FRACTION_BITS - 1)) >> Degree::FRACTION_BITS) & 0xffff;
                let degrees = rounded as u16;
                if degrees == 0 { $full } else { degrees }
            }

            /// The nearest whole degree.
            #[must_use]
            pub const fn rounded(self) -> Self {
                Self(whole_degrees(self.whole_degrees(), $full))
            }

            /// Turned counter-clockwise by `angle`, as the observer sees it.
            ///
            /// # Accuracy
            #[doc = concat!("Within half a unit of ", $full, " / 2^32 degrees.")]
            #[must_use]
            pub const fn turned(self, angle: Degree) -> Self {
                Self(self.0.wrapping_add(turn_of(angle, $full)))
            }

            /// The signed angle from `other` to this, the short way round.
            #[doc = concat!("Above -", $full, "/2 and up to ", $full, "/2 degrees.")]
            #[must_use]
            pub const fn angle_from(self, other: Self) -> Degree {
                const OPPOSITE: i32 = $full << (Degree::FRACTION_BITS - 1);
                let degrees = degrees_of(self.0.wrapping_sub(other.0).cast_signed() as i64, $full);
                // Both ends are the same direction, exact or after rounding: the upper one is kept.
                Degree::from_bits(if degrees == -OPPOSITE { OPPOSITE } else { degrees })
            }

            pub(crate) fn read(reader: &mut Reader<'_>) -> Result<Self, ParseError> {
                let place = reader.clone();
                let degrees = reader.number()?;
                decimal_to_turn(degrees, $full).map(Self).ok_or_else(|| place.error(ParseErrorKind::$parse_error))
            }
        }

        impl fmt::Display for $name {
            /// Whole degrees in three digits, `035`; with a precision, that many decimals and at least three digits before them.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                let decimals = f.precision().unwrap_or(0).min(9);
                if decimals == 0 {
                    return write!(f, "{:03}", self.whole_degrees());
                }
                let width = decimals.saturating_add(4);
                let bits = i64::from(self.degrees().to_bits());
                let text = Shown { bits: wrap_after_rounding(bits, decimals, $full) };
                write!(f, "{text:0width$.decimals$}")
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{:.6} deg", self.degrees())
            }
        }

        #[cfg(feature = "defmt")]
        impl defmt::Format for $name {
            fn format(&self, f: defmt::Formatter<'_>) {
                defmt::write!(f, "{=u16:03}", self.whole_degrees());
            }
        }

        impl FromStr for $name {
            type Err = ParseError;

            fn from_str(text: &str) -> Result<Self, ParseError> {
                read_whole(text, Self::read)
            }
        }

    };
}

direction! {
    /// The axis of a cylinder, by the trade's notation: 1 to 180 degrees counter-clockwise from the observer's right.
    ///
    /// A `u32` whose full scale is 180 degrees, so it wraps by itself, perpendicular is an exact half scale away, and its
    /// bits are the phase of the double angle in which the components of a cylinder turn. One unit is 4e-8 degree.
    ///
    /// ```
    /// use dioptric::quantity::Axis;
    /// let axis = Axis::from_degrees(0)?;
    /// assert_eq!(axis.to_string(), "180");
    /// assert_eq!(axis.perpendicular().to_string(), "090");
    /// # Ok::<(), dioptric::quantity::Error>(())
    /// ```
    Axis, 180, AxisRange, AxisRange
}

direction! {
    /// The direction of a prism's base: 0 to 360 degrees counter-clockwise from the observer's right, for both eyes.
    ///
    /// A `u32` whose full scale is 360 degrees. One unit is 8e-8 degree.
    ///
    /// ```
    /// assert_eq!(dioptric::bearing!(90.0).to_string(), "090");
    /// ```
    Bearing, 360, BearingRange, BaseRange
}

impl Axis {
    /// Horizontal, written 180.
    pub const HORIZONTAL: Self = Self(0);
    /// Vertical, written 90.
    pub const VERTICAL: Self = Self(1 << 31);

    /// The axis at right angles.
    #[must_use]
    #[inline]
    pub const fn perpendicular(self) -> Self {
        Self(self.0.wrapping_add(1 << 31))
    }

    /// As a bearing: the end of the axis in the upper half plane.
    #[must_use]
    #[inline]
    pub const fn bearing(self) -> Bearing {
        // Half a unit goes to the even side, so that mirror images stay mirror images.
        let half = self.0 >> 1;
        Bearing(half.wrapping_add(self.0 & half & 1) & (u32::MAX >> 1))
    }

    /// The axis in a vertical mirror: 180 degrees less the axis.
    #[must_use]
    #[inline]
    pub const fn mirrored(self) -> Self {
        Self(self.0.wrapping_neg())
    }
}

impl Bearing {
    /// The opposite direction.
    #[must_use]
    #[inline]
    pub const fn opposite(self) -> Self {
        Self(self.0.wrapping_add(1 << 31))
    }
}

/// A number of degrees being written.
struct Shown {
    bits: i64,
}

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let notation = Notation { digits: 0, plus: false, eighths: false };
        write_fixed(f, self.bits, Degree::FRACTION_BITS, notation)
    }
}

/// What would be written as 0 is the full scale, whichever side of it the direction lies.
///
/// Range: `bits` is below 2^29, and 10^9 below 2^30.
fn wrap_after_rounding(bits: i64, decimals: usize, full: u16) -> i64 {
    let scaled = (0..decimals).fold(bits, |scaled, _| scaled.wrapping_mul(10));
    let written_as_zero = scaled < 1 << (Degree::FRACTION_BITS - 1);
    if written_as_zero { i64::from(full) << Degree::FRACTION_BITS } else { bits }
}

/// Whole degrees as a turn, rounded to nearest.
const fn whole_degrees(degrees: u16, full: u16) -> u32 {
    let half = (full as u64) >> 1;
    // full is a literal, 180 or 360: the quotient below 2^32, or exactly that for the full scale, which wraps to 0.
    match (((degrees as u64) << 32).wrapping_add(half)).checked_div(full as u64) {
        Some(turn) => (turn & 0xffff_ffff) as u32,
        None => 0,
    }
}

/// A turn in degrees of 2^-20, rounded to nearest.
const fn degrees_of(turn: i64, full: u16) -> i32 {
    math::saturate(math::shift_round(turn.wrapping_mul(full as i64), 32 - Degree::FRACTION_BITS))
}

/// Degrees as a turn: the quotient is at most 2^31 * 2^12, well within 64 bits, and its low word is the turn.
const fn turn_of(angle: Degree, full: u16) -> u32 {
    let shifted = (angle.to_bits().unsigned_abs() as u64) << (32 - Degree::FRACTION_BITS);
    let half = (full as u64) >> 1;
    let turn = match shifted.wrapping_add(half).checked_div(full as u64) {
        Some(turn) => (turn & 0xffff_ffff) as u32,
        None => 0,
    };
    if angle.to_bits() < 0 { turn.wrapping_neg() } else { turn }
}

/// A decimal number of degrees as a turn; `None` outside 0 to the full scale.
fn decimal_to_turn(degrees: Decimal, full: u16) -> Option<u32> {
    const NANO: u64 = 1_000_000_000;
    let nano = u64::try_from(degrees.nano).ok()?;
    let scale = u64::from(full).checked_mul(NANO)?;
    if nano > scale {
        return None;
    }
    // At most 3.6e11 * 2^24 < 2^63: the quotient has 24 bits, its rest gives eight more.
    let high = nano.checked_shl(24)?;
    let (quotient, rest) = (high.checked_div(scale)?, high.checked_rem(scale)?);
    let low = rest.checked_shl(8)?.checked_add(scale >> 1)?.checked_div(scale)?;
    let turn = quotient.checked_shl(8)?.checked_add(low)?;
    Some((turn & 0xffff_ffff) as u32)
}
