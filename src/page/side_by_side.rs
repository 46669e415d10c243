//! Sessions side by side, as `compare` sets them.

use super::desk::{Desk, Papers};
use super::place::job_folder;
use super::refusal::Refusal;
use super::request::{Answer, answer};
use super::result::served;
use super::sheets::same_room;
use super::words::word;
use crate::analysis::compare::{Summary, compare};
use crate::chain;
use crate::ingest::session::Session;
use crate::report::compare_files::comparison_files;
use crate::report::error::ReportError;
use crate::report::pdf::drawing::Sheet;
use crate::report::words;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use std::sync::Arc;

/// Which jobs.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Which {
    jobs: Vec<String>,
    /// The jobs are one room, measured twice: the older one first.
    #[serde(default)]
    same_room: bool,
}

/// Compares jobs.
pub(super) async fn side_by_side(
    State(desk): State<Arc<Desk>>,
    Json(which): Json<Which>,
) -> Answer<Papers> {
    answer(move || {
        if which.same_room {
            return same_room(&desk, &which.jobs);
        }
        if which.jobs.len() < 2 {
            return Err(Refusal::bad(word("error.two_jobs")));
        }
        let mut summaries = Vec::new();
        for job in &which.jobs {
            let session = Session::open(&job_folder(&desk.root, job)?)?;
            let result = chain::analyze(&session, &|| ())?;
            let document = serde_json::to_value(&result)
                .map_err(|e| ReportError::Encode { what: "JSON", source: e.into() })?;
            let summary = Summary::from_result(job, &document);
            summaries.push(summary?);
        }
        let comparison = words::compare::said(compare(summaries)?);
        let mut files = comparison_files(&comparison, &Sheet::A4)?;
        files.retain(|(name, _)| !name.starts_with("plots/"));
        Ok(desk.papers(files, comparison.words.statement.clone()))
    })
    .await
}

/// One of the papers that were made for a question.
pub(super) async fn paper(
    State(desk): State<Arc<Desk>>,
    Path((number, name)): Path<(u64, String)>,
) -> Result<Response, Refusal> {
    let found = desk.paper(number, &name);
    let bytes = found.ok_or_else(|| Refusal::say(StatusCode::NOT_FOUND, "error.paper_gone"))?;
    Ok(served(&name, bytes))
}
