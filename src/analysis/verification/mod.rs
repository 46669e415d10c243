//! Takes recorded with the setting active: was it done, was it done right, what is left.
//!
//! The change that the equaliser made at a seat is `loss with - loss corrected`; both are
//! taken against the same takes without the screen, so the loudspeaker and the room drop
//! out. It is held against the responses of the sections by weighted least squares:
//! `change = trim + factor x filters` tells a setting that was inverted, doubled, halved
//! or not active at all, `change = trim + sum factor_i x section_i` tells it section by
//! section as far as their responses can be told apart.

mod fit;
mod found;

pub use found::{Finding, FoundNumber, Part, SeatVerification, Verification, VerificationVerdict};

use crate::analysis::correction::{Correction, Predicted, WorstBand};
use crate::analysis::estimate::Estimate;
use crate::analysis::loss::LossTable;
use crate::analysis::seats::{in_shape_range, usable};
use fit::{fit, judge_factor, judge_sections, judge_trim};
use found::TRIM_TOLERANCE_DB;

/// Standard deviation of a band's change that no stated uncertainty falls below, dB.
const FLOOR_DB: f64 = 0.03;

/// One usable cell: both losses at one seat and band.
struct Cell {
    band: usize,
    with: Estimate,
    corrected: Estimate,
}

/// Holds the losses with the setting active against what was predicted.
///
/// # Shapes
/// `with` and `corrected` are losses against the same takes without the screen; bands are
/// matched by mid-band, seats by id, so either table may miss some.
/// # Valid range
/// Cells where either loss is absent are left out; with none the verdict is
/// [`VerificationVerdict::CannotTell`].
pub fn verify(correction: &Correction, with: &LossTable, corrected: &LossTable) -> Verification {
    let gains = correction.band_gains_db(&with.bands);
    let cells: Vec<(usize, usize, Vec<Cell>)> = matched(with, corrected);
    let level_left_db = level_left(with, &cells);
    let seats: Vec<SeatVerification> = cells
        .iter()
        .map(|(s, _, row)| judge_seat(correction, with, *s, row, &gains, level_left_db))
        .collect();
    let rows: Vec<(usize, f64, f64)> = cells
        .iter()
        .flat_map(|(_, _, row)| row)
        .map(|c| {
            let u2 = independent(&c.with) + independent(&c.corrected) + FLOOR_DB * FLOOR_DB;
            (c.band, c.with.value_db - c.corrected.value_db, 1.0 / u2)
        })
        .collect();
    let shared_u_db = shared(&cells);
    let whole = fit(&rows, std::slice::from_ref(&gains), shared_u_db);
    let trim = whole.as_ref().or(fit(&rows, &[], shared_u_db).as_ref()).map(|f| {
        let (found, u95) = f[0];
        FoundNumber {
            part: Part::Level,
            asked_db: correction.trim_db,
            found_db: Some(found),
            u95_db: Some(u95),
            finding: judge_trim(correction.trim_db, found, u95),
        }
    });
    let factor = whole.as_ref().map(|f| f[1]);
    let sections = judge_sections(correction, with, &rows, shared_u_db, factor);
    let verdict = decide(&seats, trim.as_ref(), factor, &sections, correction);
    let off: Vec<f64> =
        seats.iter().flat_map(|s| s.off_db.iter().flatten()).map(|p| p.value_db).collect();
    let off_rms_db = (!off.is_empty())
        .then(|| (off.iter().map(|v| v * v).sum::<f64>() / off.len() as f64).sqrt());
    Verification {
        verdict,
        trim,
        factor: factor.map(|f| f.0),
        factor_u95: factor.map(|f| f.1),
        sections,
        seats,
        level_left_db,
        off_rms_db,
    }
}

fn matched(with: &LossTable, corrected: &LossTable) -> Vec<(usize, usize, Vec<Cell>)> {
    let cell = |t: &LossTable, s: usize, b: usize| {
        t.seats[s].loss.get(b).copied().flatten().filter(usable)
    };
    let band_of: Vec<Option<usize>> =
        with.bands.iter().map(|b| corrected.bands.iter().position(|c| c == b)).collect();
    (0..with.seats.len())
        .filter_map(|s| {
            let t = corrected.seats.iter().position(|c| c.id == with.seats[s].id)?;
            let row: Vec<Cell> = (0..with.bands.len())
                .filter_map(|band| {
                    let corrected = cell(corrected, t, band_of[band]?)?;
                    Some(Cell { band, with: cell(with, s, band)?, corrected })
                })
                .collect();
            (!row.is_empty()).then_some((s, t, row))
        })
        .collect()
}

/// Variance that is independent between bands and seats, dB^2.
fn independent(e: &Estimate) -> f64 {
    crate::analysis::seats::independent_variance(e)
}

/// Uncertainty that all cells may share, dB: it moves the level found, not the shape.
fn shared(cells: &[(usize, usize, Vec<Cell>)]) -> f64 {
    cells
        .iter()
        .flat_map(|(_, _, row)| row)
        .map(|c| c.with.u_common_db.hypot(c.corrected.u_common_db))
        .fold(0.0, f64::max)
}

