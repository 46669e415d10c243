//! The words of a figure: title, limits, direct labels, numbers under the axis, caption.

use super::draw::{Page, path_data, style};
use super::figure::Mark;
use super::layout::{
    CAPTION_SIZE, EDGE, Format, LABEL_MAX, SAMPLE, STRIP_ROW, SUBTITLE_SIZE, TITLE_SIZE,
};
use super::series::{INK, MUTED_INK, Rect, Style, clip, spread_labels};
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

    /// The words of the limits, with a white rim, each where least of what is drawn lies under it.
    pub(super) fn limit_words(&mut self) {
        let mut lines = self.drawn_lines();
        let mut taken: Vec<Rect> = Vec::new();
        for mark in &self.figure.marks {
            let Mark::Limit { value, from_to, label } = mark else { continue };
            if label.is_empty() {
                continue;
            }
            let ends = from_to.map(|at| self.layout.point(&self.figure.x, at, *value));
            let place = self.limit_place(ends, label, &lines, &taken);
            let text = style(CAPTION_SIZE, true, Style::limit().color, Anchor::Start);
            if let Some([from, to]) = leader_of(ends, place) {
                self.svg.line(from, to, Style::limit().color, 1.2, "leader");
                lines.push([from, to]);
            }
            self.svg.rimmed_text([place.left, place.bottom - 5.0], text, label);
            taken.push(place);
        }
    }

    /// The box of a limit's words: above or below its line, from its left end to its right end
    /// (from right to left of a line shorter than the words), at the first of the clearest places.
    fn limit_place(
        &self,
        [from, to]: [[f64; 2]; 2],
        label: &str,
        lines: &[[[f64; 2]; 2]],
        taken: &[Rect],
    ) -> Rect {
        let plot = self.layout.plot;
        let width = text_width(label, CAPTION_SIZE, true);
        let height = CAPTION_SIZE + 6.0;
        let reach = [plot.left + 6.0, (plot.right - width - 6.0).max(plot.left + 6.0)];
        let first = (from[0].max(plot.left) + 6.0).clamp(reach[0], reach[1]);
        let last = (to[0].min(plot.right) - width - 6.0).clamp(reach[0], reach[1]);
        let mut best: Option<(usize, Rect)> = None;
        for n_rows in 0..4u8 {
            for above in [true, false] {
                let rows = f64::from(n_rows) * height;
                let bottom =
                    if above { from[1] - 5.0 - rows } else { from[1] + 5.0 + height + rows };
                for step in 0..=20 {
                    let left = first + (last - first) * f64::from(step) / 20.0;
                    let place = Rect { left, top: bottom - height, right: left + width, bottom };
                    let meets = |other: &Rect| {
                        other.left < place.right
                            && other.right > place.left
                            && other.top < place.bottom
                            && other.bottom > place.top
                    };
                    let outside = place.top < plot.top || place.bottom > plot.bottom;
                    let hidden =
                        lines.iter().filter(|ends| !clip(&ends.map(Some), place).is_empty());
                    let leader = leader_of([from, to], place);
                    let crossed = taken.iter().filter(|other| {
                        leader.is_some_and(|ends| !clip(&ends.map(Some), **other).is_empty())
                    });
                    // Better three rows away than a curve under the words.
                    let cost = 3 * (hidden.count() + crossed.count())
                        + usize::from(n_rows)
                        + 1000 * taken.iter().filter(|other| meets(other)).count()
                        + if outside { 100_000 } else { 0 };
                    if best.is_none_or(|(least, _)| cost < least) {
                        best = Some((cost, place));
                    }
                }
            }
        }
        let above =
            Rect { left: first, top: from[1] - 31.0, right: first + width, bottom: from[1] };
        best.map_or(above, |(_, place)| place)
    }

    /// Pieces of curves and limits, edges of bars and dots: what words would hide, px.
    pub(super) fn drawn_lines(&self) -> Vec<[[f64; 2]; 2]> {
        let point = |at, value| self.layout.point(&self.figure.x, at, value);
        let mut lines = Vec::new();
        for mark in &self.figure.marks {
            match mark {
                Mark::Curve(series) => {
                    let at = |p: &(f64, Option<f64>)| Some(point(p.0, p.1?));
                    let pieces = series.points.windows(2);
                    lines.extend(pieces.filter_map(|w| Some([at(&w[0])?, at(&w[1])?])));
                }
                Mark::Limit { value, from_to, .. } => {
                    lines.push(from_to.map(|at| point(at, *value)))
                }
                Mark::Bars { bars, .. } => {
                    lines.extend(bars.iter().map(|(at, ends)| ends.map(|value| point(*at, value))));
                }
                Mark::Dots { points, .. } => {
                    let dots = points.iter().filter_map(|p| Some(point(p.0, p.1?)));
                    lines.extend(dots.map(|dot| [dot, dot]));
                }
                Mark::Area { .. } | Mark::Divide { .. } => {}
            }
        }
        lines
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
            let room = room.min(LABEL_MAX + 28.0);
            // A few characters too many make it smaller, many are cut.
            let size = size * (room / text_width(&words, size, bold)).clamp(0.8, 1.0);
            let shown = fit(&words, size, bold, room);
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

/// A thin line from a limit to the box of its words where they stand further away, px.
fn leader_of([from, to]: [[f64; 2]; 2], place: Rect) -> Option<[[f64; 2]; 2]> {
    let edge = if place.bottom < from[1] { place.bottom } else { place.top };
    let middle = (from[0].max(place.left) + to[0].min(place.right)) / 2.0;
    let x = middle.clamp(place.left, place.right);
    ((edge - from[1]).abs() > 8.0).then_some([[x, from[1]], [x, edge]])
}

#[cfg(test)]
mod tests {
    use super::super::axes::{Axis, Spare};
    use super::super::figure::{Figure, YAxis};
    use super::super::layout::{Format, Layout};
    use super::super::series::Series;
    use super::super::svg::Svg;
    use super::*;

    /// A limit of 1 dB from 100 Hz to 10 kHz over a curve that zigzags through its words below
    /// 1 kHz and lies far away above.
    fn figure(limits: &[f64]) -> Figure {
        let curve = (0..=40).map(|k| {
            let hz = 100.0 * 10f64.powf(f64::from(k) / 20.0);
            let near = if k % 2 == 0 { 0.0 } else { 2.0 };
            (hz, Some(if hz < 1000.0 { near } else { -4.0 }))
        });
        let limit = |&value: &f64| Mark::Limit {
            value,
            from_to: [100.0, 10_000.0],
            label: "at most".into(),
        };
        let curve = Mark::Curve(Series::new("Loss", curve.collect(), Style::main()));
        Figure {
            id: "claims",
            title: String::new(),
            subtitle: String::new(),
            description: String::new(),
            caption: String::new(),
            x: Axis::frequency(100.0, 10_000.0),
            y: YAxis { title: "dB".into(), include_db: [-5.0, 5.0], spare: Spare::Top },
            marks: limits.iter().map(limit).chain([curve]).collect(),
            strip: Vec::new(),
        }
    }

    #[test]
    fn the_words_of_a_limit_hide_no_curve() {
        let figure = figure(&[1.0]);
        let layout = Layout::of(&figure, Format::File);
        let page = Page { figure: &figure, layout: &layout, svg: Svg::new() };
        let ends = [100.0, 10_000.0].map(|hz| layout.point(&figure.x, hz, 1.0));
        let place = page.limit_place(ends, "at most", &page.drawn_lines(), &[]);
        let one_khz = layout.point(&figure.x, 1000.0, 0.0)[0];
        assert!(place.left >= one_khz && place.right <= ends[1][0], "{place:?}, {one_khz}");
        assert!((ends[0][1] - place.bottom).abs() < 6.0, "beside its line");
    }

    #[test]
    fn words_of_limits_close_together_do_not_meet() {
        let svg = figure(&[1.0, 1.1, 1.2]).to_svg(Format::File);
        let number = |line: &str, key: &str| -> f64 {
            let from = line.find(key).expect("attribute") + key.len();
            line[from..].split('"').next().unwrap().parse().unwrap()
        };
        let places: Vec<[f64; 2]> = svg
            .lines()
            .filter(|l| l.starts_with("<text") && l.contains(">at most<"))
            .map(|l| [number(l, " x=\""), number(l, " y=\"")])
            .collect();
        assert_eq!(places.len(), 3);
        let width = text_width("at most", CAPTION_SIZE, true);
        for (i, a) in places.iter().enumerate() {
            for b in &places[..i] {
                let apart = (a[0] - b[0]).abs() >= width || (a[1] - b[1]).abs() >= CAPTION_SIZE;
                assert!(apart, "{a:?} {b:?}");
            }
        }
    }
}
