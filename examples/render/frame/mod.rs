//! Frames of a camera: light on its pixels, and what the camera makes of it.
//!
//! Places are in pixels from the centre of the first pixel of the first row: columns along it, rows downwards. Light is in
//! electrons.
//!
//! The noise is drawn from `ChaCha8`, whose stream is the same everywhere; its logarithms and exponentials are the platform's, so that
//! a level may differ by a count between machines.
#![allow(dead_code, unused_imports, reason = "each program that includes these modules uses its part")]

mod camera;
mod light;
mod mark;
mod profile;

pub use camera::{Camera, HotPixel};
pub use light::{Light, Lighting, Speck};
pub use mark::{Mark, Outline};
pub use profile::{Profile, Spot};
