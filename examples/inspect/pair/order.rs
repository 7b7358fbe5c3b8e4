//! The order file.

use super::file::{Number, Source, Text};
use dioptric::lens::Tilt;
use dioptric::order::{LensKind, LensOrder, Order, Verification, Worn};
use dioptric::prism::{Eye, Prism};
use serde::Deserialize;
use std::path::Path;
use toml::Spanned;

pub const HELP: &str = "\
ORDER FILE
  One \"key = value\" a line (TOML), each key after right. or left. for the eye; # begins a comment.
  Only power is needed, and an eye without keys was not ordered.
    power = \"-2.25 -0.75 x 170\"     either cylinder form
    kind = \"single-vision\"          or \"multifocal\", \"power-variation\"
    prism = \"1.00 base in\"          at the prism reference point
    addition = 2.00                 dioptres
    bicentric_prism = 2.50          slab-off, cm/m, base up +; measure both lenses
    centration_mm = 31.5            from the middle of the bridge to the reference or fitting point
    near_centration_mm = 29.5       to the middle of the segment
    height_mm = 18.0                above the lower boxed tangent: of the reference point, of the
                                    segment's top (multifocal), of the fitting point (else)
    segment_width_mm, segment_depth_mm            both or neither
    thickness_mm = 2.2, base_curve = 6.0
    polariser_deg = 180             plane of transmittance; gradient_deg = 270, to the lighter side
  As worn: the power is what is wanted before the eye, and the bench must find another.
    pantoscopic_deg = 8, face_form_deg = 5, index = 1.6
    angles = \"eye\"                  the lens's axis against the line of sight; or \"frame\": face
                                    form in the frame's front, which is tilted
    refracted_at_mm = 12, fitted_at_mm = 12     vertex distances, both or neither
  The maker's verification values are what the bench must find, whatever else is ordered:
    verification_power, verification_prism, verification_addition
";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    right: Option<Lens>,
    left: Option<Lens>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Lens {
    power: Spanned<String>,
    #[serde(default)]
    kind: Kind,
    prism: Text,
    addition: Number,
    bicentric_prism: Number,
    centration_mm: Number,
    near_centration_mm: Number,
    height_mm: Number,
    segment_width_mm: Number,
    segment_depth_mm: Number,
    thickness_mm: Number,
    base_curve: Number,
    polariser_deg: Number,
    gradient_deg: Number,
    pantoscopic_deg: Number,
    face_form_deg: Number,
    #[serde(default)]
    angles: Angles,
    index: Number,
    refracted_at_mm: Number,
    fitted_at_mm: Number,
    verification_power: Text,
    verification_prism: Text,
    verification_addition: Number,
}

#[derive(Deserialize, Default, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum Kind {
    #[default]
    SingleVision,
    Multifocal,
    PowerVariation,
}

#[derive(Deserialize, Default, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
enum Angles {
    #[default]
    Eye,
    Frame,
}

/// Reads an order file.
pub fn read(path: &Path) -> Result<Order, String> {
    let source = Source::read(path)?;
    let file: File = source.parse()?;
    let lens = |lens: Option<Lens>, eye| lens.map(|lens| lens.order(&source, eye)).transpose();
    let order = Order { right: lens(file.right, Eye::Right)?, left: lens(file.left, Eye::Left)? };
    if order == Order::default() {
        return Err(format!("{}: no lens: keys begin with right. or left.", path.display()));
    }
    Ok(order)
}

impl Lens {
    fn order(self, source: &Source, eye: Eye) -> Result<LensOrder, String> {
        let prism = |text: &Text| source.text_by(text, |text| Prism::parse(text, eye));
        let power = source.text(&Some(self.power.clone()))?.unwrap_or_default();
        let segment = source.segment([&self.segment_width_mm, &self.segment_depth_mm])?;
        Ok(LensOrder {
            kind: match self.kind {
                Kind::SingleVision => LensKind::SingleVision,
                Kind::Multifocal => LensKind::Multifocal,
                Kind::PowerVariation => LensKind::PowerVariation,
            },
            power,
            prism: prism(&self.prism)?.unwrap_or_default(),
            addition: source.dioptres(&self.addition)?,
            bicentric: source.prism(&self.bicentric_prism)?,
            centration_distance: source.length(&self.centration_mm)?,
            near_centration: source.length(&self.near_centration_mm)?,
            height: source.length(&self.height_mm)?,
            segment,
            polariser: source.axis(&self.polariser_deg)?,
            gradient: source.bearing(&self.gradient_deg)?,
            centre_thickness: source.length(&self.thickness_mm)?,
            base_curve: source.dioptres(&self.base_curve)?,
            worn: self.worn(source, eye)?,
            verification: match source.text(&self.verification_power)? {
                Some(power) => Some(Verification {
                    power,
                    prism: prism(&self.verification_prism)?,
                    addition: source.dioptres(&self.verification_addition)?,
                }),
                None if self.verification_prism.is_some() || self.verification_addition.is_some() => {
                    source.needed(None, "verification_power", "a verification value")?
                }
                None => None,
            },
        })
    }

    fn worn(&self, source: &Source, eye: Eye) -> Result<Option<Worn>, String> {
        let (pantoscopic, face_form) = (source.angle(&self.pantoscopic_deg)?, source.angle(&self.face_form_deg)?);
        let vertex = (source.length(&self.refracted_at_mm)?, source.length(&self.fitted_at_mm)?);
        if pantoscopic.is_none() && face_form.is_none() && vertex == (None, None) {
            return Ok(None);
        }
        let angles = (pantoscopic.unwrap_or_default(), face_form.unwrap_or_default());
        let tilt = match self.angles {
            Angles::Eye => Tilt::worn(angles.0, angles.1, eye),
            Angles::Frame => Tilt::framed(angles.0, angles.1, eye),
        };
        let tilt = tilt.map_err(|error| format!("{eye} lens: {error}"))?;
        let index = source.needed(source.index(&self.index)?, "index", "a position of wear")?;
        let (refracted_at, fitted_at) = match vertex {
            (None, None) => Default::default(),
            (Some(refracted_at), Some(fitted_at)) => (refracted_at, fitted_at),
            _ => source.needed(None, "the other of refracted_at_mm and fitted_at_mm", "one")?,
        };
        Ok(Some(Worn { tilt, index, refracted_at, fitted_at }))
    }
}
