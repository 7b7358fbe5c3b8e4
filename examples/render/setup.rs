//! The sensor that drew a frame, as a file of TOML: what a reader of the frame must know.
//!
//! ```toml
//! gap_mm = 5.0             # back vertex to plate
//! throw_mm = 20.0          # plate to detector
//!
//! [detector]
//! width_px = 640
//! height_px = 480
//! bits = 8
//! pixel_um = 15.0          # square pixels
//! axis_column_px = 321.3   # where the sensor's axis meets the detector, from the centre of the first pixel
//! axis_row_px = 238.6
//! columns_run = "-x"       # where column numbers grow, for the observer in front of the lens: +x right, +y up
//! rows_run = "-y"
//!
//! [plate]
//! lattice = "square"       # or "hexagonal"
//! pitch_mm = 0.4
//! radius_mm = 2.4          # holes whose centres are within this disc about the axis
//! rotation_deg = 0.0       # first lattice direction, from x towards y
//! marker_node = [0, 0]     # the larger hole: steps along the first and second lattice direction; may be left out
//! ```
//! A calibrated sensor may have, besides, the standard uncertainties (k = 1) of its distances:
//! ```toml
//! [uncertainty]
//! gap_mm = 0.02
//! throw_mm = 0.005
//! ```
//!
//! The second lattice direction is a quarter turn from the first, or 60 degrees in a hexagonal lattice, from x towards y. The usual
//! camera looks at the plate from behind the lens, against the light, rows downwards: the observer's right is its left.
#![allow(dead_code, reason = "each program that includes this module uses its part")]

use serde::{Deserialize, Serialize};

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Setup {
    pub gap_mm: f64,
    pub throw_mm: f64,
    pub detector: Detector,
    pub plate: Holes,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uncertainty: Option<Distances>,
}

/// Standard uncertainties of gap and throw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Distances {
    pub gap_mm: f64,
    pub throw_mm: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Detector {
    pub width_px: u16,
    pub height_px: u16,
    pub bits: u8,
    pub pixel_um: f64,
    pub axis_column_px: f64,
    pub axis_row_px: f64,
    pub columns_run: Direction,
    pub rows_run: Direction,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Holes {
    pub lattice: Lattice,
    pub pitch_mm: f64,
    pub radius_mm: f64,
    pub rotation_deg: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marker_node: Option<[i32; 2]>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Lattice {
    Square,
    Hexagonal,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
pub enum Direction {
    #[serde(rename = "+x")]
    #[value(name = "+x")]
    Right,
    #[serde(rename = "-x")]
    #[value(name = "-x")]
    Left,
    #[serde(rename = "+y")]
    #[value(name = "+y")]
    Up,
    #[serde(rename = "-y")]
    #[value(name = "-y")]
    Down,
}

impl Direction {
    const fn is_horizontal(self) -> bool {
        matches!(self, Self::Right | Self::Left)
    }
}

impl Default for Setup {
    /// 113 holes on 640 by 480 pixels. All spots of lenses from -25 to +20 D without prism are on the detector and apart.
    fn default() -> Self {
        Self {
            gap_mm: 5.0,
            throw_mm: 20.0,
            detector: Detector {
                width_px: 640,
                height_px: 480,
                bits: 8,
                pixel_um: 15.0,
                axis_column_px: 321.3,
                axis_row_px: 238.6,
                columns_run: Direction::Left,
                rows_run: Direction::Down,
            },
            plate: Holes {
                lattice: Lattice::Square,
                pitch_mm: 0.4,
                radius_mm: 2.4,
                rotation_deg: 0.0,
                marker_node: Some([0, 0]),
            },
            uncertainty: None,
        }
    }
}

impl Setup {
    /// Reads and checks a file's text.
    pub fn read(text: &str) -> Result<Self, String> {
        let setup: Self = toml::from_str(text).map_err(|error| error.to_string())?;
        setup.check()?;
        Ok(setup)
    }

    pub fn write(&self) -> Result<String, String> {
        toml::to_string(self).map_err(|error| error.to_string())
    }

    /// Says what contradicts itself or has no size.
    pub fn check(&self) -> Result<(), String> {
        let Self { detector, plate, .. } = self;
        let above_zero = [
            ("gap_mm", self.gap_mm),
            ("throw_mm", self.throw_mm),
            ("width_px", detector.width_px.into()),
            ("height_px", detector.height_px.into()),
            ("pixel_um", detector.pixel_um),
            ("pitch_mm", plate.pitch_mm),
            ("radius_mm", plate.radius_mm),
        ];
        if let Some((name, value)) = above_zero.iter().find(|(_, value)| !(value.is_finite() && *value > 0.0)) {
            return Err(format!("{name} = {value}: not above 0"));
        }
        let finite = [
            ("axis_column_px", detector.axis_column_px),
            ("axis_row_px", detector.axis_row_px),
            ("rotation_deg", plate.rotation_deg),
        ];
        if let Some((name, value)) = finite.iter().find(|(_, value)| !value.is_finite()) {
            return Err(format!("{name} = {value}: no number"));
        }
        if !(8..=16).contains(&detector.bits) {
            return Err(format!("bits = {}: not 8 to 16", detector.bits));
        }
        if detector.columns_run.is_horizontal() == detector.rows_run.is_horizontal() {
            return Err("columns_run and rows_run are not square to each other".into());
        }
        Ok(())
    }
}
