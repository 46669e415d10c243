//! Takes put aside: undone, not deleted. They lie in `takes/aside/`, where nothing reads them.

use super::board::{Asked, Board, build};
use super::desk::Desk;
use super::place::job_folder;
use super::record::not_lent;
use super::refusal::Refusal;
use super::routes::blocking;
use crate::import::{ORIGIN_FILE, Origin, origins, write_origins};
use crate::ingest::session::Session;
use crate::ingest::takes::TAKES_FOLDER;
use crate::ingest::takes::paths::{inside, resolve};
use crate::staging::{Staging, hold_interruption};
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::Deserialize;
use std::path::Path as FilePath;
use std::sync::Arc;

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
pub(super) async fn aside(
    State(desk): State<Arc<Desk>>,
    Path(job): Path<String>,
    Json(undo): Json<Undo>,
) -> Result<Json<Board>, Refusal> {
    blocking(move || {
        let folder = job_folder(&desk.root, &job)?;
        {
            let _writing = desk.writing();
            let session = Session::open(&folder)?;
            if !session.manifest.take.is_empty() {
                return Err(Refusal::say(StatusCode::CONFLICT, "error.takes_listed"));
            }
            let file = FilePath::new(&undo.file);
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
        build(&desk, &folder, &Asked { spots: undo.spots }).map(Json)
    })
    .await
}

/// Moves the take `file` into `takes/aside/` under a name that is free there, and its row with it.
///
/// # Errors
/// The disk's, and a folder that is a link out of the session.
pub(super) fn set_aside(
    session: &Session,
    file: &FilePath,
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
