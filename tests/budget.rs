//! The uncertainty budget: its parts against numerical derivatives of an independent fit, its coverage by Monte Carlo.

mod common;
#[path = "common/spots.rs"]
mod spots;

use common::Random;
use dioptric::oracle;
use dioptric::quantity::{
    AbbeNumber, Degree, Dioptre, Fraction, Micrometre, Millimetre, Nanometre, Point, PrismDioptre,
};
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::{
    Budget, Component, Coverage, Extra, Fit, Freedom, GeometryUncertainty, Line, Measurand, Resolution, SlopeSums,
    Sources, SpotNoise, StandardUncertainty, Wavelength, WavelengthCorrection,
};
use dioptric::tolerance::{Decision, ISO_21987, Measured, Ordered, Parameter, Rule, Uncertainty, judge};
use dioptric::{dioptres, millimetres, nanometres};
use proptest::prelude::*;
use spots::{Bench, Lens, Place, UNIT, any_bench, any_holes, condition, fitted, hexagon, lattice, mm, normal, ring, unit};
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
    (fits && weak > 0.25 && !fit.is_saturated() && condition(&references) < 1024.0).then_some((bench, spots, fit, found))
}

/// Every stated part against what the same spots, put into the independent fit with another geometry or with each reference
/// moved in turn, give. Spots without noise: what the residuals of noisy ones add is of second order and not in the budget.
#[test]
fn gap_throw_and_references_act_as_the_independent_fit_says() {
    let mut random = Random::new("budget parts");
    let (mut checked, mut most) = (0, 0.0f64);
    while checked < 1500 {
        let Some((bench, spots, fit, found)) = usual(&mut random, 0.0) else { continue };
        let again = |spots: &[[f64; 4]], gap: f64, throw: f64| oracle::fit(spots, gap, throw).map(|found| results(&found));
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
            (stated(geometry(u, u, rho)), std::array::from_fn(|i| {
                u * (by_gap[i].powi(2) + by_throw[i].powi(2) + 2.0 * rho * by_gap[i] * by_throw[i]).max(0.0).sqrt()
            })),
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
        let elements = |c: dioptric::vector::Covariance| [c.m, c.j0, c.j45, c.m_j0, c.m_j45, c.j0_j45].map(|e| e as f64);
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
    let power = oracle::Matrix {
        xx: lens.power.xx * weaker,
        xy: lens.power.xy * weaker,
        yy: lens.power.yy * weaker,
    };
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
    let correction =
        WavelengthCorrection::new(WAVELENGTH, Line::E, abbe(NOMINAL_ABBE)).expect("a wavelength in range");
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
    println!("{name}: {}", COVERED.iter().zip(seen).map(|(n, c)| format!("{n} {:.2} %", 100.0 * c)).collect::<Vec<_>>().join(", "));
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
