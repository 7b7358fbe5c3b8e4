//! The checksum of a stream, and what a result puts into it.

use dioptric::{
    prism::Prism,
    quantity::{Axis, Bearing, CubicMillimetre, Degree, Dioptre, Fraction, Milligram, Millimetre, Point, PrismDioptre},
    rx::SpheroCylinder,
    vector::{PowerMatrix, PowerVector},
};

/// CRC-32 of IEEE 802.3 over results written least significant byte first.
pub struct Digest {
    state: u32,
    results: u32,
}

impl Digest {
    #[must_use]
    pub const fn new() -> Self {
        Self { state: u32::MAX, results: 0 }
    }

    /// Takes one result of one or more words.
    pub fn take<const WORDS: usize>(&mut self, words: [u32; WORDS]) {
        self.results += 1;
        for word in words {
            self.bytes(&word.to_le_bytes());
        }
    }

    pub fn bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.state ^= u32::from(byte);
            for _ in 0..2 {
                self.state = (self.state >> 4) ^ NIBBLES[self.state as usize & 15];
            }
        }
    }

    #[must_use]
    pub const fn crc(&self) -> u32 {
        !self.state
    }

    /// How many results were taken.
    #[must_use]
    pub const fn results(&self) -> u32 {
        self.results
    }
}

/// The CRC of each half byte, for the reflected polynomial.
const NIBBLES: [u32; 16] = {
    let mut table = [0; 16];
    let mut nibble = 0;
    while nibble < 16 {
        let mut crc = nibble as u32;
        let mut bit = 0;
        while bit < 4 {
            crc = (crc >> 1) ^ (0xEDB8_8320 & 0u32.wrapping_sub(crc & 1));
            bit += 1;
        }
        table[nibble] = crc;
        nibble += 1;
    }
    table
};

pub const fn halves(value: u64) -> [u32; 2] {
    [value as u32, (value >> 32) as u32]
}

/// The words of a result: what a stream is made of.
pub trait Words<const WORDS: usize> {
    fn words(self) -> [u32; WORDS];
}

macro_rules! one_word {
    ($($name:ident)*) => {$(
        impl Words<1> for $name {
            fn words(self) -> [u32; 1] {
                [self.to_bits() as u32]
            }
        }
    )*};
}

one_word!(Dioptre PrismDioptre Millimetre CubicMillimetre Milligram Degree Axis Bearing Fraction);

impl Words<2> for Point {
    fn words(self) -> [u32; 2] {
        [self.x, self.y].map(|part| part.to_bits() as u32)
    }
}

impl Words<2> for Prism {
    fn words(self) -> [u32; 2] {
        [self.x, self.y].map(|part| part.to_bits() as u32)
    }
}

impl Words<3> for SpheroCylinder {
    fn words(self) -> [u32; 3] {
        [self.sphere().to_bits() as u32, self.cylinder().to_bits() as u32, self.axis().to_bits()]
    }
}

impl Words<3> for PowerVector {
    fn words(self) -> [u32; 3] {
        [self.m, self.j0, self.j45].map(|part| part.to_bits() as u32)
    }
}

impl Words<3> for PowerMatrix {
    fn words(self) -> [u32; 3] {
        [self.xx, self.xy, self.yy].map(|part| part.to_bits() as u32)
    }
}

impl Digest {
    /// Takes a value, or the fact that there is none.
    pub fn take_or<const WORDS: usize>(&mut self, value: Option<impl Words<WORDS>>) {
        match value {
            Some(value) => self.take(value.words()),
            None => self.take([u32::MAX]),
        }
    }
}
