//! Fixed-point kernels: sine and cosine, rectangular to polar, roots, rounding products and divisions.
//!
//! This is the only file with bit tricks. Angles are *turns*: a `u32` whose full scale is one turn, so that an angle
//! wraps by itself. Every kernel folds its argument to one octant, evaluates there on magnitudes, and unfolds by swaps
//! and negations only; so symmetry (`sin(-t) == -sin(t)`, mirror images, quarter turns) is exact by construction, not
//! by luck of rounding.
//!
//! The smallest controllers have neither flash for copies nor instructions for 64-bit arithmetic: there the functions of 64 bits
//! are called, elsewhere the compiler may inline them.
//!
//! The coefficients are minimax fits; `tests/data/kernels/make_kernels.py` prints them and their errors.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    clippy::cast_sign_loss,
    clippy::integer_division,
    reason = "bit arithmetic on words whose ranges are derived beside each step"
)]

use core::num::{NonZeroU32, NonZeroU64};

/// An eighth of a turn.
const OCTANT: u32 = 1 << 29;

/// The high 32 bits of the product of two words.
///
/// # Accuracy
/// Exact: `floor(a * b / 2^32)`.
#[cfg(not(dioptric_narrow_multiplier))]
#[inline]
const fn high_product(a: u32, b: u32) -> u32 {
    ((a as u64).wrapping_mul(b as u64) >> 32) as u32
}

#[cfg(dioptric_narrow_multiplier)]
use high_product_narrow as high_product;

/// [`high_product`] from four 16-bit products, for cores that multiply 32 x 32 to 32 bits only.
///
/// Range: `ah * bl + (al * bl >> 16)` is at most `(2^16 - 1)^2 + 2^16 - 1 < 2^32`; so is `al * bh + 2^16 - 1`.
#[cfg(any(dioptric_narrow_multiplier, test))]
#[inline]
const fn high_product_narrow(a: u32, b: u32) -> u32 {
    let (ah, al) = (a >> 16, a & 0xffff);
    let (bh, bl) = (b >> 16, b & 0xffff);
    let upper = ah.wrapping_mul(bl).wrapping_add(al.wrapping_mul(bl) >> 16);
    let lower = al.wrapping_mul(bh).wrapping_add(upper & 0xffff);
    ah.wrapping_mul(bh).wrapping_add(upper >> 16).wrapping_add(lower >> 16)
}

/// One step of an alternating polynomial: `coefficient - tail * argument`.
#[inline]
const fn reduced(coefficient: u32, tail: u32, argument: u32) -> u32 {
    coefficient.wrapping_sub(high_product(tail, argument))
}

/// Magnitudes of cosine and sine, Q1.31, and words whose top bits are their signs.
struct CosSin {
    cos: u32,
    sin: u32,
    cos_sign: u32,
    sin_sign: u32,
}

impl CosSin {
    /// Folds to an octant and evaluates two even/odd minimax polynomials of the octant's fraction `u`.
    ///
    /// Range: `u` is Q31 in `0..=2^31`, `u2` is Q30 in `0..=2^30`; a coefficient in Qk times `u2` is Q(k-2), so each
    /// coefficient carries two bits more than the one before it and the differences stay positive (each coefficient
    /// exceeds the next one's whole tail). The cosine's second coefficient is the one nearest its fit for which both agree on
    /// the diagonal, so that mirror images there agree too. Truncations: below `2^-31` each step; fit: 1.3e-9 (sine), 1.8e-9 (cosine, at the diagonal).
    #[inline]
    fn of(turn: u32) -> Self {
        // Two bits up, the sign bit tells odd octants, which run backwards: the magnitude is the fraction of either kind.
        let u = (turn << 2).cast_signed().unsigned_abs();
        let u2 = high_product(u, u);

        // The outermost-power terms matter to 15 bits of u2: one plain product each. Q31 * Q15 >> 10 is Q36, Q34 * Q15 >> 12
        // Q37; both products are below 2^32.
        let coarse = u2 >> 15;
        let tail = 171_102_661u32.wrapping_sub(77_046u32.wrapping_mul(coarse) >> 10);
        let tail = reduced(1_387_194_847, tail, u2);
        let tail = reduced(3_373_259_380, tail, u2);
        let minor = high_product(u, tail);

        let tail = 44_797_121u32.wrapping_sub(60_668u32.wrapping_mul(coarse) >> 12);
        let tail = reduced(544_750_554, tail, u2);
        let tail = reduced(2_649_351_760, tail, u2);
        let major = reduced(1 << 31, tail, u2);

        let swapped = turn.wrapping_add(OCTANT) & (OCTANT << 1) != 0;
        Self {
            cos: if swapped { minor } else { major },
            sin: if swapped { major } else { minor },
            cos_sign: turn.wrapping_add(1 << 30),
            sin_sign: turn,
        }
    }
}

