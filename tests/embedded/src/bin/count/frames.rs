//! The spot finder over whole frames, which are made row by row outside of what is counted: no frame fits into the memory of
//! the smaller cores.

use core::cell::{Cell, RefCell};

use dioptric::sensor::{FinderError, FinderMemory, FoundSpot, OpenBlob, Run, SpotFinder, SpotLimits, Tile};
use dioptric_embedded::count::{report_share, total};

use crate::inputs::Generator;

const WIDTH: usize = 640;
const HEIGHT: usize = 480;
/// A lattice of so many pixels a step; within six steps of the centre it has 113 places.
const PITCH: i32 = 36;
const REACH: i32 = 6;
const SPOTS: u32 = 113;
/// Standard deviation of a spot in quarters of a pixel: 5.5 pixels across at half its height.
const SIGMA: f64 = 4.0 * 2.336;
/// Quarters of a pixel to where a spot ends.
const EDGE: usize = 48;

/// What a frame shows.
#[derive(Clone, Copy, PartialEq)]
enum Scene {
    Dark,
    Spots,
}

/// Makes rows: a ground with noise of 1.6 counts, and spots of 180 counts at its lattice's places, each off by up to a pixel.
struct Camera {
    scene: Scene,
    ground: u32,
    generator: Generator,
    profile: [u32; EDGE],
}

impl Camera {
    fn new(scene: Scene, ground: u32) -> Self {
        let profile = core::array::from_fn(|at| {
            let sigmas = at as f64 / SIGMA;
            (256.0 * libm::exp(-sigmas * sigmas / 2.0) + 0.5) as u32
        });
        Self { scene, ground, generator: Generator::new(), profile }
    }

    /// A Gaussian's part, of 256, so many quarters of a pixel from its middle.
    fn part(&self, quarters: i32) -> u32 {
        self.profile.get(quarters.unsigned_abs() as usize).copied().unwrap_or(0)
    }

    /// Where the spot of a place of the lattice is off it, quarters of a pixel.
    fn off(column: i32, row: i32) -> (i32, i32) {
        let hash = (column * 31 + row * 57).unsigned_abs().wrapping_mul(0x9E37_79B9);
        ((hash >> 28) as i32 & 3, (hash >> 24) as i32 & 3)
    }

    fn row(&mut self, y: i32, pixels: &mut [u8; WIDTH]) {
        for pixel in pixels.iter_mut() {
            let noise = self.generator.word();
            *pixel = (self.ground - 3 + (noise >> 30) + (noise >> 3 & 3)) as u8;
        }
        if self.scene == Scene::Dark {
            return;
        }
        let nearest = (y - HEIGHT as i32 / 2 + 64 * PITCH + PITCH / 2) / PITCH - 64;
        for column in -REACH..=REACH {
            if column * column + nearest * nearest > REACH * REACH {
                continue;
            }
            let (right, down) = Self::off(column, nearest);
            let middle = WIDTH as i32 / 2 + column * PITCH;
            let across = self.part(4 * (y - HEIGHT as i32 / 2 - nearest * PITCH) - down);
            for x in middle - 13..middle + 14 {
                let light = 180 * across * self.part(4 * (x - middle) - right) >> 16;
                pixels[x as usize] += light as u8;
            }
        }
    }
}

/// What the finder hands out is taken in as a caller would.
#[derive(Default)]
struct Taken {
    spots: Cell<u32>,
    pixels: Cell<u32>,
    places: Cell<u32>,
}

impl Taken {
    fn clear(&self) {
        self.spots.set(0);
        self.pixels.set(0);
    }

    fn take(&self, spot: &FoundSpot) {
        self.spots.set(self.spots.get() + 1);
        self.pixels.set(self.pixels.get() + spot.area);
        self.places.set(self.places.get() ^ spot.x ^ spot.y);
    }
}

/// A finder, the row that it is given next in both forms, and what it handed out so far.
struct Bench<'a> {
    finder: RefCell<SpotFinder<'a>>,
    pixels: RefCell<[u8; WIDTH]>,
    words: RefCell<[u32; WIDTH / 4]>,
    taken: Taken,
}

type Row = fn(&Bench) -> Result<(), FinderError>;

fn row(bench: &Bench) -> Result<(), FinderError> {
    bench.finder.borrow_mut().row(&*bench.pixels.borrow(), |spot| bench.taken.take(&spot))
}

fn packed_row(bench: &Bench) -> Result<(), FinderError> {
    bench.finder.borrow_mut().packed_row::<u8>(&*bench.words.borrow(), |spot| bench.taken.take(&spot))
}

fn end(bench: &Bench) {
    let _rejected = bench.finder.borrow_mut().finish(|spot| bench.taken.take(&spot));
}

impl Bench<'_> {
    fn with(then: impl FnOnce(&Bench)) {
        let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; WIDTH / 32], [Run::EMPTY; 60], [OpenBlob::EMPTY; 30]);
        let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
        let Ok(finder) = SpotFinder::new(WIDTH as u16, SpotLimits::spots(8), memory) else { return };
        let (pixels, words) = (RefCell::new([0; WIDTH]), RefCell::new([0; WIDTH / 4]));
        then(&Bench { finder: RefCell::new(finder), pixels, words, taken: Taken::default() });
    }

    fn make_row(&self, camera: &mut Camera, y: usize) {
        let mut pixels = self.pixels.borrow_mut();
        camera.row(y as i32, &mut pixels);
        for (word, group) in self.words.borrow_mut().iter_mut().zip(pixels.chunks_exact(4)) {
            *word = group.try_into().map_or(0, u32::from_le_bytes);
        }
    }

    /// Instructions of so many rows from the first on, and of the first.
    fn rows(&self, camera: &mut Camera, count: usize, row: Row) -> (u32, u32) {
        let (mut spent, mut first) = (0, 0);
        for y in 0..count {
            self.make_row(camera, y);
            let once = total([self], row);
            if y == 0 {
                first = once;
            }
            spent += once;
        }
        (spent, first)
    }

    /// Instructions of a whole frame, and of its first row.
    fn frame(&self, scene: Scene, ground: u32, row: Row) -> (u32, u32) {
        let (spent, first) = self.rows(&mut Camera::new(scene, ground), HEIGHT, row);
        (spent + total([self], end), first)
    }

    /// Dark frames, over grounds whose levels share their leading bits or do not, and one with spots.
    fn report(&self, form: &str, row: Row) {
        const PIXELS: u32 = ((HEIGHT - 1) * WIDTH) as u32;
        for ground in [32, 12] {
            let (spent, first) = self.frame(Scene::Dark, ground, row);
            report_share(format_args!("spot finder, {form}: a dark pixel, ground {ground}"), spent - first, PIXELS);
        }
        let (dark, first) = self.frame(Scene::Dark, 12, row);
        report_share(format_args!("spot finder, {form}: a pixel of the first row"), first, WIDTH as u32);
        self.taken.clear();
        let (spent, _first) = self.frame(Scene::Spots, 12, row);
        assert_eq!(self.taken.spots.get(), SPOTS);
        let pixels = self.taken.pixels.get();
        report_share(format_args!("spot finder, {form}: what a bright pixel adds"), spent - dark, pixels);
        report_share(format_args!("spot finder, {form}: what a spot adds"), spent - dark, SPOTS);
        report_share(format_args!("spot finder, {form}: a frame of 640 x 480 with 113 spots"), spent, 1);
    }
}

#[inline(never)]
pub fn frames() {
    let forms: [(&str, Row); 2] = [("bytes", row), ("packed", packed_row)];
    for (form, row) in forms {
        Bench::with(|bench| bench.report(form, row));
    }
}
