//! Judges the instrument itself by what it reads of test lenses.

use super::{Class, Decision, Finding, Measured, MeasuredPower, Ordered, Parameter, PrismRule, Rule, Verdict, judge};
use crate::prism::Prism;
use crate::rx::SpheroCylinder;

/// A test lens, by its certificate, and what the instrument read. `None`: not read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum TestReading {
    /// A sphere or a cylinder. Prism is not judged: it says how the lens was centred.
    Power {
        /// Of the certificate.
        nominal: SpheroCylinder,
        /// As read.
        measured: Option<MeasuredPower>,
    },
    /// A prism without power. Power is not judged.
    Prism {
        /// Of the certificate, in the direction in which it was placed.
        nominal: Prism,
        /// As read.
        measured: Option<Prism>,
    },
}

impl TestReading {
    /// The findings about this test lens: a power's principal powers, cylinder and axis, a prism's components. A sphere has no
    /// axis, but the cylinder that the instrument sees in it is judged.
    #[must_use]
    pub fn verdict(&self, class: &Class, rule: Rule) -> Verdict {
        match *self {
            Self::Power { nominal, measured } => {
                let class = Class { prism: PrismRule::NoRequirement, ..*class };
                let ordered = Ordered { power: nominal, ..Ordered::default() };
                judge(&class, &ordered, &Measured { power: measured, ..Measured::default() }, rule)
            }
            Self::Prism { nominal, measured } => {
                let ordered = Ordered { prism: nominal, ..Ordered::default() };
                let power = Some(SpheroCylinder::default().into());
                let lens = Measured { power, prism: measured, ..Measured::default() };
                judge(class, &ordered, &lens, rule).only(is_about_prism)
            }
        }
    }
}

const fn is_about_prism(parameter: Parameter) -> bool {
    matches!(parameter, Parameter::PrismHorizontal | Parameter::PrismVertical | Parameter::Prism)
}

/// What the readings of a set of test lenses say of the instrument.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct InstrumentVerdict {
    /// The worst of the decisions; undetermined without any reading.
    pub decision: Decision,
    /// Test lenses of which a finding fails.
    pub failed: u32,
    /// Test lenses of which none fails, but one is undetermined.
    pub undetermined: u32,
    /// The finding that uses most of its tolerance, a saturated one before all others, and the index of its reading.
    pub worst: Option<(u32, Finding)>,
}

/// Judges an instrument by a set of test lenses, and hands out every finding that does not conform, with the index of its reading:
/// its [`Finding::deviation`] and [`Finding::limit`] say by how much.
///
/// # Accuracy
/// That of [`judge`].
///
/// # Source
/// The class's; under guarded acceptance the uncertainty is that of the certificates and of the repeatability (common practice, no
/// source).
///
/// ```
/// use dioptric::tolerance::{Decision, ISO_8598_1, Rule, TestReading, judge_instrument};
/// let read = |nominal: &str, measured: &str| {
///     let power = |text: &str| text.parse::<dioptric::rx::SpheroCylinder>().unwrap();
///     TestReading::Power { nominal: power(nominal), measured: Some(power(measured).into()) }
/// };
/// let readings = [read("+5.00 DS", "+5.04 DS"), read("-15.00 DS", "-15.16 DS")];
/// let verdict = judge_instrument(&ISO_8598_1, &readings, Rule::Simple, |index, finding| {
///     assert_eq!(index, 1); // both meridians of the second lens
///     assert_eq!(finding.share_per_mille(), Some(1333)); // 0.16 D of 0.12 D
/// });
/// assert_eq!((verdict.decision, verdict.failed), (Decision::Fails, 1));
/// ```
pub fn judge_instrument(
    class: &Class,
    readings: &[TestReading],
    rule: Rule,
    mut report: impl FnMut(u32, &Finding),
) -> InstrumentVerdict {
    let mut result = InstrumentVerdict { decision: Decision::Undetermined, failed: 0, undetermined: 0, worst: None };
    let mut worst_decision = None;
    for (index, reading) in (0..u32::MAX).zip(readings) {
        let verdict = reading.verdict(class, rule);
        match verdict.decision() {
            Decision::Fails => result.failed = result.failed.saturating_add(1),
            Decision::Undetermined => result.undetermined = result.undetermined.saturating_add(1),
            Decision::Conforms => {}
        }
        worst_decision = worst_decision.max(Some(verdict.decision()));
        for finding in verdict.findings() {
            if finding.decision() != Decision::Conforms {
                report(index, finding);
            }
            if result.worst.is_none_or(|(_, worst)| used(finding) > used(&worst)) {
                result.worst = Some((index, *finding));
            }
        }
    }
    InstrumentVerdict { decision: worst_decision.unwrap_or(Decision::Undetermined), ..result }
}

/// How much of its tolerance a finding uses. What was not read uses nothing; what is beyond the scale more than anything.
fn used(finding: &Finding) -> u32 {
    match finding.deviation() {
        None => 0,
        Some(deviation) if deviation.is_saturated() => u32::MAX,
        Some(_) => finding.share_per_mille().unwrap_or(0),
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for InstrumentVerdict {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{}: {} failed, {} undetermined", self.decision, self.failed, self.undetermined);
        if let Some((index, finding)) = self.worst {
            defmt::write!(f, "; worst of {}: {}", index, finding);
        }
    }
}
