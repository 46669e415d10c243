//! Recordings that lie in a session folder and were not brought in.

use super::origin::origins;
use crate::ingest::manifest::Manifest;
use crate::ingest::sweep::QUIET_SWEEP_FILE;
use crate::ingest::takes::{TAKES_FOLDER, parse_name};
use std::collections::BTreeSet;
use std::fs;
use std::iter;
use std::path::{Path, PathBuf};

/// Endings of files that recorders write, in small letters.
pub const RECORDING_ENDINGS: [&str; 16] = [
    "wav", "wave", "bwf", "rf64", "w64", "aif", "aiff", "aifc", "caf", "flac", "mp3", "m4a", "aac",
    "ogg", "opus", "wma",
];
/// A folder with more files than this is no session's.
const MOST_FILES: usize = 10_000;

/// Recordings in the session folder `root`, in folders one below and among the takes, that are
/// neither takes, nor the played signal, nor named in `takes/origin.csv`; in the order of their
/// names, relative to `root`.
pub fn unimported(root: &Path, manifest: &Manifest) -> Vec<PathBuf> {
    let brought: BTreeSet<String> =
        origins(root).unwrap_or_default().into_iter().map(|o| o.recording).collect();
    let mut known: BTreeSet<PathBuf> = manifest.take.iter().map(|t| plain(&t.file)).collect();
    known.insert(plain(&manifest.sweep.file));
    known.insert(QUIET_SWEEP_FILE.into());
    let may_hold = |folder: &PathBuf| {
        let name = folder.to_string_lossy();
        !name.starts_with('.') && name != "report" && name != "listen"
    };
    let below = names(root, true).into_iter().filter(may_hold);
    let mut found = Vec::new();
    for folder in iter::once(PathBuf::new()).chain(below) {
        let is_takes = folder == Path::new(TAKES_FOLDER);
        for name in names(&root.join(&folder), false) {
            let relative = folder.join(&name);
            let text = name.to_string_lossy().into_owned();
            let is_take = is_takes
                && has_ending(&name, &["wav"])
                && name.file_stem().is_some_and(|s| parse_name(&s.to_string_lossy()).is_ok());
            let is_recording = has_ending(&name, &RECORDING_ENDINGS) && !text.starts_with('.');
            if is_recording && !is_take && !known.contains(&relative) && !brought.contains(&text) {
                found.push(relative);
            }
        }
    }
    found.sort();
    found
}

/// Names of the folders or files in `folder`.
fn names(folder: &Path, folders: bool) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    entries
        .flatten()
        .take(MOST_FILES)
        .filter(|e| e.file_type().is_ok_and(|t| if folders { t.is_dir() } else { t.is_file() }))
        .map(|e| PathBuf::from(e.file_name()))
        .collect()
}

fn has_ending(name: &Path, endings: &[&str]) -> bool {
    name.extension().is_some_and(|e| endings.iter().any(|ending| e.eq_ignore_ascii_case(ending)))
}

/// Without `.` in front, so that equal paths are equal.
fn plain(path: &Path) -> PathBuf {
    path.components().filter(|c| matches!(c, std::path::Component::Normal(_))).collect()
}
