//! Abbe number.

use super::Error;
use crate::text::{Notation, ParseError, ParseErrorKind, Reader, write_fixed};
use core::fmt;
use core::str::FromStr;

/// An Abbe number `V_d = (n_d - 1) / (n_F - n_C)` from 15 to 100, both ends included: a count of 2^-24.
///
/// ```
/// use dioptric::quantity::AbbeNumber;
/// let abbe: AbbeNumber = "58.5".parse()?;
/// assert_eq!(abbe.to_string(), "58.5");
/// assert!("14.9".parse::<AbbeNumber>().is_err());
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(try_from = "u32", into = "u32"))]
pub struct AbbeNumber(u32);

impl AbbeNumber {
    /// Binary digits after the point.
    pub const FRACTION_BITS: u32 = 24;
    /// The smallest.
    pub const LEAST: Self = Self(15 << Self::FRACTION_BITS);
    /// The largest.
    pub const MOST: Self = Self(100 << Self::FRACTION_BITS);

    /// From a count of 2^-24.
    ///
    /// # Errors
    /// [`Error::AbbeRange`] below 15 or above 100.
    pub const fn from_bits(bits: u32) -> Result<Self, Error> {
        if bits < Self::LEAST.0 || bits > Self::MOST.0 {
            return Err(Error::AbbeRange);
        }
        Ok(Self(bits))
    }

    /// The count of 2^-24.
    #[must_use]
    pub const fn to_bits(self) -> u32 {
        self.0
    }
}

impl TryFrom<u32> for AbbeNumber {
    type Error = Error;
    fn try_from(bits: u32) -> Result<Self, Error> {
        Self::from_bits(bits)
    }
}

impl From<AbbeNumber> for u32 {
    fn from(abbe: AbbeNumber) -> u32 {
        abbe.0
    }
}

const NOTATION: Notation = Notation { digits: 1, plus: false, eighths: false };

impl fmt::Display for AbbeNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_fixed(f, i64::from(self.0), Self::FRACTION_BITS, NOTATION)
    }
}

impl fmt::Debug for AbbeNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self:.6}")
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for AbbeNumber {
    fn format(&self, f: defmt::Formatter<'_>) {
        crate::log::fixed(f, i64::from(self.0), Self::FRACTION_BITS, Notation { digits: 2, ..NOTATION });
    }
}

impl FromStr for AbbeNumber {
    type Err = ParseError;

    fn from_str(text: &str) -> Result<Self, ParseError> {
        let mut reader = Reader::new(text);
        reader.skip_blanks();
        if reader.is_at_end() {
            return Err(reader.error(ParseErrorKind::Empty));
        }
        let place = reader.clone();
        let bits = reader.number()?.to_bits(Self::FRACTION_BITS);
        reader.end()?;
        bits.and_then(|bits| u32::try_from(bits).ok())
            .and_then(|bits| Self::from_bits(bits).ok())
            .ok_or_else(|| place.error(ParseErrorKind::OutOfRange))
    }
}
