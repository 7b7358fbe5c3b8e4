//! A lens of two surfaces and a centre thickness.

use super::{Error, Surface, checked, checked_index};
use crate::math;
use crate::quantity::{Dioptre, Millimetre, Point, RefractiveIndex};
use crate::vector::{Dimensionless, PowerMatrix};

/// A lens with two spherical or toric surfaces, crossed at any angle, in air.
///
/// With the surface powers `F1` and `F2` and the reduced thickness `c = t/n`, all of them matrices:
///
/// | | |
/// |---|---|
/// | back vertex power | `F1 (I - c F1)^-1 + F2` |
/// | front vertex power | `F2 (I - c F2)^-1 + F1` |
/// | equivalent power | `F1 + F2 - c F2 F1` |
///
/// A function of one symmetric matrix is symmetric, so both vertex powers are, whatever the angle between the surfaces:
/// each is a prescription. The equivalent power holds a product of two, and is a prescription only where the surfaces' axes agree:
/// see [`EquivalentPower`].
///
/// # Units
/// Powers in dioptres, thickness in millimetres.
///
/// # Range
/// Elements of the surface powers within 64 D, thickness from 0 to 30 mm, index from 1.25.
///
/// # Source
/// Keating 1981 and Harris (matrix form, from memory); in one meridian the textbook's `F1 / (1 - t F1 / n) + F2`.
///
/// ```
/// use dioptric::{lens::ThickLens, millimetres, rx::SpheroCylinder, vector::{PowerMatrix, PowerVector}};
/// let (front, back): (SpheroCylinder, SpheroCylinder) = ("+6.00 +2.00 x 20".parse()?, "-4.00 -1.00 x 80".parse()?);
/// let index = "1.5".parse()?;
/// let lens = ThickLens::new(front.into(), back.into(), index, millimetres!(5.0)).unwrap();
/// let power = PowerVector::from(lens.back_vertex_power().unwrap()).sphero_cylinder().unwrap();
/// assert_eq!(power.to_string(), "+4.04 -2.74 x 101");
/// let again = ThickLens::for_front(lens.front().power(), power.into(), index, millimetres!(5.0)).unwrap();
/// assert_eq!(again.back().power().xx.to_string(), PowerMatrix::from(back).xx.to_string());
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(try_from = "ThickLensParts", into = "ThickLensParts")
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ThickLens {
    front: PowerMatrix,
    back: PowerMatrix,
    index: RefractiveIndex,
    thickness: Millimetre,
}

/// A thick lens as it is stored, not yet checked.
#[cfg(feature = "serde")]
#[derive(serde::Serialize, serde::Deserialize)]
struct ThickLensParts {
    front: PowerMatrix,
    back: PowerMatrix,
    index: RefractiveIndex,
    thickness: Millimetre,
}

#[cfg(feature = "serde")]
impl TryFrom<ThickLensParts> for ThickLens {
    type Error = Error;
    fn try_from(parts: ThickLensParts) -> Result<Self, Error> {
        Self::new(parts.front, parts.back, parts.index, parts.thickness)
    }
}

#[cfg(feature = "serde")]
impl From<ThickLens> for ThickLensParts {
    fn from(lens: ThickLens) -> Self {
        let ThickLens { front, back, index, thickness } = lens;
        Self { front, back, index, thickness }
    }
}

/// The equivalent power: slope of the light that leaves, by the point where it enters far from the axis.
///
/// Crossed toric surfaces turn the light a little about the axis, too. No prescription can do that: the matrix
/// `[[xx, xy - skew], [xy + skew, yy]]` is then not symmetric. It is reported as its symmetric part, which is the nearest
/// prescription, and the skew that is left. Light through the same lens from behind has the same power and the opposite skew.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EquivalentPower {
    /// The symmetric part.
    pub power: PowerMatrix,
    /// Half the lower left element less the upper right one: 0 where the axes of both surfaces agree or cross at right angles.
    pub skew: Dioptre,
}

impl EquivalentPower {
    /// The four elements, row by row. Exact but for saturation.
    #[must_use]
    pub fn elements(self) -> [[Dioptre; 2]; 2] {
        let PowerMatrix { xx, xy, yy } = self.power;
        [[xx, xy - self.skew], [xy + self.skew, yy]]
    }
}

impl ThickLens {
    /// The most centre thickness, 30 mm.
    pub const MOST_THICKNESS: Millimetre = millimetres!(30.0);

