//! Surfaces for an order. The forms are invented; what a lens really does at the sensor is traced, not assumed.

use super::lens::{Lens, Pose, Surface};
use super::shape::{Segment, Shape, Term};
use dioptric::oracle::{Matrix, SpheroCylinder};
use glam::{DMat2, DVec2, dvec2};

/// What the lens is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    SingleVision,
    /// The front's power grows downwards along the line x = 0, from [`DISTANCE_Y`] on, by the addition.
    Progressive {
        addition: f64,
    },
    /// A round segment on the front.
    RoundBifocal {
        addition: f64,
    },
    /// A segment with a straight top on the front.
    StraightTopBifocal {
        addition: f64,
    },
}

/// An order, in dioptres, prism dioptres and millimetres. The powers are those of the paraxial thick lens at the back vertex.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Order {
    pub power: SpheroCylinder,
    /// Prism where the axis meets the back vertex, towards its base.
    pub prism: DVec2,
    pub kind: Kind,
    pub index: f64,
    pub thickness: Option<f64>,
    /// Power of the front surface, in the distance part.
    pub base_curve: Option<f64>,
}

/// Heights on the lens, mm, between which the power of a progressive lens changes: full distance power, full addition.
pub const DISTANCE_Y: f64 = 8.0;
pub const NEAR_Y: f64 = -16.0;

/// Of the segments: height of their top, half of their width, and, of a straight one, the top above the circle's centre.
const SEGMENT_TOP_Y: f64 = -5.0;
const ROUND_HALF_WIDTH: f64 = 11.0;
const STRAIGHT_HALF_WIDTH: f64 = 14.0;
const STRAIGHT_RISE: f64 = 5.0;

impl Order {
    /// A lens as ordered. The front is a sphere or carries the addition; the back takes the cylinder; prism tilts the front.
    pub fn lens(&self) -> Lens {
        let Self { power, prism, kind, index, .. } = *self;
        let mean = power.sphere + power.cylinder / 2.0;
        let base = self.base_curve.unwrap_or_else(|| usual_base_curve(mean));
        let thickness = self.thickness.unwrap_or_else(|| usual_thickness(mean, index));
        // Seen from the back vertex a front of power F1 has F1 (1 - t / n F1)^-1.
        let reduced = thickness / index / 1000.0;
        let from_back = base / (1.0 - reduced * base);
        let Matrix { xx, xy, yy } = power.matrix();
        let back = torus_of(Matrix { xx: xx - from_back, xy, yy: yy - from_back }, 1.0 - index);
        // A surface bends by its jump of index times its slope; a ray that leaves on the axis met the front off it.
        let gradient = -prism / 100.0 / (index - 1.0) * (1.0 - reduced * base);
        let shape = front(kind, base, index);
        Lens { index, thickness, front: Surface { shape, gradient }, back: back.into(), pose: Pose::CENTRED }
    }
}

/// Half the mean power plus six for minus lenses, all of it for plus lenses, within what can be made: common practice, from memory
/// known as Vogel's rule.
fn usual_base_curve(mean: f64) -> f64 {
    let base = if mean < 0.0 { mean / 2.0 + 6.0 } else { mean + 6.0 };
    base.clamp(0.5, 14.0)
}

/// 2 mm of a minus lens; 1 mm at the edge of a plus lens of 60 mm, up to 10 mm. Common practice, no source.
fn usual_thickness(mean: f64, index: f64) -> f64 {
    let sag = 30.0 * 30.0 * mean / (2000.0 * (index - 1.0));
    (1.0 + sag).clamp(2.0, 10.0)
}

fn radius_of(power: f64, jump: f64) -> f64 {
    if power.abs() < 1e-9 { f64::INFINITY } else { 1000.0 * jump / power }
}

/// The torus that refracts with the power where the index grows by `jump`.
fn torus_of(power: Matrix, jump: f64) -> Shape {
    let SpheroCylinder { sphere, cylinder, axis } = power.sphero_cylinder();
    let (along, across) = (radius_of(sphere, jump), radius_of(sphere + cylinder, jump));
    if along.is_infinite() {
        // The arc must be the finite one.
        Shape::Torus { along: across, across: along, axis_deg: axis + 90.0 }
    } else {
        Shape::Torus { along, across, axis_deg: axis }
    }
}

