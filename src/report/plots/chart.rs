//! A figure drawn from back to front; its frame by plotters.

use super::axes::Scale;
use super::backend::{place, stroke, units};
use super::clip::{Rect, clip, clip_area};
use super::colors::{ABSENT, GRID, INK, MUTED_INK, QUIET};
use super::figure::{Figure, Mark, stop_name};
use super::layout::{CAPTION_SIZE, EDGE, Format, Layout, TICK_SIZE};
use super::series::{Series, Style};
use super::svg::{Svg, Text, px};
use super::text::text_width;
use plotters::coord::ranged1d::{BoldPoints, LightPoints};
use plotters::coord::{CoordTranslate, cartesian::Cartesian2d, cartesian::MeshLine};
use plotters::drawing::{DrawingArea, IntoDrawingArea};
use plotters::element::{Circle, Drawable, PathElement, PointCollection, Polygon, Rectangle};
use plotters::style::{Color, RGBColor};

/// Two axes and the frame between them.
pub(super) type Plane = Cartesian2d<Scale, Scale>;

/// The figure as an SVG document.
pub(super) fn draw(figure: &Figure, layout: &Layout) -> String {
    let page = Page::new(figure, layout);
    page.header();
    page.areas();
    page.grid();
    page.ticks();
    page.marks();
    page.limit_words();
    page.direct_labels();
    page.strip();
    page.svg.finish()
}

/// A frame on the page that takes elements of plotters.
pub(super) struct Frame(pub(super) DrawingArea<Svg, Plane>);

impl Frame {
    pub(super) fn new(svg: &Svg, plot: Rect, [x, y]: [Scale; 2]) -> Self {
        let across = units(plot.left)..units(plot.right);
        let plane = Plane::new(x, y, (across, units(plot.bottom)..units(plot.top)));
        Self(svg.clone().into_drawing_area().apply_coord_spec(plane))
    }

    /// Draws an element. Writing SVG cannot fail.
    pub(super) fn put<E: Drawable<Svg>>(&self, element: E)
    where
        for<'e> &'e E: PointCollection<'e, (f64, f64)>,
    {
        let _ = self.0.draw(&element);
    }

    /// A place on the page, px.
    pub(super) fn point(&self, at: (f64, f64)) -> [f64; 2] {
        place(self.0.map_coordinate(&at))
    }
}

/// The page while it is drawn.
pub(super) struct Page<'a> {
    pub(super) figure: &'a Figure,
    pub(super) layout: &'a Layout,
    pub(super) svg: Svg,
    pub(super) frame: Frame,
}

impl<'a> Page<'a> {
    /// An empty page, with what other pages need to read values off it: the edges of the plot, px,
    /// where values can be read, by name and px from the left, and what they are.
    pub(super) fn new(figure: &'a Figure, layout: &'a Layout) -> Self {
        let plot = layout.plot;
        let edges = [plot.left, plot.top, plot.right, plot.bottom].map(px).join(" ");
        let mut stops: Vec<f64> =
            figure.marks.iter().flat_map(Mark::values).map(|(hz, _)| hz).collect();
        stops.sort_by(f64::total_cmp);
        stops.dedup();
        let [low, high] = figure.x.ends;
        let left =
            |hz: f64| plot.left + (hz.log10() - low) / (high - low) * (plot.right - plot.left);
        let stops: Vec<String> =
            stops.iter().map(|&hz| format!("{}={}", stop_name(hz), px(left(hz)))).collect();
        let svg = Svg::page(
            layout.size,
            layout.format == Format::Paper,
            [figure.id, &figure.title, &figure.description],
            &[
                ("data-plot", &edges),
                ("data-stops", &stops.join(" ")),
                ("data-values", figure.y_title),
            ],
        );
        let frame = Frame::new(&svg, plot, [figure.x.scale(), layout.y.scale()]);
        Self { figure, layout, svg, frame }
    }

