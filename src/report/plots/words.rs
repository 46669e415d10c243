//! The words of a figure: title, limits, direct labels, numbers under the axis, caption.

use super::backend::{pair, stroke, units};
use super::chart::Page;
use super::clip::{Rect, clip};
use super::colors::{INK, MUTED_INK, QUIET};
use super::figure::Mark;
use super::layout::{
    CAPTION_SIZE, EDGE, Format, LABEL_MAX, Lines, SAMPLE, STRIP_LINE, STRIP_SIZE, SUBTITLE_SIZE,
    TITLE_SIZE,
};
use super::series::Style;
use super::svg::{Svg, Text};
use super::text::{fit, text_width};
use plotters::element::{Circle, PathElement, Rectangle};
use plotters::style::{Color, ShapeStyle};

/// A straight piece of what is drawn, px.
type Piece = [[f64; 2]; 2];

/// Title and subtitle at the top of a page, the caption at its foot.
pub(super) fn headings(svg: &Svg, lines: &Lines) {
    let mut y = 20.0;
    for line in &lines.title {
        y += TITLE_SIZE * 1.25;
        svg.text([EDGE, y], Text::new(TITLE_SIZE, INK).bold(), line);
    }
    y += 2.0;
    for line in &lines.subtitle {
        y += SUBTITLE_SIZE * 1.4;
        svg.text([EDGE, y], Text::new(SUBTITLE_SIZE, MUTED_INK), line);
    }
    for (i, line) in lines.caption.iter().rev().enumerate() {
        let y = svg.size[1] - 24.0 - i as f64 * CAPTION_SIZE * 1.35;
        svg.text([EDGE, y], Text::new(CAPTION_SIZE, MUTED_INK), line);
    }
}

