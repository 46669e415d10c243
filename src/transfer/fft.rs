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

/// Memory of one pair of long transforms, so that takes one after another need no new one:
/// the system takes about as long to give megabytes as a transform takes to fill them.
pub struct Workspace {
    /// One-sided spectrum, `n_bins()`.
    pub spectrum: Vec<Complex<f64>>,
    scratch: Vec<Complex<f64>>,
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
        let mut padded = self.forward.make_input_vec();
        let used = samples.len().min(self.n);
        padded[..used].copy_from_slice(&samples[..used]);
        self.transform(padded)
    }

    /// Spectrum of taps that stand at lags `first_lag ..`, negative lags wrapped.
    pub fn forward_at(&self, first_lag: i64, taps: &[f64]) -> Vec<Complex<f64>> {
        let mut placed = self.forward.make_input_vec();
        for (i, tap) in taps.iter().enumerate() {
            placed[(first_lag + i as i64).rem_euclid(self.n as i64) as usize] += tap;
        }
        self.transform(placed)
    }

    /// Memory for [`RealFft::forward_in`] and [`RealFft::inverse_in`].
    pub fn workspace(&self) -> Workspace {
        let scratch = self.forward.get_scratch_len().max(self.backward.get_scratch_len());
        Workspace {
            spectrum: self.forward.make_output_vec(),
            scratch: vec![Complex::default(); scratch],
        }
    }

    /// Spectrum of `points`, filled up with zeros (or cut) to `n_points()`; they are lost.
    pub fn forward_in(&self, points: &mut Vec<f64>, work: &mut Workspace) {
        points.resize(self.n, 0.0);
        let scratch = &mut work.scratch[..self.forward.get_scratch_len()];
        // Fails only on wrong lengths, and all come from the plan.
        let done = self.forward.process_with_scratch(points, &mut work.spectrum, scratch);
        debug_assert!(done.is_ok());
    }

    /// `n_points()` times the points of the spectrum, which is lost, in `points` of that length.
    pub fn inverse_in(&self, work: &mut Workspace, points: &mut [f64]) {
        self.make_ends_real(&mut work.spectrum);
        let scratch = &mut work.scratch[..self.backward.get_scratch_len()];
        let done = self.backward.process_with_scratch(&mut work.spectrum, points, scratch);
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

    fn transform(&self, mut points: Vec<f64>) -> Vec<Complex<f64>> {
        let mut spectrum = self.forward.make_output_vec();
        // Fails only on wrong lengths, and both come from the plan.
        let done = self.forward.process(&mut points, &mut spectrum);
        debug_assert!(done.is_ok());
        spectrum
    }

    /// Real sequence of a one-sided spectrum, scaled by `1/n`: `inverse(forward(x)) = x`.
    pub fn inverse(&self, mut spectrum: Vec<Complex<f64>>) -> Vec<f64> {
        debug_assert_eq!(spectrum.len(), self.n_bins());
        self.make_ends_real(&mut spectrum);
        let mut points = self.backward.make_output_vec();
        let done = self.backward.process(&mut spectrum, &mut points);
        debug_assert!(done.is_ok());
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

/// `exp(j k step)` for k = 0, 1, 2 ...: turned on from one to the next, and worked out anew
/// every 32, so that rounding does not gather.
pub fn turns(step_rad: f64) -> impl Iterator<Item = Complex<f64>> {
    let step = Complex::cis(step_rad);
    let mut next = Complex::new(1.0, 0.0);
    (0u32..).map(move |k| {
        if k.is_multiple_of(32) {
            next = Complex::cis(f64::from(k) * step_rad);
        }
        let here = next;
        next *= step;
        here
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_do_not_gather_errors() {
        for step in [0.0, 1e-3, -0.7, 2.0] {
            for (k, turn) in turns(step).take(5000).enumerate() {
                assert!((turn - Complex::cis(k as f64 * step)).norm() < 1e-12, "{step} {k}");
            }
        }
    }

    #[test]
    fn a_workspace_gives_what_new_memory_gives() {
        let fft = RealFft::new(12);
        let mut work = fft.workspace();
        for x in [vec![1.0, -2.0, 0.5], (0..12).map(f64::from).collect::<Vec<_>>()] {
            let mut points = x.clone();
            fft.forward_in(&mut points, &mut work);
            assert_eq!(work.spectrum, fft.forward(&x));
            fft.inverse_in(&mut work, &mut points);
            for (i, got) in points.iter().enumerate() {
                assert!((got / 12.0 - x.get(i).unwrap_or(&0.0)).abs() < 1e-12);
            }
        }
    }

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
