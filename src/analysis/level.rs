//! Level between the conditions: what a gain step would look like, and whether it is known.
//!
//! A recording gain that was changed between the conditions looks like loss in every band
//! alike, and nothing in the screen's own takes can tell the two apart: real cloth loses 0.0
//! to 0.6 dB from 100 to 315 Hz by its flow resistance. Takes of a control loudspeaker that
//! is not behind the screen measure the step; without them nothing is ever subtracted.

use super::claims::SharedLevel;
use super::loss::LossTable;
use super::open_level::OpenLevel;
use crate::units::ThirdOctave;
use serde::Serialize;

/// Bands of the control loudspeaker's loss that count: 500 Hz to 8 kHz.
const CONTROL_BANDS: std::ops::RangeInclusive<i32> = -3..=9;
/// At least so many of these 13 bands must hold a value at a seat.
const CONTROL_BANDS_AT_LEAST: usize = 7;
/// Bands of the low-frequency figure: 100 to 315 Hz.
const LOW_BANDS: std::ops::RangeInclusive<i32> = -10..=-5;
/// At least so many of these 6 bands must hold a value.
const LOW_BANDS_AT_LEAST: usize = 4;
/// Standard uncertainty of a step measured with control takes, dB. Simulated sessions give
/// 0.01 dB; real control loudspeakers warm up as well, so it is rounded up.
pub const CONTROL_U_DB: f64 = 0.015;
/// Below this low-frequency loss the recordings with the screen were louder, dB.
const LOUDER_DB: f64 = -0.15;
/// Above this low-frequency loss the recordings with the screen may have been softer, dB.
const SOFTER_DB: f64 = 0.8;
/// Control steps of single seats farther than this from their mean, dB: a gain was changed
/// during a condition.
const SEAT_STEP_DB: f64 = 0.2;

/// Loss of the control loudspeaker at one seat.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlLoss {
    /// Seat id.
    pub seat: String,
    /// Loss per band, dB, in the order of the bands.
    pub loss_db: Vec<Option<f64>>,
}

/// A step measured with control takes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ControlStep {
    /// The step, dB: **positive = the takes with the screen came out softer**, as if
    /// everything had been lost alike. It is taken out of the takes before anything is fitted.
    pub step_db: f64,
    /// Step at each seat, dB.
    pub seats: Vec<SeatStep>,
    /// Standard uncertainty, dB: [`CONTROL_U_DB`], or the scatter of the seats' steps over
    /// the square root of their number, whichever is larger.
    pub u_db: f64,
}

/// Step at one seat.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatStep {
    /// Seat id.
    pub seat: String,
    /// Median of the control's loss over 500 Hz to 8 kHz, dB.
    pub step_db: f64,
}

/// What the step was measured with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LevelKnowledge {
    /// Takes of a control loudspeaker.
    Control,
    /// Nothing.
    None,
}

/// Level between the conditions, as it is reported.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LevelFinding {
    /// Mean loss from 100 to 315 Hz over bands and seats, after subtraction, dB.
    pub low_band_loss_db: Option<f64>,
    /// Step measured and subtracted, dB; absent without control takes.
    pub step_db: Option<f64>,
    /// What it was measured with.
    pub source: LevelKnowledge,
    /// What is known of a gain step, for absolute figures.
    pub open: Option<OpenLevel>,
    /// Standard uncertainty of the step, dB; absent without control takes.
    #[serde(skip)]
    pub step_u_db: Option<f64>,
    /// What is doubtful.
    #[serde(skip)]
    pub doubts: Vec<LevelDoubt>,
}

/// What is doubtful about the level.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum LevelDoubt {
    /// From 100 to 315 Hz it was louder with the screen, which adds no energy.
    Louder {
        /// By so much, dB.
        by_db: f64,
    },
    /// From 100 to 315 Hz more is lost than cloth takes.
    Softer {
        /// So much, dB.
        loss_db: f64,
    },
    /// At one seat the control loudspeaker shows another step than in the mean over the seats.
    SeatStep {
        /// Seat id.
        seat: String,
        /// Step at this seat, dB.
        step_db: f64,
        /// Mean over the seats, dB.
        mean_db: f64,
    },
}

