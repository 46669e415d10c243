//! `scrimcheck compare DIR DIR ...`: sessions side by side; a folder of sessions goes to [`jobs`],
//! one room measured twice to [`again`].

use super::analyze::measure;
use super::args::CompareArgs;
use super::failure::Failure;
use super::predict_args::FRONT_REFLECTION;
use super::{again, jobs};
use crate::analysis::compare::{Summary, compare};
use crate::analysis::predict::describe::{DescribedSheet, Description};
use crate::analysis::predict::{Plan, forecast};
use crate::analysis::sheet::air::Air;
use crate::analysis::sheet::models::Gap;
use crate::ingest::error::plain;
use crate::ingest::session::Session;
use crate::jobs::find::{find_sessions, is_session};
use crate::report::compare_files::{comparison_data, comparison_files};
use crate::report::compare_table::comparison_table;
use crate::report::error::ReportError;
use crate::report::pdf::drawing::Sheet;
use crate::report::words;
use std::path::Path;
use std::process::ExitCode;

/// Analyses every session and prints them side by side; with `--out` the table,
/// the plot and a web page are written too.
///
/// # Errors
/// [`Failure`] when a session is refused, nothing can be compared, or the folder
/// cannot be written.
pub fn run(args: &CompareArgs) -> Result<ExitCode, Failure> {
    if args.same_room {
        return again::run(args);
    }
    if args.sessions.iter().any(|dir| !is_session(dir) && !find_sessions(dir).sessions.is_empty()) {
        return jobs::compare_jobs(args);
    }
    if args.naming.with_names || !(args.naming.same.is_empty() && args.naming.distinct.is_empty()) {
        let why = "--same, --distinct and --with-names need a folder of sessions";
        return Err(Failure::usage(why));
    }
    if args.sessions.len() + args.sheets.len() < 2 {
        return Err(Failure::usage(
            "one session alone cannot be compared; name a second folder, or describe a sheet with \
             --sheet NAME:key=value,... (see scrimcheck predict --help)",
        ));
    }
    // Before the takes are read: a word that cannot be used is told at once.
    let described = forecasts(args)?;
    let folder = args.answer.folder()?;
    let mut summaries =
        args.sessions.iter().map(|root| summary(root)).collect::<Result<Vec<_>, _>>()?;
    summaries.extend(described);
    tell_apart(&mut summaries);
    let comparison = compare(summaries).map_err(Failure::compare)?;
    let comparison = words::compare::said(comparison);
    let is_written = folder.is_some();
    let files = || match is_written {
        true => comparison_files(&comparison, &Sheet::A4),
        false => comparison_data(&comparison).map(Vec::from),
    };
    let table = || comparison_table(&comparison);
    jobs::answer(files, "comparison", table, folder, &args.answer)
}

/// Sheets that are described, not measured.
fn forecasts(args: &CompareArgs) -> Result<Vec<Summary>, Failure> {
    if args.sheets.is_empty() {
        return Ok(Vec::new());
    }
    let sheets = described(&args.sheets)?;
    let plan = Plan {
        gap: args.gap_m.map(|gap_m| Gap { gap_m, front_reflection: FRONT_REFLECTION }),
        angles_deg: vec![0.0],
        view: None,
        air: Air::AT_20_C,
    };
    let forecast = forecast(sheets, plan).map_err(Failure::usage)?;
    Ok(Summary::from_forecast(&forecast))
}

/// The sheets that words of `--sheet` describe.
///
/// # Errors
/// [`Failure::Usage`] names the sheet and the key.
pub(super) fn described(words: &[String]) -> Result<Vec<DescribedSheet>, Failure> {
    words
        .iter()
        .map(|text| Description::parse(text).and_then(|d| d.build()))
        .collect::<Result<_, _>>()
        .map_err(Failure::usage)
}

/// Folders of one name in different places get a number.
fn tell_apart(summaries: &mut [Summary]) {
    for i in 1..summaries.len() {
        let name = summaries[i].name.clone();
        let mut n = 1;
        while summaries[..i].iter().any(|s| s.name == summaries[i].name) {
            n += 1;
            summaries[i].name = format!("{name} ({n})");
        }
    }
}

/// A session under the name of its folder and its title.
fn summary(root: &Path) -> Result<Summary, Failure> {
    let session = Session::open(root)?;
    let result = measure(&session)?;
    // "." has a name too.
    let root = root.canonicalize().unwrap_or_else(|_| root.to_owned());
    let name = root.file_name().map_or_else(|| root.to_string_lossy(), |n| n.to_string_lossy());
    let document = serde_json::to_value(&result)
        .map_err(|e| ReportError::Encode { what: "JSON", source: e.into() })?;
    Summary::from_result(&plain(&name), &document).map_err(Failure::compare)
}
