//! The plane of transmittance: published values, exact least squares in `f64`, noise, symmetry, errors.

mod common;
#[path = "common/light.rs"]
mod light;

use common::{Budget, Random, Worst};
use dioptric::axis;
use dioptric::quantity::{Axis, Fraction};
use dioptric::sensor::{Polarisation, PolariserSums, ReadingError};
use light::{Plane, Row, UNIT, check_rows, fraction};

type Angles = Vec<(Axis, Fraction)>;

fn degrees(axis: Axis) -> f64 {
    f64::from(axis.to_bits()) * 180.0 / 4_294_967_296.0
}

fn at_degrees(angle: f64) -> Axis {
    Axis::from_bits((angle.rem_euclid(180.0) / 180.0 * 4_294_967_296.0).round() as u64 as u32)
}

fn sums(readings: &[(Axis, Fraction)]) -> PolariserSums {
    let mut sums = PolariserSums::default();
    for (angle, intensity) in readings {
        sums.add(*angle, *intensity).expect("in range");
    }
    sums
}

/// `mean (1 + efficiency cos 2 (t - axis))`.
fn malus(mean: f64, efficiency: f64, axis: f64, angle: f64) -> f64 {
    mean * (1.0 + efficiency * (2.0 * (angle - axis)).to_radians().cos())
}

/// The short way round.
fn apart(a: f64, b: f64) -> f64 {
    ((a - b + 270.0).rem_euclid(180.0) - 90.0).abs()
}

/// What the fit is, in `f64`: axis, efficiency, residual, and standard uncertainties of the first two.
struct Exact {
    axis: f64,
    efficiency: f64,
    residual: f64,
    of_axis: f64,
    of_efficiency: f64,
    condition: f64,
}

impl Exact {
    fn of(readings: &[(Axis, Fraction)]) -> Self {
        let rows: Vec<_> = readings
            .iter()
            .map(|(angle, intensity)| {
                let (sin, cos) = (2.0 * degrees(*angle)).to_radians().sin_cos();
                [cos, sin, intensity.to_f64()]
            })
            .collect();
        let plane = Plane::of(&rows);
        let mean = plane.mean - plane.p * plane.centre[0] - plane.q * plane.centre[1];
        let amplitude = plane.p.hypot(plane.q);
        let (c, s) = (plane.p / amplitude, plane.q / amplitude);
        let efficiency = amplitude / mean;
        let of_axis = plane.residual * plane.variance(-s, c).sqrt() / (2.0 * amplitude);
        let [x, y] = plane.centre;
        let along = plane.variance(c + efficiency * x, s + efficiency * y);
        let of_mean = efficiency * efficiency / rows.len() as f64;
        Self {
            axis: plane.q.atan2(plane.p).to_degrees() / 2.0,
            efficiency,
            residual: plane.residual,
            of_axis: of_axis.to_degrees(),
            of_efficiency: plane.residual / mean * (along + of_mean).sqrt(),
            condition: plane.condition,
        }
    }
}

/// Any angles in number from 4 to 20, unequal; noise from 1e-4 to 0.03.
fn any_readings(random: &mut Random) -> Angles {
    let unit = |random: &mut Random| f64::from(random.u32()) / 4_294_967_296.0;
    let count = 4 + random.u32() % 17;
    let (mean, efficiency) = (0.1 + 0.35 * unit(random), 0.05 + 0.95 * unit(random));
    let (axis, noise) = (180.0 * unit(random), 1e-4 * 300f64.powf(unit(random)));
    (0..count)
        .map(|_| {
            let angle = Axis::from_bits(random.u32());
            let value = malus(mean, efficiency, axis, degrees(angle)) + noise * (2.0 * unit(random) - 1.0);
            (angle, fraction(value))
        })
        .collect()
}

const RANDOM: u64 = 100_000;

fn measure(worst: &mut Worst, name: &str, error: impl Fn(&Polarisation, &Exact) -> Option<f64>) {
    let mut random = Random::new(name);
    for _ in 0..2 * RANDOM {
        let readings = any_readings(&mut random);
        let exact = Exact::of(&readings);
        if exact.condition > 16.0 || exact.efficiency < 0.05 {
            continue;
        }
        let found = sums(&readings).fit().expect("distinct angles");
        if let Some(error) = error(&found, &exact) {
            worst.see(error, || format!("{readings:?}"));
        }
    }
}

