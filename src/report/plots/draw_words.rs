//! The words of a figure: title, limits, direct labels, numbers under the axis, caption.

use super::draw::{Page, path_data, style};
use super::figure::Mark;
use super::layout::{
    CAPTION_SIZE, EDGE, Format, LABEL_MAX, SAMPLE, STRIP_ROW, SUBTITLE_SIZE, TITLE_SIZE,
};
use super::series::{INK, MUTED_INK, Style, spread_labels};
use super::svg::Anchor;
use super::text::{fit, text_width};

impl Page<'_> {
    pub(super) fn header(&mut self) {
        let mut y = 20.0;
        for line in &self.layout.title {
            y += TITLE_SIZE * 1.25;
            self.svg.text([EDGE, y], style(TITLE_SIZE, true, INK, Anchor::Start), line);
        }
        y += 2.0;
        for line in &self.layout.subtitle {
            y += SUBTITLE_SIZE * 1.4;
            self.svg.text([EDGE, y], style(SUBTITLE_SIZE, false, MUTED_INK, Anchor::Start), line);
        }
        let at = [
            EDGE,
            self.layout.plot.top - if self.layout.format == Format::File { 24.0 } else { 18.0 },
        ];
        let title = self.layout.y.title.clone();
        self.svg.text(at, style(CAPTION_SIZE, false, MUTED_INK, Anchor::Start), &title);
    }

    /// The words of the limits, over everything else and with a white rim, since
    /// a curve may run through them.
    pub(super) fn limit_words(&mut self) {
        let plot = self.layout.plot;
        let baselines = self.limit_baselines();
        let limits = self.figure.marks.iter().filter_map(|mark| match mark {
            Mark::Limit { from_to, label, .. } => Some((from_to, label)),
            _ => None,
        });
        for ((from_to, label), y) in limits.zip(baselines) {
            let start = self.layout.point(&self.figure.x, from_to[0], 0.0)[0].max(plot.left);
            // A short line near the right edge has its words to the left.
            let width = text_width(label, CAPTION_SIZE, true);
            let x = (start + 6.0).min(plot.right - width - 6.0);
            let text = style(CAPTION_SIZE, true, Style::limit().color, Anchor::Start);
            self.svg.rimmed_text([x, y], text, label);
        }
    }

    /// Baselines of the limits' words: above their lines, moved apart where two meet.
    fn limit_baselines(&self) -> Vec<f64> {
        let plot = self.layout.plot;
        let lines = self.figure.marks.iter().filter_map(|mark| match mark {
            Mark::Limit { value, from_to, .. } => {
                Some(self.layout.point(&self.figure.x, from_to[0], *value)[1] - 10.0)
            }
            _ => None,
        });
        let wanted: Vec<f64> = lines.collect();
        spread_labels(&wanted, CAPTION_SIZE * 1.3, [plot.top, plot.bottom - 6.0])
    }

    pub(super) fn direct_labels(&mut self) {
        let labels = self.figure.labels();
        let plot = self.layout.plot;
        let size = self.layout.label_size;
        let ends: Vec<[f64; 2]> = labels
            .iter()
            .map(|l| {
                let [x, y] = self.layout.point(&self.figure.x, l.end.0, l.end.1);
                [x, y.clamp(plot.top, plot.bottom)]
            })
            .collect();
        let wanted: Vec<f64> = ends.iter().map(|e| e[1]).collect();
        let reach = [plot.top + size * 0.2, plot.bottom - size * 0.2];
        let placed = spread_labels(&wanted, size * 1.28, reach);
        for ((label, end), y) in labels.iter().zip(&ends).zip(placed) {
            let (look, bold) = match &self.figure.marks[label.index] {
                Mark::Curve(series) => (series.style.clone(), series.style == Style::main()),
                Mark::Dots { color, .. } | Mark::Bars { color, .. } => {
                    (Style { color, dash: "", width: 0.0 }, false)
                }
                _ => (Style::quiet(), false),
            };
            let id = format!("{}-label-{}", self.figure.id, label.index);
            self.svg.open("g", &[("id", &id), ("class", "label"), ("data-series", label.text)]);
            let start = plot.right + 28.0;
            if matches!(self.figure.marks[label.index], Mark::Curve(_)) {
                self.leader(*end, [start, y], look.color);
            }
            match &self.figure.marks[label.index] {
                Mark::Dots { radius, color, .. } => {
                    self.svg.dot([start + SAMPLE / 2.0, y], radius * 1.3, color, "dot");
                }
                Mark::Bars { color, width, .. } => {
                    let half = (width / 2.0).min(13.0);
                    let at = [start + SAMPLE / 2.0 - half, y - 12.0];
                    self.svg.rect(at, [2.0 * half, 24.0], color, "bar");
                }
                _ => self.path(&[vec![[start, y], [start + SAMPLE, y]]], &look),
            }
            // A curve that ends outside the plot is said to be there.
            let [low, high] = self.layout.y.scale.ends();
            let words = match label.end.1 {
                v if v < low => format!("{} (below)", label.text),
                v if v > high => format!("{} (above)", label.text),
                _ => label.text.to_owned(),
            };
            let room = self.layout.size[0] - 8.0 - (start + SAMPLE + 12.0);
            let shown = fit(&words, size, bold, room.min(LABEL_MAX + 28.0));
            let text = style(size, bold, INK, Anchor::Start);
            self.svg.text([start + SAMPLE + 12.0, y + size * 0.36], text, &shown);
            self.svg.close("g");
        }
    }

    /// A thin line from the end of a curve to its label.
    fn leader(&mut self, from: [f64; 2], to: [f64; 2], color: &str) {
        let x = from[0] + 5.0;
        let bend = [self.layout.plot.right.max(x), from[1]];
        self.svg.empty(
            "path",
            &[
                ("class", "leader"),
                ("d", &path_data(&[[x, from[1]], bend, to])),
                ("fill", "none"),
                ("stroke", color),
                ("stroke-width", "1.2"),
                ("stroke-opacity", "0.7"),
            ],
        );
    }

    pub(super) fn strip(&mut self) {
        let plot = self.layout.plot;
        for (row, strip) in self.figure.strip.iter().enumerate() {
            let y = plot.bottom + 44.0 + (row as f64 + 0.8) * STRIP_ROW;
            let spacing = strip
                .cells
                .windows(2)
                .map(|pair| {
                    let x =
                        |cell: &(f64, String)| self.layout.point(&self.figure.x, cell.0, 0.0)[0];
                    x(&pair[1]) - x(&pair[0])
                })
                .fold(f64::INFINITY, f64::min);
            let widest =
                strip.cells.iter().map(|(_, t)| text_width(t, 1.0, false)).fold(0.1, f64::max);
            let size = ((spacing - 7.0) / widest).clamp(8.0, 20.0);
            self.svg.open("g", &[("class", "strip")]);
            for (at, text) in &strip.cells {
                let [x, _] = self.layout.point(&self.figure.x, *at, 0.0);
                self.svg.text([x, y], style(size, false, INK, Anchor::Middle), text);
            }
            let words = style(CAPTION_SIZE, false, MUTED_INK, Anchor::Start);
            let label =
                fit(&strip.label, CAPTION_SIZE, false, self.layout.size[0] - plot.right - 20.0);
            self.svg.text([plot.right + 12.0, y], words, &label);
            self.svg.close("g");
        }
    }

    pub(super) fn caption(&mut self) {
        let n = self.layout.caption.len();
        for (i, line) in self.layout.caption.iter().enumerate() {
            let y = self.layout.size[1] - 24.0 - (n - 1 - i) as f64 * CAPTION_SIZE * 1.35;
            let text = style(CAPTION_SIZE, false, MUTED_INK, Anchor::Start);
            self.svg.text([EDGE, y], text, line);
        }
    }
}
