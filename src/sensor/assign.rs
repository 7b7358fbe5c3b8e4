//! From spots to the holes that they came through.
//!
//! A lens moves spots by several pitches, spreads, squeezes and shears their pattern; what it does not do is turn it. So:
//!
//! 1. Near the middle of the spots, the differences to the nearest ones that have an opposite span the lattice; of all bases of
//!    that lattice, the one whose map from the plate's directions turns least belongs to these directions.
//! 2. Where one affine map puts five sixths of the spots within a fifth of an index, rounding indexes them. Elsewhere indices
//!    grow spot by spot: each next one lies where the steps at its neighbour predict it, within an eighth of a step, so that a
//!    power that changes over the lens is followed.
//! 3. Spots that their neighbours on both sides contradict are refused, the worst first.
//! 4. All indices are then right but for one shift: that which brings most spots onto holes, or the marker's hole to the spot
//!    that is brighter than its neighbours.
//!
//! When no basis is clear, or fewer than two thirds of the spots take part, the next spot from the middle is tried: up to 24, and from up to six of them is grown.
#![allow(clippy::cast_possible_truncation, reason = "indices and counts whose ranges are derived beside each step")]

mod basis;
mod field;
mod order;
mod outline;
mod scatter;
mod step;

pub(super) use step::{Basis, Step, Turn};

use super::SpotPair;
use super::affine::Affine;
use super::lattice::{Hole, Lattice};
use crate::math;
use crate::quantity::{Degree, Micrometre, Millimetre, Point};
use core::fmt;
use core::num::NonZeroU64;
use field::{Field, Seen};
use order::Bands;

/// Why spots are not assigned to holes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum AssignError {
    /// Fewer than [`PlacedSpot::LEAST`] spots, or fewer that fit.
    TooFewSpots,
    /// More than [`PlacedSpot::MOST`] spots.
    TooManySpots,
    /// Fewer cells than [`Lattice::cells`], or not as many places as [`Lattice::count`].
    Memory,
    /// A spot lies beyond [`SpotPair::MOST`].
    CoordinateRange,
    /// Near the middle the spots form no lattice: they overlap, lie on a line or anywhere.
    NoLattice,
    /// The lattice is turned against the plate's by more than 7.1 degrees, or sheared as no lens does.
    Turned,
    /// More than a third of the spots fit no place of the lattice, or too many contradict their neighbours.
    Inconsistent,
    /// Several shifts by whole pitches fit nearly as well, and no marker decides.
    Ambiguous,
    /// A spot that is brighter than its neighbours is not where the marker must be.
    MarkerElsewhere,
    /// The places of the reference are not those of the lattice.
    NotTheLattice,
}

impl fmt::Display for AssignError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooFewSpots => "fewer than seven spots that fit the plate",
            Self::TooManySpots => "more spots than can be assigned (1024)",
            Self::Memory => "fewer cells than the plate needs, or not one place a hole",
            Self::CoordinateRange => "a spot is out of range (32 mm)",
            Self::NoLattice => "the spots near the middle form no lattice",
            Self::Turned => "the spots are turned or sheared against the plate",
            Self::Inconsistent => "too many spots fit no place of the lattice",
            Self::Ambiguous => "the spots fit the plate nearly as well when shifted",
            Self::MarkerElsewhere => "a bright spot is not where the marker must be",
            Self::NotTheLattice => "the places of the reference are not those of the lattice",
        })
    }
}

impl core::error::Error for AssignError {}

/// No index.
const NOWHERE: Hole = Hole::new(i8::MIN, i8::MIN);

/// A spot at its place of the plane, with what an assignment notes beside it.
///
/// # Cost
/// 16 bytes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PlacedSpot {
    place: Point,
    light: u32,
    at: Hole,
    next: u16,
}

impl PlacedSpot {
    /// Fewest spots of an assignment.
    pub const LEAST: usize = 7;
    /// Most spots of an assignment.
    pub const MOST: usize = 1024;

