//! Decimal text in and out, shared by every quantity: one reader, one writer, one error.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::cast_possible_truncation,
    clippy::integer_division,
    reason = "divisors are literal powers of ten, counts of digits are small"
)]

use core::fmt;

/// Why a text is not what it should be.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ParseErrorKind {
    /// Nothing there but blanks.
    Empty,
    /// A number should stand here.
    NumberExpected,
    /// The number is larger than the quantity allows.
    OutOfRange,
    /// An axis stands where the cylinder should.
    CylinderMissing,
    /// A cylinder has no axis: `x` and a number from 0 to 180 must follow.
    AxisMissing,
    /// An axis must lie from 0 to 180 degrees.
    AxisRange,
    /// A prism has no base: `base in`, `out`, `up`, `down`, or `@` and degrees must follow.
    BaseMissing,
    /// A base bearing must lie from 0 to 360 degrees.
    BaseRange,
    /// `in` and `out` need to know which eye the prism is for.
    EyeNeeded,
    /// A prism's amount must not be negative: turn the base instead.
    NegativePrism,
    /// Something follows that does not belong here.
    Trailing,
}

impl ParseErrorKind {
    const fn text(self) -> &'static str {
        match self {
            Self::Empty => "nothing to read",
            Self::NumberExpected => "a number is expected",
            Self::OutOfRange => "the number is out of range",
            Self::CylinderMissing => "the axis has no cylinder before it",
            Self::AxisMissing => "the cylinder needs an axis: 'x' and 0 to 180",
            Self::AxisRange => "an axis lies from 0 to 180 degrees",
            Self::BaseMissing => "the prism needs a base: '@' and degrees, or 'base in', 'out', 'up', 'down'",
            Self::BaseRange => "a base bearing lies from 0 to 360 degrees",
            Self::EyeNeeded => "'in' and 'out' need the eye",
            Self::NegativePrism => "a prism is not negative: turn its base",
            Self::Trailing => "something follows that does not belong here",
        }
    }
}

/// A text that could not be read: why, and where.
///
/// ```
/// use dioptric::rx::SpheroCylinder;
/// let error = "-3.00 -1.25 x 190".parse::<SpheroCylinder>().unwrap_err();
/// assert_eq!(error.to_string(), "an axis lies from 0 to 180 degrees, at character 15");
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ParseError {
    kind: ParseErrorKind,
    at: u16,
}

impl ParseError {
    pub(crate) const fn new(kind: ParseErrorKind, at: u16) -> Self {
        Self { kind, at }
    }

    /// Why.
    #[must_use]
    pub const fn kind(self) -> ParseErrorKind {
        self.kind
    }

    /// Where: the index of the character, counted from 0, at which the reader gave up.
    #[must_use]
    pub const fn position(self) -> usize {
        self.at as usize
    }

    /// A number or an angle outside its bounds.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(
            self.kind,
            ParseErrorKind::OutOfRange
                | ParseErrorKind::AxisRange
                | ParseErrorKind::BaseRange
                | ParseErrorKind::NegativePrism
        )
    }

    /// A text of the wrong form.
    #[must_use]
    pub const fn is_syntax(self) -> bool {
        !self.is_range()
    }
}

impl fmt::Display for ParseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, at character {}", self.kind.text(), self.at.saturating_add(1))
    }
}

impl core::error::Error for ParseError {}

/// Digits after the decimal point that count; more are read and only break exact ties, which they cannot shift by more.
const FRACTION_DIGITS: u32 = 9;
/// `10^FRACTION_DIGITS`.
const NANO: u64 = 1_000_000_000;
/// Largest integer part kept: beyond every quantity here, and `MOST_UNITS * NANO` fits 64 bits.
const MOST_UNITS: u64 = 1_000_000;

/// A decimal number, exactly as written, in units of 1e-9.
#[derive(Clone, Copy)]
pub(crate) struct Decimal {
    pub nano: i64,
}

impl Decimal {
    /// In units of `2^-fraction_bits / per`, rounded to nearest, halves away from zero; `None` beyond 32 bits.
    pub(crate) fn to_bits(self, fraction_bits: u32) -> Option<i32> {
        let magnitude = self.nano.unsigned_abs();
        let (whole, rest) = (magnitude / NANO, magnitude % NANO);
        let fraction = (rest << (fraction_bits & 31)).wrapping_add(NANO >> 1) / NANO;
        let bits = (whole << (fraction_bits & 31)).wrapping_add(fraction);
        // The largest word stands for "saturated", so no text may mean it.
        let bits = i32::try_from(bits).ok().filter(|bits| *bits < i32::MAX)?;
        Some(if self.nano < 0 { bits.wrapping_neg() } else { bits })
    }
}

