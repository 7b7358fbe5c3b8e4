//! A setup as the tracer and the drawing see it.
#![allow(dead_code, reason = "each program that includes this module uses its part")]

use super::optics::{Bench, Lattice, Plate};
use super::setup::{self, Detector, Direction, Holes, Setup};
use glam::{DVec2, dvec2};

impl Direction {
    const fn vector(self) -> DVec2 {
        match self {
            Self::Right => DVec2::X,
            Self::Left => DVec2::NEG_X,
            Self::Up => DVec2::Y,
            Self::Down => DVec2::NEG_Y,
        }
    }
}

impl Setup {
    pub const fn bench(&self) -> Bench {
        Bench { gap: self.gap_mm, throw: self.throw_mm }
    }

    pub const fn plate(&self) -> Plate {
        let Holes { lattice, pitch_mm, radius_mm, rotation_deg, marker_node } = self.plate;
        let lattice = match lattice {
            setup::Lattice::Square => Lattice::Square,
            setup::Lattice::Hexagonal => Lattice::Hexagonal,
        };
        Plate { lattice, pitch: pitch_mm, radius: radius_mm, rotation_deg, marker: marker_node }
    }

    /// From millimetres about the axis, as the observer sees them, to column and row.
    pub fn to_pixels(&self, at: DVec2) -> DVec2 {
        let Detector { axis_column_px, axis_row_px, columns_run, rows_run, pixel_um, .. } = self.detector;
        let along = dvec2(columns_run.vector().dot(at), rows_run.vector().dot(at));
        dvec2(axis_column_px, axis_row_px) + along * 1000.0 / pixel_um
    }

    /// And back.
    pub fn to_mm(&self, at: DVec2) -> DVec2 {
        let Detector { axis_column_px, axis_row_px, columns_run, rows_run, pixel_um, .. } = self.detector;
        let off = (at - dvec2(axis_column_px, axis_row_px)) * pixel_um / 1000.0;
        columns_run.vector() * off.x + rows_run.vector() * off.y
    }
}
