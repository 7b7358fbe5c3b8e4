//! The spot finder on camera frames of traced lenses: bias, noise, and each fault counted as it was drawn.

#[path = "../examples/render/frame/mod.rs"]
mod frame;
#[path = "../examples/render/ink.rs"]
mod ink;
#[path = "../examples/render/optics/mod.rs"]
mod optics;
#[path = "../examples/render/pgm.rs"]
mod pgm;
#[path = "../examples/render/scene.rs"]
mod scene;
#[path = "../examples/render/setup.rs"]
mod setup;
#[path = "../examples/render/view.rs"]
mod view;

use dioptric::oracle::{self, SpheroCylinder};
use dioptric::sensor::{FinderMemory, FoundSpot, OpenBlob, Rejected, Run, SpotFinder, SpotLimits, Tile};
use frame::{Camera, Profile, Spot};
use glam::{DVec2, dvec2};
use optics::{Kind, Lens, Order};
use pgm::Image;
use scene::{Drawn, Fate, Faults, Look, Scene};
use setup::{Direction, Setup};

fn find(image: &Image, limits: SpotLimits) -> (Vec<FoundSpot>, Rejected) {
    let width = u16::try_from(image.width).expect("a width of the finder");
    let (mut tiles, mut runs) = (vec![Tile::EMPTY; SpotFinder::tiles(width)], vec![Run::EMPTY; image.width + 1]);
    let mut blobs = vec![OpenBlob::EMPTY; image.width + 1];
    let memory = FinderMemory { tiles: &mut tiles, runs: &mut runs, blobs: &mut blobs };
    let mut finder = SpotFinder::new(width, limits, memory).expect("limits in range");
    let mut spots = Vec::new();
    for row in image.rows() {
        finder.row(row, |spot| spots.push(spot)).expect("enough memory");
    }
    let rejected = finder.finish(|spot| spots.push(spot)).expect("a frame");
    (spots, rejected)
}

fn place(spot: &FoundSpot) -> DVec2 {
    dvec2(spot.x.into(), spot.y.into()) / f64::from(1u32 << FoundSpot::PLACE_BITS)
}

const NONE: Rejected = Rejected { too_large: 0, too_small: 0, clipped: 0, too_dim: 0, saturated: 0, elongated: 0 };
const NO_FAULTS: Faults = Faults { missing: 0, dusty: 0, saturated: 0, ghosts: 0, glints: 0, hot: 0 };

fn camera(bits: u32) -> Camera {
    let black_counts = f64::from(1u32 << bits) / 64.0;
    Camera { bits, full_well_electrons: 10_000.0, read_noise_electrons: 8.0, black_counts }
}

fn order(sphere: f64, cylinder: f64, axis: f64) -> Order {
    let power = SpheroCylinder { sphere, cylinder, axis };
    Order { power, prism: DVec2::ZERO, kind: Kind::SingleVision, index: 1.6, thickness: None, base_curve: None }
}

fn lens(sphere: f64, cylinder: f64, axis: f64) -> Lens {
    order(sphere, cylinder, axis).lens()
}

fn setup(bits: u32) -> Setup {
    let mut setup = Setup::default();
    setup.detector.bits = bits.try_into().expect("few bits");
    setup
}

/// The found spot at each drawn one, within a pixel.
fn matched<'a>(drawn: &'a [Drawn], found: &[FoundSpot]) -> Vec<(&'a Drawn, DVec2)> {
    let at = |spot: &Drawn| found.iter().map(place).find(|place| place.distance(spot.place) < 1.0);
    drawn.iter().filter_map(|spot| Some((spot, at(spot)? - spot.place))).collect()
}

/// Largest error of a coordinate, of frames without noise.
fn bias(look: &Look, bits: u32, lens: &Lens) -> f64 {
    let scene = Scene::new(&setup(bits), Some(lens), look, &NO_FAULTS, &camera(bits), 1);
    let (found, rejected) = find(&scene.expose_quietly(&camera(bits)), SpotLimits::spots(bits as u8));
    // Where rings of neighbours meet, they are fragments above the threshold.
    let fragments = if look.profile == Profile::Airy { rejected.too_small } else { 0 };
    assert_eq!((found.len(), rejected), (113, Rejected { too_small: fragments, ..NONE }), "{look:?}");
    let matched = matched(&scene.spots, &found);
    assert_eq!(matched.len(), 113);
    matched.iter().fold(0.0, |worst, (_, off)| worst.max(off.abs().max_element()))
}

