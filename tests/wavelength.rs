//! From the instrument's wavelength to the order's: published values, the formulas in `f64`, the formula against real materials.

mod common;
#[path = "common/light.rs"]
mod light;

use common::{Budget, Random};
use dioptric::lens::{Line, Material, WavelengthError, index_at};
use dioptric::nanometres;
use dioptric::prism::Prism;
use dioptric::quantity::{AbbeNumber, Dioptre, Fraction, Nanometre, PrismDioptre, RefractiveIndex};
use dioptric::sensor::WavelengthCorrection;
use dioptric::vector::PowerVector;
use light::fraction;

const F: f64 = 486.132_7;
const C: f64 = 656.272_5;
const D: f64 = 587.561_8;
const E: f64 = 546.074;

fn nm(value: f64) -> Nanometre {
    Nanometre::try_from_f64(value).expect("in range")
}

fn abbe(value: f64) -> AbbeNumber {
    AbbeNumber::from_bits((value * 16_777_216.0).round() as u32).expect("in range")
}

fn index(value: f64) -> RefractiveIndex {
    RefractiveIndex::from_bits((value * 536_870_912.0).round() as u32).expect("in range")
}

fn of_index(index: RefractiveIndex) -> f64 {
    f64::from(index.to_bits()) / 536_870_912.0
}

fn of_abbe(abbe: AbbeNumber) -> f64 {
    f64::from(abbe.to_bits()) / 16_777_216.0
}

/// Cauchy's formula: A and B, with the wavelength in micrometres.
fn cauchy(index: f64, abbe: f64) -> [f64; 2] {
    let square = |nm: f64| (1000.0 / nm).powi(2);
    let b = (index - 1.0) / abbe / (square(F) - square(C));
    [index - b * square(D), b]
}

fn cauchy_index(index: f64, abbe: f64, wavelength: f64) -> f64 {
    let [a, b] = cauchy(index, abbe);
    a + b * (1000.0 / wavelength).powi(2)
}

/// `(n_ref - 1) / (n_meas - 1)`, of any index.
fn factor(abbe: f64, from: f64, to: f64) -> f64 {
    (cauchy_index(1.5, abbe, to) - 1.0) / (cauchy_index(1.5, abbe, from) - 1.0)
}

fn reference(line: Line) -> f64 {
    match line {
        Line::E => E,
        Line::D => D,
    }
}

struct Any {
    from: Nanometre,
    line: Line,
    abbe: AbbeNumber,
    correction: WavelengthCorrection,
}

impl Any {
    fn new(random: &mut Random) -> Self {
        let span = |least: u32, most: u32, random: &mut Random| least + random.u32() % (most - least + 1);
        let ends = |value: u32, least: u32, most: u32| match value % 16 {
            0 => least,
            1 => most,
            _ => value,
        };
        let from = ends(span(380 << 20, 1100 << 20, random), 380 << 20, 1100 << 20);
        let abbe = ends(span(15 << 24, 100 << 24, random), 15 << 24, 100 << 24);
        let (from, abbe) = (Nanometre::from_bits(from as i32), AbbeNumber::from_bits(abbe).expect("in range"));
        let line = if random.u32() & 1 == 0 { Line::E } else { Line::D };
        Self { from, line, abbe, correction: WavelengthCorrection::new(from, line, abbe).expect("in range") }
    }

    fn factor(&self) -> f64 {
        factor(of_abbe(self.abbe), self.from.to_f64(), reference(self.line))
    }
}

const RANDOM: u64 = 1_000_000;
const UNIT: f64 = 1.0 / 1_048_576.0;

