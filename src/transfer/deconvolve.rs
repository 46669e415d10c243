//! Recording to impulse response: division by the spectrum of the played signal.

use crate::ingest::session::SweepSignal;
use crate::transfer::fft::RealFft;
use realfft::num_complex::Complex;

/// Regularisation inside the sweep's band, relative to its peak power: keeps
/// division exact to 1e-5 even 50 dB below the peak of an exponential sweep.
const INSIDE: f64 = 1e-8;
/// Regularisation outside: nothing was played there, so nothing may be read there.
const OUTSIDE: f64 = 1e-2;
/// The band is drawn in by this factor at both ends, where fades make the sweep weak.
const EDGE: f64 = 1.025;

/// Smallest length of the form 2^a 3^b 5^c at or above `n`: these transform fast.
pub fn fast_length(n: usize) -> usize {
    let n = n.max(2);
    let mut best = n.next_power_of_two();
    let mut fives = 1usize;
    while fives < best {
        let mut threes = fives;
        while threes < best {
            let twos = n.div_ceil(threes).next_power_of_two();
            let candidate = threes.saturating_mul(twos);
            if candidate >= n && candidate.is_multiple_of(2) {
                best = best.min(candidate);
            }
            threes = threes.saturating_mul(3);
        }
        fives = fives.saturating_mul(5);
    }
    best
}

/// A planned division: one spectrum of the sweep and one pair of plans, shared by
/// all takes of a length.
pub struct Deconvolver {
    fft: RealFft,
    rate_hz: f64,
    band_hz: [f64; 2],
    /// `conj(S) / (|S|^2 + eps)` over the number of points, `n/2 + 1` bins.
    inverse: Vec<Complex<f64>>,
}

impl Deconvolver {
    /// Plans for recordings of up to `n_samples`.
    ///
    /// The transform is circular. A length that holds the recording is enough: the
    /// response stays at its lag, and what comes before the onset (the harmonics of
    /// an exponential sweep) wraps to the end.
    pub fn new(sweep: &SweepSignal, n_samples: usize) -> Self {
        let active = active_length(&sweep.samples);
        let n = fast_length(n_samples.max(active));
        let mut plan = Self {
            fft: RealFft::new(n),
            rate_hz: f64::from(sweep.rate_hz),
            band_hz: sweep.band_hz,
            inverse: Vec::new(),
        };
        plan.inverse = plan.invert(&plan.fft.forward(&sweep.samples[..active]));
        plan
    }

    /// Number of points of the transform (and of every response).
    pub fn n_points(&self) -> usize {
        self.fft.n_points()
    }

    /// Impulse response of one recording, `n_points()` samples, circular.
    ///
    /// `H = Y conj(S) / (|S|^2 + eps)`; the result is scaled so that a recording equal
    /// to the sweep gives a unit impulse at lag 0 (band-limited to the sweep).
    /// With `reference` that channel takes the place of `S`. `warp` multiplies each
    /// bin before the inverse transform (clock drift); it is given the frequency in Hz.
    /// Samples beyond `n_points()` are left out.
    ///
    /// # Source
    /// Mueller and Massarani, J. AES 49(6), 443-471 (2001): division of spectra.
    pub fn response(
        &self,
        recording: &[f64],
        reference: Option<&[f64]>,
        warp: Option<&dyn Fn(f64) -> Complex<f64>>,
    ) -> Vec<f64> {
        self.into_response(recording.to_vec(), reference.map(<[f64]>::to_vec), warp)
    }

    /// The same in the memory of the recording: megabytes take their time to copy.
    pub fn into_response(
        &self,
        mut recording: Vec<f64>,
        reference: Option<Vec<f64>>,
        warp: Option<&dyn Fn(f64) -> Complex<f64>>,
    ) -> Vec<f64> {
        let of_reference =
            reference.map(|mut reference| self.invert(&self.fft.forward_in(&mut reference)));
        let inverse = of_reference.as_ref().unwrap_or(&self.inverse);
        let mut spectrum = self.fft.forward_in(&mut recording);
        spectrum.iter_mut().zip(inverse).for_each(|(y, g)| *y *= g);
        if let Some(warp) = warp {
            let df = self.rate_hz / self.n_points() as f64;
            spectrum.iter_mut().enumerate().for_each(|(k, y)| *y *= warp(k as f64 * df));
        }
        self.fft.inverse_in(spectrum, &mut recording);
        recording
    }

