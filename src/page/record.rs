//! A take that the browser recorded: resampled where needed, filed under its name, judged.

use super::aside::{not_lent, set_aside};
use super::board::{Board, build, condition_of};
use super::place::names_are_plain;
use super::refusal::Refusal;
use super::request::{Answer, Job, answer};
use super::sound_in::{About, MOST_BYTES, read};
use super::upload::to_disk;
use super::words::{fill, word};
use crate::import::{ORIGIN_FILE, Origin, origins, write_float, write_origins};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::{Recording, Session};
use crate::ingest::takes::paths::resolve;
use crate::ingest::takes::{TAKES_FOLDER, default_name, quiet_name};
use crate::staging::{Staging, hold_interruption};
use axum::body::Body;
use axum::extract::Query;
use axum::http::{HeaderMap, StatusCode};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Most spots at a seat.
const MOST_SPOTS: u32 = 99;

/// Where the take belongs.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct Where {
    seat: String,
    condition: String,
    spot: u32,
    #[serde(default)]
    control: bool,
    /// Played 10 dB lower than the take beside it.
    #[serde(default)]
    quiet: bool,
    /// Spots that the user plans.
    spots: Option<u32>,
}

/// The take as filed, and the board with it.
#[derive(Serialize)]
pub(super) struct Filed {
    file: String,
    board: Board,
}

/// Files a recording as a take.
pub(super) async fn record(
    job: Job,
    Query(place): Query<Where>,
    Query(about): Query<About>,
    headers: HeaderMap,
    body: Body,
) -> Answer<Filed> {
    let folder = job.folder()?;
    let desk = job.desk;
    about.check()?;
    let file = desk.scratch()?;
    to_disk(body, &headers, &file, MOST_BYTES).await?;
    answer(move || {
        let writing = desk.writing();
        let session = Session::open(&folder)?;
        let (condition, source) = check(&session, &place)?;
        let recording = read(&file, &about, &session)?;
        let name = if place.quiet {
            quiet_name(&place.seat, condition, place.spot)
        } else {
            default_name(&place.seat, condition, source, place.spot)
        };
        // What is there already is put aside under whatever name it has.
        let index = session.manifest.seat.iter().position(|s| s.id == place.seat);
        let here = session.takes.iter().filter(|t| {
            (Some(t.seat), t.condition, t.source, t.quiet, t.spot)
                == (index, condition, source, place.quiet, place.spot)
        });
        let replaced = here.map(|t| t.file.as_path());
        write(&session, &recording, origin(&about, &name, recording.rate_hz), replaced)?;
        drop(writing);
        let board = build(&desk, &folder, place.spots)?;
        Ok(Filed { file: format!("{TAKES_FOLDER}/{name}"), board })
    })
    .await
}

fn check(session: &Session, place: &Where) -> Result<(Condition, SoundSource), Refusal> {
    let manifest = &session.manifest;
    if !manifest.take.is_empty() {
        return Err(Refusal::say(StatusCode::CONFLICT, "error.takes_listed"));
    }
    if manifest.recording.reference_channel.is_some() {
        return Err(Refusal::say(StatusCode::CONFLICT, "error.reference"));
    }
    let condition =
        condition_of(&place.condition).ok_or_else(|| Refusal::bad(word("error.form")))?;
    not_lent(session, condition)?;
    if !manifest.seat.iter().any(|seat| seat.id == place.seat) {
        return Err(Refusal::bad(fill("error.no_seat", &[("seat", &place.seat)])));
    }
    names_are_plain(session)?;
    if !(1..=MOST_SPOTS).contains(&place.spot) || (place.control && place.quiet) {
        return Err(Refusal::bad(word("error.form")));
    }
    let source = if place.control { SoundSource::Control } else { SoundSource::Centre };
    Ok((condition, source))
}

/// Writes the take beside, puts what stood in its place aside, and renames: all or nothing.
fn write<'a>(
    session: &Session,
    recording: &Recording,
    row: Origin,
    replaced: impl Iterator<Item = &'a Path>,
) -> Result<(), Refusal> {
    let (takes, name) = (session.root.join(TAKES_FOLDER), row.take.clone());
    if takes.symlink_metadata().is_ok() {
        resolve(&session.root, &takes, "")?;
    }
    let mut rows = origins(&session.root)?;
    let staging = Staging::inside(&session.root)?;
    let channel = session.manifest.recording.mic_channel;
    write_float(&staging.at(&name), recording.rate_hz, &[&recording.mic], &[channel])?;
    let placing = hold_interruption();
    std::fs::create_dir_all(&takes)?;
    for file in replaced {
        set_aside(session, file, &mut rows)?;
    }
    rows.retain(|old| old.take != name);
    rows.push(row);
    rows.sort_by(|a, b| a.take.cmp(&b.take));
    let list = staging.at(ORIGIN_FILE);
    write_origins(&list, &rows)?;
    std::fs::rename(staging.at(&name), takes.join(&name))?;
    std::fs::rename(list, takes.join(ORIGIN_FILE))?;
    drop(placing);
    Ok(())
}

fn origin(about: &About, name: &str, rate_hz: u32) -> Origin {
    Origin {
        take: name.into(),
        recording: word("origin.browser").into(),
        start_s: 0.0,
        channel: about.channel,
        reference_channel: None,
        rate_hz: about.rate_hz,
        resampled: about.rate_hz != rate_hz,
        device: Some(about.device()).filter(|d| !d.is_empty()),
        processing: Some(about.processing.clone()),
        played_db: Some(about.played_db),
    }
}
