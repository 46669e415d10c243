//! `scrimcheck import DIR RECORDING...`: takes out of what a recorder gives.

use super::args::ImportArgs;
use super::check;
use super::failure::{Failure, NOT_SHOWN};
use super::import_table::table_text;
use super::progress::progress;
use super::terminal;
use crate::import::formats::Source;
use crate::import::json::document;
use crate::import::{
    ImportError, ImportOptions, PlanOptions, RECORDING_ENDINGS, Survey, survey, write,
};
use crate::ingest::error::{IngestError, shown};
use crate::ingest::manifest::Condition;
use crate::ingest::session::Session;
use std::cell::Cell;
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Finds the sweeps, shows where they belong, asks, writes the takes and checks them.
///
/// # Errors
/// [`Failure`] where recordings or session cannot be used, the number of sweeps does not fit, or
/// the takes cannot be written; nothing is then left behind. Exit status 1 when a take must be
/// made again.
pub fn run(args: &ImportArgs) -> Result<ExitCode, Failure> {
    let session = Session::open(&args.session)?;
    let recordings = recordings(&args.recordings)?;
    let survey = listen(&session, &recordings, &options(args))?;
    if !args.json {
        terminal::print(&table_text(&survey, terminal::look()))?;
    }
    let stop = refusal(args, &survey);
    let writes = stop.is_none() && !args.dry_run;
    if writes && !args.json && !args.yes && !agreed(&survey)? {
        terminal::print("Nothing was written.\n")?;
        return Ok(ExitCode::SUCCESS);
    }
    let written = if writes { write(&session, &survey, args.force)? } else { Vec::new() };
    if args.json {
        return finish_json(args, &survey, &written, stop);
    }
    if let Some(failure) = stop {
        return Err(failure);
    }
    if args.dry_run {
        terminal::print("Nothing was written (--dry-run).\n")?;
        return Ok(ExitCode::SUCCESS);
    }
    let place = shown(&args.session.join("takes"));
    terminal::print(&format!("{} takes were written to {place}.\n\n", written.len()))?;
    let (text, must_repeat) = check::judged_text(&args.session, false)?;
    terminal::print(&text)?;
    Ok(if must_repeat { ExitCode::from(NOT_SHOWN) } else { ExitCode::SUCCESS })
}

/// Why nothing may be written, whatever the user says.
fn refusal(args: &ImportArgs, survey: &Survey) -> Option<Failure> {
    if let Some([problem, advice]) = &survey.refusal {
        let problem = format!("{problem}; nothing was written");
        return Some(ImportError::Plan { problem, advice: advice.clone() }.into());
    }
    // Whoever says the order has thought of it; whoever is asked can say no.
    let is_asked = !args.yes && !args.json;
    if let Some(doubt) = &survey.order_doubt
        && args.seats.is_empty()
        && !(is_asked && on_terminal())
        && !args.dry_run
    {
        let problem = format!("the order of the seats is in doubt: {doubt}; nothing was written");
        let advice = "say --seats in the order in which they were recorded".into();
        return Some(ImportError::Plan { problem, advice }.into());
    }
    None
}

fn finish_json(
    args: &ImportArgs,
    survey: &Survey,
    written: &[String],
    stop: Option<Failure>,
) -> Result<ExitCode, Failure> {
    let checked =
        if written.is_empty() { None } else { Some(check::judged_text(&args.session, true)?) };
    let must_repeat = checked.as_ref().is_some_and(|c| c.1);
    // Our own document, which reads back.
    let check = checked.and_then(|(text, _)| serde_json::from_str(&text).ok());
    terminal::print(&document(survey, written, check))?;
    match stop {
        Some(failure) => Err(failure),
        None if must_repeat => Ok(ExitCode::from(NOT_SHOWN)),
        None => Ok(ExitCode::SUCCESS),
    }
}

fn on_terminal() -> bool {
    io::stdin().is_terminal() && io::stderr().is_terminal()
}

