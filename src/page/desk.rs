//! What the server knows.

use super::heard::Kept;
use super::listening::Listening;
use super::secret::{same, secret};
use super::summary::Summary;
use crate::report::plots::render::NamedFile;
use crate::staging::Staging;
use serde::Serialize;
use std::collections::{HashMap, VecDeque};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::TempPath;
use tokio::sync::broadcast;

/// Answers to questions that are kept for their papers.
const PAPERS_KEPT: usize = 8;
/// Progress that a slow listener may fall behind.
const PROGRESS_KEPT: usize = 64;

/// The opened folder and everything around it, for the time of one run.
pub(super) struct Desk {
    /// The opened folder, links resolved.
    pub root: PathBuf,
    /// Port that is listened on.
    pub port: u16,
    /// What the printed address holds.
    pub token: String,
    /// What the address holds that the browser is started with; used up by the first visit, since
    /// other users of the machine can see how programs are started.
    once: Mutex<Option<String>>,
    /// What the browser's cookie holds.
    cookie: String,
    /// Hidden folder for what is under way, gone when the program ends.
    pub staging: Staging,
    /// Progress of what lasts.
    pub progress: broadcast::Sender<Progress>,
    /// Held by whoever writes into a session.
    writing: Mutex<()>,
    kept: Mutex<HashMap<PathBuf, Kept>>,
    made: Mutex<HashMap<PathBuf, Summary>>,
    papers: Mutex<VecDeque<(u64, Vec<NamedFile>)>>,
    listening: Mutex<Listening>,
    numbers: AtomicU64,
}

/// What is told while an analysis lasts.
#[derive(Debug, Clone)]
pub(super) struct Progress {
    pub folder: PathBuf,
    pub done: usize,
    pub total: usize,
}

/// Where papers are that were made for a question, and what they say first.
#[derive(Serialize)]
pub(super) struct Papers {
    /// Folder of addresses.
    address: String,
    files: Vec<String>,
    statements: Vec<String>,
}

/// What is behind a lock; a handler that failed leaves nothing half done behind it.
fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Desk {
    /// A desk with new secrets.
    ///
    /// # Errors
    /// Where the system has no random source.
    pub(super) fn new(
        root: PathBuf,
        port: u16,
        staging: Staging,
    ) -> Result<Self, getrandom::Error> {
        let once = Mutex::new(Some(secret()?));
        Ok(Self {
            root,
            port,
            token: secret()?,
            once,
            cookie: secret()?,
            staging,
            progress: broadcast::channel(PROGRESS_KEPT).0,
            writing: Mutex::default(),
            kept: Mutex::default(),
            made: Mutex::default(),
            papers: Mutex::default(),
            listening: Mutex::default(),
            numbers: AtomicU64::new(1),
        })
    }

    /// The place of a file of its own for something under way, gone when dropped.
    ///
    /// # Errors
    /// The system's.
    pub(super) fn scratch(&self) -> io::Result<TempPath> {
        TempPath::try_from_path(self.staging.at(format!("scratch-{}", self.number())))
    }

    /// Keeps others from writing into sessions.
    pub(super) fn writing(&self) -> MutexGuard<'_, ()> {
        held(&self.writing)
    }

    /// What was heard of the takes of a session.
    pub(super) fn kept<T>(&self, folder: &Path, work: impl FnOnce(&mut Kept) -> T) -> T {
        work(held(&self.kept).entry(folder.to_owned()).or_default())
    }

    /// Reports by session folder.
    pub(super) fn made(&self) -> MutexGuard<'_, HashMap<PathBuf, Summary>> {
        held(&self.made)
    }

    /// Sounds and blind tests.
    pub(super) fn listening(&self) -> MutexGuard<'_, Listening> {
        held(&self.listening)
    }

    /// A number that was not given before.
    pub(super) fn number(&self) -> u64 {
        self.numbers.fetch_add(1, Ordering::Relaxed)
    }

    /// Keeps papers for a while and says where.
    pub(super) fn papers(&self, files: Vec<NamedFile>, statements: Vec<String>) -> Papers {
        let number = self.number();
        let names = files.iter().map(|(name, _)| name.clone()).collect();
        let mut papers = held(&self.papers);
        papers.push_back((number, files));
        while papers.len() > PAPERS_KEPT {
            papers.pop_front();
        }
        Papers { address: format!("/papers/{number}"), files: names, statements }
    }

    /// One of those papers.
    pub(super) fn paper(&self, number: u64, name: &str) -> Option<Vec<u8>> {
        let papers = held(&self.papers);
        let (_, files) = papers.iter().find(|(n, _)| *n == number)?;
        files.iter().find(|(n, _)| n == name).map(|(_, bytes)| bytes.clone())
    }

    /// The address to print.
    pub(super) fn address(&self) -> String {
        format!("http://127.0.0.1:{}/?token={}", self.port, self.token)
    }

    /// The address to start the browser with.
    pub(super) fn address_once(&self) -> String {
        let once = held(&self.once);
        let token = once.as_deref().unwrap_or(&self.token);
        format!("http://127.0.0.1:{}/?token={token}", self.port)
    }

    /// Whether somebody who shows this token may come in.
    pub(super) fn lets_in(&self, token: &str) -> bool {
        let mut once = held(&self.once);
        if once.as_deref().is_some_and(|once| same(once, token)) {
            *once = None;
            return true;
        }
        same(&self.token, token)
    }

    /// Name and value of the cookie. The name holds the port, since browsers keep one set of
    /// cookies for all ports of a machine.
    pub(super) fn cookie(&self) -> (String, &str) {
        (format!("scrimcheck-{}", self.port), &self.cookie)
    }
}
