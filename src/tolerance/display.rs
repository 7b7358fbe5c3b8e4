//! Findings and verdicts as text, and in the device's log.

use super::rule::Decision;
use super::verdict::{Finding, Parameter, Value, Verdict};
use crate::quantity::{Degree, Dioptre, Millimetre, PrismDioptre};
use crate::text::{Notation, write_fixed};
use core::fmt;

/// Digits of a deviation and its limit: one more than of a value, so that 0.124 is not shown as 0.12 of 0.12.
const DIGITS: usize = 3;

impl Parameter {
    const fn text(self) -> &'static str {
        match self {
            Self::SphereMeridian => "sphere meridian",
            Self::CylinderMeridian => "cylinder meridian",
            Self::Cylinder => "cylinder",
            Self::Axis => "axis",
            Self::Addition => "addition",
            Self::PrismHorizontal => "horizontal prism",
            Self::PrismVertical => "vertical prism",
            Self::Prism => "prism",
            Self::ReferencePoint => "reference point",
            Self::PolariserAxis => "polariser axis",
            Self::GradientDirection => "gradient direction",
            Self::Height => "height",
            Self::FittingPoint => "fitting point, horizontal",
            Self::SegmentTilt => "segment tilt",
            Self::SegmentWidth => "segment width",
            Self::SegmentDepth => "segment depth",
            Self::CentreThickness => "centre thickness",
            Self::BaseCurve => "base curve",
            Self::Warpage => "warpage",
            Self::ImbalanceHorizontal => "horizontal imbalance",
            Self::ImbalanceVertical => "vertical imbalance",
            Self::CentrationDistance => "centration distance",
            Self::ReferenceHeights => "reference heights",
            Self::NearCentration => "near centration",
            Self::HeightDifference => "height difference",
            Self::SegmentDifference => "segment sizes",
            Self::BicentricPrism => "bicentric prism",
        }
    }
}

impl fmt::Display for Parameter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.text())
    }
}

impl Value {
    const fn unit(self) -> &'static str {
        match self {
            Self::Power(_) => " D",
            Self::Axis(_) | Self::Bearing(_) => "",
            Self::Angle(_) => " deg",
            Self::Prism(_) => " cm/m",
            Self::Length(_) => " mm",
        }
    }

    /// In the notation of its quantity, without the unit.
    fn write_bare(self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_saturated() {
            return f.write_str("saturated");
        }
        match self {
            Self::Power(power) => fmt::Display::fmt(&power, f),
            Self::Axis(axis) => fmt::Display::fmt(&axis, f),
            Self::Bearing(bearing) => fmt::Display::fmt(&bearing, f),
            Self::Angle(angle) => fmt::Display::fmt(&angle, f),
            Self::Prism(prism) => fmt::Display::fmt(&prism, f),
            Self::Length(length) => fmt::Display::fmt(&length, f),
        }
    }
}

impl fmt::Display for Value {
    /// With its unit: `-2.00 D`, `035`, `3.00 deg`, `0.33 cm/m`, `1.00 mm`; `saturated` at the end of the scale.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write_bare(f)?;
        f.write_str(if self.is_saturated() { "" } else { self.unit() })
    }
}

/// A deviation, limit or uncertainty: more digits than the quantity's own notation, no plus sign, no unit.
#[derive(Clone, Copy)]
struct Difference(Value);

impl Difference {
    const NOTATION: Notation = Notation { digits: DIGITS, plus: false, eighths: false };

    const fn bits(self) -> (i32, u32) {
        match self.0 {
            Value::Power(power) => (power.to_bits(), Dioptre::FRACTION_BITS),
            Value::Angle(angle) => (angle.to_bits(), Degree::FRACTION_BITS),
            Value::Prism(prism) => (prism.to_bits(), PrismDioptre::FRACTION_BITS),
            Value::Length(length) => (length.to_bits(), Millimetre::FRACTION_BITS),
            // No difference is a direction.
            Value::Axis(_) | Value::Bearing(_) => (0, 0),
        }
    }
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0.is_saturated() {
            return f.write_str("saturated");
        }
        let (bits, fraction_bits) = self.bits();
        write_fixed(f, i64::from(bits), fraction_bits, Self::NOTATION)
    }
}

