//! The result on a terminal: a table of losses, then what was found in sentences.

use super::findings::{findings_text, further_warnings, warnings_text};
use super::look::{BOLD, DIM, Look, cut, paragraph};
use super::paper::writer::dash;
use super::result::{Band, SessionResult};
use super::takes::{all_used, seats_in_doubt, takes_sentences};
use crate::ingest::error::plain;
use crate::ingest::manifest::DisplayUnits;
use crate::words::{frequency_words, list_words, signed};
use std::collections::BTreeMap;
use unicode_width::UnicodeWidthStr;

/// The whole text: title, table, legend, findings, warnings. Ends with a line feed.
pub fn table_text(result: &SessionResult, look: Look) -> String {
    let mut out = String::new();
    let date = result.date.as_ref().map(|d| format!(", {}", plain(d))).unwrap_or_default();
    out += &look.paint(BOLD, &format!("{}{date}", plain(&result.title)));
    out += "\nLoss by the screen, dB, in third-octave bands; positive = the screen takes energy away.\n\n";
    out += &Grid::of(result, look.width).text(look);
    if !all_used(result) {
        for line in takes_sentences(result) {
            out += &paragraph(&line, "  ", "    ", look.width);
        }
    }
    for line in legend(result) {
        out += &paragraph(&line, "  ", "    ", look.width);
    }
    out += &findings_text(result, look);
    out += &warnings_text(&further_warnings(result, DisplayUnits::Metric), look);
    out
}

/// Rows and columns before they are set.
struct Grid {
    /// Column titles; the first is the band.
    header: Vec<String>,
    rows: Vec<Vec<String>>,
    /// Index of the mean, which is set in bold.
    mean: Option<usize>,
    /// Index of the first column after the seats: a rule stands before it.
    after_seats: usize,
    /// What the columns are, where it does not go without saying.
    note: &'static str,
}

/// Longest seat name in a column head.
const NAME_COLUMNS: usize = 10;

impl Grid {
    /// The most telling grid that fits: every seat with its uncertainty; every
    /// seat without; only the smallest and largest.
    fn of(result: &SessionResult, width: usize) -> Self {
        let full = Self::with_seats(result, true);
        if full.width() <= width {
            return full;
        }
        let short = Self::with_seats(result, false);
        if short.width() <= width { short } else { Self::summary(result) }
    }

    fn with_seats(result: &SessionResult, uncertainty: bool) -> Self {
        let mut header = vec!["Hz".to_owned()];
        header.extend(result.seats.iter().map(|s| {
            let mark = if s.doubtful_takes.is_empty() { "" } else { "?" };
            cut(&plain(&s.id), NAME_COLUMNS) + mark
        }));
        let after_seats = header.len();
        let row = |(b, band): (usize, &Band)| {
            let mut row = vec![band.label()];
            row.extend(result.seats.iter().map(|seat| {
                let u95 = if uncertainty { seat.u95_db[b] } else { None };
                let mark = if seat.doubtful[b] { "?" } else { "" };
                figure(seat.loss_db[b], u95) + mark
            }));
            if !uncertainty {
                let largest = result.seats.iter().filter_map(|s| s.u95_db[b]).reduce(f64::max);
                row.push(figure(largest, None));
            }
            row
        };
        let rows = result.bands.iter().enumerate().map(row).collect();
        let note = if uncertainty {
            "\u{b1}: expanded uncertainty, 95 %. From 500 Hz up: the direct sound; below: all that \
             reaches the seat."
        } else {
            header.push("U".into());
            "\u{b1}: expanded uncertainty of the mean, 95 %; U: largest of a seat. From 500 Hz up: \
             the direct sound; below: all that reaches the seat."
        };
        Self { header, rows, mean: None, after_seats, note }.with_mean(result)
    }

    fn summary(result: &SessionResult) -> Self {
        let header = ["Hz", "least", "at", "most", "at"].map(str::to_owned).to_vec();
        let row = |(b, band): (usize, &Band)| {
            let values = || result.seats.iter().filter_map(|s| Some((s.loss_db[b]?, &s.id)));
            let least = values().min_by(|x, y| x.0.total_cmp(&y.0));
            let most = values().max_by(|x, y| x.0.total_cmp(&y.0));
            let cells = [least, most].into_iter().flat_map(|extreme| {
                let seat = extreme.map_or_else(dash, |e| cut(&plain(e.1), NAME_COLUMNS));
                [figure(extreme.map(|e| e.0), None), seat]
            });
            std::iter::once(band.label()).chain(cells).collect()
        };
        Self {
            after_seats: header.len(),
            header,
            rows: result.bands.iter().enumerate().map(row).collect(),
            mean: None,
            note: "\u{b1}: expanded uncertainty of the mean, 95 %. \
                   Each seat's figures are in bands.csv.",
        }
        .with_mean(result)
    }

