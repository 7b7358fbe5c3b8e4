//! Refractive index.

use super::Error;
use crate::text::{Notation, ParseError, ParseErrorKind, read_whole, write_fixed};
use core::fmt;
use core::str::FromStr;

/// A refractive index from 1 to below 4: a count of 2^-29 (2e-9).
///
/// ```
/// use dioptric::quantity::RefractiveIndex;
/// let index: RefractiveIndex = "1.523".parse()?;
/// assert_eq!(index.to_string(), "1.523");
/// assert!("0.99".parse::<RefractiveIndex>().is_err());
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(try_from = "u32", into = "u32"))]
pub struct RefractiveIndex(u32);

impl RefractiveIndex {
    /// Binary digits after the point.
    pub const FRACTION_BITS: u32 = 29;
    /// Vacuum, and air near enough.
    pub const AIR: Self = Self(1 << Self::FRACTION_BITS);
    /// The first word that is none: 4.
    const END: u32 = 4 << Self::FRACTION_BITS;

    /// From a count of 2^-29.
    ///
    /// # Errors
    /// [`Error::IndexRange`] below 1 or at 4 and above.
    pub const fn from_bits(bits: u32) -> Result<Self, Error> {
        if bits < Self::AIR.0 || bits >= Self::END {
            return Err(Error::IndexRange);
        }
        Ok(Self(bits))
    }

    /// The count of 2^-29.
    #[must_use]
    pub const fn to_bits(self) -> u32 {
        self.0
    }
}

impl TryFrom<u32> for RefractiveIndex {
    type Error = Error;
    fn try_from(bits: u32) -> Result<Self, Error> {
        Self::from_bits(bits)
    }
}

impl From<RefractiveIndex> for u32 {
    fn from(index: RefractiveIndex) -> u32 {
        index.0
    }
}

const NOTATION: Notation = Notation { digits: 3, plus: false, eighths: false };

impl fmt::Display for RefractiveIndex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_fixed(f, i64::from(self.0), Self::FRACTION_BITS, NOTATION)
    }
}

impl fmt::Debug for RefractiveIndex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self:.6}")
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for RefractiveIndex {
    fn format(&self, f: defmt::Formatter<'_>) {
        crate::log::fixed(f, i64::from(self.0), Self::FRACTION_BITS, NOTATION);
    }
}

impl FromStr for RefractiveIndex {
    type Err = ParseError;

    fn from_str(text: &str) -> Result<Self, ParseError> {
        read_whole(text, |reader| {
            let place = reader.clone();
            let bits = reader.number()?.to_bits(Self::FRACTION_BITS);
            bits.and_then(|bits| u32::try_from(bits).ok())
                .and_then(|bits| Self::from_bits(bits).ok())
                .ok_or_else(|| place.error(ParseErrorKind::OutOfRange))
        })
    }
}
