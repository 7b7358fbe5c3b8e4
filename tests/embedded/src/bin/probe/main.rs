//! Calls every public function of the library on inputs that the compiler cannot know. It is linked with a panic
//! handler that no linker can resolve: if any path to a panic is left, this firmware does not link.
//!
//! `run probe` checks that no public function is missing here, so each is called by its full name.

#![no_std]
#![no_main]

mod lens;
mod math;
mod order;
mod prism;
mod quantity;
mod rx;
mod sensor;
mod shape;
mod text;
mod tolerance;
mod vector;

use core::{
    fmt::{Debug, Display, Write},
    hint::black_box,
    str::FromStr,
};

use dioptric::quantity::{Axis, Degree, Dioptre, Millimetre, Point, PrismDioptre};
use dioptric_embedded::finish;
#[cfg(not(feature = "panics"))]
use panic_never as _;
#[cfg(feature = "panics")]
use panic_semihosting as _;

/// Where every input comes from.
static SEED: u32 = 0x2545_F491;

/// Any word.
fn word() -> u32 {
    // SAFETY: reads a static; volatile, so that its value is not known when the program is compiled.
    unsafe { (&raw const SEED).read_volatile() }
}

/// Any signed word.
fn int() -> i32 {
    word() as i32
}

/// Any double word.
fn long() -> i64 {
    i64::from(int()) << 32 | i64::from(word())
}

fn dioptres() -> Dioptre {
    Dioptre::from_bits(int())
}

fn prism_dioptres() -> PrismDioptre {
    PrismDioptre::from_bits(int())
}

fn millimetres() -> Millimetre {
    Millimetre::from_bits(int())
}

fn degrees() -> Degree {
    Degree::from_bits(int())
}

fn axis() -> Axis {
    Axis::from_bits(word())
}

fn point() -> Point {
    Point::new(millimetres(), millimetres())
}

/// Uses a result, whatever it is.
fn keep<T>(result: T) {
    black_box(&result);
}

/// Takes text and forgets it.
struct Sink;

impl Write for Sink {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        black_box(text);
        Ok(())
    }
}

/// Writes a value in every way a formatter can ask for.
fn show<T: Display>(value: &T) {
    let (width, precision) = (word() as u16 as usize, word() as u16 as usize);
    keep(write!(Sink, "{value} {value:+} {value:08.3} {value:^9} {value:width$.precision$}"));
}

/// Writes a value for a developer, where the library itself says how. A derived `Debug` is not ours to prove: what `core`
/// links for text, and for more than five fields, can panic.
fn show_debug<T: Debug>(value: &T) {
    keep(write!(Sink, "{value:?} {value:#?}"));
}

/// Reads a value from any text.
fn parse<T: FromStr>() {
    keep(black_box("-2.25 -1.50 x 035").parse::<T>());
}

#[cortex_m_rt::entry]
fn main() -> ! {
    math::probe();
    quantity::probe();
    text::probe();
    rx::probe();
    vector::probe();
    prism::probe();
    lens::probe();
    sensor::probe();
    order::probe();
    shape::probe();
    tolerance::probe();
    finish()
}
