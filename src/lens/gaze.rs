//! Where the line of sight meets a lens, the prism there, and what a pair of lenses does to both eyes.
//!
//! # Model
//! Thin lenses at right angles to the eyes' straight-ahead lines of sight. Points are counted, in the observer's frame, from
//! where the line of sight meets the lens straight ahead. By Prentice's rule the prism at a point is `p = p0 - F (r - r0) / 10`, with
//! the prism `p0` at the reference point `r0`.
//!
//! Version turns both eyes the same way: the same displacement on both lenses, to the observer's right for +x. Vergence turns them
//! against each other: convergence by `d` is +d on the right lens and -d on the left, as nasal is +x on the right eye.
//!
//! # Source
//! Prentice's rule in matrix form (Long 1976).

use super::{Error, checked};
use crate::math;
use crate::prism::{Eye, EyePrism, Prism};
use crate::quantity::{Bearing, Degree, Millimetre, Point, PrismDioptre};
use crate::vector::PowerMatrix;
use core::num::NonZeroU64;

/// The largest angle of gaze, 50 degrees across and as much up or down.
pub const MOST_GAZE: Degree = degrees!(50.0);
/// The largest distance of a lens from the eye's centre of rotation, 60 mm.
pub const MOST_ROTATION_DISTANCE: Millimetre = millimetres!(60.0);
/// The least slab-off that is ground, 1.5 prism dioptres (common practice, no source).
pub const LEAST_SLAB_OFF: PrismDioptre = prism_dioptres!(1.5);

/// Where the line of sight meets the lens: `s (tan a, tan b)`.
///
/// `across` is the angle as seen from above, to the observer's right; `up` as seen from the side: what Fick and Helmholtz
/// call the first of their two angles, each. Both are those of the eye itself, behind the lens. `distance`, from the eye's centre of
/// rotation to the lens, is usually the vertex distance and 13 to 15 mm (from memory).
///
/// # Range
/// Angles to 50 degrees, distance from 0 to 60 mm.
///
/// # Accuracy
/// Each coordinate within 0.55 units of 2^-16 mm of exact. Odd in either angle.
///
/// # Errors
/// [`Error::GazeRange`], [`Error::DistanceRange`].
///
/// # Source
/// Geometry.
///
/// ```
/// use dioptric::{degrees, lens, millimetres};
/// let reading = lens::point_of_gaze(degrees!(0.0), degrees!(-20.0), millimetres!(27.0)).unwrap();
/// assert_eq!(reading.to_string(), "0.00, -9.83 mm");
/// ```
pub fn point_of_gaze(across: Degree, up: Degree, distance: Millimetre) -> Result<Point, Error> {
    if across.abs() > MOST_GAZE || up.abs() > MOST_GAZE {
        return Err(Error::GazeRange);
    }
    if distance < Millimetre::ZERO || distance > MOST_ROTATION_DISTANCE {
        return Err(Error::DistanceRange);
    }
    let coordinate = |angle: Degree| {
        let (cos, sin) = math::cos_sin(Bearing::default().turned(angle).to_bits());
        // 2^30 times 2^22; the cosine is 0.64 or more.
        let scaled = i64::from(sin).wrapping_mul(i64::from(distance.to_bits()));
        let length = NonZeroU64::new(cos.unsigned_abs().into()).map_or(0, |cos| math::div_round(scaled, cos));
        Millimetre::from_bits(math::saturate(length))
    };
    Ok(Point::new(coordinate(across), coordinate(up)))
}

/// A lens before an eye: its power, and the prism at its reference point.
///
/// ```
/// use dioptric::{lens::WornLens, millimetres, prism::{Eye, Prism}, quantity::Point, rx::SpheroCylinder};
/// let rx: SpheroCylinder = "-6.00".parse()?;
/// let lens = WornLens { power: rx.into(), prism: Prism::parse("1.00 base in", Eye::Right)?, reference: Point::ORIGIN };
/// let reading = Point::new(millimetres!(2.0), millimetres!(-10.0));
/// assert_eq!(lens.prism_at(reading).unwrap().of(Eye::Right).to_string(), "2.20 base in 6.00 base down");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WornLens {
    /// Power, as the eye has it.
    pub power: PowerMatrix,
    /// Prism at the reference point.
    pub prism: Prism,
    /// The reference point, seen from where the line of sight meets the lens straight ahead.
    pub reference: Point,
}

impl WornLens {
    /// The prism where the line of sight meets the lens at a point.
    ///
    /// # Units
    /// Point in millimetres, prism in prism dioptres.
    ///
    /// # Range
    /// Elements of the power to 64 D.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 prism dioptre.
    ///
    /// # Errors
    /// [`Error::Saturated`]; [`Error::PowerRange`], also for a prism beyond 2048 prism dioptres.
    ///
    /// # Source
    /// Prentice's rule in matrix form (Long 1976).
    pub fn prism_at(&self, gaze: Point) -> Result<Prism, Error> {
        let from_reference = gaze - self.reference;
        if gaze.is_saturated() || from_reference.is_saturated() || self.prism.is_saturated() {
            return Err(Error::Saturated);
        }
        within_reach(self.prism + checked(self.power)?.prism_at(from_reference))
    }
}

