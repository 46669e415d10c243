//! Power spectra of real sequences in single precision: noise of any microphone is far above its
//! rounding.

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// A plan for one even length.
pub struct PowerPlan {
    fft: Arc<dyn RealToComplex<f32>>,
}

/// Points of a sequence, and memory for its transform.
pub struct PowerWork {
    /// The sequence, `n_points()`; lost in the transform.
    pub points: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

impl PowerPlan {
    /// Plans for sequences of `n` points, an even number.
    pub fn new(n: usize) -> Self {
        debug_assert!(n.is_multiple_of(2));
        Self { fft: RealFftPlanner::new().plan_fft_forward(n) }
    }

    /// Number of points.
    pub fn n_points(&self) -> usize {
        self.fft.len()
    }

    /// Number of bins of a one-sided spectrum.
    pub fn n_bins(&self) -> usize {
        self.n_points() / 2 + 1
    }

    /// Memory for one transform after another, all zero.
    pub fn workspace(&self) -> PowerWork {
        PowerWork {
            points: self.fft.make_input_vec(),
            spectrum: self.fft.make_output_vec(),
            scratch: self.fft.make_scratch_vec(),
        }
    }

    /// `factor |X|^2` of the points, `n_bins()`.
    pub fn power(&self, work: &mut PowerWork, factor: f32, power: &mut [f32]) {
        let PowerWork { points, spectrum, scratch } = work;
        // Fails only on wrong lengths, and all come from the plan.
        let done = self.fft.process_with_scratch(points, spectrum, scratch);
        debug_assert!(done.is_ok());
        power.iter_mut().zip(spectrum).for_each(|(p, x)| *p = factor * x.norm_sqr());
    }

    /// `|X|^2` of sequences of up to `n_points()`, filled up with zeros.
    pub fn of(&self, sequences: &[Vec<f32>]) -> Vec<Vec<f32>> {
        let mut work = self.workspace();
        let one = |sequence: &Vec<f32>| {
            work.points.fill(0.0);
            work.points[..sequence.len()].copy_from_slice(sequence);
            let mut power = vec![0.0; self.n_bins()];
            self.power(&mut work, 1.0, &mut power);
            power
        };
        sequences.iter().map(one).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::transfer::fft::RealFft;

    /// Against the transform in double precision, of sequences 100 dB apart.
    #[test]
    fn powers_are_those_of_double_precision() {
        let n = 48;
        let real = RealFft::new(n);
        let sequences: Vec<Vec<f64>> = [1.0, 1e-5, 3.0]
            .iter()
            .enumerate()
            .map(|(s, scale)| (0..40 + s).map(|i| scale * ((i * i + s) as f64).sin()).collect())
            .collect();
        let single = |x: &Vec<f64>| x.iter().map(|x| *x as f32).collect();
        let got = PowerPlan::new(n).of(&sequences.iter().map(single).collect::<Vec<_>>());
        assert_eq!(got.len(), sequences.len());
        for (got, x) in got.iter().zip(&sequences) {
            let norm = x.iter().map(|x| x * x).sum::<f64>().sqrt();
            for (power, want) in got.iter().zip(real.forward(x)) {
                let off = (f64::from(*power).sqrt() - want.norm()).abs();
                assert!(off < 3e-7 * norm, "{power} {want}");
            }
        }
    }
}
