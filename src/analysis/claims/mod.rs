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

mod judge;
mod measured;
mod words;

pub use judge::{Judgement, Limits, Open, Verdict, judge_between, judge_open};
pub(crate) use words::chance;

use super::loss::LossTable;
use super::open_level::OpenLevel;
use super::student::student_quantile;
use crate::ingest::manifest::{Claim, ClaimQuantity, ClaimScope};
use measured::Figure;
use serde::Serialize;

/// How a claim stands on the paper while nothing is measured.
pub fn unmeasured_sentence(claim: &Claim) -> String {
    words::unmeasured_sentence(claim)
}

/// The rule by which verdicts are given, for every paper that prints one.
pub const DECISION_RULE: &str = "Decision rule: a guard band w lies on both sides of the limit: \
the one-sided 95 % expanded uncertainty of the measured figure, and what a gain that no control \
takes watched leaves open (a sheet takes from 0 dB to a known most from 100 to 315 Hz). Pass: inside the limit by \
at least w. Conditional pass: inside, by less than w. Conditional fail: outside, by at most w. \
Fail: outside by more than w. Not shown: the data cannot carry a verdict. A claim about several \
bands or seats passes only if every one of them passes. (After ILAC-G8:09/2019 and JCGM \
106:2012; the probability of conformity is that of the least certain band or seat.)";

/// Why a claim cannot be judged as written.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ClaimError {
    /// A key that the quantity needs is absent.
    #[error("claim {quantity}: the key {key} is missing; add it as the maker's sheet states it")]
    MissingKey {
        /// What is claimed.
        quantity: &'static str,
        /// The absent key.
        key: &'static str,
    },
    /// A number that cannot be meant.
    #[error("claim {quantity}: {key} is {found}, expected {expected}")]
    Value {
        /// What is claimed.
        quantity: &'static str,
        /// The key.
        key: &'static str,
        /// The number found.
        found: f64,
        /// What would do.
        expected: &'static str,
    },
}

/// Verdict on one claim; keys as in `result.json`.
///
/// Loss claims fill the `_db` fields, light claims the plain ones.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClaimVerdict {
    /// What is claimed.
    pub quantity: ClaimQuantity,
    /// The same in words: "largest loss from 500 Hz to 16 kHz".
    pub subject: String,
    /// For which seats.
    pub scope: ClaimScope,
    /// What is shown.
    pub verdict: Verdict,
    /// The claimed figure as measured, dB: the largest loss, the mean, the loss at the
    /// governing point; absent when nothing is shown.
    pub measured_db: Option<f64>,
    /// Its two-sided 95 % expanded uncertainty, dB.
    pub u95_db: Option<f64>,
    /// Upper limit, dB.
    pub limit_db: Option<f64>,
    /// Lower limit of a claim with a tolerance, dB.
    pub lower_limit_db: Option<f64>,
    /// Limits along a claimed curve, in the order of its points; empty for other claims.
    pub curve: Vec<CurveLimits>,
    /// Guard band of the governing band or seat: one-sided 95 % expanded uncertainty, dB
    /// (plain number for light claims).
    pub guard: Option<f64>,
    /// Probability of conformity of the governing band or seat, 0 to 1.
    pub probability: Option<f64>,
    /// Range of the claim, nominal Hz, where it has one.
    pub band_hz: Option<[f64; 2]>,
    /// Nominal frequency of the band that decides, Hz.
    pub governing_hz: Option<f64>,
    /// Seat that decides, where single seats are judged.
    pub governing_seat: Option<String>,
    /// Measured figure of a light claim, plain number.
    pub measured: Option<f64>,
    /// Its two-sided 95 % expanded uncertainty.
    pub u95: Option<f64>,
    /// Upper limit of a light claim.
    pub maximum: Option<f64>,
    /// Lower limit of a light claim.
    pub minimum: Option<f64>,
    /// Where the claim stands.
    pub source: Option<String>,
    /// Why nothing is shown.
    pub reason: Option<String>,
    /// The verdict in plain words.
    pub sentence: String,
}

