//! The wavefront to the fourth order: its terms against their definition in polar form, its arithmetic against `f64`, and the
//! power at the vertex against traced lenses.

mod common;
#[path = "common/spots.rs"]
mod spots;
#[path = "common/traced.rs"]
mod traced;

use common::{Budget, Random, Worst, cases};
use dioptric::quantity::Point;
use dioptric::sensor::{Disc, HigherOrder, HigherOrderError, HigherOrderSums, SpotPair, Zernike};
use dioptric::vector::{PowerMatrix, PowerVector};
use proptest::prelude::{any, prop_assert, prop_assert_eq, proptest};
use spots::{Bench, Place, UNIT, arranged, lattice, mm, normal, on_grid, place, point, ring, scattered, signed, unit};
use traced::Traced;

// The terms by their definition.

/// `R(n, m)` by its sum of factorials, `cos m t` or `sin |m| t`, and the norm (Noll 1976, equations 1 and 2; ISO 24157).
fn zernike(n: i32, m: i32, [x, y]: Place) -> f64 {
    let factorial = |n: i32| (1..=n).map(f64::from).product::<f64>();
    let (rho, theta, k) = (x.hypot(y), y.atan2(x), m.abs());
    let radial: f64 = (0..=(n - k) / 2)
        .map(|s| {
            let sign = if s % 2 == 0 { 1.0 } else { -1.0 };
            let below = factorial(s) * factorial((n + k) / 2 - s) * factorial((n - k) / 2 - s);
            sign * factorial(n - s) / below * rho.powi(n - 2 * s)
        })
        .sum();
    let norm = (f64::from(n + 1) * if m == 0 { 1.0 } else { 2.0 }).sqrt();
    let angular = f64::from(k) * theta;
    norm * radial * if m < 0 { angular.sin() } else { angular.cos() }
}

/// By five points: exact, but for rounding, to the fourth degree.
fn derivative(f: impl Fn(f64) -> f64) -> f64 {
    let h = 0.1;
    (f(-2.0 * h) - 8.0 * f(-h) + 8.0 * f(h) - f(2.0 * h)) / (12.0 * h)
}

fn gradient(term: Zernike, [x, y]: Place) -> Place {
    let value = |x: f64, y: f64| zernike(term.order().into(), term.frequency().into(), [x, y]);
    [derivative(|h| value(x + h, y)), derivative(|h| value(x, y + h))]
}

/// Order and frequency are those of the single index (ISO 24157: `j = (n (n + 2) + m) / 2`), and no term comes twice.
#[test]
fn terms_are_in_the_order_of_the_single_index() {
    let expected = [
        (1, -1),
        (1, 1),
        (2, -2),
        (2, 0),
        (2, 2),
        (3, -3),
        (3, -1),
        (3, 1),
        (3, 3),
        (4, -4),
        (4, -2),
        (4, 0),
        (4, 2),
        (4, 4),
    ];
    for ((term, (n, m)), index) in Zernike::ALL.into_iter().zip(expected).zip(1..) {
        assert_eq!((term.order(), term.frequency(), term.index()), (n, m, index), "{term:?}");
        assert_eq!((i32::from(n) * (i32::from(n) + 2) + i32::from(m)) / 2, i32::from(index));
    }
}

/// A wavefront of one term alone, its slopes by numerical derivative, is found to be that term, in micrometres.
#[test]
fn each_term_is_found_as_itself() {
    let bench = Bench::new(5.0, 20.0);
    let (centre, radius) = ([1.5, -0.75], 3.25);
    for term in Zernike::ALL {
        let wave = 4.0;
        let pairs: Vec<SpotPair> = lattice(0.46, 3.2)
            .into_iter()
            .map(|xi| {
                let slope = gradient(term, xi.map(|c| c / radius)).map(|g| -wave / 1000.0 / radius * g);
                let at = |distance: f64| [0, 1].map(|i| centre[i] + xi[i] + distance * slope[i]);
                SpotPair::new(point(at(5.0)), point(at(25.0))).expect("in range")
            })
            .collect();
        let found = disc(centre, radius).higher_order(&pairs, &bench.geometry()).expect("a wavefront");
        for other in Zernike::ALL {
            let expected = if other == term { wave } else { 0.0 };
            // Spots of 15 nm over 20 mm and the radius: 2.5 nm a spot.
            let error = found.coefficient(other).to_f64() - expected;
            assert!(error.abs() < 1e-3, "{term:?} as {other:?}: {error}");
        }
        let rms = if term.order() > 2 { wave } else { 0.0 };
        assert!((found.rms().to_f64() - rms).abs() < 1.5e-3, "{term:?}");
        assert!(found.unexplained().to_f64() < 0.02, "{term:?}: {}", found.unexplained());
    }
}

