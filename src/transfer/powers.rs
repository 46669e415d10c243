//! Power spectra of real sequences, two by one complex transform.
//!
//! With one sequence as the real and another as the imaginary part of the points, their spectra
//! are `(Z + conj(Z'))/2` and `(Z - conj(Z'))/2j`, with `Z'` the bin of the negative frequency
//! (Press et al., Numerical Recipes, 3rd ed., section 12.3). What one leaves in the other by
//! rounding is as far below it as numbers are exact.

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftNum, FftPlanner};
use std::sync::Arc;

/// A plan for one even length.
pub struct PowerPlan<T> {
    fft: Arc<dyn Fft<T>>,
}

/// Points of two sequences, and memory for their transform.
pub struct TwoSequences<T> {
    /// One sequence as real, the other as imaginary parts; lost in the transform.
    pub points: Vec<Complex<T>>,
    scratch: Vec<Complex<T>>,
}

impl<T: FftNum> PowerPlan<T> {
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
    pub fn workspace(&self) -> TwoSequences<T> {
        let zeros = |n| vec![Complex::new(T::zero(), T::zero()); n];
        TwoSequences {
            points: zeros(self.n_points()),
            scratch: zeros(self.fft.get_inplace_scratch_len()),
        }
    }

    /// `factor |X|^2` of both sequences, `n_bins()` each.
    pub fn powers(
        &self,
        TwoSequences { points, scratch }: &mut TwoSequences<T>,
        factor: T,
        [one, other]: [&mut [T]; 2],
    ) {
        self.fft.process_with_scratch(points, scratch);
        let half = self.n_points() / 2;
        one[0] = factor * points[0].re * points[0].re;
        other[0] = factor * points[0].im * points[0].im;
        let two = T::one() + T::one();
        let factor = factor / (two * two);
        let negative = points[half..].iter().rev();
        let bins = one[1..].iter_mut().zip(&mut other[1..]);
        for ((one, other), (z, z_negative)) in bins.zip(points[1..].iter().zip(negative)) {
            let (sum, difference) = (z + z_negative, z - z_negative);
            *one = factor * (sum.re * sum.re + difference.im * difference.im);
            *other = factor * (difference.re * difference.re + sum.im * sum.im);
        }
    }
}

impl PowerPlan<f64> {
    /// `|X|^2` of sequences of up to `n_points()`, filled up with zeros.
    pub fn of(&self, sequences: &[Vec<f64>]) -> Vec<Vec<f64>> {
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

    /// Against the plain real transform, for even and odd numbers of sequences, one of them
    /// 200 dB below its neighbour.
    #[test]
    fn two_at_once_are_as_one_at_a_time() {
        let n = 48;
        let plan = PowerPlan::<f64>::new(n);
        let real = RealFft::new(n);
        let sequences: Vec<Vec<f64>> = [1.0, 1e-10, 3.0]
            .iter()
            .enumerate()
            .map(|(s, scale)| (0..40 + s).map(|i| scale * ((i * i + s) as f64).sin()).collect())
            .collect();
        for count in 0..=3 {
            let got = plan.of(&sequences[..count]);
            assert_eq!(got.len(), count);
            for (got, x) in got.iter().zip(&sequences) {
                let largest = x.iter().fold(0.0f64, |a, x| a.max(x.abs()));
                for (power, want) in got.iter().zip(real.forward(x)) {
                    let tolerance = 1e-4 * (largest * largest + 1e-20);
                    assert!((power - want.norm_sqr()).abs() < tolerance, "{power} {want}");
                }
            }
        }
    }
}
