//! Blind tests that were kept: `listening.csv` in the session folder.

use super::printable::{plain, shown};
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use time::Date;
use time::macros::format_description;

/// Name of the file.
pub const RECORD_FILE: &str = "listening.csv";
/// No longer file is read, bytes.
const MAX_BYTES: u64 = 1 << 20;
/// Most letters of a listener's initials.
pub const MOST_INITIALS: usize = 8;

/// Why kept tests cannot be read, or one more not be kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BlindTestError {
    /// The file cannot be read.
    #[error(
        "{}{}: {problem}; mend the line, or take the file out of the folder",
        shown(.path),
        line.map_or(String::new(), |n| format!(", line {n}"))
    )]
    File {
        /// The file.
        path: PathBuf,
        /// Line, counted from 1.
        line: Option<u64>,
        /// What was found.
        problem: String,
    },
    /// A test that cannot be kept like this.
    #[error("blind test: {problem}")]
    Entry {
        /// What is wrong, and what would do.
        problem: String,
    },
}

/// One kept test, as the file has it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeptTest {
    /// Day of the test, `2026-03-14`.
    pub date: String,
    /// Initials of the listener.
    pub listener: String,
    /// Seat whose sound was listened to.
    pub seat: String,
    pub sound: String,
    /// First version.
    pub first: String,
    /// Second version.
    pub second: String,
    /// Whether both had the same loudness.
    pub matched: bool,
    pub rounds: u64,
    /// Rounds answered rightly.
    pub right: u64,
}

/// Tests kept in a session folder; none where there is no file.
///
/// # Errors
/// [`BlindTestError::File`] names file and line.
pub fn read_blind_tests(root: &Path) -> Result<Vec<KeptTest>, BlindTestError> {
    let path = root.join(RECORD_FILE);
    let Ok(about) = path.symlink_metadata() else { return Ok(Vec::new()) };
    if !about.is_file() || about.len() > MAX_BYTES {
        let problem = format!("expected a file of at most {MAX_BYTES} bytes");
        return Err(refuse(&path, None, problem));
    }
    let bytes = std::fs::read(&path).map_err(|e| refuse(&path, None, e.to_string()))?;
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf".as_slice()).unwrap_or(&bytes);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes);
    let mut kept = Vec::new();
    for row in reader.deserialize::<KeptTest>() {
        let row =
            row.map_err(|e| refuse(&path, e.position().map(csv::Position::line), e.to_string()))?;
        let line = Some(kept.len() as u64 + 2);
        check(&row).map_err(|problem| refuse(&path, line, problem))?;
        kept.push(row);
    }
    Ok(kept)
}

/// Whether a kept test can be meant.
fn check(kept: &KeptTest) -> Result<(), String> {
    if Date::parse(&kept.date, format_description!("[year]-[month]-[day]")).is_err() {
        return Err(format!("date is {}, expected a day as 2026-03-14", plain(&kept.date)));
    }
    if kept.right > kept.rounds || kept.rounds == 0 || kept.rounds > 1000 {
        return Err(format!("{} of {} rounds right", kept.right, kept.rounds));
    }
    let texts = [&kept.listener, &kept.seat, &kept.sound, &kept.first, &kept.second];
    match texts.iter().find(|t| t.chars().any(char::is_control) || t.chars().count() > 200) {
        Some(text) => Err(format!("\"{}\" cannot be printed", plain(text))),
        None => Ok(()),
    }
}

fn refuse(path: &Path, line: Option<u64>, problem: String) -> BlindTestError {
    BlindTestError::File { path: path.into(), line, problem }
}

/// The file with one more test: its path and its whole text.
///
/// # Errors
/// [`BlindTestError::File`] where the file that is there cannot be read,
/// [`BlindTestError::Entry`] for a test that cannot be kept like this.
pub fn with_one_more(root: &Path, new: KeptTest) -> Result<(PathBuf, Vec<u8>), BlindTestError> {
    let initials = new.listener.chars().count();
    if initials == 0 || initials > MOST_INITIALS {
        let problem = format!("initials of 1 to {MOST_INITIALS} letters are wanted");
        return Err(BlindTestError::Entry { problem });
    }
    check(&new).map_err(|problem| BlindTestError::Entry { problem })?;
    let mut all = read_blind_tests(root)?;
    all.push(new);
    let path = root.join(RECORD_FILE);
    let failed = |e: String| refuse(&path, None, e);
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in &all {
        writer.serialize(row).map_err(|e| failed(e.to_string()))?;
    }
    let bytes = writer.into_inner().map_err(|e| failed(e.to_string()))?;
    Ok((path, bytes))
}
