//! Real signals into spectra and back.

use realfft::num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Transforms of one even length, without scale.
pub(super) struct Transform {
    /// Length, samples.
    pub(super) n: usize,
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
}

impl Transform {
    pub(super) fn new(n: usize, planner: &mut RealFftPlanner<f64>) -> Self {
        let (forward, inverse) = (planner.plan_fft_forward(n), planner.plan_fft_inverse(n));
        Self { n, forward, inverse }
    }

    /// Room for a spectrum: `n / 2 + 1` bins.
    pub(super) fn bins(&self) -> Vec<Complex64> {
        self.forward.make_output_vec()
    }

    /// Spectrum of a signal, which is filled up with zeros.
    pub(super) fn forward(&self, mut samples: Vec<f64>) -> Vec<Complex64> {
        samples.resize(self.n, 0.0);
        let mut spectrum = self.bins();
        self.forward_into(&mut samples, &mut spectrum);
        spectrum
    }

    /// The same without new memory; `samples` are lost.
    pub(super) fn forward_into(&self, samples: &mut [f64], spectrum: &mut [Complex64]) {
        // Both lengths come from this plan.
        let _ = self.forward.process(samples, spectrum);
    }

    /// Signal of a spectrum, which is lost.
    pub(super) fn back(&self, spectrum: &mut [Complex64]) -> Vec<f64> {
        spectrum[0].im = 0.0;
        // The length is even, so the last bin is the real one of half the rate.
        spectrum[self.n / 2].im = 0.0;
        let mut samples = self.inverse.make_output_vec();
        // Lengths come from this plan and the real bins are real.
        let _ = self.inverse.process(spectrum, &mut samples);
        samples
    }
}

/// Smallest length of at least `n` whose only prime factors are 2, 3 and 5, even.
pub(super) fn smooth_length(n: usize) -> usize {
    let mut best = n.next_power_of_two();
    let mut fives = 1;
    while fives < best {
        let mut threes = fives;
        while threes < best {
            let mut length = 2 * threes;
            while length < n {
                length *= 2;
            }
            best = best.min(length);
            threes *= 3;
        }
        fives *= 5;
    }
    best
}