/// The norm: RMS over the disc is the coefficient, and terms are orthogonal there.
#[test]
fn terms_have_unit_root_mean_square_over_the_disc() {
    let points = lattice(0.01, 1.0);
    for first in Zernike::ALL {
        for second in Zernike::ALL {
            let value = |term: Zernike, at: Place| zernike(term.order().into(), term.frequency().into(), at);
            let mean =
                points.iter().map(|at| value(first, *at) * value(second, *at)).sum::<f64>() / points.len() as f64;
            let expected = if first == second { 1.0 } else { 0.0 };
            assert!((mean - expected).abs() < 0.02, "{first:?} {second:?}: {mean}");
        }
    }
}

fn disc(centre: Place, radius: f64) -> Disc {
    Disc::new(point(centre), mm(radius)).expect("in range")
}

// Arithmetic against f64.

/// A least-squares wavefront in `f64`: orthogonal columns (modified Gram and Schmidt, twice) of the terms' gradients.
struct Exact {
    /// Micrometres.
    coefficients: [f64; 14],
    /// Standard deviation of a displacement component, um.
    unexplained: f64,
    centre: Place,
    radius: f64,
}

impl Exact {
    fn of(spots: &[[f64; 4]], bench: &Bench, centre: Place, radius: f64) -> Self {
        let mut rows = Vec::new();
        for &[x, y, u, v] in spots {
            let moved = [u - x, v - y];
            let exit = [x - moved[0] * bench.gap / bench.throw, y - moved[1] * bench.gap / bench.throw];
            let xi = [0, 1].map(|i| (exit[i] - centre[i]) / radius);
            let gradients = Zernike::ALL.map(|term| gradient(term, xi));
            for i in [0, 1] {
                rows.push((gradients.map(|g| -g[i] * bench.throw / radius), moved[i]));
            }
        }
        let (coefficients, squares) = least_squares(&rows);
        let unexplained = (squares / (rows.len() as f64 - 14.0)).sqrt() * 1000.0;
        Self { coefficients: coefficients.map(|c| c * 1000.0), unexplained, centre, radius }
    }

    /// Second derivatives of the wavefront, D, by the derivative of the gradient.
    fn power_at(&self, at: Place) -> [f64; 3] {
        let xi = [0, 1].map(|i| (at[i] - self.centre[i]) / self.radius);
        let mut power = [0.0; 3];
        for (term, c) in Zernike::ALL.into_iter().zip(self.coefficients) {
            let scale = c / self.radius.powi(2);
            power[0] += scale * derivative(|h| gradient(term, [xi[0] + h, xi[1]])[0]);
            power[1] += scale * derivative(|h| gradient(term, [xi[0], xi[1] + h])[0]);
            power[2] += scale * derivative(|h| gradient(term, [xi[0], xi[1] + h])[1]);
        }
        power
    }

    fn prism_at(&self, at: Place) -> Place {
        let xi = [0, 1].map(|i| (at[i] - self.centre[i]) / self.radius);
        let mut prism = [0.0; 2];
        for (term, c) in Zernike::ALL.into_iter().zip(self.coefficients) {
            let g = gradient(term, xi);
            for i in [0, 1] {
                prism[i] -= 0.1 * c / self.radius * g[i];
            }
        }
        prism
    }
}

