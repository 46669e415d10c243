//! `scrimcheck compare JOBS/`: what each sheet did over all jobs.

use super::args::CompareArgs;
use super::failure::Failure;
use super::progress::progress;
use super::shared_args::{AnswerArgs, NamingArgs};
use super::terminal;
use crate::ingest::error::shown;
use crate::job;
use crate::jobs::collect::{Collected, Work, collect};
use crate::jobs::names::NamePair;
use crate::jobs::sheets::{NameRules, sheets_over_jobs};
use crate::jobs::told::{sheets_files, sheets_table};
use crate::report::error::ReportError;
use crate::report::output::OutputFolder;
use crate::report::plots::render::NamedFile;
use indicatif::ProgressBar;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::OnceLock;

/// Reads all jobs, tells what each sheet did, and writes it where asked.
///
/// # Errors
/// [`Failure`] when there is nothing to tell, a name is unknown, or the folder cannot be written.
pub fn compare_jobs(args: &CompareArgs) -> Result<ExitCode, Failure> {
    if !args.sheets.is_empty() {
        return Err(Failure::usage(
            "a sheet that is only described did nothing in any room; hold it against the measured \
             ones with scrimcheck choose --sheet ...",
        ));
    }
    let rules = name_rules(&args.naming)?;
    let folder = args.answer.folder()?;
    let collected = collect_jobs(&args.sessions);
    let over = sheets_over_jobs(&collected.jobs, &rules).map_err(Failure::usage)?;
    if over.sheets.is_empty() {
        let n = collected.found.sessions.len();
        return Err(Failure::compare(format!(
            "none of the {n} sessions is finished and names its sheet; write screen.name into \
             their session.toml, and see what is said of each above"
        )));
    }
    let table = || sheets_table(&over);
    answer(|| sheets_files(&over), "sheets", table, folder, &args.answer)
}

/// Prints an answer and writes its files where asked.
///
/// # Errors
/// [`Failure`] when either cannot be written.
pub fn answer(
    files: impl FnOnce() -> Result<Vec<NamedFile>, ReportError>,
    name: &str,
    table: impl Fn() -> String,
    folder: Option<OutputFolder>,
    &AnswerArgs { json, csv, ref out, .. }: &AnswerArgs,
) -> Result<ExitCode, Failure> {
    // Plots and papers take their time: only where somebody wants one of the files.
    let wanted = folder.is_some() || json || csv;
    let files = if wanted { files()? } else { Vec::new() };
    let file = |ending: &str| {
        let wanted = format!("{name}.{ending}");
        let bytes = files.iter().find(|(n, _)| *n == wanted).map(|(_, b)| b.as_slice());
        String::from_utf8_lossy(bytes.unwrap_or_default()).into_owned()
    };
    let text = match (json, csv) {
        (true, _) => file("json"),
        (_, true) => file("csv"),
        _ => table(),
    };
    if let Some(mut folder) = folder {
        for (name, bytes) in &files {
            folder.write(name, bytes)?;
        }
        folder.publish()?;
    }
    terminal::print(&text)?;
    if let Some(out) = out.as_ref().filter(|_| !json && !csv) {
        terminal::print(&format!("\nWritten to: {}\n", shown(out)))?;
    }
    Ok(ExitCode::SUCCESS)
}

/// All jobs below the folders, with progress; what happened on the way goes to standard error.
pub fn collect_jobs(roots: &[PathBuf]) -> Collected {
    let bar = OnceLock::new();
    let collected = collect(
        roots,
        &Work {
            analyze: &job::analyze,
            begin: &|n| drop(bar.set(progress("jobs", n))),
            tick: &|| bar.get().into_iter().for_each(|bar: &ProgressBar| bar.inc(1)),
        },
    );
    bar.get().into_iter().for_each(ProgressBar::finish_and_clear);
    for note in collected.notes() {
        terminal::complain(&format!("{note}\n"));
    }
    collected
}

/// Typed pairs of names.
///
/// # Errors
/// [`Failure::Usage`] for a text that is no pair.
pub fn name_rules(args: &NamingArgs) -> Result<NameRules, Failure> {
    let pairs = |texts: &[String]| {
        texts
            .iter()
            .map(|t| NamePair::parse(t))
            .collect::<Result<Vec<_>, _>>()
            .map_err(Failure::usage)
    };
    Ok(NameRules {
        same: pairs(&args.same)?,
        distinct: pairs(&args.distinct)?,
        with_names: args.with_names,
    })
}
