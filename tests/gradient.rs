//! Gradient tints: exact least squares in `f64`, noise, symmetry, errors.

mod common;
#[path = "common/light.rs"]
mod light;

use common::{Budget, Random, Worst};
use dioptric::quantity::{Bearing, Fraction, Millimetre, Point};
use dioptric::sensor::{Gradient, GradientSums, ReadingError};
use light::{Plane, UNIT, fraction};

type Places = Vec<(Point, Fraction)>;

fn sums(readings: &[(Point, Fraction)]) -> GradientSums {
    let mut sums = GradientSums::default();
    for (place, transmittance) in readings {
        sums.add(*place, *transmittance).expect("in range");
    }
    sums
}

fn point(x: f64, y: f64) -> Point {
    Point::new(Millimetre::try_from_f64(x).expect("in range"), Millimetre::try_from_f64(y).expect("in range"))
}

fn degrees(bearing: Bearing) -> f64 {
    f64::from(bearing.to_bits()) * 360.0 / 4_294_967_296.0
}

fn apart(a: f64, b: f64) -> f64 {
    ((a - b + 540.0).rem_euclid(360.0) - 180.0).abs()
}

struct Exact {
    bearing: f64,
    slope: f64,
    mean: f64,
    residual: f64,
    of_direction: f64,
    of_slope: f64,
    condition: f64,
}

impl Exact {
    fn of(readings: &[(Point, Fraction)]) -> Self {
        let rows: Vec<_> =
            readings.iter().map(|(place, value)| [place.x.to_f64(), place.y.to_f64(), value.to_f64()]).collect();
        let plane = Plane::of(&rows);
        let slope = plane.p.hypot(plane.q);
        let (c, s) = (plane.p / slope, plane.q / slope);
        Self {
            bearing: plane.q.atan2(plane.p).to_degrees(),
            slope,
            mean: plane.mean,
            residual: plane.residual,
            of_direction: (plane.residual * plane.variance(-s, c).sqrt() / slope).to_degrees(),
            of_slope: plane.residual * plane.variance(c, s).sqrt(),
            condition: plane.condition,
        }
    }
}

fn unit(random: &mut Random) -> f64 {
    f64::from(random.u32()) / 4_294_967_296.0
}

/// From 4 to 40 points within 30 mm, slopes from 1e-4 to 1e-2 per millimetre, noise from 1e-4 to 0.03.
fn any_readings(random: &mut Random) -> Places {
    let count = 4 + random.u32() % 37;
    let (mean, slope) = (0.4 + 0.2 * unit(random), 1e-4 * 100f64.powf(unit(random)));
    let (turn, noise) = (std::f64::consts::TAU * unit(random), 1e-4 * 300f64.powf(unit(random)));
    (0..count)
        .map(|_| {
            let (x, y) = (60.0 * unit(random) - 30.0, 60.0 * unit(random) - 30.0);
            let value = mean + slope * (x * turn.cos() + y * turn.sin()) + noise * (2.0 * unit(random) - 1.0);
            (point(x, y), fraction(value))
        })
        .collect()
}

const RANDOM: u64 = 100_000;

fn measure(worst: &mut Worst, name: &str, error: impl Fn(&Gradient, &Exact) -> Option<f64>) {
    let mut random = Random::new(name);
    for _ in 0..2 * RANDOM {
        let readings = any_readings(&mut random);
        let exact = Exact::of(&readings);
        if exact.condition > 16.0 || exact.slope < 1e-4 {
            continue;
        }
        let found = sums(&readings).fit().expect("not on a line");
        if let Some(error) = error(&found, &exact) {
            worst.see(error, || format!("{readings:?}"));
        }
    }
}

const DOMAIN: &str = "within 30 mm, condition to 16, slope from 1e-4 per mm";