const DOMAIN: &str = "efficiency from 0.05, condition to 16";

const BUDGETS: &[Budget] = &[
    Budget {
        function: "PolariserSums::fit: axis",
        domain: DOMAIN,
        unit: "degree",
        allowed: 4e-5,
        points: RANDOM,
        measure: |worst| measure(worst, "axis", |found, exact| Some(apart(degrees(found.axis?), exact.axis))),
    },
    Budget {
        function: "PolariserSums::fit: efficiency",
        domain: DOMAIN,
        unit: "",
        allowed: 1.5e-6,
        points: RANDOM,
        measure: |worst| {
            measure(worst, "efficiency", |found, exact| Some((found.efficiency.to_f64() - exact.efficiency).abs()));
        },
    },
    Budget {
        function: "PolariserSums::fit: residual",
        domain: DOMAIN,
        unit: "",
        allowed: 2e-7,
        points: RANDOM,
        measure: |worst| {
            measure(worst, "residual", |found, exact| Some((found.residual?.to_f64() - exact.residual).abs()));
        },
    },
    Budget {
        function: "PolariserSums::fit: uncertainties",
        domain: "residual from 1e-4, beyond two units",
        unit: "of itself",
        allowed: 8e-4,
        points: RANDOM,
        measure: |worst| {
            measure(worst, "uncertainty", |found, exact| {
                if exact.residual < 1e-4 {
                    return None;
                }
                let stated = found.uncertainty?;
                let beyond = |a: f64, b: f64, unit: f64| ((a - b).abs() - 2.0 * unit).max(0.0) / b;
                let axis = beyond(stated.axis?.to_f64(), exact.of_axis, 1.0 / 1_048_576.0);
                Some(axis.max(beyond(stated.efficiency.to_f64(), exact.of_efficiency, UNIT)))
            });
        },
    },
];

#[test]
fn the_fit_is_exact_least_squares_to_the_documented_bounds() {
    common::check(BUDGETS);
}

/// A standard normal deviate, of twelve uniform ones.
fn normal(random: &mut Random) -> f64 {
    (0..12).map(|_| f64::from(random.u32()) / 4_294_967_296.0).sum::<f64>() - 6.0
}

/// Equal spacing: `sd(axis) = sqrt(2 / N) sigma / (S0 DoLP)`, the Cramer-Rao bound for Gaussian noise; and the scatter of unequal
/// angles is the one stated.
#[test]
fn the_scatter_of_many_measurements_is_the_one_stated() {
    const TRIALS: u32 = 20_000;
    const SIGMA: f64 = 0.002;
    let equal = |count: u32| (0..count).map(|i| f64::from(i) * 180.0 / f64::from(count)).collect::<Vec<_>>();
    let mut random = Random::new("scatter");
    for angles in [equal(4), equal(5), equal(12), vec![3.0, 10.0, 41.0, 88.0, 95.0, 119.0]] {
        let count = angles.len() as f64;
        let (mean, efficiency, axis) = (0.4, 0.9, 27.0);
        let (mut axes, mut ratios, mut stated, mut stated_ratio) = (0.0, 0.0, 0.0, 0.0);
        for _ in 0..TRIALS {
            let noisy = |angle: &f64| {
                let value = malus(mean, efficiency, axis, *angle) + SIGMA * normal(&mut random);
                (at_degrees(*angle), fraction(value))
            };
            let readings: Angles = angles.iter().map(noisy).collect();
            let found = sums(&readings).fit().expect("distinct angles");
            axes += apart(degrees(found.axis.expect("polarised")), axis).powi(2);
            ratios += (found.efficiency.to_f64() - efficiency).powi(2);
            let uncertainty = found.uncertainty.expect("more than three");
            // The mean square, as the residual's square is what has the right mean.
            stated += uncertainty.axis.expect("an axis").to_f64().powi(2);
            stated_ratio += uncertainty.efficiency.to_f64().powi(2);
        }
        let of = |sum: f64| (sum / f64::from(TRIALS)).sqrt();
        println!(
            "{angles:?}: axis {} stated {}, efficiency {} stated {}",
            of(axes),
            of(stated),
            of(ratios),
            of(stated_ratio)
        );
        // The deviation of a standard deviation of 20 000 is 0.5 %; of the mean square stated with one degree of freedom 0.5 %.
        assert!((of(axes) / of(stated) - 1.0).abs() < 0.03, "{angles:?}");
        assert!((of(ratios) / of(stated_ratio) - 1.0).abs() < 0.03, "{angles:?}");
        if angles == equal(angles.len() as u32) {
            let published = ((2.0 / count).sqrt() * SIGMA / (2.0 * mean * efficiency)).to_degrees();
            assert!((of(axes) / published - 1.0).abs() < 0.02, "{angles:?}: {} {published}", of(axes));
        }
    }
}

