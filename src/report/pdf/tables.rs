//! Tables: widths of the columns, rows, heads repeated on every page.

use super::blocks::{Measures, Setter, Style, text_mark};
use super::flow::{Element, Ink, Leaf, Mark, Strip};
use super::type_setting::{line_width, lines, visible};
use crate::report::paper::{TICK_BOX, Table};
use krilla::tagging::{TableHeaderScope, Tag};

/// Tables of at most so many rows stay on one page.
const WHOLE_ROWS: usize = 12;

/// White space between columns, as a multiple of the font size.
const GAP: f32 = 1.3;
/// Smallest font size before a table is cut into parts side by side, pt.
const SMALLEST: f32 = 6.6;

impl Setter<'_> {
    /// A table; one that is too wide for the page is set in parts, each with
    /// the first column.
    pub fn table(&mut self, table: &Table) {
        if table.head.is_empty() {
            return;
        }
        let mut size = self.measures.small;
        let mut columns = Columns::of(table, size);
        while columns.least(GAP * size) > self.measures.width && size > SMALLEST {
            size -= 0.3;
            columns = Columns::of(table, size);
        }
        let groups = columns.groups(self.measures.width, GAP * size);
        for (i, group) in groups.iter().enumerate() {
            let caption = match groups.len() {
                1 => table.caption.clone(),
                n => format!("{} (part {} of {n})", table.caption, i + 1),
            };
            self.part(table, &caption, group, &columns, size);
        }
    }

    fn part(
        &mut self,
        table: &Table,
        caption: &str,
        group: &[usize],
        columns: &Columns,
        size: f32,
    ) {
        let mut children = Vec::new();
        if !caption.trim().is_empty() {
            let space = self.measures.body * 0.9;
            let style = Style { size: self.measures.small, bold: true, space, ..self.body() };
            let leaf = self.text(caption, style, self.measures.width, true);
            children.push(Element::new(Tag::Caption, [leaf]));
        }
        let places = columns.places(group, self.measures.width, GAP * size);
        let (mut strip, leaves) = self.row(&table.head, &places, size, true);
        strip.keep = true;
        let mut repeated = strip.clone();
        for mark in &mut repeated.marks {
            mark.leaf = None;
        }
        self.flow.heads.push(repeated);
        let head = self.flow.heads.len() - 1;
        self.flow.strips.push(strip);
        let heads = leaves.into_iter();
        let heads = heads.map(|leaf| Element::new(Tag::TH(TableHeaderScope::Column), [leaf]));
        children.push(Element::new(Tag::THead, [Element::new(Tag::TR, heads)]));
        let mut rows = Vec::new();
        for (i, cells) in table.rows.iter().enumerate() {
            let (mut strip, leaves) = self.row(cells, &places, size, false);
            strip.head = Some(head);
            // A short table is not cut. Of a long one the last two rows stay together: a lone row
            // under a repeated head looks lost.
            let n = table.rows.len();
            strip.keep = i + 1 < n && (n <= WHOLE_ROWS || i + 2 == n);
            self.flow.strips.push(strip);
            let cells = leaves.into_iter().enumerate().map(|(column, leaf)| match column {
                0 => Element::new(Tag::TH(TableHeaderScope::Row), [leaf]),
                _ => Element::new(Tag::TD, [leaf]),
            });
            rows.push(Element::new(Tag::TR, cells));
        }
        if !rows.is_empty() {
            children.push(Element::new(Tag::TBody, rows));
        }
        self.push(Tag::Table, children);
    }

    /// A row as a strip, and the leaf of each cell. Head rows stand on a line,
    /// other rows on a thin one.
    fn row(
        &mut self,
        cells: &[String],
        places: &[Place],
        size: f32,
        is_head: bool,
    ) -> (Strip, Vec<Leaf>) {
        let padding = size * 0.12;
        let style = Style { size, bold: is_head, ..self.body() };
        let broken: Vec<Vec<Piece>> = places
            .iter()
            .map(|place| {
                let cell = cells.get(place.column).map_or("", String::as_str);
                pieces(cell, size, is_head, place)
            })
            .collect();
        let depth = |cell: &Vec<Piece>| cell.iter().map(|p| p.line + 1).max().unwrap_or(1);
        let n_lines = broken.iter().map(depth).max().unwrap_or(1);
        let height = n_lines as f32 * Measures::leading(size) + 2.0 * padding;
        let mut strip = Strip { height, ..Strip::default() };
        let mut leaves = Vec::new();
        for (place, cell) in places.iter().zip(broken) {
            let leaf = self.flow.leaf();
            leaves.push(leaf);
            // Heads of different length stand together on the line below them.
            let drop = if is_head { n_lines - depth(&cell) } else { 0 };
            for piece in cell {
                let top = padding + (piece.line + drop) as f32 * Measures::leading(size);
                let x = place.x + piece.x;
                if piece.is_boxed {
                    let ink = Ink::Square { side: size };
                    strip.marks.push(Mark {
                        x: x - size * BOX,
                        y: top + size * 0.2,
                        ink,
                        leaf: None,
                    });
                }
                let mut mark = text_mark(style, x, piece.text + " ", leaf);
                mark.y += top;
                strip.marks.push(mark);
            }
        }
        let (thickness, grey) = if is_head { (0.8, 0) } else { (0.3, 150) };
        let length = places.last().map_or(0.0, |p| p.x + p.width);
        let ink = Ink::Rule { length, thickness, grey };
        strip.marks.push(Mark { x: 0.0, y: height, ink, leaf: None });
        (strip, leaves)
    }
}

