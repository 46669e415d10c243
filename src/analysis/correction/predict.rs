//! What is left at each seat with the setting active, and how surely.

use crate::analysis::estimate::Estimate;
use crate::analysis::loss::{LossTable, SeatLoss};
use crate::analysis::seats::{independent_variance, shape_bands, usable};
use crate::ingest::manifest::CorrectionLimits;
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// A predicted loss with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Predicted {
    /// Loss left with the setting active: loss less trim less gain of the filters, dB.
    pub value_db: f64,
    /// Expanded uncertainty, two-sided 95 %, dB: that of the loss, for a setting is exact.
    pub u95_db: f64,
}

/// The band that is farthest off.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WorstBand {
    /// Seat id.
    pub seat: String,
    /// Nominal mid-band, Hz.
    pub nominal_hz: f64,
    /// Left over, dB; positive = still too quiet.
    pub left_db: f64,
    /// Expanded uncertainty, dB.
    pub u95_db: f64,
}

/// One seat with the setting active.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatPrediction {
    /// Seat id.
    pub id: String,
    /// Weight of the seat; with 0 it is predicted and takes no part in the verdict.
    pub weight: f64,
    /// Predicted loss per band of the loss table.
    pub predicted: Vec<Option<Predicted>>,
    /// Bands from 500 Hz to 16 kHz that hold a loss.
    pub n_bands: usize,
    /// Bands from 500 Hz to 16 kHz without one: nothing is said there. Nominal, Hz.
    pub absent_hz: Vec<f64>,
    /// Shape of the loss before (loss less its level), 500 Hz-16 kHz, dB rms.
    pub before_rms_db: Option<f64>,
    /// The same after the filters.
    pub after_rms_db: Option<f64>,
    /// By how much the uncertainty may make `after_rms_db` wrong (95 %), dB.
    pub after_rms_u95_db: Option<f64>,
    /// Mean of what is left, dB: a difference in level, not in tone.
    pub level_db: Option<f64>,
    /// The band farthest off, with trim and filters as typed in.
    pub worst_band: Option<WorstBand>,
    /// Whether the seat lies within the tolerance, by the values themselves. False where
    /// nothing was measured or the uncertainty exceeds the tolerance.
    pub served: bool,
    /// Whether it lies within the tolerance with the uncertainty counted in, every band present.
    pub shown: bool,
}

/// Predicts every seat. `levels` holds the level of the loss and the trim; `gains_db` follows `table.bands`.
pub(super) fn predict(
    table: &LossTable,
    levels: [f64; 2],
    gains_db: &[f64],
    limits: &CorrectionLimits,
) -> Vec<SeatPrediction> {
    let judged = shape_bands(table);
    table.seats.iter().map(|s| predict_seat(table, s, &judged, levels, gains_db, limits)).collect()
}

fn predict_seat(
    table: &LossTable,
    seat: &SeatLoss,
    judged: &[usize],
    [level_db, trim_db]: [f64; 2],
    gains_db: &[f64],
    limits: &CorrectionLimits,
) -> SeatPrediction {
    let cell = |b: usize| seat.loss.get(b).copied().flatten().filter(usable);
    // Shapes are told from the level of the loss; what is left, with what is typed in.
    let left = |b: usize, e: &Estimate| e.value_db - level_db - gains_db[b];
    let off_db = level_db - trim_db;
    let predicted = (0..table.bands.len())
        .map(|b| cell(b).map(|e| Predicted { value_db: left(b, &e) + off_db, u95_db: e.u95_db }))
        .collect();
    let present: Vec<(usize, Estimate)> =
        judged.iter().filter_map(|&b| Some((b, cell(b)?))).collect();
    let absent_hz: Vec<f64> = judged
        .iter()
        .filter(|&&b| cell(b).is_none())
        .map(|&b| table.bands[b].nominal_hz())
        .collect();
    let n = present.len() as f64;
    let after_rms_db = rms_over(&present, left);
    let after_rms_u95_db = uncertainty_of_rms(&present);
    let worst_band = present
        .iter()
        .map(|(b, e)| WorstBand {
            seat: seat.id.clone(),
            nominal_hz: table.bands[*b].nominal_hz(),
            left_db: left(*b, e) + off_db,
            u95_db: e.u95_db,
        })
        .max_by(|a, b| a.left_db.abs().total_cmp(&b.left_db.abs()));
    let (rms_limit, band_limit) = (limits.tolerance_rms_db, limits.tolerance_band_db);
    // Written as "is inside", so that nothing measured is never inside.
    let served = after_rms_db.is_some_and(|r| r <= rms_limit)
        && worst_band.as_ref().is_some_and(|w| w.left_db.abs() <= band_limit)
        && after_rms_u95_db.is_some_and(|u| u <= rms_limit);
    let shown = served
        && absent_hz.is_empty()
        && after_rms_db.zip(after_rms_u95_db).is_some_and(|(r, u)| r + u <= rms_limit)
        && present.iter().all(|(b, e)| (left(*b, e) + off_db).abs() + e.u95_db <= band_limit);
    SeatPrediction {
        id: seat.id.clone(),
        weight: seat.weight,
        predicted,
        n_bands: present.len(),
        absent_hz,
        before_rms_db: rms_over(&present, |_, e| e.value_db - level_db),
        after_rms_db,
        after_rms_u95_db,
        level_db: (n > 0.0)
            .then(|| off_db + present.iter().map(|(b, e)| left(*b, e)).sum::<f64>() / n),
        worst_band,
        served,
        shown,
    }
}

/// Root of the mean square over the bands that are there; `None` without any.
fn rms_over(present: &[(usize, Estimate)], f: impl Fn(usize, &Estimate) -> f64) -> Option<f64> {
    let n = present.len() as f64;
    (n > 0.0).then(|| (present.iter().map(|(b, e)| f(*b, e).powi(2)).sum::<f64>() / n).sqrt())
}

/// How far an rms over bands may be off (95 %).
///
/// An rms moves by no more than the rms of the errors (triangle inequality). The part of
/// the errors that is independent between seats is taken as independent between bands
/// too: its mean square has a chi-square bound. The shared part may be the same error in
/// every band and enters with its full expanded size.
fn uncertainty_of_rms(present: &[(usize, Estimate)]) -> Option<f64> {
    let n = present.len() as f64;
    if present.is_empty() {
        return None;
    }
    let independent = present.iter().map(|(_, e)| independent_variance(e)).sum::<f64>() / n;
    let common = present
        .iter()
        .map(|(_, e)| {
            let factor = if e.u_db > 0.0 { e.u95_db / e.u_db } else { 2.0 };
            (factor * e.u_common_db).powi(2)
        })
        .sum::<f64>()
        / n;
    // `n` is at least 1, so the distribution exists; its 95 % point over n is at most 3.84.
    let factor = ChiSquared::new(n).map_or(3.84, |c| c.inverse_cdf(0.95) / n);
    Some((independent * factor + common).sqrt())
}
