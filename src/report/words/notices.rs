//! What is to be known of a session's files, in sentences.

use crate::ingest::error::{plain, shown};
use crate::ingest::manifest::MANIFEST_FILE;
use crate::ingest::notice::{NoTake, Notice, Noticed};
use crate::ingest::takes::TAKES_FOLDER;
use crate::judge::{Outcome, Reason, TakeState};
use crate::warning::{Topic, Warning};
use crate::words::capital;
use std::path::{Path, PathBuf};

/// Names that a command holds.
const NAMED: usize = 3;

/// Seats that an advice names.
const SEATS_NAMED: usize = 12;

/// The notices as warnings.
pub fn warnings(notices: &[Notice]) -> Vec<Warning> {
    notices.iter().map(warning).collect()
}

/// One notice as a warning.
pub fn warning(notice: &Notice) -> Warning {
    let (topic, message, advice) = match &notice.found {
        Noticed::NoFile => (
            Topic::Missing,
            "This take is listed in session.toml, its file is not there.".into(),
            "Record it, or take it out of the list.".into(),
        ),
        Noticed::NoTake(why) => {
            let (problem, advice) = no_take(why);
            let message = format!("This is left out: {problem}.");
            (Topic::FileName, message, format!("{}.", capital(&advice)))
        }
        Noticed::OwnWithout(other) => (
            Topic::FileName,
            format!("This is left out: the takes without a screen are those of {}.", shown(other)),
            "Move it out of takes/, or take session.without_from out of session.toml.".into(),
        ),
        Noticed::OtherManifest(name) => (
            Topic::FileName,
            format!("Besides {MANIFEST_FILE} there is {name}, which was not read."),
            "Keep one of the two.".into(),
        ),
        Noticed::OtherDuration { stated_s, found_s } => (
            Topic::WrongSignal,
            format!(
                "sweep.duration_s is {stated_s} s, the sweep in the file takes {found_s:.2} s: the \
                 file is believed."
            ),
            format!(
                "Write duration_s = {found_s:.2} under [sweep], or name the file that was played."
            ),
        ),
        Noticed::Unimported { folder, files } => (
            Topic::Missing,
            format!("{} in the session folder and {} not brought in.", lie(files), was(files)),
            format!(
                "Say {}, or move what is no recording elsewhere.",
                import_command(folder, files)
            ),
        ),
    };
    let take = notice.file.as_deref().map(shown);
    Warning { topic, seat: notice.seat.clone(), take, message, advice }
}

/// The files among the takes that are left out, as outcomes beside those of the takes.
pub fn passed_over(notices: &[Notice]) -> Vec<Outcome> {
    let outcome = |notice: &Notice| {
        let Warning { topic, seat, take, message, advice } = warning(notice);
        Some(Outcome {
            file: take?,
            seat,
            condition: None,
            spot: None,
            source: None,
            state: TakeState::LeftOut,
            reason: Some(Reason { topic, message, advice }),
        })
    };
    notices.iter().filter_map(outcome).collect()
}

/// What is wrong with a file and what to do, each without capital and full stop.
fn no_take(why: &NoTake) -> (String, String) {
    match why {
        NoTake::NotUnicode { example } => {
            ("the name is not Unicode text".into(), format!("rename it, for example {example}"))
        }
        NoTake::Name { problem, example } => (
            problem.to_string(),
            format!(
                "rename it as SEAT_CONDITION_NUMBER.wav, for example {example}, or move it out of \
                 {TAKES_FOLDER}"
            ),
        ),
        NoTake::Seat { found, near, ids } => {
            let advice = match near {
                Some(near) => {
                    format!("did you mean {near}? rename the file, or add the seat to session.toml")
                }
                None => format!(
                    "rename the file, or add the seat to session.toml; the seats are {}",
                    ids[..ids.len().min(SEATS_NAMED)].join(", ")
                ),
            };
            (format!("no seat is called `{}`", plain(found)), advice)
        }
        NoTake::SeatId { problem, example } => {
            (problem.to_string(), format!("rename it, for example {example}"))
        }
        NoTake::SameNumber { number, seat, other } => (
            format!("it and {} are both number {number} of seat {}", shown(other), plain(seat)),
            "rename one of them".into(),
        ),
        NoTake::Folder => (
            "it is a folder".into(),
            "takes lie directly in takes/: move its recordings there, or bring them in with \
             `scrimcheck import`"
                .into(),
        ),
        NoTake::NotWav { more } => (
            match more {
                0 => "it is not a WAV file".into(),
                more => format!("it and {more} others are no WAV files"),
            },
            "bring a recording in with `scrimcheck import`, which reads other kinds of files too; \
             move anything else out of takes/"
                .into(),
        ),
    }
}

/// What is added to the refusal of a session in whose folder such recordings lie.
pub fn unimported_hint(folder: &Path, files: &[PathBuf]) -> String {
    format!(
        "{} in this folder and {} not brought in: {}",
        lie(files),
        was(files),
        import_command(folder, files)
    )
}

