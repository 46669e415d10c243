//! A paper in the making, block by block.

use super::{Block, Detail, Logo, Paper, Table};
use crate::ingest::session::Session;
use crate::report::plots::drawing::Drawing;
use crate::report::result::SessionResult;
use crate::words::signed;

/// Heading of the last part.
pub const SIGNATURES: &str = "Signatures";

/// Heading above the warnings; it stands in the contents of the page.
pub const DOUBTFUL: &str = "What is doubtful";

/// The paper in the making.
pub struct Writer {
    pub(super) blocks: Vec<Block>,
    /// Plots that have not found their place.
    drawings: Vec<Drawing>,
    title: String,
}

impl Writer {
    pub fn new(drawings: &[Drawing], title: &str) -> Self {
        Self { blocks: Vec::new(), drawings: drawings.to_vec(), title: title.to_owned() }
    }

    pub fn part(&mut self, text: &str) {
        self.blocks.push(Block::part(text));
    }

    pub(super) fn section(&mut self, text: &str) {
        self.blocks.push(Block::Heading { level: 2, text: text.to_owned() });
    }

    pub fn say(&mut self, text: &str) {
        if !text.is_empty() {
            self.blocks.push(Block::Paragraph(text.to_owned()));
        }
    }

    pub fn list<T: AsRef<str>>(&mut self, points: impl IntoIterator<Item = T>) {
        let points: Vec<String> = points.into_iter().map(|p| p.as_ref().to_owned()).collect();
        if !points.is_empty() {
            self.blocks.push(Block::List(points));
        }
    }

    /// Names and values of those that are known.
    pub(super) fn facts<const N: usize>(&mut self, facts: [(&str, Option<String>); N]) {
        let known = facts.into_iter().filter_map(|(name, value)| Some((name.to_owned(), value?)));
        let known: Vec<(String, String)> = known.collect();
        if !known.is_empty() {
            self.blocks.push(Block::Facts(known));
        }
    }

    pub(super) fn caution(&mut self, text: &str) {
        self.blocks.push(Block::Caution(text.to_owned()));
    }

    pub fn table(
        &mut self,
        caption: &str,
        head: &[&str],
        rows: impl IntoIterator<Item = Vec<String>>,
    ) {
        let table = Table::new(caption, head, rows);
        if !table.rows.is_empty() {
            self.blocks.push(Block::Table(table));
        }
    }

    /// The table placed last may be left out where a paper must stay short.
    pub(super) fn may_go(&mut self, how_soon: Detail) {
        if let Some(Block::Table(table)) = self.blocks.last_mut() {
            table.detail = how_soon;
        }
    }

    /// Places the plot of this name, where there is one.
    pub(super) fn figure(&mut self, id: &str) {
        if let Some(place) = self.drawings.iter().position(|d| d.id == id) {
            let drawing = self.drawings.remove(place);
            let detail = match drawing.id {
                "loss" | "claims" | "correction" | "verification" | "power" | "seat-map"
                | "rattle" | "compare" => Detail::Main,
                "spread" | "seat-dependence" | "sheet" => Detail::Engineer,
                _ => Detail::Extra,
            };
            self.blocks.push(Block::Figure { drawing, detail });
        }
    }

    /// Places every plot that has found no other place.
    pub fn other_figures(&mut self) {
        while let Some(id) = self.drawings.first().map(|d| d.id) {
            self.figure(id);
        }
    }

    /// The paper under its title.
    pub fn paper(self, subtitle: String, logo: Option<Logo>) -> Paper {
        Paper { title: self.title, subtitle, logo, blocks: self.blocks }
    }
}

/// For whom, where and when; the date is that of the papers, else of the recordings.
pub(super) fn subtitle(result: &SessionResult, session: &Session) -> String {
    let handover = &session.manifest.handover;
    let date = handover.date.as_ref().map(ToString::to_string).or_else(|| result.date.clone());
    let said = [handover.client.clone(), handover.site.clone(), date];
    said.into_iter().flatten().collect::<Vec<_>>().join(" \u{b7} ")
}

/// A figure with its uncertainty, or a dash.
pub(super) fn with_u(value: Option<f64>, u95: Option<f64>, decimals: usize) -> String {
    match (value, u95) {
        (Some(v), Some(u)) => format!("{} \u{b1} {u:.decimals$}", signed(v, decimals)),
        (v, _) => figure(v, decimals),
    }
}

/// A figure, or a dash.
pub(super) fn figure(value: Option<f64>, decimals: usize) -> String {
    value.map_or_else(dash, |v| signed(v, decimals))
}

/// Where there is no figure.
pub fn dash() -> String {
    "\u{2013}".to_owned()
}