    /// A spot from its place and its light, in any unit: it is compared with its neighbours', to know the marker.
    #[must_use]
    pub const fn new(place: Point, light: u32) -> Self {
        Self { place, light, at: NOWHERE, next: 0 }
    }

    /// Where it lands.
    #[must_use]
    pub const fn place(&self) -> Point {
        self.place
    }

    /// Its light.
    #[must_use]
    pub const fn light(&self) -> u32 {
        self.light
    }

    fn is_free(&self) -> bool {
        self.at == NOWHERE
    }
}

/// Memory of an assignment: [`Lattice::cells`] of them. Their contents do not matter.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Cell(u16);

impl Cell {
    /// Nothing was looked for here.
    pub const EMPTY: Self = Self(u16::MAX);
    /// Nothing was found here.
    const CLOSED: Self = Self(u16::MAX - 1);

    const fn of_spot(number: usize) -> Self {
        Self(number as u16)
    }

    fn spot(self) -> Option<usize> {
        (self.0 < Self::CLOSED.0).then_some(self.0.into())
    }
}

impl Default for Cell {
    fn default() -> Self {
        Self::EMPTY
    }
}

/// What told which hole is which.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Anchor {
    /// The outline of the plate, in which the marker agrees.
    Both,
    /// The outline alone: the plate has no marker, or its spot is missing.
    Outline,
    /// The marker alone: too many spots at the edge are missing.
    Marker,
}

/// What an assignment found beside the pairs.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Findings {
    /// Spots with a hole.
    pub assigned: u16,
    /// Holes of the reference without a spot.
    pub missing: u16,
    /// Spots without a hole.
    pub extra: u16,
    /// What told which hole is which.
    pub anchor: Anchor,
    /// Spots that lie on holes, less those that do when shifted by the best other shift.
    pub lead: i16,
    /// How the spots are turned against the reference, counter-clockwise; a lens does not turn them.
    pub rotation: Degree,
    /// Root mean square, over the coordinates, of what the best affine map of the lattice leaves: aberration, a power that
    /// changes over the lens, noise.
    pub residual: Micrometre,
    /// The most by which a spot is off the prediction by its neighbours, in either coordinate: the middle of two, or, counted
    /// half, a line through two on one side. A ghost that passes for the spot of a hole without light lies within six times
    /// this of where that light would land.
    pub largest_step: Micrometre,
}

/// A part of the shortest step: nearer than that to its prediction a spot is never refused.
const ALWAYS_SHIFT: u32 = 7;
/// A part of the shortest step: when spots are off by that on average, nothing is believed.
const NEVER_SHIFT: u32 = 4;
/// Farther off than so many times the mean is refused.
const MOST_OF_MEAN: u32 = 4;
/// More spots are not refused.
const MOST_REFUSED: usize = 16;
/// More seeds are not tried.
const MOST_SEEDS: usize = 24;

/// Not more often is grown.
const MOST_GROWN: usize = 6;

/// What an assignment works with.
pub(super) struct Task<'a> {
    pub(super) lattice: &'a Lattice,
    /// The plate's directions as they are seen without a lens, 2^-16 mm.
    pub(super) directions: Basis,
    pub(super) spots: &'a mut [PlacedSpot],
    pub(super) cells: &'a mut [Cell],
}

/// Indices of holes in the spots, and what was found on the way.
pub(super) struct Indexed {
    pub(super) anchor: Anchor,
    pub(super) lead: i16,
    pub(super) largest_step: Micrometre,
}

