//! The verdict in sentences, and what to do when one setting does not serve.

use super::{CapReason, Correction, SeatPrediction};
use crate::analysis::loss::LossTable;
use crate::analysis::seats::SeatDependence;
use crate::ingest::manifest::CorrectionLimits;
use crate::warning::{Topic, Warning};
use crate::words::{frequency_words, list_words};

/// Why a setting does not serve, in the order in which causes are looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cause {
    Unmeasured,
    Uncertain,
    SeatsDiffer,
    LevelDiffers,
    NarrowDips,
    BoostLimit,
    OutsideRange,
    FilterLimit,
}

/// Fills in `reason`, `advice` and `warnings`.
pub(super) fn say(
    c: &mut Correction,
    table: &LossTable,
    limits: &CorrectionLimits,
    dependence: &SeatDependence,
) {
    let counted: Vec<&SeatPrediction> = c.seats.iter().filter(|s| s.weight > 0.0).collect();
    let mut reason;
    let mut advice = None;
    if c.serves_all_seats {
        reason = served(c, &counted);
        if !c.shown {
            reason.push(' ');
            reason.push_str(&not_shown(c, &counted));
            advice = Some(
                "Check the setting with takes recorded while it is active, or record a second \
                 spot at each seat to narrow the uncertainty."
                    .into(),
            );
        }
    } else {
        let cause = cause(c, table, &counted, limits, dependence);
        reason = refused(c, &counted, cause, dependence);
        advice = Some(instead(cause, limits));
    }
    if let Some(left_alone) = left_alone(c) {
        reason.push(' ');
        reason.push_str(&left_alone);
    }
    let mut warnings = Vec::new();
    if !c.serves_all_seats || !c.shown {
        warnings.push(Warning {
            topic: Topic::Correction,
            seat: None,
            take: None,
            message: reason.clone(),
            advice: advice.clone().unwrap_or_default(),
        });
    }
    for seat in &counted {
        let worse = seat.after_rms_db.zip(seat.before_rms_db).filter(|(a, b)| *a > b + 0.1);
        if let Some((after, before)) = worse {
            warnings.push(Warning {
                topic: Topic::Correction,
                seat: Some(seat.id.clone()),
                take: None,
                message: format!(
                    "The setting makes seat {} worse: {after:.2} dB rms of shape where {before:.2} \
                     dB was before.",
                    seat.id
                ),
                advice: "Lower the weight of the other seats, or leave the filters out if this \
                         seat matters most."
                    .into(),
            });
        }
    }
    c.reason = reason;
    c.advice = advice;
    c.warnings = warnings;
}

fn plural(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

/// Names the bands that are left alone on purpose: narrow dips, and what differs from seat to
/// seat, are never filled.
fn left_alone(c: &Correction) -> Option<String> {
    let bands = |reason: CapReason| -> Vec<String> {
        let capped = c.bands.iter().filter(|b| b.cap == Some(reason));
        capped.map(|b| frequency_words(b.nominal_hz)).collect()
    };
    let mut parts = Vec::new();
    let dips = bands(CapReason::NarrowDip);
    if !dips.is_empty() {
        parts.push(format!("the narrow dips near {}", list_words(&dips)));
    }
    let moving = bands(CapReason::NotCommon);
    if !moving.is_empty() {
        parts.push(format!("what differs from seat to seat at {}", list_words(&moving)));
    }
    (!parts.is_empty()).then(|| {
        format!(
            "On purpose the filters do not fill {}: a boost there would help at one place and be \
             heard at all others.",
            parts.join(" and ")
        )
    })
}

/// The seat with the largest left-over shape.
fn farthest<'a>(counted: &[&'a SeatPrediction]) -> Option<&'a SeatPrediction> {
    counted
        .iter()
        .filter(|s| s.after_rms_db.is_some())
        .max_by(|a, b| {
            let rms = |s: &SeatPrediction| s.after_rms_db.unwrap_or(0.0);
            rms(a).total_cmp(&rms(b))
        })
        .copied()
}

fn served(c: &Correction, counted: &[&SeatPrediction]) -> String {
    let n = counted.len();
    let what = match (c.sections.is_empty(), c.trim_db == 0.0) {
        (true, true) => "No equaliser setting is needed: what the screen takes away lies within \
                         its uncertainty, or is too little for a filter."
            .into(),
        (true, false) if n == 1 => {
            format!("Level alone ({:+.1} dB) suits the one seat.", c.trim_db)
        }
        (true, false) => format!("Level alone ({:+.1} dB) suits all {n} seats.", c.trim_db),
        (false, _) if n == 1 => "The equaliser setting suits the one seat measured.".into(),
        (false, _) => format!("One equaliser setting suits all {n} seats."),
    };
    let rms = farthest(counted).map_or(String::new(), |s| {
        format!(
            " Remaining unevenness: at most {:.2} dB rms, level apart, at seat {} (limit {}).",
            s.after_rms_db.unwrap_or(0.0),
            s.id,
            c.tolerance_rms_db
        )
    });
    let worst = c.worst_band.as_ref().map_or(String::new(), |w| {
        format!(
            " With the level as typed in no band is off by more than {:.2} dB (limit {}).",
            w.left_db.abs(),
            c.tolerance_band_db
        )
    });
    format!("{what}{rms}{worst}")
}

