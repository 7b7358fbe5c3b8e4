//! The lattice as it lies near a spot, from the spot's nearest neighbours.

use super::super::lattice::Hole;
use super::PlacedSpot;
use super::step::{Basis, Step, Turn};
use crate::quantity::Point;

/// Spots that are looked at, the seed among them: a patch of four by four and one.
const PATCH: usize = 17;

/// A step of the lattice joins so many pairs of them, or more. Of the two shortest ones some nine do, with 20 % of the spots
/// missing; one to a ghost joins that alone.
const LEAST_PAIRS: i32 = 4;

/// The nearest spots, as steps from the seed, the shortest first.
struct Nearest {
    steps: [Step; PATCH],
    squares: [u32; PATCH],
}

/// Bits left out of a length for its square: steps within 2^22 then square to less than 2^31.
const COARSE: u32 = 7;

/// Square of the length, in units of 2^-18 mm^2, below 2^31.
fn coarse_square(step: Step) -> u32 {
    let (x, y) = (step.x.unsigned_abs() >> COARSE, step.y.unsigned_abs() >> COARSE);
    x.wrapping_mul(x).wrapping_add(y.wrapping_mul(y))
}

impl Nearest {
    fn of(spots: &[PlacedSpot], centre: Point) -> Self {
        let mut nearest = Self { steps: [Step::default(); PATCH], squares: [u32::MAX; PATCH] };
        let mut farthest = u32::MAX;
        for spot in spots {
            let step = Step::between(centre, spot.place);
            let square = coarse_square(step);
            if square < farthest {
                farthest = nearest.insert(step, square);
            }
        }
        nearest
    }

    /// Puts a step in its place; what falls out at the end is the farthest. Returns the square of the last.
    fn insert(&mut self, step: Step, square: u32) -> u32 {
        // From the end: those that are farther move up by one.
        let mut held = self.steps.iter_mut().zip(&mut self.squares).rev();
        let Some(mut free) = held.next() else { return 0 };
        for lower in held {
            if *lower.1 <= square {
                break;
            }
            (*free.0, *free.1) = (*lower.0, *lower.1);
            free = lower;
        }
        (*free.0, *free.1) = (step, square);
        self.squares.last().copied().unwrap_or_default()
    }

    fn taken(&self) -> impl Iterator<Item = Step> + '_ {
        self.steps.iter().zip(&self.squares).filter(|(_, square)| **square < u32::MAX).map(|(step, _)| *step)
    }

    /// The mean of what joins pairs as a step does, within an eighth of its size; none when it joins few.
    fn supported(&self, step: Step) -> Option<Step> {
        let allowed = step.size() >> 3;
        let (mut sum, mut count) = (Step::default(), 0i32);
        for from in self.taken() {
            let there = from.plus(step);
            if let Some(to) = self.taken().find(|to| to.minus(there).size() <= allowed) {
                // 17 differences: below 2^27.
                sum = sum.plus(to.minus(from));
                count = count.wrapping_add(1);
            }
        }
        let mean = |sum: i32| sum.checked_div(count).unwrap_or_default();
        (count >= LEAST_PAIRS).then(|| Step { x: mean(sum.x), y: mean(sum.y) })
    }
}

/// Two short steps of the lattice near a spot, the second counter-clockwise from the first.
fn short_steps(spots: &[PlacedSpot], seed: usize) -> Option<Basis> {
    let nearest = Nearest::of(spots, spots.get(seed)?.place);
    let mut steps = nearest.taken().filter(|step| step.size() > 0);
    let first = steps.find_map(|step| nearest.supported(step))?;
    let second = steps.filter(|step| is_across(first, *step)).find_map(|step| nearest.supported(step))?;
    let second = if first.cross(second) < 0 { Step::default().minus(second) } else { second };
    Some(reduced(Basis { first, second }))
}

/// Whether two steps stand at more than 20 degrees: the square of the sine is from 1/8 on.
fn is_across(first: Step, second: Step) -> bool {
    let coarse = |step: Step| Step { x: step.x >> COARSE, y: step.y >> COARSE };
    // Within 2^15: the cross product is below 2^31, its square below 2^62, eight times which is not reached by half of that.
    let (first, second) = (coarse(first), coarse(second));
    let cross = first.cross(second).unsigned_abs();
    let lengths = first.dot(first).unsigned_abs().wrapping_mul(second.dot(second).unsigned_abs());
    cross.wrapping_mul(cross) > lengths >> 3
}

/// The shortest steps that span the same lattice, by Lagrange's and Gauss's reduction in single subtractions.
fn reduced(mut basis: Basis) -> Basis {
    for _ in 0..8 {
        let (sum, difference) = (basis.second.plus(basis.first), basis.second.minus(basis.first));
        let length = |step: Step| step.dot(step);
        let shorter = if length(sum) < length(difference) { sum } else { difference };
        if length(shorter) < length(basis.second) {
            basis.second = shorter;
        } else if length(basis.second) < length(basis.first) {
            basis = Basis { first: basis.second, second: Step::default().minus(basis.first) };
        } else {
            break;
        }
    }
    basis
}

