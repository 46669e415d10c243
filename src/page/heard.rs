//! What was heard of takes, kept while their files stay as they are: a new take is judged among
//! many without reading them all again.

use super::stamp::{Stamp, stamp};
use crate::ingest::manifest::Condition;
use crate::ingest::session::Session;
use crate::judge::hear;
use crate::judge::{Judged, TakeAnalyser, TakeFacts, TakeRead, judge_session};
use crate::transfer::drift::TakeDrift;
use crate::transfer::measure::Responder;
use std::collections::HashMap;
use std::path::PathBuf;

/// Facts of the takes of one session.
#[derive(Default)]
pub(super) struct Kept {
    /// Manifest and signal that they belong to.
    basis: Vec<Option<Stamp>>,
    takes: HashMap<PathBuf, (Stamp, TakeFacts, Option<f64>)>,
}

impl Kept {
    /// All takes judged as `check` judges them, and what was read of each.
    pub(super) fn judge(&mut self, session: &Session) -> (Judged, Vec<TakeRead>) {
        let lender = session.without_from.iter().map(|other| other.folder.join("session.toml"));
        let own = ["session.toml".into(), session.manifest.sweep.file.clone()];
        let files: Vec<PathBuf> = own.into_iter().chain(lender).collect();
        let basis: Vec<_> = files.iter().map(|f| stamp(&session.root.join(f))).collect();
        if basis != self.basis {
            *self = Self { basis, takes: HashMap::new() };
        }
        let analyser = TakeAnalyser::new(&session.sweep);
        let failed = self.read_new(session, &analyser);
        let mut reads: Vec<TakeRead> = Vec::new();
        let mut drifts = [Vec::new(), Vec::new()];
        let mut failed = failed.into_iter();
        for take in &session.takes {
            let Some((_, facts, drift)) = self.takes.get(&take.file) else {
                // One error for each take that is not kept, in this order.
                reads.extend(failed.next());
                continue;
            };
            reads.push(Ok(facts.clone()));
            let of = match take.condition {
                Condition::Without => Some(0),
                Condition::With => Some(1),
                Condition::Corrected => None,
            };
            if let (Some(of), Some(ppm)) = (of, *drift) {
                drifts[of].push(TakeDrift { seat: take.seat, ppm });
            }
        }
        let [without, with] = &drifts;
        let judged = judge_session(session, &analyser, &reads, [without, with]);
        (judged, reads)
    }

    /// Reads what is new or has changed; what cannot be read is told, in the order of the session.
    fn read_new(&mut self, session: &Session, analyser: &TakeAnalyser) -> Vec<TakeRead> {
        let stamps: Vec<Option<Stamp>> =
            session.takes.iter().map(|t| stamp(&session.root.join(&t.file))).collect();
        self.takes.retain(|file, (kept, ..)| {
            let at = session.takes.iter().position(|t| t.file == *file);
            at.is_some_and(|at| stamps[at] == Some(*kept))
        });
        let new: Vec<usize> = (0..session.takes.len())
            .filter(|&i| !self.takes.contains_key(&session.takes[i].file))
            .collect();
        if new.is_empty() {
            return Vec::new();
        }
        // A session of the new takes alone: they are heard as `check` hears all.
        let mut part = session.clone();
        part.takes = new.iter().map(|&i| session.takes[i].clone()).collect();
        let responder = Responder::new(&part);
        let read = |take: usize| part.read_take(&part.takes[take]);
        let heard = hear(&part, analyser, &responder, &read, &|| ());
        let mut failed = Vec::new();
        for ((at, read), response) in new.into_iter().zip(heard.reads).zip(heard.responses) {
            match (read, stamps[at]) {
                (Ok(facts), Some(stamp)) => {
                    // As in `Heard::drifts`: another pace is no drift.
                    let drift = response.and_then(|r| r.drift_ppm).filter(|_| facts.pace.is_none());
                    self.takes.insert(session.takes[at].file.clone(), (stamp, facts, drift));
                }
                (read, _) => failed.push(read),
            }
        }
        failed
    }
}