    fn invert(&self, spectrum: &[Complex<f64>]) -> Vec<Complex<f64>> {
        let peak = spectrum.iter().map(Complex::norm_sqr).fold(0.0, f64::max);
        let df = self.rate_hz / self.n_points() as f64;
        let low_hz = self.band_hz[0] * EDGE;
        let high_hz = (self.band_hz[1] / EDGE).min(0.45 * self.rate_hz);
        // The transform there and back multiplies by the number of points.
        let scale = 1.0 / self.n_points() as f64;
        spectrum
            .iter()
            .enumerate()
            .map(|(k, s)| {
                let hz = k as f64 * df;
                let eps = if hz > low_hz && hz < high_hz { INSIDE } else { OUTSIDE };
                s.conj() * (scale / (s.norm_sqr() + eps * peak))
            })
            .collect()
    }
}

/// Length of the signal without silence at its end (1e-6 of its peak).
fn active_length(samples: &[f64]) -> usize {
    let peak = samples.iter().fold(0.0_f64, |a, x| a.max(x.abs()));
    samples.iter().rposition(|x| x.abs() > 1e-6 * peak).map_or(samples.len(), |i| i + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(n: usize) -> Vec<f64> {
        let mut state = 0x9E37_79B9_7F4A_7C15_u64;
        (0..n)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                (state >> 11) as f64 / (1u64 << 52) as f64 - 1.0
            })
            .collect()
    }

    fn signal(n: usize) -> SweepSignal {
        SweepSignal {
            samples: noise(n),
            rate_hz: 48_000,
            band_hz: [1.0, 24_000.0],
            rate_constant_s: None,
            active: 0..0,
        }
    }

    #[test]
    fn fast_lengths_are_even_smooth_and_not_below() {
        for n in [1usize, 2, 7, 1000, 1001, 312_000, 262_145] {
            let m = fast_length(n);
            let mut rest = m;
            for p in [2, 3, 5] {
                while rest.is_multiple_of(p) {
                    rest /= p;
                }
            }
            assert!(m >= n && m.is_multiple_of(2) && rest == 1, "{n} -> {m}");
            assert!(m <= (2 * n).max(2), "{n} -> {m}");
        }
    }

    /// A recording made by the textbook sum gives back the filter that made it,
    /// for odd and for even lengths of sweep and recording.
    #[test]
    fn a_known_filter_comes_back() {
        let filter = [0.0, 0.0, 1.0, -0.5, 0.25, 0.1];
        for (n_sweep, n_recording) in [(400, 512), (401, 512), (400, 513), (401, 601)] {
            let sweep = signal(n_sweep);
            let mut recording = vec![0.0; n_recording];
            for (i, x) in sweep.samples.iter().enumerate() {
                for (k, h) in filter.iter().enumerate() {
                    recording[i + k] += x * h;
                }
            }
            let response = Deconvolver::new(&sweep, n_recording).response(&recording, None, None);
            // Nothing was asked above 0.45 of the rate: compare where the band is.
            let low = |x: &[f64], i: usize| x[i] + 0.5 * (x[i - 1] + x[i + 1]);
            let want: Vec<f64> = filter.iter().copied().chain([0.0; 6]).collect();
            for i in 1..10 {
                let (got, want) = (low(&response, i), low(&want, i));
                assert!((got - want).abs() < 0.02, "{n_sweep}/{n_recording} lag {i}: {got} {want}");
            }
        }
    }

    #[test]
    fn a_reference_takes_out_what_both_channels_share() {
        let sweep = signal(400);
        let gain = 0.37;
        let interface: Vec<f64> = sweep.samples.iter().map(|x| x * gain).collect();
        let response = Deconvolver::new(&sweep, 500).response(&interface, Some(&interface), None);
        let peak = response.iter().cloned().fold(0.0, f64::max);
        assert!((response[0] - peak).abs() < 1e-12 && peak > 0.85 && peak < 1.01, "{peak}");
    }
}
