//! Reads a file of spots line by line: bounded memory whatever the file, and every fault with its place.

use dioptric::quantity::{Millimetre, Point};
use dioptric::sensor::{Error, Fit, Geometry, SlopeSums, SpotPair};
use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::fmt;
use std::io::{self, BufRead};

/// The columns, in the order of [`SpotPair`]'s coordinates.
const COLUMNS: [&str; 4] = ["ref_x_mm", "ref_y_mm", "x_mm", "y_mm"];

/// A longer line is no line of spots.
const MOST_LINE_BYTES: usize = 64 << 10;
/// Blank lines included: so that an endless file of them ends too.
const MOST_LINES: u32 = 2 * SlopeSums::MOST_SPOTS;
/// Characters of a bad field that are shown.
const MOST_SHOWN: usize = 32;

/// What is wrong with a file, and where.
#[derive(Debug)]
pub struct Fault {
    file: String,
    lines: Option<(u32, u32)>,
    fields: &'static [&'static str],
    what: String,
}

impl Fault {
    pub fn of_file(file: &str, what: impl Into<String>) -> Self {
        Self { file: file.into(), lines: None, fields: &[], what: what.into() }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        match self.lines {
            Some((first, last)) if first == last => write!(f, ", line {first}")?,
            Some((first, last)) => write!(f, ", lines {first} to {last}")?,
            None => {}
        }
        match self.fields {
            [] => {}
            [field] => write!(f, ", field {field}")?,
            fields => write!(f, ", fields {}", fields.join(", "))?,
        }
        write!(f, ": {}", self.what)
    }
}

/// The spots of a file, and their sums.
pub struct Spots {
    file: String,
    pub sums: SlopeSums,
    pub pairs: Vec<SpotPair>,
    /// First and last line with a spot.
    lines: (u32, u32),
}

impl Spots {
    /// Reads a file.
    pub fn read(file: &str, source: impl BufRead) -> Result<Self, Fault> {
        let mut lines = Lines { file, source, number: 0, bytes: Vec::new(), after_return: false };
        let Some((first, header)) = lines.next_filled()? else {
            let what = format!("the file is empty: its first line must be {}", COLUMNS.join(","));
            return Err(Fault { lines: Some((1, 1)), ..Fault::of_file(file, what) });
        };
        let header = Header::read(file, first, &header)?;
        let mut spots =
            Self { file: file.into(), sums: SlopeSums::default(), pairs: Vec::new(), lines: (first, first) };
        let mut seen = Seen::default();
        while let Some((line, text)) = lines.next_filled()? {
            let pair = header.pair(file, line, &text)?;
            let fault = |fields, what| Fault { file: file.into(), lines: Some((line, line)), fields, what };
            seen.note(pair.reference(), line).map_err(|what| fault(&COLUMNS[..2], what))?;
            spots.sums.add(pair).map_err(|error| fault(&[], error.to_string()))?;
            spots.pairs.push(pair);
            if spots.sums.count() == 1 {
                spots.lines.0 = line;
            }
            spots.lines.1 = line;
        }
        Ok(spots)
    }

    /// Fits the lens.
    pub fn fit(&self, geometry: &Geometry) -> Result<Fit, Fault> {
        self.sums.fit(geometry).map_err(|error| {
            let (fields, what): (&'static [_], _) = match error {
                Error::TooFewSpots => (&[], format!("{error}: {}", self.sums.count())),
                Error::Collinear => (&COLUMNS[..2], error.to_string()),
                Error::SlopeRange => (&COLUMNS[2..], error.to_string()),
                _ => (&[], error.to_string()),
            };
            Fault { file: self.file.clone(), lines: Some(self.lines), fields, what }
        })
    }
}

/// Where each column stands.
struct Header {
    places: [usize; 4],
    fields: usize,
}

impl Header {
    fn read(file: &str, line: u32, text: &str) -> Result<Self, Fault> {
        let fault = |fields, what| Fault { file: file.into(), lines: Some((line, line)), fields, what };
        let record = split(text).map_err(|what| fault(&[], what))?;
        let mut places = [0; 4];
        for (index, place) in places.iter_mut().enumerate() {
            let found: Vec<usize> = (0..record.len()).filter(|&i| record.get(i) == Some(COLUMNS[index])).collect();
            let field = &COLUMNS[index..=index];
            *place = match found[..] {
                [only] => only,
                [] => return Err(fault(field, missing(text))),
                _ => return Err(fault(field, "the column stands in the header more than once".into())),
            };
        }
        Ok(Self { places, fields: record.len() })
    }

    fn pair(&self, file: &str, line: u32, text: &str) -> Result<SpotPair, Fault> {
        let fault = |fields, what| Fault { file: file.into(), lines: Some((line, line)), fields, what };
        let record = split(text).map_err(|what| fault(&[], what))?;
        let mut values = [Millimetre::ZERO; 4];
        for (index, value) in values.iter_mut().enumerate() {
            let column = &COLUMNS[index..=index];
            let Some(field) = record.get(self.places[index]) else {
                let what = format!("the line ends before it: {} of {} fields", record.len(), self.fields);
                return Err(fault(column, what));
            };
            *value = coordinate(field).map_err(|what| fault(column, what))?;
        }
        if record.len() != self.fields {
            return Err(fault(&[], format!("{} fields where the header has {}", record.len(), self.fields)));
        }
        let [x, y, p, q] = values;
        // A range that `coordinate` has tested already.
        SpotPair::new(Point::new(x, y), Point::new(p, q)).map_err(|error| fault(&[], error.to_string()))
    }
}

