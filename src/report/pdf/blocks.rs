//! From the content of a paper to its flow: how each kind of block is set.

use super::flow::{Child, Element, Flow, Ink, Leaf, Mark, Strip};
use super::type_setting::{line_width, lines, title, visible};
use crate::report::error::ReportError;
use crate::report::paper::{Block, Paper};
use krilla::tagging::{ListNumbering, Tag, TagKind};
use resvg::usvg::Tree;
use std::collections::BTreeMap;
use std::num::NonZeroU16;
use std::sync::Arc;

/// Lightness of text that stands back; dark enough to be read on a copy (7 : 1 on white).
pub const DIM: u8 = 80;

/// Measures of a paper, pt.
#[derive(Debug, Clone, Copy)]
pub struct Measures {
    /// Width of the column.
    pub width: f32,
    /// Size of running text.
    pub body: f32,
    /// Size of text in tables.
    pub small: f32,
}

impl Measures {
    /// Height of a line of text of a size.
    pub fn leading(size: f32) -> f32 {
        size * 1.4
    }

    /// From the top of a line to its baseline.
    pub fn baseline(size: f32) -> f32 {
        size * 1.07
    }
}

/// Drawings parsed before, by name: a paper that is set again does not parse them again.
pub type Drawings = BTreeMap<&'static str, Arc<Tree>>;

/// Sets blocks one after the other.
pub struct Setter<'a> {
    /// What has been set.
    pub flow: Flow,
    pub measures: Measures,
    /// Drawings parsed so far.
    pub drawings: &'a mut Drawings,
    frame_open: bool,
    after_caution_heading: bool,
    /// Level of the last heading's tag.
    heading_level: u16,
}

/// How lines of text are set.
#[derive(Debug, Clone, Copy)]
pub struct Style {
    /// Font size, pt.
    pub size: f32,
    /// Semibold.
    pub bold: bool,
    /// Lightness.
    pub grey: u8,
    /// White space above, pt.
    pub space: f32,
    /// From the left edge of the column, pt.
    pub indent: f32,
}

impl<'a> Setter<'a> {
    /// An empty paper.
    pub fn new(measures: Measures, drawings: &'a mut Drawings) -> Self {
        Self {
            flow: Flow::default(),
            measures,
            drawings,
            frame_open: false,
            after_caution_heading: false,
            heading_level: 0,
        }
    }

    /// Running text with no space above.
    pub fn body(&self) -> Style {
        Style { size: self.measures.body, bold: false, grey: 0, space: 0.0, indent: 0.0 }
    }

    /// Title, subtitle and logo, then every block.
    ///
    /// # Errors
    /// [`ReportError::Plot`] when a drawing cannot be read.
    pub fn paper(&mut self, paper: &Paper) -> Result<(), ReportError> {
        let logo_width = match &paper.logo {
            Some(logo) => self.logo(logo)?,
            None => 0.0,
        };
        let size = self.measures.body * 2.1;
        let room = self.measures.width - logo_width - if logo_width > 0.0 { 18.0 } else { 0.0 };
        let style = Style { size, bold: true, ..self.body() };
        let leaf = self.text(&paper.title, style, room, true);
        self.heading_element(1, &paper.title, leaf);
        let style = Style { grey: DIM, space: 2.0, ..self.body() };
        self.paragraph(&paper.subtitle, style, room, true);
        self.rule(8.0, 0.9, 0);
        for block in &paper.blocks {
            self.block(block)?;
        }
        Ok(())
    }

    /// One block.
    ///
    /// # Errors
    /// [`ReportError::Plot`] when a drawing cannot be read.
    pub fn block(&mut self, block: &Block) -> Result<(), ReportError> {
        if !matches!(block, Block::Caution(_)) {
            self.frame_open = false;
        }
        match block {
            Block::Heading { level, text } => self.heading(*level, text),
            Block::Paragraph(text) => {
                let style = Style { space: self.measures.body * 0.5, ..self.body() };
                self.paragraph(text, style, self.measures.width, false);
            }
            Block::List(points) => self.list(points),
            Block::Facts(facts) => self.facts(facts),
            Block::Table(table) => self.table(table),
            Block::Figure { drawing, .. } => self.figure(drawing)?,
            Block::Caution(text) => self.caution(text),
            Block::Signatures(who) => self.signatures(who),
            Block::Ticks(points) => self.ticks(points),
            Block::Verdicts(verdicts) => self.verdicts(verdicts),
            Block::Fields(names) => self.fields(names),
            Block::PageBreak => self.break_page(),
        }
        self.after_caution_heading = match block {
            Block::Heading { text, .. } => text.to_lowercase().contains("caution"),
            Block::Caution(_) => self.after_caution_heading,
            _ => false,
        };
        Ok(())
    }

