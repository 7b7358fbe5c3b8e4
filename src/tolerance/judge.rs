//! Compares a lens as measured with the lens as ordered.

use super::rows::{PrismRow, PrismRule, Requirement, component_requirement};
use super::rule::Rule;
use super::verdict::{Finding, Parameter, Reading, Verdict};
use super::{Class, Meridians, RowPower};
use crate::prism::{NoPower, Prism, decentration};
use crate::quantity::{Axis, Degree, Dioptre, Millimetre, PrismDioptre};
use crate::rx::SpheroCylinder;
use crate::vector::{PowerMatrix, PowerVector};

/// The lens as ordered: for a lens compensated for its position of wear, the maker's verification power and prism.
///
/// # Source
/// That row and limit follow the verification power: ISO 8980-1:2004 and ISO 21987:2017, "As lentes para oculos
/// montadas", qualidadeonline.wordpress.com.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Ordered {
    /// Power, in either form.
    pub power: SpheroCylinder,
    /// Addition, if the lens has one.
    pub addition: Option<Dioptre>,
    /// Prism at the prism reference point, thinning prism included.
    pub prism: Prism,
}

/// The lens as measured. `None`: not measured, and the verdict can at best be undetermined.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Measured {
    /// Power at the reference point.
    pub power: Option<MeasuredPower>,
    /// Addition.
    pub addition: Option<Dioptre>,
    /// Prism at the place where it is ordered.
    pub prism: Option<Prism>,
}

/// A measured power in the form in which it came, which loses nothing.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum MeasuredPower {
    /// A power vector, as a fit to a wavefront gives it.
    Vector(PowerVector),
    /// Sphere, cylinder and axis, as a focimeter shows them.
    Written(SpheroCylinder),
}

impl From<PowerVector> for MeasuredPower {
    fn from(power: PowerVector) -> Self {
        Self::Vector(power)
    }
}

impl From<SpheroCylinder> for MeasuredPower {
    fn from(power: SpheroCylinder) -> Self {
        Self::Written(power)
    }
}

impl MeasuredPower {
    fn principal(self) -> Principal {
        let written = match self {
            Self::Vector(power) => power.sphero_cylinder(),
            Self::Written(power) => Ok(power),
        };
        written.map_or(Principal::BEYOND, Principal::of)
    }

    pub(super) fn matrix(self) -> PowerMatrix {
        match self {
            Self::Vector(power) => power.into(),
            Self::Written(power) => power.into(),
        }
    }
}

/// Principal powers, cylinder and axis of a lens in minus-cylinder form: none depends on the form it was written in.
#[derive(Clone, Copy)]
struct Principal {
    /// Along the axis.
    sphere: Dioptre,
    /// Across it.
    across: Dioptre,
    cylinder: Dioptre,
    axis: Axis,
}

impl Principal {
    /// No prescription: some part is saturated, or beyond what a lens can have.
    const BEYOND: Self =
        Self { sphere: Dioptre::MAX, across: Dioptre::MAX, cylinder: Dioptre::MAX, axis: Axis::HORIZONTAL };

    #[inline(never)] // Once for each lens: size counts, not speed.
    fn of(power: SpheroCylinder) -> Self {
        let power = power.minus_form();
        let (sphere, across) = power.principal_powers();
        Self { sphere, across, cylinder: power.cylinder(), axis: power.axis() }
    }

    fn strongest(&self) -> Dioptre {
        self.sphere.abs().max(self.across.abs())
    }
}

