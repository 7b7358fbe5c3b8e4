//! What the streams are fed.

use dioptric::{
    prism::Prism,
    quantity::{Axis, Dioptre, Millimetre, Point, PrismDioptre},
    rx::SpheroCylinder,
    vector::{PowerMatrix, PowerVector},
};

use super::{Digest, Stream, digest::halves};

/// If this one differs, the fault is in these files or their compiler, not in the library.
pub const STREAMS: &[Stream] = &[Stream { name: "generator", run: generator }];

fn generator(digest: &mut Digest) {
    let mut generator = Generator::new();
    for _ in 0..RANDOM {
        digest.take(halves(generator.long()));
    }
}

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
pub struct Generator(u64);

impl Generator {
    pub const fn new() -> Self {
        Self(0)
    }

    pub fn long(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    pub fn word(&mut self) -> u32 {
        (self.long() >> 32) as u32
    }

    /// Every magnitude equally often, both signs.
    pub fn signed(&mut self) -> i32 {
        (self.word() as i32) >> (self.word() & 31)
    }

    pub fn signed_long(&mut self) -> i64 {
        (self.long() as i64) >> (self.word() & 63)
    }
}

pub const RANDOM: u32 = 10_000;

/// Powers of two, their neighbours, and the same negated; 0 and the extremes are among them.
pub fn edges() -> impl Iterator<Item = i32> {
    let near = |power: u32| (-1..=1).map(move |offset| 1i32.wrapping_shl(power).wrapping_add(offset));
    (0..32).flat_map(near).flat_map(|value| [value, value.wrapping_neg()])
}

pub fn long_edges() -> impl Iterator<Item = i64> {
    let near = |power: u32| (-1..=1).map(move |offset| 1i64.wrapping_shl(power).wrapping_add(offset));
    (0..64).flat_map(near).flat_map(|value| [value, value.wrapping_neg()])
}

/// The 24ths of a turn, octant borders among them, the powers of two, and the neighbours of each.
pub fn turn_edges() -> impl Iterator<Item = u32> {
    let parts = (0..24u64).map(|part| ((part << 32) / 24) as u32);
    let near = |turn: u32| (0..5).map(move |offset| turn.wrapping_add(offset).wrapping_sub(2));
    parts.flat_map(near).chain(edges().map(|edge| edge as u32))
}

/// As many inputs as a stream must have.
pub fn random(mut one: impl FnMut(&mut Generator)) {
    let mut generator = Generator::new();
    for _ in 0..RANDOM {
        one(&mut generator);
    }
}

/// Inputs of the trade: random where the type allows anything, in range where it does not.
impl Generator {
    pub fn dioptres(&mut self) -> Dioptre {
        Dioptre::from_bits(self.signed())
    }

    pub fn prism(&mut self) -> Prism {
        Prism::new(PrismDioptre::from_bits(self.signed()), PrismDioptre::from_bits(self.signed()))
    }

    pub fn point(&mut self) -> Point {
        Point::new(Millimetre::from_bits(self.signed()), Millimetre::from_bits(self.signed()))
    }

    /// Half of them in quarters and whole degrees, as lenses are ordered; half anything in range.
    pub fn prescription(&mut self) -> SpheroCylinder {
        let (sphere, cylinder, axis) = if self.word() & 1 == 0 {
            let quarters = |word: u32, most: u32| Dioptre::from_bits(((word % (8 * most)) << 18) as i32);
            let degrees = Axis::from_degrees((self.word() % 181) as u16).unwrap_or_default();
            (quarters(self.word(), 20), -quarters(self.word(), 10), degrees)
        } else {
            let within = |value: i32| Dioptre::from_bits(value >> 6);
            (within(self.signed()), within(self.signed()), Axis::from_bits(self.word()))
        };
        SpheroCylinder::new(sphere, cylinder, axis).unwrap_or_default()
    }

    pub fn vector(&mut self) -> PowerVector {
        PowerVector { m: self.dioptres(), j0: self.dioptres(), j45: self.dioptres() }
    }

    pub fn matrix(&mut self) -> PowerMatrix {
        if self.word() & 1 == 0 {
            return self.prescription().into();
        }
        PowerMatrix { xx: self.dioptres(), xy: self.dioptres(), yy: self.dioptres() }
    }
}