impl Task<'_> {
    /// Gives each spot that fits the index of its hole.
    ///
    /// Once in a program, for a frame without a lens and for one with it: it is long.
    #[inline(never)]
    pub(super) fn run(self) -> Result<Indexed, AssignError> {
        let Self { lattice, directions, spots, cells } = self;
        if spots.len() < PlacedSpot::LEAST {
            return Err(AssignError::TooFewSpots);
        }
        if spots.len() > PlacedSpot::MOST {
            return Err(AssignError::TooManySpots);
        }
        let is_far = |spot: &PlacedSpot| spot.place.x.abs() > SpotPair::MOST || spot.place.y.abs() > SpotPair::MOST;
        if spots.iter().any(is_far) {
            return Err(AssignError::CoordinateRange);
        }
        let cells = cells.get_mut(..lattice.cells()).ok_or(AssignError::Memory)?;
        let mut field = Field { spots, cells, bits: lattice.cell_bits() };
        let largest = match index(&mut field, directions, None) {
            Ok(largest) => largest,
            Err(_) => {
                order::sort(field.spots);
                let bands = order::Bands::of(field.spots);
                index(&mut field, directions, Some(&bands))?
            }
        };
        let outline = outline::find(&field, lattice)?;
        for spot in field.spots.iter_mut().filter(|spot| !spot.is_free()) {
            let hole = spot.at.moved(outline.shift);
            spot.at = if lattice.contains(hole) { hole } else { NOWHERE };
        }
        // 2^-16 mm to 2^-14 um.
        let largest_step = Micrometre::from_bits(math::saturate(i64::from(largest).wrapping_mul(250)));
        Ok(Indexed { anchor: outline.anchor, lead: outline.lead, largest_step })
    }
}

/// Spots from the mean of all outwards.
struct Seeds {
    middle: Point,
    last: (u64, usize),
}

impl Seeds {
    fn of(spots: &[PlacedSpot]) -> Self {
        let count = NonZeroU64::new(spots.len() as u64).unwrap_or(NonZeroU64::MIN);
        let mean = |of: fn(Point) -> Millimetre| {
            let sum = spots.iter().fold(0i64, |sum, spot| sum.wrapping_add(of(spot.place).to_bits().into()));
            Millimetre::from_bits(math::saturate(math::div_round(sum, count)))
        };
        Self { middle: Point::new(mean(|place| place.x), mean(|place| place.y)), last: (0, 0) }
    }

    /// The spot that follows the last one in distance and number.
    fn next(&mut self, spots: &[PlacedSpot]) -> Option<usize> {
        let middle = self.middle;
        let far = |(number, spot): (usize, &PlacedSpot)| {
            let step = Step::between(middle, spot.place);
            (step.dot(step).unsigned_abs(), number.wrapping_add(1))
        };
        let least = (0..spots.len()).zip(spots).map(far).filter(|far| *far > self.last).min()?;
        self.last = least;
        least.1.checked_sub(1)
    }
}

/// Two thirds of the spots, or more.
fn are_most(part: usize, spots: usize) -> bool {
    part.saturating_mul(3) >= spots.saturating_mul(2)
}

/// Gives indices from the first seed that reaches most spots, by the short way or, with bands, from neighbour to neighbour;
/// returns the most that a spot is off its neighbours' prediction, 2^-16 mm.
#[inline(never)]
fn index(field: &mut Field, directions: Basis, bands: Option<&Bands>) -> Result<u32, AssignError> {
    let (mut seeds, mut error, mut grown) = (Seeds::of(field.spots), AssignError::NoLattice, 0usize);
    for _ in 0..MOST_SEEDS {
        let Some(seed) = seeds.next(field.spots) else { break };
        let basis = match basis::near(field.spots, seed, directions) {
            Ok(Some(basis)) => basis,
            Ok(None) => continue,
            Err(()) => {
                if error == AssignError::NoLattice {
                    error = AssignError::Turned;
                }
                continue;
            }
        };
        if let Some(largest) = index_from(field, seed, basis, bands) {
            return Ok(largest);
        }
        error = AssignError::Inconsistent;
        grown = grown.wrapping_add(1);
        if grown >= MOST_GROWN || bands.is_none() {
            break;
        }
    }
    Err(error)
}