/// The bound is that of `FoundSpot`, for spots of standard deviation 1.5 to 3.
#[test]
fn without_noise_spots_of_a_lens_are_found_where_the_rays_land() {
    for sigma_px in [1.5, 2.0, 2.4] {
        for bits in [8, 10, 12] {
            for lens in [lens(-2.25, -1.5, 35.0), lens(6.0, -2.0, 100.0)] {
                let bias = bias(&Look { sigma_px, ..Look::default() }, bits, &lens);
                println!("sigma {sigma_px}, {bits} bits: {bias:.4} pixel");
                assert!(bias <= 0.01, "{bias}");
            }
        }
    }
}

/// Rings of diffraction reach the neighbours: each spot lies on the slope of others. No bound is promised for them; they keep that of
/// the Gaussian.
#[test]
fn rings_of_diffraction_move_spots_little() {
    let look = Look { profile: Profile::Airy, ..Look::default() };
    for bits in [8, 12] {
        let bias = bias(&look, bits, &lens(-2.25, -1.5, 35.0));
        println!("Airy spots, {bits} bits: {bias:.4} pixel");
        assert!(bias <= 0.01, "{bias}");
    }
}

/// The slope of the ground adds a slope within the spot: the threshold follows it between tiles. `0.1` is 25 counts of 8 bits
/// over the frame: 1/25 count a pixel along the row, where the finder allows 1/16.
#[test]
fn a_slope_of_the_lighting_moves_spots_little() {
    for (ground_along, ground_down) in [(0.1, 0.0), (0.0, 0.06), (-0.08, 0.04)] {
        for bits in [8, 10, 12] {
            let look = Look { ground: 0.08, ground_along, ground_down, ..Look::default() };
            let bias = bias(&look, bits, &lens(-2.25, -1.5, 35.0));
            println!("slope {ground_along} {ground_down}, {bits} bits: {bias:.4} pixel");
            assert!(bias <= 0.02, "{bias}");
        }
    }
}

/// Least standard deviation of a coordinate of a spot, pixels.
///
/// A pixel's count has the mean `m` and the variance `v`: the shot noise `m`, which is Poisson, the read noise, and 1/12 count of
/// rounding, in electrons. Whatever the distribution, its Fisher information of a parameter is at least `m'^2 / v` (Cauchy and
/// Schwarz on the score and the count), and is exactly that where `v` is all Poisson or all normal; over independent pixels it
/// adds. Height, width and ground, being even about the centre, take nothing from it. The same sum: K. A. Winick,
/// "Cramer-Rao lower bounds on the performance of charge-coupled-device optical position estimators", J. Opt. Soc. Am. A 3
/// (1986) 1809 (from memory).
fn cramer_rao(spot: &Drawn, ground: f64, camera: &Camera) -> f64 {
    const STEP: f64 = 1e-3;
    let light = |shift: f64| {
        let mut pixels = vec![0.0; 64 * 64];
        let spot = Spot {
            column: 31.0 + spot.place.x.fract() + shift,
            row: 31.0 + spot.place.y.fract(),
            sigma: spot.sigma,
            height: spot.height,
        };
        spot.each_pixel(Profile::Gaussian, 64, 64, |column, row, light| pixels[64 * row + column] += light);
        pixels
    };
    let (minus, at, plus) = (light(-STEP), light(0.0), light(STEP));
    let other = ground + camera.read_noise_electrons.powi(2) + camera.gain().powi(2) / 12.0;
    let slopes = minus.iter().zip(&plus).map(|(minus, plus)| (plus - minus) / (2.0 * STEP));
    let information: f64 = slopes.zip(at).map(|(slope, at)| slope * slope / (at + other)).sum();
    information.recip().sqrt()
}