fn least_squares(rows: &[([f64; 14], f64)]) -> ([f64; 14], f64) {
    let mut columns: Vec<Vec<f64>> = (0..14).map(|k| rows.iter().map(|row| row.0[k]).collect()).collect();
    let mut right: Vec<f64> = rows.iter().map(|row| row.1).collect();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut triangle = [[0.0; 14]; 14];
    let mut sides = [0.0; 14];
    for k in 0..14 {
        for _ in 0..2 {
            for j in 0..k {
                let (done, rest) = columns.split_at_mut(k);
                let part = dot(&done[j], &rest[0]);
                triangle[j][k] += part;
                rest[0].iter_mut().zip(&done[j]).for_each(|(c, d)| *c -= part * d);
            }
        }
        triangle[k][k] = dot(&columns[k], &columns[k]).sqrt();
        let norm = triangle[k][k];
        columns[k].iter_mut().for_each(|c| *c /= norm);
        for _ in 0..2 {
            let part = dot(&columns[k], &right);
            sides[k] += part;
            right.iter_mut().zip(&columns[k]).for_each(|(r, c)| *r -= part * c);
        }
    }
    let mut solution = [0.0; 14];
    for k in (0..14).rev() {
        let known: f64 = (k + 1..14).map(|j| triangle[k][j] * solution[j]).sum();
        solution[k] = (sides[k] - known) / triangle[k][k];
    }
    (solution, dot(&right, &right))
}

/// A measurement as both see it.
struct Measurement {
    found: HigherOrder,
    exact: Exact,
    asked: Place,
    about: String,
}

impl Measurement {
    /// A lens to 30 D with prism and some micrometres of every term, noise of up to a micrometre, through a pattern that fills
    /// the disc.
    fn any(random: &mut Random) -> Option<Self> {
        let bench = Bench::new(12.5 * unit(random), 10.0 + 40.0 * unit(random));
        let radius = on_grid([1.0 + 9.0 * unit(random).powi(2), 0.0])[0];
        let centre = on_grid([4.0 * signed(random), 4.0 * signed(random)]);
        let holes = match random.u32() % 4 {
            0 => lattice(0.16, 0.97),
            1 => arranged(&lattice(0.22, 0.97), 0.9, 360.0 * unit(random), [0.0; 2]),
            2 => scattered(40 + random.u32() % 200, 0.97, random),
            _ => [ring(12, 0.95, 5.0), ring(9, 0.6, 0.0), ring(5, 0.3, 20.0), vec![[0.0; 2]]].concat(),
        };
        let mean = 30.0 * signed(random);
        let size = |term: Zernike, random: &mut Random| match term.order() {
            1 => 20.0 * radius * signed(random),
            2 if term == Zernike::Defocus => mean * radius * radius / (4.0 * 3f64.sqrt()),
            2 => 0.5 * signed(random) * radius * radius,
            _ => 2.0 * signed(random),
        };
        let wave: Vec<(Zernike, f64)> = Zernike::ALL.into_iter().map(|term| (term, size(term, random))).collect();
        let sigma = [0.0, 1e-4, 1e-3][random.u32() as usize % 3];
        let mut spots = Vec::new();
        for xi in holes {
            let mut slope = [0.0; 2];
            for (term, c) in &wave {
                let g = gradient(*term, xi);
                (0..2).for_each(|i| slope[i] -= c / 1000.0 / radius * g[i]);
            }
            let noise = normal(random);
            let exit = [0, 1].map(|i| centre[i] + radius * xi[i]);
            let hole = on_grid([0, 1].map(|i| exit[i] + bench.gap * slope[i]));
            let spot = on_grid([0, 1].map(|i| exit[i] + (bench.gap + bench.throw) * slope[i] + sigma * noise[i]));
            spots.push([hole[0], hole[1], spot[0], spot[1]]);
        }
        if !spots.iter().flatten().all(|c| c.abs() < 31.9) {
            return None;
        }
        let pairs = spots::pairs(&spots).expect("in range");
        let about = format!("{mean:.2} D, {bench:?}, radius {radius:.2}, {} spots, sigma {sigma}", spots.len());
        let found = disc(centre, radius).higher_order(&pairs, &bench.geometry());
        let found = found.unwrap_or_else(|error| panic!("{error}: {about}"));
        assert_eq!(found.count() as usize, pairs.len(), "{about}");
        let asked = on_grid([0, 1].map(|i| centre[i] + 0.7 * radius * signed(random)));
        Some(Self { found, exact: Exact::of(&spots, &bench, centre, radius), asked, about })
    }

