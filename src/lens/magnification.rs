//! Spectacle magnification: how much larger an eye sees a distant object through a lens than without it.
//!
//! # Model
//! Paraxial rays through both surfaces to the middle of the entrance pupil, `h` behind the back vertex; the object is far away. A ray
//! that leaves with slope `s'` towards the pupil's middle left the back vertex at `-h s'`; followed back through the lens it came
//! with the slope `(I - c F1)(I - h Fv) s'`, with the front surface's power `F1`, the back vertex power `Fv` and the reduced
//! thickness `c = t/n`. So `s' = (I - h Fv)^-1 (I - c F1)^-1 s`: the power factor times the shape factor, in this order,
//! as matrices, for toric surfaces that cross at any angle.
//!
//! # Limits
//! A sharp retinal image is compared, as in a corrected eye; the eye's own length is no part of it. Aniseikonia as measured holds the
//! difference of the retinas and of habit, too: [`Magnification::against`] is the lenses' share.
//!
//! # Source
//! Own derivation; in one meridian the textbook's `1 / (1 - t F1 / n)` and `1 / (1 - h Fv)` (from memory: Keating, "Geometric,
//! Physical, and Visual Optics"; matrix form, from memory: Harris; Keating 1982).

use super::{Error, ThickLens, checked};
use crate::math;
use crate::quantity::{Axis, Degree, Fraction, Millimetre};
use crate::vector::{Dimensionless, PowerMatrix};

/// The entrance pupil's usual depth behind the cornea, 3 mm: add it to the vertex distance (common practice, no source).
pub const ENTRANCE_PUPIL_DEPTH: Millimetre = millimetres!(3.0);
/// The most that a pupil may lie behind the back vertex, 60 mm.
pub const MOST_PUPIL_DISTANCE: Millimetre = millimetres!(60.0);

/// The matrix that takes the direction of a distant object to the one in which the eye sees it: rows are the seen x and y.
///
/// ```
/// use dioptric::{dioptres, lens::{self, ENTRANCE_PUPIL_DEPTH, Surface, ThickLens}, millimetres, rx::SpheroCylinder};
/// let index = "1.5".parse()?;
/// let front = Surface::sphere(dioptres!(8.0), index).unwrap().power();
/// let wanted: SpheroCylinder = "+5.00".parse()?;
/// let lens = ThickLens::for_front(front, wanted.into(), index, millimetres!(6.0)).unwrap();
/// let seen = lens.magnification(millimetres!(12.0) + ENTRANCE_PUPIL_DEPTH).unwrap();
/// // 1 / (1 - 0.032) times 1 / (1 - 0.075)
/// assert_eq!(lens::percent(seen.principal().unwrap().greatest).to_string(), "11.682");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Magnification {
    /// Seen x of the object's x.
    pub xx: Fraction,
    /// Seen x of the object's y.
    pub xy: Fraction,
    /// Seen y of the object's x.
    pub yx: Fraction,
    /// Seen y of the object's y.
    pub yy: Fraction,
}

/// The two directions at right angles that the eye still sees at right angles, and how much each is magnified.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PrincipalMagnification {
    /// The greater one.
    pub greatest: Fraction,
    /// The other one, at right angles.
    pub least: Fraction,
    /// The object's direction that is magnified most; 180 where both are the same.
    pub along: Axis,
    /// By how much the image is turned, counter-clockwise: 0 where the axes of both surfaces agree or cross at right angles.
    pub turn: Degree,
}

impl Magnification {
    /// Nothing is changed: no lens.
    pub const ONE: Self = Self { xx: UNIT, xy: Fraction::ZERO, yx: Fraction::ZERO, yy: UNIT };

