//! The stated standard uncertainties: against the law of propagation in `f64`, and against the scatter of thousands of
//! measurements with noise.

mod common;
#[path = "common/spots.rs"]
mod spots;

use common::{Budget, Random, Worst};
use dioptric::oracle::{self, Matrix};
use dioptric::quantity::{Dioptre, PrismDioptre};
use dioptric::sensor::{Centre, StandardUncertainty};
use spots::{
    Bench, GRID, Lens, Place, UNIT, any_bench, any_holes, arranged, condition, fitted, hexagon, lattice, ring,
    two_rows, unit,
};

const RANDOM: u64 = 20_000;

const BUDGETS: &[Budget] = &[
    budget("sphere", |worst| measure(worst, "sphere", &[SPHERE])),
    budget("across", |worst| measure(worst, "across", &[ACROSS])),
    budget("cylinder", |worst| measure(worst, "cylinder", &[CYLINDER])),
    budget("axis", |worst| measure(worst, "axis", &[AXIS])),
    budget("prism_x, prism_y", |worst| measure(worst, "prism", &[PRISM_X, PRISM_Y])),
    budget("centre", |worst| measure(worst, "centre", &[CENTRE_X, CENTRE_Y])),
];

const fn budget(function: &'static str, measure: fn(&mut Worst)) -> Budget {
    Budget {
        function,
        domain: "residual from 0.05 um, cylinder from 0.25 D, condition to 4096, beyond two units",
        unit: "of itself",
        allowed: 8e-4,
        points: RANDOM,
        measure,
    }
}

#[test]
fn the_law_of_propagation_holds_to_the_documented_bound() {
    common::check(BUDGETS);
}

/// Slopes on the axis; power at the plate, dioptres: xx, xy, yy.
const PARAMETERS: usize = 5;
type Row = [f64; PARAMETERS];

const RESULTS: usize = 8;
const SPHERE: usize = 0;
const ACROSS: usize = 1;
const CYLINDER: usize = 2;
const AXIS: usize = 3;
const PRISM_X: usize = 4;
const PRISM_Y: usize = 5;
const CENTRE_X: usize = 6;
const CENTRE_Y: usize = 7;
const NAMES: [&str; RESULTS] = ["sphere", "across", "cylinder", "axis", "prism x", "prism y", "centre x", "centre y"];

/// What a fit states, as a function of what it fits.
fn results([sx, sy, xx, xy, yy]: Row, bench: &Bench) -> [f64; RESULTS] {
    let power = Matrix { xx, xy, yy }.step(-bench.gap);
    let k = bench.step_back(power);
    stated(power, [100.0 * (k.xx * sx + k.xy * sy), 100.0 * (k.xy * sx + k.yy * sy)])
}

fn stated(power: Matrix, prism: [f64; 2]) -> [f64; RESULTS] {
    let form = power.sphero_cylinder();
    let [x, y] = centre(power, prism);
    [form.sphere, form.sphere + form.cylinder, form.cylinder, form.axis, prism[0], prism[1], x, y]
}

/// The optical centre by Cramer's rule.
fn centre(f: Matrix, [x, y]: [f64; 2]) -> Place {
    [10.0 * (f.yy * x - f.xy * y) / f.det(), 10.0 * (f.xx * y - f.xy * x) / f.det()]
}

fn parameters(found: &oracle::Fit, bench: &Bench) -> Row {
    let v = found.power.step(bench.gap);
    let k = bench.step_back(found.power);
    let [p, q] = found.prism.map(|p| p / 100.0);
    [(k.yy * p - k.xy * q) / k.det(), (k.xx * q - k.xy * p) / k.det(), v.xx, v.xy, v.yy]
}

/// `after - before`, of an axis the short way round.
fn change(result: usize, after: f64, before: f64) -> f64 {
    let change = after - before;
    if result == AXIS { (change + 270.0).rem_euclid(180.0) - 90.0 } else { change }
}

/// The inverse of a positive definite matrix (Gauss and Jordan).
fn inverse(mut matrix: [Row; PARAMETERS]) -> [Row; PARAMETERS] {
    let mut inverse = [[0.0; PARAMETERS]; PARAMETERS];
    (0..PARAMETERS).for_each(|i| inverse[i][i] = 1.0);
    for pivot in 0..PARAMETERS {
        let scale = matrix[pivot][pivot];
        matrix[pivot] = matrix[pivot].map(|element| element / scale);
        inverse[pivot] = inverse[pivot].map(|element| element / scale);
        for row in (0..PARAMETERS).filter(|row| *row != pivot) {
            let factor = matrix[row][pivot];
            for column in 0..PARAMETERS {
                matrix[row][column] -= factor * matrix[pivot][column];
                inverse[row][column] -= factor * inverse[pivot][column];
            }
        }
    }
    inverse
}

