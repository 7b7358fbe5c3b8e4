//! The straight top line of a segment: from the spots on both sides of it, or through points of its edge.

use super::{Belongs, Portion, SegmentError};
use crate::math;
use crate::quantity::{Bearing, Degree, Millimetre, Point};
use crate::sensor::pose::{PoseUncertainty, angle_of, quadrature};
use crate::sensor::scaled::Scaled;
use crate::sensor::{Geometry, HalfTurn, Pose, PoseSource, SpotPair, Vertex};

/// What a line was found by.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LineSource {
    /// The holes on both sides: as fine as their pitch.
    Holes,
    /// Points of its edge in an image.
    Points,
}

/// The top line of a segment, or the line between two portions of a trifocal, in the frame of its points: the machine's.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TopLine {
    /// The middle of the line: between its outermost points, or above the middle of the segment.
    pub middle: Point,
    /// Its tilt, counter-clockwise from the horizontal; `None` when its standard uncertainty would exceed
    /// [`TopLine::MOST_TILT_UNCERTAINTY`].
    pub tilt: Option<Degree>,
    /// Standard uncertainty of the middle along the line; `None` when an end of the segment lies beyond the spots, and the middle
    /// is only that of what is seen.
    pub along: Option<Millimetre>,
    /// Standard uncertainty of the middle across the line.
    pub across: Millimetre,
    /// Standard uncertainty of the tilt.
    pub tilt_uncertainty: Degree,
    /// What it was found by.
    pub source: LineSource,
}

/// The steepest tangent of a tilt, Q12: 30 degrees. A step, 0.014 degree, is far finer than holes tell.
const MOST_TANGENT: i32 = 2365;
/// Fraction bits of tangents, and of places while spots are compared: 2^-12 mm, 0.24 um, so that heights fit a word.
const COARSE_BITS: u32 = 12;
/// What places lose.
const LOST_BITS: u32 = Millimetre::FRACTION_BITS - COARSE_BITS;
/// Tangents looked at in one pass over the spots.
const TANGENTS: usize = 7;

/// Standard uncertainty of the mean of two ends each known to a spacing: `spacing / sqrt(24)`.
fn mean_of_ends(spacing: i64) -> Millimetre {
    // 65536 / sqrt(24).
    const ROOT: i64 = 13_378;
    bits(math::shift_round(spacing.wrapping_mul(ROOT), 16))
}

impl TopLine {
    /// A tilt less certain than this is not given. Common practice, no source.
    pub const MOST_TILT_UNCERTAINTY: Degree = degrees!(3.0);

    /// The line between the spots of two portions, the upper first: of all lines that have every spot of the lower portion
    /// below and every spot of the upper one above, the mean one.
    ///
    /// Places are those where the light leaves the vertex plane. Of the upper portion's spots those count that lie above the
    /// lower portion's mean, over the middle three quarters of its width: beside and below a segment there are others. What
    /// belongs to neither, such as the light that the line itself splits, does not count. `pitch` is the distance between
    /// neighbouring holes.
    ///
    /// # Range
    /// Tilts within 30 degrees.
    ///
    /// # Accuracy
    /// Every line that parts the spots is as likely: middle and tilt are the means over all of them, and the uncertainties their
    /// standard deviations, a third of a pitch and less; `pitch / sqrt 24` along the line, for the mean of two ends that are
    /// each known to a pitch. Tangents are searched to 2^-12, and means taken over 8 of them.
    ///
    /// # Errors
    /// [`SegmentError::TooFewClasses`], [`SegmentError::TooFewSpots`], [`SegmentError::NotStraight`].
    ///
    /// # Source
    /// Uniform distributions: JCGM 100 (GUM), 4.3.7.
    pub fn between(
        upper: Portion,
        lower: Portion,
        pairs: &[SpotPair],
        classes: &[Belongs],
        geometry: &Geometry,
        pitch: Millimetre,
    ) -> Result<Self, SegmentError> {
        if classes.len() < pairs.len() {
            return Err(SegmentError::TooFewClasses);
        }
        let sides = Sides::of(Spots { pairs, classes, geometry }, upper, lower)?;
        let best = sides.widest().ok_or(SegmentError::NotStraight)?;
        let lines = Lines::of(sides, sides.end(best, -MOST_TANGENT), sides.end(best, MOST_TANGENT));
        let (middle, along) = sides.middle(lines.tangent(), lines.height(), pitch);
        let across = lines.across(i64::from(middle.x.to_bits()).wrapping_sub(i64::from(sides.origin.0) << LOST_BITS));
        let tangent = math::saturate(lines.tangent());
        let line = Self {
            middle,
            tilt: Some(Bearing::from_bits(math::atan2(tangent, 1 << 16)).angle_from(Bearing::default())),
            along,
            across,
            // Tangents are small: a deviation of them is nearly one of angles.
            tilt_uncertainty: angle_of(lines.tangents(), ONE),
            source: LineSource::Holes,
        };
        Ok(line.with_known_tilt())
    }

