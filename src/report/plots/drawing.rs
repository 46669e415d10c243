//! A finished drawing with its words, whatever it was drawn by.

use super::figure::Figure;
use super::layout::Format;

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
    pub svg: String,
    /// The drawing in a paper, which sets title and caption itself.
    pub paper_svg: String,
}

impl From<&Figure> for Drawing {
    fn from(figure: &Figure) -> Self {
        Self {
            id: figure.id,
            title: figure.title.clone(),
            subtitle: figure.subtitle.clone(),
            caption: figure.full_caption(Format::Paper),
            description: figure.description.clone(),
            svg: figure.to_svg(Format::File),
            paper_svg: figure.to_svg(Format::Paper),
        }
    }
}
