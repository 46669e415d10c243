//! Sound through responses, by transforms.

use realfft::RealFftPlanner;
use realfft::num_complex::Complex;

/// Spectrum of `x`, filled up with zeros to `n` samples.
pub fn spectrum(planner: &mut RealFftPlanner<f64>, x: &[f64], n: usize) -> Vec<Complex<f64>> {
    let forward = planner.plan_fft_forward(n);
    let mut padded = x.to_vec();
    padded.resize(n, 0.0);
    let mut bins = forward.make_output_vec();
    forward.process(&mut padded, &mut bins).unwrap();
    bins
}

/// `sound` through `response`.
pub fn convolve(planner: &mut RealFftPlanner<f64>, sound: &[f64], response: &[f64]) -> Vec<f64> {
    let n = (sound.len() + response.len()).next_power_of_two();
    let (a, b) = (spectrum(planner, sound, n), spectrum(planner, response, n));
    let mut product: Vec<_> = a.iter().zip(b).map(|(a, b)| a * b / n as f64).collect();
    (product[0].im, product[n / 2].im) = (0.0, 0.0);
    let inverse = planner.plan_fft_inverse(n);
    let mut out = inverse.make_output_vec();
    inverse.process(&mut product, &mut out).unwrap();
    out
}