fn missing(header: &str) -> String {
    let hint = if header.contains(';') || header.contains('\t') { " (fields are separated by commas)" } else { "" };
    format!("the column is missing{hint}: the header is {}", shown(header))
}

/// Splits one line.
fn split(text: &str) -> Result<csv::StringRecord, String> {
    let mut record = csv::StringRecord::new();
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .trim(csv::Trim::All)
        .buffer_capacity(text.len().max(1))
        .from_reader(text.as_bytes());
    reader.read_record(&mut record).map_err(|error| error.to_string())?;
    Ok(record)
}

fn coordinate(field: &str) -> Result<Millimetre, String> {
    let says = |what: &dyn fmt::Display| format!("{what}: {}", shown(field));
    let plain = without_exponent(field);
    let value: Millimetre = plain.as_deref().unwrap_or(field).parse().map_err(|error| says(&error))?;
    // The sensor's range, asked for one coordinate: the message shall name the field.
    let alone = Point::new(value, Millimetre::ZERO);
    SpotPair::new(alone, alone).map_err(|error| says(&error))?;
    Ok(value)
}

/// `1.5e-05`, as programs write small numbers, in the plain decimals that the crate reads: the point is moved, no digit
/// changes. `None` when it is no such number.
fn without_exponent(field: &str) -> Option<String> {
    let (mantissa, exponent) = field.split_once(['e', 'E'])?;
    let exponent: i32 = exponent.parse().ok().filter(|e| (-99..=99).contains(e))?;
    let (sign, digits) = match mantissa.strip_prefix(['-', '+']) {
        Some(rest) => mantissa.split_at(mantissa.len() - rest.len()),
        None => ("", mantissa),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let all = format!("{whole}{fraction}");
    if all.is_empty() || !all.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let point = i32::try_from(whole.len()).ok()? + exponent;
    let (before, after) = (usize::try_from(-point).unwrap_or(0), usize::try_from(point).unwrap_or(0));
    let padded = format!("{}{all}{}", "0".repeat(before), "0".repeat(after.saturating_sub(all.len())));
    let (whole, fraction) = padded.split_at(after);
    Some(format!("{sign}{whole}.{fraction}"))
}

/// A text from a file, in quotes and safe for a terminal.
fn shown(text: &str) -> String {
    let cut: String = text.chars().take(MOST_SHOWN).collect();
    let more = if cut.len() < text.len() { "..." } else { "" };
    format!("\"{}{more}\"", cut.escape_debug())
}

/// The references read so far, and their lines.
#[derive(Default)]
struct Seen(HashMap<(i32, i32), u32>);

impl Seen {
    /// A hole stands in the file once. Spots may coincide: a lens whose focus lies on the detector brings them together.
    /// The sums take no more spots than the map can hold.
    fn note(&mut self, reference: Point, line: u32) -> Result<(), String> {
        match self.0.entry((reference.x.to_bits(), reference.y.to_bits())) {
            Entry::Occupied(first) => Err(format!("the reference position of line {} again", first.get())),
            Entry::Vacant(place) => {
                place.insert(line);
                Ok(())
            }
        }
    }
}

/// The lines of a file, of bounded length and number, counted from 1 as an editor does.
///
/// The csv reader is given one line at a time: over a whole file it miscounts lines after blank ones and CRLF, and an open
/// quotation mark would make it read on without end.
struct Lines<'a, R> {
    file: &'a str,
    source: R,
    number: u32,
    bytes: Vec<u8>,
    /// The line before ended in a carriage return: a line feed that follows belongs to it.
    after_return: bool,
}

impl<R: BufRead> Lines<'_, R> {
    /// The next line that is not blank, and its number.
    fn next_filled(&mut self) -> Result<Option<(u32, String)>, Fault> {
        while self.advance()? {
            if self.number > MOST_LINES {
                return Err(self.fault(format!("more than {MOST_LINES} lines")));
            }
            let Ok(text) = std::str::from_utf8(&self.bytes) else {
                return Err(self.fault("the line is not UTF-8 text".into()));
            };
            let text = if self.number == 1 { text.strip_prefix('\u{feff}').unwrap_or(text) } else { text };
            if !text.trim().is_empty() {
                return Ok(Some((self.number, text.into())));
            }
        }
        Ok(None)
    }

    /// Reads one line; `false` at the end of the file.
    fn advance(&mut self) -> Result<bool, Fault> {
        self.bytes.clear();
        self.number += 1;
        loop {
            let chunk = match self.source.fill_buf() {
                Ok(chunk) => chunk,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                Err(error) => return Err(self.fault(error.to_string())),
            };
            let Some(&first) = chunk.first() else { return Ok(!self.bytes.is_empty()) };
            if std::mem::take(&mut self.after_return) && first == b'\n' {
                self.source.consume(1);
                continue;
            }
            let end = chunk.iter().position(|byte| matches!(byte, b'\n' | b'\r'));
            self.bytes.extend_from_slice(&chunk[..end.unwrap_or(chunk.len())]);
            self.after_return = end.is_some_and(|end| chunk[end] == b'\r');
            let used = end.map_or(chunk.len(), |end| end + 1);
            self.source.consume(used);
            if self.bytes.len() > MOST_LINE_BYTES {
                return Err(self.fault(format!("the line is longer than {MOST_LINE_BYTES} bytes")));
            }
            if end.is_some() {
                return Ok(true);
            }
        }
    }

    fn fault(&self, what: String) -> Fault {
        Fault { lines: Some((self.number, self.number)), ..Fault::of_file(self.file, what) }
    }
}
