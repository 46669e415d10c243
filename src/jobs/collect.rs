//! The jobs of a folder: what is finished is read, what changed is analysed anew.

use super::find::{SessionsFound, find_sessions};
use super::stored::StoredResult;
use crate::ingest::takes::paths::resolve;
use crate::report::inputs::{Holds, INPUTS_FILE, PROGRAM, Stale, check};
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// Largest result document that is read, bytes.
const MOST_BYTES: u64 = 32 << 20;
/// Most sessions that are analysed at a time: each uses all cores for most of its work, and holds
/// its takes' spectra in memory.
const MOST_AT_A_TIME: usize = 4;
/// Name of the report folder, and of the document in it.
const RESULT: &str = "report/result.json";

/// A finished job.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// Session folder.
    pub folder: PathBuf,
    /// Its result.
    pub result: StoredResult,
    /// Why it was analysed anew; `None` where the report that lay there was read.
    pub redone: Option<Stale>,
}

/// Everything that came of a folder.
#[derive(Debug, Clone, Default)]
pub struct Collected {
    /// Finished jobs, by folder.
    pub jobs: Vec<Job>,
    /// Sessions that cannot be analysed, and why: often there are no takes yet.
    pub refused: Vec<(PathBuf, String)>,
    /// What was found on the way.
    pub found: SessionsFound,
}

/// What the caller is asked to do, and told.
pub struct Work<'a> {
    /// Analyses a session and writes its report; an error in words.
    pub analyze: &'a (dyn Fn(&Path) -> Result<(), String> + Sync),
    /// Called with the number of sessions to analyse, before the first.
    pub begin: &'a (dyn Fn(usize) + Sync),
    /// Called after each of them, from any thread.
    pub tick: &'a (dyn Fn() + Sync),
}

/// Reads every job below the folders `roots`, and analyses anew, several at a time, those whose
/// report is missing, was made by another version of this program, or of other files.
pub fn collect(roots: &[PathBuf], work: &Work) -> Collected {
    let mut out = Collected::default();
    for root in roots {
        let found = find_sessions(root);
        out.found.sessions.extend(found.sessions);
        out.found.links_out.extend(found.links_out);
        out.found.unread.extend(found.unread);
        out.found.cut_short |= found.cut_short;
    }
    out.found.sessions.sort();
    out.found.sessions.dedup();
    let sessions = out.found.sessions.clone();
    let read = in_parallel(sessions, at_a_time(usize::MAX), |folder| {
        let read = read_finished(&folder);
        (folder, read)
    });
    let n_stale = read.iter().filter(|(_, read)| read.is_err()).count();
    if n_stale > 0 {
        (work.begin)(n_stale);
    }
    let results = in_parallel(read, at_a_time(MOST_AT_A_TIME), |(folder, read)| {
        let result = match read {
            Ok(result) => Ok((result, None)),
            Err(why) => {
                let result = (work.analyze)(&folder).and_then(|()| read_result(&folder));
                (work.tick)();
                result.map(|result| (result, Some(why)))
            }
        };
        (folder, result)
    });
    for (folder, result) in results {
        match result {
            Ok((result, redone)) => out.jobs.push(Job { folder, result, redone }),
            Err(message) => out.refused.push((folder, message)),
        }
    }
    out
}

impl Collected {
    /// The finished job of a session folder, or why there is none; nothing is said of a folder
    /// that is the same session as another.
    ///
    /// # Errors
    /// What was told of the folder.
    pub fn job(&self, folder: &Path) -> Result<&Job, Option<&str>> {
        let why = self.refused.iter().find(|(f, _)| f == folder).map(|(_, why)| why.as_str());
        self.jobs.iter().find(|j| j.folder == folder).ok_or(why)
    }

    /// What a user is told of the way: sessions analysed anew and why, left out, links.
    pub fn notes(&self) -> Vec<String> {
        let shown = |p: &Path| crate::ingest::error::shown(p);
        let mut notes = Vec::new();
        for job in &self.jobs {
            match &job.redone {
                Some(why @ (Stale::OtherVersion { .. } | Stale::Changed { .. })) => {
                    notes.push(format!("{}: {why}; analysed anew.", shown(&job.folder)));
                }
                Some(Stale::NoReport) | None => {}
            }
        }
        let first = self.jobs.iter().filter(|j| j.redone == Some(Stale::NoReport)).count();
        if first > 0 {
            notes.push(format!("Analysed for the first time by version {PROGRAM}: {first}."));
        }
        for (folder, why) in &self.refused {
            notes.push(format!("{} is left out: {}", shown(folder), why.trim_end()));
        }
        for link in &self.found.links_out {
            notes.push(format!("{} is a link that leaves the folder; not followed.", shown(link)));
        }
        for (folder, why) in &self.found.unread {
            notes.push(format!("{} cannot be read: {why}.", shown(folder)));
        }
        if self.found.cut_short {
            notes.push("There are too many folders; not all of them were looked into.".into());
        }
        notes
    }
}

/// The result of a session whose report is that of its files as they are now.
fn read_finished(folder: &Path) -> Result<StoredResult, Stale> {
    let bytes = result_bytes(folder).ok_or(Stale::NoReport)?;
    let report = folder.join("report");
    let holds = check(folder, &report, &bytes)?;
    let result =
        StoredResult::parse(&bytes).map_err(|_| Stale::Changed { what: "result.json".into() })?;
    if let Holds::Hashed(list) = holds {
        refresh(&report, &list.to_json());
    }
    Ok(result)
}

fn read_result(folder: &Path) -> Result<StoredResult, String> {
    let bytes = result_bytes(folder).ok_or("its report cannot be read")?;
    StoredResult::parse(&bytes)
}

/// The result document, where it is no link out of the session.
pub(crate) fn result_bytes(folder: &Path) -> Option<Vec<u8>> {
    let path = folder.join(RESULT);
    resolve(folder, &path, "").ok()?;
    let mut bytes = Vec::new();
    File::open(path).ok()?.take(MOST_BYTES).read_to_end(&mut bytes).ok()?;
    Some(bytes)
}

/// Puts the list in the place of the old one, so that nothing is hashed next time. Where it cannot
/// be written, the next run hashes again.
fn refresh(report: &Path, list: &[u8]) {
    let Ok(beside) = tempfile::NamedTempFile::new_in(report) else { return };
    if fs::write(beside.path(), list).is_ok() {
        let _ = beside.persist(report.join(INPUTS_FILE));
    }
}

fn at_a_time(most: usize) -> usize {
    std::thread::available_parallelism().map_or(2, usize::from).min(most)
}

/// Works on all items, so many at a time, in threads of their own: a session that waits for the
/// common pool must not start on a second one.
fn in_parallel<T: Send, R: Send>(
    items: Vec<T>,
    at_a_time: usize,
    work: impl Fn(T) -> R + Sync,
) -> Vec<R> {
    let n_threads = at_a_time.min(items.len());
    let left = Mutex::new(items.into_iter().enumerate());
    let done = Mutex::new(Vec::new());
    let next = || left.lock().unwrap_or_else(PoisonError::into_inner).next();
    std::thread::scope(|scope| {
        for _ in 0..n_threads {
            scope.spawn(|| {
                while let Some((i, item)) = next() {
                    let result = work(item);
                    done.lock().unwrap_or_else(PoisonError::into_inner).push((i, result));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_by_key(|(i, _)| *i);
    done.into_iter().map(|(_, r)| r).collect()
}
