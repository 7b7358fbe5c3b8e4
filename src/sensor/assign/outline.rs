//! Which hole each index is: the shift that brings most spots onto holes, or that the marker tells.

use super::super::lattice::{Hole, Lattice};
use super::field::Field;
use super::{Anchor, AssignError};
use core::num::NonZeroI32;

/// Indices wrap at 32, as [`Lattice::columns`] do.
const ROWS: usize = 32;

/// The rows of a pattern, bit `i mod 32` of row `j mod 32`.
struct Pattern([u32; ROWS]);

impl Pattern {
    const EMPTY: Self = Self([0; ROWS]);

    fn row(j: i8) -> usize {
        usize::from(j.cast_unsigned()) & (ROWS - 1)
    }

    fn of_spots(field: &Field) -> Self {
        let mut pattern = Self::EMPTY;
        for spot in field.spots.iter().filter(|spot| !spot.is_free()) {
            if let Some(row) = pattern.0.get_mut(Self::row(spot.at.j)) {
                *row |= 1u32.rotate_left(u32::from(spot.at.i.cast_unsigned()) & 31);
            }
        }
        pattern
    }

    fn of_holes(lattice: &Lattice) -> Self {
        let mut pattern = Self::EMPTY;
        for j in -Lattice::MOST_INDEX..=Lattice::MOST_INDEX {
            if let Some(row) = pattern.0.get_mut(Self::row(j)) {
                *row = lattice.columns(j);
            }
        }
        pattern
    }

    /// How many of these lie on the other's when shifted.
    fn common(&self, other: &Self, shift: Hole) -> u32 {
        let turned = u32::from(shift.i.cast_unsigned()) & 31;
        let (mut count, mut at) = (0u32, Self::row(shift.j));
        for row in self.0 {
            if row != 0 {
                let there = other.0.get(at).copied().unwrap_or_default();
                count = count.wrapping_add((row.rotate_left(turned) & there).count_ones());
            }
            at = at.wrapping_add(1) & (ROWS - 1);
        }
        count
    }
}

/// Mean index, rounded to nearest.
fn mean(holes: impl Iterator<Item = Hole>) -> Hole {
    let (mut i, mut j, mut count) = (0i32, 0i32, 0i32);
    for hole in holes {
        i = i.wrapping_add(hole.i.into());
        j = j.wrapping_add(hole.j.into());
        count = count.wrapping_add(1);
    }
    let Some(count) = NonZeroI32::new(count) else { return Hole::default() };
    let rounded = |sum: i32| {
        let half = count.get() >> 1;
        // Of indices within 31.
        sum.wrapping_add(half).checked_div_euclid(count.get()).unwrap_or_default() as i8
    };
    Hole::new(rounded(i), rounded(j))
}

/// A shift and what tells it.
pub(super) struct Outline {
    pub(super) shift: Hole,
    pub(super) anchor: Anchor,
    /// Spots on holes with this shift, less those with the best of the others.
    pub(super) lead: i16,
}

/// A lead of two: a false shift leads by as much only when two ghosts more than it loses spots lie on the lattice, beyond the
/// plate's edge, so well that their neighbours did not contradict them.
const LEAST_LEAD: u32 = 2;

/// Steps that the search for the best shift may take.
const MOST_STEPS: u8 = 32;

struct Scores {
    spots: Pattern,
    holes: Pattern,
}

impl Scores {
    fn of(&self, shift: Hole) -> u32 {
        self.spots.common(&self.holes, shift)
    }

    /// The best shift, from where the middles agree uphill, its score and the best of those around it: what two discs share
    /// only falls with the distance of their centres.
    fn best(&self, start: Hole) -> (Hole, u32, u32) {
        let mut best = (start, self.of(start));
        for _ in 0..MOST_STEPS {
            let (other, score) = self.best_other(best.0);
            if score <= best.1 {
                return (best.0, best.1, score);
            }
            best = (other, score);
        }
        (best.0, best.1, best.1)
    }

