//! A first look at a recording that is not kept: the room's noise, the sweep above it, the verdict.

use super::request::{Answer, Job, answer};
use super::sound_in::{About, MOST_BYTES, read};
use super::upload::to_disk;
use crate::ingest::session::{Recording, Session};
use crate::judge::finding::worst;
use crate::judge::noise::floor;
use crate::judge::spectrogram::Analyser;
use crate::judge::{Finding, TakeAnalyser, TakeVerdict, judge_take};
use axum::body::Body;
use axum::extract::Query;
use axum::http::HeaderMap;
use serde::Serialize;

/// Sweep above noise that is aimed at in every band, dB.
const ENOUGH_DB: f64 = 40.0;
/// Bands that are looked at, Hz: those of the report.
const BAND_HZ: std::ops::RangeInclusive<f64> = 99.0..=16_500.0;

/// What was heard.
#[derive(Serialize)]
pub(super) struct Look {
    /// Largest magnitude, dB re full scale.
    peak_dbfs: Option<f64>,
    clipped: bool,
    bands: Vec<Band>,
    /// The band that stands least above the noise, where there was a sweep.
    weakest: Option<Band>,
    /// Noise of all bands together, dB re full scale.
    noise_dbfs: Option<f64>,
    enough_db: f64,
    /// When the sweep begins, s from the start of the recording.
    start_s: Option<f64>,
    verdict: TakeVerdict,
    findings: Vec<Finding>,
}

#[derive(Serialize, Clone, Copy)]
struct Band {
    hz: f64,
    noise_dbfs: Option<f64>,
    snr_db: Option<f64>,
}

/// Answers with what a recording holds; keeps nothing.
pub(super) async fn level(
    job: Job,
    Query(about): Query<About>,
    headers: HeaderMap,
    body: Body,
) -> Answer<Look> {
    let folder = job.folder()?;
    let file = job.desk.scratch()?;
    to_disk(body, &headers, &file, MOST_BYTES).await?;
    answer(move || {
        let session = Session::open(&folder)?;
        Ok(look(&read(&file, &about, &session)?, &session))
    })
    .await
}

fn look(recording: &Recording, session: &Session) -> Look {
    let analyser = TakeAnalyser::new(&session.sweep);
    let facts = analyser.facts(recording);
    let findings = judge_take(&facts, session.sweep.rate_hz);
    let spectrogram = Analyser::new(recording.rate_hz).spectrogram(&recording.mic);
    let lg = |x: f64| (x > 0.0).then(|| 10.0 * x.log10());
    let mut bands = Vec::new();
    let mut noise = 0.0;
    for (i, band) in spectrogram.bands.iter().enumerate() {
        if !BAND_HZ.contains(&band.nominal_hz()) {
            continue;
        }
        let at = facts.bands.iter().position(|b| b == band);
        let of = |list: &[Option<f64>]| at.and_then(|at| list.get(at).copied().flatten());
        // Without a sweep all of it is the room.
        let alone = floor(&spectrogram, i, 0..spectrogram.n_frames);
        let before = of(&facts.levels.noise_db);
        let power = before.map_or(alone, |db| Some(10f64.powf(db / 10.0)));
        noise += power.unwrap_or(0.0);
        let noise_dbfs = power.and_then(lg);
        bands.push(Band { hz: band.nominal_hz(), noise_dbfs, snr_db: of(&facts.levels.snr_db) });
    }
    let with_sweep = bands.iter().filter(|band| band.snr_db.is_some());
    let weakest = with_sweep
        .min_by(|a, b| f64::total_cmp(&a.snr_db.unwrap_or(0.0), &b.snr_db.unwrap_or(0.0)));
    Look {
        peak_dbfs: lg(facts.amplitudes.peak.powi(2)),
        clipped: facts.amplitudes.clipping.is_some() || facts.amplitudes.peak >= 0.999,
        weakest: weakest.copied(),
        bands,
        noise_dbfs: lg(noise),
        enough_db: ENOUGH_DB,
        start_s: facts.sweep.map(|s| s.start_s),
        verdict: worst(&findings),
        findings,
    }
}
