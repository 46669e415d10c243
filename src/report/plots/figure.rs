//! A figure: axes, marks and words, and how they are laid out on the page.

use super::axes::{Axis, Scale, Spare, decibel_axis};
use super::series::{INK, MUTED_INK, QUIET, Rect, Series, Style, clip, spread_labels};
use super::svg::{Anchor, Svg, TextStyle, px};
use super::text::{FAMILY, fit, text_width, wrap};
use crate::units::{Hertz, ThirdOctave};

/// Width of every figure, px.
pub const WIDTH: f64 = 1600.0;
/// Height of every figure, px.
pub const HEIGHT: f64 = 1000.0;

/// Space left of the axis, px.
const LEFT: f64 = 104.0;
/// Space at the page's other edges, px.
const EDGE: f64 = 36.0;
/// Widest direct label, px.
const LABEL_MAX: f64 = 230.0;
/// Length of the sample of the line before a direct label, px.
const SAMPLE: f64 = 44.0;

/// What a plot is made of. All texts are plain; users' words may stand in them.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// File name without ending, and prefix of ids inside; letters and dashes.
    pub id: &'static str,
    /// The finding, in words.
    pub title: String,
    /// What is shown.
    pub subtitle: String,
    /// The figures in words, for those who cannot see the plot.
    pub description: String,
    /// How to read it; the proportion of the axes is added.
    pub caption: String,
    /// Horizontal axis.
    pub x: Axis,
    /// Vertical axis.
    pub y: YAxis,
    /// What is drawn, from back to front.
    pub marks: Vec<Mark>,
    /// Rows of numbers under the axis.
    pub strip: Vec<StripRow>,
}

/// The vertical axis.
#[derive(Debug, Clone, PartialEq)]
pub enum YAxis {
    /// Decibels in a proportion of IEC 60263, over all that is drawn and `include_db`.
    Decibel {
        /// Quantity and unit.
        title: String,
        /// Range that is shown in any case, dB.
        include_db: [f64; 2],
        /// Where height goes that the values do not need.
        spare: Spare,
    },
    /// An axis of its own.
    Plain(Axis),
}

/// Something drawn in the plot.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// A range of the horizontal axis, shaded from bottom to top.
    Area {
        /// From and to.
        from_to: [f64; 2],
        /// Words at its top.
        label: String,
    },
    /// A thin vertical line with words on both sides at its foot.
    Divide {
        /// Where.
        at: f64,
        /// What holds to the left, and to the right.
        words: [String; 2],
    },
    /// A horizontal limit with words above it.
    Limit {
        /// Value.
        value: f64,
        /// From and to on the horizontal axis.
        from_to: [f64; 2],
        /// Words.
        label: String,
    },
    /// Upright bars.
    Bars {
        /// What they are, for the legend at the right.
        label: String,
        /// Position, lower and upper end.
        bars: Vec<(f64, [f64; 2])>,
        /// Width, px.
        width: f64,
        /// Colour.
        color: &'static str,
    },
    /// Dots without a line.
    Dots {
        /// What they are, for the legend at the right.
        label: String,
        /// Positions and values.
        points: Vec<(f64, Option<f64>)>,
        /// Radius, px.
        radius: f64,
        /// Colour.
        color: &'static str,
    },
    /// A curve.
    Curve(Series),
}

impl Mark {
    /// Positions and values that can be read off: those of named curves and dots.
    fn values(&self) -> Vec<(f64, Option<f64>)> {
        match self {
            Self::Curve(Series { label, points, .. }) | Self::Dots { label, points, .. }
                if !label.is_empty() =>
            {
                points.clone()
            }
            _ => Vec::new(),
        }
    }
}

/// Name of a position: the nominal name of a band, else the number itself.
fn stop_name(x: f64) -> String {
    let band = Hertz::new(x).ok().map(ThirdOctave::nearest);
    let band = band.filter(|band| (band.exact_hz() / x - 1.0).abs() < 1e-6);
    px(band.map_or(x, ThirdOctave::nominal_hz))
}

/// A row of numbers under the horizontal axis.
#[derive(Debug, Clone, PartialEq)]
pub struct StripRow {
    /// What they are.
    pub label: String,
    /// Position on the axis and text.
    pub cells: Vec<(f64, String)>,
}

impl Figure {
    /// The figure as an SVG document.
    pub fn to_svg(&self) -> String {
        let layout = Layout::of(self);
        let mut page = Page { figure: self, layout: &layout, svg: Svg::new() };
        page.draw();
        page.svg.finish()
    }

