//! The uncertainty budget: its parts against numerical derivatives of an independent fit, its coverage by Monte Carlo.

mod common;
#[path = "common/spots.rs"]
mod spots;

use common::Random;
use dioptric::lens::Line;
use dioptric::oracle;
use dioptric::quantity::{
    AbbeNumber, Degree, Dioptre, Fraction, Micrometre, Millimetre, Nanometre, Point, PrismDioptre,
};
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::{
    Budget, Component, Coverage, Extra, Fit, Freedom, GeometryUncertainty, Measurand, Resolution, SlopeSums, Sources,
    SpotNoise, StandardUncertainty, Wavelength, WavelengthCorrection,
};
use dioptric::tolerance::{Decision, ISO_21987, Measured, Ordered, Parameter, Rule, Uncertainty, judge};
use dioptric::{dioptres, millimetres, nanometres};
use proptest::prelude::*;
use spots::{
    Bench, Lens, Place, UNIT, any_bench, any_holes, condition, fitted, hexagon, lattice, mm, normal, ring, unit,
};
use std::num::NonZeroU16;

const RESULTS: usize = 8;
const NAMES: [&str; RESULTS] = ["sphere", "across", "cylinder", "axis", "prism x", "prism y", "centre x", "centre y"];
const AXIS: usize = 3;
const CENTRE_X: usize = 6;

fn um(value: f64) -> Micrometre {
    Micrometre::try_from_f64(value).expect("a small length")
}

fn frames(count: u16) -> NonZeroU16 {
    NonZeroU16::new(count).expect("at least one frame")
}

fn fraction(value: f64) -> Fraction {
    Fraction::try_from_f64(value).expect("a small number")
}

/// The results of the independent fit.
fn results(found: &oracle::Fit) -> [f64; RESULTS] {
    let (f, [x, y]) = (found.power, found.prism);
    let form = f.sphero_cylinder();
    let centre = [10.0 * (f.yy * x - f.xy * y) / f.det(), 10.0 * (f.xx * y - f.xy * x) / f.det()];
    [form.sphere, form.sphere + form.cylinder, form.cylinder, form.axis, x, y, centre[0], centre[1]]
}

/// `after - before`, of an axis the short way round.
fn change(result: usize, after: f64, before: f64) -> f64 {
    let change = after - before;
    if result == AXIS { (change + 270.0).rem_euclid(180.0) - 90.0 } else { change }
}

fn derivative(up: &[f64; RESULTS], down: &[f64; RESULTS], step: f64) -> [f64; RESULTS] {
    std::array::from_fn(|i| change(i, up[i], down[i]) / (2.0 * step))
}

fn seen(u: &StandardUncertainty) -> [Option<f64>; RESULTS] {
    let centre = |part: fn(&Point) -> Millimetre| u.centre.as_ref().map(|centre| part(centre).to_f64());
    [
        Some(u.sphere.to_f64()),
        Some(u.across.to_f64()),
        Some(u.cylinder.to_f64()),
        u.axis.map(Degree::to_f64),
        Some(u.prism_x.to_f64()),
        Some(u.prism_y.to_f64()),
        centre(|centre| centre.x),
        centre(|centre| centre.y),
    ]
}

const NO_NOISE: SpotNoise = SpotNoise::Known {
    centroid: Micrometre::ZERO,
    freedom: Freedom::INFINITE,
    frames: NonZeroU16::MIN,
    reference_frames: NonZeroU16::MIN,
};

/// Lenses and patterns that the documented accuracy speaks of.
fn usual(random: &mut Random, sigma: f64) -> Option<(Bench, Vec<[f64; 4]>, Fit, oracle::Fit)> {
    let (lens, bench, holes) = (Lens::any(random), any_bench(random), any_holes(random));
    let spots = bench.spots(&lens, &holes, sigma, random);
    let (fit, found) = (fitted(&spots, &bench).ok()?, oracle::fit(&spots, bench.gap, bench.throw)?);
    let form = found.power.sphero_cylinder();
    let fits = form.sphere.abs().max((form.sphere + form.cylinder).abs()) < 64.0 && form.cylinder < -0.25;
    let references: Vec<Place> = spots.iter().map(|s| [s[0], s[1]]).collect();
    let weak = form.sphere.abs().min((form.sphere + form.cylinder).abs());
    (fits && weak > 0.25 && !fit.is_saturated() && condition(&references) < 1024.0)
        .then_some((bench, spots, fit, found))
}

