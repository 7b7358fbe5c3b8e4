//! The fit against least squares in `f64`, over synthetic measurements of lenses from end to end of the domain.
//!
//! Both get the same spots on the detector's grid, so that they differ by arithmetic alone. The bounds are those that the
//! documentation of `SlopeSums::fit` and `Fit` states.

mod common;
#[path = "common/spots.rs"]
mod spots;

use common::{Budget, Random, Worst};
use dioptric::oracle::{self, Matrix};
use dioptric::sensor::{Centre, Fit};
use spots::{
    Bench, GRID, Lens, Place, UNIT, any_bench, any_holes, arranged, condition, fitted, hexagon, lattice, place, ring,
    scattered, signed, unit,
};

/// Random measurements a line of the table.
const RANDOM: u64 = 100_000;

const BUDGETS: &[Budget] = &[
    Budget {
        function: "SlopeSums::fit, power",
        domain: "113 holes within 3 mm, gap 5 to 12.5 mm, throw 20 to 35 mm",
        unit: "2^-20 D",
        allowed: 2.0,
        points: 20_000,
        measure: |worst| usual(worst, |m| m.power_error() / UNIT),
    },
    Budget {
        function: "SlopeSums::fit, power",
        domain: "whole",
        unit: "of the bound",
        allowed: 1.0,
        points: RANDOM,
        measure: |worst| whole(worst, "power", |m| m.power_error() / m.power_bound()),
    },
    Budget {
        function: "SlopeSums::fit, power",
        domain: "condition from 4096",
        unit: "of the bound",
        allowed: 1.0,
        points: RANDOM / 20,
        measure: |worst| {
            whole(worst, "power", |m| if m.condition < 4096.0 { 0.0 } else { m.power_error() / m.power_bound() });
        },
    },
    Budget {
        function: "SlopeSums::fit, prism",
        domain: "113 holes within 3 mm, gap 5 to 12.5 mm, throw 20 to 35 mm",
        unit: "2^-20",
        allowed: 2.0,
        points: 20_000,
        measure: |worst| usual(worst, |m| m.prism_error() / UNIT),
    },
    Budget {
        function: "SlopeSums::fit, prism",
        domain: "whole",
        unit: "of the bound",
        allowed: 1.0,
        points: RANDOM,
        measure: |worst| whole(worst, "prism", |m| m.prism_error() / m.prism_bound()),
    },
    Budget {
        function: "Fit::residual",
        domain: "to 150 spots",
        unit: "nm",
        allowed: 0.1,
        points: RANDOM,
        measure: |worst| whole(worst, "residual", |m| if m.spots > 150 { 0.0 } else { m.residual_error() }),
    },
    Budget {
        function: "Fit::rotation",
        domain: "whole",
        unit: "2^-20 degree",
        allowed: 1.0,
        points: RANDOM,
        measure: |worst| whole(worst, "rotation", |m| m.rotation_error() / UNIT),
    },
    Budget {
        function: "Fit::prism_at",
        domain: "against the stated power and prism",
        unit: "2^-20",
        allowed: 0.51,
        points: RANDOM,
        measure: |worst| whole(worst, "prism_at", |m| m.own_prism_at_error() / UNIT),
    },
];

#[test]
fn every_documented_bound_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

/// Spots as the fit and the oracle see them, and what they make of them.
struct Measurement {
    bench: Bench,
    fit: Fit,
    exact: oracle::Fit,
    condition: f64,
    spots: usize,
    lens: Lens,
    /// Where `prism_at` is asked.
    asked: Place,
}

fn largest(values: impl IntoIterator<Item = f64>) -> f64 {
    values.into_iter().fold(0.0, |most, value| most.max(value.abs()))
}

