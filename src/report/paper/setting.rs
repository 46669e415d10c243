//! The equaliser setting, what takes with it say, and what it costs.

use super::Detail;
use super::cautions::boost_caution;
use super::writer::{Writer, dash, figure, with_u};
use crate::analysis::biquad::SectionKind;
use crate::analysis::correction::Correction;
use crate::analysis::power::PowerCost;
use crate::analysis::verification::Verification;
use crate::ingest::session::Session;
use crate::report::result::SessionResult;
use crate::report::words::said::Said;
use crate::report::words::verification::{VerificationWords, finding_words};
use crate::words::{capital, frequency_words, gain_words, rate_words, signed};

pub(super) fn equaliser(result: &SessionResult, writer: &mut Writer) {
    let Some(correction) = &result.correction else { return };
    writer.part("Equaliser setting");
    writer.say(&correction.words.reason);
    let rows = setting_rows(correction);
    if rows.is_empty() {
        writer.say("Nothing is to be set.");
    } else {
        writer.table("To type in, for the centre channel alone", &HEAD, rows);
        writer.say(&format!(
            "For a processor at {}; Q is that of the usual digital filters of the second \
             order. Where a processor asks for a bandwidth instead, take the octaves that it means: \
             analog or digital (see the method). The coefficients are in correction.json and \
             correction.csv.",
            rate_words(correction.rate_hz)
        ));
    }
    writer.say(&hearing(correction));
    if let Some(finer) = &correction.finer {
        let caption = "A finer setting, if wished: instead of the one above";
        writer.table(caption, &HEAD, setting_rows(finer));
        writer.may_go(Detail::Engineer);
    }
    writer.say(correction.words.advice.as_deref().unwrap_or_default());
    writer.figure("correction");
    if let Some(verification) = &result.verification {
        as_recorded(verification, correction.words.advice.as_deref(), writer);
    }
}

/// Columns of a table of settings.
const HEAD: [&str; 6] =
    ["Filter", "Frequency, Hz", "Gain, dB", "Q", "Octaves, analog", "Octaves, digital"];

/// What one will hear of the unevenness, without the setting and with it. Limits are common practice:
/// smooth differences of tone below half a decibel are not noticed, about one decibel is heard when
/// switched to and fro.
pub(super) fn hearing(correction: &Correction) -> String {
    let heard = |db: f64| match db {
        db if db < 0.5 => "too little to hear",
        db if db < 1.0 => "heard in a direct comparison at most",
        db if db < 2.0 => "heard by those who listen for it",
        _ => "plain to hear",
    };
    match (correction.before_rms_db, correction.after_rms_db) {
        (Some(before), Some(after)) if !correction.sections.is_empty() => format!(
            "What one will hear. Without the filters the tone is uneven by {before:.1} dB: {}. With \
             them {after:.1} dB are left: {}.",
            heard(before),
            heard(after)
        ),
        (Some(before), _) => {
            format!("What one will hear. The tone is uneven by {before:.1} dB: {}.", heard(before))
        }
        _ => String::new(),
    }
}

/// What the takes with the setting active say; `advice` was given with the setting.
fn as_recorded(
    verification: &Said<Verification, VerificationWords>,
    advice: Option<&str>,
    writer: &mut Writer,
) {
    let VerificationWords { advised, trim, sections } = &verification.words;
    writer.section("The setting as recorded");
    writer.say(&advised.sentence);
    // Not a second time in the same words.
    writer.say(advised.advice.as_deref().filter(|a| Some(*a) != advice).unwrap_or_default());
    let rows = trim.iter().chain(sections).map(|found| {
        vec![
            capital(&found.words.what),
            signed(found.asked_db, 1),
            with_u(found.found_db, found.u95_db, 2),
            finding_words(found.finding)[0].to_owned(),
        ]
    });
    writer.table("Gain asked for and found, dB", &["Filter", "Asked", "Found", "Judgement"], rows);
    let rows = verification.seats.iter().map(|seat| {
        vec![
            seat.id.clone(),
            figure(seat.left_rms_db, 2),
            seat.worst_band.as_ref().map_or_else(dash, |w| {
                format!("{} dB at {}", signed(w.left_db, 1), frequency_words(w.nominal_hz))
            }),
            if seat.within { "yes" } else { "no" }.to_owned(),
        ]
    });
    writer.table(
        "What is left of the shape at each seat with the setting active",
        &["Seat", "Left, dB rms", "Farthest off", "Within the tolerance"],
        rows,
    );
    writer.may_go(Detail::Engineer);
    writer.figure("verification");
}

