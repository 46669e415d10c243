//! Small made-up takes for the tests of this folder: sweep, loudspeaker, decay, noise.

use crate::ingest::session::{Recording, SweepSignal};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A take and everything it is made of.
#[derive(Debug, Clone)]
pub(crate) struct Scene {
    pub rate_hz: u32,
    pub low_hz: f64,
    pub high_hz: f64,
    pub duration_s: f64,
    /// Silence before the sweep, s.
    pub lead_s: f64,
    /// Silence after the sweep, s.
    pub tail_s: f64,
    /// Peak of the direct sound, re full scale.
    pub level: f64,
    /// Rms of the room noise, re full scale; falls with frequency like a room's.
    pub noise: f64,
    /// Reverberation time, s.
    pub decay_s: f64,
    pub seed: u64,
}

impl Default for Scene {
    fn default() -> Self {
        Self {
            rate_hz: 48_000,
            low_hz: 20.0,
            high_hz: 20_000.0,
            duration_s: 2.5,
            lead_s: 0.5,
            tail_s: 1.0,
            level: 0.2,
            noise: 3e-4,
            decay_s: 0.35,
            seed: 11,
        }
    }
}

impl Scene {
    pub fn rate_constant_s(&self) -> f64 {
        self.duration_s / (self.high_hz / self.low_hz).ln()
    }

    /// The played signal: synchronised exponential sweep with 20 ms and 5 ms fades.
    pub fn sweep(&self) -> SweepSignal {
        let rate = f64::from(self.rate_hz);
        let l = self.rate_constant_s();
        let n = (self.duration_s * rate) as usize;
        let fade = |i: usize, length_s: f64| {
            let x = (i as f64 / (length_s * rate)).min(1.0);
            (0.5 * std::f64::consts::PI * x).sin().powi(2)
        };
        let samples = (0..n)
            .map(|i| {
                let t = i as f64 / rate;
                let phase = std::f64::consts::TAU * self.low_hz * l * (t / l).exp();
                phase.sin() * fade(i, 0.02) * fade(n - 1 - i, 0.005)
            })
            .collect();
        SweepSignal {
            samples,
            rate_hz: self.rate_hz,
            band_hz: [self.low_hz, self.high_hz],
            rate_constant_s: Some(l),
            active: 0..n,
        }
    }

    /// What arrives at the microphone, without noise: loudspeaker high-pass at 60 Hz,
    /// direct sound and a dense decay 10 dB below it.
    pub fn sound(&self, played: &[f64]) -> Vec<f64> {
        let rate = f64::from(self.rate_hz);
        let n = played.len() + ((self.lead_s + self.tail_s) * rate) as usize;
        let offset = (self.lead_s * rate) as usize;
        let corner = (-std::f64::consts::TAU * 60.0 / rate).exp();
        let (mut last_in, mut last_out) = (0.0, 0.0);
        let mut sound = vec![0.0; n];
        let mut direct = vec![0.0; n];
        for (i, x) in played.iter().enumerate() {
            last_out = corner * (last_out + x - last_in);
            last_in = *x;
            direct[offset + i] = self.level * last_out;
        }
        // Four recirculating delays with all their energy some 10 dB below the direct sound.
        for (delay_s, sign) in [(0.0113, 1.0), (0.0171, -1.0), (0.0237, 1.0), (0.0293, -1.0)] {
            let delay = (delay_s * rate) as usize;
            let keep = 10f64.powf(-3.0 * delay_s / self.decay_s);
            let mut line = vec![0.0; n];
            for i in delay..n {
                line[i] = sign * keep * line[i - delay] + direct[i - delay];
                sound[i] += 0.1 * line[i];
            }
        }
        for (y, x) in sound.iter_mut().zip(&direct) {
            *y += x;
        }
        sound
    }

    /// Room noise: white noise through a gentle low-pass, and a little white.
    pub fn noise(&self, n: usize) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let mut low = 0.0;
        (0..n)
            .map(|_| {
                let x: f64 = StandardNormal.sample(&mut rng);
                low += 0.03 * (x - low);
                self.noise * (7.0 * low + 0.3 * x)
            })
            .collect()
    }

    /// The whole take.
    pub fn take(&self) -> Recording {
        self.take_of(&self.sweep().samples)
    }

    /// A take of some other signal.
    pub fn take_of(&self, played: &[f64]) -> Recording {
        let mut mic = self.sound(played);
        let noise = self.noise(mic.len());
        for (x, noise) in mic.iter_mut().zip(noise) {
            *x += noise;
        }
        Recording::of_microphone(self.rate_hz, mic, Some(24))
    }
}