    /// A frequency and a value as a place on the page, px.
    pub(super) fn point(&self, hz: f64, db: f64) -> [f64; 2] {
        // A hundred screens beyond the frame, numbers of plotters would still hold it.
        self.frame.point((hz.log10(), db.clamp(-1e5, 1e5)))
    }

    /// What the axes show: decades across, decibels upwards.
    fn bounds(&self) -> Rect {
        let ([left, right], [top, bottom]) = (self.figure.x.ends, self.layout.y.ends);
        Rect { left, top, right, bottom }
    }

    /// A range of the frequency axis, in decades, as far as it is shown.
    fn shown(&self, from_to: [f64; 2]) -> [f64; 2] {
        let [low, high] = self.figure.x.ends;
        from_to.map(|hz| hz.log10().clamp(low, high))
    }

    fn areas(&self) {
        let Rect { top, bottom, .. } = self.bounds();
        for mark in &self.figure.marks {
            let Mark::Area { from_to, .. } = mark else { continue };
            let [from, to] = self.shown(*from_to);
            self.frame.put(Rectangle::new([(from, top), (to, bottom)], ABSENT.filled()));
        }
    }

    fn grid(&self) {
        self.svg.open("g", &[("class", "grid")]);
        let [strong, fine] = GRID.map(|color| stroke(color, 1.2));
        let draw = |svg: &mut Svg, line: MeshLine<'_, Scale, Scale>, style| match line {
            MeshLine::YMesh(_, _, 0.0) => line.draw(svg, &stroke(QUIET, 2.0)),
            _ => line.draw(svg, style),
        };
        // Writing SVG cannot fail; the axes have their marks, whatever number is asked for.
        let light = || LightPoints::new(0, 0);
        let _ = self.frame.0.draw_mesh(|svg, line| draw(svg, line, &fine), light(), light());
        let _ = self.frame.0.draw_mesh(
            |svg, line| draw(svg, line, &strong),
            BoldPoints(0),
            BoldPoints(0),
        );
        self.svg.close("g");
    }

    /// Numbers along the axes, and words at the top of areas.
    fn ticks(&self) {
        let (svg, plot) = (&self.svg, self.layout.plot);
        let text = Text::new(TICK_SIZE, INK);
        svg.open("g", &[("class", "ticks")]);
        for tick in self.figure.x.ticks.iter().filter(|t| !t.label.is_empty()) {
            let [x, _] = self.frame.point((tick.value, 0.0));
            svg.text([x, plot.bottom + 34.0], text.middle(), &tick.label);
        }
        for tick in self.layout.y.ticks.iter().filter(|t| !t.label.is_empty()) {
            let [_, y] = self.frame.point((0.0, tick.value));
            svg.text([plot.left - 14.0, y + TICK_SIZE * 0.36], text.end(), &tick.label);
        }
        let muted = Text::new(CAPTION_SIZE, MUTED_INK);
        let at = [self.layout.size[0] - EDGE, plot.bottom + 34.0];
        svg.text(at, muted.end(), &self.figure.x.title);
        svg.close("g");
        for mark in &self.figure.marks {
            let Mark::Area { from_to, label } = mark else { continue };
            // Words that are wider than the area stay inside the plot.
            let half = text_width(label, CAPTION_SIZE, false) / 2.0 + 6.0;
            let middle = self.point((from_to[0] * from_to[1]).sqrt(), 0.0)[0];
            let middle = middle.min(plot.right - half).max(plot.left + half);
            svg.text([middle, plot.top + 26.0], muted.middle(), label);
        }
    }

    fn marks(&self) {
        for (index, mark) in self.figure.marks.iter().enumerate() {
            match mark {
                Mark::Area { .. } => {}
                Mark::Divide { at, words } => self.divide(*at, words),
                Mark::Limit { value, from_to, label, is_met } => {
                    self.limit(*value, *from_to, label, &Style::limit(*is_met));
                }
                Mark::Bars { label, bars, width, color } => {
                    self.series(index, label, "", || self.bars(bars, *width, *color));
                }
                Mark::Dots { name, points, radius, color, .. } => {
                    self.series(index, name, "", || self.dots(points, *radius, *color));
                }
                Mark::Curve(series) => {
                    let dash = series.style.dash;
                    self.series(index, &series.label, dash, || self.curve(series));
                }
            }
        }
    }

    /// A group that pages can show, hide and read.
    fn series(&self, index: usize, name: &str, dash: &str, draw: impl FnOnce()) {
        let id = format!("{}-series-{index}", self.figure.id);
        let value = |(hz, v): (f64, Option<f64>)| {
            format!("{}={}", stop_name(hz), v.map_or_else(String::new, |v| format!("{v:.2}")))
        };
        let values: Vec<String> =
            self.figure.marks[index].values().into_iter().map(value).collect();
        self.svg.open(
            "g",
            &[
                ("id", &id),
                ("class", "series"),
                ("data-series", name),
                ("data-points", &values.join(" ")),
                ("stroke-dasharray", dash),
            ],
        );
        draw();
        self.svg.close("g");
    }

    fn limit(&self, value: f64, from_to: [f64; 2], label: &str, look: &Style) {
        let Rect { top, bottom, .. } = self.bounds();
        if !(top..=bottom).contains(&value) {
            return;
        }
        let named = [("class", "limit"), ("data-series", label), ("stroke-dasharray", look.dash)];
        self.svg.open("g", &named);
        let ends = self.shown(from_to).map(|at| (at, value));
        self.frame.put(PathElement::new(ends, look.stroke()));
        self.svg.close("g");
    }

    fn bars(&self, bars: &[(f64, [f64; 2])], width: f64, color: RGBColor) {
        let Rect { top: lowest, bottom: highest, .. } = self.bounds();
        let plane = self.frame.0.as_coord_spec();
        let half = units(width / 2.0);
        for &(hz, [low, high]) in bars {
            let (low, high) = (low.max(lowest), high.min(highest));
            if high >= low {
                let (x, bottom) = plane.translate(&(hz.log10(), low));
                let (_, top) = plane.translate(&(hz.log10(), high));
                // At least a hair line, so that a bar of no height is seen.
                let corners = [(x - half, top), (x + half, bottom.max(top + units(1.5)))];
                self.svg.put(Rectangle::new(corners, color.filled()));
            }
        }
    }

    fn dots(&self, points: &[(f64, Option<f64>)], radius: f64, color: RGBColor) {
        let Rect { top, bottom, .. } = self.bounds();
        for (hz, value) in points {
            if let Some(db) = value.filter(|v| (top..=bottom).contains(v)) {
                self.frame.put(Circle::new((hz.log10(), db), units(radius), color.filled()));
            }
        }
    }

    fn curve(&self, series: &Series) {
        let Style { color, width, .. } = series.style;
        for outline in series.band_outlines() {
            let outline: Vec<_> = outline.iter().map(|(hz, db)| [hz.log10(), *db]).collect();
            let inside = clip_area(&outline, self.bounds()).into_iter().map(|[x, y]| (x, y));
            self.frame.put(Polygon::new(inside.collect::<Vec<_>>(), color.mix(0.2).filled()));
        }
        let point =
            |&(hz, v): &(f64, Option<f64>)| Some([hz.log10(), v.filter(|v| v.is_finite())?]);
        let points: Vec<_> = series.points.iter().map(point).collect();
        for part in clip(&points, self.bounds()) {
            let part: Vec<_> = part.into_iter().map(|[x, y]| (x, y)).collect();
            match part[..] {
                [alone] => self.frame.put(Circle::new(alone, units(width * 1.3), color.filled())),
                _ => self.frame.put(PathElement::new(part, series.style.stroke())),
            }
        }
        if series.dots {
            self.dots(&series.points, width * 1.3, color);
        }
    }
}
