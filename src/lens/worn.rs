//! A lens before the eye, tilted and wrapped: its power along the line of sight, the lens to order for a wanted power.
//!
//! # Model
//! A thin lens, and a line of sight through its centre. Let `P` take a point of the lens's plane to the plane at right angles to the
//! line of sight: the upper left two by two of the rotation from the lens to the eye. Let `t` be the angle between the line of
//! sight and the lens's axis, `sin t' = sin t / n`. At each surface the generalised Coddington equations conserve, in the
//! lens's own plane, `n P^T W P` but for the surface's curvatures times `n' cos t' - n cos t`. The lens takes light out
//! in the direction from which it came, so both surfaces add up to
//!
//! `P^T W P = K F`, `K = (n cos t' - cos t) / (n - 1)`: the power along the line of sight is `K P^-T F P^-1`.
//!
//! That is exact for a thin lens of any form, at any axis and for any object distance. Martin's formulas are its third order:
//! `K = 1 + sin^2 t / 2n`; they differ from it by 0.02 D in +4 D at 25 degrees.
//!
//! # Limits
//! A real lens is thick, and the eye turns. A steep front `F1` at a thickness `d` changes what the tilt does by a part of about
//! `d F1 / n`, to either side: +6 D on a +8 D front, 5 mm thick and of index 1.586, has by traced rays 0.54 to 0.59 D more along the
//! steeper meridian for a wrap of 15 degrees, as the line of sight passes its front or its back vertex and as the power is counted at
//! either, where the model says 0.571 D. [`Tilt::prism`] gives the prism that comes with the thickness. Aspheric surfaces and lines of sight beside the centre need the
//! lens's data, not its power.
//!
//! # Accuracy
//! Cosines and sines are within 3e-9, their angle's rounding included, and `cos t` within 5e-9. `K` moves with it by at most
//! `4 (1 - cos t / n cos t')` of that, as root and cosine move together; coefficients of the power are quotients of the same
//! cosines, so that no error counts twice. With half a dozen roundings at 2^-31 a coefficient is within 1.5e-8 of itself. The three
//! coefficients of an element add up to at most 2.8 along the line of sight and 1.2 for the order: at 64 D within 3e-6 and 2e-6 D,
//! the last rounding included.
//!
//! # Source
//! Own derivation. From memory: Keating 1995, Harris, Blendowske (tilted sphero-cylinders); Martin's formulas; the generalised
//! Coddington equations of any optics textbook.

use super::{Error, ThickLens, checked, checked_index};
use crate::math;
use crate::prism::{Eye, Prism};
use crate::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, RefractiveIndex};
use crate::vector::PowerMatrix;
use core::num::NonZeroU64;

/// The largest angle of tilt or wrap, 30 degrees each.
pub const MOST_TILT: Degree = degrees!(30.0);
/// How a lens stands before the eye.
///
/// Seen as everywhere: x to the observer's right, y up, here with z from the eye to the observer. Powers are in the lens's own
/// plane before the tilt, and in the plane at right angles to the line of sight after it.
///
/// ```
/// use dioptric::{degrees, lens::Tilt, prism::Eye, rx::SpheroCylinder, vector::PowerVector};
/// let wanted: SpheroCylinder = "-5.00 -1.50 x 120".parse().unwrap();
/// let worn = Tilt::worn(degrees!(10.0), degrees!(18.0), Eye::Right).unwrap();
/// let order = PowerVector::from(worn.to_order(wanted, "1.586".parse().unwrap()).unwrap());
/// assert_eq!(order.sphero_cylinder().unwrap().to_string(), "-4.80 -0.67 x 119");
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(try_from = "Written", into = "Written")
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tilt(Written);

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Written {
    Worn { pantoscopic: Degree, face_form: Degree, eye: Eye },
    Framed { pantoscopic: Degree, face_form: Degree, eye: Eye },
    About { axis: Axis, angle: Degree },
}

impl TryFrom<Written> for Tilt {
    type Error = Error;
    fn try_from(written: Written) -> Result<Self, Error> {
        match written {
            Written::Worn { pantoscopic, face_form, eye } => Self::worn(pantoscopic, face_form, eye),
            Written::Framed { pantoscopic, face_form, eye } => Self::framed(pantoscopic, face_form, eye),
            Written::About { axis, angle } => Self::about(axis, angle),
        }
    }
}

