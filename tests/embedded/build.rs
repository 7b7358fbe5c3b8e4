//! Writes the `memory.x` of the QEMU board that stands for the target, and how that board's SysTick counts.

use std::{env, fs, path::PathBuf};

struct Board {
    flash: &'static str,
    ram: &'static str,
    /// Instructions for one SysTick tick under `-icount shift=10` (an instruction is 1024 ns), as a fraction: the
    /// boards' clocks are 16, 25, 25 and 20 MHz in QEMU 7.2.
    instructions_per_tick: (u32, u32),
}

fn board(target: &str) -> Option<Board> {
    let board = match target {
        // BBC micro:bit with the nRF51822: Cortex-M0. With more memory than the chip has: `run` tells QEMU so, and holds
        // what must fit the chip to its 256 KB and 16 KB.
        "thumbv6m-none-eabi" => Board {
            flash: "ORIGIN = 0x00000000, LENGTH = 1M",
            ram: "ORIGIN = 0x20000000, LENGTH = 64K",
            instructions_per_tick: (125, 2048),
        },
        // Arm MPS2 with image AN385: Cortex-M3.
        "thumbv7m-none-eabi" => Board {
            flash: "ORIGIN = 0x00000000, LENGTH = 4M",
            ram: "ORIGIN = 0x20000000, LENGTH = 4M",
            instructions_per_tick: (5, 128),
        },
        // Arm MPS2 with image AN386: Cortex-M4F.
        "thumbv7em-none-eabihf" => Board {
            flash: "ORIGIN = 0x00000000, LENGTH = 4M",
            ram: "ORIGIN = 0x20000000, LENGTH = 4M",
            instructions_per_tick: (5, 128),
        },
        // Arm MPS2 with image AN505: Cortex-M33.
        "thumbv8m.main-none-eabihf" => Board {
            flash: "ORIGIN = 0x10000000, LENGTH = 4M",
            ram: "ORIGIN = 0x38000000, LENGTH = 4M",
            instructions_per_tick: (25, 512),
        },
        _ => return None,
    };
    Some(board)
}

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    let target = env::var("TARGET").expect("cargo sets TARGET");
    let Some(board) = board(&target) else {
        panic!("no board for target {target}: build.rs lists those there are");
    };
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    let memory = format!("MEMORY\n{{\n  FLASH : {}\n  RAM : {}\n}}\n", board.flash, board.ram);
    fs::write(out.join("memory.x"), memory).expect("OUT_DIR is writable");
    let ticks = format!("{:?}", board.instructions_per_tick);
    fs::write(out.join("instructions_per_tick.in"), ticks).expect("OUT_DIR is writable");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    println!("cargo:rustc-link-arg-bin=logtext=-Tdefmt.x");
}
