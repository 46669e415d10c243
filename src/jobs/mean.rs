//! The mean of a figure over rooms: random effects.
//!
//! A sheet does not lose the same in every room: gap, angles, tension and lot differ. The figure of
//! room `i` is taken as `y_i = m + b_i + e_i`: `m` the mean over all such rooms, `b_i` what the room
//! adds (standard deviation `s_b`, unknown), `e_i` the error of the measurement there (standard
//! uncertainty `u_i`, known).
//!
//! - `s_b` after Paule and Mandel (J. Res. NBS 87, 377, 1982), as recommended in metrology by
//!   DerSimonian and Kacker (Contemp. Clin. Trials 28, 105, 2007): the value at which
//!   `sum (y_i - m)^2 / (u_i^2 + s_b^2) = n - 1`, or 0 where the rooms scatter less than their
//!   own uncertainty explains.
//! - `m` is the mean weighted by `1 / (u_i^2 + s_b^2)`.
//! - Its variance after Hartung and Knapp (Stat. Med. 20, 3875, 2001) and Sidik and Jonkman (Stat.
//!   Med. 21, 3153, 2002), with Student's t of `n - 1` degrees of freedom. It rests on the scatter
//!   that is seen, so it stays right where the `u_i` are stated too small.
//! - Few rooms that agree by chance would make that interval narrower than what the rooms know of
//!   themselves: with fewer than five it is never narrower than the classical one, `1.96 / sqrt(sum
//!   of weights)` (one of the remedies in Jackson, Law, Ruecker and Schwarzer, Stat. Med. 36, 3923,
//!   2017). From five rooms on it holds the truth in 95 % without that.
//!
//! **What is common to the rooms** does not show in their scatter and does not shrink with their
//! number. It is handed in as `common_u` and added in full, after the mean is taken.

use crate::analysis::student::student_quantile;
use serde::{Deserialize, Serialize};

/// A figure of one room.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct RoomFigure {
    /// The figure.
    pub value: f64,
    /// Its standard uncertainty, same unit.
    pub u: f64,
}

impl RoomFigure {
    /// Mean of figures that hang together: trusted no better than the mean of their uncertainties.
    pub fn mean(all: &[Self]) -> Option<Self> {
        let mean = |of: fn(&Self) -> f64| all.iter().map(of).sum::<f64>() / all.len() as f64;
        (!all.is_empty()).then(|| Self { value: mean(|f| f.value), u: mean(|f| f.u) })
    }
}

/// How rooms scatter, as known from other sheets.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Scatter {
    /// Standard deviation between rooms.
    pub sd: f64,
    /// Degrees of freedom behind it.
    pub dof: f64,
}

/// A figure over rooms.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OverRooms {
    /// Number of rooms.
    pub n_rooms: usize,
    /// Random-effects mean.
    pub mean: f64,
    /// Standard uncertainty of the mean; absent as `u95` is.
    pub u: Option<f64>,
    /// Degrees of freedom of the part of `u` that rests on scatter.
    pub dof: f64,
    /// Expanded uncertainty of the mean, two-sided 95 %; absent for a single room of whose kind
    /// no scatter is known.
    pub u95: Option<f64>,
    /// Standard deviation between rooms beyond the uncertainty of each; absent for one room.
    pub between_sd: Option<f64>,
    /// Root mean square of the rooms' own standard uncertainties.
    pub within_u: f64,
    /// Smallest and largest figure of a room.
    pub range: [f64; 2],
    /// Half width of the 95 % prediction interval for one room more (Higgins, Thompson and
    /// Spiegelhalter, J. R. Stat. Soc. A 172, 137, 2009, with `n - 1` degrees of freedom).
    pub next_room_u95: Option<f64>,
    /// Whether the scatter between rooms was taken from other sheets, for want of rooms.
    pub borrowed: bool,
}

/// A standard uncertainty below this counts as this: a weight must stay finite.
const LEAST_U: f64 = 1e-6;
/// Below so many rooms an interval is never narrower than the rooms' own uncertainty leaves.
const FEW_ROOMS: usize = 5;
/// From so many rooms on their own scatter is used.
const OWN_SCATTER_FROM: usize = 3;