/// Judges one lens.
///
/// Compared are, as the class asks: the principal powers and the cylinder in minus-cylinder form, so that the form in
/// which either was written does not matter; the axis modulo 180 degrees; the addition, when one is ordered; the prism
/// at the place where it is ordered, by components, or as resultant together with the position of the point that has
/// the ordered prism.
///
/// Special cases:
/// - not measured: undetermined;
/// - saturated, or a power beyond [`crate::rx::MOST_POWER`]: fails;
/// - ordered without cylinder: no finding about an axis, but the cylinder must be within its limit;
/// - the measured lens has no cylinder, so no axis: the axis is undetermined;
/// - an ordered cylinder for which the class has no axis limit: conforms;
/// - an ordered addition and a class without rows for one: undetermined;
/// - an uncertainty that the guarded rule needs is not known: undetermined, however large the deviation;
/// - a meridian without power ([`crate::vector::LEAST_POWER`]): no point of the lens has the ordered prism unless the
///   missing prism lies along the other meridian, and the position fails. The prism itself may still conform.
///
/// # Accuracy
/// Deviations exact for a power given as [`MeasuredPower::Written`], an addition, and components of prism; as accurate
/// as [`PowerVector::sphero_cylinder`] and [`decentration`] otherwise. On top of every limit come 2 units in the last
/// place ([`Dioptre::SLACK`]; as many of 2^-20 prism dioptre, 2^-20 degree and 2^-16 mm), since decimals are not exact
/// in binary.
///
/// # Source
/// The class's; decision rules: see [`Rule`].
///
/// ```
/// use dioptric::prism::Prism;
/// use dioptric::rx::SpheroCylinder;
/// use dioptric::tolerance::{self, Decision, ISO_21987, Measured, Ordered, Parameter, Rule};
///
/// let ordered = Ordered { power: "-2.00 -1.00 x 35".parse()?, ..Ordered::default() };
/// let read: SpheroCylinder = "-3.06 +0.97 x 128".parse()?; // a focimeter set to plus cylinders
/// let measured = Measured { power: Some(read.into()), prism: Some(Prism::ZERO), ..Measured::default() };
///
/// let verdict = tolerance::judge(&ISO_21987, &ordered, &measured, Rule::Simple);
/// assert_eq!(verdict.decision(), Decision::Conforms);
/// let axis = verdict.finding(Parameter::Axis).unwrap();
/// assert_eq!(axis.to_string(), "axis 038 for 035, off by 3.000 of 4.000 deg: conforms");
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
#[must_use]
pub fn judge(class: &Class, ordered: &Ordered, measured: &Measured, rule: Rule) -> Verdict {
    let bench = Bench {
        class,
        order: Principal::of(ordered.power),
        lens: measured.power.map(MeasuredPower::principal),
        rule: &rule,
    };
    let [first, second] = bench.prism(ordered, measured);
    let [sphere, across] = bench.meridians();
    Verdict::of([
        sphere,
        across,
        Some(bench.cylinder()),
        bench.axis(),
        bench.addition(ordered.addition, measured.addition),
        first,
        second,
    ])
}

/// Everything that judging one parameter needs.
struct Bench<'a> {
    class: &'a Class,
    order: Principal,
    lens: Option<Principal>,
    rule: &'a Rule,
}

