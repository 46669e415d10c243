//! What was found, in sentences under short headings; then the warnings.

use super::look::{BOLD, CAUTION, DIM, Look, paragraph};
use super::orientation::{orientation_lines, orientation_sources};
use super::result::SessionResult;
use super::words::claims::DECISION_RULE;
use super::words::{loss_finding, rattle_range, spread_finding};
use crate::analysis::correction::Correction;
use crate::ingest::error::plain;
use crate::ingest::manifest::DisplayUnits;
use crate::warning::{Topic, Warning};
use crate::words::{key_words, signed};

/// The findings of every part that the result holds.
// More than 60 lines: one heading after the other.
pub fn findings_text(result: &SessionResult, look: Look) -> String {
    let mut text = Sections { out: String::new(), look };

    text.head("Loss");
    text.say(&format!("{}.", loss_finding(result)));
    text.say_all(spread_finding(result).map(|s| format!("{s}.")));
    text.say_all(result.seat_dependence.as_ref().map(|seats| seats.sentence()));
    if let Some(level) = &result.level {
        text.head("Level");
        text.say(&level.words.statement);
        text.say(&result.linearity.in_words());
    }
    if let Some(sheet) = &result.sheet {
        text.head("Sheet");
        text.say_all(sheet.evidence.statement().first());
        text.say(&sheet.gap.words.statement);
    }
    if !result.rattle.is_empty() || result.rattle_limit_db.is_some() {
        text.head("Rattle");
        for range in &result.rattle {
            text.say(&format!(
                "Something rattles with the screen hung while the sweep passes {}, {:.0} dB above \
                 the silence.",
                rattle_range(range),
                range.excess_db
            ));
        }
        text.say_all(rattle_limit(result));
    }
    if !result.claims.is_empty() {
        text.head("Claims");
        for claim in &result.claims {
            let verdict = claim.verdict.label().to_uppercase();
            text.say(&format!("{verdict}. {}", claim.words.sentence));
        }
        text.aside(DECISION_RULE);
    }
    if let Some(correction) = &result.correction {
        text.head("Equaliser");
        text.lines(&setting_lines(correction));
        text.say(&correction.words.reason);
        text.say_all(correction.words.advice.as_ref());
    }
    if let Some(verification) = &result.verification {
        text.head("Equaliser as recorded");
        text.say(&verification.words.advised.sentence);
        text.say_all(verification.words.advised.advice.as_ref());
    }
    if let Some(power) = &result.power {
        text.head("Power");
        text.say(power.sentence());
    }
    if let Some(picture) = &result.picture {
        let light = picture.light.iter().flat_map(|light| light.statement());
        let sentences: Vec<&String> = light.chain(picture.geometry.statement()).collect();
        if !sentences.is_empty() {
            text.head("Picture");
            text.say_all(sentences);
        }
        if let Some(light) = &picture.light {
            text.lines(&orientation_lines(light));
            text.aside(&orientation_sources(light));
        }
    }
    text.out
}

/// What the search for rattle could not have heard.
fn rattle_limit(result: &SessionResult) -> Option<String> {
    let limit_db = result.rattle_limit_db?;
    let none = if result.rattle.is_empty() { "No rattle was found with the screen. " } else { "" };
    let hidden = if limit_db > 0.0 {
        format!("more than {limit_db:.0} dB below")
    } else {
        format!("less than {:.0} dB above", -limit_db)
    };
    Some(format!(
        "{none}The noise of the room would have hidden one whose sound from 2 to 16 kHz lies \
         {hidden} the tone that excites it."
    ))
}

/// Text under headings.
struct Sections {
    out: String,
    look: Look,
}

impl Sections {
    fn head(&mut self, words: &str) {
        self.out += &format!("\n{}\n", self.look.paint(BOLD, words));
    }

    fn say(&mut self, sentence: &str) {
        self.out += &paragraph(&plain(sentence), "  ", "  ", self.look.width);
    }

    fn say_all<'a, T: AsRef<str> + 'a>(&mut self, sentences: impl IntoIterator<Item = T>) {
        sentences.into_iter().for_each(|sentence| self.say(sentence.as_ref()));
    }

