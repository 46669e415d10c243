//! Plots: one drawing code for SVG, PNG and papers.
//!
//! Own code instead of a plotting library, because the pages need what those do
//! not give: series grouped with ids and classes (to show, hide and read them),
//! coordinates finer than a pixel, a dashed line as one path, curves clipped at
//! the axes without a false flat line along the edge, the proportion of
//! IEC 60263, and a title and description for screen readers.
//!
//! [`figure::Figure`] is what a plot is made of; [`render`] turns it into bytes.

pub mod axes;
pub mod claims;
pub mod compare;
pub mod correction;
pub mod drawing;
pub mod figure;
pub mod forecast;
pub mod levels;
pub mod loss;
pub mod render;
pub mod series;
pub mod spread;
pub mod svg;
pub mod text;

use super::result::SessionResult;
use drawing::Drawing;
use figure::Figure;
use rayon::prelude::*;

/// Every plot that the result has data for, in the order of the papers.
pub fn figures(result: &SessionResult) -> Vec<Figure> {
    let always = loss::loss_figure(result);
    let where_found = [
        spread::spread_figure(result),
        claims::claims_figure(result),
        correction::correction_figure(result),
        levels::levels_figure(result),
    ];
    std::iter::once(always).chain(where_found.into_iter().flatten()).collect()
}

/// Every plot that the result has data for, drawn.
pub fn drawings(result: &SessionResult) -> Vec<Drawing> {
    figures(result).par_iter().map(Drawing::from).collect()
}
