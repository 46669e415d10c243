//! Finds every sweep in a stream by a matched filter, whatever lies between.
//!
//! The stream is brought to about 12 kHz and divided, block by block, by the spectrum of the
//! played signal: a sweep becomes the short response of the room, everything else stays spread
//! over seconds. A sweep is where the energy of 4 ms stands far above the median of the
//! seconds around it and above what just precedes it: talk louder than the sweep is spread to both
//! sides, a response begins at once. Tones (a telephone) are held down by limiting single bins of the spectrum
//! to a few times what their neighbours hold.
//!
//! A clock that is off by 300 ppm stretches the response to a millisecond or two, which 4 ms
//! still hold; it needs no search of its own.

use super::decimate::Decimator;
use crate::ingest::session::SweepSignal;
use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::ops::Range;
use std::sync::Arc;

/// The stream is searched at this rate or up to twice it, Hz.
const SEARCH_RATE_HZ: u32 = 11_000;
/// What is searched lies above this, Hz: below, rooms rumble and people walk.
const LOWEST_HZ: f64 = 150.0;
/// ... and below this part of the search rate.
const HIGHEST: f64 = 0.36;
/// Division goes no deeper than this below the peak power of the signal inside the band.
const REGULARISATION: f64 = 1e-4;
/// Energy is summed in frames of this length, s, four at a time.
const FRAME_S: f64 = 0.001;
const SUMMED: usize = 4;
/// What precedes a peak: from this to this before it, s.
const PRECEDING_S: [f64; 2] = [0.3, 0.015];
/// How far the surroundings of a peak reach, s.
const AROUND_S: f64 = 1.5;
/// Peak over the median of its surroundings from which a sweep is one, dB. Stationary noise
/// reaches 5 dB in hours, talk and steps 12 dB.
pub(super) const THRESHOLD_DB: f64 = 18.0;
/// A peak within the length of the signal of one stronger by this is its distortion or echo, dB.
const SHADOW_DB: f64 = 15.0;
/// A sweep of which less than this part lies before the end of the recording is none.
const LEAST_PART: f64 = 0.5;
/// Peaks nearer than this are one, s.
const ONE_PEAK_S: f64 = 0.25;
/// A bin is limited to this many times the median of its neighbours.
const LOUD_BIN: f32 = 4.0;

/// A sweep in a stream.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepInStream {
    /// Frame of the stream at which the played signal begins to be heard, to about 1 ms;
    /// negative where the recording began later.
    pub start_frame: i64,
    /// Energy of its response, arbitrary but the same for all of a recording.
    pub energy: f64,
    /// Peak over surroundings, dB.
    pub contrast_db: f64,
}

/// What is the same for all channels of a recording.
struct Plan {
    step: usize,
    n: usize,
    /// Length of the signal, samples of the search rate.
    n_signal: usize,
    /// Samples on either side of a block that only serve as surroundings.
    around: usize,
    per_frame: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    backward: Arc<dyn ComplexToReal<f32>>,
    kernel: Vec<Complex<f32>>,
    /// Bins in groups of neighbours, inside the band.
    groups: Vec<Range<usize>>,
    /// Silence in the file before the signal, frames of the stream.
    rate_hz: u32,
}

/// Searches one channel, a piece at a time.
pub struct Finder {
    plan: Arc<Plan>,
    decimator: Decimator,
    /// Samples of the search rate; the first is number `first`.
    waiting: Vec<f32>,
    first: i64,
    /// Samples of the stream, once it has ended.
    n_stream: Option<i64>,
    peaks: Vec<SweepInStream>,
}

impl Finder {
    /// Finders for `n_channels` channels of a stream at `rate_hz` that may hold `sweep`,
    /// played `slowness` times as slowly as it should be (1 where nothing is wrong).
    ///
    /// `None` where the stream's rate carries next to nothing of the sweep.
    pub fn for_channels(
        sweep: &SweepSignal,
        rate_hz: u32,
        slowness: f64,
        n_channels: usize,
    ) -> Option<Vec<Self>> {
        let plan = Arc::new(Plan::new(sweep, rate_hz, slowness)?);
        let finder = || Self {
            decimator: Decimator::new(plan.step),
            waiting: vec![0.0; plan.around],
            first: -(plan.around as i64),
            n_stream: None,
            peaks: Vec::new(),
            plan: Arc::clone(&plan),
        };
        Some((0..n_channels).map(|_| finder()).collect())
    }

    /// Takes more of the stream.
    pub fn push(&mut self, samples: &[f64]) {
        self.decimator.push(samples, &mut self.waiting);
        self.search_whole_blocks();
    }

