//! The same algebra in `f64`, straight from the textbook: what the fixed-point core is measured against.
//!
//! Written for clarity, not speed, and independent of the core: angles in degrees, powers in dioptres, lengths in
//! millimetres, prism in prism dioptres, all `f64`. Feature `libm`.

use libm::{atan2, cos, fabs, hypot, round, sin, sqrt};

/// `2^bits`.
pub(crate) fn exp2(bits: u32) -> f64 {
    libm::ldexp(1.0, i32::try_from(bits).unwrap_or(0))
}

/// The nearest `i32` short of the saturated ends; `None` for NaN and beyond.
#[allow(clippy::cast_possible_truncation, reason = "the range is checked first")]
pub(crate) fn round_to_i32(value: f64) -> Option<i32> {
    let rounded = round(value);
    (fabs(rounded) < f64::from(i32::MAX)).then_some(rounded as i32)
}

const DEGREE: f64 = core::f64::consts::PI / 180.0;

/// Sphere, cylinder and axis in degrees.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SpheroCylinder {
    /// Sphere in dioptres.
    pub sphere: f64,
    /// Cylinder in dioptres.
    pub cylinder: f64,
    /// Axis in degrees.
    pub axis: f64,
}

/// The symmetric power matrix, dioptres.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Matrix {
    /// Horizontal power.
    pub xx: f64,
    /// Torsional power.
    pub xy: f64,
    /// Vertical power.
    pub yy: f64,
}

impl SpheroCylinder {
    /// `(M, J0, J45)` by Thibos, Wheeler and Horner 1997.
    #[must_use]
    pub fn vector(self) -> [f64; 3] {
        let double = 2.0 * self.axis * DEGREE;
        let half = self.cylinder / 2.0;
        [self.sphere + half, -half * cos(double), -half * sin(double)]
    }

    /// The power matrix of Long 1976.
    #[must_use]
    pub fn matrix(self) -> Matrix {
        let [m, j0, j45] = self.vector();
        Matrix { xx: m + j0, xy: j45, yy: m - j0 }
    }

    /// Minus-cylinder form of a power vector; axis in (0, 180].
    #[must_use]
    pub fn from_vector([m, j0, j45]: [f64; 3]) -> Self {
        let r = hypot(j0, j45);
        let axis = atan2(j45, j0) / (2.0 * DEGREE);
        Self { sphere: m + r, cylinder: -2.0 * r, axis: if axis <= 0.0 { axis + 180.0 } else { axis } }
    }

    /// Power along a meridian in degrees: the sine-squared law.
    #[must_use]
    pub fn power_along(self, meridian: f64) -> f64 {
        let s = sin((meridian - self.axis) * DEGREE);
        self.sphere + self.cylinder * s * s
    }
}

impl Matrix {
    /// Minus-cylinder form.
    #[must_use]
    pub fn sphero_cylinder(self) -> SpheroCylinder {
        SpheroCylinder::from_vector([(self.xx + self.yy) / 2.0, (self.xx - self.yy) / 2.0, self.xy])
    }

    /// Determinant.
    #[must_use]
    pub fn det(self) -> f64 {
        self.xx * self.yy - self.xy * self.xy
    }

    /// `F (I - d F)^-1` for a step of `d` millimetres.
    #[must_use]
    pub fn step(self, millimetres: f64) -> Self {
        let d = millimetres / 1000.0;
        let det = self.det();
        let denominator = 1.0 - d * (self.xx + self.yy) + d * d * det;
        Self { xx: (self.xx - d * det) / denominator, xy: self.xy / denominator, yy: (self.yy - d * det) / denominator }
    }

    /// Prentice: the prism, in prism dioptres, at a point in millimetres from the optical centre.
    #[must_use]
    pub fn prism_at(self, x: f64, y: f64) -> [f64; 2] {
        [-(self.xx * x + self.xy * y) / 10.0, -(self.xy * x + self.yy * y) / 10.0]
    }
}

/// What a least-squares fit of spot positions finds.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Fit {
    /// Back vertex power.
    pub power: Matrix,
    /// Prism at the sensor axis.
    pub prism: [f64; 2],
    /// Residual standard deviation of a displacement component, mm.
    pub residual: f64,
    /// Half the antisymmetric part of the unconstrained fit, dioptres.
    pub rotation: f64,
}

/// Symmetric least-squares fit of `[reference x, y, spot x, y]` in millimetres, stepped back to the vertex.
///
/// `None` for fewer than three or collinear spots.
#[must_use]
pub fn fit(spots: &[[f64; 4]], gap: f64, throw: f64) -> Option<Fit> {
    let n = f64::from(u32::try_from(spots.len()).ok().filter(|n| *n >= 3)?);
    let mean = |k: fn(&[f64; 4]) -> f64| spots.iter().map(k).sum::<f64>() / n;
    let (mx, my) = (mean(|s| s[0]), mean(|s| s[1]));
    let (mu, mv) = (mean(|s| s[2] - s[0]), mean(|s| s[3] - s[1]));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    let (mut xu, mut xv, mut yu, mut yv) = (0.0, 0.0, 0.0, 0.0);
    for &[a, b, c, d] in spots {
        let (x, y, u, v) = (a - mx, b - my, c - a - mu, d - b - mv);
        xx += x * x;
        xy += x * y;
        yy += y * y;
        xu += x * u;
        xv += x * v;
        yu += y * u;
        yv += y * v;
    }
    let det = xx * yy - xy * xy;
    if det <= 1e-9 * (xx + yy) * (xx + yy) {
        return None;
    }
    let middle = (xx + yy) - xy * xy / xx - xy * xy / yy;
    let b = (-(xv + yu) + xy * xu / xx + xy * yv / yy) / middle;
    let (a, c) = ((-xu - xy * b) / xx, (-yv - xy * b) / yy);
    let mut squares = 0.0;
    for &[p, q, r, s] in spots {
        let (x, y, u, v) = (p - mx, q - my, r - p - mu, s - q - mv);
        let (eu, ev) = (u + a * x + b * y, v + b * x + c * y);
        squares += eu * eu + ev * ev;
    }
    let to_dioptres = 1000.0 / throw;
    let v = Matrix { xx: a * to_dioptres, xy: b * to_dioptres, yy: c * to_dioptres };
    // Unconstrained: Vxy from the u components, Vyx from the v components.
    let (q, p) = ((xx * yu - xy * xu) / det, (yy * xv - xy * yv) / det);
    let rotation = (p - q) * to_dioptres / 2.0;
    let s0 = [(mu + a * mx + b * my) / throw, (mv + b * mx + c * my) / throw];
    let g = gap / 1000.0;
    let (kxx, kxy, kyy) = (1.0 + g * v.xx, g * v.xy, 1.0 + g * v.yy);
    let kd = kxx * kyy - kxy * kxy;
    let prism = [100.0 * (kyy * s0[0] - kxy * s0[1]) / kd, 100.0 * (kxx * s0[1] - kxy * s0[0]) / kd];
    let residual = if n > 2.5 { sqrt(squares / (2.0 * n - 5.0)) } else { 0.0 };
    Some(Fit { power: v.step(-gap), prism, residual, rotation })
}
