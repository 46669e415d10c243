//! The sessions of the opened folder, each with what is known without reading a take.

use super::desk::Desk;
use super::place::{HERE, is_plain, own_name};
use super::request::{Answer, answer};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::Session;
use crate::ingest::takes::paths::resolve;
use crate::jobs::collect::result_bytes;
use crate::jobs::find::is_session;
use crate::words::with_causes;
use axum::extract::State;
use rayon::prelude::*;
use serde::Serialize;
use serde_json::Value;
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

/// Most folders that are looked at.
const MOST_FOLDERS: usize = 500;

/// The list of jobs.
#[derive(Serialize)]
pub(super) struct Jobs {
    /// Name of the opened folder.
    folder: String,
    /// Whether the opened folder is one session, not a folder of them.
    single: bool,
    jobs: Vec<JobRow>,
}

/// One job.
#[derive(Default, Serialize)]
struct JobRow {
    id: String,
    title: String,
    date: Option<String>,
    sheet: Option<String>,
    client: Option<String>,
    n_seats: usize,
    /// Seats with a take of the centre loudspeaker, without and with the screen.
    seats_done: [usize; 2],
    n_takes: usize,
    /// Why the session cannot be opened.
    problem: Option<String>,
    result: Option<LastResult>,
}

/// What the last report says.
#[derive(Serialize)]
struct LastResult {
    mean_loss_db: Option<f64>,
    verdicts: Vec<String>,
}

/// Answers with all jobs.
pub(super) async fn jobs(State(desk): State<Arc<Desk>>) -> Answer<Jobs> {
    answer(move || Ok(list(&desk.root))).await
}

fn list(root: &Path) -> Jobs {
    let folder = own_name(root);
    if is_session(root) {
        return Jobs { folder, single: true, jobs: vec![row(root, HERE)] };
    }
    let entries = std::fs::read_dir(root).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| is_plain(name) && is_session(&root.join(name)))
        // A link out of the folder is no job of it.
        .filter(|name| resolve(root, &root.join(name), "").is_ok())
        .take(MOST_FOLDERS)
        .collect();
    names.sort();
    let jobs = names.par_iter().map(|name| row(&root.join(name), name)).collect();
    Jobs { folder, single: false, jobs }
}

fn row(folder: &Path, id: &str) -> JobRow {
    let mut row = JobRow {
        id: id.to_owned(),
        title: own_name(folder),
        result: last_result(folder),
        ..JobRow::default()
    };
    match Session::open(folder) {
        Err(error) => row.problem = Some(with_causes(&error)),
        Ok(session) => {
            let manifest = &session.manifest;
            row.title.clone_from(&manifest.session.title);
            row.date = manifest.session.date.map(|d| d.to_string());
            row.sheet.clone_from(&manifest.screen.name);
            row.client.clone_from(&manifest.handover.client);
            row.n_seats = manifest.seat.len();
            row.n_takes = session.takes.len();
            row.seats_done = [Condition::Without, Condition::With].map(|c| seats_with(&session, c));
        }
    }
    row
}

fn seats_with(session: &Session, condition: Condition) -> usize {
    let takes = session.takes.iter();
    let seats: BTreeSet<usize> = takes
        .filter(|t| t.condition == condition && t.source == SoundSource::Centre)
        .map(|t| t.seat)
        .collect();
    seats.len()
}

/// The figures of the last report, as they stand in its document.
fn last_result(folder: &Path) -> Option<LastResult> {
    let document: Value = serde_json::from_slice(&result_bytes(folder)?).ok()?;
    let claims = document["claims"].as_array().cloned().unwrap_or_default();
    let verdict = |claim: &Value| claim["verdict"].as_str().map(str::to_owned);
    Some(LastResult {
        mean_loss_db: document["headline"]["mean_loss_db"].as_f64(),
        verdicts: claims.iter().filter_map(verdict).collect(),
    })
}
