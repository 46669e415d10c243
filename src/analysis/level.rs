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
use crate::warning::{Topic, Warning};
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
    /// What this means, in plain words.
    pub statement: String,
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
    let low_words = low.map_or("The loss from 100 to 315 Hz is not known.".to_string(), |low| {
        format!("From 100 to 315 Hz the loss is {low:.2} dB.")
    });
    let statement = match step {
        Some(step) => {
            let way = if step.step_db > 0.0 { "softer" } else { "louder" };
            format!(
                "The control loudspeaker, which is not behind the screen, came out {:.2} dB {way} \
                 with the screen hung. That is a change of gain, not of the screen; it was \
                 subtracted from every loss, and \u{b1} {:.2} dB (95 %) stay in their \
                 uncertainty. {low_words}",
                step.step_db.abs(),
                1.96 * step.u_db
            )
        }
        None => format!(
            "{low_words} No control takes were made, so nothing was subtracted: a gain that was \
             changed between the conditions would look like this, and so would the flow \
             resistance of a cloth. The shape of the loss does not depend on it; every absolute \
             loss does, decibel for decibel."
        ),
    };
    let source = if step.is_some() { LevelKnowledge::Control } else { LevelKnowledge::None };
    LevelFinding {
        low_band_loss_db: low,
        step_db: step.map(|step| step.step_db),
        source,
        open: None,
        statement,
    }
}

/// Warnings on the level.
pub fn level_warnings(finding: &LevelFinding, step: Option<&ControlStep>) -> Vec<Warning> {
    let mut warnings = Vec::new();
    let mut warn = |topic, seat: Option<&str>, message: String, advice: &str| {
        warnings.push(Warning {
            topic,
            seat: seat.map(Into::into),
            take: None,
            message,
            advice: advice.into(),
        });
    };
    if let Some(low) = finding.low_band_loss_db {
        let controlled = finding.source == LevelKnowledge::Control;
        if low < LOUDER_DB {
            warn(
                Topic::LevelAmbiguity,
                None,
                format!(
                    "From 100 to 315 Hz it was {:.2} dB louder with the screen than without. A \
                     screen adds no energy there{}.",
                    -low,
                    if controlled {
                        ", and the control loudspeaker shows no such step: something else \
                         changed in the room or at the loudspeaker"
                    } else {
                        ": most likely playback or recording gain was turned up between the \
                         conditions, and every loss is shown too small by about as much"
                    }
                ),
                "Check the gains against your notes. Record control takes of a loudspeaker that \
                 is not behind the screen, in both conditions, or repeat one condition.",
            );
        } else if low > SOFTER_DB {
            warn(
                Topic::LevelAmbiguity,
                None,
                format!(
                    "From 100 to 315 Hz {low:.2} dB are lost. {}",
                    if controlled {
                        "The control loudspeaker shows that this is no change of gain: the sheet \
                         is uncommonly dense, or something else stands in the way."
                    } else {
                        "Cloth loses 0.0 to 0.6 dB there by its flow resistance; more is either \
                         a very dense sheet or a gain that was turned down between the \
                         conditions. These recordings cannot tell which."
                    }
                ),
                "Check the gains against your notes, or record control takes of a loudspeaker \
                 that is not behind the screen, in both conditions.",
            );
        }
    }
    for seat in step.iter().flat_map(|step| &step.seats) {
        let mean = finding.step_db.unwrap_or(seat.step_db);
        if (seat.step_db - mean).abs() > SEAT_STEP_DB {
            warn(
                Topic::GainStep,
                Some(&seat.seat),
                format!(
                    "At this seat the control loudspeaker shows a step of {:.2} dB, the mean over \
                     the seats is {mean:.2} dB: a gain was changed during one of the conditions.",
                    seat.step_db
                ),
                "Repeat the takes of this seat, centre and control, without touching any gain.",
            );
        }
    }
    warnings
}

#[cfg(test)]
mod tests;