/// The lenses before both eyes.
///
/// ```
/// use dioptric::{lens::{WornLens, WornPair}, millimetres, prism::Eye, quantity::Point, rx::SpheroCylinder};
/// let lens = |rx: &str| WornLens { power: rx.parse::<SpheroCylinder>().unwrap().into(), ..WornLens::default() };
/// let pair = WornPair { right: lens("-5.00"), left: lens("-2.00") };
/// let reading = Point::new(millimetres!(0.0), millimetres!(-10.0));
/// let imbalance = pair.imbalance(reading).unwrap();
/// assert_eq!(imbalance.before(Eye::Right).to_string(), "3.00 base down");
/// let slab_off = pair.slab_off(reading).unwrap().unwrap();
/// assert_eq!((slab_off.eye, slab_off.base_up.to_string()), (Eye::Right, "3.00".to_string()));
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WornPair {
    /// Before the right eye.
    pub right: WornLens,
    /// Before the left eye.
    pub left: WornLens,
}

/// Differential prism: what the right eye's prism has more than the left's, in the observer's frame.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Imbalance(pub Prism);

impl Imbalance {
    /// The same effect on the pair by a prism before one eye alone, to name its base. Exact.
    #[must_use]
    pub fn before(self, eye: Eye) -> EyePrism {
        match eye {
            Eye::Right => self.0.of(eye),
            Eye::Left => (-self.0).of(eye),
        }
    }

    /// The horizontal imbalance: base in, whichever eye it is counted before; negative is out. Exact.
    #[must_use]
    pub fn base_in(self) -> PrismDioptre {
        self.0.x
    }

    /// The vertical imbalance: base up before the right eye, down before the left; negative the other way. Exact.
    #[must_use]
    pub fn right_base_up(self) -> PrismDioptre {
        self.0.y
    }
}

/// Bicentric grinding: base up in the lower part of one lens, so that both eyes have the same vertical prism at the reading point.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SlabOff {
    /// On which lens.
    pub eye: Eye,
    /// How much base up. Below [`LEAST_SLAB_OFF`] it is not ground.
    pub base_up: PrismDioptre,
}

impl SlabOff {
    /// The same effect by a moulded lens with base down (reverse slab-off): on the other lens, as much base down. Exact.
    #[must_use]
    pub fn reversed(self) -> (Eye, Prism) {
        (self.eye.other(), Prism::new(PrismDioptre::ZERO, -self.base_up))
    }
}

impl WornPair {
    /// Differential prism where both eyes look by the same displacement: version.
    ///
    /// # Range
    /// As [`WornLens::prism_at`].
    ///
    /// # Accuracy
    /// Within one unit of 2^-20 prism dioptre.
    ///
    /// # Errors
    /// Those of [`WornLens::prism_at`].
    pub fn imbalance(&self, gaze: Point) -> Result<Imbalance, Error> {
        self.imbalance_at(gaze, gaze)
    }

    /// Differential prism where each eye looks through a point of its own: version and vergence.
    ///
    /// # Range
    /// As [`WornLens::prism_at`].
    ///
    /// # Accuracy
    /// Within one unit of 2^-20 prism dioptre.
    ///
    /// # Errors
    /// Those of [`WornLens::prism_at`].
    pub fn imbalance_at(&self, right: Point, left: Point) -> Result<Imbalance, Error> {
        Ok(Imbalance(within_reach(self.right.prism_at(right)? - self.left.prism_at(left)?)?))
    }

    /// The slab-off that takes away the vertical imbalance which comes with looking at a point; `None` where none comes.
    ///
    /// What is there straight ahead, such as an ordered prism, stays: only the change from there to `reading` counts. With the
    /// reading point straight below the lens is the one with the most minus, or the least plus, power in the vertical meridian, as
    /// is practice (common practice, no source); cylinders at an oblique axis have a part in it when the point lies beside.
    ///
    /// # Range
    /// As [`WornLens::prism_at`].
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 prism dioptre.
    ///
    /// # Errors
    /// Those of [`WornLens::prism_at`].
    pub fn slab_off(&self, reading: Point) -> Result<Option<SlabOff>, Error> {
        if reading.is_saturated() {
            return Err(Error::Saturated);
        }
        let (right, left) = (checked(self.right.power)?, checked(self.left.power)?);
        let more = PowerMatrix { xx: right.xx - left.xx, xy: right.xy - left.xy, yy: right.yy - left.yy };
        let change = within_reach(more.prism_at(reading))?.y;
        let eye = if change > PrismDioptre::ZERO { Eye::Left } else { Eye::Right };
        Ok((change != PrismDioptre::ZERO).then_some(SlabOff { eye, base_up: change.abs() }))
    }
}

fn within_reach(prism: Prism) -> Result<Prism, Error> {
    if prism.is_saturated() { Err(Error::PowerRange) } else { Ok(prism) }
}
