//! The light on the pixels, before any noise.

use super::mark::Mark;
use super::profile::{Profile, Spot};

/// Electrons of each pixel, rows from the top.
#[derive(Clone, Debug, PartialEq)]
pub struct Light {
    pub width: usize,
    pub height: usize,
    pub electrons: Vec<f64>,
}

/// Light that is everywhere, a plane: electrons at the middle of the frame, and how much they grow over its width and height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lighting {
    pub level: f64,
    pub along: f64,
    pub down: f64,
}

/// A round speck: what lies on the detector or the plate and takes light away, or scatters some into the camera.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Speck {
    pub column: f64,
    pub row: f64,
    pub radius: f64,
    /// Part of the light that is left.
    pub transmission: f64,
    /// Electrons a pixel that are scattered.
    pub scattered: f64,
}

/// Each way over a pixel, for the part of it that a border cuts off.
const PARTS: usize = 8;

/// Part of the pixel for whose points `is_inside` holds.
pub(super) fn coverage(column: usize, row: usize, is_inside: impl Fn(f64, f64) -> bool) -> f64 {
    let at = |start: usize, part: usize| start as f64 - 0.5 + (part as f64 + 0.5) / PARTS as f64;
    let inside = |&(i, j): &(usize, usize)| is_inside(at(column, i), at(row, j));
    let points = (0..PARTS).flat_map(|j| (0..PARTS).map(move |i| (i, j)));
    points.filter(inside).count() as f64 / (PARTS * PARTS) as f64
}

impl Light {
    pub fn new(width: usize, height: usize, lighting: Lighting) -> Self {
        let (middle_x, middle_y) = ((width as f64 - 1.0) / 2.0, (height as f64 - 1.0) / 2.0);
        let at = |index: usize| {
            let (x, y) = ((index % width) as f64 - middle_x, (index / width) as f64 - middle_y);
            lighting.level + lighting.along * x / width as f64 + lighting.down * y / height as f64
        };
        let electrons = (0..width * height).map(|index| at(index).max(0.0)).collect();
        Self { width, height, electrons }
    }

    pub fn add(&mut self, spot: &Spot, profile: Profile) {
        let Self { width, height, electrons } = self;
        spot.each_pixel(profile, *width, *height, |column, row, light| electrons[row * *width + column] += light);
    }

    pub fn speck(&mut self, speck: &Speck) {
        let Speck { column, row, radius, transmission, scattered } = *speck;
        self.cover([column, row], radius, |x, y| (x - column).hypot(y - row) <= radius, transmission, scattered);
    }

    pub fn mark(&mut self, mark: &Mark) {
        self.cover([mark.column, mark.row], mark.reach(), |x, y| mark.is_inside(x, y), mark.transmission, 0.0);
    }

    fn cover(
        &mut self,
        [column, row]: [f64; 2],
        reach: f64,
        is_inside: impl Fn(f64, f64) -> bool,
        transmission: f64,
        scattered: f64,
    ) {
        let range = |centre: f64, most: usize| {
            ((centre - reach - 1.0).floor() as usize)..((centre + reach + 2.0).ceil() as usize).min(most)
        };
        for y in range(row, self.height) {
            for x in range(column, self.width) {
                let part = coverage(x, y, &is_inside);
                let light = &mut self.electrons[y * self.width + x];
                *light += part * (*light * (transmission - 1.0) + scattered);
            }
        }
    }
}
