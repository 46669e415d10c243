//! Claims of the maker's sheet against the measured losses: never more than the data show.
//!
//! A claim about several bands or seats passes only when every one of them passes by its own
//! guard band. Such a test of "all inside" needs no correction for the number of bands: where
//! the truth of any band is at or beyond the limit, that band alone is passed in at most 5 %
//! of the cases, and all of them together more rarely. A *fail* is not protected in the same
//! way: of many bands that all sit exactly at the limit, one may fall beyond `TL + w` by
//! chance.
//!
//! | quantity | judged figure |
//! |---|---|
//! | `maximum_loss` | loss of every band in `band_hz` |
//! | `average_loss` | mean of the losses in dB over the bands in `band_hz` |
//! | `loss_at` | loss of the band nearest to `at_hz` |
//! | `relative_loss` | loss nearest to `at_hz` minus loss nearest to `reference_hz` |
//! | `loss_curve` | loss of the band nearest to each point, both sides of the tolerance |
//! | `seat_spread` | difference of any two seats in every band in `band_hz` |

mod finding;
mod judge;
mod measured;

pub use finding::{Absent, Basis, ClaimVerdict, CurveLimits, NoLight, NotShown, Place, WeakSeats};
pub use judge::{Judgement, Limits, Open, Verdict, judge_between, judge_open};

use super::loss::LossTable;
use super::open_level::{OpenLevel, SharedLevel};
use super::student::student_quantile;
use crate::ingest::manifest::{Claim, ClaimQuantity};
use measured::Figure;

/// A light figure with standard uncertainty, for [`judge_light`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LightFigure {
    /// The figure, plain number.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Degrees of freedom.
    pub dof: f64,
}

/// Whether the claim is about light; those are measured by the picture side.
pub fn is_light(quantity: ClaimQuantity) -> bool {
    use ClaimQuantity::{GainAtAngle, GainOffAxisRatio, GainOnAxis, Uniformity};
    matches!(quantity, GainOnAxis | GainAtAngle | GainOffAxisRatio | Uniformity)
}

/// Judges the loss claims, in their order; light claims are left out.
///
/// # Units and sign
/// Losses in dB, positive = the screen takes energy away.
/// # Valid range
/// Absent or non-finite data and seats without a value give [`Verdict::NotShown`] with the reason, unless
/// the data that is there already shows that the claim fails. So does a claim without the keys that its
/// quantity needs, which the manifest refuses.
/// # Source
/// ILAC-G8:09/2019 4.1 to 4.2.3; JCGM 106:2012 clause 7.
pub fn judge_claims(claims: &[Claim], table: &LossTable, level: SharedLevel) -> Vec<ClaimVerdict> {
    let loud = |claim: &&Claim| !is_light(claim.quantity);
    claims.iter().filter(loud).map(|claim| judge_loss(claim, table, level)).collect()
}

fn judge_loss(claim: &Claim, table: &LossTable, level: SharedLevel) -> ClaimVerdict {
    let open = match open_of(claim.quantity, level.open) {
        Ok(open) => open,
        Err(why) => return not_shown(claim, why),
    };
    let found = measured::figures(claim, table, level.u_db);
    let judged: Vec<(&Figure, Judgement)> = found
        .figures
        .iter()
        .map(|f| (f, judge_open(f.value, f.u, f.dof, f.limits, open)))
        .collect();
    let mut absent = found.absent;
    let no_number = judged.iter().filter(|(_, j)| j.verdict == Verdict::NotShown);
    absent.extend(no_number.map(|(f, _)| Absent::Finite(f.place(table))));
    let Some((figure, judgement)) = governing(&judged) else {
        let why = if absent.is_empty() { NotShown::NoBand } else { NotShown::Absent(absent) };
        return not_shown(claim, why);
    };
    if !absent.is_empty() && judgement.verdict != Verdict::Fail {
        return not_shown(claim, NotShown::Absent(absent));
    }
    // A maximum is reported as the largest figure, whichever band decides.
    let told = match claim.quantity {
        ClaimQuantity::MaximumLoss | ClaimQuantity::SeatSpread => largest(&judged),
        _ => figure,
    };
    let place = figure.place(table);
    ClaimVerdict {
        verdict: judgement.verdict,
        measured_db: Some(told.value),
        u95_db: expanded(told.u, told.dof),
        limit_db: figure.limits.upper,
        lower_limit_db: figure.limits.lower,
        guard: judgement.guard,
        probability: judgement.probability,
        governing_hz: figure.nominal_hz,
        governing_seat: place.seat_label(),
        ..blank(
            claim,
            Basis::Loss {
                told_at: told.place(table),
                decided_at: (told != figure).then_some((place, figure.value)),
                n_seats: table.seats.len(),
                level: (!is_relative(claim.quantity)).then_some(level.open),
            },
        )
    }
}

/// Whether a figure is the same whatever the gain between the conditions was.
fn is_relative(quantity: ClaimQuantity) -> bool {
    matches!(quantity, ClaimQuantity::RelativeLoss | ClaimQuantity::SeatSpread)
}