impl From<Tilt> for Written {
    fn from(tilt: Tilt) -> Self {
        tilt.0
    }
}

impl Tilt {
    /// A lens whose axis has been measured before the eye: pantoscopic tilt and face-form (wrap) angle.
    ///
    /// The lens is first turned by the pantoscopic tilt about the eye's horizontal, then by the face-form angle about the eye's
    /// vertical: the lens's axis rises by just the one and turns aside by just the other, and the lens's horizontal stays
    /// horizontal. Positive pantoscopic tilt brings the lower rim nearer the face; positive face form the
    /// temporal side, which is the observer's left on the right eye and the observer's right on the left.
    ///
    /// The published recipes turn in this order. [`Self::framed`], the other one, has the lens turned in its own plane as well, by
    /// about the product of both angles in radians, and with it the axis: by 0.8 degree for 9 and 5 degrees.
    ///
    /// # Errors
    /// [`Error::AngleRange`].
    ///
    /// # Source
    /// Keating 1995 (from memory).
    pub fn worn(pantoscopic: Degree, face_form: Degree, eye: Eye) -> Result<Self, Error> {
        if pantoscopic.abs() > MOST_TILT || face_form.abs() > MOST_TILT {
            return Err(Error::AngleRange);
        }
        Ok(Self(Written::Worn { pantoscopic, face_form, eye }))
    }

    /// A lens whose angles have been measured on the frame: face form against the frame's front, tilt of the front.
    ///
    /// The lens is first turned by the face-form angle about the frame's vertical, then with the frame by the pantoscopic tilt
    /// about the eye's horizontal: the lens's horizontal stays in the frame's, which is tilted. Signs as for [`Self::worn`].
    ///
    /// # Errors
    /// [`Error::AngleRange`].
    pub fn framed(pantoscopic: Degree, face_form: Degree, eye: Eye) -> Result<Self, Error> {
        if pantoscopic.abs() > MOST_TILT || face_form.abs() > MOST_TILT {
            return Err(Error::AngleRange);
        }
        Ok(Self(Written::Framed { pantoscopic, face_form, eye }))
    }

    /// A lens turned about an axis in its own plane.
    ///
    /// Positive by the right hand with the thumb along the axis's upper end, or the observer's right for axis 180: about
    /// axis 180 that is the pantoscopic tilt. The power along the line of sight is the same for either sign.
    ///
    /// # Errors
    /// [`Error::AngleRange`].
    pub fn about(axis: Axis, angle: Degree) -> Result<Self, Error> {
        if angle.abs() > MOST_TILT {
            return Err(Error::AngleRange);
        }
        Ok(Self(Written::About { axis, angle }))
    }

    /// In a vertical mirror: the other eye's. Exact.
    #[must_use]
    pub fn mirrored(self) -> Self {
        Self(match self.0 {
            Written::Worn { pantoscopic, face_form, eye } => Written::Worn { pantoscopic, face_form, eye: eye.other() },
            Written::Framed { pantoscopic, face_form, eye } => {
                Written::Framed { pantoscopic, face_form, eye: eye.other() }
            }
            // The end to the observer's right stays what it is; any other axis has its thumb's end mirrored and its sense turned.
            Written::About { axis, angle } if axis == Axis::HORIZONTAL => Written::About { axis, angle },
            Written::About { axis, angle } => Written::About { axis: axis.mirrored(), angle: -angle },
        })
    }

    /// The power along the line of sight, of a lens so worn.
    ///
    /// # Range
    /// Elements to 64 D, index 1.25 and more.
    ///
    /// # Accuracy
    /// An element within 3e-6 D of the model; the lens itself to the bit at angle 0. Mirror images agree exactly.
    ///
    /// # Errors
    /// [`Error::PowerRange`], [`Error::Saturated`], [`Error::IndexRange`].
    ///
    /// # Source
    /// Module `lens::worn`: the generalised Coddington equations through the centre of a thin lens.
    pub fn effective(self, lens: impl Into<PowerMatrix>, index: RefractiveIndex) -> Result<PowerMatrix, Error> {
        self.seen(lens.into(), index, coddington)
    }

