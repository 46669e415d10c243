//! Least squares of one pair of takes: the taps of the sheet, with the front left open.

use super::front::N_TERMS;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

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
    /// Normal matrix of the taps as `L L^T`.
    factor: Cholesky<f64, Dyn>,
    /// `L^-1` times the products of the taps' columns with the terms and, last, with the target.
    border: DMatrix<f64>,
    /// Normal matrix left for the terms.
    pub normal: DMatrix<f64>,
    /// Right-hand side left for the terms.
    pub target: DVector<f64>,
}

impl Reduced {
    /// Taps with these weights of the terms.
    pub fn taps_with(&self, weights: &[f64]) -> Vec<f64> {
        let n_terms = self.border.ncols() - 1;
        let mut taps = self.border.column(n_terms).into_owned();
        for (term, weight) in weights.iter().enumerate() {
            taps.axpy(-weight, &self.border.column(term), 1.0);
        }
        // A factor has no zeros on its diagonal.
        self.factor.l_dirty().tr_solve_lower_triangular_mut(&mut taps);
        taps.data.into()
    }
}

/// Columns of which the products are worked out together: with all columns from there on, since
/// the products with those before are there already.
const TOGETHER: usize = 32;

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
        let mut products = DMatrix::zeros(last + 1, last + 1);
        for from in (0..=last).step_by(TOGETHER) {
            let n = TOGETHER.min(last + 1 - from);
            let rows = transposed.rows_range(from..);
            products.view_mut((from, from), (last + 1 - from, n)).gemm(
                1.0,
                &rows,
                &columns.columns(from, n),
                0.0,
            );
        }
        for (i, ridge) in self.ridge.iter().enumerate() {
            products[(i, i)] += ridge;
        }
        // Only the lower triangle is there, and only that is looked at.
        let factor = products.view((0, 0), (n_unknowns, n_unknowns)).into_owned().cholesky()?;
        let mut border = products.view((n_unknowns, 0), (n_terms + 1, n_unknowns)).transpose();
        factor.l_dirty().solve_lower_triangular_mut(&mut border);
        let left = |i: usize, j: usize| {
            products[(n_unknowns + i.max(j), n_unknowns + i.min(j))]
                - border.column(i).dot(&border.column(j))
        };
        let mut normal =
            DMatrix::from_fn(n_terms, n_terms, |i, j| if i >= j { left(i, j) } else { 0.0 });
        normal.fill_upper_triangle_with_lower_triangle();
        Some(Reduced {
            normal,
            target: DVector::from_fn(n_terms, |i, _| left(i, n_terms)),
            factor,
            border,
        })
    }
}
