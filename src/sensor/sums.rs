//! Integer sums over spots: constant memory, any order, mergeable.

use super::Error;
use crate::quantity::{Millimetre, Point};

/// One spot: where it lands without lens, and where with it, millimetres at the detector.
///
/// # Range
/// Each coordinate at least -32 mm and at most [`SpotPair::MOST`].
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpotPair {
    /// Without lens: the place of the hole in the plate.
    pub reference: Point,
    /// With the lens.
    pub spot: Point,
}

impl SpotPair {
    /// Largest coordinate: short of 32 mm by one unit.
    pub const MOST: Millimetre = Millimetre::from_bits(MOST_BITS);
}

/// `2^21 - 1`.
const MOST_BITS: i32 = (32 << Millimetre::FRACTION_BITS) - 1;

/// One spot in 8 bytes, for controllers that multiply 16 bits fast: units of 2^-12 mm (0.24 um), within 8 mm.
///
/// The rounding to this unit is below 0.07 um RMS a spot; over 100 spots of a 6 mm aperture at a throw of 20 mm that is
/// 2e-4 D.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CompactPair {
    /// Reference position, to the observer's right.
    pub x: i16,
    /// Reference position, up.
    pub y: i16,
    /// What the lens moves the spot by, to the observer's right.
    pub dx: i16,
    /// What the lens moves the spot by, up.
    pub dy: i16,
}

/// `CompactPair`'s unit in `Millimetre`'s: a factor of `2^4`.
const COMPACT_SHIFT: u32 = 4;

/// Sums of positions, displacements and their products over any number of spots.
///
/// Sums of integers: the bits do not depend on the order of the spots or on how they were grouped before merging.
///
/// # Range
/// Up to [`SlopeSums::MOST_SPOTS`] spots. With coordinates below 2^21 units and displacements below 2^22, a product is below
/// 2^44 and a sum below 2^61.
///
/// # Cost
/// 104 bytes. Instructions a spot: see the crate's cost table.
///
/// ```
/// use dioptric::{millimetres, quantity::Point, sensor::{Geometry, SlopeSums, SpotPair}};
/// // A +5.00 D sphere at the plate, throw 20 mm: spots move by -x / 10.
/// let mut sums = SlopeSums::default();
/// for (x, y, u, v) in [(2.0, 0.0, 1.8, 0.0), (-2.0, 0.0, -1.8, 0.0), (0.0, 2.0, 0.0, 1.8)] {
///     let point = |x, y| Point::new(
///         dioptric::quantity::Millimetre::try_from_f64(x).unwrap(),
///         dioptric::quantity::Millimetre::try_from_f64(y).unwrap(),
///     );
///     sums.add(SpotPair { reference: point(x, y), spot: point(u, v) })?;
/// }
/// let fit = sums.fit(&Geometry::new(millimetres!(0.0), millimetres!(20.0))?)?;
/// assert_eq!(fit.sphero_cylinder().unwrap().sphere().to_string(), "+5.00");
/// # Ok::<(), dioptric::sensor::Error>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SlopeSums {
    pub(super) count: u32,
    pub(super) x: i64,
    pub(super) y: i64,
    pub(super) u: i64,
    pub(super) v: i64,
    pub(super) xx: i64,
    pub(super) xy: i64,
    pub(super) yy: i64,
    pub(super) xu: i64,
    pub(super) xv: i64,
    pub(super) yu: i64,
    pub(super) yv: i64,
    pub(super) ww: i64,
}

impl SlopeSums {
    /// Most spots that the sums hold.
    pub const MOST_SPOTS: u32 = 1 << 16;

    /// Adds a spot.
    ///
    /// # Errors
    /// [`Error::CoordinateRange`], [`Error::TooManySpots`]; the spot is then left out.
    #[inline]
    pub fn add(&mut self, pair: SpotPair) -> Result<(), Error> {
        self.add_all(core::slice::from_ref(&pair))
    }

