//! Sound of a recording of any kind, in blocks, and why there is none.

use crate::import::error::ImportError;
use crate::ingest::wav::{WavError, WavFault};
use std::path::Path;

/// What a recording says of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct About {
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Channels.
    pub n_channels: usize,
    /// Samples of each channel; `None` where the file does not say.
    pub n_frames: Option<u64>,
    /// Kind and word length, for people.
    pub format: String,
}

/// Sound of a recording, a vector for each channel, full scale = 1.
pub type Block = Vec<Vec<f64>>;

/// A stream of sound, read from its start.
pub(super) trait Sound: Send + Sync {
    /// As [`Source::next`](super::Source::next).
    fn next(&mut self, block: &mut Block) -> Result<bool, Fault>;

    /// As [`Source::seek`](super::Source::seek).
    fn seek(&mut self, frame: u64) -> Result<u64, Fault>;
}

/// What was found, and what to do.
pub(super) type Refusal = (String, String);

/// Why a recording cannot be used, before its file is named.
pub(super) enum Fault {
    Wav(WavFault),
    Refused(Refusal),
}

impl From<WavFault> for Fault {
    fn from(fault: WavFault) -> Self {
        Self::Wav(fault)
    }
}

impl From<Refusal> for Fault {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

impl Fault {
    /// The same of the file at `path`.
    pub(super) fn of(self, path: &Path) -> ImportError {
        let path = path.into();
        match self {
            Self::Wav(fault) => WavError { path, fault }.into(),
            Self::Refused((problem, advice)) => ImportError::Recording { path, problem, advice },
        }
    }
}

/// What to do where the coding is the trouble ...
pub(super) const EXPORT: &str = "export it as plain WAV or FLAC, 24 bit";
/// ... where it loses treble ...
pub(super) const RECORD_AGAIN: &str = "set the recorder to WAV or FLAC and record again";
/// ... and where the file is.
pub(super) const COPY_OR_EXPORT: &str = "copy it from the recorder again, or export it as WAV";
