//! The spot finder on synthetic frames: Gaussian spots of known places, with the sensor's noise, uneven lighting, and what is no spot.

mod common;

use common::Random;
use dioptric::sensor::{
    FinderError, FinderMemory, FoundSpot, OpenBlob, Pixel, Polarity, Rejected, Run, SpotFinder, SpotLimits, Tile,
};
use proptest::prelude::{any, prop, prop_assert, prop_assert_eq, proptest};
use std::collections::HashSet;

/// A frame in counts, before noise and rounding.
#[derive(Clone)]
struct Frame {
    width: usize,
    levels: Vec<f64>,
}

#[derive(Clone, Copy, Debug)]
struct Gaussian {
    x: f64,
    y: f64,
    sigma: f64,
    height: f64,
}

/// Integral of a normal distribution's density over the pixel.
fn pixel_share(pixel: usize, centre: f64, sigma: f64) -> f64 {
    let at = |edge: f64| libm::erf(edge / (sigma * 2f64.sqrt()));
    (at(pixel as f64 + 0.5 - centre) - at(pixel as f64 - 0.5 - centre)) / 2.0
}

impl Frame {
    fn new(width: usize, height: usize, background: impl Fn(f64, f64) -> f64) -> Self {
        let at = |index: usize| background((index % width) as f64, (index / width) as f64);
        Self { width, levels: (0..width * height).map(at).collect() }
    }

    fn even(width: usize, height: usize, background: f64) -> Self {
        Self::new(width, height, |_, _| background)
    }

    fn rows(&self) -> usize {
        self.levels.len() / self.width
    }

    /// Adds a spot whose light is that of a Gaussian of the given height at its centre.
    fn add(&mut self, spot: Gaussian) {
        let reach = 7.0 * spot.sigma;
        let range = |centre: f64, most: usize| {
            (centre - reach).max(0.0) as usize..((centre + reach).max(0.0) as usize + 1).min(most)
        };
        let total = spot.height * std::f64::consts::TAU * spot.sigma * spot.sigma;
        for y in range(spot.y, self.rows()) {
            let row_share = total * pixel_share(y, spot.y, spot.sigma);
            for x in range(spot.x, self.width) {
                self.levels[y * self.width + x] += row_share * pixel_share(x, spot.x, spot.sigma);
            }
        }
    }

    fn patch(&mut self, columns: std::ops::Range<usize>, rows: std::ops::Range<usize>, level: f64) {
        for y in rows {
            for x in columns.clone() {
                self.levels[y * self.width + x] = level;
            }
        }
    }

    /// With Poisson noise of `gain` electrons a count, taken as normal, and read noise in electrons.
    fn noisy(&self, random: &mut Random, gain: f64, read: f64) -> Self {
        let noisy = |level: &f64| level + normal(random) * (level * gain + read * read).sqrt() / gain;
        Self { width: self.width, levels: self.levels.iter().map(noisy).collect() }
    }

    fn bytes(&self) -> Vec<u8> {
        self.levels.iter().map(|level| level.round() as u8).collect()
    }

    fn words(&self) -> Vec<u16> {
        self.levels.iter().map(|level| level.round() as u16).collect()
    }
}

