//! What the firmwares of this package share: the streams of the digest, the instruction counter, the float baselines,
//! and a fault handler that ends the emulator instead of hanging it.

#![no_std]

pub mod baseline;
pub mod count;
pub mod stack;
pub mod streams;

use cortex_m_semihosting::debug;

/// Ends the emulator; its exit status is 0.
pub fn finish() -> ! {
    debug::exit(debug::EXIT_SUCCESS);
    loop {
        cortex_m::asm::nop();
    }
}

/// Ends the emulator with a failing status where the default handler would wait for a debugger.
#[cortex_m_rt::exception]
unsafe fn HardFault(_frame: &cortex_m_rt::ExceptionFrame) -> ! {
    debug::exit(debug::EXIT_FAILURE);
    loop {
        cortex_m::asm::nop();
    }
}
