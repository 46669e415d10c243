//! Short-time band powers of a take: what every judgement of one take reads.
//!
//! One pass of short transforms costs a fraction of one long transform of the whole take and
//! shows *when* something happened, which a transfer function cannot.

use crate::transfer::powers::PowerPlan;
use crate::units::ThirdOctave;

/// Index of the lowest and highest third-octave band looked at: 100 Hz and 20 kHz.
const BANDS: std::ops::RangeInclusive<i32> = -10..=13;
/// Frame length aimed at, s; the nearest power of two is taken.
const FRAME_S: f64 = 0.0213;
/// Regions, an octave wide each, that each offer one spectral peak: edges in Hz.
const REGIONS_HZ: [f64; 8] = [150.0, 300.0, 600.0, 1200.0, 2400.0, 4800.0, 9600.0, 19_200.0];
/// A peak must stand this far above the mean of its region's power, dB.
const PEAK_ABOVE_REGION_DB: f64 = 6.0;
/// A peak must come this close to the strongest peak of its frame, dB.
const PEAK_BELOW_STRONGEST_DB: f64 = 25.0;

/// Transforms and windows for one sampling rate; planned once, shared by all takes.
pub struct Analyser {
    rate_hz: u32,
    n_frame: usize,
    window: Vec<f32>,
    fft: PowerPlan,
    bands: Vec<ThirdOctave>,
    edges_hz: Vec<[f64; 2]>,
    /// Per band the bins and the part of each bin that lies inside.
    weights: Vec<(usize, Vec<f32>)>,
    regions: Vec<(usize, usize)>,
    /// Power of a sine of amplitude 1 spread over its bins, so that powers are `rms^2`.
    scale: f32,
}

/// A spectral peak of one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    pub frame: usize,
    /// Frequency, interpolated between bins, Hz.
    pub hz: f64,
}

/// Band powers over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrogram {
    /// Third-octave bands below half the sampling rate.
    pub bands: Vec<ThirdOctave>,
    /// Lower and upper edge of each band, Hz: asked for far more often than worked out.
    pub edges_hz: Vec<[f64; 2]>,
    /// Mean-square power re full scale, `frame x band`, row by row.
    pub power: Vec<f32>,
    /// Number of frames.
    pub n_frames: usize,
    /// Distance of frames, s.
    pub hop_s: f64,
    /// Time of the middle of frame 0, s from the start of the file.
    pub first_s: f64,
    /// Length of a frame, s.
    pub frame_s: f64,
    /// Spectral peaks, at most one an octave and frame, in the order of the frames.
    pub peaks: Vec<Peak>,
}

impl Spectrogram {
    /// Time of the middle of a frame, s from the start of the file.
    pub fn time_s(&self, frame: usize) -> f64 {
        self.first_s + frame as f64 * self.hop_s
    }

    /// Power in one band of one frame, re full scale.
    pub fn at(&self, frame: usize, band: usize) -> f64 {
        f64::from(self.power[frame * self.bands.len() + band])
    }

    /// The band that holds a frequency.
    pub fn band_of(&self, hz: f64) -> Option<usize> {
        self.edges_hz.iter().position(|[low, high]| (*low..*high).contains(&hz))
    }

    /// Effective degrees of freedom of a frame's power of white noise in a band:
    /// `2 x width x duration x 0.67`, the last factor for the window; at least 2.
    pub fn noise_dof(&self, band: usize) -> f64 {
        (2.0 * self.bands[band].width_hz() * self.frame_s * 0.67).max(2.0)
    }
}

