//! What a plane of slopes leaves: a wavefront to the fourth order, in standard terms, and the power at the vertex itself.
//!
//! The wavefront is that of collimated light where it leaves the back vertex plane, counted along the light: its slope is
//! `s = -grad W`, so that a plus lens has positive defocus, and its second derivatives are the power `F`. Every spot tells the
//! place on the lens, `hole - gap / throw * displacement`, and the slope there, `displacement / throw`: no step back is needed,
//! and no lens has a focus that is in the way.
//!
//! With `xi = (r - centre) / radius`, `W = sum c_k Z_k(xi)` and `a_k = c_k throw / radius`, the displacements are
//! `-sum a_k grad Z_k(xi)`: fourteen unknowns, by least squares. Their normal equations are made of 28 moments of the places and
//! 20 with the displacements, solved by `L D L^T` in fixed point with one refinement.
//!
//! # Source
//! Terms, their order and their normalisation: ISO 24157 and ANSI Z80.28 (double index, unit RMS over the disc), from memory;
//! the polynomials as in Noll, "Zernike polynomials and atmospheric turbulence", J. Opt. Soc. Am. 66, 1976. Power at the centre
//! from them: Thibos, Hong, Bradley and Applegate, J. Vis. 4, 2004, with the sign of the lens instead of its correction.

mod solve;
mod sums;
mod terms;

pub use sums::HigherOrderSums;
pub use terms::Zernike;

use super::{Disc, Error, Geometry, SpotPair};
use crate::math;
use crate::prism::Prism;
use crate::quantity::{Dioptre, Micrometre, Point, PrismDioptre};
use crate::vector::PowerMatrix;
use core::fmt;
use sums::Places;
use terms::{MONOMIALS, TERMS};

/// Why there is no wavefront.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum HigherOrderError {
    /// The disc's radius is below [`HigherOrderSums::LEAST_RADIUS`].
    RadiusRange,
    /// Fewer than [`HigherOrderSums::FEWEST_SPOTS`] spots.
    TooFewSpots,
    /// More spots than the sums can hold: [`HigherOrderSums::MOST_SPOTS`].
    TooManySpots,
    /// The spots do not tell the terms apart: too few rings or rows, or the disc is much larger than the pattern.
    Singular,
    /// The spots move too far for a lens of this geometry.
    SlopeRange,
    /// Sums over another disc, or of another geometry.
    OtherDisc,
}

impl HigherOrderError {
    /// A value is outside the range of its type.
    #[must_use]
    pub const fn is_range(self) -> bool {
        matches!(self, Self::RadiusRange | Self::TooManySpots | Self::SlopeRange)
    }
}

impl fmt::Display for HigherOrderError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::RadiusRange => "the radius of the disc is out of range (from 0.25 mm)",
            Self::TooFewSpots => "fewer than eight spots",
            Self::TooManySpots => "more spots than the sums can hold (65536)",
            Self::Singular => "the spots do not tell the terms of the fourth order apart",
            Self::SlopeRange => "the spots move too far for a lens",
            Self::OtherDisc => "the sums are of another disc or geometry",
        })
    }
}

impl core::error::Error for HigherOrderError {}

/// The wavefront of a lens over a disc, to the fourth radial order.
///
/// # Accuracy
/// Against exact least squares of the same spots, for powers to 30 D, patterns that fill the disc and radii from 1 to 10 mm:
/// coefficients within 6e-5 um, power at the centre within 1e-5 D, prism within 1.5e-6 prism dioptres.
///
/// Against the lens itself, ray-traced to 25 D through holes within 7 mm: see the table of [`HigherOrder::power`]. The price is
/// noise: fourteen unknowns scatter the mean power at the centre 3.0 times as much as five do, 7.5e-4 D at 0.12 um of noise in
/// 113 spots within 7 mm, throw 20 mm.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct HigherOrder {
    disc: Disc,
    geometry: Geometry,
    count: u32,
    /// Standard deviation of a displacement component, 2^-24 mm.
    deviation: u32,
    /// `c_k throw / radius` without the normalisation of `Z_k`, 2^-54 mm, below 64 mm.
    amplitudes: [i64; TERMS],
}