    fn with_mean(mut self, result: &SessionResult) -> Self {
        if result.seats.len() < 2 {
            return self;
        }
        self.mean = Some(self.header.len());
        self.header.extend(["mean", "s", "range"].map(str::to_owned));
        let mean = &result.mean;
        for (b, row) in self.rows.iter_mut().enumerate() {
            row.push(figure(mean.loss_db[b], mean.u95_db[b]));
            row.extend([mean.sd_db[b], mean.range_db[b]].map(|db| figure(db, None)));
        }
        self
    }

    fn column_width(&self, column: usize) -> usize {
        let cells = self.rows.iter().map(|row| row[column].width());
        cells.chain([self.header[column].width()]).max().unwrap_or(0)
    }

    fn width(&self) -> usize {
        (0..self.header.len()).map(|c| self.column_width(c) + GAP.len()).sum::<usize>() + 2
    }

    fn text(&self, look: Look) -> String {
        let widths: Vec<usize> = (0..self.header.len()).map(|c| self.column_width(c)).collect();
        let line = |row: &[String], paint: &dyn Fn(usize, &str) -> String| {
            let mut line = String::new();
            for (c, cell) in row.iter().enumerate() {
                if c == self.after_seats {
                    line += &look.paint(DIM, " \u{2502}");
                }
                let room = " ".repeat(widths[c].saturating_sub(cell.width()));
                line += GAP;
                line += &room;
                line += &paint(c, cell);
            }
            line.push('\n');
            line
        };
        let bold_mean = |c: usize, cell: &str| {
            if Some(c) == self.mean { look.paint(BOLD, cell) } else { cell.to_owned() }
        };
        let mut out = line(&self.header, &|_, cell| look.paint(BOLD, cell));
        for row in &self.rows {
            out += &line(row, &bold_mean);
        }
        out + "\n" + &paragraph(self.note, "  ", "  ", look.width)
    }
}

const GAP: &str = "  ";
const DASH: &str = "\u{2013}";

/// "1.23 ±0.10", "1.23", or a dash.
fn figure(value: Option<f64>, u95: Option<f64>) -> String {
    match (value, u95) {
        (None, _) => dash(),
        (Some(v), None) => signed(v, 2),
        (Some(v), Some(u)) => format!("{} \u{b1}{u:.2}", signed(v, 2)),
    }
}

/// What the marks in the table mean, and why values are missing.
fn legend(result: &SessionResult) -> Vec<String> {
    let mut lines = Vec::new();
    let mut doubtful: BTreeMap<usize, Vec<String>> = BTreeMap::new();
    let mut absent: BTreeMap<(&str, Vec<usize>), Vec<String>> = BTreeMap::new();
    for seat in &result.seats {
        let id = plain(&seat.id);
        for b in (0..result.bands.len()).filter(|&b| seat.doubtful[b]) {
            doubtful.entry(b).or_default().push(id.clone());
        }
        for entry in seat.absent_by_reason() {
            absent.entry(entry).or_default().push(id.clone());
        }
    }
    let all = result.seats.len();
    let seats = |ids: &[String]| match ids.len() {
        n if n == all && n > 1 => "all seats".to_owned(),
        0..=6 => list_words(ids),
        n => format!("{n} seats"),
    };
    if !doubtful.is_empty() {
        let name = |b: usize| frequency_words(result.bands[b].nominal_hz);
        let place = |(b, ids): (&usize, &Vec<String>)| format!("{} ({})", name(*b), seats(ids));
        let places: Vec<String> = doubtful.iter().map(place).collect();
        let places = list_words(&places);
        lines.push(format!("?: doubtful, only 4 to 10 dB above the noise: {places}."));
    }
    let in_doubt = seats_in_doubt(result);
    if !in_doubt.is_empty() {
        lines.push(format!("? behind a seat: it rests on doubtful takes ({}).", seats(&in_doubt)));
    }
    const MOST: usize = 6;
    for ((reason, bands), ids) in absent.iter().take(MOST) {
        let names = bands_words(result, bands);
        lines.push(format!("{DASH}: no value at {names} ({}): {reason}.", seats(ids)));
    }
    if absent.len() > MOST {
        let more = absent.len() - MOST;
        lines.push(format!("{DASH}: {more} more reasons for missing values are in bands.csv."));
    }
    lines
}

