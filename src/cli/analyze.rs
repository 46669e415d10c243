//! `scrimcheck analyze DIR`: the main job.

use super::args::AnalyzeArgs;
use super::failure::{Failure, NOT_SHOWN};
use super::progress::Progress;
use super::terminal;
use super::unimported::open_with_hint;
use crate::analysis::claims::Verdict;
use crate::chain::{self, Analyzed, ChainError};
use crate::ingest::error::{IngestError, shown};
use crate::ingest::session::Session;
use crate::judge::TakeState;
use crate::report::error::ReportError;
use crate::report::inputs::Inputs;
use crate::report::json::json_text;
use crate::report::output::OutputFolder;
use crate::report::paper::logo::read_logo;
use crate::report::result::SessionResult;
use crate::report::table::table_text;
use crate::report::words;
use crate::report::write::write_report;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::SystemTime;

/// Analyses the session, writes the report, prints the table or the document.
///
/// # Errors
/// [`Failure`] when the session is refused or the report cannot be written;
/// nothing is then left behind.
pub fn run(args: &AnalyzeArgs) -> Result<ExitCode, Failure> {
    let opened = SystemTime::now();
    let session = open_with_hint(&args.session)?;
    let out = match &args.out {
        Some(out) => out.clone(),
        None => usual_place(&args.session)?,
    };
    let result = analyze_into(&session, opened, &out, args.force)?;
    if args.json {
        terminal::print(&String::from_utf8_lossy(&json_text(&result)?))?;
    } else {
        terminal::print(&table_text(&result, terminal::look()))?;
        terminal::print(&format!("\nReport: {}\n", shown(&out)))?;
    }
    let shown = result.claims.iter().all(|claim| claim.verdict == Verdict::Pass)
        && result.takes.iter().all(|take| take.state != TakeState::LeftOut);
    Ok(if args.strict && !shown { ExitCode::from(NOT_SHOWN) } else { ExitCode::SUCCESS })
}

/// `report` in the session folder.
///
/// # Errors
/// As [`place_in`].
pub fn usual_place(session: &Path) -> Result<PathBuf, ReportError> {
    place_in(session, "report")
}

/// A folder of ours in the session folder. A link there that leaves the folder is refused: the
/// folder may come from somebody else, and only `--out` says that the user wants it.
///
/// # Errors
/// [`ReportError::Link`].
pub fn place_in(session: &Path, name: &str) -> Result<PathBuf, ReportError> {
    let place = session.join(name);
    let leaves = match (place.read_link(), place.canonicalize(), session.canonicalize()) {
        (Err(_), ..) => false,
        (_, Ok(real), Ok(folder)) => !real.starts_with(folder),
        // A link to nowhere, or one that cannot be followed.
        _ => true,
    };
    if leaves { Err(ReportError::Link { path: place }) } else { Ok(place) }
}

/// Analyses an opened session and writes the report into `out`, which is looked
/// at first, so that no time is lost on a folder that cannot be used. `opened` is when the opening
/// of the session began.
///
/// # Errors
/// As [`run`].
pub fn analyze_into(
    session: &Session,
    opened: SystemTime,
    out: &Path,
    force: bool,
) -> Result<SessionResult, Failure> {
    report_into(session, opened, out, force, measure).map(|(result, _)| result)
}

/// [`analyze_into`] with another way to `measure`; also the paths of the files.
///
/// # Errors
/// As [`run`].
pub fn report_into(
    session: &Session,
    opened: SystemTime,
    out: &Path,
    force: bool,
    measure: impl FnOnce(&Session) -> Result<SessionResult, Failure>,
) -> Result<(SessionResult, Vec<PathBuf>), Failure> {
    let folder = OutputFolder::open(out, force)?;
    // Read again for the papers; here, so that a bad one is told before the takes are read.
    read_logo(session)?;
    // Without it the next look at all jobs analyses this one again: no reason to end here.
    let inputs = Inputs::look(session, opened).ok();
    let result = measure(session)?;
    let paths = write_report(&result, session, inputs, folder)?;
    Ok((result, paths))
}

/// The result of an opened session, with a progress bar while its takes are read.
///
/// # Errors
/// [`Failure::Chain`] when a take cannot be used.
pub fn measure(session: &Session) -> Result<SessionResult, Failure> {
    measure_keeping(session).map(|analyzed| analyzed.result)
}

/// [`measure`], with the transmissions kept.
///
/// # Errors
/// As [`measure`].
pub fn measure_keeping(session: &Session) -> Result<Analyzed, Failure> {
    let progress = Progress::new("takes", session.takes.len());
    let analyzed = chain::analyze_keeping(session, &|| progress.tick());
    progress.done();
    analyzed.map_err(|error| match (error, session.notices.iter().find(|n| n.file.is_none())) {
        // Nothing was recorded yet, or it was not brought in.
        (ChainError::Ingest(error @ IngestError::NoTakes { .. }), Some(said)) => {
            let said = words::notices::warning(said);
            let hint = format!("{} {}", said.message, said.advice);
            Failure::Unimported { error, hint }
        }
        (error, _) => error.into(),
    })
}
