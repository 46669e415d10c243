//! Whether one setting serves all seats, in sentences, and what to do where it does not.

use super::said::Said;
use crate::analysis::correction::{CapReason, Cause, Correction, SeatPrediction};
use crate::warning::{Topic, Warning};
use crate::words::{frequency_words, list_words};
use serde::Serialize;
use std::borrow::Cow;

/// A setting with its words.
pub type SaidSetting = Said<Correction, SettingWords>;

/// What is said of a setting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SettingWords {
    /// Verdict in a few sentences.
    pub reason: String,
    /// What to do instead or besides.
    pub advice: Option<String>,
    /// The finer setting behind this one, with its own words.
    pub finer: Option<Box<FinerSetting>>,
}

/// The finer setting. What is doubtful about it stands here; what is doubtful about the setting
/// itself, with the warnings of the session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FinerSetting {
    /// The setting.
    #[serde(flatten)]
    pub setting: SaidSetting,
    /// Doubts.
    pub warnings: Vec<Warning>,
}

/// The setting, and the finer one behind it, with their words.
pub fn said(found: Correction) -> SaidSetting {
    let finer = found.finer.as_deref().map(|finer| {
        Box::new(FinerSetting { setting: said(finer.clone()), warnings: warnings(finer) })
    });
    let reason = [Some(verdict(&found)), simplest(&found)].into_iter().flatten();
    let reason = reason.collect::<Vec<_>>().join(" ");
    let words = SettingWords { reason, advice: advice(&found), finer };
    Said { found, words }
}

/// The verdict, with what is left alone on purpose.
fn verdict(c: &Correction) -> String {
    let mut sentences = match c.cause {
        Some(cause) => vec![refused(c, cause)],
        None => vec![served(c)],
    };
    sentences.extend((c.serves_all_seats && !c.shown).then(|| not_shown(c)));
    sentences.extend(left_alone(c));
    sentences.join(" ")
}

/// What to do instead of the setting, or besides.
pub fn advice(c: &Correction) -> Option<String> {
    match c.cause {
        Some(cause) => {
            let [_, instead] = cause_words(cause);
            Some(instead.into_owned())
        }
        None if !c.shown => Some(
            "Check the setting with takes recorded while it is active, or record a second spot at \
             each seat to narrow the uncertainty."
                .into(),
        ),
        None => None,
    }
}

/// The warnings that go with the setting.
pub fn warnings(c: &Correction) -> Vec<Warning> {
    let warning = |message, advice: String| Warning::of_session(Topic::Correction, message, advice);
    let doubtful = !c.serves_all_seats || !c.shown;
    let of_all = doubtful.then(|| warning(verdict(c), advice(c).unwrap_or_default()));
    let of_seats = c.made_worse().map(|(seat, [before, after])| {
        let message = format!(
            "The setting makes seat {} worse: {after:.2} dB rms of shape where {before:.2} dB was \
             before.",
            seat.id
        );
        let advice = "Lower the weight of the other seats, or leave the filters out if this seat \
                      matters most.";
        Warning { seat: Some(seat.id.clone()), ..warning(message, advice.into()) }
    });
    of_all.into_iter().chain(of_seats).collect()
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
    for (reason, which) in [
        (CapReason::NarrowDip, "the narrow dips near"),
        (CapReason::NotCommon, "what differs from seat to seat at"),
    ] {
        let names = bands(reason);
        parts.extend((!names.is_empty()).then(|| format!("{which} {}", list_words(&names))));
    }
    (!parts.is_empty()).then(|| {
        format!(
            "On purpose the filters do not fill {}: a boost there would help at one place and be \
             heard at all others.",
            parts.join(" and ")
        )
    })
}

