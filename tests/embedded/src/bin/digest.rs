//! Prints the name and checksum of every stream; `run` compares them with `digests.txt`.

#![no_std]
#![no_main]

use cortex_m_semihosting::hprintln;
use dioptric_embedded::{finish, streams};
use panic_semihosting as _;

#[cortex_m_rt::entry]
fn main() -> ! {
    for stream in streams::all() {
        hprintln!("{} {:08x}", stream.name, stream.digest().crc());
    }
    finish()
}
