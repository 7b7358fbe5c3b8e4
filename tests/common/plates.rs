//! Plates with holes, lenses behind which they are seen, and cameras that lose some spots and see others: made in `f64`.
#![allow(dead_code, reason = "each test file uses its part")]

use super::common::Random;
use super::spots::{Lens, Place, normal, place, point, signed, unit};
use dioptric::oracle::Matrix;
use dioptric::quantity::{Degree, Millimetre, Point};
use dioptric::sensor::{
    AssignError, Cell, Findings, Hole, HolePair, Lattice, LatticeKind, PlacedSpot, Plate, Reference,
};
use std::collections::HashMap;

pub const GAP: f64 = 5.0;
pub const THROW: f64 = 20.0;
/// Noise of a spot's coordinate: 0.02 pixels of 3.45 um.
pub const NOISE: f64 = 0.02 * 0.003_45;

/// A plate as drawn.
pub fn plate(kind: LatticeKind, pitch: f64, marker: Option<Hole>) -> Plate {
    Plate {
        kind,
        pitch: Millimetre::try_from_f64(pitch).expect("a pitch"),
        origin: Point::ORIGIN,
        rotation: Degree::ZERO,
        centre: Point::ORIGIN,
        radius: Millimetre::try_from_f64(6.0 * pitch).expect("a radius"),
        marker,
    }
}

/// How the plate is mounted against the drawing, and seen without a lens.
#[derive(Clone, Copy, Debug)]
pub struct Mount {
    pub degrees: f64,
    pub scale: f64,
    pub offset: Place,
}

impl Mount {
    pub const STRAIGHT: Self = Self { degrees: 0.0, scale: 1.0, offset: [0.0; 2] };

    pub fn any(random: &mut Random) -> Self {
        let offset = [0.25 * signed(random), 0.25 * signed(random)];
        Self { degrees: 3.0 * signed(random), scale: 1.0 + 0.005 * signed(random), offset }
    }

    pub fn seen(&self, drawn: Place) -> Place {
        let (sin, cos) = self.degrees.to_radians().sin_cos();
        let [x, y] = drawn.map(|c| c * self.scale);
        [x * cos - y * sin + self.offset[0], x * sin + y * cos + self.offset[1]]
    }
}

/// A lens whose power changes over it: the slopes are the gradient of a potential, hence those of a real surface.
#[derive(Clone, Copy, Debug)]
pub struct Bent {
    pub lens: Lens,
    /// Where the power is that of the lens, millimetres: the prism there adds to the lens's.
    pub centre: Place,
    /// Rise of the power along a direction, dioptres a millimetre (a progressive lens has 3.5 over 12 mm).
    pub rise: f64,
    pub degrees: f64,
    /// Spherical aberration, dioptres a square millimetre.
    pub aberration: f64,
}

impl Bent {
    pub fn of(lens: Lens) -> Self {
        Self { lens, centre: [0.0; 2], rise: 0.0, degrees: 0.0, aberration: 0.0 }
    }

    /// Principal powers within 25 D, cylinder to 8 D, prism to 20 prism dioptres, decentration of the optical centre
    /// within that prism, a rise to 3.5 D over 12 mm.
    pub fn any(random: &mut Random) -> Self {
        let cylinder = -8.0 * unit(random);
        let sphere = -25.0 - cylinder + unit(random) * (50.0 + cylinder);
        let lens = Lens::new(sphere, cylinder, 180.0 * unit(random), [0.0; 2]);
        let (amount, base) = (20.0 * unit(random), std::f64::consts::TAU * unit(random));
        let prism = [amount * base.cos(), amount * base.sin()];
        let rise = if random.u32() & 1 == 0 { 0.0 } else { 3.5 / 12.0 * unit(random) };
        let aberration = 0.03 * signed(random);
        Self { lens: Lens { prism, ..lens }, centre: [0.0; 2], rise, degrees: 360.0 * unit(random), aberration }
    }

    /// Power at the plate, `V = (I - gap F)^-1 F`.
    pub fn at_plate(&self) -> Matrix {
        self.lens.power.step(-GAP)
    }

    /// Slope behind a hole: `s0 - V x`, less the gradient of `rise y (x^2 + y^2 / 3) / 2 + aberration r^4 / 4`, whose powers
    /// are `rise y` and `3 aberration r^2` in the mean.
    pub fn slope(&self, hole: Place) -> Place {
        let v = self.at_plate();
        let p = self.lens.prism.map(|c| c / 100.0);
        let g = GAP / 1000.0;
        let s0 = [p[0] + g * (v.xx * p[0] + v.xy * p[1]), p[1] + g * (v.xy * p[0] + v.yy * p[1])];
        let r = [hole[0] - self.centre[0], hole[1] - self.centre[1]];
        let (sin, cos) = self.degrees.to_radians().sin_cos();
        let (x, y) = (r[0] * cos + r[1] * sin, r[1] * cos - r[0] * sin);
        let (u, w) = (self.rise * x * y, self.rise * (x * x + y * y) / 2.0);
        let square = self.aberration * (x * x + y * y);
        [
            s0[0] - (v.xx * r[0] + v.xy * r[1] + u * cos - w * sin + square * r[0]) / 1000.0,
            s0[1] - (v.xy * r[0] + v.yy * r[1] + u * sin + w * cos + square * r[1]) / 1000.0,
        ]
    }

    pub fn landing(&self, hole: Place) -> Place {
        let slope = self.slope(hole);
        [0, 1].map(|i| hole[i] + THROW * slope[i])
    }

