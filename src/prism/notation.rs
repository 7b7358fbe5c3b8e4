//! How the trade names a base: in, out, up, down by eye, or degrees.

use super::Prism;
use crate::quantity::{Bearing, PrismDioptre};
use crate::text::{ParseError, ParseErrorKind, Reader, read_whole};
use core::fmt;
use core::str::FromStr;

/// Which eye a lens is for. Nasal is to the observer's right for the right eye, to the left for the left.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Eye {
    /// Right.
    Right,
    /// Left.
    Left,
}

impl Eye {
    /// The other eye.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Right => Self::Left,
            Self::Left => Self::Right,
        }
    }
}

impl fmt::Display for Eye {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Right => "right",
            Self::Left => "left",
        })
    }
}

/// A prism together with its eye, so that its base has a name.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct EyePrism {
    prism: Prism,
    eye: Eye,
}

impl EyePrism {
    /// The component with its base in; negative is out.
    #[must_use]
    pub fn base_in(self) -> PrismDioptre {
        match self.eye {
            Eye::Right => self.prism.x,
            Eye::Left => -self.prism.x,
        }
    }

    /// The component with its base up; negative is down.
    #[must_use]
    pub const fn base_up(self) -> PrismDioptre {
        self.prism.y
    }

    /// The prism as a vector.
    #[must_use]
    pub const fn prism(self) -> Prism {
        self.prism
    }
}

impl fmt::Display for EyePrism {
    /// `1.50 base in 0.50 base up`; a component without prism is left out.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (horizontal, vertical) = (self.base_in(), self.base_up());
        if self.prism == Prism::ZERO {
            return fmt::Display::fmt(&PrismDioptre::ZERO, f);
        }
        if horizontal != PrismDioptre::ZERO {
            named(f, horizontal, " base in", " base out")?;
        }
        if horizontal != PrismDioptre::ZERO && vertical != PrismDioptre::ZERO {
            f.write_str(" ")?;
        }
        if vertical != PrismDioptre::ZERO {
            named(f, vertical, " base up", " base down")?;
        }
        Ok(())
    }
}

fn named(f: &mut fmt::Formatter<'_>, amount: PrismDioptre, positive: &str, negative: &str) -> fmt::Result {
    fmt::Display::fmt(&amount.abs(), f)?;
    f.write_str(if amount < PrismDioptre::ZERO { negative } else { positive })
}

impl Prism {
    /// This prism on an eye, to name its base.
    #[must_use]
    pub const fn of(self, eye: Eye) -> EyePrism {
        EyePrism { prism: self, eye }
    }

    /// From the components a prescription names: `base_in` and `base_up`, negative for out and down. Exact.
    #[must_use]
    pub fn from_bases(eye: Eye, base_in: PrismDioptre, base_up: PrismDioptre) -> Self {
        match eye {
            Eye::Right => Self { x: base_in, y: base_up },
            Eye::Left => Self { x: -base_in, y: base_up },
        }
    }

    /// Reads one or more prisms for an eye and adds them: `1.50 base up`, `2 in 0.5 down`, `2.00 BI 0.50 BU`, `1.5 @ 90`.
    ///
    /// # Errors
    /// [`ParseError`] says what is wrong and where.
    pub fn parse(text: &str, eye: Eye) -> Result<Self, ParseError> {
        read_all(text, Some(eye))
    }
}

impl FromStr for Prism {
    type Err = ParseError;

    /// Reads what needs no eye: `1.50 base up`, `1.50 @ 90`, `2.5 base 37`, and sums of them; the inverse of `Display`.
    fn from_str(text: &str) -> Result<Self, ParseError> {
        read_all(text, None)
    }
}

fn read_all(text: &str, eye: Option<Eye>) -> Result<Prism, ParseError> {
    read_whole(text, |reader| {
        let mut sum = Prism::ZERO;
        while !reader.is_at_end() {
            sum = sum + read_one(reader, eye)?;
            reader.skip_blanks();
            if reader.take_one_of(&['/', ',', '&']) {
                reader.skip_blanks();
                if reader.is_at_end() {
                    return Err(reader.error(ParseErrorKind::NumberExpected));
                }
            }
        }
        if sum.is_saturated() {
            return Err(ParseError::new(ParseErrorKind::OutOfRange, 0));
        }
        Ok(sum)
    })
}

