//! What finished jobs say together: table, CSV, JSON, web page and PDF.
//!
//! | file | does |
//! |---|---|
//! | `sheets`, `choice`, `again` | what each sheet did; sheets for the next room; one room twice |
//! | `cells` | figures as text, shared by them |
//! | `tidy` | CSV with one figure a row |
//! | `figures` | plots |

mod again;
mod cells;
mod choice;
mod figures;
mod sheets;
mod tidy;

pub use again::{again_files, again_statement, again_table};
pub use choice::{choice_files, choice_statement, choice_table};
pub use sheets::{sheets_files, sheets_statement, sheets_table};

use crate::report::error::ReportError;
use crate::report::html::page;
use crate::report::json::json_text;
use crate::report::paper::Paper;
use crate::report::pdf::drawing::Sheet;
use crate::report::pdf::pdf;
use crate::report::plots::drawing::Drawing;
use crate::report::plots::render::{NamedFile, plot_files};
use serde::Serialize;

/// A document with its kind and version, as in the file.
#[derive(Serialize)]
struct Document<'a, T> {
    format: &'static str,
    version: u32,
    #[serde(flatten)]
    content: &'a T,
    statement: &'a [String],
}

/// Files of an answer, named `NAME.json`, `NAME.csv`, `NAME.html`, `NAME.pdf`, and its plots.
struct Answer<'a, T> {
    name: &'static str,
    format: &'static str,
    content: &'a T,
    statement: &'a [String],
    csv: Vec<u8>,
    paper: Paper,
    drawings: Vec<Drawing>,
    /// What can be shown and hidden on the page.
    names: Vec<String>,
}

impl<T: Serialize> Answer<'_, T> {
    fn json(&self) -> Result<Vec<u8>, ReportError> {
        let (format, statement) = (self.format, self.statement);
        json_text(&Document { format, version: 1, content: self.content, statement })
    }

    fn files(self) -> Result<Vec<NamedFile>, ReportError> {
        let name = |ending: &str| format!("{}.{ending}", self.name);
        let html = page(&self.paper, "Shown in plots and tables", &self.names);
        let mut files = vec![
            (name("html"), html.into_bytes()),
            (name("pdf"), pdf(&self.paper, None, &Sheet::A4)?),
            (name("csv"), self.csv.clone()),
            (name("json"), self.json()?),
        ];
        files.extend(plot_files(&self.drawings)?);
        Ok(files)
    }
}

#[cfg(test)]
mod tests;
