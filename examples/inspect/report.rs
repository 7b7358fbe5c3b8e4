//! The result for the person at the bench.

use crate::args::Uncertainty;
use crate::capture::Capture;
use crate::findings::{Findings, label};
use crate::lens::Lens;
use crate::numbers::{or_dash, two_digits};
use dioptric::prism::Eye;
use dioptric::quantity::{Dioptre, Millimetre, PrismDioptre};
use dioptric::sensor::{Centre, Mounting, Rejected};
use dioptric::tolerance::{Decision, Rule};
use std::fmt::{self, Display};

pub const WIDTH: usize = 100;
/// As a prism dioptre displays.
const NO_PRISM: &str = "0.00";

/// One lens: order, measurement with uncertainty, findings, verdict.
pub struct Report<'a>(pub &'a Lens);

impl Display for Report<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.heading(f)?;
        self.powers(f)?;
        self.centre(f)?;
        self.spots(f)?;
        let guarded = matches!(self.0.rule, Rule::Guarded(_));
        writeln!(f, "\n{}", Findings { verdict: &self.0.verdict, eye: self.0.order.eye, guarded })?;
        self.verdict(f)
    }
}

impl Report<'_> {
    fn heading(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let order = &self.0.order;
        let title = format!("{} LENS", order.eye).to_uppercase();
        let ordered = format!("{}, prism {}", order.rx, order.prism.of(order.eye));
        writeln!(f, "{title}   ordered {ordered}")?;
        writeln!(f, "{}", "=".repeat(WIDTH))
    }

    fn powers(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Lens { order, fit, expanded: u, .. } = self.0;
        let (ordered, measured) = (order.rx.minus_form(), self.0.power());
        let ordered_axis = (ordered.cylinder() != Dioptre::ZERO).then(|| format!("{:.1}", ordered.axis()));
        let row = |f: &mut fmt::Formatter<'_>, name: &str, [sphere, cylinder, axis]: [String; 3], prism: String| {
            writeln!(f, "  {name:<17}{sphere:>10}{cylinder:>12}{axis:>10}   {prism}")
        };
        let heads = ["sphere D", "cylinder D", "axis deg"].map(String::from);
        row(f, "", heads, "prism on the sensor's axis, cm/m".into())?;
        let cells = [format!("{:.3}", ordered.sphere()), format!("{:.3}", ordered.cylinder()), or_dash(ordered_axis)];
        row(f, "ordered", cells, format!("{:.3}", order.prism.of(order.eye)))?;
        let cells = [
            or_dash(measured.map(|power| format!("{:.3}", power.sphere()))),
            or_dash(measured.map(|power| format!("{:.3}", power.cylinder()))),
            or_dash(self.0.axis().map(|axis| format!("{axis:.1}"))),
        ];
        row(f, "measured", cells, format!("{:.3}", fit.prism().of(order.eye)))?;
        let power = |u: Option<Dioptre>| or_dash(u.map(two_digits));
        let prism = |u: Option<PrismDioptre>| or_dash(u.map(two_digits));
        let cells = [power(u.sphere_meridian), power(u.cylinder), or_dash(u.axis.map(two_digits))];
        let prism = format!("{} horizontal, {} vertical", prism(u.prism_horizontal), prism(u.prism_vertical));
        row(f, self.0.basis_text(), cells, prism)
    }

    fn centre(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "  {:<19}", "optical centre")?;
        let eye = self.0.order.eye;
        match (self.0.fit.centre(), self.0.centre(), self.0.expanded_centre) {
            (_, Some(point), Some(u)) => {
                let (x, y) = (two_digits(u.x), two_digits(u.y));
                writeln!(f, "{}   U {x} mm horizontal, {y} mm vertical", place(point.x, point.y, eye))
            }
            (_, Some(point), None) => writeln!(f, "{}", place(point.x, point.y, eye)),
            (Centre::Line { nearest, direction, remaining }, ..) => {
                let remaining = format!("{}", remaining.resultant().0);
                if remaining == NO_PRISM {
                    let through = place(nearest.x, nearest.y, eye);
                    writeln!(f, "no point but a line at {direction} deg through {through}")
                } else {
                    writeln!(f, "none: {remaining} cm/m along {direction} deg, where the lens has no power")
                }
            }
            _ => writeln!(f, "none: the lens has no power"),
        }
    }

    fn spots(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Lens { fit, order, file, .. } = self.0;
        let (residual, rotation) = (fit.residual(), fit.rotation());
        writeln!(f, "  {:<19}{} in {file}", "spots", fit.count())?;
        if let Some(capture) = &self.0.capture {
            writeln!(f, "{}", Frame { capture, refused: self.0.refused.len() })?;
        }
        let geometry = format!("gap {:.2} mm, throw {:.2} mm", order.geometry.gap(), order.geometry.throw());
        writeln!(f, "  {:<19}residual {residual:.2} um, rotation {rotation:.3} deg; {geometry}", "fit")
    }

    fn verdict(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let decision = self.0.verdict.decision();
        let rule = match self.0.rule {
            Rule::Simple => "simple acceptance",
            Rule::Guarded(_) if self.0.basis == Uncertainty::Budget => "guarded by U (95 %)",
            Rule::Guarded(_) => "guarded by U (k = 2)",
        };
        let because: Vec<String> = self
            .0
            .verdict
            .findings()
            .filter(|finding| finding.decision() == decision && decision != Decision::Conforms)
            .map(|finding| label(finding.parameter()).into())
            .collect();
        let because = if because.is_empty() { String::new() } else { format!(": {}", because.join(", ")) };
        writeln!(f, "  >>>  {}{because}", decision.to_string().to_uppercase())?;
        writeln!(f, "       by {}; {rule}", self.0.class)
    }
}

