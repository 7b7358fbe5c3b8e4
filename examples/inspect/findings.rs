//! The findings as a table.

use crate::numbers::{DASH, two_digits, unsigned};
use dioptric::prism::Eye;
use dioptric::tolerance::{Decision, Finding, Parameter, Value, Verdict};
use std::fmt::{self, Display};

/// One line a finding.
pub struct Findings<'a> {
    pub verdict: &'a Verdict,
    /// Which way is in.
    pub eye: Eye,
    /// Whether an uncertainty counts.
    pub guarded: bool,
}

impl Display for Findings<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let u = if self.guarded { format!("{:>9}", "U") } else { String::new() };
        let numbers = format!("{:>8}{:>10}{:>10}{:>7}{u}", "ordered", "measured", "deviation", "limit");
        writeln!(f, "  {:<17} {:<4}{numbers}{:>6}", "finding", "", "used")?;
        for finding in self.verdict.findings() {
            Line { finding, eye: self.eye, guarded: self.guarded }.write(f)?;
        }
        if self.verdict.findings().any(Finding::is_excused) {
            writeln!(f, "  * beyond its limit, but the class asks for one of two, and the other is within")?;
        }
        Ok(())
    }
}

pub fn label(parameter: Parameter) -> &'static str {
    match parameter {
        Parameter::SphereMeridian => "sphere meridian",
        Parameter::CylinderMeridian => "cylinder meridian",
        Parameter::Cylinder => "cylinder",
        Parameter::Axis => "axis",
        Parameter::Addition => "addition",
        Parameter::PrismHorizontal => "prism, in is +",
        Parameter::PrismVertical => "prism, up is +",
        Parameter::Prism => "prism",
        Parameter::ReferencePoint => "reference point",
        Parameter::PolariserAxis => "polariser axis",
        Parameter::GradientDirection => "gradient direction",
        Parameter::Height => "height",
        Parameter::FittingPoint => "fitting point",
        Parameter::SegmentTilt => "tilt of top/marks",
        Parameter::SegmentWidth => "segment width",
        Parameter::SegmentDepth => "segment depth",
        Parameter::CentreThickness => "centre thickness",
        Parameter::BaseCurve => "base curve",
        Parameter::Warpage => "warpage",
        Parameter::ImbalanceHorizontal => "imbalance, in +",
        Parameter::ImbalanceVertical => "imbalance, R up +",
        Parameter::CentrationDistance => "centration dist.",
        Parameter::ReferenceHeights => "centres, R - L",
        Parameter::NearCentration => "near centration",
        Parameter::HeightDifference => "mark heights R-L",
        Parameter::SegmentDifference => "sizes, R - L",
        Parameter::BicentricPrism => "bicentric, R - L",
    }
}

pub const fn unit(parameter: Parameter) -> &'static str {
    match parameter {
        Parameter::SphereMeridian
        | Parameter::CylinderMeridian
        | Parameter::Cylinder
        | Parameter::Addition
        | Parameter::BaseCurve
        | Parameter::Warpage => "D",
        Parameter::Axis | Parameter::PolariserAxis | Parameter::GradientDirection | Parameter::SegmentTilt => "deg",
        Parameter::PrismHorizontal
        | Parameter::PrismVertical
        | Parameter::Prism
        | Parameter::ImbalanceHorizontal
        | Parameter::ImbalanceVertical
        | Parameter::BicentricPrism => "cm/m",
        Parameter::ReferencePoint
        | Parameter::Height
        | Parameter::FittingPoint
        | Parameter::SegmentWidth
        | Parameter::SegmentDepth
        | Parameter::CentreThickness
        | Parameter::CentrationDistance
        | Parameter::ReferenceHeights
        | Parameter::NearCentration
        | Parameter::HeightDifference
        | Parameter::SegmentDifference => "mm",
    }
}

