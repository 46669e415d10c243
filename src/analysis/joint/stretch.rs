//! The late sound of a response, cut into stretches.

use super::spectrum::Spectrum;
use crate::transfer::window::rise;

/// Number of stretches ...
pub const N_STRETCHES: usize = 3;
/// ... each so long, the last without end, s.
const STRETCH_S: f64 = 0.00045;
/// The first begins so long before the direct sound's end, s.
const BEFORE_END_S: f64 = 0.00005;
/// Overlap of stretches, s.
const FADE_S: f64 = 0.0002;

/// A stretch of late sound.
pub(super) struct Stretch {
    pub spectrum: Spectrum,
    /// As it was measured, as far as it can tell in any row.
    pub sound: Vec<f64>,
    /// How much it resembles itself later by 0, 1, 2 ... times a quarter of a sample.
    pub resemblance: Vec<f64>,
}

/// The late sound of a response in stretches.
pub fn stretches(x: &[f64], head: usize, end_s: f64, rate_hz: f64) -> Vec<Vec<f64>> {
    let fade: Vec<f64> = rise((FADE_S * rate_hz) as usize).collect();
    let gate = |i: usize, at: usize| {
        if i == N_STRETCHES {
            return 0.0;
        }
        let from_s = end_s - BEFORE_END_S + i as f64 * STRETCH_S;
        match at.checked_sub(head + (from_s * rate_hz) as usize) {
            None => 0.0,
            Some(after) => fade.get(after).copied().unwrap_or(1.0),
        }
    };
    (0..N_STRETCHES)
        .map(|i| x.iter().enumerate().map(|(at, x)| x * (gate(i, at) - gate(i + 1, at))).collect())
        .collect()
}
