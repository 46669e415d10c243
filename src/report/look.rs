//! How text is set on a terminal.

use anstyle::{AnsiColor, Style};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Width and colours of the terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Columns.
    pub width: usize,
    /// Whether colours may be used.
    pub color: bool,
}

/// Headings, and the figure that matters most.
pub const BOLD: Style = Style::new().bold();
/// What stands back.
pub const DIM: Style = Style::new().dimmed();
/// Warnings.
pub const CAUTION: Style = AnsiColor::Yellow.on_default().bold();

impl Look {
    /// Text in a style, where colours may be used.
    pub fn paint(self, style: Style, text: &str) -> String {
        if self.color { format!("{style}{text}{style:#}") } else { text.to_owned() }
    }
}

/// Text broken between words at `width` columns, with the indent of the first
/// and of later lines; a word that is too long keeps a line of its own.
pub fn paragraph(text: &str, first: &str, later: &str, width: usize) -> String {
    let mut out = String::new();
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        if !empty && line.width() + 1 + word.width() > width {
            out += &line;
            out.push('\n');
            line = later.to_owned();
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line += word;
        empty = false;
    }
    out + &line + "\n"
}

/// Rows of cells as text: the first column to the left, figures to the right.
pub fn columns(rows: &[Vec<String>]) -> String {
    aligned(rows, 1)
}

/// Rows of cells in columns, the first `n_left` flush left, the others flush right.
pub fn aligned(rows: &[Vec<String>], n_left: usize) -> String {
    let width = |i: usize| rows.iter().filter_map(|row| Some(row.get(i)?.width())).max();
    let n_columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..n_columns).map(|i| width(i).unwrap_or(0)).collect();
    let cell = |(i, (cell, width)): (usize, (&String, &usize))| {
        let pad = " ".repeat(width - cell.width());
        if i < n_left { format!("{cell}{pad}") } else { format!("{pad}{cell}") }
    };
    let line = |row: &Vec<String>| {
        let cells: Vec<String> = row.iter().zip(&widths).enumerate().map(cell).collect();
        format!("{}\n", cells.join("  ").trim_end())
    };
    rows.iter().map(line).collect()
}

/// Text cut to a number of columns, with an ellipsis where something was cut.
pub fn cut(text: &str, columns: usize) -> String {
    if text.width() <= columns {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut used = 1;
    for c in text.chars() {
        used += c.width().unwrap_or(0);
        if used > columns {
            break;
        }
        kept.push(c);
    }
    kept + "\u{2026}"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paragraphs_break_between_words() {
        assert_eq!(paragraph("one two three", "- ", "  ", 9), "- one two\n  three\n");
        assert_eq!(paragraph("unbreakable", "", "", 4), "unbreakable\n");
    }

    #[test]
    fn wide_characters_count_twice() {
        assert_eq!(cut("席番号", 5), "席番\u{2026}");
        assert_eq!(cut("abc", 3), "abc");
        assert_eq!(cut("abcd", 3), "ab\u{2026}");
    }
}
