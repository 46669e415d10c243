//! Narrowing a slot to the echo that stands in it.
//!
//! The slot is as wide as the stated gap is unsure. The echo itself is short at high
//! frequencies: once it is seen in the mean over the seats, only what lies near it counts.

use super::echo::Spectrum;
use crate::transfer::seat::SeatPlan;
use crate::transfer::window::rise;
use realfft::num_complex::Complex;

/// Above this frequency the echo is short against its slot, Hz.
const SPLIT_HZ: f64 = 2000.0;
/// Kept around the crest of its envelope, s: before, after (causal filters ring after).
const KEEP_S: [f64; 2] = [0.00010, 0.00018];
/// Fade of that stretch, s.
const FADE_S: f64 = 0.00006;
/// Crests are looked for so far from the slot's middle, s.
const REACH_S: f64 = 0.0005;

/// A common echo after narrowing.
pub struct Localised {
    /// Its spectrum around lag 0 (the slot's middle).
    pub spectrum: Spectrum,
    /// Part of the scatter's power that is kept, third-octave bands.
    pub kept: Vec<f64>,
}

/// Narrows the part above 2 kHz to the surroundings of its largest envelope. The crest is
/// looked for where the echo stands out best: each band counts by the inverse of its
/// `scatter` (power, third-octave bands).
pub fn localise(plan: &SeatPlan, spectrum: &[Complex<f64>], scatter: &[f64]) -> Localised {
    let n = plan.fft.n_points() as i64;
    let df_hz = plan.rate_hz() / n as f64;
    let low_pass = |hz: f64| 1.0 / (1.0 + (hz / SPLIT_HZ).powi(4));
    let high: Spectrum =
        spectrum.iter().enumerate().map(|(k, x)| x * (1.0 - low_pass(k as f64 * df_hz))).collect();
    let clarity = plan.per_bin(&scatter.iter().map(|s| 1.0 / (s + 1e-9)).collect::<Vec<_>>());
    let clear: Spectrum = high.iter().zip(&clarity).map(|(x, c)| x * c).collect();
    let quadrature = clear.iter().map(|x| x * Complex::new(0.0, -1.0)).collect();
    let turned = plan.fft.inverse(quadrature);
    let clear = plan.fft.inverse(clear);
    let real = plan.fft.inverse(high);
    let at = |lag: i64| lag.rem_euclid(n) as usize;
    let reach = (REACH_S * plan.rate_hz()) as i64;
    let envelope = |lag: i64| clear[at(lag)].hypot(turned[at(lag)]);
    let crest = (-reach..=reach).max_by(|&a, &b| envelope(a).total_cmp(&envelope(b))).unwrap_or(0);
    let [before, after] = KEEP_S.map(|s| (s * plan.rate_hz()).round() as i64);
    let fade = (FADE_S * plan.rate_hz()).round().max(1.0) as usize;
    let mut window = vec![1.0; (before + after + 1) as usize + 2 * fade];
    window.iter_mut().zip(rise(fade)).for_each(|(w, r)| *w *= r);
    window.iter_mut().rev().zip(rise(fade)).for_each(|(w, r)| *w *= r);
    let start = crest - before - fade as i64;
    let mut narrowed = vec![0.0; n as usize];
    for (i, w) in window.iter().enumerate() {
        let index = at(start + i as i64);
        narrowed[index] = real[index] * w;
    }
    let narrow = plan.fft.forward(&narrowed);
    let width = window.iter().map(|w| w * w).sum::<f64>();
    // Taps that hold something: the slot's own width.
    let peak = real.iter().fold(0.0_f64, |a, x| a.max(x.abs()));
    let slot = real.iter().filter(|x| x.abs() > 0.02 * peak).count().max(1) as f64;
    let part = (width / slot).min(1.0);
    let low: Vec<f64> = (0..plan.n_bands).map(|b| low_pass(plan.band_mid_hz(b))).collect();
    // What the window takes off is scatter, as far as it is no stronger than scatter should be.
    let high = plan.fft.forward(&real);
    let off: Spectrum = high.iter().zip(&narrow).map(|(h, n)| h - n).collect();
    let back: Vec<f64> = (0..plan.n_bands)
        .map(|b| {
            let noise = scatter[b] * (1.0 - low[b] * low[b]) * (1.0 - part);
            let found = plan.bins.mean(b, |k| off[k].norm_sqr());
            let echo = (found - 2.0 * noise).max(0.0);
            echo / (echo + noise + 1e-15)
        })
        .collect();
    let kept = (0..plan.n_bands)
        .map(|b| {
            let narrowed = part + (1.0 - part) * back[b];
            low[b] * low[b] + (1.0 - low[b] * low[b]) * narrowed
        })
        .collect();
    let back = plan.per_bin(&back);
    let spectrum = spectrum
        .iter()
        .zip(narrow.iter().zip(&off))
        .enumerate()
        .map(|(k, (x, (n, o)))| x * low_pass(k as f64 * df_hz) + n + o * back[k])
        .collect();
    Localised { spectrum, kept }
}
