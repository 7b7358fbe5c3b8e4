//! Another camera's view: the lens on a lit field, with the three dots that an inspector puts on it: one at the point that was
//! measured, two beside it on the line 0 to 180. The distance is invented.

use super::frame::{Light, Lighting, Mark, Outline};
use glam::{DVec2, dvec2};
use serde::Serialize;

const DOTS_APART_MM: f64 = 17.0;
const DOT_RADIUS_MM: f64 = 0.6;
const INK: f64 = 0.12;
/// Of a full well, and its growth over the frame.
const FIELD: f64 = 0.75;
const FIELD_GROWTH: f64 = 0.04;
/// The dots' line fills so much of the width.
const FILL: f64 = 0.7;

#[derive(Serialize)]
pub struct Ink {
    pixel_um: f64,
    turn_deg: f64,
    /// Column and row of each dot, from the observer's left to the right.
    pub dots_px: [[f64; 2]; 3],
}

/// Seen as the observer sees it, y up: this camera stands before the lens.
pub fn draw(width: usize, height: usize, well: f64, turn_deg: f64) -> (Light, Ink) {
    let pixel_mm = 2.0 * DOTS_APART_MM / (FILL * width as f64);
    let lighting = Lighting { level: FIELD * well, along: FIELD_GROWTH * well, down: 0.0 };
    let mut light = Light::new(width, height, lighting);
    let middle = dvec2(width as f64 - 1.0, height as f64 - 1.0) / 2.0 + dvec2(0.3, -0.4);
    let line = DVec2::from_angle(turn_deg.to_radians()) * DOTS_APART_MM / pixel_mm;
    let dots_px = [-1.0, 0.0, 1.0].map(|step| (middle + step * dvec2(line.x, -line.y)).to_array());
    for [column, row] in dots_px {
        let outline = Outline::Dot { radius: DOT_RADIUS_MM / pixel_mm };
        light.mark(&Mark { outline, column, row, turn_deg: 0.0, transmission: INK });
    }
    (light, Ink { pixel_um: 1000.0 * pixel_mm, turn_deg, dots_px })
}
