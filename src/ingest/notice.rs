//! What is to be known of a session that is no reason to refuse it.

use super::manifest::SeatIdError;
use super::takes::NameError;
use std::path::PathBuf;

/// Something found while a session was opened.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// Seat id, where one seat is meant.
    pub seat: Option<String>,
    /// The file that is meant, relative to the session folder: no take of the session.
    pub file: Option<PathBuf>,
    /// What was found.
    pub found: Noticed,
}

impl Notice {
    /// Of the session as a whole.
    pub fn of_session(found: Noticed) -> Self {
        Self { seat: None, file: None, found }
    }
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Noticed {
    /// A take of the manifest whose file is not there.
    NoFile,
    /// A file among the takes that can be none.
    NoTake(NoTake),
    /// A take without a screen, where those of another session are used: of this folder.
    OwnWithout(PathBuf),
    /// A second manifest of this name, which was not read.
    OtherManifest(String),
    /// The played sweep takes another time than the manifest states.
    OtherDuration { stated_s: f64, found_s: f64 },
    /// Recordings in the session folder that were not brought in.
    Unimported {
        /// The session folder.
        folder: PathBuf,
        /// The recordings, relative to it; at least one.
        files: Vec<PathBuf>,
    },
}

/// Why a file among the takes can be none.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum NoTake {
    /// Its name is not Unicode text.
    NotUnicode {
        /// A name that would do.
        example: String,
    },
    /// Its name does not say which take it is.
    Name {
        /// What is missing.
        problem: NameError,
        /// A name that would do.
        example: String,
    },
    /// No seat has the name in it.
    Seat {
        /// The name found.
        found: String,
        /// A seat of nearly this name.
        near: Option<String>,
        /// The seats of the session.
        ids: Vec<String>,
    },
    /// The name in it cannot be that of a seat.
    SeatId {
        /// Why.
        problem: SeatIdError,
        /// A name that would do.
        example: String,
    },
    /// Another file has the same number of the same seat.
    SameNumber {
        number: u32,
        /// Seat id.
        seat: String,
        /// The other file.
        other: PathBuf,
    },
    Folder,
    /// It is not a WAV file.
    NotWav {
        /// So many others are none either, and have no notice of their own.
        more: usize,
    },
}
