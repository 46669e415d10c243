//! Recordings dropped on the board become takes, as `import` makes them.

use super::board::condition_of;
use super::desk::Desk;
use super::place::{is_plain, job_folder, outside};
use super::record::names_are_plain;
use super::refusal::Refusal;
use super::routes::blocking;
use super::upload::to_disk;
use super::words::word;
use crate::import::json::document;
use crate::import::{ImportOptions, PlanOptions, survey, write};
use crate::ingest::session::Session;
use axum::Json;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::path::PathBuf;
use std::sync::Arc;

/// Largest recording that is dropped: four hours in stereo, 24 bits, 48 kHz.
const MOST_BYTES: u64 = 4 << 30;

/// Name of an upload.
#[derive(Deserialize)]
pub(super) struct Named {
    name: String,
}

/// What was taken.
#[derive(Serialize)]
pub(super) struct Taken {
    name: String,
    bytes: u64,
}

/// What is to become of the uploads.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BringIn {
    names: Vec<String>,
    #[serde(default)]
    conditions: Vec<String>,
    #[serde(default)]
    control: bool,
    #[serde(default)]
    seats: Vec<String>,
    spots: Option<u32>,
    /// Whether takes are written; else the table alone.
    #[serde(default)]
    yes: bool,
}

/// Folder of the uploads of a job.
fn folder_of(desk: &Desk, job: &str) -> PathBuf {
    let mut hasher = DefaultHasher::new();
    job.hash(&mut hasher);
    desk.staging.at(format!("dropped-{:016x}", hasher.finish()))
}

/// Takes one recording; a second of the same name replaces the first.
pub(super) async fn upload(
    State(desk): State<Arc<Desk>>,
    Path(job): Path<String>,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Result<Json<Taken>, Refusal> {
    job_folder(&desk.root, &job)?;
    if !is_plain(&named.name) {
        return Err(outside());
    }
    let folder = folder_of(&desk, &job);
    tokio::fs::create_dir_all(&folder).await?;
    let path = folder.join(&named.name);
    if path.symlink_metadata().is_ok() {
        tokio::fs::remove_file(&path).await?;
    }
    let bytes = to_disk(body, &headers, &path, MOST_BYTES).await?;
    Ok(Json(Taken { name: named.name, bytes }))
}

/// Looks for the sweeps, says where they belong, and writes the takes when told so.
pub(super) async fn bring_in(
    State(desk): State<Arc<Desk>>,
    Path(job): Path<String>,
    Json(ask): Json<BringIn>,
) -> Result<Json<Value>, Refusal> {
    blocking(move || {
        let folder = job_folder(&desk.root, &job)?;
        let uploads = folder_of(&desk, &job);
        if ask.names.is_empty() || !ask.names.iter().all(|name| is_plain(name)) {
            return Err(Refusal::bad(word("error.form")));
        }
        let recordings: Vec<PathBuf> = ask.names.iter().map(|name| uploads.join(name)).collect();
        let session = Session::open(&folder)?;
        names_are_plain(&session)?;
        let options = options(&ask)?;
        let survey = survey(&session, &recordings, &options, &|_| ())?;
        let mut written = Vec::new();
        if ask.yes {
            if let Some([problem, advice]) = &survey.refusal {
                return Err(Refusal::bad(format!("{problem}; {advice}.")));
            }
            let _writing = desk.writing();
            written = write(&session, &survey, false)?;
            // Gone with the program at the latest.
            let _ = std::fs::remove_dir_all(&uploads);
        }
        // Our own document, which reads back.
        let mut value: Value =
            serde_json::from_str(&document(&survey, &written, None)).unwrap_or_default();
        // Where it lies on the server is nobody's business.
        for (row, name) in value["recordings"].as_array_mut().into_iter().flatten().zip(&ask.names)
        {
            row["file"] = name.as_str().into();
        }
        Ok(Json(value))
    })
    .await
}

fn options(ask: &BringIn) -> Result<ImportOptions, Refusal> {
    let conditions =
        ask.conditions.iter().map(|word| condition_of(word)).collect::<Option<Vec<_>>>();
    let conditions = conditions.ok_or_else(|| Refusal::bad(word("error.form")))?;
    let plan = PlanOptions {
        conditions,
        control: ask.control,
        seats: ask.seats.clone(),
        spots: ask.spots,
    };
    Ok(ImportOptions { plan, channel: None })
}