    fn aside(&mut self, sentence: &str) {
        let text = paragraph(&plain(sentence), "  ", "  ", self.look.width);
        for line in text.lines() {
            self.out += &format!("{}\n", self.look.paint(DIM, line));
        }
    }

    fn lines(&mut self, lines: &[String]) {
        lines.iter().for_each(|line| self.out += &format!("  {line}\n"));
    }
}

/// The setting as a small table to type in; empty where nothing is to be set.
fn setting_lines(correction: &Correction) -> Vec<String> {
    if correction.sections.is_empty() && correction.trim_db == 0.0 {
        return Vec::new();
    }
    let mut lines = vec![
        format!(
            "{:12} {:>9} {:>8} {:>6} {:>16} {:>17}",
            "", "Hz", "dB", "Q", "octaves (analog)", "octaves (digital)"
        ),
        format!("{:12} {:>9} {:>8}", "trim", "", signed(correction.trim_db, 1)),
    ];
    lines.extend(correction.sections.iter().map(|section| {
        let kind = key_words(&section.setting.kind);
        format!(
            "{kind:12} {:>9} {:>8} {:>6.2} {:>16.2} {:>17.2}",
            section.setting.frequency_hz,
            signed(section.setting.gain_db, 1),
            section.setting.q,
            section.bandwidth_oct,
            section.bandwidth_digital_oct
        )
    }));
    lines
}

/// Warnings with what to do about each, headed by their number.
pub fn warnings_text(warnings: &[&Warning], look: Look) -> String {
    if warnings.is_empty() {
        return String::new();
    }
    let head = match warnings.len() {
        1 => "One warning:".to_owned(),
        n => format!("{n} warnings:"),
    };
    let mut out = format!("\n{}\n", look.paint(CAUTION, &head));
    for warning in warnings {
        out += &paragraph(&warning_line(warning), "  ", "    ", look.width);
    }
    out
}

/// The warnings that say more than the findings: the verdict on the setting is a warning in
/// `result.json` too, but once is enough where people read it.
pub fn further_warnings(result: &SessionResult, units: DisplayUnits) -> Vec<&Warning> {
    let correction = result.correction.iter().map(|c| &c.words.reason);
    let verification = result.verification.iter().map(|v| &v.words.advised.sentence);
    let said: Vec<&String> = correction.chain(verification).collect();
    let warnings = match units {
        DisplayUnits::Metric => &result.warnings,
        DisplayUnits::Imperial => &result.imperial_warnings,
    };
    warnings
        .iter()
        .filter(|w| w.topic != Topic::Correction || !said.contains(&&w.message))
        .collect()
}

/// A warning in one line: whom it concerns, what was found, what to do.
pub fn warning_line(warning: &Warning) -> String {
    let place = match (&warning.seat, &warning.take) {
        (_, Some(take)) => format!("{take}: "),
        (Some(seat), None) => format!("seat {seat}: "),
        (None, None) => String::new(),
    };
    let topic = key_words(&warning.topic);
    plain(&format!("{topic}: {place}{} {}", warning.message, warning.advice).replace('\n', " "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;

    const PLAIN: Look = Look { width: 100, color: false };

    #[test]
    fn a_result_with_losses_alone_tells_them() {
        let result = example_result(3);
        let text = findings_text(&result, PLAIN);
        assert!(text.starts_with("\nLoss\n  The screen takes "), "{text}");
        for absent in ["Claims", "Equaliser", "Power", "Picture", "Rattle"] {
            assert!(!text.contains(absent), "{absent}: {text}");
        }
    }

    #[test]
    fn a_warning_names_whom_it_concerns_and_what_to_do() {
        let warning = Warning {
            topic: Topic::ClockDrift,
            seat: Some("R1C".into()),
            take: None,
            message: "The clock runs 90 ppm fast.".into(),
            advice: "Use one device\u{1b}.".into(),
        };
        assert_eq!(
            warning_line(&warning),
            "clock drift: seat R1C: The clock runs 90 ppm fast. Use one device\\u{1b}."
        );
        let text = warnings_text(&[&warning, &warning], PLAIN);
        assert!(text.starts_with("\n2 warnings:\n  clock drift"), "{text}");
        assert_eq!(warnings_text(&[], PLAIN), "");
    }
}