    fn value_range(&self) -> Option<[f64; 2]> {
        let join = |a: [f64; 2], b: [f64; 2]| [a[0].min(b[0]), a[1].max(b[1])];
        self.marks
            .iter()
            .filter_map(|mark| match mark {
                Mark::Curve(series) => series.range(),
                Mark::Limit { value, .. } => Some([*value, *value]),
                Mark::Bars { bars, .. } => bars.iter().map(|(_, ends)| *ends).reduce(join),
                Mark::Dots { points, .. } => {
                    points.iter().filter_map(|(_, v)| v.map(|v| [v, v])).reduce(join)
                }
                Mark::Area { .. } | Mark::Divide { .. } => None,
            })
            .reduce(join)
    }

    /// The marks that carry a label at the right: name, and value at their right end.
    fn labels(&self) -> Vec<Label<'_>> {
        let mut labels: Vec<Label<'_>> = Vec::new();
        for (index, mark) in self.marks.iter().enumerate() {
            let (text, points): (&str, &[(f64, Option<f64>)]) = match mark {
                Mark::Curve(s) if s.labelled => (&s.label, &s.points),
                Mark::Dots { label, points, .. } if !label.is_empty() => (label, points),
                Mark::Bars { label, bars, .. } if !label.is_empty() => {
                    let end = bars.last().map(|(x, ends)| (*x, (ends[0] + ends[1]) / 2.0));
                    labels.extend(end.map(|end| Label { index, text: label, end }));
                    continue;
                }
                _ => continue,
            };
            let end = points.iter().rev().find_map(|(x, v)| v.map(|v| (*x, v)));
            labels.extend(end.map(|end| Label { index, text, end }));
        }
        labels
    }
}

/// A direct label.
struct Label<'a> {
    /// Index of the mark.
    index: usize,
    text: &'a str,
    /// Where its mark ends: position and value.
    end: (f64, f64),
}

/// Where everything goes.
struct Layout {
    title: Vec<String>,
    subtitle: Vec<String>,
    caption: Vec<String>,
    plot: Rect,
    y: Axis,
    label_size: f64,
}

const TITLE_SIZE: f64 = 38.0;
const SUBTITLE_SIZE: f64 = 25.0;
const CAPTION_SIZE: f64 = 20.0;
const TICK_SIZE: f64 = 24.0;
const STRIP_ROW: f64 = 32.0;

impl Layout {
    fn of(figure: &Figure) -> Self {
        let width = WIDTH - 2.0 * EDGE;
        let title = wrap(&figure.title, TITLE_SIZE, true, width, 2);
        let subtitle = wrap(&figure.subtitle, SUBTITLE_SIZE, false, width, 2);
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
        let right = WIDTH - EDGE - labels_width.max(x_title);

        let header = 20.0
            + title.len() as f64 * TITLE_SIZE * 1.25
            + subtitle.len() as f64 * SUBTITLE_SIZE * 1.4
            + 66.0;
        let caption_text = match &figure.y {
            YAxis::Decibel { .. } => {
                format!("{} 50 dB per decade (IEC\u{a0}60263).", figure.caption)
            }
            YAxis::Plain(_) => figure.caption.clone(),
        };
        let n_caption = wrap(&caption_text, CAPTION_SIZE, false, width, 3).len() as f64;
        let footer = 46.0
            + figure.strip.len() as f64 * STRIP_ROW
            + n_caption * CAPTION_SIZE * 1.35
            + if n_caption > 0.0 { 22.0 } else { 0.0 }
            + 22.0;
        let room = HEIGHT - header - footer;

        let (y, height, caption) = match &figure.y {
            YAxis::Plain(axis) => (axis.clone(), room, figure.caption.clone()),
            YAxis::Decibel { title, include_db, spare } => {
                let [low, high] = figure.value_range().unwrap_or(*include_db);
                let range = [low.min(include_db[0]), high.max(include_db[1])];
                let decade_px = match figure.x.scale {
                    Scale::Log { low, high } => (right - LEFT) / (high / low).log10(),
                    Scale::Linear { .. } => 500.0,
                };
                let d = decibel_axis(range, decade_px, room, *spare, title);
                let proportion = match figure.x.scale {
                    Scale::Log { .. } => {
                        format!("{} dB per decade (IEC\u{a0}60263).", d.db_per_decade)
                    }
                    Scale::Linear { .. } => String::new(),
                };
                let caption = format!("{} {proportion}", figure.caption);
                (d.axis, d.height_px, caption)
            }
        };
        let top = header;
        Self {
            title,
            subtitle,
            caption: wrap(&caption, CAPTION_SIZE, false, width, 3),
            plot: Rect { left: LEFT, top, right, bottom: top + height },
            y,
            label_size,
        }
    }

    fn point(&self, x: &Axis, at: f64, value: f64) -> [f64; 2] {
        let p = self.plot;
        [
            p.left + x.scale.position(at) * (p.right - p.left),
            p.bottom - self.y.scale.position(value) * (p.bottom - p.top),
        ]
    }
}

