//! Least squares of one pair of takes: the taps of the sheet, with the front left open.

use super::front::N_TERMS;
use nalgebra::{DMatrix, DVector};

/// Rows of the equations of one pair.
pub struct Rows<'a> {
    /// Response without the screen, with the echoes known so far.
    pub source: &'a [f64],
    /// The same through each slow part of the sheet.
    pub slow: &'a [Vec<f64>],
    /// Response with the screen.
    pub target: &'a [f64],
    /// What a unit of each term of the front adds to the target; may be empty.
    pub terms: &'a [Vec<f64>],
    /// First row, samples.
    pub first: usize,
    /// Weight of each row.
    pub weights: &'a [f64],
    /// Lag of the first tap, samples; negative or zero.
    pub first_lag: i64,
    /// Ridge of each tap, then of each slow part, in the units of the squared source.
    pub ridge: &'a [f64],
}

/// A pair solved for its taps as far as the front's terms are known.
pub struct Reduced {
    /// Number of taps and slow parts.
    n_unknowns: usize,
    /// Below and on the diagonal: the normal matrix of the taps as `L L^T`, and in the rows after
    /// it `L^-1` times the products of the taps' columns with the terms and, last, the target.
    factor: DMatrix<f64>,
    /// Normal matrix left for the terms.
    pub normal: DMatrix<f64>,
    /// Right-hand side left for the terms.
    pub target: DVector<f64>,
}

impl Reduced {
    /// Taps with these weights of the terms.
    pub fn taps_with(&self, weights: &[f64]) -> Vec<f64> {
        let n = self.n_unknowns;
        let border = |row: usize| self.factor.row(n + row);
        let mut taps = border(self.target.len()).columns(0, n).transpose();
        for (term, weight) in weights.iter().enumerate().take(self.target.len()) {
            taps.axpy(-weight, &border(term).columns(0, n).transpose(), 1.0);
        }
        // A factor has no zeros on its diagonal.
        self.factor.view((0, 0), (n, n)).tr_solve_lower_triangular_mut(&mut taps);
        taps.data.into()
    }
}

/// Columns that are worked out and eliminated together: large enough for fast products, small
/// enough that little is left to do column by column.
const TOGETHER: usize = 16;

/// Eliminates neighbouring columns of a lower triangle, of which those before have been taken
/// off already (Cholesky); the first has its diagonal in row `first`. `None` where a pivot is
/// not positive.
fn eliminate(columns: &mut [f64], n_rows: usize, first: usize) -> Option<()> {
    let n = columns.len() / n_rows;
    for j in 0..n {
        let (done, after) = columns.split_at_mut((j + 1) * n_rows);
        let pivot = &mut done[j * n_rows + first + j..];
        if pivot[0].is_nan() || pivot[0] <= 0.0 {
            return None;
        }
        let scale = 1.0 / pivot[0].sqrt();
        pivot.iter_mut().for_each(|x| *x *= scale);
        for (k, column) in after.chunks_exact_mut(n_rows).enumerate() {
            let below = &pivot[1 + k..];
            let factor = below[0];
            let column = &mut column[first + j + 1 + k..];
            column.iter_mut().zip(below).for_each(|(x, p)| *x -= factor * p);
        }
    }
    Some(())
}

impl Rows<'_> {
    /// Solves for the taps; `around` are the terms' weights of which the echoes in `source`
    /// know already. `None` where the equations are singular.
    pub fn reduce(&self, around: &[f64; N_TERMS]) -> Option<Reduced> {
        let (n_rows, n_terms) = (self.weights.len(), self.terms.len());
        let n_taps = self.ridge.len() - self.slow.len();
        let root: Vec<f64> = self.weights.iter().map(|w| w.sqrt()).collect();
        let newest = (self.first + n_rows) as i64 - 1 - self.first_lag;
        let oldest = self.first as i64 - self.first_lag - n_taps as i64 + 1;
        if newest >= self.source.len() as i64 || oldest < 0 {
            return None;
        }
        // All columns beside each other: those of the taps, of the terms, and the target.
        let n_unknowns = self.ridge.len();
        let last = n_unknowns + n_terms;
        let first_tap = (self.first as i64 - self.first_lag) as usize;
        let taps = (0..n_taps).map(|c| &self.source[first_tap - c..]);
        let others = self.slow.iter().chain(self.terms).map(|column| &column[self.first..]);
        let mut columns = Vec::with_capacity(n_rows * (last + 1));
        for column in taps.chain(others).chain([&self.target[self.first..]]) {
            columns.extend(column.iter().zip(&root).map(|(x, w)| w * x));
        }
        let mut columns = DMatrix::from_vec(n_rows, last + 1, columns);
        // The echoes that the source knows of go back to the target.
        let (before, mut target) = columns.columns_range_pair_mut(..last, last);
        for (t, weight) in around.iter().enumerate().take(n_terms) {
            target.axpy(*weight, &before.column(n_unknowns + t), 1.0);
        }
        let transposed = columns.transpose();
        let mut factor = DMatrix::zeros(last + 1, last + 1);
        let mut from = 0;
        while from <= last {
            // What is left for the terms is not eliminated here.
            let n = if from < n_unknowns { TOGETHER.min(n_unknowns - from) } else { n_terms + 1 };
            let (before, mut these) = factor.columns_range_pair_mut(..from, from..from + n);
            let mut these = these.rows_range_mut(from..);
            let columns = columns.columns(from, n);
            these.gemm(1.0, &transposed.rows_range(from..), &columns, 0.0);
            for i in from..(from + n).min(n_unknowns) {
                these[(i - from, i - from)] += self.ridge[i];
            }
            if from > 0 {
                let across = before.rows(from, n).transpose();
                these.gemm(-1.0, &before.rows_range(from..), &across, 1.0);
            }
            if from < n_unknowns {
                let size = last + 1;
                let columns = &mut factor.as_mut_slice()[from * size..(from + n) * size];
                eliminate(columns, size, from)?;
            }
            from += n;
        }
        let left = |i: usize, j: usize| factor[(n_unknowns + i.max(j), n_unknowns + i.min(j))];
        Some(Reduced {
            n_unknowns,
            normal: DMatrix::from_fn(n_terms, n_terms, left),
            target: DVector::from_fn(n_terms, |i, _| left(i, n_terms)),
            factor,
        })
    }
}