fn uniform(random: &mut Random) -> f64 {
    (random.u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// Box and Muller, "A note on the generation of random normal deviates", Annals of Mathematical Statistics 29 (1958) 610.
fn normal(random: &mut Random) -> f64 {
    let radius = (-2.0 * (1.0 - uniform(random)).ln()).sqrt();
    radius * (std::f64::consts::TAU * uniform(random)).cos()
}

type Found = Result<(Vec<FoundSpot>, Rejected), FinderError>;

fn search_with<P: Pixel>(pixels: &[P], width: usize, limits: SpotLimits, runs: usize, blobs: usize) -> Found {
    let tiles = SpotFinder::tiles(width as u16);
    let (mut tiles, mut runs, mut blobs) =
        (vec![Tile::EMPTY; tiles], vec![Run::EMPTY; runs], vec![OpenBlob::EMPTY; blobs]);
    let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
    let mut finder = SpotFinder::new(width as u16, limits, memory)?;
    let mut spots = Vec::new();
    for row in pixels.chunks(width) {
        finder.row(row, |spot| spots.push(spot))?;
    }
    let rejected = finder.finish(|spot| spots.push(spot))?;
    Ok((spots, rejected))
}

/// With the memory that is enough for any frame of the width.
fn search<P: Pixel>(pixels: &[P], width: usize, limits: SpotLimits) -> (Vec<FoundSpot>, Rejected) {
    search_with(pixels, width, limits, width + 1, width + 1).expect("enough memory")
}

fn place(spot: &FoundSpot) -> (f64, f64) {
    let unit = f64::from(1u32 << FoundSpot::PLACE_BITS);
    (f64::from(spot.x) / unit, f64::from(spot.y) / unit)
}

const NONE: Rejected = Rejected { too_large: 0, too_small: 0, clipped: 0, too_dim: 0, saturated: 0, elongated: 0 };

/// A lattice of spots, each off its node by up to half a pixel either way.
fn lattice(random: &mut Random, sigma: f64, height: f64) -> Vec<Gaussian> {
    let mut spots = Vec::new();
    for row in 0..8 {
        for column in 0..8 {
            let mut at = |node: i32| 24.0 + 26.0 * f64::from(node) + uniform(random) - 0.5;
            spots.push(Gaussian { x: at(column), y: at(row), sigma, height });
        }
    }
    spots
}

fn nearest(spots: &[FoundSpot], truth: Gaussian) -> (f64, f64) {
    let off = |spot: &FoundSpot| (place(spot).0 - truth.x, place(spot).1 - truth.y);
    let offs = spots.iter().map(off);
    offs.min_by(|a, b| a.0.hypot(a.1).total_cmp(&b.0.hypot(b.1))).expect("a spot")
}

/// Largest error of a coordinate over a lattice of noise-free spots.
fn largest_bias(background: impl Fn(f64, f64) -> f64, sigma: f64, bits: u8, height: f64) -> f64 {
    let mut random = Random::new("bias");
    let spots = lattice(&mut random, sigma, height);
    let mut frame = Frame::new(232, 232, background);
    spots.iter().for_each(|&spot| frame.add(spot));
    let (found, rejected) = search(&frame.words(), frame.width, SpotLimits::spots(bits));
    assert_eq!((found.len(), rejected), (spots.len(), NONE), "sigma {sigma}");
    spots.iter().map(|&truth| nearest(&found, truth)).fold(0.0, |worst, (x, y)| worst.max(x.abs()).max(y.abs()))
}

#[test]
fn without_noise_the_centroid_is_within_its_bound() {
    for sigma in [1.5, 2.0, 2.5, 3.0] {
        for (bits, height) in [(8, 180.0), (10, 700.0), (12, 3000.0)] {
            let bias = largest_bias(|_, _| 20.0, sigma, bits, height);
            println!("even background, sigma {sigma}, {bits} bits: bias {bias:.4} pixel");
            assert!(bias <= 0.01, "sigma {sigma}, {bits} bits: {bias}");
        }
    }
}

#[test]
fn uneven_lighting_moves_the_centroid_little() {
    for (name, along, across) in [("along", 1.0 / 32.0, 0.0), ("across", 0.0, 1.0 / 32.0), ("both", -0.02, 0.02)] {
        let bias = largest_bias(|x, y| 20.0 + along * x + across * y, 2.0, 8, 180.0);
        println!("lighting {name}: bias {bias:.4} pixel");
        assert!(bias <= 0.02, "{name}: {bias}");
    }
}

/// Fisher information of a coordinate in independent normal pixels of variance `signal + read^2`, all else being known:
/// the sum of `(d mu / d x)^2 / variance`; Winick, "Cramer-Rao lower bounds on the performance of charge-coupled-device optical
/// position estimators", JOSA A 3 (1986) 1809 (title and use from memory). The rounding to counts adds its 1/12.
fn cramer_rao(spot: Gaussian, background: f64, gain: f64, read: f64) -> f64 {
    let total = spot.height * gain * std::f64::consts::TAU * spot.sigma * spot.sigma;
    let centre = 32.0;
    let shares = |offset: f64| (0..64).map(move |pixel| pixel_share(pixel, centre + offset, spot.sigma));
    let mut information = 0.0;
    for (plus, minus) in shares(5e-4).zip(shares(-5e-4)) {
        for row in shares(0.0) {
            let slope = total * row * (plus - minus) / 1e-3;
            let signal = total * row * (plus + minus) / 2.0 + background * gain;
            information += slope * slope / (signal + read * read + gain * gain / 12.0);
        }
    }
    information.recip().sqrt()
}

#[test]
fn with_noise_the_centroid_is_near_the_best_that_can_be() {
    const GAIN: f64 = 3.0;
    let mut random = Random::new("noise");
    for (read, background) in [(3.0, 20.0), (6.0, 60.0)] {
        let (mut squares, mut count) = (0.0, 0);
        let example = Gaussian { x: 0.0, y: 0.0, sigma: 2.0, height: 3200.0 };
        for _ in 0..24 {
            let spots = lattice(&mut random, example.sigma, example.height);
            let mut frame = Frame::even(232, 232, background);
            spots.iter().for_each(|&spot| frame.add(spot));
            let limits = SpotLimits { margin: 24, ..SpotLimits::spots(12) };
            let (found, _) = search(&frame.noisy(&mut random, GAIN, read).words(), frame.width, limits);
            assert_eq!(found.len(), spots.len());
            for &truth in &spots {
                let (x, y) = nearest(&found, truth);
                squares += x * x + y * y;
                count += 2;
            }
        }
        let seen = (squares / f64::from(count)).sqrt();
        let bound = cramer_rao(example, background, GAIN, read);
        println!(
            "read noise {read} electrons, background {background}: {seen:.5} pixel, bound {bound:.5}, {:.3}",
            seen / bound
        );
        assert!(seen / bound < 1.10, "{seen} against {bound}");
        assert!(seen / bound > 0.95, "better than can be: {seen} against {bound}");
    }
}

#[test]
fn noise_alone_gives_no_spots() {
    let mut random = Random::new("noise alone");
    for (background, gain, read) in [(20.0, 2.0, 2.0), (60.0, 0.5, 2.0), (100.0, 0.3, 1.0)] {
        let frame = Frame::even(320, 240, background).noisy(&mut random, gain, read);
        let (found, rejected) = search(&frame.bytes(), frame.width, SpotLimits::spots(8));
        println!("background {background}: {rejected:?}");
        assert!(found.is_empty());
        assert_eq!(rejected.total(), rejected.too_small);
        // Five standard deviations of 76 800 pixels: 0.02 are expected; the estimates are coarse and shot noise is skewed.
        assert!(rejected.too_small < 20, "{rejected:?}");
    }
}

#[test]
fn each_thing_that_is_no_spot_is_counted_by_its_reason() {
    let spot = |x, y, height| Gaussian { x, y, sigma: 2.0, height };
    let mut frame = Frame::even(256, 200, 15.0);
    frame.add(spot(40.0, 40.3, 150.0)); // the one good spot
    frame.add(spot(90.0, 40.0, 11.0)); // a ghost
    frame.add(spot(140.0, 40.0, 400.0)); // saturated
    frame.add(spot(40.0, 90.0, 150.0)); // two that touch
    frame.add(spot(47.0, 90.0, 150.0));
    frame.add(spot(0.0, 120.0, 150.0)); // at each border
    frame.add(spot(255.0, 120.0, 150.0));
    frame.add(spot(120.0, 0.0, 150.0));
    frame.add(spot(120.0, 199.0, 150.0));
    frame.patch(200..201, 40..41, 250.0); // a hot pixel
    frame.patch(200..202, 60..62, 60.0); // dust
    frame.patch(150..220, 100..150, 90.0); // too large
    let pixels: Vec<u8> = frame.levels.iter().map(|level| level.round().min(255.0) as u8).collect();
    let (found, rejected) = search(&pixels, frame.width, SpotLimits::spots(8));
    let expected = Rejected { too_large: 1, too_small: 2, clipped: 4, too_dim: 1, saturated: 1, elongated: 1 };
    assert_eq!(rejected, expected);
    assert_eq!(rejected.total(), 10);
    assert_eq!(found.len(), 1);
    let (x, y) = place(&found[0]);
    assert!((x - 40.0).abs() < 0.01 && (y - 40.3).abs() < 0.01, "{x} {y}");

    let accepting = SpotLimits { accept_saturated: true, ..SpotLimits::spots(8) };
    let (found, rejected) = search(&pixels, frame.width, accepting);
    assert_eq!((found.len(), rejected.saturated), (2, 0));
    assert_eq!(found.iter().filter(|spot| spot.saturated && spot.peak == 255).count(), 1);
}

/// A shape drawn in text, at 100 counts above a dark ground.
fn drawn(shape: &[&str]) -> (Vec<u8>, usize) {
    let width = shape[0].len();
    (shape.iter().flat_map(|row| row.bytes().map(|mark| if mark == b'#' { 110 } else { 10 })).collect(), width)
}

fn any_shape() -> SpotLimits {
    SpotLimits { least_area: 1, most_elongation: u16::MAX, ..SpotLimits::spots(8) }
}

#[test]
fn branches_that_meet_later_are_one() {
    let shapes: [(&[&str], u32); 4] = [
        (&["......", ".#..#.", ".#..#.", ".####.", "......"], 8),
        (&[".........", ".#.#.#.#.", ".#.#.#.#.", ".#######.", "........."], 15),
        (&["......", "..#...", ".#.#..", "..#...", "......"], 4),
        (&[".......", ".#...#.", "..#.#..", "...#...", "..#.#..", ".#...#.", "......."], 9),
    ];
    for (shape, area) in shapes {
        let (pixels, width) = drawn(shape);
        let (found, rejected) = search(&pixels, width, any_shape());
        assert_eq!((found.len(), rejected), (1, NONE), "{shape:?}");
        assert_eq!(found[0].area, area);
    }
    // Combs, whose teeth are joined from left to right, from right to left and in the middle.
    for (join, spots) in [(".#########..", 1), ("...#######..", 2), (".#####......", 3), ("............", 5)] {
        let (pixels, width) = drawn(&["............", ".#.#.#.#.#..", ".#.#.#.#.#..", join, "............"]);
        let (found, rejected) = search(&pixels, width, any_shape());
        assert_eq!((found.len(), rejected), (spots, NONE), "{join}");
    }
}

/// What a blob is by the definition: pixels above a level reached from each other, corners included.
#[derive(Debug)]
struct Flooded {
    area: u32,
    clipped: bool,
    sums: [f64; 3],
    bounds: [u16; 4],
}

/// Blobs of pixels above 50, by filling from each pixel.
fn flooded(pixels: &[u8], width: usize) -> (HashSet<usize>, Vec<Flooded>) {
    let height = pixels.len() / width;
    let mut seen = HashSet::new();
    let mut blobs = Vec::new();
    for start in 0..pixels.len() {
        if pixels[start] <= 50 || !seen.insert(start) {
            continue;
        }
        let mut blob = Flooded { area: 0, clipped: false, sums: [0.0; 3], bounds: [u16::MAX, u16::MAX, 0, 0] };
        let mut open = vec![start];
        while let Some(at) = open.pop() {
            let (x, y) = (at % width, at / width);
            blob.area += 1;
            blob.clipped |= x == 0 || y == 0 || x + 1 == width || y + 1 == height;
            let weight = f64::from(pixels[at]) - 18.0;
            blob.sums[0] += weight;
            blob.sums[1] += weight * x as f64;
            blob.sums[2] += weight * y as f64;
            let [left, top, right, bottom] = &mut blob.bounds;
            (*left, *top) = ((*left).min(x as u16), (*top).min(y as u16));
            (*right, *bottom) = ((*right).max(x as u16), (*bottom).max(y as u16));
            for y in y.saturating_sub(1)..(y + 2).min(height) {
                for x in x.saturating_sub(1)..(x + 2).min(width) {
                    let near = y * width + x;
                    if pixels[near] > 50 && seen.insert(near) {
                        open.push(near);
                    }
                }
            }
        }
        blobs.push(blob);
    }
    (seen, blobs)
}

/// Runs of bright pixels on a ground of 10, with a margin of 8: the threshold is 18 wherever less than half a tile is bright.
fn against_flood(pixels: &[u8], width: usize) {
    let limits = SpotLimits { margin: 8, sigmas: 0, least_height: 0, most_area: 1 << 15, ..any_shape() };
    let dark_first: Vec<u8> = vec![10; width].into_iter().chain(pixels.iter().copied()).collect();
    let (found, rejected) = search(&dark_first, width, limits);
    let (_, blobs) = flooded(&dark_first, width);
    let inside: Vec<_> = blobs.iter().filter(|blob| !blob.clipped).collect();
    assert_eq!(found.len(), inside.len());
    assert_eq!(rejected, Rejected { clipped: (blobs.len() - inside.len()) as u32, ..NONE });
    for spot in &found {
        let bounds = [spot.left, spot.top, spot.right, spot.bottom];
        let same = |blob: &&&Flooded| blob.bounds == bounds && blob.area == spot.area;
        let blob = inside.iter().find(same).unwrap_or_else(|| panic!("no blob is {spot:?}"));
        let (x, y) = place(spot);
        // The ground's estimate rises a little where much is bright.
        assert!((x - blob.sums[1] / blob.sums[0]).abs() < 0.2, "{spot:?} {blob:?}");
        assert!((y - blob.sums[2] / blob.sums[0]).abs() < 0.2, "{spot:?} {blob:?}");
    }
}

#[test]
fn blobs_are_those_of_a_flood_fill() {
    let mut random = Random::new("flood");
    for density in [20, 40, 60, 100, 140, 200] {
        for width in [1, 2, 7, 31, 32, 33, 63, 64, 65, 100, 131] {
            let bright = |random: &mut Random| random.u32() % 256 < density;
            let pixels: Vec<u8> = (0..width * 40)
                .map(|_| if bright(&mut random) { 60 + (random.u32() % 150) as u8 } else { 10 })
                .collect();
            against_flood(&pixels, width);
        }
    }
}

#[test]
fn marks_are_spots_of_the_turned_frame() {
    let mut frame = Frame::even(160, 120, 200.0);
    frame.patch(40..71, 30..44, 40.0);
    let (found, rejected) = search(&frame.bytes(), frame.width, SpotLimits::marks(8));
    assert_eq!((found.len(), rejected), (1, NONE));
    let mark = found[0];
    assert_eq!([mark.left, mark.top, mark.right, mark.bottom], [40, 30, 70, 43]);
    assert_eq!(mark.area, 31 * 14);
    let (x, y) = place(&mark);
    assert!((x - 55.0).abs() < 0.02 && (y - 36.5).abs() < 0.02, "{x} {y}");
    // Variances of a rectangle: the ratio of its sides.
    assert!((f64::from(mark.elongation) / 256.0 - 31.0 / 14.0).abs() < 0.02, "{}", mark.elongation);

    let turned: Vec<u8> = frame.bytes().iter().map(|level| !level).collect();
    let as_light = SpotLimits { polarity: Polarity::BrightOnDark, ..SpotLimits::marks(8) };
    assert_eq!(search(&turned, frame.width, as_light), (found, rejected));
}

#[test]
fn elongation_is_that_of_the_shape_in_any_direction() {
    for degrees in (0..180).step_by(15) {
        let (sin, cos) = f64::from(degrees).to_radians().sin_cos();
        let mut frame = Frame::even(120, 120, 10.0);
        for step in -40..=40 {
            // A row of spots that makes a Gaussian of standard deviations 4.47 and 2.
            let along = f64::from(step) / 4.0;
            let height = 8.0 * (-along * along / 32.0).exp();
            frame.add(Gaussian { x: 60.0 + along * cos, y: 60.0 - along * sin, sigma: 2.0, height });
        }
        let limits = SpotLimits { most_elongation: 1000, ..SpotLimits::spots(12) };
        let (found, _) = search(&frame.words(), frame.width, SpotLimits { margin: 1, least_height: 10, ..limits });
        let seen = f64::from(found[0].elongation) / 256.0;
        // The threshold cuts both ends of both axes alike.
        assert!((seen - 20f64.sqrt() / 2.0).abs() < 0.1, "{degrees}: {seen}");
    }
}

fn a_busy_frame() -> Frame {
    let mut random = Random::new("busy");
    let mut frame = Frame::new(232, 232, |x, y| 12.0 + x / 40.0 + y / 60.0);
    lattice(&mut random, 2.2, 150.0).into_iter().for_each(|spot| frame.add(spot));
    frame.noisy(&mut random, 4.0, 3.0)
}

#[test]
fn memory_that_suffices_changes_no_result() {
    let frame = a_busy_frame();
    let (pixels, width, limits) = (frame.bytes(), frame.width, SpotLimits::spots(8));
    let enough = search(&pixels, width, limits);
    assert_eq!(enough.0.len(), 64);
    let (mut ran, mut short) = (0, 0);
    for size in 0..60 {
        match search_with(&pixels, width, limits, 2 * size, 100) {
            Ok(result) => assert_eq!(result, enough),
            Err(error) => {
                assert_eq!(error, FinderError::TooManyRuns);
                short += 1;
            }
        }
        match search_with(&pixels, width, limits, 1000, size) {
            Ok(result) => {
                ran += 1;
                assert_eq!(result, enough);
            }
            Err(error) => assert_eq!(error, FinderError::TooManyBlobs),
        }
    }
    assert!(short >= 8 && ran >= 20, "{short} {ran}");
}

#[test]
fn words_give_what_bytes_give() {
    let frame = a_busy_frame();
    for limits in [SpotLimits::spots(8), SpotLimits::marks(8)] {
        assert_eq!(search(&frame.bytes(), frame.width, limits), search(&frame.words(), frame.width, limits));
    }
}

/// Pixels in words, four or two in each, and beyond the last pixel what is not to be looked at.
fn packed<P: Pixel + Into<u32>>(pixels: &[P]) -> Vec<u32> {
    let lanes = 4 / size_of::<P>();
    let word = |group: &[P]| {
        let beyond = u32::MAX.checked_shl((group.len() * 32 / lanes) as u32).unwrap_or(0);
        group.iter().enumerate().fold(beyond, |word, (at, &pixel)| word | pixel.into() << (at * 32 / lanes))
    };
    pixels.chunks(lanes).map(word).collect()
}

fn search_packed<P: Pixel + Into<u32>>(pixels: &[P], width: usize, limits: SpotLimits) -> (Vec<FoundSpot>, Rejected) {
    let tiles = SpotFinder::tiles(width as u16);
    let (mut tiles, mut runs, mut blobs) =
        (vec![Tile::EMPTY; tiles], vec![Run::EMPTY; width + 1], vec![OpenBlob::EMPTY; width + 1]);
    let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
    let mut finder = SpotFinder::new(width as u16, limits, memory).expect("in range");
    let mut spots = Vec::new();
    for row in pixels.chunks(width) {
        finder.packed_row::<P>(&packed(row), |spot| spots.push(spot)).expect("enough memory");
    }
    let rejected = finder.finish(|spot| spots.push(spot)).expect("rows");
    (spots, rejected)
}

#[test]
fn packed_pixels_give_what_pixels_give() {
    let frame = a_busy_frame();
    let mut found = 0;
    for width in (1..70).chain([96, 131, 232, 255, 256]) {
        let pixels = width * (frame.levels.len() / width).min(1000);
        let (bytes, words) = (&frame.bytes()[..pixels], &frame.words()[..pixels]);
        for limits in [SpotLimits::spots(8), SpotLimits::marks(8), any_shape()] {
            let spots = search(bytes, width, limits);
            assert_eq!(search_packed(bytes, width, limits), spots, "{width}");
            found += spots.0.len();
        }
        for limits in [SpotLimits::spots(8), SpotLimits::spots(12), SpotLimits::marks(10)] {
            assert_eq!(search_packed(words, width, limits), search(words, width, limits), "{width}");
        }
    }
    assert!(found > 1000, "{found}");
}

/// The shape of thresholds whose floor has a pixel's top bit, where words cannot be asked at once.
#[test]
fn a_bright_ground_is_searched_as_a_dark_one() {
    let mut random = Random::new("bright ground");
    let spots = lattice(&mut random, 2.0, 100.0);
    let mut frame = Frame::even(232, 232, 10.0);
    spots.iter().for_each(|&spot| frame.add(spot));
    let dark = frame.bytes();
    let limits = SpotLimits { saturation: u16::MAX, ..SpotLimits::spots(8) };
    let (expected, none) = search(&dark, frame.width, limits);
    assert_eq!((expected.len(), none), (spots.len(), NONE));
    for raise in [100, 113, 114, 115, 116, 117, 118, 119, 140] {
        let raised: Vec<u8> = dark.iter().map(|level| level + raise).collect();
        let (found, rejected) = search(&raised, frame.width, limits);
        let lowered: Vec<_> =
            found.iter().map(|spot| FoundSpot { peak: spot.peak - u16::from(raise), ..*spot }).collect();
        assert_eq!((lowered, rejected), (expected.clone(), NONE), "{raise}");
        assert_eq!(search_packed(&raised, frame.width, limits), (found, rejected), "{raise}");
    }
}

/// What a camera that fails delivers ends in a result without spots, in counted rejections, or in a named error.
mod bad_frames {
    use super::*;

    #[test]
    fn black_and_white_frames_hold_nothing() {
        for level in [0u8, 255] {
            for limits in [SpotLimits::spots(8), SpotLimits::marks(8)] {
                assert_eq!(search(&[level; 640 * 480], 640, limits), (vec![], NONE), "{level}");
            }
        }
    }

    #[test]
    fn one_spot_alone_is_one_spot() {
        let mut frame = Frame::even(640, 480, 12.0);
        frame.add(Gaussian { x: 320.25, y: 240.5, sigma: 2.3, height: 180.0 });
        let (found, rejected) = search(&frame.bytes(), 640, SpotLimits::spots(8));
        assert_eq!((found.len(), rejected), (1, NONE));
        let (x, y) = place(&found[0]);
        assert!((x - 320.25).abs() < 0.01 && (y - 240.5).abs() < 0.01, "{x} {y}");
    }

    /// The rows of a frame in another order: what is left of most spots is lines, which are too small or too long.
    #[test]
    fn shuffled_rows_are_mostly_rejected() {
        let frame = a_busy_frame();
        let bytes = frame.bytes();
        let mut rows: Vec<&[u8]> = bytes.chunks(frame.width).collect();
        let mut random = Random::new("shuffled");
        for at in (1..rows.len()).rev() {
            rows.swap(at, random.u32() as usize % (at + 1));
        }
        let (found, rejected) = search(&rows.concat(), frame.width, SpotLimits::spots(8));
        println!("{} found, {rejected:?}", found.len());
        // Some rows of a row of spots still follow each other: up to a third of the 64 spots.
        assert!(found.len() < 22, "{}", found.len());
        assert!(rejected.too_small + rejected.elongated > 10 * found.len() as u32, "{rejected:?}");
    }

    #[test]
    fn half_a_frame_holds_the_spots_that_ended_and_rejects_those_it_cuts() {
        let frame = a_busy_frame();
        let bytes = frame.bytes();
        let (all, _) = search(&bytes, frame.width, SpotLimits::spots(8));
        // Rows 102 and 128 are through the middles of rows of spots; 115 is between.
        for rows in [102, 115, 128] {
            let (found, rejected) = search(&bytes[..rows * frame.width], frame.width, SpotLimits::spots(8));
            let ended = all.iter().filter(|spot| usize::from(spot.bottom) + 1 < rows);
            assert_eq!(found, ended.copied().collect::<Vec<_>>(), "{rows}");
            assert_eq!(rejected.clipped, if rows == 115 { 0 } else { 8 }, "{rows}: {rejected:?}");
        }
    }

    #[test]
    fn rows_of_the_wrong_width_are_named_and_left_out() {
        let frame = a_busy_frame();
        let (bytes, limits) = (frame.bytes(), SpotLimits::spots(8));
        let expected = search(&bytes, frame.width, limits);
        let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; 7], [Run::EMPTY; 233], [OpenBlob::EMPTY; 233]);
        let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
        let mut finder = SpotFinder::new(232, limits, memory).expect("in range");
        let mut spots = Vec::new();
        for row in bytes.chunks(frame.width) {
            for wrong in [0, 1, 231, 233, 464] {
                assert_eq!(finder.row(&vec![200u8; wrong], |_| ()), Err(FinderError::RowWidth));
            }
            for wrong in [0, 57, 59, 116] {
                assert_eq!(finder.packed_row::<u8>(&vec![u32::MAX; wrong], |_| ()), Err(FinderError::RowWidth));
            }
            assert_eq!(finder.packed_row::<u16>(&[u32::MAX; 58], |_| ()), Err(FinderError::RowWidth));
            finder.row(row, |spot| spots.push(spot)).expect("the right width");
        }
        assert_eq!(finder.finish(|spot| spots.push(spot)).map(|rejected| (spots, rejected)), Ok(expected));
    }

    /// The same pixels taken for rows of another width: nothing is round.
    #[test]
    fn a_frame_of_another_width_holds_no_spots() {
        let frame = a_busy_frame();
        let width = frame.width - 3;
        let rows = frame.levels.len() / width;
        let (found, rejected) = search(&frame.bytes()[..rows * width], width, SpotLimits::spots(8));
        println!("{} found, {rejected:?}", found.len());
        assert!(found.is_empty(), "{found:?}");
        assert!(rejected.total() > 0);
    }
}