impl Page<'_> {
    pub(super) fn header(&self) {
        headings(&self.svg, &self.layout.lines);
        let above = if self.layout.format == Format::File { 24.0 } else { 18.0 };
        let at = [EDGE, self.layout.plot.top - above];
        self.svg.text(at, Text::new(CAPTION_SIZE, MUTED_INK), self.figure.y_title);
    }

    /// A thin vertical line with words on both sides: at the foot of the plot, or at its top where
    /// curves run through the foot and not through the top.
    pub(super) fn divide(&self, hz: f64, words: &[String; 2]) {
        let plot = self.layout.plot;
        let ends = self.layout.y.ends.map(|db| (hz.log10(), db));
        self.frame.put(PathElement::new(ends, stroke(QUIET, 1.6)));
        let x = self.point(hz, 0.0)[0];
        let [left, right] = words.each_ref().map(|w| text_width(w, CAPTION_SIZE, false));
        let pieces = self.pieces();
        let hidden = |y: &f64| {
            let (left, right) = (x - 12.0 - left, x + 12.0 + right);
            n_hidden(&pieces, Rect { left, top: y - CAPTION_SIZE, right, bottom: y + 6.0 })
        };
        let rows = [plot.bottom - 14.0, plot.top + 54.0];
        let y = if hidden(&rows[1]) < hidden(&rows[0]) { rows[1] } else { rows[0] };
        let text = Text::new(CAPTION_SIZE, MUTED_INK);
        self.svg.text([x - 12.0, y], text.end(), &words[0]);
        self.svg.text([x + 12.0, y], text, &words[1]);
    }

    /// The words of the limits, with a white rim, each where least of what is drawn lies under it.
    pub(super) fn limit_words(&self) {
        let mut pieces = self.pieces();
        let mut taken: Vec<Rect> = Vec::new();
        for mark in &self.figure.marks {
            let Mark::Limit { value, from_to, label, is_met } = mark else { continue };
            if label.is_empty() {
                continue;
            }
            let ends = from_to.map(|hz| self.point(hz, *value));
            let place = self.limit_place(ends, label, &pieces, &taken);
            let color = Style::limit(*is_met).color;
            if let Some(leader) = leader_of(ends, place) {
                self.line(&leader, stroke(color, 1.2));
                pieces.push(leader);
            }
            let text = Text::new(CAPTION_SIZE, color).bold().rimmed();
            self.svg.text([place.left, place.bottom - 5.0], text, label);
            taken.push(place);
        }
    }

    /// The box of a limit's words: above or below its line, from its left end to its right end
    /// (from right to left of a line shorter than the words), at the first of the clearest places, up to six rows away.
    fn limit_place(
        &self,
        [from, to]: Piece,
        label: &str,
        pieces: &[Piece],
        taken: &[Rect],
    ) -> Rect {
        let plot = self.layout.plot;
        let width = text_width(label, CAPTION_SIZE, true);
        let height = CAPTION_SIZE + 6.0;
        let reach = [plot.left + 6.0, (plot.right - width - 6.0).max(plot.left + 6.0)];
        let first = (from[0].max(plot.left) + 6.0).clamp(reach[0], reach[1]);
        let last = (to[0].min(plot.right) - width - 6.0).clamp(reach[0], reach[1]);
        let boxes = (0..6 * 2 * 21).map(|i| {
            let (row, is_above, step) = (i / 42, i / 21 % 2 == 0, f64::from(i % 21));
            let away = 5.0 + f64::from(row) * height;
            let bottom = if is_above { from[1] - away } else { from[1] + away + height };
            let left = first + (last - first) * step / 20.0;
            (row as usize, Rect { left, top: bottom - height, right: left + width, bottom })
        });
        let cost = |(row, place): &(usize, Rect)| {
            let is_outside = place.top < plot.top || place.bottom > plot.bottom;
            let leader = leader_of([from, to], *place);
            let crossed =
                taken.iter().filter(|other| leader.is_some_and(|l| n_hidden(&[l], **other) > 0));
            // Better three rows away than a curve under the words.
            3 * (n_hidden(pieces, *place) + crossed.count())
                + row
                + 1000 * taken.iter().filter(|other| other.meets(*place)).count()
                + 100_000 * usize::from(is_outside)
        };
        let unplaced = Rect { left: first, top: from[1] - height, right: first, bottom: from[1] };
        boxes.min_by_key(cost).map_or(unplaced, |(_, place)| place)
    }

    /// Pieces of curves and limits, edges of bars and dots: what words would hide.
    fn pieces(&self) -> Vec<Piece> {
        let point = |&(hz, value): &(f64, Option<f64>)| Some(self.point(hz, value?));
        let of_mark = |mark: &Mark| -> Vec<Piece> {
            match mark {
                Mark::Curve(series) => {
                    let ends = |w: &[(f64, Option<f64>)]| Some([point(&w[0])?, point(&w[1])?]);
                    series.points.windows(2).filter_map(ends).collect()
                }
                Mark::Limit { value, from_to, .. } => {
                    vec![from_to.map(|hz| self.point(hz, *value))]
                }
                Mark::Bars { bars, .. } => {
                    bars.iter().map(|(hz, ends)| ends.map(|db| self.point(*hz, db))).collect()
                }
                Mark::Dots { points, .. } => {
                    points.iter().filter_map(point).map(|dot| [dot, dot]).collect()
                }
                Mark::Area { .. } | Mark::Divide { .. } => Vec::new(),
            }
        };
        self.figure.marks.iter().flat_map(of_mark).collect()
    }

    /// A line anywhere on the page, px.
    fn line(&self, points: &[[f64; 2]], style: ShapeStyle) {
        let points: Vec<_> = points.iter().map(|at| pair(*at)).collect();
        self.svg.put(PathElement::new(points, style));
    }

    pub(super) fn direct_labels(&self) {
        let labels = self.figure.labels();
        let (plot, size) = (self.layout.plot, self.layout.label_size);
        let end = |&(_, _, (hz, db)): &(usize, &str, (f64, f64))| {
            let [x, y] = self.point(hz, db);
            [x, y.clamp(plot.top, plot.bottom)]
        };
        let ends: Vec<[f64; 2]> = labels.iter().map(end).collect();
        let wanted: Vec<f64> = ends.iter().map(|e| e[1]).collect();
        let reach = [plot.top + size * 0.2, plot.bottom - size * 0.2];
        let placed = spread_labels(&wanted, size * 1.28, reach);
        for ((&(index, text, (_, db)), end), y) in labels.iter().zip(ends).zip(placed) {
            let id = format!("{}-label-{index}", self.figure.id);
            self.svg.open("g", &[("id", &id), ("class", "label"), ("data-series", text)]);
            // A curve that ends outside the plot is said to be there.
            let [low, high] = self.layout.y.ends;
            let beyond = if db < low {
                " (below)"
            } else if db > high {
                " (above)"
            } else {
                ""
            };
            self.direct_label(&self.figure.marks[index], &format!("{text}{beyond}"), end, y);
            self.svg.close("g");
        }
    }

    /// A label at a height: a thin line to it from the end of its curve, a sample of the mark, the
    /// words.
    fn direct_label(&self, mark: &Mark, words: &str, end: [f64; 2], y: f64) {
        let (start, size) = (self.layout.plot.right + 28.0, self.layout.label_size);
        let middle = start + SAMPLE / 2.0;
        match mark {
            Mark::Dots { radius, color, .. } => {
                let at = pair([middle, y]);
                self.svg.put(Circle::new(at, units(radius * 1.3), color.filled()));
            }
            Mark::Bars { color, width, .. } => {
                let half = (width / 2.0).min(13.0);
                let corners = [[middle - half, y - 12.0], [middle + half, y + 12.0]].map(pair);
                self.svg.put(Rectangle::new(corners, color.filled()));
            }
            Mark::Curve(series) => {
                let Style { color, dash, .. } = series.style;
                let x = end[0] + 5.0;
                let bend = [self.layout.plot.right.max(x), end[1]];
                let thin = color.mix(0.7).stroke_width(units(1.2) as u32);
                self.line(&[[x, end[1]], bend, [start, y]], thin);
                self.svg.open("g", &[("stroke-dasharray", dash)]);
                self.line(&[[start, y], [start + SAMPLE, y]], series.style.stroke());
                self.svg.close("g");
            }
            _ => {}
        }
        let left = start + SAMPLE + 12.0;
        let room = (self.layout.size[0] - 8.0 - left).min(LABEL_MAX + 28.0);
        let bold = matches!(mark, Mark::Curve(series) if series.style == Style::main());
        // A few characters too many make it smaller, many are cut.
        let size = size * (room / text_width(words, size, bold)).clamp(0.8, 1.0);
        let text = Text { bold, ..Text::new(size, INK) };
        self.svg.text([left, y + size * 0.36], text, &fit(words, size, bold, room));
    }

    /// Rows of numbers; where they are too wide for one line, neighbours stand on two.
    pub(super) fn strip(&self) {
        let plot = self.layout.plot;
        let (number, words) = (Text::new(STRIP_SIZE, INK), Text::new(CAPTION_SIZE, MUTED_INK));
        let mut top = plot.bottom + 44.0 + 0.8 * STRIP_LINE;
        for (strip, n_lines) in self.figure.strip.iter().zip(&self.layout.strip_lines) {
            self.svg.open("g", &[("class", "strip")]);
            for (i, (hz, text)) in strip.cells.iter().enumerate() {
                let y = top + (i % n_lines) as f64 * STRIP_LINE;
                self.svg.text([self.point(*hz, 0.0)[0], y], number.middle(), text);
            }
            let room = self.layout.size[0] - plot.right - 20.0;
            let label = fit(&strip.label, CAPTION_SIZE, false, room);
            self.svg.text([plot.right + 12.0, top], words, &label);
            self.svg.close("g");
            top += *n_lines as f64 * STRIP_LINE;
        }
    }
}