    /// In a vertical mirror: the other eye's. Exact.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self { xy: -self.xy, yx: -self.yx, ..self }
    }

    /// Principal magnifications: the matrix's singular values, and the directions that have them.
    ///
    /// # Range
    /// Elements within 32.
    ///
    /// # Accuracy
    /// Magnifications within 1.1 units of 2^-24 plus 3e-9 of the greatest for the elements given; `along` within 8e-7 degree, `turn`
    /// within 2e-6 degree, both for the elements given: where both magnifications are nearly the same, `along` says nothing.
    ///
    /// # Errors
    /// [`Error::PowerRange`] beyond the range.
    pub fn principal(self) -> Result<PrincipalMagnification, Error> {
        const MOST: i32 = 32 << Fraction::FRACTION_BITS;
        let [xx, xy, yx, yy] = self.bits();
        if [xx, xy, yx, yy].iter().any(|element| element.unsigned_abs() > MOST.unsigned_abs()) {
            return Err(Error::PowerRange);
        }
        // A similarity and its mirror image add up to any matrix: both twice as long here.
        let turned = math::polar(xx.saturating_add(yy), yx.saturating_sub(xy));
        let mirrored = math::polar(xx.saturating_sub(yy), yx.saturating_add(xy));
        let (a, b) = (i64::from(turned.radius), i64::from(mirrored.radius));
        let half = |sum: i64| Fraction::from_bits(math::saturate(math::shift_round(sum, 1)));
        let degrees = i64::from(turned.turn.cast_signed()).wrapping_mul(360);
        Ok(PrincipalMagnification {
            greatest: half(a.wrapping_add(b)),
            least: half(a.wrapping_sub(b)),
            along: if b == 0 { Axis::HORIZONTAL } else { Axis::from_bits(mirrored.turn.wrapping_sub(turned.turn)) },
            turn: Degree::from_bits(math::saturate(math::shift_round(degrees, 32 - Degree::FRACTION_BITS))),
        })
    }

    /// How the image of one eye compares with the other's: this one times the inverse of `other`.
    ///
    /// Its [`Self::principal`] magnifications less one, in [`percent`], are the lenses' share of aniseikonia.
    ///
    /// # Range
    /// The determinant of `other` from 1/64.
    ///
    /// # Accuracy
    /// Each element within half a unit of 2^-24 plus 6e-10 of itself, for the elements given.
    ///
    /// # Errors
    /// [`Error::Saturated`]; [`Error::PowerRange`] beyond the range.
    pub fn against(self, other: Self) -> Result<Self, Error> {
        let [a, b] = [self.bits(), other.bits()];
        if a.iter().chain(&b).any(|element| element.unsigned_abs() >= i32::MAX.unsigned_abs()) {
            return Err(Error::Saturated);
        }
        let ([a, b, c, d], [p, q, r, s]) = (a.map(i64::from), b.map(i64::from));
        // Elements below 2^31: products below 2^62, sums of two below 2^63.
        let sum = |a: i64, b: i64, c: i64, d: i64| a.wrapping_mul(b).wrapping_sub(c.wrapping_mul(d));
        let determinant = sum(p, s, q, r);
        if determinant < 1 << (2 * Fraction::FRACTION_BITS - 6) {
            return Err(Error::PowerRange);
        }
        let element = |numerator: i64| {
            let found =
                Fraction::from_bits(math::saturate(math::ratio(numerator, determinant, Fraction::FRACTION_BITS)));
            if found.is_saturated() { Err(Error::PowerRange) } else { Ok(found) }
        };
        Ok(Self {
            xx: element(sum(a, s, b, r))?,
            xy: element(sum(b, p, a, q))?,
            yx: element(sum(c, s, d, r))?,
            yy: element(sum(d, p, c, q))?,
        })
    }

    const fn bits(self) -> [i32; 4] {
        [self.xx.to_bits(), self.xy.to_bits(), self.yx.to_bits(), self.yy.to_bits()]
    }
}

/// What a magnification is beyond one, in percent: 1.05 is 5, 0.9 is -10.
///
/// # Range
/// Saturates from 128 percent on.
///
/// # Accuracy
/// Exact but for saturation.
#[must_use]
pub fn percent(magnification: Fraction) -> Fraction {
    if magnification.is_saturated() {
        return magnification;
    }
    let excess = i64::from(magnification.to_bits()).wrapping_sub(i64::from(UNIT.to_bits()));
    Fraction::from_bits(math::saturate(excess.wrapping_mul(100)))
}

/// Power factor, `(I - h Fv)^-1`: of a thin lens the whole of its magnification.
///
/// # Units
/// Back vertex power in dioptres; `pupil` is the distance `h` in millimetres from the back vertex to the entrance pupil: vertex
/// distance and [`ENTRANCE_PUPIL_DEPTH`].
///
/// # Range
/// Elements of the power within 64 D and of `h Fv` below 1, `h` from 0 to 60 mm, `det(I - h Fv)` from 1/64.
///
/// # Accuracy
/// With the larger principal magnification `m`, an element within half a unit of 2^-24 plus `6e-9 m^2`: within 1e-7 of `m` from 0.5 to 8.
///
/// # Errors
/// [`Error::DistanceRange`], [`Error::FocusInside`] where a focal point lies before the pupil, [`Error::PowerRange`],
/// [`Error::Saturated`].
pub fn power_factor(power: impl Into<PowerMatrix>, pupil: Millimetre) -> Result<Magnification, Error> {
    inverse(&Square::IDENTITY.times(&step(power.into(), pupil)?))
}

