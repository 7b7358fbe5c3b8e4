//! The same work in fixed point, in `f32` with libm and in `f64` with the standard library, side by side on the host.
//!
//! Host nanoseconds say little of a controller; the instruction counts on Cortex-M are `tests/embedded/run count`.

use dioptric::quantity::{Axis, Dioptre, Millimetre, Point};
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::{CompactPair, Geometry, SlopeSums, SpotPair};
use dioptric::tolerance::{ISO_21987, Measured, Ordered, Rule, judge};
use dioptric::vector::{PowerMatrix, PowerVector};
use divan::{Bencher, black_box};

fn main() {
    divan::main();
}

/// Pairs of written prescriptions in quarter dioptres, spread over the usual range.
fn prescriptions() -> Vec<(SpheroCylinder, SpheroCylinder)> {
    let lens = |k: i32| {
        let quarter = |n: i32| Dioptre::from_bits(n << (Dioptre::FRACTION_BITS - 2));
        let axis = Axis::from_degrees((k * 37 % 180 + 1) as u16).expect("1 to 180");
        SpheroCylinder::new(quarter(k * 11 % 48 - 24), quarter(-(k % 16)), axis).expect("in range")
    };
    (0..64).map(|k| (lens(k), lens(k + 17))).collect()
}

type Real<T> = (T, T, T);

#[divan::bench_group]
mod round_trip {
    use super::*;

    #[divan::bench]
    fn fixed(bencher: Bencher) {
        let pairs = prescriptions();
        bencher.bench_local(|| {
            for (a, b) in &pairs {
                black_box((PowerVector::from(*a) + PowerVector::from(*b)).sphero_cylinder()).ok();
            }
        });
    }

    fn reals() -> Vec<(Real<f64>, Real<f64>)> {
        let real = |rx: SpheroCylinder| {
            let axis = f64::from(rx.axis().to_bits()) * std::f64::consts::PI / 4_294_967_296.0;
            (rx.sphere().to_f64(), rx.cylinder().to_f64(), axis)
        };
        prescriptions().into_iter().map(|(a, b)| (real(a), real(b))).collect()
    }

    #[divan::bench]
    fn f32_libm(bencher: Bencher) {
        let single = |(s, c, a): Real<f64>| (s as f32, c as f32, a as f32);
        let pairs: Vec<_> = reals().into_iter().map(|(a, b)| (single(a), single(b))).collect();
        let vector = |(s, c, a): Real<f32>| {
            let (sin, cos) = libm::sincosf(2.0 * a);
            (s + c / 2.0, -c / 2.0 * cos, -c / 2.0 * sin)
        };
        bencher.bench_local(|| {
            for (a, b) in &pairs {
                let (p, q) = (vector(*a), vector(*b));
                let (m, j0, j45) = (p.0 + q.0, p.1 + q.1, p.2 + q.2);
                let r = libm::sqrtf(j0 * j0 + j45 * j45);
                black_box((m + r, -2.0 * r, libm::atan2f(j45, j0) / 2.0));
            }
        });
    }

    #[divan::bench]
    fn f64_std(bencher: Bencher) {
        let pairs = reals();
        let vector = |(s, c, a): Real<f64>| {
            let (sin, cos) = (2.0 * a).sin_cos();
            (s + c / 2.0, -c / 2.0 * cos, -c / 2.0 * sin)
        };
        bencher.bench_local(|| {
            for (a, b) in &pairs {
                let (p, q) = (vector(*a), vector(*b));
                let (m, j0, j45) = (p.0 + q.0, p.1 + q.1, p.2 + q.2);
                let r = j0.hypot(j45);
                black_box((m + r, -2.0 * r, j45.atan2(j0) / 2.0));
            }
        });
    }
}

/// 113 holes, half a millimetre apart, behind a +5 D lens at a throw of 20 mm.
fn spots() -> Vec<[i32; 4]> {
    let mut spots = Vec::new();
    for row in -6..=6i32 {
        for column in -6..=6i32 {
            if row * row + column * column <= 36 {
                let (x, y) = (column << 15, row << 15);
                spots.push([x, y, x - x / 10, y - y / 10]);
            }
        }
    }
    spots
}

#[divan::bench_group]
mod fit {
    use super::*;

    fn pairs() -> Vec<SpotPair> {
        let point = |x, y| Point::new(Millimetre::from_bits(x), Millimetre::from_bits(y));
        spots().into_iter().map(|[x, y, p, q]| SpotPair::new(point(x, y), point(p, q)).expect("in range")).collect()
    }

    fn geometry() -> Geometry {
        Geometry::new(Millimetre::from_bits(5 << 16), Millimetre::from_bits(20 << 16)).expect("in range")
    }

    #[divan::bench]
    fn sums_fixed(bencher: Bencher) {
        let pairs = pairs();
        bencher.bench_local(|| {
            let mut sums = SlopeSums::default();
            sums.add_all(black_box(&pairs)).expect("few spots");
            black_box(sums)
        });
    }

    #[divan::bench]
    fn sums_fixed_compact(bencher: Bencher) {
        let short = |c: i32| (c >> 4) as i16;
        let pairs: Vec<CompactPair> = spots()
            .into_iter()
            .map(|[x, y, p, q]| CompactPair { x: short(x), y: short(y), dx: short(p - x), dy: short(q - y) })
            .collect();
        bencher.bench_local(|| {
            let mut sums = SlopeSums::default();
            sums.add_compact(black_box(&pairs)).expect("few spots");
            black_box(sums)
        });
    }

    #[divan::bench]
    fn whole_fixed(bencher: Bencher) {
        let (pairs, geometry) = (pairs(), geometry());
        bencher.bench_local(|| {
            let mut sums = SlopeSums::default();
            sums.add_all(black_box(&pairs)).expect("few spots");
            black_box(sums.fit(&geometry)).ok()
        });
    }

    #[divan::bench]
    fn whole_f64_std(bencher: Bencher) {
        let rows: Vec<[f64; 4]> = spots().into_iter().map(|spot| spot.map(|c| f64::from(c) / 65536.0)).collect();
        bencher.bench_local(|| black_box(dioptric::oracle::fit(black_box(&rows), 5.0, 20.0)));
    }
}

#[divan::bench]
fn step_of_a_vergence(bencher: Bencher) {
    let powers: Vec<PowerMatrix> = prescriptions().into_iter().map(|(a, _)| a.into()).collect();
    let distance = Millimetre::from_bits(12 << 16);
    bencher.bench_local(|| {
        for power in &powers {
            black_box(power.stepped(distance)).ok();
        }
    });
}

#[divan::bench]
fn verdict(bencher: Bencher) {
    let lenses = prescriptions();
    bencher.bench_local(|| {
        for (power, read) in &lenses {
            let ordered = Ordered { power: *power, ..Ordered::default() };
            let measured = Measured { power: Some(PowerVector::from(*read).into()), addition: None, prism: None };
            black_box(judge(&ISO_21987, &ordered, &measured, Rule::Simple));
        }
    });
}