/// Cosine and sine of a turn, together.
///
/// # Units
/// `turn`: 2^32 is one turn. Results: Q1.30, so 2^30 is one.
///
/// # Accuracy
/// Within 2.5e-9 of exact; exactly 0 and +-2^30 at the quarter turns. `cos_sin(-t)` mirrors `cos_sin(t)` exactly, as do
/// quarter turns and the diagonals.
///
/// # Source
/// Own minimax polynomials, see `tests/data/kernels/make_kernels.py`.
///
/// ```
/// assert_eq!(dioptric::math::cos_sin(0), (1 << 30, 0));
/// assert_eq!(dioptric::math::cos_sin(1 << 30), (0, 1 << 30));
/// ```
#[must_use]
#[inline]
pub fn cos_sin(turn: u32) -> (i32, i32) {
    let r = CosSin::of(turn);
    let to_q30 = |magnitude: u32, sign: u32| signed(magnitude.wrapping_add(1) >> 1, sign);
    (to_q30(r.cos, r.cos_sign), to_q30(r.sin, r.sin_sign))
}

/// `value` halved, times cosine and sine of `turn`: the two components of half a cylinder.
///
/// # Units
/// Any for `value`; the results have the same. `turn`: 2^32 is one turn.
///
/// # Range
/// `|value| <= 2^26`; larger magnitudes are taken as 2^26.
///
/// # Accuracy
/// Within 0.6 units. Odd in `value`, exactly; mirror images, quarter turns and diagonals agree exactly.
#[must_use]
#[inline]
pub fn half_components(value: i32, turn: u32) -> (i32, i32) {
    half_components_of(value.unsigned_abs().min(1 << 26), value.cast_unsigned(), turn)
}

/// [`half_components`] of a magnitude up to 2^26 and a word whose top bit is its sign.
#[inline]
pub(crate) fn half_components_of(magnitude: u32, sign: u32, turn: u32) -> (i32, i32) {
    let r = CosSin::of(turn);
    // Q5 magnitude up to 2^31, times Q31, leaves |value| * cos * 16: five bits above half the value.
    let magnitude = magnitude << 5;
    let half = |component: u32| high_product(magnitude, component).wrapping_add(16) >> 5;
    (signed(half(r.cos), r.cos_sign ^ sign), signed(half(r.sin), r.sin_sign ^ sign))
}

/// A magnitude below 2^31, negated when the top bit of `sign` is set.
#[inline]
const fn signed(magnitude: u32, sign: u32) -> i32 {
    let mask = sign.cast_signed() >> 31;
    (magnitude.cast_signed() ^ mask).wrapping_sub(mask)
}

/// Length and direction of a vector.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Polar {
    /// Length, in the units of the components; the longest possible, `sqrt(2) 2^31`, fits.
    pub radius: u32,
    /// Direction from the x axis, counter-clockwise: 2^32 is one turn. 0 for the zero vector.
    pub turn: u32,
}

/// Rotations that bring a folded vector to within a tangent of 1/7 of the x axis: multiples of a twenty-fourth of a turn.
struct Sector {
    cos: u32,
    sin: u32,
    turn: u32,
}

const SECTOR_15: Sector = Sector { cos: 4_148_619_834, sin: 1_111_619_334, turn: 178_956_971 };
const SECTOR_30: Sector = Sector { cos: 3_719_550_787, sin: 2_147_483_648, turn: 357_913_941 };
const SECTOR_45: Sector = Sector { cos: 3_037_000_500, sin: 3_037_000_500, turn: OCTANT };

