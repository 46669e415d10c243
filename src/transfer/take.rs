//! One take: recording to early response, band powers, noise and clock drift.

use super::arrivals::{N_BANDS, band_arrivals};
use super::bands::BandBins;
use super::deconvolve::{Deconvolver, fast_length};
use super::distortion::{Distortion, DistortionPlan};
use super::drift::DriftPlan;
use super::early::EarlyPlan;
use super::onset::find_onset;
use super::powers::PowerPlan;
use super::resemble::{Print, print_at};
use super::window::{taper_ends, windowed};
use crate::ingest::session::{Recording, SweepSignal};
use crate::units::{ThirdOctave, fine_grid_hz};
use realfft::num_complex::Complex;

/// Everything that reaches the seat: from 2 ms before the direct sound to this after it, s.
pub const ROOM_WINDOW_S: f64 = 0.240;
const ROOM_BEFORE_S: f64 = 0.002;
/// Noise is read from here after the direct sound, s, in up to this many windows.
const NOISE_FROM_S: f64 = 0.5;
const NOISE_WINDOWS: usize = 3;
/// Harmonics up to this order lie before the linear response, out of the noise's way.
const HIGHEST_HARMONIC: f64 = 10.0;

/// Bands and plans shared by all takes of a session.
pub struct TakePlan {
    /// Third-octave bands of the report.
    pub bands: Vec<ThirdOctave>,
    /// Mid-bands of the 1/24-octave curve, Hz.
    pub fine_hz: Vec<f64>,
    /// Plans for the early part.
    pub early: EarlyPlan,
    drift: Option<DriftPlan>,
    distortion: Option<DistortionPlan>,
    room: PowerPlan,
    /// Taper of the room window.
    room_window: Vec<f32>,
    room_bins: BandBins,
    /// Time the sweep spends in each third-octave band over the room window's length.
    dwell: f64,
    rate_constant_s: Option<f64>,
}

/// What one take holds.
#[derive(Debug, Clone)]
pub struct TakeResponse {
    /// Index into the session's takes.
    pub take: usize,
    /// Early part, crest of the direct sound at `EarlyPlan::zero`.
    pub early: Vec<f64>,
    /// Mean power density in the room window per third-octave band, then per fine band.
    pub power: Vec<f64>,
    /// The same of noise.
    pub noise: Vec<f64>,
    /// Level of the sweep above the noise of the take, per third-octave band, dB.
    pub snr_db: Vec<f64>,
    /// Drift of the recorder's clock, parts per million.
    pub drift_ppm: Option<f64>,
    /// Harmonics, where the sweep is long enough to tell them apart.
    pub distortion: Option<Distortion>,
    /// By which takes of one place are known.
    pub print: Option<Print>,
    /// Arrival of the direct sound by band, see [`band_arrivals`].
    pub arrivals: [Option<f64>; N_BANDS],
}

/// Edges of third-octave bands, then of fine bands, Hz.
pub fn all_edges_hz(bands: &[ThirdOctave], fine_hz: &[f64]) -> Vec<(f64, f64)> {
    let half = 10f64.powf(0.3 / 48.0);
    bands
        .iter()
        .map(|b| (b.lower_hz(), b.upper_hz()))
        .chain(fine_hz.iter().map(|f| (f / half, f * half)))
        .collect()
}

impl TakePlan {
    /// Plans for all takes played with `sweep`.
    pub fn new(sweep: &SweepSignal) -> Self {
        let rate_hz = f64::from(sweep.rate_hz);
        let bands = ThirdOctave::report_bands(sweep.band_hz[1]);
        let top_hz = bands.last().map_or(16_000.0, |b| b.upper_hz());
        let fine_hz = fine_grid_hz(bands.first().map_or(100.0, |b| b.lower_hz()), top_hz);
        let early = EarlyPlan::new(rate_hz);
        // Longer than the window by almost a half: fine bands at 100 Hz are 3 Hz wide.
        let room = PowerPlan::new(fast_length((0.34 * rate_hz) as usize));
        let before = early.samples(ROOM_BEFORE_S);
        let after = early.samples(ROOM_WINDOW_S);
        let mut room_window = vec![1.0; before + after];
        taper_ends(&mut room_window, before, (0.4 * after as f64) as usize);
        let room_window = room_window.into_iter().map(|w| w as f32).collect();
        let df_hz = rate_hz / room.n_points() as f64;
        let room_bins = BandBins::new(all_edges_hz(&bands, &fine_hz), df_hz, room.n_bins());
        let dwell = sweep.rate_constant_s.map_or(1.0, |l| l * 10f64.powf(0.1).ln() / ROOM_WINDOW_S);
        let drift = DriftPlan::new(&early, sweep);
        let rate_constant_s = sweep.rate_constant_s;
        let distortion =
            rate_constant_s.and_then(|l| DistortionPlan::new(sweep.rate_hz, l, sweep.band_hz));
        Self {
            bands,
            fine_hz,
            early,
            drift,
            distortion,
            room,
            room_window,
            room_bins,
            dwell,
            rate_constant_s,
        }
    }

