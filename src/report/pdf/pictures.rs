//! Plots and the logo.

use super::blocks::{DIM, Setter, Style};
use super::flow::{Artwork, Ink, Mark, Strip};
use super::type_setting::{MAX_PROPERTY, property, visible};
use crate::report::error::ReportError;
use crate::report::paper::Logo;
use crate::report::plots::drawing::Drawing;
use crate::report::plots::render::parse;
use krilla::image::Image;
use krilla::tagging::Tag;
use std::sync::Arc;

/// Plots at the end of a page may be this much smaller; their smallest words, the numbers under the
/// axis, are 6.5 pt high then (20 px of 1400 in the column of an A4 page, 483 pt wide).
const LEAST_SCALE: f32 = 0.95;

impl Setter<'_> {
    /// A plot over the width of the column, its title above and how to read it below.
    pub(super) fn figure(&mut self, figure: &Drawing) -> Result<(), ReportError> {
        let tree = match self.drawings.get(figure.id) {
            Some(tree) => Arc::clone(tree),
            None => {
                // The text of the drawing is set with the fonts of the paper too.
                let tree = Arc::new(parse(figure.id, &visible(&figure.paper_svg))?);
                self.drawings.insert(figure.id, Arc::clone(&tree));
                tree
            }
        };
        let ratio = tree.size().height() / tree.size().width();
        let width = self.measures.width.min(self.measures.width * 0.85 / ratio);
        let (body, small) = (self.measures.body, self.measures.small);
        let mut space = body;
        if !figure.title.trim().is_empty() {
            let style = Style { bold: true, space, ..self.body() };
            self.paragraph(&figure.title, style, self.measures.width, true);
            space = body * 0.3;
        }
        let size = [width, width * ratio];
        let x = (self.measures.width - width) / 2.0;
        let has_caption = !figure.caption.trim().is_empty();
        let words =
            if figure.description.trim().is_empty() { &figure.title } else { &figure.description };
        let least_scale = Some(LEAST_SCALE);
        let strip =
            Strip { space, height: size[1], keep: has_caption, least_scale, ..Strip::default() };
        self.artwork(Artwork::Svg(tree), x, size, strip, property(words, MAX_PROPERTY));
        if has_caption {
            let words = [&figure.subtitle, &figure.caption].map(|words| words.trim());
            let sentence = |w: &str| if w.ends_with('.') { w.into() } else { format!("{w}.") };
            let words = words.into_iter().filter(|w| !w.is_empty()).map(sentence);
            let words = words.collect::<Vec<_>>().join(" ");
            let style = Style { size: small, grey: DIM, space: 1.0, ..self.body() };
            self.paragraph(&words, style, self.measures.width, false);
        }
        Ok(())
    }

    /// A drawing in a strip of its own, with the words that stand for it.
    fn artwork(&mut self, art: Artwork, x: f32, size: [f32; 2], strip: Strip, words: String) {
        let leaf = self.flow.leaf();
        let ink = Ink::Drawing { number: self.flow.drawings.len(), size };
        self.flow.drawings.push(art);
        let marks = vec![Mark { x, y: 0.0, ink, leaf: Some(leaf) }];
        self.flow.strips.push(Strip { marks, ..strip });
        self.push(Tag::Figure(Some(words)), [leaf]);
    }

    /// Puts the logo into the upper right corner; returns its width, pt.
    pub(super) fn logo(&mut self, logo: &Logo) -> Result<f32, ReportError> {
        let failed = |reason: String| ReportError::Plot { plot: "logo".to_owned(), reason };
        let (drawing, [w, h]) = match logo {
            Logo::Svg(svg) => {
                let tree = parse("logo", &visible(svg))?;
                let size = [tree.size().width(), tree.size().height()];
                (Artwork::Svg(Arc::new(tree)), size)
            }
            Logo::Png(bytes) | Logo::Jpeg(bytes) => {
                let read = match logo {
                    Logo::Jpeg(_) => Image::from_jpeg,
                    _ => Image::from_png,
                };
                let picture = read(bytes.clone().into(), false).map_err(failed)?;
                let (w, h) = picture.size();
                (Artwork::Picture(picture), [w as f32, h as f32])
            }
        };
        let scale = (120.0 / w).min(44.0 / h);
        let size = [w * scale, h * scale];
        // No height of its own: the title stands to the left of it.
        let strip = Strip { keep: true, ..Strip::default() };
        let x = self.measures.width - size[0];
        self.artwork(drawing, x, size, strip, "Logo of the installer".to_owned());
        Ok(size[0])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::pdf::drawing::Sheet;
    use crate::report::plots::layout::{PAPER_WIDTH, STRIP_SIZE};

    #[test]
    fn numbers_under_plots_are_at_least_six_and_a_half_points_high() {
        for sheet in [Sheet::A4, Sheet::LETTER] {
            let pt_per_px = f64::from(sheet.column() * LEAST_SCALE) / PAPER_WIDTH;
            assert!(STRIP_SIZE * pt_per_px >= 6.5, "{}", STRIP_SIZE * pt_per_px);
        }
    }
}