    /// The lens to order, so that a wanted power comes out along the line of sight: [`Self::effective`] the other way.
    ///
    /// # Range
    /// As for [`Self::effective`].
    ///
    /// # Accuracy
    /// An element within 2e-6 D of the model; the wanted power to the bit at angle 0. Mirror images agree exactly.
    ///
    /// # Errors
    /// As for [`Self::effective`].
    pub fn to_order(self, wanted: impl Into<PowerMatrix>, index: RefractiveIndex) -> Result<PowerMatrix, Error> {
        self.laid(wanted.into(), index, coddington)
    }

    /// [`Self::effective`] by Martin's formulas, in any axis: of a sphere, `S' = S (1 + sin^2 t / 2n)` and `C' = S' tan^2 t`
    /// with the axis of the tilt.
    ///
    /// # Accuracy
    /// An element within 3e-6 D of the formulas, which themselves are the third order of [`Self::effective`].
    ///
    /// # Errors
    /// As for [`Self::effective`].
    ///
    /// # Source
    /// Martin's formulas, from memory; their matrix form by the module's derivation.
    pub fn martin_effective(self, lens: impl Into<PowerMatrix>, index: RefractiveIndex) -> Result<PowerMatrix, Error> {
        self.seen(lens.into(), index, martin)
    }

    /// [`Self::to_order`] by Martin's formulas.
    ///
    /// # Accuracy
    /// An element within 2e-6 D of the formulas.
    ///
    /// # Errors
    /// As for [`Self::effective`].
    pub fn martin_to_order(self, wanted: impl Into<PowerMatrix>, index: RefractiveIndex) -> Result<PowerMatrix, Error> {
        self.laid(wanted.into(), index, martin)
    }

    /// The prism along the line of sight that tilt and wrap give a curved lens, whatever its power.
    ///
    /// The line of sight meets the back vertex; the front surface is met beside its own by `d tan t'`, and has its prism
    /// there. `front` is the front surface's power in the lens's plane, counted convex plus. The base is where a convex front
    /// has it: temporal for wrap, down for pantoscopic tilt.
    ///
    /// # Range
    /// Front power to 64 D, thickness 0 to 30 mm.
    ///
    /// # Accuracy
    /// Within 3e-6 prism dioptre of `-K P^-T F1 (d tan t')`, which is the first order in the thickness; exactly none
    /// at angle 0. Mirror images agree exactly.
    ///
    /// # Errors
    /// [`Error::ThicknessRange`], and those of [`Self::effective`].
    ///
    /// # Source
    /// Own derivation. The trade's `100 tan(wrap) F1 d / n` (from memory: Meister and Sheedy) is its first order in the angle.
    pub fn prism(
        self,
        front: impl Into<PowerMatrix>,
        thickness: Millimetre,
        index: RefractiveIndex,
    ) -> Result<Prism, Error> {
        let [xx, xy, yy] = bits_of(front.into())?;
        if thickness < Millimetre::ZERO || thickness > ThickLens::MOST_THICKNESS {
            return Err(Error::ThicknessRange);
        }
        let pose = self.pose();
        let gain = over(coddington(pose.cos, index)?, pose.cos);
        // tan t' along either axis, Q30.
        let root = inner_root(pose.cos, index);
        let [x, y] = pose.line.map(|part| over(part, root));
        // Dioptres in Q24: below 2^31, so that two products with Q30 fit.
        let along = |a: i64, b: i64| math::shift_round(a.wrapping_mul(x).wrapping_add(b.wrapping_mul(y)), 26);
        let (px, py) = (along(xx, xy), along(xy, yy));
        let p = pose.projection.adjugate();
        // 2^-40 of mm D, ten of which make a prism dioptre.
        const UNIT: NonZeroU64 = NonZeroU64::new(10 << 20).unwrap();
        let component = |a: i64, b: i64| {
            let seen = times(math::shift_round(a.wrapping_mul(px).wrapping_add(b.wrapping_mul(py)), 30), gain);
            let scaled = seen.wrapping_mul(i64::from(thickness.to_bits()));
            math::saturate(math::div_round(scaled.wrapping_neg(), UNIT))
        };
        Ok(Prism::from_bits(component(p.xx, p.yx), component(p.xy, p.yy)))
    }