/// The finder weighs by height above the threshold, which costs what `FoundSpot` says: the threshold here is 1/64 of full scale
/// above the ground, `t` = 0.026 of the spot, hence 1.15 in variance, 1.07 in standard deviation, with shot noise alone.
#[test]
fn with_noise_spots_scatter_little_more_than_they_must() {
    let look = Look::default();
    for bits in [8, 10, 12] {
        let camera = camera(bits);
        let (mut ratio, mut count, mut worst, mut fragments) = (0.0, 0, 0f64, 0);
        let scene = Scene::new(&setup(bits), Some(&lens(-2.25, -1.5, 35.0)), &look, &NO_FAULTS, &camera, 1);
        for seed in 0..24 {
            let (found, rejected) = find(&scene.expose(&camera, seed), SpotLimits::spots(bits as u8));
            // Noise lifts a pixel beside a spot's border now and then.
            assert_eq!((found.len(), rejected.total()), (113, rejected.too_small));
            fragments += rejected.too_small;
            for (spot, off) in matched(&scene.spots, &found) {
                let bound = cramer_rao(spot, look.ground * camera.full_well_electrons, &camera);
                ratio += off.length_squared() / (bound * bound);
                count += 2;
                worst = worst.max(off.abs().max_element());
            }
        }
        let typical = cramer_rao(&scene.spots[0], look.ground * camera.full_well_electrons, &camera);
        let ratio = (ratio / f64::from(count)).sqrt();
        println!(
            "{bits} bits: {ratio:.3} times the bound of {typical:.4} pixel, over {count} coordinates; largest {worst:.4}; {fragments} fragments in 24 frames"
        );
        assert!(ratio < 1.12, "{bits} bits: {ratio}");
        // Of so many coordinates the ratio is known to 1 %.
        assert!(ratio > 0.97, "better than can be: {ratio}");
    }
}

/// Each fault under the reason it was drawn for, and nothing else; with noise, up to three fragments of a spot's border too.
#[test]
fn each_fault_is_counted_as_it_was_drawn() {
    let faults = Faults { missing: 4, dusty: 0, saturated: 3, ghosts: 5, glints: 6, hot: 7 };
    for (bits, seed) in [8, 10, 12].into_iter().flat_map(|bits| (1..9).map(move |seed| (bits, seed))) {
        let (setup, camera) = (setup(bits), camera(bits));
        let scene = Scene::new(&setup, Some(&lens(-4.0, -1.0, 60.0)), &Look::default(), &faults, &camera, seed);
        let expected = Rejected { saturated: 3, too_dim: 5, too_small: 6 + 7, ..NONE };
        let limits = SpotLimits::spots(bits as u8);
        let (found, rejected) = find(&scene.expose_quietly(&camera), limits);
        assert_eq!((found.len(), rejected), (113 - 4 - 3, expected), "{bits} bits, seed {seed}");

        let noisy = scene.expose(&camera, seed);
        let (found, rejected) = find(&noisy, limits);
        let fragments = rejected.too_small.checked_sub(13).expect("glints and hot pixels");
        assert!(fragments <= 3, "{fragments}");
        let expected = Rejected { too_small: 13 + fragments, ..expected };
        assert_eq!((found.len(), rejected), (106, expected), "{bits} bits, seed {seed}");
        let good: Vec<_> = scene.spots.iter().filter(|spot| spot.fate == Fate::Good).copied().collect();
        assert_eq!(matched(&good, &found).len(), 106);

        let (found, rejected) = find(&noisy, SpotLimits { accept_saturated: true, ..limits });
        assert_eq!((found.len(), rejected), (109, Rejected { saturated: 0, ..expected }));
        let saturated: Vec<_> = scene.spots.iter().filter(|spot| spot.fate == Fate::Saturated).collect();
        let near = |spot: &FoundSpot| saturated.iter().any(|drawn| drawn.place.distance(place(spot)) < 1.0);
        assert!(found.iter().all(|spot| spot.saturated == near(spot)));
    }
}

