//! A lens cut to a shape: how thick it is at its edge.

use super::{Error, ThickLens, wedge::Wedge};
use crate::math;
use crate::prism::Prism;
use crate::quantity::{Bearing, Millimetre, Point};
use core::fmt;

/// A lens in a shape: two surfaces, the place of their axis in the shape, and the prism that is ground in addition.
///
/// Both vertices lie on the axis, which need not pass through the shape's boxed centre. The prism is that of the light along the axis,
/// beside whatever the decentration gives elsewhere: the back surface is turned about its vertex until the light bends so.
///
/// Thickness is parallel to the axis and by exact sagittas. The usual sum, sagittas of surfaces that are not turned and a plane
/// wedge, departs from it by the back surface's sagitta times its slope times the wedge's, and a little more far out: 0.15 mm
/// for 5 mm of sagitta at a slope of 0.3 with 3.5 prism dioptres at the index 1.5. Surfaces are spheres and tori; an aspheric
/// one has another edge.
///
/// # Units
/// Millimetres, counted from the shape's boxed centre.
///
/// # Range
/// Points to 40 mm from the axis, where both surfaces are, as [`Surface::sagitta_at`](super::Surface::sagitta_at), also at the
/// place that the turn brings there; a wedge to a slope of 1/2, where times the back surface's own it stays below 0.6.
///
/// # Source
/// Circles of a radius and Snell's law (textbook).
///
/// ```
/// use dioptric::{dioptres, lens::{EdgedLens, Surface, ThickLens}, millimetres, prism::Prism, quantity::Point};
/// let index = "1.498".parse()?;
/// let surface = |power| Surface::sphere(power, index).unwrap().power();
/// let lens = ThickLens::for_front(surface(dioptres!(4.0)), surface(dioptres!(-4.0)), index, millimetres!(2.0)).unwrap();
/// let axis = Point::new(millimetres!(3.0), millimetres!(0.0));
/// let edged = EdgedLens::new(lens, axis, Prism::ZERO).unwrap();
/// let outline = [
///     Point::new(millimetres!(25.0), millimetres!(20.0)),
///     Point::new(millimetres!(-25.0), millimetres!(20.0)),
///     Point::new(millimetres!(-25.0), millimetres!(-20.0)),
///     Point::new(millimetres!(25.0), millimetres!(-18.0)),
/// ];
/// let edge = edged.edge(outline).unwrap();
/// assert_eq!((edge.thinnest.index, edge.thinnest.thickness.to_string()), (3, "5.60".into()));
/// assert_eq!((edge.thickest.index, edge.thickest.thickness.to_string()), (1, "7.56".into()));
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(try_from = "EdgedLensParts", into = "EdgedLensParts")
)]
pub struct EdgedLens {
    lens: ThickLens,
    axis: Point,
    prism: Prism,
    wedge: Wedge,
}

/// An edged lens as it is stored, not yet checked.
#[cfg(feature = "serde")]
#[derive(serde::Serialize, serde::Deserialize)]
struct EdgedLensParts {
    lens: ThickLens,
    axis: Point,
    prism: Prism,
}

#[cfg(feature = "serde")]
impl TryFrom<EdgedLensParts> for EdgedLens {
    type Error = Error;
    fn try_from(parts: EdgedLensParts) -> Result<Self, Error> {
        Self::new(parts.lens, parts.axis, parts.prism)
    }
}

#[cfg(feature = "serde")]
impl From<EdgedLens> for EdgedLensParts {
    fn from(EdgedLens { lens, axis, prism, .. }: EdgedLens) -> Self {
        Self { lens, axis, prism }
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for EdgedLens {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{} axis {} prism {}", self.lens, self.axis, self.prism);
    }
}

/// A point of an outline, and how thick the lens is there.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EdgePoint {
    /// Which point of the outline, from 0.
    pub index: u32,
    /// Where it is, from the boxed centre.
    pub point: Point,
    /// The thickness there.
    pub thickness: Millimetre,
}

/// The ends of an edge's thickness; of points as thick, the first.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Edge {
    /// Where it is thickest.
    pub thickest: EdgePoint,
    /// Where it is thinnest.
    pub thinnest: EdgePoint,
}

/// Why an outline has no edge on a lens.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum OutlineError {
    /// No point, or an outline that encloses nothing.
    Empty,
    /// A density outside 0.5 to 8 g/cm3.
    DensityRange,
    /// No back surface gives the lens the wanted power.
    Lens(Error),
    /// A point at which the lens is not what it must be: for [`Error::NoThickness`] and [`Error::ThicknessRange`] the thinnest.
    At {
        /// Which point of the outline, from 0.
        index: u32,
        /// Where it is, from the boxed centre.
        point: Point,
        /// What is wrong there.
        reason: Error,
    },
}

impl OutlineError {
    /// The operands are out of the operation's range.
    #[must_use]
    pub const fn is_range(self) -> bool {
        match self {
            Self::Empty => false,
            Self::DensityRange => true,
            Self::Lens(reason) | Self::At { reason, .. } => reason.is_range(),
        }
    }
}

