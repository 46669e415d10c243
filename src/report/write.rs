//! The report folder: every file, from one finished result.

use super::correction_files::{correction_csv, correction_json};
use super::csv::{bands_csv, curve_csv};
use super::error::ReportError;
use super::html::html_page;
use super::json::json_text;
use super::output::OutputFolder;
use super::paper::content::paper;
use super::paper::logo::read_logo;
use super::pdf::drawing::Sheet;
use super::pdf::pdf;
use super::plots::drawings;
use super::plots::render::{NamedFile, plot_files};
use super::result::SessionResult;
use crate::ingest::manifest::DisplayUnits;
use crate::ingest::session::Session;
use std::path::PathBuf;
use time::UtcDateTime;

/// Makes every file of the report in memory, then writes them and puts the
/// folder into place. Returns the paths of the files.
///
/// # Errors
/// [`ReportError`]; the previous report is then unchanged.
pub fn write_report(
    result: &SessionResult,
    session: &Session,
    mut folder: OutputFolder,
) -> Result<Vec<PathBuf>, ReportError> {
    for (name, bytes) in report_files(result, session)? {
        folder.write(&name, &bytes)?;
    }
    folder.publish()
}

/// Every file of the report: name inside the folder, and contents.
///
/// # Errors
/// [`ReportError`] when a figure is not finite, a plot cannot be drawn, or the
/// logo cannot be used.
pub fn report_files(
    result: &SessionResult,
    session: &Session,
) -> Result<Vec<NamedFile>, ReportError> {
    let mut files = vec![
        ("result.json".to_owned(), json_text(result)?),
        ("bands.csv".to_owned(), bands_csv(result)?),
        ("curve.csv".to_owned(), curve_csv(result)?),
    ];
    if let Some(correction) = &result.correction {
        files.push(("correction.json".to_owned(), correction_json(correction)?.into_bytes()));
        files.push(("correction.csv".to_owned(), correction_csv(correction)?.into_bytes()));
    }
    let drawings = drawings(result);
    files.extend(plot_files(&drawings)?);
    let paper = paper(result, session, &drawings, read_logo(session)?);
    let seats: Vec<String> = result.seats.iter().map(|seat| seat.id.clone()).collect();
    files.push(("report.html".to_owned(), html_page(&paper, &seats).into_bytes()));
    let sheet = match session.manifest.handover.units {
        DisplayUnits::Metric => Sheet::A4,
        DisplayUnits::Imperial => Sheet::LETTER,
    };
    files.push(("handover.pdf".to_owned(), pdf(&paper, source_date(), &sheet)?));
    Ok(files)
}

/// The date that makes documents the same on every run, where the environment gives one.
fn source_date() -> Option<UtcDateTime> {
    let seconds = std::env::var("SOURCE_DATE_EPOCH").ok()?.trim().parse().ok()?;
    UtcDateTime::from_unix_timestamp(seconds).ok()
}
