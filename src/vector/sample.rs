//! Mean and covariance of a sample of powers, from integer sums that merge.

use super::PowerVector;
use crate::math;
use crate::quantity::Dioptre;
use core::num::{NonZeroU32, NonZeroU64};

/// Sums over a sample of power vectors; any order and any grouping of the sample gives the same bits.
///
/// # Range
/// Up to `2^32 - 1` lenses of any unsaturated power.
///
/// ```
/// use dioptric::{rx::SpheroCylinder, vector::Sample};
/// let mut sample = Sample::default();
/// for text in ["pl -1.00 x 180", "pl -1.00 x 90"] {
///     sample.add(text.parse::<SpheroCylinder>()?.into());
/// }
/// let mean = sample.mean().unwrap();
/// assert_eq!(mean.sphero_cylinder().unwrap().to_string(), "-0.50 DS");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sample {
    count: u32,
    rejected: u32,
    sums: [i64; 3],
    /// M M, J0 J0, J45 J45, M J0, M J45, J0 J45.
    products: [i128; 6],
}

/// The covariance of a sample: six elements in units of 2^-40 D^2.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Covariance {
    /// Variance of M.
    pub m: i64,
    /// Variance of J0.
    pub j0: i64,
    /// Variance of J45.
    pub j45: i64,
    /// Covariance of M and J0.
    pub m_j0: i64,
    /// Covariance of M and J45.
    pub m_j45: i64,
    /// Covariance of J0 and J45.
    pub j0_j45: i64,
}

impl Sample {
    /// Adds a lens. A saturated power is counted in [`Sample::rejected`] and left out.
    pub fn add(&mut self, power: PowerVector) {
        if power.is_saturated() || self.count == u32::MAX {
            self.rejected = self.rejected.saturating_add(1);
            return;
        }
        self.count = self.count.saturating_add(1);
        let parts = [power.m, power.j0, power.j45].map(|part| i64::from(part.to_bits()));
        let [m, j0, j45] = parts;
        for (sum, part) in self.sums.iter_mut().zip(parts) {
            *sum = sum.wrapping_add(part);
        }
        let products = [m.wrapping_mul(m), j0.wrapping_mul(j0), j45.wrapping_mul(j45)];
        let mixed = [m.wrapping_mul(j0), m.wrapping_mul(j45), j0.wrapping_mul(j45)];
        for (sum, product) in self.products.iter_mut().zip(products.into_iter().chain(mixed)) {
            *sum = sum.wrapping_add(i128::from(product));
        }
    }

    /// Adds another sample's lenses. Past `2^32 - 1` lenses the other sample is counted as rejected.
    pub fn merge(&mut self, other: &Self) {
        self.rejected = self.rejected.saturating_add(other.rejected);
        let Some(count) = self.count.checked_add(other.count) else {
            self.rejected = self.rejected.saturating_add(other.count);
            return;
        };
        self.count = count;
        for (sum, part) in self.sums.iter_mut().zip(other.sums) {
            *sum = sum.wrapping_add(part);
        }
        for (sum, part) in self.products.iter_mut().zip(other.products) {
            *sum = sum.wrapping_add(part);
        }
    }

    /// Lenses in the sample.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// Saturated powers left out.
    #[must_use]
    pub const fn rejected(&self) -> u32 {
        self.rejected
    }

    /// The mean; `None` of an empty sample.
    ///
    /// # Accuracy
    /// Each component within half a unit of 2^-20 D.
    #[must_use]
    pub fn mean(&self) -> Option<PowerVector> {
        let count = NonZeroU64::new(u64::from(self.count))?;
        let [m, j0, j45] = self.sums.map(|sum| Dioptre::from_bits(math::saturate(math::div_round(sum, count))));
        Some(PowerVector { m, j0, j45 })
    }

    /// The covariance, with `count - 1` degrees of freedom; `None` below two lenses.
    ///
    /// # Range
    /// Any sample; an element of `2^23` D^2 or more, as only powers near the ends of the scale have, saturates.
    ///
    /// # Accuracy
    /// Within one unit of 2^-40 D^2.
    #[must_use]
    pub fn covariance(&self) -> Option<Covariance> {
        let count = NonZeroU64::new(u64::from(self.count))?;
        let freedom = NonZeroU32::new(self.count.checked_sub(1)?)?;
        let [m, j0, j45] = self.sums;
        let [mm, j0j0, j45j45, mj0, mj45, j0j45] = self.products;
        let element =
            |products: i128, a: i64, b: i64| math::div_round_wide(math::central(products, a, b, count), freedom);
        Some(Covariance {
            m: element(mm, m, m),
            j0: element(j0j0, j0, j0),
            j45: element(j45j45, j45, j45),
            m_j0: element(mj0, m, j0),
            m_j45: element(mj45, m, j45),
            j0_j45: element(j0j45, j0, j45),
        })
    }
}

impl Covariance {
    /// Standard deviation of M, J0 and J45.
    ///
    /// # Accuracy
    /// Within one unit of 2^-20 D.
    #[must_use]
    pub fn standard_deviations(&self) -> [Dioptre; 3] {
        [self.m, self.j0, self.j45].map(|variance| {
            let root = math::sqrt(variance.max(0).unsigned_abs());
            Dioptre::from_bits(i32::try_from(root).unwrap_or(i32::MAX))
        })
    }
}
