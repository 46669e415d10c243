//! A finished drawing with its words, whatever it was drawn by.

use super::chart::draw;
use super::figure::Figure;
use super::layout::{Format, Layout};
use std::sync::Arc;

/// A plot as SVG text, with what is said about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// File name without ending, and prefix of ids inside; letters and dashes.
    pub id: &'static str,
    /// The finding, in words.
    pub title: String,
    /// What is shown.
    pub subtitle: String,
    /// How to read it.
    pub caption: String,
    /// The figures in words, for those who cannot see the plot.
    pub description: String,
    /// The drawing on its own, 1600 x 1000, with title and caption.
    pub svg: Arc<str>,
    /// The drawing in a paper, which sets title and caption itself.
    pub paper_svg: Arc<str>,
}

impl Figure {
    /// The figure as an SVG document.
    pub fn to_svg(&self, format: Format) -> String {
        draw(self, &Layout::of(self, format))
    }
}

impl From<&Figure> for Drawing {
    fn from(figure: &Figure) -> Self {
        let in_paper = Layout::of(figure, Format::Paper);
        Self {
            id: figure.id,
            title: figure.title.clone(),
            subtitle: figure.subtitle.clone(),
            description: figure.description.clone(),
            svg: figure.to_svg(Format::File).into(),
            paper_svg: draw(figure, &in_paper).into(),
            caption: in_paper.caption_text,
        }
    }
}