/// Every stated part against what the same spots, put into the independent fit with another geometry or with each reference
/// moved in turn, give. Spots without noise: what the residuals of noisy ones add is of second order and not in the budget.
#[test]
fn gap_throw_and_references_act_as_the_independent_fit_says() {
    let mut random = Random::new("budget parts");
    let (mut checked, mut most) = (0, 0.0f64);
    while checked < 1500 {
        let Some((bench, spots, fit, found)) = usual(&mut random, 0.0) else { continue };
        let again =
            |spots: &[[f64; 4]], gap: f64, throw: f64| oracle::fit(spots, gap, throw).map(|found| results(&found));
        let step = 1e-4;
        let of_gap = again(&spots, bench.gap + step, bench.throw).zip(again(&spots, bench.gap - step, bench.throw));
        let of_throw = again(&spots, bench.gap, bench.throw + step).zip(again(&spots, bench.gap, bench.throw - step));
        let (Some(of_gap), Some(of_throw)) = (of_gap, of_throw) else { continue };
        let (by_gap, by_throw) = (derivative(&of_gap.0, &of_gap.1, step), derivative(&of_throw.0, &of_throw.1, step));
        let geometry = |gap: f64, throw: f64, correlation: f64| GeometryUncertainty {
            gap: mm(gap),
            throw: mm(throw),
            correlation: fraction(correlation),
            freedom: Freedom::INFINITE,
        };
        let stated = |geometry| {
            let sources = Sources { spots: NO_NOISE, geometry, ..Sources::default() };
            seen(&fit.budget(&sources).expect("not saturated").standard())
        };
        let u = (bench.throw / 64.0).min(0.5);
        let rho = 2.0 * unit(&mut random) - 1.0;
        let cases = [
            (stated(geometry(u, 0.0, 0.0)), by_gap.map(|g| (g * u).abs())),
            (stated(geometry(0.0, u, 0.0)), by_throw.map(|t| (t * u).abs())),
            (
                stated(geometry(u, u, rho)),
                std::array::from_fn(|i| {
                    u * (by_gap[i].powi(2) + by_throw[i].powi(2) + 2.0 * rho * by_gap[i] * by_throw[i]).max(0.0).sqrt()
                }),
            ),
            (stated_references(&fit), by_references(&spots, &bench)),
        ];
        for (part, (stated, exact)) in cases.iter().enumerate() {
            for i in 0..RESULTS {
                let Some(stated) = stated[i] else { continue };
                if exact[i] > 30.0 && i == AXIS || exact[i] > 30_000.0 {
                    continue;
                }
                // The numerical derivative is good to some 1e-6 of what the step moves; the centre moves by the grid.
                let unit = if i >= CENTRE_X { spots::GRID } else { UNIT };
                let scale = results(&found)[i].abs().max(1.0) * u / bench.throw;
                let error = ((stated - exact[i]).abs() - 2.0 * unit - 2e-5 * scale).max(0.0) / exact[i].max(1e-12);
                assert!(error < 1e-3, "part {part}, {}: {stated} for {} {bench:?} {found:?}", NAMES[i], exact[i]);
                most = most.max(error);
            }
        }
        checked += 1;
    }
    println!("{checked} fits, worst relative error {most:.2e}");
}

const REFERENCE_NOISE: f64 = 0.002;

fn stated_references(fit: &Fit) -> [Option<f64>; RESULTS] {
    // Spots from so many frames that nothing of their noise is left but a thousandth of the references'.
    let spots = SpotNoise::Known {
        centroid: um(1000.0 * REFERENCE_NOISE),
        freedom: Freedom::INFINITE,
        frames: frames(u16::MAX),
        reference_frames: frames(1),
    };
    let budget = fit.budget(&Sources { spots, ..Sources::default() }).expect("not saturated");
    let standard = seen(&budget.standard());
    let measurands = [
        Measurand::Sphere,
        Measurand::Across,
        Measurand::Cylinder,
        Measurand::Axis,
        Measurand::PrismX,
        Measurand::PrismY,
        Measurand::CentreX,
        Measurand::CentreY,
    ];
    std::array::from_fn(|i| {
        let share = budget.entry(measurands[i])?.share(Component::References).to_f64();
        standard[i].map(|u| u * share.sqrt())
    })
}

/// JCGM 100, 5.1.2, with each reference's coordinate an input of its own.
fn by_references(spots: &[[f64; 4]], bench: &Bench) -> [f64; RESULTS] {
    let mut variance = [0.0; RESULTS];
    let step = 1e-5;
    for spot in 0..spots.len() {
        for coordinate in 0..2 {
            let moved = |by: f64| {
                let mut spots = spots.to_vec();
                spots[spot][coordinate] += by;
                results(&oracle::fit(&spots, bench.gap, bench.throw).expect("as before"))
            };
            let gradient = derivative(&moved(step), &moved(-step), step);
            (0..RESULTS).for_each(|i| variance[i] += (gradient[i] * REFERENCE_NOISE).powi(2));
        }
    }
    variance.map(f64::sqrt)
}