/// What the level leaves open of a claim's figure.
///
/// # Errors
/// Why nothing can be shown of an absolute figure.
fn open_of(quantity: ClaimQuantity, level: OpenLevel) -> Result<Open, NotShown> {
    match level {
        _ if is_relative(quantity) => Ok(Open::default()),
        OpenLevel::Controlled | OpenLevel::Attested => Ok(Open::default()),
        OpenLevel::Bounded { higher_db, lower_db } => {
            Ok(Open { higher: higher_db, lower: lower_db })
        }
        OpenLevel::GainChanged { .. } | OpenLevel::Unknown => Err(NotShown::Level(level)),
    }
}

/// Notes the seats that are left out, and those that rest on doubtful takes, in every verdict on a
/// loss, and takes back verdicts that rest on fewer than half of the `n_seats` of the session.
pub fn hold_to_seats(
    verdicts: &mut [ClaimVerdict],
    left_out: &[String],
    in_doubt: &[String],
    n_seats: usize,
) {
    if left_out.is_empty() && in_doubt.is_empty() {
        return;
    }
    let weak = WeakSeats { left_out: left_out.to_vec(), in_doubt: in_doubt.to_vec(), n_seats };
    for verdict in verdicts.iter_mut().filter(|v| !is_light(v.quantity)) {
        if 2 * weak.n_clear() < n_seats {
            verdict.basis = Basis::Nothing(NotShown::TooFewSeats);
            verdict.verdict = Verdict::NotShown;
            (verdict.measured_db, verdict.u95_db, verdict.guard) = (None, None, None);
            (verdict.probability, verdict.governing_hz) = (None, None);
            verdict.governing_seat = None;
        }
        verdict.weak_seats = Some(weak.clone());
    }
}

/// The figure that decides: the worst verdict, then the smallest probability of conformity;
/// where that is as good as certain either way, the figure nearest to its limit or farthest
/// beyond. (Tails of a millionth would only tell the degrees of freedom.)
fn governing<'a>(judged: &[(&'a Figure, Judgement)]) -> Option<(&'a Figure, Judgement)> {
    let shown = judged.iter().filter(|(_, j)| j.verdict != Verdict::NotShown);
    let probability = |j: &Judgement| j.probability.unwrap_or(0.0).clamp(0.001, 0.999);
    let inside = |f: &Figure| {
        let above = f.limits.lower.map_or(f64::INFINITY, |lower| f.value - lower);
        above.min(f.limits.upper.map_or(f64::INFINITY, |upper| upper - f.value))
    };
    shown.copied().max_by(|(f, a), (g, b)| {
        let by_verdict = a.verdict.cmp(&b.verdict);
        let by_probability = probability(b).total_cmp(&probability(a));
        by_verdict.then(by_probability).then(inside(g).total_cmp(&inside(f)))
    })
}

fn largest<'a>(judged: &[(&'a Figure, Judgement)]) -> &'a Figure {
    let finite = judged.iter().filter(|(_, j)| j.verdict != Verdict::NotShown);
    let top = finite.max_by(|(a, _), (b, _)| a.value.total_cmp(&b.value));
    // UNWRAP: called only after `governing` found a figure that is shown.
    top.map(|(figure, _)| *figure).expect("at least one figure is shown")
}

fn expanded(u: f64, dof: f64) -> Option<f64> {
    student_quantile(0.975, dof).map(|t| t * u)
}

/// Judges one light claim; `figure` is the reading, or why there is none.
pub fn judge_light(claim: &Claim, figure: Result<LightFigure, NoLight>) -> ClaimVerdict {
    let figure = match figure {
        Ok(figure) => figure,
        Err(why) => return not_shown(claim, NotShown::NoLight(why)),
    };
    let limits = Limits { lower: claim.minimum, upper: claim.maximum };
    let judgement = judge_between(figure.value, figure.u, figure.dof, limits);
    if judgement.verdict == Verdict::NotShown {
        return not_shown(claim, NotShown::LightNotFinite);
    }
    ClaimVerdict {
        verdict: judgement.verdict,
        measured: Some(figure.value),
        u95: expanded(figure.u, figure.dof),
        guard: judgement.guard,
        probability: judgement.probability,
        ..blank(claim, Basis::Light)
    }
}

fn not_shown(claim: &Claim, why: NotShown) -> ClaimVerdict {
    blank(claim, Basis::Nothing(why))
}

fn blank(claim: &Claim, basis: Basis) -> ClaimVerdict {
    ClaimVerdict {
        quantity: claim.quantity,
        scope: claim.scope,
        verdict: Verdict::NotShown,
        measured_db: None,
        u95_db: None,
        limit_db: claim.limit_db,
        lower_limit_db: None,
        curve: measured::curve_limits(claim),
        guard: None,
        probability: None,
        band_hz: claim.band_hz,
        governing_hz: None,
        governing_seat: None,
        measured: None,
        u95: None,
        maximum: claim.maximum,
        minimum: claim.minimum,
        source: claim.source.clone(),
        claim: claim.clone(),
        basis,
        weak_seats: None,
    }
}

#[cfg(test)]
mod tests;
