//! `scrimcheck compare OLD NEW --same-room`: one room measured twice.

use super::args::CompareArgs;
use super::failure::Failure;
use super::jobs::{answer, collect_jobs};
use crate::ingest::error::shown;
use crate::jobs::again::again;
use crate::jobs::find::is_session;
use crate::jobs::told::{again_files, again_table};
use std::path::Path;
use std::process::ExitCode;

/// Reads both sessions, analyses anew what changed, and tells what changed between them.
///
/// # Errors
/// [`Failure`] when there are not two sessions, one cannot be analysed, or no seat is common.
pub fn run(args: &CompareArgs) -> Result<ExitCode, Failure> {
    let [old, new] = args.sessions.as_slice() else {
        let why = "--same-room needs two sessions: the older one, then the newer one";
        return Err(Failure::usage(why));
    };
    for folder in [old, new] {
        if !is_session(folder) {
            let folder = shown(folder);
            let why = format!("{folder} is no session folder: it holds no session.toml");
            return Err(Failure::compare(why));
        }
    }
    let folder = args.answer.folder()?;
    let collected = collect_jobs(&args.sessions);
    let find = |wanted: &Path| {
        collected.job(wanted).map_err(|why| {
            let why = why.unwrap_or("it is the same session as the other");
            Failure::compare(format!("{}: {why}", shown(wanted)))
        })
    };
    let found = again(&find(old)?.result, &find(new)?.result, args.naming.with_names);
    if found.seats.is_empty() {
        return Err(Failure::compare(format!(
            "{} and {} have no seat in common; give the same seats the same ids",
            shown(old),
            shown(new)
        )));
    }
    let table = || again_table(&found);
    answer(|| again_files(&found), "again", table, folder, &args.answer)
}