    fn coefficient_error(&self) -> f64 {
        let error = |(term, c): (Zernike, f64)| (self.found.coefficient(term).to_f64() - c).abs();
        Zernike::ALL.into_iter().zip(self.exact.coefficients).map(error).fold(0.0, f64::max)
    }

    fn power_error(&self, at: Place, found: PowerMatrix) -> f64 {
        let [xx, xy, yy] = self.exact.power_at(at);
        let errors = [found.xx.to_f64() - xx, found.xy.to_f64() - xy, found.yy.to_f64() - yy];
        errors.into_iter().fold(0.0, |most, error| most.max(error.abs()))
    }

    fn prism_error(&self) -> f64 {
        let (seen, [x, y]) =
            (self.found.prism_at(point(self.asked)).expect("in the disc"), self.exact.prism_at(self.asked));
        (seen.x.to_f64() - x).abs().max((seen.y.to_f64() - y).abs())
    }

    fn unexplained_error(&self) -> f64 {
        (self.found.unexplained().to_f64() - self.exact.unexplained).abs() * 1000.0
    }
}

fn each(worst: &mut Worst, stream: &str, error: impl Fn(&Measurement) -> f64) {
    let mut random = Random::new(stream);
    for _ in 0..2000 {
        if let Some(measurement) = Measurement::any(&mut random) {
            worst.see(error(&measurement), || measurement.about.clone());
        }
    }
}

const BUDGETS: &[Budget] = &[
    budget("HigherOrder::coefficient", "um", 6e-5, |worst| each(worst, "coefficient", Measurement::coefficient_error)),
    budget("HigherOrder::power", "2^-20 D", 10.0, |worst| {
        each(worst, "power", |m| m.power_error(m.exact.centre, m.found.power()) / UNIT);
    }),
    budget("HigherOrder::power_at", "2^-20 D", 24.0, |worst| {
        each(worst, "power_at", |m| {
            m.power_error(m.asked, m.found.power_at(point(m.asked)).expect("in the disc")) / UNIT
        });
    }),
    budget("HigherOrder::prism_at", "2^-20", 1.5, |worst| each(worst, "prism_at", |m| m.prism_error() / UNIT)),
    budget("HigherOrder::unexplained", "nm", 0.4, |worst| {
        each(worst, "unexplained", Measurement::unexplained_error);
    }),
];

const fn budget(function: &'static str, unit: &'static str, allowed: f64, measure: fn(&mut Worst)) -> Budget {
    Budget { function, domain: "to 30 D, radius 1 to 10 mm, 27 to 240 spots", unit, allowed, points: 1900, measure }
}

#[test]
fn every_documented_bound_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

// Traced lenses.

/// The wavefront of a traced lens over the disc that its light fills, and where the light of the middle hole leaves it.
fn traced(lens: &Traced) -> HigherOrder {
    let exit = |pair: &SpotPair| lens.geometry.exit(pair);
    let middle = lens.pairs.iter().find(|pair| pair.reference() == Point::ORIGIN).expect("a hole in the middle");
    let centre = exit(middle);
    let away = |pair: &SpotPair| place(exit(pair) - centre).map(|c| c * c).iter().sum::<f64>().sqrt();
    let radius = lens.pairs.iter().map(away).fold(0.0, f64::max) + 1e-3;
    let disc = Disc::new(centre, mm(radius)).expect("in range");
    let found = disc.higher_order(&lens.pairs, &lens.geometry).expect("a wavefront");
    assert_eq!(found.count() as usize, lens.pairs.len());
    found
}

