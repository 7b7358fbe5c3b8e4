//! Where a lens lies in the machine and how it is turned.
//!
//! Two frames. The *machine's*: x to the observer's right and y up, from the sensor's axis, looking along the light. The
//! *lens's*: the same as the lens is drawn, seen from its front, from the lens's own reference: the middle between the
//! alignment marks of a progressive lens, the point with the ordered prism of a single-vision lens, the reference point of a
//! segment's order. A lens that lies with its front on the stop has been turned round its vertical: left and right change.

mod marks;
mod order;

pub use marks::{FoundMark, MARK_DISTANCE};
pub use order::LEAST_CYLINDER;

use super::Error;
use crate::math;
use crate::prism::Prism;
use crate::quantity::{Axis, Bearing, Degree, Millimetre, Point, PrismDioptre};
use crate::vector::PowerVector;
use core::fmt;

/// The vertex that lies on the stop, and at which power is therefore measured.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Vertex {
    /// The back vertex, as for every prescribed power.
    #[default]
    Back,
    /// The front vertex: the lens is turned round its vertical, so that the machine sees it mirrored.
    Front,
}

/// What the lens was found by.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum PoseSource {
    /// It was placed there.
    #[default]
    Given,
    /// The permanent alignment marks.
    Marks,
    /// The axis of its cylinder and the point with the ordered prism.
    AxisAndCentre,
    /// The top line of its segment.
    TopLine,
}

/// Whether a lens turned by half a turn would have given the same pose.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum HalfTurn {
    /// It would: that the lens lies upright, within a quarter turn, is assumed.
    #[default]
    Assumed,
    /// It would not.
    Known,
}

/// Standard uncertainties (k = 1) of a pose.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PoseUncertainty {
    /// Of the offset's coordinates; `None` when not known.
    pub offset: Option<Point>,
    /// Of the rotation; `None` when not known, or when there is no rotation.
    pub rotation: Option<Degree>,
}

/// Where a lens lies and how it is turned: takes places and directions from the lens's frame to the machine's and back.
///
/// The lens is mirrored if its front lies on the stop, then turned, then moved. Without a rotation it counts as lying upright.
///
/// ```
/// use dioptric::{axis, degrees, millimetres, quantity::{Axis, Point}, sensor::{Pose, Vertex}};
/// let offset = Point::new(millimetres!(1.0), millimetres!(0.0));
/// let pose = Pose { offset, rotation: Some(degrees!(90.0)), vertex: Vertex::Front, ..Pose::default() };
/// let mark = Point::new(millimetres!(17.0), millimetres!(0.0));
/// assert_eq!(pose.to_machine(mark), Point::new(millimetres!(1.0), millimetres!(-17.0)));
/// assert_eq!(pose.to_lens(pose.to_machine(mark)), mark);
/// assert_eq!(pose.axis_to_machine(axis!(30.0)).to_string(), "060");
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pose {
    /// Where the origin of the lens's frame lies in the machine's.
    pub offset: Point,
    /// By how much the lens is turned, counter-clockwise as the machine sees it. `None`: it has no direction to tell it by,
    /// as a sphere.
    pub rotation: Option<Degree>,
    /// The vertex on the stop.
    pub vertex: Vertex,
    /// Whether half a turn more is excluded.
    pub half_turn: HalfTurn,
    /// Standard uncertainties.
    pub uncertainty: PoseUncertainty,
    /// How it was found.
    pub source: PoseSource,
}

/// Why a pose is not known.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum PoseError {
    /// More marks than [`Pose::MOST_MARKS`].
    TooManyMarks,
    /// No two marks are as far apart as alignment marks.
    NoPair,
    /// More than one pair of marks is as far apart as alignment marks.
    AmbiguousPair,
    /// No point of the lens has the ordered prism, or a line of it has: a meridian has no power.
    NoCentre,
    /// A power, a prism or a place is saturated.
    Saturated,
    /// The power is the same on both sides: which one has the addition cannot be told.
    NoAddition,
    /// A fit that was needed failed.
    Fit(Error),
}