#[test]
fn unpolarised_light_has_no_axis() {
    let angles = (0..12u16).map(|i| Axis::from_degrees(i * 15).expect("in range"));
    let flat: Angles = angles.clone().map(|angle| (angle, fraction(0.5))).collect();
    let found = sums(&flat).fit().expect("a fit");
    assert_eq!((found.axis, found.efficiency, found.mean), (None, Fraction::ZERO, fraction(0.5)));
    assert_eq!(found.residual, Some(Fraction::ZERO));
    assert_eq!(found.uncertainty.expect("twelve readings").axis, None);
    // Below and above the least efficiency, without noise.
    for (efficiency, has_axis) in [(0.000_9, false), (0.001, true)] {
        let weak: Angles =
            angles.clone().map(|angle| (angle, fraction(malus(0.5, efficiency, 20.0, degrees(angle))))).collect();
        assert_eq!(sums(&weak).fit().expect("a fit").axis.is_some(), has_axis, "{efficiency}");
    }
    // Noise alone: an amplitude three times its uncertainty is rare.
    let mut random = Random::new("noise");
    let with_axis = (0..10_000)
        .filter(|_| {
            let noisy: Angles =
                angles.clone().map(|angle| (angle, fraction(0.5 + 0.01 * normal(&mut random)))).collect();
            sums(&noisy).fit().expect("a fit").axis.is_some()
        })
        .count();
    println!("{with_axis} of 10000 have an axis by chance");
    assert!(with_axis < 500, "{with_axis}");
}