fn served(c: &Correction) -> String {
    let n = c.counted().count();
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
    let rms = c.farthest().map_or(String::new(), |(seat, left_db)| {
        format!(
            " Remaining unevenness: at most {left_db:.2} dB rms, level apart, at seat {} (limit {}).",
            seat.id, c.tolerance_rms_db
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

/// What the finer setting would gain over this one, the simplest that suits.
fn simplest(c: &Correction) -> Option<String> {
    let finer = c.finer.as_deref()?;
    let more = finer.sections.len() - c.sections.len();
    let left_db = |c: &Correction| c.farthest().map_or(0.0, |(_, left_db)| left_db);
    Some(format!(
        "It is the simplest that does; {} would leave {:.2} dB instead of {:.2}.",
        if more == 1 { "one filter more".into() } else { format!("{more} filters more") },
        left_db(finer),
        left_db(c)
    ))
}

fn not_shown(c: &Correction) -> String {
    let counted: Vec<&SeatPrediction> = c.counted().collect();
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
    parts.join(" ")
}

fn refused(c: &Correction, cause: Cause) -> String {
    let n = c.counted().count();
    let failing: Vec<&str> = c.counted().filter(|s| !s.served).map(|s| s.id.as_str()).collect();
    let head = if n == 0 {
        "No seat counts, so no setting can be said to suit".to_owned()
    } else if failing.len() == n && n > 1 {
        "No single equaliser setting suits the seats: none of them comes within the limits".into()
    } else {
        format!("No single equaliser setting suits all seats: it fails at {}", failing.join(", "))
    };
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
    format!("{head}{}.{best} {}", by_how_much(c), cause_words(cause)[0])
}

/// What is beyond the tolerance, in brackets; nothing where the values lie inside.
fn by_how_much(c: &Correction) -> String {
    let mut by = Vec::new();
    if let Some((seat, left_db)) = c.farthest().filter(|(_, left)| *left > c.tolerance_rms_db) {
        by.push(format!(
            "{left_db:.2} dB rms of unevenness are left at seat {} where {} dB are allowed",
            seat.id, c.tolerance_rms_db
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
    if by.is_empty() { String::new() } else { format!(" ({})", by.join("; ")) }
}

/// Why no setting serves all, and what to do instead, a few sentences each.
fn cause_words(cause: Cause) -> [Cow<'static, str>; 2] {
    let [why, instead] = match cause {
        Cause::Unmeasured => [
            "At least one seat has no loss to judge by.",
            "Record the missing takes; until then trust the setting only at the seats that were \
             measured.",
        ],
        Cause::Uncertain => [
            "The uncertainty of the losses is larger than the tolerance, so nothing can be claimed.",
            "Record two or more spots at each seat and put the microphone back more exactly, then \
             analyse again.",
        ],
        Cause::SeatsDiffer { moving_rms_db } => {
            let why = format!(
                "What is left moves from seat to seat ({:.2} dB rms beyond the uncertainty): ripple \
                 that changes with the place must not be equalised.",
                moving_rms_db.unwrap_or(0.0)
            );
            let instead = "Change the cause, not the equaliser: hang the screen at another distance \
                           from the loudspeaker (usually closer), put absorbent around the \
                           loudspeaker's front, or choose a cloth that reflects less. If you use \
                           the setting all the same, use the broad common part only, as given.";
            return [why.into(), instead.into()];
        }
        Cause::LevelDiffers => [
            "The seats lose different amounts over the whole range, which a setting for all cannot \
             change.",
            "Look for a change of level between takes at the seats that stand out, and record them \
             again.",
        ],
        Cause::NarrowDips => [
            "Part of the loss sits in narrow dips, as reflections make them: filling them would \
             cost power and be heard everywhere else.",
            "Treat the reflection: absorbent between screen and loudspeaker or another distance \
             moves or removes the dips; a lighter cloth makes them shallower.",
        ],
        Cause::BoostLimit { max_boost_db } => {
            let instead = format!(
                "Choose a cloth or film that takes less away. Raise max_boost_db above \
                 {max_boost_db} dB only if amplifier and driver have the power for it."
            );
            return ["The loss asks for more boost than is allowed.".into(), instead.into()];
        }
        Cause::OutsideRange => [
            "Part of what is left lies outside the range in which filters may act.",
            "Widen band_hz if the processor allows it, or choose a cloth that takes less away there.",
        ],
        Cause::FilterLimit => [
            "The loss has a finer shape than the filters allowed can follow.",
            "Allow more filters, a wider range of Q or finer steps if the processor has them; \
             otherwise choose another cloth or another distance.",
        ],
    };
    [why.into(), instead.into()]
}

#[cfg(test)]
mod tests;
