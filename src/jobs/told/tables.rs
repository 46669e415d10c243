//! Tables, for the terminal and for papers.

use super::cells::dash;
use crate::report::look::columns;
use crate::report::paper::{Detail, Table};
use crate::words::frequency_words;

/// Headings of a table.
pub fn heads(of: &[&str]) -> Vec<String> {
    of.iter().map(|head| (*head).to_owned()).collect()
}

/// Rows for the terminal, the headings first, then sentences.
pub fn rows_and_sentences(
    head: Vec<String>,
    rows: impl Iterator<Item = Vec<String>>,
    sentences: impl IntoIterator<Item = String>,
) -> String {
    let mut out = columns(&std::iter::once(head).chain(rows).collect::<Vec<_>>()) + "\n";
    sentences.into_iter().for_each(|sentence| out += &(sentence + "\n"));
    out
}

/// A table of the main part of a paper.
pub fn table(caption: &str, head: Vec<String>, rows: impl Iterator<Item = Vec<String>>) -> Table {
    Table { caption: caption.to_owned(), head, rows: rows.collect(), detail: Detail::Main }
}

/// A column of a table band by band: its heading, and cells by nominal frequency, Hz.
pub type BandColumn<'a> = (&'a str, Vec<(f64, String)>);

/// Bands that any column has, one a row; a dash where a column has no such band.
pub fn band_table(caption: &str, columns: &[BandColumn]) -> Table {
    let mut all: Vec<f64> = columns.iter().flat_map(|(_, c)| c.iter().map(|(hz, _)| *hz)).collect();
    all.sort_by(f64::total_cmp);
    all.dedup();
    let rows = all.into_iter().map(|hz| {
        let cell = |(_, cells): &BandColumn| {
            cells.iter().find(|(of, _)| *of == hz).map_or_else(dash, |(_, cell)| cell.clone())
        };
        std::iter::once(frequency_words(hz)).chain(columns.iter().map(cell)).collect()
    });
    let names = columns.iter().map(|(name, _)| (*name).to_owned());
    table(caption, std::iter::once("Band".to_owned()).chain(names).collect(), rows)
}
