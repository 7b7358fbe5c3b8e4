//! The addition: near power minus distance power, at a vertex that is named.

use super::{LocalFit, Vertex};
use crate::math;
use crate::quantity::{Axis, Dioptre};
use core::fmt;

/// Which surface has the addition.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AdditionSurface {
    /// The front: fused and one-piece segments, progressive fronts.
    Front,
    /// The back.
    Back,
    /// Both together.
    Both,
}

impl AdditionSurface {
    /// The vertex at which an addition is measured: the one that the maker states, else that of the surface which has the
    /// addition; of both together, the back one.
    ///
    /// # Source
    /// From memory, not seen: ISO 13666, ISO 8980-2 and ISO 21987, ANSI Z80.1. Of both together: common practice, no source.
    #[must_use]
    pub const fn vertex(self, stated: Option<Vertex>) -> Vertex {
        match (stated, self) {
            (Some(vertex), _) => vertex,
            (None, Self::Front) => Vertex::Front,
            (None, Self::Back | Self::Both) => Vertex::Back,
        }
    }
}

/// Which powers are subtracted.
///
/// # Source
/// From memory, not seen: mean powers for power-variation lenses, the powers that focus the lines nearest the vertical for
/// segments (ISO 8980-1, ISO 8980-2, ANSI Z80.1). Which one holds for an order must be read in the standard.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AdditionBasis {
    /// Mean powers (spherical equivalents).
    #[default]
    MeanPower,
    /// Spheres in minus-cylinder form.
    Sphere,
    /// The principal powers of which the distance one acts along the meridian nearest the vertical, and the near one along the
    /// meridian nearest to that.
    NearestVertical,
    /// The principal powers that act along the meridians nearest the horizontal, and so focus lines nearest the vertical.
    NearestHorizontal,
}

/// An addition as measured.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Addition {
    /// Near power minus distance power.
    pub value: Dioptre,
    /// Standard uncertainty (k = 1) from the scatter of both fits' spots alone; saturated when one of them has none.
    pub uncertainty: Dioptre,
    /// The vertex at which both powers were measured.
    pub vertex: Vertex,
    /// Which powers were subtracted.
    pub basis: AdditionBasis,
}

/// Why there is no addition.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum AdditionError {
    /// The powers were measured at this vertex and not at the one that was asked for, or one at each: the lens must be turned
    /// round and measured again.
    OtherVertex(Vertex),
    /// A power is saturated or beyond the range of a prescription.
    PowerRange,
}

impl fmt::Display for AdditionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::OtherVertex(Vertex::Back) => "measured with the back vertex on the stop: turn the lens round",
            Self::OtherVertex(Vertex::Front) => "measured with the front vertex on the stop: turn the lens round",
            Self::PowerRange => "a power is out of range",
        })
    }
}

impl core::error::Error for AdditionError {}

impl Addition {
    /// The addition from the fits at the distance and the near reference point.
    ///
    /// # Accuracy
    /// Mean powers: exact difference of the fits'. Others: within 2e-6 D of the difference of exact principal powers. The
    /// fits must share no spots: the uncertainty takes them as independent.
    ///
    /// # Errors
    /// [`AdditionError::OtherVertex`] when `vertex` is not the one that both fits were measured at;
    /// [`AdditionError::PowerRange`].
    ///
    /// # Source
    /// Uncertainty: JCGM 100 (GUM), 5.1.2.
    pub fn between(
        distance: &LocalFit,
        near: &LocalFit,
        basis: AdditionBasis,
        vertex: Vertex,
    ) -> Result<Self, AdditionError> {
        for fit in [distance, near] {
            if fit.vertex != vertex {
                return Err(AdditionError::OtherVertex(fit.vertex));
            }
        }
        let (first, second) = match basis {
            AdditionBasis::MeanPower => (Read::mean(distance), Read::mean(near)),
            AdditionBasis::Sphere => (Read::sphere(distance)?, Read::sphere(near)?),
            AdditionBasis::NearestVertical => Read::nearest(distance, near, Axis::VERTICAL)?,
            AdditionBasis::NearestHorizontal => Read::nearest(distance, near, Axis::HORIZONTAL)?,
        };
        if first.power.is_saturated() || second.power.is_saturated() {
            return Err(AdditionError::PowerRange);
        }
        let uncertainty = quadrature(first.uncertainty, second.uncertainty);
        Ok(Self { value: second.power - first.power, uncertainty, vertex, basis })
    }
}

/// Root of the sum of two squares; saturated of what is saturated.
fn quadrature(a: Dioptre, b: Dioptre) -> Dioptre {
    if a.is_saturated() || b.is_saturated() {
        return Dioptre::MAX;
    }
    Dioptre::from_bits(i32::try_from(math::polar(a.to_bits(), b.to_bits()).radius).unwrap_or(i32::MAX))
}

/// One power of a fit, with its standard uncertainty and the meridian along which it acts.
struct Read {
    power: Dioptre,
    uncertainty: Dioptre,
    meridian: Axis,
}

impl Read {
    fn mean(local: &LocalFit) -> Self {
        let uncertainty = local.fit.mean_power_uncertainty();
        Self { power: local.power.m, uncertainty, meridian: Axis::VERTICAL }
    }

    /// Along the axis, and across it.
    fn principal(local: &LocalFit) -> Result<[Self; 2], AdditionError> {
        let written = local.power.sphero_cylinder().map_err(|_| AdditionError::PowerRange)?;
        let (sphere, across) = written.principal_powers();
        let (uncertainty, axis) = (local.fit.uncertainty(), written.axis());
        Ok([
            Self { power: sphere, uncertainty: uncertainty.sphere, meridian: axis },
            Self { power: across, uncertainty: uncertainty.across, meridian: axis.perpendicular() },
        ])
    }

    fn sphere(local: &LocalFit) -> Result<Self, AdditionError> {
        let [sphere, _] = Self::principal(local)?;
        Ok(sphere)
    }

    /// The distance power along the meridian nearest to `meridian`, and the near power along that nearest to the former's: the
    /// near cylinder may have turned past 45 degrees.
    fn nearest(distance: &LocalFit, near: &LocalFit, meridian: Axis) -> Result<(Self, Self), AdditionError> {
        let along = |[one, other]: [Self; 2], meridian: Axis| {
            let off = |read: &Self| read.meridian.angle_from(meridian).abs();
            if off(&other) < off(&one) { other } else { one }
        };
        let first = along(Self::principal(distance)?, meridian);
        let second = along(Self::principal(near)?, first.meridian);
        Ok((first, second))
    }
}
