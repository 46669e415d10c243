//! What the filters are asked to do: per band a gain, a weight, and where needed a cap.

use super::error::CorrectionError;
use super::notch::{LEAST_DEPTH_DB, dip_share_db};
use crate::analysis::estimate::Estimate;
use crate::analysis::loss::{LossTable, SeatLoss};
use crate::analysis::seats::{SeatDependence, in_shape_range, independent_variance, usable};
use crate::ingest::manifest::CorrectionLimits;
use crate::units::ThirdOctave;
use serde::Serialize;

/// Range whose mean loss is the trim, nominal Hz, ends included.
pub const TRIM_RANGE_HZ: [f64; 2] = [500.0, 2000.0];

/// Standard deviation against which a gain counts where no filter should act, dB.
const GUARD_DB: f64 = 0.5;

/// Smallest share of a loss in narrow dips that caps a band, dB.
const LEAST_DIP_SHARE_DB: f64 = 0.1;

/// Why a band must not be boosted as far as its mean loss asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum CapReason {
    /// Part of the loss is a narrow dip (a reflection).
    NarrowDip,
    /// The loss is not the same at the seats.
    NotCommon,
    /// The loss asks for more than the largest boost allowed.
    MaxBoost,
}

/// One row of the fit.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub band: ThirdOctave,
    /// Gain wanted, dB.
    pub target_db: f64,
    /// Largest gain wanted, dB, and why.
    pub cap: Option<(f64, CapReason)>,
    /// Weight, 1/dB^2.
    pub weight: f64,
    /// Variance of the weighted mean by its uncertainty and by the choice of seats, dB^2;
    /// `None` for a guard row, where the loss was not asked for and no filter should act.
    pub variance: Option<f64>,
}

/// Everything the fit needs of the losses.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Target {
    /// Mean loss over [`TRIM_RANGE_HZ`]: what shapes are told from.
    pub level_db: f64,
    /// The same in steps of the processor: what is typed in.
    pub trim_db: f64,
    pub trim_u95_db: f64,
    pub rows: Vec<Row>,
    /// Per band of the table: mean over the seats by weight, and its U.
    pub mean_db: Vec<Option<(f64, f64)>>,
}

impl Target {
    /// Makes trim, targets, weights and caps.
    ///
    /// The filters are the same for all seats, so the weighted sum of squares over
    /// seats `sum_s w_s (L_s - trim - G)^2 / (spread^2 + U_s^2)` equals, apart from a
    /// part that no setting changes, `W (target - G)^2` with the weighted mean as target
    /// and the sum of the weights as `W`: fitting it *is* the joint fit over the seats.
    /// To `spread^2 + U_s^2` the variance of rounding to the gain step is added: nothing
    /// finer can be set, so bands known better than that are not preferred.
    ///
    /// # Errors
    /// [`CorrectionError::NothingMeasured`] without a loss in [`TRIM_RANGE_HZ`].
    pub fn new(
        table: &LossTable,
        dependence: &SeatDependence,
        limits: &CorrectionLimits,
    ) -> Result<Self, CorrectionError> {
        let seats = weighted_seats(table);
        let mean_db: Vec<Option<(f64, f64)>> =
            (0..table.bands.len()).map(|b| weighted_mean(&seats, b)).collect();
        let (level_db, trim_u95_db) = trim(table, &mean_db)?;
        let dips = dips_by_seat(table, &seats);
        let step = if limits.gain_step_db > 0.0 { limits.gain_step_db } else { 0.1 };
        let mut rows = Vec::new();
        for (b, &band) in table.bands.iter().enumerate() {
            if asked(band, limits) {
                let common = dependence.bands.get(b).is_none_or(|d| d.common);
                rows.extend(row(&seats, b, band, level_db, step, common, &dips, limits));
            } else if guarded(band, limits) {
                rows.push(Row {
                    band,
                    target_db: 0.0,
                    cap: None,
                    weight: seats.iter().map(|(_, w)| w).sum::<f64>() / (GUARD_DB * GUARD_DB),
                    variance: None,
                });
            }
        }
        // Without the dust of binary fractions.
        let trim_db = ((level_db / step).round() * step * 1e6).round() / 1e6;
        Ok(Self { level_db, trim_db, trim_u95_db, rows, mean_db })
    }