pub(super) fn setting_rows(correction: &Correction) -> Vec<Vec<String>> {
    if correction.sections.is_empty() && correction.trim_db == 0.0 {
        return Vec::new();
    }
    let gain = gain_words(correction.trim_db, 1);
    let trim = vec!["Level (trim)".to_owned(), "all".to_owned(), gain, dash(), dash(), dash()];
    let mut peaks = 0;
    let filters = correction.sections.iter().map(|section| {
        let name = match section.setting.kind {
            SectionKind::HighShelf => "High shelf".to_owned(),
            SectionKind::Peaking => {
                peaks += 1;
                format!("Peak {peaks}")
            }
        };
        vec![
            name,
            format!("{}", section.setting.frequency_hz),
            gain_words(section.setting.gain_db, 1),
            format!("{:.2}", section.setting.q),
            format!("{:.2}", section.bandwidth_oct),
            format!("{:.2}", section.bandwidth_digital_oct),
        ]
    });
    let mut rows = vec![trim];
    rows.extend(filters);
    rows
}

pub(super) fn cost(result: &SessionResult, session: &Session, writer: &mut Writer) {
    let Some(power) = &result.power else { return };
    writer.part("What it costs");
    writer.say(power.sentence());
    let (head, rows) = stated_columns(
        &["Programme", "Gain, dB", "Factor", "Power, W", "Driver gain, dB", "Driver power, W"],
        programme_rows(power),
    );
    writer.table("Power with the setting, by kind of programme", &head, rows);
    writer.figure("power");
    if power.peak_gain_db > 0.0 {
        boost_caution(session, writer);
    }
}

/// The columns in which anything stands: without stated limits there are no watts to tell.
fn stated_columns<'a>(
    head: &[&'a str],
    rows: Vec<Vec<String>>,
) -> (Vec<&'a str>, Vec<Vec<String>>) {
    let stands: Vec<bool> =
        (0..head.len()).map(|c| rows.iter().any(|row| row.get(c) != Some(&dash()))).collect();
    let kept = head.iter().zip(&stands).filter(|k| *k.1).map(|k| *k.0).collect();
    let rows = rows
        .into_iter()
        .map(|row| row.into_iter().zip(&stands).filter(|k| *k.1).map(|k| k.0).collect())
        .collect();
    (kept, rows)
}

fn programme_rows(power: &PowerCost) -> Vec<Vec<String>> {
    let row = |p: &crate::analysis::power::Programme| {
        vec![
            p.name.clone(),
            signed(p.gain_db, 1),
            format!("{:.2}", p.factor),
            figure(p.watts, 0),
            figure(p.driver_gain_db, 1),
            figure(p.driver_watts, 0),
        ]
    };
    let largest = vec![
        format!("Largest gain, at {}", frequency_words(power.peak_hz.round())),
        signed(power.peak_gain_db, 1),
        format!("{:.2}", power.peak_factor),
        figure(power.amplifier.as_ref().map(|a| a.needs_w), 0),
        figure(power.driver_headroom_db, 1),
        dash(),
    ];
    power.programmes.iter().map(row).chain([largest]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_without_any_figure_are_left_out() {
        let row = |cells: [&str; 3]| cells.map(str::to_owned).to_vec();
        let rows = vec![row(["pink", "\u{2013}", "\u{2013}"]), row(["largest", "1.7", "\u{2013}"])];
        let (head, rows) = stated_columns(&["Programme", "Gain, dB", "Power, W"], rows);
        assert_eq!(head, ["Programme", "Gain, dB"]);
        assert_eq!(rows, [["pink", "\u{2013}"], ["largest", "1.7"]]);
    }
}