    fn with_known_tilt(self) -> Self {
        Self { tilt: self.tilt.filter(|_| self.tilt_uncertainty <= Self::MOST_TILT_UNCERTAINTY), ..self }
    }

    /// The line through points of its edge, by least squares of their distances from it. Its middle lies between the outermost
    /// points along it.
    ///
    /// # Range
    /// 3 to 65536 points within 64 mm of the origin in each coordinate.
    ///
    /// # Accuracy
    /// Within 2 units of 2^-16 mm and 1e-5 degree of exact least squares. Uncertainties from the points' scatter, with `n - 2`
    /// degrees of freedom: `s / sqrt n` across, `s` over the root of the summed squares of places along the line for the tilt;
    /// along the line `d / sqrt 24`, with `d` the points' mean distance.
    ///
    /// # Errors
    /// [`SegmentError::PointCount`], [`SegmentError::PointRange`], [`SegmentError::Degenerate`].
    pub fn through(points: &[Point]) -> Result<Self, SegmentError> {
        let moments = LineMoments::of(points)?;
        let turn = moments.turn();
        let (cos, sin) = math::cos_sin(turn);
        let along = |point: &Point| {
            let at = *point - moments.mean;
            let product = |a: Millimetre, b: i32| i64::from(a.to_bits()).wrapping_mul(i64::from(b));
            math::shift_round(product(at.x, cos).wrapping_add(product(at.y, sin)), 30)
        };
        let ends = points.iter().map(along).fold((0, 0), |(low, high): (i64, i64), at| (low.min(at), high.max(at)));
        let off = math::shift_round(ends.0.wrapping_add(ends.1), 1);
        let part = |component: i32| bits(math::shift_round(off.wrapping_mul(i64::from(component)), 30));
        let count = i64::try_from(points.len()).unwrap_or(i64::MAX);
        let spacing = math::ratio(ends.1.wrapping_sub(ends.0), count.saturating_sub(1), 0);
        let (across, tilt_uncertainty) = moments.uncertainties(count);
        let line = Self {
            middle: moments.mean + Point::new(part(cos), part(sin)),
            tilt: Some(Bearing::from_bits(turn).angle_from(Bearing::default())),
            along: Some(mean_of_ends(spacing)),
            across,
            tilt_uncertainty,
            source: LineSource::Points,
        };
        Ok(line.with_known_tilt())
    }

    /// How far the line lies above a point, square to the line; negative below it. Without a tilt, vertically.
    ///
    /// For the distance or prism reference point and its sign turned round: the segment drop.
    ///
    /// # Accuracy
    /// Within one unit of 2^-16 mm.
    #[must_use]
    pub fn above(&self, point: Point) -> Millimetre {
        let (cos, sin) = math::cos_sin(Bearing::default().turned(self.tilt.unwrap_or(Degree::ZERO)).to_bits());
        let to = self.middle - point;
        let product = |a: Millimetre, b: i32| i64::from(a.to_bits()).wrapping_mul(i64::from(b));
        bits(math::shift_round(product(to.y, cos).wrapping_sub(product(to.x, sin)), 30))
    }

