//! Background noise of a room: hiss, rumble that falls with frequency, mains hum.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use std::f64::consts::PI;

/// What the background is made of. Shares are of power; they need not add up to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Sweep over noise at the first seat without the screen, mean powers over
    /// the sweep's time, broadband, dB.
    pub snr_db: f64,
    /// White share.
    pub white: f64,
    /// Pink share.
    pub pink: f64,
    /// Mains hum share: fundamental and odd harmonics.
    pub hum: f64,
    /// Mains frequency, Hz.
    pub mains_hz: f64,
}

impl Noise {
    /// Noise of `rms` over `n_frames`.
    pub fn samples(
        &self,
        n_frames: usize,
        rate_hz: f64,
        rms: f64,
        rng: &mut ChaCha8Rng,
    ) -> Vec<f64> {
        let mut sum = vec![0.0; n_frames];
        let total = (self.white + self.pink + self.hum).max(f64::MIN_POSITIVE);
        for (share, kind) in [(self.white, 0), (self.pink, 1), (self.hum, 2)] {
            if share <= 0.0 {
                continue;
            }
            let part = match kind {
                0 => (0..n_frames).map(|_| rng.sample(StandardNormal)).collect(),
                1 => pink(n_frames, rng),
                _ => hum(n_frames, rate_hz, self.mains_hz, rng),
            };
            let power: f64 = part.iter().map(|x: &f64| x * x).sum::<f64>() / n_frames.max(1) as f64;
            let scale = if power > 0.0 { rms * (share / total / power).sqrt() } else { 0.0 };
            for (s, x) in sum.iter_mut().zip(&part) {
                *s += scale * x;
            }
        }
        sum
    }
}

/// Noise of -3 dB an octave: a row of first-order low-passes, one an octave
/// from 12 Hz up, each with equal power.
fn pink(n_frames: usize, rng: &mut ChaCha8Rng) -> Vec<f64> {
    const STAGES: usize = 6;
    // Time constants a factor 4 apart: the sum stays within 0.5 dB of the slope between.
    let poles: [f64; STAGES] = std::array::from_fn(|k| (-0.8 / 4f64.powi(k as i32)).exp());
    let mut state = [0.0; STAGES];
    (0..n_frames)
        .map(|_| {
            let white: f64 = rng.sample(StandardNormal);
            let mut sum = 0.0;
            for (k, (s, p)) in state.iter_mut().zip(poles).enumerate() {
                *s = p * *s + (1.0 - p) * white * 2f64.powi(k as i32);
                sum += *s;
            }
            sum
        })
        .collect()
}

fn hum(n_frames: usize, rate_hz: f64, mains_hz: f64, rng: &mut ChaCha8Rng) -> Vec<f64> {
    let start: f64 = rng.random_range(0.0..2.0 * PI);
    (0..n_frames)
        .map(|n| {
            let phase = 2.0 * PI * mains_hz * n as f64 / rate_hz + start;
            phase.sin() + 0.5 * (3.0 * phase).sin() + 0.25 * (5.0 * phase).sin()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use realfft::RealFftPlanner;

    #[test]
    fn noise_has_the_asked_power() {
        let noise = Noise { snr_db: 40.0, white: 0.5, pink: 0.3, hum: 0.2, mains_hz: 50.0 };
        let x = noise.samples(96_000, 48e3, 0.1, &mut ChaCha8Rng::seed_from_u64(1));
        let rms = (x.iter().map(|v| v * v).sum::<f64>() / x.len() as f64).sqrt();
        assert!((rms / 0.1 - 1.0).abs() < 0.02, "{rms}");
    }

    /// Pink: equal power in every octave from 100 Hz to 6.4 kHz.
    #[test]
    fn pink_noise_has_equal_octaves() {
        let n = 1 << 18;
        let mut x = pink(n, &mut ChaCha8Rng::seed_from_u64(2));
        let fft = RealFftPlanner::<f64>::new().plan_fft_forward(n);
        let mut spectrum = fft.make_output_vec();
        fft.process(&mut x, &mut spectrum).unwrap();
        let octave = |f: f64| -> f64 {
            let bin = |hz: f64| (hz * n as f64 / 48e3) as usize;
            10.0 * spectrum[bin(f)..bin(2.0 * f)].iter().map(|c| c.norm_sqr()).sum::<f64>().log10()
        };
        let all: Vec<f64> = (0..6).map(|k| octave(100.0 * 2f64.powi(k))).collect();
        let spread = all.iter().cloned().fold(f64::MIN, f64::max)
            - all.iter().cloned().fold(f64::MAX, f64::min);
        assert!(spread < 2.0, "{all:?}");
    }
}