/// [`index`] from one seed.
fn index_from(field: &mut Field, seed: usize, basis: Basis, bands: Option<&Bands>) -> Option<u32> {
    let step = shortest(basis);
    let all = field.spots.len();
    let count = match bands {
        Some(bands) => field.grow(bands, seed, basis, step),
        None => field.scatter(field.spots.get(seed)?.place, basis)?,
    };
    let is_enough = |count: usize| match bands {
        Some(_) => are_most(count, all),
        // The short way must leave few for want of knowing why.
        None => count.saturating_mul(6) >= all.saturating_mul(5),
    };
    let left = is_enough(count).then(|| count.saturating_sub(free_strays(field, step)))?;
    is_enough(left).then(|| refuse(field, step))?
}

/// Takes the index from spots that are off the best affine map by more than 3/8 of a step: a ghost that lay almost where a hole
/// without light was expected may have led to them. A change of power that the lens may have moves none so far. Returns how
/// many.
fn free_strays(field: &mut Field, step: u32) -> usize {
    let Some(affine) = Affine::fit(&mut found(field.spots)) else { return usize::MAX };
    let most = (step >> 2).wrapping_add(step >> 3);
    let mut count = 0usize;
    for number in 0..field.spots.len() {
        let is_stray = |spot: &PlacedSpot| !spot.is_free() && affine.distance(spot.at, spot.place) > most;
        if field.spots.get(number).is_some_and(is_stray) {
            field.free(number);
            count = count.wrapping_add(1);
        }
    }
    count
}

/// Length of the shortest step of a reduced basis, or of its diagonals, 2^-16 mm.
fn shortest(basis: Basis) -> u32 {
    let Basis { first, second } = basis;
    let squares = [first, second, first.plus(second), first.minus(second)].map(|step| step.dot(step).unsigned_abs());
    math::sqrt(squares.into_iter().min().unwrap_or_default())
}

/// Takes the index from spots that no neighbours predict, and from those that their neighbours contradict; returns the most
/// that the others are off, or nothing when too many are.
fn refuse(field: &mut Field, step: u32) -> Option<u32> {
    let always = step >> ALWAYS_SHIFT;
    for _ in 0..MOST_REFUSED {
        let Survey { mean, largest, alone } = Survey::of(field, always);
        if mean > step >> NEVER_SHIFT {
            return None;
        }
        if alone {
            field.free_alone();
        } else if largest > always.max(mean.saturating_mul(MOST_OF_MEAN)) {
            let worst = worst(field, largest)?;
            field.free(worst);
        } else {
            return Some(largest);
        }
    }
    None
}

/// Of the spots that are farthest off their neighbours' prediction the one that is farthest off the best affine map: of three
/// on a line each end is as far off as the middle.
fn worst(field: &Field, largest: u32) -> Option<usize> {
    let affine = Affine::fit(&mut found(field.spots))?;
    let far = |(number, spot): (usize, &PlacedSpot)| (affine.distance(spot.at, spot.place), spot.at, number);
    let are_worst = (0..field.spots.len())
        .zip(field.spots.iter())
        .filter(|(_, spot)| !spot.is_free() && spot.next == noted(largest));
    are_worst.map(far).max().map(|(_, _, number)| number)
}

/// What a spot is off, as noted in it.
fn noted(off: u32) -> u16 {
    u16::try_from(off).unwrap_or(u16::MAX).min(ALONE - 1)
}

/// Noted in a spot that no neighbours predict.
const ALONE: u16 = u16::MAX;

/// How well spots agree with their neighbours.
#[derive(Default)]
struct Survey {
    mean: u32,
    largest: u32,
    /// Whether there are spots without neighbours that tell.
    alone: bool,
}

impl Survey {
    fn of(field: &mut Field, enough: u32) -> Self {
        let (mut survey, mut sum, mut count) = (Self::default(), 0u32, 0u32);
        for number in 0..field.spots.len() {
            match field.see(number, enough) {
                Seen::Off(off) => {
                    // 2^10 spots that are off by less than 2^22: only what is off more saturates.
                    sum = sum.saturating_add(off);
                    count = count.wrapping_add(1);
                    survey.largest = survey.largest.max(off);
                }
                Seen::Alone => survey.alone = true,
                Seen::Free => {}
            }
        }
        Self { mean: sum.checked_div(count).unwrap_or_default(), ..survey }
    }
}