/// The page while it is drawn.
struct Page<'a> {
    figure: &'a Figure,
    layout: &'a Layout,
    svg: Svg,
}

fn style(size: f64, bold: bool, color: &'static str, anchor: Anchor) -> TextStyle {
    TextStyle { size, bold, color, anchor }
}

impl Page<'_> {
    fn draw(&mut self) {
        let id = self.figure.id;
        self.svg.open(
            "svg",
            &[
                ("xmlns", "http://www.w3.org/2000/svg"),
                ("viewBox", &format!("0 0 {WIDTH} {HEIGHT}")),
                ("width", &px(WIDTH)),
                ("height", &px(HEIGHT)),
                ("font-family", FAMILY),
                ("role", "img"),
                ("aria-labelledby", &format!("{id}-title {id}-desc")),
                ("id", id),
                ("data-plot", &self.plot_edges()),
                ("data-stops", &self.stops()),
            ],
        );
        self.svg.leaf("title", &[("id", &format!("{id}-title"))], &self.figure.title);
        self.svg.leaf("desc", &[("id", &format!("{id}-desc"))], &self.figure.description);
        self.svg.rect([0.0, 0.0], [WIDTH, HEIGHT], "#FFFFFF", "paper");
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

    fn header(&mut self) {
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
        let at = [EDGE, self.layout.plot.top - 24.0];
        let title = self.layout.y.title.clone();
        self.svg.text(at, style(CAPTION_SIZE, false, MUTED_INK, Anchor::Start), &title);
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
        self.svg.text([WIDTH - EDGE, plot.bottom + 34.0], text, &self.figure.x.title);
        self.svg.close("g");
    }

    fn marks(&mut self) {
        let plot = self.layout.plot;
        let clip_id = format!("{}-clip", self.figure.id);
        self.svg.open("clipPath", &[("id", &clip_id)]);
        self.svg.rect(
            [plot.left, plot.top],
            [plot.right - plot.left, plot.bottom - plot.top],
            "#000000",
            "",
        );
        self.svg.close("clipPath");
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
                Mark::Dots { label, points, radius, color } => {
                    self.open_series(index, label);
                    self.dots(points, *radius, color);
                    self.svg.close("g");
                }
                Mark::Curve(series) => {
                    self.open_series(index, &series.label);
                    self.curve(series, &clip_id);
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
        let y = plot.bottom - 14.0;
        let end = style(CAPTION_SIZE, false, MUTED_INK, Anchor::End);
        self.svg.text([x - 12.0, y], end, &words[0]);
        self.svg.text([x + 12.0, y], TextStyle { anchor: Anchor::Start, ..end }, &words[1]);
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
        self.svg.open("g", &[("class", "limit"), ("data-series", label)]);
        self.path(&[ends.to_vec()], &look);
        self.svg.close("g");
    }

    /// The words of the limits, over everything else and with a white rim, since
    /// a curve may run through them.
    fn limit_words(&mut self) {
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

    fn curve(&mut self, series: &Series, clip_id: &str) {
        for part in band_outlines(series) {
            let outline: Vec<_> =
                part.iter().map(|&(x, v)| self.layout.point(&self.figure.x, x, v)).collect();
            self.svg.empty(
                "path",
                &[
                    ("class", "band"),
                    ("d", &(path_data(&outline) + "Z")),
                    ("fill", series.style.color),
                    ("fill-opacity", "0.2"),
                    ("clip-path", &format!("url(#{clip_id})")),
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
    fn path(&mut self, parts: &[Vec<[f64; 2]>], look: &Style) {
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

    fn direct_labels(&mut self) {
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
            let shown = fit(label.text, size, bold, LABEL_MAX);
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

    fn strip(&mut self) {
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
            let label = fit(&strip.label, CAPTION_SIZE, false, WIDTH - plot.right - 20.0);
            self.svg.text([plot.right + 12.0, y], words, &label);
            self.svg.close("g");
        }
    }

    fn caption(&mut self) {
        let n = self.layout.caption.len();
        for (i, line) in self.layout.caption.iter().enumerate() {
            let y = HEIGHT - 24.0 - (n - 1 - i) as f64 * CAPTION_SIZE * 1.35;
            let text = style(CAPTION_SIZE, false, MUTED_INK, Anchor::Start);
            self.svg.text([EDGE, y], text, line);
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

fn path_data(points: &[[f64; 2]]) -> String {
    points
        .iter()
        .enumerate()
        .map(|(i, p)| format!("{}{} {}", if i == 0 { "M" } else { "L" }, px(p[0]), px(p[1])))
        .collect()
}
