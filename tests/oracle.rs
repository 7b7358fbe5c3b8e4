//! The oracle itself, by other roads: one principal meridian at a time, the quadratic form, general elimination.

mod common;

use common::Random;
use dioptric::oracle::{Matrix, SpheroCylinder, fit};

fn uniform(source: &mut Random, most: f64) -> f64 {
    (source.u64() >> 11) as f64 / (1u64 << 52) as f64 * most - most
}

fn lenses(stream: &str) -> impl Iterator<Item = SpheroCylinder> {
    let mut source = Random::new(stream);
    (0..50_000).map(move |_| SpheroCylinder {
        sphere: uniform(&mut source, 20.0),
        cylinder: uniform(&mut source, 8.0),
        axis: uniform(&mut source, 90.0) + 90.0,
    })
}

fn assert_near(found: f64, wanted: f64, what: impl std::fmt::Debug) {
    assert!((found - wanted).abs() <= 1e-11 * wanted.abs().max(1.0), "{found} {wanted} {what:?}");
}

/// `u F u` along the unit vector of a meridian.
fn quadratic_form(f: Matrix, meridian: f64) -> f64 {
    let (sin, cos) = meridian.to_radians().sin_cos();
    f.xx * cos * cos + 2.0 * f.xy * sin * cos + f.yy * sin * sin
}

#[test]
fn vector_matrix_and_sine_squared_law_are_the_same_lens() {
    for lens in lenses("oracle") {
        let back = SpheroCylinder::from_vector(lens.vector());
        assert!(back.cylinder <= 0.0 && back.axis > 0.0 && back.axis <= 180.0, "{back:?}");
        let f = lens.matrix();
        for meridian in [0.0, 30.0, 77.7, 90.0, 135.0, lens.axis] {
            let along = lens.power_along(meridian);
            assert_near(back.power_along(meridian), along, lens);
            assert_near(f.sphero_cylinder().power_along(meridian), along, lens);
            assert_near(quadratic_form(f, meridian), along, lens);
        }
        assert_near(lens.power_along(lens.axis), lens.sphere, lens);
        assert_near(lens.power_along(lens.axis + 90.0), lens.sphere + lens.cylinder, lens);
        assert_near(f.det(), lens.sphere * (lens.sphere + lens.cylinder), lens);
    }
    let none = SpheroCylinder::from_vector([1.0, 0.0, 0.0]);
    assert_eq!((none.sphere, none.cylinder, none.axis), (1.0, 0.0, 180.0));
}

/// Each principal meridian by the effectivity of a thin lens, `F / (1 - d F)`.
#[test]
fn a_step_changes_each_principal_power_alone() {
    for (index, lens) in lenses("oracle steps").enumerate() {
        let millimetres = f64::from(index as u32 % 31) - 15.0;
        let effective = |power: f64| power / (1.0 - millimetres / 1000.0 * power);
        let stepped = lens.matrix().step(millimetres);
        assert_near(quadratic_form(stepped, lens.axis), effective(lens.sphere), lens);
        assert_near(quadratic_form(stepped, lens.axis + 90.0), effective(lens.sphere + lens.cylinder), lens);
        let back = stepped.step(-millimetres);
        assert_near(back.xx, lens.matrix().xx, lens);
        assert_near(back.xy, lens.matrix().xy, lens);
    }
}

/// Prentice's rule along a principal meridian is that of a sphere: the base points to the centre of a plus lens.
#[test]
fn prism_along_a_principal_meridian_is_that_of_a_sphere() {
    for lens in lenses("oracle prism") {
        let (sin, cos) = lens.axis.to_radians().sin_cos();
        let [x, y] = lens.matrix().prism_at(7.0 * cos, 7.0 * sin);
        assert_near(x, -0.7 * lens.sphere * cos, lens);
        assert_near(y, -0.7 * lens.sphere * sin, lens);
    }
}

/// Gaussian elimination with pivoting.
fn solve<const N: usize>(mut rows: [[f64; N]; N], mut right: [f64; N]) -> [f64; N] {
    for column in 0..N {
        let pivot =
            (column..N).max_by(|a, b| rows[*a][column].abs().total_cmp(&rows[*b][column].abs())).expect("a row");
        rows.swap(column, pivot);
        right.swap(column, pivot);
        for below in column + 1..N {
            let factor = rows[below][column] / rows[column][column];
            let pivot_row = rows[column];
            rows[below].iter_mut().zip(pivot_row).for_each(|(element, pivot)| *element -= factor * pivot);
            right[below] -= factor * right[column];
        }
    }
    for column in (0..N).rev() {
        for above in 0..column {
            right[above] -= rows[above][column] / rows[column][column] * right[column];
        }
    }
    std::array::from_fn(|index| right[index] / rows[index][index])
}

