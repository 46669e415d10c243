//! The change found as a sum of what was asked: least squares, and what its factors say.

use super::found::{FACTOR_TOLERANCE, Finding, FoundNumber, Part, TRIM_TOLERANCE_DB};
use crate::analysis::correction::{BandNodes, Correction};
use crate::analysis::loss::LossTable;
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Weighted least squares of `change = level + sum factor_i x gains_i`.
///
/// `rows` hold band, change in dB and weight in 1/dB^2; `gains` hold per band the response of
/// each regressor. The answer is value and expanded uncertainty of the level in dB, then of
/// each factor; `None` with too few rows or regressors that cannot be told apart. The
/// covariance is widened by the scatter about the fit where that exceeds what the weights
/// say (Birge), and the shared uncertainty is added to the level.
pub(super) fn fit(
    rows: &[(usize, f64, f64)],
    gains: &[Vec<f64>],
    shared_u_db: f64,
) -> Option<Vec<(f64, f64)>> {
    let p = gains.len() + 1;
    if rows.len() <= p {
        return None;
    }
    let design = |row: &(usize, f64, f64)| -> Vec<f64> {
        std::iter::once(1.0).chain(gains.iter().map(|g| g[row.0])).collect()
    };
    let (mut normal, mut right) = (DMatrix::zeros(p, p), DVector::zeros(p));
    for row in rows {
        let x = DVector::from_vec(design(row));
        normal += row.2 * &x * x.transpose();
        right += row.2 * row.1 * x;
    }
    let eigen = normal.clone().symmetric_eigen();
    let (small, large) = (eigen.eigenvalues.min(), eigen.eigenvalues.max());
    // Regressors that are nearly zero or nearly the same cannot be told apart.
    if small.is_nan() || small <= 1e-6 * large {
        return None;
    }
    let covariance = normal.try_inverse()?;
    let value = &covariance * right;
    let dof = (rows.len() - p) as f64;
    let chi2: f64 = rows
        .iter()
        .map(|row| {
            let fitted: f64 = design(row).iter().zip(value.iter()).map(|(x, v)| x * v).sum();
            row.2 * (row.1 - fitted).powi(2)
        })
        .sum();
    let widen = (chi2 / dof).max(1.0);
    // With this many rows `dof` is at least 1 and the distribution exists.
    let t = StudentsT::new(0.0, 1.0, dof).ok()?.inverse_cdf(0.975);
    Some(
        (0..p)
            .map(|i| {
                let own = widen * covariance[(i, i)];
                let shared = if i == 0 { shared_u_db * shared_u_db } else { 0.0 };
                (value[i], t * (own + shared).sqrt())
            })
            .collect(),
    )
}

/// Which of the known factors the interval holds, if it holds that one alone.
pub(super) fn judge_factor(factor: f64, u95: f64) -> Finding {
    let known = [
        (1.0, Finding::AsAsked),
        (0.0, Finding::NotActive),
        (-1.0, Finding::Inverted),
        (2.0, Finding::Twice),
        (0.5, Finding::Half),
    ];
    if !(factor.is_finite() && u95.is_finite()) {
        return Finding::CannotTell;
    }
    let off = |c: f64| (factor - c).abs();
    let near: Vec<Finding> =
        known.iter().filter(|(c, _)| off(*c) <= u95 + FACTOR_TOLERANCE).map(|k| k.1).collect();
    match near.as_slice() {
        [] => Finding::Different,
        [one] => *one,
        _ => Finding::CannotTell,
    }
}

/// The same for the level; factors that lie closer than half a decibel are not told apart.
pub(super) fn judge_trim(asked_db: f64, found_db: f64, u95_db: f64) -> Finding {
    let near = |db: f64| (found_db - db).abs() <= u95_db + TRIM_TOLERANCE_DB;
    let known = [
        (asked_db, Finding::AsAsked),
        (0.0, Finding::NotActive),
        (-asked_db, Finding::Inverted),
        (2.0 * asked_db, Finding::Twice),
        (0.5 * asked_db, Finding::Half),
    ];
    let near: Vec<Finding> = known.iter().filter(|(db, _)| near(*db)).map(|k| k.1).collect();
    match near.as_slice() {
        [] => Finding::Different,
        // A trim too small to be told from none at all is as asked for all that can be said.
        [one] => *one,
        [Finding::AsAsked, ..] if u95_db <= TRIM_TOLERANCE_DB => Finding::AsAsked,
        _ => Finding::CannotTell,
    }
}

pub(super) fn judge_sections(
    correction: &Correction,
    with: &LossTable,
    rows: &[(usize, f64, f64)],
    shared_u_db: f64,
    factor: Option<(f64, f64)>,
) -> Vec<FoundNumber> {
    let nodes = BandNodes::new(&with.bands, correction.rate_hz);
    let each: Vec<Vec<f64>> = correction
        .sections
        .iter()
        .map(|s| nodes.band_gains_db(std::slice::from_ref(&s.biquad)))
        .collect();
    // With a single section its factor is the factor of the whole.
    let fitted = match (each.len(), factor) {
        (1, Some(f)) => Some(vec![(0.0, 0.0), f]),
        _ => fit(rows, &each, shared_u_db),
    };
    correction
        .sections
        .iter()
        .enumerate()
        .map(|(i, s)| {
            let found = fitted.as_ref().map(|f| f[i + 1]);
            FoundNumber {
                part: Part::Filter { kind: s.setting.kind, frequency_hz: s.setting.frequency_hz },
                asked_db: s.setting.gain_db,
                found_db: found.map(|(v, _)| v * s.setting.gain_db),
                u95_db: found.map(|(_, u)| u * s.setting.gain_db.abs()),
                finding: found.map_or(Finding::CannotTell, |(v, u)| judge_factor(v, u)),
            }
        })
        .collect()
}
