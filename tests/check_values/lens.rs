//! Rows on vertex powers, thick lenses and sagittas.

use super::*;
use dioptric::lens::{
    Surface, ThickLens, approximate_sagitta, at_cornea, effective_at, from_cornea, refitted, sagitta,
};
use dioptric::quantity::RefractiveIndex;

/// What the crate promises: 1e-6 D of a power; lengths are rounded to 15 nm, sums of three of them and of a power's rounding.
pub fn promised(name: &str) -> Option<f64> {
    match name {
        "sag1" | "sag2" | "edge" | "edge_approx" | "s" | "s_approx" => Some(3e-5),
        // Differences of two focal lengths of some 170 mm, each good to 1e-6 D.
        "eH_cm" | "eH2_cm" => Some(5e-6),
        _ => None,
    }
}

fn mm(value: f64) -> Millimetre {
    Millimetre::try_from_f64(value).expect("in range")
}

pub fn index(value: f64) -> RefractiveIndex {
    RefractiveIndex::from_bits((value * 536_870_912.0).round() as u32).expect("in range")
}

fn sphere(value: f64) -> PowerMatrix {
    PowerMatrix { xx: dioptre(value), xy: Dioptre::ZERO, yy: dioptre(value) }
}

fn surface(radius_mm: f64, n: f64) -> Surface {
    Surface::from_radius(mm(radius_mm), index(n)).expect("in range")
}

pub fn power(surface: &Surface) -> f64 {
    surface.power().xx.to_f64()
}

pub fn values(row: &Row) -> Option<Values> {
    let written = |power: Result<PowerMatrix, dioptric::lens::Error>| written(minus(power.expect("in range").into()));
    let spherical = |power: Result<PowerMatrix, dioptric::lens::Error>| power.expect("in range").xx.to_f64();
    Some(match row.id.as_str() {
        "4.01" | "4.02" | "4.04" | "4.05" => vertex_powers(row),
        "4.08" => principal_planes(row),
        "4.10" => {
            assert!(row.inputs.contains("+4 and +4 D, 10 cm"));
            let arriving = effective_at(sphere(4.0), millimetres!(100.0)).expect("in range");
            vec![("F", arriving.xx.to_f64() + 4.0)]
        }
        "4.11" => {
            let (power, forward) = (row.number("Effectivity, ", " D"), row.number("moved ", " mm"));
            vec![("F", spherical(effective_at(sphere(power), mm(-forward))))]
        }
        "4.13" => vec![("F", spherical(refitted(lens(row.text()), millimetres!(15.0), millimetres!(10.0))))],
        "4.14" => {
            let text = row.text().replace(" D", " DS");
            vec![("exact", spherical(refitted(lens(&text), millimetres!(8.0), millimetres!(12.0))))]
        }
        "4.16" => vec![("F", spherical(at_cornea(one_lens(row), millimetres!(12.0))))],
        "4.17" => written(at_cornea(one_lens(row), millimetres!(12.0))),
        "4.19" => vec![("F", spherical(from_cornea(one_lens(row), millimetres!(12.0))))],
        // Written with a plus cylinder, as it is asked.
        "4.20" => {
            super::written(minus(from_cornea(one_lens(row), millimetres!(12.0)).expect("in range").into()).plus_form())
        }
        "4.22" | "4.23" => {
            let (rx, _) = row.text().split_once(", d=").expect("a distance");
            written(effective_at(lens(rx), mm(row.given("d="))))
        }
        "4.25" | "4.26" => toric_surfaces(row),
        "4.28" => {
            let (radius, semi) = (mm(row.given("r=")), mm(row.number("diameter ", " mm") / 2.0));
            vec![
                ("s", sagitta(radius, semi).expect("on it").to_f64()),
                ("s_approx", approximate_sagitta(radius, semi).expect("in range").to_f64()),
            ]
        }
        "4.29" => loomis(row),
        "4.31" | "4.32" | "4.34" => {
            let read = Surface::sphere(dioptre(row.given(": reading ")), index(row.given("at n="))).expect("in range");
            vec![("F", power(&read.at_index(index(row.given("lens n="))).expect("in range")))]
        }
        "4.35" => vec![("n", index_of_clock_readings(row))],
        "4.37" | "4.38" => {
            let n = row.given(", n=");
            let (front, back) = (surface(row.given("r1=") * 1000.0, n), surface(row.given("r2=") * -1000.0, n));
            vec![("F1", power(&front)), ("F2", power(&back)), ("F", power(&front) + power(&back))]
        }
        "4.40" => vec![("F", power(&surface(row.given("r=") * -1000.0, row.given("n="))))],
        "4.41" => {
            let n = row.given("n=");
            let (front, back) = (surface(row.given("r=") * 1000.0, n), surface(row.given(" and ") * 1000.0, n));
            vec![("F", power(&front) + power(&back))]
        }
        "4.43" | "4.44" | "4.46" => edge(row),
        _ => return None,
    })
}