fn level_left(with: &LossTable, cells: &[(usize, usize, Vec<Cell>)]) -> Option<f64> {
    let [low, high] = crate::analysis::correction::TRIM_RANGE_HZ;
    let left: Vec<f64> = cells
        .iter()
        .flat_map(|(_, _, row)| row)
        .filter(|c| (low * 0.999..=high * 1.001).contains(&with.bands[c.band].nominal_hz()))
        .map(|c| c.corrected.value_db)
        .collect();
    (!left.is_empty()).then(|| left.iter().sum::<f64>() / left.len() as f64)
}

fn judge_seat(
    correction: &Correction,
    with: &LossTable,
    seat: usize,
    row: &[Cell],
    gains: &[f64],
    level_left_db: Option<f64>,
) -> SeatVerification {
    let n = with.bands.len();
    let (mut change_db, mut left, mut off_db) = (vec![None; n], vec![None; n], vec![None; n]);
    let mut shape: Vec<(f64, f64, f64)> = Vec::new();
    for c in row {
        // The takes without the screen are common to both losses and their errors cancel;
        // added in full they keep U on the safe side.
        let both = c.with.u95_db.hypot(c.corrected.u95_db);
        let change = c.with.value_db - c.corrected.value_db;
        change_db[c.band] = Some(Predicted { value_db: change, u95_db: both });
        left[c.band] =
            Some(Predicted { value_db: c.corrected.value_db, u95_db: c.corrected.u95_db });
        let asked = correction.trim_db + gains[c.band];
        off_db[c.band] = Some(Predicted { value_db: asked - change, u95_db: both });
        if in_shape_range(with.bands[c.band]) {
            let off = c.corrected.value_db - level_left_db.unwrap_or(0.0);
            shape.push((with.bands[c.band].nominal_hz(), off, c.corrected.u95_db));
        }
    }
    let rms = |f: &dyn Fn(&(f64, f64, f64)) -> f64| {
        (!shape.is_empty())
            .then(|| (shape.iter().map(|s| f(s).powi(2)).sum::<f64>() / shape.len() as f64).sqrt())
    };
    let left_rms_db = rms(&|s| s.1);
    let rms_u_db = rms(&|s| s.2);
    let worst_band = shape.iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).map(|s| {
        WorstBand { seat: with.seats[seat].id.clone(), nominal_hz: s.0, left_db: s.1, u95_db: s.2 }
    });
    let (rms_limit, band_limit) = (correction.tolerance_rms_db, correction.tolerance_band_db);
    let expected = with.bands.iter().filter(|b| in_shape_range(**b)).count();
    SeatVerification {
        id: with.seats[seat].id.clone(),
        change_db,
        left,
        off_db,
        left_rms_db,
        within: left_rms_db.is_some_and(|r| r <= rms_limit)
            && shape.iter().all(|s| s.1.abs() <= band_limit),
        shown: shape.len() == expected
            && left_rms_db.zip(rms_u_db).is_some_and(|(r, u)| r + u <= rms_limit)
            && shape.iter().all(|s| s.1.abs() + s.2 <= band_limit),
        worst_band,
    }
}

fn decide(
    seats: &[SeatVerification],
    trim: Option<&FoundNumber>,
    factor: Option<(f64, f64)>,
    sections: &[FoundNumber],
    correction: &Correction,
) -> VerificationVerdict {
    use VerificationVerdict as V;
    let Some(trim) = trim else { return V::CannotTell };
    let outcome = || if seats.iter().all(|s| s.within) { V::Achieved } else { V::DoneButLeftOver };
    if correction.sections.is_empty() {
        return match trim.finding {
            Finding::AsAsked => outcome(),
            Finding::NotActive => V::NotActive,
            Finding::Inverted => V::Inverted,
            Finding::Twice => V::Twice,
            Finding::Half => V::Half,
            Finding::Different => V::Different,
            Finding::CannotTell => V::CannotTell,
        };
    }
    let Some((value, u95)) = factor else { return V::CannotTell };
    // Single sections that are plainly not as asked, beside others that are.
    let told: Vec<Finding> =
        sections.iter().map(|s| s.finding).filter(|f| *f != Finding::CannotTell).collect();
    let odd = told.iter().any(|f| *f != Finding::AsAsked);
    let mixed = told.iter().any(|f| *f != told[0]);
    if odd && mixed {
        return V::SectionsDiffer;
    }
    // A trim that may be none can also not be missed.
    let trim_missing =
        trim.finding == Finding::NotActive && correction.trim_db.abs() > 2.0 * TRIM_TOLERANCE_DB;
    let no_level = matches!(trim.finding, Finding::NotActive)
        || correction.trim_db.abs() <= 2.0 * TRIM_TOLERANCE_DB;
    match judge_factor(value, u95) {
        Finding::AsAsked if trim_missing => V::TrimNotApplied,
        Finding::AsAsked => match trim.finding {
            Finding::AsAsked | Finding::CannotTell | Finding::NotActive => outcome(),
            _ => V::Different,
        },
        Finding::NotActive if no_level => V::NotActive,
        Finding::NotActive => V::FiltersNotActive,
        Finding::Inverted => V::Inverted,
        Finding::Twice => V::Twice,
        Finding::Half => V::Half,
        Finding::Different => V::Different,
        Finding::CannotTell => V::CannotTell,
    }
}

#[cfg(test)]
mod tests;
