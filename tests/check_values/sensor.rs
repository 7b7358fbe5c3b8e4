//! Rows on Hartmann and Zernike.

use super::*;

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

pub fn values(row: &Row) -> Option<Values> {
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
