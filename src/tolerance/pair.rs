//! A mounted pair of spectacle lenses: each lens, and what only both together show.

mod class;
mod remedy;
mod side;
mod tables;

pub use class::{
    BlameRule, CurveLimit, GeometryLimits, ImbalanceLimit, ImbalanceRow, ImbalanceRule, LengthLimit, PairClass,
    PrismOrPosition, RowLens, TiltLimit,
};
pub use remedy::shift_for_imbalance;
pub use tables::{ANSI_Z80_1_PAIR, ISO_21987_PAIR};

use super::rows::{Requirement, reaches};
use super::verdict::Reading;
use super::{Decision, Finding, Parameter, Rule, Uncertainty, Verdict};
use crate::lens;
use crate::order::{LensKind, Measurement, Order};
use crate::prism::{Eye, Prism};
use crate::quantity::{Dioptre, Millimetre, Point, PrismDioptre};
use core::fmt;
use remedy::{Band, least_shift};
use side::Side;

/// How measurement uncertainty counts in a pair: each lens's [`Measurement`] brings its own. See [`Rule`].
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Acceptance {
    /// [`Rule::Simple`].
    Simple,
    /// [`Rule::Guarded`] by the uncertainty in each lens's measurement.
    Guarded,
}

/// The verdict on a pair.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct PairVerdict {
    /// The right eye's lens, if one was ordered.
    pub right: Option<Verdict>,
    /// The left eye's lens, if one was ordered.
    pub left: Option<Verdict>,
    /// What both show together; `None` when one eye alone was ordered.
    pub pair: Option<Verdict>,
    /// The lens that must give way horizontally, by the class's [`BlameRule`]; `None` while the imbalance conforms, is unknown, or both
    /// lenses are as much to blame.
    pub blamed_horizontally: Option<Eye>,
    /// The same vertically.
    pub blamed_vertically: Option<Eye>,
    /// The least shift of the right lens alone after which imbalance or positions conform. `None` where nothing need be
    /// moved, no shift does it, or the pair's imbalance is not judged.
    pub shift_right: Option<Point>,
    /// The same of the left lens.
    pub shift_left: Option<Point>,
}

impl PairVerdict {
    /// One lens's verdict.
    #[must_use]
    pub const fn lens(&self, eye: Eye) -> Option<&Verdict> {
        match eye {
            Eye::Right => self.right.as_ref(),
            Eye::Left => self.left.as_ref(),
        }
    }

    /// The worst of all; undetermined without any.
    #[must_use]
    pub fn decision(&self) -> Decision {
        let parts = [self.right, self.left, self.pair].into_iter().flatten();
        parts.map(|part| part.decision()).max().unwrap_or(Decision::Undetermined)
    }
}

impl fmt::Display for PairVerdict {
    /// The decision, and the findings that do not conform: of the right lens, of the left one, of both.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.decision())?;
        for (name, part) in [("right", self.right), ("left", self.left), ("pair", self.pair)] {
            if let Some(part) = part {
                write!(f, "; {name} {part}")?;
            }
        }
        Ok(())
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for PairVerdict {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{}; right {}; left {}; pair {}", self.decision(), self.right, self.left, self.pair);
    }
}