/// With nothing but the scatter, the budget is the fit's own uncertainty.
#[test]
fn the_scatter_alone_gives_the_fits_own_uncertainty() {
    let mut random = Random::new("budget scatter");
    let mut checked = 0;
    while checked < 5000 {
        let Some((_, _, fit, found)) = usual(&mut random, 2e-3) else { continue };
        if found.residual < 5e-5 {
            continue;
        }
        let budget = fit.budget(&Sources::default()).expect("not saturated");
        for ((name, stated), own) in NAMES.iter().zip(seen(&budget.standard())).zip(seen(&fit.uncertainty())) {
            let (Some(stated), Some(own)) = (stated, own) else {
                assert_eq!(stated.is_some(), own.is_some(), "{name}");
                continue;
            };
            assert!((stated - own).abs() <= 1.8e-3 * own + 4.0 * spots::GRID, "{name}: {stated} {own}");
        }
        let (stated, own) = (budget.covariance(), fit.covariance().expect("not saturated"));
        let elements =
            |c: dioptric::vector::Covariance| [c.m, c.j0, c.j45, c.m_j0, c.m_j45, c.j0_j45].map(|e| e as f64);
        let largest = elements(own).into_iter().fold(0.0, f64::max);
        for (stated, own) in elements(stated).into_iter().zip(elements(own)) {
            assert!((stated - own).abs() <= 4e-3 * largest + 2.0, "{stated} {own} of {largest}");
        }
        checked += 1;
    }
}

/// What one simulated instrument does not know, each a standard uncertainty.
#[derive(Clone, Copy)]
struct Errors {
    gap: f64,
    throw: f64,
    correlation: f64,
    /// Micrometres, one frame.
    centroid: f64,
    frames: u16,
    reference_frames: u16,
    /// Half-width of the Abbe number.
    abbe: f64,
}

const WAVELENGTH: Nanometre = nanometres!(850.0);

/// One measurement of a lens whose true power holds at the line e, by an instrument that believes `bench` and `abbe`.
struct Draw {
    fit: Fit,
    truth: Lens,
}

fn abbe(value: f64) -> AbbeNumber {
    AbbeNumber::from_bits((value * 16_777_216.0).round() as u32).expect("an Abbe number")
}

/// `n(e) - 1` over `n(850 nm) - 1` by Cauchy's formula of two terms.
fn dispersion(abbe: f64) -> f64 {
    let inverse = |w: f64| 1.0 / (w * w);
    let k = |w: f64| (inverse(w) - inverse(587.5618)) / (inverse(486.1327) - inverse(656.2725));
    (abbe + k(546.074)) / (abbe + k(850.0))
}

fn draw(lens: &Lens, bench: &Bench, holes: &[Place], errors: &Errors, nominal_abbe: f64, random: &mut Random) -> Draw {
    let [a, b] = normal(random);
    let rho = errors.correlation;
    let actual = Bench {
        gap: (bench.gap + errors.gap * a).max(0.0),
        throw: bench.throw + errors.throw * (rho * a + (1.0 - rho * rho).sqrt() * b),
    };
    let material = nominal_abbe + errors.abbe * (2.0 * unit(random) - 1.0);
    // At the instrument's wavelength the lens is weaker by its dispersion.
    let weaker = 1.0 / dispersion(material);
    let power = oracle::Matrix { xx: lens.power.xx * weaker, xy: lens.power.xy * weaker, yy: lens.power.yy * weaker };
    let seen = Lens { power, prism: lens.prism.map(|p| p * weaker) };
    let of_spot = errors.centroid / 1000.0 / f64::from(errors.frames).sqrt();
    let of_reference = errors.centroid / 1000.0 / f64::from(errors.reference_frames).sqrt();
    let spots: Vec<[f64; 4]> = holes
        .iter()
        .map(|hole| {
            let ([dx, dy], [ex, ey], [x, y]) = (normal(random), normal(random), actual.spot(&seen, *hole));
            let [x, y] = spots::on_grid([x + of_spot * dx, y + of_spot * dy]);
            let [u, v] = spots::on_grid([hole[0] + of_reference * ex, hole[1] + of_reference * ey]);
            [u, v, x, y]
        })
        .collect();
    Draw { fit: fitted(&spots, bench).expect("a lens that can be measured"), truth: *lens }
}

const COVERED: [&str; 6] = ["sphere", "cylinder", "axis", "prism x", "prism y", "prism amount"];

/// Which of the results' intervals hold the truth; `None` where a result has no interval.
fn covered(draw: &Draw, budget: &Budget, coverage: Coverage, correction: Option<&WavelengthCorrection>) -> [bool; 6] {
    let corrected = |vector| correction.map_or(vector, |correction| correction.vector(vector));
    let form = corrected(draw.fit.vector()).sphero_cylinder().expect("in range");
    let prism = correction.map_or(draw.fit.prism(), |correction| correction.prism(draw.fit.prism()));
    let expanded = budget.expanded(coverage);
    let truth = draw.truth.power.sphero_cylinder();
    let [px, py] = draw.truth.prism;
    let within = |measured: f64, truth: f64, u: f64| (measured - truth).abs() <= u;
    let axis = f64::from(form.axis().to_bits()) * 180.0 / 4_294_967_296.0;
    [
        within(form.sphere().to_f64(), truth.sphere, expanded.sphere.to_f64()),
        within(form.cylinder().to_f64(), truth.cylinder, expanded.cylinder.to_f64()),
        expanded.axis.is_some_and(|u| change(AXIS, axis, truth.axis).abs() <= u.to_f64()),
        within(prism.x.to_f64(), px, expanded.prism_x.to_f64()),
        within(prism.y.to_f64(), py, expanded.prism_y.to_f64()),
        expanded.prism_amount.is_some_and(|u| within(prism.resultant().0.to_f64(), px.hypot(py), u.to_f64())),
    ]
}