    /// The sweeps of the stream, which has ended, in the order of time.
    pub fn finish(mut self) -> Vec<SweepInStream> {
        self.decimator.finish(&mut self.waiting);
        self.n_stream = Some(self.first + self.waiting.len() as i64);
        // A sweep that begins at the very end, and the surroundings behind it.
        let n_more = self.plan.n;
        self.waiting.extend(std::iter::repeat_n(0.0, n_more));
        self.search_whole_blocks();
        distinct(self.peaks, self.plan.n_signal * self.plan.step, self.plan.rate_hz)
    }

    fn search_whole_blocks(&mut self) {
        let plan = Arc::clone(&self.plan);
        let hop = plan.hop();
        while self.waiting.len() >= plan.n {
            let energies = plan.energies(&self.waiting[..plan.n]);
            plan.pick(&energies, self.first, self.n_stream, &mut self.peaks);
            self.waiting.drain(..hop);
            self.first += hop as i64;
        }
    }
}

impl Plan {
    fn new(sweep: &SweepSignal, rate_hz: u32, slowness: f64) -> Option<Self> {
        let step = (rate_hz / SEARCH_RATE_HZ).max(1) as usize;
        let search_hz = f64::from(rate_hz) / step as f64;
        let played_hz = f64::from(sweep.rate_hz) / slowness;
        let active = &sweep.samples[sweep.active.clone()];
        let n_signal = (active.len() as f64 * search_hz / played_hz).ceil() as usize;
        let per_frame = ((FRAME_S * search_hz).round() as usize).max(1);
        // A whole number of frames, so that frames of neighbouring blocks agree.
        let around = (AROUND_S * search_hz) as usize / per_frame * per_frame;
        let n = (2 * n_signal + 4 * around).next_power_of_two();
        let mut planner = RealFftPlanner::<f32>::new();
        let bin_hz = search_hz / n as f64;
        let low_hz = (sweep.band_hz[0] / slowness * 1.1).max(LOWEST_HZ);
        let high_hz = (sweep.band_hz[1] / slowness * 0.9).min(HIGHEST * search_hz);
        // Half an octave is the least that tells a sweep from anything.
        if high_hz < low_hz * 1.4 {
            return None;
        }
        // At this length its bins are those of the search rate, to a millionth.
        let n_played = (n as f64 * played_hz / search_hz).round() as usize;
        let mut played = vec![0f64; n_played.max(active.len())];
        played[..active.len()].copy_from_slice(active);
        let of_signal = RealFftPlanner::<f64>::new().plan_fft_forward(played.len());
        let mut spectrum = of_signal.make_output_vec();
        let done = of_signal.process(&mut played, &mut spectrum);
        debug_assert!(done.is_ok());
        spectrum.resize(n / 2 + 1, Complex::default());
        let band = (low_hz / bin_hz) as usize..(high_hz / bin_hz) as usize;
        let peak = spectrum[band.clone()].iter().map(Complex::norm_sqr).fold(0.0, f64::max);
        let kernel = spectrum
            .iter()
            .enumerate()
            .map(|(k, s)| {
                let hz = k as f64 * bin_hz;
                let weight = edge(hz / low_hz) * edge(high_hz / hz.max(bin_hz));
                let g = s.conj() * (weight / (s.norm_sqr() + REGULARISATION * peak));
                Complex::new(g.re as f32, g.im as f32)
            })
            .collect();
        Some(Self {
            step,
            n,
            n_signal,
            around,
            per_frame,
            forward: planner.plan_fft_forward(n),
            backward: planner.plan_fft_inverse(n),
            kernel,
            groups: neighbours(band),
            rate_hz,
        })
    }

    /// Samples that each block searches: the rest are surroundings, and the end, where a sweep
    /// would run out of the block.
    fn hop(&self) -> usize {
        (self.n - self.n_signal - 2 * self.around) / self.per_frame * self.per_frame
    }

    /// Energy of the response in frames.
    fn energies(&self, block: &[f32]) -> Vec<f32> {
        let mut points = block.to_vec();
        let mut spectrum = self.forward.make_output_vec();
        // Fails only on wrong lengths, and all come from the plan.
        let done = self.forward.process(&mut points, &mut spectrum);
        debug_assert!(done.is_ok());
        spectrum.iter_mut().zip(&self.kernel).for_each(|(x, k)| *x *= k);
        let mut magnitudes = Vec::new();
        for group in &self.groups {
            let bins = &mut spectrum[group.clone()];
            magnitudes.clear();
            magnitudes.extend(bins.iter().map(|x| x.norm_sqr()));
            let middle = magnitudes.len() / 2;
            let median = *magnitudes.select_nth_unstable_by(middle, f32::total_cmp).1;
            let limit = LOUD_BIN * LOUD_BIN * median;
            for x in bins {
                let power = x.norm_sqr();
                if power > limit {
                    *x *= (limit / power).sqrt();
                }
            }
        }
        spectrum[0].im = 0.0;
        spectrum[self.n / 2].im = 0.0;
        let done = self.backward.process(&mut spectrum, &mut points);
        debug_assert!(done.is_ok());
        points[..self.n - self.n_signal]
            .chunks_exact(self.per_frame)
            .map(|frame| frame.iter().map(|x| x * x).sum())
            .collect()
    }

