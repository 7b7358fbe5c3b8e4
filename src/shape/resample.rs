//! An outline at other angles.

use super::contour::Steps;
use super::{Contour, Error, numbered};
use crate::math;
use crate::quantity::{Bearing, Millimetre, Point};
use core::num::{NonZeroU32, NonZeroUsize};

/// A value at a direction.
#[derive(Clone, Copy, Default)]
pub(super) struct Sample {
    /// 2^32 is a full turn.
    pub turn: u32,
    pub value: i32,
}

impl Sample {
    /// A point's direction and distance.
    pub(super) fn of(point: Point) -> Self {
        let polar = math::polar(point.x.to_bits(), point.y.to_bits());
        Self { turn: polar.turn, value: i32::try_from(polar.radius).unwrap_or(i32::MAX) }
    }
}

impl<'a> Contour<'a> {
    /// The same outline in as many evenly spaced corners as the buffer holds.
    ///
    /// # Accuracy
    /// Between corners a cubic through the nearest four: within 3/128 of the fourth derivative of the radius by the angle times the
    /// fourth power of the step, plus 2^-16 mm. Between steps that differ more than eightfold it is straight in the angle.
    ///
    /// # Errors
    /// Those of [`Self::new`].
    pub fn resampled<'b>(&self, radii: &'b mut [Millimetre]) -> Result<Contour<'b>, Error> {
        evenly(self.samples(self.radii(), 0), radii)
    }

    /// The same outline at angles of one's own.
    ///
    /// # Accuracy
    /// That of [`Self::resampled`].
    ///
    /// # Errors
    /// Those of [`Self::with_angles`].
    pub fn resampled_at<'b>(&self, angles: &'b [Bearing], radii: &'b mut [Millimetre]) -> Result<Contour<'b>, Error> {
        if angles.len() != radii.len() {
            return Err(Error::LengthsDiffer);
        }
        let angle = |at: usize| angles.get(at).copied().unwrap_or_default();
        resample(self.samples(self.radii(), 0), angle, radii)?;
        Contour::with_angles(radii, angles)
    }

    /// The shape about another centre, in as many evenly spaced corners as the buffer holds.
    ///
    /// # Accuracy
    /// That of [`Self::resampled`], of the new radii, plus 2^-16 mm.
    ///
    /// # Errors
    /// [`Error::Crosses`] when a ray from there meets the outline more than once, and those of [`Self::new`].
    pub fn about<'b>(&self, centre: Point, radii: &'b mut [Millimetre]) -> Result<Contour<'b>, Error> {
        evenly(self.corners().map(move |corner| Sample::of(corner - centre)), radii)
    }

    /// Values at the corners, turned.
    pub(super) fn samples(
        &self,
        values: &'a [Millimetre],
        turn: u32,
    ) -> impl Iterator<Item = Sample> + Clone + use<'a> {
        let contour = *self;
        numbered(values.iter()).map(move |(at, value)| Sample {
            turn: contour.angle(at).to_bits().wrapping_add(turn),
            value: value.to_bits(),
        })
    }
}

/// An outline from its corners, counter-clockwise from any of them.
pub(super) fn evenly(
    source: impl Iterator<Item = Sample> + Clone,
    radii: &mut [Millimetre],
) -> Result<Contour<'_>, Error> {
    if !(Contour::LEAST_COUNT..=Contour::MOST_COUNT).contains(&radii.len()) {
        return Err(Error::CornerCount);
    }
    let steps = Steps::of(radii.len());
    resample(source, |at| steps.angle(at), radii)?;
    Contour::new(radii)
}

/// Four samples in a row, of which the middle two are about what is wanted.
struct Window<I> {
    ahead: I,
    samples: [Sample; 4],
    gaps: [u32; 3],
    /// From where the first middle began to where this one ends.
    end: u64,
    passed: u16,
}

impl<I: Iterator<Item = Sample>> Window<I> {
    fn new(mut ahead: I) -> Result<Self, Error> {
        let mut samples = [Sample::default(); 4];
        for sample in &mut samples {
            *sample = ahead.next().unwrap_or_default();
        }
        let [a, b, c, d] = samples;
        let gaps = [gap(a, b, 1)?, gap(b, c, 2)?, gap(c, d, 3)?];
        let [_, middle, _] = gaps;
        Ok(Self { ahead, samples, gaps, end: middle.into(), passed: 3 })
    }

    fn advance(&mut self) -> Result<(), Error> {
        let [_, b, c, d] = self.samples;
        let next = self.ahead.next().unwrap_or_default();
        self.passed = self.passed.wrapping_add(1);
        let [_, second, third] = self.gaps;
        self.gaps = [second, third, gap(d, next, self.passed)?];
        self.samples = [b, c, d, next];
        self.end = self.end.wrapping_add(third.into());
        Ok(())
    }

    /// The value at a place within the middle: `after` its start.
    fn value(&self, cubic: &Cubic, after: u32) -> Millimetre {
        let [_, middle, _] = self.gaps;
        Millimetre::from_bits(math::saturate(cubic.at(math::ratio(after.into(), middle.into(), 24))))
    }
}

