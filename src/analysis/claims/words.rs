//! Verdicts in plain sentences.

use super::measured::Figure;
use super::{ClaimVerdict, SharedLevel, Verdict};
use crate::analysis::loss::LossTable;
use crate::ingest::manifest::{Claim, ClaimQuantity, ClaimScope};
use crate::words::{frequency_words, signed};

/// How many reasons a sentence lists before it only counts the rest.
const REASONS_LISTED: usize = 3;

/// Seat or seats of a figure, as their ids.
pub(super) fn seat_name(figure: &Figure, table: &LossTable) -> Option<String> {
    let ids: Vec<&str> = figure.seats.iter().map(|seat| table.seats[*seat].id.as_str()).collect();
    (!ids.is_empty()).then(|| ids.join(" and "))
}

/// Where a figure was taken: "4 kHz at seat R1C".
pub(super) fn place(figure: &Figure, table: &LossTable) -> String {
    let at = figure.nominal_hz.map_or("mean over the bands".into(), frequency_words);
    match seat_name(figure, table) {
        Some(seats) if figure.seats.len() > 1 => format!("{at} between seats {seats}"),
        Some(seat) => format!("{at} at seat {seat}"),
        None => at,
    }
}

/// The first reasons and the number of the rest.
pub(super) fn list_reasons(reasons: &[String]) -> String {
    let mut text = reasons.iter().take(REASONS_LISTED).cloned().collect::<Vec<_>>().join("; ");
    if reasons.len() > REASONS_LISTED {
        text.push_str(&format!("; and {} more", reasons.len() - REASONS_LISTED));
    }
    text
}

/// What is claimed, without an article.
pub(super) fn subject(claim: &Claim) -> String {
    let range = match claim.band_hz {
        Some([low, high]) => format!("from {} to {}", frequency_words(low), frequency_words(high)),
        None => "over all measured bands".into(),
    };
    let at = claim.at_hz.map_or(String::new(), frequency_words);
    let angle = claim.angle_deg.map_or(String::new(), |deg| format!("{deg} degrees"));
    match claim.quantity {
        ClaimQuantity::MaximumLoss => format!("largest loss {range}"),
        ClaimQuantity::AverageLoss => format!("average loss {range}"),
        ClaimQuantity::LossAt => format!("loss at {at}"),
        ClaimQuantity::RelativeLoss => {
            let reference = claim.reference_hz.map_or(String::new(), frequency_words);
            format!("loss at {at} above that at {reference}")
        }
        ClaimQuantity::LossCurve => "loss along the claimed curve".into(),
        ClaimQuantity::SeatSpread => format!("largest difference between seats {range}"),
        ClaimQuantity::GainOnAxis => "gain on the axis".into(),
        ClaimQuantity::GainAtAngle => format!("gain at {angle}"),
        ClaimQuantity::GainOffAxisRatio => format!("gain at {angle} over that on the axis"),
        ClaimQuantity::Uniformity => "uniformity".into(),
    }
}

/// The verdict as a sentence of its own.
fn outcome(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "Confirmed",
        Verdict::ConditionalPass => "Inside the limit, but by less than is certain: not confirmed",
        Verdict::ConditionalFail => {
            "Beyond the limit, but by less than is certain: neither confirmed nor refuted"
        }
        Verdict::Fail => "Not kept",
        Verdict::NotShown => "Nothing is shown",
    }
}

/// Probability for people: never "100 %".
pub(crate) fn chance(probability: f64) -> String {
    let percent = 100.0 * probability;
    if percent > 99.9 {
        "above 99.9 %".into()
    } else if percent < 0.1 {
        "below 0.1 %".into()
    } else {
        format!("{percent:.1} %")
    }
}

/// "4.0", "0.95": a limit with the decimals it has, one at least.
fn limit(value: f64) -> String {
    let tenths = (10.0 * value).round() / 10.0;
    if (tenths - value).abs() < 1e-9 { signed(value, 1) } else { signed(value, 2) }
}