/// Off the power along the ray through the middle of the plate, D: mean power, and the largest element.
fn off(lens: &Traced, power: PowerMatrix) -> (f64, f64) {
    let errors = [("central_xx", power.xx), ("central_xy", power.xy), ("central_yy", power.yy)]
        .map(|(column, power)| power.to_f64() - lens.value(column));
    ((errors[0] + errors[2]) / 2.0, errors.into_iter().fold(0.0, |most, error| most.max(error.abs())))
}

/// What the aperture does to the plane fit is gone from the power at the vertex: to 16 D 0.0005 D are left of 0.074, to 25 D
/// 0.005 of 0.30, in every element 0.003; of toric, decentred and prismatic lenses too.
#[test]
fn the_power_at_the_vertex_is_that_of_a_vanishing_pupil() {
    let (mut plane_misses, mut worst) = (0, 0.0f64);
    println!("| lens | mean, plane | mean, vertex | largest element, plane | vertex | RMS, um | unexplained, um |");
    for lens in Traced::all() {
        let found = traced(&lens);
        let (plane, vertex) = (off(&lens, lens.fit.power()), off(&lens, found.power()));
        println!(
            "| {} | {:+.4} | {:+.4} | {:.4} | {:.4} | {:.3} | {:.3} |",
            lens.file(),
            plane.0,
            vertex.0,
            plane.1,
            vertex.1,
            found.rms(),
            found.unexplained()
        );
        let strongest = found.power().xx.to_f64().abs().max(found.power().yy.to_f64().abs());
        // What an instrument is to reach: 0.01 D to 10 D, and 0.1 % beyond.
        let goal = if strongest < 10.5 { 0.01 } else { strongest / 1000.0 };
        assert!(vertex.0.abs() < goal, "{}", lens.file());
        assert!(vertex.0.abs() < if strongest < 16.5 { 0.0006 } else { 0.005 }, "{}", lens.file());
        assert!(vertex.1 < 0.005, "{}", lens.file());
        plane_misses += u32::from(plane.0.abs() > goal);
        worst = worst.max(plane.0.abs());
    }
    // It is needed: the plane fit misses the goal.
    assert!(plane_misses >= 12 && worst > 0.3, "{plane_misses} {worst}");
}

/// A lens that is centred has no coma and no trefoil, and spherical aberration of the sign of its power; one that is off its
/// centre has coma.
#[test]
fn aberrations_are_where_they_belong() {
    for lens in Traced::all() {
        let found = traced(&lens);
        let size = |term| found.coefficient(term).to_f64();
        let third = [Zernike::TrefoilX, Zernike::TrefoilY, Zernike::ComaX, Zernike::ComaY].map(size);
        let largest = third.into_iter().fold(0.0f64, |most, size| most.max(size.abs()));
        if lens.file().contains("decentred") {
            assert!(largest > 0.0008, "{}: {third:?}", lens.file());
        } else if !lens.file().contains("prism") {
            assert!(largest < 0.0005, "{}: {third:?}", lens.file());
        }
        if lens.file().contains("wide") {
            let (spherical, mean) = (size(Zernike::SphericalAberration), PowerVector::from(found.power()).m.to_f64());
            assert!(spherical * mean > 0.0 && spherical.abs() > 0.002, "{}: {spherical}", lens.file());
        }
    }
}

/// Power at the centre from the terms: `M = (4 sqrt 3 c20 - 12 sqrt 5 c40) / R^2` and its like for J0 and J45 (Thibos et al.
/// 2004, with the sign of the lens).
#[test]
fn power_at_the_centre_is_that_of_the_published_formula() {
    for lens in Traced::all() {
        let found = traced(&lens);
        let c = |term| found.coefficient(term).to_f64();
        let area = found.disc().radius().to_f64().powi(2);
        let m = 4.0 * 3f64.sqrt() * c(Zernike::Defocus) - 12.0 * 5f64.sqrt() * c(Zernike::SphericalAberration);
        let j = |second, fourth| 2.0 * 6f64.sqrt() * c(second) - 6.0 * 10f64.sqrt() * c(fourth);
        let power = PowerVector::from(found.power());
        let expected = [
            m / area,
            j(Zernike::Astigmatism, Zernike::SecondaryAstigmatism) / area,
            j(Zernike::ObliqueAstigmatism, Zernike::ObliqueSecondaryAstigmatism) / area,
        ];
        for (seen, expected) in [power.m, power.j0, power.j45].into_iter().zip(expected) {
            // A unit of a coefficient, 3e-5 um, times 12 sqrt 5 over the area.
            assert!((seen.to_f64() - expected).abs() < 1.5e-4, "{}: {seen} {expected}", lens.file());
        }
    }
}

