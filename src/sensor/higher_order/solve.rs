//! Normal equations of fourteen terms, their solution, and what it leaves.
//!
//! Scale: sums are brought from `n` spots to `n' = n / 2^bits`, from a half to below one. The matrix is in 2^-51 of that, below
//! 2^59 as no gradient of a term exceeds 12; right sides in 2^-43 mm; amplitudes in 2^-54 mm.
//!
//! A quotient has 31 digits (6e-10): so have factors and solution, which one refinement against the exact matrix brings
//! to the digits of the sums.

use super::HigherOrderError;
use super::sums::{CROSS_BITS, MOMENT_BITS};
use super::terms::{MONOMIALS, SLOPES, TERMS, Zernike, index};
use crate::math;
use crate::sensor::moments::{product, root};

const MATRIX_BITS: u32 = 51;
const RIGHT_BITS: u32 = 43;
/// Fraction bits of factors and amplitudes.
pub(super) const AMPLITUDE_BITS: u32 = 54;
/// What a product of either with a factor lacks to its own bits.
const LOST: u32 = 62 - AMPLITUDE_BITS;
/// Amplitudes are below 64 mm.
const MOST: u64 = 64 << AMPLITUDE_BITS;
/// A term is told from those before it by at least this share of its own square, and of what it would have if the spots filled
/// the disc.
const LEAST_SHARE: u32 = 8;
const LEAST_PIVOT: i64 = 1 << (MATRIX_BITS - 10);

/// What the sums hold.
pub(super) struct Equations<'a> {
    pub(super) count: u32,
    pub(super) moments: &'a [i64; MONOMIALS],
    pub(super) across: &'a [i64; SLOPES],
    pub(super) up: &'a [i64; SLOPES],
    pub(super) squares: i64,
}

type Column = [i64; TERMS];
type Matrix = [Column; TERMS];

/// Amplitudes, and the standard deviation of a displacement component, 2^-24 mm.
///
/// # Errors
/// [`HigherOrderError::Singular`], [`HigherOrderError::SlopeRange`].
pub(super) fn solved(equations: &Equations) -> Result<(Column, u32), HigherOrderError> {
    let mut system = System { matrix: [[0; TERMS]; TERMS], pivots: [0; TERMS] };
    equations.fill(&mut system.matrix);
    system.factor()?;
    let right = equations.right();
    let mut amplitudes = right;
    system.solve(&mut amplitudes);
    let mut correction = system.left(&right, &amplitudes);
    system.solve(&mut correction);
    for (amplitude, correction) in amplitudes.iter_mut().zip(correction) {
        *amplitude = amplitude.saturating_add(correction);
    }
    if amplitudes.iter().any(|amplitude| amplitude.unsigned_abs() >= MOST) {
        return Err(HigherOrderError::SlopeRange);
    }
    let rest = system.left(&right, &amplitudes);
    Ok((amplitudes, equations.deviation(&right, &rest, &amplitudes)))
}

/// `value * 2^by`, rounded when it loses bits.
fn shifted(value: i64, by: i32) -> i64 {
    if by < 0 { math::shift_round(value, by.unsigned_abs()) } else { value.wrapping_shl(by.unsigned_abs()) }
}

impl Equations<'_> {
    /// Binary digits of the number of spots.
    fn bits(&self) -> i32 {
        32u32.wrapping_sub(self.count.leading_zeros()).cast_signed()
    }

    /// Sums of the products of the terms' gradients, from the diagonal on. Wrapping: the elements are in range, whatever their
    /// parts are.
    #[inline(never)]
    fn fill(&self, matrix: &mut Matrix) {
        let by = (MATRIX_BITS - MOMENT_BITS).cast_signed().wrapping_sub(self.bits());
        let moments = self.moments.map(|moment| shifted(moment, by));
        let moment = |factor: i32, i: i32, j: i32| {
            let moment = index(i, j).and_then(|index| moments.get(index)).copied().unwrap_or(0);
            moment.wrapping_mul(factor.into())
        };
        let element = |first: Zernike, second: Zernike| {
            let mut sum = 0i64;
            for [a, i, j] in first.polynomial() {
                for [b, k, l] in second.polynomial() {
                    let factor = a.wrapping_mul(*b);
                    let (x, y) = (i.wrapping_add(*k), j.wrapping_add(*l));
                    let across = moment(factor.wrapping_mul(i.wrapping_mul(*k)), x.wrapping_sub(2), y);
                    let up = moment(factor.wrapping_mul(j.wrapping_mul(*l)), x, y.wrapping_sub(2));
                    sum = sum.wrapping_add(across).wrapping_add(up);
                }
            }
            sum
        };
        for (first, row) in Zernike::ALL.iter().zip(matrix) {
            for (second, kept) in Zernike::ALL.iter().zip(row) {
                if second.place() >= first.place() {
                    *kept = element(*first, *second);
                }
            }
        }
    }

    fn right(&self) -> Column {
        let by = (RIGHT_BITS - CROSS_BITS).cast_signed().wrapping_sub(self.bits());
        let moment = |sums: &[i64; SLOPES], factor: i32, i: i32, j: i32| {
            let sum = index(i, j).and_then(|index| sums.get(index)).copied().unwrap_or(0);
            shifted(sum, by).wrapping_mul(factor.into())
        };
        Zernike::ALL.map(|term| {
            let mut sum = 0i64;
            for [c, i, j] in term.polynomial() {
                let across = moment(self.across, c.wrapping_mul(*i), i.wrapping_sub(1), *j);
                let up = moment(self.up, c.wrapping_mul(*j), *i, j.wrapping_sub(1));
                sum = sum.wrapping_sub(across).wrapping_sub(up);
            }
            sum
        })
    }

    /// Root of the mean squared residual with `2 n - 14` degrees of freedom, 2^-24 mm.
    ///
    /// `ww - a (b + r)` with what the amplitudes leave of the right side, `r = b - G a`: an error of the amplitudes is of second
    /// order in it.
    fn deviation(&self, right: &Column, rest: &Column, amplitudes: &Column) -> u32 {
        let sides = || right.iter().zip(rest).map(|(right, rest)| right.wrapping_add(*rest));
        let zeros = |value: i64| value.unsigned_abs().leading_zeros().cast_signed();
        // As many more bits as leave room for fourteen products, and for the squares.
        let room = sides().map(zeros).min().unwrap_or(0).wrapping_sub(6);
        let squares_at = |up: i32| up.wrapping_add(3).wrapping_sub(self.bits());
        let up = room.min(zeros(self.squares).wrapping_sub(4).wrapping_sub(squares_at(0)));
        let explained = sides()
            .zip(amplitudes)
            .map(|(side, amplitude)| product(*amplitude, shifted(side, up)))
            .fold(0, i64::wrapping_add);
        let squares = shifted(self.squares, squares_at(up)).wrapping_sub(explained).max(0).unsigned_abs();
        let freedom = u64::from(self.count).wrapping_mul(2).saturating_sub(TERMS as u64);
        // 2^-35-up mm^2 over n' to 2^-48.
        root(squares, freedom, 13i32.wrapping_sub(up).wrapping_add(self.bits()))
    }
}

