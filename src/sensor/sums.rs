//! Integer sums over spots: constant memory, any order, mergeable.

use super::Error;
use crate::quantity::{Millimetre, Point};

/// One spot: where it lands without lens, and where with it, millimetres at the detector.
///
/// # Range
/// Each coordinate at least -32 mm and at most [`SpotPair::MOST`]; a pair that exists is in range, so that summing it needs
/// no more tests.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(
    feature = "serde",
    derive(serde::Serialize, serde::Deserialize),
    serde(try_from = "[Point; 2]", into = "[Point; 2]")
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpotPair {
    reference: Point,
    spot: Point,
}

impl SpotPair {
    /// Largest coordinate: short of 32 mm by one unit.
    pub const MOST: Millimetre = Millimetre::from_bits(MOST_BITS);

    /// A pair from where the spot lands without lens, the place of its hole, and where with it.
    ///
    /// # Errors
    /// [`Error::CoordinateRange`].
    ///
    /// ```
    /// use dioptric::{millimetres, quantity::Point, sensor::{Error, SpotPair}};
    /// let hole = Point::new(millimetres!(1.0), millimetres!(-2.0));
    /// assert!(SpotPair::new(hole, hole).is_ok());
    /// let far = Point::new(millimetres!(40.0), millimetres!(0.0));
    /// assert_eq!(SpotPair::new(hole, far), Err(Error::CoordinateRange));
    /// ```
    #[inline]
    pub const fn new(reference: Point, spot: Point) -> Result<Self, Error> {
        let (x, y) = (raised(reference.x.to_bits()), raised(reference.y.to_bits()));
        let (p, q) = (raised(spot.x.to_bits()), raised(spot.y.to_bits()));
        if x | y | p | q > RANGE_MASK { Err(Error::CoordinateRange) } else { Ok(Self { reference, spot }) }
    }

    /// Without lens: the place of the hole in the plate.
    #[must_use]
    pub const fn reference(&self) -> Point {
        self.reference
    }

    /// With the lens.
    #[must_use]
    pub const fn spot(&self) -> Point {
        self.spot
    }

    /// What the lens moves the spot by.
    #[must_use]
    pub fn displacement(&self) -> Point {
        self.spot - self.reference
    }
}

impl TryFrom<[Point; 2]> for SpotPair {
    type Error = Error;
    fn try_from([reference, spot]: [Point; 2]) -> Result<Self, Error> {
        Self::new(reference, spot)
    }
}

impl From<SpotPair> for [Point; 2] {
    fn from(pair: SpotPair) -> Self {
        [pair.reference, pair.spot]
    }
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
///     sums.add(SpotPair::new(point(x, y), point(u, v))?)?;
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
    /// Of x, y of the references and u, v of the displacements.
    pub(super) linear: [i64; 4],
    /// Of xx, xy, yy; xu, xv, yu, yv; and uu + vv.
    pub(super) products: [i64; 8],
}

impl SlopeSums {
    /// Most spots that the sums hold.
    pub const MOST_SPOTS: u32 = 1 << 16;

    /// Adds a spot.
    ///
    /// # Errors
    /// [`Error::TooManySpots`]; the spot is then left out.
    #[inline]
    pub fn add(&mut self, pair: SpotPair) -> Result<(), Error> {
        let (x, y) = (pair.reference.x.to_bits(), pair.reference.y.to_bits());
        let (p, q) = (pair.spot.x.to_bits(), pair.spot.y.to_bits());
        if self.count >= Self::MOST_SPOTS {
            return Err(Error::TooManySpots);
        }
        let (u, v) = (p.wrapping_sub(x), q.wrapping_sub(y));
        self.add_parts(&Self {
            count: 1,
            linear: [i64::from(x), i64::from(y), i64::from(u), i64::from(v)],
            products: [
                product(x, x),
                product(x, y),
                product(y, y),
                product(x, u),
                product(x, v),
                product(y, u),
                product(y, v),
                product(u, u).wrapping_add(product(v, v)),
            ],
        });
        Ok(())
    }

    /// Adds spots: the fast way for many.
    ///
    /// # Errors
    /// [`Error::TooManySpots`]: none of them is then added.
    pub fn add_all(&mut self, pairs: &[SpotPair]) -> Result<(), Error> {
        let coordinates = |pair: &SpotPair| {
            let (x, y) = (pair.reference.x.to_bits(), pair.reference.y.to_bits());
            let (p, q) = (pair.spot.x.to_bits(), pair.spot.y.to_bits());
            [x, y, p.wrapping_sub(x), q.wrapping_sub(y)]
        };
        self.room_for(pairs.len())?;
        for chunk in pairs.chunks(CHUNK) {
            self.add_parts(&Self::of_slice::<_, ProductSum>(chunk, coordinates));
        }
        Ok(())
    }