// Laws.

proptest! {
    #![proptest_config(cases(300, "tests/data/regressions/higher_order.txt"))]

    /// Integer sums: the same bits in any order and any grouping, and a spot outside the disc changes none.
    #[test]
    fn order_and_grouping_do_not_matter(seed in any::<u64>(), cut in 1usize..100) {
        let mut random = Random::seeded(seed);
        let (bench, disc) = (Bench::new(5.0, 20.0), disc([0.3, -0.2], 3.0));
        let hole = |random: &mut Random| [4.0 * signed(random), 4.0 * signed(random)];
        let pairs: Vec<SpotPair> = (0..120)
            .map(|_| {
                let at = hole(&mut random);
                let spot = [0, 1].map(|i| at[i] + 0.5 * signed(&mut random));
                SpotPair::new(point(at), point(spot)).expect("in range")
            })
            .collect();
        let sums = |pairs: &[SpotPair]| {
            let mut sums = HigherOrderSums::new(disc, &bench.geometry()).unwrap();
            sums.add_all(pairs).unwrap();
            sums
        };
        let whole = sums(&pairs);
        let mut merged = sums(&pairs[cut..]);
        merged.merge(&sums(&pairs[..cut])).unwrap();
        let mut reversed = HigherOrderSums::new(disc, &bench.geometry()).unwrap();
        let mut within = 0;
        for pair in pairs.iter().rev() {
            let is_within = disc.contains(bench.geometry().exit(pair));
            prop_assert_eq!(reversed.add(*pair), Ok(is_within));
            within += u32::from(is_within);
        }
        prop_assert_eq!(&merged, &whole);
        prop_assert_eq!(&reversed, &whole);
        prop_assert_eq!(whole.count(), within);
    }

    /// Mirrored left to right, terms odd in x change sign and no other changes, to the bit.
    #[test]
    fn mirror_images_agree_to_the_bit(seed in any::<u64>()) {
        let mut random = Random::seeded(seed);
        let (bench, disc) = (Bench::new(5.0, 20.0), disc([0.0, 0.0], 3.2));
        let spots: Vec<[Place; 2]> = lattice(0.5, 3.0)
            .into_iter()
            .map(|hole| [hole, [0, 1].map(|i| 0.95 * hole[i] + 0.01 * signed(&mut random))].map(on_grid))
            .collect();
        let fit = |sign: f64| {
            let pair = |[hole, spot]: &[Place; 2]| {
                SpotPair::new(point([sign * hole[0], hole[1]]), point([sign * spot[0], spot[1]])).expect("in range")
            };
            let pairs: Vec<SpotPair> = spots.iter().map(pair).collect();
            disc.higher_order(&pairs, &bench.geometry()).expect("a wavefront")
        };
        let (there, mirrored) = (fit(1.0), fit(-1.0));
        for term in Zernike::ALL {
            // cos m (pi - t) = (-1)^m cos m t; sin |m| (pi - t) = -(-1)^m sin |m| t.
            let m = term.frequency();
            let is_odd = (m.rem_euclid(2) == 1) != (m < 0);
            let seen = mirrored.coefficient(term);
            prop_assert_eq!(if is_odd { -seen } else { seen }, there.coefficient(term));
        }
        prop_assert_eq!(mirrored.rms(), there.rms());
        prop_assert!((mirrored.unexplained().to_f64() - there.unexplained().to_f64()).abs() < 1e-4);
    }
}

// Refusals.

