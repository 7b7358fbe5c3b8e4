//! The job of the firmware example without its text: spots to a verdict, and the algebra of prescriptions around it. `run
//! size` says what it takes of flash, RAM and stack. It prints one number, the deepest stack, without `core::fmt`.

#![no_std]
#![no_main]

use core::hint::black_box;

use dioptric::{
    axis, dioptres,
    prism::Prism,
    quantity::Dioptre,
    rx::SpheroCylinder,
    tolerance::{Decision, ISO_21987, Ordered},
    vector::PowerVector,
};
use dioptric_embedded::{finish, stack};
use panic_never as _;

#[path = "../../../../examples/firmware/src/measure.rs"]
mod measure;
#[path = "../../../../examples/firmware/src/spots.rs"]
mod spots;

/// The order, as a sum of two lenses: one more round trip through vectors.
fn ordered() -> Option<SpheroCylinder> {
    let lens = |sphere, cylinder| SpheroCylinder::new(sphere, cylinder, axis!(35.0)).ok();
    let (first, second) =
        black_box((lens(dioptres!(-1.0), dioptres!(-0.5))?, lens(dioptres!(-1.25), dioptres!(-1.0))?));
    let sum = PowerVector::from(first) + PowerVector::from(second);
    sum.sphero_cylinder().ok()
}

fn decision() -> Option<Decision> {
    let ordered = Ordered { power: ordered()?, addition: None::<Dioptre>, prism: Prism::ZERO };
    let (_, verdict) = measure::inspect(&black_box(spots::SPOTS), &ISO_21987, &ordered).ok()?;
    Some(verdict.decision())
}

#[cortex_m_rt::entry]
fn main() -> ! {
    if decision() == Some(Decision::Conforms) {
        stack::print_high_water();
    }
    finish()
}