    /// Whether so many spots may be added.
    fn room_for(&self, spots: usize) -> Result<(), Error> {
        let room = Self::MOST_SPOTS.saturating_sub(self.count);
        if u32::try_from(spots).is_ok_and(|count| count <= room) { Ok(()) } else { Err(Error::TooManySpots) }
    }

    /// Adds spots in the compact form.
    ///
    /// # Errors
    /// [`Error::TooManySpots`]: none of them is then added.
    pub fn add_compact(&mut self, pairs: &[CompactPair]) -> Result<(), Error> {
        let coordinates =
            |pair: &CompactPair| [i32::from(pair.x), i32::from(pair.y), i32::from(pair.dx), i32::from(pair.dy)];
        self.room_for(pairs.len())?;
        let mut sums = Self::of_slice::<_, ShortProductSum>(pairs, coordinates);
        sums.scale_from_compact();
        self.add_parts(&sums);
        Ok(())
    }

    /// Sums over a slice short enough for `Products`, in passes whose few sums stay in registers.
    #[inline]
    fn of_slice<Pair, Products: SumOfProducts>(pairs: &[Pair], coordinates: impl Fn(&Pair) -> [i32; 4] + Copy) -> Self {
        let references = ReferenceSums::<Products>::of(pairs, coordinates);
        let with_x = CrossSums::<Products>::of_x(pairs, coordinates);
        let with_y = CrossSums::<Products>::of_y(pairs, coordinates);
        Self {
            count: u32::try_from(pairs.len()).unwrap_or(u32::MAX),
            linear: [i64::from(references.x), i64::from(references.y), i64::from(with_x.u), i64::from(with_x.v)],
            products: [
                references.xx.total(),
                references.xy.total(),
                references.yy.total(),
                with_x.with_u.total(),
                with_x.with_v.total(),
                with_y.with_u.total(),
                with_y.with_v.total(),
                with_y.squares.total(),
            ],
        }
    }

