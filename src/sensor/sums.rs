//! Integer sums over spots: constant memory, any order, mergeable.

use super::Error;
use crate::quantity::{Millimetre, Point};

/// One spot: where it lands without lens, and where with it, millimetres at the detector.
///
/// # Range
/// Each coordinate within [`SpotPair::MOST`].
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
    /// Largest magnitude of a coordinate: short of 32 mm by one unit.
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
        let (x, y) = (pair.reference.x.to_bits(), pair.reference.y.to_bits());
        let (p, q) = (pair.spot.x.to_bits(), pair.spot.y.to_bits());
        if !within([x, y, p, q]) {
            return Err(Error::CoordinateRange);
        }
        if self.count >= Self::MOST_SPOTS {
            return Err(Error::TooManySpots);
        }
        self.count = self.count.wrapping_add(1);
        let (u, v) = (p.wrapping_sub(x), q.wrapping_sub(y));
        let accumulate = |sum: &mut i64, part: i64| *sum = sum.wrapping_add(part);
        accumulate(&mut self.x, i64::from(x));
        accumulate(&mut self.y, i64::from(y));
        accumulate(&mut self.u, i64::from(u));
        accumulate(&mut self.v, i64::from(v));
        accumulate(&mut self.xx, product(x, x));
        accumulate(&mut self.xy, product(x, y));
        accumulate(&mut self.yy, product(y, y));
        accumulate(&mut self.xu, product(x, u));
        accumulate(&mut self.xv, product(x, v));
        accumulate(&mut self.yu, product(y, u));
        accumulate(&mut self.yv, product(y, v));
        accumulate(&mut self.ww, product(u, u).wrapping_add(product(v, v)));
        Ok(())
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

#[inline]
fn product(a: i32, b: i32) -> i64 {
    i64::from(a).wrapping_mul(i64::from(b))
}

/// All coordinates within [`SpotPair::MOST`]: one comparison for the four.
#[inline]
fn within(coordinates: [i32; 4]) -> bool {
    let raised = coordinates.map(|c| c.wrapping_add(MOST_BITS).cast_unsigned());
    raised.into_iter().all(|c| c <= MOST_BITS.cast_unsigned() << 1)
}