    /// The best shift next to one, diagonals included; of equal ones the first.
    fn best_other(&self, than: Hole) -> (Hole, u32) {
        let mut best = (than, 0);
        for j in -1..=1 {
            for i in -1..=1 {
                let shift = than.moved(Hole::new(i, j));
                if shift != than {
                    let score = self.of(shift);
                    if score > best.1 {
                        best = (shift, score);
                    }
                }
            }
        }
        best
    }
}

/// # Errors
/// [`AssignError::Ambiguous`], [`AssignError::MarkerElsewhere`].
pub(super) fn find(field: &Field, lattice: &Lattice) -> Result<Outline, AssignError> {
    let scores = Scores { spots: Pattern::of_spots(field), holes: Pattern::of_holes(lattice) };
    let assigned = field.spots.iter().filter(|spot| !spot.is_free()).map(|spot| spot.at);
    let (middle, of_spots) = (mean(lattice.holes()), mean(assigned));
    let start = Hole::new(middle.i.wrapping_sub(of_spots.i), middle.j.wrapping_sub(of_spots.j));
    let (shift, score, others) = scores.best(start);
    let is_clear = score >= others.wrapping_add(LEAST_LEAD);
    let lead = |score: u32, others: u32| (score.cast_signed().wrapping_sub(others.cast_signed())) as i16;
    let marked = Marked::of(field, lattice, shift);
    match marked {
        Marked::Nothing if is_clear => Ok(Outline { shift, anchor: Anchor::Outline, lead: lead(score, others) }),
        Marked::Agrees if is_clear => Ok(Outline { shift, anchor: Anchor::Both, lead: lead(score, others) }),
        Marked::Elsewhere(_) | Marked::Several if is_clear => Err(AssignError::MarkerElsewhere),
        Marked::Agrees => Ok(Outline { shift, anchor: Anchor::Marker, lead: lead(score, others) }),
        Marked::Elsewhere(shift) if scores.of(shift).wrapping_add(LEAST_LEAD) > score => {
            let (_, others) = scores.best_other(shift);
            Ok(Outline { shift, anchor: Anchor::Marker, lead: lead(scores.of(shift), others) })
        }
        Marked::Nothing | Marked::Elsewhere(_) | Marked::Several => Err(AssignError::Ambiguous),
    }
}

/// What the brightest spots say of a shift.
enum Marked {
    /// No spot looks like the marker, or the plate has none.
    Nothing,
    /// The spot that does is the marker.
    Agrees,
    /// With this shift it would be.
    Elsewhere(Hole),
    /// Several do, and none is the marker.
    Several,
}

impl Marked {
    fn of(field: &Field, lattice: &Lattice, shift: Hole) -> Self {
        let Some(marker) = lattice.plate().marker else { return Self::Nothing };
        let mut marked = Self::Nothing;
        for spot in field.spots.iter().filter(|spot| !spot.is_free()) {
            if !is_bright(field, spot.at, spot.light) {
                continue;
            }
            let told = Hole::new(marker.i.wrapping_sub(spot.at.i), marker.j.wrapping_sub(spot.at.j));
            marked = match marked {
                _ if told == shift => return Self::Agrees,
                Self::Nothing => Self::Elsewhere(told),
                _ => Self::Several,
            };
        }
        marked
    }
}

/// Brighter by half than each of its neighbours, of which two or more are there: so an uneven light tells nothing false.
fn is_bright(field: &Field, at: Hole, light: u32) -> bool {
    const AROUND: [Hole; 4] = [Hole::new(1, 0), Hole::new(0, 1), Hole::new(-1, 0), Hole::new(0, -1)];
    let mut count = 0u8;
    for neighbour in AROUND.iter().filter_map(|&by| field.spot_at(at.moved(by))) {
        if u64::from(light).wrapping_mul(2) <= u64::from(neighbour.light).wrapping_mul(3) {
            return false;
        }
        count = count.wrapping_add(1);
    }
    count >= 2
}