/// Dust on the flank of a spot is not seen as such: the spot is found, off by a third of a pixel, 50 times the noise. What the
/// finder cannot tell, the residual of the fit must.
#[test]
fn dust_on_a_spot_moves_it_and_is_not_noticed() {
    let (setup, camera, look) = (setup(10), camera(10), Look::default());
    let faults = Faults { dusty: 10, ..NO_FAULTS };
    let (mut dusty, mut least, mut most) = (0, f64::INFINITY, 0f64);
    for seed in 1..5 {
        let scene = Scene::new(&setup, Some(&lens(-4.0, -1.0, 60.0)), &look, &faults, &camera, seed);
        let (found, rejected) = find(&scene.expose(&camera, seed), SpotLimits::spots(10));
        assert_eq!(found.len() + rejected.total() as usize, 113);
        for (spot, off) in matched(&scene.spots, &found) {
            if spot.fate == Fate::Dusty {
                dusty += 1;
                (least, most) = (least.min(off.length()), most.max(off.length()));
            } else {
                assert!(off.length() < 0.05, "{off}");
            }
        }
    }
    println!("{dusty} of 40 dusty spots found, off by {least:.2} to {most:.2} pixel");
    assert!(dusty == 40 && least > 0.25 && most < 0.4);
}

/// What `Setup::default` says of the range.
#[test]
fn all_spots_are_found_from_minus_25_to_plus_20() {
    let (setup, camera, look) = (setup(8), camera(8), Look::default());
    let found = |sphere: f64, sigma_px: f64| {
        let order = Order { index: 1.74, ..order(sphere, 0.0, 180.0) };
        let look = Look { sigma_px, ..look };
        let scene = Scene::new(&setup, Some(&order.lens()), &look, &NO_FAULTS, &camera, 1);
        let (found, rejected) = find(&scene.expose(&camera, 1), SpotLimits::spots(8));
        println!("{sphere} D, sigma {sigma_px}: {} spots, {rejected:?}", found.len());
        found.len()
    };
    for sphere in [-25.0, -20.0, -10.0, 0.0, 10.0, 15.0, 20.0] {
        assert_eq!(found(sphere, look.sigma_px), 113, "{sphere}");
    }
    // Beyond, spots touch unless they are narrower.
    assert!(found(25.0, look.sigma_px) < 113);
    assert_eq!(found(25.0, 1.5), 113);
}

/// Base up bends light up: an error of orientation anywhere would show as a sign, a turn or a mirror.
#[test]
fn the_camera_looks_against_the_light() {
    let light_at = |setup: &Setup, prism: DVec2| {
        let lens = Order { prism, ..order(0.0, 0.0, 180.0) }.lens();
        let look = Look { ground: 0.0, ..Look::default() };
        let scene = Scene::new(setup, Some(&lens), &look, &NO_FAULTS, &camera(8), 1);
        let sum: f64 = scene.light.electrons.iter().sum();
        let mean = |of: fn(usize, usize) -> usize| {
            let moment = scene.light.electrons.iter().enumerate().map(|(i, light)| of(i, 640) as f64 * light);
            moment.sum::<f64>() / sum
        };
        dvec2(mean(|i, width| i % width), mean(|i, width| i / width))
    };
    // 1 prism dioptre over gap and throw, less what the plate cuts out: 0.2 mm of throw, 13.3 pixels.
    let shift = 0.2 / 0.015;
    let usual = Setup::default();
    let centre = light_at(&usual, DVec2::ZERO);
    let mut turned = usual.clone();
    (turned.detector.columns_run, turned.detector.rows_run) = (Direction::Up, Direction::Right);
    let cases = [
        (&usual, DVec2::Y, dvec2(0.0, -shift)),
        (&usual, DVec2::X, dvec2(-shift, 0.0)),
        (&turned, DVec2::Y, dvec2(shift, 0.0)),
        (&turned, DVec2::X, dvec2(0.0, shift)),
    ];
    for (setup, prism, wanted) in cases {
        let moved = light_at(setup, prism) - centre;
        assert!(moved.distance(wanted) < 0.02, "{prism}: {moved} instead of {wanted}");
    }
}