const BUDGETS: &[Budget] = &[
    Budget {
        function: "WavelengthCorrection::power",
        domain: "380 to 1100 nm, beyond half a unit",
        unit: "of itself",
        allowed: 1.2e-9,
        points: RANDOM,
        measure: |worst| {
            let mut random = Random::new("power");
            for _ in 0..RANDOM {
                let any = Any::new(&mut random);
                let power = Dioptre::from_bits(random.of_any_size() / 2);
                let exact = power.to_f64() * any.factor();
                let error = (any.correction.power(power).to_f64() - exact).abs() - UNIT / 2.0;
                worst.see(error.max(0.0) / exact.abs().max(UNIT), || format!("{:?} {power:?}", any.correction));
            }
        },
    },
    Budget {
        function: "WavelengthCorrection::factor",
        domain: "380 to 1100 nm",
        unit: "2^-24",
        allowed: 0.55,
        points: RANDOM,
        measure: |worst| {
            let mut random = Random::new("factor");
            for _ in 0..RANDOM {
                let any = Any::new(&mut random);
                let error = (any.correction.factor().to_f64() - any.factor()).abs() / light::UNIT;
                worst.see(error, || format!("{:?}", any.correction));
            }
        },
    },
    Budget {
        function: "WavelengthCorrection::abbe_uncertainty",
        domain: "380 to 1100 nm, half-width to half of V, power to 64 D",
        unit: "2^-20 D",
        allowed: 1.0,
        points: RANDOM,
        measure: |worst| {
            let mut random = Random::new("uncertainty");
            for _ in 0..RANDOM {
                let any = Any::new(&mut random);
                let abbe = of_abbe(any.abbe);
                let share = f64::from(random.u32()) / 4_294_967_296.0;
                let half_width = fraction(0.45 * (abbe - 1.1) * share);
                let power = Dioptre::from_bits(random.within(64 << 20));
                let at = |v: f64| power.to_f64() * factor(v, any.from.to_f64(), reference(any.line));
                let h = half_width.to_f64();
                let exact = ((at(abbe + h) - at(abbe - h)) / 2.0).abs() / 3f64.sqrt();
                let found = any.correction.abbe_uncertainty(power, half_width).to_f64();
                worst.see((found - exact).abs() / UNIT, || format!("{:?} {power:?} {half_width:?}", any.correction));
            }
        },
    },
    Budget {
        function: "index_at",
        domain: "380 to 1100 nm, index 1 to 2.5",
        unit: "",
        allowed: 3e-9,
        points: RANDOM,
        measure: |worst| {
            let mut random = Random::new("index");
            for _ in 0..RANDOM {
                let any = Any::new(&mut random);
                let n = index(1.0 + 1.5 * f64::from(random.u32()) / 4_294_967_296.0);
                let exact = cauchy_index(of_index(n), of_abbe(any.abbe), any.from.to_f64());
                let found = index_at(n, any.abbe, any.from).expect("in range");
                worst.see((of_index(found) - exact).abs(), || format!("{n:?} {:?} {:?}", any.abbe, any.from));
            }
        },
    },
];

#[test]
fn every_result_keeps_its_bound() {
    common::check(BUDGETS);
}

/// N-BK7: Sellmeier's formula, coefficients of the glass catalogue (refractiveindex.info, from memory); micrometres.
fn n_bk7(w: f64) -> f64 {
    let terms = [(1.039_612_12, 0.006_000_698_67), (0.231_792_344, 0.020_017_914_4), (1.010_469_45, 103.560_653)];
    (1.0 + terms.iter().map(|(b, c)| b * w * w / (w * w - c)).sum::<f64>()).sqrt()
}

/// PMMA: Sultanova 2009 (refractiveindex.info); micrometres.
fn pmma(w: f64) -> f64 {
    (1.0 + 1.1819 * w * w / (w * w - 0.011_313)).sqrt()
}

/// An index by wavelength in micrometres.
type Index = fn(f64) -> f64;

/// How far the documentation says that the formula departs from real materials: not the arithmetic's error, but the model's.
#[test]
fn the_formula_departs_from_real_materials_as_stated() {
    let materials: [(&str, Index); 2] = [("N-BK7", n_bk7), ("PMMA", pmma)];
    // What the sources print of them: rows 10.01 and 10.02 of the published values.
    for (index, printed) in [(materials[0].1, [1.516_8, 1.518_72]), (materials[1].1, [1.490_618_17, 1.492_818_52])] {
        assert!((index(D / 1000.0) - printed[0]).abs() < 5e-6 && (index(E / 1000.0) - printed[1]).abs() < 5e-6);
    }
    for (name, index) in materials {
        let (d, f, c) = (index(D / 1000.0), index(F / 1000.0), index(C / 1000.0));
        let abbe = abbe((d - 1.0) / (f - c));
        let departure = |wavelength: f64| {
            let correction = WavelengthCorrection::new(nm(wavelength), Line::D, abbe).expect("in range");
            let power = Dioptre::try_from_f64(100.0).expect("in range");
            let measured = power.to_f64() * (index(wavelength / 1000.0) - 1.0) / (d - 1.0);
            let brought = correction.power(Dioptre::try_from_f64(measured).expect("in range"));
            brought.to_f64() / power.to_f64() - 1.0
        };
        for wavelength in [440.0, 460.0, 500.0, 525.0, 546.0, 600.0, 656.0, 700.0, 780.0, 850.0, 940.0, 1000.0, 1100.0]
        {
            println!("{name} {wavelength} nm: {:.4} %", 100.0 * departure(wavelength));
        }
        for (from, to, most) in [(440, 700, 4e-4), (700, 850, 1.2e-3), (850, 1000, 2.6e-3), (1000, 1100, 3.8e-3)] {
            assert!((from..=to).all(|w| departure(f64::from(w)).abs() < most), "{name} from {from} to {to} nm");
        }
    }
}