/// Room for a box to tick before a text, as a multiple of the font size.
const BOX: f32 = 1.5;

/// A line of text in a cell.
struct Piece {
    /// Which line, from 0.
    line: usize,
    /// From the left edge of the column, pt.
    x: f32,
    text: String,
    /// Whether a box to tick stands before it.
    is_boxed: bool,
}

/// The text of a cell in lines. Where it holds [`TICK_BOX`], every box begins an entry with a
/// box to tick, and short entries stand two in a line.
fn pieces(cell: &str, size: f32, bold: bool, place: &Place) -> Vec<Piece> {
    let mut pieces = Vec::new();
    if !cell.contains(TICK_BOX) {
        for (line, text) in lines(cell, size, bold, place.width).into_iter().enumerate() {
            let spare = place.width - line_width(&text, size, bold);
            let x = if place.is_right { spare } else { 0.0 };
            pieces.push(Piece { line, x, text, is_boxed: false });
        }
        return pieces;
    }
    let (half, inset) = (place.width / 2.0, size * BOX);
    let (mut line, mut used) = (0, 0.0);
    for entry in cell.split(TICK_BOX).map(str::trim).filter(|e| !e.is_empty()) {
        let is_short = line_width(&visible(entry), size, bold) + inset <= half - size;
        if used > 0.0 && (!is_short || used > half) {
            (line, used) = (line + 1, 0.0);
        }
        for (i, text) in lines(entry, size, bold, place.width - inset).into_iter().enumerate() {
            line += usize::from(i > 0);
            pieces.push(Piece { line, x: used + inset, text, is_boxed: i == 0 });
        }
        used += if is_short { half } else { place.width };
    }
    pieces
}

/// Where a column stands, pt.
#[derive(Debug, Clone, Copy)]
struct Place {
    column: usize,
    x: f32,
    width: f32,
    is_right: bool,
}

/// The columns of a table.
struct Columns(Vec<Column>);

/// What a column needs, pt.
#[derive(Debug, Clone, Copy)]
struct Column {
    /// Width of the longest word.
    least: f32,
    /// Width of the longest cell in one line.
    full: f32,
    /// Whether it holds figures.
    is_right: bool,
}

