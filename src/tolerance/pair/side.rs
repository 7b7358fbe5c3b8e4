//! One lens of a pair: its order as the bench must find it, and what was measured.

use super::super::rows::Requirement;
use super::super::verdict::Reading;
use super::super::{Finding, Parameter, Rule, Verdict, judge};
use super::Acceptance;
use super::class::{CurveLimit, GeometryLimits, LengthLimit, PairClass, TiltLimit};
use crate::lens;
use crate::order::{LensKind, LensMeasurement, LensOrder};
use crate::prism::{Eye, NoPower, Prism, decentration};
use crate::quantity::{Degree, Dioptre, Millimetre, Point, PrismDioptre};
use crate::tolerance::Ordered;
use crate::vector::PowerMatrix;

#[derive(Clone, Copy)]
pub(super) struct Side<'a> {
    pub eye: Eye,
    pub order: &'a LensOrder,
    pub bench: Ordered,
    /// Of the bench's order.
    pub power: PowerMatrix,
    pub lens: &'a LensMeasurement,
    rule: Rule,
}

impl<'a> Side<'a> {
    pub(super) fn new(
        eye: Eye,
        order: &'a LensOrder,
        lens: &'a LensMeasurement,
        acceptance: Acceptance,
    ) -> Result<Self, lens::Error> {
        let bench = order.at_bench()?;
        let rule = match acceptance {
            Acceptance::Simple => Rule::Simple,
            Acceptance::Guarded => Rule::Guarded(lens.uncertainty),
        };
        Ok(Self { eye, order, bench, power: bench.power.into(), lens, rule })
    }

    /// Judged as the standards judge power-variation lenses.
    pub(super) fn is_special(&self) -> bool {
        self.order.kind == LensKind::PowerVariation || self.order.is_position_specific()
    }

    pub(super) fn prism(&self) -> Option<Prism> {
        self.lens.optics.prism
    }

    pub(super) fn ordered_amount(&self) -> PrismDioptre {
        self.bench.prism.resultant().0
    }

    pub(super) fn measured_power(&self) -> PowerMatrix {
        self.lens.optics.power.map_or(self.power, super::super::MeasuredPower::matrix)
    }

    /// The reference point, seen from where it should be.
    pub(super) fn offset(&self) -> Option<Point> {
        self.lens.reference_offset.or_else(|| self.offset_of_marks()).or_else(|| self.offset_of_prism())
    }

    /// Expanded uncertainty of that: of a position read in the frame where it is one.
    pub(super) fn offset_uncertainty(&self) -> Option<Millimetre> {
        let read_in_frame = self.lens.reference_offset.is_none() && self.offset_of_marks().is_some();
        let uncertainty = &self.lens.uncertainty;
        if read_in_frame { uncertainty.length } else { uncertainty.position }
    }

    /// Of a single-vision lens, whose height is that of the reference point.
    fn offset_of_marks(&self) -> Option<Point> {
        if self.order.kind != LensKind::SingleVision {
            return None;
        }
        let outward = self.lens.centration_distance? - self.order.centration_distance?;
        let up = self.lens.height? - self.order.height?;
        Some(match self.eye {
            Eye::Right => Point::new(-outward, up),
            Eye::Left => Point::new(outward, up),
        })
    }

    fn offset_of_prism(&self) -> Option<Point> {
        /// What resolving a prism along a meridian and putting it together again may be off by.
        const ROUNDING: PrismDioptre = PrismDioptre::from_bits(2);
        let power = self.lens.optics.power?.matrix();
        let surplus = self.prism()? - self.bench.prism;
        Some(decentration(power, surplus).unwrap_or_else(|NoPower { reachable, missing, .. }| {
            let beyond =
                |missing: PrismDioptre, reached| if missing.abs() <= ROUNDING { reached } else { Millimetre::MAX };
            Point::new(beyond(missing.x, reachable.x), beyond(missing.y, reachable.y))
        }))
    }

