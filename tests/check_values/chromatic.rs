//! Rows on colour and reflection.

use super::lens::{index, power};
use super::*;
use dioptric::lens::{
    Line, Surface, index_at, longitudinal_chromatic_aberration, reflectance, transverse_chromatic_aberration,
};
use dioptric::quantity::{AbbeNumber, Nanometre, RefractiveIndex};
use dioptric::sensor::WavelengthCorrection;

const F: f64 = 486.132_7;
const C: f64 = 656.272_5;
const D: f64 = 587.561_8;
const E: f64 = 546.074;

pub const NOT_APPLICABLE: &[(&str, &str)] = &[
    (
        "10.01",
        "Sellmeier's formula: the crate has Cauchy's, and what that departs from this glass has a test of its own",
    ),
    ("10.02", "as 10.01"),
    ("10.04", "a power series of six terms: the crate has Cauchy's formula"),
];

/// What the crate promises: an index is a count of 2^-29 and good to 3e-9, and so a coefficient of Cauchy's formula; a reflectance
/// is a count of 2^-24, here in percent.
pub fn promised(name: &str) -> Option<f64> {
    match name {
        _ if name.starts_with('n') => Some(3e-9),
        "A" | "B" => Some(4e-9),
        "R_pct" => Some(4e-6),
        "T2_pct" => Some(8e-6),
        // Focal lengths of some 200 mm, cm, from a power good to half a unit and rounded to 15 nm.
        "f_red" | "f_violet" | "df" => Some(5e-6),
        // Half a unit of a power, or of one sixteen times as strong and back.
        "LCA" => Some(5e-7),
        _ if name.starts_with("F_") => Some(5.5e-7),
        _ => None,
    }
}

fn nm(value: f64) -> Nanometre {
    Nanometre::try_from_f64(value).expect("in range")
}

fn abbe(value: f64) -> AbbeNumber {
    AbbeNumber::from_bits((value * 16_777_216.0).round() as u32).expect("in range")
}

fn of_index(index: RefractiveIndex) -> f64 {
    f64::from(index.to_bits()) / 536_870_912.0
}

pub fn values(row: &Row) -> Option<Values> {
    Some(match row.id.as_str() {
        "10.05" => focal_lengths(row),
        "10.07" => {
            let curve = Surface::sphere(dioptre(10.0), index(row.given(": n="))).expect("in range");
            vec![("CVF", power(&curve.at_index(index(row.given("against "))).expect("in range")) / 10.0)]
        }
        "10.08" | "10.10" | "10.11" | "10.13" | "10.14" => cauchy(row),
        "10.16" | "10.17" | "10.19" => powers(row),
        "10.20" | "10.22" => {
            let (rx, rest) = row.between("F=", "\u{0}").split_once(", ").expect("a distance");
            let distance = rest.split_once(" mm").expect("a unit").0.parse().expect("a number");
            let prism = PowerMatrix::from(lens(&format!("{rx} DS"))).prism_at(point(distance, 0.0));
            let fringe = transverse_chromatic_aberration(prism, abbe(row.given("V=")));
            vec![("prism", prism.x.to_f64().abs()), ("TCA", fringe.x.to_f64().abs())]
        }
        "10.25" | "10.26" => {
            let part = reflectance(index(row.given("n="))).to_f64();
            vec![("R_pct", 100.0 * part), ("T2_pct", 100.0 * (1.0 - part).powi(2))]
        }
        _ => return None,
    })
}

/// Equal convex surfaces, thin.
fn focal_lengths(row: &Row) -> Values {
    let radius = Millimetre::try_from_f64(row.given("R=") * 10.0).expect("in range");
    let centimetres = |n: f64| {
        let surface = Surface::from_radius(radius, index(n)).expect("in range").power();
        let both = PowerMatrix { xx: surface.xx.double(), xy: surface.xy, yy: surface.yy.double() };
        both.inverse().expect("powered").xx.to_f64() / 10.0
    };
    let (red, violet) = (centimetres(row.given("n_red ")), centimetres(row.given("n_violet ")));
    vec![("f_red", red), ("f_violet", violet), ("df", red - violet)]
}

/// Indices, and the two coefficients from those at both ends, the wavelength in micrometres.
fn cauchy(row: &Row) -> Values {
    let at = |wavelength| {
        let found = index_at(index(row.given("nd=")), abbe(row.given("Vd=")), nm(wavelength));
        of_index(found.expect("in range"))
    };
    let place = |wavelength: f64| (1000.0 / wavelength).powi(2);
    let (short, long) = (400.0, 1000.0);
    let b = (at(short) - at(long)) / (place(short) - place(long));
    vec![
        ("A", at(long) - b * place(long)),
        ("B", b),
        ("ne", at(E)),
        ("nF", at(F)),
        ("nC", at(C)),
        ("n450", at(450.0)),
        ("n650", at(650.0)),
        ("n532", at(532.0)),
    ]
}

/// The crate goes from a wavelength to the line d; the example the other way: what is found there must come back.
fn powers(row: &Row) -> Values {
    const UNIT: f64 = 1.0 / 1_048_576.0;
    let (wanted, v) = (row.given("F_d="), abbe(row.given("Vd=")));
    let there = |wavelength: f64| {
        let correction = WavelengthCorrection::new(nm(wavelength), Line::D, v).expect("in range");
        // Where the power at the line d is `wanted`: by the factor read to 2^-24, then to the last unit.
        let guess = wanted / correction.factor().to_f64();
        let near = (-200..=200).map(|step| guess + f64::from(step) * UNIT / 4.0);
        let off = |at: &f64| (correction.power(dioptre(*at * 16.0)).to_f64() / 16.0 - wanted).abs();
        near.min_by(|a, b| off(a).total_cmp(&off(b))).expect("many")
    };
    // Straight from d to e.
    let green = WavelengthCorrection::new(nm(D), Line::E, v).expect("in range").power(dioptre(wanted));
    vec![
        ("F_F", there(F)),
        ("F_C", there(C)),
        ("F_e", green.to_f64()),
        ("F_532", there(532.0)),
        ("F_450", there(450.0)),
        ("LCA", longitudinal_chromatic_aberration(dioptre(wanted), v).to_f64()),
    ]
}
