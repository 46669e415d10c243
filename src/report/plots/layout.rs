//! Where the parts of a figure go on the page.

use super::axes::{Axis, DecibelAxis, Scale, decibel_axis};
use super::figure::{Figure, YAxis};
use super::series::Rect;
use super::text::{text_width, wrap};

/// How a figure is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// A picture on its own, [`WIDTH`] x [`HEIGHT`], with its title and caption.
    File,
    /// A part of a paper, which sets title and caption itself: [`PAPER_WIDTH`] wide, and only
    /// as high as the values need in their proportion.
    Paper,
}

/// Width of a picture on its own, px.
pub const WIDTH: f64 = 1600.0;
/// Height of a picture on its own, px.
pub const HEIGHT: f64 = 1000.0;
/// Width in a paper, px.
pub const PAPER_WIDTH: f64 = 1400.0;
/// Least and greatest height of the plot itself in a paper, px.
const PAPER_ROOM: [f64; 2] = [290.0, 460.0];
/// Greatest height where values span more than the coarsest proportion shows in that, px.
const PAPER_ROOM_WIDE: f64 = 700.0;

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
pub(super) const STRIP_ROW: f64 = 32.0;

/// Places and sizes.
pub(super) struct Layout {
    pub(super) format: Format,
    /// Width and height of the page.
    pub(super) size: [f64; 2],
    pub(super) title: Vec<String>,
    pub(super) subtitle: Vec<String>,
    pub(super) caption: Vec<String>,
    /// The caption before it was broken into lines.
    pub(super) caption_text: String,
    pub(super) plot: Rect,
    pub(super) y: Axis,
    pub(super) label_size: f64,
}

impl Layout {
    pub(super) fn of(figure: &Figure, format: Format) -> Self {
        let is_file = format == Format::File;
        let page_width = if is_file { WIDTH } else { PAPER_WIDTH };
        let width = page_width - 2.0 * EDGE;
        let words = |text: &str, size, bold, n_lines| {
            if is_file { wrap(text, size, bold, width, n_lines) } else { Vec::new() }
        };
        let title = words(&figure.title, TITLE_SIZE, true, 2);
        let subtitle = words(&figure.subtitle, SUBTITLE_SIZE, false, 2);
        let labels = figure.labels();
        let label_size = match labels.len() {
            0..=10 => 25.0,
            11..=18 => 22.0,
            _ => 18.0,
        };
        let widest = labels
            .iter()
            .map(|l| text_width(l.text, label_size, true).min(LABEL_MAX))
            .fold(0.0, f64::max);
        let x_title = text_width(&figure.x.title, CAPTION_SIZE, false) + 34.0;
        let labels_width = if labels.is_empty() { 0.0 } else { widest + SAMPLE + 46.0 };
        let right = page_width - EDGE - labels_width.max(x_title);

        // The proportion is found out below; its words take the same room in any case.
        let proportion = |db: f64| match figure.x.scale {
            Scale::Log { .. } => format!(" {db} dB per decade (IEC\u{a0}60263)."),
            Scale::Linear { .. } => String::new(),
        };
        let longest = figure.caption.clone() + &proportion(50.0);
        let n_caption = words(&longest, CAPTION_SIZE, false, 3).len() as f64;
        let top = if is_file {
            86.0 + title.len() as f64 * TITLE_SIZE * 1.25
                + subtitle.len() as f64 * SUBTITLE_SIZE * 1.4
        } else {
            46.0
        };
        let strips = figure.strip.len() as f64 * STRIP_ROW;
        let footer = if is_file {
            68.0 + strips
                + n_caption * CAPTION_SIZE * 1.35
                + if n_caption > 0.0 { 22.0 } else { 0.0 }
        } else {
            48.0 + strips
        };
        let room = if is_file { HEIGHT - top - footer } else { PAPER_ROOM[1] };

        let YAxis { title: y_title, include_db, spare } = &figure.y;
        let [low, high] = figure.value_range().unwrap_or(*include_db);
        let range = [low.min(include_db[0]), high.max(include_db[1])];
        let decade_px = match figure.x.scale {
            Scale::Log { low, high } => (right - LEFT) / (high / low).log10(),
            Scale::Linear { .. } => 500.0,
        };
        let axis = |room| decibel_axis(range, decade_px, room, *spare, y_title);
        let decibels = if is_file { axis(room) } else { lowest(axis, range) };
        let caption_text = figure.caption.clone() + &proportion(decibels.db_per_decade);
        let height = decibels.height_px;
        let page_height = if is_file { HEIGHT } else { top + height + footer };
        Self {
            format,
            size: [page_width, page_height],
            title,
            subtitle,
            caption: words(&caption_text, CAPTION_SIZE, false, 3),
            caption_text,
            plot: Rect { left: LEFT, top, right, bottom: top + height },
            y: decibels.axis,
            label_size,
        }
    }

    /// A position and a value as px from the left and from the top.
    pub(super) fn point(&self, x: &Axis, at: f64, value: f64) -> [f64; 2] {
        let p = self.plot;
        [
            p.left + x.scale.position(at) * (p.right - p.left),
            p.bottom - self.y.scale.position(value) * (p.bottom - p.top),
        ]
    }
}

/// The lowest axis in the proportion that the greatest height would have: no more paper than
/// the values need. Where not even the greatest holds them, as high as they need, or the highest.
fn lowest(axis: impl Fn(f64) -> DecibelAxis, [low_db, high_db]: [f64; 2]) -> DecibelAxis {
    let shown = |d: &DecibelAxis| {
        let [low, high] = d.axis.scale.ends();
        low <= low_db && high >= high_db
    };
    let [least, greatest] = PAPER_ROOM;
    let usual = axis(greatest);
    let (least, highest) =
        if shown(&usual) { (least, usual) } else { (greatest, axis(PAPER_ROOM_WIDE)) };
    let holds = |d: &DecibelAxis| d.db_per_decade == highest.db_per_decade && shown(d);
    let rooms =
        (0..).map(|i| least + 20.0 * f64::from(i)).take_while(|room| *room < PAPER_ROOM_WIDE);
    rooms.map(axis).find(holds).unwrap_or(highest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;
    use crate::report::plots::figures;

    #[test]
    fn a_figure_in_a_paper_keeps_the_stated_proportion_and_saves_height() {
        for figure in figures(&example_result(6)) {
            let layout = Layout::of(&figure, Format::Paper);
            let Scale::Log { low, high } = figure.x.scale else { continue };
            let decade_px = (layout.plot.right - layout.plot.left) / (high / low).log10();
            let [bottom_db, top_db] = layout.y.scale.ends();
            let db_px = (layout.plot.bottom - layout.plot.top) / (top_db - bottom_db);
            let words = format!("{:.0} dB per decade", decade_px / db_px);
            assert!(layout.caption_text.contains(&words), "{words}: {}", layout.caption_text);
            assert!(layout.size[1] < 0.6 * layout.size[0], "{} is high", figure.id);
        }
    }
}