#[cfg(feature = "serde")]
#[test]
fn what_is_serialised_is_read_back() {
    let found = a_busy_frame();
    let (spots, rejected) = search(&found.bytes(), found.width, SpotLimits { least_area: 60, ..SpotLimits::spots(8) });
    assert!(spots.len() > 40 && rejected.total() > 0, "{} {rejected:?}", spots.len());
    fn same<T: serde::Serialize + for<'a> serde::Deserialize<'a> + PartialEq + std::fmt::Debug>(value: &T) {
        let json = serde_json::to_string(value).expect("serialises");
        assert_eq!(&serde_json::from_str::<T>(&json).expect("deserialises"), value, "{json}");
        let bytes = postcard::to_stdvec(value).expect("serialises");
        assert_eq!(&postcard::from_bytes::<T>(&bytes).expect("deserialises"), value);
    }
    spots.iter().for_each(same);
    same(&rejected);
    same(&Rejected { too_large: u32::MAX, too_small: 1, clipped: 2, too_dim: 3, saturated: 4, elongated: 5 });
    for limits in [SpotLimits::spots(8), SpotLimits::spots(16), SpotLimits::marks(12)] {
        same(&limits);
    }
    for polarity in [Polarity::BrightOnDark, Polarity::DarkOnBright] {
        same(&polarity);
    }
    // Limits that were tampered with are read, and refused where they would matter.
    let mut tampered = serde_json::to_value(SpotLimits::spots(8)).expect("serialises");
    tampered["bits"] = 40.into();
    let tampered: SpotLimits = serde_json::from_value(tampered).expect("deserialises");
    let memory = FinderMemory { tiles: &mut [Tile::EMPTY; 1], runs: &mut [], blobs: &mut [] };
    assert_eq!(SpotFinder::new(32, tampered, memory).err(), Some(FinderError::LimitsRange));
}

