//! Whether files and texts are still those that were seen.

use crate::ingest::takes::TAKES_FOLDER;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::Path;
use std::time::SystemTime;

/// Length and time of a file, by which a change is told.
pub(super) type Stamp = (u64, Option<SystemTime>);

/// The stamp of a file; `None` where there is none.
pub(super) fn stamp(path: &Path) -> Option<Stamp> {
    std::fs::metadata(path).map(|about| (about.len(), about.modified().ok())).ok()
}

/// A short word for a thing, another one for another thing.
pub(super) fn fingerprint(thing: &(impl Hash + ?Sized)) -> String {
    let mut hasher = DefaultHasher::new();
    thing.hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

/// The fingerprint of everything that a session's report rests on.
pub(super) fn inputs(folder: &Path) -> String {
    let files_in = |folder: &Path| {
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        let files = entries.map(|entry| entry.path()).filter(|path| path.is_file());
        let mut files: Vec<_> = files.map(|path| (stamp(&path), path)).collect();
        files.sort();
        files
    };
    fingerprint(&[files_in(folder), files_in(&folder.join(TAKES_FOLDER))])
}
