//! From pixels of the image to millimetres at the detector, and back.
#![allow(
    clippy::cast_possible_truncation,
    clippy::integer_division,
    reason = "sizes whose ranges are derived beside each step; divisors are constants"
)]

use super::{FoundSpot, PlacedSpot, SpotPair};
use crate::math;
use crate::quantity::{Millimetre, Point};
use core::fmt;

/// How the camera sees the plane: what must be done to the image as it is shown, columns rightwards and rows downwards, so
/// that it shows the plane as the observer sees it. First mirrored, left for right, then turned counter-clockwise.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Orientation {
    /// Nothing: columns go to the observer's right, rows down.
    #[default]
    Upright,
    /// Turned by 90 degrees: columns go up, rows to the right.
    Turned90,
    /// Turned by 180 degrees: columns go to the left, rows up.
    Turned180,
    /// Turned by 270 degrees: columns go down, rows to the left.
    Turned270,
    /// Mirrored: columns go to the left, rows down.
    Mirrored,
    /// Mirrored, then turned by 90 degrees: columns go down, rows to the right.
    MirroredTurned90,
    /// Mirrored, then turned by 180 degrees: columns go to the right, rows up.
    MirroredTurned180,
    /// Mirrored, then turned by 270 degrees: columns go up, rows to the left.
    MirroredTurned270,
}

impl Orientation {
    /// All eight.
    pub const ALL: [Self; 8] = [
        Self::Upright,
        Self::Turned90,
        Self::Turned180,
        Self::Turned270,
        Self::Mirrored,
        Self::MirroredTurned90,
        Self::MirroredTurned180,
        Self::MirroredTurned270,
    ];

    /// Right and up, from columns rightwards and rows downwards.
    const fn to_plane(self, column: i64, row: i64) -> (i64, i64) {
        let (left, up) = (column.wrapping_neg(), row.wrapping_neg());
        match self {
            Self::Upright => (column, up),
            Self::Turned90 => (row, column),
            Self::Turned180 => (left, row),
            Self::Turned270 => (up, left),
            Self::Mirrored => (left, up),
            Self::MirroredTurned90 => (row, left),
            Self::MirroredTurned180 => (column, row),
            Self::MirroredTurned270 => (up, column),
        }
    }

    /// Columns and rows from right and up.
    const fn to_image(self, x: i64, y: i64) -> (i64, i64) {
        let (left, down) = (x.wrapping_neg(), y.wrapping_neg());
        match self {
            Self::Upright => (x, down),
            Self::Turned90 => (y, x),
            Self::Turned180 => (left, y),
            Self::Turned270 => (down, left),
            Self::Mirrored => (left, down),
            Self::MirroredTurned90 => (down, x),
            Self::MirroredTurned180 => (x, y),
            Self::MirroredTurned270 => (y, left),
        }
    }
}

/// Why pixels are no millimetres.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum DetectorError {
    /// The pixel's width is out of range: [`Detector::new`].
    PixelRange,
    /// The sensor's axis is farther than [`Detector::MOST_AXIS`] from the first pixel.
    AxisRange,
    /// The place is farther from the axis than [`SpotPair::MOST`], or than 8192 pixels.
    PlaceRange,
}

impl fmt::Display for DetectorError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::PixelRange => "the width of a pixel is out of range (0.5 to 64 um)",
            Self::AxisRange => "the sensor's axis is out of range (4096 pixels from the first one)",
            Self::PlaceRange => "a place is out of range (32 mm or 8192 pixels from the axis)",
        })
    }
}

impl core::error::Error for DetectorError {}

/// A place in the image, 1/65536 pixel from the centre of the first pixel of the first row: it may lie outside.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ImagePlace {
    /// Along the row.
    pub x: i32,
    /// Across the rows, downwards.
    pub y: i32,
}

/// What a pixel of the detector is in the plane.
///
/// ```
/// use dioptric::{millimetres, quantity::Point, sensor::{Detector, ImagePlace, Orientation}};
/// // 3.45 um; the axis meets column 320, row 240.
/// let axis = ImagePlace { x: 320 << 16, y: 240 << 16 };
/// let detector = Detector::new(3_450_000, axis, Orientation::Upright)?;
/// let place = detector.place(ImagePlace { x: 420 << 16, y: 140 << 16 })?;
/// assert_eq!(place, Point::new(millimetres!(0.345), millimetres!(0.345)));
/// # Ok::<(), dioptric::sensor::DetectorError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(try_from = "Described", into = "Described")
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Detector {
    pixel_picometres: u32,
    /// Millimetres a pixel, 2^-[`SCALE_BITS`].
    scale: u32,
    axis: ImagePlace,
    orientation: Orientation,
}

/// What a detector is stored as.
#[cfg(feature = "serde")]
#[derive(serde::Serialize, serde::Deserialize)]
struct Described {
    pixel_picometres: u32,
    axis: ImagePlace,
    orientation: Orientation,
}

#[cfg(feature = "serde")]
impl TryFrom<Described> for Detector {
    type Error = DetectorError;
    fn try_from(described: Described) -> Result<Self, DetectorError> {
        Self::new(described.pixel_picometres, described.axis, described.orientation)
    }
}

#[cfg(feature = "serde")]
impl From<Detector> for Described {
    fn from(detector: Detector) -> Self {
        let Detector { pixel_picometres, axis, orientation, .. } = detector;
        Self { pixel_picometres, axis, orientation }
    }
}

