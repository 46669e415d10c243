//! From pages of strips to the bytes of a document, with its tag tree.

use super::blocks::DIM;
use super::flow::{Artwork, Child, Element, Flow, Ink, Leaf, Mark, Placed, Which, pages};
use super::type_setting::{self, line_width, lines, shape};
use crate::report::error::ReportError;
use crate::report::paper::sign::Sign;
use crate::report::plots::text::{REGULAR, SEMIBOLD};
use krilla::color::luma;
use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, Node, SpanTag, TagGroup, TagTree,
};
use krilla::text::Font;
use krilla::{Document, SerializeSettings};
use krilla_svg::{SurfaceExt, SvgSettings};
use std::collections::BTreeMap;
use time::UtcDateTime;

/// Size of a sheet of paper and of what is left white, pt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sheet {
    /// Width.
    pub width: f32,
    /// Height.
    pub height: f32,
    /// White on the left and on the right.
    pub side: f32,
    /// White above.
    pub top: f32,
    /// White below, in which the footer stands.
    pub bottom: f32,
}

impl Sheet {
    /// 210 mm x 297 mm (ISO 216).
    pub const A4: Self =
        Self { width: 595.28, height: 841.89, side: 56.0, top: 52.0, bottom: 62.0 };
    /// 8.5 in x 11 in (ANSI/ASME Y14.1 size A).
    pub const LETTER: Self =
        Self { width: 612.0, height: 792.0, side: 60.0, top: 50.0, bottom: 60.0 };

    /// Width of the column.
    pub fn column(&self) -> f32 {
        self.width - 2.0 * self.side
    }

    pub(super) fn column_height(&self) -> f32 {
        self.height - self.top - self.bottom
    }
}

/// Number of pages that a flow takes.
pub fn n_pages(flow: &Flow, sheet: &Sheet) -> usize {
    pages(flow, sheet.column_height()).len()
}

/// Draws the flow: PDF/A-2a and PDF/UA-1, both checked by the writing library.
///
/// # Errors
/// [`ReportError::Encode`] when the library finds a breach: a mistake of this program.
pub fn document(
    flow: &Flow,
    sheet: &Sheet,
    title: &str,
    date: Option<UtcDateTime>,
) -> Result<Vec<u8>, ReportError> {
    let date = date.unwrap_or(UtcDateTime::UNIX_EPOCH);
    // Text in drawings can be selected; where a foreign logo holds text that may
    // not stand in an archive, its outlines are drawn instead.
    written(flow, sheet, title, date, true).or_else(|_| written(flow, sheet, title, date, false))
}

fn encode(source: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> ReportError {
    ReportError::Encode { what: "PDF", source: source.into() }
}

fn written(
    flow: &Flow,
    sheet: &Sheet,
    title: &str,
    date: UtcDateTime,
    embed_text: bool,
) -> Result<Vec<u8>, ReportError> {
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A2_A)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|e| encode(format!("{e:?}")))?;
    let mut document =
        Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    let font = |data: &'static [u8]| {
        Font::new(data.into(), 0).ok_or_else(|| encode("a font of this program cannot be read"))
    };
    let pages = pages(flow, sheet.column_height());
    let mut pen = Pen {
        flow,
        sheet,
        fonts: [font(REGULAR)?, font(SEMIBOLD)?],
        embed_text,
        leaves: BTreeMap::new(),
    };
    let title = type_setting::title(title);
    for (number, page) in pages.iter().enumerate() {
        let settings = PageSettings::from_wh(sheet.width, sheet.height)
            .ok_or_else(|| encode("a sheet without size"))?;
        let mut drawn = document.start_page_with(settings);
        let mut surface = drawn.surface();
        pen.page(&mut surface, page);
        pen.footer(&mut surface, &title, number + 1, pages.len());
        surface.finish();
        drawn.finish();
    }
    document.set_outline(outline(flow, sheet, &pages, &title));
    let mut tree = TagTree::new().with_lang(Some("en".to_owned()));
    for element in &flow.elements {
        tree.push(group(element, &mut pen.leaves));
    }
    document.set_tag_tree(tree);
    document.set_metadata(
        Metadata::new()
            .title(title.clone())
            .language("en".to_owned())
            .creator(format!("scrimcheck {}", env!("CARGO_PKG_VERSION")))
            .creation_date(moment(date)),
    );
    document.finish().map_err(encode)
}

fn moment(date: UtcDateTime) -> DateTime {
    DateTime::new(u16::try_from(date.year()).unwrap_or(1970))
        .month(date.month().into())
        .day(date.day())
        .hour(date.hour())
        .minute(date.minute())
        .second(date.second())
        .utc_offset_hour(0)
        .utc_offset_minute(0)
}

/// The tag group of an element; each leaf is used once.
fn group(element: &Element, leaves: &mut BTreeMap<Leaf, Vec<Identifier>>) -> TagGroup {
    let mut group = TagGroup::new(element.tag.clone());
    for child in &element.children {
        match child {
            Child::Element(inside) => group.push(self::group(inside, leaves)),
            Child::Leaf(leaf) => {
                let marks = leaves.remove(leaf).unwrap_or_default();
                group.children.extend(marks.into_iter().map(Node::Leaf));
            }
        }
    }
    group
}

/// Headings as bookmarks, those of level 2 below those of level 1.
fn outline(flow: &Flow, sheet: &Sheet, pages: &[Vec<Placed>], title: &str) -> Outline {
    let mut entries: Vec<(u8, OutlineNode)> = Vec::new();
    let at = |number, y: f32| XyzDestination::new(number, Point::from_xy(sheet.side, y));
    for (number, page) in pages.iter().enumerate() {
        for placed in page {
            let Which::Strip(strip) = placed.which else { continue };
            let Some((level, text)) = &flow.strips[strip].outline else { continue };
            let node = OutlineNode::new(text.clone(), at(number, sheet.top + placed.y));
            match entries.last_mut() {
                Some((1, parent)) if *level > 1 => parent.push_child(node),
                _ => entries.push((*level, node)),
            }
        }
    }
    if entries.is_empty() {
        entries.push((1, OutlineNode::new(title.to_owned(), at(0, 0.0))));
    }
    let mut outline = Outline::new();
    for (_, node) in entries {
        outline.push_child(node);
    }
    outline
}

struct Pen<'a> {
    flow: &'a Flow,
    sheet: &'a Sheet,
    fonts: [Font; 2],
    embed_text: bool,
    leaves: BTreeMap<Leaf, Vec<Identifier>>,
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
    fn page(&mut self, surface: &mut Surface<'_>, page: &[Placed]) {
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

    fn footer(&self, surface: &mut Surface<'_>, title: &str, number: usize, n_pages: usize) {
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