/// Judges a mounted pair, or the one lens of it that was ordered.
///
/// Each lens is judged by [`judge`](super::judge) against [`LensOrder::at_bench`](crate::order::LensOrder::at_bench), and by what of its
/// geometry was ordered. Both together: the prism imbalance, the positions of the reference points where they excuse it, the distance of the
/// segments, the difference of heights and of segment sizes, bicentric prism.
///
/// # Imbalance
/// What the right lens has too much, less what the left one has, both in the observer's frame. A base in is to the observer's right on the
/// right eye and to his left on the left, so that horizontally like bases add and unlike ones subtract; vertically it is the other way round. The
/// finding shows bases in, and the base up of the right eye, as positive.
///
/// Where the imbalance is judged, the prism of each lens by itself is not.
///
/// # Special cases
/// - one eye ordered: no finding of a pair; that lens's own prism is judged;
/// - ordered and not measured: undetermined; measured and not ordered: no finding, but for warpage, of which none is ever ordered;
/// - either lens's prism not measured: the imbalance is undetermined, and so is what is known of the positions alone;
/// - saturated: fails;
/// - a direction without power: there is no such point, its position fails, and the imbalance decides;
/// - one power-variation or position-specific lens in the pair: the pair is judged as one of these;
/// - bicentric prism: by the limit of the vertical imbalance, undetermined where the class has none; both lenses must be measured, the
///   one without it too.
///
/// # Accuracy
/// Sums of prisms exact; positions as [`decentration`](crate::prism::decentration); shifts as [`shift_for_imbalance`]. Expanded uncertainties of
/// both lenses add as the sides of a right angle; that of a position is [`Uncertainty::length`] where it was read in the frame. Slack as in [`judge`](super::judge).
///
/// # Errors
/// Those of [`LensOrder::at_bench`](crate::order::LensOrder::at_bench): no such lens can be ordered.
///
/// # Source
/// The class's. The rule of signs: "CSN EN ISO 4007 ... prism imbalance", nlfnorm.cz, citing ISO 21987:2017, 6.6.
///
/// ```
/// use dioptric::order::{LensMeasurement, LensOrder, Measurement, Order};
/// use dioptric::prism::Prism;
/// use dioptric::{prism_dioptres, tolerance::{self, ANSI_Z80_1_PAIR, Acceptance, Measured, Parameter}};
///
/// let lens = LensOrder { power: "-4.00".parse()?, ..LensOrder::default() };
/// let order = Order { right: Some(lens), left: Some(lens) };
/// let measured = |prism| LensMeasurement {
///     optics: Measured { power: Some(lens.power.into()), prism: Some(prism), ..Measured::default() },
///     ..LensMeasurement::default()
/// };
/// let up = |amount| Prism::new(prism_dioptres!(0.0), amount);
/// let pair = Measurement { right: measured(up(prism_dioptres!(0.60))), left: measured(up(prism_dioptres!(0.10))) };
/// let verdict = tolerance::judge_pair(&ANSI_Z80_1_PAIR, &order, &pair, Acceptance::Simple).unwrap();
/// let finding = verdict.pair.unwrap().finding(Parameter::ImbalanceVertical).unwrap().to_string();
/// assert_eq!(finding, "vertical imbalance 0.50 for 0.00, off by 0.500 of 0.330 cm/m: fails");
/// assert_eq!(verdict.shift_right.unwrap().to_string(), "0.00, 0.25 mm"); // then 1.0 mm apart
/// # Ok::<(), dioptric::text::ParseError>(())
/// ```
pub fn judge_pair(
    class: &PairClass,
    order: &Order,
    measured: &Measurement,
    acceptance: Acceptance,
) -> Result<PairVerdict, lens::Error> {
    let side = |eye| -> Result<Option<Side>, lens::Error> {
        order.lens(eye).map(|lens| Side::new(eye, lens, measured.lens(eye), acceptance)).transpose()
    };
    let (right, left) = (side(Eye::Right)?, side(Eye::Left)?);
    let Some(both) = right.zip(left).map(|(right, left)| Both { class, right, left, acceptance }) else {
        return Ok(PairVerdict {
            right: right.map(|side| side.verdict(class, false)),
            left: left.map(|side| side.verdict(class, false)),
            pair: None,
            blamed_horizontally: None,
            blamed_vertically: None,
            shift_right: None,
            shift_left: None,
        });
    };
    Ok(both.verdict())
}

/// Both lenses of a pair.
struct Both<'a> {
    class: &'a PairClass,
    right: Side<'a>,
    left: Side<'a>,
    acceptance: Acceptance,
}

/// What was found of the imbalance.
struct Imbalance {
    horizontal: Finding,
    vertical: Finding,
    /// Positions that may excuse it.
    positions: [Option<Finding>; 2],
}

