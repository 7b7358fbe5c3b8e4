//! Worked examples from published sources: every row of `data/check_values.csv` is computed with the crate.
//!
//! Columns: `inputs` and `expected` of the example; `tolerance` as far as the source rounds; `status` says whether the
//! source prints the answer (`published`), prints a wrong one (`corrected`: `expected` was recomputed), or only the
//! question or the formula (`computed`); `source`. The expected values were recomputed to 12 digits in f64.
//!
//! Published answers must be met within the stated tolerance; a value that is there to twelve digits, and every computed or
//! corrected one, within what the crate promises ([`promised`]).

#[path = "check_values/chromatic.rs"]
mod chromatic;
#[path = "check_values/lens.rs"]
mod lens;
#[path = "check_values/prism.rs"]
mod prism;
#[path = "check_values/sensor.rs"]
mod sensor;
#[path = "check_values/tilted.rs"]
mod tilted;

use dioptric::prism::{Eye, Prism, apical_angle, decentration, deviation, from_deviation};
use dioptric::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, Point, PrismDioptre};
use dioptric::rx::{CrossedCylinders, SpheroCylinder};
use dioptric::sensor::{Fit, Geometry, SlopeSums, SpotPair};
use dioptric::vector::{PowerMatrix, PowerVector, Sample};
use dioptric::{axis, millimetres, prism_dioptres};
use std::fmt::Write as _;

#[derive(serde::Deserialize, Debug)]
struct Row {
    id: String,
    topic: String,
    inputs: String,
    expected: String,
    tolerance: String,
    status: String,
    source: String,
}

type Values = Vec<(&'static str, f64)>;

/// What this crate does not compute: a row, or a value of one (`id name`).
const NOT_APPLICABLE: &[(&str, &str)] = &[
    (
        "7.13",
        "paraxial power at the pupil's centre from higher-order coefficients: a slope fit gives the least-squares power",
    ),
    ("7.14", "as 7.13"),
    ("7.16", "as 7.13"),
    ("7.17", "RMS of a Zernike expansion: the crate fits second order only and holds no coefficients"),
    ("7.31", "photon limit of a centroid: the detector's, the crate starts from spot positions"),
    ("7.32", "as 7.31"),
    ("7.34", "as 7.31"),
    ("7.35", "noise of a subaperture's phase: the detector's"),
    ("7.37", "centroid of one pixel row: the crate starts from spot positions"),
    ("4.07", "vertex powers to the first order of the thickness: the crate has the exact ones"),
    (
        "4.14 approx",
        "effectivity to the first order of the distance: the crate has the exact one, which the row holds, too",
    ),
];

/// Rows whose inputs are themselves rounded, so that twelve digits of the answer say nothing.
const ROUNDED_INPUTS: &[(&str, &str)] = &[("3.11", "a length and an angle read off a drawing")];

fn rows() -> Vec<Row> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/check_values.csv");
    csv::Reader::from_path(path)
        .expect("the file is there")
        .deserialize()
        .map(|row| row.expect("seven columns"))
        .collect()
}

fn not_applicable() -> impl Iterator<Item = &'static (&'static str, &'static str)> {
    NOT_APPLICABLE.iter().chain(chromatic::NOT_APPLICABLE).chain(tilted::NOT_APPLICABLE)
}

fn is_not_applicable(row: &Row) -> bool {
    not_applicable().any(|(id, _)| *id == row.id)
}

#[test]
fn every_row_agrees() {
    let mut faults = String::new();
    for row in rows().iter().filter(|row| !is_not_applicable(row)) {
        let Some(found) = values(row) else {
            writeln!(faults, "{}: no call computes this row", row.id).expect("a String");
            continue;
        };
        for (name, wanted, digits) in row.expected() {
            if not_applicable().any(|(place, _)| *place == format!("{} {name}", row.id)) {
                assert!(found.iter().all(|(found, _)| *found != name), "{} {name} is computed", row.id);
                continue;
            }
            let Some((_, found)) = found.iter().find(|(found, _)| *found == name) else {
                writeln!(faults, "{}: {name} is not computed", row.id).expect("a String");
                continue;
            };
            let apart = distance(name, *found, wanted);
            let allowed = row.allowed(name, wanted, digits);
            println!("{:5} {name:10} {found:>16.9} {wanted:>16.9} {apart:.1e} {allowed:.0e}", row.id);
            if apart.is_nan() || apart > allowed {
                let Row { id, topic, inputs, source, .. } = row;
                writeln!(faults, "{id} ({topic}: {inputs}): {name} is {found}, not {wanted}, by {source}")
                    .expect("a String");
            }
        }
    }
    assert!(faults.is_empty(), "\n{faults}");
}

