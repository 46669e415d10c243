//! The played signal.

use std::ops::Range;

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
    /// Frames that hold the signal, from first to last above 1/1000 of its peak.
    pub active: Range<usize>,
}
