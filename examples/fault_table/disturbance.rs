//! Sound that is not the sweep: slams, coughs, rattle.

use crate::clean::*;
use crate::fault::Fault;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
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
            [14.0, 8.0],
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

/// Whether a slam (`low`) or a cough is found whose sound from 4 to 16 kHz, at its loudest,
/// stands `size` dB above the noise of the room there: these bands hold neither the sweep at
/// 500 Hz nor its decay.
fn during(clean: &Clean, size: f64, low: bool) -> bool {
    let (take, mut rng) = (5, ChaCha8Rng::seed_from_u64(clean.scenario.seed));
    let noisier = made(&clean.scenario.clone().with_snr_db(35.0));
    let levels = noisier.facts[take].bands.iter().zip(&noisier.facts[take].levels.floor);
    let treble: f64 = levels.filter(|(band, _)| band.index() >= 6).map(|(_, power)| power).sum();
    // Of white noise up to 24 kHz the half lies there.
    let factor = (2.0 * treble).sqrt() * 10f64.powf(size / 20.0);
    let mut x = mic(&noisier, take);
    let at_s = noisier.start_s(take) + noisier.scenario.sweep.time_s(SWEEP_HZ);
    let from = (at_s * noisier.rate()) as usize;
    for (n, x) in x[from..].iter_mut().enumerate() {
        let t = n as f64 / noisier.rate();
        let crack: f64 = StandardNormal.sample(&mut rng);
        *x += factor
            * if low {
                // The door's boom at 90 Hz and the crack of the latch.
                3.0 * (-t / 0.06).exp() * (TAU * 90.0 * t).sin() + (-t / 0.015).exp() * crack
            } else {
                // A cough: noise for a tenth of a second.
                (-((t - 0.06) / 0.03).powi(2)).exp() * crack
            };
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
