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
    let (matrix, right) = (equations.matrix(), equations.right());
    let factors = Factors::of(&matrix)?;
    let first = factors.solve(&right);
    let correction = factors.solve(&left(&matrix, &right, &first));
    let mut amplitudes = first;
    for (amplitude, correction) in amplitudes.iter_mut().zip(correction) {
        *amplitude = amplitude.saturating_add(correction);
    }
    if amplitudes.iter().any(|amplitude| amplitude.unsigned_abs() >= MOST) {
        return Err(HigherOrderError::SlopeRange);
    }
    let rest = left(&matrix, &right, &amplitudes);
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

    /// Sums of the products of the terms' gradients. Wrapping: the elements are in range, whatever their parts are.
    #[inline(never)]
    fn matrix(&self) -> Matrix {
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
        Zernike::ALL.map(|row| Zernike::ALL.map(|column| element(row, column)))
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

/// `b - G a`.
fn left(matrix: &Matrix, right: &Column, amplitudes: &Column) -> Column {
    let mut left = *right;
    for (left, row) in left.iter_mut().zip(matrix) {
        for (element, amplitude) in row.iter().zip(amplitudes) {
            *left = left.wrapping_sub(product(*element, *amplitude));
        }
    }
    left
}

/// `G = L D L^T`: the unit lower triangle, and the pivots.
struct Factors {
    lower: Matrix,
    pivots: Column,
}

impl Factors {
    /// # Errors
    /// [`HigherOrderError::Singular`].
    #[inline(never)]
    fn of(matrix: &Matrix) -> Result<Self, HigherOrderError> {
        let (mut lower, mut pivots) = ([[0i64; TERMS]; TERMS], [0i64; TERMS]);
        for (size, row) in matrix.iter().enumerate() {
            let (done, rest) = lower.split_at_mut_checked(size).ok_or(HigherOrderError::Singular)?;
            // The row times the pivots, and the row.
            let (mut scaled, mut factors) = ([0i64; TERMS], [0i64; TERMS]);
            let mut pivot = row.get(size).copied().unwrap_or(0);
            let least = (pivot >> LEAST_SHARE).max(LEAST_PIVOT);
            for (column, above) in done.iter().enumerate() {
                let mut value = row.get(column).copied().unwrap_or(0);
                for (scaled, factor) in scaled.iter().zip(above).take(column) {
                    value = value.wrapping_sub(product(*scaled, *factor) << LOST);
                }
                let factor = math::ratio(value, pivots.get(column).copied().unwrap_or(0), AMPLITUDE_BITS);
                if factor.unsigned_abs() >= 1 << 62 {
                    return Err(HigherOrderError::Singular);
                }
                if let (Some(scaled), Some(kept)) = (scaled.get_mut(column), factors.get_mut(column)) {
                    (*scaled, *kept) = (value, factor);
                }
                pivot = pivot.wrapping_sub(product(value, factor) << LOST);
            }
            if pivot < least {
                return Err(HigherOrderError::Singular);
            }
            if let (Some(lower), Some(kept)) = (rest.first_mut(), pivots.get_mut(size)) {
                (*lower, *kept) = (factors, pivot);
            }
        }
        Ok(Self { lower, pivots })
    }

    /// Saturates where a quotient does.
    #[inline(never)]
    fn solve(&self, right: &Column) -> Column {
        let mut solution = *right;
        for (size, row) in self.lower.iter().enumerate() {
            let (done, rest) = solution.split_at_mut(size.min(TERMS));
            let Some(value) = rest.first_mut() else { break };
            for (before, factor) in done.iter().zip(row) {
                *value = value.wrapping_sub(product(*before, *factor) << LOST);
            }
        }
        for (value, pivot) in solution.iter_mut().zip(&self.pivots) {
            *value = math::ratio(*value, *pivot, AMPLITUDE_BITS + MATRIX_BITS - RIGHT_BITS).clamp(-(1 << 61), 1 << 61);
        }
        for (size, row) in self.lower.iter().enumerate().rev() {
            let (before, rest) = solution.split_at_mut(size.min(TERMS));
            let Some(value) = rest.first() else { continue };
            for (before, factor) in before.iter_mut().zip(row) {
                *before = before.saturating_sub(product(*value, *factor).saturating_mul(1 << LOST));
            }
        }
        solution
    }
}
