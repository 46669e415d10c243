//! A parsed drawing as areas of one colour.
//!
//! The plots hold nothing but filled and stroked paths, so that they need no general renderer;
//! [`super::canvas`] paints what comes out here.

use resvg::tiny_skia::{Path, PathSegment, PathStroker, Point, Transform};
use resvg::usvg::{self, Group, Node, PaintOrder, Tree};

/// Largest distance of a curve from the straight pieces that stand for it, px.
const FLATNESS_PX: f32 = 0.05;

/// A part of a drawing, in pixels of the picture. A point is inside where the edges around it do
/// not cancel ("nonzero").
pub(super) struct Area {
    /// Edges that are not level: x and y of both ends.
    pub edges: Vec<[f32; 4]>,
    /// Rows that it reaches, from and to.
    pub rows: [f32; 2],
    /// Red, green, blue.
    pub color: [u8; 3],
    /// From 0 to 1.
    pub opacity: f32,
}

/// The areas of a drawing from back to front, enlarged by `scale`.
///
/// # Errors
/// Says what the drawing holds that is no path of one colour.
pub(super) fn areas(tree: &Tree, scale: f32) -> Result<Vec<Area>, String> {
    let mut areas = Vec::new();
    add_group(tree.root(), Transform::from_scale(scale, scale), &mut areas)?;
    Ok(areas)
}

fn add_group(group: &Group, parent: Transform, areas: &mut Vec<Area>) -> Result<(), String> {
    if group.should_isolate() {
        return Err("a group that is drawn apart".into());
    }
    let transform = parent.pre_concat(group.transform());
    for node in group.children() {
        match node {
            Node::Group(inside) => add_group(inside, transform, areas)?,
            Node::Text(text) => add_group(text.flattened(), transform, areas)?,
            Node::Path(path) if !path.is_visible() => {}
            Node::Path(path) => {
                let (fill, stroke) = (filled(path, transform)?, stroked(path, transform)?);
                match path.paint_order() {
                    PaintOrder::FillAndStroke => areas.extend(fill.into_iter().chain(stroke)),
                    PaintOrder::StrokeAndFill => areas.extend(stroke.into_iter().chain(fill)),
                }
            }
            Node::Image(_) => return Err("a picture in the picture".into()),
        }
    }
    Ok(())
}

fn filled(path: &usvg::Path, transform: Transform) -> Result<Option<Area>, String> {
    let Some(fill) = path.fill() else { return Ok(None) };
    if fill.rule() != usvg::FillRule::NonZero {
        return Err("an area filled by the even-odd rule".into());
    }
    let outline = path.data().clone().transform(transform);
    area(outline, fill.paint(), fill.opacity())
}

fn stroked(path: &usvg::Path, transform: Transform) -> Result<Option<Area>, String> {
    let Some(stroke) = path.stroke() else { return Ok(None) };
    let line = stroke.to_tiny_skia();
    let resolution = PathStroker::compute_resolution_scale(&transform);
    let dashed = line.dash.as_ref().and_then(|dash| path.data().dash(dash, resolution));
    let outline = dashed.as_ref().unwrap_or(path.data()).stroke(&line, resolution);
    let outline = outline.and_then(|outline| outline.transform(transform));
    area(outline, stroke.paint(), stroke.opacity())
}

fn area(
    outline: Option<Path>,
    paint: &usvg::Paint,
    opacity: usvg::Opacity,
) -> Result<Option<Area>, String> {
    let usvg::Paint::Color(color) = paint else {
        return Err("an area of more than one colour".into());
    };
    Ok(outline.map(|outline| Area {
        edges: edges(&outline),
        rows: [outline.bounds().top(), outline.bounds().bottom()],
        color: [color.red, color.green, color.blue],
        opacity: opacity.get(),
    }))
}

/// The outline in straight pieces, each part closed.
fn edges(outline: &Path) -> Vec<[f32; 4]> {
    let mut pen = Pen { edges: Vec::with_capacity(2 * outline.len()), start: None, at: None };
    for segment in outline.segments() {
        match segment {
            PathSegment::MoveTo(to) => {
                pen.close();
                (pen.start, pen.at) = (Some(to), Some(to));
            }
            PathSegment::LineTo(to) => pen.line(to),
            PathSegment::QuadTo(by, to) => pen.curve([by, by, to], true),
            PathSegment::CubicTo(by, and, to) => pen.curve([by, and, to], false),
            PathSegment::Close => pen.close(),
        }
    }
    pen.close();
    pen.edges
}

struct Pen {
    edges: Vec<[f32; 4]>,
    start: Option<Point>,
    at: Option<Point>,
}

impl Pen {
    fn close(&mut self) {
        if let Some(start) = self.start {
            self.line(start);
        }
    }

    fn line(&mut self, to: Point) {
        if let Some(from) = self.at.replace(to)
            && from.y != to.y
        {
            self.edges.push([from.x, from.y, to.x, to.y]);
        }
    }

    /// A Bezier curve by its points after the first; of second degree with the middle one twice.
    fn curve(&mut self, [by, and, to]: [Point; 3], quadratic: bool) {
        let Some(from) = self.at else { return };
        let bend =
            |a: Point, b: Point, c: Point| (a.x - 2.0 * b.x + c.x).hypot(a.y - 2.0 * b.y + c.y);
        // A piece of 1/n of a curve is off by at most 1/8 n^2 of its second derivative.
        let second = if quadratic {
            2.0 * bend(from, by, to)
        } else {
            6.0 * bend(from, by, and).max(bend(by, and, to))
        };
        let n = (second / (8.0 * FLATNESS_PX)).sqrt().ceil().clamp(1.0, 100.0) as u8;
        for piece in 1..n {
            let t = f32::from(piece) / f32::from(n);
            let u = 1.0 - t;
            let mixed = |a: f32, b: f32, c: f32, d: f32| {
                if quadratic {
                    u * u * a + 2.0 * u * t * b + t * t * d
                } else {
                    u * u * u * a + 3.0 * u * t * (u * b + t * c) + t * t * t * d
                }
            };
            let x = mixed(from.x, by.x, and.x, to.x);
            self.line(Point::from_xy(x, mixed(from.y, by.y, and.y, to.y)));
        }
        self.line(to);
    }
}
