//! One seat: its takes in aligned pairs, and what is read off them.

use super::bands::BandBins;
use super::direct::{DirectPair, SeatTiming, direct_pair, seat_timing};
use super::early::EarlyPlan;
use super::fft::RealFft;
use super::take::{TakeResponse, all_edges_hz};
use super::whiten::whiten_seat;
use crate::units::ThirdOctave;
use realfft::num_complex::Complex;

/// Spectra of taps and short windows; 8192 points at 48 kHz (5.9 Hz).
pub struct SeatPlan {
    /// Transform of taps.
    pub fft: RealFft,
    /// Third-octave bands, then fine bands.
    pub bins: BandBins,
    /// Number of third-octave bands.
    pub n_bands: usize,
    bands: Vec<ThirdOctave>,
    short: RealFft,
    rate_hz: f64,
}

/// Transmissions at one seat.
#[derive(Debug, Clone)]
pub struct SeatTransmission {
    /// Index into `manifest.seat`.
    pub seat: usize,
    /// Takes without and with the screen that were paired.
    pub takes: [usize; 2],
    /// Spots without and with.
    pub spots: [usize; 2],
    /// Direct window and echo lag.
    pub timing: SeatTiming,
    /// All pairs, with-take by with-take: index `w * takes[0] + o`.
    pub pairs: Vec<DirectPair>,
    /// Band power in the room window, noise, per third-octave then fine band, one row a take:
    /// without.
    pub room_without: Vec<[Vec<f64>; 2]>,
    /// The same with the screen.
    pub room_with: Vec<[Vec<f64>; 2]>,
    /// Ratio of the early sound (to 6 ms) with over without the screen, mean over pairs, at
    /// multiples of [`SeatPlan::ratio_step_hz`]; linear. Reflections are in it.
    pub ratio: Vec<Complex<f64>>,
    /// Smallest level above noise of the takes used, per third-octave band, dB.
    pub snr_db: Vec<f64>,
    /// Noise energy in the direct window over the energy of the direct sound, per band, of
    /// the noisier condition.
    pub noise_ratio: Vec<f64>,
}

/// Length of direct sound against whose noise the whitening is held, s.
const WHITENED_S: f64 = 0.001;
/// Early sound in which ripple of the gap is looked for, s after the crest.
const RATIO_S: f64 = 0.006;

impl SeatPlan {
    /// Plans at one rate for these bands.
    pub fn new(rate_hz: f64, bands: &[ThirdOctave], fine_hz: &[f64]) -> Self {
        let n = super::deconvolve::fast_length((0.17 * rate_hz) as usize);
        let fft = RealFft::new(n);
        let short = RealFft::new(super::deconvolve::fast_length((0.02 * rate_hz) as usize));
        let edges = all_edges_hz(bands, fine_hz);
        let bins = BandBins::new(edges, rate_hz / n as f64, fft.n_bins());
        Self { fft, bins, n_bands: bands.len(), bands: bands.to_vec(), short, rate_hz }
    }

    /// Energy of the direct sound (1 ms before to 1 ms after) per third-octave band.
    fn direct_energy(&self, early: &EarlyPlan, response: &[f64]) -> Vec<f64> {
        let spectrum = self.fft.forward(&early.direct_window(response, 0.001, 0.001));
        (0..self.n_bands).map(|b| self.bins.mean(b, |k| spectrum[k].norm_sqr())).collect()
    }

    /// Energy of a second of noise over the energy of the direct sound, per third-octave band, of
    /// the noisiest take.
    fn noise_per_s(&self, early: &EarlyPlan, takes: &[&TakeResponse]) -> Vec<f64> {
        // The room window counts 85 % of its length under its fade.
        let window_s = 0.85 * super::take::ROOM_WINDOW_S;
        let of_take = |take: &&TakeResponse| -> Vec<f64> {
            let direct = self.direct_energy(early, &take.early);
            take.noise.iter().zip(direct).map(|(n, d)| n / window_s / d).collect()
        };
        let of_takes: Vec<Vec<f64>> = takes.iter().map(of_take).collect();
        (0..self.n_bands).map(|b| of_takes.iter().map(|t| t[b]).fold(0.0, f64::max)).collect()
    }

    /// Upper end of the last band, Hz.
    fn top_hz(&self) -> f64 {
        self.bands.last().map_or(0.0, |b| b.upper_hz())
    }

    /// Value of the band that holds a frequency, or of the nearest.
    fn in_band(&self, values: &[f64], hz: f64) -> f64 {
        let position = 10.0 * (hz / 1000.0).log10() - f64::from(self.bands[0].index());
        values[(position.round().max(0.0) as usize).min(values.len() - 1)]
    }

