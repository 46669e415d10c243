//! Levels of the bands without and with the screen, and of the noise under them.

use crate::ingest::calibration::correction_db;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;
use crate::transfer::measure::Transfers;
use serde::Serialize;

/// Band levels, mean over seats, lists by band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Levels {
    /// What 0 dB is.
    pub reference: String,
    /// Without the screen, dB.
    pub without_db: Vec<Option<f64>>,
    /// With the screen, dB.
    pub with_db: Vec<Option<f64>>,
    /// With screen and equaliser, dB; empty without such takes.
    pub corrected_db: Vec<Option<f64>>,
    /// Noise in the same recordings, the larger of the conditions, dB.
    pub noise_db: Vec<Option<f64>>,
}

/// Band levels by condition, power mean over all takes of the main loudspeaker,
/// relative to the strongest band without the screen, with the microphone's correction where
/// a calibration file is named.
pub fn band_levels(session: &Session, transfers: &Transfers) -> Levels {
    let n_bands = transfers.bands.len();
    let calibration = session.calibration.as_deref().unwrap_or(&[]);
    let mean_power = |wanted: &dyn Fn(Condition) -> bool, noise: bool, band: usize| {
        let powers: Vec<f64> = transfers
            .takes
            .iter()
            .filter(|t| {
                let take = &session.takes[t.take];
                take.source == SoundSource::Centre && wanted(take.condition)
            })
            .map(|t| if noise { t.noise[band] } else { t.power[band] })
            .filter(|p| p.is_finite() && *p > 0.0)
            .collect();
        let mean = powers.iter().sum::<f64>() / powers.len() as f64;
        let of_microphone_db = correction_db(calibration, transfers.bands[band].exact_hz());
        let factor = 10f64.powf(of_microphone_db / 10.0) * transfers.bands[band].width_hz();
        (!powers.is_empty()).then_some(mean * factor)
    };
    let is = |condition| move |c| c == condition;
    let row = |wanted: &dyn Fn(Condition) -> bool, noise: bool| -> Vec<Option<f64>> {
        (0..n_bands).map(|band| mean_power(wanted, noise, band)).collect()
    };
    let without = row(&is(Condition::Without), false);
    let highest = without.iter().flatten().copied().fold(f64::MIN_POSITIVE, f64::max);
    let decibels = |powers: Vec<Option<f64>>| -> Vec<Option<f64>> {
        let level = |p: f64| (10_000.0 * 10.0 * (p / highest).log10()).round() / 10_000.0;
        powers.into_iter().map(|p| p.map(level)).collect()
    };
    let corrected = row(&is(Condition::Corrected), false);
    Levels {
        reference: "the strongest band without the screen".into(),
        without_db: decibels(without),
        with_db: decibels(row(&is(Condition::With), false)),
        corrected_db: if corrected.iter().any(Option::is_some) {
            decibels(corrected)
        } else {
            Vec::new()
        },
        noise_db: decibels(row(&|_| true, true)),
    }
}
