//! Requests, worked on beside the server's own threads, and the job that an address names.

use super::desk::Desk;
use super::place::job_folder;
use super::refusal::Refusal;
use super::stamp::fingerprint;
use axum::Json;
use axum::extract::rejection::PathRejection;
use axum::extract::{FromRequestParts, Path};
use axum::http::StatusCode;
use axum::http::request::Parts;
use serde::Deserialize;
use std::path::PathBuf;
use std::sync::Arc;

/// What most handlers give: a document, or why there is none.
pub(super) type Answer<T> = Result<Json<T>, Refusal>;

/// The job of a request, as its address names it.
pub(super) struct Job {
    pub desk: Arc<Desk>,
    name: String,
}

#[derive(Deserialize)]
struct Named {
    job: String,
}

impl FromRequestParts<Arc<Desk>> for Job {
    type Rejection = PathRejection;

    async fn from_request_parts(
        parts: &mut Parts,
        desk: &Arc<Desk>,
    ) -> Result<Self, PathRejection> {
        let Path(Named { job }) = Path::from_request_parts(parts, desk).await?;
        Ok(Self { desk: Arc::clone(desk), name: job })
    }
}

impl Job {
    /// Its folder.
    ///
    /// # Errors
    /// As [`job_folder`].
    pub(super) fn folder(&self) -> Result<PathBuf, Refusal> {
        job_folder(&self.desk.root, &self.name)
    }

    /// Hidden folder of its own for what was sent.
    pub(super) fn hidden_folder(&self, kind: &str) -> PathBuf {
        self.desk.staging.at(format!("{kind}-{}", fingerprint(&self.name)))
    }

    /// Runs `work` on its folder, as [`blocking`] does.
    pub(super) async fn work<T: Send + 'static>(
        self,
        work: impl FnOnce(&Desk, PathBuf) -> Result<T, Refusal> + Send + 'static,
    ) -> Result<T, Refusal> {
        blocking(move || work(&self.desk, self.folder()?)).await
    }

    /// What `work` makes of its folder, as a document.
    pub(super) async fn answer<T: Send + 'static>(
        self,
        work: impl FnOnce(&Desk, PathBuf) -> Result<T, Refusal> + Send + 'static,
    ) -> Answer<T> {
        self.work(work).await.map(Json)
    }
}

/// What `work` gives, as a document.
pub(super) async fn answer<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Answer<T> {
    blocking(work).await.map(Json)
}

/// Runs what takes its time, or waits for the disk, beside the server's own threads.
///
/// # Errors
/// What `work` refuses; a mistake of this program in it is told, and the page lives on.
pub(super) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| Err(Refusal::say(StatusCode::INTERNAL_SERVER_ERROR, "error.mistake")))
}
