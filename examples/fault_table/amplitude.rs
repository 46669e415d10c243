//! Levels of single takes: clipping, offset, hum.

use crate::clean::*;
use crate::fault::Fault;
use rand::RngExt;
use scrimcheck::warning::Topic;
use std::f64::consts::TAU;

pub fn faults() -> Vec<Fault> {
    vec![
        Fault::of_take(
            "clipping at full scale: peak without the limit",
            Topic::Clipping,
            "times full scale",
            [1.2, 0.6],
            |clean, take, size, _| {
                let x = mic(clean, take);
                let factor = size / peak(&x);
                x.iter().map(|x| (x * factor).clamp(-1.0, 1.0)).collect()
            },
        ),
        Fault::of_take(
            "flat tops below full scale: peak cut by",
            Topic::Clipping,
            "dB",
            [2.4, 1.2],
            |clean, take, size, _| {
                let x = mic(clean, take);
                let limit = peak(&x) * 10f64.powf(-size / 20.0);
                x.iter().map(|x| x.clamp(-limit, limit)).collect()
            },
        ),
        Fault::of_take(
            "too little level: below -12 dB re full scale by",
            Topic::LowLevel,
            "dB",
            [34.0, 28.0],
            |clean, take, size, _| {
                let x = mic(clean, take);
                gain(&x, -12.0 - size - 20.0 * peak(&x).log10())
            },
        ),
        Fault::of_take(
            "constant offset",
            Topic::DcOffset,
            "of full scale",
            [0.02, 0.01],
            |clean, take, size, _| mic(clean, take).iter().map(|x| x + size).collect(),
        ),
        Fault::of_take(
            "mains hum, strongest line against the noise of the 100 Hz band",
            Topic::Hum,
            "times",
            [4.5, 2.25],
            |clean, take, size, rng| {
                // Mean over the takes: the silence of one take is short, and its noise scatters.
                let floor: f64 = clean.facts.iter().map(|f| f.levels.floor[0]).sum();
                let rms = size * (floor / clean.facts.len() as f64).sqrt();
                let start: f64 = rng.random_range(0.0..TAU);
                let hum = |i: usize| {
                    let phase = TAU * 50.0 * i as f64 / clean.rate() + start;
                    rms * 2f64.sqrt() * (phase.sin() + 0.5 * (3.0 * phase).sin())
                };
                mic(clean, take).iter().enumerate().map(|(i, x)| x + hum(i)).collect()
            },
        ),
    ]
}
