//! Why a setting does not serve all seats.

use super::found::{Cause, Correction};
use super::predict::SeatPrediction;
use super::target::CapReason;
use crate::analysis::loss::LossTable;
use crate::analysis::seats::{SeatDependence, shape_bands};
use crate::ingest::manifest::CorrectionLimits;

/// Why the setting `c` does not serve every seat that counts.
pub(super) fn cause(
    c: &Correction,
    table: &LossTable,
    limits: &CorrectionLimits,
    dependence: &SeatDependence,
) -> Cause {
    let counted: Vec<&SeatPrediction> = c.counted().collect();
    let failing: Vec<&SeatPrediction> = counted.iter().filter(|s| !s.served).copied().collect();
    if counted.is_empty() || failing.iter().any(|s| s.n_bands == 0) {
        return Cause::Unmeasured;
    }
    let outside = |s: &&SeatPrediction| {
        s.after_rms_db.is_some_and(|r| r > c.tolerance_rms_db)
            || s.worst_band.as_ref().is_some_and(|w| w.left_db.abs() > c.tolerance_band_db)
    };
    let off: Vec<&SeatPrediction> = failing.into_iter().filter(outside).collect();
    if off.is_empty() {
        return Cause::Uncertain;
    }
    let judged = shape_bands(table);
    // What is left at the failing seats: the share of level, of the mean over seats, the rest.
    let (mut total, mut level, mut common) = (0.0, 0.0, 0.0);
    let levels: Vec<f64> = counted.iter().filter_map(|s| s.level_db).collect();
    let mean_level = levels.iter().sum::<f64>() / levels.len().max(1) as f64;
    for s in &off {
        for &b in &judged {
            let Some(p) = s.predicted[b] else { continue };
            total += p.value_db.powi(2);
            level += s.level_db.map_or(0.0, |l| (l - mean_level).powi(2));
            common += c.bands[b].left_db.unwrap_or(0.0).powi(2);
        }
    }
    if level > 0.5 * total {
        return Cause::LevelDiffers;
    }
    let not_common = judged.iter().any(|&b| !dependence.bands[b].common);
    if counted.len() > 1 && (not_common || common < 0.5 * total) {
        return Cause::SeatsDiffer { moving_rms_db: dependence.moving_rms_db };
    }
    shared_cause(c, limits, &judged)
}

/// Why what all seats share is not made up: by the bands in which most of it is left.
fn shared_cause(c: &Correction, limits: &CorrectionLimits, judged: &[usize]) -> Cause {
    let heaviest = judged.iter().copied().max_by(|&a, &b| {
        let left = |b: usize| c.bands[b].left_db.unwrap_or(0.0).abs();
        left(a).total_cmp(&left(b))
    });
    let capped = |reason: CapReason| {
        judged
            .iter()
            .any(|&b| c.bands[b].cap == Some(reason) && c.bands[b].left_db.is_some_and(|l| l > 0.3))
    };
    match heaviest.map(|b| &c.bands[b]) {
        Some(b) if b.cap == Some(CapReason::NarrowDip) => Cause::NarrowDips,
        Some(b) if b.cap == Some(CapReason::MaxBoost) => {
            Cause::BoostLimit { max_boost_db: limits.max_boost_db }
        }
        Some(b) if b.nominal_hz < limits.band_hz[0] || b.nominal_hz > limits.band_hz[1] => {
            Cause::OutsideRange
        }
        _ if capped(CapReason::NarrowDip) => Cause::NarrowDips,
        _ if capped(CapReason::MaxBoost) => Cause::BoostLimit { max_boost_db: limits.max_boost_db },
        _ => Cause::FilterLimit,
    }
}