#[test]
fn results_are_odd_and_saturation_sticks() {
    let mut random = Random::new("odd");
    for _ in 0..100_000 {
        let correction = Any::new(&mut random).correction;
        let power = Dioptre::from_bits(random.of_any_size());
        assert_eq!(correction.power(-power), -correction.power(power));
        let vector = PowerVector { m: power, j0: -power, j45: Dioptre::ZERO };
        let brought = correction.vector(vector);
        assert_eq!((brought.m, brought.j0), (correction.power(power), -correction.power(power)));
        assert_eq!(brought.j45, Dioptre::ZERO);
        let prism = PrismDioptre::from_bits(power.to_bits());
        let bits = correction.power(power).to_bits();
        assert_eq!(correction.prism(Prism { x: prism, y: -prism }).x.to_bits(), bits);
        assert_eq!(correction.prism(Prism { x: prism, y: -prism }).y.to_bits(), -bits);
        assert_eq!(correction.power(Dioptre::MAX), Dioptre::MAX);
        assert_eq!(correction.power(Dioptre::MIN), Dioptre::MIN);
        assert!(correction.prism(Prism::SATURATED).is_saturated());
        let width = fraction(5.0);
        assert_eq!(correction.abbe_uncertainty(power, width), correction.abbe_uncertainty(-power, -width));
        assert_eq!(correction.abbe_uncertainty(power, Fraction::MAX), Dioptre::MAX);
        assert_eq!(
            correction.abbe_uncertainty(power, Fraction::ZERO).abs(),
            if power.is_saturated() { Dioptre::MAX } else { Dioptre::ZERO }
        );
    }
    // Blue light makes a lens stronger, infrared weaker: at the end of the scale only the latter saturates.
    for (wavelength, saturates) in [(nanometres!(380.0), false), (nanometres!(1100.0), true)] {
        let correction = WavelengthCorrection::new(wavelength, Line::D, AbbeNumber::LEAST).expect("in range");
        assert_eq!(correction.power(Dioptre::from_bits(i32::MAX - 1)).is_saturated(), saturates, "{wavelength}");
    }
}

#[test]
fn at_the_reference_line_nothing_changes() {
    for line in [Line::E, Line::D] {
        for v in [15.0, 32.0, 58.5, 100.0] {
            let correction = WavelengthCorrection::new(line.wavelength(), line, abbe(v)).expect("in range");
            for bits in common::edges() {
                assert_eq!(correction.power(Dioptre::from_bits(bits)), Dioptre::from_bits(bits));
            }
            assert_eq!(correction.abbe_uncertainty(Dioptre::from_bits(1 << 24), fraction(5.0)), Dioptre::ZERO);
        }
    }
}

#[test]
fn wavelengths_and_abbe_numbers_have_a_range() {
    for (wavelength, fits) in [(379.999, false), (380.0, true), (1100.0, true), (1100.001, false), (-500.0, false)] {
        let found = WavelengthCorrection::new(nm(wavelength), Line::E, abbe(40.0));
        assert_eq!(found.is_ok(), fits, "{wavelength}");
        assert_eq!(found.err(), (!fits).then_some(WavelengthError::WavelengthRange), "{wavelength}");
    }
    // An index of almost 4 at the line d is more than that in the violet.
    let dense = index(3.999);
    assert_eq!(index_at(dense, abbe(15.0), nm(380.0)), Err(WavelengthError::IndexRange));
    assert!(index_at(dense, abbe(15.0), nm(1100.0)).is_ok());
    for material in Material::ALL {
        assert_eq!(material.index_at(nm(450.0)), index_at(material.index, material.abbe, nm(450.0)));
        // The line d is where the index is given.
        assert!(
            material.index_at(Line::D.wavelength()).expect("in range").to_bits().abs_diff(material.index.to_bits())
                <= 2
        );
    }
    assert!(WavelengthError::IndexRange.is_range());
    assert!(AbbeNumber::from_bits((15 << 24) - 1).is_err() && AbbeNumber::from_bits((100 << 24) + 1).is_err());
    assert_eq!(AbbeNumber::from_bits(15 << 24), Ok(AbbeNumber::LEAST));
    assert_eq!(AbbeNumber::try_from(u32::from(AbbeNumber::MOST)), Ok(AbbeNumber::MOST));
    for text in ["15", "58.5", "100"] {
        let read: AbbeNumber = text.parse().expect("in range");
        assert_eq!(read.to_string().parse(), Ok(read));
    }
    for text in ["", "14.99", "100.01", "-40", "40x"] {
        assert!(text.parse::<AbbeNumber>().is_err(), "{text}");
    }
}
