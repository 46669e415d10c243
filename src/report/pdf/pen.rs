//! What a page shows, mark by mark.

use super::blocks::DIM;
use super::flow::{Artwork, Flow, Ink, Leaf, Mark, Placed};
use super::sheet::Sheet;
use super::type_setting::{line_width, lines, shape};
use crate::report::paper::sign::Sign;
use krilla::color::luma;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, Identifier, SpanTag};
use krilla::text::Font;
use krilla_svg::{SurfaceExt, SvgSettings};
use std::collections::BTreeMap;

pub(super) struct Pen<'a> {
    pub(super) flow: &'a Flow,
    pub(super) sheet: &'a Sheet,
    pub(super) fonts: [Font; 2],
    pub(super) embed_text: bool,
    pub(super) leaves: BTreeMap<Leaf, Vec<Identifier>>,
}

const DECORATION: ContentTag<'static> =
    ContentTag::Artifact(Artifact { kind: ArtifactType::Layout, bbox: None });

fn fill(grey: u8) -> Option<Fill> {
    Some(Fill {
        paint: luma::Color::new(grey).into(),
        opacity: NormalizedF32::ONE,
        rule: Default::default(),
    })
}

impl Pen<'_> {
    pub(super) fn page(&mut self, surface: &mut Surface<'_>, page: &[Placed]) {
        self.frames(surface, page);
        for placed in page {
            for mark in &self.flow.strip(placed.which).marks {
                let at = [self.sheet.side + mark.x, self.sheet.top + placed.y + mark.y];
                self.mark(surface, mark, at, placed.scale);
            }
        }
    }

    /// A frame around each run of strips that share one.
    fn frames(&self, surface: &mut Surface<'_>, page: &[Placed]) {
        let mut spans: BTreeMap<usize, [f32; 2]> = BTreeMap::new();
        for placed in page {
            let strip = self.flow.strip(placed.which);
            if let Some(frame) = strip.frame {
                let bottom = placed.y + strip.height;
                spans.entry(frame).or_insert([placed.y, bottom])[1] = bottom;
            }
        }
        for [top, bottom] in spans.into_values() {
            surface.start_tagged(DECORATION);
            let (x, y) = (self.sheet.side, self.sheet.top + top);
            outline_box(surface, [x, y, self.sheet.column(), bottom - top]);
            block(surface, [x, y, 3.0, bottom - top], 0);
            surface.end_tagged();
        }
    }

    /// `scale` is that of a drawing.
    fn mark(&mut self, surface: &mut Surface<'_>, mark: &Mark, [x, y]: [f32; 2], scale: f32) {
        let tag = match (mark.leaf, &mark.ink) {
            (None, _) => DECORATION,
            (Some(_), Ink::Text { .. }) => ContentTag::Span(SpanTag::empty()),
            (Some(_), _) => ContentTag::Other,
        };
        let id = surface.start_tagged(tag);
        if let Some(leaf) = mark.leaf {
            self.leaves.entry(leaf).or_default().push(id);
        }
        match &mark.ink {
            Ink::Text { text, size, bold, grey } => {
                self.text(surface, [x, y], text, *size, *bold, *grey);
            }
            Ink::Rule { length, thickness, grey } => {
                block(surface, [x, y - thickness / 2.0, *length, *thickness], *grey);
            }
            Ink::Sign { sign, side } => strokes(surface, *sign, [x, y], *side),
            Ink::Square { side } => outline_box(surface, [x, y, *side, *side]),
            // A smaller drawing keeps its middle.
            Ink::Drawing { number, size: [w, h] } => {
                let size = [w * scale, h * scale];
                self.drawing(surface, *number, [x + (w - size[0]) / 2.0, y], size);
            }
        }
        surface.end_tagged();
    }

    fn text(
        &self,
        surface: &mut Surface<'_>,
        at: [f32; 2],
        text: &str,
        size: f32,
        bold: bool,
        grey: u8,
    ) {
        let (glyphs, _) = shape(text, bold);
        if glyphs.is_empty() {
            return;
        }
        surface.set_stroke(None);
        surface.set_fill(fill(grey));
        let font = self.fonts[usize::from(bold)].clone();
        surface.draw_glyphs(Point::from_xy(at[0], at[1]), &glyphs, font, text, size, false);
    }

    fn drawing(&self, surface: &mut Surface<'_>, number: usize, at: [f32; 2], size: [f32; 2]) {
        let Some(area) = Size::from_wh(size[0], size[1]) else { return };
        surface.push_transform(&Transform::from_translate(at[0], at[1]));
        match &self.flow.drawings[number] {
            Artwork::Svg(tree) => {
                let settings = SvgSettings { embed_text: self.embed_text, ..Default::default() };
                // `None` only for a drawing without size, of which there is nothing to see.
                let _ = surface.draw_svg(tree.as_ref(), area, settings);
            }
            Artwork::Picture(picture) => surface.draw_image(picture.clone(), area),
        }
        surface.pop();
    }

    pub(super) fn footer(
        &self,
        surface: &mut Surface<'_>,
        title: &str,
        number: usize,
        n_pages: usize,
    ) {
        let size = 8.0;
        let y = self.sheet.height - self.sheet.bottom + 30.0;
        surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(ArtifactType::Footer)));
        block(surface, [self.sheet.side, y - 13.0, self.sheet.column(), 0.3], 150);
        let page = format!("page {number} of {n_pages}");
        let width = line_width(&page, size, false);
        let room = self.sheet.column() - width - 24.0;
        let mut titles = lines(title, size, false, room - 8.0);
        if titles.len() > 1 {
            titles[0].push('…');
        }
        self.text(surface, [self.sheet.side, y], &titles[0], size, false, DIM);
        let x = self.sheet.width - self.sheet.side - width;
        self.text(surface, [x, y], &page, size, false, DIM);
        surface.end_tagged();
    }
}

/// A filled rectangle.
fn block(surface: &mut Surface<'_>, area: [f32; 4], grey: u8) {
    draw_path(surface, fill(grey), None, |path| rectangle(path, area));
}

/// The outline of a rectangle.
fn outline_box(surface: &mut Surface<'_>, area: [f32; 4]) {
    draw_path(surface, None, Some(0.7), |path| rectangle(path, area));
}

/// The strokes of a sign.
fn strokes(surface: &mut Surface<'_>, sign: Sign, [x, y]: [f32; 2], side: f32) {
    draw_path(surface, None, Some(0.16 * side), |path| {
        for line in sign.strokes() {
            for (i, [px, py]) in line.into_iter().enumerate() {
                let (px, py) = (x + side * px, y + side * py);
                if i == 0 { path.move_to(px, py) } else { path.line_to(px, py) }
            }
        }
    });
}

fn rectangle(path: &mut PathBuilder, [x, y, w, h]: [f32; 4]) {
    if let Some(area) = Rect::from_xywh(x, y, w, h) {
        path.push_rect(area);
    }
}

/// Fills a path, or draws its lines of a width, pt.
fn draw_path(
    surface: &mut Surface<'_>,
    fill: Option<Fill>,
    width: Option<f32>,
    build: impl FnOnce(&mut PathBuilder),
) {
    surface.set_fill(fill);
    surface.set_stroke(width.map(|width| Stroke { width, ..Stroke::default() }));
    let mut path = PathBuilder::new();
    build(&mut path);
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
    surface.set_stroke(None);
}
