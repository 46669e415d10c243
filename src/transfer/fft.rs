//! A planned pair of real transforms of one length.

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Plans for one length, made once and shared between threads.
#[derive(Clone)]
pub struct RealFft {
    n: usize,
    forward: Arc<dyn RealToComplex<f64>>,
    backward: Arc<dyn ComplexToReal<f64>>,
}

impl RealFft {
    /// Plans for `n` real points and `n/2 + 1` bins.
    pub fn new(n: usize) -> Self {
        let mut planner = RealFftPlanner::new();
        Self { n, forward: planner.plan_fft_forward(n), backward: planner.plan_fft_inverse(n) }
    }

    /// Number of real points.
    pub fn n_points(&self) -> usize {
        self.n
    }

    /// Number of bins of the one-sided spectrum.
    pub fn n_bins(&self) -> usize {
        self.n / 2 + 1
    }

    /// Spectrum of `samples`, zero-padded (or cut) to the planned length; unscaled.
    pub fn forward(&self, samples: &[f64]) -> Vec<Complex<f64>> {
        let mut points = Vec::with_capacity(self.n);
        points.extend_from_slice(&samples[..samples.len().min(self.n)]);
        self.forward_in(&mut points)
    }

    /// Spectrum of taps that stand at lags `first_lag ..`, negative lags wrapped.
    pub fn forward_at(&self, first_lag: i64, taps: &[f64]) -> Vec<Complex<f64>> {
        let mut placed = self.forward.make_input_vec();
        for (i, tap) in taps.iter().enumerate() {
            placed[(first_lag + i as i64).rem_euclid(self.n as i64) as usize] += tap;
        }
        self.forward_in(&mut placed)
    }

    /// Spectrum of `points`, filled up with zeros (or cut) to `n_points()`; they are lost.
    pub fn forward_in(&self, points: &mut Vec<f64>) -> Vec<Complex<f64>> {
        points.resize(self.n, 0.0);
        let mut spectrum = self.forward.make_output_vec();
        // Fails only on wrong lengths, and all come from the plan.
        let done = self.forward.process(points, &mut spectrum);
        debug_assert!(done.is_ok());
        spectrum
    }

    /// `n_points()` times the points of a spectrum, in `points` of that length: new memory for
    /// a long take costs as much as its transform.
    pub fn inverse_in(&self, mut spectrum: Vec<Complex<f64>>, points: &mut [f64]) {
        self.make_ends_real(&mut spectrum);
        let done = self.backward.process(&mut spectrum, points);
        debug_assert!(done.is_ok());
    }

    /// The transform back wants exactly real ends.
    fn make_ends_real(&self, spectrum: &mut [Complex<f64>]) {
        spectrum[0].im = 0.0;
        if self.n.is_multiple_of(2)
            && let Some(last) = spectrum.last_mut()
        {
            last.im = 0.0;
        }
    }

    /// Real sequence of a one-sided spectrum, scaled by `1/n`: `inverse(forward(x)) = x`.
    pub fn inverse(&self, spectrum: Vec<Complex<f64>>) -> Vec<f64> {
        debug_assert_eq!(spectrum.len(), self.n_bins());
        let mut points = self.backward.make_output_vec();
        self.inverse_in(spectrum, &mut points);
        let scale = 1.0 / self.n as f64;
        points.iter_mut().for_each(|x| *x *= scale);
        points
    }

    /// Phase, rad per bin, of the minimum-phase sequence whose magnitude has this natural
    /// logarithm: the folded real cepstrum (Oppenheim and Schafer, Discrete-Time Signal
    /// Processing).
    pub fn minimum_phase(&self, log_magnitude: &[f64]) -> Vec<f64> {
        let mut cepstrum =
            self.inverse(log_magnitude.iter().map(|x| Complex::new(*x, 0.0)).collect());
        let half = cepstrum.len() / 2;
        cepstrum[1..half].iter_mut().for_each(|c| *c *= 2.0);
        cepstrum[half + 1..].fill(0.0);
        self.forward(&cepstrum).into_iter().map(|c| c.im).collect()
    }
}

/// `exp(j k step)` for k = 0, 1, 2 ...
pub fn turns(step_rad: f64) -> impl Iterator<Item = Complex<f64>> {
    (0u32..).map(move |k| Complex::cis(f64::from(k) * step_rad))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_for_odd_and_even_lengths() {
        for n in [8usize, 9, 1000, 1001] {
            let fft = RealFft::new(n);
            let x: Vec<f64> = (0..n).map(|i| ((i * i) % 17) as f64 - 8.0).collect();
            let back = fft.inverse(fft.forward(&x));
            assert!(x.iter().zip(&back).all(|(a, b)| (a - b).abs() < 1e-10), "n = {n}");
        }
    }

    #[test]
    fn a_negative_lag_is_an_advance() {
        let fft = RealFft::new(16);
        let spectrum = fft.forward_at(-1, &[1.0]);
        for (k, x) in spectrum.iter().enumerate() {
            let want = Complex::from_polar(1.0, 2.0 * std::f64::consts::PI * k as f64 / 16.0);
            assert!((x - want).norm() < 1e-12);
        }
    }
}
