//! Slow parts of a sheet, which outlast the taps.

use realfft::num_complex::Complex;
use std::f64::consts::PI;

/// Time constants of the slow parts of a sheet, s: heavy cloth answers with real poles whose
/// response outlasts the direct sound; a few of them carry it on beyond the taps.
pub const SLOW_S: [f64; 3] = [0.0006, 0.0015, 0.004];

/// A response through each slow part of unit gain at 0 Hz.
pub fn slow_parts(source: &[f64], rate_hz: f64) -> Vec<Vec<f64>> {
    SLOW_S.iter().map(|&time_s| low_pass(source, time_s, rate_hz)).collect()
}

/// First-order low-pass of a time constant, gain 1 at 0 Hz.
pub fn low_pass(x: &[f64], time_s: f64, rate_hz: f64) -> Vec<f64> {
    let keep = (-1.0 / (time_s * rate_hz)).exp();
    let mut level = 0.0;
    x.iter()
        .map(|x| {
            level = keep * level + (1.0 - keep) * x;
            level
        })
        .collect()
}

/// Adds slow parts of these gains to a transmission.
pub fn add_slow(spectrum: &mut [Complex<f64>], gains: &[f64], df_hz: f64) {
    let steps = SLOW_S.map(|time_s| 2.0 * PI * df_hz * time_s);
    for (k, x) in spectrum.iter_mut().enumerate() {
        for (gain, step) in gains.iter().zip(steps) {
            // gain / (1 + j w)
            let w = k as f64 * step;
            let part = gain / (1.0 + w * w);
            *x += Complex::new(part, -w * part);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First-order low-pass `1/(1 + j 2 pi f T)`: gain 1 at rest, and a step that has come
    /// to `1 - exp(-1)` after its time constant.
    #[test]
    fn a_slow_part_is_a_first_order_low_pass() {
        let step = vec![1.0; 480];
        for (part, time_s) in slow_parts(&step, 48_000.0).iter().zip(SLOW_S) {
            let at = (time_s * 48_000.0) as usize;
            let want = 1.0 - (-1.0f64).exp();
            assert!((part[at - 1] - want).abs() < 0.02, "{} {want}", part[at - 1]);
        }
        let mut spectrum = vec![Complex::default(); 2];
        add_slow(&mut spectrum, &[0.5, 0.0, 0.0], 1.0 / (2.0 * PI * SLOW_S[0]));
        assert!((spectrum[0].re - 0.5).abs() < 1e-12);
        assert!((spectrum[1].norm() - 0.5 / 2f64.sqrt()).abs() < 1e-12);
    }
}
