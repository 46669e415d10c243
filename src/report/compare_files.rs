//! Every file of a comparison, for the command and for the page alike.

use super::compare_page::compare_paper;
use super::compare_table::comparison_csv;
use super::error::ReportError;
use super::html::page;
use super::json::json_text;
use super::pdf::drawing::Sheet;
use super::pdf::pdf;
use super::plots::compare::compare_figure;
use super::plots::drawing::Drawing;
use super::plots::render::{NamedFile, plot_files};
use super::words::said::{Said, Statement};
use crate::analysis::compare::Comparison;

/// JSON, CSV, the plot, the web page and the same as PDF on `sheet`, each with its name inside
/// the output folder. The PDF carries no date: equal figures give equal bytes.
///
/// # Errors
/// [`ReportError`] when a file cannot be made: a mistake of this program.
pub fn comparison_files(
    comparison: &Said<Comparison, Statement>,
    sheet: &Sheet,
) -> Result<Vec<NamedFile>, ReportError> {
    let drawings = [Drawing::from(&compare_figure(comparison))];
    let paper = compare_paper(comparison, &drawings);
    let names: Vec<String> = comparison.entries.iter().map(|e| e.summary.name.clone()).collect();
    let html = page(&paper, "Shown in plots and tables", &names);
    let mut files = vec![
        ("comparison.html".to_owned(), html.into_bytes()),
        ("comparison.pdf".to_owned(), pdf(&paper, None, sheet)?),
    ];
    files.extend(comparison_data(comparison)?);
    files.extend(plot_files(&drawings)?);
    Ok(files)
}

/// Those of them that hold figures alone: CSV and JSON. Plots and papers take their time.
///
/// # Errors
/// As [`comparison_files`].
pub fn comparison_data(
    comparison: &Said<Comparison, Statement>,
) -> Result<[NamedFile; 2], ReportError> {
    Ok([
        ("comparison.csv".to_owned(), comparison_csv(comparison)?),
        ("comparison.json".to_owned(), json_text(comparison)?),
    ])
}