    /// The pose of a lens whose segment's top line should be horizontal and have its middle at `ordered` of the lens's frame.
    ///
    /// A line between holes has the segment below it: the lens is known not to lie the other way up. For a line through points
    /// that is assumed.
    ///
    /// # Accuracy
    /// Offset within 2 units of 2^-16 mm. Uncertainties: the line's, and `|ordered|` times the tilt's across the lever; of a line
    /// whose middle is not known along it, none of the offset.
    #[must_use]
    pub fn pose(&self, ordered: Point, vertex: Vertex) -> Pose {
        let half_turn = match self.source {
            LineSource::Holes => HalfTurn::Known,
            LineSource::Points => HalfTurn::Assumed,
        };
        let unmoved = Pose { rotation: self.tilt, vertex, half_turn, source: PoseSource::TopLine, ..Pose::default() };
        let arm = unmoved.to_machine(ordered);
        // 2^-20 degree in radians, times 2^-16 mm: pi / 180 in Q36.
        let swing = |side: Millimetre| {
            let radians = math::shift_round(i64::from(self.tilt_uncertainty.to_bits()).wrapping_mul(1_199_401_541), 36);
            bits(math::shift_round(i64::from(side.to_bits()).wrapping_mul(radians), Degree::FRACTION_BITS))
        };
        let offset =
            self.along.map(|along| Point::new(quadrature(along, swing(arm.y)), quadrature(self.across, swing(arm.x))));
        let rotation = self.tilt.map(|_| self.tilt_uncertainty);
        Pose { offset: self.middle - arm, uncertainty: PoseUncertainty { offset, rotation }, ..unmoved }
    }
}

const ONE: Millimetre = millimetres!(1.0);

fn bits(value: i64) -> Millimetre {
    Millimetre::from_bits(math::saturate(value))
}

/// Spots with their classes.
#[derive(Clone, Copy)]
struct Spots<'a> {
    pairs: &'a [SpotPair],
    classes: &'a [Belongs],
    geometry: &'a Geometry,
}

impl<'a> Spots<'a> {
    /// Where the light of a portion leaves the lens, 2^-12 mm: below 2^18.
    fn exits(self, portion: Portion) -> impl Iterator<Item = (i32, i32)> + 'a {
        let back = self.geometry.gap_over_throw();
        let of_portion = self.pairs.iter().zip(self.classes).filter(move |(_, class)| **class == Belongs::To(portion));
        of_portion.map(move |(pair, _)| {
            let at = back.exit(pair);
            (coarse(at.x), coarse(at.y))
        })
    }
}

/// Rounded, mirror images alike; places beyond 64 mm, as no spot's is, count as there.
fn coarse(at: Millimetre) -> i32 {
    const MOST: i32 = 64 << Millimetre::FRACTION_BITS;
    let at = at.to_bits().clamp(-MOST, MOST);
    let half = if at < 0 { 7 } else { 8 };
    at.wrapping_add(half) >> LOST_BITS
}

/// The spots on both sides of a line, counted from the middle of the lower side.
#[derive(Clone, Copy)]
struct Sides<'a> {
    spots: Spots<'a>,
    upper: Portion,
    lower: Portion,
    /// 2^-12 mm.
    origin: (i32, i32),
    /// Half the width of what counts.
    reach: i32,
}

/// The room between the sides at a tangent: the highest spot of the lower one, the lowest of the upper one, and where they are
/// across.
///
/// Range: places below 2^19 and tangents below 2^12, so that heights in 2^-24 mm are below 2^19 (2^12 + 2^12 / 1.7) < 2^32 / 2.
#[derive(Clone, Copy)]
struct Gap {
    low: (i32, i32),
    high: (i32, i32),
}

impl Gap {
    const OPEN: Self = Self { low: (i32::MIN, 0), high: (i32::MAX, 0) };

    /// 2^-24 mm; negative when the sides overlap.
    fn width(self) -> i64 {
        i64::from(self.high.0).wrapping_sub(i64::from(self.low.0))
    }

    /// Twice the height of the middle.
    fn double_middle(self) -> i64 {
        i64::from(self.high.0).wrapping_add(i64::from(self.low.0))
    }

    /// Whether it grows with the tangent.
    fn grows(self) -> bool {
        self.low.1 > self.high.1
    }
}

impl<'a> Sides<'a> {
    fn of(spots: Spots<'a>, upper: Portion, lower: Portion) -> Result<Self, SegmentError> {
        let mut range: Option<(i32, i32)> = None;
        let (mut sum, mut count) = (0i64, 0i64);
        for (x, y) in spots.exits(lower) {
            let (least, most) = range.unwrap_or((x, x));
            range = Some((least.min(x), most.max(x)));
            sum = sum.wrapping_add(y.into());
            count = count.wrapping_add(1);
        }
        let (least, most) = range.filter(|(least, most)| least < most).ok_or(SegmentError::TooFewSpots)?;
        let origin = (least.wrapping_add(most) >> 1, math::saturate(math::ratio(sum, count, 0)));
        // Three eighths of the width to each side.
        let reach = most.wrapping_sub(least).wrapping_mul(3) >> 3;
        let sides = Self { spots, upper, lower, origin, reach };
        if sides.side(upper).next().is_none() { Err(SegmentError::TooFewSpots) } else { Ok(sides) }
    }