/// What a finer setting would gain over the simplest that suits.
pub(super) fn say_finer(c: &mut Correction, finer: &Correction) {
    let more = finer.sections.len() - c.sections.len();
    let left = |c: &Correction| {
        let all = c.seats.iter().filter(|s| s.weight > 0.0).filter_map(|s| s.after_rms_db);
        all.fold(0.0, f64::max)
    };
    c.reason.push_str(&format!(
        " It is the simplest that does; {} would leave {:.2} dB instead of {:.2}.",
        if more == 1 { "one filter more".into() } else { format!("{more} filters more") },
        left(finer),
        left(c)
    ));
}

fn not_shown(c: &Correction, counted: &[&SeatPrediction]) -> String {
    let absent = counted.iter().filter(|s| !s.absent_hz.is_empty()).count();
    let doubtful = counted.iter().filter(|s| !s.shown && s.absent_hz.is_empty()).count();
    let mut parts = Vec::new();
    if doubtful > 0 {
        parts.push(format!(
            "The values lie within the tolerance, but with their uncertainty counted in this is \
             not shown at {} of {}.",
            doubtful,
            plural(counted.len(), "seat")
        ));
    }
    if absent > 0 {
        let mut hz: Vec<f64> = counted.iter().flat_map(|s| s.absent_hz.iter().copied()).collect();
        hz.sort_by(f64::total_cmp);
        hz.dedup();
        let names: Vec<String> = hz.iter().map(|h| frequency_words(*h)).collect();
        parts.push(format!(
            "Nothing is said where bands could not be measured ({}; {}).",
            names.join(", "),
            plural(absent, "seat")
        ));
    }
    debug_assert!(!c.shown);
    parts.join(" ")
}

fn refused(
    c: &Correction,
    counted: &[&SeatPrediction],
    cause: Cause,
    dependence: &SeatDependence,
) -> String {
    let failing: Vec<&&SeatPrediction> = counted.iter().filter(|s| !s.served).collect();
    let head = if counted.is_empty() {
        "No seat counts, so no setting can be said to suit".to_string()
    } else if failing.len() == counted.len() && counted.len() > 1 {
        "No single equaliser setting suits the seats: none of them comes within the limits".into()
    } else {
        let names: Vec<&str> = failing.iter().map(|s| s.id.as_str()).collect();
        format!("No single equaliser setting suits all seats: it fails at {}", names.join(", "))
    };
    let mut by = Vec::new();
    if let Some(s) =
        farthest(counted).filter(|s| s.after_rms_db.is_some_and(|r| r > c.tolerance_rms_db))
    {
        by.push(format!(
            "{:.2} dB rms of unevenness are left at seat {} where {} dB are allowed",
            s.after_rms_db.unwrap_or(0.0),
            s.id,
            c.tolerance_rms_db
        ));
    }
    if let Some(w) = c.worst_band.as_ref().filter(|w| w.left_db.abs() > c.tolerance_band_db) {
        by.push(format!(
            "{} is off by {:.1} dB at seat {} where {} dB are allowed",
            frequency_words(w.nominal_hz),
            w.left_db.abs(),
            w.seat,
            c.tolerance_band_db
        ));
    }
    let by = if by.is_empty() { String::new() } else { format!(" ({})", by.join("; ")) };
    let best = match (c.before_rms_db, c.after_rms_db) {
        (Some(before), Some(after)) if !c.sections.is_empty() => format!(
            " The best that can be done lowers the unevenness from {before:.2} to {after:.2} dB rms \
             over the seats."
        ),
        (Some(_), Some(after)) => {
            format!(
                " No filter helps enough; {after:.2} dB rms of unevenness remain over the seats."
            )
        }
        _ => String::new(),
    };
    let why = match cause {
        Cause::Unmeasured => "At least one seat has no loss to judge by.".into(),
        Cause::Uncertain => {
            "The uncertainty of the losses is larger than the tolerance, so nothing can be \
             claimed."
                .into()
        }
        Cause::SeatsDiffer => format!(
            "What is left moves from seat to seat ({:.2} dB rms beyond the uncertainty): ripple \
             that changes with the place must not be equalised.",
            dependence.moving_rms_db.unwrap_or(0.0)
        ),
        Cause::LevelDiffers => {
            "The seats lose different amounts over the whole range, which a setting for all \
             cannot change."
                .into()
        }
        Cause::NarrowDips => {
            "Part of the loss sits in narrow dips, as reflections make them: filling them would \
             cost power and be heard everywhere else."
                .into()
        }
        Cause::BoostLimit => "The loss asks for more boost than is allowed.".into(),
        Cause::OutsideRange => {
            "Part of what is left lies outside the range in which filters may act.".into()
        }
        Cause::FilterLimit => {
            "The loss has a finer shape than the filters allowed can follow.".to_string()
        }
    };
    format!("{head}{by}.{best} {why}")
}