impl From<Error> for PoseError {
    fn from(error: Error) -> Self {
        Self::Fit(error)
    }
}

impl PoseError {
    /// Other marks, or a search with another limit, could help.
    #[must_use]
    pub const fn is_marks(self) -> bool {
        matches!(self, Self::TooManyMarks | Self::NoPair | Self::AmbiguousPair)
    }
}

impl fmt::Display for PoseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooManyMarks => "more marks than can be searched (32)",
            Self::NoPair => "no two marks are as far apart as alignment marks (34 mm)",
            Self::AmbiguousPair => "more than one pair of marks is as far apart as alignment marks (34 mm)",
            Self::NoCentre => "no single point of the lens has the ordered prism",
            Self::Saturated => "a power, a prism or a place is saturated",
            Self::NoAddition => "which side of the lens has the addition cannot be told",
            Self::Fit(error) => return fmt::Display::fmt(error, f),
        })
    }
}

impl core::error::Error for PoseError {}

impl Pose {
    /// Most marks that are searched for a pair.
    pub const MOST_MARKS: usize = 32;

    /// A lens that was placed: its uncertainties are not known.
    #[must_use]
    pub fn given(offset: Point, rotation: Degree, vertex: Vertex) -> Self {
        Self { offset, rotation: Some(rotation), vertex, half_turn: HalfTurn::Known, ..Self::default() }
    }

    /// The same pose of a lens that lies the other way up.
    ///
    /// # Accuracy
    /// Exact; the rotation stays above -180 and up to 180 degrees if it was.
    #[must_use]
    pub fn half_turned(self) -> Self {
        let other = |rotation: Degree| {
            let half = if rotation > Degree::ZERO { degrees!(-180.0) } else { degrees!(180.0) };
            rotation + half
        };
        Self { rotation: self.rotation.map(other), ..self }
    }

    /// Whether the machine sees the lens mirrored.
    fn is_mirrored(self) -> bool {
        self.vertex == Vertex::Front
    }

    /// Cosine and sine of the rotation, Q30.
    fn turn(self) -> (i32, i32) {
        math::cos_sin(Bearing::default().turned(self.angle()).to_bits())
    }

    fn angle(self) -> Degree {
        self.rotation.unwrap_or(Degree::ZERO)
    }

