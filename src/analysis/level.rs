//! Level between the conditions: what a gain step would look like, and whether it is known.
//!
//! A recording gain that was changed between the conditions looks like loss in every band
//! alike, and nothing in the screen's own takes can tell the two apart: real cloth loses 0.0
//! to 0.6 dB from 100 to 315 Hz by its flow resistance. Takes of a control loudspeaker that
//! is not behind the screen measure the step; without them nothing is ever subtracted.

use super::control_step::{ControlStep, SeatStep};
use super::open_level::OpenLevel;
use crate::units::ThirdOctave;
use serde::Serialize;

/// Bands of the low-frequency figure: 100 to 315 Hz.
const LOW_BANDS: std::ops::RangeInclusive<i32> = -10..=-5;
/// At least so many of these 6 bands must hold a value.
const LOW_BANDS_AT_LEAST: usize = 4;
/// Below this low-frequency loss the recordings with the screen were louder, dB.
const LOUDER_DB: f64 = -0.15;
/// Above this low-frequency loss the recordings with the screen may have been softer, dB.
const SOFTER_DB: f64 = 0.8;
/// Control steps of single seats farther than this from their mean, dB: a gain was changed
/// during a condition.
const SEAT_STEP_DB: f64 = 0.2;

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
