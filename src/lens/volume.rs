//! How much material is in a lens in a shape, and what it weighs.

use super::{EdgedLens, OutlineError};
use crate::math;
use crate::quantity::{CubicMillimetre, Density, Milligram, Millimetre, Point};

const ONE_Q30: i64 = 1 << 30;
/// Points from the centre to a chord: Gauss's four for the weight `u` on 0 to 1, exact to the seventh degree. Q30.
const RADIAL: [i64; 4] = [150_066_012, 447_116_369, 776_483_902, 1_012_426_660];
/// Their weights, one in all. Q30.
const WEIGHTS: [i64; 4] = [66_960_625, 278_845_485, 436_936_833, 290_998_881];
/// Points along a chord: Gauss's two, of the same weight, exact to the third degree. Q30.
const ALONG: [i64; 2] = [226_908_346, 846_833_478];
/// Longer chords are divided, 8 mm: 2 to that many units of length.
const LONGEST_BITS: u32 = Millimetre::FRACTION_BITS + 3;
/// Fraction bits of a product of a thickness in 2^-26 mm and twice an area in 2^-32 mm2, halved.
const PRODUCT_BITS: u32 = 26 + 32 + 1;

impl EdgedLens {
    /// Volume within an outline.
    ///
    /// The sum over the triangles from the boxed centre to each chord, those turned clockwise counted less, so that the sense of the
    /// outline is of no matter. Of an outline that is not in sight of the boxed centre everywhere, the lens must reach beyond
    /// the shape, too. A chord is straight: a curved outline has more by the part of `(s / r)^2 / 6` for points `s` apart on a
    /// radius `r`.
    ///
    /// # Units
    /// Cubic millimetres.
    ///
    /// # Range
    /// Outlines within 40 mm of the axis.
    ///
    /// # Accuracy
    /// Of the volume of the straight-sided outline: within 3e-5 of it where the outline lies within 0.7 of the surfaces' radii, and 5e-4
    /// within 0.9, of lenses nowhere thinner than 0.5 mm. A triangle takes eight points, exact where thickness goes with up to
    /// the seventh power of the distance from the centre and the third along the chord, which are at most 8 mm.
    ///
    /// # Errors
    /// [`OutlineError::Empty`]; [`OutlineError::At`] with the point of the outline, or a place before the chord that leads to it, where
    /// there is no lens.
    ///
    /// # Source
    /// Gauss's quadrature of triangles as products (textbook).
    pub fn volume(&self, outline: impl IntoIterator<Item = Point>) -> Result<CubicMillimetre, OutlineError> {
        let mut points = outline.into_iter();
        let first = points.next().ok_or(OutlineError::Empty)?;
        self.reaches(0, first)?;
        let (mut before, mut index, mut sum) = (first, 0u32, 0i128);
        for point in points {
            index = index.saturating_add(1);
            self.reaches(index, point)?;
            sum = sum.wrapping_add(self.chord(index, before, point)?);
            before = point;
        }
        sum = sum.wrapping_add(self.chord(0, before, first)?);
        // At most 2^45 * 2^33 a triangle.
        let half = 1u128 << (PRODUCT_BITS - CubicMillimetre::FRACTION_BITS - 1);
        let rounded = sum.unsigned_abs().wrapping_add(half) >> (PRODUCT_BITS - CubicMillimetre::FRACTION_BITS);
        if rounded == 0 {
            return Err(OutlineError::Empty);
        }
        Ok(CubicMillimetre::from_bits(math::saturate(i64::try_from(rounded).unwrap_or(i64::MAX))))
    }