    /// A place on the lens, as the machine sees it.
    ///
    /// # Accuracy
    /// Within 0.6 units of 2^-16 mm for places within 64 mm of the lens's origin. [`Pose::to_lens`] of it is within one unit
    /// of the place. Saturated of what is saturated.
    #[must_use]
    pub fn to_machine(self, place: Point) -> Point {
        if place.is_saturated() || self.offset.is_saturated() {
            return SATURATED;
        }
        let (x, y) = self.forth(place.x.to_bits(), place.y.to_bits());
        Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y)) + self.offset
    }

    /// The place on the lens that the machine sees at a point.
    ///
    /// # Accuracy
    /// Within 0.6 units of 2^-16 mm for points within 64 mm of the lens's origin. [`Pose::to_machine`] of it is within one
    /// unit of the point. Saturated of what is saturated.
    #[must_use]
    pub fn to_lens(self, point: Point) -> Point {
        if point.is_saturated() || self.offset.is_saturated() {
            return SATURATED;
        }
        let from = point - self.offset;
        let (x, y) = self.back(from.x.to_bits(), from.y.to_bits());
        Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y))
    }

    /// A prism of the lens, as the machine sees it.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 plus 5e-9 of the resultant; there and back within one unit for prisms to 64.
    #[must_use]
    pub fn prism_to_machine(self, prism: Prism) -> Prism {
        turned_prism(prism, |x, y| self.forth(x, y))
    }

    /// The prism of the lens that the machine sees as `prism`.
    ///
    /// # Accuracy
    /// That of [`Pose::prism_to_machine`].
    #[must_use]
    pub fn prism_to_lens(self, prism: Prism) -> Prism {
        turned_prism(prism, |x, y| self.back(x, y))
    }

    /// An axis of the lens, as the machine sees it.
    ///
    /// # Accuracy
    /// Within half a unit of 180 / 2^32 degrees. [`Pose::axis_to_lens`] of it is the axis to the bit.
    #[must_use]
    pub fn axis_to_machine(self, axis: Axis) -> Axis {
        let mirrored = if self.is_mirrored() { axis.mirrored() } else { axis };
        mirrored.turned(self.angle())
    }

    /// The axis of the lens that the machine sees as `axis`.
    ///
    /// # Accuracy
    /// That of [`Pose::axis_to_machine`].
    #[must_use]
    pub fn axis_to_lens(self, axis: Axis) -> Axis {
        let turned = axis.turned(-self.angle());
        if self.is_mirrored() { turned.mirrored() } else { turned }
    }

    /// A power of the lens, as the machine sees it.
    ///
    /// # Accuracy
    /// That of [`PowerVector::turned`]; there and back within one unit of 2^-20 D for cylinders to 128 D.
    #[must_use]
    pub fn power_to_machine(self, power: PowerVector) -> PowerVector {
        self.mirrored(power).turned(self.angle())
    }

    /// The power of the lens that the machine sees as `power`.
    ///
    /// # Accuracy
    /// That of [`Pose::power_to_machine`].
    #[must_use]
    pub fn power_to_lens(self, power: PowerVector) -> PowerVector {
        self.mirrored(power.turned(-self.angle()))
    }

    fn mirrored(self, power: PowerVector) -> PowerVector {
        if self.is_mirrored() { PowerVector { j45: -power.j45, ..power } } else { power }
    }

    /// Mirrors, then turns.
    fn forth(self, x: i32, y: i32) -> (i32, i32) {
        let (cos, sin) = self.turn();
        rotated((self.signed(x), y), (cos, sin))
    }

    /// Turns back, then mirrors.
    fn back(self, x: i32, y: i32) -> (i32, i32) {
        let (cos, sin) = self.turn();
        let (x, y) = rotated((x, y), (cos, sin.wrapping_neg()));
        (self.signed(x), y)
    }

    fn signed(self, x: i32) -> i32 {
        if self.is_mirrored() { x.wrapping_neg() } else { x }
    }
}

const SATURATED: Point = Point::new(Millimetre::MAX, Millimetre::MAX);

/// A vector turned by cosine and sine in Q30. Each product is below 2^61.
fn rotated((x, y): (i32, i32), (cos, sin): (i32, i32)) -> (i32, i32) {
    let product = |a: i32, b: i32| i64::from(a).wrapping_mul(i64::from(b));
    let part = |sum: i64| math::saturate(math::shift_round(sum, 30));
    let along = product(x, cos).wrapping_sub(product(y, sin));
    let across = product(x, sin).wrapping_add(product(y, cos));
    (part(along), part(across))
}

fn turned_prism(prism: Prism, turn: impl Fn(i32, i32) -> (i32, i32)) -> Prism {
    if prism.is_saturated() {
        return Prism::SATURATED;
    }
    let (x, y) = turn(prism.x.to_bits(), prism.y.to_bits());
    Prism { x: PrismDioptre::from_bits(x), y: PrismDioptre::from_bits(y) }
}

/// Root of the sum of two squares.
pub(super) fn quadrature(a: Millimetre, b: Millimetre) -> Millimetre {
    Point::new(a, b).distance()
}

/// A displacement across a lever, as an angle: `across / lever` radians.
pub(super) fn angle_of(across: Millimetre, lever: Millimetre) -> Degree {
    // 180 / pi in 2^-20 degree. 2^31 * 2^26 fits.
    const DEGREES_PER_RADIAN: i64 = 60_078_979;
    let scaled = i64::from(across.to_bits()).wrapping_mul(DEGREES_PER_RADIAN);
    Degree::from_bits(math::saturate(math::ratio(scaled, i64::from(lever.to_bits()), 0)))
}
