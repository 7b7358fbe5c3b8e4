use dioptric::math;

use super::{
    Digest, Stream,
    digest::halves,
    inputs::{Generator, RANDOM, edges, long_edges, turn_edges},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "math.cos_sin", run: cos_sin },
    Stream { name: "math.half_components", run: half_components },
    Stream { name: "math.polar", run: polar },
    Stream { name: "math.sqrt", run: sqrt },
    Stream { name: "math.div_round", run: div_round },
    Stream { name: "math.ratio", run: ratio },
    Stream { name: "math.shift_round", run: shift_round },
];

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

fn ratio(digest: &mut Digest) {
    let mut take = |numerator, divisor, exponent| digest.take(halves(math::ratio(numerator, divisor, exponent) as u64));
    for numerator in long_edges() {
        edges().for_each(|divisor| take(numerator, i64::from(divisor), 20));
    }
    let mut generator = Generator::new();
    for _ in 0..RANDOM {
        take(generator.signed_long(), generator.signed_long(), generator.word() & 63);
    }
}

fn shift_round(digest: &mut Digest) {
    for bits in 0..65 {
        for value in long_edges() {
            digest.take(halves(math::shift_round(value, bits) as u64));
        }
    }
}