fn read_one(reader: &mut Reader<'_>, eye: Option<Eye>) -> Result<Prism, ParseError> {
    let place = reader.clone();
    let amount = PrismDioptre::read(reader)?;
    if amount < PrismDioptre::ZERO {
        return Err(place.error(ParseErrorKind::NegativePrism));
    }
    reader.skip_blanks();
    if reader.is_at_end() && amount == PrismDioptre::ZERO {
        return Ok(Prism::ZERO);
    }
    if reader.take_one_of(&['@']) {
        reader.skip_blanks();
        return read_bearing(reader, amount);
    }
    if reader.take_word("base") {
        reader.skip_blanks();
        if reader.peek().is_some_and(|c| c.is_ascii_digit()) {
            return read_bearing(reader, amount);
        }
    }
    read_named(reader, amount, eye)
}

fn read_bearing(reader: &mut Reader<'_>, amount: PrismDioptre) -> Result<Prism, ParseError> {
    if reader.is_at_end() {
        return Err(reader.error(ParseErrorKind::BaseMissing));
    }
    let base = Bearing::read(reader)?;
    reader.take_one_of(&['\u{b0}']);
    Ok(Prism::from_base(amount, base))
}

fn read_named(reader: &mut Reader<'_>, amount: PrismDioptre, eye: Option<Eye>) -> Result<Prism, ParseError> {
    let place = reader.clone();
    let mut named = |words: [&str; 2]| words.iter().any(|word| reader.take_word(word));
    let zero = PrismDioptre::ZERO;
    if named(["up", "BU"]) {
        return Ok(Prism::new(zero, amount));
    }
    if named(["down", "BD"]) {
        return Ok(Prism::new(zero, -amount));
    }
    let base_in = if named(["in", "BI"]) {
        amount
    } else if named(["out", "BO"]) {
        -amount
    } else {
        return Err(place.error(ParseErrorKind::BaseMissing));
    };
    let eye = eye.ok_or_else(|| place.error(ParseErrorKind::EyeNeeded))?;
    Ok(Prism::from_bases(eye, base_in, zero))
}

impl fmt::Display for Prism {
    /// `1.50 base up`, `1.50 base down`, or, with a horizontal part, whose name needs the eye, `2.50 @ 037`; a precision
    /// asks for more decimals of the amount.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.x == PrismDioptre::ZERO && self.y != PrismDioptre::ZERO {
            return named(f, self.y, " base up", " base down");
        }
        let (amount, base) = self.resultant();
        fmt::Display::fmt(&amount, f)?;
        if amount == PrismDioptre::ZERO {
            return Ok(());
        }
        write!(f, " @ {base}")
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Prism {
    fn format(&self, f: defmt::Formatter<'_>) {
        if self.x == PrismDioptre::ZERO && self.y != PrismDioptre::ZERO {
            return log_vertical(f, self.y);
        }
        let (amount, base) = self.resultant();
        if amount == PrismDioptre::ZERO {
            return defmt::write!(f, "{}", amount);
        }
        defmt::write!(f, "{} @ {}", amount, base);
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for EyePrism {
    fn format(&self, f: defmt::Formatter<'_>) {
        let (horizontal, vertical) = (self.base_in(), self.base_up());
        if self.prism == Prism::ZERO {
            return defmt::write!(f, "{}", PrismDioptre::ZERO);
        }
        if horizontal < PrismDioptre::ZERO {
            defmt::write!(f, "{} base out", horizontal.abs());
        } else if horizontal != PrismDioptre::ZERO {
            defmt::write!(f, "{} base in", horizontal);
        }
        if horizontal != PrismDioptre::ZERO && vertical != PrismDioptre::ZERO {
            defmt::write!(f, " ");
        }
        if vertical != PrismDioptre::ZERO {
            log_vertical(f, vertical);
        }
    }
}

/// The names stand in the format strings: an argument would be shown in quotes where a derived `Format` nests.
#[cfg(feature = "defmt")]
fn log_vertical(f: defmt::Formatter<'_>, amount: PrismDioptre) {
    if amount < PrismDioptre::ZERO {
        defmt::write!(f, "{} base down", amount.abs());
    } else {
        defmt::write!(f, "{} base up", amount);
    }
}
