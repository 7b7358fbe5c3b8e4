//! Lenses where they are worn: effectivity, tilt and wrap, against published values, generalised Coddington equations in
//! `f64`, and rays through real surfaces.

mod common;

use common::{Budget, Random, Worst};
use dioptric::lens::{self, MOST_TILT, Tilt, TiltError};
use dioptric::prism::{Eye, Prism};
use dioptric::quantity::{Axis, Degree, Dioptre, Millimetre, RefractiveIndex};
use dioptric::rx::SpheroCylinder;
use dioptric::vector::{Error, PowerMatrix, PowerVector};
use dioptric::{axis, degrees, dioptres, millimetres};

const ONE: f64 = 1_048_576.0;
const RANDOM: u64 = 1_000_000;

type Vector = [f64; 3];
/// Symmetric: xx, xy, yy.
type Matrix = [f64; 3];

const BUDGETS: &[Budget] = &[
    Budget {
        function: "Tilt::effective",
        domain: "elements to 64 D, 30 degrees each, index 1.25 to 4",
        unit: "D",
        allowed: EFFECTIVE,
        points: RANDOM,
        measure: |worst| tilt_error(worst, |tilt, f, n| tilt.effective(f, n), |f, p, n| seen(f, p, n, false)),
    },
    Budget {
        function: "Tilt::to_order",
        domain: "elements to 64 D, 30 degrees each, index 1.25 to 4",
        unit: "D",
        allowed: ORDERED,
        points: RANDOM,
        measure: |worst| tilt_error(worst, |tilt, f, n| tilt.to_order(f, n), |f, p, n| laid(f, p, n, false)),
    },
    Budget {
        function: "Tilt::martin_effective",
        domain: "elements to 64 D, 30 degrees each, index 1.25 to 4",
        unit: "D",
        allowed: EFFECTIVE,
        points: RANDOM,
        measure: |worst| tilt_error(worst, |tilt, f, n| tilt.martin_effective(f, n), |f, p, n| seen(f, p, n, true)),
    },
    Budget {
        function: "Tilt::martin_to_order",
        domain: "elements to 64 D, 30 degrees each, index 1.25 to 4",
        unit: "D",
        allowed: ORDERED,
        points: RANDOM,
        measure: |worst| tilt_error(worst, |tilt, f, n| tilt.martin_to_order(f, n), |f, p, n| laid(f, p, n, true)),
    },
    Budget {
        function: "Tilt::prism",
        domain: "front to 64 D, 30 mm, 30 degrees each, index 1.25 to 4",
        unit: "prism dioptre",
        allowed: 3e-6,
        points: RANDOM,
        measure: prism_error,
    },
    Budget {
        function: "lens::addition_at_back",
        domain: "front to 25 D, addition to 4 D, reduced thickness to 10 mm",
        unit: "D",
        allowed: 1.5e-6,
        points: RANDOM,
        measure: |worst| {
            addition_error(worst, |f, a, d| lens::addition_at_back(f, a, d), |f, a, d| step(f + a, d) - step(f, d))
        },
    },
    Budget {
        function: "lens::addition_at_front",
        domain: "front to 25 D, addition to 4 D, reduced thickness to 10 mm",
        unit: "D",
        allowed: 2e-6,
        points: RANDOM,
        measure: |worst| {
            addition_error(worst, |f, a, d| lens::addition_at_front(f, a, d), |f, a, d| step(step(f, d) + a, -d) - f)
        },
    },
    Budget {
        function: "lens::near_effectivity",
        domain: "front to 25 D, object to 4 D, reduced thickness to 10 mm",
        unit: "D",
        allowed: 1.5e-6,
        points: RANDOM,
        measure: |worst| {
            addition_error(worst, |f, a, d| lens::near_effectivity(f, a, d), |f, a, d| step(f + a, d) - step(f, d) - a)
        },
    },
];

/// What the documentation of `lens::Tilt` admits.
const EFFECTIVE: f64 = 2.5e-6;
const ORDERED: f64 = 1.5e-6;

