//! A session opened, with a word on recordings that lie in it and were not brought in.

use super::failure::Failure;
use crate::import::unimported;
use crate::ingest::error::shown;
use crate::ingest::manifest;
use crate::ingest::session::Session;
use crate::warning::{Topic, Warning};
use std::path::{Path, PathBuf};

/// Names that a message holds.
const NAMED: usize = 3;

/// Opens the session in `folder`. Recordings that were not brought in become a warning, or a
/// part of the message where the session is refused.
///
/// # Errors
/// As [`Session::open`].
pub fn open_with_hint(folder: &Path) -> Result<Session, Failure> {
    // Where not even the manifest can be read, that is what is to be said.
    let found = manifest::load(folder).map(|(manifest, _)| unimported(folder, &manifest));
    let found = found.unwrap_or_default();
    match Session::open(folder) {
        Ok(mut session) => {
            session.warnings.extend(warning(folder, &found));
            Ok(session)
        }
        Err(error) if found.is_empty() => Err(error.into()),
        Err(error) => {
            let hint = format!(
                "{} in this folder and {} not brought in: {}",
                lie(&found),
                if found.len() == 1 { "was" } else { "were" },
                command(folder, &found)
            );
            Err(Failure::Unimported { error, hint })
        }
    }
}

fn warning(folder: &Path, found: &[PathBuf]) -> Option<Warning> {
    (!found.is_empty()).then(|| Warning {
        topic: Topic::Missing,
        seat: None,
        take: None,
        message: format!(
            "{} in the session folder and {} not brought in.",
            lie(found),
            if found.len() == 1 { "was" } else { "were" }
        ),
        advice: format!("Say {}, or move what is no recording elsewhere.", command(folder, found)),
    })
}

/// `REC0001.WAV lies`, `REC0001.WAV and 4 more recordings lie`.
fn lie(found: &[PathBuf]) -> String {
    match found {
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

/// The command that brings them in.
fn command(folder: &Path, found: &[PathBuf]) -> String {
    let named: Vec<String> = found.iter().take(NAMED).map(|f| quoted(&folder.join(f))).collect();
    let more = if found.len() > NAMED { " ..." } else { "" };
    format!("`scrimcheck import {} {}{more}`", quoted(folder), named.join(" "))
}

fn quoted(path: &Path) -> String {
    let text = shown(path);
    if text.contains(' ') { format!("\"{text}\"") } else { text }
}