/// The basis near a spot that belongs to the directions of the plate: of all that span the same lattice, the one whose map
/// from them turns least.
///
/// A lens's map is the gradient of a potential, hence symmetric, and positive while its focus lies behind the detector. Any
/// other basis has a map that turns: by 60 or 90 degrees for the lattice's own turns, and for sheared ones by the angle whose
/// tangent is `a / (a + c)`, the principal values being `a` and `c`: 17 degrees at `a = 0.43 c`.
///
/// `Err`: there are short steps, but every basis turns.
pub(super) fn near(spots: &[PlacedSpot], seed: usize, lattice: Basis) -> Result<Option<Basis>, ()> {
    let Some(short) = short_steps(spots, seed) else { return Ok(None) };
    let (mut turns, products) = (Turns::default(), Products::of(short, lattice));
    for change in CHANGES {
        turns.see(change, products.turn(change));
    }
    turns.clear_least().map(|change| Some(change.of(short))).ok_or(())
}

/// A change to another basis of the same lattice: the new directions by the old.
#[derive(Clone, Copy, Default)]
struct Change {
    first: Hole,
    second: Hole,
}

impl Change {
    const fn new(a: i8, b: i8, c: i8, d: i8) -> Self {
        Self { first: Hole::new(a, b), second: Hole::new(c, d) }
    }

    fn of(self, basis: Basis) -> Basis {
        Basis { first: basis.step(self.first), second: basis.step(self.second) }
    }
}

/// All changes of determinant 1 with components from -1 to 1: with a reduced basis, they are those between bases of short steps.
const CHANGES: [Change; 20] = [
    Change::new(-1, -1, 0, -1),
    Change::new(-1, -1, 1, 0),
    Change::new(-1, 0, -1, -1),
    Change::new(-1, 0, 0, -1),
    Change::new(-1, 0, 1, -1),
    Change::new(-1, 1, -1, 0),
    Change::new(-1, 1, 0, -1),
    Change::new(0, -1, 1, -1),
    Change::new(0, -1, 1, 0),
    Change::new(0, -1, 1, 1),
    Change::new(0, 1, -1, -1),
    Change::new(0, 1, -1, 0),
    Change::new(0, 1, -1, 1),
    Change::new(1, -1, 0, 1),
    Change::new(1, -1, 1, 0),
    Change::new(1, 0, -1, 1),
    Change::new(1, 0, 0, 1),
    Change::new(1, 0, 1, 1),
    Change::new(1, 1, -1, 0),
    Change::new(1, 1, 0, 1),
];

/// Products of the steps with the directions of the plate: a turn is linear in each of its steps.
struct Products {
    cross: [[i64; 2]; 2],
    dot: [[i64; 2]; 2],
}

impl Products {
    fn of(short: Basis, lattice: Basis) -> Self {
        let with = |direction: Step, product: fn(Step, Step) -> i64| {
            [product(short.first, direction), product(short.second, direction)]
        };
        Self {
            cross: [with(lattice.second, Step::cross), with(lattice.first, Step::cross)],
            dot: [with(lattice.second, Step::dot), with(lattice.first, Step::dot)],
        }
    }

    /// [`Basis::turn_against`] of a change.
    fn turn(&self, change: Change) -> Turn {
        let part = |by: i8, product: i64| match by {
            0 => 0,
            1.. => product,
            _ => product.wrapping_neg(),
        };
        let sum = |hole: Hole, [first, second]: [i64; 2]| part(hole.i, first).wrapping_add(part(hole.j, second));
        let total = |[with_second, with_first]: [[i64; 2]; 2]| {
            sum(change.first, with_second).wrapping_sub(sum(change.second, with_first))
        };
        Turn { trace: total(self.cross), twist: total(self.dot) }
    }
}

/// The change whose basis turns least, and the turn of the next.
#[derive(Default)]
struct Turns {
    least: Option<(Turn, Change)>,
    next: Option<Turn>,
}

impl Turns {
    fn see(&mut self, change: Change, turn: Turn) {
        let is_less = |than: Option<Turn>| than.is_none_or(|than| turn.is_less(1, than));
        if turn.trace <= 0 {
        } else if is_less(self.least.map(|(turn, _)| turn)) {
            self.next = self.least.map(|(turn, _)| turn);
            self.least = Some((turn, change));
        } else if is_less(self.next) {
            self.next = Some(turn);
        }
    }

    /// The least, when it is small and the next is more than twice as large.
    fn clear_least(self) -> Option<Change> {
        let (turn, change) = self.least?;
        let is_clear = self.next.is_none_or(|next| turn.is_less(2, next));
        (turn.is_small() && is_clear).then_some(change)
    }
}