/// Length and direction of the vector `(x, y)`.
///
/// # Units
/// Any for the components. The turn's full scale, 2^32, is one turn.
///
/// # Range
/// The whole.
///
/// # Accuracy
/// Direction within 7e-9 rad, exact on the axes and diagonals. Radius within half a unit plus 3e-9 of itself.
/// Mirror images, quarter turns and diagonals agree exactly.
///
/// # Source
/// Own: one table rotation, one corrected quotient, and the arctangent and root series of what is left.
///
/// ```
/// let p = dioptric::math::polar(-3000, 4000);
/// assert_eq!(p.radius, 5000);
/// assert_eq!(p.turn >> 30, 1); // second quadrant
/// ```
#[must_use]
#[cfg_attr(not(dioptric_narrow_multiplier), inline)]
#[cfg_attr(dioptric_narrow_multiplier, inline(never))]
pub fn polar(x: i32, y: i32) -> Polar {
    let ax = x.unsigned_abs();
    let ay = y.unsigned_abs();
    let steep = ay > ax;
    let (major, minor) = if steep { (ay, ax) } else { (ax, ay) };
    if major == 0 {
        return Polar { radius: 0, turn: 0 };
    }
    // -2^31 alone has a magnitude of 2^31, which the kernel takes as it is.
    let shift = major.leading_zeros().saturating_sub(1) & 31;
    let (length, folded) = folded_polar(major << shift, minor << shift);
    // The bit below the last one kept rounds; with nothing shifted out it is 0.
    let radius = (length >> shift).wrapping_add((length << 1) >> shift & 1);
    let first = if steep { (OCTANT << 1).wrapping_sub(folded) } else { folded };
    let upper = if x < 0 { (1u32 << 31).wrapping_sub(first) } else { first };
    let turn = if y < 0 { upper.wrapping_neg() } else { upper };
    Polar { radius, turn }
}

/// Direction of the vector `(x, y)`: the turn of [`polar`].
///
/// # Units
/// Any for the components; 2^32 is one turn.
///
/// # Accuracy
/// That of [`polar`].
#[must_use]
pub fn atan2(y: i32, x: i32) -> u32 {
    polar(x, y).turn
}

/// Length and turn of a vector in the first octant, `minor <= major` and `2^30 <= major <= 2^31`.
///
/// Range: after the rotation `0.99 * 2^30 < along <= 2^31.5` and `|across| <= along / 7`.
/// With `d = (along >> 16) + 1` and `inverse = floor(2^31 / d) < 2^17.02`, `along * inverse / 2^47` is below one by at
/// most 7.8e-5 = `rest`; the corrected quotient is then short of exact by `rest^2 = 6e-9` of itself.
#[inline]
fn folded_polar(major: u32, minor: u32) -> (u32, u32) {
    let (along, across, centre) = rotate_to_sector(major, minor);
    let offset = across.unsigned_abs();
    let inverse = quotient_of_words(1 << 31, (along >> 16).wrapping_add(1)) << 14;
    let rest = reduced(1 << 29, along, inverse);
    // offset / along is offset * inverse / 2^61 times (1 + rest); offset is below 2^28.7, so that three more bits fit: Q32.
    let rough = high_product(offset << 3, inverse);
    // rest is below 2^15.4 and rough below 2^29.2: 16 bits of it are enough.
    let quotient = rough.wrapping_add((rough >> 16).wrapping_mul(rest) >> 13);
    let q2 = high_product(quotient, quotient);

    // q2 is below 2^26.4; what multiplies it twice or more needs 15 bits of it. Q20 * Q21 >> 7 is Q34, Q18 * Q21 >> 7 Q32.
    let coarse = q2 >> 11;
    let tail = 911_282_002u32.wrapping_sub(32_543u32.wrapping_mul(coarse) >> 7);
    let tail = reduced(2_734_260_751, tail, q2);
    let angle = high_product(quotient, tail).wrapping_add(2) >> 2;
    let turn = if across < 0 { centre.wrapping_sub(angle) } else { centre.wrapping_add(angle) };

    let tail = 536_795_173u32.wrapping_sub(15_990u32.wrapping_mul(coarse) >> 7);
    let tail = 2_147_483_394u32.wrapping_sub((tail >> 14).wrapping_mul(coarse) >> 7);
    let length = along.wrapping_add(high_product(along, high_product(tail, q2)));
    (length, turn)
}

/// Turns a folded vector by the nearest sector's angle; returns the components along and across it, and the angle.
#[inline]
fn rotate_to_sector(major: u32, minor: u32) -> (u32, i32, u32) {
    // Borders at tangents 1/8, 13/32 and 3/4: cheap to form, and never more than 1/7 from a centre.
    if minor < major >> 3 {
        return (major, minor as i32, 0);
    }
    let sector = if minor < (major >> 2).wrapping_add(major >> 3).wrapping_add(major >> 5) {
        SECTOR_15
    } else if minor < major.wrapping_sub(major >> 2) {
        SECTOR_30
    } else {
        SECTOR_45
    };
    let along = high_product(major, sector.cos).wrapping_add(high_product(minor, sector.sin));
    let across = high_product(minor, sector.cos).wrapping_sub(high_product(major, sector.sin)) as i32;
    (along, across, sector.turn)
}

