//! Maker's bias: by how much measured and claimed figures differ.
//!
//! Counted are claims about the loss in dB: largest, mean, at one frequency, at one against another.
//! The difference is measured less claimed: positive = the sheet loses more than claimed. Claims of
//! one room hang together, so each room gives one figure, the mean of its differences, trusted no
//! better than the mean of their uncertainties; over rooms these are taken together as in
//! [`super::mean`].
//!
//! A sheet's claims are called too good only where that is shown with all sheets looked at together:
//! one-sided, 2.5 % for all of them (Holm, Scand. J. Stat. 6, 65, 1979).

use super::collect::Job;
use super::mean::{OverRooms, RoomFigure, over_rooms};
use super::stored::{StoredClaim, standard};
use crate::analysis::student::student_sf;
use serde::Serialize;

/// A bias is told only from so many claims on.
pub const LEAST_CLAIMS: usize = 5;
/// Chance that any maker whose claims are true is said to claim too much.
const FALSE_ALARM: f64 = 0.025;

/// Measured less claimed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bias {
    /// Claims with a measured figure.
    pub n_claims: usize,
    /// Mean difference, dB: over rooms for a sheet, over sheets for all of them.
    pub difference_db: OverRooms,
    /// Probability of at least this difference if the claims were true; absent where no interval
    /// can be given.
    pub p_value: Option<f64>,
    /// Whether the claims are shown to be too good.
    pub too_good: bool,
}

/// Degrees of freedom of a claim's figure: many, and not told in the document.
const CLAIM_DOF: f64 = 1e4;

/// What a claim is off by, with its standard uncertainty, dB.
fn difference(claim: &StoredClaim) -> Option<RoomFigure> {
    let counts = matches!(
        claim.quantity.as_str(),
        "maximum_loss" | "average_loss" | "loss_at" | "relative_loss"
    ) && claim.lower_limit_db.is_none();
    let value = claim.measured_db? - claim.limit_db?;
    counts.then_some(RoomFigure { value, u: standard(claim.u95_db?, CLAIM_DOF)? })
}

/// The bias of one sheet's claims; `None` below [`LEAST_CLAIMS`].
pub(super) fn bias_of_sheet(jobs: &[(usize, &Job)]) -> Option<Bias> {
    let mut n_claims = 0;
    let mut rooms = Vec::new();
    for (_, job) in jobs {
        let all: Vec<RoomFigure> = job.result.claims.iter().filter_map(difference).collect();
        if !all.is_empty() {
            n_claims += all.len();
            let mean =
                |f: &dyn Fn(&RoomFigure) -> f64| all.iter().map(f).sum::<f64>() / all.len() as f64;
            rooms.push(RoomFigure { value: mean(&|f| f.value), u: mean(&|f| f.u) });
        }
    }
    bias(n_claims, &rooms)
}

fn bias(n_claims: usize, figures: &[RoomFigure]) -> Option<Bias> {
    let difference_db = over_rooms(figures, 0.0, None).filter(|_| n_claims >= LEAST_CLAIMS)?;
    let p_value = difference_db
        .u
        .filter(|u| *u > 0.0)
        .and_then(|u| student_sf(difference_db.mean / u, difference_db.dof));
    Some(Bias { n_claims, difference_db, p_value, too_good: false })
}

/// Marks the sheets whose claims are shown to be too good.
pub(super) fn find_too_good(sheets: &mut [Option<Bias>]) {
    let mut order: Vec<(usize, f64)> = sheets
        .iter()
        .enumerate()
        .filter_map(|(i, bias)| Some((i, bias.as_ref()?.p_value?)))
        .collect();
    order.sort_by(|a, b| a.1.total_cmp(&b.1));
    let n = order.len();
    for (rank, (i, p)) in order.into_iter().enumerate() {
        if p > FALSE_ALARM / (n - rank) as f64 {
            break;
        }
        if let Some(bias) = &mut sheets[i] {
            bias.too_good = true;
        }
    }
}

/// Over all sheets, each with the same weight however many rooms it had; the claims of a sheet
/// come from one maker's paper and err together.
pub(super) fn overall_bias(sheets: &[Option<Bias>]) -> Option<Bias> {
    let all = || sheets.iter().flatten();
    let figures: Vec<RoomFigure> = all()
        .filter_map(|b| Some(RoomFigure { value: b.difference_db.mean, u: b.difference_db.u? }))
        .collect();
    bias(all().map(|b| b.n_claims).sum(), &figures)
}