    /// Adds an element after what there is.
    pub fn push<C: Into<Child>>(
        &mut self,
        tag: impl Into<TagKind>,
        children: impl IntoIterator<Item = C>,
    ) {
        self.flow.elements.push(Element::new(tag, children));
    }

    /// Adds a list, where it has points.
    pub fn push_list(&mut self, numbering: ListNumbering, items: Vec<Element>) {
        if !items.is_empty() {
            self.push(Tag::L(numbering), items);
        }
    }

    /// [`Self::text`] as a paragraph of its own.
    pub fn paragraph(&mut self, text: &str, style: Style, width: f32, keep: bool) {
        let leaf = self.text(text, style, width, keep);
        self.push(Tag::P, [leaf]);
    }

    /// Lines of text as strips of one leaf: two lines stay together at the
    /// bottom and at the top of a page, all of them and what follows if `keep`.
    pub fn text(&mut self, text: &str, style: Style, width: f32, keep: bool) -> Leaf {
        let leaf = self.flow.leaf();
        let broken = lines(text, style.size, style.bold, width - style.indent);
        let last = broken.len() - 1;
        for (i, line) in broken.into_iter().enumerate() {
            let mut strip = Strip {
                space: if i == 0 { style.space } else { 0.0 },
                height: Measures::leading(style.size),
                keep: keep || (i != last && (i == 0 || i + 2 > last)),
                ..Strip::default()
            };
            // Words stay apart when the lines are joined again by a reader's program.
            let text = if i == last { line } else { line + " " };
            strip.marks.push(text_mark(style, 0.0, text, leaf));
            self.flow.strips.push(strip);
        }
        leaf
    }

    /// A line over the whole width, decoration.
    pub fn rule(&mut self, space: f32, thickness: f32, grey: u8) {
        let ink = Ink::Rule { length: self.measures.width, thickness, grey };
        let marks = vec![Mark { x: 0.0, y: 0.0, ink, leaf: None }];
        self.flow.strips.push(Strip { space, height: thickness, marks, ..Strip::default() });
    }

    /// Begins a new page with what comes next.
    fn break_page(&mut self) {
        self.flow.strips.push(Strip { new_page: true, keep: true, ..Strip::default() });
    }

    /// No level is skipped on the way down (ISO 14289-1, 7.4.2), whatever the size of the letters.
    fn heading_element(&mut self, level: u16, text: &str, leaf: Leaf) {
        self.heading_level = level.min(self.heading_level + 1);
        let level = NonZeroU16::new(self.heading_level).unwrap_or(NonZeroU16::MIN);
        self.push(Tag::Hn(level, Some(title(text))), [leaf]);
    }

    /// A heading inside the paper: level 1 for parts, 2 below.
    pub fn heading(&mut self, level: u8, text: &str) {
        let body = self.measures.body;
        let (size, space) =
            if level <= 1 { (body * 1.42, body * 1.9) } else { (body * 1.12, body * 1.2) };
        let first = self.flow.strips.len();
        let style = Style { size, bold: true, space, ..self.body() };
        let leaf = self.text(text, style, self.measures.width, true);
        let level = level.clamp(1, 2);
        self.flow.strips[first].outline = Some((level, title(text)));
        // The title of the paper is the heading above all.
        self.heading_element(u16::from(level) + 1, text, leaf);
    }

    /// A list with a dot before each point.
    pub fn list(&mut self, points: &[String]) {
        let body = self.measures.body;
        let mut items = Vec::new();
        for (i, point) in points.iter().enumerate() {
            let space = if i == 0 { body * 0.4 } else { body * 0.18 };
            let first = self.flow.strips.len();
            let style = Style { space, indent: body * 1.25, ..self.body() };
            let label = self.flow.leaf();
            let leaf = self.text(point, style, self.measures.width, false);
            let dot = text_mark(self.body(), body * 0.35, "• ".into(), label);
            self.flow.strips[first].marks.insert(0, dot);
            items.push(labelled(label, leaf));
        }
        self.push_list(ListNumbering::Disc, items);
    }

