//! What takes with the setting active say of it, in sentences, and what to do.

use super::correction;
use super::said::{Advised, Said};
use crate::analysis::biquad::SectionKind;
use crate::analysis::correction::Correction;
use crate::analysis::verification::{
    Finding, FoundNumber, Part, SeatVerification, Verification, VerificationVerdict,
};
use crate::warning::{Topic, Warning};
use crate::words::frequency_words;
use serde::Serialize;

/// What is said of a verification; keys as in `result.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VerificationWords {
    /// The verdict, and what to do.
    #[serde(flatten)]
    pub advised: Advised,
    /// The level made up.
    pub trim: Option<Said<FoundNumber, PartName>>,
    /// Section by section, in the order of the correction.
    pub sections: Vec<Said<FoundNumber, PartName>>,
}

/// Name of a part of the setting; key as in `result.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PartName {
    /// "level", "high shelf at 8 kHz".
    pub what: String,
}

/// The verification with its words.
pub fn said(found: Verification, correction: &Correction) -> Said<Verification, VerificationWords> {
    let named =
        |found: FoundNumber| Said { found, words: PartName { what: part_name(found.part) } };
    let words = VerificationWords {
        advised: Advised {
            sentence: sentence(&found, correction),
            advice: advise(found.verdict, correction::advice(correction).as_deref()),
        },
        trim: found.trim.map(named),
        sections: found.sections.iter().copied().map(named).collect(),
    };
    Said { found, words }
}

/// A warning where anything is to be done.
pub fn warning(verification: &Said<Verification, VerificationWords>) -> Option<Warning> {
    let Advised { sentence, advice } = verification.words.advised.clone();
    Some(Warning::of_session(Topic::Correction, sentence, advice?))
}

fn part_name(part: Part) -> String {
    match part {
        Part::Level => "level".into(),
        Part::Filter { kind, frequency_hz } => {
            let kind = match kind {
                SectionKind::HighShelf => "high shelf",
                SectionKind::Peaking => "peaking filter",
            };
            format!("{kind} at {}", frequency_words(frequency_hz))
        }
    }
}

/// What is said of a verdict: over its plot, in its sentence, and what to do, which is nothing
/// where the words are empty.
// More than 60 lines: one row a verdict.
fn verdict_words(verdict: VerificationVerdict) -> [&'static str; 3] {
    use VerificationVerdict as V;
    match verdict {
        V::Achieved => [
            "The setting does what was predicted",
            "The setting is active and does what was asked.",
            "",
        ],
        V::DoneButLeftOver => [
            "The setting is as asked, yet more is left at a seat than is allowed",
            "The setting is active and does what was asked, but it is not enough.",
            "Check that nothing was moved between the recordings; then treat what is left at its \
             cause, for it is not the same at all seats.",
        ],
        V::NotActive => [
            "The setting was not active",
            "The recordings show no change: the setting was not active.",
            "Look whether the equaliser is bypassed, or set on another channel than the centre.",
        ],
        V::Inverted => [
            "The setting works the wrong way round",
            "The setting works the wrong way round: it cuts where it should boost.",
            "Enter the gains with the opposite sign.",
        ],
        V::Twice => [
            "The setting has twice the gain asked",
            "The gain is twice what was asked.",
            "Look whether the setting is active in two places, for instance in the processor and in \
             the amplifier.",
        ],
        V::Half => [
            "The setting has half the gain asked",
            "The gain is half of what was asked.",
            "Look at the gains entered, and at any limit of the processor.",
        ],
        V::FiltersNotActive => [
            "The filters were not active, the level was",
            "The level was made up, but the filters were not active.",
            "Switch the filters on, on the centre channel.",
        ],
        V::TrimNotApplied => [
            "The filters were active, the level was not made up",
            "The filters are active, but the level was not made up.",
            "Raise the level of the centre channel as asked.",
        ],
        V::SectionsDiffer => [
            "Single filters are not as asked",
            "Not every filter is as asked:",
            "Enter these filters again.",
        ],
        V::Different => [
            "The change is another one than asked",
            "The change is another one than asked.",
            "Compare every number in the processor with the table of the setting, also the meaning \
             of Q and bandwidth.",
        ],
        V::CannotTell => [
            "The recordings do not tell whether the setting was active",
            "The recordings do not tell whether the setting is active.",
            "Record the corrected takes again at more seats, with two spots each, without moving \
             anything else.",
        ],
    }
}

