//! Sound that is not the sweep: slams, coughs, rattle.

use crate::clean::*;
use crate::fault::Fault;
use scrimcheck::simulate::scenario::Rattle;
use scrimcheck::warning::Topic;
use std::f64::consts::{PI, TAU};

/// While the sweep runs, what covers a disturbance depends on the moment; this is the
/// sweep's frequency then, Hz.
const SWEEP_HZ: f64 = 500.0;

pub fn faults() -> Vec<Fault> {
    vec![
        Fault::of_session(
            "disturbance of 0.1 s before the sweep, above the noise of a room with 35 dB of \
             distance, by",
            "dB",
            [15.0, 9.0],
            |clean, size| {
                let noisier = made(&clean.scenario.clone().with_snr_db(35.0));
                let mic = louder(&noisier, 5, size);
                says(&noisier.judged_with(vec![(5, mic)]), 5, Topic::Disturbance)
            },
        ),
        Fault::of_session(
            "door slam while the sweep passes 500 Hz, crack above that noise by",
            "dB",
            [10.0, 4.0],
            |clean, size| during(clean, size, true),
        ),
        Fault::of_session(
            "cough while the sweep passes 500 Hz, above that noise by",
            "dB",
            [12.0, 6.0],
            |clean, size| during(clean, size, false),
        ),
        Fault::of_session(
            "rattle from 90 to 140 Hz, above the stated detection limit",
            "dB",
            [3.0, -3.0],
            rattle,
        ),
    ]
}

/// Whether a slam (`low`) or a cough is found whose crack, noise of the room's own colour,
/// stands `size` dB above that noise at its loudest. So short a piece of noise has more or
/// less energy by chance; it is brought to what its length should have, in the treble, where
/// the sweep at 500 Hz does not cover it.
fn during(clean: &Clean, size: f64, low: bool) -> bool {
    let take = 5;
    let noisier = made(&clean.scenario.clone().with_snr_db(35.0));
    let mut x = mic(&noisier, take);
    let at_s = noisier.start_s(take) + noisier.scenario.sweep.time_s(SWEEP_HZ);
    let from = (at_s * noisier.rate()) as usize;
    let noise = &noisier.recordings[(take + 1) % noisier.recordings.len()].mic;
    let rms = noisier.noise_rms();
    let noise = &noise[..(0.3 * noisier.rate()) as usize];
    let time_s = |n: usize| n as f64 / noisier.rate();
    let envelope = |n: usize| {
        let t = time_s(n);
        // The crack of the latch, or noise for a tenth of a second.
        if low { (-t / 0.015).exp() } else { (-((t - 0.06) / 0.03).powi(2)).exp() }
    };
    let crack: Vec<f64> = noise.iter().enumerate().map(|(n, x)| x * envelope(n)).collect();
    let treble = |x: &[f64]| x.windows(2).map(|pair| (pair[1] - pair[0]).powi(2)).sum::<f64>();
    let length = (0..noise.len()).map(|n| envelope(n).powi(2)).sum::<f64>();
    let due = treble(noise) * length / noise.len() as f64;
    let factor = 10f64.powf(size / 20.0) * (due / treble(&crack)).sqrt();
    for (n, (x, crack)) in x[from..].iter_mut().zip(&crack).enumerate() {
        let t = time_s(n);
        let boom = 3.0 * rms * (-t / 0.06).exp() * (TAU * 90.0 * t).sin();
        *x += factor * (crack + if low { boom } else { 0.0 });
    }
    says(&noisier.judged_with(vec![(take, x)]), take, Topic::Disturbance)
}

/// A take with 0.1 s of noise of the room's own colour before the sweep, with a smooth
/// beginning and end, whose middle stands `size` dB above that noise.
fn louder(clean: &Clean, take: usize, size: f64) -> Vec<f64> {
    let mut x = mic(clean, take);
    let n = (0.1 * clean.rate()) as usize;
    let from = (0.15 * clean.rate()) as usize;
    let other = &clean.recordings[(take + 1) % clean.recordings.len()].mic;
    let factor = 10f64.powf(size / 20.0);
    for i in 0..n {
        let window = (PI * (i as f64 + 0.5) / n as f64).sin();
        x[from + i] += factor * window * other[from + i];
    }
    x
}

/// Whether ticks that stand so far above the stated detection limit are found.
fn rattle(clean: &Clean, above_limit_db: f64) -> bool {
    let with = |level_db: f64| {
        let mut s = clean.scenario.clone();
        s.rattle = Some(Rattle { low_hz: 90.0, high_hz: 140.0, level_db });
        made(&s).judged_with(Vec::new()).rattle
    };
    // Loud ticks first, to learn how strong they come out in this room: ticks add to the
    // noise, and where they start to be found is the stated limit.
    let loud_db = 0.0;
    let Some(range) = with(loud_db).ranges.pop() else { return false };
    let power_db = 10.0 * (10f64.powf(range.excess_db / 10.0) - 1.0).log10();
    !with(loud_db + above_limit_db - power_db).ranges.is_empty()
}
