//! Why there is nothing to listen to.

use crate::import::ImportError;
use crate::ingest::error::shown;
use std::path::PathBuf;

/// Why a sound cannot be made, or a test not be kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ListenError {
    /// A seat that has no measured transmission.
    #[error("{session}: seat {seat} cannot be listened to; {advice}")]
    Seat {
        /// The session, as people call it.
        session: String,
        /// Seat as asked for.
        seat: String,
        /// Which seats can.
        advice: String,
    },
    /// A sound that cannot be used.
    #[error("{}: {problem}; {advice}", shown(.path))]
    Sound {
        /// The file.
        path: PathBuf,
        /// What was found.
        problem: String,
        /// What to do.
        advice: String,
    },
    /// A file that cannot be read.
    #[error(transparent)]
    File(#[from] ImportError),
    /// Loudness cannot be told.
    #[error("{sound}: its loudness cannot be told ({problem}); use a sound of 0.4 s or more")]
    Loudness {
        /// Name of the sound.
        sound: String,
        /// Why.
        problem: String,
    },
    /// The system gives no random numbers.
    #[error("the system gives no random numbers ({problem}); the blind test needs them")]
    Random {
        /// What the system said.
        problem: String,
    },
    /// A blind test that cannot be set up or answered like this.
    #[error("blind test: {problem}")]
    Test {
        /// What is wrong, and what would do.
        problem: String,
    },
}