impl Analyser {
    /// Plans transforms for recordings with `rate_hz` samples a second.
    pub fn new(rate_hz: u32) -> Self {
        let rate = f64::from(rate_hz);
        let n_frame = 1usize << (rate * FRAME_S).log2().round().clamp(5.0, 15.0) as u32;
        let fft = PowerPlan::new(n_frame);
        let window: Vec<f32> = (0..n_frame)
            .map(|i| {
                let phase = std::f64::consts::TAU * (i as f64 + 0.5) / n_frame as f64;
                (0.5 - 0.5 * phase.cos()) as f32
            })
            .collect();
        let window_energy: f32 = window.iter().map(|w| w * w).sum();
        let bin_hz = rate / n_frame as f64;
        let bands: Vec<ThirdOctave> = BANDS
            .map(ThirdOctave::from_index)
            .filter(|band| band.upper_hz() <= 0.47 * rate)
            .collect();
        let weights = bands.iter().map(|band| weights(*band, bin_hz, n_frame / 2)).collect();
        let bin = |hz: f64| ((hz / bin_hz).round() as usize).min(n_frame / 2 - 2);
        let regions = REGIONS_HZ
            .windows(2)
            .map(|edge| (bin(edge[0]).max(2), bin(edge[1])))
            .filter(|(low, high)| high > low)
            .collect();
        // Parseval for a one-sided spectrum: mean square = 2 sum |X|^2 / (N sum w^2).
        let scale = 2.0 / (n_frame as f32 * window_energy);
        let edges_hz = bands.iter().map(|band| [band.lower_hz(), band.upper_hz()]).collect();
        Self { rate_hz, n_frame, window, fft, bands, edges_hz, weights, regions, scale }
    }

    /// Sampling rate that this was planned for, Hz.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Band powers and peaks of a take.
    ///
    /// # Shapes
    /// `1 + (n_samples - n_frame) / (n_frame / 2)` frames; none for a take shorter than one.
    pub fn spectrogram(&self, samples: &[f64]) -> Spectrogram {
        let hop = self.n_frame / 2;
        let rate = f64::from(self.rate_hz);
        let n_frames =
            if samples.len() < self.n_frame { 0 } else { 1 + (samples.len() - self.n_frame) / hop };
        let mut work = self.fft.workspace();
        let mut power = vec![0f32; n_frames * self.bands.len()];
        let mut bins = vec![0f32; self.fft.n_bins()];
        let mut peaks = Vec::with_capacity(2 * n_frames);
        for frame in 0..n_frames {
            let heard = &samples[frame * hop..frame * hop + self.n_frame];
            for ((point, sample), w) in work.points.iter_mut().zip(heard).zip(&self.window) {
                *point = *sample as f32 * w;
            }
            self.fft.power(&mut work, self.scale, &mut bins);
            let row = &mut power[frame * self.bands.len()..(frame + 1) * self.bands.len()];
            for (value, (first, weight)) in row.iter_mut().zip(&self.weights) {
                *value = bins[*first..].iter().zip(weight).map(|(bin, w)| bin * w).sum();
            }
            self.collect_peaks(&bins, frame, &mut peaks);
        }
        Spectrogram {
            bands: self.bands.clone(),
            edges_hz: self.edges_hz.clone(),
            power,
            n_frames,
            hop_s: hop as f64 / rate,
            first_s: hop as f64 / rate,
            frame_s: self.n_frame as f64 / rate,
            peaks,
        }
    }

    fn collect_peaks(&self, bins: &[f32], frame: usize, peaks: &mut Vec<Peak>) {
        let bin_hz = f64::from(self.rate_hz) / self.n_frame as f64;
        let above_region = 10f32.powf(PEAK_ABOVE_REGION_DB as f32 / 10.0);
        let mut found = [(0usize, 0f32); REGIONS_HZ.len()];
        let mut strongest = 0f32;
        // A sweep below the regions is the strongest without being a peak of any of them.
        let below = self.regions.first().map_or(0, |region| region.0);
        strongest = bins[1..below.max(1)].iter().copied().fold(strongest, f32::max);
        for ((low, high), slot) in self.regions.iter().zip(&mut found) {
            let region = &bins[*low..*high];
            let height = region.iter().copied().fold(0f32, f32::max);
            let sum: f32 = region.iter().sum();
            strongest = strongest.max(height);
            // The main lobe of the window holds about 1.5 bins of power.
            let rest = (sum - 1.5 * height).max(0.0) / (region.len() as f32 - 1.0).max(1.0);
            let stands = height > rest * above_region;
            if stands && height > 0.0 {
                let top = region.iter().position(|bin| *bin == height).unwrap_or(0);
                *slot = (low + top, height);
            }
        }
        let least = strongest * 10f32.powf(-PEAK_BELOW_STRONGEST_DB as f32 / 10.0);
        for (bin, height) in found {
            let neighbours = bin > 0 && bins[bin] >= bins[bin - 1] && bins[bin] >= bins[bin + 1];
            if height <= 0.0 || height < least || !neighbours {
                continue;
            }
            peaks.push(Peak { frame, hz: (bin as f64 + offset(bins, bin)) * bin_hz });
        }
    }
}

