//! Figures as text.

use crate::analysis::compare::Rated;
use crate::jobs::again::FigureAgain;
use crate::jobs::mean::OverRooms;
use crate::words::signed;

/// What stands where there is no figure.
pub fn dash() -> String {
    "\u{2013}".to_owned()
}

/// "1.42 ± 0.21", or the value alone where there is no interval.
pub fn with_u95(value: f64, u95: Option<f64>, decimals: usize) -> String {
    let text = signed(value, decimals);
    u95.map_or_else(|| text.clone(), |u| format!("{text} \u{b1} {u:.decimals$}"))
}

/// A figure over rooms; a dash where there is none.
pub fn over(figure: Option<&OverRooms>, decimals: usize) -> String {
    figure.map_or_else(dash, |f| with_u95(f.mean, f.u95, decimals))
}

/// A rated figure.
pub fn rated(figure: Rated, decimals: usize) -> String {
    with_u95(figure.value, figure.u95, decimals)
}

/// The change of a figure measured twice.
pub fn change(figure: &FigureAgain, decimals: usize) -> String {
    let sign = if figure.change > 0.0 { "+" } else { "" };
    format!("{sign}{}", with_u95(figure.change, Some(figure.u95), decimals))
}

/// "1 room", "7 rooms".
pub fn rooms(n: usize) -> String {
    if n == 1 { "1 room".into() } else { format!("{n} rooms") }
}
