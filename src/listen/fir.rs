//! A passage as a filter at the rate of a sound.

use super::passage::{Passage, minimum_phase};
use crate::transfer::deconvolve::fast_length;
use crate::transfer::fft::RealFft;
use realfft::num_complex::Complex;

/// Length of a filter, s: ripple of 1/24 octave at 100 Hz has died away by then.
const LENGTH_S: f64 = 0.68;
/// Kept before time zero, s: what the fit has before the crest (takes have limited bandwidth).
const LEAD_S: f64 = 0.005;

/// Taps of a filter.
#[derive(Debug, Clone)]
pub struct Fir {
    /// Taps, the first at lag `-lead`.
    pub taps: Vec<f64>,
    /// Samples before lag 0.
    pub lead: usize,
}

impl Fir {
    /// Filter of a passage at `rate_hz`; `more_db` is a gain on top that goes with its minimum
    /// phase, as an equaliser of cookbook filters does.
    pub fn new(passage: &Passage, rate_hz: u32, more_db: &dyn Fn(f64) -> f64) -> Self {
        let rate_hz = f64::from(rate_hz);
        let n = 2 * fast_length((0.5 * LENGTH_S * rate_hz) as usize);
        let fft = RealFft::new(n);
        let step_hz = rate_hz / n as f64;
        let hz = |k: usize| k as f64 * step_hz;
        let gain_db: Vec<f64> =
            (0..fft.n_bins()).map(|k| passage.gain_db(hz(k)) + more_db(hz(k))).collect();
        let phase = minimum_phase(&gain_db);
        let spectrum: Vec<Complex<f64>> = (0..fft.n_bins())
            .map(|k| {
                let pressure = 10f64.powf(gain_db[k] / 20.0);
                Complex::from_polar(pressure, phase[k]) * passage.excess(hz(k))
            })
            .collect();
        let mut taps = fft.inverse(spectrum);
        let lead = (LEAD_S * rate_hz) as usize;
        taps.rotate_right(lead);
        Self { taps, lead }
    }
}
