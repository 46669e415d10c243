//! A finished drawing with its words, whatever it was drawn by.

use super::figure::Figure;

/// A plot as SVG text, with what is said about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// File name without ending, and prefix of ids inside; letters and dashes.
    pub id: &'static str,
    /// The finding, in words.
    pub title: String,
    /// The figures in words, for those who cannot see the plot.
    pub description: String,
    /// The drawing, 1600 x 1000.
    pub svg: String,
}

impl From<&Figure> for Drawing {
    fn from(figure: &Figure) -> Self {
        Self {
            id: figure.id,
            title: figure.title.clone(),
            description: figure.description.clone(),
            svg: figure.to_svg(),
        }
    }
}
