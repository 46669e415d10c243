//! Plots: one drawing code for SVG, PNG and papers.
//!
//! Axes, grid, areas, lines, bars and points are drawn by plotters into a backend of our own, which
//! writes SVG finer than a pixel ([`svg`]). Ours are the words and where they stand, the groups
//! with names (to show, hide and read them), the proportion of IEC 60263, and the cut at the frame.
//!
//! [`figure::Figure`] is what a plot is made of; [`render`] turns it into bytes.

pub(crate) mod axes;
mod backend;
pub(crate) mod bands;
mod chart;
pub(crate) mod claims;
pub(crate) mod clip;
pub(crate) mod colors;
pub(crate) mod compare;
pub(crate) mod correction;
pub(crate) mod dependence;
pub(crate) mod distortion;
pub(crate) mod drawing;
pub(crate) mod figure;
pub(crate) mod forecast;
pub(crate) mod layout;
pub(crate) mod levels;
pub(crate) mod loss;
pub(crate) mod power;
pub(crate) mod rattle;
pub mod render;
pub(crate) mod seat_map;
mod seat_words;
pub(crate) mod series;
pub(crate) mod sheet;
pub(crate) mod spread;
pub(crate) mod svg;
pub(crate) mod text;
pub(crate) mod verification;
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
    let found = where_found.into_iter().flatten().chain(distortion::distortion_figures(result));
    let titled = |figure| Figure { session: Some(result.title.clone()), ..figure };
    std::iter::once(always).chain(found).map(titled).collect()
}

/// Every plot that the result has data for, drawn; the seat map last.
pub fn drawings(result: &SessionResult, units: DisplayUnits) -> Vec<Drawing> {
    let mut drawings: Vec<Drawing> = figures(result, units).par_iter().map(Drawing::from).collect();
    drawings.extend(seat_map::seat_map(result, units));
    drawings
}
