//! The command line.

use super::frame::{Camera, Profile};
use super::optics::{Kind, Lens, Order};
use super::scene::{Faults, Look};
use super::setup::{Detector, Direction, Holes, Lattice, Setup};
use clap::{Parser, ValueEnum};
use dioptric::oracle;
use dioptric::prism::{Eye, Prism};
use dioptric::rx::SpheroCylinder;
use glam::{DVec2, dvec2};
use std::path::PathBuf;

const AFTER_HELP: &str = "\
FILES
  lens.pgm     the frame with the lens, binary PGM of netpbm
  empty.pgm    the frame without it: the reference
  setup.toml   the sensor: distances, pixels, orientation, holes
  truth.toml   what was ordered, what rays read at the axis and over the plate
  spots.csv    each hole and where its light lands
  ink.pgm      with --ink: another camera's view of a lens with three dots of ink

  Without --lens a demo set of invented lenses is written, each into its own folder.

DEFAULTS
  113 holes on 640 x 480 pixels. All spots of lenses from -25 to +20 D without prism are on the
  detector and apart; beyond +20 D they touch unless --width is less. At 0 D there is room for
  5 prism dioptres up or down and 11 sideways: what lands beside the detector is not drawn, though
  it is in spots.csv. The spots are as narrow as those of small lenses at the holes: plain holes at
  this throw cannot be sharper than about sqrt(wavelength x throw) = 0.1 mm, 7 pixels, across.";

/// Draws what the camera of a Hartmann-type sensor sees of a lens, by tracing rays.
#[derive(Parser)]
#[command(name = "render", after_long_help = AFTER_HELP)]
pub struct Args {
    /// Power, either cylinder form: "-2.25 -1.50 x 035"; without it, the demo set
    #[arg(long, value_name = "RX", allow_hyphen_values = true)]
    pub lens: Option<SpheroCylinder>,

    /// Folder for the files; made if it is not there
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,

    #[command(flatten)]
    pub design: Design,
    #[command(flatten)]
    pub sensor: Sensor,
    #[command(flatten)]
    pub picture: Picture,
}

#[derive(clap::Args)]
#[command(next_help_heading = "Lens")]
pub struct Design {
    /// Prism on the axis: "1.50 @ 90" (base bearing, degrees) or "1.50 base in 0.50 base up"
    #[arg(long, value_name = "PRISM")]
    pub prism: Option<String>,
    /// The eye, for base in and out
    #[arg(long, value_enum, default_value_t = Side::Right)]
    pub eye: Side,
    #[arg(long, value_enum, default_value_t = Form::SingleVision)]
    pub form: Form,
    /// Near addition of a lens that has one, D
    #[arg(long, value_name = "D", default_value_t = 2.0)]
    pub addition: f64,
    /// Refractive index
    #[arg(long, default_value_t = 1.5)]
    pub index: f64,
    /// Centre thickness
    #[arg(long, value_name = "MM")]
    pub thickness: Option<f64>,
    /// Power of the front surface in the distance part
    #[arg(long, value_name = "D", allow_hyphen_values = true)]
    pub base_curve: Option<f64>,
    /// Point of the back surface that rests on the stop, from its vertex: "0,-14"
    #[arg(long, value_name = "MM,MM", value_parser = pair, default_value = "0,0", allow_hyphen_values = true)]
    pub at: DVec2,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Side {
    Right,
    Left,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Form {
    SingleVision,
    Progressive,
    RoundBifocal,
    StraightTopBifocal,
}

#[derive(clap::Args)]
#[command(next_help_heading = "Sensor")]
pub struct Sensor {
    /// Back vertex to plate
    #[arg(long, value_name = "MM")]
    pub gap: Option<f64>,
    /// Plate to detector
    #[arg(long, value_name = "MM")]
    pub throw: Option<f64>,
    /// Columns and rows: "640x480"
    #[arg(long, value_name = "PX", value_parser = size)]
    pub size: Option<[u16; 2]>,
    /// Width of a pixel
    #[arg(long, value_name = "UM")]
    pub pixel: Option<f64>,
    #[arg(long)]
    pub bits: Option<u8>,
    /// Where the axis meets the detector, column and row
    #[arg(long, value_name = "PX,PX", value_parser = pair)]
    pub axis: Option<DVec2>,
    /// Where column numbers grow, as the observer in front of the lens sees it
    #[arg(long, value_enum, allow_hyphen_values = true)]
    pub columns_run: Option<Direction>,
    /// Where row numbers grow
    #[arg(long, value_enum, allow_hyphen_values = true)]
    pub rows_run: Option<Direction>,
    #[arg(long, value_enum)]
    pub lattice: Option<Lattice>,
    #[arg(long, value_name = "MM")]
    pub pitch: Option<f64>,
    /// Of the disc with the holes
    #[arg(long, value_name = "MM")]
    pub radius: Option<f64>,
    /// Of the lattice, from x towards y
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true)]
    pub rotation: Option<f64>,
    /// The larger hole, steps along the lattice: "0,0"
    #[arg(long, value_name = "I,J", value_parser = node, allow_hyphen_values = true)]
    pub marker: Option<[i32; 2]>,
    /// No larger hole
    #[arg(long, conflicts_with = "marker")]
    pub no_marker: bool,
}

