//! The handover paper: one content, written once, laid out as a web page and as a PDF.

mod cautions;
pub mod content;
pub(crate) mod logo;
mod method;
mod seats;
mod setting;
mod sheet;
pub(crate) mod shorten;
pub(crate) mod sign;
pub(crate) mod summary;
pub(crate) mod writer;

use super::plots::drawing::Drawing;

/// Everything a reader gets, in reading order.
#[derive(Debug, Clone, PartialEq)]
pub struct Paper {
    /// Title on page one and of the document.
    pub title: String,
    /// Line under the title: client, site, date.
    pub subtitle: String,
    /// Logo, checked and harmless; `None` where the session names none.
    pub logo: Option<Logo>,
    /// Content.
    pub blocks: Vec<Block>,
}

/// A logo that was read and checked.
#[derive(Debug, Clone, PartialEq)]
pub enum Logo {
    /// PNG file content.
    Png(Vec<u8>),
    /// JPEG file content, grey or RGB.
    Jpeg(Vec<u8>),
    /// SVG re-written by the SVG library: no scripts, no references.
    Svg(String),
}

/// A piece of the paper.
#[derive(Debug, Clone, PartialEq)]
pub enum Block {
    /// Heading of level 1 (parts) or 2.
    Heading {
        /// 1 or 2.
        level: u8,
        /// Words.
        text: String,
    },
    /// Running text.
    Paragraph(String),
    /// Points in a list.
    List(Vec<String>),
    /// Name and value, one a line.
    Facts(Vec<(String, String)>),
    /// A table with a heading row; the first cell of a row is its heading.
    Table(Table),
    /// A plot.
    Figure {
        /// The plot with its words.
        drawing: Drawing,
        /// How soon it is left out where a paper must stay short.
        detail: Detail,
    },
    /// A caution, set apart.
    Caution(String),
    /// Verdicts, each with its sign.
    Verdicts(Vec<(sign::Sign, String)>),
    /// Points to tick off by hand.
    Ticks(Vec<String>),
    /// Names of what is filled in by hand, each with room to write.
    Fields(Vec<String>),
    /// Lines to sign on, each with who signs.
    Signatures(Vec<String>),
    /// What follows begins on a new page.
    PageBreak,
}

impl Block {
    /// Heading of a part.
    pub fn part(text: &str) -> Self {
        Self::Heading { level: 1, text: text.to_owned() }
    }

    /// A drawing with its words as they are.
    pub fn figure(drawing: &Drawing) -> Self {
        Self::Figure { drawing: drawing.clone(), detail: Detail::Main }
    }
}

/// A table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// Column headings.
    pub head: Vec<String>,
    /// Rows; each as long as `head`.
    pub rows: Vec<Vec<String>>,
    /// How soon it is left out where a paper must stay short: see [`shorten::shorten`].
    pub detail: Detail,
}

/// In a cell: a box to tick by hand, before the text that follows.
pub const TICK_BOX: char = '\u{2610}';

impl Table {
    /// A table that stays in any case.
    pub fn new(caption: &str, head: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> Self {
        Self {
            caption: caption.to_owned(),
            head: head.iter().map(|name| (*name).to_owned()).collect(),
            rows: rows.into_iter().collect(),
            detail: Detail::Main,
        }
    }

    /// Whether the cells of a column are figures, set flush right: at least one is, and every
    /// other one is a dash or empty.
    pub fn is_figures(&self, column: usize) -> bool {
        let is_blank = |cell: &str| matches!(cell, "" | "-" | "\u{2013}" | "\u{2014}" | "n/a");
        let is_figure = |cell: &str| {
            let signs =
                ['+', '-', '\u{2212}', '\u{b1}', '<', '>', '\u{2264}', '\u{2265}', '\u{2248}', ' '];
            let cell = cell.trim_start_matches(signs);
            cell.starts_with(|c: char| c.is_ascii_digit()) && cell.chars().count() <= 16
        };
        let cells: Vec<&str> =
            self.rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.trim()).collect();
        cells.iter().any(|c| is_figure(c)) && cells.iter().all(|c| is_figure(c) || is_blank(c))
    }
}

/// How much a reader misses without a table or plot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Detail {
    /// Stays in any case.
    Main,
    /// For the next engineer.
    Engineer,
    /// Also in the files beside the paper.
    Extra,
}