fn allowed(lower: Option<f64>, upper: Option<f64>, unit: &str) -> String {
    match (lower.map(limit), upper.map(limit)) {
        (Some(low), Some(high)) => format!("between {low}{unit} and {high}{unit}"),
        (None, Some(high)) => format!("at most {high}{unit}"),
        (Some(low), None) => format!("at least {low}{unit}"),
        (None, None) => "not limited".into(),
    }
}

/// Capital first letter.
fn sentence_case(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

pub(super) fn loss_sentence(
    claim: &Claim,
    verdict: &ClaimVerdict,
    figure: &Figure,
    shown: &Figure,
    table: &LossTable,
    level: SharedLevel,
) -> String {
    let who = match claim.scope {
        _ if claim.quantity == ClaimQuantity::SeatSpread => ":".into(),
        ClaimScope::EverySeat => ", seat by seat:".into(),
        ClaimScope::Mean if table.seats.len() == 1 => ", one seat measured:".into(),
        ClaimScope::Mean => format!(", mean over {} seats:", table.seats.len()),
    };
    let u95 = verdict.u95_db.map_or(String::new(), |u| format!(" \u{b1} {u:.2}"));
    let at = match claim.quantity {
        ClaimQuantity::AverageLoss => {
            seat_name(shown, table).map_or(String::new(), |seat| format!(" at seat {seat}"))
        }
        _ => format!(" ({})", place(shown, table)),
    };
    let mut text = format!(
        "{}{who} {:.2}{u95} dB{at}. Maker's limit: {}. {}",
        sentence_case(&subject(claim)),
        shown.value,
        allowed(verdict.lower_limit_db, verdict.limit_db, " dB"),
        outcome(verdict.verdict),
    );
    if let Some(p) = verdict.probability {
        text.push_str(&format!(" (probability of conformity {})", chance(p)));
    }
    text.push('.');
    if shown != figure {
        text.push_str(&format!(
            " What decides is {}: {:.2} dB, less certain.",
            place(figure, table),
            figure.value
        ));
    }
    // Differences between bands or seats do not depend on the gain of the recordings.
    if !super::is_relative(claim.quantity) {
        let condition = level.open.in_words();
        if !condition.is_empty() {
            text.push_str(&format!(" {condition}"));
        }
    }
    text
}

pub(super) fn light_sentence(claim: &Claim, verdict: &ClaimVerdict) -> String {
    let u95 = verdict.u95.map_or(String::new(), |u| format!(" \u{b1} {u:.2}"));
    let value = verdict.measured.map_or(String::new(), |value| format!("{value:.2}"));
    let chance = verdict
        .probability
        .map_or(String::new(), |p| format!(" (probability of conformity {})", chance(p)));
    format!(
        "{}: {value}{u95}. Maker's limit: {}. {}{chance}.",
        sentence_case(&subject(claim)),
        allowed(claim.minimum, claim.maximum, ""),
        outcome(verdict.verdict),
    )
}

pub(super) fn not_shown_sentence(claim: &Claim, reason: &str) -> String {
    format!("Nothing is shown about the {}: {reason}.", subject(claim))
}

pub(super) fn unmeasured_sentence(claim: &Claim) -> String {
    let limits = if super::is_light(claim.quantity) {
        allowed(claim.minimum, claim.maximum, "")
    } else if claim.quantity == ClaimQuantity::LossCurve {
        let tolerance_db = claim.tolerance_db.unwrap_or(0.0);
        let n = claim.points.as_ref().map_or(0, Vec::len);
        format!("within {tolerance_db} dB of {n} points")
    } else {
        let lower_db = claim.tolerance_db.zip(claim.limit_db).map(|(t, limit)| limit - t);
        let upper_db = claim.limit_db.map(|limit| limit + claim.tolerance_db.unwrap_or(0.0));
        allowed(lower_db, upper_db, " dB")
    };
    let who = match claim.scope {
        ClaimScope::EverySeat => ", seat by seat",
        ClaimScope::Mean => "",
    };
    format!("{}{who}. Maker's limit: {limits}.", sentence_case(&subject(claim)))
}