#[test]
fn every_documented_bound_holds_and_is_no_more_than_needed() {
    common::check(BUDGETS);
}

// --- The reference: vectors and the generalised Coddington equations, nothing shared with the core. ---

fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: Vector, b: Vector) -> Vector {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn combine(a: Vector, p: f64, b: Vector, q: f64) -> Vector {
    [a[0] * p + b[0] * q, a[1] * p + b[1] * q, a[2] * p + b[2] * q]
}

fn unit(a: Vector) -> Vector {
    combine(a, 1.0 / dot(a, a).sqrt(), a, 0.0)
}

/// Rodrigues' rotation about a unit vector, by the right hand.
fn rotated(v: Vector, about: Vector, angle: f64) -> Vector {
    let turned = combine(v, angle.cos(), cross(about, v), angle.sin());
    combine(turned, 1.0, about, dot(about, v) * (1.0 - angle.cos()))
}

const X: Vector = [1.0, 0.0, 0.0];
const Y: Vector = [0.0, 1.0, 0.0];
const Z: Vector = [0.0, 0.0, 1.0];

/// A lens's own axes as the eye sees them.
#[derive(Clone, Copy, Debug)]
struct Frame {
    x: Vector,
    y: Vector,
    z: Vector,
}

impl Frame {
    fn of(turn: impl Fn(Vector) -> Vector) -> Self {
        Self { x: turn(X), y: turn(Y), z: turn(Z) }
    }

    /// Wrap about the frame's vertical first, then the tilt about the eye's horizontal.
    fn worn(pantoscopic: f64, face_form: f64, eye: Eye) -> Self {
        // About the upward axis the right hand brings the observer's right nearer the face.
        let temporal_back = if eye == Eye::Right { -face_form } else { face_form };
        Self::of(|v| rotated(rotated(v, Y, temporal_back.to_radians()), X, pantoscopic.to_radians()))
    }

    fn about(axis: f64, angle: f64) -> Self {
        let (sin, cos) = axis.to_radians().sin_cos();
        Self::of(|v| rotated(v, [cos, sin, 0.0], angle.to_radians()))
    }

    fn to_eye(self, v: Vector) -> Vector {
        combine(combine(self.x, v[0], self.y, v[1]), 1.0, self.z, v[2])
    }
}

/// A symmetric matrix along two directions.
fn along(f: Matrix, a: [f64; 2], b: [f64; 2]) -> f64 {
    f[0] * a[0] * b[0] + f[1] * (a[0] * b[1] + a[1] * b[0]) + f[2] * a[1] * b[1]
}

/// The same matrix in axes `a` and `b`.
fn in_axes(f: Matrix, a: [f64; 2], b: [f64; 2]) -> Matrix {
    [along(f, a, a), along(f, a, b), along(f, b, b)]
}

/// Directions, in the plane of incidence and across it, of lens and line of sight; the angle of incidence.
struct Incidence {
    cos: f64,
    /// In the plane of incidence and across it, along the lens's x and y.
    lens: [[f64; 2]; 2],
    /// Eye's x and y in the two directions across the line of sight.
    eye: [[f64; 2]; 2],
}

fn incidence(frame: Frame) -> Incidence {
    let cos = dot(frame.z, Z);
    let normal = cross(frame.z, Z);
    let across = if dot(normal, normal) > 1e-24 { unit(normal) } else { frame.y };
    let (in_lens, in_eye) = (cross(across, frame.z), cross(across, Z));
    Incidence {
        cos,
        lens: [[dot(in_lens, frame.x), dot(in_lens, frame.y)], [dot(across, frame.x), dot(across, frame.y)]],
        eye: [[in_eye[0], across[0]], [in_eye[1], across[1]]],
    }
}

/// Two surfaces one after the other: the generalised Coddington equations, with an arbitrary bending and object vergence.
fn seen(f: Matrix, frame: Frame, n: f64, third_order: bool) -> Matrix {
    let at = incidence(frame);
    let local = in_axes(f, at.lens[0], at.lens[1]);
    let (cos, inner) = (at.cos, (1.0 - (1.0 - at.cos * at.cos) / (n * n)).sqrt());
    let out = if third_order {
        let s = 1.0 + (1.0 - cos * cos) / (2.0 * n);
        [local[0] * s / (cos * cos), local[1] * s / cos, local[2] * s]
    } else {
        let bending = [7.0, -2.0, 4.0];
        let object = [-2.5, 0.25, -1.5];
        let gain = n * inner - cos;
        let refract = |wave: Matrix, n1: f64, c1: f64, n2: f64, c2: f64, form: Matrix, gain: f64| {
            [
                (n1 * c1 * c1 * wave[0] + gain * form[0]) / (n2 * c2 * c2),
                (n1 * c1 * wave[1] + gain * form[1]) / (n2 * c2),
                (n1 * wave[2] + gain * form[2]) / n2,
            ]
        };
        let back = [0, 1, 2].map(|i| bending[i] - local[i] / (n - 1.0));
        let inside = refract(object, 1.0, cos, n, inner, bending, gain);
        let outside = refract(inside, n, inner, 1.0, cos, back, -gain);
        [0, 1, 2].map(|i| outside[i] - object[i])
    };
    in_axes(out, at.eye[0], at.eye[1])
}

/// The inverse of [`seen`] by solving its three linear equations.
fn laid(wanted: Matrix, frame: Frame, n: f64, third_order: bool) -> Matrix {
    let columns = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(|f| seen(f, frame, n, third_order));
    let determinant = dot(columns[0], cross(columns[1], columns[2]));
    [0, 1, 2].map(|i| dot(wanted, cross(columns[(i + 1) % 3], columns[(i + 2) % 3])) / determinant)
}

// --- Random poses and powers. ---

fn angle(source: &mut Random) -> Degree {
    let most = MOST_TILT.to_bits();
    match source.u32() % 8 {
        0 => MOST_TILT,
        1 => -MOST_TILT,
        2 => Degree::from_bits(source.of_any_size() % most),
        3 => Degree::ZERO,
        _ => Degree::from_bits(source.within(most)),
    }
}

fn pose(source: &mut Random) -> (Tilt, Frame) {
    let (a, b) = (angle(source), angle(source));
    let eye = if source.u32() & 1 == 0 { Eye::Right } else { Eye::Left };
    if source.u32() & 1 == 0 {
        (Tilt::worn(a, b, eye).expect("in range"), Frame::worn(a.to_f64(), b.to_f64(), eye))
    } else {
        let axis = Axis::from_bits(if source.u32() & 7 == 0 { (source.u32() & 15) << 28 } else { source.u32() });
        (
            Tilt::about(axis, a).expect("in range"),
            Frame::about(f64::from(axis.to_bits()) * 180.0 / 4_294_967_296.0, a.to_f64()),
        )
    }
}

fn matrix(source: &mut Random, most: Dioptre) -> PowerMatrix {
    let mut element = || match source.u32() % 4 {
        0 => most,
        1 => -most,
        _ => Dioptre::from_bits(source.within(most.to_bits())),
    };
    PowerMatrix { xx: element(), xy: element(), yy: element() }
}

fn glass(source: &mut Random) -> RefractiveIndex {
    let (least, end) = (5u32 << 27, 1u32 << 31);
    let bits = match source.u32() % 4 {
        0 => least,
        1 => end - 1,
        _ => least + source.u32() % (end - least),
    };
    RefractiveIndex::from_bits(bits).expect("in range")
}

fn f64s(f: PowerMatrix) -> Matrix {
    [f.xx, f.xy, f.yy].map(Dioptre::to_f64)
}

fn index_f64(n: RefractiveIndex) -> f64 {
    f64::from(n.to_bits()) / 536_870_912.0
}

fn apart(a: Matrix, b: Matrix) -> f64 {
    (0..3).map(|i| (a[i] - b[i]).abs()).fold(0.0, f64::max)
}

fn tilt_error(
    worst: &mut Worst,
    core: fn(Tilt, PowerMatrix, RefractiveIndex) -> Result<PowerMatrix, TiltError>,
    reference: fn(Matrix, Frame, f64) -> Matrix,
) {
    let mut source = Random::new("worn, powers");
    for _ in 0..RANDOM {
        let ((tilt, frame), power, n) = (pose(&mut source), matrix(&mut source, dioptres!(64.0)), glass(&mut source));
        let got = f64s(core(tilt, power, n).expect("in range"));
        worst.see(apart(got, reference(f64s(power), frame, index_f64(n))), || format!("{tilt:?} {power:?} {n:?}"));
    }
}

/// The ray through the lens in vectors, and the front surface's slope where it is met, taken through both refractions.
fn prism_by_vectors(front: Matrix, frame: Frame, n: f64, thickness: f64) -> [f64; 2] {
    // Light goes from the observer to the eye. Its path in the lens, from the front to the back vertex, per unit of depth.
    let light = [-dot(Z, frame.x), -dot(Z, frame.y), -dot(Z, frame.z)];
    let sideways = [light[0] / n, light[1] / n];
    let depth = (1.0 - sideways[0].powi(2) - sideways[1].powi(2)).sqrt();
    let met = [-thickness / 1000.0 * sideways[0] / depth, -thickness / 1000.0 * sideways[1] / depth];
    // The surface's gradient there changes the sideways momentum in the lens's plane by (n cos t' - cos t) / (n - 1) F r.
    let cos = dot(frame.z, Z);
    let gain = (n * depth - cos) / (n - 1.0);
    let kick = [-gain * (front[0] * met[0] + front[1] * met[1]), -gain * (front[1] * met[0] + front[2] * met[1])];
    // The same change across the line of sight: what has these parts along the lens's x and y and none along the light.
    let (a, b) = ([frame.x[0], frame.x[1]], [frame.y[0], frame.y[1]]);
    let determinant = a[0] * b[1] - a[1] * b[0];
    [100.0 * (kick[0] * b[1] - kick[1] * a[1]) / determinant, 100.0 * (kick[1] * a[0] - kick[0] * b[0]) / determinant]
}

fn prism_error(worst: &mut Worst) {
    let mut source = Random::new("worn, prism");
    for _ in 0..RANDOM {
        let ((tilt, frame), front, n) = (pose(&mut source), matrix(&mut source, dioptres!(64.0)), glass(&mut source));
        let thickness = Millimetre::from_bits(source.within(30 << 16).abs());
        let got = tilt.prism(front, thickness, n).expect("in range");
        let want = prism_by_vectors(f64s(front), frame, index_f64(n), thickness.to_f64());
        let error = (got.x.to_f64() - want[0]).abs().max((got.y.to_f64() - want[1]).abs());
        worst.see(error, || format!("{tilt:?} {front:?} {thickness:?} {n:?}"));
    }
}

/// Effectivity of one principal power.
fn step(power: f64, metres: f64) -> f64 {
    power / (1.0 - metres * power)
}

/// Front and addition share an axis, so that the oracle may go meridian by meridian; two meridians along the axes.
fn addition_error(
    worst: &mut Worst,
    core: fn(PowerMatrix, PowerMatrix, Millimetre) -> Result<PowerMatrix, Error>,
    reference: fn(f64, f64, f64) -> f64,
) {
    let mut source = Random::new("worn, additions");
    for _ in 0..RANDOM {
        let upright = |m: PowerMatrix| PowerMatrix { xy: Dioptre::ZERO, ..m };
        let (front, added) =
            (upright(matrix(&mut source, dioptres!(25.0))), upright(matrix(&mut source, dioptres!(4.0))));
        let reduced = Millimetre::from_bits(source.within(10 << 16).abs());
        let got = f64s(core(front, added, reduced).expect("in range"));
        let (f, a) = (f64s(front), f64s(added));
        for i in [0, 2] {
            let want = reference(f[i], a[i], reduced.to_f64() / 1000.0);
            worst.see((got[i] - want).abs(), || format!("{front:?} {added:?} {reduced:?}"));
        }
    }
}