/// How many pieces run through a box.
fn n_hidden(pieces: &[Piece], place: Rect) -> usize {
    pieces.iter().filter(|ends| !clip(&ends.map(Some), place).is_empty()).count()
}

/// A thin line from a limit to the box of its words where they stand further away, px.
fn leader_of([from, to]: Piece, place: Rect) -> Option<Piece> {
    let edge = if place.bottom < from[1] { place.bottom } else { place.top };
    let middle = (from[0].max(place.left) + to[0].min(place.right)) / 2.0;
    let x = middle.clamp(place.left, place.right);
    ((edge - from[1]).abs() > 8.0).then_some([[x, from[1]], [x, edge]])
}

/// Moves labels apart: positions as near as possible to the wanted ones (least
/// squares), at least `distance` from each other, between `low` and `high`.
/// The order is kept. When there are more than fit, they share the height evenly.
pub fn spread_labels(wanted: &[f64], distance: f64, [low, high]: [f64; 2]) -> Vec<f64> {
    let n = wanted.len();
    if n == 0 {
        return Vec::new();
    }
    let distance = distance.min((high - low) / (n.max(2) - 1) as f64);
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|&a, &b| wanted[a].total_cmp(&wanted[b]));
    // With y[i] = z[i] + i * distance the condition is that z does not fall:
    // isotonic regression, by pooling adjacent violators.
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (rank, &i) in order.iter().enumerate() {
        pools.push((wanted[i] - rank as f64 * distance, 1));
        while let [.., (a, na), (b, nb)] = pools[..] {
            if a <= b {
                break;
            }
            let merged = (a * na as f64 + b * nb as f64) / (na + nb) as f64;
            pools.truncate(pools.len() - 2);
            pools.push((merged, na + nb));
        }
    }
    let top = high - (n - 1) as f64 * distance;
    let levels = pools.iter().flat_map(|&(z, count)| std::iter::repeat_n(z, count));
    let mut placed = vec![0.0; n];
    for ((rank, &i), z) in order.iter().enumerate().zip(levels) {
        placed[i] = z.min(top).max(low) + rank as f64 * distance;
    }
    placed
}

#[cfg(test)]
mod tests;