/// From light to power: frames of both states, holes told apart by the drawn places, the fit in `f64`.
#[test]
fn power_read_from_frames_is_that_of_the_rays() {
    let (setup, camera, look) = (setup(10), camera(10), Look::default());
    let prism = Order { prism: dvec2(-0.5, 1.0), ..order(-2.25, -1.5, 35.0) }.lens();
    for lens in [prism, lens(6.0, -2.0, 100.0), lens(-10.0, -0.5, 170.0)] {
        let spots = |lens: Option<&Lens>, seed: u64| -> Vec<DVec2> {
            let scene = Scene::new(&setup, lens, &look, &NO_FAULTS, &camera, seed);
            let (found, _) = find(&scene.expose(&camera, seed), SpotLimits::spots(10));
            let matched = matched(&scene.spots, &found);
            assert_eq!(matched.len(), 113);
            matched.iter().map(|(spot, off)| setup.to_mm(spot.place + off)).collect()
        };
        let pairs: Vec<_> =
            spots(None, 7).iter().zip(spots(Some(&lens), 8)).map(|(a, b)| [a.x, a.y, b.x, b.y]).collect();
        let read = oracle::fit(&pairs, setup.gap_mm, setup.throw_mm).expect("a plane of spots");
        let (count, truth) = optics::over_plate(setup.bench(), &lens, &setup.plate(), [0, 0]);
        let truth = truth.expect("a plane of spots");
        let (a, b) = (read.power, truth.power);
        let worst = [a.xx - b.xx, a.xy - b.xy, a.yy - b.yy].iter().fold(0f64, |worst, off| worst.max(off.abs()));
        let prism = (read.prism[0] - truth.prism[0]).hypot(read.prism[1] - truth.prism[1]);
        println!("{:?}: off by {worst:.4} D, {prism:.4} prism dioptre", truth.power.sphero_cylinder());
        assert_eq!(count, 113);
        // A standard deviation of 0.006 pixel in each of two frames, of 15 um, over 20 mm, is 6.4e-6 of slope; over 113 holes of
        // 1.2 mm RMS, 5e-4 D and 6e-5 prism dioptre. Four of these.
        assert!(worst < 2e-3 && prism < 2.4e-4, "{worst} {prism}");
    }
}

/// Dots of ink on a lit field, by the finder's limits for marks.
#[test]
fn dots_of_ink_are_found() {
    for (bits, turn) in [(8, 0.0), (8, 7.0), (10, -30.0)] {
        let camera = camera(bits);
        let (light, ink) = ink::draw(640, 480, camera.full_well_electrons, turn);
        let (found, rejected) = find(&camera.expose(&light, &[], 3), SpotLimits::marks(bits as u8));
        // A lit field is noisy, and the finder's first estimates of noise are coarse: many single pixels are counted.
        println!("ink, {bits} bits: {rejected:?}");
        assert_eq!((found.len(), rejected.total()), (3, rejected.too_small + rejected.too_dim), "{bits} bits");
        for dot in ink.dots_px.map(DVec2::from) {
            let nearest = found.iter().map(|spot| place(spot).distance(dot)).fold(f64::INFINITY, f64::min);
            // Edges drawn by 64 points a pixel, and the ground's slope.
            assert!(nearest < 0.05, "{bits} bits, {turn}: {nearest}");
        }
    }
}

#[test]
fn the_same_seed_draws_the_same_frame() {
    let (setup, camera) = (setup(8), camera(8));
    let faults = Faults { missing: 3, dusty: 2, saturated: 1, ghosts: 2, glints: 2, hot: 2 };
    let draw = |seed: u64, noise: u64| {
        Scene::new(&setup, Some(&lens(1.0, 0.0, 180.0)), &Look::default(), &faults, &camera, seed)
            .expose(&camera, noise)
    };
    assert_eq!(draw(5, 6), draw(5, 6));
    assert_ne!(draw(5, 6), draw(5, 7));
    assert_ne!(draw(5, 6), draw(6, 6));
}