/// Distance of the true peak from the highest bin, in bins: parabola through the logarithms.
fn offset(bins: &[f32], bin: usize) -> f64 {
    let log = |i: usize| f64::from(bins[i].max(1e-30)).ln();
    let (left, mid, right) = (log(bin - 1), log(bin), log(bin + 1));
    let bend = left - 2.0 * mid + right;
    if bend < 0.0 { (0.5 * (left - right) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// First bin of a band and the part of each following bin that lies inside.
fn weights(band: ThirdOctave, bin_hz: f64, last: usize) -> (usize, Vec<f32>) {
    let (low, high) = (band.lower_hz() / bin_hz, band.upper_hz() / bin_hz);
    let first = (low + 0.5).floor() as usize;
    let end = ((high + 0.5).floor() as usize).min(last);
    let part = |bin: usize| {
        let (left, right) = (bin as f64 - 0.5, bin as f64 + 0.5);
        (right.min(high) - left.max(low)).max(0.0) as f32
    };
    (first, (first..=end).map(part).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sine_has_its_power_in_its_band_and_its_peak_at_its_frequency() {
        let analyser = Analyser::new(48_000);
        let hz = 1013.0;
        let sine: Vec<f64> = (0..24_000)
            .map(|i| 0.5 * (std::f64::consts::TAU * hz * f64::from(i) / 48e3).sin())
            .collect();
        let s = analyser.spectrogram(&sine);
        let khz = s.bands.iter().position(|b| b.index() == 0).expect("1 kHz");
        // Mean square of amplitude 0.5 is 0.125; closed form.
        let power = s.at(10, khz);
        assert!((power - 0.125).abs() < 0.001, "{power}");
        assert!(s.at(10, khz + 3) < 1e-6 * power, "leaks into the next octave");
        let peak = s.peaks.iter().find(|p| p.frame == 10).expect("one peak");
        assert!((peak.hz - hz).abs() < 2.0, "{}", peak.hz);
    }

    #[test]
    fn white_noise_has_power_in_proportion_to_width() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7);
        let noise: Vec<f64> = (0..96_000)
            .map(|_| {
                let x: f64 = StandardNormal.sample(&mut rng);
                0.1 * x
            })
            .collect();
        let s = Analyser::new(48_000).spectrogram(&noise);
        for (b, band) in s.bands.iter().enumerate().filter(|(_, band)| band.index() >= 0) {
            let mean = (0..s.n_frames).map(|f| s.at(f, b)).sum::<f64>() / s.n_frames as f64;
            // Mean square 0.01 over 24 kHz, closed form.
            let want = 0.01 * band.width_hz() / 24e3;
            let error_db = 10.0 * (mean / want).log10();
            assert!(error_db.abs() < 0.7, "{} Hz: {error_db:.2} dB", band.nominal_hz());
        }
    }

    #[test]
    fn short_takes_and_other_rates_are_survived() {
        for rate in [8000, 44_100, 96_000, 192_000] {
            let analyser = Analyser::new(rate);
            assert_eq!(analyser.spectrogram(&[]).n_frames, 0);
            assert_eq!(analyser.spectrogram(&[0.0; 20]).n_frames, 0);
            let second = vec![0.0; rate as usize];
            let s = analyser.spectrogram(&second);
            assert!(s.n_frames > 60 && s.peaks.is_empty(), "{rate}: {}", s.n_frames);
        }
    }
}
