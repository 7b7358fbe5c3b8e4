//! The written prescription: sphere, cylinder, axis; its three forms; reading and writing it.

use crate::math;
use crate::quantity::{Axis, Dioptre, halved};
use crate::text::{ParseError, ParseErrorKind, Reader, read_whole};
use core::fmt;
use core::num::NonZeroU32;
use core::str::FromStr;

/// Largest principal power, and largest cylinder, of a [`SpheroCylinder`]: 64 D, beyond any spectacle lens.
pub const MOST_POWER: Dioptre = dioptres!(64.0);

/// Why three numbers are no prescription.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Error {
    /// A principal power (sphere, or sphere plus cylinder) is beyond [`MOST_POWER`] or saturated.
    PowerRange,
    /// The cylinder is beyond [`MOST_POWER`] or saturated.
    CylinderRange,
}

impl Error {
    /// Always: every error here is a value out of its range.
    #[must_use]
    pub const fn is_range(self) -> bool {
        true
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::PowerRange => "a principal power lies beyond 64 D",
            Self::CylinderRange => "the cylinder lies beyond 64 D",
        })
    }
}

impl core::error::Error for Error {}

/// Sphere, cylinder and axis, in whichever form they were written.
///
/// # Range
/// Both principal powers and the cylinder within [`MOST_POWER`]; a value that exists is in range, and so is its
/// transposition.
///
/// ```
/// use dioptric::rx::SpheroCylinder;
/// let written: SpheroCylinder = "+2.00 -1.25 x 90".parse()?;
/// assert_eq!(written.transposed().to_string(), "+0.75 +1.25 x 180");
/// assert_eq!(written.transposed().transposed(), written);
/// assert_eq!(written.spherical_equivalent().to_string(), "+1.37"); // 1.375, as the trade writes it
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(try_from = "Written", into = "Written")
)]
pub struct SpheroCylinder {
    sphere: Dioptre,
    cylinder: Dioptre,
    axis: Axis,
}

/// The step to which powers are rounded.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Step {
    /// 0.25 D.
    Quarter,
    /// 0.125 D, written 0.12, 0.37, 0.62, 0.87.
    Eighth,
    /// 0.01 D.
    Hundredth,
}

impl Step {
    /// Steps in a dioptre.
    const fn per_dioptre(self) -> NonZeroU32 {
        match self {
            Self::Quarter => const { NonZeroU32::new(4).unwrap() },
            Self::Eighth => const { NonZeroU32::new(8).unwrap() },
            Self::Hundredth => const { NonZeroU32::new(100).unwrap() },
        }
    }

    /// The nearest multiple of the step, halves away from zero.
    ///
    /// # Accuracy
    /// Quarters and eighths exact; hundredths within half a unit of 2^-20 D of the decimal.
    #[must_use]
    pub fn round(self, power: Dioptre) -> Dioptre {
        if power.is_saturated() {
            return power;
        }
        let per = self.per_dioptre();
        let steps =
            math::shift_round(i64::from(power.to_bits()).wrapping_mul(i64::from(per.get())), Dioptre::FRACTION_BITS);
        Dioptre::from_bits(math::saturate(math::div_round_by_word(steps << Dioptre::FRACTION_BITS, per)))
    }
}

impl SpheroCylinder {
    /// No power.
    pub const PLANO: Self = Self { sphere: Dioptre::ZERO, cylinder: Dioptre::ZERO, axis: Axis::HORIZONTAL };

    /// A prescription from its three numbers.
    ///
    /// # Errors
    /// [`Error::CylinderRange`], [`Error::PowerRange`]: beyond [`MOST_POWER`].
    ///
    /// ```
    /// use dioptric::{axis, dioptres, rx::{Error, SpheroCylinder}};
    /// assert!(SpheroCylinder::new(dioptres!(-2.0), dioptres!(-1.0), axis!(35.0)).is_ok());
    /// assert_eq!(SpheroCylinder::new(dioptres!(-64.0), dioptres!(-1.0), axis!(35.0)), Err(Error::PowerRange));
    /// ```
    pub fn new(sphere: Dioptre, cylinder: Dioptre, axis: Axis) -> Result<Self, Error> {
        if cylinder.abs() > MOST_POWER {
            return Err(Error::CylinderRange);
        }
        if sphere.abs() > MOST_POWER || (sphere + cylinder).abs() > MOST_POWER {
            return Err(Error::PowerRange);
        }
        Ok(Self { sphere, cylinder, axis })
    }

