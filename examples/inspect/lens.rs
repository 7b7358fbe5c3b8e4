//! One lens: measured by its spots, and judged.

use crate::args::{Order, Uncertainty};
use crate::capture::Capture;
use crate::sensor::Sensor;
use crate::spots::{Fault, Spots};
use dioptric::quantity::{Axis, Dioptre, Point};
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::{Centre, Coverage, Fit, GeometryUncertainty, RobustFit, RobustLimits, Sources, SpotPair};
use dioptric::tolerance::{self, Class, Decision, Measured, Ordered, Rule, Verdict, judge};
use std::io::BufRead;

/// By what a lens is judged.
pub struct Judging {
    pub class: &'static Class,
    pub uncertainty: Uncertainty,
    /// What the setup says of gap and throw; without it, both are taken for exact.
    pub distances: GeometryUncertainty,
}

impl Judging {
    /// With what the setup says of its distances, which a budget needs.
    pub fn with_distances(&self, sensor: &Sensor) -> Result<Self, String> {
        match (self.uncertainty, sensor.uncertainty) {
            (Uncertainty::Budget, None) => Err(crate::NO_DISTANCES.into()),
            (_, known) => Ok(Self { distances: known.unwrap_or_default(), ..*self }),
        }
    }
}

pub struct Lens {
    pub order: Order,
    pub file: String,
    pub fit: Fit,
    /// The spots of the fit.
    pub pairs: Vec<SpotPair>,
    /// Those that the fit left out.
    pub refused: Vec<SpotPair>,
    /// What the frames gave, if it was frames.
    pub capture: Option<Capture>,
    /// Where U comes from.
    pub basis: Uncertainty,
    /// U of the fit, as the basis has it.
    pub expanded: tolerance::Uncertainty,
    /// The same of the optical centre's coordinates, of which a class judges the length alone.
    pub expanded_centre: Option<Point>,
    pub class: &'static Class,
    pub rule: Rule,
    pub verdict: Verdict,
}

/// U of a fit, and of the optical centre's coordinates: twice the standard uncertainty, or of a whole budget, for 95 %.
fn expanded(fit: &Fit, judging: &Judging) -> (tolerance::Uncertainty, Option<Point>) {
    let sources = Sources { geometry: judging.distances, ..Sources::default() };
    match fit.budget(&sources).filter(|_| judging.uncertainty == Uncertainty::Budget) {
        Some(budget) => {
            let expanded = budget.expanded(Coverage::Percent95);
            (tolerance::Uncertainty::of_budget(&expanded), expanded.centre)
        }
        None => {
            let standard = fit.uncertainty();
            (tolerance::Uncertainty::of_fit(&standard), standard.centre.map(|u| u + u))
        }
    }
}

impl Lens {
    /// Reads spots, fits and judges.
    pub fn of_spots(order: Order, file: String, spots: impl BufRead, judging: &Judging) -> Result<Self, Fault> {
        let spots = Spots::read(&file, spots)?;
        let fit = spots.fit(&order.geometry)?;
        Ok(Self::judged(order, file, fit, spots.pairs, judging))
    }

    /// Takes spots from frames, fits those that agree with one lens, and judges.
    pub fn of_frames(order: Order, file: String, capture: Capture, judging: &Judging) -> Result<Self, Fault> {
        let robust = RobustFit::of(&capture.pairs, &order.geometry, &RobustLimits::default())
            .map_err(|error| Fault::of_file(&file, error.to_string()))?;
        let (used, refused) = capture.pairs.iter().partition(|pair| robust.uses(pair));
        let lens = Self::judged(order, file, *robust.fit(), used, judging);
        Ok(Self { refused, capture: Some(capture), ..lens })
    }

    fn judged(order: Order, file: String, fit: Fit, pairs: Vec<SpotPair>, judging: &Judging) -> Self {
        let Judging { class, uncertainty: basis, .. } = *judging;
        let (expanded, expanded_centre) = expanded(&fit, judging);
        let rule = match basis {
            Uncertainty::None => Rule::Simple,
            Uncertainty::Fit | Uncertainty::Budget => Rule::Guarded(expanded),
        };
        let ordered = Ordered { power: order.rx, addition: None, prism: order.prism };
        let measured = Measured { power: Some(fit.vector().into()), addition: None, prism: Some(fit.prism()) };
        let verdict = judge(class, &ordered, &measured, rule);
        Self {
            order,
            file,
            fit,
            pairs,
            refused: Vec::new(),
            capture: None,
            basis,
            expanded,
            expanded_centre,
            class,
            rule,
            verdict,
        }
    }

    /// What U is.
    pub const fn basis_text(&self) -> &'static str {
        match self.basis {
            Uncertainty::None | Uncertainty::Fit => "U of spots, k = 2",
            Uncertainty::Budget => "U of budget, 95 %",
        }
    }

    /// How many spots.
    pub fn count_text(&self) -> String {
        match self.refused.len() {
            0 => format!("{} spots", self.fit.count()),
            refused => format!("{} spots, {refused} left out", self.fit.count()),
        }
    }

    pub fn conforms(&self) -> bool {
        self.verdict.decision() == Decision::Conforms
    }

    /// The measured power in minus-cylinder form, unless it is beyond what a lens can have.
    pub fn power(&self) -> Option<SpheroCylinder> {
        self.fit.sphero_cylinder().ok()
    }

    /// The measured axis: there is none without cylinder, nor when the scatter of the spots leaves it open.
    pub fn axis(&self) -> Option<Axis> {
        let power = self.power().filter(|power| power.cylinder() != Dioptre::ZERO)?;
        self.expanded.axis.map(|_| power.axis())
    }

    pub fn centre(&self) -> Option<Point> {
        match self.fit.centre() {
            Centre::Point(point) if !point.is_saturated() => Some(point),
            _ => None,
        }
    }
}