/// The verdict over its plot, without a full stop.
pub fn title(verdict: VerificationVerdict) -> &'static str {
    verdict_words(verdict)[0]
}

fn sentence(found: &Verification, correction: &Correction) -> String {
    use VerificationVerdict as V;
    let (times, level) = (times_words(found), level_words(found, correction));
    let left = farthest_words(&found.seats, correction);
    let more = match found.verdict {
        V::Achieved if found.seats.iter().all(|s| s.shown) => left,
        V::Achieved => left + " With the uncertainty counted in, this is not shown at every seat.",
        V::DoneButLeftOver => left + &single_band_words(&found.seats, correction),
        V::TrimNotApplied => level + &times,
        V::SectionsDiffer => {
            let odd: Vec<String> = found.sections.iter().filter_map(odd_section).collect();
            format!(" {}.", odd.join("; "))
        }
        _ => times + &level,
    };
    verdict_words(found.verdict)[1].to_owned() + &more
}

/// What to do; `None` when nothing is to be done.
fn advise(verdict: VerificationVerdict, with_the_setting: Option<&str>) -> Option<String> {
    use VerificationVerdict as V;
    let what = verdict_words(verdict)[2];
    match verdict {
        V::Achieved => None,
        V::DoneButLeftOver => Some(with_the_setting.unwrap_or(what).to_owned()),
        V::CannotTell => Some(what.to_owned()),
        _ => Some(format!(
            "{what} Correct it in the processor and record the corrected takes again."
        )),
    }
}

fn times_words(found: &Verification) -> String {
    found.factor.zip(found.factor_u95).map_or(String::new(), |(v, u)| {
        format!(" Found: {v:.2} times the filters asked for, \u{b1}{u:.2}.")
    })
}

fn level_words(found: &Verification, correction: &Correction) -> String {
    let level = found.trim.and_then(|t| Some((t.found_db?, t.u95_db?)));
    level.map_or(String::new(), |(v, u)| {
        // Nothing found is 0, not -0.
        let v = if v.abs() < 0.005 { 0.0 } else { v };
        format!(" Level found: {v:+.2} dB (\u{b1}{u:.2}), asked: {:+.2} dB.", correction.trim_db)
    })
}

fn farthest_words(seats: &[SeatVerification], correction: &Correction) -> String {
    let farthest =
        seats.iter().filter_map(|s| Some((s, s.left_rms_db?))).max_by(|a, b| a.1.total_cmp(&b.1));
    farthest.map_or(String::new(), |(s, rms_db)| {
        format!(
            " The shape left over is at most {rms_db:.2} dB rms (seat {}; {} dB is allowed).",
            s.id, correction.tolerance_rms_db
        )
    })
}

fn single_band_words(seats: &[SeatVerification], correction: &Correction) -> String {
    let worst = seats
        .iter()
        .filter_map(|s| Some((s, s.worst_band.as_ref()?)))
        .filter(|(_, band)| band.left_db.abs() > correction.tolerance_band_db)
        .max_by(|a, b| a.1.left_db.abs().total_cmp(&b.1.left_db.abs()));
    worst.map_or(String::new(), |(s, band)| {
        format!(
            " A single band is off by {:.2} dB (seat {}, {}; {} dB is allowed).",
            band.left_db.abs(),
            s.id,
            frequency_words(band.nominal_hz),
            correction.tolerance_band_db
        )
    })
}

/// What was found of a gain asked for, in a cell, and in a sentence on a filter that is not as
/// asked.
pub fn finding_words(finding: Finding) -> [&'static str; 2] {
    match finding {
        Finding::AsAsked => ["as asked", ""],
        Finding::NotActive => ["not active", "was not active"],
        Finding::Inverted => ["inverted", "works the wrong way round"],
        Finding::Twice => ["twice what was asked", "has twice the gain asked"],
        Finding::Half => ["half of what was asked", "has half the gain asked"],
        Finding::Different => ["different", "has another gain"],
        Finding::CannotTell => ["the recordings do not tell", ""],
    }
}

