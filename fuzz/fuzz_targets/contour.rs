#![no_main]

#[path = "../laws.rs"]
#[allow(dead_code, reason = "each target holds one of the laws")]
mod laws;

libfuzzer_sys::fuzz_target!(|data: &[u8]| laws::contour(data));