const DRAWS: u32 = 20_000;
const NOMINAL_ABBE: f64 = 40.0;

/// Fractions of draws whose intervals hold the truth.
fn coverage_of(
    lens: &Lens,
    bench: &Bench,
    holes: &[Place],
    errors: &Errors,
    noise: impl Fn() -> SpotNoise,
    coverage: Coverage,
    random: &mut Random,
) -> [f64; 6] {
    let correction = WavelengthCorrection::new(WAVELENGTH, Line::E, abbe(NOMINAL_ABBE)).expect("a wavelength in range");
    let sources = Sources {
        spots: noise(),
        geometry: GeometryUncertainty {
            gap: mm(errors.gap),
            throw: mm(errors.throw),
            correlation: fraction(errors.correlation),
            freedom: Freedom::INFINITE,
        },
        wavelength: Some(Wavelength { correction, abbe_half_width: fraction(errors.abbe) }),
        ..Sources::default()
    };
    let mut held = [0u32; 6];
    for _ in 0..DRAWS {
        let draw = draw(lens, bench, holes, errors, NOMINAL_ABBE, random);
        let budget = draw.fit.budget(&sources).expect("not saturated");
        for (held, one) in held.iter_mut().zip(covered(&draw, &budget, coverage, Some(&correction))) {
            *held += u32::from(one);
        }
    }
    held.map(|held| f64::from(held) / f64::from(DRAWS))
}