    /// Weight within an outline: volume by density.
    ///
    /// # Units
    /// Milligrams.
    ///
    /// # Range
    /// Densities from 0.5 to 8 g/cm3.
    ///
    /// # Accuracy
    /// That of [`Self::volume`], and 0.002 mg for what is rounded; saturates at 524 g.
    ///
    /// # Errors
    /// [`OutlineError::DensityRange`]; those of [`Self::volume`].
    ///
    /// ```
    /// use dioptric::{density, dioptres, lens::{EdgedLens, Surface, ThickLens}, millimetres, prism::Prism, quantity::Point};
    /// let index = "1.5".parse()?;
    /// let flat = Surface::sphere(dioptres!(0.0), index).unwrap().power();
    /// let lens = ThickLens::new(flat, flat, index, millimetres!(2.0)).unwrap();
    /// let edged = EdgedLens::new(lens, Point::ORIGIN, Prism::ZERO).unwrap();
    /// let outline = [(25.0, 15.0), (-25.0, 15.0), (-25.0, -15.0), (25.0, -15.0)];
    /// let outline = outline.map(|(x, y)| Point::new(format!("{x}").parse().unwrap(), format!("{y}").parse().unwrap()));
    /// assert_eq!(edged.weight(outline, density!(1.32)).unwrap().to_string(), "3960.0"); // 50 * 30 * 2 mm3
    /// # Ok::<(), dioptric::text::ParseError>(())
    /// ```
    pub fn weight(
        &self,
        outline: impl IntoIterator<Item = Point>,
        density: Density,
    ) -> Result<Milligram, OutlineError> {
        if !(density!(0.5)..=density!(8.0)).contains(&density) {
            return Err(OutlineError::DensityRange);
        }
        const DOWN: u32 = CubicMillimetre::FRACTION_BITS + Density::FRACTION_BITS - Milligram::FRACTION_BITS;
        let volume = self.volume(outline)?;
        if volume.is_saturated() {
            return Ok(Milligram::MAX);
        }
        let product = i64::from(volume.to_bits()).wrapping_mul(density.to_bits().into());
        Ok(Milligram::from_bits(math::saturate(math::shift_round(product, DOWN))))
    }

    fn reaches(&self, index: u32, point: Point) -> Result<(), OutlineError> {
        self.thickness_at(point).map(|_| ()).map_err(|reason| OutlineError::At { index, point, reason })
    }

    /// Twice the volume over the triangle from the boxed centre to a chord, whose end has that index.
    fn chord(&self, index: u32, from: Point, to: Point) -> Result<i128, OutlineError> {
        let parts = i64::from((to - from).distance().to_bits() >> LONGEST_BITS).wrapping_add(1);
        let mut before = from;
        let mut sum = 0i128;
        for part in 1..=parts {
            let next = if part < parts { between(from, to, math::ratio(part, parts, 30)) } else { to };
            sum = sum.wrapping_add(self.triangle(index, before, next)?);
            before = next;
        }
        Ok(sum)
    }

    /// Twice the volume over a triangle from the boxed centre.
    fn triangle(&self, index: u32, from: Point, to: Point) -> Result<i128, OutlineError> {
        let mut mean = 0i64;
        for (radial, weight) in RADIAL.into_iter().zip(WEIGHTS) {
            for along in ALONG {
                let point = between(Point::ORIGIN, between(from, to, along), radial);
                let thickness = self.thickness_at(point).map_err(|reason| OutlineError::At { index, point, reason })?;
                // Weights and two points along: below 2^24 * 2^31.
                mean = mean.wrapping_add(weight.wrapping_mul(thickness.to_bits().into()));
            }
        }
        // Halved for the two, and from 2^-46 to 2^-26 mm.
        let mean = math::shift_round(mean, 30 + 1 - 10);
        Ok(i128::from(cross(from, to)).wrapping_mul(mean.into()))
    }
}

/// The point a part of the way, Q30, from one to another.
fn between(from: Point, to: Point, part: i64) -> Point {
    let coordinate = |from: Millimetre, to: Millimetre| {
        let (from, to) = (i64::from(from.to_bits()), i64::from(to.to_bits()));
        // Below 2^32 times at most 2^30.
        let sum = from.wrapping_mul(ONE_Q30.wrapping_sub(part)).wrapping_add(to.wrapping_mul(part));
        Millimetre::from_bits(math::saturate(math::shift_round(sum, 30)))
    };
    Point::new(coordinate(from.x, to.x), coordinate(from.y, to.y))
}

/// Twice the area of the triangle from the boxed centre, plus counter-clockwise, a count of 2^-32 mm2.
///
/// Range: points at which there is a lens are within 80 mm of one another, and so are those on the way to the centre: the corners
/// lie within 2^23 units of it, and products below 2^46.
fn cross(from: Point, to: Point) -> i64 {
    let product = |a: Millimetre, b: Millimetre| i64::from(a.to_bits()).wrapping_mul(b.to_bits().into());
    product(from.x, to.y).wrapping_sub(product(from.y, to.x))
}
