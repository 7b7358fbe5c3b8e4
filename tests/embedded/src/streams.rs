//! Streams of results whose checksums must be the same on every machine: the host, and each core at each opt-level.
//!
//! Integers only, and no memory: the same file is compiled into the firmware and into the host's test. A stream feeds
//! one function structured edges first (powers of two and their neighbours, octant borders, extreme values: where
//! carries and signs go wrong), then random inputs of every magnitude.

use dioptric::math;

/// A named stream.
pub struct Stream {
    pub name: &'static str,
    pub run: fn(&mut Digest),
}

/// Every stream, in the order of `digests.txt`.
pub const STREAMS: &[Stream] = &[
    Stream { name: "generator", run: generator },
    Stream { name: "math.cos_sin", run: cos_sin },
    Stream { name: "math.half_components", run: half_components },
    Stream { name: "math.polar", run: polar },
    Stream { name: "math.sqrt", run: sqrt },
    Stream { name: "math.div_round", run: div_round },
    Stream { name: "math.shift_round", run: shift_round },
];

impl Stream {
    /// The whole stream's digest.
    #[must_use]
    pub fn digest(&self) -> Digest {
        let mut digest = Digest::new();
        (self.run)(&mut digest);
        digest
    }
}

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

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
struct Generator(u64);

impl Generator {
    const fn new() -> Self {
        Self(0)
    }

    fn long(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    fn word(&mut self) -> u32 {
        (self.long() >> 32) as u32
    }

    /// Every magnitude equally often, both signs.
    fn signed(&mut self) -> i32 {
        (self.word() as i32) >> (self.word() & 31)
    }

    fn signed_long(&mut self) -> i64 {
        (self.long() as i64) >> (self.word() & 63)
    }
}

const RANDOM: u32 = 10_000;

/// Powers of two, their neighbours, and the same negated; 0 and the extremes are among them.
fn edges() -> impl Iterator<Item = i32> {
    let near = |power: u32| (-1..=1).map(move |offset| 1i32.wrapping_shl(power).wrapping_add(offset));
    (0..32).flat_map(near).flat_map(|value| [value, value.wrapping_neg()])
}

fn long_edges() -> impl Iterator<Item = i64> {
    let near = |power: u32| (-1..=1).map(move |offset| 1i64.wrapping_shl(power).wrapping_add(offset));
    (0..64).flat_map(near).flat_map(|value| [value, value.wrapping_neg()])
}

/// The 24ths of a turn, octant borders among them, the powers of two, and the neighbours of each.
fn turn_edges() -> impl Iterator<Item = u32> {
    let parts = (0..24u64).map(|part| ((part << 32) / 24) as u32);
    let near = |turn: u32| (0..5).map(move |offset| turn.wrapping_add(offset).wrapping_sub(2));
    parts.flat_map(near).chain(edges().map(|edge| edge as u32))
}

const fn halves(value: u64) -> [u32; 2] {
    [value as u32, (value >> 32) as u32]
}

/// If this one differs, the fault is in this file or its compiler, not in the library.
fn generator(digest: &mut Digest) {
    let mut generator = Generator::new();
    for _ in 0..RANDOM {
        digest.take(halves(generator.long()));
    }
}

fn cos_sin(digest: &mut Digest) {
    let mut generator = Generator::new();
    let random = (0..RANDOM).map(|_| generator.word());
    for turn in turn_edges().chain(random) {
        let (cos, sin) = math::cos_sin(turn);
        digest.take([cos as u32, sin as u32]);
    }
}

fn half_components(digest: &mut Digest) {
    let mut take = |value, turn| {
        let (cos, sin) = math::half_components(value, turn);
        digest.take([cos as u32, sin as u32]);
    };
    for turn in turn_edges() {
        for value in [1, -1, 1 << 20, -(1 << 26), i32::MAX, i32::MIN] {
            take(value, turn);
        }
    }
    let mut generator = Generator::new();
    for _ in 0..RANDOM {
        take(generator.signed(), generator.word());
    }
}

fn polar(digest: &mut Digest) {
    let mut take = |x, y| {
        let polar = math::polar(x, y);
        digest.take([polar.radius, polar.turn]);
    };
    for x in edges() {
        edges().for_each(|y| take(x, y));
    }
    let mut generator = Generator::new();
    for _ in 0..RANDOM {
        take(generator.signed(), generator.signed());
    }
}

fn sqrt(digest: &mut Digest) {
    let mut generator = Generator::new();
    let squares = edges().map(|edge| u64::from(edge as u32).pow(2)).flat_map(|square| [square, square.wrapping_sub(1)]);
    let random = (0..RANDOM).map(|_| generator.signed_long() as u64);
    for value in squares.chain(long_edges().map(|edge| edge as u64)).chain(random) {
        digest.take([math::sqrt(value)]);
    }
}

fn div_round(digest: &mut Digest) {
    let mut take = |numerator, divisor: u64| {
        if let Some(divisor) = core::num::NonZeroU64::new(divisor) {
            digest.take(halves(math::div_round(numerator, divisor) as u64));
        }
    };
    for divisor in edges().map(|edge| edge as i64 as u64) {
        long_edges().for_each(|numerator| take(numerator, divisor));
    }
    let mut generator = Generator::new();
    for _ in 0..RANDOM {
        take(generator.signed_long(), generator.signed_long().unsigned_abs());
    }
}

fn shift_round(digest: &mut Digest) {
    for bits in 0..65 {
        for value in long_edges() {
            digest.take(halves(math::shift_round(value, bits) as u64));
        }
    }
}