#[derive(clap::Args)]
#[command(next_help_heading = "Picture")]
pub struct Picture {
    #[arg(long, value_enum, default_value_t = Profile::Gaussian)]
    pub profile: Profile,
    /// Standard deviation of a spot, pixels
    #[arg(long, value_name = "PX", default_value_t = Look::default().sigma_px)]
    pub width: f64,
    /// Of a spot's centre above the ground, parts of full scale
    #[arg(long, value_name = "PART", default_value_t = Look::default().height)]
    pub height: f64,
    /// Level of the ground, parts of full scale
    #[arg(long, value_name = "PART", default_value_t = Look::default().ground)]
    pub ground: f64,
    /// Growth of the ground over the frame's width and height, parts of full scale
    #[arg(long, value_name = "PART,PART", value_parser = pair, default_value = "0,0", allow_hyphen_values = true)]
    pub slope: DVec2,
    #[arg(long, value_name = "ELECTRONS", default_value_t = 10_000.0)]
    pub full_well: f64,
    #[arg(long, value_name = "ELECTRONS", default_value_t = 8.0)]
    pub read_noise: f64,
    /// What is read without light, parts of full scale
    #[arg(long, value_name = "PART", default_value_t = 1.0 / 64.0)]
    pub black: f64,
    /// No noise
    #[arg(long)]
    pub quiet: bool,
    /// The same seed draws the same frame
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Blocked holes
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub missing: usize,
    /// Spots with dust on them
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub dusty: usize,
    /// Spots that are too bright
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub saturated: usize,
    /// Weak second images of spots
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub ghosts: usize,
    /// Specks that scatter light
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub glints: usize,
    /// Bright single pixels
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub hot: usize,
    /// Draw ink.pgm too, the dots' line turned by so many degrees from x towards y
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true)]
    pub ink: Option<f64>,
}

impl Args {
    pub fn setup(&self) -> Result<Setup, String> {
        let usual = Setup::default();
        let Sensor { size, axis, .. } = self.sensor;
        let [width_px, height_px] = size.unwrap_or([usual.detector.width_px, usual.detector.height_px]);
        let usual_axis = match size {
            None => dvec2(usual.detector.axis_column_px, usual.detector.axis_row_px),
            Some([width, height]) => (dvec2(width.into(), height.into()) - 1.0) / 2.0,
        };
        let axis = axis.unwrap_or(usual_axis);
        let sensor = &self.sensor;
        let setup = Setup {
            uncertainty: None,
            gap_mm: sensor.gap.unwrap_or(usual.gap_mm),
            throw_mm: sensor.throw.unwrap_or(usual.throw_mm),
            detector: Detector {
                width_px,
                height_px,
                bits: sensor.bits.unwrap_or(usual.detector.bits),
                pixel_um: sensor.pixel.unwrap_or(usual.detector.pixel_um),
                axis_column_px: axis.x,
                axis_row_px: axis.y,
                columns_run: sensor.columns_run.unwrap_or(usual.detector.columns_run),
                rows_run: sensor.rows_run.unwrap_or(usual.detector.rows_run),
            },
            plate: Holes {
                lattice: sensor.lattice.unwrap_or(usual.plate.lattice),
                pitch_mm: sensor.pitch.unwrap_or(usual.plate.pitch_mm),
                radius_mm: sensor.radius.unwrap_or(usual.plate.radius_mm),
                rotation_deg: sensor.rotation.unwrap_or(usual.plate.rotation_deg),
                marker_node: sensor.marker.or(usual.plate.marker_node).filter(|_| !sensor.no_marker),
            },
        };
        setup.check()?;
        Ok(setup)
    }