impl Bench<'_> {
    fn finding(&self, parameter: Parameter, ordered: i32, reading: Reading, asked: Requirement) -> Finding {
        Finding::new(parameter, ordered, reading, asked, self.rule)
    }

    /// A power against a power.
    #[inline(never)] // Four callers.
    fn power(&self, parameter: Parameter, ordered: Dioptre, measured: Option<Dioptre>, asked: Requirement) -> Finding {
        let reading = Reading {
            measured: measured.map(Dioptre::to_bits),
            deviation: measured.map(|measured| (measured - ordered).to_bits()),
        };
        self.finding(parameter, ordered.to_bits(), reading, asked)
    }

    fn row_power(&self) -> Dioptre {
        match self.class.row_power {
            RowPower::StrongestMeridian => self.order.strongest(),
            RowPower::SphereMeridian => self.order.sphere.abs(),
        }
    }

    fn meridians(&self) -> [Option<Finding>; 2] {
        let sphere_is_strongest = self.order.sphere.abs() >= self.order.across.abs();
        let (sphere, across) = match self.class.meridians {
            Meridians::Both => (true, true),
            Meridians::Sphere => (true, false),
            Meridians::Strongest => (sphere_is_strongest, !sphere_is_strongest),
        };
        let judged = |parameter, ordered, measured: Option<Dioptre>| {
            self.power(parameter, ordered, measured, self.class.meridian_requirement(self.row_power(), ordered))
        };
        [
            sphere.then(|| judged(Parameter::SphereMeridian, self.order.sphere, self.lens.map(|lens| lens.sphere))),
            across.then(|| judged(Parameter::CylinderMeridian, self.order.across, self.lens.map(|lens| lens.across))),
        ]
    }

    fn cylinder(&self) -> Finding {
        let ordered = self.order.cylinder;
        let asked = self.class.cylinder_requirement(self.row_power(), ordered);
        self.power(Parameter::Cylinder, ordered, self.lens.map(|lens| lens.cylinder), asked)
    }

    fn axis(&self) -> Option<Finding> {
        if self.order.cylinder == Dioptre::ZERO {
            return None;
        }
        let reading = match self.lens {
            Some(lens) if lens.cylinder.is_saturated() => {
                Reading { measured: None, deviation: Some(Degree::MAX.to_bits()) }
            }
            Some(lens) if lens.cylinder != Dioptre::ZERO => Reading {
                measured: Some(lens.axis.to_bits().cast_signed()),
                deviation: Some(lens.axis.angle_from(self.order.axis).to_bits()),
            },
            _ => Reading { measured: None, deviation: None },
        };
        let ordered = self.order.axis.to_bits().cast_signed();
        Some(self.finding(Parameter::Axis, ordered, reading, self.class.axis_requirement(self.order.cylinder)))
    }

    fn addition(&self, ordered: Option<Dioptre>, measured: Option<Dioptre>) -> Option<Finding> {
        let ordered = ordered?;
        Some(self.power(Parameter::Addition, ordered, measured, self.class.addition_requirement(ordered)))
    }

    fn prism(&self, ordered: &Ordered, measured: &Measured) -> [Option<Finding>; 2] {
        match self.class.prism {
            PrismRule::NoRequirement => [None, None],
            PrismRule::Components { rows, horizontal_shift, vertical_shift } => {
                self.components(rows, [horizontal_shift, vertical_shift], ordered.prism, measured.prism).map(Some)
            }
            PrismRule::PrismOrPosition { prism, position, .. } => Finding::either(
                self.resultant(ordered.prism, measured.prism, prism),
                self.reference_point(ordered.prism, measured, position),
            )
            .map(Some),
        }
    }

    fn components(
        &self,
        rows: &[PrismRow],
        [horizontal, vertical]: [Millimetre; 2],
        ordered: Prism,
        measured: Option<Prism>,
    ) -> [Finding; 2] {
        let (amount, _) = ordered.resultant();
        let judged = |parameter, ordered: PrismDioptre, measured: Option<PrismDioptre>, shift| {
            let reading = Reading {
                measured: measured.map(PrismDioptre::to_bits),
                deviation: measured.map(|measured| (measured - ordered).to_bits()),
            };
            let asked = component_requirement(rows, amount, shift, self.order.strongest());
            self.finding(parameter, ordered.to_bits(), reading, asked)
        };
        [
            judged(Parameter::PrismHorizontal, ordered.x, measured.map(|prism| prism.x), horizontal),
            judged(Parameter::PrismVertical, ordered.y, measured.map(|prism| prism.y), vertical),
        ]
    }

    fn resultant(&self, ordered: Prism, measured: Option<Prism>, limit: PrismDioptre) -> Finding {
        let amount = |prism: Prism| prism.resultant().0.to_bits();
        let reading =
            Reading { measured: measured.map(amount), deviation: measured.map(|measured| amount(measured - ordered)) };
        self.finding(Parameter::Prism, amount(ordered), reading, Requirement::Within(limit.to_bits()))
    }

    /// Where the lens has the ordered prism, seen from where it should have it.
    fn reference_point(&self, ordered: Prism, measured: &Measured, limit: Millimetre) -> Finding {
        let both = measured.power.zip(measured.prism);
        let distance = both.map(|(power, prism)| distance(power.matrix(), prism - ordered).to_bits());
        let reading = Reading { measured: distance, deviation: distance };
        self.finding(Parameter::ReferencePoint, 0, reading, Requirement::Within(limit.to_bits()))
    }
}

/// Distance of the point at which a lens of that power has `surplus` less prism. Beyond the scale when there is none.
fn distance(power: PowerMatrix, surplus: Prism) -> Millimetre {
    /// What resolving a prism along a meridian and putting it together again may be off by.
    const ROUNDING: PrismDioptre = PrismDioptre::from_bits(2);
    match decentration(power, surplus) {
        Ok(point) => point.distance(),
        Err(NoPower { reachable, missing, .. }) => {
            if missing.x.abs() <= ROUNDING && missing.y.abs() <= ROUNDING {
                reachable.distance()
            } else {
                Millimetre::MAX
            }
        }
    }
}
