//! Every M-th sample of a stream, after a filter that keeps what lies above from folding back.

use std::f64::consts::PI;

/// Taps for each sample that is kept.
const TAPS_PER_STEP: usize = 16;
/// Where the filter has fallen to half, as part of the new rate.
const CUTOFF: f64 = 0.42;

/// A stream at a lower rate. Good enough to find a sweep by, not to measure by: what folds
/// back below 0.36 of the new rate lies 60 dB down.
pub(super) struct Decimator {
    step: usize,
    taps: Vec<f32>,
    /// Input that is still needed; its first sample is the first of the next sum.
    waiting: Vec<f32>,
}

impl Decimator {
    /// Keeps every `step`-th sample.
    pub(super) fn new(step: usize) -> Self {
        let n = if step == 1 { 1 } else { TAPS_PER_STEP * step + 1 };
        let middle = (n / 2) as f64;
        let cutoff = CUTOFF / step as f64;
        let mut taps: Vec<f64> = (0..n)
            .map(|i| {
                let t = i as f64 - middle;
                let sinc = if t == 0.0 {
                    1.0
                } else {
                    (2.0 * PI * cutoff * t).sin() / (2.0 * PI * cutoff * t)
                };
                let x = t / (middle + 1.0);
                sinc * (0.42 + 0.5 * (PI * x).cos() + 0.08 * (2.0 * PI * x).cos())
            })
            .collect();
        let sum: f64 = taps.iter().sum();
        taps.iter_mut().for_each(|t| *t /= sum);
        // Zeros before the first sample, so that sample k of the output stands for k * step.
        let waiting = vec![0.0; n / 2];
        Self { step, taps: taps.iter().map(|&t| t as f32).collect(), waiting }
    }

    /// Takes more input and appends what can be told of the output.
    pub(super) fn push(&mut self, input: &[f64], output: &mut Vec<f32>) {
        self.waiting.extend(input.iter().map(|&x| x as f32));
        let n = self.taps.len();
        let mut at = 0;
        while at + n <= self.waiting.len() {
            output.push(dot(&self.taps, &self.waiting[at..at + n]));
            at += self.step;
        }
        self.waiting.drain(..at.min(self.waiting.len()));
    }

    /// What the end still holds, as if silence followed.
    pub(super) fn finish(&mut self, output: &mut Vec<f32>) {
        self.push(&vec![0.0; self.taps.len() / 2], output);
    }
}

/// In sixteen chains that need not wait for each other.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let (a_blocks, a_rest) = a.as_chunks::<16>();
    let (b_blocks, b_rest) = b.as_chunks::<16>();
    let mut sums = [0f32; 16];
    for (a, b) in a_blocks.iter().zip(b_blocks) {
        for i in 0..16 {
            sums[i] += a[i] * b[i];
        }
    }
    let rest: f32 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    sums.iter().sum::<f32>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn level_of(hz: f64, step: usize, rate: f64) -> f64 {
        let input: Vec<f64> =
            (0..20_000).map(|i| (2.0 * PI * hz * i as f64 / rate).sin()).collect();
        let mut out = Vec::new();
        let mut decimator = Decimator::new(step);
        // In uneven pieces, as files come.
        input.chunks(777).for_each(|piece| decimator.push(piece, &mut out));
        decimator.finish(&mut out);
        assert_eq!(out.len(), input.len().div_ceil(step));
        let middle = &out[out.len() / 4..3 * out.len() / 4];
        (2.0 * middle.iter().map(|x| f64::from(x * x)).sum::<f64>() / middle.len() as f64).sqrt()
    }

    #[test]
    fn low_tones_pass_and_high_ones_do_not_fold_back() {
        for (step, rate) in [(1usize, 12_000.0), (4, 48_000.0), (8, 96_000.0)] {
            let new_rate = rate / step as f64;
            assert!((level_of(0.05 * new_rate, step, rate) - 1.0).abs() < 0.01);
            assert!((level_of(0.3 * new_rate, step, rate) - 1.0).abs() < 0.02);
            if step > 1 {
                assert!(level_of(0.7 * new_rate, step, rate) < 1e-3);
                assert!(level_of(1.2 * new_rate, step, rate) < 1e-3);
            }
        }
    }
}