fn lenses() -> [(&'static str, Lens); 6] {
    [
        ("-2.00 -1.50 x 35, 1.5 prism", Lens::new(-2.0, -1.5, 35.0, [1.2, -0.9])),
        ("+6.00 -2.00 x 100, 3 prism", Lens::new(6.0, -2.0, 100.0, [-2.5, 1.6])),
        ("-10.00 -4.00 x 170, 2 prism", Lens::new(-10.0, -4.0, 170.0, [2.0, 0.5])),
        ("+12.00 -1.00 x 60, 5 prism", Lens::new(12.0, -1.0, 60.0, [0.8, 5.0])),
        ("+0.50 -3.00 x 5, 1 prism", Lens::new(0.5, -3.0, 5.0, [0.7, 0.7])),
        ("-18.00 -2.50 x 140, 4 prism", Lens::new(-18.0, -2.5, 140.0, [-3.0, -2.6])),
    ]
}

fn assert_covers(name: &str, seen: [f64; 6]) {
    println!(
        "{name}: {}",
        COVERED.iter().zip(seen).map(|(n, c)| format!("{n} {:.2} %", 100.0 * c)).collect::<Vec<_>>().join(", ")
    );
    for (result, covered) in COVERED.iter().zip(seen) {
        assert!((0.94..=0.96).contains(&covered), "{name}, {result}: {covered}");
    }
}

/// JCGM 101: the distribution by drawing from the distributions of the inputs.
#[test]
fn nineteen_of_twenty_intervals_hold_the_truth_when_the_noise_is_known() {
    let mut random = Random::new("coverage known");
    let holes = lattice(1.0, 3.5);
    let benches = [Bench::new(5.0, 20.0), Bench::new(12.0, 45.0), Bench::new(0.0, 10.0)];
    for (i, (name, lens)) in lenses().into_iter().enumerate() {
        let bench = benches[i % 3];
        let errors = Errors {
            gap: if bench.gap > 0.0 { 0.05 } else { 0.0 },
            throw: bench.throw * 1e-3,
            correlation: [-0.6, 0.0, 0.5][i % 3],
            centroid: 2.0,
            frames: 4,
            reference_frames: 16,
            abbe: 2.0,
        };
        let noise = || SpotNoise::Known {
            centroid: um(errors.centroid),
            freedom: Freedom::INFINITE,
            frames: frames(errors.frames),
            reference_frames: frames(errors.reference_frames),
        };
        let seen = coverage_of(&lens, &bench, &holes, &errors, noise, Coverage::Percent95, &mut random);
        assert_covers(name, seen);
    }
}

const COVERED_MEASURANDS: [Measurand; 6] = [
    Measurand::Sphere,
    Measurand::Cylinder,
    Measurand::Axis,
    Measurand::PrismX,
    Measurand::PrismY,
    Measurand::PrismAmount,
];

/// Noise of `freedom` degrees and of one, estimated, and a known error `other` times as large: how often the interval of Welch and
/// Satterthwaite holds the truth. Their formula is an approximation; this is what it is worth by itself.
fn welch_and_satterthwaite(freedom: u32, other: f64, random: &mut Random) -> f64 {
    const DRAWS: u32 = 200_000;
    let held = (0..DRAWS).filter(|_| {
        let chi = (0..freedom).map(|_| normal(random)[0].powi(2)).sum::<f64>() / f64::from(freedom);
        let total = chi + other * other;
        let effective = (total * total / (chi * chi / f64::from(freedom)) + 1e-3).min(4e9) as u32;
        let k = Coverage::Percent95.factor(Freedom::new(effective)).to_f64();
        normal(random)[0].abs() * (1.0 + other * other).sqrt() <= k * total.sqrt()
    });
    held.count() as f64 / f64::from(DRAWS)
}

/// With few spots the noise is itself badly known: Student's distribution, and the effective degrees of freedom of Welch and
/// Satterthwaite where other sources, known exactly, add to it.
///
/// With 3 degrees of freedom their formula itself covers no more than 93.9 % where the other sources come to half the noise (with
/// one, 88 %): there the coverage is compared with the formula's own.
#[test]
fn nineteen_of_twenty_intervals_hold_the_truth_when_few_spots_tell_their_noise() {
    let mut random = Random::new("coverage residual");
    let patterns = [("4 holes", ring(4, 3.0, 20.0)), ("7 holes", hexagon(3.0)), ("37 holes", lattice(1.0, 3.5))];
    let (mut least, mut off) = (1.0f64, 0.0f64);
    for (i, (name, lens)) in lenses().into_iter().enumerate() {
        for (pattern, holes) in &patterns {
            let bench = [Bench::new(5.0, 20.0), Bench::new(0.0, 30.0)][i % 2];
            for scale in [0.0, 1.0] {
                let errors = Errors {
                    gap: if bench.gap > 0.0 { 0.04 * scale } else { 0.0 },
                    throw: bench.throw * 5e-4 * scale,
                    correlation: 0.0,
                    centroid: 2.0,
                    frames: 1,
                    reference_frames: 4,
                    abbe: 0.0,
                };
                let noise = || SpotNoise::Residual;
                let seen = coverage_of(&lens, &bench, holes, &errors, noise, Coverage::Percent95, &mut random);
                let title = format!("{name}, {pattern}, other errors times {scale}");
                if holes.len() > 4 || scale == 0.0 {
                    assert_covers(&title, seen);
                    continue;
                }
                for ((measurand, seen), other) in
                    COVERED_MEASURANDS.iter().zip(seen).zip(ratios(&lens, &bench, holes, &errors))
                {
                    let formula = welch_and_satterthwaite(3, other, &mut random);
                    println!("{title}: {measurand:?}, others {other:.2} of the noise: {seen:.4}, formula {formula:.4}");
                    // Four standard deviations of either sample.
                    assert!((seen - formula).abs() < 4.0 * (0.0475f64 / f64::from(DRAWS) * 1.1).sqrt(), "{title}");
                    (least, off) = (least.min(seen), off.max((seen - formula).abs()));
                }
            }
        }
    }
    println!("four holes: {least:.4} at the least, within {off:.4} of the formula");
}

/// The known errors over the noise, of each result.
fn ratios(lens: &Lens, bench: &Bench, holes: &[Place], errors: &Errors) -> [f64; 6] {
    let spots: Vec<[f64; 4]> = holes
        .iter()
        .map(|hole| {
            let [x, y] = bench.spot(lens, *hole);
            [hole[0], hole[1], x, y]
        })
        .collect();
    let noise = SpotNoise::Known {
        centroid: um(errors.centroid),
        freedom: Freedom::INFINITE,
        frames: frames(errors.frames),
        reference_frames: frames(errors.reference_frames),
    };
    let geometry =
        GeometryUncertainty { gap: mm(errors.gap), throw: mm(errors.throw), ..GeometryUncertainty::default() };
    let sources = Sources { spots: noise, geometry, ..Sources::default() };
    let budget = fitted(&spots, bench).expect("a fit").budget(&sources).expect("not saturated");
    COVERED_MEASURANDS.map(|measurand| {
        let entry = budget.entry(measurand).expect("a result");
        let noise = entry.share(Component::Spots).to_f64() + entry.share(Component::References).to_f64();
        ((1.0 - noise).max(0.0) / noise).sqrt()
    })
}

/// Student's distribution by its finite sums (Abramowitz and Stegun, 26.7.3 and 26.7.4, from memory): the probability within `-t` to `t`.
fn student(freedom: u32, t: f64) -> f64 {
    let angle = (t / f64::from(freedom).sqrt()).atan();
    let (sin, cos) = angle.sin_cos();
    let (mut term, mut sum) = if freedom % 2 == 1 { (cos, cos) } else { (1.0, 1.0) };
    let mut k = if freedom % 2 == 1 { 3 } else { 2 };
    if freedom == 1 {
        sum = 0.0;
    }
    while k + 2 <= freedom {
        term *= cos * cos * f64::from(k - 1) / f64::from(k);
        sum += term;
        k += 2;
    }
    if freedom % 2 == 1 { 2.0 / std::f64::consts::PI * (angle + sin * sum) } else { sin * sum }
}

#[test]
fn coverage_factors_are_those_of_student() {
    let levels = [(Coverage::Percent95, 0.95), (Coverage::Percent95_45, 0.9545), (Coverage::Percent99, 0.99)];
    let tabled: Vec<u32> = (1..=20).chain((25..=50).step_by(5)).chain([100]).collect();
    for (coverage, level) in levels {
        for &freedom in &tabled {
            let k = coverage.factor(Freedom::new(freedom)).to_f64();
            let error = student(freedom, k) - level;
            // Half a unit of the third decimal, times the density there.
            let slope = (student(freedom, k + 1e-4) - student(freedom, k - 1e-4)) / 2e-4;
            assert!(error.abs() <= 5.1e-4 * slope, "{freedom}: {k} covers {}", level + error);
            if freedom < 100 {
                let next = coverage.factor(Freedom::new(freedom + 1)).to_f64();
                assert!(student(freedom + 1, next) >= level - 5e-4 && next <= k, "{freedom}");
            }
        }
        // No more degrees than these differ by a unit of the third decimal.
        let k = coverage.factor(Freedom::INFINITE).to_f64();
        assert!((student(100_001, k) - level).abs() < 1e-4, "{k}");
    }
    assert_eq!(Coverage::Factor(fraction(-2.5)).factor(Freedom::new(1)), fraction(2.5));
    assert_eq!(Coverage::TWO.factor(Freedom::new(3)), fraction(2.0));
}

/// JCGM 100:2008, table G.2, the column of 95 % to two decimals (from memory).
#[test]
fn coverage_factors_are_the_published_ones() {
    let published = [
        (1, 12.71),
        (2, 4.30),
        (3, 3.18),
        (4, 2.78),
        (5, 2.57),
        (6, 2.45),
        (7, 2.36),
        (8, 2.31),
        (9, 2.26),
        (10, 2.23),
        (15, 2.13),
        (20, 2.09),
        (25, 2.06),
        (30, 2.04),
        (40, 2.02),
        (50, 2.01),
    ];
    for (freedom, k) in published {
        let factor = Coverage::Percent95.factor(Freedom::new(freedom)).to_f64();
        assert!((factor - k).abs() <= 0.0055, "{freedom}: {factor} for {k}");
    }
}

/// A fit of a lens with noise of 2 um.
fn measured(lens: &Lens, bench: &Bench, seed: &str) -> Fit {
    let mut random = Random::new(seed);
    fitted(&bench.spots(lens, &lattice(1.0, 3.5), 0.002, &mut random), bench).expect("a fit")
}

#[test]
fn the_abbe_number_counts_as_the_correction_says() {
    let fit = measured(&Lens::new(-6.0, -1.0, 20.0, [0.0, 0.0]), &Bench::new(5.0, 20.0), "budget abbe");
    let correction = WavelengthCorrection::new(WAVELENGTH, Line::E, abbe(32.0)).expect("in range");
    let half_width = fraction(3.0);
    let wavelength = Some(Wavelength { correction, abbe_half_width: half_width });
    let budget = fit.budget(&Sources { spots: NO_NOISE, wavelength, ..Sources::default() }).expect("not saturated");
    let form = fit.sphero_cylinder().expect("in range");
    let standard = budget.standard();
    for (stated, power) in [(standard.sphere, form.sphere()), (standard.cylinder, form.cylinder())] {
        let own = correction.abbe_uncertainty(power, half_width);
        assert!((stated.to_f64() - own.to_f64()).abs() < 1e-5, "{stated:?} {own:?}");
    }
    // A factor on all powers turns no axis and moves no centre.
    assert_eq!(standard.axis, Some(Degree::ZERO));
    assert_eq!(budget.entry(Measurand::Sphere).expect("a sphere").dominant(), Component::Wavelength);
    // What else is uncertain grows with the correction.
    let (plain, corrected) = (
        fit.budget(&Sources::default()).expect("a budget").standard(),
        fit.budget(&Sources { wavelength, ..Sources::default() }).expect("a budget").entry(Measurand::Sphere),
    );
    assert!(plain.sphere > Dioptre::ZERO && corrected.is_some());
}

#[test]
fn resolution_and_the_further_part_count_by_themselves() {
    let fit = measured(&Lens::new(2.0, -1.0, 20.0, [3.0, 4.0]), &Bench::new(5.0, 20.0), "budget steps");
    let resolution = Resolution {
        power: Dioptre::literal(0.01),
        axis: Degree::literal(1.0),
        prism: PrismDioptre::literal(0.01),
        position: Millimetre::literal(0.1),
    };
    let standard = |sources: &Sources| fit.budget(sources).expect("not saturated").standard();
    let u = standard(&Sources { spots: NO_NOISE, resolution, ..Sources::default() });
    let root = 12f64.sqrt();
    for (stated, step) in [(u.sphere.to_f64(), 0.01), (u.cylinder.to_f64(), 0.01), (u.prism_x.to_f64(), 0.01)] {
        assert!((stated - step / root).abs() < 2e-6);
    }
    assert!((u.axis.expect("an axis").to_f64() - 1.0 / root).abs() < 2e-6);
    assert!((u.centre.expect("a centre").x.to_f64() - 0.1 / root).abs() < 4e-5);

    let extra = Extra { sphere: Dioptre::literal(0.03), prism_x: PrismDioptre::literal(0.05), ..Extra::default() };
    let extra = Extra { prism_y: PrismDioptre::literal(0.1), freedom: Freedom::new(8), ..extra };
    let budget = fit.budget(&Sources { spots: NO_NOISE, extra, ..Sources::default() }).expect("not saturated");
    let entry = budget.entry(Measurand::Sphere).expect("a sphere");
    assert_eq!((entry.freedom, entry.dominant()), (Freedom::new(8), Component::Extra));
    let expanded = budget.expanded(Coverage::Percent95);
    assert!((expanded.sphere.to_f64() - 2.306 * 0.03).abs() < 2e-6);
    // Along a base with components 3 and 4: sqrt((0.6 * 0.05)^2 + (0.8 * 0.1)^2).
    let amount = expanded.prism_amount.expect("a base").to_f64() / 2.306;
    assert!((amount - 0.0854400).abs() < 1e-4, "{amount}");
}

/// JCGM 100, G.4.1: u^4 / sum(u_i^4 / v_i).
#[test]
fn degrees_of_freedom_combine_as_welch_and_satterthwaite_say() {
    let fit = measured(&Lens::new(5.0, -1.0, 20.0, [1.0, 0.0]), &Bench::new(5.0, 20.0), "budget freedom");
    let geometry =
        GeometryUncertainty { throw: millimetres!(0.03), freedom: Freedom::new(5), ..GeometryUncertainty::default() };
    let budget = fit.budget(&Sources { geometry, ..Sources::default() }).expect("not saturated");
    for measurand in Measurand::ALL {
        let entry = budget.entry(measurand).expect("a result");
        let share = |component| entry.share(component).to_f64();
        let own = f64::from(2 * fit.count() - 5);
        let expected = 1.0 / (share(Component::Spots).powi(2) / own + share(Component::Throw).powi(2) / 5.0);
        let stated = f64::from(entry.freedom.degrees());
        assert!(stated <= expected + 0.01 && stated > expected - 1.01, "{measurand:?}: {stated} {expected}");
    }
    // The axis and the centre do not feel the throw.
    assert_eq!(budget.entry(Measurand::Axis).expect("an axis").freedom, Freedom::new(2 * fit.count() - 5));
}

/// The expanded uncertainty is the guard band: what the scatter alone would prove is proved no more when the throw is uncertain.
#[test]
fn guarded_acceptance_takes_the_expanded_uncertainty() {
    let fit = measured(&Lens::new(-7.93, -1.0, 20.0, [0.0, 0.0]), &Bench::new(5.0, 20.0), "budget verdict");
    let power: SpheroCylinder = "-8.00 -1.00 x 20".parse().expect("a prescription");
    let ordered = Ordered { power, ..Ordered::default() };
    let lens = Measured { power: Some(fit.vector().into()), prism: Some(fit.prism()), ..Measured::default() };
    let decision = |geometry| {
        let budget = fit.budget(&Sources { geometry, ..Sources::default() }).expect("not saturated");
        let expanded = budget.expanded(Coverage::TWO);
        let uncertainty = Uncertainty::of_budget(&expanded);
        assert_eq!(uncertainty.cylinder, Some(expanded.cylinder));
        let verdict = judge(&ISO_21987, &ordered, &lens, Rule::Guarded(uncertainty));
        verdict.finding(Parameter::SphereMeridian).expect("a sphere").decision()
    };
    let uncertain = GeometryUncertainty { throw: millimetres!(0.2), ..GeometryUncertainty::default() };
    assert_eq!(decision(GeometryUncertainty::default()), Decision::Conforms);
    assert_eq!(decision(uncertain), Decision::Undetermined);
    let alone = Uncertainty::of_fit(&fit.uncertainty());
    let budget = fit.budget(&Sources::default()).expect("not saturated");
    let same = Uncertainty::of_budget(&budget.expanded(Coverage::TWO));
    let near =
        |a: Option<Dioptre>, b: Option<Dioptre>| (a.expect("known") - b.expect("known")).abs() <= dioptres!(0.00002);
    assert!(near(alone.sphere_meridian, same.sphere_meridian) && near(alone.cylinder, same.cylinder));
}

#[test]
fn what_is_not_known_has_no_uncertainty() {
    // A sphere without cylinder has no axis; a lens without power no centre; without prism no base.
    let bench = Bench::new(0.0, 20.0);
    let exact = |lens: &Lens| fitted(&bench.spots(lens, &lattice(1.0, 3.0), 0.0, &mut Random::new("none")), &bench);
    let plano =
        exact(&Lens::new(0.0, 0.0, 0.0, [0.0, 0.0])).expect("a fit").budget(&Sources::default()).expect("a budget");
    for measurand in [Measurand::Axis, Measurand::PrismAmount, Measurand::CentreX, Measurand::CentreY] {
        assert_eq!(plano.entry(measurand), None, "{measurand:?}");
    }
    let expanded = plano.expanded(Coverage::Percent95);
    assert_eq!((expanded.axis, expanded.prism_amount, expanded.centre), (None, None, None));
    assert_eq!(expanded.sphere, Dioptre::ZERO);
    assert!(plano.entry(Measurand::Sphere).expect("a sphere").freedom >= Freedom::new(1));
    // Prism beyond the scale: saturated.
    let mut sums = SlopeSums::default();
    let at = |x, y| Point::new(mm(x), mm(y));
    for (x, y) in [(-31.0, 1.0), (-30.0, 0.0), (-31.0, -1.0)] {
        let pair = dioptric::sensor::SpotPair::new(at(x, y), at(x + 61.5, y)).expect("in range");
        sums.add(pair).expect("room");
    }
    let fit = sums.fit(&Bench::new(0.0, 2.0).geometry()).expect("a fit");
    assert!(fit.is_saturated() && fit.budget(&Sources::default()).is_none());
}

fn any_sources() -> impl Strategy<Value = Sources> {
    let geometry =
        (0i32..20_000, 0i32..20_000, -16_777_216i32..=16_777_216, 1u32..100).prop_map(|(gap, throw, r, v)| {
            GeometryUncertainty {
                gap: Millimetre::from_bits(gap),
                throw: Millimetre::from_bits(throw),
                correlation: Fraction::from_bits(r),
                freedom: Freedom::new(v),
            }
        });
    let spots = prop_oneof![
        Just(SpotNoise::Residual),
        (0i32..200_000, 1u32..200, 1u16..50, 1u16..50).prop_map(|(centroid, v, n, m)| SpotNoise::Known {
            centroid: Micrometre::from_bits(centroid),
            freedom: Freedom::new(v),
            frames: frames(n),
            reference_frames: frames(m),
        }),
    ];
    (spots, geometry).prop_map(|(spots, geometry)| Sources { spots, geometry, ..Sources::default() })
}

proptest! {
    #![proptest_config(common::cases(512, concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/regressions/budget.txt")))]

    /// Shares add up to one; the sum of principal variances is that of the vector; more uncertainty never gives less.
    #[test]
    fn a_budget_is_consistent(
        sphere in -20.0..20.0f64, cylinder in -6.0..-0.25f64, axis in 0.0..180.0f64,
        px in -8.0..8.0f64, py in -8.0..8.0f64, sources in any_sources(), seed in any::<u32>(),
    ) {
        let fit = measured(&Lens::new(sphere, cylinder, axis, [px, py]), &Bench::new(6.0, 25.0), &seed.to_string());
        let budget = fit.budget(&sources).expect("not saturated");
        for measurand in Measurand::ALL {
            let Some(entry) = budget.entry(measurand) else { continue };
            let sum: f64 = Component::ALL.iter().map(|component| entry.share(*component).to_f64()).sum();
            // Of a result that nothing moves, nothing is shared.
            prop_assert!((sum - 1.0).abs() < 1e-5 || sum == 0.0, "{measurand:?}: {sum}");
        }
        let (covariance, standard) = (budget.covariance(), budget.standard());
        let square = |power: Dioptre| power.to_f64().powi(2) * f64::from(1 << 20) * f64::from(1 << 20);
        // S = M + R, across = M - R: their variances add up to twice those of M and of R, and R's is a quarter of the cylinder's.
        let both = square(standard.sphere) + square(standard.across);
        let own = 2.0 * covariance.m as f64 + square(standard.cylinder) / 2.0;
        let units = standard.sphere.to_bits() + standard.across.to_bits() + standard.cylinder.to_bits();
        prop_assert!((both - own).abs() <= 4e-3 * own + 4.0 * f64::from(units) + 8.0, "{both} {own}");
        let extra = Extra { sphere: Dioptre::literal(0.01), ..Extra::default() };
        let more = fit.budget(&Sources { extra, ..sources }).expect("not saturated").standard();
        prop_assert!(more.sphere > standard.sphere && more.cylinder == standard.cylinder);
        let wider = budget.expanded(Coverage::Percent99);
        let narrower = budget.expanded(Coverage::Percent95);
        prop_assert!(wider.sphere >= narrower.sphere && wider.prism_x >= narrower.prism_x);
    }
}
