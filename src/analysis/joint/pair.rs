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
    /// Taps where all terms of the front are zero.
    pub taps: DVector<f64>,
    /// Change of the taps per unit of each term, to be taken off.
    pub change: DMatrix<f64>,
    /// Normal matrix left for the terms.
    pub normal: DMatrix<f64>,
    /// Right-hand side left for the terms.
    pub target: DVector<f64>,
}

impl Reduced {
    /// Taps with these weights of the terms.
    pub fn taps_with(&self, weights: &[f64]) -> Vec<f64> {
        if weights.is_empty() {
            return self.taps.as_slice().to_vec();
        }
        (&self.taps - &self.change * DVector::from_column_slice(weights)).as_slice().to_vec()
    }
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
        // All columns beside each other: those of the taps, of the terms, and the target. One
        // product holds every sum of products that follows.
        let n_unknowns = self.ridge.len();
        let mut columns = DMatrix::zeros(n_rows, n_unknowns + n_terms + 1);
        for (c, mut column) in columns.column_iter_mut().enumerate() {
            let rows = column.as_mut_slice().iter_mut().zip(&root);
            if c < n_taps {
                let from = (self.first as i64 - self.first_lag - c as i64) as usize;
                rows.zip(&self.source[from..]).for_each(|((y, w), x)| *y = w * x);
            } else if let Some(part) = self.slow.get(c - n_taps) {
                rows.zip(&part[self.first..]).for_each(|((y, w), x)| *y = w * x);
            } else if let Some(term) = self.terms.get(c - n_unknowns) {
                rows.zip(&term[self.first..]).for_each(|((y, w), x)| *y = w * x);
            } else {
                rows.zip(&self.target[self.first..]).for_each(|((y, w), x)| *y = w * x);
            }
        }
        let mut products = columns.transpose() * &columns;
        // The echoes that the source knows of go back to the target.
        for (t, weight) in around.iter().enumerate().take(n_terms) {
            let known = products.column(n_unknowns + t) * *weight;
            let mut target = products.column_mut(n_unknowns + n_terms);
            target += known;
        }
        let part = |rows: (usize, usize), columns: (usize, usize)| {
            products.view((rows.0, columns.0), (rows.1, columns.1)).into_owned()
        };
        let (unknowns, terms) = ((0, n_unknowns), (n_unknowns, n_terms));
        let last = n_unknowns + n_terms;
        let mut normal = part(unknowns, unknowns);
        for (i, ridge) in self.ridge.iter().enumerate() {
            normal[(i, i)] += ridge;
        }
        let solver = normal.cholesky()?;
        let taps = solver.solve(&products.view((0, last), (n_unknowns, 1)).column(0).into_owned());
        let across = part(unknowns, terms);
        let change = solver.solve(&across);
        let target = products.view((n_unknowns, last), (n_terms, 1)).column(0).into_owned();
        Some(Reduced {
            normal: part(terms, terms) - across.tr_mul(&change),
            target: target - across.tr_mul(&taps),
            taps,
            change,
        })
    }
}