/// Covariance of the parameters for displacements of standard deviation one: each spot's displacement is
/// `throw (s0 - V x)`. Counted from the spots' mean, where slope and power do not correlate, then moved to the axis.
fn covariance(spots: &[[f64; 4]], bench: &Bench) -> [Row; PARAMETERS] {
    let n = spots.len() as f64;
    let mean = [0, 1].map(|i| spots.iter().map(|s| s[i]).sum::<f64>() / n);
    let mut normal = [[0.0; PARAMETERS]; PARAMETERS];
    let t = bench.throw;
    for [x, y, ..] in spots {
        let (a, b) = (t * (x - mean[0]) / 1000.0, t * (y - mean[1]) / 1000.0);
        for row in [[t, 0.0, -a, -b, 0.0], [0.0, t, 0.0, -a, -b]] {
            for i in 0..PARAMETERS {
                for j in 0..PARAMETERS {
                    normal[i][j] += row[i] * row[j];
                }
            }
        }
    }
    let [a, b] = mean.map(|m| m / 1000.0);
    let at_mean = inverse(normal);
    // s0 = slope at the mean + V mean.
    let moved =
        |row: &Row| [row[0] + a * row[2] + b * row[3], row[1] + a * row[3] + b * row[4], row[2], row[3], row[4]];
    let half = at_mean.map(|row| moved(&row));
    let mut other = [[0.0; PARAMETERS]; PARAMETERS];
    for i in 0..PARAMETERS {
        let column = [0, 1, 2, 3, 4].map(|j| half[j][i]);
        let column = moved(&column);
        (0..PARAMETERS).for_each(|j| other[j][i] = column[j]);
    }
    other
}

/// Standard uncertainties by JCGM 100 (GUM), 5.2.2: `u^2 = g C g`, gradients by central differences.
fn propagated(spots: &[[f64; 4]], found: &oracle::Fit, bench: &Bench) -> [f64; RESULTS] {
    let at = parameters(found, bench);
    let covariance = covariance(spots, bench);
    let mut gradients = [[0.0; PARAMETERS]; RESULTS];
    for i in 0..PARAMETERS {
        let step = if i < 2 { 1e-6 } else { 1e-5 };
        let moved = |by: f64| {
            let mut moved = at;
            moved[i] += by;
            results(moved, bench)
        };
        let (up, down) = (moved(step), moved(-step));
        (0..RESULTS).for_each(|r| gradients[r][i] = change(r, up[r], down[r]) / (2.0 * step));
    }
    gradients.map(|g| {
        let part = |i: usize| (0..PARAMETERS).map(|j| g[i] * covariance[i][j] * g[j]).sum::<f64>();
        (0..PARAMETERS).map(part).sum::<f64>().sqrt() * found.residual
    })
}

/// Covariance of M, J0 and J45 by the same law: M M, J0 J0, J45 J45, M J0, M J45, J0 J45.
fn propagated_covariance(spots: &[[f64; 4]], found: &oracle::Fit, bench: &Bench) -> [f64; 6] {
    let at = parameters(found, bench);
    let covariance = covariance(spots, bench);
    let vector = |at: Row| {
        let f = Matrix { xx: at[2], xy: at[3], yy: at[4] }.step(-bench.gap);
        [(f.xx + f.yy) / 2.0, (f.xx - f.yy) / 2.0, f.xy]
    };
    let mut gradients = [[0.0; PARAMETERS]; 3];
    for i in 2..PARAMETERS {
        let moved = |by: f64| {
            let mut moved = at;
            moved[i] += by;
            vector(moved)
        };
        let (up, down) = (moved(1e-5), moved(-1e-5));
        (0..3).for_each(|r| gradients[r][i] = (up[r] - down[r]) / 2e-5);
    }
    [(0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)].map(|(a, b): (usize, usize)| {
        let part =
            |i: usize| (0..PARAMETERS).map(|j| gradients[a][i] * covariance[i][j] * gradients[b][j]).sum::<f64>();
        (0..PARAMETERS).map(part).sum::<f64>() * found.residual * found.residual
    })
}