/// Reads a text from left to right, remembering the character it is at.
#[derive(Clone)]
pub(crate) struct Reader<'a> {
    rest: core::str::Chars<'a>,
    at: u16,
}

impl<'a> Reader<'a> {
    pub(crate) fn new(text: &'a str) -> Self {
        Self { rest: text.chars(), at: 0 }
    }

    pub(crate) fn error(&self, kind: ParseErrorKind) -> ParseError {
        ParseError::new(kind, self.at)
    }

    pub(crate) fn peek(&self) -> Option<char> {
        self.rest.clone().next()
    }

    pub(crate) fn advance(&mut self) {
        self.rest.next();
        self.at = self.at.saturating_add(1);
    }

    pub(crate) fn skip_blanks(&mut self) {
        while self.peek().is_some_and(char::is_whitespace) {
            self.advance();
        }
    }

    /// Takes the character if it is one of `any`.
    pub(crate) fn take_one_of(&mut self, any: &[char]) -> bool {
        let found = self.peek().is_some_and(|c| any.contains(&c));
        if found {
            self.advance();
        }
        found
    }

    /// Takes `word`, letter case aside, when no letter follows it.
    pub(crate) fn take_word(&mut self, word: &str) -> bool {
        let mut ahead = self.clone();
        for expected in word.chars() {
            if !ahead.peek().is_some_and(|c| c.eq_ignore_ascii_case(&expected)) {
                return false;
            }
            ahead.advance();
        }
        if ahead.peek().is_some_and(char::is_alphabetic) {
            return false;
        }
        *self = ahead;
        true
    }

    pub(crate) fn is_at_end(&self) -> bool {
        self.peek().is_none()
    }

    /// Requires that only blanks are left.
    pub(crate) fn end(&mut self) -> Result<(), ParseError> {
        self.skip_blanks();
        if self.is_at_end() { Ok(()) } else { Err(self.error(ParseErrorKind::Trailing)) }
    }

    /// A decimal number: optional sign (ASCII or Unicode minus), digits, optional point and digits.
    pub(crate) fn number(&mut self) -> Result<Decimal, ParseError> {
        let negative = self.take_one_of(&['-', '\u{2212}', '\u{2013}']);
        if !negative {
            self.take_one_of(&['+']);
        }
        let (units, unit_digits) = self.digits(u32::MAX);
        let (fraction, fraction_digits) = if self.take_one_of(&['.']) { self.fraction() } else { (0, 0) };
        if unit_digits == 0 && fraction_digits == 0 {
            return Err(self.error(ParseErrorKind::NumberExpected));
        }
        // A larger one is beyond every quantity all the same; the quantity says so.
        let nano = units.min(MOST_UNITS).wrapping_mul(NANO).wrapping_add(fraction).cast_signed();
        // The sign belongs to the whole number: an integer part of zero carries none of its own.
        Ok(Decimal { nano: if negative { nano.wrapping_neg() } else { nano } })
    }

    fn fraction(&mut self) -> (u64, u32) {
        let (value, taken) = self.digits(FRACTION_DIGITS);
        let padding = FRACTION_DIGITS.saturating_sub(taken);
        let (_, beyond) = self.digits(u32::MAX);
        (value.wrapping_mul(power_of_ten(padding)), taken.saturating_add(beyond))
    }

    /// Up to `most` digits and their count; the value stops growing beyond every range.
    fn digits(&mut self, most: u32) -> (u64, u32) {
        let (mut value, mut count) = (0u64, 0u32);
        while count < most {
            let Some(digit) = self.peek().and_then(|c| c.to_digit(10)) else { break };
            value = value.wrapping_mul(10).wrapping_add(u64::from(digit)).min(10 * NANO);
            count = count.saturating_add(1);
            self.advance();
        }
        (value, count)
    }
}

/// `10^exponent` for an exponent up to 19.
fn power_of_ten(exponent: u32) -> u64 {
    (0..exponent.min(19)).fold(1, |power, _| u64::wrapping_mul(power, 10))
}

