//! An outline turned, or seen in a mirror.

use super::{Contour, Error, resample};
use crate::quantity::{Bearing, Degree, Millimetre};

impl Contour<'_> {
    /// Turned counter-clockwise, in as many evenly spaced corners as the buffer holds.
    ///
    /// # Accuracy
    /// Exact by a whole number of steps of evenly spaced corners, into as many; else that of [`Self::resampled`].
    ///
    /// # Errors
    /// Those of [`Self::new`].
    pub fn turned<'b>(&self, turn: Degree, radii: &'b mut [Millimetre]) -> Result<Contour<'b>, Error> {
        let turn = Bearing::from_bits(0).turned(turn);
        if let Some(steps) = self.whole_steps(turn).filter(|_| radii.len() == self.count()) {
            let from = self.radii().iter().cycle().skip(self.count().saturating_sub(steps));
            radii.iter_mut().zip(from).for_each(|(radius, from)| *radius = *from);
            return Contour::new(radii);
        }
        resample::evenly(self.samples(self.radii(), turn.to_bits()), radii)
    }

    /// By how many steps of evenly spaced corners, if they are, and it is by whole ones.
    fn whole_steps(&self, turn: Bearing) -> Option<usize> {
        if !self.given_angles().is_empty() {
            return None;
        }
        // 2^32 times 2^11.
        let steps = u64::from(turn.to_bits()).wrapping_mul(self.count() as u64).wrapping_add(1 << 31) >> 32;
        let steps = usize::try_from(steps).ok()?;
        // Half a degree's rounding, to 2^-20, is 6 units of a turn.
        let off = self.angle(steps).to_bits().wrapping_sub(turn.to_bits()).cast_signed();
        (off.unsigned_abs() <= 6).then_some(steps)
    }

    /// Left for right, as the other eye's shape: every corner's x negated.
    ///
    /// An even number of evenly spaced corners stays evenly spaced, and the angles are neither needed nor written; else both buffers hold
    /// as many as there are corners.
    ///
    /// # Accuracy
    /// Exact. Mirrored twice it is the same, bit for bit.
    ///
    /// # Errors
    /// [`Error::LengthsDiffer`] when a buffer does not hold as many as there are corners.
    pub fn mirrored<'b>(&self, radii: &'b mut [Millimetre], angles: &'b mut [Bearing]) -> Result<Contour<'b>, Error> {
        let count = self.count();
        if radii.len() != count {
            return Err(Error::LengthsDiffer);
        }
        if self.given_angles().is_empty() && count & 1 == 0 {
            let from = self.radii().iter().rev().cycle().skip((count >> 1).saturating_sub(1));
            radii.iter_mut().zip(from).for_each(|(radius, from)| *radius = *from);
            return Contour::new(radii);
        }
        if angles.len() != count {
            return Err(Error::LengthsDiffer);
        }
        let opposite = |at: usize| Bearing::from_bits((1u32 << 31).wrapping_sub(self.angle(at).to_bits()));
        // Backwards from the one that comes to lie first.
        let first = (0..count).min_by_key(|at| opposite(*at).to_bits()).unwrap_or_default();
        let order = (0..=first).rev().chain((first.wrapping_add(1)..count).rev());
        for ((radius, angle), at) in radii.iter_mut().zip(angles.iter_mut()).zip(order) {
            *angle = opposite(at);
            *radius = self.radii().get(at).copied().unwrap_or_default();
        }
        Contour::with_angles(radii, angles)
    }
}
