//! The command line, and the order read from it.

use crate::lens::Judging;
use crate::pair;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use clap::{Parser, ValueEnum};
use dioptric::prism::{Eye, Prism};
use dioptric::quantity::Millimetre;
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::{Geometry, GeometryUncertainty};
use dioptric::text::ParseError;
use dioptric::tolerance::Class;
use std::path::{Path, PathBuf};

const USAGE: &str = "\
inspect --eye <EYE> --rx <RX> [--prism <PRISM>] --spots <F.csv> --gap <MM> --throw <MM> [OPTIONS]
       inspect --eye <EYE> --rx <RX> [--prism <PRISM>] --frame <F.pgm> --reference <F.pgm> --setup <F.toml> [OPTIONS]
       inspect --order <ORDER.toml> --measured <M.toml> [OPTIONS]    (a pair)
       inspect [OPTIONS]    (a demo pair)";

const AFTER_HELP: &str = "\
DEMO
  Without a lens (none of --eye, --rx, --prism, --spots, --gap, --throw, --frame, --reference,
  --setup) a demo pair is inspected: invented lenses, one of which is meant to fail. --class,
  --uncertainty, --json and --picture apply to it too.

SPOTS FILE
  CSV with the header ref_x_mm,ref_y_mm,x_mm,y_mm, in any order; other columns are ignored. A line
  is a spot: where the light through a hole lands without lens (ref) and with it, in decimal
  millimetres at the detector, x to the right and y up as the observer in front of the lens sees it.
  3 to 65536 spots, not on one line, each reference once, coordinates within 32 mm.
  A byte order mark, any line ends, blank lines, and blanks around a field are accepted.

FRAMES
  Binary PGM (P5), of the size and the bits that the setup says: the camera's view of the plate's
  spots with the lens, and without (--reference). Dust, hot pixels, ghosts and clipped spots are
  left out by size, height and shape; spots are assigned to holes, or the frame is refused; spots
  that agree with no lens are left out of the fit.
  The setup is TOML: gap_mm, throw_mm; [detector] width_px, height_px, bits, pixel_um,
  axis_column_px, axis_row_px, columns_run, rows_run (+x, -x, +y, -y); [plate] lattice
  (square, hexagonal), pitch_mm, radius_mm, rotation_deg, marker_node; for --uncertainty budget,
  [uncertainty] gap_mm, throw_mm, standard uncertainties of a calibration. The example render writes
  such frames of known lenses, with their setup; its setup.rs explains each key.

