//! What happens in a job, as a stream: progress of an analysis, and changes in the folder.

use super::desk::Progress;
use super::refusal::Refusal;
use super::request::Job;
use super::stamp::inputs;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::Stream;
use futures_util::stream::unfold;
use serde_json::json;
use std::convert::Infallible;
use std::path::PathBuf;
use std::time::Duration;
use tokio::sync::broadcast::{Receiver, error::RecvError};

/// How often the folder is looked at, s.
const LOOK_S: f64 = 1.0;

struct Watch {
    folder: PathBuf,
    seen: String,
    progress: Receiver<Progress>,
}

/// The stream of one job.
pub(super) async fn events(
    job: Job,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Refusal> {
    let folder = job.folder()?;
    let seen = inputs(&folder);
    let watch = Watch { folder, seen, progress: job.desk.progress.subscribe() };
    Ok(Sse::new(unfold(watch, next)).keep_alive(KeepAlive::default()))
}

async fn next(mut watch: Watch) -> Option<(Result<Event, Infallible>, Watch)> {
    loop {
        let pause = tokio::time::sleep(Duration::from_secs_f64(LOOK_S));
        tokio::select! {
            () = pause => {
                let folder = watch.folder.clone();
                let now = tokio::task::spawn_blocking(move || inputs(&folder)).await.ok()?;
                if now != watch.seen {
                    watch.seen = now;
                    return Some((Ok(Event::default().event("changed").data("{}")), watch));
                }
            }
            told = watch.progress.recv() => match told {
                Ok(told) if told.folder == watch.folder => {
                    let data = json!({ "done": told.done, "total": told.total }).to_string();
                    return Some((Ok(Event::default().event("progress").data(data)), watch));
                }
                Ok(_) | Err(RecvError::Lagged(_)) => {}
                Err(RecvError::Closed) => return None,
            }
        }
    }
}