    /// Rows that hold a loss.
    pub fn asked(&self) -> impl Iterator<Item = &Row> {
        self.rows.iter().filter(|r| r.variance.is_some())
    }
}

/// Whether filters are asked to follow the loss of a band.
fn asked(band: ThirdOctave, limits: &CorrectionLimits) -> bool {
    let hz = band.nominal_hz();
    hz >= limits.band_hz[0] * 0.999 && hz <= limits.band_hz[1] * 1.001
}

/// Whether a gain in a band outside `band_hz` is unwanted: everywhere below it, and above
/// it as far as shapes are judged. Beyond that a shelf may go on.
fn guarded(band: ThirdOctave, limits: &CorrectionLimits) -> bool {
    band.nominal_hz() < limits.band_hz[0] || in_shape_range(band)
}

/// Seats that count, with weights of mean 1.
fn weighted_seats(table: &LossTable) -> Vec<(&SeatLoss, f64)> {
    let counted: Vec<&SeatLoss> = table.seats.iter().filter(|s| s.weight > 0.0).collect();
    let sum: f64 = counted.iter().map(|s| s.weight).sum();
    let n = counted.len() as f64;
    counted.into_iter().map(|s| (s, s.weight * n / sum)).collect()
}

fn cell(seat: &SeatLoss, b: usize) -> Option<Estimate> {
    seat.loss.get(b).copied().flatten().filter(usable)
}

/// Mean over the seats by weight and its expanded uncertainty.
fn weighted_mean(seats: &[(&SeatLoss, f64)], b: usize) -> Option<(f64, f64)> {
    let cells: Vec<(Estimate, f64)> =
        seats.iter().filter_map(|(s, w)| Some((cell(s, b)?, *w))).collect();
    let sum: f64 = cells.iter().map(|(_, w)| w).sum();
    if cells.is_empty() || sum <= 0.0 {
        return None;
    }
    let value = cells.iter().map(|(e, w)| w * e.value_db).sum::<f64>() / sum;
    // The coverage factor of the seats goes over to their mean: their degrees of freedom
    // are pooled already, so the mean has no fewer.
    let factor = cells.iter().map(|(e, _)| coverage(e)).fold(0.0, f64::max);
    Some((value, factor * mean_variance(&cells, sum).sqrt()))
}

/// Variance of a weighted mean: the independent part shrinks, the shared part does not.
fn mean_variance(cells: &[(Estimate, f64)], sum: f64) -> f64 {
    let independent: f64 =
        cells.iter().map(|(e, w)| w * w * independent_variance(e)).sum::<f64>() / (sum * sum);
    let common = cells.iter().map(|(e, w)| w * e.u_common_db).sum::<f64>() / sum;
    independent + common * common
}

fn coverage(e: &Estimate) -> f64 {
    if e.u_db > 0.0 { e.u95_db / e.u_db } else { 2.0 }
}

/// Mean of the mean loss over the bands of [`TRIM_RANGE_HZ`], and its U. The errors of
/// neighbouring bands are taken as wholly shared, which never understates U.
fn trim(table: &LossTable, mean: &[Option<(f64, f64)>]) -> Result<(f64, f64), CorrectionError> {
    let inside: Vec<(f64, f64)> = table
        .bands
        .iter()
        .zip(mean)
        .filter(|(b, _)| {
            let hz = b.nominal_hz();
            (TRIM_RANGE_HZ[0] * 0.999..=TRIM_RANGE_HZ[1] * 1.001).contains(&hz)
        })
        .filter_map(|(_, m)| *m)
        .collect();
    if inside.is_empty() {
        return Err(CorrectionError::NothingMeasured);
    }
    let n = inside.len() as f64;
    let value = inside.iter().map(|(v, _)| v).sum::<f64>() / n;
    let u95 = inside.iter().map(|(_, u)| u).sum::<f64>() / n;
    // What lies within its uncertainty of nothing is not corrected.
    Ok((if value.abs() <= u95 { 0.0 } else { value }, u95))
}