/// A quotient of words; the divisor is never 0 here.
#[inline]
const fn quotient_of_words(numerator: u32, divisor: u32) -> u32 {
    match numerator.checked_div(divisor) {
        Some(quotient) => quotient,
        None => u32::MAX,
    }
}

/// Square root, rounded to the nearest integer.
///
/// # Range
/// The whole.
///
/// # Accuracy
/// Exact to half a unit.
///
/// ```
/// assert_eq!(dioptric::math::sqrt(6), 2);
/// assert_eq!(dioptric::math::sqrt(7), 3);
/// ```
#[must_use]
#[cfg_attr(dioptric_narrow_multiplier, inline(never))]
pub fn sqrt(value: u64) -> u32 {
    let root = value.isqrt();
    let above = u64::from(value.wrapping_sub(root.wrapping_mul(root)) > root);
    // The root of 2^64 - 1 rounds to 2^32, which has no u32.
    root.wrapping_add(above).min(u32::MAX as u64) as u32
}

/// Quotient rounded to the nearest integer, halves away from zero.
///
/// # Range
/// The whole; `i64::MIN` over one is `-i64::MAX`.
///
/// # Accuracy
/// Exact to half a unit; odd in the numerator.
///
/// ```
/// use core::num::NonZeroU64;
/// let three = NonZeroU64::new(3).unwrap();
/// assert_eq!(dioptric::math::div_round(-5, three), -2);
/// ```
#[must_use]
#[cfg_attr(dioptric_narrow_multiplier, inline(never))]
pub fn div_round(numerator: i64, divisor: NonZeroU64) -> i64 {
    let n = numerator.unsigned_abs();
    let quotient = n / divisor;
    let rest = n % divisor;
    let up = u64::from(rest >= divisor.get().wrapping_sub(rest));
    // The magnitude of a quotient exceeds i64::MAX only for i64::MIN over one.
    let rounded = quotient.wrapping_add(up).min(i64::MAX as u64) as i64;
    if numerator < 0 { rounded.wrapping_neg() } else { rounded }
}

/// [`div_round`] by a word.
///
/// # Accuracy
/// Exact to half a unit; odd in the numerator.
#[must_use]
pub fn div_round_by_word(numerator: i64, divisor: NonZeroU32) -> i64 {
    div_round(numerator, NonZeroU64::from(divisor))
}

/// `numerator / divisor * 2^exponent`, saturating.
///
/// # Range
/// `exponent` up to 62. A divisor of 0 saturates with the numerator's sign.
///
/// # Accuracy
/// Within half a unit plus 6e-10 of itself. Odd in either operand.
///
/// ```
/// assert_eq!(dioptric::math::ratio(-1, 3, 10), -341);
/// ```
#[must_use]
#[inline(never)]
pub fn ratio(numerator: i64, divisor: i64, exponent: u32) -> i64 {
    if numerator == 0 {
        return 0;
    }
    let negative = (numerator < 0) != (divisor < 0);
    let magnitude = ratio_of_magnitudes(numerator.unsigned_abs(), divisor.unsigned_abs(), exponent);
    if negative { magnitude.wrapping_neg() } else { magnitude }
}

/// Divides a numerator shifted up to 63 bits by a divisor rounded to 32: the quotient has 31 bits or more.
fn ratio_of_magnitudes(numerator: u64, divisor: u64, exponent: u32) -> i64 {
    let down = (32u32).saturating_sub(divisor.leading_zeros());
    let half = if down == 0 { 0 } else { 1u64 << (down.wrapping_sub(1) & 63) };
    let Some(short) = NonZeroU64::new(divisor.saturating_add(half) >> (down & 63)) else { return i64::MAX };
    let up = numerator.leading_zeros();
    let quotient = (numerator << (up & 63)) / short;
    // quotient = numerator * 2^up / (divisor / 2^down).
    let shift = i64::from(exponent).wrapping_sub(i64::from(up)).wrapping_sub(i64::from(down));
    if shift >= 0 {
        let room = i64::from(quotient.leading_zeros()).wrapping_sub(1);
        if shift > room { i64::MAX } else { (quotient << (shift & 63)) as i64 }
    } else if shift < -64 {
        0
    } else {
        let below = shift.wrapping_neg().wrapping_sub(1) as u32 & 63;
        ((quotient >> below).wrapping_add(1) >> 1) as i64
    }
}