/// Spots with their holes: what [`Reference::assign`](super::Reference::assign) gives.
#[derive(Clone, Copy, Debug)]
pub struct Assignment<'a> {
    places: &'a [Option<Point>],
    lattice: &'a Lattice,
    spots: &'a [PlacedSpot],
    findings: Findings,
}

/// A hole and its spot's two places.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HolePair {
    /// Index of the hole.
    pub hole: Hole,
    /// Where the light through it lands without lens, and with it.
    pub pair: SpotPair,
}

impl<'a> Assignment<'a> {
    /// `directions` of the reference, 2^-24 mm.
    ///
    /// # Errors
    /// [`AssignError`]: no two of the spots share a hole, but they must be many and agree.
    #[inline(never)]
    pub(super) fn of(
        lattice: &'a Lattice,
        places: &'a [Option<Point>],
        spots: &'a [PlacedSpot],
        indexed: &Indexed,
        directions: Basis,
    ) -> Result<Self, AssignError> {
        let count = |found: usize| u16::try_from(found).unwrap_or(u16::MAX);
        let holes = places.iter().flatten().fold(0usize, |count, _| count.wrapping_add(1));
        let placed = || placed(lattice, places, spots).map(|(hole, spot, _)| (hole, spot));
        let affine = Affine::fit(&mut placed()).ok_or(AssignError::Inconsistent)?;
        let assigned = affine.count();
        if assigned < PlacedSpot::LEAST {
            return Err(AssignError::TooFewSpots);
        }
        if !are_most(assigned, spots.len()) {
            return Err(AssignError::Inconsistent);
        }
        let (_, residual) = affine.residual(&mut placed());
        let rotation = affine.rotation(directions);
        if rotation.abs() > MOST_ROTATION {
            return Err(AssignError::Turned);
        }
        let findings = Findings {
            assigned: count(assigned),
            missing: count(holes.saturating_sub(assigned)),
            extra: count(spots.len().saturating_sub(assigned)),
            anchor: indexed.anchor,
            lead: indexed.lead,
            rotation,
            residual,
            largest_step: indexed.largest_step,
        };
        Ok(Self { places, lattice, spots, findings })
    }

    /// What was found beside the pairs.
    #[must_use]
    pub const fn findings(&self) -> &Findings {
        &self.findings
    }

    /// The pairs, for [`SlopeSums`](super::SlopeSums): no hole and no spot twice; in the order of the spots.
    pub fn pairs(&self) -> impl Iterator<Item = HolePair> + '_ {
        placed(self.lattice, self.places, self.spots).filter_map(|(hole, spot, reference)| {
            // Both were tested.
            SpotPair::new(reference, spot).ok().map(|pair| HolePair { hole, pair })
        })
    }

    /// Spots that have no hole.
    pub fn extra(&self) -> impl Iterator<Item = &PlacedSpot> + '_ {
        self.spots.iter().filter(|spot| place_of(self.lattice, self.places, spot.at).is_none())
    }
}

/// `tan` of it is 1/8.
pub(super) const MOST_ROTATION: Degree = degrees!(7.125);

/// Where the light of a hole lands without lens, if it is one and was found.
pub(super) fn place_of(lattice: &Lattice, places: &[Option<Point>], hole: Hole) -> Option<Point> {
    *places.get(usize::from(lattice.number(hole)?))?
}

/// Holes with their spots' places and their own.
fn placed<'a>(
    lattice: &'a Lattice,
    places: &'a [Option<Point>],
    spots: &'a [PlacedSpot],
) -> impl Iterator<Item = (Hole, Point, Point)> + 'a {
    spots.iter().filter_map(move |spot| Some((spot.at, spot.place, place_of(lattice, places, spot.at)?)))
}

/// Holes that have a spot.
pub(super) fn found(spots: &[PlacedSpot]) -> impl Iterator<Item = (Hole, Point)> + '_ {
    spots.iter().filter(|spot| !spot.is_free()).map(|spot| (spot.at, spot.place))
}