#[test]
fn no_row_is_left_out_without_a_reason() {
    let rows = rows();
    assert_eq!(rows.len(), 161 + tilted::ROWS);
    for (place, reason) in not_applicable().chain(ROUNDED_INPUTS) {
        let id = place.split(' ').next().expect("an id");
        assert!(rows.iter().any(|row| row.id == id) && !reason.is_empty(), "{place}");
    }
    for row in &rows {
        assert_eq!(values(row).is_some(), !is_not_applicable(row), "{}", row.id);
        assert!(!row.source.is_empty(), "{}", row.id);
    }
    let mut ids: Vec<_> = rows.iter().map(|row| &row.id).collect();
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), rows.len(), "each id once");
}

/// What the crate promises of a value: 1e-6 of its unit, which is one unit of storage for a power or a prism, but where
/// roundings add up or the unit is coarser.
fn promised(row: &Row, name: &str, wanted: f64) -> f64 {
    let own = match row.topic.as_str() {
        "Vertex, thick lens, sag" => lens::promised(name),
        "Chromatic" => chromatic::promised(name),
        _ => None,
    };
    if let Some(own) = own {
        return own;
    }
    let is_uncertainty = ["7.26", "7.28", "7.29"].contains(&row.id.as_str()) && !name.starts_with('Q');
    match name {
        _ if row.topic == tilted::TOPIC => tilted::promised(name),
        _ if is_uncertainty => 0.005 * wanted.abs(),
        // Axes of cylinders from 0.25 D.
        _ if name.starts_with('A') => 0.0002,
        // Sphere and cylinder out of a vector: the rounding of two components, doubled in the cylinder.
        "S" | "C" | "S_sum" | "C_sum" | "S_dif" | "C_dif" | "cyl_rss" => 2e-6,
        // Square dioptres.
        "det" => 2e-6,
        // Half a unit of length, 15 nm, and what the power's rounding makes of it.
        "dx_mm" | "dy_mm" if row.topic == "Prism" => 1e-5,
        "rss" => 2e-8,
        _ => 1e-6,
    }
}

impl Row {
    /// Name, value, and significant digits.
    fn expected(&self) -> impl Iterator<Item = (&str, f64, usize)> {
        self.expected.split("; ").map(|part| {
            let (name, value) = part.split_once('=').expect("name=value");
            let digits = value.trim_start_matches(['-', '0', '.']).chars().filter(char::is_ascii_digit).count();
            (name, value.parse().expect("a number"), digits)
        })
    }

    fn stated(&self, name: &str) -> f64 {
        let own = self.tolerance.split("; ").filter_map(|part| part.split_once('='));
        let text =
            own.into_iter().find(|(found, _)| *found == name).map_or(self.tolerance.as_str(), |(_, value)| value);
        text.parse().unwrap_or_else(|_| panic!("{}: no tolerance for {name}", self.id))
    }

    fn allowed(&self, name: &str, wanted: f64, digits: usize) -> f64 {
        let promised = promised(self, name, wanted);
        let rounded = ROUNDED_INPUTS.iter().any(|(id, _)| *id == self.id);
        match self.status.split(':').next() {
            Some("published") if digits < 10 || rounded => self.stated(name),
            // A source may be finer than the unit of length.
            Some("published") => self.stated(name).min(2.0 * promised).max(promised),
            Some("computed" | "corrected") => promised,
            _ => panic!("{}: status {}", self.id, self.status),
        }
    }

    /// What follows the first colon and blank of the inputs.
    fn text(&self) -> &str {
        self.inputs.split_once(": ").expect("a colon").1
    }

    /// The text between two others, trimmed.
    fn between(&self, before: &str, after: &str) -> &str {
        let (_, rest) = self.inputs.split_once(before).unwrap_or_else(|| panic!("{}: no {before:?}", self.id));
        rest.split_once(after).map_or(rest, |(text, _)| text).trim()
    }

    fn number(&self, before: &str, after: &str) -> f64 {
        let text = self.between(before, after);
        text.parse().unwrap_or_else(|_| panic!("{}: {text:?} is no number", self.id))
    }

    /// The values of `key=` texts.
    fn given(&self, key: &str) -> f64 {
        let text = self.between(key, "\u{0}").trim_start_matches('=');
        let end = text.find(|c: char| !(c.is_ascii_digit() || "+-.".contains(c))).unwrap_or(text.len());
        text[..end].trim_end_matches('.').parse().unwrap_or_else(|_| panic!("{}: no {key}", self.id))
    }
}

fn distance(name: &str, found: f64, wanted: f64) -> f64 {
    let period = match name {
        _ if name.starts_with('A') || name.ends_with("_A") => 180.0,
        "base" | "base360" => 360.0,
        _ => return (found - wanted).abs(),
    };
    let apart = (found - wanted).rem_euclid(period);
    apart.min(period - apart)
}

fn lens(text: &str) -> SpheroCylinder {
    text.trim().parse().unwrap_or_else(|error| panic!("{text}: {error}"))
}