impl Columns {
    fn of(table: &Table, size: f32) -> Self {
        let longest = |text: &str, bold| {
            text.split(' ').map(|w| line_width(w, size, bold)).fold(0.0, f32::max)
        };
        let column = |(c, head): (usize, &String)| {
            let head = visible(head);
            let is_right = table.is_figures(c);
            let mut least = longest(&head, true);
            let mut full = line_width(&head, size, true).min(size * 9.0).max(least);
            for cell in table.rows.iter().filter_map(|row| row.get(c)) {
                let cell = visible(cell);
                let width = line_width(&cell, size, false);
                // Figures stay in one line.
                least = if is_right { width } else { longest(&cell, false) }.max(least);
                full = width.max(full);
            }
            // A single very long word is broken instead.
            Column { least: least.min(size * 16.0), full, is_right }
        };
        Self(table.head.iter().enumerate().map(column).collect())
    }

    fn least(&self, gap: f32) -> f32 {
        self.0.iter().map(|c| c.least).sum::<f32>() + gap * (self.0.len() - 1) as f32
    }

    /// Columns cut into groups that fit; each begins with the first column.
    fn groups(&self, width: f32, gap: f32) -> Vec<Vec<usize>> {
        let first = self.0[0].least;
        let mut groups = vec![vec![0]];
        let mut used = first;
        for (c, column) in self.0.iter().enumerate().skip(1) {
            let more = gap + column.least;
            let last = groups.len() - 1;
            if used + more > width && groups[last].len() > 1 {
                groups.push(vec![0, c]);
                used = first + more;
            } else {
                groups[last].push(c);
                used += more;
            }
        }
        groups
    }

    /// Room shared out: every column its least, then in proportion to what each lacks.
    fn places(&self, group: &[usize], width: f32, gap: f32) -> Vec<Place> {
        let room = width - gap * (group.len() - 1) as f32;
        let least: f32 = group.iter().map(|&c| self.0[c].least).sum();
        let full: f32 = group.iter().map(|&c| self.0[c].full).sum();
        let spare = room - least;
        let share = if full <= least { 1.0 } else { (spare / (full - least)).clamp(0.0, 1.0) };
        // What is left over widens the columns a little, never so far that the
        // eye loses the row.
        let extra = ((room - full) / group.len() as f32).clamp(0.0, gap * 1.6);
        let mut x = 0.0;
        let place = |&column: &usize| {
            let Column { least, full, is_right } = self.0[column];
            let width = least + share * (full - least) + extra;
            let place = Place { column, x, width, is_right };
            x += width + gap;
            place
        };
        group.iter().map(place).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(n_columns: usize) -> Table {
        let text = |s: &str| s.to_owned();
        Table {
            caption: text("Loss"),
            detail: crate::report::paper::Detail::Main,
            head: (0..n_columns).map(|i| format!("Seat {i}")).collect(),
            rows: vec![(0..n_columns).map(|i| format!("−{i}.5")).collect()],
        }
    }

    #[test]
    fn figures_go_to_the_right_and_words_to_the_left() {
        let mut t = table(3);
        t.rows.push(vec!["a".into(), "–".into(), "not measured".into()]);
        assert_eq!([0, 1, 2].map(|c| t.is_figures(c)), [false, true, false]);
        t.rows = vec![vec!["–".into(), String::new(), "3 of 6 seats".into()]];
        assert_eq!([0, 1, 2].map(|c| t.is_figures(c)), [false, false, true]);
    }

    #[test]
    fn columns_fill_the_width_and_never_more() {
        for n_columns in [1, 2, 7, 40] {
            let t = table(n_columns);
            let columns = Columns::of(&t, 8.0);
            let groups = columns.groups(480.0, 10.0);
            let mut seen: Vec<usize> = groups.concat();
            seen.sort_unstable();
            seen.dedup();
            assert_eq!(seen, (0..n_columns).collect::<Vec<_>>(), "every column once");
            assert!(groups.iter().all(|g| g[0] == 0));
            for group in groups {
                let places = columns.places(&group, 480.0, 10.0);
                let end = places.last().map(|p| p.x + p.width).unwrap();
                assert!(end <= 480.1, "{end}");
                for pair in places.windows(2) {
                    assert!((pair[1].x - pair[0].x - pair[0].width - 10.0).abs() < 1e-3);
                }
            }
        }
    }
}
