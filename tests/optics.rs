//! The example's ray trace: against spots that another tracer traced, against paraxial optics, and at the edges of a segment.

#[path = "../examples/render/optics/mod.rs"]
mod optics;

use dioptric::oracle::SpheroCylinder;
use glam::{DVec2, dvec2};
use optics::{Bench, Kind, Lattice, Lens, Order, Plate, Pose, Segment, Shape, Surface};
use std::collections::HashMap;

type Row = HashMap<String, String>;

fn table(file: &str) -> Vec<Row> {
    let path = format!("{}/tests/data/raytrace/{file}", env!("CARGO_MANIFEST_DIR"));
    let rows = csv::Reader::from_path(&path).expect("the file is there").into_deserialize();
    rows.map(|row| row.expect("a row")).collect()
}

fn number(row: &Row, name: &str) -> f64 {
    row[name].parse().unwrap_or_else(|_| panic!("{name}: {}", row[name]))
}

fn surface(row: &Row, side: &str) -> Surface {
    let get = |name: &str| number(row, &format!("{side}_{name}"));
    let shape = Shape::Torus {
        along: get("radius_along_axis_mm"),
        across: get("radius_across_axis_mm"),
        axis_deg: get("axis_deg"),
    };
    let gradient = DVec2::from_angle(get("tilt_bearing_deg").to_radians()) * get("tilt_deg").to_radians().tan();
    Surface { shape, gradient }
}

fn traced_lens(row: &Row) -> (Bench, Lens) {
    let centre = dvec2(number(row, "decentration_x_mm"), number(row, "decentration_y_mm"));
    let lens = Lens {
        index: number(row, "index"),
        thickness: number(row, "centre_thickness_mm"),
        front: surface(row, "front"),
        back: surface(row, "back"),
        pose: Pose::decentred(centre),
    };
    (Bench { gap: number(row, "gap_mm"), throw: number(row, "throw_mm") }, lens)
}

/// `tests/data/raytrace/README.md`: spots by `optiland`, rounded to 0.1 nm, each by a ray within 0.1 nm of the hole's centre.
#[test]
fn the_spots_are_those_of_another_tracer() {
    let lenses = table("lenses.csv");
    assert_eq!(lenses.len(), 24);
    let mut worst = 0f64;
    for row in &lenses {
        let (bench, lens) = traced_lens(row);
        let spots = table(&row["file"]);
        assert_eq!(spots.len(), 113);
        for spot in &spots {
            let hole = dvec2(number(spot, "ref_x_mm"), number(spot, "ref_y_mm"));
            let wanted = dvec2(number(spot, "x_mm"), number(spot, "y_mm"));
            let landings = bench.land(&lens, hole);
            assert_eq!(landings.len(), 1);
            assert!(landings[0].miss < 1e-9, "{}: {:e} mm from the hole", row["file"], landings[0].miss);
            worst = worst.max((landings[0].at - wanted).abs().max_element());
        }
    }
    println!("largest difference {worst:.1e} mm");
    // Half of the last decimal, 5e-8, and what 1e-10 mm at the hole may become at the detector.
    assert!(worst < 6e-8, "{worst:e}");
}