#[test]
fn levels_beyond_full_scale_count_as_that() {
    for limits in [SpotLimits::spots(10), SpotLimits::marks(10)] {
        let dark = if limits.polarity == Polarity::BrightOnDark { 20 } else { 900 };
        let limits = SpotLimits { accept_saturated: true, ..limits };
        let with = |level: u16| -> Vec<u16> {
            let inside = |at: usize| (20..26).contains(&(at % 64)) && (20..26).contains(&(at / 64));
            (0..64 * 64).map(|at| if inside(at) { level } else { dark }).collect()
        };
        assert_eq!(search(&with(1023), 64, limits), search(&with(40_000), 64, limits));
    }
}

#[test]
fn a_step_of_the_lighting_is_taken_in() {
    // A frame whose right half is lit from a row on: one large blob, until the tiles have followed.
    let level = |x: f64, y: f64| if x >= 128.0 && y >= 40.0 { 30.0 } else { 20.0 };
    let mut frame = Frame::new(256, 4000, level);
    frame.add(Gaussian { x: 200.0, y: 3900.0, sigma: 2.0, height: 150.0 });
    let (found, rejected) = search(&frame.bytes(), frame.width, SpotLimits::spots(8));
    assert_eq!(found.len(), 1, "{rejected:?}");
    assert!(rejected.too_large + rejected.clipped >= 1, "{rejected:?}");
}

