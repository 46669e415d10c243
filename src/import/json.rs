//! The document that `import --json` prints.

use super::found::{Fate, Survey};
use super::places::Place;
use crate::judge::Finding;
use serde::Serialize;

/// What `import --json` prints.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    version: u32,
    /// File names of the takes that were written.
    written: &'a [String],
    recordings: Vec<RecordingRow<'a>>,
    sweeps: Vec<SweepRow<'a>>,
    missing: Vec<PlaceRow<'a>>,
    /// Why nothing was written, and what to do.
    refusal: Option<String>,
    order_doubt: Option<&'a str>,
    notes: &'a [String],
    /// The document of `check --json` on the session after the import.
    check: Option<serde_json::Value>,
}

#[derive(Serialize)]
struct RecordingRow<'a> {
    file: String,
    kind: &'a str,
    rate_hz: u32,
    n_channels: usize,
    duration_s: f64,
    mic_channel: Option<usize>,
    other_channels: &'a [usize],
    reference_channel: Option<usize>,
    read_from_name: &'a [String],
}

#[derive(Serialize)]
struct SweepRow<'a> {
    recording: usize,
    start_s: f64,
    peak_dbfs: Option<f64>,
    fate: &'static str,
    reason: Option<&'a str>,
    place: Option<PlaceRow<'a>>,
    resembles_seat: Option<&'a str>,
    judgement: &'a str,
    findings: &'a [Finding],
}

#[derive(Serialize)]
struct PlaceRow<'a> {
    seat: &'a str,
    condition: crate::ingest::manifest::Condition,
    source: crate::ingest::manifest::SoundSource,
    spot: u32,
    take: String,
}

fn place(place: &Place) -> PlaceRow<'_> {
    PlaceRow {
        seat: &place.seat_id,
        condition: place.condition,
        source: place.source,
        spot: place.spot,
        take: place.file_name(),
    }
}

/// The document of a survey: what was found, what was written, and what `check` said.
pub fn document(survey: &Survey, written: &[String], check: Option<serde_json::Value>) -> String {
    let recordings = survey.recordings.iter().map(|r| RecordingRow {
        file: r.path.display().to_string(),
        kind: &r.format,
        rate_hz: r.rate_hz,
        n_channels: r.n_channels,
        duration_s: r.duration_s,
        mic_channel: r.mic_channel,
        other_channels: &r.other_channels,
        reference_channel: r.reference_channel,
        read_from_name: &r.told.words,
    });
    let sweeps = survey.sweeps.iter().map(|s| {
        let (fate, reason) = match &s.fate {
            Fate::Take => ("take", None),
            Fate::LeftOut(why) => ("left_out", Some(why.as_str())),
            Fate::TooMuch => ("no_place", None),
        };
        SweepRow {
            recording: s.recording,
            start_s: s.start_s,
            peak_dbfs: s.peak_dbfs,
            fate,
            reason,
            place: s.place.as_ref().map(place),
            resembles_seat: s.rather.as_deref(),
            judgement: &s.judgement,
            findings: &s.findings,
        }
    });
    let document = Document {
        format: "scrimcheck-import",
        version: 1,
        written,
        recordings: recordings.collect(),
        sweeps: sweeps.collect(),
        missing: survey.missing.iter().map(place).collect(),
        refusal: survey.refusal.as_ref().map(|[problem, advice]| format!("{problem}; {advice}")),
        order_doubt: survey.order_doubt.as_deref(),
        notes: &survey.notes,
        check,
    };
    // Only finite numbers and strings are in it, so that writing cannot fail.
    serde_json::to_string_pretty(&document).unwrap_or_default() + "\n"
}
