//! One equaliser setting for all seats, or the plain word that there is none.
//!
//! | file | step |
//! |---|---|
//! | `steps` | what the processor can be set to |
//! | `notch` | narrow dips, which must not be filled |
//! | `target` | trim, and per band the gain wanted, its weight and its cap |
//! | `response` | filters as losses are told: means of power over bands |
//! | `objective` | error of a setting; Levenberg-Marquardt |
//! | `search` | which filters and how many; rounding to the steps |
//! | `predict` | what is left at each seat, with uncertainty |
//! | `cause` | why a setting does not serve all seats |

mod cause;
mod error;
mod even;
mod found;
mod notch;
mod objective;
mod predict;
mod response;
mod search;
mod steps;
mod target;

pub use error::CorrectionError;
pub use found::{Cause, Correction, CorrectionBand, CorrectionSeries, FilterStep, Section};
pub use predict::{Predicted, SeatPrediction, WorstBand};
pub use response::BandNodes;
pub use steps::Steps;
pub use target::{CapReason, TRIM_RANGE_HZ};

use crate::analysis::biquad::{Biquad, Setting};
use crate::analysis::loss::LossTable;
use crate::analysis::seats::{SeatDependence, judge_seats};
use crate::ingest::manifest::CorrectionLimits;

/// A simpler setting may ask for so much more boost at its peak than the best one, dB: 1.4 times the
/// power for one filter less to type in (own choice).
const SIMPLER_DB: f64 = 1.5;

/// Works out the one setting for all seats: the simplest that is shown to bring every seat within
/// the tolerance, and behind it the best; where none does, the best.
///
/// Trim first: the mean over [`TRIM_RANGE_HZ`] of the mean loss. Then at most one high
/// shelf and `max_filters` peaking filters, fitted jointly over the seats with weights
/// `seat weight / (spread^2 + U^2)`, rounded to the processor's steps. A filter stays only
/// if it lowers the error by more than the uncertainty of the losses explains. Where the
/// loss is a narrow dip or differs between the seats, no boost is asked for beyond what
/// is broad and common.
///
/// # Units and sign
/// Losses in dB, positive = the screen takes energy away; gains in dB, positive = boost.
/// # Errors
/// [`CorrectionError`] for limits that make no sense, and when nothing was measured.
pub fn fit_correction(
    table: &LossTable,
    limits: &CorrectionLimits,
) -> Result<Correction, CorrectionError> {
    fit_with_seats(table, limits, &judge_seats(table))
}

/// [`fit_correction`] for when the seat dependence has been judged already.
///
/// # Errors
/// As [`fit_correction`].
pub fn fit_with_seats(
    table: &LossTable,
    limits: &CorrectionLimits,
    dependence: &SeatDependence,
) -> Result<Correction, CorrectionError> {
    let steps = Steps::new(limits)?;
    let target = target::Target::new(table, dependence, limits)?;
    let objective = objective::Objective::new(&target, limits);
    let spread2_db2 = mean_spread2(dependence, limits);
    let found = search::search(&target, &objective, &steps, limits.max_filters, spread2_db2);
    let rate_hz = limits.processor_rate_hz;
    let made = |settings: &[Setting]| {
        let sections =
            settings.iter().filter_map(|s| Section::new(*s, rate_hz).ok()).collect::<Vec<_>>();
        finish(table, limits, dependence, &target, sections, found.tried.clone())
    };
    let best = made(&found.settings);
    let even = even::Even::new(table, limits, &steps, &target);
    // As the search found it, else with the worst seat looked after; only where there is a better one
    // to be measured by.
    let simplest = found.simpler.iter().find_map(|settings| {
        let suits = |c: &Correction| c.serves_all_seats && c.shown;
        let simple = Some(made(settings)).filter(suits);
        let worth = best.serves_all_seats && best.shown && !settings.is_empty();
        let spares = |c: &Correction| c.peak_filter_db() <= best.peak_filter_db() + SIMPLER_DB;
        let evened = || worth.then(|| made(&even.evened(settings))).filter(suits).filter(spares);
        simple.or_else(evened)
    });
    Ok(match simplest {
        Some(simple) => Correction { finer: Some(Box::new(best)), ..simple },
        None => best,
    })
}