/// The prescription after the distance, a sphere alone among them.
fn one_lens(row: &Row) -> SpheroCylinder {
    lens(&row.text().replace(" D", " DS"))
}

fn thick(row: &Row, front: PowerMatrix, back: PowerMatrix, millimetres: f64) -> ThickLens {
    ThickLens::new(front, back, index(row.given(", n=")), mm(millimetres)).expect("in range")
}

fn vertex_powers(row: &Row) -> Values {
    let lens = thick(row, sphere(row.given("F1=")), sphere(row.given("F2=")), row.given(", t="));
    vec![
        ("Fn", lens.nominal_power().xx.to_f64()),
        ("Fe", lens.equivalent_power().expect("in range").power.xx.to_f64()),
        ("FVP", lens.front_vertex_power().expect("in range").xx.to_f64()),
        ("BVP", lens.back_vertex_power().expect("in range").xx.to_f64()),
    ]
}

/// The principal planes lie where focal lengths of the vertices and of the whole lens differ.
fn principal_planes(row: &Row) -> Values {
    let lens = thick(row, sphere(row.given("F1=")), sphere(row.given("F2=")), row.given(", t=") * 10.0);
    let whole = lens.equivalent_power().expect("in range").power.xx.to_f64();
    let front = lens.front_vertex_power().expect("in range").xx.to_f64();
    let back = lens.back_vertex_power().expect("in range").xx.to_f64();
    vec![("Fe", whole), ("eH_cm", 100.0 / whole - 100.0 / front), ("eH2_cm", 100.0 / back - 100.0 / whole)]
}

fn toric_surfaces(row: &Row) -> Values {
    let surface =
        |text: &str| PowerMatrix::from(lens(&if text.contains('x') { text.to_owned() } else { format!("{text} DS") }));
    let (front, back) = (surface(row.between("F1=", ", F2")), surface(row.between("F2=", ", t=")));
    let lens = thick(row, front, back, row.given(", t="));
    written(minus(lens.back_vertex_power().expect("in range").into()))
}

/// Surfaces by their curvatures, the back's counted along the light.
fn loomis(row: &Row) -> Values {
    let (front, back) = (surface(1.0 / row.given("c1="), 1.5), surface(-1.0 / row.given("c2="), 1.5));
    let lens = ThickLens::new(front.power(), back.power(), index(1.5), mm(row.given("centre "))).expect("in range");
    let edge = lens.thickness_at(point(row.given("semi-aperture "), 0.0)).expect("on it");
    let shape = (power(&front) - power(&back)) / (power(&front) + power(&back));
    vec![("edge", edge.to_f64()), ("shape", shape)]
}

/// The index at which the surfaces that the clock has read add up to the power that was measured.
fn index_of_clock_readings(row: &Row) -> f64 {
    let clock = index(row.given(" at "));
    let readings = [row.given(": readings "), row.given(" and ")];
    let total = |n: f64| {
        let read = readings.map(|reading| Surface::sphere(dioptre(reading), clock).expect("in range"));
        read.iter().map(|surface| power(&surface.at_index(index(n)).expect("in range"))).sum::<f64>()
    };
    let (mut low, mut high) = (1.3, 2.5);
    for _ in 0..40 {
        let middle = (low + high) / 2.0;
        if total(middle) < row.given("measured ") { low = middle } else { high = middle }
    }
    low
}

fn edge(row: &Row) -> Values {
    let n = row.given(if row.id == "4.43" { ", n=" } else { ", n " });
    let front = match row.id.as_str() {
        "4.43" => surface(row.given("r1="), n),
        _ => Surface::sphere(dioptre(row.given("F1 ")), index(n)).expect("in range"),
    };
    let centre = mm(row.given(", ct "));
    let lens = ThickLens::for_front(front.power(), sphere(row.given("BVP ")), index(n), centre).expect("in range");
    let semi = row.given("dia ") / 2.0;
    let rim = point(0.0, semi);
    let flat = |surface: Surface| {
        let radius = surface.radius_along(Axis::HORIZONTAL).expect("curved");
        approximate_sagitta(radius, mm(semi)).expect("in range").to_f64()
    };
    vec![
        ("F2", lens.back().power().xx.to_f64()),
        ("sag1", lens.front().sagitta_at(rim).expect("on it").to_f64()),
        ("sag2", -lens.back().sagitta_at(rim).expect("on it").to_f64()),
        ("edge", lens.thickness_at(rim).expect("thick enough").to_f64()),
        // The source takes a surface of the whole power.
        (
            "edge_approx",
            centre.to_f64() - flat(Surface::sphere(dioptre(row.given("BVP ")), index(n)).expect("in range")),
        ),
    ]
}