impl fmt::Display for OutlineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("the outline encloses nothing"),
            Self::DensityRange => f.write_str("a density lies from 0.5 to 8 g/cm3"),
            Self::Lens(reason) => fmt::Display::fmt(reason, f),
            Self::At { index, point, reason } => write!(f, "point {index} at {point}: {reason}"),
        }
    }
}

impl core::error::Error for OutlineError {}

impl EdgedLens {
    /// From a lens, the place of its axis in the shape, and the prism ground in addition.
    ///
    /// # Errors
    /// [`Error::PrismRange`]; [`Error::Saturated`], also of the place.
    pub fn new(lens: ThickLens, axis: Point, prism: Prism) -> Result<Self, Error> {
        if axis.is_saturated() {
            return Err(Error::Saturated);
        }
        Ok(Self { lens, axis, prism, wedge: Wedge::new(prism, lens.index())? })
    }

    /// The same place and prism on a lens of the same index.
    pub(super) const fn with(&self, lens: ThickLens) -> Self {
        Self { lens, ..*self }
    }

    /// The lens without the prism.
    #[must_use]
    pub const fn lens(&self) -> ThickLens {
        self.lens
    }

    /// The place of the axis in the shape.
    #[must_use]
    pub const fn axis(&self) -> Point {
        self.axis
    }

    /// The prism that is ground in addition.
    #[must_use]
    pub const fn prism(&self) -> Prism {
        self.prism
    }

    /// Thickness at a point of the shape.
    ///
    /// # Accuracy
    /// Within 0.05 um; without prism, within 0.03 um.
    ///
    /// # Errors
    /// [`Error::NoThickness`] where the lens has ended; [`Error::PrismRange`] where wedge and back surface are too steep together;
    /// those of [`Surface::sagitta_at`](super::Surface::sagitta_at).
    pub fn thickness_at(&self, point: Point) -> Result<Millimetre, Error> {
        let rest = self.rest_at(point)?;
        if rest < Millimetre::ZERO { Err(Error::NoThickness) } else { Ok(rest) }
    }

    /// Thickness at a distance from the axis along a bearing.
    ///
    /// # Accuracy
    /// That of [`Self::thickness_at`], at a place within 15 nm.
    ///
    /// # Errors
    /// Those of [`Self::thickness_at`].
    pub fn thickness_along(&self, bearing: Bearing, distance: Millimetre) -> Result<Millimetre, Error> {
        let (cos, sin) = math::cos_sin(bearing.to_bits());
        let part = |component: i32| {
            let product = i64::from(distance.to_bits()).wrapping_mul(component.into());
            Millimetre::from_bits(math::saturate(math::shift_round(product, 30)))
        };
        self.thickness_at(self.axis + Point::new(part(cos), part(sin)))
    }

    /// The thickest and the thinnest point of an outline.
    ///
    /// Between two points an edge may be a little thicker or thinner than at either: by a part of their distance squared times
    /// the surfaces' curvatures, below 1 um for points 0.3 mm apart.
    ///
    /// # Accuracy
    /// That of [`Self::thickness_at`].
    ///
    /// # Errors
    /// [`OutlineError::Empty`]; [`OutlineError::At`] with [`Error::NoThickness`] and the thinnest point where the lens is too small, or
    /// with one of [`Self::thickness_at`] and the first point that has it.
    pub fn edge(&self, outline: impl IntoIterator<Item = Point>) -> Result<Edge, OutlineError> {
        let edge = self.ends(outline)?;
        if edge.thinnest.thickness < Millimetre::ZERO {
            return Err(edge.thinnest.error(Error::NoThickness));
        }
        Ok(edge)
    }

    /// The ends of the edge, which may be negative.
    pub(super) fn ends(&self, outline: impl IntoIterator<Item = Point>) -> Result<Edge, OutlineError> {
        let mut ends: Option<Edge> = None;
        let mut index = 0u32;
        for point in outline {
            let thickness = self.rest_at(point).map_err(|reason| OutlineError::At { index, point, reason })?;
            let here = EdgePoint { index, point, thickness };
            let Edge { thickest, thinnest } = ends.unwrap_or(Edge { thickest: here, thinnest: here });
            ends = Some(Edge {
                thickest: if thickness > thickest.thickness { here } else { thickest },
                thinnest: if thickness < thinnest.thickness { here } else { thinnest },
            });
            index = index.saturating_add(1);
        }
        ends.ok_or(OutlineError::Empty)
    }

    /// What the surfaces leave at a point, negative where they have crossed.
    fn rest_at(&self, point: Point) -> Result<Millimetre, Error> {
        let from_axis = point - self.axis;
        let front = self.lens.front().sagitta_at(from_axis)?;
        let (rise, back) = self.wedge.turned(&self.lens.back(), from_axis)?;
        Ok(self.lens.thickness() - front - back + rise)
    }
}

impl EdgePoint {
    pub(super) const fn error(self, reason: Error) -> OutlineError {
        OutlineError::At { index: self.index, point: self.point, reason }
    }
}
