//! What was ordered for both eyes, and what was measured of it.
//!
//! All of a pair is seen from the front: the right eye's lens is to the observer's left. Prism and positions are in the observer's frame;
//! centration distances are counted from the middle of the bridge, each lens its own, and heights from the lower boxed tangent.

use crate::lens::{Error, Tilt, refitted};
use crate::prism::{Eye, Prism};
use crate::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, Point, PrismDioptre, RefractiveIndex};
use crate::rx::SpheroCylinder;
use crate::tolerance::{Measured, Ordered, Uncertainty};
use crate::vector::{PowerMatrix, PowerVector};

/// An order for one eye or for both.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Order {
    /// The right eye's lens.
    pub right: Option<LensOrder>,
    /// The left eye's lens.
    pub left: Option<LensOrder>,
}

impl Order {
    /// One eye's lens.
    #[must_use]
    pub const fn lens(&self, eye: Eye) -> Option<&LensOrder> {
        match eye {
            Eye::Right => self.right.as_ref(),
            Eye::Left => self.left.as_ref(),
        }
    }
}

/// How the power of a lens is spread.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum LensKind {
    /// One power.
    #[default]
    SingleVision,
    /// Portions of different power, as segments.
    Multifocal,
    /// Power that varies: progressive, degressive.
    PowerVariation,
}

/// One lens, as ordered. What is `None` was not ordered, and is not judged.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct LensOrder {
    /// How the power is spread.
    pub kind: LensKind,
    /// The prescription.
    pub power: SpheroCylinder,
    /// Prism at the prism reference point, thinning prism included.
    pub prism: Prism,
    /// Addition.
    pub addition: Option<Dioptre>,
    /// Bicentric (slab-off) prism: what the near portion has more than the distance portion's own, base up positive.
    pub bicentric: Option<PrismDioptre>,
    /// Monocular centration distance: from the middle of the bridge to the distance reference point, or to the fitting point.
    pub centration_distance: Option<Millimetre>,
    /// The same near: to the middle of the segment.
    pub near_centration: Option<Millimetre>,
    /// Height above the lower boxed tangent: of the segment's top in a multifocal lens, of the fitting point in a
    /// power-variation lens, of the reference point in a single-vision lens.
    pub height: Option<Millimetre>,
    /// Of a multifocal lens.
    pub segment: Option<SegmentSize>,
    /// Plane of transmittance.
    pub polariser: Option<Axis>,
    /// Direction towards the lighter side of a gradient tint.
    pub gradient: Option<Bearing>,
    /// Thickness at the reference point.
    pub centre_thickness: Option<Millimetre>,
    /// Base curve, in the index in which it is read.
    pub base_curve: Option<Dioptre>,
    /// Where it will be worn, if the prescription is the power wanted there.
    pub worn: Option<Worn>,
    /// What the maker says that the bench must find.
    pub verification: Option<Verification>,
}

/// Width and depth of a segment.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct SegmentSize {
    /// Its greatest width.
    pub width: Millimetre,
    /// From its top to its lowest point.
    pub depth: Millimetre,
}

/// How a lens stands before the eye.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Worn {
    /// Pantoscopic tilt and face-form angle. In which order they turn the lens is part of it: [`Tilt::worn`] for angles measured
    /// before the eye, [`Tilt::framed`] for angles measured on the frame.
    pub tilt: Tilt,
    /// Index of the lens.
    pub index: RefractiveIndex,
    /// Vertex distance of the refraction; the prescription is the power wanted there.
    pub refracted_at: Millimetre,
    /// Vertex distance of the lens in the frame.
    pub fitted_at: Millimetre,
}

/// What the maker says that the bench must find on a lens that is compensated for its position of wear.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Verification {
    /// Power.
    pub power: SpheroCylinder,
    /// Prism; `None`: that of the prescription.
    pub prism: Option<Prism>,
    /// Addition; `None`: that of the prescription.
    pub addition: Option<Dioptre>,
}

impl LensOrder {
    /// The lens is made for one position of wear.
    #[must_use]
    pub const fn is_position_specific(&self) -> bool {
        self.worn.is_some() || self.verification.is_some()
    }

