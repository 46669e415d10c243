//! Impulses between two samples.

use std::f64::consts::PI;

/// Windowed sinc for delays between samples, good for late reflections.
pub(super) struct SincTable {
    rows: Vec<[f64; SINC_TAPS]>,
}

const SINC_TAPS: usize = 16;
const SINC_PHASES: usize = 128;

impl SincTable {
    pub(super) fn new() -> Self {
        let half = SINC_TAPS as f64 / 2.0;
        let rows = (0..=SINC_PHASES)
            .map(|p| {
                let fraction = p as f64 / SINC_PHASES as f64;
                std::array::from_fn(|i| {
                    let x = i as f64 - (half - 1.0) - fraction;
                    let sinc = if x.abs() < 1e-12 { 1.0 } else { (PI * x).sin() / (PI * x) };
                    sinc * (PI * x / (2.0 * half)).cos().powi(2)
                })
            })
            .collect();
        Self { rows }
    }

    /// Adds an impulse of `level` at the fractional sample `at`; one that would leave the line is
    /// left out.
    pub(super) fn add(&self, line: &mut [f64], at: f64, level: f64) {
        let whole = at.floor();
        let row = &self.rows[((at - whole) * SINC_PHASES as f64).round() as usize];
        let start = whole as isize - (SINC_TAPS as isize / 2 - 1);
        if start < 0 || start as usize + SINC_TAPS > line.len() {
            return;
        }
        for (x, tap) in line[start as usize..].iter_mut().zip(row) {
            *x += level * tap;
        }
    }
}
