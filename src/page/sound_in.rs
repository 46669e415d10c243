//! Sound that the browser recorded: raw samples from disk, brought to the session's rate.

use super::refusal::Refusal;
use super::sweep_out::{device_rate, resampled};
use super::words::{fill, word};
use crate::ingest::session::{Recording, Session};
use serde::Deserialize;
use std::path::Path;

/// Largest recording: a minute and a half at 192 kHz.
pub(super) const MOST_BYTES: u64 = 70 << 20;

/// What the browser tells about a recording.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct About {
    /// Rate of the input device, Hz.
    pub rate_hz: u32,
    /// Frames that the browser lost on the way.
    pub lost: u64,
    /// State of echo cancellation, noise suppression and gain control: `off`, or `not told`.
    pub processing: String,
    /// Name of the input device.
    #[serde(default)]
    pub device: String,
    /// Channel of the microphone, counted from 1.
    #[serde(default = "first")]
    pub channel: usize,
    /// Level at which the sweep was played, dB re that of the session's file.
    #[serde(default)]
    pub played_db: f64,
}

fn first() -> usize {
    1
}

/// States of the browser's processing under which a recording is taken.
const UNPROCESSED: [&str; 2] = ["off", "not told"];
/// Longest name of a device, characters.
const NAME_CHARS: usize = 120;

impl About {
    /// Refuses what was spoiled on the way.
    pub(super) fn check(&self) -> Result<(), Refusal> {
        device_rate(self.rate_hz)?;
        if !UNPROCESSED.contains(&self.processing.as_str()) {
            return Err(Refusal::bad(word("error.processing")));
        }
        if self.lost > 0 {
            let n = self.lost.to_string();
            return Err(Refusal::bad(fill("error.lost_blocks", &[("n", &n)])));
        }
        if !self.played_db.is_finite() || self.channel == 0 {
            return Err(Refusal::bad(word("error.form")));
        }
        Ok(())
    }

    /// The device's name, printable and short.
    pub(super) fn device(&self) -> String {
        let plain = crate::ingest::error::plain(&self.device);
        plain.chars().take(NAME_CHARS).collect()
    }
}

/// The recording in `path` at the session's rate.
///
/// # Errors
/// Samples that are none, or no sound at all.
pub(super) fn read(path: &Path, about: &About, session: &Session) -> Result<Recording, Refusal> {
    about.check()?;
    let bytes = std::fs::read(path)?;
    let (words, rest) = bytes.as_chunks::<4>();
    let samples: Vec<f64> = words.iter().map(|b| f64::from(f32::from_le_bytes(*b))).collect();
    if samples.is_empty() || !rest.is_empty() || samples.iter().any(|x| !x.is_finite()) {
        return Err(Refusal::bad(word("error.samples")));
    }
    if samples.iter().all(|x| *x == samples[0]) {
        return Err(Refusal::bad(word("error.silence")));
    }
    let rate_hz = session.sweep.rate_hz;
    let mic = resampled(&samples, about.rate_hz, rate_hz)?;
    Ok(Recording::of_microphone(rate_hz, mic, None))
}
