//! Order, measurement and findings beside the plot.

use super::{FAINT, INK, WIDTH, text};
use crate::findings::{label, signed, unit};
use crate::lens::Lens;
use crate::report::place;
use dioptric::tolerance::{Decision, Finding};
use svg::node::element::{Group, Rectangle};

const LEFT: f64 = 730.0;
const BAR: f64 = 120.0;

const fn colour(decision: Decision) -> &'static str {
    match decision {
        Decision::Conforms => "#2e7d32",
        Decision::Undetermined => "#a86200",
        Decision::Fails => "#b3261e",
    }
}

/// The lens and the verdict.
pub fn heading(lens: &Lens) -> Group {
    let decision = lens.verdict.decision();
    let title =
        format!("{} lens, ordered {}, prism {}", lens.order.eye, lens.order.rx, lens.order.prism.of(lens.order.eye));
    let verdict = text(decision.to_string().to_uppercase(), WIDTH - 30.0, 40.0, 24.0, "end");
    Group::new()
        .add(text(title, 40.0, 40.0, 20.0, "start"))
        .add(verdict.set("fill", colour(decision)).set("font-weight", "bold"))
}

/// What was measured, and each finding with its share of the limit.
pub fn column(lens: &Lens) -> Vec<Group> {
    let mut parts = vec![measured(lens)];
    for (finding, line) in lens.verdict.findings().zip(0u32..) {
        parts.push(row(lens, finding, 250.0 + 54.0 * f64::from(line)));
    }
    parts
}

fn measured(lens: &Lens) -> Group {
    let power = lens.power().map_or("beyond a lens's power".into(), |power| format!("{power:.3}"));
    let lines = [
        format!("measured {power}"),
        format!("prism on the sensor's axis {:.2}", lens.fit.prism().of(lens.order.eye)),
        format!("optical centre {}", lens.centre().map_or("none".into(), |at| place(at.x, at.y, lens.order.eye))),
        lens.count_text(),
        format!("residual {:.2} um, rotation {:.3} deg", lens.fit.residual(), lens.fit.rotation()),
        format!("class {}", lens.class.name),
    ];
    let mut group = Group::new();
    for (line, y) in lines.into_iter().zip(0u32..) {
        group = group.add(text(line, LEFT, 84.0 + 24.0 * f64::from(y), 15.0, "start"));
    }
    group
}

fn row(lens: &Lens, finding: &Finding, y: f64) -> Group {
    let (decision, parameter) = (finding.decision(), finding.parameter());
    let measured = signed(finding.measured(), parameter, lens.order.eye);
    let ordered = signed(Some(finding.ordered()), parameter, lens.order.eye);
    let deviation = signed(finding.deviation(), parameter, lens.order.eye);
    let values = format!("{measured} for {ordered} {}, off by {deviation}", unit(parameter));
    let excused = if finding.is_excused() { " (excused)" } else { "" };
    Group::new()
        .add(text(label(parameter), LEFT, y, 15.0, "start"))
        .add(text(format!("{decision}{excused}"), WIDTH - 30.0, y, 15.0, "end").set("fill", colour(decision)))
        .add(text(values, LEFT, y + 20.0, 12.0, "start"))
        .add(bar(finding, WIDTH - 30.0 - BAR, y + 10.0))
}

/// The limit as a frame, its used share filled.
fn bar(finding: &Finding, x: f64, y: f64) -> Group {
    let Some(share) = finding.share_per_mille() else { return Group::new() };
    let filled = BAR * (f64::from(share) / 1000.0).min(1.0);
    let bar = Rectangle::new().set("x", x).set("y", y).set("width", filled).set("height", 10);
    let frame = Rectangle::new().set("x", x).set("y", y).set("width", BAR).set("height", 10).set("fill", "none");
    let percent = text(format!("{}%", (share + 5) / 10), x - 6.0, y + 10.0, 12.0, "end");
    let group = Group::new().add(bar.set("fill", colour(finding.decision()))).add(frame.set("stroke", FAINT));
    group.add(percent.set("fill", INK))
}