/// What the frames gave besides the spots of the fit.
struct Frame<'a> {
    capture: &'a Capture,
    refused: usize,
}

impl Display for Frame<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Capture { findings, mounting, rejected, .. } = self.capture;
        let refused = self.refused;
        let assigned = format!("{} of {} holes lit", findings.assigned, findings.assigned + findings.missing);
        let left_out = format!("{refused} spots left out of the fit, {} without a hole", findings.extra);
        writeln!(f, "  {:<19}{assigned}; {left_out}", "frame")?;
        writeln!(f, "  {:<19}{}", "no spots", Reasons(rejected))?;
        let Mounting { offset, rotation, scale, .. } = mounting;
        let place = format!("({:.3}, {:.3}) mm", offset.x, offset.y);
        write!(f, "  {:<19}off by {place}, turned by {rotation:.3} deg, scaled by {scale:.5}", "plate")
    }
}

/// Blobs that are no spots, by reason.
struct Reasons<'a>(&'a Rejected);

impl Display for Reasons<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Rejected { too_large, too_small, clipped, too_dim, saturated, elongated } = *self.0;
        let counts = [
            (too_large, "too large"),
            (too_small, "too small"),
            (clipped, "clipped"),
            (too_dim, "too dim"),
            (saturated, "saturated"),
            (elongated, "too long"),
        ];
        let shown: Vec<_> =
            counts.iter().filter(|(count, _)| *count > 0).map(|(count, why)| format!("{count} {why}")).collect();
        f.write_str(&if shown.is_empty() { "none".into() } else { shown.join(", ") })
    }
}

/// `4.62 mm temporal, 0.10 mm down`.
pub fn place(x: Millimetre, y: Millimetre, eye: Eye) -> String {
    let nasal = match eye {
        Eye::Right => x,
        Eye::Left => -x,
    };
    let side = if nasal < Millimetre::ZERO { "temporal" } else { "nasal" };
    let height = if y < Millimetre::ZERO { "down" } else { "up" };
    format!("{:.2} mm {side}, {:.2} mm {height}", nasal.abs(), y.abs())
}
