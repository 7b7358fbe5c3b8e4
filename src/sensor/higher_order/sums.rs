//! The moments that a wavefront to the fourth order is fitted to.

use super::solve::{Equations, solved};
use super::terms::{MONOMIALS, SLOPES};
use super::{HigherOrder, HigherOrderError};
use crate::math;
use crate::quantity::{Millimetre, Point};
use crate::sensor::disc::{EXIT_SHIFT, GapOverThrow};
use crate::sensor::moments::product;
use crate::sensor::{Disc, Geometry, SpotPair};

/// Sums over the spots of a disc: constant memory, any order, mergeable.
///
/// # Range
/// Up to [`HigherOrderSums::MOST_SPOTS`] spots, in a disc of [`HigherOrderSums::LEAST_RADIUS`] or more. Places are fractions of
/// the radius, whose powers are kept to 2^-46; displacements below 64 mm, kept to 2^-40 mm.
///
/// # Cost
/// Some 450 bytes; for a spot 45 products of 64 bits.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HigherOrderSums {
    disc: Disc,
    geometry: Geometry,
    count: u32,
    /// Of the monomials of the place, 2^-46, by degree and then by the power of y.
    moments: [i64; MONOMIALS],
    /// Of the displacement to the side with the monomials to the third power, 2^-40 mm.
    across: [i64; SLOPES],
    /// Of the displacement upwards.
    up: [i64; SLOPES],
    /// Of the displacements' squares, 2^-32 mm^2.
    squares: i64,
}

/// Fraction bits of a monomial, and of a moment.
const WHOLE: u32 = 62;
pub(super) const MOMENT_BITS: u32 = 46;
/// Fraction bits of a sum with a displacement, mm.
pub(super) const CROSS_BITS: u32 = 40;

/// Places in a disc as fractions of its radius.
#[derive(Clone, Copy)]
pub(super) struct Places {
    disc: Disc,
    /// `2^62` over the radius in 2^-24 mm.
    inverse: i64,
}

impl Places {
    pub(super) fn of_disc(disc: Disc) -> Self {
        // The type has no negative radius.
        let radius = u64::from(disc.radius().to_bits().unsigned_abs()) << EXIT_SHIFT;
        let inverse = (1u64 << WHOLE).checked_div(radius).unwrap_or(0);
        Self { disc, inverse: inverse.cast_signed() }
    }

    /// Where the light of a spot leaves the lens, Q62; `None` outside the disc.
    fn of_pair(self, pair: &SpotPair, back: GapOverThrow) -> Option<(i64, i64)> {
        let within = self.disc.contains(back.exit(pair));
        within.then(|| self.of_offset(back.exit_from(self.disc.centre(), pair)))
    }

    /// Q62; `None` outside the disc.
    pub(super) fn of(self, point: Point) -> Option<(i64, i64)> {
        let offset = point - self.disc.centre();
        let part = |offset: Millimetre| i64::from(offset.to_bits()) << EXIT_SHIFT;
        self.disc.contains(point).then(|| self.of_offset((part(offset.x), part(offset.y))))
    }

    /// Within the disc an offset exceeds the radius by half a unit of 2^-16 mm at most: the place is below 2^62 (1 + 2^-14).
    fn of_offset(self, (x, y): (i64, i64)) -> (i64, i64) {
        (x.wrapping_mul(self.inverse), y.wrapping_mul(self.inverse))
    }
}

/// The monomials of a place, Q62: by degree and then by the power of y.
pub(super) fn monomials((x, y): (i64, i64)) -> [i64; MONOMIALS] {
    let one = [1i64 << WHOLE];
    let first = [x, y];
    let second: [i64; 3] = raised(&first, x, y);
    let third: [i64; 4] = raised(&second, x, y);
    let fourth: [i64; 5] = raised(&third, x, y);
    let fifth: [i64; 6] = raised(&fourth, x, y);
    let sixth: [i64; 7] = raised(&fifth, x, y);
    let mut all = [0; MONOMIALS];
    let parts = [&one[..], &first, &second, &third, &fourth, &fifth, &sixth];
    for (monomial, value) in all.iter_mut().zip(parts.into_iter().flatten()) {
        *monomial = *value;
    }
    all
}

/// The monomials of the next degree: all times x, and the last times y.
fn raised<const N: usize, const M: usize>(lower: &[i64; N], x: i64, y: i64) -> [i64; M] {
    let mut higher = [0; M];
    for (higher, lower) in higher.iter_mut().zip(lower) {
        *higher = product(*lower, x);
    }
    if let (Some(higher), Some(lower)) = (higher.last_mut(), lower.last()) {
        *higher = product(*lower, y);
    }
    higher
}