fn seen(u: &StandardUncertainty) -> [Option<f64>; RESULTS] {
    let centre = |part: fn(&dioptric::quantity::Point) -> f64| u.centre.as_ref().map(part);
    [
        Some(u.sphere.to_f64()),
        Some(u.across.to_f64()),
        Some(u.cylinder.to_f64()),
        u.axis.map(|axis| axis.to_f64()),
        Some(u.prism_x.to_f64()),
        Some(u.prism_y.to_f64()),
        centre(|point| point.x.to_f64()),
        centre(|point| point.y.to_f64()),
    ]
}

/// Fits of every kind, with what they state and what they should.
fn measure(worst: &mut Worst, stream: &str, asked: &[usize]) {
    let mut random = Random::new(stream);
    for _ in 0..3 * RANDOM {
        let (lens, bench, holes) = (Lens::any(&mut random), any_bench(&mut random), any_holes(&mut random));
        let sigma = [1e-4, 1e-3, 5e-3][random.u32() as usize % 3];
        let spots = bench.spots(&lens, &holes, sigma, &mut random);
        let (Ok(fit), Some(found)) = (fitted(&spots, &bench), oracle::fit(&spots, bench.gap, bench.throw)) else {
            continue;
        };
        let form = found.power.sphero_cylinder();
        let usual = form.sphere.abs().max(form.cylinder.abs()) < 64.0 && form.cylinder < -0.25 && found.residual > 5e-5;
        let references: Vec<Place> = spots.iter().map(|s| [s[0], s[1]]).collect();
        if !usual || fit.is_saturated() || condition(&references) > 4096.0 {
            continue;
        }
        let exact = propagated(&spots, &found, &bench);
        let uncertainty = fit.uncertainty();
        let at = || format!("{lens:?} {bench:?} {exact:?} {uncertainty:?}");
        if (exact[AXIS] - 45.0).abs() > 0.1 {
            assert_eq!(uncertainty.axis.is_none(), exact[AXIS] > 45.0, "{}", at());
        }
        assert_eq!(uncertainty.centre.is_some(), matches!(fit.centre(), Centre::Point(_)), "{}", at());
        for &result in asked {
            let Some(stated) = seen(&uncertainty)[result] else { continue };
            let step = if result >= CENTRE_X { GRID } else { UNIT };
            // Lengths end at 32 m.
            let exact = if result >= CENTRE_X { exact[result].min(32_767.999) } else { exact[result] };
            let error = ((stated - exact).abs() - 2.0 * step).max(0.0);
            worst.see(error / exact, at);
        }
    }
}

#[test]
fn the_covariance_of_the_power_vector_is_the_propagated_one() {
    let mut random = Random::new("covariance");
    let (mut most, mut checked) = (0.0f64, 0);
    for _ in 0..RANDOM {
        let (lens, bench, holes) = (Lens::any(&mut random), any_bench(&mut random), any_holes(&mut random));
        let spots = bench.spots(&lens, &holes, 1e-3, &mut random);
        let (Ok(fit), Some(found)) = (fitted(&spots, &bench), oracle::fit(&spots, bench.gap, bench.throw)) else {
            continue;
        };
        let form = found.power.sphero_cylinder();
        if form.sphere.abs().max(form.cylinder.abs()) > 64.0 || found.residual < 5e-5 || fit.is_saturated() {
            continue;
        }
        let exact = propagated_covariance(&spots, &found, &bench);
        let c = fit.covariance().expect("not saturated");
        let stated = [c.m, c.j0, c.j45, c.m_j0, c.m_j45, c.j0_j45].map(|bits| bits as f64 * UNIT * UNIT);
        let largest = exact.iter().fold(0.0f64, |most, element| most.max(element.abs()));
        let off = exact.iter().zip(stated).fold(0.0f64, |most, (exact, stated)| most.max((exact - stated).abs()));
        let error = (off - UNIT * UNIT).max(0.0) / largest;
        assert!(error < 2e-3, "{error}: {lens:?} {bench:?} {exact:?} {stated:?}");
        most = most.max(error);
        checked += 1;
    }
    println!("largest error of a covariance element: {most:.1e} of the largest element, {checked} fits");
    assert!(checked > 10_000 && most > 5e-4, "the bound is far too generous");
}

/// Sums and sums of squares of deviations from the lens.
#[derive(Default)]
struct Scatter {
    sums: [f64; RESULTS],
    squares: [f64; RESULTS],
    /// Mean squares of the stated uncertainties.
    stated: [f64; RESULTS],
    residual: f64,
}

