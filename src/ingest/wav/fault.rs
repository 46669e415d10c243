//! Everything that can be wrong with a WAV file.

use super::limits::{MAX_ABS_SAMPLE, MAX_FRAMES, RATE_RANGE_HZ};
use crate::ingest::printable::shown;
use std::error::Error;
use std::fmt;
use std::io;
use std::path::PathBuf;

/// A WAV file that cannot be used: which one, and why.
#[derive(Debug)]
pub struct WavError {
    /// The file.
    pub path: PathBuf,
    /// What is wrong with it.
    pub fault: WavFault,
}

impl fmt::Display for WavError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", shown(&self.path), self.fault)
    }
}

impl Error for WavError {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        // The fault's own text is already in ours; only what lies below it is a cause.
        self.fault.source()
    }
}

/// What is wrong with a WAV file, what was expected, and what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WavFault {
    /// Nothing at that path.
    #[error("there is no such file; check the name, or record this take")]
    Missing,
    /// A folder, pipe, socket or device.
    #[error("this is a {found}, not a file with a recording; put a WAV file there")]
    NotRegular {
        /// What it is.
        found: &'static str,
    },
    /// The system refused to read.
    #[error("the file cannot be read; check the medium and the access rights")]
    Io {
        /// The system's reason.
        #[source]
        source: io::Error,
    },
    /// Larger than any recording of a sweep.
    #[error(
        "the file has {bytes} bytes and at most {limit_bytes} are read; cut it to the sweep and a second after it"
    )]
    TooLarge {
        /// Size of the file.
        bytes: u64,
        /// Largest size, bytes.
        limit_bytes: u64,
    },
    /// More frames than any recording of a sweep.
    #[error(
        "the recording has {n_frames} samples per channel and at most {} are read; cut it to the sweep and a second after it",
        MAX_FRAMES
    )]
    TooLong {
        /// Frames in the file.
        n_frames: u64,
    },
    /// No RIFF/WAVE file at all.
    #[error("this is not a WAV file: {found}; export the recording as WAV")]
    NotWav {
        /// What the first bytes look like.
        found: String,
    },
    /// The header contradicts itself or ends too early.
    #[error(
        "the WAV header is damaged at byte {at_byte}: {what}; export the recording again or repeat the take"
    )]
    Broken {
        /// Where, bytes from the start of the file.
        at_byte: u64,
        /// What was expected and found.
        what: String,
    },
    /// A coding other than plain integers or floats.
    #[error(
        "the samples are coded as {name} (format tag {tag:#06x}), which loses detail or cannot be read here; export as plain WAV (PCM), 24 bit"
    )]
    Compressed {
        /// Format tag of the header.
        tag: u16,
        /// Its name.
        name: &'static str,
    },
    /// Plain samples in a layout that fits no rule.
    #[error(
        "the sample format does not fit together: {what}; export as plain WAV (PCM), 16, 24 or 32 bit"
    )]
    Format {
        /// What was found.
        what: String,
    },
    /// Sampling rate out of range.
    #[error(
        "the sample rate is {found_hz} Hz, expected {} to {} Hz; export at 48000 Hz",
        RATE_RANGE_HZ[0],
        RATE_RANGE_HZ[1]
    )]
    Rate {
        /// Rate in the header, Hz.
        found_hz: u32,
    },
    /// Fewer bytes than the header says.
    #[error(
        "the file is truncated: its header declares {declared_bytes} bytes of sound, {present_bytes} are there; copy the file again or repeat the take"
    )]
    Truncated {
        /// Length of the sound in the header, bytes.
        declared_bytes: u64,
        /// Length of the sound in the file, bytes.
        present_bytes: u64,
    },
    /// No sample in the file.
    #[error("the file is empty: {what}; repeat the take")]
    Empty {
        /// What was found.
        what: &'static str,
    },
    /// A channel that the file does not have.
    #[error(
        "channel {asked} is asked for, the file has {present}; correct the channel under [recording] or export all channels"
    )]
    Channel {
        /// Channel number, counted from 1.
        asked: u16,
        /// Channels in the file.
        present: u16,
    },
    /// NaN or infinity among float samples.
    #[error(
        "sample {frame} of channel {channel} ({time_s:.3} s) is not a finite number; export the recording again or repeat the take"
    )]
    NotFinite {
        /// Channel number, counted from 1.
        channel: u16,
        /// Frame number, counted from 0.
        frame: u64,
        /// Time of that frame, s.
        time_s: f64,
    },
    /// A float that cannot be sound.
    #[error(
        "sample {frame} of channel {channel} is {value:e} where full scale is 1, more than {:e}; export the recording again as 24-bit integers",
        MAX_ABS_SAMPLE
    )]
    OutOfScale {
        /// Channel number, counted from 1.
        channel: u16,
        /// Frame number, counted from 0.
        frame: u64,
        /// The sample, full scale = 1.
        value: f64,
    },
}