    /// From both surfaces' powers, the index and the centre thickness.
    ///
    /// # Errors
    /// [`Error::Saturated`], [`Error::PowerRange`], [`Error::IndexRange`], [`Error::ThicknessRange`].
    pub fn new(
        front: PowerMatrix,
        back: PowerMatrix,
        index: RefractiveIndex,
        thickness: Millimetre,
    ) -> Result<Self, Error> {
        if thickness < Millimetre::ZERO || thickness > Self::MOST_THICKNESS {
            return Err(Error::ThicknessRange);
        }
        Ok(Self { front: checked(front)?, back: checked(back)?, index: checked_index(index)?, thickness })
    }

    /// With the back surface that gives a wanted back vertex power: `F2 = Fv - F1 (I - c F1)^-1`.
    ///
    /// # Accuracy
    /// The back surface as [`Self::back_vertex_power`], and the lens then has the wanted power to the bit.
    ///
    /// # Errors
    /// Those of [`Self::new`] for the back surface found, too, and [`Error::FocusInside`].
    pub fn for_front(
        front: PowerMatrix,
        wanted: PowerMatrix,
        index: RefractiveIndex,
        thickness: Millimetre,
    ) -> Result<Self, Error> {
        let lens = Self::new(front, PowerMatrix::default(), index, thickness)?;
        let back = difference(checked(wanted)?, lens.through(lens.front)?);
        Self::new(front, back, index, thickness)
    }

    /// With the front surface that gives a wanted back vertex power: `F1 = L (I + c L)^-1`, `L = Fv - F2`.
    ///
    /// # Accuracy
    /// The front surface within half a unit of 2^-20 D plus `4e-9 (|L| + |F1|) / det(I + c L)`; within 1e-6 D
    /// for surfaces to 25 D where no principal power of `-c L` exceeds 1/2.
    ///
    /// # Errors
    /// Those of [`Self::new`] for the front surface found, too; [`Error::FocusInside`] where no front surface does.
    pub fn for_back(
        back: PowerMatrix,
        wanted: PowerMatrix,
        index: RefractiveIndex,
        thickness: Millimetre,
    ) -> Result<Self, Error> {
        let lens = Self::new(PowerMatrix::default(), back, index, thickness)?;
        let arriving = difference(checked(wanted)?, lens.back);
        let front = arriving.stepped_in(-thickness, index)?;
        Self::new(front, back, index, thickness)
    }

    /// The front surface.
    #[must_use]
    pub const fn front(&self) -> Surface {
        Surface::trusted(self.front, self.index)
    }

    /// The back surface.
    #[must_use]
    pub const fn back(&self) -> Surface {
        Surface::trusted(self.back, self.index)
    }

    /// Refractive index.
    #[must_use]
    pub const fn index(&self) -> RefractiveIndex {
        self.index
    }

    /// Centre thickness.
    #[must_use]
    pub const fn thickness(&self) -> Millimetre {
        self.thickness
    }

    /// The light reversed: what was the back is the front. Exact.
    #[must_use]
    pub const fn reversed(&self) -> Self {
        Self { front: self.back, back: self.front, ..*self }
    }

    /// The sum of both surfaces' powers. Exact.
    #[must_use]
    pub fn nominal_power(&self) -> PowerMatrix {
        sum(self.front, self.back)
    }

    /// Back vertex power, `F1 (I - c F1)^-1 + F2`: that of the order, and what a lensmeter reads.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 D plus `4e-9 (|F1| + |F1 (I - c F1)^-1|) / det(I - c F1)`; within 1e-6 D where
    /// surfaces have 25 D or less and the index is 1.5 or more, at any thickness.
    ///
    /// # Errors
    /// [`Error::FocusInside`], where `det(I - c F1)` is below 1/64; [`Error::PowerRange`].
    pub fn back_vertex_power(&self) -> Result<PowerMatrix, Error> {
        within_reach(sum(self.through(self.front)?, self.back))
    }

    /// Front vertex power, `F2 (I - c F2)^-1 + F1`: what a lensmeter reads on the lens turned round.
    ///
    /// # Accuracy
    /// As [`Self::back_vertex_power`], front and back exchanged.
    ///
    /// # Errors
    /// Those of [`Self::back_vertex_power`].
    pub fn front_vertex_power(&self) -> Result<PowerMatrix, Error> {
        within_reach(sum(self.through(self.back)?, self.front))
    }

    /// The power of the thin trial lens that, against the front surface, leaves no power: the front vertex power negated.
    ///
    /// Hand neutralisation so finds the front vertex power, not that of the order.
    ///
    /// # Accuracy
    /// That of [`Self::front_vertex_power`].
    ///
    /// # Errors
    /// Those of [`Self::front_vertex_power`].
    pub fn neutralising_power(&self) -> Result<PowerMatrix, Error> {
        Ok(negated(self.front_vertex_power()?))
    }

