//! A frame of a known lens: which spots are where, what is wrong with the frame on purpose, and the picture.
#![allow(dead_code, reason = "each program that includes this module uses its part")]

use super::frame::{Camera, HotPixel, Light, Lighting, Profile, Speck, Spot};
use super::optics::{Hole, Lens};
use super::pgm::Image;
use super::setup::Setup;
use glam::{DVec2, dvec2};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// How spots and ground look. Levels in parts of a full well.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    pub profile: Profile,
    /// Standard deviation of a spot, pixels.
    pub sigma_px: f64,
    /// Of a spot's centre above the ground.
    pub height: f64,
    /// How much wider the marker is, and how high.
    pub marker_width: f64,
    pub marker_height: f64,
    pub ground: f64,
    /// How much the ground grows over the frame's width and height.
    pub ground_along: f64,
    pub ground_down: f64,
}

impl Default for Look {
    /// Invented.
    fn default() -> Self {
        Self {
            profile: Profile::Gaussian,
            sigma_px: 2.0,
            height: 0.6,
            marker_width: 1.25,
            marker_height: 0.8,
            ground: 0.04,
            ground_along: 0.0,
            ground_down: 0.0,
        }
    }
}

/// How many of each fault.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Faults {
    /// Blocked holes.
    pub missing: usize,
    /// Spots with a speck of dust on one side, which hides what it covers.
    pub dusty: usize,
    /// Spots twice as bright as the camera can tell.
    pub saturated: usize,
    /// Weak images of spots, off by [`GHOST_SHIFT`].
    pub ghosts: usize,
    /// Specks away from the spots that scatter light.
    pub glints: usize,
    /// Single bright pixels, away from the spots.
    pub hot: usize,
}

/// Pixels, in units of a spot's standard deviation: clear of the spot itself.
const GHOST_SHIFT: DVec2 = dvec2(5.2, 3.4);
/// Height of a ghost, of a full well: above the threshold of a finder at 1/64, below a least height of 1/16.
const GHOST_HEIGHT: f64 = 0.05;
const SATURATED_HEIGHT: f64 = 2.0;
const GLINT_HEIGHT: f64 = 0.25;
const GLINT_RADIUS: f64 = 0.8;
const HOT_LEVEL: f64 = 0.9;
const DUST_TRANSMISSION: f64 = 0.15;
/// Standard deviations of a spot that glints and hot pixels keep from all others.
const CLEAR: f64 = 6.0;

/// What was done to a spot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    Good,
    Missing,
    Dusty,
    Saturated,
}

impl Fate {
    pub const fn name(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Missing => "missing",
            Self::Dusty => "dusty",
            Self::Saturated => "saturated",
        }
    }
}

/// A spot as it was drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    pub hole: Hole,
    pub zones: [usize; 2],
    /// On the detector, mm.
    pub at: DVec2,
    /// Column and row.
    pub place: DVec2,
    pub sigma: f64,
    /// Electrons.
    pub height: f64,
    pub fate: Fate,
}

pub struct Scene {
    pub spots: Vec<Drawn>,
    pub light: Light,
    pub hot: Vec<HotPixel>,
}

impl Scene {
    /// Lights the plate through a lens, or through none.
    pub fn new(setup: &Setup, lens: Option<&Lens>, look: &Look, faults: &Faults, camera: &Camera, seed: u64) -> Self {
        let well = camera.full_well_electrons;
        let (width, height) = (setup.detector.width_px.into(), setup.detector.height_px.into());
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        // Apart from the stream of the noise, which has the same seed.
        random.set_stream(1);
        let mut spots = landed(setup, lens, look, well);
        let dust = spoil(&mut spots, setup, faults, well, &mut random);
        let lighting =
            Lighting { level: look.ground * well, along: look.ground_along * well, down: look.ground_down * well };
        let mut light = Light::new(width, height, lighting);
        let seen: Vec<_> = spots.iter().filter(|spot| spot.fate != Fate::Missing).copied().collect();
        for spot in &seen {
            let Drawn { place, sigma, height, .. } = *spot;
            light.add(&Spot { column: place.x, row: place.y, sigma, height }, look.profile);
        }
        let mut taken: Vec<DVec2> = seen.iter().map(|spot| spot.place).collect();
        for spot in seen.iter().filter(|spot| spot.fate == Fate::Good).take(faults.ghosts) {
            let place = spot.place + GHOST_SHIFT * look.sigma_px;
            let height = GHOST_HEIGHT * well;
            light.add(&Spot { column: place.x, row: place.y, sigma: look.sigma_px, height }, look.profile);
            taken.push(place);
        }
        dust.iter().for_each(|speck| light.speck(speck));
        let clear = CLEAR * look.sigma_px * look.marker_width;
        for _ in 0..faults.glints {
            let DVec2 { x: column, y: row } = free_place(setup, &mut taken, clear, &mut random);
            let scattered = GLINT_HEIGHT * well;
            light.speck(&Speck { column, row, radius: GLINT_RADIUS, transmission: 1.0, scattered });
        }
        let hot_pixel = |_| {
            let place = free_place(setup, &mut taken, clear, &mut random);
            HotPixel { column: place.x as usize, row: place.y as usize, level: HOT_LEVEL }
        };
        let hot = (0..faults.hot).map(hot_pixel).collect();
        Self { spots, light, hot }
    }