/// Normal equations of any linear model, from its rows.
fn least_squares<const N: usize>(model: &[([f64; N], f64)]) -> [f64; N] {
    let mut rows = [[0.0; N]; N];
    let mut right = [0.0; N];
    for (row, value) in model {
        for i in 0..N {
            for j in 0..N {
                rows[i][j] += row[i] * row[j];
            }
            right[i] += row[i] * value;
        }
    }
    solve(rows, right)
}

/// Spots off any symmetry, with a scatter that no lens makes.
fn spots(source: &mut Random, throw: f64) -> Vec<[f64; 4]> {
    let (a, b, c) = (uniform(source, 5.0), uniform(source, 2.0), uniform(source, 5.0));
    let (p, q) = (uniform(source, 3.0), uniform(source, 3.0));
    (0..40)
        .map(|_| {
            let (x, y) = (uniform(source, 3.0) + 0.5, uniform(source, 2.0) - 0.3);
            let slope = [p / 100.0 - (a * x + b * y) / 1000.0, q / 100.0 - (b * x + c * y) / 1000.0];
            [x, y, x + throw * slope[0] + uniform(source, 0.01), y + throw * slope[1] + uniform(source, 0.01)]
        })
        .collect()
}

#[test]
fn the_fit_is_that_of_general_elimination() {
    let mut source = Random::new("oracle fit");
    for _ in 0..500 {
        let (gap, throw) = (uniform(&mut source, 6.0) + 6.0, uniform(&mut source, 10.0) + 20.0);
        let spots = spots(&mut source, throw);
        // p, q, Vxx, Vxy, Vyy of s = s0 - V x.
        let symmetric: Vec<_> = spots
            .iter()
            .flat_map(|[x, y, u, v]| {
                let slope = [(u - x) / throw, (v - y) / throw];
                [([1.0, 0.0, -x, -y, 0.0], slope[0]), ([0.0, 1.0, 0.0, -x, -y], slope[1])]
            })
            .collect();
        let [p, q, xx, xy, yy] = least_squares(&symmetric);
        let squares: f64 = symmetric
            .iter()
            .map(|(row, value)| row.iter().zip([p, q, xx, xy, yy]).map(|(a, b)| a * b).sum::<f64>() - value)
            .map(|rest| (rest * throw).powi(2))
            .sum();
        let found = fit(&spots, gap, throw).expect("40 spots in the plane");
        let plate = Matrix { xx: xx * 1000.0, xy: xy * 1000.0, yy: yy * 1000.0 };
        // V = (I - gap F)^-1 F, back again.
        let vertex = plate.step(-gap);
        for (a, b) in [(found.power.xx, vertex.xx), (found.power.xy, vertex.xy), (found.power.yy, vertex.yy)] {
            assert!((a - b).abs() < 1e-9, "{a} {b}");
        }
        // s0 = (I - gap F)^-1 p / 100.
        let [kxx, kxy, kyy] =
            [1.0 - gap / 1000.0 * vertex.xx, -gap / 1000.0 * vertex.xy, 1.0 - gap / 1000.0 * vertex.yy];
        assert!((found.prism[0] - 100.0 * (kxx * p + kxy * q)).abs() < 1e-9, "{found:?}");
        assert!((found.prism[1] - 100.0 * (kxy * p + kyy * q)).abs() < 1e-9, "{found:?}");
        assert!((found.residual - (squares / 75.0).sqrt()).abs() < 1e-10, "{found:?}");
        // Each component on its own: Vxy from u, Vyx from v.
        let component = |pick: fn(&[f64; 4]) -> f64| {
            let model: Vec<_> = spots.iter().map(|spot| ([1.0, -spot[0], -spot[1]], pick(spot) / throw)).collect();
            least_squares(&model)
        };
        let ([_, _, vxy], [_, vyx, _]) = (component(|s| s[2] - s[0]), component(|s| s[3] - s[1]));
        assert!((found.rotation - (vxy - vyx) * 500.0).abs() < 1e-9, "{found:?} {vxy} {vyx}");
    }
}

#[test]
fn too_few_spots_or_a_line_of_them_give_no_fit() {
    let line: Vec<_> = (0..9).map(f64::from).map(|x| [x, 2.0 * x, x, 2.0 * x]).collect();
    assert_eq!(fit(&line, 5.0, 20.0), None);
    assert_eq!(fit(&[[0.0; 4], [1.0, 0.0, 1.0, 0.0]], 5.0, 20.0), None);
    assert_eq!(fit(&[], 5.0, 20.0), None);
    let three = [[0.0, 0.0, 0.0, 0.0], [1.0, 0.0, 1.0, 0.0], [0.0, 1.0, 0.0, 1.0]];
    let found = fit(&three, 5.0, 20.0).expect("a triangle");
    assert_eq!(found.power, Matrix { xx: 0.0, xy: 0.0, yy: 0.0 });
}
