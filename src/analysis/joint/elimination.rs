//! Symmetric equations from which the first unknowns are eliminated.
//!
//! All columns of a least-squares problem, the right-hand side as the last of them, make one
//! symmetric matrix of products. Cholesky's factorisation, stopped after the unknowns that are to
//! go, leaves the equations of the others in the rest of the matrix, and in the rows below the
//! factor what the solution takes from each of them.

/// A symmetric matrix after the elimination.
pub struct Elimination {
    n: usize,
    n_gone: usize,
    /// Lower triangle, column by column, all `n * n` numbers: factor, below it the border, and
    /// beside that what is left.
    columns: Vec<f64>,
}

impl Elimination {
    /// Eliminates the first `n_gone` of `n` unknowns.
    ///
    /// # Shapes
    /// `columns` holds `n * n` numbers, column by column; only the lower triangle is looked at.
    /// `None` where the equations of these unknowns are singular, or hold what is no number.
    pub fn new(mut columns: Vec<f64>, n: usize, n_gone: usize) -> Option<Self> {
        debug_assert!(columns.len() == n * n && n_gone <= n);
        for j in 0..n {
            let (done, rest) = columns.split_at_mut(j * n);
            let column = &mut rest[j..n];
            let done = &done[..j.min(n_gone) * n];
            // Four columns at once: going through memory is what costs here.
            let mut fours = done.chunks_exact(4 * n);
            for four in &mut fours {
                let (ab, cd) = four.split_at(2 * n);
                let ((a, b), (c, d)) = (ab.split_at(n), cd.split_at(n));
                let [a, b, c, d] = [&a[j..], &b[j..], &c[j..], &d[j..]];
                let [fa, fb, fc, fd] = [a[0], b[0], c[0], d[0]];
                let parts = a.iter().zip(b).zip(c.iter().zip(d));
                for (x, ((a, b), (c, d))) in column.iter_mut().zip(parts) {
                    *x -= fa * a + fb * b + (fc * c + fd * d);
                }
            }
            for one in fours.remainder().chunks_exact(n) {
                let one = &one[j..];
                let factor = one[0];
                column.iter_mut().zip(one).for_each(|(x, a)| *x -= factor * a);
            }
            if j < n_gone {
                let pivot = column[0];
                // Written so that NaN is none.
                if !(pivot > 0.0 && pivot.is_finite()) {
                    return None;
                }
                let scale = 1.0 / pivot.sqrt();
                column.iter_mut().for_each(|x| *x *= scale);
            }
        }
        Some(Self { n, n_gone, columns })
    }

    /// Coefficient of the equations that are left, by indices into the whole matrix.
    pub fn left(&self, i: usize, j: usize) -> f64 {
        debug_assert!(i.min(j) >= self.n_gone);
        self.columns[i.min(j) * self.n + i.max(j)]
    }

    /// The unknowns that were eliminated, for a right-hand side that is the sum of the border's
    /// columns (those after the unknowns), each times its weight.
    pub fn solved(&self, weights: &[f64]) -> Vec<f64> {
        debug_assert_eq!(weights.len(), self.n - self.n_gone);
        let mut x = vec![0.0; self.n_gone];
        for j in (0..self.n_gone).rev() {
            let column = &self.columns[j * self.n..(j + 1) * self.n];
            let (factor, border) = column.split_at(self.n_gone);
            let sum: f64 = border.iter().zip(weights).map(|(b, w)| b * w).sum();
            let known: f64 = factor[j + 1..].iter().zip(&x[j + 1..]).map(|(l, x)| l * x).sum();
            x[j] = (sum - known) / factor[j];
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::support::assert_close;
    use nalgebra::{DMatrix, DVector};

    /// Against the general solver of a library: the whole problem at once, and the rest of it.
    #[test]
    fn eliminating_some_unknowns_solves_the_same_equations() {
        for (n_gone, n_left) in [(1, 1), (3, 2), (8, 1), (13, 5), (30, 4)] {
            let n = n_gone + n_left;
            let rows = DMatrix::from_fn(n + 9, n + 1, |i, j| {
                ((i * i + 7 * i * j + 3 * j * j) as f64).sin()
            });
            let products = rows.transpose() * &rows;
            let lower =
                DMatrix::from_fn(
                    n + 1,
                    n + 1,
                    |i, j| if i >= j { products[(i, j)] } else { f64::NAN },
                );
            let columns = lower.as_slice().to_vec();
            let eliminated = Elimination::new(columns, n + 1, n_gone).unwrap();
            let normal = products.view((0, 0), (n, n)).into_owned();
            let target: DVector<f64> = products.view((0, n), (n, 1)).column(0).into_owned();
            let want = normal.lu().solve(&target).unwrap();
            let rest =
                DMatrix::from_fn(n_left, n_left, |i, j| eliminated.left(n_gone + i, n_gone + j));
            let rest_target = DVector::from_fn(n_left, |i, _| eliminated.left(n_gone + i, n));
            let found_rest = rest.lu().solve(&rest_target).unwrap();
            let mut weights: Vec<f64> = found_rest.iter().map(|w| -w).collect();
            weights.push(1.0);
            let mut found = eliminated.solved(&weights);
            found.extend(found_rest.iter());
            assert_close("unknowns", &found, want.as_slice(), 1e-9);
        }
    }

    #[test]
    fn singular_equations_have_no_solution() {
        assert!(Elimination::new(vec![1.0, 2.0, 2.0, 4.0], 2, 2).is_none());
        assert!(Elimination::new(vec![f64::NAN], 1, 1).is_none());
        // What is left may be singular.
        let kept = Elimination::new(vec![1.0, 2.0, 2.0, 4.0], 2, 1).unwrap();
        assert_eq!(kept.left(1, 1), 0.0);
        assert_eq!(kept.solved(&[1.0]), [2.0]);
    }
}
