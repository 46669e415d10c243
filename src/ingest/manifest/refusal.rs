//! A refusal of the manifest with line, column, the line itself and a caret.

use crate::ingest::printable::{is_invisible, plain, shown};
use std::fmt;
use std::ops::Range;
use std::path::PathBuf;
use unicode_width::UnicodeWidthChar;

/// One broken rule of the manifest, with its place in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ManifestRefusal {
    /// The file.
    pub path: PathBuf,
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// What was expected and found.
    pub problem: String,
    /// What to do; empty where the problem says it all.
    pub advice: String,
    /// The line (cut around the place where it is long), made printable.
    excerpt: String,
    /// Columns of the terminal before the caret, and under which it runs.
    caret: (usize, usize),
}

/// Longest description of a problem, characters.
const MAX_PROBLEM_CHARS: usize = 500;

/// Widest excerpt, columns of the terminal.
const EXCERPT_WIDTH: usize = 100;

impl ManifestRefusal {
    /// Builds the refusal for the bytes `span` of `text`; a span outside the text
    /// or across a character is moved to the nearest character.
    pub fn at(
        path: PathBuf,
        text: &str,
        span: Range<usize>,
        problem: impl Into<String>,
        advice: impl Into<String>,
    ) -> Self {
        let mut from = span.start.min(text.len());
        while !text.is_char_boundary(from) {
            from -= 1;
        }
        let line_start = text[..from].rfind('\n').map_or(0, |i| i + 1);
        let line_end = text[from..].find('\n').map_or(text.len(), |i| from + i);
        let line_text = text[line_start..line_end].trim_end_matches('\r');
        let line = text[..line_start].matches('\n').count() + 1;
        let column = text[line_start..from].chars().count() + 1;
        // Only what lies on this line is underlined.
        let to = span.end.clamp(from, line_end);
        let n_marked = text.get(from..to).map_or(1, |s| s.trim_end().chars().count()).max(1);
        let (excerpt, caret) = cut_out(line_text, column - 1, n_marked);
        // A key of a megabyte would drown the rest of the message.
        let mut problem: String = problem.into();
        if let Some((end, _)) = problem.char_indices().nth(MAX_PROBLEM_CHARS) {
            problem.replace_range(end.., "…");
        }
        Self { path, line, column, problem, advice: advice.into(), excerpt, caret }
    }
}

/// The part of `line` around character `at` that fits the terminal, with the
/// caret's first column and width in it.
fn cut_out(line: &str, at: usize, n_marked: usize) -> (String, (usize, usize)) {
    let cells: Vec<(char, usize)> = line
        .chars()
        .map(|c| match c {
            '\t' => (' ', 1),
            c if is_invisible(c) => ('\u{fffd}', 1),
            c => (c, c.width().unwrap_or(0)),
        })
        .collect();
    let width = |range: &[(char, usize)]| range.iter().map(|c| c.1).sum::<usize>();
    let at = at.min(cells.len());
    let (mut first, mut last) = (0, cells.len());
    if width(&cells) > EXCERPT_WIDTH {
        first = at.saturating_sub(EXCERPT_WIDTH / 3);
        last = (first + EXCERPT_WIDTH * 2 / 3).min(cells.len());
    }
    let mut excerpt = String::new();
    if first > 0 {
        excerpt.push('…');
    }
    let before = usize::from(first > 0) + width(&cells[first..at]);
    excerpt.extend(cells[first..last].iter().map(|c| c.0));
    let marked = width(&cells[at.min(last)..(at + n_marked).min(last)]).max(1);
    if last < cells.len() {
        excerpt.push('…');
    }
    (excerpt, (before, marked))
}

impl fmt::Display for ManifestRefusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.line.to_string();
        let gutter = " ".repeat(number.len());
        writeln!(
            f,
            "{}, line {}, column {}: {}",
            shown(&self.path),
            self.line,
            self.column,
            plain(&self.problem)
        )?;
        writeln!(f, " {gutter} |")?;
        writeln!(f, " {number} | {}", self.excerpt)?;
        write!(f, " {gutter} | {}{}", " ".repeat(self.caret.0), "^".repeat(self.caret.1))?;
        if !self.advice.is_empty() {
            write!(f, "\n {gutter} = {}", plain(&self.advice))?;
        }
        Ok(())
    }
}

impl std::error::Error for ManifestRefusal {}

#[cfg(test)]
mod tests {
    use super::*;

    fn refuse(text: &str, mark: &str) -> String {
        let at = text.find(mark).unwrap();
        ManifestRefusal::at("session.toml".into(), text, at..at + mark.len(), "wrong", "mend it")
            .to_string()
    }

    #[test]
    fn the_caret_stands_under_the_culprit() {
        assert_eq!(
            refuse("[screen]\r\ngap_mm = 65\r\n", "gap_mm"),
            "session.toml, line 2, column 1: wrong\n   |\n 2 | gap_mm = 65\n   | ^^^^^^\n   = mend it"
        );
        // Wide and zero-width characters: the caret counts terminal columns.
        let text = refuse("title = \"映画\" # x", "#");
        assert_eq!(text.lines().nth(2).unwrap(), " 1 | title = \"映画\" # x");
        let caret_line = text.lines().nth(3).unwrap();
        assert_eq!(caret_line, format!("   | {}^", " ".repeat(15)));
    }

    #[test]
    fn long_lines_are_cut_and_control_characters_shown() {
        let long = format!("{}here{}", "x".repeat(50_000), "y".repeat(50_000));
        let text = refuse(&long, "here");
        assert!(
            text.len() < 600 && text.contains("here") && text.contains("column 50001"),
            "{text}"
        );
        let text = refuse("a = \"\u{1b}[2J\" # b", "# b");
        assert!(!text.contains('\u{1b}'));
    }

    #[test]
    fn any_span_is_survived() {
        let text = "é = 1\nö";
        for start in 0..12 {
            for end in start..14 {
                let refusal = ManifestRefusal::at("a".into(), text, start..end, "p", "");
                assert!(!refusal.to_string().is_empty());
            }
        }
        let refusal = ManifestRefusal::at("a".into(), "", 0..0, "p", "");
        assert_eq!((refusal.line, refusal.column), (1, 1));
    }
}
