//! One page for the client: whose it is, what holds, what to set, what it costs, what to mind.
//!
//! The same blocks are page one of the handover.

use super::super::words::claims::ClaimWords;
use super::super::words::power::limit_sentences;
use super::super::words::said::Said;
use super::setting::{hearing, setting_rows};
use super::sign::Sign;
use super::writer::{DOUBTFUL, Writer, subtitle};
use super::{Block, Paper};
use crate::analysis::claims::{ClaimVerdict, Verdict};
use crate::ingest::manifest::DisplayUnits;
use crate::ingest::session::Session;
use crate::judge::Linearity;
use crate::report::findings::further_warnings;
use crate::report::plots::drawing::Drawing;
use crate::report::result::SessionResult;
use crate::report::takes::{all_used, takes_sentences};
use crate::words::{capital, decibels, key_words, list_words, signed};

/// So many points on what was left out stand on the page; the others are counted.
const TOLD: usize = 3;

/// The page as a paper of its own.
pub fn summary(result: &SessionResult, session: &Session, drawings: &[Drawing]) -> Paper {
    let mut writer = Writer::new(drawings, &result.title);
    summary_page(result, session, &mut writer);
    writer.paper(subtitle(result, session), None)
}

/// The blocks of the page.
pub(super) fn summary_page(result: &SessionResult, session: &Session, writer: &mut Writer) {
    let (manifest, handover) = (&session.manifest, &session.manifest.handover);
    writer.facts([
        ("Screen", manifest.screen.name.clone()),
        ("Installer", handover.installer.clone()),
        ("Reference", handover.reference.clone()),
    ]);
    writer.section("What was found");
    if !result.claims.is_empty() {
        writer.blocks.push(Block::Verdicts(result.claims.iter().map(claim_line).collect()));
    }
    left_out(result, writer);
    writer.list(doubts(result, session));
    writer.figure("loss");
    if let Some(correction) = &result.correction {
        writer.section("Equaliser setting for the centre loudspeaker");
        let verdict = correction.words.reason.split(". ").next().unwrap_or_default();
        writer.say(&format!("{}.", verdict.trim_end_matches('.')));
        let rows = setting_rows(correction).into_iter().map(|row| row[..4].to_vec());
        writer.table("To type in", &["Filter", "Frequency, Hz", "Gain, dB", "Q"], rows);
        writer.say(&hearing(correction));
    }
    if let Some(power) = &result.power {
        let limits = limit_sentences(power);
        let cost = if limits.is_empty() {
            format!(
                "The setting asks for at most {:+.1} dB: {:.1} times the power.",
                power.peak_gain_db, power.peak_factor
            )
        } else {
            limits.join(" ")
        };
        writer.say(&format!("What it costs. {cost}"));
        if power.peak_gain_db > 0.0 {
            writer.caution(
                "Raise the level step by step with the setting on, and stop at any strain. Boost \
                 loads the high-frequency driver first.",
            );
        }
    }
    writer.caution(
        "Test signals are loud. Begin low; recommended limit 85 dB(A) over 8 hours. Local codes \
         come first.",
    );
    writer.say(&format!("Made by scrimcheck {}.", env!("CARGO_PKG_VERSION")));
}

/// What was left out or is doubtful.
fn left_out(result: &SessionResult, writer: &mut Writer) {
    if all_used(result) {
        return;
    }
    let said = takes_sentences(result);
    let more = said.len().saturating_sub(TOLD + 1);
    let (last, points) = said.split_last().map_or(("", &said[..]), |(l, p)| (l.as_str(), p));
    let mut points: Vec<String> = points.iter().take(TOLD).map(|p| first_sentences(p)).collect();
    if more > 0 {
        points.push(format!("{more} more; see \u{201c}Takes\u{201d}."));
    }
    points.push(last.to_owned());
    writer.list(points);
}

/// What is doubtful, and what was not checked, a line each.
fn doubts(result: &SessionResult, session: &Session) -> Vec<String> {
    let warnings = further_warnings(result, DisplayUnits::Metric);
    let mut topics: Vec<String> = warnings.iter().map(|w| key_words(&w.topic)).collect();
    topics.sort_unstable();
    topics.dedup();
    let mut points = Vec::new();
    if !topics.is_empty() {
        points.push(format!("Doubtful (see \u{201c}{DOUBTFUL}\u{201d}): {}.", list_words(&topics)));
    }
    let watched = result.level.as_ref().is_some_and(|level| level.step_db.is_some());
    if !watched && !session.manifest.session.gain_untouched {
        points.push("Not checked: whether a gain was changed between the conditions.".into());
    }
    if result.linearity == Linearity::NotShown {
        points.push("Not checked: whether the recorder is linear.".into());
    }
    points
}

/// Which takes, and the first sentence on why.
fn first_sentences(text: &str) -> String {
    let ends: Vec<usize> = text.match_indices(". ").map(|(at, _)| at + 1).collect();
    ends.get(1).map_or_else(|| text.to_owned(), |end| text[..*end].to_owned())
}

/// A word and a sign, which printing in one colour keeps, then the figure and the limit.
fn claim_line(claim: &Said<ClaimVerdict, ClaimWords>) -> (Sign, String) {
    let (sign, word) = match claim.verdict {
        Verdict::Pass => (Sign::Holds, "Confirmed"),
        Verdict::ConditionalPass => (Sign::Open, "Inside the limit, not certain"),
        Verdict::ConditionalFail => (Sign::Open, "Beyond the limit, not certain"),
        Verdict::Fail => (Sign::Fails, "Not kept"),
        Verdict::NotShown => (Sign::Open, "Not shown"),
    };
    let light = |v: Option<f64>| v.map(|v| format!("{v:.2}"));
    let measured = claim.measured_db.map(decibels).or_else(|| light(claim.measured));
    let most = claim.limit_db.map(decibels).or_else(|| light(claim.maximum));
    let least = claim.lower_limit_db.map(|v| signed(v, 1)).or_else(|| light(claim.minimum));
    let limit = match (least, most) {
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (Some(low), None) => format!("at least {low}"),
        (None, Some(high)) => format!("at most {high}"),
        (None, None) => String::new(),
    };
    let measured = measured.map_or_else(String::new, |m| format!(": {m}"));
    let limit = if limit.is_empty() { limit } else { format!(" (maker's limit: {limit})") };
    let subject = capital(&claim.words.subject);
    (sign, format!("{word}. {subject}{measured}{limit}."))
}
