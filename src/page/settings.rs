//! `session.toml` as forms. Whoever saves says which text he saw: edits from elsewhere are never
//! overwritten unasked.

use super::edit::{Change, Step, apply, as_json};
use super::place::own_name;
use super::refusal::Refusal;
use super::request::{Answer, Job};
use super::stamp::fingerprint;
use super::words::word;
use crate::ingest::error::IngestError;
use crate::ingest::manifest::{self, MANIFEST_FILE, Manifest, ManifestText, read_text};
use crate::ingest::takes::discover;
use crate::ingest::takes::paths::inside;
use crate::report::words::claims::unmeasured_sentence;
use crate::staging::{Staging, hold_interruption};
use crate::start::check_seats;
use axum::Json;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use std::path::Path;
use toml_edit::DocumentMut;

/// The manifest for the forms.
#[derive(Serialize)]
pub(super) struct Settings {
    /// Which text this is.
    fingerprint: String,
    /// Everything that is written, by table and key.
    values: serde_json::Value,
    /// Why the manifest cannot be used as it stands.
    problem: Option<String>,
    /// How each claim will stand on the paper until it is measured.
    claims: Vec<String>,
    /// Folder, for people.
    folder: String,
}

/// What is to be changed.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Save {
    fingerprint: String,
    changes: Vec<Change>,
    /// Only look whether it could be saved, and how it would read.
    #[serde(default)]
    dry_run: bool,
}

/// Answers with the manifest.
pub(super) async fn settings(job: Job) -> Answer<Settings> {
    job.answer(|_, folder| Ok(describe(&folder, &read(&folder)?))).await
}

/// Makes changes, all or none.
pub(super) async fn save(job: Job, Json(save): Json<Save>) -> Answer<Settings> {
    job.answer(move |desk, folder| {
        let _writing = desk.writing();
        change(&folder, &save)
    })
    .await
}

fn read(folder: &Path) -> Result<String, Refusal> {
    inside(folder, Path::new(MANIFEST_FILE), "")?;
    Ok(read_text(&folder.join(MANIFEST_FILE), "")?)
}

fn parsed(text: &str) -> Result<(Manifest, ManifestText), IngestError> {
    let text = ManifestText { path: MANIFEST_FILE.into(), text: text.to_owned() };
    Ok((manifest::parse(&text)?, text))
}

fn describe(folder: &Path, text: &str) -> Settings {
    let values = text.parse::<DocumentMut>().map_or(serde_json::Value::Null, |d| as_json(&d));
    let (problem, claims) = match parsed(text) {
        Ok((manifest, _)) => (None, manifest.claim.iter().map(unmeasured_sentence).collect()),
        Err(error) => (Some(error.to_string()), Vec::new()),
    };
    Settings { fingerprint: fingerprint(text), values, problem, claims, folder: own_name(folder) }
}

fn change(folder: &Path, save: &Save) -> Result<Settings, Refusal> {
    let text = read(folder)?;
    if fingerprint(&text) != save.fingerprint {
        return Err(Refusal::say(StatusCode::CONFLICT, "error.changed_elsewhere"));
    }
    let mut document: DocumentMut =
        text.parse().map_err(|_| Refusal::bad(word("error.not_toml")))?;
    for change in &save.changes {
        apply(&mut document, change).map_err(|refusal| refusal.at(change.place()))?;
    }
    let mut new = document.to_string();
    if text.contains("\r\n") {
        new = new.replace("\r\n", "\n").replace('\n', "\r\n");
    }
    let (new_manifest, new_text) = parsed(&new).map_err(|error| at_field(error, &new, save))?;
    if let Some(place) = seat_place(&save.changes) {
        let ids: Vec<String> = new_manifest.seat.iter().map(|seat| seat.id.clone()).collect();
        // Without seats they are those of the takes.
        if !ids.is_empty() {
            check_seats(&ids).map_err(|error| Refusal::from(error).at(place))?;
        }
    }
    keep_takes(folder, &text, &new_manifest, &new_text)?;
    if !save.dry_run && new != text {
        replace(folder, &new)?;
    }
    Ok(describe(folder, &new))
}

/// The first change that touches a seat's short name, which becomes part of file names.
fn seat_place(changes: &[Change]) -> Option<String> {
    let touches = |change: &&Change| match change.path.as_slice() {
        [Step::Key(list), Step::Index(_), Step::Key(key)] => list == "seat" && key == "id",
        [Step::Key(list), Step::Index(_)] => list == "seat",
        _ => false,
    };
    changes.iter().find(touches).map(Change::place)
}

/// The refusal, said at the changed field whose line it is about.
fn at_field(error: IngestError, text: &str, save: &Save) -> Refusal {
    let IngestError::Manifest(refusal) = &error else { return error.into() };
    let text = ManifestText { path: MANIFEST_FILE.into(), text: text.to_owned() };
    let advice =
        if refusal.advice.is_empty() { String::new() } else { format!("; {}", refusal.advice) };
    let said = Refusal::bad(format!("{}{advice}.", refusal.problem));
    let of = |change: &&Change| text.line_of(&change.place());
    let exact = save.changes.iter().find(|change| of(change) == refusal.line);
    // What is wrong inside a new entry stands below its head.
    let entry = |change: &&Change| matches!(change.path.as_slice(), [_, Step::Index(_)]);
    let above = save.changes.iter().filter(entry).rfind(|change| of(change) <= refusal.line);
    match exact.or(above) {
        Some(change) => said.at(change.place()),
        None => said,
    }
}

/// Refuses changes after which takes that are there would belong to no seat.
fn keep_takes(
    folder: &Path,
    old: &str,
    manifest: &Manifest,
    text: &ManifestText,
) -> Result<(), Refusal> {
    let count = |manifest: &Manifest, text: &ManifestText| {
        discover(folder, manifest, text).map(|found| found.takes.len())
    };
    // Where the old text could not be read nothing can be lost.
    let Ok((old_manifest, old_text)) = parsed(old) else { return Ok(()) };
    let Ok(before) = count(&old_manifest, &old_text) else { return Ok(()) };
    if count(manifest, text)? < before {
        return Err(Refusal::bad(word("error.seat_has_takes")).at("seat"));
    }
    Ok(())
}

/// Writes beside and renames.
fn replace(folder: &Path, text: &str) -> Result<(), Refusal> {
    let staging = Staging::inside(folder)?;
    std::fs::write(staging.at(MANIFEST_FILE), text)?;
    let _whole = hold_interruption();
    std::fs::rename(staging.at(MANIFEST_FILE), folder.join(MANIFEST_FILE))?;
    Ok(())
}
