//! What the low bands leave open of a gain step between the conditions, where no control takes
//! measured it.
//!
//! A passive sheet takes between nothing and a known most from 100 to 315 Hz, so the step lies
//! between the measured loss there less that most, and the measured loss. What this interval
//! leaves open belongs to every absolute figure.

use super::control_step::ControlStep;
use super::sheet::air::Air;
use super::sheet::stated::{prediction_u95_db, stated_sheet};
use crate::ingest::manifest::{Manifest, ScreenInfo};
use crate::units::ThirdOctave;
use serde::Serialize;

/// What woven and perforated sheets take at most from 100 to 315 Hz, dB, where the stated data
/// say no more (the range of flow resistances of screen cloths: 0.0 to 0.6 dB).
const SHEET_TAKES_AT_MOST_DB: f64 = 0.6;
/// Below this low-frequency loss the takes with the screen are louder than any sheet lets them
/// be, dB: placements and noise make no more in the mean over the bands.
const LOUDER_DB: f64 = -0.15;
/// Bands of the low-frequency figure: 100 to 315 Hz.
const LOW_BANDS: std::ops::RangeInclusive<i32> = -10..=-5;

/// What is known of the level between the conditions.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "state")]
pub enum OpenLevel {
    /// Control takes measured the step.
    Controlled,
    /// The installer attests that no gain was touched.
    Attested,
    /// The low bands bound it: the true loss may be higher or lower than the figure by so much.
    Bounded {
        /// dB above the figure.
        higher_db: f64,
        /// dB below the figure.
        lower_db: f64,
    },
    /// A gain was changed: the takes with the screen are louder than any sheet lets them be.
    GainChanged {
        /// Least step, dB, positive = the takes with the screen came out louder.
        least_db: f64,
        /// Largest step, dB.
        most_db: f64,
    },
    /// The low bands cannot be measured, so nothing bounds it.
    Unknown,
}

/// What a sheet takes at most from 100 to 315 Hz: what the stated data say with their own doubt,
/// or what usual sheets take.
pub fn sheet_takes_at_most_db(screen: &ScreenInfo) -> f64 {
    let air = Air::AT_20_C;
    let stated = stated_sheet(screen).map_or(0.0, |stated| {
        let bands: Vec<f64> = LOW_BANDS
            .map(|k| {
                let w = std::f64::consts::TAU * ThirdOctave::from_index(k).exact_hz();
                let z = stated.sheet.impedance_pa_s_m(w, &air) / air.impedance_pa_s_m();
                20.0 * (z * 0.5 + 1.0).norm().log10()
            })
            .collect();
        let mean_db = bands.iter().sum::<f64>() / bands.len() as f64;
        mean_db + prediction_u95_db(mean_db)
    });
    // A second cloth may take as much again.
    let layers = if screen.backing { 2.0 } else { 1.0 };
    SHEET_TAKES_AT_MOST_DB.max(layers * stated)
}

/// What is known of the level, from the mean loss from 100 to 315 Hz.
pub fn open_level(
    manifest: &Manifest,
    low_band_loss_db: Option<f64>,
    step: Option<&ControlStep>,
) -> OpenLevel {
    if step.is_some() {
        return OpenLevel::Controlled;
    }
    let attested = manifest.session.gain_untouched;
    let Some(low_db) = low_band_loss_db else {
        return if attested { OpenLevel::Attested } else { OpenLevel::Unknown };
    };
    let most_db = sheet_takes_at_most_db(&manifest.screen);
    if low_db < LOUDER_DB {
        OpenLevel::GainChanged { least_db: -low_db, most_db: most_db - low_db }
    } else if attested && low_db <= most_db {
        OpenLevel::Attested
    } else {
        OpenLevel::Bounded {
            higher_db: (most_db - low_db).max(0.0).min(most_db),
            lower_db: low_db.max(0.0),
        }
    }
}

/// What `level` knows that every band of a loss shares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharedLevel {
    /// Standard uncertainty of the level between the conditions that is contained in every
    /// band's `u_db` alike, dB; it cancels in differences between bands.
    pub u_db: f64,
    /// What is known of a gain step between the conditions.
    pub open: OpenLevel,
}

/// What every band shares, for claims.
pub fn shared_level(step: Option<&ControlStep>, open: OpenLevel) -> SharedLevel {
    SharedLevel { u_db: step.map_or(0.0, |step| step.u_db), open }
}

#[cfg(test)]
mod tests;
