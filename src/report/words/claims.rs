//! Verdicts on the maker's claims, in sentences.

use super::frequency_range;
use super::level::open_words;
use super::said::Said;
use crate::analysis::claims::{
    Absent, Basis, ClaimVerdict, NoLight, NotShown, Place, Verdict, WeakSeats, is_light,
};
use crate::analysis::loss::Absence;
use crate::ingest::manifest::{Claim, ClaimQuantity, ClaimScope};
use crate::words::{capital, frequency_words, signed};
use serde::Serialize;

/// The rule by which verdicts are given, for every paper that prints one.
pub const DECISION_RULE: &str = "Decision rule: a guard band w lies on both sides of the limit: \
the one-sided 95 % expanded uncertainty of the measured figure, and what a gain that no control \
takes watched leaves open (a sheet takes from 0 dB to a known most from 100 to 315 Hz). Pass: inside the limit by \
at least w. Conditional pass: inside, by less than w. Conditional fail: outside, by at most w. \
Fail: outside by more than w. Not shown: the data cannot carry a verdict. A claim about several \
bands or seats passes only if every one of them passes. (After ILAC-G8:09/2019 and JCGM \
106:2012; the probability of conformity is that of the least certain band or seat.)";

/// How many reasons a sentence lists before it only counts the rest.
const REASONS_LISTED: usize = 3;

/// What is said of a verdict; keys as in `result.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ClaimWords {
    /// What is claimed: "largest loss from 500 Hz to 16 kHz".
    pub subject: String,
    /// Why nothing is shown.
    pub reason: Option<String>,
    /// The verdict in plain words.
    pub sentence: String,
}

/// A verdict with its words.
pub fn said(verdict: ClaimVerdict) -> Said<ClaimVerdict, ClaimWords> {
    let subject = subject(&verdict.claim);
    let reason = match &verdict.basis {
        Basis::Nothing(why) => Some(reason(why, verdict.weak_seats.as_ref())),
        _ => None,
    };
    let sentence = sentence(&verdict, reason.as_deref());
    Said { found: verdict, words: ClaimWords { subject, reason, sentence } }
}

fn sentence(verdict: &ClaimVerdict, reason: Option<&str>) -> String {
    let own = match &verdict.basis {
        Basis::Nothing(NotShown::TooFewSeats) => {
            return format!("Nothing is shown: {}.", reason.unwrap_or_default());
        }
        Basis::Nothing(_) => {
            let subject = subject(&verdict.claim);
            format!("Nothing is shown about the {subject}: {}.", reason.unwrap_or_default())
        }
        Basis::Light => light_sentence(verdict),
        Basis::Loss { told_at, decided_at, n_seats, level } => {
            let decides = decided_at.as_ref().map(|(place, db)| {
                format!(" What decides is {}: {db:.2} dB, less certain.", place_words(place))
            });
            let open = level.map(open_words).filter(|words| !words.is_empty());
            let open = open.map(|words| format!(" {words}"));
            let told = loss_sentence(verdict, told_at, *n_seats);
            told + &decides.unwrap_or_default() + &open.unwrap_or_default()
        }
    };
    own + &verdict.weak_seats.as_ref().map_or(String::new(), |weak| {
        let rest = if weak.left_out.is_empty() { "" } else { "; this holds for the others" };
        format!(" Of {} seats {}{rest}.", weak.n_seats, named(weak))
    })
}

/// Why nothing is shown, without a full stop.
fn reason(why: &NotShown, weak: Option<&WeakSeats>) -> String {
    match why {
        NotShown::Level(level) => open_words(*level),
        NotShown::NoBand => "no band of the measurement lies in the range of the claim".into(),
        NotShown::Absent(absent) => list_reasons(absent),
        NotShown::TooFewSeats => weak.map_or(String::new(), |weak| {
            format!(
                "{}, and {} of {} seats are too few to stand for the session",
                named(weak),
                weak.n_clear(),
                weak.n_seats
            )
        }),
        NotShown::NoLight(why) => no_light(*why),
        NotShown::LightNotFinite => {
            "the figure, its uncertainty or the limits are not finite numbers in order".into()
        }
    }
}

/// The first reasons and the number of the rest.
fn list_reasons(absent: &[Absent]) -> String {
    let listed: Vec<String> = absent.iter().take(REASONS_LISTED).map(absent_words).collect();
    let more = match absent.len().saturating_sub(REASONS_LISTED) {
        0 => String::new(),
        more => format!("; and {more} more"),
    };
    listed.join("; ") + &more
}

fn absent_words(absent: &Absent) -> String {
    match absent {
        Absent::Seats => "no seat was measured".into(),
        Absent::SecondSeat => "a spread over seats needs at least two seats".into(),
        Absent::Band(hz) => format!("{}: the band was not measured", frequency_words(*hz)),
        Absent::BandBetween([low, high]) => format!(
            "no third-octave band has its nominal frequency between {} and {}",
            frequency_words(*low),
            frequency_words(*high)
        ),
        Absent::AtSeat { nominal_hz, seat, why } => {
            let why = match why {
                Some(Absence::OutsideSweep) => "the sweep does not cover the band".into(),
                Some(Absence::Noise { snr_db }) => {
                    format!("the takes stand only {snr_db:.1} dB above the noise")
                }
                Some(Absence::NoTake) => "a take is missing".into(),
                None => "no value".into(),
            };
            format!("{} at seat {seat}: {why}", frequency_words(*nominal_hz))
        }
        Absent::Mean(hz) => format!("{}: no mean over the seats", frequency_words(*hz)),
        Absent::Finite(place) => {
            format!("{}: the figure or its uncertainty is not a finite number", place_words(place))
        }
    }
}

