//! One sound in all its versions, and the gains at which they are played.
//!
//! No version is louder than the source, by loudness or by true peak: where one would be (an
//! equaliser that makes up level), all are turned down alike. Matched, all have the loudness of
//! the softest, so that again nothing is turned up.

use super::convolve::convolve;
use super::levels::{Level, level};
use super::passage::Passage;
use super::sounds::Sound;
use super::{Fir, ListenError};
use crate::analysis::correction::Correction;
use rayon::prelude::*;
use std::sync::Arc;

/// What a version goes through.
#[derive(Debug, Clone)]
pub struct Part {
    /// Short name, fit for a file: `without`, `screen`, `screen_setting`.
    pub key: String,
    /// Name for people.
    pub title: String,
    /// The screen; `None` = nothing hangs.
    pub passage: Option<Arc<Passage>>,
    /// The equaliser.
    pub setting: Option<Arc<Correction>>,
}

impl Part {
    /// Nothing hangs.
    pub fn without() -> Self {
        let (key, title) = ("without".into(), "without the screen".into());
        Self { key, title, passage: None, setting: None }
    }

    /// Whether it is from theory.
    pub fn predicted(&self) -> bool {
        self.passage.as_ref().is_some_and(|p| p.predicted)
    }

    /// Gain of the setting at a frequency, dB; above half the processor's rate that at its top.
    fn setting_db(&self, hz: f64) -> f64 {
        let of = |c: &Correction| c.trim_db + c.filter_gain_db(hz.min(0.4999 * c.rate_hz));
        self.setting.as_deref().map_or(0.0, of)
    }

    fn hear(&self, sound: &Sound) -> Vec<Vec<f64>> {
        let Some(passage) = &self.passage else { return sound.channels.clone() };
        let fir = Fir::new(passage, sound.rate_hz, &|hz| self.setting_db(hz));
        sound.channels.par_iter().map(|c| convolve(c, &fir, sound.goes_round)).collect()
    }
}

/// A version of a sound.
#[derive(Debug, Clone)]
pub struct Version {
    /// Short name, fit for a file.
    pub key: String,
    /// Name for people.
    pub title: String,
    /// Whether its screen is from theory, not from takes.
    pub predicted: bool,
    /// Samples as they are played.
    pub channels: Vec<Vec<f64>>,
    /// Level of these samples.
    pub level: Level,
    /// Gain that brings it to the loudness of the softest version, dB; 0 or less.
    pub matched_gain_db: f64,
}

/// All versions of a sound.
#[derive(Debug, Clone)]
pub struct Versions {
    /// Short name of the sound.
    pub key: String,
    /// Its name for people.
    pub title: String,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Whether the end leads into the beginning.
    pub goes_round: bool,
    /// Level of the source.
    pub source: Level,
    /// Gain that all versions got alike, so that none is louder than the source, dB; 0 or less.
    pub headroom_gain_db: f64,
    /// The versions, in the order of the parts.
    pub versions: Vec<Version>,
}

/// A sound through every part.
///
/// # Errors
/// [`ListenError::Loudness`] where a version is silent.
pub fn make_versions(sound: &Sound, parts: &[Part]) -> Result<Versions, ListenError> {
    let rate_hz = sound.rate_hz;
    let source = level(&sound.title, &sound.channels, rate_hz)?;
    let mut versions = parts
        .par_iter()
        .map(|part| {
            let channels = part.hear(sound);
            let level = level(&part.title, &channels, rate_hz)?;
            let (key, title) = (part.key.clone(), part.title.clone());
            let predicted = part.predicted();
            Ok(Version { key, title, predicted, channels, level, matched_gain_db: 0.0 })
        })
        .collect::<Result<Vec<_>, ListenError>>()?;
    let headroom_gain_db = headroom_gain_db(source, &versions);
    for version in &mut versions {
        amplify(&mut version.channels, headroom_gain_db);
        version.level = level(&version.title, &version.channels, rate_hz)?;
    }
    let softest = versions.iter().map(|v| v.level.loudness_lufs).fold(f64::INFINITY, f64::min);
    for version in &mut versions {
        version.matched_gain_db = softest - version.level.loudness_lufs;
    }
    Ok(Versions {
        key: sound.key.clone(),
        title: sound.title.clone(),
        rate_hz,
        goes_round: sound.goes_round,
        source,
        headroom_gain_db,
        versions,
    })
}

/// Gain for all versions, so that none has more loudness or a higher true peak than the source,
/// nor a peak above full scale, dB.
fn headroom_gain_db(source: Level, versions: &[Version]) -> f64 {
    let peak_dbtp = source.true_peak_dbtp.min(0.0);
    let of = |v: &Version| {
        let by_peak = peak_dbtp - v.level.true_peak_dbtp;
        by_peak.min(source.loudness_lufs - v.level.loudness_lufs)
    };
    versions.iter().map(of).fold(0.0, f64::min)
}

/// Samples turned up or down.
pub(super) fn amplify(channels: &mut [Vec<f64>], gain_db: f64) {
    if gain_db != 0.0 {
        let factor = 10f64.powf(gain_db / 20.0);
        channels.iter_mut().flatten().for_each(|x| *x *= factor);
    }
}

impl Version {
    /// Samples at the loudness of the softest version.
    pub fn matched(&self) -> Vec<Vec<f64>> {
        let mut channels = self.channels.clone();
        amplify(&mut channels, self.matched_gain_db);
        channels
    }
}