/// Reads a whole text with `read`: blanks around it are skipped, nothing else may be left.
pub(crate) fn read_whole<T>(
    text: &str,
    read: impl FnOnce(&mut Reader<'_>) -> Result<T, ParseError>,
) -> Result<T, ParseError> {
    let mut reader = Reader::new(text);
    reader.skip_blanks();
    if reader.is_at_end() {
        return Err(reader.error(ParseErrorKind::Empty));
    }
    let value = read(&mut reader)?;
    reader.end()?;
    Ok(value)
}

/// How a quantity's text looks when nothing is asked of it.
#[derive(Clone, Copy)]
pub(crate) struct Notation {
    /// Digits after the point.
    pub digits: usize,
    /// A plus sign before what is not negative.
    pub plus: bool,
    /// Odd eighths cut instead of rounded: 0.125 is written 0.12, 0.375 0.37.
    pub eighths: bool,
}

/// Most digits that are written after the point: one unit of 2^-32 has no more of interest.
const MOST_DIGITS: usize = 9;

/// Writes `bits / 2^fraction_bits` with the sign, width, fill and precision that the caller's format asks for.
pub(crate) fn write_fixed(
    f: &mut fmt::Formatter<'_>,
    bits: i64,
    fraction_bits: u32,
    notation: Notation,
) -> fmt::Result {
    let asked = f.precision();
    let digits = asked.unwrap_or(notation.digits).min(MOST_DIGITS);
    let cut = asked.is_none() && notation.eighths && is_odd_eighth(bits, fraction_bits);
    let scaled = scale(bits.unsigned_abs(), fraction_bits, digits, cut);
    let negative = bits < 0 && scaled != 0;
    let plus = (notation.plus || f.sign_plus()) && !negative;
    let mut text = Text::new();
    text.push_decimal(scaled, digits);
    if negative {
        text.push(b'-');
    } else if plus {
        text.push(b'+');
    }
    text.write(f)
}

/// Sign, whole part and decimals of a quantity in its plain notation.
#[cfg(feature = "defmt")]
pub(crate) fn decimal_parts(bits: i64, fraction_bits: u32, notation: Notation) -> (&'static str, u64, u64) {
    let cut = notation.eighths && is_odd_eighth(bits, fraction_bits);
    let scaled = scale(bits.unsigned_abs(), fraction_bits, notation.digits, cut);
    let sign = match (bits < 0 && scaled != 0, notation.plus) {
        (true, _) => "-",
        (false, true) => "+",
        (false, false) => "",
    };
    let power = power_of_ten(notation.digits as u32).max(1);
    (sign, scaled / power, scaled % power)
}

fn is_odd_eighth(bits: i64, fraction_bits: u32) -> bool {
    let eighth = 1u64 << (fraction_bits.saturating_sub(3) & 31);
    bits.unsigned_abs() & (eighth << 1).wrapping_sub(1) == eighth
}

/// `magnitude / 2^fraction_bits * 10^digits`, rounded (or cut).
fn scale(magnitude: u64, fraction_bits: u32, digits: usize, cut: bool) -> u64 {
    let power = power_of_ten(digits as u32);
    let shift = fraction_bits & 31;
    let one = 1u64 << shift;
    let half = if cut { 0 } else { one >> 1 };
    let fraction = (magnitude & one.wrapping_sub(1)).wrapping_mul(power).wrapping_add(half) >> shift;
    (magnitude >> shift).wrapping_mul(power).wrapping_add(fraction)
}

/// A number written back to front.
struct Text {
    bytes: [u8; 32],
    used: usize,
}

impl Text {
    const fn new() -> Self {
        Self { bytes: [b'0'; 32], used: 0 }
    }

    fn push(&mut self, byte: u8) {
        self.used = self.used.saturating_add(1);
        let place = self.bytes.len().saturating_sub(self.used);
        if let Some(slot) = self.bytes.get_mut(place) {
            *slot = byte;
        }
    }

    fn push_decimal(&mut self, mut value: u64, digits: usize) {
        let mut written = 0usize;
        while value != 0 || written <= digits {
            if written == digits && digits != 0 {
                self.push(b'.');
            }
            self.push(b'0'.wrapping_add((value % 10) as u8));
            value /= 10;
            written = written.saturating_add(1);
        }
    }

    fn write(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let start = self.bytes.len().saturating_sub(self.used);
        let text = self.bytes.get(start..).and_then(|bytes| core::str::from_utf8(bytes).ok()).ok_or(fmt::Error)?;
        pad(f, text)
    }
}

/// `Formatter::pad` without its cut at the precision, which here counts decimals.
fn pad(f: &mut fmt::Formatter<'_>, text: &str) -> fmt::Result {
    let missing = f.width().unwrap_or(0).saturating_sub(text.len());
    let (before, zero) = match f.align() {
        _ if f.sign_aware_zero_pad() => (missing, true),
        Some(fmt::Alignment::Left) => (0, false),
        Some(fmt::Alignment::Center) => (missing >> 1, false),
        _ => (missing, false),
    };
    let fill = f.fill();
    let mut text = text;
    if zero && text.starts_with(['+', '-']) {
        let (sign, digits) = text.split_at_checked(1).unwrap_or(("", text));
        f.write_str(sign)?;
        text = digits;
    }
    for _ in 0..before {
        fmt::Write::write_char(f, if zero { '0' } else { fill })?;
    }
    f.write_str(text)?;
    for _ in before..missing {
        fmt::Write::write_char(f, fill)?;
    }
    Ok(())
}
