//! Marks in ink on a lit field.

/// Lengths in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outline {
    Dot {
        radius: f64,
    },
    Ring {
        radius: f64,
        line: f64,
    },
    Cross {
        half: f64,
        line: f64,
    },
    /// From end to end, straight.
    Line {
        half: f64,
        line: f64,
    },
}

/// A mark, turned about its centre, clockwise on the screen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    pub outline: Outline,
    pub column: f64,
    pub row: f64,
    pub turn_deg: f64,
    /// Part of the light that the ink lets pass.
    pub transmission: f64,
}

impl Mark {
    pub(super) const fn reach(&self) -> f64 {
        match self.outline {
            Outline::Dot { radius } => radius,
            Outline::Ring { radius, line } => radius + line,
            Outline::Cross { half, line } | Outline::Line { half, line } => half + line,
        }
    }

    pub(super) fn is_inside(&self, x: f64, y: f64) -> bool {
        let (sin, cos) = self.turn_deg.to_radians().sin_cos();
        let (x, y) = (x - self.column, y - self.row);
        let (along, across) = (x * cos + y * sin, y * cos - x * sin);
        let on_line = |a: f64, b: f64, half: f64, line: f64| a.abs() <= half && b.abs() <= line / 2.0;
        match self.outline {
            Outline::Dot { radius } => along.hypot(across) <= radius,
            Outline::Ring { radius, line } => (along.hypot(across) - radius).abs() <= line / 2.0,
            Outline::Cross { half, line } => on_line(along, across, half, line) || on_line(across, along, half, line),
            Outline::Line { half, line } => on_line(along, across, half, line),
        }
    }
}