fn instead(cause: Cause, limits: &CorrectionLimits) -> String {
    match cause {
        Cause::Unmeasured => "Record the missing takes; until then trust the setting only at the \
                              seats that were measured."
            .into(),
        Cause::Uncertain => "Record two or more spots at each seat and put the microphone back \
                             more exactly, then analyse again."
            .into(),
        Cause::SeatsDiffer => "Change the cause, not the equaliser: hang the screen at another \
                               distance from the loudspeaker (usually closer), put absorbent \
                               around the loudspeaker's front, or choose a cloth that reflects \
                               less. If you use the setting all the same, use the broad common \
                               part only, as given."
            .into(),
        Cause::LevelDiffers => "Look for a change of level between takes at the seats that stand \
                                out, and record them again."
            .into(),
        Cause::NarrowDips => "Treat the reflection: absorbent between screen and loudspeaker or \
                              another distance moves or removes the dips; a lighter cloth makes \
                              them shallower."
            .into(),
        Cause::BoostLimit => format!(
            "Choose a cloth or film that takes less away. Raise max_boost_db above {} dB only if \
             amplifier and driver have the power for it.",
            limits.max_boost_db
        ),
        Cause::OutsideRange => {
            "Widen band_hz if the processor allows it, or choose a cloth that takes less away \
             there."
                .into()
        }
        Cause::FilterLimit => "Allow more filters, a wider range of Q or finer steps if the \
                               processor has them; otherwise choose another cloth or another \
                               distance."
            .into(),
    }
}

fn cause(
    c: &Correction,
    table: &LossTable,
    counted: &[&SeatPrediction],
    limits: &CorrectionLimits,
    dependence: &SeatDependence,
) -> Cause {
    let failing: Vec<&SeatPrediction> = counted.iter().filter(|s| !s.served).copied().collect();
    if counted.is_empty() || failing.iter().any(|s| s.n_bands == 0) {
        return Cause::Unmeasured;
    }
    let outside = |s: &&SeatPrediction| {
        s.after_rms_db.is_some_and(|r| r > c.tolerance_rms_db)
            || s.worst_band.as_ref().is_some_and(|w| w.left_db.abs() > c.tolerance_band_db)
    };
    let off: Vec<&SeatPrediction> = failing.into_iter().filter(outside).collect();
    if off.is_empty() {
        return Cause::Uncertain;
    }
    let judged = super::judged(table);
    // What is left at the failing seats: the share of level, of the mean over seats, the rest.
    let (mut total, mut level, mut common) = (0.0, 0.0, 0.0);
    let levels: Vec<f64> = counted.iter().filter_map(|s| s.level_db).collect();
    let mean_level = levels.iter().sum::<f64>() / levels.len().max(1) as f64;
    for s in &off {
        for &b in &judged {
            let Some(p) = s.predicted[b] else { continue };
            total += p.value_db.powi(2);
            level += s.level_db.map_or(0.0, |l| (l - mean_level).powi(2));
            common += c.bands[b].left_db.unwrap_or(0.0).powi(2);
        }
    }
    if level > 0.5 * total {
        return Cause::LevelDiffers;
    }
    let not_common = judged.iter().any(|&b| !dependence.bands[b].common);
    if counted.len() > 1 && (not_common || common < 0.5 * total) {
        return Cause::SeatsDiffer;
    }
    // Which bands make up what all seats share.
    let heaviest = judged.iter().copied().max_by(|&a, &b| {
        let left = |b: usize| c.bands[b].left_db.unwrap_or(0.0).abs();
        left(a).total_cmp(&left(b))
    });
    let capped = |reason: CapReason| {
        judged
            .iter()
            .any(|&b| c.bands[b].cap == Some(reason) && c.bands[b].left_db.is_some_and(|l| l > 0.3))
    };
    match heaviest.map(|b| &c.bands[b]) {
        Some(b) if b.cap == Some(CapReason::NarrowDip) => Cause::NarrowDips,
        Some(b) if b.cap == Some(CapReason::MaxBoost) => Cause::BoostLimit,
        Some(b) if b.nominal_hz < limits.band_hz[0] || b.nominal_hz > limits.band_hz[1] => {
            Cause::OutsideRange
        }
        _ if capped(CapReason::NarrowDip) => Cause::NarrowDips,
        _ if capped(CapReason::MaxBoost) => Cause::BoostLimit,
        _ => Cause::FilterLimit,
    }
}
