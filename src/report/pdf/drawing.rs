//! From pages of strips to the bytes of a document, with its tag tree.

pub use super::sheet::Sheet;

use super::flow::{Child, Element, Flow, Leaf, Placed, Which, pages};
use super::pen::Pen;
use super::type_setting;
use crate::report::error::ReportError;
use crate::report::plots::text::{REGULAR, SEMIBOLD};
use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::Point;
use krilla::metadata::{DateTime, Metadata};
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::tagging::{Identifier, Node, TagGroup, TagTree};
use krilla::text::Font;
use krilla::{Document, SerializeSettings};
use std::collections::BTreeMap;
use time::UtcDateTime;

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