    /// The spots of a portion that count, from the origin. Of the upper one only those above it.
    fn side(self, portion: Portion) -> impl Iterator<Item = (i32, i32)> + 'a {
        let from_origin = move |(x, y): (i32, i32)| (x.wrapping_sub(self.origin.0), y.wrapping_sub(self.origin.1));
        let only_above = portion == self.upper;
        let counts = move |(x, y): &(i32, i32)| x.abs() <= self.reach && (!only_above || *y > 0);
        self.spots.exits(portion).map(from_origin).filter(counts)
    }

    /// The gaps at some tangents: one pass over the spots.
    fn gaps<const N: usize>(self, tangents: [i32; N]) -> [Gap; N] {
        let mut gaps = [Gap::OPEN; N];
        let height = |(x, y): (i32, i32), tangent: i32| (y << COARSE_BITS).wrapping_sub(x.wrapping_mul(tangent));
        for place in self.side(self.lower) {
            for (gap, tangent) in gaps.iter_mut().zip(tangents) {
                let height = height(place, tangent);
                gap.low = if height > gap.low.0 { (height, place.0) } else { gap.low };
            }
        }
        for place in self.side(self.upper) {
            for (gap, tangent) in gaps.iter_mut().zip(tangents) {
                let height = height(place, tangent);
                gap.high = if height < gap.high.0 { (height, place.0) } else { gap.high };
            }
        }
        gaps
    }

    /// The gaps at tangents in even steps between two, with these tangents.
    #[inline(never)]
    fn gaps_between(self, from: i32, to: i32) -> [(i32, Gap); TANGENTS] {
        let mut part = 0i32;
        let tangents = [0; TANGENTS].map(|_| {
            part = part.wrapping_add(1);
            from.wrapping_add(to.wrapping_sub(from).wrapping_mul(part) >> 3)
        });
        let mut gaps = self.gaps(tangents).into_iter();
        tangents.map(|tangent| (tangent, gaps.next().unwrap_or(Gap::OPEN)))
    }

    /// A tangent at which the sides do not overlap: that of the widest gap, to a step. The width is concave in the tangent, so
    /// that whether it grows tells on which side of a tangent the widest lies.
    fn widest(self) -> Option<i32> {
        let (mut low, mut high) = (-MOST_TANGENT, MOST_TANGENT);
        while high.wrapping_sub(low) > 1 {
            for (tangent, gap) in self.gaps_between(low, high) {
                if gap.width() >= 0 {
                    return Some(tangent);
                }
                if gap.grows() {
                    low = low.max(tangent);
                } else {
                    high = high.min(tangent);
                }
            }
        }
        let [first, second] = self.gaps([low, high]);
        if first.width() >= 0 { Some(low) } else { (second.width() >= 0).then_some(high) }
    }

    /// The last tangent from `inside` towards `outside` that leaves a gap.
    fn end(self, inside: i32, outside: i32) -> i32 {
        let (mut inside, mut outside) = (inside, outside);
        let [last] = self.gaps([outside]);
        if last.width() >= 0 {
            return outside;
        }
        while outside.wrapping_sub(inside).abs() > 1 {
            for (tangent, gap) in self.gaps_between(inside, outside) {
                if gap.width() >= 0 {
                    inside = tangent;
                } else {
                    outside = tangent;
                    break;
                }
            }
        }
        inside
    }

    /// The point of a line, by its tangent and its height above the origin in 2^-16 mm, between the ends of the lower side, all
    /// in the line's own direction; and its uncertainty along the line if spots of the upper side lie beyond both ends.
    fn middle(self, tangent: i64, height: i64, pitch: Millimetre) -> (Point, Option<Millimetre>) {
        let square = (1i64 << 32).wrapping_add(tangent.wrapping_mul(tangent));
        // Along the line x + t y, across it y - t x, both longer than they are by the root of 1 + t^2 and in 2^-32 mm.
        let turned = |(x, y): (i32, i32)| {
            let x = i64::from(x.wrapping_sub(self.origin.0)) << LOST_BITS;
            let y = i64::from(y.wrapping_sub(self.origin.1)) << LOST_BITS;
            ((x << 16).wrapping_add(y.wrapping_mul(tangent)), (y << 16).wrapping_sub(x.wrapping_mul(tangent)))
        };
        let (mut low, mut high) = ((i64::MAX >> 2, 0i64), (i64::MIN >> 2, 0i64));
        for at in self.spots.exits(self.lower).map(turned) {
            low = if at.0 < low.0 { at } else { low };
            high = if at.0 > high.0 { at } else { high };
        }
        // The next hole may be lost, and one row higher or lower is as near.
        let reach = i64::from(pitch.to_bits()).wrapping_mul(3) << 15;
        let is_beyond = |end: (i64, i64), sense: i64| {
            let lies_beyond = |at: (i64, i64)| {
                let further = at.0.wrapping_sub(end.0).wrapping_mul(sense);
                (0..=reach << 1).contains(&further) && at.1.wrapping_sub(end.1).abs() <= reach
            };
            self.spots.exits(self.upper).map(turned).any(lies_beyond)
        };
        let is_seen = is_beyond(low, -1) && is_beyond(high, 1);
        // The line is y = h + t x: its point at `x` has x + t y = x (1 + t^2) + t h.
        let wanted = (low.0 >> 1).wrapping_add(high.0 >> 1).wrapping_sub(height.wrapping_mul(tangent));
        let x = math::ratio(wanted, square, 16);
        let y = height.wrapping_add(math::shift_round(x.wrapping_mul(tangent), 16));
        let from_origin = |at: i64, origin: i32| bits(at.wrapping_add(i64::from(origin) << LOST_BITS));
        let middle = Point::new(from_origin(x, self.origin.0), from_origin(y, self.origin.1));
        (middle, is_seen.then(|| mean_of_ends(i64::from(pitch.to_bits()))))
    }
}

