//! The take sheet of a new session as PDF: one page for a usual number of seats.

use super::error::ReportError;
use super::paper::{Block, Detail, Paper, TICK_BOX, Table};
use super::pdf::blocks::Measures;
use super::pdf::drawing::Sheet;
use super::pdf::pdf_with;
use crate::ingest::start::sheet::TakeSheet;
use time::UtcDateTime;

/// File of the take sheet as PDF in a new session.
pub const TAKE_SHEET_PDF: &str = "take-sheet.pdf";

/// The sheet as a tagged PDF with embedded fonts, in metric A4.
///
/// # Errors
/// [`ReportError::Encode`] when the library refuses the document: a mistake of this program.
pub fn take_sheet_pdf(sheet: &TakeSheet, date: UtcDateTime) -> Result<Vec<u8>, ReportError> {
    let page = Sheet { top: 36.0, bottom: 46.0, side: 46.0, ..Sheet::A4 };
    let measures = Measures { width: page.column(), body: 8.2, small: 7.4 };
    pdf_with(&paper(sheet), Some(date), &page, measures)
}

fn paper(sheet: &TakeSheet) -> Paper {
    let section = |text: &str| Block::Heading { level: 2, text: text.to_owned() };
    let boxes = |names: &[String]| -> String {
        names.iter().map(|name| format!("{TICK_BOX} {name} ")).collect()
    };
    let mut blocks =
        vec![Block::Fields(sheet.fields.clone()), section("Cautions, before anything sounds")];
    blocks.extend(
        sheet.cautions.iter().map(|[about, what]| Block::Caution(format!("{about}: {what}"))),
    );
    blocks.push(section("Set up once, then do not touch"));
    blocks.push(Block::Ticks(sheet.set_up.clone()));
    blocks.push(section("Each take"));
    blocks.push(Block::List(sheet.each_take.clone()));
    blocks.push(section("Order"));
    let numbered = sheet.order.iter().enumerate().map(|(i, step)| format!("{}. {step}", i + 1));
    blocks.push(Block::Ticks(numbered.collect()));
    blocks.push(Block::Table(Table {
        caption: "Takes".into(),
        head: ["Seat", "1. Without the screen", "2. With the screen"].map(String::from).to_vec(),
        rows: sheet
            .seats
            .iter()
            .map(|seat| vec![seat.id.clone(), boxes(&seat.without), boxes(&seat.with)])
            .collect(),
        detail: Detail::Main,
    }));
    blocks.push(Block::Fields(vec!["Notes".into(), String::new(), String::new()]));
    Paper {
        title: format!("Take sheet: {}", sheet.title),
        subtitle: "What to record, in which order; to print and to take to the room".into(),
        logo: None,
        blocks,
    }
}
