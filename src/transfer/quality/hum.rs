//! Mains hum: lines at multiples of 50 or 60 Hz in the silence of a take.

use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Highest multiple looked at.
const MULTIPLES: u32 = 8;
/// The silence is averaged down to about this rate before it is transformed, Hz.
const SLOW_RATE_HZ: f64 = 3000.0;
/// Transform length at the slow rate.
const N_FFT: usize = 4096;
/// Shortest silence that separates lines from noise, s.
const SHORTEST_S: f64 = 0.3;
/// A line alone must stand this far above the noise around it, dB; by chance none
/// does in 10^20 takes.
const ONE_LINE_DB: f64 = 19.0;
/// Two lines of one family must stand this far, dB.
const TWO_LINES_DB: f64 = 15.0;
/// Noise around a line is taken between these distances, Hz.
const BESIDE_HZ: [f64; 2] = [7.0, 22.0];

/// Hum found in the silence of a take.
#[derive(Debug, Clone, PartialEq)]
pub struct Hum {
    /// Mains frequency, 50 or 60 Hz.
    pub mains_hz: f64,
    /// Lines found: frequency in Hz and height above the noise around it in dB.
    pub lines: Vec<(f64, f64)>,
    /// Rms level of the strongest line, dB re full scale.
    pub level_dbfs: f64,
}

/// Transform for the hum search, planned once.
pub struct HumFinder {
    fft: Arc<dyn RealToComplex<f64>>,
}

impl Default for HumFinder {
    fn default() -> Self {
        Self { fft: RealFftPlanner::new().plan_fft_forward(N_FFT) }
    }
}

impl HumFinder {
    /// Looks for lines in `silence`; `None` without lines or with too little silence.
    pub fn find(&self, silence: &[f64], rate_hz: u32) -> Option<Hum> {
        let step = (f64::from(rate_hz) / SLOW_RATE_HZ).round().max(1.0) as usize;
        let rate = f64::from(rate_hz) / step as f64;
        let longest = N_FFT * step;
        let slow: Vec<f64> = silence[..silence.len().min(longest)]
            .chunks_exact(step)
            .map(|chunk| chunk.iter().sum::<f64>() / step as f64)
            .collect();
        if (slow.len() as f64) < SHORTEST_S * rate {
            return None;
        }
        let power = self.spectrum(&slow)?;
        let bin_hz = rate / N_FFT as f64;
        let families = [50.0, 60.0].map(|mains_hz| lines(&power, bin_hz, mains_hz));
        let best = families.into_iter().zip([50.0, 60.0]).max_by(|(a, _), (b, _)| {
            let sum = |all: &[(f64, f64, f64)]| all.iter().map(|line| line.1).sum::<f64>();
            sum(a).total_cmp(&sum(b))
        });
        let (lines, mains_hz) = best?;
        let enough = lines.len() >= 2 || lines.iter().any(|line| line.1 >= ONE_LINE_DB);
        let level = lines.iter().map(|line| line.2).fold(0.0, f64::max);
        enough.then(|| Hum {
            mains_hz,
            lines: lines.iter().map(|line| (line.0, line.1)).collect(),
            level_dbfs: 10.0 * level.log10(),
        })
    }

    /// Power of a sine line (mean square) at its bin, Hann window.
    fn spectrum(&self, slow: &[f64]) -> Option<Vec<f64>> {
        let n = slow.len();
        let mean = slow.iter().sum::<f64>() / n as f64;
        let mut input = vec![0.0; N_FFT];
        let mut sum = 0.0;
        for (i, (y, x)) in input.iter_mut().zip(slow).enumerate() {
            let phase = std::f64::consts::TAU * (i as f64 + 0.5) / n as f64;
            let w = 0.5 - 0.5 * phase.cos();
            sum += w;
            *y = w * (x - mean);
        }
        let mut output = self.fft.make_output_vec();
        self.fft.process(&mut input, &mut output).ok()?;
        Some(output.iter().map(|x| 2.0 * x.norm_sqr() / (sum * sum)).collect())
    }
}

/// Lines of one family: frequency, height in dB, mean square.
fn lines(power: &[f64], bin_hz: f64, mains_hz: f64) -> Vec<(f64, f64, f64)> {
    let mut found = Vec::new();
    for multiple in 1..=MULTIPLES {
        let hz = mains_hz * f64::from(multiple);
        let range = |low: f64, high: f64| {
            let (low, high) = ((low / bin_hz).ceil() as usize, (high / bin_hz).floor() as usize);
            low.min(power.len())..(high + 1).min(power.len())
        };
        // Mains frequency is kept to 1 %; a line must have its top here, not on a slope.
        let near = &power[range(hz * 0.99, hz * 1.01 + bin_hz)];
        let top = near.iter().copied().fold(0.0, f64::max);
        let wider = &power[range(hz - BESIDE_HZ[0], hz + BESIDE_HZ[0])];
        if wider.iter().any(|x| *x > top) {
            continue;
        }
        let mut beside: Vec<f64> = power[range(hz - BESIDE_HZ[1], hz - BESIDE_HZ[0])].to_vec();
        beside.extend_from_slice(&power[range(hz + BESIDE_HZ[0], hz + BESIDE_HZ[1])]);
        beside.sort_by(f64::total_cmp);
        let Some(middle) = beside.get(beside.len() / 2).filter(|x| **x > 0.0) else { continue };
        // Median over mean of exponentially distributed powers is ln 2.
        let height_db = 10.0 * (top * std::f64::consts::LN_2 / middle).log10();
        if height_db >= TWO_LINES_DB {
            found.push((hz, height_db, top));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::scene::Scene;
    use super::*;

    fn silence(seed: u64, hum: &[(f64, f64)]) -> Vec<f64> {
        let mut x = Scene { seed, ..Scene::default() }.noise(24_000);
        for (i, y) in x.iter_mut().enumerate() {
            for (hz, rms) in hum {
                *y += rms * 2f64.sqrt() * (std::f64::consts::TAU * hz * i as f64 / 48e3).sin();
            }
        }
        x
    }

    #[test]
    fn noise_alone_has_no_hum() {
        let finder = HumFinder::default();
        for seed in 0..200 {
            assert_eq!(finder.find(&silence(seed, &[]), 48_000), None, "seed {seed}");
        }
        assert_eq!(finder.find(&[], 48_000), None);
        assert_eq!(finder.find(&vec![0.0; 24_000], 48_000), None);
    }

    #[test]
    fn both_mains_are_told_apart() {
        let finder = HumFinder::default();
        for (mains, other) in [(50.0, 60.0), (60.0, 50.0)] {
            let lines = [(mains, 4e-4), (2.0 * mains, 2e-4), (3.0 * mains, 2e-4)];
            let hum = finder.find(&silence(3, &lines), 48_000).expect("hum");
            assert_eq!(hum.mains_hz, mains, "not {other}");
            assert!(hum.lines.len() >= 2, "{hum:?}");
            // Rms 4e-4 is -67.96 dB re full scale.
            assert!((hum.level_dbfs + 67.96).abs() < 1.0, "{hum:?}");
        }
    }

    #[test]
    fn other_tones_are_no_hum() {
        let finder = HumFinder::default();
        assert_eq!(finder.find(&silence(5, &[(137.0, 5e-4), (83.0, 5e-4)]), 48_000), None);
    }
}
