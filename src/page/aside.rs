//! Takes put aside: undone, not deleted. They lie in `takes/aside/`, where nothing reads them.

use super::board::{Board, build};
use super::refusal::Refusal;
use super::request::{Answer, Job};
use super::words::fill;
use crate::import::{ORIGIN_FILE, Origin, origins, write_origins};
use crate::ingest::error::shown;
use crate::ingest::manifest::Condition;
use crate::ingest::session::Session;
use crate::ingest::takes::TAKES_FOLDER;
use crate::ingest::takes::paths::{inside, resolve};
use crate::staging::{Staging, hold_interruption};
use axum::Json;
use axum::http::StatusCode;
use serde::Deserialize;
use std::path::Path;

/// Folder in `takes/`.
const ASIDE: &str = "aside";

/// Which take.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Undo {
    /// File as the board names it.
    file: String,
    spots: Option<u32>,
}

/// Puts one take aside.
pub(super) async fn aside(job: Job, Json(undo): Json<Undo>) -> Answer<Board> {
    job.answer(move |desk, folder| {
        {
            let _writing = desk.writing();
            let session = Session::open(&folder)?;
            if !session.manifest.take.is_empty() {
                return Err(Refusal::say(StatusCode::CONFLICT, "error.takes_listed"));
            }
            let file = Path::new(&undo.file);
            // Only what the session takes for a take of its own.
            let take = session.takes.iter().find(|t| t.file == file);
            let take = take.ok_or_else(|| Refusal::say(StatusCode::NOT_FOUND, "error.no_take"))?;
            not_lent(&session, take.condition)?;
            let mut rows = origins(&session.root)?;
            let staging = Staging::inside(&session.root)?;
            let _whole = hold_interruption();
            set_aside(&session, &take.file, &mut rows)?;
            let list = staging.at(ORIGIN_FILE);
            write_origins(&list, &rows)?;
            std::fs::rename(list, session.root.join(TAKES_FOLDER).join(ORIGIN_FILE))?;
        }
        build(desk, &folder, undo.spots)
    })
    .await
}

/// Refuses to touch the takes without a screen where another session lends them.
pub(super) fn not_lent(session: &Session, condition: Condition) -> Result<(), Refusal> {
    match &session.without_from {
        Some(other) if condition == Condition::Without => {
            let of = [("title", other.title.as_str()), ("folder", &shown(&other.folder))];
            Err(Refusal::new(StatusCode::CONFLICT, fill("error.lent", &of)))
        }
        _ => Ok(()),
    }
}

/// Moves the take `file` into `takes/aside/` under a name that is free there, and its row with it.
///
/// # Errors
/// The disk's, and a folder that is a link out of the session.
pub(super) fn set_aside(
    session: &Session,
    file: &Path,
    rows: &mut [Origin],
) -> Result<(), Refusal> {
    inside(&session.root, file, "")?;
    let folder = session.root.join(TAKES_FOLDER).join(ASIDE);
    std::fs::create_dir_all(&folder)?;
    resolve(&session.root, &folder, "")?;
    let part = |part: Option<&std::ffi::OsStr>| {
        part.map_or_else(String::new, |p| p.to_string_lossy().into_owned())
    };
    let (name, stem) = (part(file.file_name()), part(file.file_stem()));
    let names = std::iter::once(name.clone()).chain((2..).map(|n| format!("{stem}-{n}.wav")));
    let free = names.into_iter().find(|name| folder.join(name).symlink_metadata().is_err());
    let free = free.unwrap_or_else(|| name.clone());
    std::fs::rename(session.root.join(file), folder.join(&free))?;
    for row in rows.iter_mut().filter(|row| row.take == name) {
        row.take = format!("{ASIDE}/{free}");
    }
    Ok(())
}
