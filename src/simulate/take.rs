//! One recording of a simulated session.

use crate::ingest::manifest::{Condition, SoundSource};

/// One recording.
#[derive(Debug, Clone)]
pub struct SimulatedTake {
    /// Index into [`super::Scenario::seats`].
    pub seat: usize,
    /// Screen state.
    pub condition: Condition,
    /// Placement, from 1.
    pub spot: u32,
    /// Which loudspeaker played.
    pub source: SoundSource,
    /// File name relative to the session folder.
    pub file: String,
    /// Microphone, full scale = 1, not rounded to bits.
    pub samples: Vec<f64>,
    /// Electrical reference, where the recorder has one.
    pub reference: Option<Vec<f64>>,
}

/// Largest magnitude.
pub(crate) fn peak(samples: &[f64]) -> f64 {
    samples.iter().fold(0.0, |m: f64, x| m.max(x.abs()))
}
