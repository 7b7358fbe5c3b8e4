use core::{hint::black_box, num::NonZeroU16};

use dioptric::{
    lens::Line,
    quantity::{AbbeNumber, Dioptre, Fraction, Micrometre, Nanometre, PrismDioptre},
    sensor::{
        Budget, Calibration, CalibrationError, Certified, Component, CorrectionTable, Coverage, Entry, Extra, Fit,
        Freedom, Geometry, GeometryUncertainty, Knot, LensResidual, Measurand, Resolution, Sources, SpotNoise,
        TestLens, Wavelength, WavelengthCorrection,
    },
};

use crate::{
    degrees, dioptres, int, keep, millimetres, point, prism::prism, prism_dioptres, rx::prescription, show,
    vector::vector, word,
};

pub fn budget(fit: &Fit) {
    if let Some(budget) = Fit::budget(fit, &sources()) {
        keep(Budget::standard(&budget));
        for coverage in [Coverage::Factor(fraction()), Coverage::Percent95, Coverage::Percent95_45, Coverage::Percent99]
        {
            keep(Budget::expanded(&budget, coverage));
        }
        keep(Budget::covariance(&budget));
        for measurand in black_box(Measurand::ALL) {
            if let Some(entry) = Budget::entry(&budget, measurand) {
                show(&entry.freedom);
                keep(Entry::share(&entry, black_box(Component::Gap)));
                keep(Entry::dominant(&entry));
            }
        }
    }
    let freedom = Freedom::new(word());
    keep(Freedom::degrees(freedom));
    keep(Freedom::is_infinite(freedom));
    keep(Coverage::factor(black_box(Coverage::Percent95), freedom));
}

fn fraction() -> Fraction {
    Fraction::from_bits(int())
}

fn noise() -> SpotNoise {
    if word() & 1 == 0 {
        return SpotNoise::Residual;
    }
    let frames = || NonZeroU16::new(word() as u16).unwrap_or(NonZeroU16::MIN);
    SpotNoise::Known {
        centroid: Micrometre::from_bits(int()),
        freedom: Freedom::new(word()),
        frames: frames(),
        reference_frames: frames(),
    }
}

fn sources() -> Sources {
    let abbe = AbbeNumber::from_bits(word());
    let instrument = Nanometre::from_bits(int());
    let correction = abbe.ok().and_then(|abbe| WavelengthCorrection::new(instrument, Line::E, abbe).ok());
    Sources {
        spots: noise(),
        geometry: GeometryUncertainty {
            gap: millimetres(),
            throw: millimetres(),
            correlation: fraction(),
            freedom: Freedom::new(word()),
        },
        wavelength: correction.map(|correction| Wavelength { correction, abbe_half_width: fraction() }),
        resolution: Resolution { power: dioptres(), axis: degrees(), prism: prism_dioptres(), position: millimetres() },
        extra: Extra {
            sphere: dioptres(),
            cylinder: dioptres(),
            across: dioptres(),
            axis: degrees(),
            prism_x: prism_dioptres(),
            prism_y: prism_dioptres(),
            centre: point(),
            freedom: Freedom::new(word()),
        },
    }
}

pub fn calibration(fit: &Fit, geometry: Geometry) {
    let power = || Certified::Power { power: prescription(), uncertainty: dioptres() };
    let prism = || Certified::Prism { amount: prism_dioptres(), uncertainty: prism_dioptres() };
    let lens = |certified: Certified| TestLens::new(fit, certified, noise());
    let (Ok(first), Ok(second), Ok(third)) = (lens(power()), lens(power()), lens(prism())) else { return };
    keep(TestLens::certified(&first));
    let lenses = black_box([first, second, third, first]);
    let lenses = lenses.get(word() as usize & 3..).unwrap_or_default();
    match Calibration::of(lenses, geometry) {
        Ok(found) => calibrated(&found, lenses),
        Err(error) => failed(error),
    }
    tables();
}

fn calibrated(found: &Calibration, lenses: &[TestLens]) {
    keep(Calibration::geometry(found));
    keep(Calibration::uncertainty(found));
    keep(Calibration::chi_squared(found));
    keep(Calibration::count(found));
    keep(Calibration::is_consistent(found));
    for lens in lenses {
        keep(Calibration::residual(found, lens).map(LensResidual::standardised));
    }
    keep(Calibration::check(found, lenses));
    keep(Calibration::power_corrections(found, lenses, &mut [Knot::default(); 2]));
    keep(Calibration::prism_corrections(found, lenses, &mut [Knot::default(); 2]));
}

fn tables() {
    let knot = || Knot { at: dioptres(), correction: dioptres() };
    let knots = black_box([knot(), knot(), knot()]);
    match CorrectionTable::<Dioptre>::new(knots.get(word() as usize & 3..).unwrap_or_default()) {
        Ok(table) => {
            keep(CorrectionTable::knots(&table));
            keep(CorrectionTable::correction(&table, dioptres()));
            keep(CorrectionTable::power(&table, vector()));
        }
        Err(error) => failed(error),
    }
    let knot = || Knot { at: prism_dioptres(), correction: prism_dioptres() };
    let knots = black_box([knot(), knot()]);
    if let Ok(table) = CorrectionTable::<PrismDioptre>::new(knots.get(word() as usize & 3..).unwrap_or_default()) {
        keep(CorrectionTable::prism(&table, prism()));
    }
}

fn failed(error: CalibrationError) {
    keep(CalibrationError::is_range(error));
    show(&error);
}