/// Per counted seat and band: the part of the loss in narrow dips, dB.
fn dips_by_seat(table: &LossTable, seats: &[(&SeatLoss, f64)]) -> Vec<Vec<f64>> {
    seats
        .iter()
        .map(|(s, _)| {
            // A fine curve is noisier than a band; a dip must stand out of that as well.
            let us: Vec<f64> =
                s.loss.iter().flatten().filter(|e| usable(e)).map(|e| e.u95_db).collect();
            let typical = us.iter().sum::<f64>() / us.len().max(1) as f64;
            let depth = LEAST_DEPTH_DB.max(2.0 * typical);
            dip_share_db(&table.fine_hz, &s.fine_db, &table.bands, depth)
        })
        .collect()
}

/// The cap that holds a boost lowest, the first of equal ones; `None` where none holds it. A cap stands
/// against boosts only: what is to be cut is cut.
fn lowest_cap(asked_db: f64, caps: [Option<(f64, CapReason)>; 3]) -> Option<(f64, CapReason)> {
    let mut lowest: Option<(f64, CapReason)> = None;
    for (limit_db, reason) in caps.into_iter().flatten() {
        let limit_db = limit_db.max(0.0);
        if limit_db < lowest.map_or(asked_db, |(db, _)| db) {
            lowest = Some((limit_db, reason));
        }
    }
    lowest
}

#[allow(clippy::too_many_arguments)] // one caller, and every argument is a different thing
fn row(
    seats: &[(&SeatLoss, f64)],
    b: usize,
    band: ThirdOctave,
    trim_db: f64,
    step_db: f64,
    common: bool,
    dips: &[Vec<f64>],
    limits: &CorrectionLimits,
) -> Option<Row> {
    let cells: Vec<(Estimate, f64, f64)> = seats
        .iter()
        .zip(dips)
        .filter_map(|((s, w), d)| Some((cell(s, b)?, *w, d.get(b).copied().unwrap_or(0.0))))
        .collect();
    if cells.is_empty() {
        return None;
    }
    let n = cells.len() as f64;
    let centre = cells.iter().map(|(e, ..)| e.value_db).sum::<f64>() / n;
    let spread2 = if cells.len() > 1 {
        cells.iter().map(|(e, ..)| (e.value_db - centre).powi(2)).sum::<f64>() / (n - 1.0)
    } else {
        0.0
    };
    // Rounding evenly within half a step each way has the variance step^2/12; as much as a
    // tenth of a decibel is never told apart anyway.
    let floor2 = step_db * step_db / 12.0 + 0.01;
    let weights: Vec<(Estimate, f64)> =
        cells.iter().map(|(e, w, _)| (*e, w / (spread2 + e.u95_db * e.u95_db + floor2))).collect();
    let weight: f64 = weights.iter().map(|(_, w)| w).sum();
    let weighted = |f: &dyn Fn(usize) -> f64| {
        weights.iter().enumerate().map(|(i, (_, w))| w * f(i)).sum::<f64>() / weight
    };
    let shape = weighted(&|i| cells[i].0.value_db) - trim_db;
    let dip = weighted(&|i| cells[i].2);

    // What every seat has lost is common to them.
    let least = cells.iter().map(|(e, ..)| e.value_db).fold(f64::INFINITY, f64::min);
    let caps = [
        (dip >= LEAST_DIP_SHARE_DB).then_some((shape - dip, CapReason::NarrowDip)),
        (!common).then_some((least - trim_db, CapReason::NotCommon)),
        Some((limits.max_boost_db, CapReason::MaxBoost)),
    ];
    let cap = lowest_cap(shape, caps);
    let target_db = cap.map_or(shape, |(db, _)| db).max(-limits.max_cut_db);
    // Seats that differ are a sample of the places where heads will be: a filter has to stand
    // out of that as well, or it follows the ripple of the chosen seats.
    let variance = mean_variance(&weights, weight).max(spread2 / n);
    Some(Row { band, target_db, cap, weight, variance: Some(variance) })
}
