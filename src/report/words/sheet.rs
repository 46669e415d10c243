//! The sheet in sentences: what kind of loss it causes, and how far it hangs from the loudspeaker.

use super::said::{Said, Statement};
use super::stated::{self, StatedWords};
use crate::analysis::sheet::choice::{Evidence, LossKind, Nothing};
use crate::analysis::sheet::finding::{GapFinding, SheetFinding};
use crate::analysis::sheet::fit::{ModelFit, Parameter};
use crate::analysis::sheet::gap::{GapDoubt, GapEstimate};
use crate::analysis::sheet::kinds::{ModelKind, Quantity};
use crate::analysis::sheet::stated::StatedComparison;
use crate::ingest::manifest::DisplayUnits;
use crate::warning::{Topic, Warning};
use crate::words::{Digits, bare, capital, list_words, millimetres, plus_minus, three_digits};
use serde::Serialize;

/// What kind of loss, which gap, and whether the sheet is the one described; each with its words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetResult {
    /// Models against data.
    pub evidence: Said<Evidence, Statement>,
    /// Stated sheet data against the measured loss, where the data make a sheet.
    pub stated: Option<Said<StatedComparison, StatedWords>>,
    pub gap: Said<GapFinding, Statement<String>>,
}

/// The finding with what is said of it, in metric units.
pub fn said(finding: SheetFinding) -> SheetResult {
    let units = DisplayUnits::Metric;
    SheetResult {
        evidence: Said::stated(finding.evidence, |evidence| evidence_statement(evidence, units)),
        stated: finding.stated.map(|comparison| stated::said(comparison, units)),
        gap: Said::stated(finding.gap, |gap| gap_sentence(gap, units)),
    }
}

/// Everything that is said of the sheet.
pub fn statement(sheet: &SheetResult, units: DisplayUnits) -> Vec<String> {
    let mut out = evidence_statement(&sheet.evidence, units);
    out.extend(sheet.stated.iter().flat_map(|comparison| stated::statement(comparison, units)));
    out.push(gap_sentence(&sheet.gap, units));
    out
}

/// The doubts that go with the finding.
pub fn warnings(finding: &SheetFinding, units: DisplayUnits) -> Vec<Warning> {
    let mut out = Vec::new();
    out.extend(gap_warning(&finding.gap, units));
    if finding.evidence.kind == LossKind::NoModelFits {
        out.push(Warning::of_session(
            Topic::Sheet,
            kind_sentence(&finding.evidence),
            "Look at the takes' own warnings first; a sheet that touches the loudspeaker or a \
             frame in the way does this too.",
        ));
    }
    if let Some(comparison) = finding.stated.as_ref().filter(|c| !c.agrees) {
        out.push(Warning::of_session(
            Topic::Sheet,
            stated::statement(comparison, units)[..2].join(" "),
            "Ask the supplier whether this is the sheet that was ordered, and which side faces \
             the room.",
        ));
    }
    out
}

fn gap_warning(gap: &GapFinding, units: DisplayUnits) -> Option<Warning> {
    let show = echo_words(gap.found.as_ref()?, units);
    let (message, advice) = match gap.doubt? {
        GapDoubt::NotStated => (
            format!("No gap is stated; the takes show {show} between loudspeaker and sheet."),
            "Measure the gap and write it as gap_m under [screen].",
        ),
        GapDoubt::Differs => (
            format!(
                "The stated gap is {}, the takes show {show}.",
                whole_mm(gap.stated_m.unwrap_or(f64::NAN), units)
            ),
            "Measure again from the loudspeaker's front (not the grille) to the sheet and \
             correct gap_m under [screen].",
        ),
    };
    Some(Warning::of_session(Topic::Gap, message, advice))
}

fn gap_sentence(gap: &GapFinding, units: DisplayUnits) -> String {
    match (gap.stated_m, &gap.found) {
        (None, None) => {
            "No gap is stated, and no echo between sheet and loudspeaker stands out.".into()
        }
        (Some(s), None) => {
            format!("Stated gap {}; no echo stands out that could confirm it.", whole_mm(s, units))
        }
        (None, Some(f)) => {
            format!(
                "The echoes put the sheet {} in front of the loudspeaker.",
                echo_words(f, units)
            )
        }
        (Some(s), Some(f)) => format!(
            "Stated gap {}, from the echoes {}: {}.",
            whole_mm(s, units),
            echo_words(f, units),
            if gap.doubt.is_some() { "they do not agree" } else { "they agree" }
        ),
    }
}

/// A gap to the millimetre.
pub fn whole_mm(metres: f64, units: DisplayUnits) -> String {
    millimetres(1e3 * metres, Digits::Decimals(0), units)
}

fn echo_words(found: &GapEstimate, units: DisplayUnits) -> String {
    plus_minus(&whole_mm(found.gap_m, units), &whole_mm(found.u95_m.max(1e-3), units))
}

