//! `scrimcheck start DIR --seats ...`: a new session folder.

use super::args::StartArgs;
use super::failure::Failure;
use super::{settings, terminal};
use crate::ingest::error::{IngestError, shown};
use crate::start::{StartError, like, start};
use std::process::ExitCode;

/// Makes the folder and says what to do next.
///
/// # Errors
/// [`Failure::Usage`] for seats or a sweep that cannot be used,
/// [`Failure::Job`] when the folder is not free or cannot be written.
pub fn run(args: &StartArgs) -> Result<ExitCode, Failure> {
    let options = settings::start_options(args)?;
    let (seats, options) = match &args.like {
        Some(other) => like(&args.folder, other, options)?,
        None => (args.seats.clone(), options),
    };
    let files = start(&args.folder, &seats, &options).map_err(|error| match error {
        // What was typed is wrong, not a session.
        StartError::Ingest(
            error @ (IngestError::EmptySeatName { .. }
            | IngestError::SeatName { .. }
            | IngestError::SweepParams(_)),
        ) => Failure::usage(error),
        StartError::Ingest(error) => error.into(),
        StartError::Report(error) => error.into(),
    })?;
    let mut text = format!("New session in {}:\n", shown(&args.folder));
    for file in &files {
        text += &format!("  {}\n", shown(file));
    }
    text += "\nPrint the take sheet, fill in session.toml, and record into takes/.\n\
             Start with the volume low and ears protected. Before anything is taken \
             down: scrimcheck check ";
    let folder = shown(&args.folder);
    terminal::print(&format!("{text}{folder}. Last: scrimcheck analyze {folder}\n"))?;
    Ok(ExitCode::SUCCESS)
}
