//! What a physical lens does where it is worn: effectivity over a distance, tilt and wrap.

mod distance;
mod worn;

pub use distance::{
    addition_at_back, addition_at_front, at_cornea, effective_at, from_cornea, near_effectivity, reduced_thickness,
    refitted,
};
pub use worn::{MOST_TILT, Tilt, TiltError};
