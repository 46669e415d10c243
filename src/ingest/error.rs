//! Why a session is refused: the culprit, what was expected, what was found, what to do.

use super::manifest::refusal::ManifestRefusal;
pub(crate) use super::printable::is_invisible;
pub use super::printable::{excerpt, plain, shown};
use super::wav::{WavError, WavWriteError};
use std::io;
use std::path::{Path, PathBuf};

/// A session that cannot be used. Every message names file, seat or key and what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum IngestError {
    /// No such folder.
    #[error(
        "{}: there is no such folder; name the folder that holds session.toml, or make one with `scrimcheck start`",
        shown(.path)
    )]
    NoFolder {
        /// What was named.
        path: PathBuf,
    },
    /// A file where a session folder was expected.
    #[error("{}: this is a {found}, expected the folder that holds session.toml", shown(.path))]
    NotAFolder {
        /// What was named.
        path: PathBuf,
        /// What it is.
        found: &'static str,
    },
    /// A folder without a manifest.
    #[error(
        "{}: there is no session.toml in this folder; name a session's folder, or make one with `scrimcheck start`",
        shown(.path)
    )]
    NoManifest {
        /// The folder.
        path: PathBuf,
    },
    /// The manifest breaks a rule, at a known place.
    #[error(transparent)]
    Manifest(#[from] Box<ManifestRefusal>),
    /// A file or folder that cannot be used.
    #[error("{}: {problem}; {advice}", shown(.path))]
    Unfit {
        /// The path.
        path: PathBuf,
        /// What was expected and found.
        problem: String,
        /// What to do.
        advice: &'static str,
    },
    /// Not a regular file.
    #[error("{}: this is a {found}, expected a file", shown(.path))]
    NotRegular {
        /// The path.
        path: PathBuf,
        /// What it is.
        found: &'static str,
    },
    /// A named file is not there.
    #[error("{}: there is no such file; {advice}", shown(.path))]
    NoFile {
        /// The path.
        path: PathBuf,
        /// What to do.
        advice: String,
    },
    /// The system refused to read.
    #[error("{}: cannot be read; check the medium and the access rights", shown(.path))]
    Read {
        /// The path.
        path: PathBuf,
        /// The reason.
        #[source]
        source: io::Error,
    },
    /// No recording at all.
    #[error(
        "{}: there is no take in this session; record as the take sheet says, for example {example}",
        shown(.path)
    )]
    NoTakes {
        /// The folder that was searched.
        path: PathBuf,
        /// A file name that would do.
        example: String,
    },
    /// A WAV file that cannot be read.
    #[error(transparent)]
    Wav(#[from] WavError),
    /// A recording that cannot be read, with its seat.
    #[error("seat {seat}: {wav}")]
    TakeWav {
        /// Seat id.
        seat: String,
        /// What is wrong with the file.
        wav: WavError,
    },
    /// A recording at another rate than the played signal.
    #[error(
        "seat {seat}: {}: the sample rate is {found_hz} Hz, the played signal has {expected_hz} Hz; record at {expected_hz} Hz, or play the signal at the recorder's rate",
        shown(.path)
    )]
    SampleRate {
        /// Seat id.
        seat: String,
        /// The take.
        path: PathBuf,
        /// Rate of the take, Hz.
        found_hz: u32,
        /// Rate of the played signal, Hz.
        expected_hz: u32,
    },
    /// A recording shorter than the played signal.
    #[error(
        "seat {seat}: {}: the recording lasts {found_s:.2} s, the played signal {expected_s:.2} s; repeat the take, start recording before and stop a second after the signal",
        shown(.path)
    )]
    TooShort {
        /// Seat id.
        seat: String,
        /// The take.
        path: PathBuf,
        /// Length of the take, s.
        found_s: f64,
        /// Length of the played signal without the silence around it, s.
        expected_s: f64,
    },
    /// Nothing but silence on a channel.
    #[error(
        "seat {seat}: {}: channel {channel} is silent, expected a recording of the played signal; check microphone, gain and channel, then repeat the take",
        shown(.path)
    )]
    Silent {
        /// Seat id.
        seat: String,
        /// The take.
        path: PathBuf,
        /// Channel, counted from 1.
        channel: u16,
        /// A channel that is not silent, where there is one.
        other: Option<u16>,
    },
    /// The sweep is on another channel than the one that is named.
    #[error(
        "seat {seat}: {}: channel {channel} is silent, channel {found} holds the sweep: set mic_channel = {found} under [recording] in session.toml",
        shown(.path)
    )]
    OtherChannel {
        /// Seat id.
        seat: String,
        /// The take.
        path: PathBuf,
        /// Channel that the manifest names, counted from 1.
        channel: u16,
        /// Channel that holds the sweep.
        found: u16,
    },
    /// Takes without a screen cannot be taken from another session.
    #[error("{}: the takes without a screen are to be those of {}: {problem}; {advice}", shown(.path), shown(.other))]
    Borrow {
        /// This session's folder.
        path: PathBuf,
        /// The other one's, as named.
        other: PathBuf,
        /// What does not fit.
        problem: String,
        /// What to do.
        advice: &'static str,
    },
    /// The microphone's calibration file.
    #[error(
        "{}: row {row}{}: {problem}; expected rows `frequency_hz, correction_db` with rising frequencies",
        shown(.path),
        column_words(*.column)
    )]
    Calibration {
        /// The file.
        path: PathBuf,
        /// Row, counted from 1.
        row: usize,
        /// Column, counted from 1, where one is meant.
        column: Option<usize>,
        /// What was expected and found.
        problem: String,
    },
    /// The new session's folder is not free.
    #[error(
        "{}: {found} is already there and would be replaced; choose another folder, or say --force",
        shown(.path)
    )]
    Exists {
        /// The folder.
        path: PathBuf,
        /// What is in it.
        found: String,
    },
    /// The folder that is to hold a new session is not there.
    #[error("{}: there is no such folder to put the new session into; make it first", shown(.path))]
    NoParent {
        /// The folder.
        path: PathBuf,
    },
    /// A new session without seats.
    #[error("no seat is named; say --seats with a list such as R1L,R1C,R1R")]
    NoSeats,
    /// Nothing between two commas of the list of seats, or before or after them.
    #[error(
        "seat {place} of {n_seats} has no name; give every seat one, such as A,B,C, with no comma \
         too many"
    )]
    EmptySeatName {
        /// Place in the list, from 1.
        place: usize,
        /// Seats in the list.
        n_seats: usize,
    },
    /// A seat name that cannot be part of a file name.
    #[error("seat {seat:?}: {problem}; use letters, digits, - and _")]
    SeatName {
        /// The name.
        seat: String,
        /// What is wrong with it.
        problem: String,
    },
    /// A signal that cannot be made.
    #[error("the sweep cannot be made")]
    SweepParams(#[from] super::sweep::SweepParamError),
    /// Something of a new session could not be written.
    #[error("{}: cannot be written; check free space and access rights", shown(.path))]
    Write {
        /// The path.
        path: PathBuf,
        /// The reason.
        #[source]
        source: io::Error,
    },
    /// A WAV file could not be written.
    #[error(transparent)]
    WriteWav(#[from] WavWriteError),
}

impl IngestError {
    /// [`IngestError::Write`] of a path.
    pub(crate) fn write(path: &Path) -> impl Fn(io::Error) -> Self + use<> {
        let path = path.to_path_buf();
        move |source| Self::Write { path: path.clone(), source }
    }

    /// True where writing failed, not the session: the exit status differs.
    pub fn is_output(&self) -> bool {
        matches!(self, Self::Write { .. } | Self::WriteWav(_) | Self::Exists { .. })
    }
}

fn column_words(column: Option<usize>) -> String {
    column.map_or_else(String::new, |c| format!(", column {c}"))
}