/// Limits of a claimed curve at one of its points; keys as in `result.json`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CurveLimits {
    /// Nominal frequency of the band that the point is judged in, Hz.
    pub nominal_hz: f64,
    /// Smallest loss that is claimed, dB.
    pub lower_limit_db: f64,
    /// Largest loss that is claimed, dB.
    pub limit_db: f64,
}

/// What `level` knows that every band of a loss shares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharedLevel {
    /// Standard uncertainty of the level between the conditions that is contained in every
    /// band's `u_db` alike, dB; it cancels in differences between bands.
    pub u_db: f64,
    /// What is known of a gain step between the conditions.
    pub open: OpenLevel,
}

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

/// The quantity's name as written in the manifest.
pub fn quantity_name(quantity: ClaimQuantity) -> &'static str {
    match quantity {
        ClaimQuantity::MaximumLoss => "maximum_loss",
        ClaimQuantity::AverageLoss => "average_loss",
        ClaimQuantity::LossAt => "loss_at",
        ClaimQuantity::RelativeLoss => "relative_loss",
        ClaimQuantity::LossCurve => "loss_curve",
        ClaimQuantity::SeatSpread => "seat_spread",
        ClaimQuantity::GainOnAxis => "gain_on_axis",
        ClaimQuantity::GainAtAngle => "gain_at_angle",
        ClaimQuantity::GainOffAxisRatio => "gain_off_axis_ratio",
        ClaimQuantity::Uniformity => "uniformity",
    }
}

/// Whether the claim is about light; those are measured by the picture side.
pub fn is_light(quantity: ClaimQuantity) -> bool {
    use ClaimQuantity::{GainAtAngle, GainOffAxisRatio, GainOnAxis, Uniformity};
    matches!(quantity, GainOnAxis | GainAtAngle | GainOffAxisRatio | Uniformity)
}

/// Checks that a claim has the keys its quantity needs, with numbers that can be meant.
///
/// # Errors
/// [`ClaimError::MissingKey`] and [`ClaimError::Value`], naming quantity and key.
pub fn check_claim(claim: &Claim) -> Result<(), ClaimError> {
    use ClaimQuantity as Q;
    let quantity = quantity_name(claim.quantity);
    let need = |key: &'static str, there: bool| {
        if there { Ok(()) } else { Err(ClaimError::MissingKey { quantity, key }) }
    };
    match claim.quantity {
        Q::MaximumLoss | Q::AverageLoss | Q::SeatSpread => {
            need("limit_db", claim.limit_db.is_some())?;
        }
        Q::LossAt => {
            need("limit_db", claim.limit_db.is_some())?;
            need("at_hz", claim.at_hz.is_some())?;
        }
        Q::RelativeLoss => {
            need("limit_db", claim.limit_db.is_some())?;
            need("at_hz", claim.at_hz.is_some())?;
            need("reference_hz", claim.reference_hz.is_some())?;
        }
        Q::LossCurve => {
            need("points", claim.points.as_ref().is_some_and(|points| !points.is_empty()))?;
            need("tolerance_db", claim.tolerance_db.is_some())?;
        }
        Q::GainOnAxis | Q::GainAtAngle | Q::GainOffAxisRatio | Q::Uniformity => {
            need("minimum (or maximum)", claim.minimum.or(claim.maximum).is_some())?;
            let angled = matches!(claim.quantity, Q::GainAtAngle | Q::GainOffAxisRatio);
            need("angle_deg", !angled || claim.angle_deg.is_some())?;
        }
    }
    check_numbers(claim, quantity)
}