/// Mean and variance of an evenly lit frame: the photon transfer relation (J. R. Janesick, "Photon
/// transfer", SPIE 2007, from memory).
#[test]
fn the_noise_is_that_of_photons_and_camera() {
    let camera = Camera { bits: 12, full_well_electrons: 20_000.0, read_noise_electrons: 15.0, black_counts: 60.0 };
    for electrons in [0.0, 5.0, 300.0, 9000.0] {
        let lighting = frame::Lighting { level: electrons, along: 0.0, down: 0.0 };
        let light = frame::Light::new(400, 300, lighting);
        let image = camera.expose(&light, &[], 11);
        let n = image.pixels.len() as f64;
        let mean = image.pixels.iter().map(|&level| f64::from(level)).sum::<f64>() / n;
        let variance = image.pixels.iter().map(|&level| (f64::from(level) - mean).powi(2)).sum::<f64>() / n;
        let gain = camera.gain();
        let wanted = (electrons + 225.0) / (gain * gain) + 1.0 / 12.0;
        assert!((mean - 60.0 - electrons / gain).abs() < 5.0 * (wanted / n).sqrt(), "{electrons}: mean {mean}");
        // The relative standard deviation of a variance is sqrt(2 / n), 0.4 %.
        assert!((variance / wanted - 1.0).abs() < 0.02, "{electrons}: variance {variance}, not {wanted}");
    }
}

#[derive(serde::Deserialize)]
struct Centroid {
    frame: String,
    column_px: f64,
    row_px: f64,
    above_column_px: f64,
    above_row_px: f64,
    area_px: u32,
    peak: u16,
    is_whole: u8,
}

/// `tests/data/frames/README.md`: centroids by `scipy.ndimage` of the same frames, of heights above a fitted plane (the textbook's)
/// and of heights above the threshold (the finder's).
#[test]
fn centroids_are_those_of_another_program() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/frames");
    let rows = csv::Reader::from_path(format!("{folder}/centroids.csv")).expect("the file is there").into_deserialize();
    let rows: Vec<Centroid> = rows.map(|row| row.expect("a centroid")).collect();
    let mut frames: Vec<_> = rows.iter().map(|row| row.frame.as_str()).collect();
    frames.dedup();
    assert_eq!(frames.len(), 5);
    for name in frames {
        let file = std::fs::File::open(format!("{folder}/{name}.pgm")).expect("a frame");
        let image = pgm::read(file).expect("a frame");
        let bits = u8::try_from(image.bits()).expect("at most 16");
        let any = SpotLimits { sigmas: 0, least_height: 0, accept_saturated: true, ..SpotLimits::spots(bits) };
        let (found, _) = find(&image, any);
        let wanted: Vec<_> = rows.iter().filter(|row| row.frame == name && row.is_whole == 1).collect();
        assert_eq!(found.len(), wanted.len(), "{name}");
        let (mut above, mut textbook) = (0f64, 0f64);
        for row in wanted {
            let nearest = |spot: &&FoundSpot| place(spot).distance(dvec2(row.column_px, row.row_px)) < 1.0;
            let spot = found.iter().find(nearest).unwrap_or_else(|| panic!("{name}: {} {}", row.column_px, row.row_px));
            let off = (place(spot) - dvec2(row.above_column_px, row.above_row_px)).abs().max_element();
            above = above.max(off);
            textbook = textbook.max((place(spot) - dvec2(row.column_px, row.row_px)).abs().max_element());
            if name == "airy_quiet_8_bits" {
                assert_eq!(spot.area, row.area_px);
            }
            assert_eq!(spot.peak, row.peak, "{name}");
        }
        println!("{name}: {above:.4} pixel by the same weights, {textbook:.4} by the textbook's");
        // By the same weights only the background differs: 1/20 count of 150 on an even ground, and where the lighting slopes, what the
        // finder lags behind. The textbook's centroid has the noise of 150 more pixels.
        let same = if name.starts_with("slope") { 0.025 } else { 0.004 };
        assert!(above < same, "{name}: {above}");
        assert!(textbook < 0.035, "{name}: {textbook}");
    }
}