fn vector(text: &str) -> PowerVector {
    lens(text).into()
}

fn dioptre(value: f64) -> Dioptre {
    Dioptre::try_from_f64(value).expect("in range")
}

fn prism_dioptre(value: f64) -> PrismDioptre {
    PrismDioptre::try_from_f64(value).expect("in range")
}

fn degree(value: f64) -> Degree {
    Degree::try_from_f64(value).expect("in range")
}

fn point(x: f64, y: f64) -> Point {
    let millimetre = |value| Millimetre::try_from_f64(value).expect("in range");
    Point::new(millimetre(x), millimetre(y))
}

fn axis(text: &str) -> Axis {
    text.trim().parse().unwrap_or_else(|error| panic!("{text}: {error}"))
}

fn degrees_of(axis: Axis) -> f64 {
    f64::from(axis.to_bits()) * 180.0 / 4_294_967_296.0
}

fn bearing_of(base: Bearing) -> f64 {
    f64::from(base.to_bits()) * 360.0 / 4_294_967_296.0
}

fn written(rx: SpheroCylinder) -> Values {
    vec![("S", rx.sphere().to_f64()), ("C", rx.cylinder().to_f64()), ("A", degrees_of(rx.axis()))]
}

fn minus(power: PowerVector) -> SpheroCylinder {
    power.sphero_cylinder().expect("in range")
}

fn components(v: PowerVector) -> Values {
    vec![("M", v.m.to_f64()), ("J0", v.j0.to_f64()), ("J45", v.j45.to_f64())]
}

fn elements(f: PowerMatrix) -> Values {
    vec![("Fxx", f.xx.to_f64()), ("Fxy", f.xy.to_f64()), ("Fyy", f.yy.to_f64())]
}

/// The values of a row; `None` for a row that no call computes.
fn values(row: &Row) -> Option<Values> {
    Some(match row.id.as_str() {
        "1.01" | "1.02" | "1.04" | "1.05" | "1.07" | "1.08" | "1.10" | "1.11" | "1.13" | "1.14" | "1.16" => {
            written(lens(row.text()).transposed())
        }
        "1.17" | "1.19" | "1.20" | "1.22" | "1.23" => vec![("SE", lens(row.text()).spherical_equivalent().to_f64())],
        "1.25" => from_crossed(row),
        "1.26" => crossed(row),
        "1.28" => toric(row),
        "1.29" | "1.31" | "1.32" | "1.34" | "1.35" => blur(row),
        "1.37" => {
            let (a, b) = row.text().split_once(" plus ").expect("two lenses");
            written(minus(vector(a) + vector(b)).plus_form())
        }
        "1.38" | "1.40" => equal_cylinders(row),
        "1.41" => {
            let (a, b) = row.text().split_once(" combined with ").expect("two cylinders");
            written(minus(vector(&format!("pl {a}")) + vector(&format!("pl {b}"))))
        }
        "1.43" => {
            let (a, b) = row.text().split_once(" plus ").expect("two lenses");
            written(minus(vector(a) + vector(b)))
        }
        "1.44" => over_refraction(row),
        "1.46" | "1.47" | "1.49" => residual(row),
        "1.50" | "1.52" | "1.53" => sum_and_difference(row),
        "1.55" => mean(row),
        "1.56" => {
            let (a, b) = row.text().split_once(" with ").expect("two lenses");
            written(minus(vector(a) + vector(b)))
        }
        "2.01" | "2.02" | "2.04" | "2.05" | "2.07" | "2.08" | "2.10" | "2.11" | "2.13" | "2.14" | "2.16" | "2.17" => {
            let (rx, meridian) = row.text().split_once(" at ").expect("a meridian");
            vec![("F", vector(rx).power_along(axis(meridian)).to_f64())]
        }
        "2.19" => percentages(),
        "2.20" | "2.22" | "2.23" => matrix(row),
        "2.25" | "2.26" | "2.28" => {
            let (rx, meridian) = row.text().split_once(" along ").expect("a meridian");
            let (power, along) = (vector(rx), axis(meridian));
            vec![("Fc", power.power_along(along).to_f64()), ("Ft", power.torsion_along(along).to_f64())]
        }
        "2.29" => three_meridians(row),
        _ if row.topic == tilted::TOPIC => return tilted::values(row),
        id if id.starts_with("3.") => return prism::values(row),
        id if id.starts_with("4.") => return lens::values(row),
        id if id.starts_with("10.") => return chromatic::values(row),
        id if id.starts_with("7.") => return sensor::values(row),
        _ => return None,
    })
}

