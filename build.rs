//! Tells `math.rs` that the target has no instruction for the high half of a 32 x 32 bit product.
//!
//! The arithmetic is the same either way, bit for bit (`math::tests` compares both forms on every host run); only
//! the instructions differ. Stable Rust offers no `cfg` for this, the target's name does.

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    let target = std::env::var("TARGET").unwrap_or_default();
    if target.starts_with("thumbv6m") || target.starts_with("thumbv8m.base") {
        println!("cargo:rustc-cfg=dioptric_narrow_multiplier");
    }
}