impl ThickLens {
    /// Shape factor, `(I - c F1)^-1`: the magnification of the front surface and the thickness, wherever the pupil is.
    ///
    /// # Range
    /// Elements of `c F1` below 1.
    ///
    /// # Accuracy
    /// As [`power_factor`].
    ///
    /// # Errors
    /// [`Error::FocusInside`], [`Error::PowerRange`].
    pub fn shape_factor(&self) -> Result<Magnification, Error> {
        inverse(&Square::IDENTITY.times(&self.shape()?))
    }

    /// Spectacle magnification: the power factor times the shape factor.
    ///
    /// `pupil` is as for [`power_factor`].
    ///
    /// # Range
    /// Those of [`Self::shape_factor`], [`Self::back_vertex_power`] and [`power_factor`].
    ///
    /// # Accuracy
    /// With the larger principal magnification `m`, an element within half a unit of 2^-24 plus `5.2e-8 m^2` for surfaces and
    /// back vertex powers to 25 D, an index from 1.5, 15 mm of thickness and 20 mm to the pupil: within 1e-7 of `m` where that
    /// is from 0.6 to 1.5. Twice 20 mm times the back vertex power's error is the most of it; the products' roundings add 6e-9.
    ///
    /// # Errors
    /// Those of [`Self::shape_factor`], [`Self::back_vertex_power`] and [`power_factor`].
    pub fn magnification(&self, pupil: Millimetre) -> Result<Magnification, Error> {
        // The inverse of a product: what the light meets first stands to the left.
        inverse(&self.shape()?.times(&step(self.back_vertex_power()?, pupil)?))
    }

    fn shape(&self) -> Result<Square, Error> {
        complement(Dimensionless::reduced(self.front().power(), self.thickness(), self.index()))
    }
}

/// `I - h F`.
fn step(power: PowerMatrix, pupil: Millimetre) -> Result<Square, Error> {
    if pupil < Millimetre::ZERO || pupil > MOST_PUPIL_DISTANCE {
        return Err(Error::DistanceRange);
    }
    complement(Dimensionless::of(checked(power)?, pupil))
}

const UNIT: Fraction = Fraction::from_bits(1 << Fraction::FRACTION_BITS);
const ONE: i64 = 1 << 30;

/// `I - X`, Q30: elements below 2 on the diagonal, below 1 beside it.
fn complement(of: Option<Dimensionless>) -> Result<Square, Error> {
    let of = of.filter(|of| [of.xx, of.xy, of.yy].iter().all(|element| element.unsigned_abs() < ONE.unsigned_abs()));
    let of = of.ok_or(Error::PowerRange)?;
    let (determinant, trace_positive) = of.complement();
    if determinant < ONE >> 6 || !trace_positive {
        return Err(Error::FocusInside);
    }
    let aside = of.xy.wrapping_neg();
    Ok(Square { xx: ONE.wrapping_sub(of.xx), xy: aside, yx: aside, yy: ONE.wrapping_sub(of.yy) })
}

/// Two by two.
struct Square {
    xx: i64,
    xy: i64,
    yx: i64,
    yy: i64,
}

impl Square {
    const IDENTITY: Self = Self { xx: ONE, xy: 0, yx: 0, yy: ONE };

    /// The product of two in Q30, in Q28: complements' elements add up to 5 at most, so that sums stay below 2^62.4.
    fn times(&self, other: &Self) -> Self {
        let element =
            |a: i64, b: i64, c: i64, d: i64| math::shift_round(a.wrapping_mul(b).wrapping_add(c.wrapping_mul(d)), 32);
        Self {
            xx: element(self.xx, other.xx, self.xy, other.yx),
            xy: element(self.xx, other.xy, self.xy, other.yy),
            yx: element(self.yx, other.xx, self.yy, other.yx),
            yy: element(self.yx, other.xy, self.yy, other.yy),
        }
    }
}

/// The inverse of a matrix in Q28 with elements to 5.
fn inverse(of: &Square) -> Result<Magnification, Error> {
    // Products below 2^60.7, their difference below 2^61.7.
    let determinant = of.xx.wrapping_mul(of.yy).wrapping_sub(of.xy.wrapping_mul(of.yx));
    if determinant <= 0 {
        return Err(Error::FocusInside);
    }
    // Q28 over Q56, to Q24.
    let element = |adjugate: i64| {
        let found = Fraction::from_bits(math::saturate(math::ratio(adjugate, determinant, 52)));
        if found.is_saturated() { Err(Error::FocusInside) } else { Ok(found) }
    };
    Ok(Magnification {
        xx: element(of.yy)?,
        xy: element(of.xy.wrapping_neg())?,
        yx: element(of.yx.wrapping_neg())?,
        yy: element(of.xx)?,
    })
}
