//! A figure drawn, part by part, from back to front.

use super::figure::{Figure, Mark};
use super::layout::{CAPTION_SIZE, EDGE, Format, Layout, TICK_SIZE};
use super::series::{INK, MUTED_INK, QUIET, Rect, Series, Style, clip, clip_area};
use super::svg::{Anchor, Svg, TextStyle, px};
use super::text::{FAMILY, text_width};
use crate::units::{Hertz, ThirdOctave};

/// The figure as an SVG document.
pub(super) fn draw(figure: &Figure, layout: &Layout) -> String {
    let mut page = Page { figure, layout, svg: Svg::new() };
    page.draw();
    page.svg.finish()
}

/// Opens the root element: size, white ground, and the words for those who do not see it.
/// In a paper the title is an attribute, since browsers show the element as a tooltip, which
/// would cover the plot. `words` are id, title and description.
pub(super) fn open_page(
    svg: &mut Svg,
    format: Format,
    [width, height]: [f64; 2],
    [id, title, description]: [&str; 3],
    more: &[(&str, &str)],
) {
    let (w, h) = (px(width), px(height));
    let view = format!("0 0 {w} {h}");
    let named_by = format!("{id}-title {id}-desc");
    let mut attributes = vec![
        ("xmlns", "http://www.w3.org/2000/svg"),
        ("viewBox", view.as_str()),
        ("width", w.as_str()),
        ("height", h.as_str()),
        ("font-family", FAMILY),
        ("role", "img"),
        match format {
            Format::File => ("aria-labelledby", named_by.as_str()),
            Format::Paper => ("aria-label", title),
        },
        ("id", id),
    ];
    attributes.extend(more);
    svg.open("svg", &attributes);
    if format == Format::File {
        svg.leaf("title", &[("id", &format!("{id}-title"))], title);
        svg.leaf("desc", &[("id", &format!("{id}-desc"))], description);
    }
    svg.rect([0.0, 0.0], [width, height], "#FFFFFF", "paper");
}

/// Name of a position: the nominal name of a band, else the number itself.
fn stop_name(x: f64) -> String {
    let band = Hertz::new(x).ok().map(ThirdOctave::nearest);
    let band = band.filter(|band| (band.exact_hz() / x - 1.0).abs() < 1e-6);
    px(band.map_or(x, ThirdOctave::nominal_hz))
}

/// The page while it is drawn.
pub(super) struct Page<'a> {
    pub(super) figure: &'a Figure,
    pub(super) layout: &'a Layout,
    pub(super) svg: Svg,
}

pub(super) fn style(size: f64, bold: bool, color: &'static str, anchor: Anchor) -> TextStyle {
    TextStyle { size, bold, color, anchor }
}

