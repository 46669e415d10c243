//! Why an import is refused.

use crate::ingest::error::IngestError;
use crate::ingest::printable::shown;
use crate::ingest::wav::WavError;
use std::io;
use std::path::{Path, PathBuf};

/// An import that cannot be done: what is in the way, and what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ImportError {
    /// A file that is no recording which can be brought in.
    #[error("{}: {problem}; {advice}", shown(.path))]
    Recording {
        /// The file.
        path: PathBuf,
        /// What was found.
        problem: String,
        /// What to do.
        advice: String,
    },
    /// A WAV or W64 file with a fault.
    #[error(transparent)]
    Wav(#[from] WavError),
    /// The system refused to read.
    #[error("{}: cannot be read; check the medium and the access rights", shown(.path))]
    Read {
        /// The file.
        path: PathBuf,
        /// The reason.
        #[source]
        source: io::Error,
    },
    /// Options and session do not say enough, or contradict each other.
    #[error("{problem}; {advice}")]
    Plan {
        /// What was found.
        problem: String,
        /// What to do.
        advice: String,
    },
    /// Takes that are there already.
    #[error(
        "{}: {n_there} of these takes {} already there, first {first}; nothing was written; say \
         --force to replace them",
        shown(.folder),
        if *.n_there == 1 { "is" } else { "are" }
    )]
    There {
        /// Folder of the takes.
        folder: PathBuf,
        /// How many.
        n_there: usize,
        /// One of them.
        first: String,
    },
    /// The session is refused, or its takes cannot be written.
    #[error(transparent)]
    Ingest(#[from] IngestError),
}

impl ImportError {
    /// [`ImportError::Recording`] of the file at `path`.
    pub(super) fn recording(
        path: &Path,
        problem: impl Into<String>,
        advice: impl Into<String>,
    ) -> Self {
        Self::Recording { path: path.into(), problem: problem.into(), advice: advice.into() }
    }

    /// True where writing failed, not the recordings: the exit status differs.
    pub fn is_output(&self) -> bool {
        match self {
            Self::There { .. } => true,
            Self::Ingest(error) => error.is_output(),
            _ => false,
        }
    }
}