JSON
  An object with spots, sphere, cylinder, axis, prism_x, prism_y, centre_x, centre_y, residual_um,
  verdict (conforms, undetermined or fails) and findings, a list of objects with parameter, ordered,
  measured, deviation, limit, uncertainty, excused, decision; and, to say what it is about, eye,
  class, provenance, rule, expanded_uncertainty (k = 2). The demo gives an array of two of them.
  Dioptres, prism dioptres, millimetres, degrees, with six decimals. Minus-cylinder form, the axis
  above 0 and up to 180. prism_x has its base to the observer's right, prism_y up, both on the
  sensor's axis; centre_x and centre_y are the optical centre, seen from there. null is what is
  undefined: an axis without cylinder, a centre when a meridian has no power, a limit where nothing
  is required. excused: beyond its own limit, but within the alternative that the class allows.
  Of a pair: an object with lenses, of the above, and pair, an object with class, provenance,
  verdict (of all), findings (of both together), blamed_horizontally, blamed_vertically (right, left
  or null), shift_right, shift_left ([x, y] in millimetres to the observer's right and up, of that
  lens alone, or null), not_judged (what was ordered and has no limit, \"right base curve\"; a lens
  that was measured and not ordered, \"left lens\"). A pair's imbalance is the right lens's surplus
  less the left one's: bases in, and the base up of the right lens, are positive.
  Of frames besides: frame, an object with missing (holes without a spot), extra (spots without a
  hole), refused (spots that the fit left out), rejected (blobs that are no spots), and
  turned, by how many degrees.

EXIT STATUS
  0  all lenses conform, and the pair
  1  a lens or the pair does not: it fails, or is undetermined
  2  bad input: a message on standard error, nothing on standard output";

fn after_help() -> String {
    format!("{}\n{}\n{AFTER_HELP}", pair::ORDER_HELP, pair::MEASURED_HELP)
}

/// Judges a spectacle lens, or a pair, by the spots of a Hartmann-type sensor.
#[derive(Parser)]
#[command(name = "inspect", override_usage = USAGE, after_long_help = after_help())]
pub struct Args {
    #[command(flatten)]
    pub lens: Option<LensArgs>,

    #[command(flatten)]
    pub pair: Option<PairArgs>,

    /// Tolerance class
    #[arg(long, value_name = "NAME", default_value = "iso21987", value_parser = class_parser())]
    pub class: &'static Class,

    /// Decision rule: simple acceptance (none), or guarded acceptance (fit, budget)
    #[arg(long, value_enum, default_value_t = Uncertainty::None)]
    pub uncertainty: Uncertainty,

    /// Print JSON instead of the report
    #[arg(long)]
    pub json: bool,

    /// Draw the lens: spots, local power, optical centre, axis, base, findings; of two lenses, a file for each eye
    #[arg(long, value_name = "OUT.svg")]
    pub picture: Option<PathBuf>,
}

impl Args {
    pub fn judging(&self) -> Judging {
        Judging { class: self.class, uncertainty: self.uncertainty, distances: GeometryUncertainty::default() }
    }
}

/// One lens as it is given on the command line.
#[derive(clap::Args)]
#[group(multiple = true, requires_all = ["eye", "rx", "source"])]
pub struct LensArgs {
    /// The eye the lens is for; gives base in and out their side
    #[arg(long, value_enum, required = false)]
    pub eye: Side,

    /// Ordered power, either cylinder form: "-6.00 -2.00 x 35"
    #[arg(long, value_name = "RX", required = false, allow_hyphen_values = true)]
    pub rx: String,

    /// Ordered prism on the sensor's axis: "1.50 @ 90" (base bearing, degrees) or "1.50 base in 0.50 base up"
    #[arg(long, value_name = "PRISM", allow_hyphen_values = true)]
    pub prism: Option<String>,

    /// The spots, a file as described below; /dev/stdin reads a pipe
    #[arg(long, value_name = "F.csv", group = "source", requires_all = ["gap", "throw"])]
    pub spots: Option<PathBuf>,

    /// Back vertex to plate
    #[arg(long, value_name = "MM", requires = "spots", allow_hyphen_values = true)]
    pub gap: Option<String>,

    /// Plate to detector
    #[arg(long, value_name = "MM", requires = "spots", allow_hyphen_values = true)]
    pub throw: Option<String>,

    /// The camera's frame of the spots, a file as described below
    #[arg(long, value_name = "F.pgm", group = "source", requires_all = ["reference", "setup"])]
    pub frame: Option<PathBuf>,

    /// The frame without a lens
    #[arg(long, value_name = "F.pgm", requires = "frame")]
    pub reference: Option<PathBuf>,

    /// The sensor that took the frames, a file as described below
    #[arg(long, value_name = "F.toml", requires = "frame")]
    pub setup: Option<PathBuf>,
}

/// A pair as it is given on the command line.
#[derive(clap::Args)]
#[group(multiple = true, requires_all = ["order", "measured"], conflicts_with = "LensArgs")]
pub struct PairArgs {
    /// The order of both lenses, a file as described below
    #[arg(long, value_name = "ORDER.toml", required = false)]
    pub order: Option<PathBuf>,

    /// What was measured of them, a file as described below
    #[arg(long, value_name = "M.toml", required = false)]
    pub measured: Option<PathBuf>,
}

impl PairArgs {
    pub fn files(&self) -> Option<(&Path, &Path)> {
        self.order.as_deref().zip(self.measured.as_deref())
    }
}

/// Where the spots of a lens come from.
pub enum Source<'a> {
    Spots { file: &'a Path, gap: &'a str, throw: &'a str },
    Frames { frame: &'a Path, empty: &'a Path, setup: &'a Path },
}

impl LensArgs {
    pub fn source(&self) -> Result<Source<'_>, String> {
        match self {
            Self { spots: Some(file), gap: Some(gap), throw: Some(throw), .. } => {
                Ok(Source::Spots { file, gap, throw })
            }
            Self { frame: Some(frame), reference: Some(empty), setup: Some(setup), .. } => {
                Ok(Source::Frames { frame, empty, setup })
            }
            // The parser has refused this already.
            _ => Err("neither spots nor frames".into()),
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
pub enum Side {
    Right,
    Left,
}

impl From<Side> for Eye {
    fn from(side: Side) -> Self {
        match side {
            Side::Right => Self::Right,
            Side::Left => Self::Left,
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Uncertainty {
    /// No guard band
    None,
    /// U = 2 u, from the scatter of the spots alone: errors of gap, throw and calibration are not in it
    Fit,
    /// U for 95 %, from the scatter of the spots and what the setup says of gap and throw
    Budget,
}

fn class_parser() -> impl TypedValueParser<Value = &'static Class> {
    let names = Class::ALL.map(|class| PossibleValue::new(class.name).help(class.title));
    // Only the names of shipped classes get this far.
    PossibleValuesParser::new(names).try_map(|name| Class::find(&name).ok_or("no such class"))
}

/// What was ordered, and the sensor it is measured on.
pub struct Order {
    pub eye: Eye,
    pub rx: SpheroCylinder,
    pub prism: Prism,
    pub geometry: Geometry,
}

impl Order {
    /// Reads the order as it was typed.
    pub fn read(eye: Eye, rx: &str, prism: Option<&str>, geometry: Geometry) -> Result<Self, String> {
        Ok(Self {
            eye,
            rx: rx.parse().map_err(|error| pointed("--rx", rx, error))?,
            prism: prism
                .map(|text| Prism::parse(text, eye).map_err(|error| pointed("--prism", text, error)))
                .transpose()?
                .unwrap_or_default(),
            geometry,
        })
    }
}

/// Reads the sensor's distances as they were typed.
pub fn distances(gap: &str, throw: &str) -> Result<Geometry, String> {
    let distance = |option: &str, text: &str| text.parse::<Millimetre>().map_err(|e| pointed(option, text, e));
    let (gap_mm, throw_mm) = (distance("--gap", gap)?, distance("--throw", throw)?);
    Geometry::new(gap_mm, throw_mm).map_err(|error| format!("--gap {gap} --throw {throw}: {error}"))
}

/// The message, the text, and a caret under the character.
fn pointed(option: &str, text: &str, error: ParseError) -> String {
    // One column a character: what would move the caret is shown as a blank.
    let shown: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let caret = error.position();
    format!("{option}: {error}\n    {shown}\n    {:caret$}^", "")
}
