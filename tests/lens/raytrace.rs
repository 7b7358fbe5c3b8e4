//! Traced lenses: `tests/data/raytrace/README.md`. The tracer knows surfaces and Snell's law, and nothing of powers.

use super::{apart, index, mm, of};
use dioptric::lens::{ThickLens, Tilt};
use dioptric::prism::Eye;
use dioptric::quantity::{Degree, Dioptre};
use dioptric::vector::PowerMatrix;
use std::collections::HashMap;

type Row = HashMap<String, String>;

fn rows(name: &str) -> Vec<Row> {
    let path = format!("{}/tests/data/raytrace/{name}", env!("CARGO_MANIFEST_DIR"));
    csv::Reader::from_path(path).expect("the file").into_deserialize().map(|row| row.expect("a row")).collect()
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("{}: {column}", row["name"]))
}

fn traced(row: &Row, prefix: &str) -> [[f64; 2]; 2] {
    let [xx, xy, yy] = ["xx", "xy", "yy"].map(|element| number(row, &format!("{prefix}_{element}")));
    [[xx, xy], [xy, yy]]
}

fn power(row: &Row, prefix: &str) -> PowerMatrix {
    let [[xx, xy], [_, yy]] =
        traced(row, prefix).map(|row| row.map(|part| Dioptre::try_from_f64(part).expect("in range")));
    PowerMatrix { xx, xy, yy }
}

#[test]
fn crossed_toric_surfaces_have_the_power_that_rays_find() {
    // 1e-6 D of the crate's own; half a unit of each surface as it is given, the front's magnified by the step.
    const BOUND: f64 = 1e-6;
    const HALF: f64 = 0.5 / 1_048_576.0;
    let rows = rows("crossed.csv");
    assert_eq!(rows.len(), 12);
    for row in &rows {
        let thickness = mm(number(row, "centre_thickness_mm"));
        let lens = ThickLens::new(power(row, "front"), power(row, "back"), index(number(row, "index")), thickness);
        let lens = lens.expect("in range");
        let found = of(lens.back_vertex_power().expect("in range"));
        let step = 1.0 - thickness.to_f64() / 1000.0 / number(row, "index") * super::largest(of(lens.front().power()));
        let allowed = BOUND + HALF * (1.0 + 2.0 / (step * step).min(1.0)) + number(row, "traced_error");
        let off = apart(found, traced(row, "traced"));
        println!("{:16} {off:.1e} of {allowed:.1e}", row["name"]);
        assert!(off <= allowed, "{row:?} {found:?}");
        // Power by power, without the thickness, the lens would be far off.
        if row["name"] == "very_thick" {
            assert!(apart(of(lens.nominal_power()), traced(row, "traced")) > 0.5);
        }
    }
}

#[test]
fn tilted_lenses_have_the_power_that_rays_find() {
    // 3e-6 D at 64 D of the crate's own, and half a unit of the lens as it is given, twice magnified.
    const BOUND: f64 = 5e-6;
    let rows = rows("tilted.csv");
    assert_eq!(rows.len(), 16);
    for row in &rows {
        let degrees = |column| Degree::try_from_f64(number(row, column)).expect("in range");
        let eye = if row["eye"] == "right" { Eye::Right } else { Eye::Left };
        let tilt = Tilt::worn(degrees("pantoscopic_deg"), degrees("face_form_deg"), eye).expect("within 30 degrees");
        let found = of(tilt.effective(power(row, "lens"), index(number(row, "index"))).expect("in range"));
        let off = apart(found, traced(row, "traced"));
        let allowed = BOUND + number(row, "traced_error");
        println!("{:24} {off:.1e} of {allowed:.1e}", row["name"]);
        assert!(off <= allowed, "{row:?} {found:?}");
        // A lens of a hundredth of a millimetre is that much off, and no more.
        assert!(apart(found, traced(row, "hundredth_mm")) < 0.003, "{row:?}");
    }
}
