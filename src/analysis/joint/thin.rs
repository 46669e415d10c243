//! What a thin sheet reflects, from what it passes.
//!
//! A sheet thin against the wavelength lets the same particle velocity out as comes in, so
//! `R = 1 - T` whatever it is made of; with a series impedance `z` (in `rho c`),
//! `T = 1/(1 + z/2)` and `R = (z/2)/(1 + z/2)`.

use crate::transfer::fft::{RealFft, turns};
use realfft::num_complex::Complex;
use std::f64::consts::PI;

type Spectrum = Vec<Complex<f64>>;

/// The magnitude is trusted from here ...
const LOW_HZ: f64 = 100.0;
/// ... to the second figure; what it does from the first one on is carried on beyond, Hz.
const TRUSTED_HZ: [f64; 2] = [8000.0, 16_000.0];
/// Least part of `1/|T|^2` at the first figure that a sheet has at rest: friction, or air.
const LEAST_AT_REST: f64 = 0.1;
/// Frequencies of the minimum-phase counterpart reach so many times higher.
const BEYOND: usize = 8;
/// The delay is judged between these, Hz, ...
const DELAY_HZ: [f64; 2] = [1000.0, 14_000.0];
/// ... at frequencies about so far apart: a short filter bends little from one to the next, Hz.
const DELAY_EVERY_HZ: f64 = 90.0;

/// Delay of a transmission after its minimum-phase counterpart, s; the takes were aligned by
/// their crests, and what a passive sheet does (`1/(1 + z/2)`) is minimum-phase. `None` for
/// a spectrum that carries nothing.
pub fn excess_delay_s(fft: &RealFft, rate_hz: f64, through: &[Complex<f64>]) -> Option<f64> {
    let phase = minimum_phase(fft, rate_hz, through)?;
    let df_hz = rate_hz / fft.n_points() as f64;
    // Slope of the phase difference by least squares on differences between neighbours,
    // which need no unwrapping: the mean turn per step, weighted by strength.
    let every = (DELAY_EVERY_HZ / df_hz).ceil().max(1.0);
    let step_hz = every * df_hz;
    let from = (DELAY_HZ[0] / step_hz).ceil() as usize;
    let to = ((DELAY_HZ[1].min(0.38 * rate_hz)) / step_hz) as usize;
    let aligned: Vec<Complex<f64>> = (from..=to)
        .map(|i| i * every as usize)
        .map(|k| through[k] * Complex::from_polar(1.0, -phase[k]))
        .collect();
    // First the coarse delay from far-apart steps, then the fine one around it.
    let mut delay_s = 0.0;
    for _ in 0..3 {
        let (mut num, mut den) = (0.0, 0.0);
        let back = turns(2.0 * PI * step_hz * delay_s).skip(from);
        for (i, (a, back)) in aligned.iter().zip(back).enumerate() {
            let omega = 2.0 * PI * (from + i) as f64 * step_hz;
            let w = a.norm_sqr();
            num += w * omega * (a * back).arg();
            den += w * omega.powi(2);
        }
        delay_s -= num / den;
    }
    delay_s.is_finite().then_some(delay_s)
}

/// Phase of the minimum-phase spectrum of the same magnitude.
///
/// Beyond the band the sheet goes on as one of flow resistance and mass would, `|T|^2 = 1/(a + b f^2)`,
/// with both read off the end of the band. The phase of that sheet is known in closed form; what
/// `T` has more is constant beyond the band, and its phase comes from a transform.
fn minimum_phase(fft: &RealFft, rate_hz: f64, through: &[Complex<f64>]) -> Option<Vec<f64>> {
    let n_bins = fft.n_bins();
    let df_hz = rate_hz / fft.n_points() as f64;
    let bin = |hz: f64| ((hz / df_hz) as usize).clamp(1, n_bins - 1);
    let low = bin(LOW_HZ);
    let from = bin(TRUSTED_HZ[0].min(0.2 * rate_hz));
    let top = bin(TRUSTED_HZ[1].min(0.4 * rate_hz));
    if through[low..=top].iter().all(|x| x.norm() < 1e-9) {
        return None;
    }
    let log = |k: usize| 0.5 * through[k].norm_sqr().max(1e-12).ln();
    let smooth = |k: usize| {
        let half = k / 16;
        let last = (k + half).min(n_bins - 1);
        (k - half..=last).map(log).sum::<f64>() / (last + 1 - (k - half)) as f64
    };
    // In squares of bins; `a` stays positive where the sheet falls faster than a mass.
    let square = |k: usize| (k as f64).powi(2);
    let [at_from, at_top] = [from, top].map(|k| (-2.0 * smooth(k)).exp());
    let b = ((at_top - at_from) / (square(top) - square(from))).max(0.0);
    let a = (at_top - b * square(top)).max(LEAST_AT_REST * at_from);
    let b = (at_top - a).max(0.0) / square(top);
    let more = |k: usize| log(k) + 0.5 * (a + b * square(k)).ln();
    let at_end = 0.5 * ((a + b * square(top)) / at_top).ln();
    let grid: Vec<f64> = (0..n_bins)
        .map(|i| if i * BEYOND > top { at_end } else { more((i * BEYOND).max(low)) })
        .collect();
    let phase = fft.minimum_phase(&grid);
    let of_model = (b / a).sqrt();
    Some(
        (0..n_bins)
            .map(|k| {
                let at = k as f64 / BEYOND as f64;
                let i = at as usize;
                let more = phase[i] + (phase[(i + 1).min(n_bins - 1)] - phase[i]) * (at - i as f64);
                more - (of_model * k as f64).atan()
            })
            .collect(),
    )
}

