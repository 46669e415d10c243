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
        let matrix = DMatrix::from_fn(n_rows, self.ridge.len(), |r, c| {
            if let Some(part) = c.checked_sub(n_taps) {
                return root[r] * self.slow[part][self.first + r];
            }
            let at = (self.first + r) as i64 - self.first_lag - c as i64;
            root[r] * self.source[at as usize]
        });
        let terms =
            DMatrix::from_fn(n_rows, n_terms, |r, t| root[r] * self.terms[t][self.first + r]);
        let target = DVector::from_fn(n_rows, |r, _| {
            let known: f64 =
                self.terms.iter().zip(around).map(|(t, w)| t[self.first + r] * w).sum();
            root[r] * (self.target[self.first + r] + known)
        });
        let mut normal = matrix.tr_mul(&matrix);
        for (i, ridge) in self.ridge.iter().enumerate() {
            normal[(i, i)] += ridge;
        }
        let solver = normal.cholesky()?;
        let taps = solver.solve(&matrix.tr_mul(&target));
        let across = matrix.tr_mul(&terms);
        let change = solver.solve(&across);
        Some(Reduced {
            normal: terms.tr_mul(&terms) - across.tr_mul(&change),
            target: terms.tr_mul(&target) - across.tr_mul(&taps),
            taps,
            change,
        })
    }
}
