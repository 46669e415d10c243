//! The handover paper as PDF: own layout on a PDF writing library.
//!
//! [`blocks`] and [`tables`] turn the content into strips, [`flow`] cuts them
//! into pages, [`drawing`] writes pages, tags, bookmarks and properties. The
//! file is PDF/A-2a (ISO 19005-2, for archives) and PDF/UA-1 (ISO 14289-1, for
//! screen readers), both checked while it is written; it holds no time of day
//! but the one that is given, so equal content gives equal bytes.

pub mod blocks;
pub mod drawing;
pub mod flow;
pub mod tables;
pub mod type_setting;

use super::error::ReportError;
use super::paper::Paper;
use blocks::{Measures, Setter};
use drawing::{Sheet, document};
use time::UtcDateTime;

/// The paper as a PDF document.
///
/// `date` goes into the properties of the document, which an archive file must
/// have; `None` writes 1970-01-01, the start of the count of seconds.
///
/// # Errors
/// [`ReportError::Plot`] when a drawing cannot be read, [`ReportError::Encode`]
/// when the library refuses the document: both mistakes of this program.
pub fn pdf(
    paper: &Paper,
    date: Option<UtcDateTime>,
    sheet: &Sheet,
) -> Result<Vec<u8>, ReportError> {
    let mut setter = Setter::new(Measures { width: sheet.column(), body: 9.6, small: 8.4 });
    setter.paper(paper)?;
    document(&setter.flow, sheet, &paper.title, date.unwrap_or(UtcDateTime::UNIX_EPOCH))
}

#[cfg(test)]
mod tests;
