//! A take as it is compared with the others of its session.

use crate::ingest::session::Take;
use crate::judge::facts::TakeFacts;
use crate::judge::finding::Finding;

/// A take with its facts, as far as it could be read and used.
#[derive(Clone, Copy)]
pub struct Entry<'a> {
    /// The take in the session's list.
    pub take: &'a Take,
    pub seat_id: &'a str,
    /// Its facts; `None` where the file could not be read.
    pub facts: Option<&'a TakeFacts>,
    /// Whether its own faults leave it usable: only such takes are compared by level.
    pub usable: bool,
}

impl<'a> Entry<'a> {
    pub(super) fn comparable(&self) -> Option<&'a TakeFacts> {
        self.facts.filter(|_| self.usable)
    }

    /// File as in the session.
    pub fn name(&self) -> String {
        self.take.file.display().to_string()
    }
}

/// Findings on single takes, which only the others show.
pub type TakeFindings = Vec<(usize, Finding)>;