    /// Peaks of a block whose first sample is number `first`, of a stream of `n_stream` samples
    /// where that is known.
    fn pick(
        &self,
        energies: &[f32],
        first: i64,
        n_stream: Option<i64>,
        peaks: &mut Vec<SweepInStream>,
    ) {
        let mut sums: Vec<f32> = energies.windows(SUMMED).map(|w| w.iter().sum()).collect();
        if let Some(n_stream) = n_stream {
            // Too little of a sweep that begins after this, and too little noise to tell it from.
            let last = n_stream - (LEAST_PART * self.n_signal as f64) as i64;
            let kept = usize::try_from(last - first).unwrap_or(0) / self.per_frame;
            sums.truncate(kept);
        }
        let around = self.around / self.per_frame;
        let searched = around..(around + self.hop() / self.per_frame).min(sums.len());
        let threshold = 10f32.powf((THRESHOLD_DB / 10.0) as f32);
        let [from, to] = PRECEDING_S.map(|s| (s / FRAME_S) as usize);
        let preceding = |m: usize| {
            let before = &sums[m.saturating_sub(from)..m.saturating_sub(to)];
            before.iter().sum::<f32>() / before.len().max(1) as f32
        };
        let mut window = Vec::new();
        // The median changes slowly: worked out for a tenth of the surroundings at a time.
        let stride = (around / 10).max(1);
        let mut at = searched.start;
        while at < searched.end {
            let here = at..(at + stride).min(searched.end);
            let from = here.start.saturating_sub(around);
            let to = (here.end + around).min(sums.len());
            window.clear();
            window.extend_from_slice(&sums[from..to]);
            let middle = window.len() / 2;
            let median = *window.select_nth_unstable_by(middle, f32::total_cmp).1;
            for m in here.clone() {
                let is_peak = sums[m] > threshold * median
                    && sums[m] > 0.0
                    && sums[m] >= sums[m.saturating_sub(1)]
                    && sums.get(m + 1).is_none_or(|next| sums[m] > *next);
                let floor = median.max(preceding(m)).max(sums[m] * 1e-9);
                if is_peak && sums[m] > threshold * floor {
                    let frame = first + ((m + 1) * self.per_frame) as i64;
                    peaks.push(SweepInStream {
                        start_frame: frame * self.step as i64,
                        energy: f64::from(sums[m]),
                        contrast_db: 10.0 * f64::from(sums[m] / floor).log10(),
                    });
                }
            }
            at = here.end;
        }
    }
}

/// Rises from 0 at 1 to 1 at 1.2.
fn edge(ratio: f64) -> f64 {
    let x = ((ratio - 1.0) / 0.2).clamp(0.0, 1.0);
    0.5 - 0.5 * (std::f64::consts::PI * x).cos()
}

/// The band in groups of a sixth of an octave, with eight bins or more.
fn neighbours(band: Range<usize>) -> Vec<Range<usize>> {
    let mut groups = Vec::new();
    let mut from = band.start.max(1);
    while from < band.end {
        let to = ((from as f64 * 1.12) as usize).max(from + 8).min(band.end);
        groups.push(from..to);
        from = to;
    }
    groups
}

/// Peaks that stand for sweeps: the strongest of those that are near each other, without the
/// shadows that distortion casts before it.
fn distinct(mut peaks: Vec<SweepInStream>, n_signal: usize, rate_hz: u32) -> Vec<SweepInStream> {
    peaks.sort_by(|a, b| b.energy.total_cmp(&a.energy));
    let one_peak = (ONE_PEAK_S * f64::from(rate_hz)) as u64;
    let shadow = 10f64.powf(-SHADOW_DB / 10.0);
    let mut kept: Vec<SweepInStream> = Vec::new();
    for peak in peaks {
        let hidden = kept.iter().any(|k| {
            let distance = k.start_frame.abs_diff(peak.start_frame);
            distance < one_peak || (distance < n_signal as u64 && peak.energy < shadow * k.energy)
        });
        if !hidden {
            kept.push(peak);
        }
    }
    kept.sort_by_key(|k| k.start_frame);
    kept
}