    /// What the bench must find: the maker's verification powers; without them the lens that, worn so, has the prescription's
    /// power along the line of sight; without a position of wear the prescription itself. Row and limit follow it, too.
    ///
    /// Prism stays as ordered: what tilt makes of a thick lens is [`Tilt::prism`], for which an order has too little.
    ///
    /// # Accuracy
    /// Exact, but for a position of wear: as [`refitted`] and [`Tilt::to_order`], one after the other, and
    /// [`PowerVector::sphero_cylinder`].
    ///
    /// # Errors
    /// Those of [`refitted`] and [`Tilt::to_order`].
    ///
    /// # Source
    /// That row and limit follow the verification power: ISO 8980-1:2004 and ISO 21987:2017, "As lentes para oculos
    /// montadas", qualidadeonline.wordpress.com.
    ///
    /// ```
    /// use dioptric::{degrees, lens::Tilt, millimetres, order::{LensOrder, Worn}, prism::Eye};
    /// let worn = Worn {
    ///     tilt: Tilt::worn(degrees!(0.0), degrees!(15.0), Eye::Right).unwrap(),
    ///     index: "1.586".parse()?,
    ///     refracted_at: millimetres!(12.0),
    ///     fitted_at: millimetres!(12.0),
    /// };
    /// let order = LensOrder { power: "-6.00".parse()?, worn: Some(worn), ..LensOrder::default() };
    /// assert_eq!(order.at_bench().unwrap().power.to_string(), "-5.48 -0.39 x 180");
    /// # Ok::<(), dioptric::text::ParseError>(())
    /// ```
    pub fn at_bench(&self) -> Result<Ordered, Error> {
        let Self { power, prism, addition, .. } = *self;
        match (self.verification, self.worn) {
            (Some(maker), _) => Ok(Ordered {
                power: maker.power,
                addition: maker.addition.or(addition),
                prism: maker.prism.unwrap_or(prism),
            }),
            (None, Some(worn)) => Ok(Ordered { power: worn.to_order(power)?, addition, prism }),
            (None, None) => Ok(Ordered { power, addition, prism }),
        }
    }
}

impl Worn {
    fn to_order(self, wanted: SpheroCylinder) -> Result<SpheroCylinder, Error> {
        let there = refitted(PowerMatrix::from(wanted), self.refracted_at, self.fitted_at)?;
        let lens = self.tilt.to_order(there, self.index)?;
        PowerVector::from(lens).sphero_cylinder().map_err(|_| Error::PowerRange)
    }
}

/// What was measured of one lens or of both.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Measurement {
    /// The right eye's lens.
    pub right: LensMeasurement,
    /// The left eye's lens.
    pub left: LensMeasurement,
}

impl Measurement {
    /// One eye's lens.
    #[must_use]
    pub const fn lens(&self, eye: Eye) -> &LensMeasurement {
        match eye {
            Eye::Right => &self.right,
            Eye::Left => &self.left,
        }
    }
}

/// One lens, as measured. What is `None` was not: where it was ordered, the finding is undetermined.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct LensMeasurement {
    /// Power, addition and prism.
    pub optics: Measured,
    /// The point that has the ordered prism, seen from where it should be. Without it, power and prism say where it is.
    pub reference_offset: Option<Point>,
    /// Vertical prism of the near portion beside what the distance portion's power makes of its place, base up positive.
    pub bicentric: Option<PrismDioptre>,
    /// Monocular centration distance of the reference point or the fitting point.
    pub centration_distance: Option<Millimetre>,
    /// The same of the segment's middle.
    pub near_centration: Option<Millimetre>,
    /// Height above the lower boxed tangent, of the same point as ordered.
    pub height: Option<Millimetre>,
    /// Width and depth of the segment.
    pub segment: Option<SegmentSize>,
    /// Tilt of the segment's top, or of the alignment reference marks, counter-clockwise from the frame's horizontal.
    pub tilt: Option<Degree>,
    /// Plane of transmittance.
    pub polariser: Option<Axis>,
    /// Direction towards the lighter side of a gradient tint.
    pub gradient: Option<Bearing>,
    /// Thickness at the reference point.
    pub centre_thickness: Option<Millimetre>,
    /// Base curve, in the index of the order.
    pub base_curve: Option<Dioptre>,
    /// Warpage: the cylinder that mounting has put into the base curve.
    pub warpage: Option<Dioptre>,
    /// Expanded uncertainty of all this.
    pub uncertainty: Uncertainty,
}