    fn seen(self, lens: PowerMatrix, index: RefractiveIndex, law: Law) -> Result<PowerMatrix, Error> {
        let power = bits_of(lens)?;
        let pose = self.pose();
        let gain = over(over(law(pose.cos, index)?, pose.cos), pose.cos);
        Ok(pose.projection.adjugate().congruent(power, gain))
    }

    fn laid(self, wanted: PowerMatrix, index: RefractiveIndex, law: Law) -> Result<PowerMatrix, Error> {
        let power = bits_of(wanted)?;
        let pose = self.pose();
        let gain = over(ONE, law(pose.cos, index)?);
        Ok(pose.projection.congruent(power, gain))
    }

    fn pose(self) -> Pose {
        match self.0 {
            Written::Worn { pantoscopic, face_form, eye } => Pose::worn(pantoscopic, face_form, eye),
            Written::Framed { pantoscopic, face_form, eye } => Pose::framed(pantoscopic, face_form, eye),
            Written::About { axis, angle } => Pose::about(axis, angle),
        }
    }
}

const ONE: i64 = 1 << 30;

/// The gain `K`, Q30, of the cosine of the angle at the lens, Q30.
type Law = fn(i64, RefractiveIndex) -> Result<i64, Error>;

/// `(n cos t' - cos t) / (n - 1)`: up to 1.25 over the domain.
fn coddington(cos: i64, index: RefractiveIndex) -> Result<i64, Error> {
    let excess = lens_index(index)?.wrapping_sub(ONE);
    Ok(over(inner_root(cos, index).wrapping_sub(cos), excess))
}

/// `1 + sin^2 t / 2n`.
fn martin(cos: i64, index: RefractiveIndex) -> Result<i64, Error> {
    let double = lens_index(index)? << 1;
    Ok(ONE.wrapping_add(over(ONE.wrapping_sub(times(cos, cos)), double)))
}

/// The index in Q30, below 2^32.
fn lens_index(index: RefractiveIndex) -> Result<i64, Error> {
    Ok(i64::from(checked_index(index)?.to_bits()) << 1)
}

/// `n cos t' = sqrt(n^2 - 1 + cos^2 t)`, Q30: the radicand, Q60, is below 2^64, as is the square of an index below 4.
fn inner_root(cos: i64, index: RefractiveIndex) -> i64 {
    let square = (u64::from(index.to_bits()) << 1).wrapping_pow(2);
    let sine_square = (1u64 << 60).wrapping_sub(cos.unsigned_abs().wrapping_pow(2));
    i64::from(math::sqrt(square.wrapping_sub(sine_square)))
}

/// Product of Q30, or of any unit with Q30.
fn times(a: i64, b: i64) -> i64 {
    math::shift_round(a.wrapping_mul(b), 30)
}

/// Quotient in Q30 of a dividend below 2^33 by a positive divisor.
fn over(dividend: i64, divisor: i64) -> i64 {
    // Every divisor here is positive over the domain.
    NonZeroU64::new(divisor.unsigned_abs()).map_or(i64::MAX, |divisor| math::div_round(dividend << 30, divisor))
}

/// The elements, 2^-20 D, at most 2^26 each.
fn bits_of(power: PowerMatrix) -> Result<[i64; 3], Error> {
    let PowerMatrix { xx, xy, yy } = checked(power)?;
    Ok([xx, xy, yy].map(|element| i64::from(element.to_bits())))
}

/// Two by two, Q30, elements within 1: what takes the lens's plane to the plane at right angles to the line of sight.
struct Projection {
    xx: i64,
    xy: i64,
    yx: i64,
    yy: i64,
}

impl Projection {
    /// The inverse times the determinant.
    const fn adjugate(&self) -> Self {
        Self { xx: self.yy, xy: self.xy.wrapping_neg(), yx: self.yx.wrapping_neg(), yy: self.xx }
    }