impl Both<'_> {
    fn verdict(&self) -> PairVerdict {
        let imbalance = self.imbalance();
        let judged_together = imbalance.is_some();
        let (horizontal, vertical) =
            imbalance.as_ref().map_or((None, None), |found| (Some(found.horizontal), Some(found.vertical)));
        let [distance, heights] = imbalance.as_ref().map_or([None, None], |found| found.positions);
        let [shift_right, shift_left] = imbalance.as_ref().map_or([None, None], |found| self.shifts(found));
        PairVerdict {
            right: Some(self.right.verdict(self.class, judged_together)),
            left: Some(self.left.verdict(self.class, judged_together)),
            pair: Some(Verdict::of([
                horizontal,
                vertical,
                distance,
                heights,
                self.near_centration(),
                self.height_difference(),
                self.segment_difference(),
                self.bicentric(),
            ])),
            blamed_horizontally: self.blamed(horizontal, |power, _| power, |prism| prism.x),
            blamed_vertically: self.blamed(vertical, |_, power| power, |prism| prism.y),
            shift_right,
            shift_left,
        }
    }

    /// The rule for lenses of these kinds.
    fn imbalance_rule(&self) -> &ImbalanceRule {
        if self.right.is_special() || self.left.is_special() {
            &self.class.imbalance_power_variation
        } else {
            &self.class.imbalance
        }
    }

    fn imbalance(&self) -> Option<Imbalance> {
        let rule = self.rule();
        let [limit_x, limit_y] = self.imbalance_limits()?;
        let ordered = self.right.bench.prism - self.left.bench.prism;
        let measured = self.right.prism().zip(self.left.prism()).map(|(right, left)| right - left);
        let judged = |parameter, ordered: PrismDioptre, measured: Option<PrismDioptre>, asked| {
            let reading = Reading {
                measured: measured.map(PrismDioptre::to_bits),
                deviation: measured.map(|measured| (measured - ordered).to_bits()),
            };
            Finding::new(parameter, ordered.to_bits(), reading, asked, &rule)
        };
        let horizontal = judged(Parameter::ImbalanceHorizontal, ordered.x, measured.map(|prism| prism.x), limit_x);
        let vertical = judged(Parameter::ImbalanceVertical, ordered.y, measured.map(|prism| prism.y), limit_y);
        let ImbalanceRule::PrismOrPosition { horizontal: across, vertical: up, each } = self.imbalance_rule() else {
            return Some(Imbalance { horizontal, vertical, positions: [None, None] });
        };
        let [horizontal, distance] = Finding::either(horizontal, self.distance(across.position, *each));
        let [vertical, heights] = Finding::either(vertical, self.heights(up.position));
        Some(Imbalance { horizontal, vertical, positions: [Some(distance), Some(heights)] })
    }

    /// Of the imbalance, horizontally and vertically; `None` where it is not judged.
    fn imbalance_limits(&self) -> Option<[Requirement; 2]> {
        match self.imbalance_rule() {
            ImbalanceRule::PrismOrPosition { horizontal, vertical, .. } => {
                Some([horizontal, vertical].map(|limit| Requirement::Within(limit.prism.to_bits())))
            }
            ImbalanceRule::Rows { rows, power } => {
                let ordered = self.right.ordered_amount().max(self.left.ordered_amount());
                let row = rows.iter().find(|row| reaches(row.up_to.to_bits(), ordered.to_bits()));
                let counts = |right: Dioptre, left: Dioptre| match power {
                    RowLens::Stronger => right.abs().max(left.abs()),
                    RowLens::Weaker => right.abs().min(left.abs()),
                };
                let (right, left) = (self.right.power, self.left.power);
                let limits = row.map(|row| {
                    [row.horizontal.of(counts(right.xx, left.xx)), row.vertical.of(counts(right.yy, left.yy))]
                });
                Some(limits.map_or([Requirement::Unknown; 2], |limits| {
                    limits.map(|limit| Requirement::Within(limit.to_bits()))
                }))
            }
            ImbalanceRule::EachLens => None,
        }
    }

    /// How far apart the reference points are: the left lens is to the observer's right.
    fn distance(&self, limit: Millimetre, each: bool) -> Finding {
        let offsets = self.right.offset().zip(self.left.offset());
        let deviation = offsets.map(|(right, left)| match each {
            false => left.x - right.x,
            true if right.x.abs() > left.x.abs() => -right.x,
            true => left.x,
        });
        let ordered = self.right.order.centration_distance.zip(self.left.order.centration_distance);
        let ordered = ordered.map_or(Millimetre::ZERO, |(right, left)| right + left);
        self.length(Parameter::CentrationDistance, ordered, deviation.map(|deviation| ordered + deviation), limit)
    }

    fn heights(&self, limit: Millimetre) -> Finding {
        let offsets = self.right.offset().zip(self.left.offset());
        let ordered = self.right.order.height.zip(self.left.order.height);
        let ordered = ordered.map_or(Millimetre::ZERO, |(right, left)| right - left);
        let measured = offsets.map(|(right, left)| ordered + (right.y - left.y));
        self.length(Parameter::ReferenceHeights, ordered, measured, limit)
    }

    fn near_centration(&self) -> Option<Finding> {
        let limit = self.class.geometry.near_centration?.limit;
        let ordered = self.right.order.near_centration.zip(self.left.order.near_centration)?;
        let measured = self.right.lens.near_centration.zip(self.left.lens.near_centration);
        let sum = |(right, left): (Millimetre, Millimetre)| right + left;
        Some(self.length(Parameter::NearCentration, sum(ordered), measured.map(sum), limit))
    }

    fn height_difference(&self) -> Option<Finding> {
        let kinds = (self.right.order.kind, self.left.order.kind);
        let limit = match kinds {
            (LensKind::SingleVision, _) | (_, LensKind::SingleVision) => return None,
            (LensKind::Multifocal, LensKind::Multifocal) => self.class.geometry.segment_heights,
            _ => self.class.geometry.fitting_heights,
        };
        let ordered = self.right.order.height.zip(self.left.order.height)?;
        let measured = self.right.lens.height.zip(self.left.lens.height);
        let difference = |(right, left): (Millimetre, Millimetre)| right - left;
        Some(self.length(Parameter::HeightDifference, difference(ordered), measured.map(difference), limit?.limit))
    }

    /// Of width or depth, whichever differs more from what was ordered.
    fn segment_difference(&self) -> Option<Finding> {
        let limit = self.class.geometry.segment_difference?.limit;
        let ordered = self.right.order.segment.zip(self.left.order.segment)?;
        let measured = self.right.lens.segment.zip(self.left.lens.segment);
        let width = ordered.0.width - ordered.1.width;
        let depth = ordered.0.depth - ordered.1.depth;
        let found = measured.map(|(right, left)| (right.width - left.width, right.depth - left.depth));
        let (ordered, measured) = match found {
            Some((_, found)) if self.is_depth_worse((width, depth), measured) => (depth, Some(found)),
            Some((found, _)) => (width, Some(found)),
            None => (width, None),
        };
        Some(self.length(Parameter::SegmentDifference, ordered, measured, limit))
    }

    fn is_depth_worse(
        &self,
        (width, depth): (Millimetre, Millimetre),
        measured: Option<(crate::order::SegmentSize, crate::order::SegmentSize)>,
    ) -> bool {
        measured.is_some_and(|(right, left)| {
            (right.depth - left.depth - depth).abs() > (right.width - left.width - width).abs()
        })
    }

    /// Judged by the limit of the vertical imbalance.
    fn bicentric(&self) -> Option<Finding> {
        let (right, left) = (self.right.order.bicentric, self.left.order.bicentric);
        if right.is_none() && left.is_none() {
            return None;
        }
        let ordered = right.unwrap_or_default() - left.unwrap_or_default();
        let measured = self.right.lens.bicentric.zip(self.left.lens.bicentric).map(|(right, left)| right - left);
        let [_, asked] = self.imbalance_limits().unwrap_or([Requirement::Unknown; 2]);
        let reading = Reading {
            measured: measured.map(PrismDioptre::to_bits),
            deviation: measured.map(|measured| (measured - ordered).to_bits()),
        };
        Some(Finding::new(Parameter::BicentricPrism, ordered.to_bits(), reading, asked, &self.rule()))
    }

    fn length(
        &self,
        parameter: Parameter,
        ordered: Millimetre,
        measured: Option<Millimetre>,
        limit: Millimetre,
    ) -> Finding {
        let reading = Reading {
            measured: measured.map(Millimetre::to_bits),
            deviation: measured.map(|measured| (measured - ordered).to_bits()),
        };
        Finding::new(parameter, ordered.to_bits(), reading, Requirement::Within(limit.to_bits()), &self.rule())
    }

    /// Uncertainties of differences between both lenses.
    fn rule(&self) -> Rule {
        if self.acceptance == Acceptance::Simple {
            return Rule::Simple;
        }
        let (right, left) = (&self.right.lens.uncertainty, &self.left.lens.uncertainty);
        let prisms = |right: Option<PrismDioptre>, left: Option<PrismDioptre>| {
            right.zip(left).map(|(right, left)| Prism::new(right, left).resultant().0)
        };
        let lengths = |right: Option<Millimetre>, left: Option<Millimetre>| {
            right.zip(left).map(|(right, left)| Point::new(right, left).distance())
        };
        Rule::Guarded(Uncertainty {
            prism_horizontal: prisms(right.prism_horizontal, left.prism_horizontal),
            prism_vertical: prisms(right.prism_vertical, left.prism_vertical),
            position: lengths(self.right.offset_uncertainty(), self.left.offset_uncertainty()),
            length: lengths(right.length, left.length),
            bicentric: prisms(right.bicentric, left.bicentric),
            ..Uncertainty::default()
        })
    }

    /// By `power`, the one in that direction of horizontal and vertical, and by `part` of the prism.
    fn blamed(
        &self,
        finding: Option<Finding>,
        power: fn(Dioptre, Dioptre) -> Dioptre,
        part: fn(Prism) -> PrismDioptre,
    ) -> Option<Eye> {
        let finding = finding?;
        if finding.decision() == Decision::Conforms || finding.deviation().is_none() {
            return None;
        }
        let of = |side: &Side| match self.class.blame {
            BlameRule::OtherThanStronger => power(side.power.xx, side.power.yy).abs().to_bits().saturating_neg(),
            BlameRule::FurtherOff => side.prism().map_or(0, |prism| part(prism - side.bench.prism).abs().to_bits()),
        };
        match of(&self.right).cmp(&of(&self.left)) {
            core::cmp::Ordering::Greater => Some(Eye::Right),
            core::cmp::Ordering::Less => Some(Eye::Left),
            core::cmp::Ordering::Equal => None,
        }
    }

    /// The least shift of either lens alone.
    fn shifts(&self, found: &Imbalance) -> [Option<Point>; 2] {
        let conforms = |finding: &Finding| finding.decision() == Decision::Conforms;
        if conforms(&found.horizontal) && conforms(&found.vertical) {
            return [None, None];
        }
        [self.shift_of(Eye::Right, found), self.shift_of(Eye::Left, found)]
    }

    /// By the imbalance or, where the class lets it count, by the position: whichever is nearer, horizontally and vertically.
    fn shift_of(&self, eye: Eye, found: &Imbalance) -> Option<Point> {
        let prism = |finding: &Finding| {
            let limit = PrismDioptre::from_bits(finding.guarded_limit_bits()?);
            Some((PrismDioptre::from_bits(finding.deviation_bits()?), limit))
        };
        let ((x, across), (y, up)) = (prism(&found.horizontal)?, prism(&found.vertical)?);
        // What is too much of the right lens is too little of the left one.
        let (power, surplus) = match eye {
            Eye::Right => (self.right.measured_power(), Prism::new(x, y)),
            Eye::Left => (self.left.measured_power(), Prism::new(-x, -y)),
        };
        let [by_x, by_y] = Band::of_prism(power, surplus, [across, up]);
        let [at_x, at_y] = self.positions_of(eye, found);
        let choices = [[Some(by_x), Some(by_y)], [at_x, Some(by_y)], [Some(by_x), at_y], [at_x, at_y]];
        let shifts = choices.into_iter().filter_map(|[across, up]| least_shift([across?, up?]));
        shifts.min_by_key(|shift| remedy::square(*shift))
    }

    /// What a shift of that lens makes of the positions, where the class lets them count and the other lens's own does not forbid it.
    fn positions_of(&self, eye: Eye, found: &Imbalance) -> [Option<Band>; 2] {
        let ImbalanceRule::PrismOrPosition { each, .. } = *self.imbalance_rule() else { return [None, None] };
        let Some((right, left)) = self.right.offset().zip(self.left.offset()) else { return [None, None] };
        let [across, up] = found.positions.map(|finding| Some(Millimetre::from_bits(finding?.guarded_limit_bits()?)));
        let (own, other) = match eye {
            Eye::Right => (right, left),
            Eye::Left => (left, right),
        };
        let band_x = across.and_then(|limit| match each {
            true => (other.x.abs() <= limit).then(|| Band::of_position(true, own.x, limit)),
            false => Some(Band::of_position(true, own.x - other.x, limit)),
        });
        [band_x, up.map(|limit| Band::of_position(false, own.y - other.y, limit))]
    }
}