impl Page<'_> {
    fn draw(&mut self) {
        let figure = self.figure;
        let (edges, stops) = (self.plot_edges(), self.stops());
        open_page(
            &mut self.svg,
            self.layout.format,
            self.layout.size,
            [figure.id, &figure.title, &figure.description],
            &[("data-plot", &edges), ("data-stops", &stops), ("data-values", &self.layout.y.title)],
        );
        self.header();
        self.areas();
        self.grid();
        self.area_labels();
        self.marks();
        self.limit_words();
        self.direct_labels();
        self.strip();
        self.caption();
        self.svg.close("svg");
    }

    /// Edges of the plot, px, for pages that read values off it.
    fn plot_edges(&self) -> String {
        let p = self.layout.plot;
        [p.left, p.top, p.right, p.bottom].map(px).join(" ")
    }

    /// Where values can be read: position by name, and px from the left.
    fn stops(&self) -> String {
        let mut stops: Vec<f64> =
            self.figure.marks.iter().flat_map(Mark::values).map(|(x, _)| x).collect();
        stops.sort_by(f64::total_cmp);
        stops.dedup();
        let words: Vec<String> = stops
            .iter()
            .map(|&x| {
                format!("{}={}", stop_name(x), px(self.layout.point(&self.figure.x, x, 0.0)[0]))
            })
            .collect();
        words.join(" ")
    }

    fn areas(&mut self) {
        let plot = self.layout.plot;
        for mark in &self.figure.marks {
            let Mark::Area { from_to, .. } = mark else { continue };
            let x = |at| self.layout.point(&self.figure.x, at, 0.0)[0].clamp(plot.left, plot.right);
            let [left, right] = [x(from_to[0]), x(from_to[1])];
            self.svg.rect(
                [left, plot.top],
                [right - left, plot.bottom - plot.top],
                "#EEF0F2",
                "area",
            );
        }
    }

    fn area_labels(&mut self) {
        let plot = self.layout.plot;
        for mark in &self.figure.marks {
            let Mark::Area { from_to, label } = mark else { continue };
            let ends = from_to.map(|at| self.layout.point(&self.figure.x, at, 0.0)[0]);
            // Words that are wider than the area stay inside the plot.
            let half = text_width(label, CAPTION_SIZE, false) / 2.0 + 6.0;
            let middle = (ends[0] + ends[1]) / 2.0;
            let middle = middle.min(plot.right - half).max(plot.left + half);
            let text = style(CAPTION_SIZE, false, MUTED_INK, Anchor::Middle);
            self.svg.text([middle, plot.top + 26.0], text, label);
        }
    }

    fn grid(&mut self) {
        let plot = self.layout.plot;
        self.svg.open("g", &[("class", "grid")]);
        for tick in &self.figure.x.ticks {
            let [x, _] = self.layout.point(&self.figure.x, tick.value, 0.0);
            let color = if tick.label.is_empty() { "#ECEEF0" } else { "#D3D8DD" };
            self.svg.line([x, plot.top], [x, plot.bottom], color, 1.2, "grid-line");
        }
        let zero_inside = (-1e-9..=1.0 + 1e-9).contains(&self.layout.y.scale.position(0.0));
        for tick in &self.layout.y.ticks {
            let y = self.layout.point(&self.figure.x, plot.left, tick.value)[1];
            let (color, width) = match tick {
                t if t.value == 0.0 && zero_inside => (QUIET, 2.0),
                t if t.label.is_empty() => ("#ECEEF0", 1.2),
                _ => ("#D3D8DD", 1.2),
            };
            self.svg.line([plot.left, y], [plot.right, y], color, width, "grid-line");
        }
        self.svg.close("g");
        self.svg.open("g", &[("class", "ticks")]);
        for tick in self.figure.x.ticks.iter().filter(|t| !t.label.is_empty()) {
            let [x, _] = self.layout.point(&self.figure.x, tick.value, 0.0);
            let text = style(TICK_SIZE, false, INK, Anchor::Middle);
            self.svg.text([x, plot.bottom + 34.0], text, &tick.label);
        }
        for tick in self.layout.y.ticks.iter().filter(|t| !t.label.is_empty()) {
            let y = self.layout.point(&self.figure.x, plot.left, tick.value)[1];
            let text = style(TICK_SIZE, false, INK, Anchor::End);
            self.svg.text([plot.left - 14.0, y + TICK_SIZE * 0.36], text, &tick.label);
        }
        let text = style(CAPTION_SIZE, false, MUTED_INK, Anchor::End);
        self.svg.text([self.layout.size[0] - EDGE, plot.bottom + 34.0], text, &self.figure.x.title);
        self.svg.close("g");
    }

    fn marks(&mut self) {
        for (index, mark) in self.figure.marks.iter().enumerate() {
            match mark {
                Mark::Area { .. } => {}
                Mark::Divide { at, words } => self.divide(*at, words),
                Mark::Limit { value, from_to, label } => self.limit(*value, *from_to, label),
                Mark::Bars { label, bars, width, color } => {
                    self.open_series(index, label);
                    for (x, ends) in bars {
                        self.bar(*x, *ends, *width, color);
                    }
                    self.svg.close("g");
                }
                Mark::Dots { name, points, radius, color, .. } => {
                    self.open_series(index, name);
                    self.dots(points, *radius, color);
                    self.svg.close("g");
                }
                Mark::Curve(series) => {
                    self.open_series(index, &series.label);
                    self.curve(series);
                    self.svg.close("g");
                }
            }
        }
    }

    fn open_series(&mut self, index: usize, label: &str) {
        let id = format!("{}-series-{index}", self.figure.id);
        let values: Vec<String> = self.figure.marks[index]
            .values()
            .into_iter()
            .map(|(x, v)| {
                format!("{}={}", stop_name(x), v.map_or_else(String::new, |v| format!("{v:.2}")))
            })
            .collect();
        let mut attributes = vec![("id", id.as_str()), ("class", "series"), ("data-series", label)];
        let values = values.join(" ");
        if !values.is_empty() {
            attributes.push(("data-points", &values));
        }
        self.svg.open("g", &attributes);
    }

    fn divide(&mut self, at: f64, words: &[String; 2]) {
        let plot = self.layout.plot;
        let [x, _] = self.layout.point(&self.figure.x, at, 0.0);
        self.svg.line([x, plot.top], [x, plot.bottom], QUIET, 1.6, "divide");
        let widths = words.each_ref().map(|w| text_width(w, CAPTION_SIZE, false));
        let y = self.clear_row([x - 12.0 - widths[0], x + 12.0 + widths[1]]);
        let end = style(CAPTION_SIZE, false, MUTED_INK, Anchor::End);
        self.svg.text([x - 12.0, y], end, &words[0]);
        self.svg.text([x + 12.0, y], TextStyle { anchor: Anchor::Start, ..end }, &words[1]);
    }

    /// Baseline of words over a range of px: at the foot of the plot, or at its top where curves
    /// run through the foot and not through the top.
    fn clear_row(&self, [left, right]: [f64; 2]) -> f64 {
        let plot = self.layout.plot;
        let lines = self.drawn_lines();
        let hidden = |y: f64| {
            let row = Rect { left, top: y - CAPTION_SIZE, right, bottom: y + 6.0 };
            lines.iter().filter(|ends| !clip(&ends.map(Some), row).is_empty()).count()
        };
        let (foot, top) = (plot.bottom - 14.0, plot.top + 54.0);
        if hidden(top) < hidden(foot) { top } else { foot }
    }

    fn limit(&mut self, value: f64, from_to: [f64; 2], label: &str) {
        let plot = self.layout.plot;
        let ends = from_to.map(|at| {
            let [x, y] = self.layout.point(&self.figure.x, at, value);
            [x.clamp(plot.left, plot.right), y]
        });
        if ends[0][1] < plot.top || ends[0][1] > plot.bottom {
            return;
        }
        let look = Style::limit();
        let named = [("class", "limit"), ("data-series", label)];
        self.svg.open("g", if label.is_empty() { &named[..1] } else { &named });
        self.path(&[ends.to_vec()], &look);
        self.svg.close("g");
    }

    fn bar(&mut self, at: f64, ends: [f64; 2], width: f64, color: &str) {
        let plot = self.layout.plot;
        let [x, low] = self.layout.point(&self.figure.x, at, ends[0]);
        let [_, high] = self.layout.point(&self.figure.x, at, ends[1]);
        let (top, bottom) = (high.max(plot.top), low.min(plot.bottom));
        if bottom >= top {
            // At least a hair line, so that a bar of no height is seen.
            let height = (bottom - top).max(1.5);
            self.svg.rect([x - width / 2.0, top], [width, height], color, "bar");
        }
    }

    fn dots(&mut self, points: &[(f64, Option<f64>)], radius: f64, color: &str) {
        let plot = self.layout.plot;
        for (x, value) in points {
            let Some(value) = value else { continue };
            let at = self.layout.point(&self.figure.x, *x, *value);
            if at[1] >= plot.top && at[1] <= plot.bottom {
                self.svg.dot(at, radius, color, "dot");
            }
        }
    }

    fn curve(&mut self, series: &Series) {
        for part in band_outlines(series) {
            let outline: Vec<_> =
                part.iter().map(|&(x, v)| self.layout.point(&self.figure.x, x, v)).collect();
            let inside = clip_area(&outline, self.layout.plot);
            if inside.is_empty() {
                continue;
            }
            self.svg.empty(
                "path",
                &[
                    ("class", "band"),
                    ("d", &(path_data(&inside) + "Z")),
                    ("fill", series.style.color),
                    ("fill-opacity", "0.2"),
                ],
            );
        }
        let points: Vec<_> = series
            .points
            .iter()
            .map(|&(x, v)| {
                let v = v.filter(|v| v.is_finite())?;
                Some(self.layout.point(&self.figure.x, x, v))
            })
            .collect();
        let parts = clip(&points, self.layout.plot);
        self.path(&parts, &series.style);
        if series.dots {
            self.dots(&series.points, series.style.width * 1.3, series.style.color);
        }
    }

    /// All parts of a curve as one path; a lone point as a dot.
    pub(super) fn path(&mut self, parts: &[Vec<[f64; 2]>], look: &Style) {
        let data: String =
            parts.iter().filter(|p| p.len() > 1).map(|part| path_data(part)).collect();
        if !data.is_empty() {
            let width = px(look.width);
            let mut attributes = vec![
                ("class", "line"),
                ("d", data.as_str()),
                ("fill", "none"),
                ("stroke", look.color),
                ("stroke-width", &width),
                ("stroke-linejoin", "round"),
            ];
            if !look.dash.is_empty() {
                attributes.push(("stroke-dasharray", look.dash));
            }
            self.svg.empty("path", &attributes);
        }
        for part in parts.iter().filter(|p| p.len() == 1) {
            self.svg.dot(part[0], look.width * 1.3, look.color, "dot");
        }
    }
}

/// Outlines of the shaded band, one for each run of values without a gap.
fn band_outlines(series: &Series) -> Vec<Vec<(f64, f64)>> {
    let whole: Vec<Option<(f64, f64, f64)>> = series
        .points
        .iter()
        .zip(&series.half_band)
        .map(|(&(x, v), &half)| Some((x, v?, half?)).filter(|(_, v, h)| (v + h).is_finite()))
        .collect();
    whole
        .split(Option::is_none)
        .filter(|run| run.len() > 1)
        .map(|run| {
            let upper = run.iter().flatten().map(|&(x, v, half)| (x, v + half));
            let lower = run.iter().flatten().rev().map(|&(x, v, half)| (x, v - half));
            upper.chain(lower).collect()
        })
        .collect()
}

pub(super) fn path_data(points: &[[f64; 2]]) -> String {
    points
        .iter()
        .enumerate()
        .map(|(i, p)| format!("{}{} {}", if i == 0 { "M" } else { "L" }, px(p[0]), px(p[1])))
        .collect()
}
