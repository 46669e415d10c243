//! Spectra of the fit, and what is done with whole rows of numbers.

use realfft::num_complex::Complex;

/// One-sided spectrum.
pub type Spectrum = Vec<Complex<f64>>;

/// `1/(1 - ratio)`: a sound and all its echoes.
pub(super) fn echo_series(ratio: &[Complex<f64>]) -> impl Iterator<Item = Complex<f64>> {
    let one = Complex::new(1.0, 0.0);
    ratio.iter().map(move |r| one / (one - r))
}

pub(super) fn mean_of(rows: &[Vec<f64>]) -> Vec<f64> {
    let mut mean = vec![0.0; rows.first().map_or(0, Vec::len)];
    for row in rows {
        mean.iter_mut().zip(row).for_each(|(m, x)| *m += x / rows.len() as f64);
    }
    mean
}
