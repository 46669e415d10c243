//! The report: made anew when what it rests on has changed, shown and handed out.

use super::desk::{Desk, Progress};
use super::place::outside;
use super::refusal::Refusal;
use super::request::{Answer, Job};
use super::stamp::inputs;
use super::summary::{File, Summary};
use super::words::word;
use crate::chain;
use crate::ingest::session::Session;
use crate::ingest::takes::paths::inside;
use crate::job::{self, JobError, report_into, usual_place};
use crate::report::html::SCRIPT_HASH;
use axum::body::Body;
use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::path::{Component, Path as FilePath};
use std::sync::atomic::{AtomicUsize, Ordering};
use tokio::io::AsyncReadExt;

/// Largest file of a report that is handed out, bytes.
const MOST_BYTES: u64 = 256 << 20;

/// Answers with the summary, after an analysis where one is needed.
pub(super) async fn result(job: Job) -> Answer<Summary> {
    job.answer(move |desk, folder| {
        // One analysis at a time: it uses all cores, and a second one of the same job finds the first.
        let mut made = desk.made();
        let now = inputs(&folder);
        if let Some(summary) = made.get(&folder).filter(|s| s.inputs == now && is_there(&folder, s))
        {
            return Ok(summary.clone());
        }
        let summary = analyze(desk, &folder, now)?;
        made.insert(folder, summary.clone());
        Ok(summary)
    })
    .await
}

fn is_there(folder: &FilePath, summary: &Summary) -> bool {
    summary.files.iter().all(|file| folder.join("report").join(&file.name).is_file())
}

/// As `analyze` does it.
fn analyze(desk: &Desk, folder: &FilePath, inputs: String) -> Result<Summary, Refusal> {
    let (started, opened) = (std::time::Instant::now(), std::time::SystemTime::now());
    let session = job::open(folder)?;
    let out = usual_place(folder)?;
    let (done, total) = (AtomicUsize::new(0), session.takes.len());
    let tick = || {
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        // Nobody listens where the screen was left.
        let _ = desk.progress.send(Progress { folder: folder.to_owned(), done, total });
    };
    let measure =
        |session: &Session| -> Result<_, JobError> { Ok(chain::analyze(session, &tick)?) };
    let (result, paths) = report_into(&session, opened, &out, false, measure)?;
    let files = paths.iter().filter_map(|path| {
        // Links may have been followed on the way to the report.
        let out = out.canonicalize().unwrap_or_else(|_| out.clone());
        let name = path
            .strip_prefix(&out)
            .ok()
            .or_else(|| path.strip_prefix(folder.join("report")).ok())?;
        let name = name.to_string_lossy().replace('\\', "/");
        Some(File { name, bytes: std::fs::metadata(path).ok()?.len() })
    });
    Ok(Summary::of(&result, inputs, files.collect(), started.elapsed().as_secs_f64()))
}

/// One file of the report; the page in it under a policy of its own, in a box.
pub(super) async fn report_file(
    job: Job,
    Path((_, name)): Path<(String, String)>,
) -> Result<Response, Refusal> {
    let folder = job.folder()?;
    let name = FilePath::new(&name);
    if name.components().any(|step| !matches!(step, Component::Normal(_)))
        || name.to_string_lossy().contains(['\\', ':', '\0'])
    {
        return Err(outside());
    }
    let relative = FilePath::new("report").join(name);
    let known = {
        let made = job.desk.made();
        let text = name.to_string_lossy();
        made.get(&folder).is_some_and(|s| s.files.iter().any(|f| f.name == text))
    };
    if !known {
        return Err(Refusal::say(StatusCode::NOT_FOUND, "error.no_report_file"));
    }
    let path = inside(&folder, &relative, word("error.no_report_file"))?;
    let mut bytes = Vec::new();
    tokio::fs::File::open(path).await?.take(MOST_BYTES).read_to_end(&mut bytes).await?;
    Ok(served(&name.to_string_lossy(), bytes))
}

/// A file under a policy that fits its kind.
pub(super) fn served(name: &str, bytes: Vec<u8>) -> Response {
    let kind = match name.rsplit_once('.').map_or("", |(_, ending)| ending) {
        "html" => "text/html; charset=utf-8",
        "pdf" => "application/pdf",
        "png" => "image/png",
        "svg" => "image/svg+xml",
        "csv" => "text/csv; charset=utf-8",
        "json" => "application/json",
        _ => "application/octet-stream",
    };
    // The paper holds its one script and its style; nothing else may run, and from its box it
    // reaches nothing here.
    let policy = format!(
        "default-src 'none'; img-src data:; font-src data:; style-src 'unsafe-inline'; script-src \
         'sha256-{SCRIPT_HASH}'; base-uri 'none'; form-action 'none'; frame-ancestors 'self'; \
         sandbox allow-scripts"
    );
    let headers =
        [(header::CONTENT_TYPE, kind.to_owned()), (header::CONTENT_SECURITY_POLICY, policy)];
    (headers, Body::from(bytes)).into_response()
}