    /// What is found of this lens. `judged_together`: its prism counts in the pair's imbalance alone.
    pub(super) fn verdict(&self, class: &PairClass, judged_together: bool) -> Verdict {
        let verdict = judge(class.of_lens(self.order.kind), &self.bench, &self.lens.optics, self.rule);
        let verdict = if judged_together { verdict.only(is_not_prism) } else { verdict };
        let geometry = self.geometry(&class.geometry).into_iter();
        geometry.chain(self.directions(class)).flatten().fold(verdict, Verdict::with)
    }

    fn directions(&self, class: &PairClass) -> [Option<Finding>; 2] {
        let polariser = self.order.polariser.zip(class.polariser);
        let gradient = self.order.gradient.zip(class.gradient);
        [
            polariser.map(|(ordered, limit)| limit.judge_axis(ordered, self.lens.polariser, self.rule)),
            gradient.map(|(ordered, limit)| limit.judge_bearing(ordered, self.lens.gradient, self.rule)),
        ]
    }

    fn geometry(&self, limits: &GeometryLimits) -> [Option<Finding>; 8] {
        let (order, lens) = (self.order, self.lens);
        let (height, tilt) = match order.kind {
            LensKind::SingleVision => (None, None),
            LensKind::Multifocal => (limits.segment_height, limits.segment_tilt),
            LensKind::PowerVariation => (limits.fitting_height, limits.marks_tilt),
        };
        let distance = limits.fitting_distance.filter(|_| order.kind == LensKind::PowerVariation);
        let size = limits.segment_size;
        [
            self.length(Parameter::Height, order.height, lens.height, height),
            self.length(Parameter::FittingPoint, order.centration_distance, lens.centration_distance, distance),
            self.tilt(tilt),
            self.length(
                Parameter::SegmentWidth,
                order.segment.map(|segment| segment.width),
                lens.segment.map(|segment| segment.width),
                size,
            ),
            self.length(
                Parameter::SegmentDepth,
                order.segment.map(|segment| segment.depth),
                lens.segment.map(|segment| segment.depth),
                size,
            ),
            self.length(
                Parameter::CentreThickness,
                order.centre_thickness,
                lens.centre_thickness,
                limits.centre_thickness,
            ),
            self.curve(Parameter::BaseCurve, order.base_curve, lens.base_curve, limits.base_curve),
            self.curve(Parameter::Warpage, lens.warpage.map(|_| Dioptre::ZERO), lens.warpage, limits.warpage),
        ]
    }

    fn length(
        &self,
        parameter: Parameter,
        ordered: Option<Millimetre>,
        measured: Option<Millimetre>,
        limit: Option<LengthLimit>,
    ) -> Option<Finding> {
        let (ordered, limit) = (ordered?, limit?.limit.to_bits());
        let deviation = measured.map(|measured| (measured - ordered).to_bits());
        let reading = Reading { measured: measured.map(Millimetre::to_bits), deviation };
        Some(Finding::new(parameter, ordered.to_bits(), reading, Requirement::Within(limit), &self.rule))
    }

    fn curve(
        &self,
        parameter: Parameter,
        ordered: Option<Dioptre>,
        measured: Option<Dioptre>,
        limit: Option<CurveLimit>,
    ) -> Option<Finding> {
        let (ordered, limit) = (ordered?, limit?.limit.to_bits());
        let deviation = measured.map(|measured| (measured - ordered).to_bits());
        let reading = Reading { measured: measured.map(Dioptre::to_bits), deviation };
        Some(Finding::new(parameter, ordered.to_bits(), reading, Requirement::Within(limit), &self.rule))
    }

    /// Level is what is ordered of every segment and of every lens with marks.
    fn tilt(&self, limit: Option<TiltLimit>) -> Option<Finding> {
        let limit = limit?.limit.to_bits();
        let measured = self.lens.tilt;
        if measured.is_none() && self.order.height.is_none() {
            return None;
        }
        let bits = measured.map(Degree::to_bits);
        let reading = Reading { measured: bits, deviation: bits };
        Some(Finding::new(Parameter::SegmentTilt, 0, reading, Requirement::Within(limit), &self.rule))
    }
}

const fn is_not_prism(parameter: Parameter) -> bool {
    !matches!(
        parameter,
        Parameter::PrismHorizontal | Parameter::PrismVertical | Parameter::Prism | Parameter::ReferencePoint
    )
}
