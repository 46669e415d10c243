//! A sound through a filter: overlapping blocks, each multiplied as a spectrum.

use super::Fir;
use crate::transfer::fft::RealFft;

/// `samples` through `fir`, as long as they are and at the same place. What a sound that goes
/// round has after its end comes back at its beginning; else it is cut off.
pub(super) fn convolve(samples: &[f64], fir: &Fir, goes_round: bool) -> Vec<f64> {
    let block = fir.taps.len();
    let fft = RealFft::new(2 * block);
    let filter = fft.forward(&fir.taps);
    let n = samples.len();
    let mut out = vec![0.0; n];
    for (b, part) in samples.chunks(block).enumerate() {
        let mut spectrum = fft.forward(part);
        spectrum.iter_mut().zip(&filter).for_each(|(x, h)| *x *= h);
        for (i, y) in fft.inverse(spectrum).into_iter().enumerate() {
            let at = (b * block + i) as i64 - fir.lead as i64;
            if goes_round {
                out[at.rem_euclid(n as i64) as usize] += y;
            } else if (0..n as i64).contains(&at) {
                out[at as usize] += y;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Held against the sum that defines it.
    #[test]
    fn blocks_give_what_the_sum_gives() {
        let samples: Vec<f64> = (0..37).map(|i| f64::from((i * i) % 11) - 5.0).collect();
        let fir = Fir { taps: vec![0.5, 1.0, -0.25, 0.125], lead: 1 };
        for goes_round in [false, true] {
            let got = convolve(&samples, &fir, goes_round);
            for (i, y) in got.iter().enumerate() {
                let want: f64 = (0..4)
                    .map(|t| {
                        let at = i as i64 + 1 - t;
                        let wrapped = at.rem_euclid(37);
                        let there = goes_round || wrapped == at;
                        if there { fir.taps[t as usize] * samples[wrapped as usize] } else { 0.0 }
                    })
                    .sum();
                assert!((y - want).abs() < 1e-12, "{goes_round} {i}: {y} {want}");
            }
        }
    }
}
