//! Worked examples from published sources: every row of `data/check_values.csv` is computed with the crate.
//!
//! Columns: `inputs` and `expected` of the example; `tolerance` as far as the source rounds; `status` says whether the
//! source prints the answer (`published`), prints a wrong one (`corrected`: `expected` was recomputed), or only the
//! question or the formula (`computed`); `source`. The expected values were recomputed to 12 digits in f64.
//!
//! Published answers must be met within the stated tolerance; a value that is there to twelve digits, and every computed or
//! corrected one, within what the crate promises ([`promised`]).

use dioptric::prism::{Eye, Prism, apical_angle, decentration, deviation, from_deviation};
use dioptric::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, Point, PrismDioptre};
use dioptric::rx::{CrossedCylinders, SpheroCylinder};
use dioptric::sensor::{Fit, Geometry, SlopeSums, SpotPair};
use dioptric::vector::{PowerMatrix, PowerVector, Sample};
use dioptric::{axis, millimetres, prism_dioptres};
use std::fmt::Write as _;

#[path = "check_values/tilted.rs"]
mod tilted;

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

/// What this crate does not compute, row by row.
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

fn is_not_applicable(row: &Row) -> bool {
    NOT_APPLICABLE.iter().chain(tilted::NOT_APPLICABLE).any(|(id, _)| *id == row.id)
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
    assert_eq!(rows.len(), 113 + tilted::ROWS);
    for (id, reason) in NOT_APPLICABLE.iter().chain(tilted::NOT_APPLICABLE).chain(ROUNDED_INPUTS) {
        assert!(rows.iter().any(|row| row.id == *id) && !reason.is_empty(), "{id}");
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
            Some("published") => self.stated(name).min(2.0 * promised),
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
        id if id.starts_with("3.") => return prism_values(row),
        id if id.starts_with("7.") => return sensor_values(row),
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

/// Prism at a point of a lens, from its optical centre.
fn prism_at(rx: &str, x: f64, y: f64) -> (f64, f64) {
    let prism = PowerMatrix::from(lens(rx)).prism_at(point(x, y));
    (prism.x.to_f64(), prism.y.to_f64())
}

fn prism_values(row: &Row) -> Option<Values> {
    Some(match row.id.as_str() {
        "3.01" | "3.02" | "3.05" | "3.04" => {
            let rx = if row.id == "3.04" {
                row.between("Sphero-cylinder ", ",").to_owned()
            } else {
                format!("{} DS", row.between("F=", " D"))
            };
            vec![("P", prism_at(&rx, 0.0, -row.number("offset ", " mm")).1.abs())]
        }
        "3.07" => {
            let rx = row.between("PD 64: ", " both");
            let total = row.number("both, ", " mm");
            vec![("P", prism_at(rx, total, 0.0).0), ("each", prism_at(rx, total / 2.0, 0.0).0)]
        }
        "3.08" => {
            // The centre lies 2 mm temporally, so the pupil lies 2 mm nasally of it.
            let (x, y) = prism_at(row.between("temporal: ", ", d"), 2.0, 0.0);
            vec![("px", x), ("py", y)]
        }
        "3.10" => iso_vertical_prism(),
        "3.11" => iso_band(),
        "3.13" => {
            let sphere = PowerMatrix::from(lens(&format!("{} DS", row.between("F90=", "\u{0}"))));
            let wanted = Prism::new(PrismDioptre::ZERO, prism_dioptre(row.given("P=")));
            vec![("cm", decentration(sphere, wanted).expect("powered").y.to_f64() / 10.0)]
        }
        "3.14" | "3.16" | "3.17" => {
            let wanted = Prism::new(prism_dioptre(row.given("x=")), prism_dioptre(row.given("y=")));
            centre(row.between("matrix): R ", ", wanted"), wanted)
        }
        "3.23" => centre(
            row.between("matrix: ", "\u{0}"),
            Prism::from_bases(Eye::Right, prism_dioptres!(1.0), PrismDioptre::ZERO),
        ),
        "3.19" => {
            let (x, y) = prism_at(row.between("(R eye): ", ", d"), -4.0, -2.0);
            vec![("H_out", -x), ("V_up", y)]
        }
        "3.20" => {
            let power = PowerMatrix::from(lens(row.between("matrix: ", ", d")));
            let prism = power.prism_at(point(6.0, 4.0));
            let named = prism.of(Eye::Right);
            vec![
                ("H_out", -named.base_in().to_f64()),
                ("V_down", -named.base_up().to_f64()),
                ("R", prism.resultant().0.to_f64()),
            ]
        }
        "3.22" => {
            let prism = PowerMatrix::from(lens(row.between("matrix: ", ", d"))).prism_at(point(-8.0, 0.0));
            let named = prism.of(Eye::Right);
            vec![("BI", named.base_in().to_f64()), ("V_up", named.base_up().to_f64())]
        }
        "3.25" | "3.26" => {
            let eye = if row.inputs.contains("L eye") { Eye::Left } else { Eye::Right };
            let (inward, up) = (row.given("horizontal "), row.given("vertical "));
            let (amount, base) = Prism::from_bases(eye, prism_dioptre(inward), prism_dioptre(up)).resultant();
            vec![("R", amount.to_f64()), ("base360", bearing_of(base))]
        }
        "3.28" => {
            let text = row.between("R eye: ", "\u{0}").replace(" at ", " @ ");
            let (amount, base) = Prism::parse(&text, Eye::Right).expect("three prisms").resultant();
            vec![("R", amount.to_f64()), ("base", bearing_of(base))]
        }
        "3.29" => {
            let text = row.between("prism: ", ", R eye").replace(" at ", " @ ");
            let prism = text.parse::<Prism>().expect("a prism");
            vec![("H", prism.x.to_f64()), ("V", prism.y.to_f64())]
        }
        "3.31" => vec![("deg", deviation(prism_dioptre(row.number("degrees: ", " prism"))).to_f64())],
        "3.32" => {
            let amount = prism_dioptre(row.number("prism: ", " prism"));
            let index = row.between("n=", "\u{0}").parse().expect("an index");
            let apex = apical_angle(amount, index).expect("glass");
            vec![("dev", deviation(amount).to_f64()), ("apex", apex.to_f64())]
        }
        "3.34" => {
            let deviated = deviation(prism_dioptre(row.number("displacement: ", " prism")));
            let centimetres = from_deviation(deviated).expect("a small angle").to_f64();
            vec![("cm1", centimetres), ("cm3", 3.0 * centimetres)]
        }
        "3.35" => {
            let prism = |degrees| from_deviation(degree(degrees)).expect("within 80 degrees").to_f64();
            vec![
                ("d1", deviation(prism_dioptres!(1.0)).to_f64()),
                ("d7", deviation(prism_dioptres!(7.0)).to_f64()),
                ("p1", prism(1.0)),
                ("p45", prism(45.0)),
            ]
        }
        "3.37" | "3.38" | "3.40" => vertical_imbalance(row),
        "3.41" => vec![("P", prism_at(row.text(), 0.0, -4.0).1)],
        "3.43" | "3.44" => imbalance(row),
        _ => return None,
    })
}

fn centre(rx: &str, wanted: Prism) -> Values {
    let centre = decentration(lens(rx).into(), wanted).expect("powered");
    vec![("dx_mm", centre.x.to_f64()), ("dy_mm", centre.y.to_f64())]
}

/// The source counts axes and x from the nose, and prism positive base down (P = F r).
fn iso_lens() -> PowerMatrix {
    PowerMatrix::from(lens("+3.00 +2.00 x 60").mirrored())
}

fn iso_vertical_prism() -> Values {
    vec![("PV", -iso_lens().prism_at(point(3.85, -6.67)).y.to_f64())]
}

/// Points of equal vertical prism lie on lines perpendicular to the matrix's second row: a line's distance from the centre for
/// 2 prism dioptres, and its slope. The lens is that of the source's example, row 3.10.
fn iso_band() -> Values {
    let power = iso_lens();
    let row = Point::new(Millimetre::from_bits(power.xy.to_bits()), Millimetre::from_bits(power.yy.to_bits()));
    let strength = row.distance().to_bits();
    let slope = dioptric::math::polar(power.yy.to_bits(), power.xy.to_bits()).turn;
    vec![("JH", 20.0 / (f64::from(strength) / 1_048_576.0)), ("alpha", bearing_of(Bearing::from_bits(slope)))]
}

fn pair(row: &Row) -> (&str, &str) {
    let text = row.text();
    let (right, left) = text.split_once(", L ").expect("two lenses");
    (right.trim_start_matches("R "), left.split_once(',').expect("a level").0)
}

fn vertical_imbalance(row: &Row) -> Values {
    let (right, left) = pair(row);
    let below = -row.number("level ", " mm");
    let vertical = |rx| vector(rx).power_along(axis!(90.0)).to_f64();
    let prism = (prism_at(right, 0.0, below).1 - prism_at(left, 0.0, below).1).abs();
    vec![("P", prism), ("R90", vertical(right)), ("L90", vertical(left))]
}

fn imbalance(row: &Row) -> Values {
    let (right, left) = pair(row);
    let below = -row.inputs.rsplit_once(", ").expect("a level").1.trim_end_matches(" mm").parse::<f64>().expect("mm");
    let (r, l) = (prism_at(right, 0.0, below), prism_at(left, 0.0, below));
    vec![("Rx", r.0), ("Ry", r.1), ("Lx", l.0), ("Ly", l.1), ("dV", r.1 - l.1), ("dH", r.0 - l.0)]
}

/// One hole and the slope of the light through it: mm, mm, mrad, mrad.
type Slope = [f64; 4];

/// The plate is drawn this much larger, and the slopes with it: power is the same, and rounding counts less.
const SCALE: f64 = 8.0;
/// For a pupil, whose edge is farther out.
const PUPIL_SCALE: f64 = 5.0;

/// At this throw a slope of 5 urad, drawn to scale, moves a spot by a whole number of units of 2^-16 mm.
const THROW: Millimetre = millimetres!(244.140625);

fn fit(slopes: &[Slope], scale: f64) -> Fit {
    let mut sums = SlopeSums::default();
    for [x, y, u, v] in slopes.iter().map(|slope| slope.map(|value| value * scale)) {
        let moved = point(u * THROW.to_f64() / 1000.0, v * THROW.to_f64() / 1000.0);
        let reference = point(x, y);
        sums.add(SpotPair::new(reference, reference + moved).expect("in range")).expect("few spots");
    }
    sums.fit(&Geometry::new(Millimetre::ZERO, THROW).expect("a geometry")).expect("a power")
}

/// The spots in the inputs: `(x,y)->(u,v)` in mm and mrad.
fn slopes_of(row: &Row) -> Vec<Slope> {
    let (_, spots) = row.inputs.rsplit_once(": ").expect("spots");
    let numbers =
        spots.split(|c: char| !(c.is_ascii_digit() || "+-.e".contains(c))).filter_map(|text| text.parse().ok());
    let numbers: Vec<f64> = numbers.collect();
    numbers.chunks_exact(4).map(|four| [four[0], four[1], four[2], four[3]]).collect()
}

/// Root of the summed squared residuals, mrad, from the standard deviation of a displacement.
fn residual_squares(fit: &Fit) -> f64 {
    let deviation = fit.residual().to_f64() / THROW.to_f64() / SCALE;
    deviation * deviation * f64::from(2 * fit.count() - 5)
}

fn fitted(fit: &Fit) -> Values {
    let prism = fit.prism();
    let scaled = |amount: PrismDioptre| amount.to_f64() / SCALE;
    let mut values = elements(fit.power());
    values.extend(written(fit.sphero_cylinder().expect("in range")));
    values.extend([
        ("px_mrad", scaled(prism.x) * 10.0),
        ("py_mrad", scaled(prism.y) * 10.0),
        ("prism_x", scaled(prism.x)),
        ("prism_y", scaled(prism.y)),
        ("prism", scaled(prism.resultant().0)),
        ("rss", residual_squares(fit)),
    ]);
    values
}

fn sensor_values(row: &Row) -> Option<Values> {
    Some(match row.id.as_str() {
        "7.01" | "7.02" | "7.04" | "7.05" => {
            let coefficient = |name| row.expected().find(|(found, ..)| *found == name).expect("a coefficient").1;
            let radius = row.given("r=");
            zernike([coefficient("c20"), coefficient("c22"), coefficient("c2m2")], radius)
        }
        "7.07" | "7.08" => zernike([row.given("c20="), row.given("c22="), row.given("c2-2=")], row.given("r=")),
        "7.10" => {
            let values = zernike([row.given("c20=1 um, D=").signum(), 0.0, 0.0], row.given("D=") / 2.0);
            vec![("M_abs", value(&values, "M").abs())]
        }
        "7.11" => one_dioptre(row),
        "7.19" | "7.22" => fitted(&fit(&slopes_of(row), SCALE)),
        "7.20" => unconstrained(),
        "7.23" => fitted(&fit(&perturbed()[1..], SCALE)),
        "7.25" => displacement(row),
        "7.26" => noise(3, 1.0, row.given("sigma=")),
        "7.28" => noise(11, 0.5, row.given("sigma=")),
        "7.29" => variances(row.number(": s=", " D")),
        _ => return None,
    })
}

fn value(values: &Values, name: &str) -> f64 {
    values.iter().find(|(found, _)| *found == name).expect("computed").1
}

/// The slopes of second-order Zernike polynomials (OSA, micrometres) over a pupil, fitted; and the coefficients of what was
/// fitted.
fn zernike([c20, c22, c2m2]: [f64; 3], radius: f64) -> Values {
    let (root3, root6) = (3f64.sqrt(), 6f64.sqrt());
    let square = radius * radius;
    let steps = (-10..=10).map(|step| f64::from(step) / 10.0 * radius);
    let pupil: Vec<_> = steps.clone().flat_map(|x| steps.clone().map(move |y| (x, y))).collect();
    let slopes = pupil.into_iter().filter(|(x, y)| x.hypot(*y) <= radius).map(|(x, y)| {
        // W = c20 sqrt3 (2 rho^2 - 1) + c22 sqrt6 rho^2 cos 2t + c2m2 sqrt6 rho^2 sin 2t.
        let dx = (4.0 * root3 * c20 * x + 2.0 * root6 * (c22 * x + c2m2 * y)) / square;
        let dy = (4.0 * root3 * c20 * y + 2.0 * root6 * (c2m2 * x - c22 * y)) / square;
        [x, y, dx, dy]
    });
    let fit = fit(&slopes.collect::<Vec<_>>(), PUPIL_SCALE);
    let mut values = components(fit.vector());
    values.extend(written(fit.sphero_cylinder().expect("in range")));
    let [m, j0, j45] = ["M", "J0", "J45"].map(|name| value(&values, name));
    values.extend([
        ("c20", -m * square / (4.0 * root3)),
        ("c22", -j0 * square / (2.0 * root6)),
        ("c2m2", -j45 * square / (2.0 * root6)),
        ("cyl_rss", fit.vector().half_cylinder().double().to_f64()),
    ]);
    values
}

/// A dioptre over a pupil of 6 mm, fitted.
fn one_dioptre(row: &Row) -> Values {
    let (m, radius) = (row.given("M="), row.given("r="));
    let values = zernike([m * radius * radius / (4.0 * 3f64.sqrt()), 0.0, 0.0], radius);
    let power = value(&values, "M");
    vec![("c20", value(&values, "c20").abs()), ("PV", power.abs() * radius * radius / 2.0)]
}

fn perturbed() -> Vec<Slope> {
    let rows = rows();
    slopes_of(rows.iter().find(|row| row.id == "7.19").expect("the perturbed grid"))
}

/// The unconstrained fit: the symmetric one and the rotation that it leaves over.
fn unconstrained() -> Values {
    let fit = fit(&perturbed(), SCALE);
    let half = fit.rotation().to_f64().to_radians() * 1000.0 / THROW.to_f64();
    let values = fitted(&fit);
    let xy = value(&values, "Fxy");
    vec![
        ("px", value(&values, "px_mrad")),
        ("py", value(&values, "py_mrad")),
        ("Fxx", value(&values, "Fxx")),
        ("Fxy", xy + half),
        ("Fyx", xy - half),
        ("Fyy", value(&values, "Fyy")),
        ("antisym", half),
        ("Fxy_mean", xy),
    ]
}

fn displacement(row: &Row) -> Values {
    let power = PowerMatrix::from(lens(row.between("F=", ", prism")));
    let axial = Prism::new(prism_dioptres!(1.2), prism_dioptres!(-0.5));
    assert!(row.inputs.contains("prism (1.2,-0.5)") && row.inputs.contains("hole at (2,1) mm"));
    let throw = row.number("screen ", " mm");
    let slope = axial + power.prism_at(point(2.0, 1.0));
    vec![("dx_mm", throw * slope.x.to_f64() / 100.0), ("dy_mm", throw * slope.y.to_f64() / 100.0)]
}

/// A square grid whose slopes are those of a lens, plus a pattern that no lens gives, with the standard deviation `sigma` (mrad).
fn noisy(side: i32, pitch: f64, sigma: f64, rx: &str) -> Fit {
    let power = PowerMatrix::from(lens(rx));
    let places: Vec<f64> = (0..side).map(|index| (f64::from(index) - f64::from(side - 1) / 2.0) * pitch).collect();
    let mean_square = places.iter().map(|place| place * place).sum::<f64>() / f64::from(side);
    let bend = |place: f64| place * place - mean_square;
    let sum: f64 = places.iter().map(|place| bend(*place).powi(2)).sum();
    let amount = sigma * f64::from(2 * side * side - 5).sqrt() / sum;
    let slopes = places.iter().flat_map(|x| {
        places.iter().map(move |y| {
            let slope = power.prism_at(point(*x, *y));
            [*x, *y, slope.x.to_f64() * 10.0 + amount * bend(*x) * bend(*y), slope.y.to_f64() * 10.0]
        })
    });
    fit(&slopes.collect::<Vec<_>>(), SCALE)
}

fn noise(side: i32, pitch: f64, sigma: f64) -> Values {
    let straight = noisy(side, pitch, sigma, "+0.50 -1.00 x 180").uncertainty();
    let oblique = noisy(side, pitch, sigma, "+0.50 -1.00 x 45").uncertainty();
    let (along, across) = (straight.sphere.to_f64(), straight.across.to_f64());
    let sums: f64 = (0..side).map(|index| ((f64::from(index) - f64::from(side - 1) / 2.0) * pitch).powi(2)).sum();
    let quadratic = sums * f64::from(side);
    vec![
        ("sd_p_mrad", straight.prism_x.to_f64() * 10.0 / SCALE),
        ("sd_p", straight.prism_y.to_f64() * 10.0 / SCALE),
        ("sd_Fxx", along),
        ("sd_Fxy", oblique.cylinder.to_f64() / 2.0),
        ("sd_M", along.hypot(across) / 2.0),
        ("sd_J0", straight.cylinder.to_f64() / 2.0),
        ("sd_J45", oblique.cylinder.to_f64() / 2.0),
        ("Q", quadratic),
        // Pitch^2 n (n^2 - 1) / 12, n times.
        ("Q_formula", pitch * pitch * f64::from(side * side) * f64::from(side * side - 1) / 12.0),
    ]
}

/// A grid whose slopes scatter so that M, J0 and J45 have the standard deviation `s`: var M = sigma^2 / 2Q.
fn variances(s: f64) -> Values {
    let sigma = s * (2.0f64 * 302.5).sqrt();
    let found = noisy(11, 0.5, sigma, "+0.25 -1.00 x 30").uncertainty();
    vec![
        ("sd_S", found.sphere.to_f64()),
        ("sd_C", found.cylinder.to_f64()),
        ("sd_axis_deg", found.axis.expect("a strong cylinder").to_f64()),
    ]
}
