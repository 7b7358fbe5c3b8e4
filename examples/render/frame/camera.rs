//! The camera: shot noise, read noise, full well, gain, black level, bits.

use super::super::pgm::Image;
use super::light::Light;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, Poisson};

/// A camera whose full scale is a full well.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// 8 to 16.
    pub bits: u32,
    pub full_well_electrons: f64,
    /// Standard deviation.
    pub read_noise_electrons: f64,
    /// What is read without light, counts.
    pub black_counts: f64,
}

/// A pixel that reads the same whatever the light: a part of full scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HotPixel {
    pub column: usize,
    pub row: usize,
    pub level: f64,
}

impl Camera {
    pub fn full(&self) -> u16 {
        u16::try_from((1u32 << self.bits) - 1).unwrap_or(u16::MAX)
    }

    /// Electrons a count.
    pub fn gain(&self) -> f64 {
        self.full_well_electrons / (f64::from(self.full()) - self.black_counts)
    }

    /// The frame with noise; the same for the same seed.
    pub fn expose(&self, light: &Light, hot: &[HotPixel], seed: u64) -> Image {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let read = Normal::new(0.0, self.read_noise_electrons).expect("a standard deviation");
        let mut noisy = |expected: f64| {
            // No light gives no electrons, and no distribution of them.
            let shot = Poisson::new(expected).map_or(0.0, |shot| shot.sample(&mut random));
            shot.min(self.full_well_electrons) + read.sample(&mut random)
        };
        let electrons: Vec<f64> = light.electrons.iter().map(|&expected| noisy(expected)).collect();
        self.convert(light.width, &electrons, hot)
    }

    /// The frame without noise, yet in whole counts.
    pub fn expose_quietly(&self, light: &Light, hot: &[HotPixel]) -> Image {
        self.convert(light.width, &light.electrons, hot)
    }

    fn convert(&self, width: usize, electrons: &[f64], hot: &[HotPixel]) -> Image {
        let (gain, full) = (self.gain(), f64::from(self.full()));
        let count = |counts: f64| counts.round().clamp(0.0, full) as u16;
        let mut pixels: Vec<u16> = electrons.iter().map(|light| count(self.black_counts + light / gain)).collect();
        for pixel in hot {
            pixels[pixel.row * width + pixel.column] = count(pixel.level * full);
        }
        Image { width, full: self.full(), pixels }
    }
}