/// Powers to 64 D, the focus well behind the plate, slopes at the plate below four and 512 D.
fn in_domain(power: Matrix, bench: &Bench) -> bool {
    let principal = |matrix: Matrix| {
        let form = matrix.sphero_cylinder();
        [form.sphere, form.sphere + form.cylinder]
    };
    let at_vertex = principal(power);
    let at_plate = largest(principal(power.step(bench.gap)));
    largest(at_vertex) < 64.0
        && at_vertex.iter().all(|power| power * bench.gap < 600.0)
        && bench.step_back(power).det() < 60.0
        && at_plate < 500.0
        && at_plate * bench.throw < 3900.0
}

impl Measurement {
    /// `None` outside the domain. Noise on a few spots almost in a line makes lenses that are, so that what counts is the
    /// lens that the reference finds.
    fn of(lens: Lens, bench: Bench, holes: &[Place], sigma: f64, random: &mut Random) -> Option<Self> {
        let spots = bench.spots(&lens, holes, sigma, random);
        let references: Vec<Place> = spots.iter().map(|s| [s[0], s[1]]).collect();
        let condition = condition(&references);
        if condition > 60_000.0 || !spots.iter().flatten().all(|c| c.abs() < 31.99) {
            return None;
        }
        let exact = oracle::fit(&spots, bench.gap, bench.throw).expect("spots not on a line");
        if !in_domain(exact.power, &bench) {
            return None;
        }
        let fit = fitted(&spots, &bench).expect("a lens in the domain");
        let asked = spots::on_grid([25.0 * signed(random), 25.0 * signed(random)]);
        Some(Self { bench, fit, exact, condition, spots: spots.len(), lens, asked })
    }

    fn describe(&self) -> String {
        let Self { bench, condition, spots, lens, .. } = self;
        format!("{lens:?} {bench:?}, {spots} spots of condition {condition:.1}")
    }

    /// The larger principal value of `I - gap F`, or one.
    fn step_back(&self) -> f64 {
        let form = self.bench.step_back(self.exact.power).sphero_cylinder();
        largest([form.sphere, form.sphere + form.cylinder]).max(1.0)
    }

    fn power_error(&self) -> f64 {
        let (seen, exact) = (self.fit.power(), self.exact.power);
        largest([seen.xx.to_f64() - exact.xx, seen.xy.to_f64() - exact.xy, seen.yy.to_f64() - exact.yy])
    }

    fn power_bound(&self) -> f64 {
        2e-6 * self.step_back().powi(2)
    }

    fn prism_error(&self) -> f64 {
        let (seen, exact) = (self.fit.prism(), self.exact.prism);
        largest([seen.x.to_f64() - exact[0], seen.y.to_f64() - exact[1]])
    }

    fn prism_bound(&self) -> f64 {
        let arithmetic = (2e-6 + 9e-6 / self.bench.throw) * self.step_back();
        // s0 = K^-1 prism / 100.
        let (k, [p, q]) = (self.bench.step_back(self.exact.power), self.exact.prism);
        let at_plate = ((k.yy * p - k.xy * q) / k.det()).hypot((k.xx * q - k.xy * p) / k.det());
        arithmetic + self.power_bound() * self.bench.gap / 1000.0 * at_plate
    }

    fn residual_error(&self) -> f64 {
        (self.fit.residual().to_f64() - self.exact.residual * 1000.0).abs() * 1000.0
    }

    fn rotation_error(&self) -> f64 {
        let exact = (self.exact.rotation * self.bench.throw / 1000.0).to_degrees();
        (self.fit.rotation().to_f64() - exact).abs()
    }

    fn prism_at_error(&self) -> f64 {
        self.off_plane(self.exact.power, self.exact.prism)
    }

    fn own_prism_at_error(&self) -> f64 {
        let (power, prism) = (self.fit.power(), self.fit.prism());
        let power = Matrix { xx: power.xx.to_f64(), xy: power.xy.to_f64(), yy: power.yy.to_f64() };
        self.off_plane(power, [prism.x.to_f64(), prism.y.to_f64()])
    }