    /// The larger principal value of `I - throw V`: how far the lens spreads the spots.
    pub fn widest(&self) -> f64 {
        let form = self.at_plate().sphero_cylinder();
        [form.sphere, form.sphere + form.cylinder].map(|v| 1.0 - THROW * v / 1000.0).into_iter().fold(0.0, f64::max)
    }
}

/// What the camera loses, and what it sees beside the spots.
#[derive(Clone, Copy, Debug)]
pub struct Faults {
    pub missing: f64,
    pub extra: f64,
    pub noise: f64,
}

impl Faults {
    pub const NONE: Self = Self { missing: 0.0, extra: 0.0, noise: NOISE };
    pub const MANY: Self = Self { missing: 0.2, extra: 0.1, noise: NOISE };
}

/// Spots as a camera gives them, and the truth behind.
pub struct Scene {
    pub spots: Vec<PlacedSpot>,
    /// Which hole the light of a place came through, by the place's bits; no entry for what came through none.
    pub truth: HashMap<(i32, i32), Hole>,
    /// Where the light of each hole lands.
    pub landing: HashMap<Hole, Place>,
}

fn bits(point: Point) -> (i32, i32) {
    (point.x.to_bits(), point.y.to_bits())
}

const LIGHT: f64 = 10_000.0;

impl Scene {
    /// The light of each hole at its landing, in random order, with faults.
    pub fn new(lattice: &Lattice, faults: Faults, random: &mut Random, landing: impl Fn(Place) -> Place) -> Self {
        let landing = lattice.holes().map(|hole| (hole, landing(place(lattice.place(hole))))).collect();
        Self::of_landing(lattice, faults, random, landing)
    }

    /// The same of places that are given.
    pub fn of_landing(lattice: &Lattice, faults: Faults, random: &mut Random, landing: HashMap<Hole, Place>) -> Self {
        let (mut spots, mut truth) = (Vec::new(), HashMap::new());
        for hole in lattice.holes() {
            let [dx, dy] = normal(random);
            let [x, y] = landing[&hole];
            let spot = point([x + faults.noise * dx, y + faults.noise * dy]);
            let marked = if lattice.plate().marker == Some(hole) { 2.0 } else { 1.0 };
            let light = LIGHT * marked * (1.0 + 0.1 * signed(random));
            if unit(random) >= faults.missing {
                truth.insert(bits(spot), hole);
                spots.push(PlacedSpot::new(spot, light as u32));
            }
        }
        let mut scene = Self { spots, truth, landing };
        scene.add_ghosts((faults.extra * f64::from(lattice.count())).round() as usize, random);
        scene.shuffle(random);
        scene
    }

    /// Anywhere about the pattern, no brighter than a spot.
    fn add_ghosts(&mut self, count: usize, random: &mut Random) {
        let places: Vec<Place> = self.landing.values().copied().collect();
        let ends = |axis: usize| {
            let values = || places.iter().map(move |p| p[axis]);
            (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max))
        };
        let ends = [ends(0), ends(1)];
        for _ in 0..count {
            let ghost = ends.map(|(low, high)| low - 0.3 + (high - low + 0.6) * unit(random));
            let ghost = point(ghost);
            if !self.truth.contains_key(&bits(ghost)) {
                self.spots.push(PlacedSpot::new(ghost, (LIGHT * (0.2 + 0.8 * unit(random))) as u32));
            }
        }
    }

    /// Whether a pair's spot is the light of its hole.
    pub fn is_of(&self, found: &HolePair) -> bool {
        self.truth.get(&bits(found.pair.spot())) == Some(&found.hole)
    }

    /// Fisher and Yates.
    pub fn shuffle(&mut self, random: &mut Random) {
        for last in (1..self.spots.len()).rev() {
            self.spots.swap(last, random.u32() as usize % (last + 1));
        }
    }
}

/// What is wrong with pairs: a hole or a spot twice, a spot of another hole, a ghost farther than `allowed` from where the
/// hole's light lands. Else how many ghosts were taken for the light that they are so near to.
pub fn faults(scene: &Scene, pairs: &[HolePair], allowed: f64) -> Result<usize, String> {
    let (mut holes, mut spots, mut ghosts) = (Vec::new(), Vec::new(), 0);
    for HolePair { hole, pair } in pairs {
        if holes.contains(hole) || spots.contains(&bits(pair.spot())) {
            return Err(format!("{hole:?} or its spot twice"));
        }
        holes.push(*hole);
        spots.push(bits(pair.spot()));
        match scene.truth.get(&bits(pair.spot())) {
            Some(true_hole) if true_hole == hole => {}
            Some(true_hole) => return Err(format!("{hole:?} has the spot of {true_hole:?}")),
            None => {
                let [x, y] = place(pair.spot());
                let [a, b] = scene.landing[hole];
                let off = (x - a).hypot(y - b);
                if off > allowed {
                    return Err(format!("{hole:?} has a ghost {off} mm off"));
                }
                ghosts += 1;
            }
        }
    }
    Ok(ghosts)
}

/// Memory of a caller.
pub struct Memory {
    pub cells: Vec<Cell>,
    pub places: Vec<Option<Point>>,
}

impl Memory {
    pub fn of(lattice: &Lattice) -> Self {
        Self { cells: vec![Cell::EMPTY; lattice.cells()], places: vec![None; lattice.count().into()] }
    }
}

pub fn assigned(
    reference: &Reference,
    scene: &mut Scene,
    cells: &mut [Cell],
) -> Result<(Vec<HolePair>, Findings), AssignError> {
    let assignment = reference.assign(&mut scene.spots, cells)?;
    Ok((assignment.pairs().collect(), *assignment.findings()))
}