/// Tangents at which lines are looked at.
const LINES: usize = 8;

/// All lines that part the spots, each as likely as the next: between the outermost tangents in even steps, and at each the
/// heights of its gap.
///
/// Range: widths and heights below 2^33 in 2^-24 mm: squares of 2^66, their products with weights of 2^99.
struct Lines {
    /// Tangent, Q16; width and middle of the gap, 2^-24 mm.
    at: [(i64, i64, i64); LINES],
    /// From one tangent to the next, Q16 and [`LINES`] times that.
    range: i64,
}

impl Lines {
    fn of(sides: Sides<'_>, least: i32, most: i32) -> Self {
        let range = most.wrapping_sub(least);
        let mut odd = -1i32;
        // Q12: the middles of eight steps.
        let tangents = [0; LINES].map(|_| {
            odd = odd.wrapping_add(2);
            least.wrapping_add(range.wrapping_mul(odd).wrapping_add(8) >> 4)
        });
        let mut gaps = sides.gaps(tangents).into_iter();
        let at = tangents.map(|tangent| {
            let gap = gaps.next().unwrap_or(Gap::OPEN);
            // A single line still counts.
            (i64::from(tangent) << 4, gap.width().max(1), math::shift_round(gap.double_middle(), 1))
        });
        Self { at, range: i64::from(range) << 4 }
    }

    /// The mean of a value, weighted by the gaps' widths.
    fn mean(&self, value: impl Fn(i64, i64, i64) -> i128) -> Scaled {
        let (sum, weights) = self.at.iter().fold((0i128, 0i128), |(sum, weights), &(tangent, width, middle)| {
            let weight = i128::from(width);
            (sum.wrapping_add(weight.wrapping_mul(value(tangent, width, middle))), weights.wrapping_add(weight))
        });
        Scaled::of(sum, 0).over(Scaled::of(weights, 0))
    }

    /// Q16.
    fn tangent(&self) -> i64 {
        self.mean(|tangent, _, _| tangent.into()).to_fixed(0)
    }

    /// Above the origin, 2^-16 mm.
    fn height(&self) -> i64 {
        self.mean(|_, _, middle| middle.into()).times(Scaled::of(1, -8)).to_fixed(0)
    }

    /// Standard deviation of the height so far from the origin, 2^-16 mm: of the gaps' middles, and within each.
    fn across(&self, x: i64) -> Millimetre {
        let (tangent, height) = (self.tangent(), self.height() << 8);
        let variance = self.mean(|at, width, middle| {
            let moved = math::shift_round(at.wrapping_sub(tangent).wrapping_mul(x), 8);
            let off = i128::from(middle.wrapping_sub(height).wrapping_add(moved));
            let width = i128::from(width);
            off.wrapping_mul(off).wrapping_mul(12).wrapping_add(width.wrapping_mul(width))
        });
        bits(variance.over(Scaled::of(12, 0)).root().times(Scaled::of(1, -8)).to_fixed(0))
    }