const BUDGETS: &[Budget] = &[
    Budget {
        function: "GradientSums::fit: direction",
        domain: DOMAIN,
        unit: "degree",
        allowed: 5e-7,
        points: RANDOM,
        measure: |worst| {
            measure(worst, "direction", |found, exact| Some(apart(degrees(found.lighter?), exact.bearing)));
        },
    },
    Budget {
        function: "GradientSums::fit: slope, mean, residual",
        domain: DOMAIN,
        unit: "2^-24",
        allowed: 1.0,
        points: RANDOM,
        measure: |worst| {
            measure(worst, "slope", |found, exact| {
                let off = |a: Fraction, b: f64| (a.to_f64() - b).abs() / UNIT;
                let slope = off(found.slope, exact.slope).max(off(found.mean, exact.mean));
                Some(slope.max(off(found.residual?, exact.residual)))
            });
        },
    },
    Budget {
        function: "GradientSums::fit: uncertainties",
        domain: "residual from 1e-4, beyond half a unit",
        unit: "of itself",
        allowed: 3e-8,
        points: RANDOM,
        measure: |worst| {
            measure(worst, "uncertainty", |found, exact| {
                if exact.residual < 1e-4 {
                    return None;
                }
                let stated = found.uncertainty?;
                let beyond = |a: f64, b: f64, unit: f64| ((a - b).abs() - 0.5 * unit).max(0.0) / b;
                let direction = beyond(stated.direction?.to_f64(), exact.of_direction, 1.0 / 1_048_576.0);
                Some(direction.max(beyond(stated.slope.to_f64(), exact.of_slope, UNIT)))
            });
        },
    },
];

#[test]
fn the_fit_is_exact_least_squares_to_the_documented_bounds() {
    common::check(BUDGETS);
}

fn normal(random: &mut Random) -> f64 {
    (0..12).map(|_| unit(random)).sum::<f64>() - 6.0
}

#[test]
fn the_scatter_of_many_measurements_is_the_one_stated() {
    const TRIALS: u32 = 20_000;
    let places = [(-20.0, 3.0), (-8.0, 14.0), (0.0, -12.0), (5.0, 5.0), (11.0, -3.0), (25.0, 9.0), (2.0, 20.0)];
    let mut random = Random::new("scatter");
    let (mut directions, mut slopes, mut stated, mut stated_slope) = (0.0, 0.0, 0.0, 0.0);
    for _ in 0..TRIALS {
        let noisy =
            |(x, y): (f64, f64)| (point(x, y), fraction(0.4 + 0.006 * x - 0.008 * y + 0.004 * normal(&mut random)));
        let readings: Places = places.into_iter().map(noisy).collect();
        let found = sums(&readings).fit().expect("not on a line");
        directions += apart(degrees(found.lighter.expect("a slope")), (-0.8f64).atan2(0.6).to_degrees()).powi(2);
        slopes += (found.slope.to_f64() - 0.01).powi(2);
        let uncertainty = found.uncertainty.expect("more than three");
        stated += uncertainty.direction.expect("a slope").to_f64().powi(2);
        stated_slope += uncertainty.slope.to_f64().powi(2);
    }
    println!("direction {}, slope {} of the stated", (directions / stated).sqrt(), (slopes / stated_slope).sqrt());
    assert!(((directions / stated).sqrt() - 1.0).abs() < 0.03);
    assert!(((slopes / stated_slope).sqrt() - 1.0).abs() < 0.03);
}

#[test]
fn mirror_images_and_turns_agree_to_the_bit() {
    let mut random = Random::new("symmetry");
    for _ in 0..20_000 {
        let readings = any_readings(&mut random);
        let moved = |place: fn(Point) -> Point, of: fn(Fraction) -> Fraction| {
            sums(&readings.iter().map(|(at, value)| (place(*at), of(*value))).collect::<Vec<_>>()).fit()
        };
        let found = sums(&readings).fit().expect("not on a line");
        let with = |bearing: fn(u32) -> u32| {
            let lighter = found.lighter.map(|lighter| Bearing::from_bits(bearing(lighter.to_bits())));
            Ok(Gradient { lighter, ..found })
        };
        let same: fn(Fraction) -> Fraction = |value| value;
        assert_eq!(moved(|at| Point::new(-at.x, at.y), same), with(|turn| (1u32 << 31).wrapping_sub(turn)));
        assert_eq!(moved(|at| Point::new(at.x, -at.y), same), with(u32::wrapping_neg));
        assert_eq!(moved(|at| -at, same), with(|turn| turn.wrapping_add(1 << 31)));
        assert_eq!(moved(|at| Point::new(-at.y, at.x), same), with(|turn| turn.wrapping_add(1 << 30)));
        // Light for dark.
        let darker = Gradient { lighter: found.lighter.map(Bearing::opposite), mean: -found.mean, ..found };
        assert_eq!(moved(|at| at, |value| -value), Ok(darker));
    }
}