/// From one direction to the next; an outline that turns back, or leaves an eighth of a turn bare, has none.
const fn gap(from: Sample, to: Sample, at: u16) -> Result<u32, Error> {
    let gap = to.turn.wrapping_sub(from.turn);
    if gap == 0 || gap > 1 << 31 {
        return Err(Error::Crosses(at));
    }
    if gap > 1 << 29 { Err(Error::Gap(at)) } else { Ok(gap) }
}

/// Values at the targets' angles, which rise: each by the cubic through the two samples on either side.
fn resample(
    source: impl Iterator<Item = Sample> + Clone,
    angle: impl Fn(usize) -> Bearing,
    values: &mut [Millimetre],
) -> Result<(), Error> {
    let Some(count) = NonZeroUsize::new(values.len()) else { return Err(Error::CornerCount) };
    let samples = source.clone().fold(0usize, |count, _| count.wrapping_add(1));
    let mut window = Window::new(source.cycle())?;
    let [_, start, ..] = window.samples;
    let after = |at: usize| angle(at).to_bits().wrapping_sub(start.turn);
    let first = (0..count.get()).min_by_key(|at| after(*at)).unwrap_or_default();
    let mut cubic = Cubic::of(&window.samples, window.gaps);
    let mut moves = 1;
    for step in 0..count.get() {
        let at = first.wrapping_add(step) % count;
        let after = after(at);
        while u64::from(after) >= window.end && moves < samples {
            window.advance()?;
            cubic = Cubic::of(&window.samples, window.gaps);
            moves = moves.wrapping_add(1);
        }
        let [_, here, ..] = window.samples;
        if let Some(value) = values.get_mut(at) {
            *value = window.value(&cubic, after.wrapping_sub(here.turn.wrapping_sub(start.turn)));
        }
    }
    // What lies beyond the last target must be in order too.
    while moves < samples {
        window.advance()?;
        moves = moves.wrapping_add(1);
    }
    if window.end == 1 << 32 { Ok(()) } else { Err(Error::Crosses(0)) }
}

/// `start + t (slope + (t - 1) (bend + (t + before) twist))` between two samples, `t` from 0 to 1: Newton's form through four.
struct Cubic {
    start: i64,
    slope: i64,
    bend: i64,
    twist: i64,
    /// The step before, in middle steps, in 2^-24.
    before: i64,
}

/// Binary digits of a value beyond those of a coordinate.
const EXTRA: u32 = 8;
const ONE: i64 = 1 << 24;

impl Cubic {
    fn of(samples: &[Sample; 4], [before, middle, after]: [u32; 3]) -> Self {
        let [r0, r1, r2, r3] = samples.map(|sample| i64::from(sample.value) << EXTRA);
        let slope = r2.wrapping_sub(r1);
        let straight = Self { start: r1, slope, bend: 0, twist: 0, before: ONE };
        // Evenly spaced angles are rounded.
        let even = |gap: u32| gap.abs_diff(middle) <= 4;
        let (first, last) = (r1.wrapping_sub(r0), r3.wrapping_sub(r2));
        if even(before) && even(after) {
            return straight.even(first, last);
        }
        let apart = |gap: u32| gap >> 3 >= middle || middle >> 3 >= gap;
        if apart(before) || apart(after) {
            return straight;
        }
        let part = |gap: u32| math::ratio(gap.into(), middle.into(), 24);
        straight.uneven([first, last], [part(before), part(after)])
    }

    fn even(self, first: i64, last: i64) -> Self {
        const SIX: NonZeroU32 = NonZeroU32::MIN.saturating_add(5);
        let (bend, next) = (self.slope.wrapping_sub(first), last.wrapping_sub(self.slope));
        let twist = math::div_round_by_word(next.wrapping_sub(bend), SIX);
        Self { bend: math::shift_round(bend, 1), twist, ..self }
    }

    fn uneven(self, [first, last]: [i64; 2], [before, after]: [i64; 2]) -> Self {
        let over = |value: i64, divisor: i64| math::ratio(value, divisor, 24);
        let bend = over(self.slope.wrapping_sub(over(first, before)), ONE.wrapping_add(before));
        let next = over(over(last, after).wrapping_sub(self.slope), ONE.wrapping_add(after));
        let twist = over(next.wrapping_sub(bend), ONE.wrapping_add(before).wrapping_add(after));
        Self { bend, twist, before, ..self }
    }

    /// At `t` in 2^-24, in whole units. Values are below 2^31 and, with steps at most eightfold apart, differences below 2^36.
    fn at(&self, t: i64) -> i64 {
        let times = |value: i64, factor: i64| math::shift_round(value.wrapping_mul(factor), 24);
        let inner = self.bend.wrapping_add(times(self.twist, t.wrapping_add(self.before)));
        let bulge = times(inner, t.wrapping_sub(ONE));
        math::shift_round(self.start.wrapping_add(times(self.slope.wrapping_add(bulge), t)), EXTRA)
    }
}
