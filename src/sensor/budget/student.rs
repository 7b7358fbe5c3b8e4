//! How sure: degrees of freedom and coverage factors.

use crate::quantity::Fraction;
use core::fmt;
use core::num::NonZeroU32;

/// Degrees of freedom of a standard uncertainty: how well it is known itself.
///
/// An uncertainty known to a relative `r` has `1 / (2 r^2)` of them (JCGM 100, G.4.2): 8 if to a quarter, 50 if to a tenth.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(transparent))]
pub struct Freedom(NonZeroU32);

impl Freedom {
    /// Known exactly, as of a half-width that nothing exceeds.
    pub const INFINITE: Self = Self(NonZeroU32::MAX);

    /// So many; at least 1.
    #[must_use]
    pub const fn new(degrees: u32) -> Self {
        match NonZeroU32::new(degrees) {
            Some(degrees) => Self(degrees),
            None => Self(NonZeroU32::MIN),
        }
    }

    /// How many; `u32::MAX` if infinite.
    #[must_use]
    pub const fn degrees(self) -> u32 {
        self.0.get()
    }

    /// As many as make no difference.
    #[must_use]
    pub const fn is_infinite(self) -> bool {
        self.degrees() == u32::MAX
    }
}

impl Default for Freedom {
    fn default() -> Self {
        Self::INFINITE
    }
}

impl fmt::Display for Freedom {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_infinite() { f.pad("infinite") } else { fmt::Display::fmt(&self.degrees(), f) }
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Freedom {
    fn format(&self, f: defmt::Formatter<'_>) {
        if self.is_infinite() {
            defmt::write!(f, "infinite");
        } else {
            defmt::write!(f, "{}", self.degrees());
        }
    }
}

/// How the coverage factor k of an expanded uncertainty `U = k u` is found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Coverage {
    /// A fixed factor, without its sign. 2 is usual: about 95 % when the degrees of freedom are many.
    Factor(Fraction),
    /// 95 %, from Student's distribution.
    Percent95,
    /// 95.45 %, from Student's distribution: k is 2 when the degrees of freedom are infinite.
    Percent95_45,
    /// 99 %, from Student's distribution.
    Percent99,
}

impl Coverage {
    /// The usual k = 2.
    pub const TWO: Self = Self::Factor(fraction!(2.0));

    /// The coverage factor.
    ///
    /// # Accuracy
    /// At the degrees of freedom of the table within 0.0006; between them that of the next fewer degrees, which is the larger.
    ///
    /// # Source
    /// JCGM 100:2008, table G.2 (its degrees of freedom and levels, from memory); a third decimal computed from Student's
    /// distribution. Next fewer degrees: G.4.1, note 1 (from memory).
    ///
    /// ```
    /// use dioptric::sensor::{Coverage, Freedom};
    /// assert_eq!(Coverage::Percent95.factor(Freedom::new(9)).to_string(), "2.262");
    /// assert_eq!(Coverage::TWO.factor(Freedom::new(9)).to_string(), "2.000");
    /// ```
    #[must_use]
    pub fn factor(self, freedom: Freedom) -> Fraction {
        let column = |row: &Row| match self {
            Self::Factor(factor) => factor.abs(),
            Self::Percent95 => row.p95,
            Self::Percent95_45 => row.p95_45,
            Self::Percent99 => row.p99,
        };
        let row = TABLE.iter().rev().find(|row| row.freedom <= freedom.degrees()).unwrap_or(&ONE);
        column(row)
    }
}

struct Row {
    freedom: u32,
    p95: Fraction,
    p95_45: Fraction,
    p99: Fraction,
}

const fn row(freedom: u32, p95: f64, p95_45: f64, p99: f64) -> Row {
    let factor = Fraction::literal;
    Row { freedom, p95: factor(p95), p95_45: factor(p95_45), p99: factor(p99) }
}

const ONE: Row = row(1, 12.706, 13.968, 63.657);

const TABLE: [Row; 28] = [
    ONE,
    row(2, 4.303, 4.527, 9.925),
    row(3, 3.182, 3.307, 5.841),
    row(4, 2.776, 2.869, 4.604),
    row(5, 2.571, 2.649, 4.032),
    row(6, 2.447, 2.517, 3.707),
    row(7, 2.365, 2.429, 3.499),
    row(8, 2.306, 2.366, 3.355),
    row(9, 2.262, 2.320, 3.250),
    row(10, 2.228, 2.284, 3.169),
    row(11, 2.201, 2.255, 3.106),
    row(12, 2.179, 2.231, 3.055),
    row(13, 2.160, 2.212, 3.012),
    row(14, 2.145, 2.195, 2.977),
    row(15, 2.131, 2.181, 2.947),
    row(16, 2.120, 2.169, 2.921),
    row(17, 2.110, 2.158, 2.898),
    row(18, 2.101, 2.149, 2.878),
    row(19, 2.093, 2.140, 2.861),
    row(20, 2.086, 2.133, 2.845),
    row(25, 2.060, 2.105, 2.787),
    row(30, 2.042, 2.087, 2.750),
    row(35, 2.030, 2.074, 2.724),
    row(40, 2.021, 2.064, 2.704),
    row(45, 2.014, 2.057, 2.690),
    row(50, 2.009, 2.051, 2.678),
    row(100, 1.984, 2.025, 2.626),
    row(u32::MAX, 1.960, 2.000, 2.576),
];
