//! The handover paper as PDF: own layout on a PDF writing library.
//!
//! [`blocks`] and [`tables`] turn the content into strips, [`flow`] cuts them
//! into pages, [`drawing`] writes pages, tags, bookmarks and properties. The
//! file is PDF/A-2a (ISO 19005-2, for archives) and PDF/UA-1 (ISO 14289-1, for
//! screen readers), both checked while it is written; it holds no time of day
//! but the one that is given, so equal content gives equal bytes.

pub(crate) mod blocks;
pub mod drawing;
pub(crate) mod flow;
mod forms;
mod page_picture;
mod pen;
mod pictures;
mod sheet;
pub(crate) mod tables;
pub(crate) mod type_setting;

use super::error::ReportError;
use super::paper::Paper;
use super::paper::shorten::{STEPS, left_out, shorten};
use blocks::{Drawings, Measures, Setter};
use drawing::{Sheet, document, n_pages};
use flow::Flow;
use time::UtcDateTime;

/// The paper as a PDF document.
///
/// A paper of more than [`MAX_PAGES`] pages is shortened step by step
/// ([`super::paper::shorten`]); what goes is named in it.
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
    pdf_with(paper, date, sheet, Measures { width: sheet.column(), body: 9.4, small: 8.0 })
}

/// As [`pdf`], with letters of other sizes.
///
/// # Errors
/// As [`pdf`].
pub fn pdf_with(
    paper: &Paper,
    date: Option<UtcDateTime>,
    sheet: &Sheet,
    measures: Measures,
) -> Result<Vec<u8>, ReportError> {
    let mut drawings = Drawings::default();
    let mut set = |paper: &Paper| set(paper, measures, &mut drawings);
    let fits = |flow: &Flow| n_pages(flow, sheet) <= MAX_PAGES;
    let mut step = 0;
    let mut flow = set(&shorten(paper, step, &[]))?;
    while !fits(&flow) && step + 1 < STEPS {
        step += 1;
        flow = set(&shorten(paper, step, &[]))?;
    }
    // What a step leaves out comes back piece by piece where pages have room.
    let mut back = Vec::new();
    if fits(&flow) && step <= LAST_REFILLED {
        for place in left_out(paper, step) {
            back.push(place);
            let fuller = set(&shorten(paper, step, &back))?;
            if fits(&fuller) {
                flow = fuller;
            } else {
                back.pop();
            }
        }
    }
    document(&flow, sheet, &shorten(paper, step, &back).title, date)
}

/// A paper of one page as a PDF document and as a picture of 150 pixels an inch.
///
/// # Errors
/// As [`pdf`].
pub fn one_page(
    paper: &Paper,
    date: Option<UtcDateTime>,
    sheet: &Sheet,
) -> Result<[Vec<u8>; 2], ReportError> {
    // Smaller letters where there is much to say.
    let mut flow = Flow::default();
    for body in [9.4, 8.6, 7.9, 7.2] {
        let measures = Measures { width: sheet.column(), body, small: (body - 1.2_f32).max(6.6) };
        flow = set(paper, measures, &mut Drawings::default())?;
        if n_pages(&flow, sheet) <= 1 {
            break;
        }
    }
    Ok([document(&flow, sheet, &paper.title, date)?, page_picture::first_page_png(&flow, sheet)?])
}

/// The paper set in a column. `drawings` are those parsed before, and get those parsed now.
fn set(paper: &Paper, measures: Measures, drawings: &mut Drawings) -> Result<Flow, ReportError> {
    let mut setter = Setter::new(measures, drawings);
    setter.paper(paper)?;
    Ok(setter.flow)
}

/// Up to this step left-out plots and tables come back; where more had to go there is no room.
const LAST_REFILLED: u8 = 3;

/// Most pages of a paper that is handed over.
pub const MAX_PAGES: usize = 8;

#[cfg(test)]
mod tests;
