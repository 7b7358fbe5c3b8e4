//! Files of one `key = value` per line: an order, and what was measured. TOML with dotted keys.

use dioptric::order::SegmentSize;
use dioptric::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, PrismDioptre, RefractiveIndex};
use dioptric::text::ParseError;
use serde::Deserialize;
use std::fs;
use std::path::Path;
use std::str::FromStr;
use toml::Spanned;

/// A number and where it stands.
pub type Number = Option<Spanned<f64>>;
/// A text and where it stands.
pub type Text = Option<Spanned<String>>;

/// A file's text, for messages that show the line.
pub struct Source {
    name: String,
    text: String,
}

impl Source {
    pub fn read(path: &Path) -> Result<Self, String> {
        let name = path.display().to_string();
        let text = fs::read_to_string(path).map_err(|error| format!("{name}: {error}"))?;
        Ok(Self { name, text })
    }

    pub fn parse<T: for<'a> Deserialize<'a>>(&self) -> Result<T, String> {
        toml::from_str(&self.text).map_err(|error| format!("{}: {}", self.name, error.to_string().trim_end()))
    }

    /// What is wrong with the value at a place: its line, its key, and what it says.
    pub fn fault<T>(&self, value: &Spanned<T>, what: &str) -> String {
        let start = value.span().start;
        let before = self.text.get(..start).unwrap_or_default();
        let number = before.matches('\n').count() + 1;
        let line = self.text.lines().nth(number - 1).unwrap_or_default().trim();
        format!("{}, line {number}: {line}\n    {what}", self.name)
    }

    /// A text of the trade's notation.
    pub fn text<T: FromStr<Err = ParseError>>(&self, value: &Text) -> Result<Option<T>, String> {
        self.text_by(value, |text| text.parse())
    }

    pub fn text_by<T>(&self, value: &Text, read: impl Fn(&str) -> Result<T, ParseError>) -> Result<Option<T>, String> {
        let read =
            |value: &Spanned<String>| read(value.get_ref()).map_err(|error| self.fault(value, &error.to_string()));
        value.as_ref().map(read).transpose()
    }

    fn number<T, E: ToString>(&self, value: &Number, read: impl Fn(f64) -> Result<T, E>) -> Result<Option<T>, String> {
        let read = |value: &Spanned<f64>| read(*value.get_ref()).map_err(|error| self.fault(value, &error.to_string()));
        value.as_ref().map(read).transpose()
    }

    /// A length, not below 0.
    pub fn length(&self, value: &Number) -> Result<Option<Millimetre>, String> {
        self.number(value, |value| {
            if value < 0.0 { Err("a length is not below 0".into()) } else { said(Millimetre::try_from_f64(value)) }
        })
    }

    /// An expanded uncertainty.
    pub fn uncertainty<T, E: ToString>(
        &self,
        value: &Number,
        read: impl Fn(f64) -> Result<T, E>,
    ) -> Result<Option<T>, String> {
        self.number(
            value,
            |value| {
                if value < 0.0 { Err("an uncertainty is not below 0".into()) } else { said(read(value)) }
            },
        )
    }

    /// Two values of which one says nothing without the other.
    pub fn both<T>(&self, [first, second]: [&Number; 2], read: [Option<T>; 2]) -> Result<Option<(T, T)>, String> {
        match (first, second, read) {
            (_, _, [Some(first), Some(second)]) => Ok(Some((first, second))),
            (Some(alone), None, _) | (None, Some(alone), _) => {
                Err(self.fault(alone, "half of a pair of keys: the other is missing"))
            }
            _ => Ok(None),
        }
    }

    pub fn segment(&self, size: [&Number; 2]) -> Result<Option<SegmentSize>, String> {
        let [width, depth] = size;
        let read = [self.length(width)?, self.length(depth)?];
        Ok(self.both(size, read)?.map(|(width, depth)| SegmentSize { width, depth }))
    }

    pub fn signed_length(&self, value: &Number) -> Result<Option<Millimetre>, String> {
        self.number(value, Millimetre::try_from_f64)
    }

    pub fn dioptres(&self, value: &Number) -> Result<Option<Dioptre>, String> {
        self.number(value, Dioptre::try_from_f64)
    }

    pub fn prism(&self, value: &Number) -> Result<Option<PrismDioptre>, String> {
        self.number(value, PrismDioptre::try_from_f64)
    }

    pub fn angle(&self, value: &Number) -> Result<Option<Degree>, String> {
        self.number(value, Degree::try_from_f64)
    }

    /// From 0 to 180 degrees.
    pub fn axis(&self, value: &Number) -> Result<Option<Axis>, String> {
        self.number(value, |value| within(value, 180.0).map(|turn| Axis::HORIZONTAL.turned(turn)))
    }

    /// From 0 to 360 degrees.
    pub fn bearing(&self, value: &Number) -> Result<Option<Bearing>, String> {
        self.number(value, |value| within(value, 360.0).map(|turn| Bearing::from_bits(0).turned(turn)))
    }

    pub fn index(&self, value: &Number) -> Result<Option<RefractiveIndex>, String> {
        self.number(value, |value| format!("{value:.9}").parse::<RefractiveIndex>())
    }

    /// A value without which others say nothing.
    pub fn needed<T>(&self, value: Option<T>, key: &str, of: &str) -> Result<T, String> {
        value.ok_or_else(|| format!("{}: {key} is missing: {of} needs it", self.name))
    }
}

fn said<T, E: ToString>(result: Result<T, E>) -> Result<T, String> {
    result.map_err(|error| error.to_string())
}

fn within(value: f64, most: f64) -> Result<Degree, String> {
    if !(0.0..=most).contains(&value) {
        return Err(format!("a direction lies from 0 to {most} degrees"));
    }
    said(Degree::try_from_f64(value))
}
