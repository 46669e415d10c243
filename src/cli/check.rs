//! `scrimcheck check DIR`: on site, between takes.

use super::args::CheckArgs;
use super::failure::{Failure, NOT_SHOWN};
use super::terminal;
use crate::chain::{Checked, check};
use crate::ingest::error::plain;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::job;
use crate::judge::{Judged, JudgedTake, Missing, NextTake, TakeState, TakeVerdict};
use crate::report::findings::warnings_text;
use crate::report::look::{Look, paragraph};
use crate::warning::{Topic, Warning};
use serde::Serialize;
use std::path::Path;
use std::process::ExitCode;

/// What `check --json` prints.
#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    version: u32,
    complete: bool,
    #[serde(flatten)]
    judged: &'a Judged,
    warnings: &'a [Warning],
    missing: &'a [Missing],
    next: Option<&'a NextTake>,
}

/// Judges every take that is there, says what is missing and what to record next. Writes
/// no file.
///
/// # Errors
/// [`Failure`] when the session cannot be opened. Exit status 1 when a take must be made
/// again.
pub fn run(args: &CheckArgs) -> Result<ExitCode, Failure> {
    let (text, must_repeat) = judged_text(&args.session, args.json)?;
    terminal::print(&text)?;
    Ok(if must_repeat { ExitCode::from(NOT_SHOWN) } else { ExitCode::SUCCESS })
}

/// What is said of the session in this folder, as a list or as JSON, and whether a take must be
/// made again.
///
/// # Errors
/// As [`run`].
pub fn judged_text(folder: &Path, json: bool) -> Result<(String, bool), Failure> {
    let session = job::open(folder)?;
    let checked = check(&session);
    let text = if json {
        let document = Document {
            format: "scrimcheck-check",
            version: 1,
            complete: checked.next.is_none(),
            judged: &checked.judged,
            warnings: &checked.warnings,
            missing: &checked.missing,
            next: checked.next.as_ref(),
        };
        // Only finite numbers and strings are in it, so that writing cannot fail.
        serde_json::to_string_pretty(&document).unwrap_or_default() + "\n"
    } else {
        text(&checked, terminal::look())
    };
    Ok((text, checked.judged.must_repeat()))
}

fn text(Checked { judged, warnings, missing, next }: &Checked, look: Look) -> String {
    let said = |text: &str, first: &str| paragraph(text, first, "    ", look.width);
    let mut out = String::new();
    for take in &judged.takes {
        out += &said(&plain(&format!("{}: {}", take.file, becomes(take))), "");
        let own = take.findings.iter().map(|f| format!("{} {}", f.message, f.advice));
        // A reason that another take gives.
        let others =
            take.reason.iter().filter(|_| take.verdict < TakeVerdict::Repeat && !waits(take));
        let others = others.filter(|r| take.findings.iter().all(|f| f.message != r.message));
        for reason in own.chain(others.map(|r| format!("{} {}", r.message, r.advice))) {
            out += &said(&plain(&reason.replace('\n', " ")), "    ");
        }
    }
    let count = |state: TakeState| {
        judged.takes.iter().filter(|take| take.state == state && !waits(take)).count()
    };
    let waiting = judged.takes.iter().filter(|take| waits(take)).count();
    let counted = [TakeState::Used, TakeState::Doubtful, TakeState::LeftOut]
        .map(|state| (count(state), state.label()))
        .into_iter()
        .chain([(waiting, "waiting")])
        .filter(|(n, _)| *n > 0)
        .map(|(n, word)| format!("{n} {word}"));
    let counted: Vec<String> = counted.collect();
    out += &format!("\n{} takes: {}.\n", judged.takes.len(), counted.join(", "));
    out += &said(&judged.linearity.in_words(), "");
    out += &warnings_text(&warnings.iter().collect::<Vec<_>>(), look);
    for missing in missing {
        let lacks = format!(
            "Missing: {} {} at seat {}{}.",
            missing.n_takes,
            if missing.n_takes == 1 { "take" } else { "takes" },
            missing.seat,
            place_words(missing.condition, missing.source),
        );
        out += &said(&plain(&lacks), "");
    }
    let last = match next {
        None => "The planned takes are complete, and none must be repeated.".to_owned(),
        Some(next) => format!(
            "Next: {}seat {}{}; record into {}.",
            if next.repeat { "once more, " } else { "" },
            next.seat,
            place_words(next.condition, next.source),
            next.file
        ),
    };
    out + "\n" + &said(&plain(&last), "")
}

/// Whether a take is left out for now alone, because what it stands against is not there yet.
fn waits(take: &JudgedTake) -> bool {
    take.state == TakeState::LeftOut
        && take.reason.as_ref().is_some_and(|reason| reason.topic == Topic::Missing)
        && take.verdict < TakeVerdict::Repeat
}

/// What becomes of a take, in words.
fn becomes(take: &JudgedTake) -> &'static str {
    match take.condition {
        _ if !waits(take) => take.state.label(),
        Condition::Without => "waits for a take with the screen",
        _ => "waits for a take without the screen",
    }
}

fn place_words(condition: Condition, source: SoundSource) -> String {
    let screen = match condition {
        Condition::Without => ", no screen",
        Condition::With => ", with the screen",
        Condition::Corrected => ", with the screen, equaliser active",
    };
    let speaker = match source {
        SoundSource::Centre => "",
        SoundSource::Control => ", control loudspeaker",
    };
    format!("{screen}{speaker}")
}