/// The variance between rooms after Paule and Mandel, never negative; 0 for fewer than two rooms.
pub fn between_variance(figures: &[RoomFigure]) -> f64 {
    let target = figures.len() as f64 - 1.0;
    if target < 1.0 || generalised_q(figures, 0.0) <= target {
        return 0.0;
    }
    let (mut low, mut high) = (0.0, 1e-12);
    while generalised_q(figures, high) > target && high < 1e12 {
        (low, high) = (high, high * 4.0);
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if generalised_q(figures, middle) > target {
            low = middle
        } else {
            high = middle
        }
        if high - low <= 1e-14 * high {
            break;
        }
    }
    0.5 * (low + high)
}

/// Mean weighted by `1 / (u^2 + between)`, and the sum of weights.
fn weighted(figures: &[RoomFigure], between: f64) -> (f64, f64) {
    let (mut sum, mut weights) = (0.0, 0.0);
    for f in figures {
        let w = 1.0 / (f.u.max(LEAST_U).powi(2) + between);
        sum += w * f.value;
        weights += w;
    }
    (sum / weights, weights)
}

fn generalised_q(figures: &[RoomFigure], between: f64) -> f64 {
    let (mean, _) = weighted(figures, between);
    let square = |f: &RoomFigure| (f.value - mean).powi(2) / (f.u.max(LEAST_U).powi(2) + between);
    figures.iter().map(square).sum()
}

/// Mean of the rooms' standard uncertainties: that of what errs in all of them alike; 0 without rooms.
pub fn mean_u(figures: &[RoomFigure]) -> f64 {
    figures.iter().map(|f| f.u).sum::<f64>() / figures.len().max(1) as f64
}

/// The mean over rooms. `common_u`: standard uncertainty of what all rooms share. `other`: scatter
/// between rooms of other sheets, used where there are fewer than three.
///
/// `None` without a finite figure.
pub fn over_rooms(
    figures: &[RoomFigure],
    common_u: f64,
    other: Option<Scatter>,
) -> Option<OverRooms> {
    let figures: Vec<RoomFigure> = figures
        .iter()
        .copied()
        .filter(|f| f.value.is_finite() && f.u.is_finite() && f.u >= 0.0)
        .collect();
    let n = figures.len();
    if n == 0 {
        return None;
    }
    let own = between_variance(&figures);
    let borrowed = other.filter(|_| n < OWN_SCATTER_FROM);
    let between = borrowed.map_or(own, |s| s.sd.powi(2));
    let (mean, weights) = weighted(&figures, between);
    let normal = student_quantile(0.975, f64::INFINITY)?;
    let classical = (1.0 / weights).sqrt();
    // (standard error, degrees of freedom), as far as the scatter is known.
    let (standard_error, dof) = match borrowed {
        Some(scatter) => (Some(classical), scatter.dof),
        None if n == 1 => (None, 0.0),
        None => {
            let dof = n as f64 - 1.0;
            let variance = generalised_q(&figures, between) / dof / weights;
            let least = normal * classical / student_quantile(0.975, dof)?;
            let least = if n < FEW_ROOMS { least } else { 0.0 };
            (Some(variance.sqrt().max(least)), dof)
        }
    };
    let t = student_quantile(0.975, dof);
    let u95 = t.zip(standard_error).map(|(t, se)| (t * se).hypot(normal * common_u));
    let next_room_u95 = t
        .zip(standard_error)
        .map(|(t, se)| (t * (between + se.powi(2)).sqrt()).hypot(normal * common_u));
    let squares: f64 = figures.iter().map(|f| f.u.powi(2)).sum();
    let values = || figures.iter().map(|f| f.value);
    Some(OverRooms {
        n_rooms: n,
        mean,
        u: standard_error.map(|se| se.hypot(common_u)),
        dof,
        u95,
        between_sd: (n > 1).then_some(own.sqrt()),
        within_u: (squares / n as f64).sqrt(),
        range: [values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max)],
        next_room_u95,
        borrowed: borrowed.is_some(),
    })
}

/// The scatter between rooms over several sheets: variances pooled by their degrees of freedom.
/// `None` where no sheet has three rooms.
pub fn pooled_scatter(sheets: &[Option<OverRooms>]) -> Option<Scatter> {
    let (mut variance, mut dof) = (0.0, 0.0);
    for sheet in sheets.iter().flatten().filter(|s| s.n_rooms >= OWN_SCATTER_FROM) {
        let own = sheet.n_rooms as f64 - 1.0;
        variance += own * sheet.between_sd?.powi(2);
        dof += own;
    }
    (dof > 0.0).then(|| Scatter { sd: (variance / dof).sqrt(), dof })
}

#[cfg(test)]
#[path = "mean/tests.rs"]
mod tests;
