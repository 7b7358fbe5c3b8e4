//! What counts as a spot, and how many things did not.

use super::FinderError;

/// What is looked for.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Polarity {
    /// Spots of light.
    #[default]
    BrightOnDark,
    /// Marks, ink and defects on a lit field: every level is taken from full scale, and all else is the same.
    DarkOnBright,
}

/// What a blob must be to count as a spot. Lengths in pixels, levels in counts of the sensor.
///
/// # Range
/// Tested by [`SpotFinder::new`](super::SpotFinder::new).
///
/// # Source
/// The defaults are common practice, no source: they suit spots of 4 to 40 pixels across that are well clear of the noise.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpotLimits {
    /// Bits of a pixel, 8 to 16; 8 where rows are of bytes. Full scale is `2^bits - 1`; a higher level counts as that.
    pub bits: u8,
    /// What is looked for.
    pub polarity: Polarity,
    /// Least height of the threshold above the background, counts; from 1.
    pub margin: u16,
    /// Least height of the threshold above the background, in standard deviations of the background's own noise; 0 when
    /// `margin` alone shall decide.
    pub sigmas: u8,
    /// Fewest pixels: what is smaller is dust or a hot pixel.
    pub least_area: u32,
    /// Most pixels, at most [`SpotLimits::MOST_AREA`]: what is larger is no spot, or several.
    pub most_area: u32,
    /// Least height of the brightest pixel above the threshold, counts: what is lower is a ghost.
    pub least_height: u16,
    /// Largest elongation, 1/256: two spots that touch are longer than one.
    pub most_elongation: u16,
    /// Level from which a pixel is saturated, counts (in [`Polarity::DarkOnBright`], counts below full scale).
    pub saturation: u16,
    /// Whether spots with saturated pixels pass, marked as such.
    pub accept_saturated: bool,
}

impl SpotLimits {
    /// Most pixels of a spot.
    pub const MOST_AREA: u32 = 1 << 15;

    /// For spots of light on a sensor of so many bits: margin and height in proportion to full scale.
    #[must_use]
    pub const fn spots(bits: u8) -> Self {
        let full = full_scale(bits);
        Self {
            bits,
            polarity: Polarity::BrightOnDark,
            margin: if full >> 6 == 0 { 1 } else { full >> 6 },
            sigmas: 5,
            least_area: 9,
            most_area: 1600,
            least_height: full >> 4,
            most_elongation: 384,
            saturation: full,
            accept_saturated: false,
        }
    }

    /// For dark marks on a lit field: any shape, up to the largest area, black or not.
    #[must_use]
    pub const fn marks(bits: u8) -> Self {
        let spots = Self::spots(bits);
        Self {
            polarity: Polarity::DarkOnBright,
            most_area: Self::MOST_AREA,
            most_elongation: u16::MAX,
            accept_saturated: true,
            ..spots
        }
    }

    /// # Errors
    /// [`FinderError::LimitsRange`].
    pub(super) const fn check(&self) -> Result<(), FinderError> {
        let bits = self.bits >= 8 && self.bits <= 16;
        let areas = self.least_area <= self.most_area && self.most_area <= Self::MOST_AREA;
        if bits && areas && self.margin > 0 { Ok(()) } else { Err(FinderError::LimitsRange) }
    }

    /// Why a blob of this measure is no spot.
    pub(super) const fn reason(&self, blob: &Measure) -> Option<Reason> {
        if blob.area > self.most_area {
            Some(Reason::TooLarge)
        } else if blob.area < self.least_area {
            Some(Reason::TooSmall)
        } else if blob.clipped {
            Some(Reason::Clipped)
        } else if blob.height < self.least_height {
            Some(Reason::TooDim)
        } else if blob.saturated && !self.accept_saturated {
            Some(Reason::Saturated)
        } else {
            None
        }
    }
}

impl Default for SpotLimits {
    fn default() -> Self {
        Self::spots(8)
    }
}

/// `2^bits - 1`, of at most 16 bits.
pub(super) const fn full_scale(bits: u8) -> u16 {
    if bits >= 16 { u16::MAX } else { 1u16.wrapping_shl(bits as u32).wrapping_sub(1) }
}

/// What is known of a blob before its moments are worked out.
pub(super) struct Measure {
    pub(super) area: u32,
    pub(super) height: u16,
    pub(super) saturated: bool,
    pub(super) clipped: bool,
}

pub(super) enum Reason {
    TooSmall,
    TooDim,
    Clipped,
    Saturated,
    Elongated,
    TooLarge,
}

/// How many blobs of a frame were no spots, each under the first reason that holds, in the order of the fields.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Rejected {
    /// More pixels than [`SpotLimits::most_area`].
    pub too_large: u32,
    /// Fewer pixels than [`SpotLimits::least_area`]: dust, hot pixels, noise.
    pub too_small: u32,
    /// At the border of the frame: part of it may be missing.
    pub clipped: u32,
    /// Lower than [`SpotLimits::least_height`]: ghosts.
    pub too_dim: u32,
    /// With a pixel from [`SpotLimits::saturation`] on.
    pub saturated: u32,
    /// Longer than [`SpotLimits::most_elongation`]: spots that touch, scratches.
    pub elongated: u32,
}

impl Rejected {
    /// All reasons together.
    #[must_use]
    pub const fn total(&self) -> u32 {
        // A frame has at most 2^24 pixels: the sum cannot wrap.
        self.too_large
            .wrapping_add(self.too_small)
            .wrapping_add(self.clipped)
            .wrapping_add(self.too_dim)
            .wrapping_add(self.saturated)
            .wrapping_add(self.elongated)
    }

    pub(super) const fn count(&mut self, reason: Reason) {
        let count = match reason {
            Reason::TooLarge => &mut self.too_large,
            Reason::TooSmall => &mut self.too_small,
            Reason::Clipped => &mut self.clipped,
            Reason::TooDim => &mut self.too_dim,
            Reason::Saturated => &mut self.saturated,
            Reason::Elongated => &mut self.elongated,
        };
        *count = count.wrapping_add(1);
    }
}