/// `REC0001.WAV lies`, `REC0001.WAV and 4 more recordings lie`.
fn lie(files: &[PathBuf]) -> String {
    match files {
        [one] => format!("{} lies", shown(one)),
        [first, rest @ ..] => format!(
            "{} and {} more recording{} lie",
            shown(first),
            rest.len(),
            if rest.len() == 1 { "" } else { "s" }
        ),
        [] => String::new(),
    }
}

fn was(files: &[PathBuf]) -> &'static str {
    if files.len() == 1 { "was" } else { "were" }
}

/// The command that brings them in.
fn import_command(folder: &Path, files: &[PathBuf]) -> String {
    let named: Vec<String> = files.iter().take(NAMED).map(|f| quoted(&folder.join(f))).collect();
    let more = if files.len() > NAMED { " ..." } else { "" };
    format!("`scrimcheck import {} {}{more}`", quoted(folder), named.join(" "))
}

fn quoted(path: &Path) -> String {
    let text = shown(path);
    if text.contains(' ') { format!("\"{text}\"") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::takes::NameError;

    fn told(found: Noticed) -> String {
        let Warning { message, advice, .. } = warning(&Notice::of_session(found));
        format!("{message} {advice}")
    }

    #[test]
    fn a_file_that_is_no_take_is_named_with_what_to_do() {
        let (seat, file) = (Some("R1C".to_owned()), Some("takes/R1C_1.wav".into()));
        let problem = NameError::Condition;
        let found = Noticed::NoTake(NoTake::Name { problem, example: "R1C_without_1.wav".into() });
        let notices = [Notice { seat, file, found }];
        let warning = warning(&notices[0]);
        assert_eq!(
            (warning.topic, warning.take.as_deref()),
            (Topic::FileName, Some("takes/R1C_1.wav"))
        );
        assert_eq!(
            warning.message,
            "This is left out: the name does not say _without_, _with_ or _corrected_ before its \
             number."
        );
        assert_eq!(
            warning.advice,
            "Rename it as SEAT_CONDITION_NUMBER.wav, for example R1C_without_1.wav, or move it out \
             of takes."
        );
        let outcome = passed_over(&notices).remove(0);
        assert_eq!((outcome.file.as_str(), outcome.state), ("takes/R1C_1.wav", TakeState::LeftOut));
        assert_eq!(outcome.reason.map(|r| r.message), Some(warning.message));
    }

    #[test]
    fn what_belongs_to_no_file_is_no_outcome() {
        let found = Noticed::OtherDuration { stated_s: 10.0, found_s: 12.345 };
        assert!(passed_over(&[Notice::of_session(found.clone())]).is_empty());
        assert!(
            told(found).contains("takes 12.35 s: the file is believed. Write duration_s = 12.3")
        );
    }

    #[test]
    fn seats_and_numbers_of_others_are_named() {
        let seat = |near: Option<&str>| {
            let ids = (1..=13).map(|n| format!("R{n}")).collect();
            let near = near.map(str::to_owned);
            told(Noticed::NoTake(NoTake::Seat { found: "X".into(), near, ids }))
        };
        assert!(seat(Some("R1")).contains("no seat is called `X`. Did you mean R1? rename"));
        assert!(
            seat(None)
                .ends_with("the seats are R1, R2, R3, R4, R5, R6, R7, R8, R9, R10, R11, R12.")
        );
        let other = "takes/r1_with_1.wav".into();
        let same = NoTake::SameNumber { number: 1, seat: "R1".into(), other };
        let same = told(Noticed::NoTake(same));
        assert!(
            same.contains("it and takes/r1_with_1.wav are both number 1 of seat R1. Rename one")
        );
        assert!(
            told(Noticed::NoTake(NoTake::NotWav { more: 9 })).contains("it and 9 others are no")
        );
    }

    #[test]
    fn recordings_that_were_not_brought_in_are_counted() {
        let files: Vec<PathBuf> = (1..=5).map(|n| format!("REC{n}.WAV").into()).collect();
        let of = |n: usize| {
            let folder = PathBuf::from("my job");
            told(Noticed::Unimported { folder, files: files[..n].to_vec() })
        };
        assert_eq!(
            of(1),
            "REC1.WAV lies in the session folder and was not brought in. Say `scrimcheck import \
             \"my job\" \"my job/REC1.WAV\"`, or move what is no recording elsewhere."
        );
        assert!(of(5).starts_with("REC1.WAV and 4 more recordings lie"));
        assert!(of(5).contains("\"my job/REC3.WAV\" ...`"), "{}", of(5));
        let hint = unimported_hint(Path::new("job"), &files[..2]);
        assert!(hint.starts_with("REC1.WAV and 1 more recording lie in this folder and were not"));
    }
}