#[test]
fn order_and_grouping_do_not_matter() {
    let mut random = Random::new("order");
    for _ in 0..1_000 {
        let readings = any_readings(&mut random);
        let whole = sums(&readings);
        let (head, tail) = readings.split_at(random.u32() as usize % readings.len());
        let mut merged = sums(tail);
        merged.merge(&sums(head)).expect("few");
        assert_eq!(merged, whole);
        assert_eq!(sums(&readings.iter().rev().copied().collect::<Vec<_>>()), whole);
        assert_eq!(whole.count() as usize, readings.len());
    }
}

#[test]
fn an_even_tint_has_no_direction() {
    let corners = [(10.0, 10.0), (-10.0, 10.0), (-10.0, -10.0), (10.0, -10.0)];
    let even: Places = corners.map(|(x, y)| (point(x, y), fraction(0.3))).to_vec();
    let found = sums(&even).fit().expect("a plane");
    assert_eq!((found.lighter, found.slope, found.mean), (None, Fraction::ZERO, fraction(0.3)));
    assert_eq!(found.uncertainty.map(|uncertainty| uncertainty.direction), Some(None));
    // A saddle: what no plane follows is residual, 0.1 at each corner with one degree of freedom.
    let saddle: Places = corners.map(|(x, y)| (point(x, y), fraction(0.3 + 0.001 * x * y))).to_vec();
    let found = sums(&saddle).fit().expect("a plane");
    assert_eq!(found.lighter, None);
    assert!((found.residual.expect("four").to_f64() - 0.2).abs() < 1e-6);
}

#[test]
fn what_gives_no_result_says_why() {
    let light = fraction(0.5);
    assert_eq!(GradientSums::default().fit(), Err(ReadingError::TooFew));
    assert_eq!(sums(&[(point(1.0, 0.0), light), (point(2.0, 0.0), light)]).fit(), Err(ReadingError::TooFew));
    let line = [-3.0, 0.0, 2.0, 9.0].map(|along| (point(along, 2.0 * along), light));
    assert_eq!(sums(&line).fit(), Err(ReadingError::Degenerate));
    assert_eq!(sums(&[(point(5.0, 5.0), light); 4]).fit(), Err(ReadingError::Degenerate));
    // A triangle of 20 mm, 0.1 mm high and 0.2 mm high: 1 / 256 of the spread is between.
    let triangle = |height: f64| [(-10.0, 0.0), (10.0, 0.0), (0.0, height)].map(|(x, y)| (point(x, y), light));
    assert_eq!(sums(&triangle(0.05)).fit(), Err(ReadingError::Degenerate));
    assert!(sums(&triangle(0.2)).fit().is_ok());
    let mut full = GradientSums::default();
    assert_eq!(full.add(point(64.001, 0.0), light), Err(ReadingError::OutOfRange));
    assert_eq!(full.add(point(0.0, -64.001), light), Err(ReadingError::OutOfRange));
    assert_eq!(full.add(Point::ORIGIN, fraction(1.001)), Err(ReadingError::OutOfRange));
    // The corners of the range, as often as can be.
    for i in 0..GradientSums::MOST_READINGS {
        let sign = |bit: u32| if i >> bit & 1 == 0 { 64.0 } else { -64.0 };
        let value = if i & 1 == 0 { 1.0 } else { -1.0 };
        full.add(point(sign(0), sign(1)), fraction(value)).expect("room");
    }
    assert_eq!(full.add(Point::ORIGIN, light), Err(ReadingError::TooMany));
    assert_eq!(full.merge(&full.clone()), Err(ReadingError::TooMany));
    let found = full.fit().expect("four corners");
    assert_eq!((found.lighter, found.slope), (Some(Bearing::from_bits(0)), fraction(1.0 / 64.0)));
    assert_eq!(found.residual, Some(Fraction::ZERO));
}
