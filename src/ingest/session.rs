//! A checked session: the manifest, its seats, its takes and the played sweep.

use super::manifest::{Condition, Manifest, SoundSource};
use std::path::PathBuf;

/// A session whose manifest and file list are in order. Recordings are read
/// one at a time later, so that memory does not grow with their number.
#[derive(Debug, Clone)]
pub struct Session {
    /// Session folder.
    pub root: PathBuf,
    /// Everything the installer wrote.
    pub manifest: Manifest,
    /// The played signal.
    pub sweep: SweepSignal,
    /// Takes in order of seat, condition, source, spot, file name.
    pub takes: Vec<Take>,
}

/// The played signal as recorded in its file.
#[derive(Debug, Clone)]
pub struct SweepSignal {
    /// Samples, full scale = 1.
    pub samples: Vec<f64>,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Lowest and highest frequency that it covers, Hz.
    pub band_hz: [f64; 2],
    /// `L = T / ln(f2/f1)` in s of an exponential sweep (Novak 2015); `None` for other signals.
    pub rate_constant_s: Option<f64>,
}

/// One recording in the list of the session; its samples stay on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Take {
    /// Index into `manifest.seat`.
    pub seat: usize,
    /// Screen state.
    pub condition: Condition,
    /// Microphone placement.
    pub spot: u32,
    /// Loudspeaker that played.
    pub source: SoundSource,
    /// File relative to the session folder, as shown to people.
    pub file: PathBuf,
}

/// The samples of one take.
#[derive(Debug, Clone)]
pub struct Recording {
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Microphone, full scale = 1.
    pub mic: Vec<f64>,
    /// Electrical reference, full scale = 1, where the session names one.
    pub loopback: Option<Vec<f64>>,
    /// Bits of the integer format, `None` for float files.
    pub integer_bits: Option<u16>,
}