#[test]
fn what_cannot_be_searched_is_named() {
    let limits = SpotLimits::spots(8);
    let new = |width: u16, limits: SpotLimits, tiles: usize| {
        let (mut tiles, mut runs, mut blobs) = (vec![Tile::EMPTY; tiles], [Run::EMPTY; 8], [OpenBlob::EMPTY; 4]);
        let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
        SpotFinder::new(width, limits, memory).map(|_| ())
    };
    assert_eq!(new(0, limits, 200), Err(FinderError::WidthRange));
    assert_eq!(new(4097, limits, 200), Err(FinderError::WidthRange));
    assert_eq!(new(4096, limits, 128), Ok(()));
    assert_eq!(new(4096, limits, 127), Err(FinderError::TooFewTiles));
    let wrong = [
        SpotLimits { bits: 7, ..limits },
        SpotLimits { bits: 17, ..limits },
        SpotLimits { margin: 0, ..limits },
        SpotLimits { least_area: 2000, ..limits },
        SpotLimits { most_area: SpotLimits::MOST_AREA + 1, ..limits },
    ];
    for limits in wrong {
        assert_eq!(new(64, limits, 2), Err(FinderError::LimitsRange), "{limits:?}");
    }

    let (mut tiles, mut runs, mut blobs) = ([Tile::EMPTY; 2], [Run::EMPTY; 4], [OpenBlob::EMPTY; 4]);
    let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
    let mut finder = SpotFinder::new(64, limits, memory).expect("in range");
    assert_eq!(finder.finish(|_| ()), Err(FinderError::NoRows));
    assert_eq!(finder.row(&[0u8; 63], |_| ()), Err(FinderError::RowWidth));
    assert_eq!(finder.row(&[0u8; 0], |_| ()), Err(FinderError::RowWidth));
    assert_eq!(finder.row(&[0u8; 64], |_| ()), Ok(()));
    let mut busy = [0u8; 64];
    busy.iter_mut().step_by(9).for_each(|pixel| *pixel = 200);
    assert_eq!(finder.row(&busy, |_| ()), Err(FinderError::TooManyRuns));
    assert_eq!(finder.row(&[0u8; 64], |_| ()), Err(FinderError::TooManyRuns), "a lost frame stays lost");
    assert_eq!(finder.finish(|_| ()), Err(FinderError::TooManyRuns));
    assert_eq!(finder.row(&[0u8; 64], |_| ()), Ok(()), "the next frame is a new one");
    for _ in 1..SpotFinder::MOST_PIXELS {
        assert_eq!(finder.row(&[0u8; 64], |_| ()), Ok(()));
    }
    assert_eq!(finder.row(&[0u8; 64], |_| ()), Err(FinderError::TooManyRows));
    assert_eq!(search_with(&[0u8; 64], 64, SpotLimits::spots(10), 8, 8), Err(FinderError::PixelBits));
}