/// One finding.
struct Line<'a> {
    finding: &'a Finding,
    eye: Eye,
    guarded: bool,
}

impl Line<'_> {
    fn write(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let finding = self.finding;
        let parameter = finding.parameter();
        write!(f, "  {:<17} {:<4}", label(parameter), unit(parameter))?;
        write!(f, "{:>8}", self.signed(Some(finding.ordered())))?;
        write!(f, "{:>10}", self.signed(finding.measured()))?;
        write!(f, "{:>10}", self.signed(finding.deviation()))?;
        write!(f, "{:>7}", plain(finding.limit()))?;
        if self.guarded {
            write!(f, "{:>9}", expanded(finding.uncertainty()))?;
        }
        let mark = if finding.is_excused() { '*' } else { ' ' };
        writeln!(f, "{:>6} {:<12}{mark}{}", self.share(), self.bar(), word(finding.decision()))
    }

    fn signed(&self, value: Option<Value>) -> String {
        signed(value, self.finding.parameter(), self.eye)
    }

    fn share(&self) -> String {
        match self.finding.share_per_mille() {
            // Rounded, an excess must not look like the limit.
            Some(share) if share > 9990 => ">999%".into(),
            Some(share) if share >= 1000 && self.is_over() => format!("{}%", share.div_ceil(10).max(101)),
            Some(share) => format!("{}%", (share + 5) / 10),
            None => DASH.into(),
        }
    }

    fn is_over(&self) -> bool {
        self.finding.share_per_mille().is_some_and(|share| share > 1000) || self.finding.decision() == Decision::Fails
    }

    /// Ten cells for the tolerance.
    fn bar(&self) -> String {
        let Some(share) = self.finding.share_per_mille() else { return String::new() };
        let filled = ((share as usize + 50) / 100).min(10);
        let end = if self.is_over() { '>' } else { '|' };
        format!("|{:<10}{end}", "#".repeat(filled))
    }
}

/// With its sign; the horizontal prism counted towards the nose.
pub fn signed(value: Option<Value>, parameter: Parameter, eye: Eye) -> String {
    match value {
        Some(value) if value.is_saturated() => "beyond".into(),
        Some(Value::Axis(axis)) => format!("{axis:.2}"),
        Some(Value::Bearing(bearing)) => format!("{bearing:.2}"),
        Some(Value::Power(power)) => format!("{power:+.3}"),
        Some(Value::Angle(angle)) => format!("{angle:+.2}"),
        Some(Value::Prism(prism)) => {
            let outward = parameter == Parameter::PrismHorizontal && eye == Eye::Left;
            format!("{:+.3}", if outward { -prism } else { prism })
        }
        Some(Value::Length(length)) => format!("{length:.2}"),
        None => DASH.into(),
    }
}

/// A limit.
fn plain(value: Option<Value>) -> String {
    match value {
        Some(value) if value.is_saturated() => "beyond".into(),
        Some(Value::Power(power)) => unsigned(&format!("{power:.3}")),
        Some(Value::Angle(angle)) => format!("{angle:.2}"),
        Some(Value::Prism(prism)) => format!("{prism:.3}"),
        Some(Value::Length(length)) => format!("{length:.2}"),
        Some(Value::Axis(_) | Value::Bearing(_)) | None => DASH.into(),
    }
}

fn expanded(value: Option<Value>) -> String {
    match value {
        Some(value) if value.is_saturated() => "beyond".into(),
        Some(Value::Power(power)) => two_digits(power),
        Some(Value::Angle(angle)) => two_digits(angle),
        Some(Value::Prism(prism)) => two_digits(prism),
        Some(Value::Length(length)) => two_digits(length),
        Some(Value::Axis(_) | Value::Bearing(_)) | None => DASH.into(),
    }
}

/// What does not conform stands out.
fn word(decision: Decision) -> String {
    let word = decision.to_string();
    if decision == Decision::Conforms { word } else { word.to_uppercase() }
}
