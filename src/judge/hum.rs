//! Mains hum: lines at multiples of 50 or 60 Hz in the silence of a take.
//!
//! The spectra of the silence before and after the sweep are added by power, since nobody
//! knows the mains frequency well enough to add them by phase.

use super::track::Course;
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
const TWO_LINES_DB: f64 = 13.0;
/// Hum is worth a word where its lines together hold the power of so much bandwidth of the
/// noise around them, Hz: whatever the length of the silence.
const WORTH_HZ: f64 = 210.0;
/// Silence nearer to the start of the sweep than this is not used, s.
const GUARD_S: f64 = 0.04;
/// After its end the sweep's treble is given this long to decay, s ...
const TREBLE_DECAY_S: f64 = 0.25;
/// ... and, after it has left the lines looked at, the room's bass this long, s.
const BASS_DECAY_S: f64 = 0.6;
/// The sweep has left the lines above this frequency, Hz.
const ABOVE_LINES_HZ: f64 = 500.0;
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

/// Before and after the sweep that starts at `start_s`: what holds neither its treble nor
/// bass that still rings.
pub fn silences<'a>(
    samples: &'a [f64],
    rate_hz: u32,
    course: &Course,
    start_s: f64,
) -> [&'a [f64]; 2] {
    let index = |time_s: f64| ((time_s * f64::from(rate_hz)).max(0.0) as usize).min(samples.len());
    let treble_gone_s = course.duration_s() + TREBLE_DECAY_S;
    let bass_gone_s = course.passes_s(ABOVE_LINES_HZ) + BASS_DECAY_S;
    let after_s = start_s + treble_gone_s.max(bass_gone_s);
    [&samples[..index(start_s - GUARD_S)], &samples[index(after_s)..]]
}

/// Spectra of several stretches, added by power.
#[derive(Default)]
struct Pooled {
    power: Vec<f64>,
    /// What a line of mean square 1 comes to at its bin.
    of_line: f64,
    /// What noise of density 1 per Hz comes to, and the squares of what each stretch adds.
    of_noise: f64,
    squares: f64,
}

impl HumFinder {
    /// Looks for lines in stretches of silence; `None` without lines or with too little silence.
    pub fn find(&self, silences: &[&[f64]], rate_hz: u32) -> Option<Hum> {
        let step = (f64::from(rate_hz) / SLOW_RATE_HZ).round().max(1.0) as usize;
        let rate = f64::from(rate_hz) / step as f64;
        let mut pooled = Pooled { power: vec![0.0; N_FFT / 2 + 1], ..Pooled::default() };
        for silence in silences {
            let slow: Vec<f64> = silence[..silence.len().min(N_FFT * step)]
                .chunks_exact(step)
                .map(|chunk| chunk.iter().sum::<f64>() / step as f64)
                .collect();
            if slow.len() as f64 >= SHORTEST_S * rate {
                self.add(&slow, rate, &mut pooled);
            }
        }
        let bin_hz = rate / N_FFT as f64;
        let families = [50.0, 60.0].map(|mains_hz| lines(&pooled, bin_hz, mains_hz));
        let best = families.into_iter().zip([50.0, 60.0]).max_by(|(a, _), (b, _)| {
            let sum = |all: &[Line]| all.iter().map(|line| line.height_db).sum::<f64>();
            sum(a).total_cmp(&sum(b))
        });
        let (lines, mains_hz) = best?;
        let enough = lines.len() >= 2 || lines.iter().any(|line| line.height_db >= ONE_LINE_DB);
        let worth = lines.iter().map(|line| line.noise_hz).sum::<f64>() >= WORTH_HZ;
        let strongest = lines.iter().map(|line| line.mean_square).fold(0.0, f64::max);
        (enough && worth).then(|| Hum {
            mains_hz,
            lines: lines.iter().map(|line| (line.hz, line.height_db)).collect(),
            level_dbfs: 10.0 * strongest.log10(),
        })
    }

    /// Adds the spectrum of one stretch, Hann window.
    fn add(&self, slow: &[f64], rate: f64, pooled: &mut Pooled) {
        let n = slow.len();
        let mean = slow.iter().sum::<f64>() / n as f64;
        let mut input = vec![0.0; N_FFT];
        let (mut sum, mut energy) = (0.0, 0.0);
        for (i, (y, x)) in input.iter_mut().zip(slow).enumerate() {
            let phase = std::f64::consts::TAU * (i as f64 + 0.5) / n as f64;
            let w = 0.5 - 0.5 * phase.cos();
            sum += w;
            energy += w * w;
            *y = w * (x - mean);
        }
        let mut output = self.fft.make_output_vec();
        // Cannot fail: both lengths are the plan's.
        if self.fft.process(&mut input, &mut output).is_err() {
            return;
        }
        for (power, x) in pooled.power.iter_mut().zip(&output) {
            *power += x.norm_sqr();
        }
        // A sine of mean square P gives P / 2 times the window's sum squared; one-sided noise of
        // density N gives N rate / 2 times the window's energy.
        pooled.of_line += 0.5 * sum * sum;
        let noise = 0.5 * rate * energy;
        pooled.of_noise += noise;
        pooled.squares += noise * noise;
    }
}