/// Runs of bands: "100 Hz to 200 Hz and 16 kHz".
fn bands_words(result: &SessionResult, bands: &[usize]) -> String {
    let mut runs: Vec<[usize; 2]> = Vec::new();
    for &b in bands {
        match runs.last_mut() {
            Some(run) if run[1] + 1 == b => run[1] = b,
            _ => runs.push([b, b]),
        }
    }
    let name = |b: usize| frequency_words(result.bands[b].nominal_hz);
    let words: Vec<String> = runs
        .iter()
        .map(|&[a, b]| if a == b { name(a) } else { format!("{} to {}", name(a), name(b)) })
        .collect();
    list_words(&words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;

    const PLAIN: Look = Look { width: 100, color: false };

    #[test]
    fn every_seat_has_a_column_where_they_fit() {
        let result = example_result(3);
        let text = table_text(&result, PLAIN);
        let header = text.lines().find(|l| l.contains("R1L")).unwrap();
        let words: Vec<&str> = header.split_whitespace().collect();
        assert_eq!(words, ["Hz", "R1L", "R1C", "R1R", "\u{2502}", "mean", "s", "range"]);
        let row = text.lines().find(|l| l.trim_start().starts_with("1k ")).unwrap();
        let mean = format!("{:.2} \u{b1}{:.2}", result.mean.loss_db[10].unwrap(), 0.105);
        assert!(row.contains(&mean), "{row} lacks {mean}");
        assert!(row.contains(&format!("{:.2} \u{b1}", result.seats[1].loss_db[10].unwrap())));
        assert!(text.contains("125 Hz (all seats): only 2.2 dB above the noise"), "{text}");
        assert!(text.contains("?: doubtful") && text.contains("160 Hz (R1L)"));
        assert!(!text.contains('\u{1b}'));
    }

    #[test]
    fn no_line_is_wider_than_the_terminal() {
        for n_seats in [1, 2, 6, 9, 40] {
            for width in [60, 80, 120] {
                let text = table_text(&example_result(n_seats), Look { width, color: false });
                for line in text.lines() {
                    assert!(line.width() <= width.max(88), "{n_seats} seats, {width}: {line}");
                }
                let row = text.lines().find(|l| l.trim_start().starts_with("1k ")).unwrap();
                assert!(row.width() <= width, "{n_seats} seats, {width}: {row}");
            }
        }
    }

    #[test]
    fn colours_are_only_added() {
        let result = example_result(6);
        let colored = table_text(&result, Look { color: true, ..PLAIN });
        assert!(colored.contains('\u{1b}'));
        let mut stripped = String::new();
        let mut escape = false;
        for c in colored.chars() {
            match c {
                '\u{1b}' => escape = true,
                'm' if escape => escape = false,
                c if !escape => stripped.push(c),
                _ => {}
            }
        }
        assert_eq!(stripped, table_text(&result, PLAIN));
    }

    #[test]
    fn names_cannot_drive_the_terminal() {
        let mut result = example_result(2);
        result.seats[0].id = "\u{1b}[2J\u{7}x".into();
        result.title = "a\u{1b}]0;b\u{7}\nc".into();
        result.warnings[0].message = "take \u{1b}[31m".into();
        let text = table_text(&result, PLAIN);
        assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
    }

    #[test]
    fn wide_characters_keep_the_columns() {
        let mut result = example_result(2);
        result.seats[0].id = "席番号".into();
        let text = table_text(&result, PLAIN);
        let rule = |l: &str| l.split('\u{2502}').next().unwrap().width();
        let widths: Vec<usize> =
            text.lines().filter(|l| l.contains('\u{2502}')).map(rule).collect();
        assert_eq!(widths.len(), 24);
        assert!(widths.iter().all(|w| *w == widths[0]), "{widths:?}");
    }
}
