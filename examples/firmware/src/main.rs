//! A lensmeter in fifty lines: spots of light to a verdict on the lens, on a Cortex-M without operating system, heap or
//! floating point.
//!
//! ```text
//! rustup target add thumbv7m-none-eabi    # once; and QEMU for Arm
//! cargo run --release
//! ```
//!
//! `measure.rs` is the job, `spots.rs` stands for the camera, this file for the display. The library has no path to a
//! panic, so the panic handler is for the rest of a firmware.

#![no_std]
#![no_main]

mod measure;
mod spots;

use cortex_m_semihosting::{debug, hprintln};
use dioptric::{
    axis, dioptres,
    prism::Prism,
    rx::SpheroCylinder,
    tolerance::{Decision, ISO_21987, Ordered},
};
use panic_semihosting as _;

#[cortex_m_rt::entry]
fn main() -> ! {
    let status = match show(axis!(35.0)) {
        Some(Decision::Conforms) => debug::EXIT_SUCCESS,
        _ => debug::EXIT_FAILURE,
    };
    // The same lens, had it been ordered with another axis.
    show(axis!(40.0));
    debug::exit(status);
    loop {
        cortex_m::asm::wfi();
    }
}

/// Inspects the lens against an order with that axis, and shows what was found.
fn show(axis: dioptric::quantity::Axis) -> Option<Decision> {
    // Numbers known at compile time need no parsing; a text from a host would be `text.parse::<SpheroCylinder>()`.
    let power = SpheroCylinder::new(dioptres!(-2.25), dioptres!(-1.50), axis).ok()?;
    let ordered = Ordered { power, addition: None, prism: Prism::ZERO };
    hprintln!("ordered  {}", ordered.power);
    match measure::inspect(&spots::SPOTS, &ISO_21987, &ordered) {
        Ok((fit, verdict)) => {
            if let Ok(power) = fit.sphero_cylinder() {
                hprintln!("measured {:.3}", power);
            }
            hprintln!("prism    {}, spots off by {} um", fit.prism(), fit.residual());
            for finding in verdict.findings() {
                hprintln!("  {}", finding);
            }
            hprintln!("{}", verdict.decision());
            Some(verdict.decision())
        }
        Err(error) => {
            hprintln!("no measurement: {}", error);
            None
        }
    }
}