/// A filter that is not as asked.
fn odd_section(found: &FoundNumber) -> Option<String> {
    let [_, words] = finding_words(found.finding);
    let gain = found.found_db.filter(|_| found.finding != Finding::NotActive);
    let gain = gain.map_or(String::new(), |v| format!(" ({v:+.1} dB for {:+.1})", found.asked_db));
    (!words.is_empty()).then(|| format!("the {} {words}{gain}", part_name(found.part)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::correction::{WorstBand, fit_correction};
    use crate::analysis::verification::verify;
    use crate::ingest::manifest::CorrectionLimits;
    use crate::report::example::example_losses;
    use VerificationVerdict as V;

    fn setting() -> Correction {
        let (_, with) = example_losses(3);
        fit_correction(&with, &CorrectionLimits::default()).unwrap().best().clone()
    }

    /// Takes that show no change, told as if they had shown `verdict`.
    fn told(verdict: V) -> Said<Verification, VerificationWords> {
        let (_, with) = example_losses(3);
        let mut found = verify(&setting(), &with, &with);
        assert_eq!(found.verdict, V::NotActive);
        found.verdict = verdict;
        said(found, &setting())
    }

    #[test]
    fn what_went_wrong_is_said_with_what_to_do() {
        for (verdict, words) in [
            (V::NotActive, "no change"),
            (V::Inverted, "wrong way round"),
            (V::Twice, "twice"),
            (V::Half, "half"),
            (V::FiltersNotActive, "filters were not active"),
            (V::TrimNotApplied, "level was not made up"),
            (V::Different, "another one than asked"),
            (V::CannotTell, "do not tell"),
        ] {
            let v = told(verdict);
            let Advised { sentence, advice } = v.words.advised.clone();
            assert!(sentence.contains(words), "{verdict:?}: {sentence}");
            assert!(sentence.contains(" Level found: +0.00 dB (±"), "{sentence}");
            let warning = warning(&v).expect("a warning");
            assert_eq!((warning.message, Some(warning.advice)), (sentence, advice));
        }
    }

    #[test]
    fn what_is_done_needs_no_warning() {
        let v = told(V::Achieved);
        assert!(
            v.words.advised.sentence.starts_with("The setting is active and does what was asked.")
        );
        assert_eq!((&v.words.advised.advice, warning(&v)), (&None, None));
    }

    #[test]
    fn what_is_left_over_names_seat_and_band() {
        let mut found = told(V::DoneButLeftOver).found;
        for seat in &mut found.seats {
            (seat.left_rms_db, seat.worst_band) = (Some(0.1), None);
        }
        let seat = &mut found.seats[2];
        let id = seat.id.clone();
        seat.left_rms_db = Some(0.9);
        seat.worst_band =
            Some(WorstBand { seat: id.clone(), nominal_hz: 3150.0, left_db: -2.5, u95_db: 0.1 });
        let c = setting();
        let sentence = said(found, &c).words.advised.sentence;
        let rms = format!("at most 0.90 dB rms (seat {id}; {} dB is allowed)", c.tolerance_rms_db);
        let band = format!("off by 2.50 dB (seat {id}, 3.15 kHz; {} dB is", c.tolerance_band_db);
        assert!(sentence.contains(&rms) && sentence.contains(&band), "{sentence}");
        let told = |advice| advise(V::DoneButLeftOver, advice);
        assert!(told(None).unwrap().contains("at its cause"));
        assert_eq!(told(Some("Damp the wall.")).as_deref(), Some("Damp the wall."));
    }

    #[test]
    fn a_filter_that_is_off_is_named() {
        let part = Part::Filter { kind: SectionKind::HighShelf, frequency_hz: 8000.0 };
        let found = |finding| FoundNumber {
            part,
            asked_db: 3.0,
            found_db: Some(-1.5),
            u95_db: Some(0.2),
            finding,
        };
        assert_eq!(part_name(part), "high shelf at 8 kHz");
        let words = |finding| odd_section(&found(finding));
        let off = "the high shelf at 8 kHz was not active";
        assert_eq!(words(Finding::NotActive).as_deref(), Some(off));
        let other = "the high shelf at 8 kHz has another gain (-1.5 dB for +3.0)";
        assert_eq!(words(Finding::Different).as_deref(), Some(other));
        assert_eq!(words(Finding::AsAsked), None);
    }

    #[test]
    fn parts_stand_with_their_names_in_json() {
        let json = serde_json::to_value(told(V::NotActive)).unwrap();
        assert_eq!(json["trim"]["what"], "level");
        assert_eq!(json["trim"]["finding"], "not_active");
        assert_eq!(json["sections"].as_array().map(Vec::len), Some(setting().sections.len()));
        assert!(json["sentence"].is_string() && json["advice"].is_string());
    }
}