    pub fn order(&self, power: SpheroCylinder) -> Result<Order, String> {
        let design = &self.design;
        let eye = if design.eye == Side::Right { Eye::Right } else { Eye::Left };
        let prism = match &design.prism {
            Some(text) => Prism::parse(text, eye).map_err(|error| format!("--prism {text}: {error}"))?,
            None => Prism::default(),
        };
        if !(design.index > 1.0 && design.index < 3.0) {
            return Err(format!("--index {}: not between 1 and 3", design.index));
        }
        let addition = design.addition;
        Ok(Order {
            power: oracle::SpheroCylinder {
                sphere: power.sphere().to_f64(),
                cylinder: power.cylinder().to_f64(),
                axis: power.axis().degrees().to_f64(),
            },
            prism: dvec2(prism.x.to_f64(), prism.y.to_f64()),
            kind: match design.form {
                Form::SingleVision => Kind::SingleVision,
                Form::Progressive => Kind::Progressive { addition },
                Form::RoundBifocal => Kind::RoundBifocal { addition },
                Form::StraightTopBifocal => Kind::StraightTopBifocal { addition },
            },
            index: design.index,
            thickness: design.thickness,
            base_curve: design.base_curve,
        })
    }

    /// The lens as it lies on the stop.
    pub fn placed(&self, order: &Order) -> Lens {
        order.lens().resting(self.design.at)
    }
}

impl Picture {
    pub fn look(&self) -> Look {
        Look {
            profile: self.profile,
            sigma_px: self.width,
            height: self.height,
            ground: self.ground,
            ground_along: self.slope.x,
            ground_down: self.slope.y,
            ..Look::default()
        }
    }

    pub const fn faults(&self) -> Faults {
        let Self { missing, dusty, saturated, ghosts, glints, hot, .. } = *self;
        Faults { missing, dusty, saturated, ghosts, glints, hot }
    }

    pub fn camera(&self, bits: u8) -> Result<Camera, String> {
        let named = [("--width", self.width), ("--full-well", self.full_well), ("--height", self.height)];
        if let Some((name, value)) = named.iter().find(|(_, value)| !(value.is_finite() && *value > 0.0)) {
            return Err(format!("{name} {value}: not above 0"));
        }
        if !(self.read_noise.is_finite() && self.read_noise >= 0.0) {
            return Err(format!("--read-noise {}: not 0 or above", self.read_noise));
        }
        if !(0.0..1.0).contains(&self.black) {
            return Err(format!("--black {}: not from 0 to below 1", self.black));
        }
        let bits = u32::from(bits);
        Ok(Camera {
            bits,
            full_well_electrons: self.full_well,
            read_noise_electrons: self.read_noise,
            black_counts: (self.black * f64::from((1u32 << bits) - 1)).round(),
        })
    }
}

fn split<T: std::str::FromStr>(text: &str, separator: char) -> Result<[T; 2], String> {
    let parts = text.split_once(separator).and_then(|(a, b)| Some([a.trim().parse().ok()?, b.trim().parse().ok()?]));
    parts.ok_or_else(|| format!("two numbers with '{separator}' between them are needed"))
}

fn pair(text: &str) -> Result<DVec2, String> {
    split::<f64>(text, ',').map(DVec2::from)
}

fn node(text: &str) -> Result<[i32; 2], String> {
    split(text, ',')
}

fn size(text: &str) -> Result<[u16; 2], String> {
    split(text, 'x')
}
