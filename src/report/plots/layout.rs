//! Where the parts of a figure go on the page.

use super::axes::{Axis, DecibelAxis};
use super::clip::Rect;
use super::figure::{Figure, StripRow};
use super::text::{text_width, wrap};

/// How a figure is laid out: no higher than its values need in their proportion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// A picture on its own, [`WIDTH`] wide and at most [`HEIGHT`] high, with title and caption.
    File,
    /// A part of a paper, which sets title and caption itself: [`PAPER_WIDTH`] wide.
    Paper,
}

/// Width of a picture on its own, px.
pub const WIDTH: f64 = 1600.0;
/// Greatest height of a picture on its own, px.
pub const HEIGHT: f64 = 1000.0;
/// Width in a paper, px.
pub const PAPER_WIDTH: f64 = 1400.0;
/// Least height of the plot itself, px.
const LEAST_ROOM: f64 = 290.0;
/// Greatest height of the plot itself in a paper, px; the second where values span more than the
/// coarsest proportion shows in the first.
const PAPER_ROOM: [f64; 2] = [460.0, 700.0];

/// Space left of the axis, px.
const LEFT: f64 = 104.0;
/// Space at the page's other edges, px.
pub(super) const EDGE: f64 = 36.0;
/// Widest direct label, px.
pub(super) const LABEL_MAX: f64 = 230.0;
/// Length of the sample of the line before a direct label, px.
pub(super) const SAMPLE: f64 = 44.0;
pub(super) const TITLE_SIZE: f64 = 38.0;
pub(super) const SUBTITLE_SIZE: f64 = 25.0;
pub(super) const CAPTION_SIZE: f64 = 20.0;
pub(super) const TICK_SIZE: f64 = 24.0;
/// Numbers under the axis: in the column of an A4 paper, of 483 pt and at the least scale of its
/// plots, 6.5 pt high.
pub const STRIP_SIZE: f64 = 20.0;
pub(super) const STRIP_LINE: f64 = 32.0;

/// Places and sizes.
pub(super) struct Layout {
    pub(super) format: Format,
    /// Width and height of the page.
    pub(super) size: [f64; 2],
    pub(super) lines: Lines,
    /// The caption before it was broken into lines.
    pub(super) caption_text: String,
    pub(super) plot: Rect,
    pub(super) y: Axis,
    pub(super) label_size: f64,
    /// Lines that each row of numbers under the axis takes.
    pub(super) strip_lines: Vec<usize>,
}

/// Title, subtitle and caption of a picture on its own, broken into lines; none in a paper.
pub(super) struct Lines {
    pub(super) title: Vec<String>,
    pub(super) subtitle: Vec<String>,
    pub(super) caption: Vec<String>,
}

impl Lines {
    pub(super) fn of([title, subtitle, caption]: [&str; 3], format: Format) -> Self {
        let lines = |words: &str, size, bold, most| {
            let most = if format == Format::File { most } else { 0 };
            wrap(words, size, bold, WIDTH - 2.0 * EDGE, most)
        };
        Self {
            title: lines(title, TITLE_SIZE, true, 2),
            subtitle: lines(subtitle, SUBTITLE_SIZE, false, 2),
            caption: lines(caption, CAPTION_SIZE, false, 3),
        }
    }

    /// Height that title and subtitle take, px.
    pub(super) fn heading_px(&self) -> f64 {
        self.title.len() as f64 * TITLE_SIZE * 1.25
            + self.subtitle.len() as f64 * SUBTITLE_SIZE * 1.4
    }
}