fn no_light(why: NoLight) -> String {
    match why {
        NoLight::Readings => "there are no light readings".into(),
        NoLight::Reference => "no reading at the centre has a reference or illuminance".into(),
        NoLight::OnAxis => "there is no reading on the axis".into(),
        NoLight::OnAxisForRatio => "no reading on the axis".into(),
        NoLight::AtAngle { angle_deg, largest_deg } => {
            format!("no readings around {angle_deg} degrees (read up to {largest_deg} degrees)")
        }
        NoLight::Points => "readings of the centre and four other points are needed".into(),
        NoLight::OtherQuantity => "this is no claim about light".into(),
    }
}

/// "seat R1L is left out, seats R2L, R2R rest on doubtful takes".
fn named(weak: &WeakSeats) -> String {
    let left_out = seats_that(&weak.left_out, ["is left out", "are left out"]);
    let in_doubt =
        seats_that(&weak.in_doubt, ["rests on doubtful takes", "rest on doubtful takes"]);
    left_out.into_iter().chain(in_doubt).collect::<Vec<_>>().join(", ")
}

fn seats_that(ids: &[String], [one, many]: [&str; 2]) -> Option<String> {
    match ids {
        [] => None,
        [id] => Some(format!("seat {id} {one}")),
        ids => Some(format!("seats {} {many}", ids.join(", "))),
    }
}

/// Where a figure was taken: "4 kHz at seat R1C".
fn place_words(place: &Place) -> String {
    let at = place.nominal_hz.map_or("mean over the bands".into(), frequency_words);
    match place.seat_label() {
        Some(seats) if place.seats.len() > 1 => format!("{at} between seats {seats}"),
        Some(seat) => format!("{at} at seat {seat}"),
        None => at,
    }
}

/// What is claimed, without an article.
fn subject(claim: &Claim) -> String {
    let range = match claim.band_hz {
        Some(band_hz) => format!("from {}", frequency_range(band_hz)),
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

/// The verdict as a sentence of its own, without a full stop.
fn outcome(verdict: &ClaimVerdict) -> String {
    let shown = match verdict.verdict {
        Verdict::Pass => "Confirmed",
        Verdict::ConditionalPass => "Inside the limit, but by less than is certain: not confirmed",
        Verdict::ConditionalFail => {
            "Beyond the limit, but by less than is certain: neither confirmed nor refuted"
        }
        Verdict::Fail => "Not kept",
        Verdict::NotShown => "Nothing is shown",
    };
    let chance = verdict.probability.map(|p| format!(" (probability of conformity {})", chance(p)));
    shown.to_owned() + &chance.unwrap_or_default()
}

/// Probability for people: never "100 %".
pub fn chance(probability: f64) -> String {
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

fn loss_sentence(verdict: &ClaimVerdict, told_at: &Place, n_seats: usize) -> String {
    let claim = &verdict.claim;
    let who = match claim.scope {
        _ if claim.quantity == ClaimQuantity::SeatSpread => ":".into(),
        ClaimScope::EverySeat => ", seat by seat:".into(),
        ClaimScope::Mean if n_seats == 1 => ", one seat measured:".into(),
        ClaimScope::Mean => format!(", mean over {n_seats} seats:"),
    };
    let at = match claim.quantity {
        ClaimQuantity::AverageLoss => {
            told_at.seat_label().map_or(String::new(), |seat| format!(" at seat {seat}"))
        }
        _ => format!(" ({})", place_words(told_at)),
    };
    format!(
        "{}{who} {} dB{at}. Maker's limit: {}. {}.",
        capital(&subject(claim)),
        with_u(verdict.measured_db, verdict.u95_db),
        allowed(verdict.lower_limit_db, verdict.limit_db, " dB"),
        outcome(verdict),
    )
}

fn light_sentence(verdict: &ClaimVerdict) -> String {
    format!(
        "{}: {}. Maker's limit: {}. {}.",
        capital(&subject(&verdict.claim)),
        with_u(verdict.measured, verdict.u95),
        allowed(verdict.minimum, verdict.maximum, ""),
        outcome(verdict),
    )
}

fn with_u(value: Option<f64>, u95: Option<f64>) -> String {
    let u95 = u95.map_or(String::new(), |u| format!(" \u{b1} {u:.2}"));
    value.map_or(String::new(), |value| format!("{value:.2}")) + &u95
}

/// How a claim stands on the paper while nothing is measured.
pub fn unmeasured_sentence(claim: &Claim) -> String {
    let limits = if is_light(claim.quantity) {
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
    format!("{}{who}. Maker's limit: {limits}.", capital(&subject(claim)))
}

#[cfg(test)]
mod tests;