/// Fraction bits of amplitudes in what is evaluated at a point.
///
/// Range: amplitudes below 2^6, second derivatives below 150 each and 14 of them: below 2^62.
const SHORT_BITS: u32 = 44;

impl Disc {
    /// The wavefront over the disc from the spots whose light leaves the lens within it.
    ///
    /// # Accuracy
    /// That of [`HigherOrder`].
    ///
    /// # Errors
    /// [`HigherOrderError`].
    pub fn higher_order(&self, pairs: &[SpotPair], geometry: &Geometry) -> Result<HigherOrder, HigherOrderError> {
        let mut sums = HigherOrderSums::new(*self, geometry)?;
        sums.add_all(pairs)?;
        sums.fit()
    }
}

impl HigherOrder {
    /// A coefficient, normalised to unit RMS over the disc.
    ///
    /// # Accuracy
    /// Within 6e-5 um, two units, of exact least squares.
    #[must_use]
    pub fn coefficient(&self, term: Zernike) -> Micrometre {
        // 2^-54 mm to 2^-14 um, times radius over throw, at most 16, and 1000 over the norm, below 2^9.
        let ratio = math::ratio(self.disc.radius().to_bits().into(), self.geometry.throw().to_bits().into(), 40);
        let amplitude = self.amplitudes.get(term.place()).copied().unwrap_or(0);
        let millimetres = super::moments::product(amplitude, ratio << 14); // 2^-46
        let value = super::moments::product(millimetres, term.micrometres()); // 2^-36
        Micrometre::from_bits(math::saturate(math::shift_round(value, 22)))
    }

    /// RMS over the disc of all terms of the third and fourth order: what is no power and no prism.
    ///
    /// # Accuracy
    /// Within a unit of 2^-14 um of the coefficients' root of squares.
    #[must_use]
    pub fn rms(&self) -> Micrometre {
        let square = |term: &Zernike| u64::from(self.coefficient(*term).to_bits().unsigned_abs()).pow(2);
        let squares = Zernike::ALL.iter().filter(|term| term.order() > 2).map(square);
        let sum = squares.fold(0, u64::saturating_add);
        Micrometre::from_bits(i32::try_from(math::sqrt(sum)).unwrap_or(i32::MAX))
    }

    /// Standard deviation of what the wavefront leaves of a displacement component, with `2n - 14` degrees of freedom.
    ///
    /// # Accuracy
    /// Within 0.4 nm of exact least squares.
    #[must_use]
    pub fn unexplained(&self) -> Micrometre {
        // 2^-24 mm to 2^-14 um: 1000 / 2^10.
        let scaled = i64::from(self.deviation).wrapping_mul(1000);
        Micrometre::from_bits(math::saturate(math::shift_round(scaled, 10)))
    }

    /// Power at the centre of the disc: what the lens has there for a vanishing pupil.
    ///
    /// Of a lens centred on the sensor that is its back vertex power. The plane fit averages over the disc instead, and finds
    /// spherical aberration as power. Over 7 mm (gap 5 mm, throw 20 mm), mean power less that of the thick-lens formula:
    ///
    /// | lens | [`Fit`](super::Fit) | here |
    /// |---|---|---|
    /// | +10.00 | +0.008 D | -0.0001 D |
    /// | -10.00 | -0.024 D | -0.0000 D |
    /// | +15.00 | +0.029 D | -0.0001 D |
    /// | -15.00 | -0.074 D | +0.0005 D |
    /// | +20.00 | +0.074 D | -0.0002 D |
    /// | -20.00 | -0.164 D | +0.0016 D |
    /// | +25.00 | +0.160 D | -0.0006 D |
    /// | -25.00 | -0.303 D | +0.0047 D |
    ///
    /// What is left is of the sixth order. Of -18.00 -4.00 the largest element is 0.18 D off there, and 0.003 D here.
    ///
    /// # Accuracy
    /// Within 1e-5 D of exact least squares.
    #[must_use]
    pub fn power(&self) -> PowerMatrix {
        self.power_here((0, 0))
    }