    fn off_plane(&self, power: Matrix, prism: [f64; 2]) -> f64 {
        let [x, y] = power.prism_at(self.asked[0], self.asked[1]);
        let seen = self.fit.prism_at(spots::point(self.asked));
        largest([seen.x.to_f64() - x - prism[0], seen.y.to_f64() - y - prism[1]])
    }

    /// That of the prism, of the rule's rounding, and of the power along and across the way to the point.
    fn prism_at_bound(&self) -> f64 {
        let distance = self.asked[0].hypot(self.asked[1]);
        self.prism_bound() + UNIT / 2.0 + self.power_bound() * std::f64::consts::SQRT_2 * distance / 10.0
    }

    fn weakest(&self) -> f64 {
        let form = self.exact.power.sphero_cylinder();
        form.sphere.abs().min((form.sphere + form.cylinder).abs())
    }

    /// The optical centre by Cramer's rule.
    fn centre(&self) -> Place {
        let (f, [x, y]) = (self.exact.power, self.exact.prism);
        [10.0 * (f.yy * x - f.xy * y) / f.det(), 10.0 * (f.xx * y - f.xy * x) / f.det()]
    }

    fn centre_error(&self) -> Option<f64> {
        let exact = self.centre();
        if self.weakest() < 0.05 || largest(exact) > 1000.0 {
            return None;
        }
        let Centre::Point(seen) = self.fit.centre() else { panic!("no point: {}", self.describe()) };
        let seen = place(seen);
        Some(largest([seen[0] - exact[0], seen[1] - exact[1]]))
    }

    /// That of the prism and of the power, seen through the weaker meridian, and a unit of length.
    fn centre_bound(&self) -> f64 {
        let [x, y] = self.centre();
        let prism = self.prism_bound() * 10.0 + self.power_bound() * x.hypot(y);
        std::f64::consts::SQRT_2 * prism / self.weakest() + 0.6 * GRID + 6e-10 * x.hypot(y)
    }
}

/// Noise of a detector, mm: none, 0.1 um, 1 um.
fn any_noise(random: &mut Random) -> f64 {
    [0.0, 1e-4, 1e-3][random.u32() as usize % 3]
}

fn see(worst: &mut Worst, measurement: Option<Measurement>, error: &impl Fn(&Measurement) -> f64) {
    if let Some(measurement) = measurement {
        worst.see(error(&measurement), || measurement.describe());
    }
}

/// Lenses at the ends of the domain, and between; many spots too.
fn whole(worst: &mut Worst, stream: &str, error: impl Fn(&Measurement) -> f64) {
    let mut random = Random::new(stream);
    corners(worst, &mut random, &error);
    many(worst, &mut random, &error);
    for _ in 0..RANDOM * 3 / 2 {
        let (lens, bench, holes) = (Lens::any(&mut random), any_bench(&mut random), any_holes(&mut random));
        let sigma = any_noise(&mut random);
        see(worst, Measurement::of(lens, bench, &holes, sigma, &mut random), &error);
    }
}

fn corners(worst: &mut Worst, random: &mut Random, error: &impl Fn(&Measurement) -> f64) {
    let patterns =
        [lattice(0.5, 3.0), ring(3, 3.0, 90.0), hexagon(2.0), arranged(&hexagon(2.0), 0.01, 45.0, [8.0, -8.0])];
    let prisms = [[0.0, 0.0], [20.0, 0.0], [0.0, -20.0], [14.142, 14.142]];
    let forms = [-25.0, -0.0625, 0.0, 0.0625, 25.0].into_iter().flat_map(|s| [-6.0, 0.0, 6.0].map(|c| (s, c)));
    for (sphere, cylinder) in forms {
        for axis in [45.0, 90.0, 135.0, 180.0, 22.5] {
            for prism in prisms {
                for (gap, throw) in
                    [(0.0, 2.0), (0.0, 5.0), (5.0, 5.0), (5.0, 20.0), (20.0, 20.0), (0.0, 100.0), (100.0, 100.0)]
                {
                    for holes in &patterns {
                        let lens = Lens::new(sphere, cylinder, axis, prism);
                        see(worst, Measurement::of(lens, Bench::new(gap, throw), holes, 0.0, random), error);
                    }
                }
            }
        }
    }
}