/// A line of the mains.
struct Line {
    hz: f64,
    /// Above the noise in one bin.
    height_db: f64,
    mean_square: f64,
    /// Bandwidth of the noise around it that holds the same power.
    noise_hz: f64,
}

/// Lines of one family.
fn lines(pooled: &Pooled, bin_hz: f64, mains_hz: f64) -> Vec<Line> {
    let power = &pooled.power;
    // Powers of noise are gamma distributed with so many stretches, some shorter than others.
    let stretches = pooled.of_noise * pooled.of_noise / pooled.squares;
    // Median over mean, Wilson-Hilferty; 0.70 for one (exactly ln 2).
    let median_over_mean = (1.0 - 1.0 / (9.0 * stretches)).powi(3);
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
        let above = top * median_over_mean / middle;
        let height_db = 10.0 * above.log10();
        if height_db >= TWO_LINES_DB {
            let mean_square = top / pooled.of_line;
            let noise_hz = above * pooled.of_noise / pooled.of_line;
            found.push(Line { hz, height_db, mean_square, noise_hz });
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
            assert_eq!(finder.find(&[&silence(seed, &[])], 48_000), None, "seed {seed}");
        }
        assert_eq!(finder.find(&[], 48_000), None);
        assert_eq!(finder.find(&[&[]], 48_000), None);
        assert_eq!(finder.find(&[&vec![0.0; 24_000]], 48_000), None);
    }

    #[test]
    fn both_mains_are_told_apart() {
        let finder = HumFinder::default();
        for (mains, other) in [(50.0, 60.0), (60.0, 50.0)] {
            let lines = [(mains, 4e-4), (2.0 * mains, 2e-4), (3.0 * mains, 2e-4)];
            let hum = finder.find(&[&silence(3, &lines)], 48_000).expect("hum");
            assert_eq!(hum.mains_hz, mains, "not {other}");
            assert!(hum.lines.len() >= 2, "{hum:?}");
            // Rms 4e-4 is -67.96 dB re full scale.
            assert!((hum.level_dbfs + 67.96).abs() < 1.0, "{hum:?}");
        }
    }

    #[test]
    fn what_is_worth_a_word_does_not_depend_on_the_length_of_the_silence() {
        // The scene's noise of 3e-4 at 50 to 100 Hz, closed form: a low-pass with its corner at
        // 0.03 x 48 kHz / 2 pi = 229 Hz, 7 times, and 0.3 of white noise: density 1.8e-10 per Hz.
        let rms = |bandwidth_hz: f64| (1.8e-10 * bandwidth_hz).sqrt();
        let finder = HumFinder::default();
        for length in [0.7, 1.0] {
            for seed in 0..20 {
                let heard = |each_hz: f64| {
                    let lines = [(50.0, rms(each_hz)), (100.0, rms(each_hz))];
                    let (before, after) = (silence(seed, &lines), silence(seed + 100, &lines));
                    let after = &after[..(length * 24e3) as usize];
                    finder.find(&[&before, after], 48_000).is_some()
                };
                assert!(heard(600.0), "seed {seed}, {length} of the silence");
                assert!(!heard(10.0), "seed {seed}, {length} of the silence");
            }
        }
    }

    #[test]
    fn silence_is_before_the_sweep_and_after_its_decay() {
        let scene = Scene::default();
        let course = Course::of(&scene.sweep()).expect("an exponential sweep");
        let samples = vec![0.0; 4 * 48_000];
        let [before, after] = silences(&samples, 48_000, &course, 0.5);
        // 0.46 s before; from 0.5 + 2.5 + 0.25 s on, after what was 500 Hz at 1.66 s.
        assert_eq!(before.len(), 22_080);
        assert!((after.len() as f64 - 0.75 * 48e3).abs() < 2.0, "{}", after.len());
        let [before, after] = silences(&samples[..48_000], 48_000, &course, -0.1);
        assert!(before.is_empty() && after.is_empty());
    }

    #[test]
    fn other_tones_are_no_hum() {
        let finder = HumFinder::default();
        assert_eq!(finder.find(&[&silence(5, &[(137.0, 5e-4), (83.0, 5e-4)])], 48_000), None);
    }
}