/// 64 um are 2^31.04 units of 2^-35 mm: the factor fits a word, and is exact to 3e-8 from 0.5 um on.
const SCALE_BITS: u32 = 35;

/// Picometres in a millimetre.
const PICOMETRES: u64 = 1_000_000_000;

/// Units of 2^-16 pixel that a place may be from the axis: `2^29` times a factor below `2^31.1` stays below `2^61`.
const MOST_PIXELS: i64 = 8192 << FoundSpot::PLACE_BITS;

impl Detector {
    /// Narrowest pixel, picometres: 0.5 um.
    pub const LEAST_PIXEL: u32 = 500_000;
    /// Widest pixel, picometres: 64 um.
    pub const MOST_PIXEL: u32 = 64_000_000;
    /// Farthest that the axis may be from the first pixel in either direction, 1/65536 pixel: 4096 pixels.
    pub const MOST_AXIS: i32 = 4096 << FoundSpot::PLACE_BITS;

    /// A detector with square pixels.
    ///
    /// # Units
    /// The pixel's width in picometres, so that widths such as 3.45 um are exact.
    ///
    /// # Range
    /// [`Detector::LEAST_PIXEL`] to [`Detector::MOST_PIXEL`]; the axis to [`Detector::MOST_AXIS`].
    ///
    /// # Errors
    /// [`DetectorError::PixelRange`], [`DetectorError::AxisRange`].
    pub const fn new(pixel_picometres: u32, axis: ImagePlace, orientation: Orientation) -> Result<Self, DetectorError> {
        if pixel_picometres < Self::LEAST_PIXEL || pixel_picometres > Self::MOST_PIXEL {
            return Err(DetectorError::PixelRange);
        }
        if axis.x.unsigned_abs() > Self::MOST_AXIS.unsigned_abs()
            || axis.y.unsigned_abs() > Self::MOST_AXIS.unsigned_abs()
        {
            return Err(DetectorError::AxisRange);
        }
        // Below 2^61.
        let scaled = ((pixel_picometres as u64) << SCALE_BITS).wrapping_add(PICOMETRES / 2);
        Ok(Self { pixel_picometres, scale: (scaled / PICOMETRES) as u32, axis, orientation })
    }

    /// Width of a pixel, picometres.
    #[must_use]
    pub const fn pixel_picometres(&self) -> u32 {
        self.pixel_picometres
    }

    /// Where the sensor's axis meets the image.
    #[must_use]
    pub const fn axis(&self) -> ImagePlace {
        self.axis
    }

    /// How the camera sees the plane.
    #[must_use]
    pub const fn orientation(&self) -> Orientation {
        self.orientation
    }

    /// The point of the plane at a place of the image.
    ///
    /// # Accuracy
    /// Within half a unit, 7.7 nm, plus 3e-8 of itself (at the largest 1 nm).
    ///
    /// # Errors
    /// [`DetectorError::PlaceRange`].
    pub fn place(&self, image: ImagePlace) -> Result<Point, DetectorError> {
        self.at(image.x.into(), image.y.into())
    }

    #[inline(never)]
    fn at(&self, x: i64, y: i64) -> Result<Point, DetectorError> {
        let off = |at: i64, axis: i32| {
            let off = at.wrapping_sub(axis.into());
            if off.unsigned_abs() > MOST_PIXELS.unsigned_abs() { Err(DetectorError::PlaceRange) } else { Ok(off) }
        };
        let (right, up) = self.orientation.to_plane(off(x, self.axis.x)?, off(y, self.axis.y)?);
        let millimetres = |pixels: i64| {
            let length = math::shift_round(pixels.wrapping_mul(self.scale.into()), SCALE_BITS);
            let length = Millimetre::from_bits(math::saturate(length));
            if length.abs() > SpotPair::MOST { Err(DetectorError::PlaceRange) } else { Ok(length) }
        };
        Ok(Point::new(millimetres(right)?, millimetres(up)?))
    }

    /// A found spot at its place of the plane, with its light in counts.
    ///
    /// # Accuracy
    /// That of [`Detector::place`].
    ///
    /// # Errors
    /// [`DetectorError::PlaceRange`].
    pub fn spot(&self, found: &FoundSpot) -> Result<PlacedSpot, DetectorError> {
        let place = self.at(found.x.into(), found.y.into())?;
        Ok(PlacedSpot::new(place, u32::try_from(found.light >> 8).unwrap_or(u32::MAX)))
    }

    /// The place of the image at a point of the plane, to draw what is known there.
    ///
    /// # Accuracy
    /// Within one unit of 2^-16 pixel plus 3e-8 of the distance from the axis, to 8192 pixels from it.
    ///
    /// # Errors
    /// [`DetectorError::PlaceRange`].
    pub fn image_place(&self, point: Point) -> Result<ImagePlace, DetectorError> {
        let (x, y) = self.orientation.to_image(point.x.to_bits().into(), point.y.to_bits().into());
        let pixels = |length: i64, axis: i32| {
            let off = math::ratio(length, self.scale.into(), SCALE_BITS);
            if off.unsigned_abs() > MOST_PIXELS.unsigned_abs() {
                return Err(DetectorError::PlaceRange);
            }
            // Below 2^29 + 2^28.
            Ok(math::saturate(off.wrapping_add(axis.into())))
        };
        Ok(ImagePlace { x: pixels(x, self.axis.x)?, y: pixels(y, self.axis.y)? })
    }
}