    /// Minus-cylinder form from the mean power and half the cylinder's magnitude, 2^-20 D.
    pub(crate) fn from_mean(mean: i32, half: u32, axis: Axis) -> Result<Self, Error> {
        const MOST: u32 = MOST_POWER.to_bits().unsigned_abs();
        if half > MOST >> 1 {
            return Err(Error::CylinderRange);
        }
        // The stronger of both principal powers; 2^31 + 2^25 fits.
        if mean.unsigned_abs().wrapping_add(half) > MOST {
            return Err(Error::PowerRange);
        }
        let half = half.cast_signed();
        let sphere = mean.wrapping_add(half);
        // An even cylinder: sphere and mean power then keep their sum and difference exactly.
        let cylinder = half.wrapping_mul(-2);
        Ok(Self { sphere: Dioptre::from_small_bits(sphere), cylinder: Dioptre::from_small_bits(cylinder), axis })
    }

    /// The power of a sphere alone.
    ///
    /// # Errors
    /// [`Error::PowerRange`]: beyond [`MOST_POWER`].
    pub fn from_sphere(sphere: Dioptre) -> Result<Self, Error> {
        Self::new(sphere, Dioptre::ZERO, Axis::HORIZONTAL)
    }

    /// Sphere: the power along the axis.
    #[must_use]
    #[inline]
    pub const fn sphere(self) -> Dioptre {
        self.sphere
    }

    /// Cylinder: what the power across the axis exceeds the sphere by.
    #[must_use]
    #[inline]
    pub const fn cylinder(self) -> Dioptre {
        self.cylinder
    }

    /// Axis.
    #[must_use]
    #[inline]
    pub const fn axis(self) -> Axis {
        self.axis
    }

    /// The same lens in the other cylinder sign.
    ///
    /// # Accuracy
    /// Exact, and its own inverse, bit for bit.
    #[must_use]
    #[inline]
    pub fn transposed(self) -> Self {
        Self { sphere: self.sphere + self.cylinder, cylinder: -self.cylinder, axis: self.axis.perpendicular() }
    }

    /// In minus-cylinder form. Exact.
    #[must_use]
    #[inline]
    pub fn minus_form(self) -> Self {
        if self.cylinder > Dioptre::ZERO { self.transposed() } else { self }
    }

    /// In plus-cylinder form. Exact.
    #[must_use]
    #[inline]
    pub fn plus_form(self) -> Self {
        if self.cylinder < Dioptre::ZERO { self.transposed() } else { self }
    }

    /// As two plano cylinders at right angles. Exact.
    #[must_use]
    pub fn crossed(self) -> CrossedCylinders {
        CrossedCylinders {
            first: self.sphere,
            first_axis: self.axis.perpendicular(),
            second: self.sphere + self.cylinder,
        }
    }

    /// Sphere plus half the cylinder.
    ///
    /// # Accuracy
    /// Within half a unit of 2^-20 D; the same in either form.
    #[must_use]
    pub fn spherical_equivalent(self) -> Dioptre {
        // Of the trace, which both forms share to the bit. At most 128 D: far from overflow.
        let trace = self.sphere.to_bits().wrapping_mul(2).wrapping_add(self.cylinder.to_bits());
        Dioptre::from_small_bits(halved(trace))
    }

    /// The power along the axis and the power across it. Exact.
    #[must_use]
    pub fn principal_powers(self) -> (Dioptre, Dioptre) {
        (self.sphere, self.sphere + self.cylinder)
    }

    /// Both powers rounded to the step in the form it is written in, the axis to whole degrees; 180 without cylinder.
    ///
    /// # Errors
    /// [`Error`] when rounding leads beyond [`MOST_POWER`].
    pub fn rounded(self, step: Step) -> Result<Self, Error> {
        let cylinder = step.round(self.cylinder);
        let axis = if cylinder == Dioptre::ZERO { Axis::HORIZONTAL } else { self.axis.rounded() };
        Self::new(step.round(self.sphere), cylinder, axis)
    }

    /// The lens in a vertical mirror: right eye's to left eye's. Exact.
    #[must_use]
    pub const fn mirrored(self) -> Self {
        Self { sphere: self.sphere, cylinder: self.cylinder, axis: self.axis.mirrored() }
    }
}

impl Default for SpheroCylinder {
    fn default() -> Self {
        Self::PLANO
    }
}

/// Two plano cylinders at right angles: the crossed-cylinder form of a prescription.
///
/// ```
/// use dioptric::rx::SpheroCylinder;
/// let lens: SpheroCylinder = "+3.25 -0.50 x 90".parse()?;
/// assert_eq!(lens.crossed().to_string(), "+3.25 x 180 / +2.75 x 090");
/// assert_eq!(lens.crossed().sphero_cylinder(), Ok(lens));
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CrossedCylinders {
    /// Power of the first cylinder.
    pub first: Dioptre,
    /// Axis of the first cylinder; the second's is at right angles.
    pub first_axis: Axis,
    /// Power of the second cylinder.
    pub second: Dioptre,
}

impl CrossedCylinders {
    /// With the first cylinder as sphere: what [`SpheroCylinder::crossed`] took apart. Exact.
    ///
    /// # Errors
    /// [`Error`] beyond [`MOST_POWER`].
    pub fn sphero_cylinder(self) -> Result<SpheroCylinder, Error> {
        SpheroCylinder::new(self.first, self.second - self.first, self.first_axis.perpendicular())
    }
}

