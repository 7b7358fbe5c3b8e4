//! The sensor: plate and detector, and the rays through the holes.

use super::lens::{Lens, Ray, Zones};
use glam::{DMat2, DVec2, DVec3};

/// Distances of the sensor, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bench {
    pub gap: f64,
    pub throw: f64,
}

/// Where the ray through a hole's centre lands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Landing {
    /// On the detector.
    pub at: DVec2,
    /// Zones of the front and back surface that it went through.
    pub zones: [usize; 2],
    /// How far from the hole's centre it crosses the plate.
    pub miss: f64,
}

/// Before every front surface.
const START_Z: f64 = -40.0;
/// What a ray may miss the hole's centre by, mm.
const GOAL: f64 = 1e-9;
/// Where the search stops, mm: a few roundings.
const STOP: f64 = 1e-13;
const MOST_STEPS: usize = 40;
/// For the derivatives, mm.
const STEP: f64 = 1e-4;

/// A ray's points on plate and detector.
struct Crossing {
    plate: DVec2,
    detector: DVec2,
    is_inside: bool,
}

impl Bench {
    fn trace(&self, lens: &Lens, entrance: DVec2, zones: Zones) -> Option<Crossing> {
        let (ray, is_inside) = lens.refract(Ray { at: entrance.extend(START_Z), along: DVec3::Z }, zones)?;
        let at = |z: f64| (ray.at + ray.along * ((z - ray.at.z) / ray.along.z)).truncate();
        Some(Crossing { plate: at(self.gap), detector: at(self.gap + self.throw), is_inside })
    }

    /// The ray through a hole's centre by one pair of zones: Newton on the place where it enters.
    fn through(&self, lens: &Lens, hole: DVec2, zones: Zones) -> Option<(Landing, bool)> {
        let mut entrance = hole;
        let mut best: Option<(Landing, bool)> = None;
        for _ in 0..MOST_STEPS {
            let here = self.trace(lens, entrance, zones)?;
            let off = here.plate - hole;
            let miss = off.length();
            if best.is_none_or(|(landing, _)| miss < landing.miss) {
                best = Some((Landing { at: here.detector, zones, miss }, here.is_inside));
            } else if miss < GOAL {
                break;
            }
            if miss < STOP {
                break;
            }
            let slope = |step: DVec2| {
                let [plus, minus] = [entrance + step, entrance - step].map(|at| self.trace(lens, at, zones));
                Some((plus?.plate - minus?.plate) / (2.0 * STEP))
            };
            let jacobian = DMat2::from_cols(slope(DVec2::X * STEP)?, slope(DVec2::Y * STEP)?);
            entrance -= jacobian.inverse() * off;
        }
        best.filter(|(landing, _)| landing.miss < GOAL)
    }

    /// Every ray that goes through a hole's centre: one; none in the shadow of a segment's edge, or beyond the lens; two where
    /// an edge lets the light of both its sides into the hole.
    pub fn land(&self, lens: &Lens, hole: DVec2) -> Vec<Landing> {
        let within = |zones| self.through(lens, hole, zones).filter(|(_, is_inside)| *is_inside);
        lens.zones().filter_map(within).map(|(landing, _)| landing).collect()
    }

    /// The ray through a place of the plate by given zones, whatever their outlines.
    pub fn land_by(&self, lens: &Lens, place: DVec2, zones: Zones) -> Option<Landing> {
        self.through(lens, place, zones).map(|(landing, _)| landing)
    }
}