#[test]
fn memory_is_what_is_documented() {
    assert_eq!([size_of::<Tile>(), size_of::<Run>(), size_of::<OpenBlob>()], [20, 6, 72]);
}

#[test]
fn even_frames_are_empty() {
    for level in [0u8, 1, 127, 128, 254, 255] {
        for limits in [SpotLimits::spots(8), SpotLimits::marks(8)] {
            assert_eq!(search(&vec![level; 100 * 50], 100, limits), (vec![], NONE), "{level}");
        }
    }
}

proptest! {
    #![proptest_config(common::cases(300, "tests/data/regressions/finder.txt"))]

    /// Any bytes, any limits: an error with a name, or spots inside the frame; every sum in its range, as overflow checks are on.
    #[test]
    fn no_frame_is_fatal(
        width in 1usize..150,
        bytes in prop::collection::vec(any::<u8>(), 0..6000),
        noise in any::<u8>(),
        memory in 0usize..160,
        (bits, margin, sigmas, dark) in (8u8..17, 1u16.., any::<u8>(), any::<bool>()),
    ) {
        let common = if dark { SpotLimits::marks(bits) } else { SpotLimits::spots(bits) };
        let limits = SpotLimits { margin: (margin >> (margin & 15)).max(1), sigmas: sigmas & 3, least_area: 1, ..common };
        let rows = bytes.len() / width;
        let frame = &bytes[..rows * width];
        let words: Vec<u16> = frame.iter().map(|byte| u16::from(byte & noise) << (bits - 8)).collect();
        match search_with(&words, width, limits, memory, memory) {
            Ok((spots, _)) => for spot in spots {
                let (x, y) = place(&spot);
                prop_assert!(f64::from(spot.left) <= x && x <= f64::from(spot.right), "{:?}", spot);
                prop_assert!(f64::from(spot.top) <= y && y <= f64::from(spot.bottom), "{:?}", spot);
                prop_assert!(spot.elongation >= 255, "{:?}", spot);
            },
            Err(FinderError::NoRows) => prop_assert_eq!(rows, 0),
            Err(FinderError::TooManyRows) => prop_assert!(rows > usize::from(SpotFinder::MOST_PIXELS)),
            Err(error) => prop_assert!(error.is_memory() && memory <= width, "{:?}", error),
        }
    }
}
