//! Sounds made by the program. Each is the same every time (fixed seeds) and goes round without a
//! seam: its end leads into its beginning.

use crate::transfer::fft::RealFft;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use realfft::num_complex::Complex;
use std::f64::consts::TAU;

/// A sound to listen to.
#[derive(Debug, Clone)]
pub struct Sound {
    /// Short name, fit for a file.
    pub key: String,
    /// Name for people.
    pub title: String,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Samples, one vector a channel, full scale = 1.
    pub channels: Vec<Vec<f64>>,
    /// Whether its end leads into its beginning.
    pub goes_round: bool,
}

/// Sounds that the program makes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Made {
    /// Equal power in every octave, 20 Hz to 20 kHz.
    Pink,
    /// Short clicks in a pattern.
    Clicks,
    /// Noise with the spectrum of speech, in syllables.
    Speech,
}

/// All of them, in the order in which they are offered.
pub const ALL: [Made; 3] = [Made::Pink, Made::Clicks, Made::Speech];

/// Rate of made sounds, Hz.
pub const RATE_HZ: u32 = 48_000;
/// Length of made sounds, s.
const LENGTH_S: usize = 8;
/// Root mean square of noises, full scale = 1: -26 dB.
const RMS: f64 = 0.05;
/// Clicks reach this high: -9 dB.
const CLICK_PEAK: f64 = 0.35;
const SEED: u64 = 20_260_314;

/// Spectrum level of speech at normal effort, third-octave bands from 160 Hz to 8 kHz, dB
/// (standard speech spectrum of ANSI S3.5-1997; figures from memory).
const SPEECH_DB: [f64; 18] = [
    32.41, 34.48, 34.75, 33.98, 34.59, 34.27, 32.06, 28.30, 25.01, 23.00, 20.15, 17.32, 13.18,
    11.55, 9.33, 5.31, 2.59, 1.13,
];
/// Third octaves from 1 kHz down to the first of them.
const SPEECH_FIRST: f64 = -8.0;
/// Outside of them it falls so fast, dB a third octave.
const SPEECH_FALL_DB: f64 = 6.0;
/// Times at which clicks fall in a bar of a second, ms, and how high they are.
const BAR: [(usize, f64); 5] = [(0, 1.0), (250, 0.5), (375, 0.7), (500, 1.0), (750, 0.5)];

impl Made {
    /// Short name.
    pub fn key(self) -> &'static str {
        match self {
            Self::Pink => "pink",
            Self::Clicks => "clicks",
            Self::Speech => "speech",
        }
    }

    /// Name for people.
    pub fn title(self) -> &'static str {
        match self {
            Self::Pink => "pink noise",
            Self::Clicks => "clicks",
            Self::Speech => "speech-shaped noise",
        }
    }

    /// The one of this short name.
    pub fn from_key(key: &str) -> Option<Self> {
        ALL.into_iter().find(|made| made.key() == key)
    }

    /// Makes the sound.
    pub fn sound(self) -> Sound {
        let n = LENGTH_S * RATE_HZ as usize;
        let samples = match self {
            Self::Pink => noise(n, &|hz| if hz < 20_000.0 { 1.0 / hz.sqrt() } else { 0.0 }),
            Self::Clicks => clicks(n),
            Self::Speech => in_syllables(noise(n, &|hz| speech_pressure(hz))),
        };
        Sound {
            key: self.key().into(),
            title: self.title().into(),
            rate_hz: RATE_HZ,
            channels: vec![samples],
            goes_round: true,
        }
    }
}

/// Noise of a spectrum, as lines with random phases: it goes round, and its power in a band is
/// exactly that of the lines.
fn noise(n: usize, pressure: &dyn Fn(f64) -> f64) -> Vec<f64> {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let fft = RealFft::new(n);
    let step_hz = f64::from(RATE_HZ) / n as f64;
    let spectrum: Vec<Complex<f64>> = (0..fft.n_bins())
        .map(|k| {
            let hz = k as f64 * step_hz;
            let phase = random.random_range(0.0..TAU);
            let there = hz >= 20.0 && k + 1 < fft.n_bins();
            if there { Complex::from_polar(pressure(hz), phase) } else { Complex::default() }
        })
        .collect();
    at_level(fft.inverse(spectrum))
}

