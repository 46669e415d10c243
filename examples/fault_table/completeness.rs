//! Parts of a take that are missing or too many.

use crate::clean::*;
use crate::fault::Fault;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use scrimcheck::warning::Topic;

pub fn faults() -> Vec<Fault> {
    vec![
        Fault::of_take(
            "start of the sweep missing",
            Topic::Truncation,
            "s",
            [0.1, 0.05],
            |clean, take, size, _| {
                mic(clean, take)[seconds(clean, clean.start_s(take) + size)..].to_vec()
            },
        ),
        Fault::of_take(
            "end of the sweep missing",
            Topic::Truncation,
            "s",
            [0.1, 0.05],
            |clean, take, size, _| {
                let end_s = clean.start_s(take) + clean.scenario.sweep.duration_s;
                let mut x = mic(clean, take);
                x.truncate(seconds(clean, end_s - size));
                // The rest of the file is there, but silent but for noise: only the sweep's
                // end is missing, not the tail.
                let mut rng = ChaCha8Rng::seed_from_u64(3);
                let rms = clean.noise_rms();
                if size < 0.06 {
                    x.extend((0..seconds(clean, 0.5)).map(|_| {
                        let noise: f64 = StandardNormal.sample(&mut rng);
                        rms * noise
                    }));
                }
                x
            },
        ),
        Fault::of_take(
            "drop-out",
            Topic::Truncation,
            "ms",
            [3.0, 1.5],
            |clean, take, size, rng| {
                let mut x = mic(clean, take);
                let at = seconds(clean, clean.start_s(take) + rng.random_range(1.0..4.5));
                x[at..at + seconds(clean, size / 1000.0)].fill(0.0);
                x
            },
        ),
        Fault::of_take(
            "second sweep: heard above 150 Hz for",
            Topic::DoubleSweep,
            "s",
            [1.2, 0.6],
            |clean, take, size, _| {
                let mut x = mic(clean, take);
                let sweep = clean.scenario.sweep;
                // The file ends `size` after the second sweep has reached 150 Hz.
                let begins = x.len() - seconds(clean, size + sweep.time_s(150.0));
                let second = x.clone();
                let from = seconds(clean, clean.start_s(take));
                for (i, sample) in x[begins..].iter_mut().enumerate() {
                    *sample += second.get(from + i).copied().unwrap_or(0.0);
                }
                x
            },
        ),
        Fault::of_take(
            "wrong signal: a sweep of other length, longer by",
            Topic::WrongSignal,
            "%",
            [5.0, 2.5],
            |clean, take, size, _| {
                // Straight-line interpolation is good enough to be the wrong signal.
                let x = mic(clean, take);
                let factor = 1.0 + size / 100.0;
                let n = (x.len() as f64 * factor) as usize;
                (0..n - 2)
                    .map(|i| {
                        let at = i as f64 / factor;
                        let (k, part) = (at as usize, at.fract());
                        let next = x.get(k + 1).copied().unwrap_or(0.0);
                        x.get(k).copied().unwrap_or(0.0) * (1.0 - part) + next * part
                    })
                    .collect()
            },
        ),
    ]
}

fn seconds(clean: &Clean, s: f64) -> usize {
    (s * clean.rate()).round().max(0.0) as usize
}