fn check_numbers(claim: &Claim, quantity: &'static str) -> Result<(), ClaimError> {
    let check = |key, value: Option<f64>, good: fn(f64) -> bool, expected| match value {
        Some(found) if !good(found) => Err(ClaimError::Value { quantity, key, found, expected }),
        _ => Ok(()),
    };
    let finite = |x: f64| x.is_finite();
    let frequency = |x: f64| x.is_finite() && x > 0.0;
    let tolerance = |x: f64| x.is_finite() && x >= 0.0;
    let hertz = "a frequency in Hz above 0";
    check("limit_db", claim.limit_db, finite, "a finite number of dB")?;
    check("tolerance_db", claim.tolerance_db, tolerance, "a finite number of dB, 0 or more")?;
    check("at_hz", claim.at_hz, frequency, hertz)?;
    check("reference_hz", claim.reference_hz, frequency, hertz)?;
    check("minimum", claim.minimum, finite, "a finite number")?;
    check("maximum", claim.maximum, finite, "a finite number")?;
    check("angle_deg", claim.angle_deg, finite, "an angle in degrees")?;
    if let Some([low, high]) = claim.band_hz {
        check("band_hz", Some(low), frequency, hertz)?;
        check("band_hz", Some(high), frequency, hertz)?;
        if low > high {
            let expected = "the lower frequency first";
            return Err(ClaimError::Value { quantity, key: "band_hz", found: low, expected });
        }
    }
    for point in claim.points.iter().flatten() {
        check("points", Some(point.hz), frequency, hertz)?;
        check("points", Some(point.loss_db), finite, "a finite loss in dB")?;
    }
    Ok(())
}

/// Judges the loss claims, in their order; light claims are left out.
///
/// # Units and sign
/// Losses in dB, positive = the screen takes energy away.
/// # Valid range
/// Absent or non-finite data, seats without a value and claims that [`check_claim`] refuses
/// give [`Verdict::NotShown`] with the reason, unless the data that is there already shows
/// that the claim fails.
/// # Source
/// ILAC-G8:09/2019 4.1 to 4.2.3; JCGM 106:2012 clause 7.
pub fn judge_claims(claims: &[Claim], table: &LossTable, level: SharedLevel) -> Vec<ClaimVerdict> {
    let loud = |claim: &&Claim| !is_light(claim.quantity);
    claims.iter().filter(loud).map(|claim| judge_loss(claim, table, level)).collect()
}

fn judge_loss(claim: &Claim, table: &LossTable, level: SharedLevel) -> ClaimVerdict {
    if let Err(error) = check_claim(claim) {
        return not_shown(claim, error.to_string());
    }
    let open = match open_of(claim.quantity, level.open) {
        Ok(open) => open,
        Err(reason) => return not_shown(claim, reason),
    };
    let found = measured::figures(claim, table, level.u_db);
    let judged: Vec<(&Figure, Judgement)> = found
        .figures
        .iter()
        .map(|f| (f, judge_open(f.value, f.u, f.dof, f.limits, open)))
        .collect();
    let mut absent = found.absent;
    absent.extend(judged.iter().filter(|(_, j)| j.verdict == Verdict::NotShown).map(|(f, _)| {
        format!("{}: the figure or its uncertainty is not a finite number", words::place(f, table))
    }));
    let Some((figure, judgement)) = governing(&judged) else {
        let reason = if absent.is_empty() {
            "no band of the measurement lies in the range of the claim".into()
        } else {
            words::list_reasons(&absent)
        };
        return not_shown(claim, reason);
    };
    if !absent.is_empty() && judgement.verdict != Verdict::Fail {
        return not_shown(claim, words::list_reasons(&absent));
    }
    // A maximum is reported as the largest figure, whichever band decides.
    let shown = match claim.quantity {
        ClaimQuantity::MaximumLoss | ClaimQuantity::SeatSpread => largest(&judged),
        _ => figure,
    };
    let mut verdict = ClaimVerdict {
        verdict: judgement.verdict,
        measured_db: Some(shown.value),
        u95_db: expanded(shown.u, shown.dof),
        limit_db: figure.limits.upper,
        lower_limit_db: figure.limits.lower,
        guard: judgement.guard,
        probability: judgement.probability,
        governing_hz: figure.nominal_hz,
        governing_seat: words::seat_name(figure, table),
        ..blank(claim)
    };
    verdict.sentence = words::loss_sentence(claim, &verdict, figure, shown, table, level);
    verdict
}

