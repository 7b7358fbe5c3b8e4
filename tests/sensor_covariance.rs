//! The covariance of a fitted power: the closed form of a round pattern, and the scatter of thousands of fits.

mod common;
#[path = "common/spots.rs"]
mod spots;

use common::Random;
use dioptric::vector::Covariance;
use spots::{Bench, Lens, arranged, fitted, lattice};

fn square_dioptres(bits: i64) -> f64 {
    bits as f64 / 2f64.powi(40)
}

fn elements(c: &Covariance) -> [f64; 6] {
    [c.m, c.j0, c.j45, c.m_j0, c.m_j45, c.j0_j45].map(square_dioptres)
}

/// With the sums of x^2 and y^2 both Q and that of x y 0, M, J0 and J45 have the variance sigma^2 / 2 Q each, and none with
/// another: least squares of `s = p - F r` (Thibos, Hong, Bradley and Applegate 2004 for the slopes; the variances by the law of
/// propagation).
#[test]
fn a_round_pattern_without_gap_has_the_variances_of_the_closed_form() {
    let (holes, bench) = (lattice(0.5, 3.0), Bench::new(0.0, 20.0));
    let mut random = Random::new("covariance of a round pattern");
    let lens = Lens::new(-3.0, -1.0, 30.0, [0.5, 0.0]);
    let fit = fitted(&bench.spots(&lens, &holes, 0.001, &mut random), &bench).expect("a lens");
    let q: f64 = holes.iter().map(|[x, _]| x * x).sum();
    // Micrometres of displacement over millimetres of throw: slopes in 1e-3, and 1e3 of these a dioptre and metre.
    let sigma = fit.residual().to_f64() / bench.throw;
    let expected = sigma * sigma / (2.0 * q);
    let [m, j0, j45, mixed @ ..] = elements(&fit.covariance().expect("not saturated"));
    for (name, variance) in [("M", m), ("J0", j0), ("J45", j45)] {
        assert!((variance / expected - 1.0).abs() < 2e-3, "{name}: {variance:e} for {expected:e}");
    }
    assert!(mixed.iter().all(|element| element.abs() < 2e-3 * expected), "{mixed:?}");
}

/// Of an uneven pattern behind a gap: diagonal and mixed elements are those of the scatter, within four of its own standard
/// deviations.
#[test]
fn the_covariance_is_that_of_repeated_measurements() {
    const DRAWS: usize = 4000;
    let holes = arranged(&lattice(0.75, 2.5), 0.5, 25.0, [0.8, -0.4]);
    let bench = Bench::new(12.0, 25.0);
    let lens = Lens::new(8.0, -2.5, 70.0, [1.0, -2.0]);
    let mut random = Random::new("covariance by repetition");
    let (mut stated, mut powers) = ([0.0; 6], Vec::new());
    for _ in 0..DRAWS {
        let fit = fitted(&bench.spots(&lens, &holes, 0.0005, &mut random), &bench).expect("a lens");
        for (sum, element) in stated.iter_mut().zip(elements(&fit.covariance().expect("not saturated"))) {
            *sum += element / DRAWS as f64;
        }
        let vector = fit.vector();
        powers.push([vector.m, vector.j0, vector.j45].map(|part| part.to_f64()));
    }
    let mean = |k: usize| powers.iter().map(|p| p[k]).sum::<f64>() / DRAWS as f64;
    let means = [mean(0), mean(1), mean(2)];
    let seen = |a: usize, b: usize| {
        powers.iter().map(|p| (p[a] - means[a]) * (p[b] - means[b])).sum::<f64>() / (DRAWS - 1) as f64
    };
    let pairs = [(0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2)];
    for ((a, b), stated) in pairs.into_iter().zip(stated) {
        // Of a sample covariance: (s_aa s_bb + s_ab^2) / (n - 1).
        let own = ((seen(a, a) * seen(b, b) + seen(a, b).powi(2)) / (DRAWS - 1) as f64).sqrt();
        println!("{a} {b}: stated {stated:.3e}, seen {:.3e}, own deviation {own:.1e}", seen(a, b));
        assert!((seen(a, b) - stated).abs() < 4.0 * own, "{a} {b}: {stated:e} for {:e} ({own:e})", seen(a, b));
    }
}
