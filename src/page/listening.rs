//! What is kept of listening while the program runs: the last analysed jobs, sounds in their
//! versions, and blind tests with their draws, which leave the server only at the end.

use crate::chain::Analyzed;
use crate::ingest::session::Session;
use crate::listen::blind::BlindTest;
use crate::listen::sounds::Sound;
use crate::listen::versions::{Version, Versions};
use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Sounds that are kept; each may hold some ten megabytes.
const HEARD_KEPT: usize = 2;
/// Tests that are kept.
const TESTS_KEPT: usize = 2;

/// Jobs with what was measured.
pub(super) type Jobs = Arc<Vec<(Session, Analyzed)>>;

/// A sound as the page plays it.
pub(super) struct Heard {
    /// Folder of the job.
    pub folder: PathBuf,
    /// Seat that is listened at.
    pub seat: String,
    /// What was played.
    pub sound: Sound,
    pub versions: Versions,
}

/// A blind test of two versions of a sound.
pub(super) struct Test {
    pub draw: BlindTest,
    pub heard: Arc<Heard>,
    /// The two versions.
    pub pair: [usize; 2],
    /// Whether both are as loud as the softer one.
    pub matched: bool,
    /// The two versions of a training round, which differ plainly.
    pub training: Option<Versions>,
    /// Whether the result went into the job.
    pub kept: bool,
}

impl Test {
    /// The first or second version of the pair.
    pub(super) fn version(&self, which: usize) -> &Version {
        match &self.training {
            Some(training) => &training.versions[which],
            None => &self.heard.versions.versions[self.pair[which]],
        }
    }
}

/// Everything that is kept.
#[derive(Default)]
pub(super) struct Listening {
    /// The last jobs that were analysed, with what they rest on.
    pub jobs: Option<(Vec<(PathBuf, String)>, Jobs)>,
    heard: VecDeque<(u64, Arc<Heard>)>,
    tests: VecDeque<(u64, Test)>,
}

impl Listening {
    /// Keeps a sound in its versions.
    pub(super) fn keep_heard(&mut self, number: u64, heard: Heard) {
        self.heard.push_back((number, Arc::new(heard)));
        while self.heard.len() > HEARD_KEPT {
            self.heard.pop_front();
        }
    }

    /// A sound of the job in `folder` by its number.
    pub(super) fn heard(&self, number: u64, folder: &Path) -> Option<Arc<Heard>> {
        let (_, heard) = self.heard.iter().find(|(n, _)| *n == number)?;
        (heard.folder == folder).then(|| Arc::clone(heard))
    }

    /// Keeps a test.
    pub(super) fn keep_test(&mut self, number: u64, test: Test) {
        self.tests.push_back((number, test));
        while self.tests.len() > TESTS_KEPT {
            self.tests.pop_front();
        }
    }

    /// A test of the job in `folder` by its number.
    pub(super) fn test(&mut self, number: u64, folder: &Path) -> Option<&mut Test> {
        let (_, test) = self.tests.iter_mut().find(|(n, _)| *n == number)?;
        (test.heard.folder == folder).then_some(test)
    }
}