    /// Sampling rate, Hz.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Frequency step of spectra of [`SeatPlan::fft`], Hz.
    pub fn step_hz(&self) -> f64 {
        self.rate_hz / self.fft.n_points() as f64
    }

    /// Frequency step of [`SeatTransmission::ratio`], Hz.
    pub fn ratio_step_hz(&self) -> f64 {
        self.rate_hz / self.short.n_points() as f64
    }

    /// Spectra of the early sound with over without, added to `sum`.
    fn add_ratio(
        &self,
        early: &EarlyPlan,
        with: &[f64],
        without: &[f64],
        sum: &mut [Complex<f64>],
    ) {
        let spectrum = |x| self.short.forward(&early.direct_window(x, 0.001, RATIO_S));
        let (with, without) = (spectrum(with), spectrum(without));
        let mean: f64 = without.iter().map(Complex::norm_sqr).sum::<f64>() / without.len() as f64;
        for ((s, w), o) in sum.iter_mut().zip(with).zip(without) {
            *s += w * o.conj() / (o.norm_sqr() + 1e-4 * mean);
        }
    }

    /// Exact mid-band frequency of a third-octave band, Hz.
    pub fn band_mid_hz(&self, band: usize) -> f64 {
        self.bands[band].exact_hz()
    }

    /// Values of third-octave bands for every bin, linear in log frequency between mid-bands
    /// and constant beyond the first and last one.
    pub fn per_bin(&self, values: &[f64]) -> Vec<f64> {
        let first = f64::from(self.bands[0].index());
        let df_hz = self.step_hz();
        let last = values.len() - 1;
        (0..self.fft.n_bins())
            .map(|k| {
                let position = 10.0 * (k as f64 * df_hz / 1000.0).max(1e-6).log10() - first;
                let position = position.clamp(0.0, last as f64);
                let i = (position as usize).min(last.saturating_sub(1));
                values[i] + (values[(i + 1).min(last)] - values[i]) * (position - i as f64)
            })
            .collect()
    }
}

/// Pairs the takes of one seat; `None` where a condition has no take or nothing can be fitted.
pub fn transmit(
    plan: &SeatPlan,
    early: &EarlyPlan,
    seat: usize,
    without: &[(u32, TakeResponse)],
    with: &[(u32, TakeResponse)],
    round_trip_s: Option<f64>,
) -> Option<SeatTransmission> {
    if without.is_empty() || with.is_empty() {
        return None;
    }
    let everybody: Vec<&TakeResponse> = without.iter().chain(with).map(|(_, t)| t).collect();
    let noise_per_s = plan.noise_per_s(early, &everybody);
    let [earlies_without, earlies_with] = [without, with]
        .map(|takes| takes.iter().map(|(_, t)| t.early.as_slice()).collect::<Vec<_>>());
    let noise = |hz: f64| plan.in_band(&noise_per_s, hz) * WHITENED_S;
    let [white_without, white_with] =
        whiten_seat(early, [&earlies_without, &earlies_with], plan.top_hz(), &noise);
    let all_white: Vec<&[f64]> = white_without.iter().map(Vec::as_slice).collect();
    let timing = seat_timing(early, &all_white, round_trip_s);
    let mut pairs = Vec::with_capacity(without.len() * with.len());
    let mut ratio = vec![Complex::default(); plan.short.n_bins()];
    for w in &white_with {
        for o in &white_without {
            let aligned = early.advance(w, early.delay_s(o, w));
            plan.add_ratio(early, &aligned, o, &mut ratio);
            pairs.push(direct_pair(early, o, &aligned));
        }
    }
    let n_pairs = pairs.len() as f64;
    ratio.iter_mut().for_each(|x| *x /= n_pairs);
    let rows = |takes: &[(u32, TakeResponse)]| {
        takes.iter().map(|(_, t)| [t.power.clone(), t.noise.clone()]).collect()
    };
    let spots = |takes: &[(u32, TakeResponse)]| {
        let mut spots: Vec<u32> = takes.iter().map(|(s, _)| *s).collect();
        spots.sort_unstable();
        spots.dedup();
        spots.len()
    };
    let snr_db = (0..plan.n_bands)
        .map(|b| everybody.iter().map(|t| t.snr_db[b]).fold(f64::INFINITY, f64::min))
        .collect();
    let noise_ratio = noise_per_s.iter().map(|n| n * timing.end_s).collect();
    Some(SeatTransmission {
        seat,
        takes: [without.len(), with.len()],
        spots: [spots(without), spots(with)],
        timing,
        pairs,
        room_without: rows(without),
        room_with: rows(with),
        ratio,
        snr_db,
        noise_ratio,
    })
}