/// Mean over the bands of the fit of the variance over seats, dB^2.
fn mean_spread2(dependence: &SeatDependence, limits: &CorrectionLimits) -> f64 {
    let asked: Vec<f64> = dependence
        .bands
        .iter()
        .filter(|b| b.nominal_hz >= limits.band_hz[0] && b.nominal_hz <= limits.band_hz[1])
        .filter_map(|b| b.moving_db)
        .map(|m| m * m)
        .collect();
    asked.iter().sum::<f64>() / asked.len().max(1) as f64
}

/// Band by band what is asked for, done and left with filters of these gains.
fn bands_with(table: &LossTable, target: &target::Target, gains: &[f64]) -> Vec<CorrectionBand> {
    table
        .bands
        .iter()
        .zip(gains)
        .zip(&target.mean_db)
        .map(|((band, &gain_db), mean)| {
            let row = target.asked().find(|r| r.band == *band);
            CorrectionBand {
                nominal_hz: band.nominal_hz(),
                exact_hz: band.exact_hz(),
                mean_loss_db: mean.map(|m| m.0),
                mean_u95_db: mean.map(|m| m.1),
                target_db: row.map(|r| r.target_db),
                cap: row.and_then(|r| r.cap.map(|c| c.1)),
                gain_db,
                left_db: mean.map(|m| m.0 - target.trim_db - gain_db),
            }
        })
        .collect()
}

fn finish(
    table: &LossTable,
    limits: &CorrectionLimits,
    dependence: &SeatDependence,
    target: &target::Target,
    sections: Vec<Section>,
    tried: Vec<FilterStep>,
) -> Correction {
    let biquads: Vec<Biquad> = sections.iter().map(|s| s.biquad).collect();
    let gains = BandNodes::new(&table.bands, limits.processor_rate_hz).band_gains_db(&biquads);
    let bands = bands_with(table, target, &gains);
    let seats = predict::predict(table, [target.level_db, target.trim_db], &gains, limits);
    let counted: Vec<&SeatPrediction> = seats.iter().filter(|s| s.weight > 0.0).collect();
    let pooled = |f: &dyn Fn(&SeatPrediction) -> Option<f64>| {
        let parts: Vec<(f64, f64)> = counted
            .iter()
            .filter_map(|s| Some((f(s)?.powi(2) * s.n_bands as f64, s.n_bands as f64)))
            .collect();
        let n: f64 = parts.iter().map(|p| p.1).sum();
        (n > 0.0).then(|| (parts.iter().map(|p| p.0).sum::<f64>() / n).sqrt())
    };
    let worst_band = counted
        .iter()
        .filter_map(|s| s.worst_band.clone())
        .max_by(|a, b| a.left_db.abs().total_cmp(&b.left_db.abs()));
    let mut correction = Correction {
        rate_hz: limits.processor_rate_hz,
        level_loss_db: target.level_db,
        trim_db: target.trim_db,
        trim_u95_db: target.trim_u95_db,
        serves_all_seats: !counted.is_empty() && counted.iter().all(|s| s.served),
        shown: counted.iter().all(|s| s.shown),
        cause: None,
        sections,
        before_rms_db: pooled(&|s| s.before_rms_db),
        after_rms_db: pooled(&|s| s.after_rms_db),
        bands,
        seats,
        worst_band,
        tolerance_rms_db: limits.tolerance_rms_db,
        tolerance_band_db: limits.tolerance_band_db,
        tried,
        finer: None,
    };
    if !correction.serves_all_seats {
        correction.cause = Some(cause::cause(&correction, table, limits, dependence));
    }
    correction
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod truth;
