//! Forms of a surface, each as an equation `f = 0` in its own frame: vertex at the origin, w with the light.
//!
//! A positive radius has its centre behind the surface, at positive w; an infinite one is flat.

use glam::{DVec2, DVec3, dvec2, dvec3};

/// The form of a surface. Lengths in mm.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// The arc of radius `across`, turned about a line parallel to it at the distance `along`; the section with the radius
    /// `along` contains the axis. Equal radii are a sphere.
    Torus { along: f64, across: f64, axis_deg: f64 },
    /// A sphere and a polynomial of u and v above it.
    Polynomial { radius: f64, terms: Vec<Term> },
    /// A sphere with a segment of another curvature.
    Segment { radius: f64, segment: Segment },
}

/// `factor u^u v^v`, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Term {
    pub u: i32,
    pub v: i32,
    pub factor: f64,
}

/// A part of a surface with a sphere of its own: its centre of curvature lies on the normal of the main sphere at the segment's
/// centre, and the two spheres meet on the circle of `half_width`.
///
/// A straight top cuts that circle off: the surface has a ledge there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Segment {
    pub radius: f64,
    pub centre: DVec2,
    pub half_width: f64,
    /// Height of the straight top above the segment's centre; none is a round segment.
    pub top: Option<f64>,
}

/// A sphere through `foot` with the unit normal `normal` there.
struct Sphere {
    curvature: f64,
    foot: DVec3,
    normal: DVec3,
}

impl Sphere {
    const fn at_vertex(curvature: f64) -> Self {
        Self { curvature, foot: DVec3::ZERO, normal: DVec3::Z }
    }

    fn of(radius: f64, segment: &Segment) -> Self {
        let main = Self::at_vertex(radius.recip());
        let foot = segment.centre.extend(sag(main.curvature, segment.centre.length_squared()));
        let normal = main.equation(foot).1.normalize();
        let curvature = segment.radius.recip();
        let rim = segment.half_width * segment.half_width;
        Self { curvature, foot: foot + normal * (sag(main.curvature, rim) - sag(curvature, rim)), normal }
    }

    fn equation(&self, p: DVec3) -> (f64, DVec3) {
        let d = p - self.foot;
        (self.normal.dot(d) - self.curvature * d.length_squared() / 2.0, self.normal - self.curvature * d)
    }
}

/// Sagitta of a circle of the curvature at the squared height; not a number beyond the equator.
fn sag(curvature: f64, squared: f64) -> f64 {
    curvature * squared / (1.0 + (1.0 - curvature * curvature * squared).sqrt())
}

impl Shape {
    pub const FLAT: Self = Self::sphere(f64::INFINITY);

    pub const fn sphere(radius: f64) -> Self {
        Self::Torus { along: radius, across: radius, axis_deg: 0.0 }
    }

    /// Angle by which the form's own u is turned from x.
    pub const fn turn_deg(&self) -> f64 {
        match self {
            Self::Torus { axis_deg, .. } => *axis_deg,
            _ => 0.0,
        }
    }

    /// Parts with an equation of their own.
    pub const fn zones(&self) -> usize {
        match self {
            Self::Segment { .. } => 2,
            _ => 1,
        }
    }

    /// The zone to which a point on the surface belongs.
    pub fn zone(&self, p: DVec3) -> usize {
        let Self::Segment { radius, segment } = self else { return 0 };
        let sphere = Sphere::of(*radius, segment);
        let d = p - sphere.foot;
        let off = (d - sphere.normal * sphere.normal.dot(d)).length();
        let below_top = segment.top.is_none_or(|top| p.y <= segment.centre.y + top);
        usize::from(off <= segment.half_width && below_top)
    }

    /// The equation of a zone at a point, and its gradient.
    pub fn equation(&self, zone: usize, p: DVec3) -> (f64, DVec3) {
        match self {
            Self::Torus { along, across, .. } => torus(along.recip(), across.recip(), p),
            Self::Polynomial { radius, terms } => polynomial(radius.recip(), terms, p),
            Self::Segment { radius, .. } if zone == 0 => Sphere::at_vertex(radius.recip()).equation(p),
            Self::Segment { radius, segment } => Sphere::of(*radius, segment).equation(p),
        }
    }

    /// Height at a place, by Newton along w.
    pub fn height(&self, zone: usize, at: DVec2) -> f64 {
        let mut w = 0.0;
        for _ in 0..50 {
            let (f, gradient) = self.equation(zone, at.extend(w));
            w -= f / gradient.z;
        }
        w
    }
}

/// At the height v the arc lies at b(v), and the section there is a circle about the line at `1 / c`, hence
/// `w - b - c (u^2 + w^2 - b^2) / 2 = 0`, which holds for c = 0 too.
fn torus(c: f64, k: f64, DVec3 { x: u, y: v, z: w }: DVec3) -> (f64, DVec3) {
    let b = sag(k, v * v);
    let slope = k * v / (1.0 - k * k * v * v).sqrt();
    (w - b - c * (u * u + w * w - b * b) / 2.0, dvec3(-c * u, -slope * (1.0 - c * b), 1.0 - c * w))
}

fn polynomial(k: f64, terms: &[Term], DVec3 { x: u, y: v, z: w }: DVec3) -> (f64, DVec3) {
    let squared = u * u + v * v;
    let slope = k / (1.0 - k * k * squared).sqrt();
    let (mut height, mut rise) = (sag(k, squared), dvec2(slope * u, slope * v));
    // The derivative of a constant is 0, not 0 times an inverse power.
    let part = |n: i32, x: f64| if n == 0 { 0.0 } else { f64::from(n) * x.powi(n - 1) };
    for term in terms {
        height += term.factor * u.powi(term.u) * v.powi(term.v);
        rise += term.factor * dvec2(part(term.u, u) * v.powi(term.v), u.powi(term.u) * part(term.v, v));
    }
    (w - height, (-rise).extend(1.0))
}