/// What kind of loss it is, and the numbers of the model that describes it best.
pub fn evidence_statement(evidence: &Evidence, units: DisplayUnits) -> Vec<String> {
    let mut out = vec![kind_sentence(evidence)];
    let Some(best) = evidence.fits.first().filter(|_| evidence.nothing.is_none()) else {
        return out;
    };
    let mixed = evidence.supported.contains(&ModelKind::Mass) && evidence.supported.len() > 1;
    if evidence.kind == LossKind::MassLike && mixed {
        out.push("Whether friction takes part, the data do not tell.".into());
    }
    if evidence.kind != LossKind::Untold {
        out.extend(best.parameters.iter().filter_map(|p| parameter_sentence(p, units)));
        out.extend(hidden_sentence(best.kind, &evidence.fits));
        if best.parameters.iter().all(|p| p.quantity != Quantity::Corner || p.value.is_none()) {
            out.push("Half the power (3 dB) is not lost anywhere below 80 kHz.".into());
        }
    }
    if best.offset_db.abs() > 0.1 {
        out.push(format!(
            "The curve as a whole lies {:.1} dB {} than the model; a level difference between the \
             takes would do that.",
            best.offset_db.abs(),
            if best.offset_db > 0.0 { "higher" } else { "lower" }
        ));
    }
    if best.gap_m.is_none() {
        out.push(
            "The gap is not known, so echoes between sheet and loudspeaker count as loss of \
             the sheet here."
                .into(),
        );
    }
    out
}

/// The verdict.
pub fn kind_sentence(evidence: &Evidence) -> String {
    let best = evidence.fits.first();
    match evidence.kind {
        LossKind::Resistive => {
            "The loss is that of flow resistance: nearly the same from 500 Hz up, as of a weave \
             that air passes through."
                .into()
        }
        LossKind::MassLike => {
            "The loss grows with frequency as that of a mass: air that must be moved in holes, or \
             a limp film. Sound alone cannot tell these two apart."
                .into()
        }
        LossKind::Both => {
            "Friction and mass together make the loss: friction takes nearly the same from 500 Hz \
             up, mass more the higher the frequency."
                .into()
        }
        LossKind::Untold => {
            let names: Vec<String> =
                evidence.supported.iter().map(|k| model_words(*k).to_owned()).collect();
            format!(
                "The data do not tell what kind of loss this is: {} describe them equally well \
                 within the uncertainty.",
                list_words(&names)
            )
        }
        LossKind::NoModelFits => format!(
            "None of the sheet models describes the curve within its uncertainty: even the best \
             ({}) misses it by {:.2} dB rms. The parameters below are for orientation only.",
            best.map_or("", |fit| model_words(fit.kind)),
            best.map_or(f64::NAN, |fit| fit.misfit_db)
        ),
        LossKind::NothingToExplain => match evidence.nothing {
            Some(Nothing::NoLoss) => {
                "Hardly any band loses more than its uncertainty: there is no loss to explain."
            }
            _ => "Too few bands carry a loss: what kind of loss it is cannot be told.",
        }
        .into(),
    }
}

/// What the simple model leaves out and how much of it the data still allow.
fn hidden_sentence(best: ModelKind, fits: &[ModelFit]) -> Option<String> {
    let other = match best {
        ModelKind::Resistive => Quantity::ArealMass,
        ModelKind::Mass => Quantity::FlowResistance,
        _ => return None,
    };
    let both = fits.iter().find(|f| f.kind == ModelKind::Series)?;
    let high = both.parameters.iter().find(|p| p.quantity == other)?.high?;
    let (what, unit) = other.words();
    Some(format!("Up to {} {unit} of {what} could hide beside it.", three_digits(high)))
}

fn model_words(kind: ModelKind) -> &'static str {
    match kind {
        ModelKind::Resistive => "flow resistance alone",
        ModelKind::Mass => "mass alone",
        ModelKind::Series => "flow resistance and mass in series",
        ModelKind::Parallel => "a cloth that lets air through and yields",
        ModelKind::Holes => "holes with friction at their walls",
    }
}

/// One parameter as a sentence; `None` when the data say nothing about it.
fn parameter_sentence(p: &Parameter, units: DisplayUnits) -> Option<String> {
    let (what, unit) = p.quantity.words();
    let what = capital(what);
    let shown = |value: f64, digits: Digits| match unit {
        "mm" => millimetres(value, digits, units),
        _ => format!("{} {unit}", digits.write(value)),
    };
    let about = |value: f64| shown(value, Digits::Three);
    Some(match (p.value, p.low, p.high) {
        (Some(v), Some(low), Some(high)) if unit == "Hz" && v >= 1000.0 => {
            interval_sentence(&what, [v, low, high].map(|x| 1e-3 * x), |x, digits| {
                format!("{} kHz", digits.write(x))
            })
        }
        (Some(v), Some(low), Some(high)) => interval_sentence(&what, [v, low, high], shown),
        (Some(v), ..) => format!("{what}: about {}.", about(v)),
        (None, None, Some(high)) => format!("{what}: at most {}.", about(high)),
        (None, Some(low), None) => format!("{what}: at least {}.", about(low)),
        (None, Some(low), Some(high)) => {
            format!("{what}: between {} and {}.", bare(&about(low)), about(high))
        }
        (None, None, None) => return None,
    })
}

fn interval_sentence(
    what: &str,
    [v, low, high]: [f64; 3],
    shown: impl Fn(f64, Digits) -> String,
) -> String {
    let digits = Digits::Decimals(interval_decimals(high - low));
    let [v, low, high] = [v, low, high].map(|x| shown(x, digits));
    format!("{what}: {v} (95 % interval {} to {}).", bare(&low), bare(&high))
}

/// Decimals of a figure whose 95 % interval is so wide: its half is told with one digit, with two
/// where the first is 1 or 2 (common practice with uncertainties).
fn interval_decimals(width: f64) -> usize {
    let half = 0.5 * width.abs();
    if half <= 0.0 || !half.is_finite() {
        return 2;
    }
    let place = half.log10().floor();
    let first = half / 10f64.powf(place);
    (f64::from(u8::from(first < 3.0)) - place).clamp(0.0, 3.0) as usize
}

#[cfg(test)]
mod tests;