    fn scale_from_compact(&mut self) {
        for sum in &mut self.linear {
            *sum <<= COMPACT_SHIFT;
        }
        for product in &mut self.products {
            *product <<= 2 * COMPACT_SHIFT;
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

    #[inline]
    fn add_parts(&mut self, other: &Self) {
        self.count = self.count.wrapping_add(other.count);
        for (sum, part) in self.linear.iter_mut().zip(&other.linear) {
            *sum = sum.wrapping_add(*part);
        }
        for (sum, part) in self.products.iter_mut().zip(&other.products) {
            *sum = sum.wrapping_add(*part);
        }
    }

    /// Spots in the sums.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }
}

/// Spots in a pass: coordinates below 2^22 then sum to less than 2^29, and limbs' products, below 2^23, to less than 2^30.
const CHUNK: usize = 128;

/// A sum of products of coordinates over at most [`CHUNK`] spots, or [`SlopeSums::MOST_SPOTS`] of 16 bits, whose
/// coordinates sum to less than 2^31.
trait SumOfProducts: Default {
    fn add(&mut self, a: i32, b: i32);
    fn add_squares(&mut self, a: i32, b: i32) {
        self.add(a, a);
        self.add(b, b);
    }
    fn total(&self) -> i64;
}

/// Sums over a chunk of the references alone.
#[derive(Default)]
struct ReferenceSums<Products> {
    x: i32,
    y: i32,
    xx: Products,
    xy: Products,
    yy: Products,
}

impl<Products: SumOfProducts> ReferenceSums<Products> {
    // Beside the other passes' sums these would no longer fit the registers, where there are registers for them at all.
    #[cfg_attr(not(dioptric_narrow_multiplier), inline(never))]
    fn of<Pair>(chunk: &[Pair], coordinates: impl Fn(&Pair) -> [i32; 4]) -> Self {
        let mut sums = Self::default();
        for pair in chunk {
            let [x, y, _, _] = coordinates(pair);
            sums.x = sums.x.wrapping_add(x);
            sums.y = sums.y.wrapping_add(y);
            sums.xx.add(x, x);
            sums.xy.add(x, y);
            sums.yy.add(y, y);
        }
        sums
    }
}

/// Sums over a chunk of one reference coordinate's products with both components of the displacement; the pass over x takes
/// the displacements along, that over y their squares.
#[derive(Default)]
struct CrossSums<Products> {
    u: i32,
    v: i32,
    with_u: Products,
    with_v: Products,
    squares: Products,
}

impl<Products: SumOfProducts> CrossSums<Products> {
    #[cfg_attr(not(dioptric_narrow_multiplier), inline(never))]
    fn of_x<Pair>(chunk: &[Pair], coordinates: impl Fn(&Pair) -> [i32; 4]) -> Self {
        let mut sums = Self::default();
        for pair in chunk {
            let [x, _, u, v] = coordinates(pair);
            sums.u = sums.u.wrapping_add(u);
            sums.v = sums.v.wrapping_add(v);
            sums.with_u.add(x, u);
            sums.with_v.add(x, v);
        }
        sums
    }

    #[cfg_attr(not(dioptric_narrow_multiplier), inline(never))]
    fn of_y<Pair>(chunk: &[Pair], coordinates: impl Fn(&Pair) -> [i32; 4]) -> Self {
        let mut sums = Self::default();
        for pair in chunk {
            let [_, y, u, v] = coordinates(pair);
            sums.with_u.add(y, u);
            sums.with_v.add(y, v);
            sums.squares.add_squares(u, v);
        }
        sums
    }
}

/// Products of 16 bits by 16, up to 2^16 of them: their sum is below 2^46, and each fits one word: one instruction, even where nothing multiplies wider.
#[derive(Default)]
struct ShortProductSum(i64);

impl SumOfProducts for ShortProductSum {
    #[inline]
    fn add(&mut self, a: i32, b: i32) {
        // A core that multiplies and adds 64 bits at once does so only when asked for a wide product.
        let narrow = cfg!(dioptric_narrow_multiplier);
        let product = if narrow { i64::from(a.wrapping_mul(b)) } else { product(a, b) };
        self.0 = self.0.wrapping_add(product);
    }

    #[inline]
    fn add_squares(&mut self, a: i32, b: i32) {
        // Two squares of at most 2^30: 2^31 needs the unsigned word.
        let squares = a.wrapping_mul(a).wrapping_add(b.wrapping_mul(b)).cast_unsigned();
        self.0 = self.0.wrapping_add(i64::from(squares));
    }

    #[inline]
    fn total(&self) -> i64 {
        self.0
    }
}

/// Products of whole coordinates.
#[cfg(any(not(dioptric_narrow_multiplier), test))]
#[derive(Default)]
struct WideProductSum(i64);

#[cfg(any(not(dioptric_narrow_multiplier), test))]
impl SumOfProducts for WideProductSum {
    #[inline]
    fn add(&mut self, a: i32, b: i32) {
        self.0 = self.0.wrapping_add(product(a, b));
    }

    #[inline]
    fn total(&self) -> i64 {
        self.0
    }
}

#[cfg(dioptric_narrow_multiplier)]
use LimbProductSum as ProductSum;
#[cfg(not(dioptric_narrow_multiplier))]
use WideProductSum as ProductSum;

/// The same sum from limbs, for cores that multiply 32 bits to 32 only: `a = 2^11 h + l`, `0 <= l < 2^11`.
///
/// Range: `|a|, |b| <= 2^22`: limbs within 2^11, products within 2^22, the two middle ones' sum within 2^23.
#[cfg(any(dioptric_narrow_multiplier, test))]
#[derive(Default)]
struct LimbProductSum {
    high: i32,
    middle: i32,
    low: i32,
}

#[cfg(any(dioptric_narrow_multiplier, test))]
const LIMB: u32 = 11;

#[cfg(any(dioptric_narrow_multiplier, test))]
impl SumOfProducts for LimbProductSum {
    #[inline]
    fn add(&mut self, a: i32, b: i32) {
        const LOW: i32 = (1 << LIMB) - 1;
        let (ah, al, bh, bl) = (a >> LIMB, a & LOW, b >> LIMB, b & LOW);
        self.high = self.high.wrapping_add(ah.wrapping_mul(bh));
        self.middle = self.middle.wrapping_add(ah.wrapping_mul(bl).wrapping_add(al.wrapping_mul(bh)));
        self.low = self.low.wrapping_add(al.wrapping_mul(bl));
    }

    #[inline(never)]
    fn total(&self) -> i64 {
        let shifted = |limb: i32, by: u32| i64::from(limb) << (by & 63);
        shifted(self.high, 2 * LIMB).wrapping_add(shifted(self.middle, LIMB)).wrapping_add(i64::from(self.low))
    }
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
#[inline]
const fn product(a: i32, b: i32) -> i64 {
    (a as i64).wrapping_mul(b as i64)
}

#[cfg(test)]
mod tests {
    use super::{CHUNK, LimbProductSum, SumOfProducts, WideProductSum};

    #[test]
    fn limbs_and_wide_products_sum_to_the_same() {
        let edges = [0, 1, -1, 2047, 2048, -2047, -2048, -2049, (1 << 21) - 1, -(1 << 21), 1 << 22, -(1 << 22)];
        let spaced = (-(1 << 22)..=1 << 22).step_by(65_537);
        for a in edges.into_iter().chain(spaced.clone()) {
            for b in edges.into_iter().chain(spaced.clone()) {
                let (mut limbs, mut wide) = (LimbProductSum::default(), WideProductSum::default());
                for _ in 0..CHUNK {
                    limbs.add(a, b);
                    wide.add(a, b);
                }
                assert_eq!(limbs.total(), wide.total(), "{a} {b}");
            }
        }
    }
}
