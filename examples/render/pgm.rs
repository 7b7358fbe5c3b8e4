//! Grey images as binary PGM (P5), 8 and 16 bits, in and out.
//!
//! Source: netpbm's specification "pgm", <https://netpbm.sourceforge.net/doc/pgm.html>: "P5", width, height and greatest level
//! in decimal, each after white space or comments from "#" to the end of the line; one byte of white space; then the rows from the
//! top, a byte a pixel up to a greatest level of 255, else two, the higher first.
//!
//! Of a file with several images none is read, since a frame is one.
#![allow(dead_code, reason = "each program that includes this module uses its part")]

use std::fmt;
use std::io::{self, BufReader, Read, Write};

/// Rows from the top, each from the left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    pub width: usize,
    /// The greatest level that a pixel may have: white.
    pub full: u16,
    pub pixels: Vec<u16>,
}

impl Image {
    pub fn height(&self) -> usize {
        self.pixels.len().checked_div(self.width).unwrap_or(0)
    }

    pub fn rows(&self) -> impl Iterator<Item = &[u16]> {
        self.pixels.chunks(self.width.max(1))
    }

    /// Bits of the greatest level.
    pub const fn bits(&self) -> u32 {
        u16::BITS - self.full.leading_zeros()
    }
}

/// Most columns, and most rows.
pub const MOST_PIXELS: usize = 16_384;

/// Why a file is no image.
#[derive(Debug)]
pub enum Fault {
    Io(io::Error),
    /// The file does not begin with "P5".
    NotPgm,
    /// It begins with "P2": the form that is text.
    Plain,
    /// The file ends within the header.
    HeaderEnds {
        field: &'static str,
    },
    /// Something else than a decimal number, at that byte.
    NoNumber {
        field: &'static str,
        at: usize,
    },
    /// A number out of range: [`MOST_PIXELS`], 65535 for the greatest level, and none of them 0.
    Range {
        field: &'static str,
        most: usize,
    },
    /// No white space after the greatest level.
    NoSpace {
        at: usize,
    },
    /// The file ends before the last pixel.
    Truncated {
        wanted: usize,
        found: usize,
    },
    /// Bytes after the last pixel.
    TooLong,
    /// A pixel above the greatest level.
    Level {
        column: usize,
        row: usize,
        level: u16,
        full: u16,
    },
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io(error) => error.fmt(f),
            Self::NotPgm => f.write_str("not a PGM file: it does not begin with P5"),
            Self::Plain => f.write_str("a PGM file of text (P2); the binary form (P5) is needed"),
            Self::HeaderEnds { field } => write!(f, "the file ends before its {field}"),
            Self::NoNumber { field, at } => write!(f, "byte {at}: the {field} is not a decimal number"),
            Self::Range { field, most } => write!(f, "the {field} is not in 1 to {most}"),
            Self::NoSpace { at } => write!(f, "byte {at}: no white space after the greatest level"),
            Self::Truncated { wanted, found } => write!(f, "{found} bytes of pixels instead of {wanted}"),
            Self::TooLong => f.write_str("bytes after the last pixel"),
            Self::Level { column, row, level, full } => {
                write!(f, "column {column}, row {row}: level {level} above the greatest, {full}")
            }
        }
    }
}

impl std::error::Error for Fault {}

impl From<io::Error> for Fault {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// Reads one image, to the end of the source.
pub fn read(source: impl Read) -> Result<Image, Fault> {
    let mut header = Header { source: BufReader::new(source).bytes(), at: 0 };
    match [header.next()?, header.next()?] {
        [Some(b'P'), Some(b'5')] => {}
        [Some(b'P'), Some(b'2')] => return Err(Fault::Plain),
        _ => return Err(Fault::NotPgm),
    }
    // What ends a number has been read with it.
    let after = header.next()?;
    let (width, after) = header.number("width", after, MOST_PIXELS)?;
    let (height, after) = header.number("height", after, MOST_PIXELS)?;
    let (full, after) = header.number("greatest level", after, u16::MAX.into())?;
    match after {
        Some(byte) if is_space(byte) => {}
        None => return Err(Fault::Truncated { wanted: width * height * bytes(full), found: 0 }),
        Some(_) => return Err(Fault::NoSpace { at: header.at - 1 }),
    }
    let wanted = width * height * bytes(full);
    let mut raster = Vec::new();
    for byte in header.source {
        if raster.len() == wanted {
            byte?;
            return Err(Fault::TooLong);
        }
        raster.push(byte?);
    }
    if raster.len() < wanted {
        return Err(Fault::Truncated { wanted, found: raster.len() });
    }
    let level = |bytes: &[u8]| bytes.iter().fold(0u16, |level, &byte| (level << 8) | u16::from(byte));
    let pixels: Vec<u16> = raster.chunks(bytes(full)).map(level).collect();
    let full = u16::try_from(full).unwrap_or(u16::MAX);
    if let Some(at) = pixels.iter().position(|&level| level > full) {
        return Err(Fault::Level { column: at % width, row: at / width, level: pixels[at], full });
    }
    Ok(Image { width, full, pixels })
}

const fn bytes(full: usize) -> usize {
    if full < 256 { 1 } else { 2 }
}

/// White space as the format has it: blank, tab, line feed, vertical tab, form feed, carriage return.
const fn is_space(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t'..=b'\r')
}

struct Header<R> {
    source: io::Bytes<R>,
    /// Bytes read.
    at: usize,
}

impl<R: Read> Header<R> {
    fn next(&mut self) -> Result<Option<u8>, Fault> {
        self.at += 1;
        Ok(self.source.next().transpose()?)
    }

    /// The byte, or the line's end if it starts a comment.
    fn past_comment(&mut self, mut byte: Option<u8>) -> Result<Option<u8>, Fault> {
        if byte == Some(b'#') {
            while !matches!(byte, None | Some(b'\n' | b'\r')) {
                byte = self.next()?;
            }
        }
        Ok(byte)
    }

    /// A number after white space and comments, of which `byte` is the first; and the byte that ends it.
    fn number(&mut self, field: &'static str, byte: Option<u8>, most: usize) -> Result<(usize, Option<u8>), Fault> {
        let mut byte = self.past_comment(byte)?;
        if !byte.is_none_or(is_space) {
            return Err(Fault::NoNumber { field, at: self.at - 1 });
        }
        while byte.is_some_and(is_space) {
            let next = self.next()?;
            byte = self.past_comment(next)?;
        }
        let Some(first) = byte else { return Err(Fault::HeaderEnds { field }) };
        if !first.is_ascii_digit() {
            return Err(Fault::NoNumber { field, at: self.at - 1 });
        }
        let mut number = 0usize;
        while let Some(digit) = byte.filter(u8::is_ascii_digit) {
            number = number.saturating_mul(10).saturating_add((digit - b'0').into());
            byte = self.next()?;
        }
        if number == 0 || number > most {
            return Err(Fault::Range { field, most });
        }
        Ok((number, byte))
    }
}

/// Writes an image.
pub fn write(image: &Image, mut out: impl Write) -> io::Result<()> {
    write!(out, "P5\n{} {}\n{}\n", image.width, image.height(), image.full)?;
    let is_word = image.full > 255;
    let pixels = image.pixels.iter().flat_map(|level| level.to_be_bytes().into_iter().skip((!is_word).into()));
    out.write_all(&pixels.collect::<Vec<u8>>())
}