/// Samples brought to [`RMS`].
fn at_level(mut samples: Vec<f64>) -> Vec<f64> {
    let power = samples.iter().map(|x| x * x).sum::<f64>() / samples.len() as f64;
    samples.iter_mut().for_each(|x| *x *= RMS / power.sqrt());
    samples
}

fn speech_pressure(hz: f64) -> f64 {
    let position = 10.0 * (hz / 1000.0).log10() - SPEECH_FIRST;
    let last = (SPEECH_DB.len() - 1) as f64;
    let inside = position.clamp(0.0, last);
    let i = (inside as usize).min(SPEECH_DB.len() - 2);
    let level = SPEECH_DB[i] + (SPEECH_DB[i + 1] - SPEECH_DB[i]) * (inside - i as f64);
    10f64.powf((level - SPEECH_FALL_DB * (position - inside).abs()) / 20.0)
}

/// Three to five syllables a second, each a swell of its own height.
fn in_syllables(samples: Vec<f64>) -> Vec<f64> {
    let n = samples.len() as f64;
    let swell = |i: usize| {
        let turns = TAU * i as f64 / n * LENGTH_S as f64;
        let slow = 0.5 + 0.3 * (turns * 4.0).sin() + 0.2 * (turns * 2.75 + 1.0).sin();
        slow.max(0.05)
    };
    at_level(samples.iter().enumerate().map(|(i, x)| x * swell(i)).collect())
}

/// Clicks of half a sine over 0.1 ms, one after the other in bars of a second.
fn clicks(n: usize) -> Vec<f64> {
    let mut samples = vec![0.0; n];
    let rate = RATE_HZ as usize;
    let width = rate / 10_000;
    for bar in 0..LENGTH_S {
        for (ms, height) in BAR {
            let at = bar * rate + ms * rate / 1000;
            for i in 0..=width {
                let part = (i as f64 + 0.5) / (width + 1) as f64;
                samples[at + i] += CLICK_PEAK * height * (0.5 * TAU * part).sin();
            }
        }
    }
    samples
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Equal power in every octave is what pink means (IEC 60268-1).
    #[test]
    fn pink_noise_is_pink_and_all_sounds_keep_their_level() {
        let pink = Made::Pink.sound();
        let spectrum = RealFft::new(pink.channels[0].len()).forward(&pink.channels[0]);
        let octave = |low: f64| {
            let bins = (low * LENGTH_S as f64) as usize..(2.0 * low * LENGTH_S as f64) as usize;
            10.0 * spectrum[bins].iter().map(Complex::norm_sqr).sum::<f64>().log10()
        };
        for low in [40.0, 160.0, 640.0, 2560.0, 8000.0] {
            assert!((octave(low) - octave(1000.0)).abs() < 0.02, "{low}");
        }
        for made in ALL {
            let sound = made.sound();
            let peak = sound.channels[0].iter().fold(0.0, |p: f64, x| p.max(x.abs()));
            assert!(peak > 0.1 && peak < 0.5, "{}: {peak}", sound.key);
            assert_eq!(sound.channels[0], made.sound().channels[0]);
            assert_eq!(Made::from_key(made.key()), Some(made));
        }
    }

    #[test]
    fn speech_shaped_noise_falls_as_the_standard_has_it() {
        let level = |hz: f64| 20.0 * speech_pressure(hz).log10();
        for (hz, want) in [(500.0, 34.27), (1000.0, 25.01), (4000.0, 9.33)] {
            // Nominal against exact mid-bands.
            assert!((level(hz) - want).abs() < 0.2, "{hz}: {}", level(hz));
        }
    }
}