/// Draws a trial.
const DRAWS: u32 = 40_000;
/// Largest deviation that passes, in standard deviations of the sampling.
const MOST_SIGMA: f64 = 4.5;

struct Trial {
    name: &'static str,
    lens: Lens,
    bench: Bench,
    holes: Vec<Place>,
    /// Noise, mm.
    sigma: f64,
}

fn trials() -> Vec<Trial> {
    let trial = |name, lens, bench, holes, sigma| Trial { name, lens, bench, holes, sigma };
    vec![
        trial(
            "113 holes within 3 mm",
            Lens::new(-4.0, -1.5, 35.0, [1.0, -0.5]),
            Bench::new(5.0, 20.0),
            lattice(0.5, 3.0),
            5e-4,
        ),
        trial(
            "hexagon off the axis",
            Lens::new(6.0, -2.0, 120.0, [-2.0, 3.0]),
            Bench::new(12.5, 35.0),
            arranged(&hexagon(2.0), 1.0, 10.0, [6.0, -4.0]),
            1e-3,
        ),
        trial(
            "weak lens, axis near 180",
            Lens::new(0.75, -0.25, 179.5, [0.5, 0.25]),
            Bench::new(0.0, 35.0),
            lattice(0.5, 3.0),
            2e-4,
        ),
        trial(
            "two rows almost in a line",
            Lens::new(-8.0, -3.0, 55.0, [0.0, 4.0]),
            Bench::new(20.0, 20.0),
            arranged(&two_rows(4.0, 2.0), 0.1, 25.0, [1.0, 1.0]),
            2e-4,
        ),
        trial(
            "three holes, strong lens, long gap",
            Lens::new(14.0, -4.0, 100.0, [3.0, 3.0]),
            Bench::new(30.0, 10.0),
            ring(3, 3.0, 90.0),
            2e-4,
        ),
        trial(
            "no gap, strong minus",
            Lens::new(-20.0, -2.0, 140.0, [5.0, -5.0]),
            Bench::new(0.0, 10.0),
            hexagon(3.0),
            1e-3,
        ),
    ]
}

impl Trial {
    fn draw(&self, random: &mut Random) -> Scatter {
        let truth = stated(self.lens.power, self.lens.prism);
        let holes: Vec<Place> = self.holes.iter().map(|hole| spots::on_grid(*hole)).collect();
        let mut scatter = Scatter::default();
        for _ in 0..DRAWS {
            let spots = self.bench.spots(&self.lens, &holes, self.sigma, random);
            let fit = fitted(&spots, &self.bench).expect("a lens in range");
            let (power, prism) = (fit.power(), fit.prism());
            let power = Matrix { xx: power.xx.to_f64(), xy: power.xy.to_f64(), yy: power.yy.to_f64() };
            let found = stated(power, [prism.x.to_f64(), prism.y.to_f64()]);
            let uncertainty = seen(&fit.uncertainty()).map(|u| u.expect("a cylinder and a centre"));
            for result in 0..RESULTS {
                let deviation = change(result, found[result], truth[result]);
                scatter.sums[result] += deviation;
                scatter.squares[result] += deviation * deviation;
                scatter.stated[result] += uncertainty[result] * uncertainty[result];
            }
            scatter.residual += (fit.residual().to_f64() / 1000.0).powi(2);
        }
        scatter
    }
}

#[test]
fn the_scatter_of_measurements_is_the_stated_uncertainty() {
    let mut random = Random::new("scatter");
    let draws = f64::from(DRAWS);
    for trial in trials() {
        let scatter = trial.draw(&mut random);
        let freedom = 2.0 * trial.holes.len() as f64 - 5.0;
        // Rounding to the detector's grid is noise too.
        let variance = trial.sigma * trial.sigma + GRID * GRID / 12.0;
        let residual = scatter.residual / draws / variance - 1.0;
        let limit = MOST_SIGMA * (2.0 / (freedom * draws)).sqrt();
        println!("{}: residual's square {:+.2} % ({:.2} %)", trial.name, 100.0 * residual, 100.0 * limit);
        assert!(residual.abs() < limit, "{}: biased residual", trial.name);
        for (result, name) in NAMES.into_iter().enumerate() {
            let stated = (scatter.stated[result] / draws).sqrt();
            let mean = scatter.sums[result] / draws;
            let scattered = (scatter.squares[result] / draws - mean * mean).sqrt();
            // Of a root, half the relative deviation of the square: scatter, and stated squares that follow the residual.
            let limit = MOST_SIGMA * (0.5 / draws * (1.0 + 1.0 / freedom)).sqrt();
            let off = scattered / stated - 1.0;
            println!("  {name}: stated {stated:.3e}, scatter {:+.2} % ({:.2} %)", 100.0 * off, 100.0 * limit);
            assert!(off.abs() < limit, "{}, {name}: {off}", trial.name);
            assert!(mean.abs() < MOST_SIGMA * scattered / draws.sqrt(), "{}, {name}: biased by {mean}", trial.name);
        }
    }
}

