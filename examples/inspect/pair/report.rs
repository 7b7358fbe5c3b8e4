//! What both lenses show together, for the person at the bench.

use super::Pair;
use crate::findings::{Findings, label};
use crate::report::{Report, WIDTH, place};
use dioptric::order::LensOrder;
use dioptric::prism::Eye;
use dioptric::quantity::Point;
use dioptric::tolerance::{Decision, Finding, Rule};
use std::fmt::{self, Display};

/// Each lens, then the pair.
pub struct PairReport<'a>(pub &'a Pair);

impl Display for PairReport<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for lens in &self.0.lenses {
            if let Some(note) = self.0.order.lens(lens.order.eye).and_then(compensated) {
                writeln!(f, "{note}")?;
            }
            writeln!(f, "{}", Report(lens))?;
        }
        self.pair(f)
    }
}

/// That the bench must find something else than the prescription.
fn compensated(order: &LensOrder) -> Option<String> {
    let why = match (order.verification.is_some(), order.worn.is_some()) {
        (true, _) => "the maker's verification power",
        (false, true) => "the power for its position of wear",
        (false, false) => return None,
    };
    Some(format!("Prescription {}: judged by {why}.", order.power))
}

impl PairReport<'_> {
    fn pair(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let verdict = &self.0.verdict;
        writeln!(f, "PAIR\n{}", "=".repeat(WIDTH))?;
        let guarded = self.0.lenses.iter().any(|lens| matches!(lens.rule, Rule::Guarded(_)));
        match &verdict.pair {
            // Nothing of a pair is counted towards either nose.
            Some(pair) if pair.findings().next().is_some() => {
                writeln!(f, "{}", Findings { verdict: pair, eye: Eye::Right, guarded })?;
            }
            Some(_) => writeln!(f, "  nothing is asked of both lenses together; each one's own prism is judged\n")?,
            None => writeln!(f, "  one lens was ordered\n")?,
        }
        for (direction, eye) in
            [("horizontally", verdict.blamed_horizontally), ("vertically", verdict.blamed_vertically)]
        {
            if let Some(eye) = eye {
                writeln!(f, "  {direction}, the {eye} lens is to give way")?;
            }
        }
        self.unjudged(f)?;
        let shifts = [(Eye::Right, verdict.shift_right), (Eye::Left, verdict.shift_left)];
        let shifts: Vec<_> =
            shifts.into_iter().filter_map(|(eye, shift)| shift.map(|shift| moved(eye, shift))).collect();
        if !shifts.is_empty() {
            writeln!(f, "  the imbalance would conform with {}", shifts.join(",\n    or with "))?;
        }
        self.decision(f)
    }

    fn unjudged(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for eye in [Eye::Right, Eye::Left] {
            let unjudged = self.0.unjudged(eye);
            if !unjudged.is_empty() {
                writeln!(f, "  {eye} lens, ordered but not judged: {}", unjudged.join(", "))?;
            }
        }
        for eye in &self.0.not_ordered {
            writeln!(f, "  {eye} lens, measured but not ordered: not judged")?;
        }
        Ok(())
    }

    fn decision(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let verdict = &self.0.verdict;
        let decision = verdict.decision();
        let parts = [("right", verdict.right), ("left", verdict.left), ("pair", verdict.pair)];
        let because: Vec<String> = parts
            .iter()
            .filter_map(|(name, part)| part.as_ref().map(|part| (name, part)))
            .flat_map(|(name, part)| part.findings().map(move |finding| (name, finding)))
            .filter(|(_, finding)| finding.decision() == decision && decision != Decision::Conforms)
            .map(|(name, finding): (&&str, &Finding)| format!("{name} {}", label(finding.parameter())))
            .collect();
        let because = if because.is_empty() { String::new() } else { format!(": {}", because.join("; ")) };
        writeln!(f, "  >>>  {}{because}", decision.to_string().to_uppercase())?;
        writeln!(f, "       by {}", self.0.class.title)
    }
}

fn moved(eye: Eye, shift: Point) -> String {
    format!("the {eye} lens moved {}", place(shift.x, shift.y, eye))
}