/// Measures the step from the control loudspeaker's losses.
///
/// Per seat the median over 500 Hz to 8 kHz (a median, since the moved microphone changes
/// single bands by tenths), then the mean over seats. `None` without a seat that has values
/// in at least 7 of the 13 bands.
pub fn measure_step(bands: &[ThirdOctave], control: &[ControlLoss]) -> Option<ControlStep> {
    let seats: Vec<SeatStep> = control
        .iter()
        .filter_map(|seat| {
            let inside = bands.iter().zip(&seat.loss_db);
            let mut values: Vec<f64> = inside
                .filter(|(band, _)| CONTROL_BANDS.contains(&band.index()))
                .filter_map(|(_, loss)| loss.filter(|db| db.is_finite()))
                .collect();
            if values.len() < CONTROL_BANDS_AT_LEAST {
                return None;
            }
            values.sort_by(f64::total_cmp);
            let n = values.len();
            let step_db = 0.5 * (values[n / 2] + values[(n - 1) / 2]);
            Some(SeatStep { seat: seat.seat.clone(), step_db })
        })
        .collect();
    if seats.is_empty() {
        return None;
    }
    let n = seats.len() as f64;
    let step_db = seats.iter().map(|seat| seat.step_db).sum::<f64>() / n;
    let squares: f64 = seats.iter().map(|seat| (seat.step_db - step_db).powi(2)).sum();
    let scatter = if seats.len() > 1 { (squares / (n - 1.0) / n).sqrt() } else { 0.0 };
    Some(ControlStep { step_db, seats, u_db: CONTROL_U_DB.max(scatter) })
}

/// Puts the uncertainty of a measured step into each `u_db`, `u_common_db` and `u95_db` of losses
/// whose takes it was taken out of ([`Transfers::take_out_step`]).
///
/// The step is the same for all seats and bands, so it belongs to the common part.
///
/// [`Transfers::take_out_step`]: crate::transfer::measure::Transfers::take_out_step
pub fn widen_by_step(table: &mut LossTable, step: &ControlStep) {
    let estimates = table.seats.iter_mut().map(|seat| &mut seat.loss);
    for loss in estimates.chain([&mut table.mean.loss]) {
        for e in loss.iter_mut().flatten() {
            let wider = e.u_db.hypot(step.u_db);
            // The degrees of freedom stay: the added part is a small, well-known one.
            e.u95_db *= if e.u_db > 0.0 { wider / e.u_db } else { 1.0 };
            e.u_db = wider;
            e.u_common_db = e.u_common_db.hypot(step.u_db);
        }
    }
}

/// What every band shares, for claims.
pub fn shared_level(step: Option<&ControlStep>, open: OpenLevel) -> SharedLevel {
    SharedLevel { u_db: step.map_or(0.0, |step| step.u_db), open }
}

/// Mean loss from 100 to 315 Hz; `None` with fewer than four of its six bands.
pub fn low_band_loss_db(bands: &[ThirdOctave], mean_loss_db: &[Option<f64>]) -> Option<f64> {
    let inside: Vec<f64> = bands
        .iter()
        .zip(mean_loss_db)
        .filter(|(band, _)| LOW_BANDS.contains(&band.index()))
        .filter_map(|(_, loss)| loss.filter(|db| db.is_finite()))
        .collect();
    let n = inside.len();
    (n >= LOW_BANDS_AT_LEAST).then(|| inside.iter().sum::<f64>() / n as f64)
}

/// The finding on the level, from the mean loss after subtraction.
pub fn find_level(
    bands: &[ThirdOctave],
    mean_loss_db: &[Option<f64>],
    step: Option<&ControlStep>,
) -> LevelFinding {
    let low = low_band_loss_db(bands, mean_loss_db);
    let source = if step.is_some() { LevelKnowledge::Control } else { LevelKnowledge::None };
    LevelFinding {
        low_band_loss_db: low,
        step_db: step.map(|step| step.step_db),
        source,
        open: None,
        step_u_db: step.map(|step| step.u_db),
        doubts: doubts(low, step),
    }
}

fn doubts(low_band_loss_db: Option<f64>, step: Option<&ControlStep>) -> Vec<LevelDoubt> {
    let of_low = low_band_loss_db.and_then(|low| match low {
        low if low < LOUDER_DB => Some(LevelDoubt::Louder { by_db: -low }),
        low if low > SOFTER_DB => Some(LevelDoubt::Softer { loss_db: low }),
        _ => None,
    });
    let of_seats = step.into_iter().flat_map(|step| {
        let off = |seat: &&SeatStep| (seat.step_db - step.step_db).abs() > SEAT_STEP_DB;
        step.seats.iter().filter(off).map(|seat| LevelDoubt::SeatStep {
            seat: seat.seat.clone(),
            step_db: seat.step_db,
            mean_db: step.step_db,
        })
    });
    of_low.into_iter().chain(of_seats).collect()
}

#[cfg(test)]
mod tests;