/// `1 - T` with `T` moved earlier by `advance_s`; no more than all is reflected.
pub fn reflection(df_hz: f64, through: &[Complex<f64>], advance_s: f64) -> Spectrum {
    let one = Complex::new(1.0, 0.0);
    through
        .iter()
        .zip(turns(2.0 * PI * df_hz * advance_s))
        .map(|(t, advance)| {
            let r = one - t * advance;
            let power = r.norm_sqr();
            if power > 1.0 { r / power.sqrt() } else { r }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    /// Series impedance of flow resistance 0.3 and mass, both in `rho c` at 1 kHz.
    fn impedance(hz: f64) -> Complex<f64> {
        Complex::new(0.3, 0.15 * hz / 1000.0)
    }

    /// `1/(1 + z/2)`, delayed.
    fn through(fft: &RealFft, z: &dyn Fn(f64) -> Complex<f64>, delay_s: f64) -> Spectrum {
        let df_hz = RATE_HZ / fft.n_points() as f64;
        (0..fft.n_bins())
            .map(|k| {
                let hz = k as f64 * df_hz;
                (z(hz) / 2.0 + 1.0).inv() * Complex::from_polar(1.0, -2.0 * PI * hz * delay_s)
            })
            .collect()
    }

    /// `1/(1 + z/2)` of a passive sheet is minimum-phase: the delay put on it is all there is. Sheets
    /// of flow resistance and mass go on as is guessed beyond the sweep; a mass with air beside it
    /// does so only in the end.
    #[test]
    fn the_delay_put_on_a_sheet_is_found() {
        let fft = RealFft::new(2048);
        let mass = |hz: f64, m: f64| Complex::new(0.0, m * hz / 1000.0);
        type Impedance<'a> = &'a dyn Fn(f64) -> Complex<f64>;
        let sheets: [(Impedance, f64); 4] = [
            (&impedance, 1e-7),
            (&|hz| mass(hz, 0.5), 1e-7),
            (&|hz| mass(hz, 0.05) + 1.0, 1e-7),
            (&|hz| mass(hz, 1.5) / (mass(hz, 1.5) + 1.0), 1e-6),
        ];
        for (i, (z, within_s)) in sheets.into_iter().enumerate() {
            for delay_s in [-1e-5, 0.0, 2.5e-5] {
                let found = excess_delay_s(&fft, RATE_HZ, &through(&fft, z, delay_s)).unwrap();
                let off_s = (found - delay_s).abs();
                assert!(off_s < within_s, "sheet {i}: {found} for {delay_s}");
            }
        }
        assert_eq!(excess_delay_s(&fft, RATE_HZ, &vec![Complex::default(); fft.n_bins()]), None);
    }

    /// Closed form `R = (z/2)/(1 + z/2)`.
    #[test]
    fn a_thin_sheet_reflects_what_it_does_not_pass() {
        let fft = RealFft::new(2880);
        let df_hz = RATE_HZ / fft.n_points() as f64;
        let found = reflection(df_hz, &through(&fft, &impedance, 2e-5), 2e-5);
        for (k, r) in found.iter().enumerate() {
            let half = impedance(k as f64 * df_hz) / 2.0;
            let want = half / (half + 1.0);
            assert!((r - want).norm() < 1e-9, "bin {k}: {r} {want}");
        }
        // No more than all is reflected, whatever the transmission claims.
        let loud = vec![Complex::new(-3.0, 0.0); 4];
        assert!(reflection(df_hz, &loud, 0.0).iter().all(|r| r.norm() <= 1.0 + 1e-12));
    }
}
