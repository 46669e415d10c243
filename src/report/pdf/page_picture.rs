//! The first page of a paper as a picture, to mail.

use super::flow::{Artwork, Flow, Ink, Placed, pages};
use super::sheet::Sheet;
use crate::report::error::ReportError;
use crate::report::plots::render::parse;
use crate::report::plots::svg::escape;
use resvg::tiny_skia::{Pixmap, Transform};

/// Pixels a point: 150 in an inch.
const SCALE: f32 = 150.0 / 72.0;

/// The first page of a flow on a sheet as PNG, 150 pixels an inch.
///
/// # Errors
/// [`ReportError::Plot`] when it cannot be drawn, [`ReportError::Encode`] when it cannot be
/// written: mistakes of this program.
pub fn first_page_png(flow: &Flow, sheet: &Sheet) -> Result<Vec<u8>, ReportError> {
    let failed = |reason: &str| ReportError::Plot { plot: "summary".into(), reason: reason.into() };
    let cut = pages(flow, sheet.column_height());
    let page = cut.first().map_or(&[][..], |page| &page[..]);
    let size = [sheet.width, sheet.height].map(|pt| (pt * SCALE).round() as u32);
    let mut canvas = Pixmap::new(size[0], size[1]).ok_or_else(|| failed("no canvas"))?;
    let tree = parse("summary", &text_svg(flow, sheet, page))?;
    let scale = Transform::from_scale(SCALE, SCALE);
    resvg::render(&tree, scale, &mut canvas.as_mut());
    for (drawing, [x, y, width]) in drawings(flow, sheet, page) {
        // Raster pictures are logos, and this page has none.
        let Artwork::Svg(tree) = drawing else { continue };
        let fit = width / tree.size().width();
        let place = scale.pre_translate(x, y).pre_scale(fit, fit);
        resvg::render(tree, place, &mut canvas.as_mut());
    }
    canvas.encode_png().map_err(|e| ReportError::Encode { what: "PNG", source: e.into() })
}

/// Text, rules and frames of the page.
fn text_svg(flow: &Flow, sheet: &Sheet, page: &[Placed]) -> String {
    let (w, h) = (sheet.width, sheet.height);
    let mut svg = format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='{w}' height='{h}'>\
         <rect class='paper' width='{w}' height='{h}' fill='#fff'/>"
    );
    for placed in page {
        let strip = flow.strip(placed.which);
        let top = sheet.top + placed.y;
        if strip.frame.is_some() {
            let (x, height) = (sheet.side, strip.height);
            svg += &format!("<rect x='{x}' y='{top}' width='3' height='{height}'/>");
        }
        let marks = strip.marks.iter();
        svg.extend(marks.map(|mark| mark_svg(&mark.ink, [sheet.side + mark.x, top + mark.y])));
    }
    svg + "</svg>"
}

/// A mark in SVG; nothing of a drawing.
fn mark_svg(ink: &Ink, [x, y]: [f32; 2]) -> String {
    match ink {
        Ink::Text { text, size, bold, grey } => {
            let (weight, text) = (if *bold { 600 } else { 400 }, escape(text));
            format!(
                "<text x='{x}' y='{y}' font-family='Open Sans' font-size='{size}' \
                 font-weight='{weight}' fill='rgb({grey},{grey},{grey})'>{text}</text>"
            )
        }
        Ink::Rule { length, thickness, grey } => {
            let y = y - thickness / 2.0;
            format!(
                "<rect x='{x}' y='{y}' width='{length}' height='{thickness}' \
                 fill='rgb({grey},{grey},{grey})'/>"
            )
        }
        Ink::Sign { sign, side } => {
            let (path, width) = (sign.path([x, y], *side), 0.16 * side);
            format!("<path d='{path}' fill='none' stroke='#000' stroke-width='{width}'/>")
        }
        Ink::Square { side } => format!(
            "<rect x='{x}' y='{y}' width='{side}' height='{side}' fill='none' stroke='#000' \
             stroke-width='0.7'/>"
        ),
        Ink::Drawing { .. } => String::new(),
    }
}

/// Drawings of the page with their places: left, top, width, pt.
fn drawings<'a>(flow: &'a Flow, sheet: &Sheet, page: &[Placed]) -> Vec<(&'a Artwork, [f32; 3])> {
    let mut found = Vec::new();
    for placed in page {
        for mark in &flow.strip(placed.which).marks {
            let Ink::Drawing { number, size } = &mark.ink else { continue };
            let width = size[0] * placed.scale;
            // A smaller drawing keeps its middle.
            let x = sheet.side + mark.x + (size[0] - width) / 2.0;
            found.push((&flow.drawings[*number], [x, sheet.top + placed.y + mark.y, width]));
        }
    }
    found
}