impl HigherOrderSums {
    /// Least radius of the disc.
    pub const LEAST_RADIUS: Millimetre = millimetres!(0.25);
    /// Fewest spots: two displacements each, for fourteen unknowns and a residual.
    pub const FEWEST_SPOTS: u32 = 8;
    /// Most spots.
    pub const MOST_SPOTS: u32 = 1 << 16;

    /// Sums over no spot of a disc yet.
    ///
    /// # Errors
    /// [`HigherOrderError::RadiusRange`].
    pub fn new(disc: Disc, geometry: &Geometry) -> Result<Self, HigherOrderError> {
        if disc.radius() < Self::LEAST_RADIUS {
            return Err(HigherOrderError::RadiusRange);
        }
        Ok(Self {
            disc,
            geometry: *geometry,
            count: 0,
            moments: [0; MONOMIALS],
            across: [0; SLOPES],
            up: [0; SLOPES],
            squares: 0,
        })
    }

    /// Adds a spot if its light leaves the lens within the disc; tells whether it does.
    ///
    /// # Errors
    /// [`HigherOrderError::TooManySpots`]; the spot is then left out.
    pub fn add(&mut self, pair: SpotPair) -> Result<bool, HigherOrderError> {
        self.add_at(pair, self.geometry.gap_over_throw(), Places::of_disc(self.disc))
    }

    /// Adds those of many spots whose light leaves the lens within the disc.
    ///
    /// # Errors
    /// [`HigherOrderError::TooManySpots`]; the spots from there on are then left out.
    pub fn add_all(&mut self, pairs: &[SpotPair]) -> Result<(), HigherOrderError> {
        let (back, places) = (self.geometry.gap_over_throw(), Places::of_disc(self.disc));
        for pair in pairs {
            self.add_at(*pair, back, places)?;
        }
        Ok(())
    }

    fn add_at(&mut self, pair: SpotPair, back: GapOverThrow, places: Places) -> Result<bool, HigherOrderError> {
        let Some(place) = places.of_pair(&pair, back) else { return Ok(false) };
        if self.count >= Self::MOST_SPOTS {
            return Err(HigherOrderError::TooManySpots);
        }
        self.count = self.count.wrapping_add(1);
        let monomials = monomials(place);
        for (sum, monomial) in self.moments.iter_mut().zip(&monomials) {
            // 2^16 spots of at most 2^46.
            *sum = sum.wrapping_add(math::shift_round(*monomial, WHOLE - MOMENT_BITS));
        }
        let moved = pair.displacement();
        for (sums, moved) in [(&mut self.across, moved.x), (&mut self.up, moved.y)] {
            // Below 2^22 units of 2^-16 mm.
            let moved = i64::from(moved.to_bits());
            for (sum, monomial) in sums.iter_mut().zip(&monomials) {
                *sum = sum.wrapping_add(product(moved << (CROSS_BITS - Millimetre::FRACTION_BITS), *monomial));
            }
            self.squares = self.squares.wrapping_add(moved.wrapping_mul(moved));
        }
        Ok(true)
    }

    /// Adds the spots of other sums.
    ///
    /// # Errors
    /// [`HigherOrderError::OtherDisc`], [`HigherOrderError::TooManySpots`]: nothing is then added.
    pub fn merge(&mut self, other: &Self) -> Result<(), HigherOrderError> {
        if (self.disc, self.geometry) != (other.disc, other.geometry) {
            return Err(HigherOrderError::OtherDisc);
        }
        if other.count > Self::MOST_SPOTS.saturating_sub(self.count) {
            return Err(HigherOrderError::TooManySpots);
        }
        self.count = self.count.wrapping_add(other.count);
        self.squares = self.squares.wrapping_add(other.squares);
        let ours = self.moments.iter_mut().chain(&mut self.across).chain(&mut self.up);
        for (sum, part) in ours.zip(other.moments.iter().chain(&other.across).chain(&other.up)) {
            *sum = sum.wrapping_add(*part);
        }
        Ok(())
    }

    /// Spots in the sums.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// Fits the wavefront.
    ///
    /// # Cost
    /// 3.6 KB of stack on M0.
    ///
    /// # Errors
    /// [`HigherOrderError::TooFewSpots`], [`HigherOrderError::Singular`], [`HigherOrderError::SlopeRange`].
    pub fn fit(&self) -> Result<HigherOrder, HigherOrderError> {
        if self.count < Self::FEWEST_SPOTS {
            return Err(HigherOrderError::TooFewSpots);
        }
        let equations = Equations {
            count: self.count,
            moments: &self.moments,
            across: &self.across,
            up: &self.up,
            squares: self.squares,
        };
        let (amplitudes, deviation) = solved(&equations)?;
        Ok(HigherOrder { disc: self.disc, geometry: self.geometry, count: self.count, deviation, amplitudes })
    }
}
