//! Rows on prism.

use super::*;

/// Prism at a point of a lens, from its optical centre.
fn prism_at(rx: &str, x: f64, y: f64) -> (f64, f64) {
    let prism = PowerMatrix::from(lens(rx)).prism_at(point(x, y));
    (prism.x.to_f64(), prism.y.to_f64())
}

pub fn values(row: &Row) -> Option<Values> {
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