    /// Names on the left, values on the right; two facts share a line where both are short.
    fn facts(&mut self, facts: &[(String, String)]) {
        let (size, width) = (self.measures.body, self.measures.width);
        let widest = facts
            .iter()
            .map(|(name, _)| line_width(&visible(name), size, false))
            .fold(width * 0.1, f32::max);
        let left = (widest + size * 1.5).min(width * 0.36);
        let half = width * 0.52;
        let fits = |i: usize, room: f32| {
            facts.get(i).is_some_and(|(_, value)| {
                line_width(&visible(value), size, false) <= room - left - size
            })
        };
        let mut items = Vec::new();
        let mut i = 0;
        while i < facts.len() {
            let pair = if fits(i, half) && fits(i + 1, width - half) { 2 } else { 1 };
            let room = if pair == 1 { width } else { half };
            let places = [0.0, half].into_iter().zip(&facts[i..i + pair]);
            let columns: Vec<FactColumn> = places
                .map(|(x, (name, value))| FactColumn {
                    names: (x, lines(name, size, false, left - size), self.flow.leaf()),
                    values: (x + left, lines(value, size, false, room - left), self.flow.leaf()),
                })
                .collect();
            self.fact_line(&columns, if i == 0 { size * 0.4 } else { size * 0.12 });
            items.extend(columns.iter().map(|column| labelled(column.names.2, column.values.2)));
            i += pair;
        }
        self.push_list(ListNumbering::None, items);
    }

    /// The strips of facts that stand side by side.
    fn fact_line(&mut self, columns: &[FactColumn], space: f32) {
        let (plain, dim) = (self.body(), Style { grey: DIM, ..self.body() });
        let cells = columns.iter().flat_map(|c| [(dim, &c.names), (plain, &c.values)]);
        let n_lines = cells.clone().map(|(_, (_, lines, _))| lines.len()).max().unwrap_or(1);
        for row in 0..n_lines {
            let marks = cells.clone().filter_map(|(style, (x, lines, leaf))| {
                Some(text_mark(style, *x, format!("{} ", lines.get(row)?), *leaf))
            });
            self.flow.strips.push(Strip {
                space: if row == 0 { space } else { 0.0 },
                height: Measures::leading(self.measures.body),
                keep: row + 1 < n_lines,
                marks: marks.collect(),
                ..Strip::default()
            });
        }
    }

    /// A caution in a frame; cautions in a row share it.
    fn caution(&mut self, text: &str) {
        let body = self.measures.body;
        let inset = body * 0.9;
        let begins = !self.frame_open;
        if !begins {
            // Takes the padding below the caution before away.
            self.flow.strips.pop();
            if let Some(last) = self.flow.strips.last_mut() {
                last.keep = false;
            }
        }
        let first = self.flow.strips.len();
        if begins {
            self.flow.n_frames += 1;
            self.frame_open = true;
            let padding =
                Strip { space: body * 0.9, height: body * 0.6, keep: true, ..Strip::default() };
            self.flow.strips.push(padding);
            if !self.after_caution_heading {
                let style = Style { bold: true, indent: inset, ..self.body() };
                self.paragraph("Caution", style, self.measures.width, true);
            }
        }
        let space = if begins { 0.0 } else { body * 0.45 };
        let style = Style { space, indent: inset, ..self.body() };
        self.paragraph(text, style, self.measures.width - inset, false);
        if let Some(last) = self.flow.strips.last_mut() {
            last.keep = true;
        }
        self.flow.strips.push(Strip { height: body * 0.6, ..Strip::default() });
        let frame = Some(self.flow.n_frames - 1);
        for strip in &mut self.flow.strips[first..] {
            strip.frame = frame;
        }
    }
}

/// A name and its value: where each begins, pt, its lines, and its place in the tag tree.
struct FactColumn {
    names: (f32, Vec<String>, Leaf),
    values: (f32, Vec<String>, Leaf),
}

/// A point of a list with what stands before it.
fn labelled(label: Leaf, body: Leaf) -> Element {
    Element::new(Tag::LI, [Element::new(Tag::Lbl, [label]), Element::new(Tag::LBody, [body])])
}

/// A line of printable text in the first line of a strip.
pub fn text_mark(style: Style, x: f32, text: String, leaf: Leaf) -> Mark {
    let Style { size, bold, grey, indent, .. } = style;
    let ink = Ink::Text { text, size, bold, grey };
    Mark { x: x + indent, y: Measures::baseline(size), ink, leaf: Some(leaf) }
}
