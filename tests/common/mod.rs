//! What the tests share: seeded inputs, structured edges, and the accuracy budget.
#![allow(dead_code, reason = "each test file uses its part")]

use proptest::test_runner::{Config, FileFailurePersistence};
use std::fmt::Write as _;

/// Where every random stream starts, unless `DIOPTRIC_SEED` names another place.
const SEED: u64 = 20_250_101;

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
pub struct Random(u64);

impl Random {
    /// The stream of that name; prints the seed with which it can be repeated.
    pub fn new(stream: &str) -> Self {
        let seed = match std::env::var("DIOPTRIC_SEED") {
            Ok(text) => text.parse().expect("DIOPTRIC_SEED is a number"),
            Err(_) => SEED,
        };
        println!("{stream}: DIOPTRIC_SEED={seed}");
        let name = stream.bytes().fold(0u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3));
        Self(seed ^ name)
    }

    /// From a seed that the test's own framework chose and prints.
    pub fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    pub fn u64(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    pub fn u32(&mut self) -> u32 {
        (self.u64() >> 32) as u32
    }

    /// Every value equally often.
    pub fn i32(&mut self) -> i32 {
        self.u32() as i32
    }

    /// Every magnitude equally often, both signs.
    pub fn of_any_size(&mut self) -> i32 {
        self.i32() >> (self.u32() & 31)
    }

    /// Every magnitude equally often, both signs.
    pub fn long_of_any_size(&mut self) -> i64 {
        (self.u64() as i64) >> (self.u32() & 63)
    }

    /// From `-most` to `most`, every value equally often.
    pub fn within(&mut self, most: i32) -> i32 {
        let span = 2 * u64::from(most.unsigned_abs()) + 1;
        (((u64::from(self.u32()) * span) >> 32) as i64 - i64::from(most)) as i32
    }
}

/// So many cases; what fails is written to the file, to be committed, and is replayed from there ever after.
pub fn cases(cases: u32, regressions: &'static str) -> Config {
    Config {
        failure_persistence: Some(Box::new(FileFailurePersistence::Direct(regressions))),
        ..Config::with_cases(cases)
    }
}

/// Powers of two, their neighbours, and the same negated; 0 and the extremes are among them.
pub fn edges() -> impl Iterator<Item = i32> + Clone {
    let near = |power: u32| (-1..=1).map(move |offset| 1i32.wrapping_shl(power).wrapping_add(offset));
    (0..32).flat_map(near).flat_map(|value| [value, value.wrapping_neg()])
}

/// [`edges`] of 64 bits.
pub fn long_edges() -> impl Iterator<Item = i64> + Clone {
    let near = |power: u32| (-1..=1).map(move |offset| 1i64.wrapping_shl(power).wrapping_add(offset));
    (0..64).flat_map(near).flat_map(|value| [value, value.wrapping_neg()])
}

/// The 24ths of a turn, octant and sector borders among them, with eight neighbours each side, and [`edges`].
pub fn turn_edges() -> impl Iterator<Item = u32> + Clone {
    let parts = (0..24u64).map(|part| ((part << 32) / 24) as u32);
    let near = |turn: u32| (0..17).map(move |offset| turn.wrapping_add(offset).wrapping_sub(8));
    parts.flat_map(near).chain(edges().map(|edge| edge as u32))
}

/// The worst error seen, and where.
#[derive(Default)]
pub struct Worst {
    error: f64,
    at: String,
    points: u64,
}

impl Worst {
    pub fn see(&mut self, error: f64, at: impl FnOnce() -> String) {
        self.points += 1;
        // A NaN is as bad as can be.
        if error.is_nan() || error > self.error {
            self.error = if error.is_nan() { f64::INFINITY } else { error };
            self.at = at();
        }
    }
}

/// One line of an accuracy budget: what a documented bound allows, and how to measure what is needed of it.
pub struct Budget {
    /// Function and component.
    pub function: &'static str,
    /// Over which inputs.
    pub domain: &'static str,
    /// Unit of the error.
    pub unit: &'static str,
    /// The error the documentation admits.
    pub allowed: f64,
    /// Fewest inputs that count as a measurement.
    pub points: u64,
    pub measure: fn(&mut Worst),
}

/// An allowance of more than this times what is seen is no statement.
const MOST_GENEROUS: f64 = 2.5;

/// Measures every line, prints the table, and fails on a bound that is exceeded or far too generous.
pub fn check(budgets: &'static [Budget]) {
    let seen: Vec<Worst> = std::thread::scope(|scope| {
        let workers: Vec<_> = budgets
            .iter()
            .map(|budget| {
                scope.spawn(move || {
                    let mut worst = Worst::default();
                    (budget.measure)(&mut worst);
                    worst
                })
            })
            .collect();
        workers.into_iter().map(|worker| worker.join().expect("a measurement does not panic")).collect()
    });
    let mut faults = String::new();
    for (budget, worst) in budgets.iter().zip(&seen) {
        println!(
            "| `{}` | {} | {} | {:.3e} | {:.3e} | {} |",
            budget.function, budget.domain, budget.unit, budget.allowed, worst.error, worst.points
        );
        let mut fault = |what: &str| {
            writeln!(faults, "{}: {what}: {:.4e} at {}", budget.function, worst.error, worst.at).expect("a String");
        };
        if worst.points < budget.points {
            fault("too few points");
        }
        if worst.error > budget.allowed {
            fault("the bound is exceeded");
        } else if worst.error * MOST_GENEROUS < budget.allowed {
            fault("the bound is far too generous");
        }
    }
    assert!(faults.is_empty(), "{faults}");
}
