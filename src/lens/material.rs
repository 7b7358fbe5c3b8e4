//! What the material does to a lens: colour fringes, reflections; and a few materials.

use crate::math;
use crate::prism::Prism;
use crate::quantity::{AbbeNumber, Dioptre, Fraction, PrismDioptre, RefractiveIndex};
use core::num::NonZeroU64;

/// Transverse chromatic aberration: the prism between the lines F and C, `P / V`, where the lens has the prism `P`.
///
/// The prism at a point is that of [`PowerMatrix::prism_at`](crate::vector::PowerMatrix::prism_at).
///
/// # Units
/// Prism dioptres.
///
/// # Accuracy
/// Each component within half a unit of 2^-20; a saturated one stays saturated. `P / V` itself is the thin prism's.
///
/// # Source
/// Textbook.
///
/// ```
/// use dioptric::{lens::transverse_chromatic_aberration, prism::Prism, prism_dioptres};
/// let prism = Prism { x: prism_dioptres!(6.0), y: prism_dioptres!(0.0) };
/// let fringe = transverse_chromatic_aberration(prism, "58".parse()?);
/// assert_eq!(fringe.x.to_string(), "0.10");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[must_use]
pub fn transverse_chromatic_aberration(prism: Prism, abbe: AbbeNumber) -> Prism {
    let component = |part: PrismDioptre| PrismDioptre::from_bits(over_abbe(part.to_bits(), abbe));
    Prism { x: component(prism.x), y: component(prism.y) }
}

/// Longitudinal chromatic aberration: the power between the lines F and C, `F / V`, of a thin lens.
///
/// # Units
/// Dioptres.
///
/// # Accuracy
/// Within half a unit of 2^-20 D; a saturated power stays saturated.
///
/// # Source
/// Textbook.
#[must_use]
pub fn longitudinal_chromatic_aberration(power: Dioptre, abbe: AbbeNumber) -> Dioptre {
    Dioptre::from_bits(over_abbe(power.to_bits(), abbe))
}

/// A count over the Abbe number.
fn over_abbe(bits: i32, abbe: AbbeNumber) -> i32 {
    let is_saturated = bits.unsigned_abs() >= i32::MAX.unsigned_abs();
    match NonZeroU64::new(abbe.to_bits().into()) {
        Some(abbe) if !is_saturated => {
            math::saturate(math::div_round(i64::from(bits) << AbbeNumber::FRACTION_BITS, abbe))
        }
        _ => bits,
    }
}

/// The part of light that one uncoated surface reflects at normal incidence: `((n - 1) / (n + 1))^2`.
///
/// # Accuracy
/// Within 0.55 units of 2^-24.
///
/// # Source
/// Fresnel (textbook).
///
/// ```
/// assert_eq!(dioptric::lens::reflectance("1.523".parse()?).to_string(), "0.043");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[must_use]
pub fn reflectance(index: RefractiveIndex) -> Fraction {
    let (index, air) = (i64::from(index.to_bits()), i64::from(RefractiveIndex::AIR.to_bits()));
    // At most 0.6.
    let amplitude = math::ratio(index.wrapping_sub(air), index.wrapping_add(air), 30);
    let part = math::shift_round(amplitude.wrapping_mul(amplitude), 60 - Fraction::FRACTION_BITS);
    Fraction::from_bits(math::saturate(part))
}

/// A lens material by its kind: what a lens of unknown make is taken to be.
///
/// The figures are typical of the kind. Where a hundredth of the index matters, take the maker's.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Material {
    /// What it is called.
    pub name: &'static str,
    /// Refractive index at the line d.
    pub index: RefractiveIndex,
    /// Abbe number.
    pub abbe: AbbeNumber,
}

impl Material {
    /// A few materials, by index.
    ///
    /// # Source
    /// | material | `n_d` | `V_d` | source |
    /// |---|---|---|---|
    /// | allyl diglycol carbonate | 1.498 | 58 | lens data table (M. Jalie), precision-optical.co.uk |
    /// | crown glass | 1.523 | 58.5 | as before |
    /// | plastic 1.53 | 1.532 | 44 | from memory |
    /// | polycarbonate | 1.586 | 30 | from memory |
    /// | plastic 1.60 | 1.592 | 41 | from memory |
    /// | plastic 1.67 | 1.660 | 32 | from memory |
    pub const ALL: [Self; 6] = [
        Self::typical("allyl diglycol carbonate", 1498, 580),
        Self::typical("crown glass", 1523, 585),
        Self::typical("plastic 1.53", 1532, 440),
        Self::typical("polycarbonate", 1586, 300),
        Self::typical("plastic 1.60", 1592, 410),
        Self::typical("plastic 1.67", 1660, 320),
    ];

    /// From thousandths of the index and tenths of the Abbe number.
    const fn typical(name: &'static str, index: u64, abbe: u64) -> Self {
        let index = rounded(index << RefractiveIndex::FRACTION_BITS, 1000);
        let abbe = rounded(abbe << AbbeNumber::FRACTION_BITS, 10);
        let index = match RefractiveIndex::from_bits(index) {
            Ok(index) => index,
            Err(_) => RefractiveIndex::AIR,
        };
        let abbe = match AbbeNumber::from_bits(abbe) {
            Ok(abbe) => abbe,
            Err(_) => AbbeNumber::LEAST,
        };
        Self { name, index, abbe }
    }

    /// The material whose index is nearest; of two as near, the one of less.
    #[must_use]
    pub fn nearest(index: RefractiveIndex) -> Self {
        let [first, rest @ ..] = Self::ALL;
        rest.into_iter().fold(first, |best, next| {
            let apart = |material: Self| material.index.to_bits().abs_diff(index.to_bits());
            if apart(next) < apart(best) { next } else { best }
        })
    }
}

/// Rounded; runs at compile time.
#[allow(clippy::cast_possible_truncation, reason = "runs at compile time, on values below 2^32")]
const fn rounded(value: u64, divisor: u64) -> u32 {
    match value.wrapping_add(divisor >> 1).checked_div(divisor) {
        Some(quotient) => quotient as u32,
        None => 0,
    }
}