#[test]
fn a_mirrored_lens_has_the_same_uncertainties() {
    let mut random = Random::new("mirrored uncertainty");
    for _ in 0..5000 {
        let (lens, bench, holes) = (Lens::any(&mut random), any_bench(&mut random), any_holes(&mut random));
        let spots = bench.spots(&lens, &holes, 1e-3, &mut random);
        let flip = |x: f64, y: f64| {
            let flipped: Vec<[f64; 4]> = spots.iter().map(|s| [x * s[0], y * s[1], x * s[2], y * s[3]]).collect();
            fitted(&flipped, &bench).map(|fit| fit.uncertainty())
        };
        let plain = flip(1.0, 1.0);
        assert_eq!(plain, flip(-1.0, 1.0));
        assert_eq!(plain, flip(1.0, -1.0));
        assert_eq!(plain, flip(-1.0, -1.0));
    }
}

#[test]
fn exact_spots_leave_no_uncertainty() {
    // Slopes of a quarter and an eighth are exact on the grid.
    let spots: Vec<[f64; 4]> =
        lattice(1.0, 3.0).into_iter().map(|[x, y]| [x, y, x - x / 4.0 + 0.5, y - y / 8.0]).collect();
    let fit = fitted(&spots, &Bench::new(0.0, 20.0)).expect("a lens");
    let u = fit.uncertainty();
    assert!(seen(&u).into_iter().all(|u| u == Some(0.0)), "{u:?}");
}

#[test]
fn no_cylinder_leaves_the_axis_open_and_no_power_the_centre() {
    let mut random = Random::new("open");
    let uncertainty = |lens: Lens, random: &mut Random| {
        let bench = Bench::new(5.0, 20.0);
        let spots = bench.spots(&lens, &lattice(0.5, 3.0), 2e-4, random);
        fitted(&spots, &bench).expect("a lens").uncertainty()
    };
    for _ in 0..100 {
        let axis = 180.0 * unit(&mut random);
        let sphere = uncertainty(Lens::new(4.0, 0.0, axis, [1.0, 0.0]), &mut random);
        assert!(sphere.axis.is_none_or(|axis| axis.to_f64() > 5.0), "{sphere:?}");
        assert!(sphere.centre.is_some());
        let plano = uncertainty(Lens::new(0.0, -2.0, axis, [1.0, 0.0]), &mut random);
        assert_eq!(plano.centre, None);
        assert!(plano.axis.is_some());
        let window = uncertainty(Lens::new(0.0, 0.0, axis, [1.0, 0.0]), &mut random);
        assert_eq!(window.centre, None);
        // Focal lengths beyond 32 m: the centre is a point all the same.
        let weak = uncertainty(Lens::new(0.029, 0.0, axis, [0.02, 0.0]), &mut random);
        assert!(weak.centre.is_some(), "{weak:?}");
    }
}

#[test]
fn a_saturated_fit_has_no_stated_uncertainty() {
    // 28 mm over 2 mm is a slope of 14; the minus lens makes it 28: 2800 prism dioptres.
    let spots: Vec<[f64; 4]> =
        lattice(0.5, 2.0).into_iter().map(|[x, y]| [x, y, x + x / 64.0 + 28.0, y + y / 64.0]).collect();
    let fit = fitted(&spots, &Bench::new(64.0, 2.0)).expect("a lens");
    assert!(fit.is_saturated(), "{fit:?}");
    let u = fit.uncertainty();
    assert_eq!((u.sphere, u.across, u.cylinder), (Dioptre::MAX, Dioptre::MAX, Dioptre::MAX));
    assert_eq!((u.prism_x, u.prism_y), (PrismDioptre::MAX, PrismDioptre::MAX));
    assert_eq!((u.axis, u.centre, fit.covariance()), (None, None, None));
}