    /// Power at a point of the disc, for a vanishing pupil; `None` outside.
    ///
    /// # Accuracy
    /// Within 2.4e-5 D of exact least squares.
    #[must_use]
    pub fn power_at(&self, point: Point) -> Option<PowerMatrix> {
        Some(self.power_here(self.places().of(point)?))
    }

    /// Prism at a point of the disc; `None` outside.
    ///
    /// # Accuracy
    /// Within 1.5e-6 prism dioptres of exact least squares.
    #[must_use]
    pub fn prism_at(&self, point: Point) -> Option<Prism> {
        let place = self.places().of(point)?;
        let slopes = self.evaluate(place, |[c, i, j]| {
            [[c.wrapping_mul(i), i.wrapping_sub(1), j], [c.wrapping_mul(j), i, j.wrapping_sub(1)]]
        });
        let throw = i64::from(self.geometry.throw().to_bits());
        let [x, y] = slopes.map(|sum| {
            // 2^-44 mm over 2^-16 mm to 2^-20, times 100: 25 / 2^6. Ten more bits keep the factor from the rounding.
            let value = math::ratio(sum.wrapping_neg(), throw << 6, 10).saturating_mul(25);
            PrismDioptre::from_bits(math::saturate(math::shift_round(value, 10)))
        });
        Some(Prism { x, y })
    }

    /// The disc.
    #[must_use]
    pub const fn disc(&self) -> Disc {
        self.disc
    }

    /// Spots in it.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    fn places(&self) -> Places {
        Places::of_disc(self.disc)
    }

    fn power_here(&self, place: (i64, i64)) -> PowerMatrix {
        let second = |[c, i, j]: [i32; 3]| {
            let less = |n: i32| n.wrapping_sub(1);
            [
                [c.wrapping_mul(i.wrapping_mul(less(i))), i.wrapping_sub(2), j],
                [c.wrapping_mul(i.wrapping_mul(j)), less(i), less(j)],
                [c.wrapping_mul(j.wrapping_mul(less(j))), i, j.wrapping_sub(2)],
            ]
        };
        let (radius, throw) = (self.disc.radius().to_bits(), self.geometry.throw().to_bits());
        let divisor = i64::from(radius).wrapping_mul(throw.into());
        let [xx, xy, yy] = self.evaluate(place, second).map(|sum| {
            // 2^-44 mm over 2^-32 mm^2 to 2^-20 D: 1000 * 2^8. Sixteen more bits keep the factor from the rounding.
            let value = math::ratio(sum, divisor, 24).saturating_mul(1000);
            Dioptre::from_bits(math::saturate(math::shift_round(value, 16)))
        });
        PowerMatrix { xx, xy, yy }
    }

    /// Sums over the terms of what `derived` makes of each monomial `[factor, power of x, power of y]`; 2^-44 mm.
    #[inline(never)]
    fn evaluate<const N: usize>(&self, place: (i64, i64), derived: impl Fn([i32; 3]) -> [[i32; 3]; N]) -> [i64; N] {
        let monomials = sums::monomials(place);
        let mut sums = [0i64; N];
        for (term, amplitude) in Zernike::ALL.iter().zip(&self.amplitudes) {
            let amplitude = math::shift_round(*amplitude, solve::AMPLITUDE_BITS - SHORT_BITS);
            for monomial in term.polynomial() {
                for (sum, [factor, i, j]) in sums.iter_mut().zip(derived(*monomial)) {
                    let at = terms::index(i, j).and_then(|index| monomials.get(index)).copied().unwrap_or(0);
                    *sum = sum.wrapping_add(super::moments::product(amplitude.wrapping_mul(factor.into()), at));
                }
            }
        }
        sums
    }
}

const _: () = assert!(MONOMIALS == 28, "powers to the sixth");

impl From<Error> for HigherOrderError {
    fn from(error: Error) -> Self {
        match error {
            Error::TooManySpots => Self::TooManySpots,
            _ => Self::SlopeRange,
        }
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for HigherOrder {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "{} at the centre, higher orders {} um RMS, unexplained {} um of {} spots",
            crate::vector::PowerVector::from(self.power()),
            self.rms(),
            self.unexplained(),
            self.count
        );
    }
}