/// Asks on a terminal; elsewhere nobody can answer.
fn agreed(survey: &Survey) -> Result<bool, Failure> {
    let n = survey.n_takes();
    if !on_terminal() {
        return Err(Failure::usage("nothing was written: look at the table and say --yes"));
    }
    let doubt =
        if survey.order_doubt.is_some() { "The order of the seats is in doubt. " } else { "" };
    terminal::complain(&format!("{doubt}Write these {n} takes? [y/N] "));
    let _ = io::stderr().flush();
    let mut answer = String::new();
    // No answer is a no.
    let _ = io::stdin().read_line(&mut answer);
    Ok(matches!(answer.trim().to_lowercase().as_str(), "y" | "yes" | "j" | "ja"))
}

fn options(args: &ImportArgs) -> ImportOptions {
    let conditions = args.condition.iter().map(|c| Condition::from(*c)).collect();
    ImportOptions {
        plan: PlanOptions {
            conditions,
            control: args.control,
            seats: args.seats.clone(),
            spots: args.spots,
        },
        channel: args.channel.map(usize::from),
    }
}

/// The recordings that were named; a folder stands for those in it, in the order of names.
fn recordings(named: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut recordings = Vec::new();
    for path in named {
        if !path.is_dir() {
            recordings.push(path.clone());
            continue;
        }
        let read = |source| IngestError::Read { path: path.clone(), source };
        let mut inside = Vec::new();
        for entry in std::fs::read_dir(path).map_err(read)? {
            let file = entry.map_err(read)?.path();
            if is_recording(&file) {
                inside.push(file);
            }
        }
        if inside.is_empty() {
            return Err(ImportError::Recording {
                path: path.clone(),
                problem: "there is no recording in this folder".into(),
                advice: "name the recordings, or the folder that holds them".into(),
            }
            .into());
        }
        inside.sort_by_key(|file| natural(file));
        recordings.extend(inside);
    }
    Ok(recordings)
}

fn is_recording(path: &Path) -> bool {
    let hidden = path.file_name().is_none_or(|n| n.to_string_lossy().starts_with('.'));
    let known = path
        .extension()
        .is_some_and(|e| RECORDING_ENDINGS.iter().any(|ending| e.eq_ignore_ascii_case(ending)));
    !hidden && known && path.is_file()
}

/// A name such that `take 10` comes after `take 9`.
fn natural(path: &Path) -> Vec<(u64, String)> {
    let name = path.file_name().map(|n| n.to_string_lossy().to_lowercase()).unwrap_or_default();
    let mut parts = Vec::new();
    let mut rest = name.as_str();
    while !rest.is_empty() {
        let word = rest.find(|c: char| c.is_ascii_digit()).unwrap_or(rest.len());
        let after = &rest[word..];
        let digits = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
        parts.push((0, rest[..word].to_owned()));
        parts.push((after[..digits].parse().unwrap_or(u64::MAX), String::new()));
        rest = &after[digits..];
    }
    parts
}

/// The survey, with a progress bar in seconds of sound.
fn listen(
    session: &Session,
    recordings: &[PathBuf],
    options: &ImportOptions,
) -> Result<Survey, Failure> {
    let (mut total_s, mut first_hz) = (0.0, None);
    for path in recordings {
        // Also the first look: what cannot be used is told before time is spent.
        let about = Source::open(path)?.about;
        total_s += about.n_frames.unwrap_or(0) as f64 / f64::from(about.rate_hz);
        first_hz.get_or_insert(f64::from(about.rate_hz));
    }
    let bar = progress("seconds of sound", total_s as usize);
    let read_s = Cell::new(0.0);
    let rate_hz = first_hz.unwrap_or(1.0);
    let survey = survey(session, recordings, options, &|n_frames| {
        let before = read_s.get();
        read_s.set(before + n_frames as f64 / rate_hz);
        bar.inc(read_s.get() as u64 - before as u64);
    });
    bar.finish_and_clear();
    Ok(survey?)
}