fn from_crossed(row: &Row) -> Values {
    let (second, first) = row.between("plus pick: ", "\u{0}").split_once(" combined with ").expect("two cylinders");
    let (second, _) = second.split_once(" x ").expect("an axis");
    let (first, first_axis) = first.split_once(" x ").expect("an axis");
    let power = |text: &str| text.trim().parse::<Dioptre>().expect("a power");
    let crossed = CrossedCylinders { first: power(first), first_axis: axis(first_axis), second: power(second) };
    written(crossed.sphero_cylinder().expect("in range"))
}

fn crossed(row: &Row) -> Values {
    let crossed = lens(row.text()).crossed();
    vec![
        ("C1", crossed.first.to_f64()),
        ("A1", degrees_of(crossed.first_axis)),
        ("C2", crossed.second.to_f64()),
        ("A2", degrees_of(crossed.first_axis.perpendicular())),
    ]
}

/// A sphere with a cylinder at each principal meridian.
fn toric(row: &Row) -> Values {
    let (sphere, cylinders) = row.text().split_once(" with ").expect("a sphere and cylinders");
    let (a, b) = cylinders.split_once(" and ").expect("two cylinders");
    let cylinder = |text: &str| vector(&format!("pl {}", text.replace(" DC", "")));
    written(minus(vector(sphere) + cylinder(a) + cylinder(b)).plus_form())
}

fn blur(row: &Row) -> Values {
    let power = vector(row.text());
    let mut values = components(power);
    values.push(("B", power.blur_strength().to_f64()));
    values
}

/// The first axis is the one that angles are counted from.
fn equal_cylinders(row: &Row) -> Values {
    let (power, alpha) = (dioptre(row.given("F=")), degree(row.given("alpha=")));
    let cylinder = |at| PowerVector::from(SpheroCylinder::new(Dioptre::ZERO, power, at).expect("in range"));
    written(minus(cylinder(Axis::HORIZONTAL) + cylinder(Axis::HORIZONTAL.turned(alpha))).plus_form())
}

/// What is seen through a lens that rests turned is ordered turned back against it.
fn over_refraction(row: &Row) -> Values {
    let placed = vector(row.between("ordered axis: ", ", rotation"));
    let turn = degree(row.given("rotation "));
    let seen = vector(row.between("OR ", "\u{0}"));
    written(minus((placed.turned(turn) + seen).turned(-turn)))
}

fn residual(row: &Row) -> Values {
    let (power, at) = row.between("correct ", ", placed").split_once(" x ").expect("an axis");
    let cylinder = |at: &str| vector(&format!("pl {power} x {at}"));
    written(minus(cylinder(at).residual_after(cylinder(row.between("placed at ", "\u{0}")))))
}

fn sum_and_difference(row: &Row) -> Values {
    let (a, b) = row.text().split_once(" and ").expect("two lenses");
    let (sum, difference) = (minus(vector(a) + vector(b)), minus(vector(a) - vector(b)));
    vec![
        ("S_sum", sum.sphere().to_f64()),
        ("C_sum", sum.cylinder().to_f64()),
        ("A_sum", degrees_of(sum.axis())),
        ("S_dif", difference.sphere().to_f64()),
        ("C_dif", difference.cylinder().to_f64()),
        ("A_dif", degrees_of(difference.axis())),
    ]
}

fn mean(row: &Row) -> Values {
    let mut sample = Sample::default();
    row.text().split(';').for_each(|text| sample.add(vector(text)));
    components(sample.mean().expect("two lenses"))
}

/// The power of a cylinder of 64 D at each angle from its axis, in percent.
fn percentages() -> Values {
    const NAMES: [&str; 18] = [
        "p5", "p10", "p15", "p20", "p25", "p30", "p35", "p40", "p45", "p50", "p55", "p60", "p65", "p70", "p75", "p80",
        "p85", "p90",
    ];
    let cylinder = vector("pl +64.00 x 180");
    let share = |degrees: u16| {
        let meridian = Axis::from_degrees(degrees).expect("in range");
        cylinder.power_along(meridian).to_f64() / 64.0 * 100.0
    };
    NAMES.into_iter().zip((5..=90).step_by(5).map(share)).collect()
}

fn matrix(row: &Row) -> Values {
    let power = PowerMatrix::from(lens(row.text()));
    let mut values = elements(power);
    values.push(("trace", power.trace().to_f64()));
    values.push(("det", power.determinant_bits() as f64 / 2f64.powi(40)));
    values.extend(written(minus(power.into())));
    values
}

fn three_meridians(row: &Row) -> Values {
    let power = |at: &str| {
        let part = row.text().trim_start_matches("powers ").split(", ").find_map(|part| part.strip_suffix(at));
        dioptre(part.expect("a meridian").parse().expect("a power"))
    };
    let (horizontal, oblique, vertical) = (power("@0"), power("@45"), power("@90"));
    let m = (horizontal + vertical).half();
    written(minus(PowerMatrix { xx: horizontal, xy: oblique - m, yy: vertical }.into()))
}
