//! Power spectra of real sequences, two by one complex transform.
//!
//! With one sequence as the real and another as the imaginary part of the points, their spectra
//! are `(Z + conj(Z'))/2` and `(Z - conj(Z'))/2j`, with `Z'` the bin of the negative frequency
//! (Press et al., Numerical Recipes, 3rd ed., section 12.3). What one leaves in the other by
//! rounding is 130 dB below it, in single precision: noise of any microphone is far above that.

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::sync::Arc;

/// A plan for one even length.
pub struct PowerPlan {
    fft: Arc<dyn Fft<f32>>,
}

/// Points of two sequences, and memory for their transform.
pub struct TwoSequences {
    /// One sequence as real, the other as imaginary parts; lost in the transform.
    pub points: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
}

impl PowerPlan {
    /// Plans for sequences of `n` points, an even number.
    pub fn new(n: usize) -> Self {
        debug_assert!(n.is_multiple_of(2));
        Self { fft: FftPlanner::new().plan_fft_forward(n) }
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
    pub fn workspace(&self) -> TwoSequences {
        let zeros = |n| vec![Complex::default(); n];
        TwoSequences {
            points: zeros(self.n_points()),
            scratch: zeros(self.fft.get_inplace_scratch_len()),
        }
    }

    /// `factor |X|^2` of both sequences, `n_bins()` each.
    pub fn powers(
        &self,
        TwoSequences { points, scratch }: &mut TwoSequences,
        factor: f32,
        [one, other]: [&mut [f32]; 2],
    ) {
        self.fft.process_with_scratch(points, scratch);
        let half = self.n_points() / 2;
        one[0] = factor * points[0].re * points[0].re;
        other[0] = factor * points[0].im * points[0].im;
        let factor = 0.25 * factor;
        let negative = points[half..].iter().rev();
        let bins = one[1..].iter_mut().zip(&mut other[1..]);
        for ((one, other), (z, z_negative)) in bins.zip(points[1..].iter().zip(negative)) {
            let (sum, difference) = (z + z_negative, z - z_negative);
            *one = factor * (sum.re * sum.re + difference.im * difference.im);
            *other = factor * (difference.re * difference.re + sum.im * sum.im);
        }
    }

    /// `|X|^2` of sequences of up to `n_points()`, filled up with zeros.
    pub fn of(&self, sequences: &[Vec<f32>]) -> Vec<Vec<f32>> {
        let mut work = self.workspace();
        let mut all = Vec::with_capacity(sequences.len() + 1);
        for two in sequences.chunks(2) {
            let other = two.get(1).map_or(&[][..], |other| other);
            let imaginary = other.iter().copied().chain(std::iter::repeat(0.0));
            let real = two[0].iter().copied().chain(std::iter::repeat(0.0));
            for (point, (re, im)) in work.points.iter_mut().zip(real.zip(imaginary)) {
                *point = Complex::new(re, im);
            }
            let mut powers = [(); 2].map(|()| vec![0.0; self.n_bins()]);
            self.powers(&mut work, 1.0, powers.each_mut().map(Vec::as_mut_slice));
            all.extend(powers);
        }
        all.truncate(sequences.len());
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::transfer::fft::RealFft;

    /// Against the plain real transform in double precision, for even and odd numbers of
    /// sequences, one of them 100 dB below its neighbour.
    #[test]
    fn two_at_once_are_as_one_at_a_time() {
        let n = 48;
        let plan = PowerPlan::new(n);
        let real = RealFft::new(n);
        let sequences: Vec<Vec<f64>> = [1.0, 1e-5, 3.0]
            .iter()
            .enumerate()
            .map(|(s, scale)| (0..40 + s).map(|i| scale * ((i * i + s) as f64).sin()).collect())
            .collect();
        for count in 0..=3 {
            let single = |x: &Vec<f64>| x.iter().map(|x| *x as f32).collect();
            let given: Vec<Vec<f32>> = sequences[..count].iter().map(single).collect();
            let got = plan.of(&given);
            assert_eq!(got.len(), count);
            for (i, (got, x)) in got.iter().zip(&sequences).enumerate() {
                // Both of a pair leave their rounding in each other, 130 dB below the louder.
                let two = sequences[..count].chunks(2).nth(i / 2).expect("its pair");
                let norm = |x: &Vec<f64>| x.iter().map(|x| x * x).sum::<f64>().sqrt();
                let loudest = two.iter().map(norm).fold(0.0, f64::max);
                for (power, want) in got.iter().zip(real.forward(x)) {
                    let off = (f64::from(*power).sqrt() - want.norm()).abs();
                    assert!(off < 3e-7 * loudest, "{power} {want}");
                }
            }
        }
    }
}