impl Layout {
    pub(super) fn of(figure: &Figure, format: Format) -> Self {
        let is_file = format == Format::File;
        let page_width = if is_file { WIDTH } else { PAPER_WIDTH };
        let (label_size, labels_width) = label_room(figure);
        let right = page_width - EDGE - labels_width;
        let decade_px = (right - LEFT) / (figure.x.ends[1] - figure.x.ends[0]);
        let strip_lines: Vec<_> = figure.strip.iter().map(|row| n_lines(row, decade_px)).collect();

        // The proportion is found out below; its words take the same room in any case.
        let session = figure.session.iter().map(|title| format!(", {title}"));
        let subtitle = std::iter::once(figure.subtitle.clone()).chain(session).collect::<String>();
        let lines = |db| Lines::of([&figure.title, &subtitle, &captioned(figure, db)], format);
        let strips = strip_lines.iter().sum::<usize>() as f64 * STRIP_LINE;
        let [top, footer] = if is_file {
            let lines = lines(50.0);
            let caption = lines.caption.len() as f64 * CAPTION_SIZE * 1.35;
            [86.0 + lines.heading_px(), 90.0 + strips + caption]
        } else {
            [46.0, 48.0 + strips]
        };
        let [usual, widest] = if is_file { [HEIGHT - top - footer; 2] } else { PAPER_ROOM };
        let range_db = figure.value_range();
        let axis = |height_px| DecibelAxis::of(range_db, decade_px, height_px, figure.is_zoomed);
        let mut y = axis([LEAST_ROOM, usual]);
        if !y.shows(range_db) {
            y = axis([usual, widest]);
        }
        let bottom = top + (y.axis.ends[1] - y.axis.ends[0]) * decade_px / y.db_per_decade;
        Self {
            format,
            // Whole pixels, of which the pictures are made.
            size: [page_width, (bottom + footer).ceil()],
            lines: lines(y.db_per_decade),
            caption_text: captioned(figure, y.db_per_decade),
            plot: Rect { left: LEFT, top, right, bottom },
            y: y.axis,
            label_size,
            strip_lines,
        }
    }
}

/// Size of the direct labels, and width of all that stands right of the plot, px.
fn label_room(figure: &Figure) -> (f64, f64) {
    let labels = figure.labels();
    let size = match labels.len() {
        0..=10 => 25.0,
        11..=18 => 22.0,
        _ => 18.0,
    };
    let widths = labels.iter().map(|(_, text, _)| text_width(text, size, true).min(LABEL_MAX));
    let widest = widths.map(|width| width + SAMPLE + 46.0).fold(0.0, f64::max);
    (size, widest.max(text_width(&figure.x.title, CAPTION_SIZE, false) + 34.0))
}

/// How to read a figure, with the proportion of its axes.
fn captioned(figure: &Figure, db_per_decade: f64) -> String {
    let proportion = match db_per_decade {
        db if db < 10.0 => format!("{db} dB per decade, finer than in IEC\u{a0}60263."),
        db => format!("{db} dB per decade (IEC\u{a0}60263)."),
    };
    format!("{} {proportion}", figure.caption)
}

/// Lines of a row of numbers: as many as keep neighbours on one line apart.
fn n_lines(row: &StripRow, decade_px: f64) -> usize {
    let steps = row.cells.windows(2).map(|pair| (pair[1].0 / pair[0].0).log10());
    let spacing = steps.fold(f64::INFINITY, f64::min) * decade_px;
    let widths = row.cells.iter().map(|(_, text)| text_width(text, STRIP_SIZE, false));
    let widest = widths.fold(0.0, f64::max);
    (((widest + 4.0) / spacing).ceil() as usize).clamp(1, 3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::manifest::DisplayUnits;
    use crate::report::example::example_result;
    use crate::report::plots::figures;

    #[test]
    fn numbers_under_the_axis_do_not_meet() {
        for figure in figures(&example_result(6), DisplayUnits::Metric) {
            for format in [Format::File, Format::Paper] {
                let layout = Layout::of(&figure, format);
                let [low, high] = figure.x.ends;
                let decade_px = (layout.plot.right - layout.plot.left) / (high - low);
                for (row, n_lines) in figure.strip.iter().zip(&layout.strip_lines) {
                    for pair in row.cells.windows(n_lines + 1) {
                        let (a, b) = (&pair[0], &pair[*n_lines]);
                        let widths = [a, b].map(|(_, text)| text_width(text, STRIP_SIZE, false));
                        let apart =
                            (b.0 / a.0).log10() * decade_px - widths.iter().sum::<f64>() / 2.0;
                        assert!(apart >= 4.0, "{} {format:?}: {a:?} {b:?} {apart}", figure.id);
                    }
                }
            }
        }
    }

    #[test]
    fn a_figure_in_a_paper_keeps_the_stated_proportion_and_saves_height() {
        for figure in figures(&example_result(6), DisplayUnits::Metric) {
            let layout = Layout::of(&figure, Format::Paper);
            let [low, high] = figure.x.ends;
            let decade_px = (layout.plot.right - layout.plot.left) / (high - low);
            let [bottom_db, top_db] = layout.y.ends;
            let db_px = (layout.plot.bottom - layout.plot.top) / (top_db - bottom_db);
            let words = format!("{:.0} dB per decade", decade_px / db_px);
            assert!(layout.caption_text.contains(&words), "{words}: {}", layout.caption_text);
            assert!(layout.size[1] < 0.6 * layout.size[0], "{} is high", figure.id);
        }
    }
}
