//! The files of an answer.

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
    format: String,
    version: u32,
    #[serde(flatten)]
    content: &'a T,
    statement: &'a [String],
}

/// Files of an answer, named `NAME.json`, `NAME.csv`, `NAME.html`, `NAME.pdf`, and its plots.
pub struct Answer<'a, T> {
    /// Name; `scrimcheck-NAME` is the kind of the document.
    pub name: &'static str,
    pub content: &'a T,
    pub statement: &'a [String],
    pub csv: Vec<u8>,
    pub paper: Paper,
    pub drawings: Vec<Drawing>,
    /// What can be shown and hidden on the page.
    pub names: Vec<String>,
}

impl<T: Serialize> Answer<'_, T> {
    /// The files.
    ///
    /// # Errors
    /// [`ReportError`] when a figure is not finite or a plot cannot be drawn.
    pub fn files(self) -> Result<Vec<NamedFile>, ReportError> {
        let name = |ending: &str| format!("{}.{ending}", self.name);
        let document = Document {
            format: format!("scrimcheck-{}", self.name),
            version: 1,
            content: self.content,
            statement: self.statement,
        };
        let html = page(&self.paper, "Shown in plots and tables", &self.names);
        let mut files = vec![
            (name("html"), html.into_bytes()),
            (name("pdf"), pdf(&self.paper, None, &Sheet::A4)?),
            (name("csv"), self.csv),
            (name("json"), json_text(&document)?),
        ];
        files.extend(plot_files(&self.drawings)?);
        Ok(files)
    }
}
