//! Rays through a thick lens and a plate of holes, by the law of refraction at every surface: no paraxial step, no fit.
//!
//! Frame: the observer's, looking along the light. x to the right, y up, z with the light, millimetres. The lens's back vertex
//! is at z = 0 unless its pose says otherwise, the plate at z = gap, the detector at z = gap + throw. Outside the lens is air of
//! index 1. The light comes in parallel to z.
//!
//! Light is a ray: neither diffraction nor the size of a hole is traced.
#![allow(dead_code, unused_imports, reason = "each program that includes these modules uses its part")]

mod bench;
mod design;
mod lens;
mod plate;
mod shape;
mod truth;

pub use bench::{Bench, Landing};
pub use design::{DISTANCE_Y, Kind, NEAR_Y, Order, paraxial};
pub use lens::{Lens, Pose, Surface};
pub use plate::{Hole, Lattice, Plate};
pub use shape::{Segment, Shape, Term};
pub use truth::{at_axis, over_plate};