#[test]
fn mirror_images_and_turns_agree_to_the_bit() {
    let mut random = Random::new("symmetry");
    for _ in 0..20_000 {
        let readings = any_readings(&mut random);
        let turned = |turn: fn(Axis) -> Axis| {
            sums(&readings.iter().map(|(angle, value)| (turn(*angle), *value)).collect::<Vec<_>>()).fit()
        };
        let Ok(found) = sums(&readings).fit() else { continue };
        for turn in
            [Axis::mirrored, Axis::perpendicular, |axis: Axis| Axis::from_bits(axis.to_bits().wrapping_add(1 << 30))]
        {
            assert_eq!(turned(turn), Ok(Polarisation { axis: found.axis.map(turn), ..found }), "{readings:?}");
        }
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
fn what_gives_no_result_says_why() {
    let half = fraction(0.5);
    assert_eq!(PolariserSums::default().fit(), Err(ReadingError::TooFew));
    assert_eq!(sums(&[(axis!(10.0), half), (axis!(70.0), half)]).fit(), Err(ReadingError::TooFew));
    // Two angles however often, also when 180 degrees are written for 0.
    let two = [(axis!(0.0), half), (axis!(180.0), half), (axis!(35.0), half), (axis!(35.0), fraction(0.4))];
    assert_eq!(sums(&two).fit(), Err(ReadingError::Degenerate));
    assert_eq!(sums(&[(axis!(35.0), half); 3]).fit(), Err(ReadingError::Degenerate));
    let narrow = [(axis!(35.0), half), (axis!(35.1), half), (axis!(35.2), half)];
    assert_eq!(sums(&narrow).fit(), Err(ReadingError::Degenerate));
    assert!(sums(&[(axis!(35.0), half), (axis!(36.0), half), (axis!(37.0), half)]).fit().is_ok());
    let three = [axis!(0.0), axis!(60.0), axis!(120.0)];
    for dark in [0.0, -0.1] {
        assert_eq!(sums(&three.map(|angle| (angle, fraction(dark)))).fit(), Err(ReadingError::Dark));
    }
    let mut full = PolariserSums::default();
    assert_eq!(full.add(axis!(1.0), fraction(1.000_001)), Err(ReadingError::OutOfRange));
    assert_eq!(full.add(axis!(1.0), fraction(-1.000_001)), Err(ReadingError::OutOfRange));
    for i in 0..PolariserSums::MOST_READINGS {
        let on_an_end = if i % 2 == 0 { 1.0 } else { -1.0 };
        full.add(Axis::from_bits(i << 30), fraction(on_an_end)).expect("room");
    }
    assert_eq!(full.add(axis!(1.0), half), Err(ReadingError::TooMany));
    assert_eq!(full.merge(&full.clone()), Err(ReadingError::TooMany));
    // 0, 45, 90, 135 degrees by turns 1, -1, 1, -1.
    assert_eq!(full.fit(), Err(ReadingError::Dark));
    assert!(ReadingError::TooMany.is_range() && !ReadingError::Dark.is_range());
}

/// Sums are read back as they were written; what no sums can be gives some result or error, and no panic.
#[cfg(feature = "serde")]
#[test]
fn sums_survive_writing_and_any_numbers_may_be_read() {
    let mut random = Random::new("serde");
    for _ in 0..20_000 {
        let readings = any_readings(&mut random);
        let written = serde_json::to_string(&sums(&readings)).expect("serialises");
        assert_eq!(serde_json::from_str::<PolariserSums>(&written).expect("deserialises"), sums(&readings));
        let mut long = || random.long_of_any_size();
        let (linear, products) = ([(); 3].map(|()| long()), [(); 6].map(|()| long()));
        let absurd = serde_json::json!({ "count": random.u32(), "linear": linear, "products": products }).to_string();
        let absurd: PolariserSums = serde_json::from_str(&absurd).expect("deserialises");
        let _ = absurd.fit();
        let mut merged = sums(&readings);
        let _ = merged.merge(&absurd);
        let _ = merged.fit();
    }
}

/// Three readings leave no scatter.
#[test]
fn three_readings_give_an_axis_without_uncertainty() {
    let readings = [3.0, 50.0, 140.0].map(|angle| (at_degrees(angle), fraction(malus(0.4, 0.8, 77.0, angle))));
    let found = sums(&readings).fit().expect("three angles");
    assert_eq!((found.residual, found.uncertainty), (None, None));
    assert!(apart(degrees(found.axis.expect("an axis")), 77.0) < 1e-4);
    assert!((found.efficiency.to_f64() - 0.8).abs() < 1e-6);
}

/// Intensities of the examples are brought within 1.
const SCALE: f64 = 128.0;

const LEFT_OUT: &[(&str, &str)] = &[
    ("8.01", "an angle from one intensity and a known source: the crate fits angle, source and efficiency together"),
    ("8.02", "the law of Malus forwards: the crate fits it backwards"),
    ("8.07 dop", "needs the circular part, which an analyser does not see"),
    ("8.07 chi", "as dop"),
    ("8.05 cos4", "Malus's law twice, forwards"),
    ("8.17 sd_S0", "the crate states uncertainties of the axis and of the efficiency only"),
    ("8.17 sd_S1", "as sd_S0"),
];

/// Light of given Stokes parameters at four analyser angles.
fn of_stokes(s: [f64; 3]) -> Angles {
    let at = |angle: f64| {
        let (sin, cos) = (2.0 * angle).to_radians().sin_cos();
        (at_degrees(angle), fraction((s[0] + s[1] * cos + s[2] * sin) / 2.0 / SCALE))
    };
    [0.0, 45.0, 90.0, 135.0].map(at).to_vec()
}

fn paired(angles: &[f64], values: &[f64]) -> Angles {
    assert_eq!(angles.len(), values.len());
    angles.iter().zip(values).map(|(angle, value)| (at_degrees(*angle), fraction(value / SCALE))).collect()
}

fn readings_of(row: &Row) -> Option<Angles> {
    let numbers = |from| row.numbers(from);
    Some(match row.id.as_str() {
        // The light behind each polariser, whose plane the fit finds: by the Mueller matrix of an ideal polariser at 60 degrees,
        // then at 45.
        "8.04" | "8.05" => {
            let behind = |s: [f64; 3], angle: f64| {
                let (sin, cos) = (2.0 * angle).to_radians().sin_cos();
                let through = (s[0] + s[1] * cos + s[2] * sin) / 2.0;
                [through, through * cos, through * sin]
            };
            let first = behind([1.0, 0.0, 1.0], 60.0);
            of_stokes(if row.id == "8.04" { first } else { behind(first, 45.0) })
        }
        "8.07" => of_stokes([25.0, 0.0, 24.0]),
        "8.08" | "8.10" => {
            let values: Vec<f64> = ["I0=", "I60=", "I120="].map(|name| numbers(name)[0]).to_vec();
            paired(&[0.0, 60.0, 120.0], &values)
        }
        "8.11" => paired(&[0.0, 45.0, 90.0, 135.0], &numbers(" = ")),
        "8.13" => paired(&(0..12).map(|i| f64::from(i) * 15.0).collect::<Vec<_>>(), &numbers("I = ")),
        "8.14" => paired(&numbers("theta ["), &numbers("I [")),
        "8.16" => {
            let at = |angle: f64| 0.01 + (0.85 - 0.01) * (angle - 20.0f64).to_radians().cos().powi(2);
            [0.0, 65.0, 100.0, 140.0].map(|angle| (at_degrees(angle), fraction(at(angle)))).to_vec()
        }
        // What four readings leave over is the fourth harmonic alone: 0.5 of it is a residual of 1.
        "8.17" => paired(&[0.0, 45.0, 90.0, 135.0], &[100.5, 49.5, 0.5, 49.5]),
        _ => return None,
    })
}

#[test]
fn published_values_agree() {
    let value = |row: &Row, name: &str| {
        let readings = readings_of(row)?;
        let found = sums(&readings).fit().expect("distinct angles");
        let axis = degrees(found.axis.expect("polarised"));
        let efficiency = found.efficiency.to_f64();
        let s0 = 2.0 * found.mean.to_f64() * SCALE;
        let residual = found.residual.map(|residual| residual.to_f64() * SCALE);
        let stated = || found.uncertainty.and_then(|uncertainty| uncertainty.axis).expect("an axis").to_f64();
        Some(match name {
            "S0" => s0,
            "S1" => s0 * efficiency * (2.0 * axis).to_radians().cos(),
            "S2" => s0 * efficiency * (2.0 * axis).to_radians().sin(),
            "axis" | "psi" => axis,
            "dolp" | "contrast" => efficiency,
            "rss" => residual?.powi(2) * (readings.len() - 3) as f64,
            "I" => malus(found.mean.to_f64(), efficiency, axis, 65.0),
            "extinction" => (1.0 + efficiency) / (1.0 - efficiency),
            "sd_axis_deg" => stated(),
            "sd_axis_rad" => stated().to_radians(),
            _ => return None,
        })
    };
    check_rows("Polarizer axis", 12, LEFT_OUT, value, |row, name| match name {
        // Units of 2^-24 of the full scale of 128, and the efficiency's bound on S0.
        "S0" | "S1" | "S2" => 1.5e-6 * 100.0,
        "axis" | "psi" => 4e-5,
        // The efficiency's bound, times the derivative of (1 + e) / (1 - e).
        "extinction" => 1.5e-6 * 2.0 / (1.0f64 - 0.976_744).powi(2),
        // Twice the residual times its bound, and the rounding of intensities to 128 / 2^24.
        "rss" if row.id == "8.14" => 2e-4,
        "rss" => 2e-5,
        "sd_axis_deg" => 1e-5,
        "sd_axis_rad" => 2e-7,
        _ => 1.5e-6,
    });
}