impl Finding {
    /// The guarded rule wanted an uncertainty and had none: nothing else leaves a compared value undetermined so.
    fn lacks_uncertainty(&self) -> bool {
        self.decision() == Decision::Undetermined
            && self.deviation().is_some()
            && self.limit().is_some()
            && self.uncertainty().is_none()
    }
}

impl fmt::Display for Finding {
    /// `axis 038 for 035, off by 3.000 of 4.000 deg: conforms`; a precision asks for more decimals of everything.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ", self.parameter().text())?;
        match (self.measured(), self.deviation()) {
            (Some(measured), _) => measured.write_bare(f)?,
            (None, Some(_)) => f.write_str("saturated")?,
            (None, None) => f.write_str("not measured")?,
        }
        f.write_str(" for ")?;
        self.ordered().write_bare(f)?;
        if let Some(deviation) = self.deviation() {
            f.write_str(", off by ")?;
            fmt::Display::fmt(&Difference(deviation), f)?;
            match self.limit() {
                Some(limit) => {
                    f.write_str(" of ")?;
                    fmt::Display::fmt(&Difference(limit), f)?;
                    f.write_str(limit.unit())?;
                }
                None => write!(f, "{}, no limit", deviation.unit())?,
            }
        }
        if let Some(uncertainty) = self.uncertainty() {
            f.write_str(", U ")?;
            fmt::Display::fmt(&Difference(uncertainty), f)?;
        } else if self.lacks_uncertainty() {
            f.write_str(", U unknown")?;
        }
        f.write_str(if self.is_excused() { ", excused: " } else { ": " })?;
        f.write_str(self.decision().text())
    }
}

impl fmt::Display for Verdict {
    /// The decision, and the findings that do not conform.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.decision().text())?;
        let mut separator = ": ";
        for finding in self.findings().filter(|finding| finding.decision() != Decision::Conforms) {
            f.write_str(separator)?;
            fmt::Display::fmt(finding, f)?;
            separator = "; ";
        }
        Ok(())
    }
}

#[cfg(feature = "defmt")]
mod log {
    use super::{Decision, Difference, Finding, Value, Verdict};
    use defmt::{Format, Formatter, write};

    impl Format for Value {
        fn format(&self, f: Formatter<'_>) {
            if self.is_saturated() {
                return write!(f, "saturated");
            }
            match self {
                Self::Power(power) => write!(f, "{} D", power),
                Self::Axis(axis) => write!(f, "{}", axis),
                Self::Bearing(bearing) => write!(f, "{}", bearing),
                Self::Angle(angle) => write!(f, "{} deg", angle),
                Self::Prism(prism) => write!(f, "{} cm/m", prism),
                Self::Length(length) => write!(f, "{} mm", length),
            }
        }
    }

    impl Format for Difference {
        fn format(&self, f: Formatter<'_>) {
            if self.0.is_saturated() {
                return write!(f, "saturated");
            }
            let (bits, fraction_bits) = self.bits();
            crate::log::fixed(f, i64::from(bits), fraction_bits, Self::NOTATION);
        }
    }

    impl Format for Finding {
        fn format(&self, f: Formatter<'_>) {
            write!(f, "{=str} ", self.parameter().text());
            match (self.measured(), self.deviation()) {
                (Some(measured), _) => write!(f, "{}", measured),
                (None, Some(_)) => write!(f, "saturated"),
                (None, None) => write!(f, "not measured"),
            }
            write!(f, " for {}", self.ordered());
            if let Some(deviation) = self.deviation() {
                write!(f, ", off by {}", Difference(deviation));
            }
            if let Some(limit) = self.limit() {
                write!(f, " of {}", Difference(limit));
            }
            if let Some(uncertainty) = self.uncertainty() {
                write!(f, ", U {}", Difference(uncertainty));
            }
            write!(f, "{=str}{=str}", if self.is_excused() { ", excused: " } else { ": " }, self.decision().text());
        }
    }

    impl Format for Verdict {
        fn format(&self, f: Formatter<'_>) {
            write!(f, "{=str}", self.decision().text());
            for finding in self.findings().filter(|finding| finding.decision() != Decision::Conforms) {
                write!(f, "; {}", finding);
            }
        }
    }
}