fn front(kind: Kind, base: f64, index: f64) -> Shape {
    let jump = index - 1.0;
    let radius = radius_of(base, jump);
    let with_segment = |addition: f64, half_width: f64, rise: Option<f64>| {
        let centre = dvec2(0.0, SEGMENT_TOP_Y - rise.unwrap_or(half_width));
        let segment = Segment { radius: radius_of(base + addition, jump), centre, half_width, top: rise };
        Shape::Segment { radius, segment }
    };
    match kind {
        Kind::SingleVision => Shape::sphere(radius),
        Kind::Progressive { addition } => Shape::Polynomial { radius, terms: progression(addition / (1000.0 * jump)) },
        Kind::RoundBifocal { addition } => with_segment(addition, ROUND_HALF_WIDTH, None),
        Kind::StraightTopBifocal { addition } => with_segment(addition, STRAIGHT_HALF_WIDTH, Some(STRAIGHT_RISE)),
    }
}

/// Height whose curvature grows by `rise` from [`DISTANCE_Y`] down to [`NEAR_Y`], the same in all meridians on the line x = 0.
///
/// With `p(y)` for the curvature on that line the height is the double integral of p and `p x^2 / 2`; p is the polynomial of
/// degree 5 that is flat to the second order at both ends, and leaves them slowly beyond. Beside the line there is a cylinder
/// that grows twice as fast as the power along it, as on any surface: G. Minkwitz, "On the surface astigmatism of a fixed
/// symmetrical aspheric surface", Optica Acta 10 (1963) 223 (title translated, from memory).
fn progression(rise: f64) -> Vec<Term> {
    let half = (DISTANCE_Y - NEAR_Y) / 2.0;
    let middle = f64::midpoint(DISTANCE_Y, NEAR_Y);
    // (15 t - 10 t^3 + 3 t^5) / 8 by Horner, t = (y - middle) / half, as coefficients of y.
    let [t0, t1] = [-middle / half, 1.0 / half];
    let times_t = |p: Vec<f64>| {
        let mut product = vec![0.0; p.len() + 1];
        for (power, factor) in p.iter().enumerate() {
            product[power] += factor * t0;
            product[power + 1] += factor * t1;
        }
        product
    };
    let mut q = vec![3.0 / 8.0];
    for factor in [0.0, -10.0 / 8.0, 0.0, 15.0 / 8.0, 0.0] {
        q = times_t(q);
        q[0] += factor;
    }
    q[0] -= 1.0;
    let curvature = q.iter().map(|factor| -rise / 2.0 * factor);
    let terms = (0..).zip(curvature).flat_map(|(v, factor)| {
        let along = f64::from((v + 1) * (v + 2));
        [Term { u: 0, v: v + 2, factor: factor / along }, Term { u: 2, v, factor: factor / 2.0 }]
    });
    terms.collect()
}

/// Paraxial power at the back vertex and prism where the axis meets it, of a lens whose surfaces are tori: the thick-lens formula
/// `F1 (I - t/n F1)^-1 + F2`, with decentration and tilt in the same linear optics.
pub fn paraxial(lens: &Lens) -> (DMat2, DVec2) {
    let (reduced, centre) = (lens.thickness / lens.index / 1000.0, lens.pose.shift.truncate() / 1000.0);
    let jump = lens.index - 1.0;
    let [f1, f2] = [(&lens.front, jump), (&lens.back, -jump)].map(|(surface, jump)| 1000.0 * jump * curvature(surface));
    let seen = (DMat2::IDENTITY - reduced * f1).inverse();
    let bend = f1 * centre - jump * lens.front.gradient;
    (f1 * seen + f2, 100.0 * (seen * bend + f2 * centre + jump * lens.back.gradient))
}

/// At the vertex, 1/mm: by differences of the height, whatever the form.
fn curvature(surface: &Surface) -> DMat2 {
    const STEP: f64 = 1e-2;
    let turn = DVec2::from_angle(surface.shape.turn_deg().to_radians());
    let slope = |at: DVec2| {
        let local = DVec2::new(turn.x, -turn.y).rotate(at);
        let (_, gradient) = surface.shape.equation(0, local.extend(surface.shape.height(0, local)));
        turn.rotate(-gradient.truncate() / gradient.z)
    };
    let column = |step: DVec2| (slope(step) - slope(-step)) / (2.0 * STEP);
    DMat2::from_cols(column(DVec2::X * STEP), column(DVec2::Y * STEP))
}
