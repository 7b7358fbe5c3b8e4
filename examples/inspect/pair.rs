//! A pair: an order file and a file of what was measured, each lens judged, and both together.

mod file;
mod measured;
mod order;
mod report;
mod unjudged;

pub use measured::HELP as MEASURED_HELP;
pub use order::HELP as ORDER_HELP;
pub use report::PairReport;

use crate::args::{self, Uncertainty};
use crate::capture::Capture;
use crate::lens::{Judging, Lens};
use crate::spots::Fault;
use dioptric::order::{LensMeasurement, Measurement, Order};
use dioptric::prism::Eye;
use dioptric::tolerance::{self, Acceptance, Decision, Ordered, PairClass, PairVerdict, Rule, judge_pair};
use measured::Optics;
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

/// A pair as judged.
pub struct Pair {
    pub order: Order,
    /// The lenses that were ordered, the right one first.
    pub lenses: Vec<Lens>,
    pub class: &'static PairClass,
    pub verdict: PairVerdict,
    /// Lenses that were measured and not ordered.
    pub not_ordered: Vec<Eye>,
}

impl Pair {
    /// Reads both files and what they name, and judges.
    pub fn read(order: &Path, measured: &Path, judging: &Judging) -> Result<Self, String> {
        let class = PairClass::find(judging.class.name)
            .ok_or_else(|| format!("--class {}: has no limits for a pair; {}", judging.class.name, names()))?;
        let (order, found) = (order::read(order)?, measured::read(measured)?);
        let mut lenses = Vec::new();
        let mut side = |eye: Eye| -> Result<LensMeasurement, String> {
            let Some(ordered) = order.lens(eye) else { return Ok(LensMeasurement::default()) };
            let (optics, read) = found
                .lens(eye)
                .ok_or_else(|| format!("{}: the {eye} lens is ordered and not in it", measured.display()))?;
            let bench = ordered.at_bench().map_err(|error| format!("{eye} lens, as worn: {error}"))?;
            let judging = Judging { class: class.of_lens(ordered.kind), ..*judging };
            let lens = measure(optics, eye, &bench, &judging)?;
            let whole = with_optics(read, &lens);
            lenses.push(lens);
            Ok(whole)
        };
        let measurement = Measurement { right: side(Eye::Right)?, left: side(Eye::Left)? };
        let acceptance = match judging.uncertainty {
            Uncertainty::None => Acceptance::Simple,
            Uncertainty::Fit | Uncertainty::Budget => Acceptance::Guarded,
        };
        let verdict = judge_pair(class, &order, &measurement, acceptance).map_err(|error| error.to_string())?;
        for lens in &mut lenses {
            if let Some(of_pair) = verdict.lens(lens.order.eye) {
                lens.verdict = *of_pair;
            }
        }
        let eyes = [Eye::Right, Eye::Left].into_iter();
        let not_ordered = eyes.filter(|eye| order.lens(*eye).is_none() && found.lens(*eye).is_some()).collect();
        Ok(Self { order, lenses, class, verdict, not_ordered })
    }

    pub fn conforms(&self) -> bool {
        self.verdict.decision() == Decision::Conforms
    }
}

fn names() -> String {
    let names: Vec<_> = PairClass::ALL.iter().map(|class| class.name).collect();
    format!("{} have", names.join(", "))
}

fn measure(optics: &Optics, eye: Eye, bench: &Ordered, judging: &Judging) -> Result<Lens, String> {
    let order = |geometry| args::Order { eye, rx: bench.power, prism: bench.prism, geometry };
    let lens = match optics {
        Optics::Spots { file, geometry } => {
            if judging.uncertainty == Uncertainty::Budget {
                return Err(crate::NO_DISTANCES.into());
            }
            let name = file.display().to_string();
            let source = File::open(file).map_err(|error| Fault::of_file(&name, error.to_string()).to_string())?;
            Lens::of_spots(order(*geometry), name, BufReader::new(source), judging)
        }
        Optics::Frames { frame, reference, setup } => {
            let sensor = crate::sensor(setup).map_err(|fault| fault.to_string())?;
            let judging = judging.with_distances(&sensor)?;
            Capture::read(frame, reference, &sensor).and_then(|capture| {
                Lens::of_frames(order(sensor.geometry), frame.display().to_string(), capture, &judging)
            })
        }
    };
    lens.map_err(|fault| fault.to_string())
}

/// What was read besides, with power, prism and their uncertainty.
fn with_optics(read: &LensMeasurement, lens: &Lens) -> LensMeasurement {
    let mut whole = *read;
    whole.optics.power = Some(lens.fit.vector().into());
    whole.optics.prism = Some(lens.fit.prism());
    if let Rule::Guarded(fit) = lens.rule {
        let tolerance::Uncertainty { length, tilt, thickness, curve, bicentric, addition, polariser, gradient, .. } =
            read.uncertainty;
        let position = if read.reference_offset.is_some() { length } else { fit.position };
        whole.uncertainty = tolerance::Uncertainty {
            position,
            length,
            tilt,
            thickness,
            curve,
            bicentric,
            addition,
            polariser,
            gradient,
            ..fit
        };
    }
    whole
}
