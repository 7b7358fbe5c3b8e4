//! Topic "Tilted lens".
//!
//! With the tilt `p` before the wrap `w`, the plane of incidence meets the plane across the line of sight at
//! `tan A = tan p / sin w`, as the lens's axis there has the parts `cos p sin w` and `sin p`; and it meets the lens's own plane at
//! `tan A'' = sin p / tan w`, as the line of sight there has the parts `sin w` and `sin p cos w`. So A is the axis that a sphere's
//! effective power has in the eye's frame, and A'' that of the lens to order in its own: some recipes name them the other way round.

use super::{Row, Values, degree, degrees_of, dioptre, lens, minus};
use dioptric::axis;
use dioptric::lens::{Tilt, point_of_gaze};
use dioptric::math;
use dioptric::prism::Eye;
use dioptric::quantity::{Axis, Bearing, Degree, Dioptre, Millimetre, RefractiveIndex};
use dioptric::vector::{PowerMatrix, PowerVector};

pub const TOPIC: &str = "Tilted lens";
pub const ROWS: usize = 15;

pub const NOT_APPLICABLE: &[(&str, &str)] = &[
    (
        "5.04",
        "a variant with the cylinder from the sphere before the tilt: Martin's own has it from the sphere after it",
    ),
    ("5.11a", "the arithmetic mean of both gains: their geometric mean is what the rotation gives"),
    (
        "5.25",
        "first orders of the wrap's prism: `Tilt::prism` is exact in the angle, and compared with them in tests/worn.rs",
    ),
];

/// What the crate promises: powers within 3e-6 D an element, so twice that for a cylinder at the most; here the bounds add up
/// to less, as the powers are far below 64 D.
pub fn promised(name: &str) -> f64 {
    match name {
        // From gains within 1e-7, at an angle of 10 degrees and more.
        "phi" => 3e-5,
        "Sc" | "Tc" | "Hc" => 1e-7,
        _ if name.ends_with('A') || name.starts_with('A') => 0.0002,
        // Half a unit of length.
        "drop" | "drop_tan" => 1e-5,
        _ => 2.5e-6,
    }
}

pub fn values(row: &Row) -> Option<Values> {
    Some(match row.id.as_str() {
        "5.01" | "5.02" => {
            let tilt = about(row);
            let [along, across] = principal(tilt.martin_effective(sphere(row.given("F=")), index(row)));
            vec![("S", along), ("C", across - along)]
        }
        "5.11" => compensated(row),
        "5.13" | "5.14" | "5.16" | "5.17" | "5.19" => ordered(row),
        "5.20" | "5.22" | "5.23" => {
            let (tilt, power) = (about(row), sphere(row.given("F=")));
            let [s, t] = principal(tilt.effective(power, index(row)));
            let [s_martin, t_martin] = principal(tilt.martin_effective(power, index(row)));
            vec![
                ("S_exact", s),
                ("T_exact", t),
                ("C_exact", t - s),
                ("S_martin", s_martin),
                ("C_martin", t_martin - s_martin),
            ]
        }
        "5.26" => drop_of_the_centre(row),
        _ => return None,
    })
}

fn sphere(power: f64) -> PowerMatrix {
    PowerMatrix { xx: dioptre(power), xy: Dioptre::ZERO, yy: dioptre(power) }
}

fn index(row: &Row) -> RefractiveIndex {
    let text = row.between("n=", ",");
    text.split(' ').next().and_then(|text| text.parse().ok()).expect("an index")
}

/// About the horizontal axis.
fn about(row: &Row) -> Tilt {
    Tilt::about(axis!(180.0), degree(row.number("tilt ", ","))).expect("in range")
}

fn worn(row: &Row) -> Tilt {
    let (pantoscopic, face_form) = (degree(row.number("panto ", ",")), degree(row.number("wrap ", ",")));
    assert!(row.inputs.contains("R eye") || row.inputs.contains("eye R"));
    Tilt::worn(pantoscopic, face_form, Eye::Right).expect("in range")
}

/// Along the axis of the tilt, and across it.
fn principal<E: std::fmt::Debug>(power: Result<PowerMatrix, E>) -> [f64; 2] {
    let PowerMatrix { xx, xy, yy } = power.expect("in range");
    assert_eq!(xy, Dioptre::ZERO);
    [xx.to_f64(), yy.to_f64()]
}

type Written = (f64, f64, Axis);

fn written<E: std::fmt::Debug>(power: Result<PowerMatrix, E>) -> Written {
    let rx = minus(PowerVector::from(power.expect("in range")));
    (rx.sphere().to_f64(), rx.cylinder().to_f64(), rx.axis())
}

/// What a tilt makes of a sphere of 50 D tells its gains: the angle, and both axes.
struct Gains {
    phi: f64,
    sphere: f64,
    tangential: f64,
    at_eye: Axis,
    at_lens: Axis,
}

fn gains(tilt: Tilt, index: RefractiveIndex) -> Gains {
    let (tangential, cylinder, at_eye) = written(tilt.martin_effective(sphere(50.0), index));
    let (_, _, across) = written(tilt.martin_to_order(sphere(50.0), index));
    let (sphere, tangential) = ((tangential + cylinder) / 50.0, tangential / 50.0);
    Gains {
        phi: (sphere / tangential).sqrt().acos().to_degrees(),
        sphere,
        tangential,
        at_eye,
        at_lens: across.perpendicular(),
    }
}

fn compensated(row: &Row) -> Values {
    let (tilt, n) = (worn(row), index(row));
    let wanted = lens(row.between("face-form 6: ", ","));
    let found = gains(tilt, n);
    let (s, c, axis) = written(tilt.martin_to_order(wanted, n));
    vec![
        ("phi", found.phi),
        ("A", degrees_of(found.at_eye)),
        ("A2", degrees_of(found.at_lens)),
        ("Sc", found.sphere),
        ("Tc", found.tangential),
        ("Hc", (found.sphere * found.tangential).sqrt()),
        ("S", s),
        ("C", c),
        ("Ax", degrees_of(axis)),
    ]
}

fn ordered(row: &Row) -> Values {
    let (tilt, n) = (worn(row), index(row));
    let power = lens(row.between("(R eye): ", ","));
    let named = [
        (["order_S", "order_C", "order_A"], tilt.martin_to_order(power, n)),
        (["order_exact_S", "order_exact_C", "order_exact_A"], tilt.to_order(power, n)),
        (["eff_S", "eff_C", "eff_A"], tilt.martin_effective(power, n)),
        (["eff_exact_S", "eff_exact_C", "eff_exact_A"], tilt.effective(power, n)),
    ];
    let mut values = vec![("phi", gains(tilt, n).phi)];
    for ([sphere, cylinder, at], found) in named {
        let (s, c, axis) = written(found);
        values.extend([(sphere, s), (cylinder, c), (at, degrees_of(axis))]);
    }
    values
}

/// The lens's axis through the centre of rotation meets a vertical lens by the tangent, a tilted one by the sine.
fn drop_of_the_centre(row: &Row) -> Values {
    let (tilt, distance) = (degree(row.number("): tilt ", " degrees")), row.number("degrees, ", " mm"));
    let lens = Millimetre::try_from_f64(distance).expect("in range");
    let by_tangent = point_of_gaze(Degree::ZERO, tilt, lens).expect("in range").y.to_f64();
    let (_, sine) = math::cos_sin(Bearing::default().turned(tilt).to_bits());
    vec![("drop", distance * f64::from(sine) / 1_073_741_824.0), ("drop_tan", by_tangent)]
}
