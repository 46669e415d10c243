//! `scrimcheck analyze DIR`: the main job.

use super::args::AnalyzeArgs;
use super::failure::{Failure, NOT_SHOWN};
use super::progress::progress;
use super::terminal;
use crate::analysis::claims::Verdict;
use crate::chain::{self, Analyzed, ChainError};
use crate::ingest::error::{IngestError, shown};
use crate::ingest::session::Session;
use crate::job::{self, JobError, report_into, usual_place};
use crate::judge::TakeState;
use crate::report::json::json_text;
use crate::report::result::SessionResult;
use crate::report::table::table_text;
use crate::report::words;
use std::process::ExitCode;
use std::time::SystemTime;

/// Analyses the session, writes the report, prints the table or the document.
///
/// # Errors
/// [`Failure`] when the session is refused or the report cannot be written;
/// nothing is then left behind.
pub fn run(args: &AnalyzeArgs) -> Result<ExitCode, Failure> {
    let opened = SystemTime::now();
    let session = job::open(&args.session)?;
    let out = match &args.out {
        Some(out) => out.clone(),
        None => usual_place(&args.session)?,
    };
    let (result, _) = report_into(&session, opened, &out, args.force, measure)?;
    print_result(&result, args.json, &format!("Report: {}", shown(&out)))?;
    let shown = result.claims.iter().all(|claim| claim.verdict == Verdict::Pass)
        && result.takes.iter().all(|take| take.state != TakeState::LeftOut);
    Ok(if args.strict && !shown { ExitCode::from(NOT_SHOWN) } else { ExitCode::SUCCESS })
}

/// Prints the document, or the table and then where everything lies.
///
/// # Errors
/// [`Failure::Print`].
pub fn print_result(result: &SessionResult, json: bool, places: &str) -> Result<(), Failure> {
    if json {
        return terminal::print(&String::from_utf8_lossy(&json_text(result)?));
    }
    terminal::print(&table_text(result, terminal::look()))?;
    terminal::print(&format!("\n{places}\n"))
}

/// The result of an opened session, with a progress bar while its takes are read.
///
/// # Errors
/// [`Failure::Job`] when a take cannot be used.
pub fn measure(session: &Session) -> Result<SessionResult, Failure> {
    measure_keeping(session).map(|analyzed| analyzed.result)
}

/// [`measure`], with the transmissions kept.
///
/// # Errors
/// As [`measure`].
pub fn measure_keeping(session: &Session) -> Result<Analyzed, Failure> {
    let bar = progress("takes", session.takes.len());
    let analyzed = chain::analyze_keeping(session, &|| bar.inc(1));
    bar.finish_and_clear();
    analyzed.map_err(|error| match (error, session.notices.iter().find(|n| n.file.is_none())) {
        // Nothing was recorded yet, or it was not brought in.
        (ChainError::Ingest(error @ IngestError::NoTakes { .. }), Some(said)) => {
            let said = words::notices::warning(said);
            let hint = format!("{} {}", said.message, said.advice);
            JobError::Unimported { error, hint }.into()
        }
        (error, _) => error.into(),
    })
}