    /// Response of one take; `None` where the recording holds no direct sound at all.
    pub fn respond(
        &self,
        take: usize,
        recording: Recording,
        deconvolver: &Deconvolver,
        warp: Option<&dyn Fn(f64) -> Complex<f64>>,
    ) -> Option<TakeResponse> {
        let Recording { mic, reference, .. } = recording;
        let response = &deconvolver.into_response(mic, reference, warp);
        let onset = find_onset(response, self.early.rate_hz)?;
        let early = self.early.cut(response, onset);
        let drift_ppm = self.drift.as_ref().and_then(|d| d.estimate_ppm(&early));
        let distortion = self.distortion.as_ref().map(|d| d.measure(response, onset));
        let [power, noise] = self.powers(response, onset as i64);
        let snr_db = (0..self.bands.len())
            .map(|b| 10.0 * ((power[b] - noise[b]).max(0.0) / (noise[b] * self.dwell)).log10())
            .collect();
        let print = print_at(response, onset, self.early.rate_hz);
        Some(TakeResponse {
            take,
            early,
            power,
            noise,
            snr_db,
            drift_ppm,
            distortion,
            print,
            arrivals: band_arrivals(response, onset, self.early.rate_hz),
        })
    }

    /// Mean power density over the room window that starts at the direct sound at `onset`; then
    /// the same of noise.
    fn powers(&self, response: &[f64], onset: i64) -> [Vec<f64>; 2] {
        let mut windows = vec![self.room_part(response, onset)];
        windows.extend(
            self.noise_onsets(response.len()).map(|after| self.room_part(response, onset + after)),
        );
        let spectra = self.room.of(&windows);
        let mut means = spectra.iter().map(|power| -> Vec<f64> {
            (0..self.room_bins.len())
                .map(|band| self.room_bins.mean(band, |k| f64::from(power[k])))
                .collect()
        });
        let signal = means.next().unwrap_or_default();
        let least = |a: Vec<f64>, b: Vec<f64>| a.iter().zip(&b).map(|(x, y)| x.min(*y)).collect();
        [signal, means.reduce(least).unwrap_or_default()]
    }

    /// The response through a room window whose direct sound would be at `onset`.
    fn room_part(&self, response: &[f64], onset: i64) -> Vec<f32> {
        let start = onset - self.early.samples(ROOM_BEFORE_S) as i64;
        windowed(response, start, &self.room_window)
    }

    /// Where room windows hold noise only, samples after the direct sound: after the room has
    /// died away and before the harmonics that wrap round from before the direct sound. The
    /// smallest of the windows counts, band by band: a disturbance or a long reverberation is
    /// not the noise.
    fn noise_onsets(&self, n_response: usize) -> impl Iterator<Item = i64> {
        let harmonics = self.rate_constant_s.map_or(0.0, |l| l * HIGHEST_HARMONIC.ln());
        let from = self.early.samples(NOISE_FROM_S) as i64;
        let to = n_response as i64 - self.early.samples(harmonics) as i64;
        let length = self.early.samples(ROOM_WINDOW_S + ROOM_BEFORE_S) as i64;
        let count = (((to - from) / length).max(1) as usize).min(NOISE_WINDOWS) as i64;
        let step = ((to - from - length) / count).max(length / 2);
        (0..count).map(move |i| from + i * step)
    }
}
