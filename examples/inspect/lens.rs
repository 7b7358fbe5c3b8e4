//! One lens: measured by its spots, and judged.

use crate::args::{Order, Uncertainty};
use crate::spots::{Fault, Spots};
use dioptric::quantity::{Axis, Degree, Dioptre, Point, PrismDioptre};
use dioptric::rx::SpheroCylinder;
use dioptric::sensor::{Centre, Fit};
use dioptric::tolerance::{self, Class, Decision, Measured, Ordered, PrismRule, Rule, Verdict, judge};
use std::io::BufRead;

pub struct Lens {
    pub order: Order,
    pub file: String,
    pub fit: Fit,
    pub expanded: Expanded,
    pub class: &'static Class,
    pub rule: Rule,
    pub verdict: Verdict,
}

/// Expanded uncertainties of the fit, U = 2 u.
pub struct Expanded {
    pub sphere: Dioptre,
    pub across: Dioptre,
    pub cylinder: Dioptre,
    pub axis: Option<Degree>,
    pub prism_x: PrismDioptre,
    pub prism_y: PrismDioptre,
    pub centre: Option<Point>,
}

impl Expanded {
    fn of(fit: &Fit) -> Self {
        let standard = fit.uncertainty();
        Self {
            sphere: standard.sphere.double(),
            across: standard.across.double(),
            cylinder: standard.cylinder.double(),
            axis: standard.axis.map(Degree::double),
            prism_x: standard.prism_x.double(),
            prism_y: standard.prism_y.double(),
            centre: standard.centre.map(|u| u + u),
        }
    }

    /// As the decision rule takes it: one number for both meridians, and one for the prism in whichever direction the
    /// class judges it. The larger of two, or their length, claims too much rather than too little.
    fn for_rule(&self, class: &Class) -> tolerance::Uncertainty {
        let prism = match class.prism {
            PrismRule::PrismOrPosition { .. } => dioptric::prism::Prism::new(self.prism_x, self.prism_y).resultant().0,
            _ => self.prism_x.max(self.prism_y),
        };
        tolerance::Uncertainty {
            meridian: Some(self.sphere.max(self.across)),
            cylinder: Some(self.cylinder),
            axis: self.axis,
            addition: None,
            prism: Some(prism),
            position: self.centre.map(Point::distance),
        }
    }
}

impl Lens {
    /// Reads the spots, fits and judges.
    pub fn inspect(
        order: Order,
        file: String,
        spots: impl BufRead,
        class: &'static Class,
        uncertainty: Uncertainty,
    ) -> Result<Self, Fault> {
        let fit = Spots::read(&file, spots)?.fit(&order.geometry)?;
        let expanded = Expanded::of(&fit);
        let rule = match uncertainty {
            Uncertainty::None => Rule::Simple,
            Uncertainty::Fit => Rule::Guarded(expanded.for_rule(class)),
        };
        let ordered = Ordered { power: order.rx, addition: None, prism: order.prism };
        let measured = Measured { power: Some(fit.vector().into()), addition: None, prism: Some(fit.prism()) };
        let verdict = judge(class, &ordered, &measured, rule);
        Ok(Self { order, file, fit, expanded, class, rule, verdict })
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