    /// Adds spots: the fast way for many.
    ///
    /// # Errors
    /// [`Error::CoordinateRange`], [`Error::TooManySpots`]; none of the spots is then added.
    pub fn add_all(&mut self, pairs: &[SpotPair]) -> Result<(), Error> {
        let count = u32::try_from(pairs.len()).map_err(|_| Error::TooManySpots)?;
        if count > Self::MOST_SPOTS.saturating_sub(self.count) {
            return Err(Error::TooManySpots);
        }
        let mut sums = Self { count, ..Self::default() };
        let mut outside = 0;
        for chunk in pairs.chunks(CHUNK) {
            outside |= sums.accumulate_references(chunk);
            let (u, xu, yu, uu, outside_u) = displacement_sums(chunk, |pair| (pair.reference.x, pair.spot.x));
            let (v, xv, yv, vv, outside_v) = displacement_sums(chunk, |pair| (pair.reference.y, pair.spot.y));
            outside |= outside_u | outside_v;
            let accumulate = |sum: &mut i64, part: i64| *sum = sum.wrapping_add(part);
            accumulate(&mut sums.u, i64::from(u));
            accumulate(&mut sums.v, i64::from(v));
            accumulate(&mut sums.xu, xu);
            accumulate(&mut sums.yu, yu);
            accumulate(&mut sums.xv, xv);
            accumulate(&mut sums.yv, yv);
            accumulate(&mut sums.ww, uu.wrapping_add(vv));
        }
        if outside > RANGE_MASK {
            return Err(Error::CoordinateRange);
        }
        self.add_parts(&sums);
        Ok(())
    }

    /// One pass over a chunk for the sums of the references alone; three passes with few sums each stay in registers.
    fn accumulate_references(&mut self, chunk: &[SpotPair]) -> u32 {
        let (mut sum_x, mut sum_y, mut outside) = (0i32, 0i32, 0u32);
        let (mut xx, mut xy, mut yy) = (0i64, 0i64, 0i64);
        for pair in chunk {
            let (x, y) = (pair.reference.x.to_bits(), pair.reference.y.to_bits());
            outside |= raised(x) | raised(y);
            sum_x = sum_x.wrapping_add(x);
            sum_y = sum_y.wrapping_add(y);
            xx = xx.wrapping_add(product(x, x));
            xy = xy.wrapping_add(product(x, y));
            yy = yy.wrapping_add(product(y, y));
        }
        let accumulate = |sum: &mut i64, part: i64| *sum = sum.wrapping_add(part);
        accumulate(&mut self.x, i64::from(sum_x));
        accumulate(&mut self.y, i64::from(sum_y));
        accumulate(&mut self.xx, xx);
        accumulate(&mut self.xy, xy);
        accumulate(&mut self.yy, yy);
        outside
    }

    /// Adds spots in the compact form.
    ///
    /// # Errors
    /// [`Error::TooManySpots`]: none of them is then added.
    pub fn add_compact(&mut self, pairs: &[CompactPair]) -> Result<(), Error> {
        let count = u32::try_from(pairs.len()).map_err(|_| Error::TooManySpots)?;
        if count > Self::MOST_SPOTS.saturating_sub(self.count) {
            return Err(Error::TooManySpots);
        }
        let mut sums = Self { count, ..Self::default() };
        for pair in pairs {
            sums.accumulate_compact(*pair);
        }
        sums.scale_from_compact();
        self.add_parts(&sums);
        Ok(())
    }

    /// Products of 16 bits fit 32: one instruction each, even where nothing multiplies wider.
    #[inline]
    fn accumulate_compact(&mut self, pair: CompactPair) {
        let [x, y, u, v] = [pair.x, pair.y, pair.dx, pair.dy].map(i32::from);
        let accumulate = |sum: &mut i64, part: i32| *sum = sum.wrapping_add(i64::from(part));
        accumulate(&mut self.x, x);
        accumulate(&mut self.y, y);
        accumulate(&mut self.u, u);
        accumulate(&mut self.v, v);
        accumulate(&mut self.xx, x.wrapping_mul(x));
        accumulate(&mut self.xy, x.wrapping_mul(y));
        accumulate(&mut self.yy, y.wrapping_mul(y));
        accumulate(&mut self.xu, x.wrapping_mul(u));
        accumulate(&mut self.xv, x.wrapping_mul(v));
        accumulate(&mut self.yu, y.wrapping_mul(u));
        accumulate(&mut self.yv, y.wrapping_mul(v));
        // Two squares of at most 2^30: 2^31 needs the unsigned word.
        let square = u.wrapping_mul(u).wrapping_add(v.wrapping_mul(v)).cast_unsigned();
        self.ww = self.ww.wrapping_add(i64::from(square));
    }

    fn scale_from_compact(&mut self) {
        for sum in [&mut self.x, &mut self.y, &mut self.u, &mut self.v] {
            *sum <<= COMPACT_SHIFT;
        }
        let products = [
            &mut self.xx,
            &mut self.xy,
            &mut self.yy,
            &mut self.xu,
            &mut self.xv,
            &mut self.yu,
            &mut self.yv,
            &mut self.ww,
        ];
        for sum in products {
            *sum <<= 2 * COMPACT_SHIFT;
        }
    }