    pub fn expose(&self, camera: &Camera, seed: u64) -> Image {
        camera.expose(&self.light, &self.hot, seed)
    }

    pub fn expose_quietly(&self, camera: &Camera) -> Image {
        camera.expose_quietly(&self.light, &self.hot)
    }
}

fn landed(setup: &Setup, lens: Option<&Lens>, look: &Look, well: f64) -> Vec<Drawn> {
    let bench = setup.bench();
    let landings = |hole: &Hole| match lens {
        Some(lens) => bench.land(lens, hole.at).iter().map(|landing| (landing.at, landing.zones)).collect(),
        None => vec![(hole.at, [0, 0])],
    };
    let drawn = |hole: Hole| {
        let (wide, height) = if hole.is_marker { (look.marker_width, look.marker_height) } else { (1.0, look.height) };
        landings(&hole).into_iter().map(move |(at, zones)| {
            let (sigma, height) = (look.sigma_px * wide, height * well);
            Drawn { hole, zones, at, place: setup.to_pixels(at), sigma, height, fate: Fate::Good }
        })
    };
    setup.plate().holes().into_iter().flat_map(drawn).collect()
}

/// Gives holes their fates by lot, and says where dust lies. A hole's fate is that of all its spots; the marker is spared.
fn spoil(spots: &mut [Drawn], setup: &Setup, faults: &Faults, well: f64, random: &mut ChaCha8Rng) -> Vec<Speck> {
    let mut left: Vec<_> = setup.plate().holes().into_iter().filter(|hole| !hole.is_marker).collect();
    let mut dust = Vec::new();
    let fates = [(Fate::Missing, faults.missing), (Fate::Saturated, faults.saturated), (Fate::Dusty, faults.dusty)];
    for fate in fates.iter().flat_map(|&(fate, count)| std::iter::repeat_n(fate, count)) {
        if left.is_empty() {
            break;
        }
        let node = left.swap_remove(random.random_range(0..left.len())).node;
        let bearing = DVec2::from_angle(random.random_range(0.0..std::f64::consts::TAU));
        for spot in spots.iter_mut().filter(|spot| spot.hole.node == node) {
            spot.fate = fate;
            if fate == Fate::Saturated {
                spot.height = SATURATED_HEIGHT * well;
            }
            if fate == Fate::Dusty {
                let DVec2 { x: column, y: row } = spot.place + bearing * spot.sigma;
                let (radius, transmission) = (spot.sigma * 0.7, DUST_TRANSMISSION);
                dust.push(Speck { column, row, radius, transmission, scattered: 0.0 });
            }
        }
    }
    dust
}

/// A pixel within the frame, away from all that is taken, which it joins. Gives up after many tries: the frame is full.
fn free_place(setup: &Setup, taken: &mut Vec<DVec2>, clear: f64, random: &mut ChaCha8Rng) -> DVec2 {
    const BORDER: u16 = 8;
    let mut place = DVec2::ZERO;
    for _ in 0..10_000 {
        let mut within = |size: u16| f64::from(random.random_range(BORDER..size.max(2 * BORDER + 1) - BORDER));
        place = dvec2(within(setup.detector.width_px), within(setup.detector.height_px));
        if taken.iter().all(|other| other.distance(place) > clear) {
            break;
        }
    }
    taken.push(place);
    place
}
