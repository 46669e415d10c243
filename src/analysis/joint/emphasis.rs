//! How much each frequency counts in the equations.
//!
//! What a moved microphone makes of reflections rises with frequency and, behind a sheet, falls as
//! the sheet does. Least squares are best where what is left is alike at all frequencies
//! (Aitken 1935), so both responses are brought to the inverse of that before they are compared:
//! a fall of 6 dB an octave, and the sheet's own fall taken back.

use super::slow::low_pass;
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use realfft::num_complex::Complex;
use std::f64::consts::TAU;

/// The fall begins here, Hz ...
const FALL_FROM_HZ: f64 = 500.0;
/// ... and is so much at most (as a factor less one).
const FALL_MOST: f64 = 39.0;
/// A sheet's fall is read between these two bands, Hz.
const SHEET_HZ: [[f64; 2]; 2] = [[500.0, 1500.0], [8000.0, 16_000.0]];

/// Weight of the frequencies of a session.
pub(super) struct Emphasis {
    rate_hz: f64,
    /// What is added of the step from sample to sample: `1 + j f/fc` for a sheet `1/(1 + j f/fc)`.
    rise: f64,
}

impl Emphasis {
    /// For the sheet that these seats see.
    pub fn new(plan: &SeatPlan, seats: &[SeatTransmission]) -> Self {
        let rate_hz = plan.rate_hz();
        let falls = seats.iter().filter_map(|seat| fall(&seat.ratio, plan.ratio_step_hz()));
        let logs: Vec<f64> = falls.map(f64::ln).collect();
        let fall = (logs.iter().sum::<f64>() / logs.len().max(1) as f64).exp();
        // `1 + (f/fc)^2` in the middle of the upper band.
        let middle_hz = (SHEET_HZ[1][0] * SHEET_HZ[1][1]).sqrt();
        let corner_hz = middle_hz / (fall - 1.0).max(0.0).sqrt();
        Self { rate_hz, rise: rate_hz / (TAU * corner_hz) }
    }

    /// A response with that weight.
    pub fn apply(&self, x: &[f64]) -> Vec<f64> {
        let low = low_pass(x, 1.0 / (TAU * FALL_FROM_HZ), self.rate_hz);
        let mut before = 0.0;
        let one = |(x, low): (&f64, f64)| {
            let fallen = x + FALL_MOST * low;
            let step = fallen - before;
            before = fallen;
            fallen + self.rise * step
        };
        x.iter().zip(low).map(one).collect()
    }
}

/// Power that passes in the lower band over that in the upper one; `None` where one is empty.
fn fall(ratio: &[Complex<f64>], step_hz: f64) -> Option<f64> {
    let [low, high] = SHEET_HZ.map(|[from_hz, to_hz]| {
        let bins = (from_hz / step_hz) as usize..=(to_hz / step_hz) as usize;
        let inside = ratio.iter().enumerate().filter(|(k, r)| bins.contains(k) && r.is_finite());
        let (sum, n) = inside.fold((0.0, 0.0), |(sum, n), (_, r)| (sum + r.norm_sqr(), n + 1.0));
        sum / n
    });
    Some(low / high).filter(|fall| fall.is_finite() && *fall > 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::transfer::fft::RealFft;

    const RATE_HZ: f64 = 48_000.0;

    /// A first-order sheet `1/(1 + j f/fc)`: its ratio of mean powers (closed form, with the
    /// integral of `1/(1 + x^2)`), and the emphasised sheet as nothing hung, to 2 dB (a step from
    /// sample to sample is more than `j f/fc` at the top).
    #[test]
    fn the_fall_of_a_sheet_is_taken_back() {
        let step_hz = 50.0;
        for corner_hz in [3000.0, 6000.0, 20_000.0] {
            let sheet = |hz: f64| Complex::new(1.0, hz / corner_hz).inv();
            let ratio: Vec<_> = (0..400).map(|k| sheet(f64::from(k) * step_hz)).collect();
            let found = fall(&ratio, step_hz).unwrap();
            let mean = |[from, to]: [f64; 2]| {
                ((to / corner_hz).atan() - (from / corner_hz).atan()) * corner_hz / (to - from)
            };
            let want = mean(SHEET_HZ[0]) / mean(SHEET_HZ[1]);
            assert!((found / want - 1.0).abs() < 0.01, "{found} {want}");

            let middle_hz: f64 = (8000.0f64 * 16_000.0).sqrt();
            let rise = RATE_HZ / (TAU * middle_hz) * (found - 1.0).sqrt();
            let fft = RealFft::new(960);
            let of = |rise: f64| {
                let mut impulse = vec![0.0; 960];
                impulse[0] = 1.0;
                fft.forward(&Emphasis { rate_hz: RATE_HZ, rise }.apply(&impulse))
            };
            let (with, without) = (of(rise), of(0.0));
            for hz in [1000.0, 4000.0, 10_000.0] {
                let k = (hz / 50.0) as usize;
                let more = with[k].norm() * sheet(hz).norm() / without[k].norm();
                assert!((more - 1.0).abs() < 0.25, "{hz} Hz: {more}");
            }
        }
    }

    #[test]
    fn where_nothing_hangs_and_where_nothing_was_heard_nothing_is_taken_back() {
        let flat = vec![Complex::new(1.0, 0.0); 400];
        assert_eq!(fall(&flat, 50.0), Some(1.0));
        assert_eq!(fall(&vec![Complex::ZERO; 400], 50.0), None);
        assert_eq!(fall(&flat[..20], 50.0), None);
    }
}