/// [`div_round`] of a numerator below 2^95 in magnitude, saturating: a long division in two steps.
pub(crate) fn div_round_wide(numerator: i128, divisor: NonZeroU32) -> i64 {
    const LOW: u128 = u32::MAX as u128;
    let magnitude = numerator.unsigned_abs();
    let divisor = NonZeroU64::from(divisor);
    let high = u64::try_from(magnitude >> 32).unwrap_or(u64::MAX);
    // The rest of the first step is below 2^32: 32 more bits of the numerator fit beside it.
    let low = (high % divisor) << 32 | (magnitude & LOW) as u64;
    let rest = low % divisor;
    let up = u64::from(rest >= divisor.get().wrapping_sub(rest));
    let quotient = (u128::from(high / divisor) << 32).wrapping_add(u128::from((low / divisor).wrapping_add(up)));
    let rounded = i64::try_from(quotient).unwrap_or(i64::MAX);
    if numerator < 0 { rounded.wrapping_neg() } else { rounded }
}

/// `products - a b / count`, rounded to nearest.
///
/// With `a = p n + r` and `b = q n + s`: `a b / n = p b + r q + r s / n`, whose last part is below `n^2 / n`.
pub(crate) fn central(products: i128, a: i64, b: i64, count: NonZeroU64) -> i128 {
    let (p, r) = divide(a, count);
    let (q, s) = divide(b, count);
    let whole = i128::from(p).wrapping_mul(i128::from(b)).wrapping_add(i128::from(r).wrapping_mul(i128::from(q)));
    let rest = div_round(r.wrapping_mul(s), count);
    products.wrapping_sub(whole).wrapping_sub(i128::from(rest))
}

/// Quotient rounded to nearest, and the rest, at most half the divisor in magnitude.
fn divide(value: i64, count: NonZeroU64) -> (i64, i64) {
    let quotient = div_round(value, count);
    (quotient, value.wrapping_sub(quotient.wrapping_mul(count.get().cast_signed())))
}

/// `value / 2^bits` rounded to the nearest integer, halves away from zero.
///
/// # Range
/// `bits` in `1..=62`; others are taken as the nearest of these.
///
/// # Accuracy
/// Exact to half a unit; odd in `value`.
///
/// ```
/// assert_eq!(dioptric::math::shift_round(-3, 1), -2);
/// ```
#[must_use]
#[cfg_attr(not(dioptric_narrow_multiplier), inline)]
#[cfg_attr(dioptric_narrow_multiplier, inline(never))]
pub const fn shift_round(value: i64, bits: u32) -> i64 {
    let bits = if bits < 1 {
        1
    } else if bits > 62 {
        62
    } else {
        bits
    };
    let magnitude = value.unsigned_abs().wrapping_add(1u64.wrapping_shl(bits.wrapping_sub(1))).wrapping_shr(bits);
    let rounded = magnitude as i64;
    if value < 0 { rounded.wrapping_neg() } else { rounded }
}

/// The nearest value that a symmetric 32-bit quantity holds: `-i32::MAX..=i32::MAX`.
///
/// ```
/// assert_eq!(dioptric::math::saturate(i64::MIN), -i32::MAX);
/// ```
#[must_use]
#[cfg_attr(not(dioptric_narrow_multiplier), inline)]
#[cfg_attr(dioptric_narrow_multiplier, inline(never))]
pub const fn saturate(value: i64) -> i32 {
    const LIMIT: i64 = i32::MAX as i64;
    if value > LIMIT {
        i32::MAX
    } else if value < -LIMIT {
        -i32::MAX
    } else {
        value as i32
    }
}

#[cfg(test)]
mod tests {
    use super::{high_product, high_product_narrow};

    #[test]
    fn narrow_and_wide_products_agree() {
        let edges = [0, 1, 2, 0x7fff, 0x8000, 0xffff, 0x1_0000, 0x1_0001, 0x7fff_ffff, 1 << 31, u32::MAX - 1, u32::MAX];
        for a in edges {
            for b in edges {
                assert_eq!(high_product(a, b), high_product_narrow(a, b), "{a:#x} {b:#x}");
            }
        }
        let mut state = 1u64;
        for _ in 0..1_000_000 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let (a, b) = ((state >> 32) as u32, state as u32);
            assert_eq!(high_product(a, b), high_product_narrow(a, b), "{a:#x} {b:#x}");
        }
    }
}
