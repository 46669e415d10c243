//! A new session folder, as `start` makes it.

use super::desk::Desk;
use super::place::{is_plain, outside};
use super::refusal::Refusal;
use super::request::{Answer, answer};
use super::words::word;
use crate::ingest::error::IngestError;
use crate::jobs::find::is_session;
use crate::start::{StartError, StartOptions, start};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// What is asked for.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct NewJob {
    folder: String,
    title: String,
    seats: Vec<String>,
    spots: u32,
}

/// Where it is now.
#[derive(Serialize)]
pub(super) struct Made {
    id: String,
}

/// Makes the folder.
pub(super) async fn new_job(
    State(desk): State<Arc<Desk>>,
    Json(new): Json<NewJob>,
) -> Answer<Made> {
    answer(move || make(&desk, new)).await
}

fn make(desk: &Desk, new: NewJob) -> Result<Made, Refusal> {
    if is_session(&desk.root) {
        return Err(Refusal::say(StatusCode::CONFLICT, "error.single"));
    }
    if !is_plain(&new.folder) {
        return Err(Refusal::bad(word("error.folder_name")).at("folder"));
    }
    if new.title.trim().is_empty() || new.title.chars().any(char::is_control) {
        return Err(Refusal::bad(word("error.title")).at("title"));
    }
    if !(1..=6).contains(&new.spots) {
        return Err(Refusal::bad(word("error.spots")).at("spots"));
    }
    let folder = desk.root.join(&new.folder);
    if folder.parent() != Some(desk.root.as_path()) {
        return Err(outside());
    }
    let options =
        StartOptions { title: Some(new.title), n_spots: new.spots, ..StartOptions::default() };
    let _writing = desk.writing();
    start(&folder, &new.seats, &options).map_err(|error| {
        let error = match error {
            StartError::Ingest(error) => error,
            StartError::Report(error) => return Refusal::from(error),
        };
        let field = match error {
            IngestError::NoSeats => {
                return Refusal::bad(word("error.no_seats")).at("seats");
            }
            IngestError::EmptySeatName { .. } | IngestError::SeatName { .. } => "seats",
            IngestError::Exists { .. } => {
                return Refusal::bad(word("error.folder_taken")).at("folder");
            }
            _ => return Refusal::from(error),
        };
        Refusal::from(error).at(field)
    })?;
    Ok(Made { id: new.folder })
}
