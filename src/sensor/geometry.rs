//! Where plate and detector stand.

use super::Error;
use crate::quantity::Millimetre;

/// Distances of a Hartmann-type sensor behind the lens's back vertex.
///
/// # Range
/// Gap 0 to 128 mm, throw 2 to 512 mm; the optical distances in air.
///
/// ```
/// use dioptric::{millimetres, sensor::{Error, Geometry}};
/// assert!(Geometry::new(millimetres!(5.0), millimetres!(20.0)).is_ok());
/// assert_eq!(Geometry::new(millimetres!(5.0), millimetres!(0.0)), Err(Error::GeometryRange));
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(try_from = "Distances"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Geometry {
    gap: Millimetre,
    throw: Millimetre,
}

impl Geometry {
    /// Largest gap.
    pub const MOST_GAP: Millimetre = millimetres!(128.0);
    /// Smallest throw.
    pub const LEAST_THROW: Millimetre = millimetres!(2.0);
    /// Largest throw.
    pub const MOST_THROW: Millimetre = millimetres!(512.0);

    /// A geometry from the distance vertex to plate and the distance plate to detector.
    ///
    /// # Errors
    /// [`Error::GeometryRange`].
    pub fn new(gap: Millimetre, throw: Millimetre) -> Result<Self, Error> {
        let gap_fits = (Millimetre::ZERO..=Self::MOST_GAP).contains(&gap);
        let throw_fits = (Self::LEAST_THROW..=Self::MOST_THROW).contains(&throw);
        if gap_fits && throw_fits { Ok(Self { gap, throw }) } else { Err(Error::GeometryRange) }
    }

    /// Back vertex to plate.
    #[must_use]
    pub const fn gap(&self) -> Millimetre {
        self.gap
    }

    /// Plate to detector.
    #[must_use]
    pub const fn throw(&self) -> Millimetre {
        self.throw
    }
}

/// As read, before it is checked.
#[cfg(feature = "serde")]
#[derive(serde::Deserialize)]
struct Distances {
    gap: Millimetre,
    throw: Millimetre,
}

#[cfg(feature = "serde")]
impl TryFrom<Distances> for Geometry {
    type Error = Error;
    fn try_from(distances: Distances) -> Result<Self, Error> {
        Self::new(distances.gap, distances.throw)
    }
}