    /// Adds the spots of other sums.
    ///
    /// # Errors
    /// [`Error::TooManySpots`]: nothing is then added.
    pub fn merge(&mut self, other: &Self) -> Result<(), Error> {
        if other.count > Self::MOST_SPOTS.saturating_sub(self.count) {
            return Err(Error::TooManySpots);
        }
        self.add_parts(other);
        Ok(())
    }

    fn add_parts(&mut self, other: &Self) {
        self.count = self.count.wrapping_add(other.count);
        let pairs = [
            (&mut self.x, other.x),
            (&mut self.y, other.y),
            (&mut self.u, other.u),
            (&mut self.v, other.v),
            (&mut self.xx, other.xx),
            (&mut self.xy, other.xy),
            (&mut self.yy, other.yy),
            (&mut self.xu, other.xu),
            (&mut self.xv, other.xv),
            (&mut self.yu, other.yu),
            (&mut self.yv, other.yv),
            (&mut self.ww, other.ww),
        ];
        for (sum, part) in pairs {
            *sum = sum.wrapping_add(part);
        }
    }

    /// Spots in the sums.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }
}

/// Spots whose coordinates sum to 32 bits: `2^8 * 2^22` is below 2^31.
const CHUNK: usize = 256;

/// Sums over a chunk of one component of the displacement, of its products with both references, and of its square; and
/// the coordinates' range bits.
#[inline]
fn displacement_sums(
    chunk: &[SpotPair],
    component: impl Fn(&SpotPair) -> (Millimetre, Millimetre),
) -> (i32, i64, i64, i64, u32) {
    let (mut sum, mut outside) = (0i32, 0u32);
    let (mut with_x, mut with_y, mut square) = (0i64, 0i64, 0i64);
    for pair in chunk {
        let (reference, spot) = component(pair);
        outside |= raised(spot.to_bits());
        let moved = spot.to_bits().wrapping_sub(reference.to_bits());
        sum = sum.wrapping_add(moved);
        with_x = with_x.wrapping_add(product(pair.reference.x.to_bits(), moved));
        with_y = with_y.wrapping_add(product(pair.reference.y.to_bits(), moved));
        square = square.wrapping_add(product(moved, moved));
    }
    (sum, with_x, with_y, square, outside)
}

/// A coordinate raised to count from 0: beyond [`RANGE_MASK`] exactly when it is out of range.
#[inline]
const fn raised(coordinate: i32) -> u32 {
    coordinate.wrapping_add(MOST_BITS + 1).cast_unsigned()
}

/// Largest raised coordinate: `2^22 - 1`, all ones, so that a disjunction of raised coordinates exceeds it exactly when one
/// of them does.
const RANGE_MASK: u32 = (MOST_BITS.cast_unsigned() << 1) | 1;

/// `a b` of a coordinate and a coordinate or displacement.
#[cfg(not(dioptric_narrow_multiplier))]
#[inline]
const fn product(a: i32, b: i32) -> i64 {
    (a as i64).wrapping_mul(b as i64)
}

#[cfg(dioptric_narrow_multiplier)]
use product_narrow as product;

/// The product from four of 12-bit limbs, for cores that multiply 32 bits to 32 only: `a = 2^11 h + l`, `0 <= l < 2^11`.
///
/// Range: `|a|, |b| <= 2^22`: limbs within `2^11`, products within 2^22, the two middle ones' sum within 2^23.
#[cfg(any(dioptric_narrow_multiplier, test))]
#[inline]
const fn product_narrow(a: i32, b: i32) -> i64 {
    const LIMB: u32 = 11;
    const LOW: i32 = (1 << LIMB) - 1;
    let (ah, al, bh, bl) = (a >> LIMB, a & LOW, b >> LIMB, b & LOW);
    let middle = ah.wrapping_mul(bl).wrapping_add(al.wrapping_mul(bh));
    // Both parts of the low word are below 2^22.
    let low = al.wrapping_mul(bl).wrapping_add((middle & LOW) << LIMB);
    let high = ah.wrapping_mul(bh).wrapping_add(middle >> LIMB);
    ((high as i64) << (2 * LIMB)).wrapping_add(low as i64)
}

#[cfg(test)]
mod tests {
    use super::{product, product_narrow};

    #[test]
    fn narrow_and_wide_products_agree() {
        let edges = [0, 1, -1, 2047, 2048, -2047, -2048, -2049, (1 << 21) - 1, -(1 << 21), 1 << 22, -(1 << 22)];
        for a in edges {
            for b in edges {
                assert_eq!(product(a, b), product_narrow(a, b), "{a} {b}");
            }
        }
        for a in (-(1 << 22)..=1 << 22).step_by(977) {
            for b in (-(1 << 22)..=1 << 22).step_by(4093) {
                assert_eq!(product(a, b), product_narrow(a, b), "{a} {b}");
            }
        }
    }
}
