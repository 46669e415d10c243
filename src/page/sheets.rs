//! What each sheet did over all jobs, the choice for the next room, and one room measured twice.

use super::desk::{Desk, Papers};
use super::place::job_folder;
use super::refusal::Refusal;
use super::request::{Answer, answer};
use super::words::word;
use crate::ingest::manifest;
use crate::job;
use crate::jobs::again::again;
use crate::jobs::choose::choose;
use crate::jobs::collect::{Collected, Work, collect};
use crate::jobs::described::{Described, begun};
use crate::jobs::room::{Room, RoomPower};
use crate::jobs::sheets::{NameRules, SheetOverRooms, sheets_over_jobs};
use crate::jobs::told::{
    again_files, again_statement, choice_files, choice_statement, sheets_files, sheets_statement,
};
use axum::Json;
use axum::extract::State;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What the first screen shows, from reports that are up to date alone.
#[derive(Serialize)]
pub(super) struct Overview {
    /// Finished jobs whose report is that of their files.
    n_jobs: usize,
    /// Jobs that would have to be analysed first.
    n_stale: usize,
    sheets: Vec<SheetRow>,
    alike: Vec<[String; 2]>,
}

/// One sheet in short.
#[derive(Serialize)]
struct SheetRow {
    name: String,
    n_rooms: usize,
    mean_loss_db: Option<f64>,
    u95_db: Option<f64>,
    between_db: Option<f64>,
    kept: usize,
    broken: usize,
    n_claims: usize,
    bias_db: Option<f64>,
    bias_u95_db: Option<f64>,
    too_good: bool,
}

impl SheetRow {
    fn of(sheet: &SheetOverRooms) -> Self {
        let (mean, bias) = (sheet.mean_loss_db, sheet.bias.as_ref());
        Self {
            name: sheet.name.clone(),
            n_rooms: sheet.rooms.len(),
            mean_loss_db: mean.map(|m| m.mean),
            u95_db: mean.and_then(|m| m.u95),
            between_db: mean.and_then(|m| m.between_sd),
            kept: sheet.claims.kept,
            broken: sheet.claims.broken,
            n_claims: sheet.claims.kept + sheet.claims.broken + sheet.claims.open,
            bias_db: bias.map(|b| b.difference_db.mean),
            bias_u95_db: bias.and_then(|b| b.difference_db.u95),
            too_good: bias.is_some_and(|b| b.too_good),
        }
    }
}

/// The overview; nothing is analysed for it.
pub(super) async fn overview(State(desk): State<Arc<Desk>>) -> Answer<Overview> {
    answer(move || {
        let stale = AtomicUsize::new(0);
        let collected = collect(
            std::slice::from_ref(&desk.root),
            &Work {
                analyze: &|_| Err(String::new()),
                begin: &|n| stale.store(n, Ordering::Relaxed),
                tick: &|| (),
            },
        );
        let over = sheets_over_jobs(&collected.jobs, &NameRules::default())?;
        Ok(Overview {
            n_jobs: collected.jobs.len(),
            n_stale: stale.into_inner(),
            sheets: over.sheets.iter().map(SheetRow::of).collect(),
            alike: over.alike,
        })
    })
    .await
}

/// The papers about all sheets; jobs that changed are analysed first.
pub(super) async fn sheets(
    State(desk): State<Arc<Desk>>,
    Json(rules): Json<NameRules>,
) -> Answer<Papers> {
    answer(move || {
        let collected = all_jobs(&desk);
        let over = sheets_over_jobs(&collected.jobs, &rules)?;
        if over.sheets.is_empty() {
            return Err(Refusal::bad(word("error.no_sheets")));
        }
        let mut statements = sheets_statement(&over);
        statements.extend(collected.notes());
        Ok(desk.papers(sheets_files(&over)?, statements))
    })
    .await
}

/// What is known of the next room, and further sheets.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AskChoice {
    /// The job whose manifest describes the room.
    job: Option<String>,
    gap_m: Option<f64>,
    /// Metres from the sheet, metres beside its axis.
    #[serde(default)]
    seats_m: Vec<[f64; 2]>,
    width_m: Option<f64>,
    height_m: Option<f64>,
    projector_lm: Option<f64>,
    power_w: Option<f64>,
    amplifier_w: Option<f64>,
    driver_limit_w: Option<f64>,
    driver_band_hz: Option<[f64; 2]>,
    /// Described sheets, as `choose --sheet` takes them.
    #[serde(default)]
    sheets: Vec<String>,
}

/// Ranks the known sheets.
pub(super) async fn choice(
    State(desk): State<Arc<Desk>>,
    Json(ask): Json<AskChoice>,
) -> Answer<Papers> {
    answer(move || {
        let room = room(&desk.root, &ask)?;
        let mut described = Vec::new();
        for (i, text) in ask.sheets.iter().enumerate() {
            let sheet = Described::parse(text);
            described.push(sheet.map_err(|e| Refusal::from(e).at(format!("sheets[{i}]")))?);
        }
        let collected = all_jobs(&desk);
        described.extend(begun(&collected));
        let choice = choose(&collected.jobs, &described, room, &NameRules::default())?;
        if choice.candidates.is_empty() {
            return Err(Refusal::bad(word("error.no_sheets")));
        }
        Ok(desk.papers(choice_files(&choice)?, choice_statement(&choice)))
    })
    .await
}

/// The manifest's room, with what was typed in its place.
fn room(root: &Path, ask: &AskChoice) -> Result<Room, Refusal> {
    let room = match &ask.job {
        None => Room::default(),
        Some(job) => Room::of_manifest(&manifest::load(&job_folder(root, job)?)?.0),
    };
    let typed = Room {
        gap_m: ask.gap_m,
        seats: Vec::new(),
        width_m: ask.width_m,
        height_m: ask.height_m,
        projector_lm: ask.projector_lm,
        nearest_m: None,
        power: RoomPower {
            power_w: ask.power_w,
            amplifier_w: ask.amplifier_w,
            driver_limit_w: ask.driver_limit_w,
            driver_band_hz: ask.driver_band_hz,
        },
    };
    Ok(room.with_typed(&typed, &ask.seats_m)?)
}

/// The papers about one room measured twice: the first job is the older one.
pub(super) fn same_room(desk: &Desk, jobs: &[String]) -> Result<Papers, Refusal> {
    let [old, new] = jobs else { return Err(Refusal::bad(word("error.two_of_one_room"))) };
    let folders = [job_folder(&desk.root, old)?, job_folder(&desk.root, new)?];
    let collected = collect_with(&folders);
    let find = |folder| collected.job(folder).map_err(|why| Refusal::bad(why.unwrap_or_default()));
    let found = again(&find(&folders[0])?.result, &find(&folders[1])?.result, true);
    if found.seats.is_empty() {
        return Err(Refusal::bad(word("error.no_common_seat")));
    }
    Ok(desk.papers(again_files(&found)?, again_statement(&found)))
}

fn all_jobs(desk: &Desk) -> Collected {
    collect_with(std::slice::from_ref(&desk.root))
}

fn collect_with(folders: &[PathBuf]) -> Collected {
    collect(folders, &Work { analyze: &job::analyze, begin: &|_| (), tick: &|| () })
}
