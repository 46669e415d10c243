//! The session's sweep at the rate of the device that plays it.

use super::refusal::Refusal;
use super::request::Job;
use super::words::{fill, word};
use crate::import::resample;
use crate::ingest::manifest::SweepKind;
use crate::ingest::session::Session;
use crate::ingest::sweep::{SweepParams, generate};
use axum::extract::Query;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

/// Rates at which sound cards play, Hz.
const RATES_HZ: std::ops::RangeInclusive<u32> = 8_000..=384_000;

/// What is asked.
#[derive(Deserialize)]
pub(super) struct Asked {
    rate_hz: u32,
}

/// Answers with the sounding part of the sweep as 32-bit floats, little end first, full scale 1,
/// at the level of the session's own file.
pub(super) async fn sweep_out(job: Job, Query(asked): Query<Asked>) -> Result<Response, Refusal> {
    let work = job.work(move |_, folder| {
        let samples = at_rate(&Session::open(&folder)?, asked.rate_hz)?;
        Ok(samples.iter().flat_map(|x| (*x as f32).to_le_bytes()).collect::<Vec<u8>>())
    });
    let bytes = work.await?;
    Ok(([(header::CONTENT_TYPE, "application/octet-stream")], bytes).into_response())
}

/// The sounding part at `rate_hz`: made anew from the manifest's figures where these describe it
/// wholly, which needs no resampler; else the file's own samples, resampled.
fn at_rate(session: &Session, rate_hz: u32) -> Result<Vec<f64>, Refusal> {
    device_rate(rate_hz)?;
    let sweep = &session.sweep;
    // What half of the device's rate cannot carry would come out as another tone.
    if sweep.band_hz[1] > 0.5 * f64::from(rate_hz) {
        let stop = sweep.band_hz[1].to_string();
        let rate = rate_hz.to_string();
        let said = fill("error.device_too_slow", &[("rate", &rate), ("stop", &stop)]);
        return Err(Refusal::bad(said));
    }
    let file = &sweep.samples[sweep.active.clone()];
    if rate_hz == sweep.rate_hz {
        return Ok(file.to_vec());
    }
    match params(session, rate_hz).and_then(|params| generate(&params).ok()) {
        Some(samples) => Ok(samples),
        None => resampled(file, sweep.rate_hz, rate_hz),
    }
}

/// Refuses rates at which no sound card plays.
pub(super) fn device_rate(rate_hz: u32) -> Result<(), Refusal> {
    if RATES_HZ.contains(&rate_hz) {
        return Ok(());
    }
    Err(Refusal::bad(fill("error.device_rate", &[("rate", &rate_hz.to_string())])))
}

/// Samples at another rate.
pub(super) fn resampled(samples: &[f64], from_hz: u32, to_hz: u32) -> Result<Vec<f64>, Refusal> {
    resample(samples, from_hz, to_hz)
        .map_err(|e| Refusal::bad(format!("{} ({e})", word("error.resample"))))
}

/// The sweep's figures, where the manifest states all of them.
fn params(session: &Session, rate_hz: u32) -> Option<SweepParams> {
    let stated = &session.manifest.sweep;
    (stated.kind == SweepKind::Exponential).then_some(())?;
    Some(SweepParams {
        start_hz: stated.start_hz,
        stop_hz: stated.stop_hz,
        duration_s: stated.duration_s?,
        fade_in_s: stated.fade_in_s?,
        fade_out_s: stated.fade_out_s?,
        level_dbfs: stated.level_dbfs?,
        rate_hz,
        lead_s: 0.0,
        tail_s: 0.0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::start::{StartOptions, start};

    /// At another rate the sweep is the same function of time: held against the file's own samples,
    /// brought there by the resampler.
    #[test]
    fn another_rate_is_the_same_sweep() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("job");
        start(&folder, &["A".into()], &StartOptions::default()).unwrap();
        let session = Session::open(&folder).unwrap();
        let own = at_rate(&session, 48_000).unwrap();
        for rate_hz in [44_100, 96_000] {
            let made = at_rate(&session, rate_hz).unwrap();
            let params = params(&session, rate_hz).expect("the manifest states everything");
            assert_eq!(made, generate(&params).unwrap());
            // The file's sounding part begins some samples after the sweep, where it is heard first.
            let lead = own.iter().position(|x| x.abs() > 0.2).unwrap() as f64 / 48_000.0;
            let there =
                made.iter().position(|x| x.abs() > 0.2).unwrap() as f64 / f64::from(rate_hz);
            assert!((lead - there).abs() < 0.02, "{lead} {there}");
        }
        assert!(at_rate(&session, 22_050).is_err() && at_rate(&session, 1).is_err());
    }
}