    /// `gain T^T F T`.
    ///
    /// Range: gains are within 2.3 and coefficients within 2^32; an element of 2^26 times one is 2^58, the sum below 2^61.
    fn congruent(&self, [xx, xy, yy]: [i64; 3], gain: i64) -> PowerMatrix {
        let element = |[a, b]: [i64; 2], [c, d]: [i64; 2]| {
            let first = xx.wrapping_mul(times(times(a, c), gain));
            // Both products before the shift: neither element order nor mirror changes a bit.
            let mixed = math::shift_round(a.wrapping_mul(d).wrapping_add(b.wrapping_mul(c)), 30);
            let second = xy.wrapping_mul(times(mixed, gain));
            let third = yy.wrapping_mul(times(times(b, d), gain));
            let sum = first.wrapping_add(second).wrapping_add(third);
            Dioptre::from_bits(math::saturate(math::shift_round(sum, 30)))
        };
        let (first, second) = ([self.xx, self.yx], [self.xy, self.yy]);
        PowerMatrix { xx: element(first, first), xy: element(first, second), yy: element(second, second) }
    }
}

/// A tilt in numbers, Q30.
struct Pose {
    projection: Projection,
    /// Cosine between the line of sight and the lens's axis: the projection's determinant.
    cos: i64,
    /// The line of sight, from the eye, in the lens's plane: its part along x and y.
    line: [i64; 2],
}

impl Pose {
    /// Rotation about y by the wrap after one about x by the tilt:
    /// x to `(cos w, 0, sin w)`, y to `(-sin p sin w, cos p, sin p cos w)` on the right eye.
    fn worn(pantoscopic: Degree, face_form: Degree, eye: Eye) -> Self {
        let ((cos_p, sin_p), (cos_w, sin_w)) = (cos_sin(pantoscopic), wrap(face_form, eye));
        Self {
            projection: Projection { xx: cos_w, xy: times(sin_p, sin_w).wrapping_neg(), yx: 0, yy: cos_p },
            cos: times(cos_p, cos_w),
            line: [sin_w, times(sin_p, cos_w)],
        }
    }

    /// Rotation about x by the tilt after one about y by the wrap:
    /// x to `(cos w, -sin p sin w, cos p sin w)`, y to `(0, cos p, sin p)` on the right eye.
    fn framed(pantoscopic: Degree, face_form: Degree, eye: Eye) -> Self {
        let ((cos_p, sin_p), (cos_w, sin_w)) = (cos_sin(pantoscopic), wrap(face_form, eye));
        Self {
            projection: Projection { xx: cos_w, xy: 0, yx: times(sin_p, sin_w).wrapping_neg(), yy: cos_p },
            cos: times(cos_p, cos_w),
            line: [times(cos_p, sin_w), sin_p],
        }
    }

    /// `I - (1 - cos t) u u^T`, with `u` at right angles to the axis and its square in double angles, as axes are stored.
    fn about(axis: Axis, angle: Degree) -> Self {
        let (cos, sin) = cos_sin(angle);
        let loss = ONE.wrapping_sub(cos);
        let (cos_2, sin_2) = math::cos_sin(axis.to_bits());
        let (cos_2, sin_2) = (i64::from(cos_2), i64::from(sin_2));
        // Half of the loss with each product, in one rounding.
        let half_loss = |part: i64| math::shift_round(loss.wrapping_mul(part), 31);
        let cross = half_loss(sin_2);
        let (cos_1, sin_1) = math::cos_sin(axis.bearing().to_bits());
        Self {
            projection: Projection {
                xx: ONE.wrapping_sub(half_loss(ONE.wrapping_sub(cos_2))),
                xy: cross,
                yx: cross,
                yy: ONE.wrapping_sub(half_loss(ONE.wrapping_add(cos_2))),
            },
            cos,
            line: [times(sin, i64::from(sin_1)).wrapping_neg(), times(sin, i64::from(cos_1))],
        }
    }
}

/// Cosine and sine of the wrap, positive where the observer's left is nearer the face.
fn wrap(face_form: Degree, eye: Eye) -> (i64, i64) {
    cos_sin(match eye {
        Eye::Right => face_form,
        Eye::Left => -face_form,
    })
}

fn cos_sin(angle: Degree) -> (i64, i64) {
    let (cos, sin) = math::cos_sin(Bearing::from_bits(0).turned(angle).to_bits());
    (i64::from(cos), i64::from(sin))
}
