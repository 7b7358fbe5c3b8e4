//! Stands for the camera: two frames compiled in (`frames/README.md`), handed out row by row, with noise.

use super::bench::WIDTH;

pub const LENS: &[u8] = include_bytes!("../../../frames/lens.packed");
pub const EMPTY: &[u8] = include_bytes!("../../../frames/empty.packed");

/// Fills the words of small seeds: without, the first pixels would have hardly any noise.
const ODD: u32 = 0x9E37_79B9;

/// A frame that is being read.
pub struct Camera {
    packed: core::slice::Iter<'static, u8>,
    ground: u8,
    /// Pixels of ground that are left, then others.
    dark: u8,
    lit: u8,
    noise: u32,
}

impl Camera {
    /// A frame, with the noise of a seed other than 0.
    pub fn new(packed: &'static [u8], noise: u32) -> Self {
        let mut packed = packed.iter();
        let ground = packed.next().copied().unwrap_or_default();
        Self { packed, ground, dark: 0, lit: 0, noise: noise.wrapping_mul(ODD) }
    }

    /// Reads the next row; `false` after the last.
    pub fn row(&mut self, row: &mut [u8; WIDTH as usize]) -> bool {
        for pixels in row.chunks_mut(8) {
            let mut noise = self.noise();
            for pixel in pixels {
                let Some(level) = self.level() else { return false };
                // From -3 to 3 counts: the sum of two dice of four sides.
                let off = (noise & 3).wrapping_add(noise >> 2 & 3) as u8;
                noise >>= 4;
                *pixel = level.saturating_add(off).saturating_sub(3);
            }
        }
        true
    }

    /// The next pixel without noise.
    fn level(&mut self) -> Option<u8> {
        while self.dark == 0 && self.lit == 0 {
            self.dark = *self.packed.next()?;
            self.lit = *self.packed.next()?;
        }
        if self.dark > 0 {
            self.dark = self.dark.wrapping_sub(1);
            return Some(self.ground);
        }
        self.lit = self.lit.wrapping_sub(1);
        self.packed.next().copied()
    }

    /// Marsaglia's xorshift with 32 bits of state: J. Stat. Softw. 8 (2003), from memory.
    fn noise(&mut self) -> u32 {
        let mut state = self.noise;
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        self.noise = state;
        state
    }
}
