//! The report folder: every file, from one finished result.

use super::correction_files::{correction_csv, correction_json};
use super::csv::{bands_csv, curve_csv};
use super::error::ReportError;
use super::html::html_page;
use super::json::json_text;
use super::output::OutputFolder;
use super::paper::content::paper;
use super::paper::logo::read_logo;
use super::paper::summary::summary;
use super::pdf::drawing::Sheet;
use super::pdf::{one_page, pdf};
use super::plots::drawing::Drawing;
use super::plots::drawings;
use super::plots::render::{NamedFile, plot_files};
use super::result::SessionResult;
use crate::ingest::manifest::DisplayUnits;
use crate::ingest::session::Session;
use crate::report::inputs::{INPUTS_FILE, Inputs};
use std::path::PathBuf;
use time::{Date, Month, Time, UtcDateTime};

/// Name of the result document in the report folder.
pub const RESULT_FILE: &str = "result.json";

/// Makes every file of the report in memory, then writes them and puts the
/// folder into place. `inputs` is what the result was made from, looked at before; it is written
/// beside the result; where a file changed meanwhile it says nothing. Returns the paths of the files.
///
/// # Errors
/// [`ReportError`]; the previous report is then unchanged.
pub fn write_report(
    result: &SessionResult,
    session: &Session,
    mut inputs: Option<Inputs>,
    mut folder: OutputFolder,
) -> Result<Vec<PathBuf>, ReportError> {
    for (name, bytes) in report_files(result, session)? {
        folder.write(&name, &bytes)?;
        if name == RESULT_FILE {
            inputs = inputs.and_then(|list| list.with_result(&session.root, &bytes));
        }
    }
    // Always there, so that a report always holds the same files.
    folder.write(INPUTS_FILE, &inputs.unwrap_or_else(Inputs::unknown).to_json())?;
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
        (RESULT_FILE.to_owned(), json_text(result)?),
        ("bands.csv".to_owned(), bands_csv(result)?),
        ("curve.csv".to_owned(), curve_csv(result)?),
    ];
    if let Some(correction) = &result.correction {
        files.push(("correction.json".to_owned(), correction_json(correction)?));
        files.push(("correction.csv".to_owned(), correction_csv(correction)?));
    }
    let drawings = drawings(result, session.manifest.handover.units);
    // The papers are set on one core while the others draw.
    let (plots, papers) =
        rayon::join(|| plot_files(&drawings), || paper_files(result, session, &drawings));
    files.extend(plots?);
    files.extend(papers?);
    Ok(files)
}

/// The web page and the handover.
fn paper_files(
    result: &SessionResult,
    session: &Session,
    drawings: &[Drawing],
) -> Result<Vec<NamedFile>, ReportError> {
    let paper = paper(result, session, drawings, read_logo(session)?);
    let seats: Vec<String> = result.seats.iter().map(|seat| seat.id.clone()).collect();
    let sheet = match session.manifest.handover.units {
        DisplayUnits::Metric => Sheet::A4,
        DisplayUnits::Imperial => Sheet::LETTER,
    };
    let (date, brief) = (document_date(session), summary(result, session, drawings));
    let [brief_pdf, brief_png] = one_page(&brief, date, &sheet)?;
    Ok(vec![
        ("summary.pdf".to_owned(), brief_pdf),
        ("summary.png".to_owned(), brief_png),
        ("report.html".to_owned(), html_page(&paper, &seats).into_bytes()),
        ("handover.pdf".to_owned(), pdf(&paper, date, &sheet)?),
    ])
}

/// Date in the properties of the document: the one that makes documents the same on every
/// run, where the environment gives it, else that of the paper or of the recordings.
fn document_date(session: &Session) -> Option<UtcDateTime> {
    let seconds = std::env::var("SOURCE_DATE_EPOCH").ok().and_then(|s| s.trim().parse().ok());
    let from_environment = seconds.and_then(|s| UtcDateTime::from_unix_timestamp(s).ok());
    from_environment.or_else(|| {
        let manifest = &session.manifest;
        let stated = manifest.handover.date.as_ref().or(manifest.session.date.as_ref())?;
        let date = stated.date?;
        let month = Month::try_from(date.month).ok()?;
        let date = Date::from_calendar_date(i32::from(date.year), month, date.day).ok()?;
        Some(UtcDateTime::new(date, Time::MIDNIGHT))
    })
}
