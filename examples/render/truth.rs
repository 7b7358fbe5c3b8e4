//! The true values, beside the frame: what a test or a reader compares with.

use super::optics::{self, Lens, Order};
use super::scene::Drawn;
use super::setup::Setup;
use dioptric::oracle::{Fit, SpheroCylinder};
use serde::Serialize;
use std::collections::BTreeSet;

/// D, prism dioptres, degrees; prism towards its base, x to the observer's right, y up.
#[derive(Serialize)]
struct Reading {
    sphere_d: f64,
    cylinder_d: f64,
    axis_deg: f64,
    prism_x_pd: f64,
    prism_y_pd: f64,
}

impl From<Fit> for Reading {
    fn from(Fit { power, prism, .. }: Fit) -> Self {
        let power = power.sphero_cylinder();
        Self::rounded(power, prism)
    }
}

impl Reading {
    /// Digits beyond 1e-9 are noise of the tracer; a lens without cylinder has the axis 180.
    fn rounded(power: SpheroCylinder, [prism_x, prism_y]: [f64; 2]) -> Self {
        let round = |value: f64| (value * 1e9).round() / 1e9 + 0.0;
        let cylinder_d = round(power.cylinder);
        Self {
            sphere_d: round(power.sphere),
            cylinder_d,
            axis_deg: if cylinder_d == 0.0 { 180.0 } else { round(power.axis) },
            prism_x_pd: round(prism_x),
            prism_y_pd: round(prism_y),
        }
    }
}

/// Least squares over the spots of one pair of zones.
#[derive(Serialize)]
struct OverPlate {
    front_zone: usize,
    back_zone: usize,
    holes: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    residual_um: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reading: Option<Reading>,
}

#[derive(Serialize)]
pub struct Truth {
    ordered: Reading,
    /// In the limit of a small pupil.
    #[serde(skip_serializing_if = "Option::is_none")]
    at_axis: Option<Reading>,
    over_plate: Vec<OverPlate>,
}

impl Truth {
    pub fn of(setup: &Setup, order: &Order, lens: &Lens, spots: &[Drawn]) -> Self {
        let (bench, plate) = (setup.bench(), setup.plate());
        let zones: BTreeSet<_> = spots.iter().map(|spot| spot.zones).collect();
        let over = |zones: [usize; 2]| {
            let (holes, fit) = optics::over_plate(bench, lens, &plate, zones);
            OverPlate {
                front_zone: zones[0],
                back_zone: zones[1],
                holes,
                residual_um: fit.map(|fit| 1000.0 * fit.residual),
                reading: fit.map(Reading::from),
            }
        };
        Self {
            ordered: Reading::rounded(order.power, order.prism.to_array()),
            at_axis: optics::at_axis(bench, lens).map(Reading::from),
            over_plate: zones.into_iter().map(over).collect(),
        }
    }
}

/// The spots as CSV.
pub fn spots_csv(spots: &[Drawn]) -> Result<Vec<u8>, String> {
    let mut out = csv::Writer::from_writer(Vec::new());
    let header = [
        "node_i",
        "node_j",
        "ref_x_mm",
        "ref_y_mm",
        "x_mm",
        "y_mm",
        "column_px",
        "row_px",
        "front_zone",
        "back_zone",
        "fate",
    ];
    out.write_record(header).map_err(|error| error.to_string())?;
    for spot in spots {
        let [i, j] = spot.hole.node;
        let lengths = [spot.hole.at.x, spot.hole.at.y, spot.at.x, spot.at.y].map(|mm| format!("{mm:.7}"));
        let places = [spot.place.x, spot.place.y].map(|px| format!("{px:.5}"));
        let record = [i.to_string(), j.to_string()].into_iter().chain(lengths).chain(places);
        let zones = spot.zones.map(|zone| zone.to_string());
        let record = record.chain(zones).chain([spot.fate.name().to_owned()]);
        out.write_record(record).map_err(|error| error.to_string())?;
    }
    out.into_inner().map_err(|error| error.to_string())
}
