//! Gives the linker the memory map of the board that stands for the target: `memory/<target>.x`.

use std::{env, fs, path::PathBuf};

fn main() {
    let target = env::var("TARGET").expect("cargo sets TARGET");
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    let map = format!("memory/{target}.x");
    fs::copy(&map, out.join("memory.x")).unwrap_or_else(|error| panic!("{map}: {error}"));
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rerun-if-changed=memory");
}