/// Thousands of spots.
fn many(worst: &mut Worst, random: &mut Random, error: &impl Fn(&Measurement) -> f64) {
    for count in [1000, 5000, 65_536] {
        for _ in 0..(200_000 / count).max(10) {
            let holes = arranged(&scattered(count, 3.0, random), 1.0, 0.0, [signed(random), 0.0]);
            let (lens, sigma) = (Lens::any(random), any_noise(random));
            see(worst, Measurement::of(lens, any_bench(random), &holes, sigma, random), error);
        }
    }
}

/// What a lensmeter is: some 100 holes within 3 mm, plate 5 to 12.5 mm behind the lens, detector 20 to 35 mm behind that.
fn usual(worst: &mut Worst, error: impl Fn(&Measurement) -> f64) {
    let mut random = Random::new("usual");
    let holes = lattice(0.5, 3.0);
    for _ in 0..25_000 {
        let bench = Bench::new(5.0 + 7.5 * unit(&mut random), 20.0 + 15.0 * unit(&mut random));
        let (lens, sigma) = (Lens::any(&mut random), any_noise(&mut random));
        see(worst, Measurement::of(lens, bench, &holes, sigma, &mut random), &error);
    }
}

/// Thousands of spots have sums too large for all their digits.
#[test]
fn the_residual_of_thousands_of_spots_is_off_by_few_nanometres_in_quadrature() {
    let mut worst = Worst::default();
    many(&mut worst, &mut Random::new("residual of many"), &|m| {
        let (seen, exact) = (m.fit.residual().to_f64() * 1000.0, m.exact.residual * 1e6);
        let off = (seen * seen - exact * exact).abs().sqrt();
        assert!(off < MANY_SPOTS, "{off} nm: {}", m.describe());
        off
    });
}

/// Nanometres.
const MANY_SPOTS: f64 = 20.0;

/// What follows from power and prism elsewhere on the lens errs as much as they, carried there.
#[test]
fn prism_and_centre_elsewhere_are_as_good_as_power_and_prism() {
    let mut worst = Worst::default();
    whole(&mut worst, "elsewhere", |m| {
        let centre = m.centre_error().map_or(0.0, |error| error / m.centre_bound());
        let error = centre.max(m.prism_at_error() / m.prism_at_bound());
        assert!(error < 1.0, "{}", m.describe());
        error
    });
}

/// Both models of the measurement are written independently: rays through the lens here, matrices of the slopes there.
#[test]
fn the_reference_finds_the_lens_that_made_the_spots() {
    let mut random = Random::new("reference");
    for _ in 0..2000 {
        let (lens, bench, holes) = (Lens::any(&mut random), any_bench(&mut random), any_holes(&mut random));
        if !in_domain(lens.power, &bench) || condition(&holes) > 1000.0 {
            continue;
        }
        let spots: Vec<[f64; 4]> = holes
            .iter()
            .map(|hole| {
                let [x, y] = bench.spot(&lens, *hole);
                [hole[0], hole[1], x, y]
            })
            .collect();
        let found = oracle::fit(&spots, bench.gap, bench.throw).expect("spots not on a line");
        let (f, g) = (found.power, lens.power);
        let errors =
            [f.xx - g.xx, f.xy - g.xy, f.yy - g.yy, found.prism[0] - lens.prism[0], found.prism[1] - lens.prism[1]];
        assert!(largest(errors) < 1e-8, "{errors:?} {lens:?} {bench:?}");
        assert!(found.residual < 1e-11 && found.rotation.abs() < 1e-8, "{found:?}");
    }
}
