//! A gain step between the conditions, measured with a loudspeaker that is not behind the screen.

use super::loss::LossTable;
use crate::transfer::median::median;
use crate::units::ThirdOctave;
use serde::Serialize;

/// Bands of the control loudspeaker's loss that count: 500 Hz to 8 kHz.
pub(super) const CONTROL_BANDS: std::ops::RangeInclusive<i32> = -3..=9;

/// At least so many of these 13 bands must hold a value at a seat.
const CONTROL_BANDS_AT_LEAST: usize = 7;

/// Standard uncertainty of a step measured with control takes, dB. Simulated sessions give
/// 0.01 dB; real control loudspeakers warm up as well, so it is rounded up.
pub const CONTROL_U_DB: f64 = 0.015;

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
            let values: Vec<f64> = inside
                .filter(|(band, _)| CONTROL_BANDS.contains(&band.index()))
                .filter_map(|(_, loss)| loss.filter(|db| db.is_finite()))
                .collect();
            if values.len() < CONTROL_BANDS_AT_LEAST {
                return None;
            }
            Some(SeatStep { seat: seat.seat.clone(), step_db: median(values)? })
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
