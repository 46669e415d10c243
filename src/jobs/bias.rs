//! Maker's bias: by how much measured and claimed figures differ.
//!
//! Counted are claims about the loss in dB (largest, mean, at one frequency, at one against another)
//! and, apart from them, claims about light in percent of what is claimed (gain, uniformity). Of a
//! claim with a tolerance the middle is the claimed figure. Curves and the largest difference between
//! seats are left out: what decides them is picked as the worst of many. The difference is measured
//! less claimed: positive = the sheet loses more, or throws back more light, than claimed. Claims of
//! one room hang together, so each room gives one figure, the mean of its differences, trusted no
//! better than the mean of their uncertainties; over rooms these are taken together as in
//! [`super::mean`].
//!
//! A sheet's claims are called too good only where that is shown with all sheets looked at together:
//! one-sided, 2.5 % for all of them (Holm, Scand. J. Stat. 6, 65, 1979).

use super::collect::Job;
use super::mean::{OverRooms, RoomFigure, mean_u, over_rooms};
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

/// Measured less claimed, of what a sheet does to light.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LightBias {
    /// Claims with a measured figure.
    pub n_claims: usize,
    /// Mean difference over rooms, percent of the claimed figure. One meter and one white reference
    /// serve all rooms: their error does not shrink with the number of rooms.
    pub difference_percent: OverRooms,
}

/// Degrees of freedom of a claim's figure: many, and not told in the document.
const CLAIM_DOF: f64 = 1e4;

/// What a claim is off by, with its standard uncertainty, dB.
fn difference(claim: &StoredClaim) -> Option<RoomFigure> {
    let counts = matches!(
        claim.quantity.as_str(),
        "maximum_loss" | "average_loss" | "loss_at" | "relative_loss"
    );
    let value = claim.measured_db? - claimed(claim.lower_limit_db, claim.limit_db)?;
    counts.then_some(RoomFigure { value, u: standard(claim.u95_db?, CLAIM_DOF)? })
}

/// The same for a claim about light, percent of the claimed figure.
fn light_difference(claim: &StoredClaim) -> Option<RoomFigure> {
    let claimed = claimed(claim.minimum, claim.maximum).filter(|c| *c > 0.0)?;
    let percent = |x: f64| 100.0 * x / claimed;
    let value = percent(claim.measured? - claimed);
    Some(RoomFigure { value, u: standard(percent(claim.u95?), CLAIM_DOF)? })
}

/// The claimed figure: the limit, or the middle of two.
fn claimed(lower: Option<f64>, upper: Option<f64>) -> Option<f64> {
    match (lower, upper) {
        (Some(lower), Some(upper)) => Some(0.5 * (lower + upper)),
        (lower, upper) => lower.or(upper),
    }
}

/// One figure for each room with such claims, and the number of claims.
fn by_room(
    jobs: &[(usize, &Job)],
    difference: impl Fn(&StoredClaim) -> Option<RoomFigure>,
) -> (usize, Vec<RoomFigure>) {
    let mut n_claims = 0;
    let mut rooms = Vec::new();
    for (_, job) in jobs {
        let all: Vec<RoomFigure> = job.result.claims.iter().filter_map(&difference).collect();
        n_claims += all.len();
        rooms.extend(RoomFigure::mean(&all));
    }
    (n_claims, rooms)
}

/// The bias of one sheet's claims; `None` below [`LEAST_CLAIMS`].
pub(super) fn bias_of_sheet(jobs: &[(usize, &Job)]) -> Option<Bias> {
    let (n_claims, rooms) = by_room(jobs, difference);
    bias(n_claims, &rooms)
}

/// That of its claims about light; `None` below [`LEAST_CLAIMS`].
pub(super) fn light_bias_of_sheet(jobs: &[(usize, &Job)]) -> Option<LightBias> {
    let (n_claims, rooms) = by_room(jobs, light_difference);
    let difference_percent =
        over_rooms(&rooms, mean_u(&rooms), None).filter(|_| n_claims >= LEAST_CLAIMS)?;
    Some(LightBias { n_claims, difference_percent })
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::jobs::stored::StoredResult;
    use crate::report::example::example_result;
    use crate::report::json::json_text;

    fn job(claims: serde_json::Value) -> Job {
        let text = json_text(&example_result(2)).unwrap();
        let mut document: serde_json::Value = serde_json::from_slice(&text).unwrap();
        document["claims"] = claims;
        let result = StoredResult::parse(&serde_json::to_vec(&document).unwrap()).unwrap();
        Job { folder: "jobs/a".into(), result, redone: None }
    }

    fn claim(quantity: &str, more: serde_json::Value) -> serde_json::Value {
        let mut claim = serde_json::json!({
            "quantity": quantity, "subject": "", "verdict": "pass", "measured_db": null,
            "u95_db": null, "limit_db": null, "lower_limit_db": null,
        });
        claim.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        claim
    }

    #[test]
    fn a_tolerance_has_its_middle_and_curves_do_not_count() {
        // Claimed 3.0 dB within 1 dB, and at most 4.0 dB; measured 3.4 and 4.2 dB: 0.3 dB on average.
        let figures = |measured: f64, limit: f64, lower: Option<f64>| {
            serde_json::json!({"measured_db": measured, "u95_db": 0.2, "limit_db": limit,
                               "lower_limit_db": lower})
        };
        let room = || {
            job(serde_json::json!([
                claim("loss_at", figures(3.4, 4.0, Some(2.0))),
                claim("maximum_loss", figures(4.2, 4.0, None)),
                claim("loss_curve", figures(9.0, 1.0, None)),
                claim("seat_spread", figures(9.0, 1.0, None)),
            ]))
        };
        let rooms = [room(), room(), room()];
        let jobs: Vec<(usize, &Job)> = rooms.iter().enumerate().collect();
        let bias = bias_of_sheet(&jobs).unwrap();
        assert_eq!((bias.n_claims, bias.difference_db.n_rooms), (6, 3));
        assert!((bias.difference_db.mean - 0.3).abs() < 1e-12, "{bias:?}");
        assert_eq!(bias_of_sheet(&jobs[..2]), None, "four claims are too few");
        assert_eq!(light_bias_of_sheet(&jobs), None);
    }

    #[test]
    fn light_is_counted_in_percent_and_the_meter_errs_everywhere_alike() {
        // Claimed a gain of at least 1.0, measured 0.9: 10 percent less.
        let room = |i: usize| {
            let measured = 0.9 + 0.001 * i as f64;
            job(serde_json::json!([claim(
                "gain_on_axis",
                serde_json::json!({"measured": measured, "u95": 0.04, "minimum": 1.0, "maximum": null}),
            )]))
        };
        let rooms: Vec<Job> = (0..5).map(room).collect();
        let jobs: Vec<(usize, &Job)> = rooms.iter().enumerate().collect();
        let bias = light_bias_of_sheet(&jobs).unwrap();
        assert!((bias.difference_percent.mean + 9.8).abs() < 1e-9, "{bias:?}");
        // Never surer than the meter: U of one reading is 4 percent of the claim.
        assert!(bias.difference_percent.u95.unwrap() >= 3.9, "{bias:?}");
        assert_eq!(light_bias_of_sheet(&jobs[..4]), None);
        assert_eq!(bias_of_sheet(&jobs), None);
    }
}