/// `G = L D L^T`: the matrix from the diagonal on, below it the unit triangle, and the pivots.
struct System {
    matrix: Matrix,
    pivots: Column,
}

impl System {
    /// # Errors
    /// [`HigherOrderError::Singular`].
    #[inline(never)]
    fn factor(&mut self) -> Result<(), HigherOrderError> {
        for size in 0..TERMS {
            let (done, rest) = self.matrix.split_at_mut_checked(size).ok_or(HigherOrderError::Singular)?;
            let Some(row) = rest.first_mut() else { break };
            let mut pivot = row.get(size).copied().unwrap_or(0);
            let least = (pivot >> LEAST_SHARE).max(LEAST_PIVOT);
            // The row of L times the pivots.
            let mut scaled = [0i64; TERMS];
            for (column, above) in (0..TERMS).zip(done.iter()) {
                let mut value = above.get(size).copied().unwrap_or(0);
                for (scaled, factor) in scaled.iter().zip(above).take(column) {
                    value = value.wrapping_sub(product(*scaled, *factor) << LOST);
                }
                let factor = math::ratio(value, self.pivots.get(column).copied().unwrap_or(0), AMPLITUDE_BITS);
                if factor.unsigned_abs() >= 1 << 62 {
                    return Err(HigherOrderError::Singular);
                }
                if let (Some(scaled), Some(kept)) = (scaled.get_mut(column), row.get_mut(column)) {
                    (*scaled, *kept) = (value, factor);
                }
                pivot = pivot.wrapping_sub(product(value, factor) << LOST);
            }
            if pivot < least {
                return Err(HigherOrderError::Singular);
            }
            if let Some(kept) = self.pivots.get_mut(size) {
                *kept = pivot;
            }
        }
        Ok(())
    }

    /// From a right side to its solution; saturates where a quotient does.
    #[inline(never)]
    fn solve(&self, solution: &mut Column) {
        for (size, row) in (0..TERMS).zip(&self.matrix) {
            let (done, rest) = solution.split_at_mut(size.min(TERMS));
            let Some(value) = rest.first_mut() else { break };
            for (before, factor) in done.iter().zip(row) {
                *value = value.wrapping_sub(product(*before, *factor) << LOST);
            }
        }
        for (value, pivot) in solution.iter_mut().zip(&self.pivots) {
            *value = math::ratio(*value, *pivot, AMPLITUDE_BITS + MATRIX_BITS - RIGHT_BITS).clamp(-(1 << 61), 1 << 61);
        }
        for (size, row) in (0..TERMS).zip(&self.matrix).rev() {
            let (before, rest) = solution.split_at_mut(size.min(TERMS));
            let Some(value) = rest.first() else { continue };
            for (before, factor) in before.iter_mut().zip(row) {
                *before = before.saturating_sub(product(*value, *factor).saturating_mul(1 << LOST));
            }
        }
    }

    /// `b - G a`.
    #[inline(never)]
    fn left(&self, right: &Column, amplitudes: &Column) -> Column {
        let mut left = *right;
        for (size, row) in (0..TERMS).zip(&self.matrix) {
            let own = amplitudes.get(size).copied().unwrap_or(0);
            let mut sum = 0i64;
            // An element beside the diagonal stands for its mirror image too.
            for (column, (left, (element, amplitude))) in
                (0..TERMS).zip(left.iter_mut().zip(row.iter().zip(amplitudes)))
            {
                if column >= size {
                    sum = sum.wrapping_add(product(*element, *amplitude));
                }
                if column > size {
                    *left = left.wrapping_sub(product(*element, own));
                }
            }
            if let Some(left) = left.get_mut(size) {
                *left = left.wrapping_sub(sum);
            }
        }
        left
    }
}
