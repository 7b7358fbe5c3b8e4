//! Shapes: the outline to which a lens is cut, where it lies in the blank, and whether the cut came out right.
//!
//! A shape is seen as everywhere: x to the observer's right, y up, from the front of the lens, and counted from a centre within it, the
//! boxed centre unless it says otherwise. Its corners run counter-clockwise from the observer's right.

mod area;
mod bend;
mod boxing;
mod contour;
mod length;
mod motion;
mod offset;
mod resample;
mod size;
mod turn;

pub use bend::{Bend, Bends};
pub use boxing::Boxing;
pub use contour::{Contour, Corners};
pub use motion::Motion;
pub use size::SizeTarget;

use core::fmt;

/// Items with their numbers from 0. Counts without a branch to an overflow, which `enumerate` keeps where overflow is checked.
fn numbered<I: Iterator + Clone>(items: I) -> impl Iterator<Item = (usize, I::Item)> + Clone {
    items.scan(0usize, |next, item| {
        let number = *next;
        *next = next.wrapping_add(1);
        Some((number, item))
    })
}

/// Why there is no such shape.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Error {
    /// Fewer corners than [`Contour::LEAST_COUNT`] or more than [`Contour::MOST_COUNT`].
    CornerCount,
    /// As many radii as angles and heights are needed, where there are any.
    LengthsDiffer,
    /// A radius of nothing or less, or beyond [`Contour::MOST_RADIUS`]; the index of the first.
    RadiusRange(u16),
    /// A height beyond [`Contour::MOST_HEIGHT`], either way; the index of the first.
    HeightRange(u16),
    /// An angle that is not beyond the one before it and short of a full turn: the outline would cross itself. Its index; of an offset
    /// outline the index where the edge that turns back begins, the count for the first.
    Crosses(u16),
    /// Two angles further apart than [`Contour::MOST_STEP`]; the index of the second.
    Gap(u16),
    /// A sphere's radius of nothing or less, or too short to carry the outline.
    SphereRadius,
    /// No offset brings the circumference to the one wanted.
    Unreachable,
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CornerCount => f.write_str("a shape has 64 to 2048 corners"),
            Self::LengthsDiffer => f.write_str("not as many radii, angles and heights"),
            Self::RadiusRange(at) => write!(f, "radius {at} is not within 0 to 64 mm"),
            Self::HeightRange(at) => write!(f, "height {at} is not within 64 mm"),
            Self::Crosses(at) => write!(f, "the outline turns back at corner {at}"),
            Self::Gap(at) => write!(f, "the angle before corner {at} exceeds 12 degrees"),
            Self::SphereRadius => f.write_str("the sphere does not reach the outline"),
            Self::Unreachable => f.write_str("no offset brings the circumference there"),
        }
    }
}

impl core::error::Error for Error {}
