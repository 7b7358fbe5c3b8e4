//! Certified values of NIST's Statistical Reference Datasets, https://www.itl.nist.gov/div898/strd/.

use dioptric::quantity::{Dioptre, Millimetre, Point};
use dioptric::sensor::{Geometry, SlopeSums, SpotPair};
use dioptric::vector::{PowerVector, Sample};
use std::fs;
use std::path::Path;

fn read(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/nist").join(name);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Univariate summary statistics: the values as mean powers, in dioptres.
///
/// A value is rounded to 2^-20 D before it is summed, which moves the mean and the standard deviation by at most half that.
#[test]
fn mean_and_standard_deviation_of_a_sample_are_the_certified_ones() {
    let certified = [
        ("michelso.txt", 100, 299.8524, 0.079_010_547_819_051_8),
        ("mavro.txt", 50, 2.001_856, 0.000_429_123_454_003_053),
        ("lottery.txt", 218, 518.958_715_596_33, 291.699_727_470_969),
        ("numacc2.txt", 1001, 1.2, 0.1),
    ];
    for (name, count, mean, deviation) in certified {
        let mut sample = Sample::default();
        for line in read(name).lines() {
            let m: Dioptre = line.trim().parse().unwrap_or_else(|error| panic!("{name}: {line}: {error}"));
            sample.add(PowerVector { m, ..PowerVector::ZERO });
        }
        assert_eq!((sample.count(), sample.rejected()), (count, 0), "{name}");
        let found = sample.mean().expect("values").m.to_f64();
        let [spread, none, nor_here] = sample.covariance().expect("values").standard_deviations();
        println!("{name}: mean {found} for {mean}, deviation {spread:?} for {deviation}");
        assert!((found - mean).abs() <= 1e-6, "{name}: mean {found}, certified {mean}");
        assert!((spread.to_f64() - deviation).abs() <= 1e-6, "{name}: {spread:?}, certified {deviation}");
        assert_eq!([none, nor_here], [Dioptre::ZERO; 2]);
    }
}

/// Linear regression, Norris: `y = b0 + b1 x` over 36 observations from 0.2 to 1000.
///
/// Taken as spots in two rows, `x / 32` mm along and 1 mm to either side, moved by `-y / 32` mm: the slope is the fit's
/// horizontal ratio, the intercept its displacement on the axis. The rounding of a position to 2^-16 mm is 2.4e-4 of y's unit,
/// which the mean of 72 leaves at some 3e-5.
#[test]
fn slope_and_intercept_of_the_fit_are_the_certified_ones() {
    const SCALE: f64 = 32.0;
    const THROW: f64 = 100.0;
    let mm = |value: f64| Millimetre::try_from_f64(value).expect("in range");
    let (mut sums, mut count) = (SlopeSums::default(), 0);
    for line in read("norris.csv").lines().filter(|line| line.starts_with(|c: char| c.is_ascii_digit() || c == '-')) {
        let values: Vec<f64> = line.split(',').map(|field| field.trim().parse().expect("a number")).collect();
        let &[y, x] = values.as_slice() else { panic!("two columns: {line}") };
        for side in [-1.0, 1.0] {
            let (reference, moved) = (mm(x / SCALE), mm(-y / SCALE));
            let pair = SpotPair::new(Point::new(reference, mm(side)), Point::new(reference + moved, mm(side)));
            sums.add(pair.expect("in range")).expect("few spots");
        }
        count += 1;
    }
    assert_eq!(count, 36);
    let fit = sums.fit(&Geometry::new(Millimetre::ZERO, mm(THROW)).expect("in range")).expect("two rows");
    let slope = fit.power().xx.to_f64() * THROW / 1000.0;
    let intercept = -fit.prism().x.to_f64() / 100.0 * THROW * SCALE;
    println!("slope {slope}, intercept {intercept}");
    assert!((slope - 1.002_116_818_020_45).abs() <= 2e-7, "{slope}");
    assert!((intercept - -0.262_323_073_774_029).abs() <= 1e-4, "{intercept}");
    // Two observations for each of the certified 36: the residual's degrees of freedom differ, its squares do not.
    let certified = 0.884_796_396_144_373 * (34.0f64 * 2.0 / (2.0 * 72.0 - 5.0)).sqrt();
    let residual = fit.residual().to_f64() / 1000.0 * SCALE;
    assert!((residual - certified).abs() <= 1e-4, "{residual} {certified}");
}
