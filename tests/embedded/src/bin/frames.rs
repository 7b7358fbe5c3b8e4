//! The job of the firmware example `frames` without its text: rows of a camera to a verdict. `run size` says what it takes of
//! flash, RAM and stack. It prints one number, the deepest stack, without `core::fmt`.

#![no_std]
#![no_main]

use dioptric::{
    axis, dioptres,
    prism::Prism,
    rx::SpheroCylinder,
    tolerance::{Decision, ISO_21987, Ordered},
};
use dioptric_embedded::{finish, stack};
use panic_never as _;

#[path = "../../../../examples/firmware/src/bin/frames/bench.rs"]
mod bench;
#[path = "../../../../examples/firmware/src/bin/frames/camera.rs"]
mod camera;
#[path = "../../../../examples/firmware/src/bin/frames/inspect.rs"]
mod inspect;
#[path = "../../../../examples/firmware/src/bin/frames/kept.rs"]
mod kept;

use camera::Camera;
use inspect::{Memory, Places};
use kept::Kept;

static MEMORY: Kept = Kept::new();

fn decision() -> Option<Decision> {
    MEMORY.with(inspected)?
}

fn inspected(memory: &mut Memory, places: &mut Places) -> Option<Decision> {
    let (detector, geometry) = (bench::detector().ok()?, bench::geometry().ok()?);
    let lattice = bench::lattice().ok()?;
    memory.reference(&mut Camera::new(camera::EMPTY, 1), &detector, &lattice, places).ok()?;
    let power = SpheroCylinder::new(dioptres!(-2.25), dioptres!(-1.50), axis!(35.0)).unwrap_or_default();
    let ordered = Ordered { power, addition: None, prism: Prism::ZERO };
    let mut camera = Camera::new(camera::LENS, 2);
    let found = memory.inspect(&mut camera, (&detector, &geometry), (&lattice, places), (&ISO_21987, &ordered));
    Some(found.ok()?.verdict.decision())
}

#[cortex_m_rt::entry]
fn main() -> ! {
    if decision() == Some(Decision::Conforms) {
        stack::print_high_water();
    }
    finish()
}
