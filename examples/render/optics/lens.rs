//! A lens: two surfaces with glass between them, somewhere before the sensor.

use super::shape::Shape;
use glam::{DMat3, DQuat, DVec2, DVec3};

/// A form, turned about its vertex so that its height grows by `gradient` a millimetre.
#[derive(Clone, Debug, PartialEq)]
pub struct Surface {
    pub shape: Shape,
    pub gradient: DVec2,
}

impl From<Shape> for Surface {
    fn from(shape: Shape) -> Self {
        Self { shape, gradient: DVec2::ZERO }
    }
}

impl Surface {
    /// From the form's own frame to the lens's: its turn about w, then the smallest turn that brings w onto the normal.
    fn frame(&self) -> DMat3 {
        let normal = (-self.gradient).extend(1.0).normalize();
        let tilt = DMat3::from_quat(DQuat::from_rotation_arc(DVec3::Z, normal));
        tilt * DMat3::from_rotation_z(self.shape.turn_deg().to_radians())
    }
}

/// Where the lens stands: from its own frame, with the back vertex at the origin, to the sensor's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    pub turn: DMat3,
    pub shift: DVec3,
}

impl Pose {
    pub const CENTRED: Self = Self { turn: DMat3::IDENTITY, shift: DVec3::ZERO };

    /// Moved sideways, the vertices staying where they are along z.
    pub fn decentred(by: DVec2) -> Self {
        Self { turn: DMat3::IDENTITY, shift: by.extend(0.0) }
    }
}

/// A lens in air. Millimetres.
#[derive(Clone, Debug, PartialEq)]
pub struct Lens {
    pub index: f64,
    pub thickness: f64,
    pub front: Surface,
    pub back: Surface,
    pub pose: Pose,
}

#[derive(Clone, Copy)]
pub(super) struct Ray {
    pub(super) at: DVec3,
    /// Of length 1.
    pub(super) along: DVec3,
}

/// The zones of the front and of the back that a ray is taken through, whether or not it meets them within their outline.
pub(super) type Zones = [usize; 2];

/// Steps of Newton's method at a surface; five are enough where there is an intersection.
const MOST_STEPS: usize = 50;
/// Length of the last step, mm.
const LAST_STEP: f64 = 1e-13;

impl Lens {
    /// The same lens as it rests on the sensor's stop with the point `on_back` (its own frame) on the axis: turned so that
    /// the back surface is square to the axis there.
    #[must_use]
    pub fn resting(mut self, on_back: DVec2) -> Self {
        let frame = self.back.frame();
        // The tilt of the back surface is small: its frame's x and y serve as the lens's.
        let local = (frame.transpose() * on_back.extend(0.0)).truncate();
        let zone = self.back.shape.zone(local.extend(0.0));
        let foot = local.extend(self.back.shape.height(zone, local));
        let normal = frame * self.back.shape.equation(zone, foot).1.normalize();
        let turn = DMat3::from_quat(DQuat::from_rotation_arc(normal, DVec3::Z));
        self.pose = Pose { turn, shift: -(turn * (frame * foot)) };
        self
    }

    /// Every pair of zones.
    pub(super) fn zones(&self) -> impl Iterator<Item = Zones> + use<> {
        let (front, back) = (self.front.shape.zones(), self.back.shape.zones());
        (0..front).flat_map(move |front| (0..back).map(move |back| [front, back]))
    }

    /// The ray behind the lens, and whether it met both surfaces within the zones' outlines; nothing if it misses a surface or
    /// is totally reflected.
    pub(super) fn refract(&self, ray: Ray, [front, back]: Zones) -> Option<(Ray, bool)> {
        let into = self.pose.turn.transpose();
        let ray = Ray { at: into * (ray.at - self.pose.shift), along: into * ray.along };
        let vertex = DVec3::new(0.0, 0.0, -self.thickness);
        let (ray, in_front) = cross(&self.front, vertex, ray, front, self.index.recip())?;
        let (ray, in_back) = cross(&self.back, DVec3::ZERO, ray, back, self.index)?;
        let out = Ray { at: self.pose.turn * ray.at + self.pose.shift, along: self.pose.turn * ray.along };
        Some((out, in_front && in_back))
    }
}

/// To the surface and through it: `ratio` is the index before over that behind.
fn cross(surface: &Surface, vertex: DVec3, ray: Ray, zone: usize, ratio: f64) -> Option<(Ray, bool)> {
    let frame = surface.frame();
    let into = frame.transpose();
    let local = Ray { at: into * (ray.at - vertex), along: into * ray.along };
    let (at, normal) = meet(&surface.shape, zone, local)?;
    // Snell's law for vectors, the normal with the light.
    let cosine = normal.dot(local.along);
    let squared = 1.0 - ratio * ratio * (1.0 - cosine * cosine);
    if squared < 0.0 {
        return None;
    }
    let along = ratio * local.along + (squared.sqrt() - ratio * cosine) * normal;
    Some((Ray { at: frame * at + vertex, along: frame * along }, surface.shape.zone(at) == zone))
}

fn meet(shape: &Shape, zone: usize, ray: Ray) -> Option<(DVec3, DVec3)> {
    let mut at = ray.at - ray.along * (ray.at.z / ray.along.z);
    for _ in 0..MOST_STEPS {
        let (f, gradient) = shape.equation(zone, at);
        let step = f / gradient.dot(ray.along);
        if !step.is_finite() {
            return None;
        }
        at -= ray.along * step;
        if step.abs() < LAST_STEP {
            return Some((at, shape.equation(zone, at).1.normalize()));
        }
    }
    None
}