/// Whether a figure is the same whatever the gain between the conditions was.
fn is_relative(quantity: ClaimQuantity) -> bool {
    matches!(quantity, ClaimQuantity::RelativeLoss | ClaimQuantity::SeatSpread)
}

/// What the level leaves open of a claim's figure.
///
/// # Errors
/// Why nothing can be shown of an absolute figure.
fn open_of(quantity: ClaimQuantity, level: OpenLevel) -> Result<Open, String> {
    match level {
        _ if is_relative(quantity) => Ok(Open::default()),
        OpenLevel::Controlled | OpenLevel::Attested => Ok(Open::default()),
        OpenLevel::Bounded { higher_db, lower_db } => {
            Ok(Open { higher: higher_db, lower: lower_db })
        }
        OpenLevel::GainChanged { .. } | OpenLevel::Unknown => Err(level.in_words()),
    }
}

/// Names the seats that are left out, and those that rest on doubtful takes, in every verdict on a
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
    let mut named = Vec::new();
    named.extend(seats_that(left_out, ["is left out", "are left out"]));
    named.extend(seats_that(in_doubt, ["rests on doubtful takes", "rest on doubtful takes"]));
    let named = named.join(", ");
    let n_clear = n_seats.saturating_sub(left_out.len() + in_doubt.len());
    for verdict in verdicts.iter_mut().filter(|v| !is_light(v.quantity)) {
        if 2 * n_clear < n_seats {
            let reason = format!(
                "{named}, and {n_clear} of {n_seats} seats are too few to stand for the session"
            );
            verdict.sentence = format!("Nothing is shown: {reason}.");
            verdict.reason = Some(reason);
            verdict.verdict = Verdict::NotShown;
            (verdict.measured_db, verdict.u95_db, verdict.guard) = (None, None, None);
            (verdict.probability, verdict.governing_hz) = (None, None);
            verdict.governing_seat = None;
        } else {
            let rest = if left_out.is_empty() { "" } else { "; this holds for the others" };
            verdict.sentence.push_str(&format!(" Of {n_seats} seats {named}{rest}."));
        }
    }
}

fn seats_that(ids: &[String], [one, many]: [&str; 2]) -> Option<String> {
    match ids {
        [] => None,
        [id] => Some(format!("seat {id} {one}")),
        ids => Some(format!("seats {} {many}", ids.join(", "))),
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

/// Judges one light claim; `figure` is the reading or, in words, why there is none.
pub fn judge_light(claim: &Claim, figure: Result<LightFigure, String>) -> ClaimVerdict {
    if let Err(error) = check_claim(claim) {
        return not_shown(claim, error.to_string());
    }
    let figure = match figure {
        Ok(figure) => figure,
        Err(reason) => return not_shown(claim, reason),
    };
    let limits = Limits { lower: claim.minimum, upper: claim.maximum };
    let judgement = judge_between(figure.value, figure.u, figure.dof, limits);
    if judgement.verdict == Verdict::NotShown {
        let reason = "the figure, its uncertainty or the limits are not finite numbers in order";
        return not_shown(claim, reason.into());
    }
    let mut verdict = ClaimVerdict {
        verdict: judgement.verdict,
        measured: Some(figure.value),
        u95: expanded(figure.u, figure.dof),
        guard: judgement.guard,
        probability: judgement.probability,
        ..blank(claim)
    };
    verdict.sentence = words::light_sentence(claim, &verdict);
    verdict
}

fn blank(claim: &Claim) -> ClaimVerdict {
    ClaimVerdict {
        quantity: claim.quantity,
        subject: words::subject(claim),
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
        reason: None,
        sentence: String::new(),
    }
}

fn not_shown(claim: &Claim, reason: String) -> ClaimVerdict {
    let sentence = words::not_shown_sentence(claim, &reason);
    ClaimVerdict { reason: Some(reason), sentence, ..blank(claim) }
}

#[cfg(test)]
mod tests;
