//! A lensmeter from the rows of its camera: the frame without a lens once, then a frame with it, on a Cortex-M that has no memory
//! for a frame.
//!
//! ```text
//! cargo run --release --bin frames
//! ```
//!
//! `inspect.rs` is the job, `bench.rs` the sensor's own figures, `camera.rs` stands for the camera, this file for the display.

#![no_std]
#![no_main]

mod bench;
mod camera;
mod inspect;
mod kept;

use camera::Camera;
use cortex_m_semihosting::{debug, hprintln};
use dioptric::{
    axis, dioptres,
    prism::Prism,
    rx::SpheroCylinder,
    tolerance::{Decision, ISO_21987, Ordered},
};
use inspect::{Fault, Memory, Places};
use kept::Kept;
use panic_semihosting as _;

static MEMORY: Kept = Kept::new();

#[cortex_m_rt::entry]
fn main() -> ! {
    let status = match show() {
        Ok(Decision::Conforms) => debug::EXIT_SUCCESS,
        Ok(_) => debug::EXIT_FAILURE,
        Err(fault) => {
            hprintln!("no measurement: {:?}", fault);
            debug::EXIT_FAILURE
        }
    };
    debug::exit(status);
    loop {
        cortex_m::asm::wfi();
    }
}

fn show() -> Result<Decision, Fault> {
    MEMORY.with(inspected).unwrap_or(Ok(Decision::Undetermined))
}

fn inspected(memory: &mut Memory, places: &mut Places) -> Result<Decision, Fault> {
    let (detector, geometry) = (bench::detector()?, bench::geometry().map_err(Fault::Pair)?);
    let Ok(lattice) = bench::lattice() else { return Ok(Decision::Undetermined) };
    let mounting = memory.reference(&mut Camera::new(camera::EMPTY, 1), &detector, &lattice, places)?;
    hprintln!("plate    {} holes, turned by {:.3} deg", mounting.found, mounting.rotation);

    let power = SpheroCylinder::new(dioptres!(-2.25), dioptres!(-1.50), axis!(35.0)).unwrap_or_default();
    let ordered = Ordered { power, addition: None, prism: Prism::ZERO };
    hprintln!("ordered  {}", ordered.power);
    let mut camera = Camera::new(camera::LENS, 2);
    let found = memory.inspect(&mut camera, (&detector, &geometry), (&lattice, places), (&ISO_21987, &ordered))?;
    hprintln!(
        "spots    {}, {} holes without, {} left out",
        found.findings.assigned,
        found.findings.missing,
        found.fit.outliers().total()
    );
    if let Ok(power) = found.fit.fit().sphero_cylinder() {
        hprintln!("measured {:.3}, prism {}", power, found.fit.fit().prism());
    }
    for finding in found.verdict.findings() {
        hprintln!("  {}", finding);
    }
    hprintln!("{}", found.verdict.decision());
    Ok(found.verdict.decision())
}
