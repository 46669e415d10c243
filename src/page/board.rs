//! The board: seats by conditions by spots, with a verdict on each take and what comes next.

use super::desk::Desk;
use super::plan::{Next, next};
use super::refusal::Refusal;
use super::request::{Answer, Job};
use crate::chain::session_warnings;
use crate::import::{Origin, origins};
use crate::ingest::manifest::{Condition, SoundSource, SweepKind};
use crate::ingest::session::{Session, Take};
use crate::ingest::takes::{TAKES_FOLDER, default_name, quiet_name};
use crate::job;
use crate::judge::{Judged, JudgedTake, TakeVerdict};
use crate::warning::Warning;
use axum::extract::Query;
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Spots at each seat where neither takes nor the user say how many: those of the take sheet.
const USUAL_SPOTS: u32 = 2;

/// What the board shows.
#[derive(Serialize)]
pub(super) struct Board {
    title: String,
    seats: Vec<Seat>,
    /// Spots of each seat and condition.
    spots: u32,
    takes: Vec<JudgedTake>,
    /// Index into `takes`, the worst verdict and how many have it.
    n_good: usize,
    n_doubt: usize,
    n_repeat: usize,
    next: Option<Next>,
    warnings: Vec<Warning>,
    sweep: Sweep,
    /// How takes were made here before, where they were recorded in the browser.
    before: Option<Origin>,
    /// Channel of the electrical reference: such sessions are recorded with a recorder.
    reference_channel: Option<u16>,
    /// Takes are listed one by one in the manifest, so that none can be added.
    listed: bool,
    /// The names of the listed takes say the same as the list.
    named: bool,
    gain_untouched: bool,
    /// Whether the chain is linear, in a sentence.
    linearity: String,
}

#[derive(Serialize)]
struct Seat {
    id: String,
    name: Option<String>,
    position_m: Option<[f64; 3]>,
}

#[derive(Serialize)]
struct Sweep {
    rate_hz: u32,
    /// Length of the sounding part, s.
    active_s: f64,
    start_hz: f64,
    stop_hz: f64,
    exponential: bool,
}

/// What is asked besides.
#[derive(Deserialize)]
pub(super) struct Asked {
    /// Spots of each seat and condition that the user plans.
    spots: Option<u32>,
}

/// Answers with the board.
pub(super) async fn board(job: Job, Query(asked): Query<Asked>) -> Answer<Board> {
    job.answer(move |desk, folder| build(desk, &folder, asked.spots)).await
}

/// The board of a session folder; `spots` are those that the user plans.
pub(super) fn build(desk: &Desk, folder: &Path, spots: Option<u32>) -> Result<Board, Refusal> {
    let session = job::open(folder)?;
    let (judged, reads) = desk.kept(folder, |kept| kept.judge(&session));
    let warnings = session_warnings(&session, &judged, &reads);
    Ok(describe(&session, judged, warnings, spots))
}

fn describe(
    session: &Session,
    judged: Judged,
    warnings: Vec<Warning>,
    spots: Option<u32>,
) -> Board {
    let manifest = &session.manifest;
    let centre = session.takes.iter().filter(|t| t.source == SoundSource::Centre);
    let most = centre.map(|t| t.spot).max();
    let spots = spots.unwrap_or(USUAL_SPOTS).clamp(1, 99).max(most.unwrap_or(1).min(99));
    let count = |verdict| judged.takes.iter().filter(|take| take.verdict == verdict).count();
    let sweep = &session.sweep;
    Board {
        title: manifest.session.title.clone(),
        seats: manifest
            .seat
            .iter()
            .map(|s| Seat { id: s.id.clone(), name: s.name.clone(), position_m: s.position_m })
            .collect(),
        spots,
        n_good: count(TakeVerdict::Good),
        n_doubt: count(TakeVerdict::Doubt),
        n_repeat: count(TakeVerdict::Repeat),
        next: next(session, &judged.takes, spots),
        warnings,
        sweep: Sweep {
            rate_hz: sweep.rate_hz,
            active_s: sweep.active.len() as f64 / f64::from(sweep.rate_hz),
            start_hz: sweep.band_hz[0],
            stop_hz: sweep.band_hz[1],
            exponential: manifest.sweep.kind == SweepKind::Exponential,
        },
        before: last_in_browser(session),
        reference_channel: manifest.recording.reference_channel,
        listed: !manifest.take.is_empty(),
        named: session.takes.iter().all(|take| is_named(session, take)),
        gain_untouched: manifest.session.gain_untouched,
        linearity: judged.linearity.in_words(),
        takes: judged.takes,
    }
}

/// Whether the take lies where its name alone would say what the session takes it for.
fn is_named(session: &Session, take: &Take) -> bool {
    let name = if take.quiet {
        quiet_name(session.seat_id(take), take.condition, take.spot)
    } else {
        default_name(session.seat_id(take), take.condition, take.source, take.spot)
    };
    take.file == Path::new(TAKES_FOLDER).join(name)
}

/// The origin of the last take that was recorded in the browser and is still there.
fn last_in_browser(session: &Session) -> Option<Origin> {
    let rows = origins(&session.root).unwrap_or_default();
    let order = |row: &Origin| {
        let take = session.takes.iter().find(|t| !t.quiet && t.file.ends_with(&row.take))?;
        std::fs::metadata(session.root.join(&take.file)).ok()?.modified().ok()
    };
    rows.into_iter().filter(|row| row.played_db.is_some()).max_by_key(order)
}

/// Words of a condition in addresses.
pub(super) fn condition_of(word: &str) -> Option<Condition> {
    serde_json::from_value(word.into()).ok()
}
