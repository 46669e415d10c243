//! Recordings dropped on the board become takes, as `import` makes them.

use super::board::condition_of;
use super::place::{is_plain, names_are_plain, outside};
use super::refusal::Refusal;
use super::request::{Answer, Job};
use super::upload::to_disk;
use super::words::word;
use crate::import::json::document;
use crate::import::{ImportError, ImportOptions, PlanOptions, survey, write};
use crate::ingest::session::Session;
use axum::Json;
use axum::body::Body;
use axum::extract::Query;
use axum::http::HeaderMap;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::path::PathBuf;

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

/// What the folder of a job's uploads is called.
const DROPPED: &str = "dropped";

/// Takes one recording; a second of the same name replaces the first.
pub(super) async fn upload(
    job: Job,
    Query(named): Query<Named>,
    headers: HeaderMap,
    body: Body,
) -> Answer<Taken> {
    job.folder()?;
    if !is_plain(&named.name) {
        return Err(outside());
    }
    let folder = job.hidden_folder(DROPPED);
    tokio::fs::create_dir_all(&folder).await?;
    let path = folder.join(&named.name);
    if path.symlink_metadata().is_ok() {
        tokio::fs::remove_file(&path).await?;
    }
    let bytes = to_disk(body, &headers, &path, MOST_BYTES).await?;
    Ok(Json(Taken { name: named.name, bytes }))
}

/// Looks for the sweeps, says where they belong, and writes the takes when told so.
pub(super) async fn bring_in(job: Job, Json(ask): Json<BringIn>) -> Answer<Value> {
    let uploads = job.hidden_folder(DROPPED);
    job.answer(move |desk, folder| {
        if ask.names.is_empty() || !ask.names.iter().all(|name| is_plain(name)) {
            return Err(Refusal::bad(word("error.form")));
        }
        let recordings: Vec<PathBuf> = ask.names.iter().map(|name| uploads.join(name)).collect();
        let session = Session::open(&folder)?;
        names_are_plain(&session)?;
        let options = options(&ask)?;
        let refused = |error: ImportError| Refusal::from(error).hiding(&uploads);
        let survey = survey(&session, &recordings, &options, &|_| ()).map_err(refused)?;
        let mut written = Vec::new();
        if ask.yes {
            if let Some([problem, advice]) = &survey.refusal {
                return Err(Refusal::bad(format!("{problem}; {advice}.")));
            }
            let _writing = desk.writing();
            written = write(&session, &survey, false).map_err(refused)?;
            // Gone with the program at the latest.
            let _ = std::fs::remove_dir_all(&uploads);
        }
        // Our own document, which reads back.
        let mut value: Value =
            serde_json::from_str(&document(&survey, &written, None)).unwrap_or_default();
        for (row, name) in value["recordings"].as_array_mut().into_iter().flatten().zip(&ask.names)
        {
            row["file"] = name.as_str().into();
        }
        Ok(value)
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