#[test]
fn what_gives_no_wavefront_is_refused_by_name() {
    let geometry = Bench::new(5.0, 20.0).geometry();
    let still = |holes: &[Place]| -> Vec<SpotPair> {
        holes.iter().map(|hole| SpotPair::new(point(*hole), point(*hole)).expect("in range")).collect()
    };
    let fit = |holes: &[Place]| disc([0.0; 2], 3.5).higher_order(&still(holes), &geometry);
    assert_eq!(disc([0.0; 2], 0.2).higher_order(&[], &geometry), Err(HigherOrderError::RadiusRange));
    assert_eq!(fit(&lattice(0.5, 0.9)[..7]), Err(HigherOrderError::TooFewSpots));
    // One ring cannot tell spherical aberration from defocus; a line, nothing; a pattern in
    // the middle of its disc, not the fourth order.
    assert_eq!(fit(&ring(24, 3.0, 0.0)), Err(HigherOrderError::Singular));
    let line: Vec<Place> = (-6..=6).map(|i| [f64::from(i) / 2.0, 0.0]).collect();
    assert_eq!(fit(&line), Err(HigherOrderError::Singular));
    assert_eq!(fit(&vec![[1.0, 1.0]; 20]), Err(HigherOrderError::Singular));
    assert_eq!(fit(&lattice(0.05, 0.35)), Err(HigherOrderError::Singular));
    let found = fit(&lattice(0.5, 3.0)).expect("a wavefront");
    assert!(Zernike::ALL.iter().all(|term| found.coefficient(*term).to_bits() == 0));
    assert_eq!((found.power_at(point([3.6, 0.0])), found.prism_at(point([0.0, -3.6]))), (None, None));
    assert_eq!(found.power_at(point([3.4, 0.0])), Some(PowerMatrix::default()));
    let mut sums = HigherOrderSums::new(disc([0.0; 2], 3.0), &geometry).expect("in range");
    let other = HigherOrderSums::new(disc([0.0; 2], 3.1), &geometry).expect("in range");
    assert_eq!(sums.merge(&other), Err(HigherOrderError::OtherDisc));
    let far = HigherOrderSums::new(disc([0.0; 2], 3.0), &Bench::new(5.0, 21.0).geometry()).expect("in range");
    assert_eq!(sums.merge(&far), Err(HigherOrderError::OtherDisc));
    let pair = still(&[[0.0; 2]])[0];
    sums.add_all(&vec![pair; HigherOrderSums::MOST_SPOTS as usize]).expect("just as many");
    assert_eq!(sums.add(pair), Err(HigherOrderError::TooManySpots));
    let copy = sums;
    assert_eq!(sums.merge(&copy), Err(HigherOrderError::TooManySpots));
    assert!(HigherOrderError::RadiusRange.is_range() && !HigherOrderError::Singular.is_range());
    assert_eq!(HigherOrderError::TooFewSpots.to_string(), "fewer than eight spots");
}

/// Displacements of every size, up to the whole range: a wavefront or a name, and never a panic.
#[test]
fn absurd_spots_are_a_wavefront_or_an_error() {
    let mut random = Random::new("absurd");
    let (mut fitted, mut refused) = (0, 0);
    for round in 0..4000 {
        let size = 10f64.powf(-4.0 + f64::from(round % 6));
        let bench = Bench::new(128.0 * unit(&mut random), 2.0 + 500.0 * unit(&mut random).powi(3));
        let pairs: Vec<SpotPair> = scattered(30, 3.0, &mut random)
            .into_iter()
            .map(|hole| {
                let spot = [0, 1].map(|i| (hole[i] + size * signed(&mut random)).clamp(-31.9, 31.9));
                SpotPair::new(point(hole), point(spot)).expect("in range")
            })
            .collect();
        match disc([0.0; 2], 0.25 + 20.0 * unit(&mut random)).higher_order(&pairs, &bench.geometry()) {
            Ok(found) => {
                fitted += 1;
                let noise = found.unexplained().to_f64();
                assert!(noise > 0.0 && noise < 40e3 * (1.0 + size), "{noise}");
            }
            Err(_) => refused += 1,
        }
    }
    println!("{fitted} fitted, {refused} refused");
    assert!(fitted > 200 && refused > 200);
}
