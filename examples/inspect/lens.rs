//! One lens: measured by its spots, and judged.

use crate::args::{Order, Uncertainty};
use crate::capture::Capture;
use crate::spots::{Fault, Spots};
use dioptric::quantity::{Axis, Dioptre, Point};
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::{Centre, Fit, RobustFit, RobustLimits, SpotPair};
use dioptric::tolerance::{self, Class, Decision, Measured, Ordered, Rule, Verdict, judge};
use std::io::BufRead;

/// By what a lens is judged.
pub struct Judging {
    pub class: &'static Class,
    pub uncertainty: Uncertainty,
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
    /// U = 2 u of the fit.
    pub expanded: tolerance::Uncertainty,
    /// The same of the optical centre's coordinates, of which a class judges the length alone.
    pub expanded_centre: Option<Point>,
    pub class: &'static Class,
    pub rule: Rule,
    pub verdict: Verdict,
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
        let Judging { class, uncertainty } = *judging;
        let standard = fit.uncertainty();
        let expanded = tolerance::Uncertainty::of_fit(&standard);
        let rule = match uncertainty {
            Uncertainty::None => Rule::Simple,
            Uncertainty::Fit => Rule::Guarded(expanded),
        };
        let ordered = Ordered { power: order.rx, addition: None, prism: order.prism };
        let measured = Measured { power: Some(fit.vector().into()), addition: None, prism: Some(fit.prism()) };
        let verdict = judge(class, &ordered, &measured, rule);
        let expanded_centre = standard.centre.map(|u| u + u);
        Self {
            order,
            file,
            fit,
            pairs,
            refused: Vec::new(),
            capture: None,
            expanded,
            expanded_centre,
            class,
            rule,
            verdict,
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