    /// Equivalent power, `F1 + F2 - c F2 F1`.
    ///
    /// # Accuracy
    /// Each element and the skew within half a unit of 2^-20 D plus `|F2|` times 1e-9 and
    /// 1.2e-9 of `|c F1|`: 0.9e-6 D in all.
    ///
    /// # Errors
    /// [`Error::PowerRange`].
    pub fn equivalent_power(&self) -> Result<EquivalentPower, Error> {
        let step = Dimensionless::reduced(self.front, self.thickness, self.index).ok_or(Error::PowerRange)?;
        let [xx, xy, yy] = self.back.bits();
        // 64 D is 2^26, the step below 2^31: products below 2^57, sums of four below 2^59.
        let product = |a: i64, b: i64, c: i64, d: i64| a.wrapping_mul(b).wrapping_add(c.wrapping_mul(d));
        let upper = product(xx, step.xy, xy, step.yy);
        let lower = product(xy, step.xx, yy, step.xy);
        let rounded = |sum: i64, bits: u32| Dioptre::from_bits(math::saturate(math::shift_round(sum, bits)));
        let lost = PowerMatrix {
            xx: rounded(product(xx, step.xx, xy, step.xy), 30),
            xy: rounded(upper.wrapping_add(lower), 31),
            yy: rounded(product(xy, step.xy, yy, step.yy), 30),
        };
        let skew = rounded(upper.wrapping_sub(lower), 31);
        Ok(EquivalentPower { power: difference(self.nominal_power(), lost), skew })
    }

    /// Thickness at a point, parallel to the axis: the centre thickness less both surfaces' sagittas.
    ///
    /// The point is counted from the axis, on which both surfaces' poles lie: of a shape that is decentred, the point of the shape
    /// less the place of the axis in it. Prism that is ground beside that of the decentration is not in it.
    ///
    /// # Units
    /// Millimetres.
    ///
    /// # Range
    /// To 40 mm from the axis; surfaces as [`Surface::sagitta_at`].
    ///
    /// # Accuracy
    /// Within 0.04 um to 0.9 of the surfaces' radii, 0.1 um to 0.99.
    ///
    /// # Errors
    /// [`Error::NoThickness`] where the lens has ended; those of [`Surface::sagitta_at`].
    ///
    /// ```
    /// use dioptric::{dioptres, lens::{Surface, ThickLens}, millimetres, quantity::Point};
    /// let index = "1.498".parse()?;
    /// let front = Surface::sphere(dioptres!(4.0), index).unwrap().power();
    /// let wanted = Surface::sphere(dioptres!(-4.0), index).unwrap().power();
    /// let lens = ThickLens::for_front(front, wanted, index, millimetres!(2.0)).unwrap();
    /// let (rim, axis) = (Point::new(millimetres!(27.0), millimetres!(0.0)), Point::new(millimetres!(-3.0), millimetres!(0.0)));
    /// assert_eq!(lens.thickness_at(rim - axis).unwrap().to_string(), "6.06");
    /// # Ok::<(), dioptric::text::ParseError>(())
    /// ```
    pub fn thickness_at(&self, point: Point) -> Result<Millimetre, Error> {
        let rest = self.thickness - self.front().sagitta_at(point)? - self.back().sagitta_at(point)?;
        if rest < Millimetre::ZERO { Err(Error::NoThickness) } else { Ok(rest) }
    }

    /// Light from far away after a surface, stepped to the other vertex.
    fn through(&self, surface: PowerMatrix) -> Result<PowerMatrix, Error> {
        Ok(surface.stepped_in(self.thickness, self.index)?)
    }
}

/// A power short of the ends of the scale.
fn within_reach(power: PowerMatrix) -> Result<PowerMatrix, Error> {
    if power.is_saturated() { Err(Error::PowerRange) } else { Ok(power) }
}

fn negated(a: PowerMatrix) -> PowerMatrix {
    PowerMatrix { xx: -a.xx, xy: -a.xy, yy: -a.yy }
}

fn sum(a: PowerMatrix, b: PowerMatrix) -> PowerMatrix {
    PowerMatrix { xx: a.xx + b.xx, xy: a.xy + b.xy, yy: a.yy + b.yy }
}

fn difference(a: PowerMatrix, b: PowerMatrix) -> PowerMatrix {
    sum(a, negated(b))
}
