//! The file of what was measured.

use super::file::{Number, Source};
use dioptric::order::LensMeasurement;
use dioptric::prism::Eye;
use dioptric::quantity::{Degree, Dioptre, Millimetre, Point, PrismDioptre};
use dioptric::sensor::Geometry;
use dioptric::tolerance::Uncertainty;
use serde::Deserialize;
use std::path::{Path, PathBuf};

pub const HELP: &str = "\
MEASURED FILE
  One \"key = value\" a line. For both: gap_mm and throw_mm (of spots), or setup (of frames). For each
  eye, after right. or left., the optics:
    spots = \"right.csv\"             a file of spots, or frame and reference, as described below;
                                    files are looked for beside this one
  and what was read besides, each if it was: addition, bicentric_prism, centration_mm,
  near_centration_mm, height_mm, segment_width_mm, segment_depth_mm, thickness_mm, base_curve,
  polariser_deg, gradient_deg as in the order; offset_x_mm, offset_y_mm, the reference point from
  where it should be, to the observer's right and up, both or neither; tilt_deg of the segment's
  top or of the marks, counter-clockwise; warpage, the cylinder of the base curve.
  Expanded uncertainties of these, for --uncertainty: u_length_mm, u_thickness_mm, u_tilt_deg,
  u_curve, u_addition, u_bicentric_prism, u_polariser_deg, u_gradient_deg.
";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    gap_mm: Number,
    throw_mm: Number,
    setup: Option<PathBuf>,
    right: Option<Lens>,
    left: Option<Lens>,
    u_length_mm: Number,
    u_thickness_mm: Number,
    u_tilt_deg: Number,
    u_curve: Number,
    u_addition: Number,
    u_bicentric_prism: Number,
    u_polariser_deg: Number,
    u_gradient_deg: Number,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct Lens {
    spots: Option<PathBuf>,
    frame: Option<PathBuf>,
    reference: Option<PathBuf>,
    addition: Number,
    bicentric_prism: Number,
    offset_x_mm: Number,
    offset_y_mm: Number,
    centration_mm: Number,
    near_centration_mm: Number,
    height_mm: Number,
    segment_width_mm: Number,
    segment_depth_mm: Number,
    tilt_deg: Number,
    polariser_deg: Number,
    gradient_deg: Number,
    thickness_mm: Number,
    base_curve: Number,
    warpage: Number,
}

/// Where the optics of a lens come from.
pub enum Optics {
    Spots { file: PathBuf, geometry: Geometry },
    Frames { frame: PathBuf, reference: PathBuf, setup: PathBuf },
}

/// What was measured of both lenses but the optics, and where those come from.
pub struct Measured {
    /// The right lens's and the left one's.
    lenses: [Option<(Optics, LensMeasurement)>; 2],
}

impl Measured {
    pub fn lens(&self, eye: Eye) -> Option<&(Optics, LensMeasurement)> {
        let [right, left] = &self.lenses;
        match eye {
            Eye::Right => right.as_ref(),
            Eye::Left => left.as_ref(),
        }
    }
}

/// Reads a file of what was measured.
pub fn read(path: &Path) -> Result<Measured, String> {
    let source = Source::read(path)?;
    let mut file: File = source.parse()?;
    let beside = path.parent().unwrap_or(Path::new(""));
    let uncertainty = file.uncertainty(&source)?;
    let lenses = [file.right.take(), file.left.take()];
    let [right, left] = lenses.map(|lens| {
        lens.map(|lens| {
            let optics = lens.optics(&file, &source, beside)?;
            let read = LensMeasurement { uncertainty, ..lens.measurement(&source)? };
            Ok::<_, String>((optics, read))
        })
        .transpose()
    });
    Ok(Measured { lenses: [right?, left?] })
}

impl File {
    fn uncertainty(&self, source: &Source) -> Result<Uncertainty, String> {
        let length = |value| source.uncertainty(value, Millimetre::try_from_f64);
        let angle = |value| source.uncertainty(value, Degree::try_from_f64);
        let power = |value| source.uncertainty(value, Dioptre::try_from_f64);
        Ok(Uncertainty {
            length: length(&self.u_length_mm)?,
            thickness: length(&self.u_thickness_mm)?,
            tilt: angle(&self.u_tilt_deg)?,
            curve: power(&self.u_curve)?,
            addition: power(&self.u_addition)?,
            bicentric: source.uncertainty(&self.u_bicentric_prism, PrismDioptre::try_from_f64)?,
            polariser: angle(&self.u_polariser_deg)?,
            gradient: angle(&self.u_gradient_deg)?,
            ..Uncertainty::default()
        })
    }

    fn geometry(&self, source: &Source) -> Result<Geometry, String> {
        let distance = |value: &Number, key| source.needed(source.length(value)?, key, "a file of spots");
        let (gap, throw) = (distance(&self.gap_mm, "gap_mm")?, distance(&self.throw_mm, "throw_mm")?);
        Geometry::new(gap, throw).map_err(|error| match &self.throw_mm {
            Some(throw) => source.fault(throw, &format!("with gap_mm = {gap:.2}: {error}")),
            None => error.to_string(),
        })
    }
}

impl Lens {
    fn optics(&self, file: &File, source: &Source, beside: &Path) -> Result<Optics, String> {
        match (&self.spots, &self.frame, &self.reference) {
            (Some(spots), None, None) => {
                Ok(Optics::Spots { file: beside.join(spots), geometry: file.geometry(source)? })
            }
            (None, Some(frame), Some(reference)) => {
                let setup = source.needed(file.setup.as_ref(), "setup", "a frame")?;
                let [frame, reference, setup] = [frame, reference, setup].map(|path| beside.join(path));
                Ok(Optics::Frames { frame, reference, setup })
            }
            _ => source.needed(None, "spots, or frame and reference,", "a lens"),
        }
    }

    fn measurement(&self, source: &Source) -> Result<LensMeasurement, String> {
        let offset = [&self.offset_x_mm, &self.offset_y_mm];
        let [across, up] = offset;
        let offset = source.both(offset, [source.signed_length(across)?, source.signed_length(up)?])?;
        let optics = dioptric::tolerance::Measured {
            addition: source.dioptres(&self.addition)?,
            ..dioptric::tolerance::Measured::default()
        };
        Ok(LensMeasurement {
            optics,
            reference_offset: offset.map(|(x, y)| Point::new(x, y)),
            bicentric: source.prism(&self.bicentric_prism)?,
            centration_distance: source.length(&self.centration_mm)?,
            near_centration: source.length(&self.near_centration_mm)?,
            height: source.length(&self.height_mm)?,
            segment: source.segment([&self.segment_width_mm, &self.segment_depth_mm])?,
            tilt: source.angle(&self.tilt_deg)?,
            polariser: source.axis(&self.polariser_deg)?,
            gradient: source.bearing(&self.gradient_deg)?,
            centre_thickness: source.length(&self.thickness_mm)?,
            base_curve: source.dioptres(&self.base_curve)?,
            warpage: source.dioptres(&self.warpage)?,
            uncertainty: Uncertainty::default(),
        })
    }
}
