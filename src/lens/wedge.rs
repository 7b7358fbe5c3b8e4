//! Prism that is ground into a lens: how its back surface is turned, and how much thicker that makes it towards the base.

use super::sagitta::{FINE_BITS, from_fine};
use super::{Error, Surface, checked_index};
use crate::math;
use crate::prism::Prism;
use crate::quantity::{Millimetre, Point, PrismDioptre, RefractiveIndex};

const ONE_Q30: i64 = 1 << 30;
/// The most that a component of a prism may be, 50 prism dioptres.
const MOST_PRISM: PrismDioptre = prism_dioptres!(50.0);
/// Where the back surface's slope and the wedge's multiply to less than 0.6, so many steps leave less than that of 40 mm.
const STEPS: u32 = 32;
/// Half a unit of 2^-16 mm.
const SETTLED: u64 = 1 << (FINE_BITS - 1);

/// The turn of a back surface that gives a prism.
///
/// Light along the axis meets the front squarely and leaves through the back's vertex. It bends by `P/100 = tan d` there when
/// `n sin a = sin(a + d)`, so when the surface is turned by `tan a = (P/100) / (n sqrt(1 + (P/100)^2) - 1)`, whatever its power.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Wedge {
    /// `tan a` towards the base, Q30.
    slope: [i64; 2],
    /// `1 / cos a`, Q30.
    secant: i64,
    /// `1 / (1 + 1 / cos a)`, Q30.
    half: i64,
}

impl Wedge {
    /// Slopes to 1/2.
    ///
    /// # Accuracy
    /// Slope within one unit of 2^-30 plus 2.5e-9 of itself.
    ///
    /// Range: with components to 50 prism dioptres, `100^2 + |P|^2` in units of 2^-50 is below 2^63.9 and its root below 2^32; the
    /// index times the root is below 2^31 * 2^32, less 2^60.6.
    pub(super) fn new(prism: Prism, index: RefractiveIndex) -> Result<Self, Error> {
        if prism.is_saturated() {
            return Err(Error::Saturated);
        }
        let index = i64::from(checked_index(index)?.to_bits());
        if prism.x.abs() > MOST_PRISM || prism.y.abs() > MOST_PRISM {
            return Err(Error::PrismRange);
        }
        let (x, y) = (i64::from(prism.x.to_bits()), i64::from(prism.y.to_bits()));
        let square = |part: i64| part.wrapping_mul(part).unsigned_abs();
        let hypotenuse = math::sqrt((10_000u64 << 40).wrapping_add(square(x)).wrapping_add(square(y)) << 10);
        // 2^-25 of a prism dioptre times 2^-29; the root is at least 100 * 2^25 and the index 1.25.
        let product = (index >> 1).wrapping_mul(i64::from(hypotenuse));
        let divisor = product.wrapping_sub(100 << 53) >> 3;
        // 2^-20 over 2^-50 to 2^-30.
        let slope = [x, y].map(|part| math::ratio(part, divisor, 60));
        let steepness = slope.iter().fold(0, |sum: u64, part| sum.wrapping_add(square(*part)));
        if steepness > 1 << 58 {
            return Err(Error::PrismRange);
        }
        let secant = i64::from(math::sqrt((1u64 << 60).wrapping_add(steepness)));
        Ok(Self { slope, secant, half: math::ratio(ONE_Q30, ONE_Q30.wrapping_add(secant), 30) })
    }

    /// How much thicker the lens is at a point, and what the turned surface takes from it there.
    ///
    /// A point `q` of the surface at the depth `s(q)` is turned to `r = q + g s - g (g r) / (1 + sec a)` at the depth
    /// `s sec a - g r`, where `g` is the slope. So `q` is where its own sagitta puts it: found by steps, each of which leaves the part
    /// `g s'` of the miss.
    ///
    /// # Errors
    /// Those of [`Surface::sagitta_at`]; [`Error::PrismRange`] where the steps do not settle.
    pub(super) fn turned(&self, back: &Surface, point: Point) -> Result<(Millimetre, Millimetre), Error> {
        if self.slope == [0, 0] {
            return Ok((Millimetre::ZERO, back.sagitta_at(point)?));
        }
        // 40 mm is below 2^31.4 and the secant below 2^31.
        let scaled = |length: i64, factor: i64| math::shift_round(length.wrapping_mul(factor), 30);
        let fine = |length: Millimetre| i64::from(length.to_bits()) << FINE_BITS;
        let ([gx, gy], x, y) = (self.slope, fine(point.x), fine(point.y));
        let rise = scaled(x, gx).wrapping_add(scaled(y, gy));
        let (flat_x, flat_y) =
            (x.wrapping_add(scaled(scaled(rise, self.half), gx)), y.wrapping_add(scaled(scaled(rise, self.half), gy)));
        let mut sagitta = 0i64;
        for _ in 0..STEPS {
            let next =
                back.fine_sagitta(flat_x.wrapping_sub(scaled(sagitta, gx)), flat_y.wrapping_sub(scaled(sagitta, gy)))?;
            let step = next.wrapping_sub(sagitta).unsigned_abs();
            sagitta = next;
            if step < SETTLED {
                return Ok((from_fine(rise), from_fine(scaled(sagitta, self.secant))));
            }
        }
        Err(Error::PrismRange)
    }
}

/// How much thicker a prism is at its base than at its apex, a width apart: `w (P/100) / (n sqrt(1 + (P/100)^2) - 1)`.
///
/// That is exact for light that meets the front squarely. The usual `w P / (100 (n - 1))` exceeds it by the part
/// `n (sqrt(1 + (P/100)^2) - 1) / (n - 1)`, at most `(P/100)^2 n / (2 (n - 1))`: 0.4 % for 5 prism dioptres at 1.5, 1.5 % for 10.
///
/// # Units
/// Prism dioptres; millimetres. A negative prism gives a negative difference.
///
/// # Range
/// Prisms to 50 prism dioptres whose faces are inclined by a slope of up to 1/2, which is 27.8 prism dioptres at the index 1.5.
///
/// # Accuracy
/// Within half a unit of 15 nm plus 4.5e-9 of the width.
///
/// # Errors
/// [`Error::PrismRange`], [`Error::IndexRange`], [`Error::Saturated`].
///
/// # Source
/// Snell's law; the usual form is the textbook's.
///
/// ```
/// use dioptric::{lens::wedge_difference, millimetres, prism_dioptres};
/// let difference = wedge_difference(prism_dioptres!(5.0), "1.5".parse()?, millimetres!(50.0)).unwrap();
/// assert_eq!(format!("{difference:.3}"), "4.981");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
pub fn wedge_difference(prism: PrismDioptre, index: RefractiveIndex, width: Millimetre) -> Result<Millimetre, Error> {
    if width.is_saturated() {
        return Err(Error::Saturated);
    }
    let [slope, _] = Wedge::new(Prism { x: prism, y: PrismDioptre::ZERO }, index)?.slope;
    // 2^31 times 2^29.
    Ok(Millimetre::from_bits(math::saturate(math::shift_round(i64::from(width.to_bits()).wrapping_mul(slope), 30))))
}