impl fmt::Display for CrossedCylinders {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.first, f)?;
        write!(f, " x {} / ", self.first_axis)?;
        fmt::Display::fmt(&self.second, f)?;
        write!(f, " x {}", self.first_axis.perpendicular())
    }
}

impl fmt::Display for SpheroCylinder {
    /// `-2.25 -1.50 x 035`, or `-3.00 DS` without cylinder; a precision asks for more decimals of the powers.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.sphere, f)?;
        if self.cylinder == Dioptre::ZERO {
            return f.write_str(" DS");
        }
        f.write_str(" ")?;
        fmt::Display::fmt(&self.cylinder, f)?;
        write!(f, " x {}", self.axis)
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for SpheroCylinder {
    fn format(&self, f: defmt::Formatter<'_>) {
        if self.cylinder == Dioptre::ZERO {
            defmt::write!(f, "{} DS", self.sphere);
        } else {
            defmt::write!(f, "{} {} x {}", self.sphere, self.cylinder, self.axis);
        }
    }
}

impl FromStr for SpheroCylinder {
    type Err = ParseError;

    /// Reads what people type: `+2.00 -1.25 x 90`, `-3.00`, `-3.00 DS`, `pl -0.50 x 180`; `x`, `X`, the multiplication
    /// sign or `*`; ASCII or Unicode minus; blanks and a slash between the parts as they come.
    fn from_str(text: &str) -> Result<Self, ParseError> {
        read_whole(text, |reader| {
            let place = reader.clone();
            let sphere = read_sphere(reader)?;
            let (cylinder, axis) = read_cylinder(reader)?;
            Self::new(sphere, cylinder, axis).map_err(|_| place.error(ParseErrorKind::OutOfRange))
        })
    }
}

fn read_sphere(reader: &mut Reader<'_>) -> Result<Dioptre, ParseError> {
    let plano = ["pl", "plan", "plano"].iter().any(|word| reader.take_word(word));
    let sphere = if plano { Dioptre::ZERO } else { Dioptre::read(reader)? };
    reader.skip_blanks();
    let _unit = ["DS", "D", "sph"].iter().any(|word| reader.take_word(word));
    reader.skip_blanks();
    if reader.take_one_of(&['/']) {
        reader.skip_blanks();
        if reader.is_at_end() {
            return Err(reader.error(ParseErrorKind::NumberExpected));
        }
    }
    Ok(sphere)
}

const CROSSES: [char; 4] = ['x', 'X', '\u{d7}', '*'];

fn read_cylinder(reader: &mut Reader<'_>) -> Result<(Dioptre, Axis), ParseError> {
    if reader.is_at_end() {
        return Ok((Dioptre::ZERO, Axis::HORIZONTAL));
    }
    if reader.peek().is_some_and(|c| CROSSES.contains(&c)) {
        return Err(reader.error(ParseErrorKind::CylinderMissing));
    }
    let place = reader.clone();
    if !reader.peek().is_some_and(|c| c.is_ascii_digit() || ['+', '-', '.', '\u{2212}', '\u{2013}'].contains(&c)) {
        return Err(place.error(ParseErrorKind::Trailing));
    }
    let cylinder = Dioptre::read(reader)?;
    reader.skip_blanks();
    let _unit = ["DC", "D", "cyl"].iter().any(|word| reader.take_word(word));
    reader.skip_blanks();
    if !reader.take_one_of(&CROSSES) {
        let no_axis_needed = cylinder == Dioptre::ZERO && reader.is_at_end();
        return if no_axis_needed {
            Ok((cylinder, Axis::HORIZONTAL))
        } else {
            Err(reader.error(ParseErrorKind::AxisMissing))
        };
    }
    reader.skip_blanks();
    if reader.is_at_end() {
        return Err(reader.error(ParseErrorKind::AxisMissing));
    }
    let axis = Axis::read(reader)?;
    reader.skip_blanks();
    reader.take_one_of(&['\u{b0}']);
    Ok((cylinder, axis))
}

/// What goes over the wire: checked again when it is read.
#[cfg(feature = "serde")]
#[derive(Clone, Copy, serde::Serialize, serde::Deserialize)]
struct Written {
    sphere: Dioptre,
    cylinder: Dioptre,
    axis: Axis,
}

#[cfg(feature = "serde")]
impl From<SpheroCylinder> for Written {
    fn from(rx: SpheroCylinder) -> Self {
        Self { sphere: rx.sphere, cylinder: rx.cylinder, axis: rx.axis }
    }
}

#[cfg(feature = "serde")]
impl TryFrom<Written> for SpheroCylinder {
    type Error = Error;
    fn try_from(written: Written) -> Result<Self, Error> {
        Self::new(written.sphere, written.cylinder, written.axis)
    }
}
