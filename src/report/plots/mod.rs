//! Plots: one drawing code for SVG, PNG and papers.
//!
//! Axes, grid, areas, lines, bars and points are drawn by plotters into a backend of our own, which
//! writes SVG finer than a pixel ([`svg`]). Ours are the words and where they stand, the groups
//! with names (to show, hide and read them), the proportion of IEC 60263, and the cut at the frame.
//!
//! [`figure::Figure`] is what a plot is made of; [`render`] turns it into bytes.

pub mod axes;
mod backend;
pub mod bands;
mod chart;
pub mod claims;
pub mod clip;
pub mod colors;
pub mod compare;
pub mod correction;
pub mod dependence;
pub mod distortion;
pub mod drawing;
pub mod figure;
pub mod forecast;
pub mod layout;
pub mod levels;
pub mod loss;
pub mod power;
pub mod rattle;
pub mod render;
pub mod seat_map;
mod seat_words;
pub mod series;
pub mod sheet;
pub mod spread;
pub mod svg;
pub mod text;
pub mod verification;
mod words;

use super::result::SessionResult;
use crate::ingest::manifest::DisplayUnits;
use drawing::Drawing;
use figure::Figure;
use rayon::prelude::*;

/// Every figure that the result has data for, in the order of the papers.
pub fn figures(result: &SessionResult, units: DisplayUnits) -> Vec<Figure> {
    let always = loss::loss_figure(result);
    let where_found = [
        claims::claims_figure(result),
        correction::correction_figure(result),
        verification::verification_figure(result),
        power::power_figure(result),
        spread::spread_figure(result),
        dependence::dependence_figure(result),
        sheet::sheet_figure(result, units),
        levels::levels_figure(result),
        rattle::rattle_figure(result),
    ];
    let found = where_found.into_iter().flatten();
    std::iter::once(always).chain(found).chain(distortion::distortion_figures(result)).collect()
}

/// Every plot that the result has data for, drawn; the seat map last.
pub fn drawings(result: &SessionResult, units: DisplayUnits) -> Vec<Drawing> {
    let mut drawings: Vec<Drawing> = figures(result, units).par_iter().map(Drawing::from).collect();
    drawings.extend(seat_map::seat_map(result, units));
    drawings
}