    /// Standard deviation of the tangent: of those looked at, and within a step.
    fn tangents(&self) -> Millimetre {
        let tangent = self.tangent();
        let step = i128::from(self.range);
        // Times 12 * 64: a step is an eighth of the range.
        let variance = self.mean(|at, _, _| {
            let off = i128::from(at.wrapping_sub(tangent));
            off.wrapping_mul(off).wrapping_mul(768).wrapping_add(step.wrapping_mul(step))
        });
        bits(variance.over(Scaled::of(768, 0)).root().to_fixed(0))
    }
}

/// Central moments of points, 2^-32 mm^2.
struct LineMoments {
    mean: Point,
    xx: i64,
    xy: i64,
    yy: i64,
}

/// Points within this of the origin: 2^22, so that 2^16 squares of twice that sum to less than 2^62.
const MOST_PLACE: u32 = 1 << 22;

/// Checks the number of points, and where they are.
pub(super) fn checked(points: &[Point], least: usize) -> Result<i64, SegmentError> {
    if points.len() < least || points.len() > 1 << 16 {
        return Err(SegmentError::PointCount);
    }
    let is_beyond = |point: &Point| [point.x, point.y].iter().any(|at| at.to_bits().unsigned_abs() > MOST_PLACE);
    if points.iter().any(is_beyond) {
        Err(SegmentError::PointRange)
    } else {
        i64::try_from(points.len()).map_err(|_| SegmentError::PointCount)
    }
}

impl LineMoments {
    fn of(points: &[Point]) -> Result<Self, SegmentError> {
        let count = checked(points, 3)?;
        let sum =
            |of: fn(&Point) -> Millimetre| points.iter().fold(0i64, |sum, p| sum.wrapping_add(of(p).to_bits().into()));
        let mean = Point::new(bits(math::ratio(sum(|p| p.x), count, 0)), bits(math::ratio(sum(|p| p.y), count, 0)));
        let moment = |a: fn(Point) -> Millimetre, b: fn(Point) -> Millimetre| {
            points.iter().fold(0i64, |sum, point| {
                let at = *point - mean;
                sum.wrapping_add(i64::from(a(at).to_bits()).wrapping_mul(i64::from(b(at).to_bits())))
            })
        };
        let moments =
            Self { mean, xx: moment(|p| p.x, |p| p.x), xy: moment(|p| p.x, |p| p.y), yy: moment(|p| p.y, |p| p.y) };
        if moments.xx.wrapping_add(moments.yy) == 0 { Err(SegmentError::Degenerate) } else { Ok(moments) }
    }

    /// Direction of the line as a turn, within a quarter turn of the horizontal: half that of `(xx - yy, 2 xy)`.
    fn turn(&self) -> u32 {
        let (cos, sin) = (self.xx.wrapping_sub(self.yy), self.xy.saturating_mul(2));
        let (cos, sin, _) = Scaled::of(cos.into(), 0).together(Scaled::of(sin.into(), 0));
        (math::atan2(math::saturate(sin), math::saturate(cos)).cast_signed() >> 1).cast_unsigned()
    }

    /// Of the middle across the line, and of the tilt.
    fn uncertainties(&self, count: i64) -> (Millimetre, Degree) {
        // 180 / pi in 2^-20 degree.
        const DEGREES_PER_RADIAN: i128 = 60_078_979;
        let (xx, xy, yy) = (i128::from(self.xx), i128::from(self.xy), i128::from(self.yy));
        // The smaller principal moment is the determinant over the larger: no difference of large numbers.
        let determinant = Scaled::of(xx.wrapping_mul(yy).wrapping_sub(xy.wrapping_mul(xy)), 0);
        let difference = Scaled::of(xx.wrapping_sub(yy), 0);
        let double = Scaled::of(xy.wrapping_mul(2), 0);
        let root = difference.times(difference).plus(double.times(double)).root();
        let larger = Scaled::of(xx.wrapping_add(yy), 0).plus(root).times(Scaled::of(1, -1));
        let freedom = count.saturating_sub(2);
        let variance = determinant.over(larger).over(Scaled::of(freedom.into(), 0));
        let across = variance.over(Scaled::of(count.into(), 0)).root().to_fixed(0);
        let radians = variance.over(larger).root();
        let tilt = radians.times(Scaled::of(DEGREES_PER_RADIAN, 0)).to_fixed(0);
        (bits(across), Degree::from_bits(math::saturate(tilt)))
    }
}
