//! What goes wrong on site: rattles, clipping, cut files, slams, mixed-up files.

use super::order::Order;
use super::scenario::{Fault, Scenario, TakeKey};
use super::stream::{Stream, random};
use super::take::{SimulatedTake, peak};
use crate::ingest::manifest::SoundSource;
use rand::RngExt;
use rand_distr::StandardNormal;
use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Ticks of a rattling screen as a drive spectrum, where the take has them.
pub(crate) fn rattle_spectrum(
    scenario: &Scenario,
    order: Order,
    spectrum: impl Fn(Vec<f64>) -> Vec<Complex64>,
) -> Option<Vec<Complex64>> {
    let rattle = scenario.rattle.as_ref()?;
    if !order.hung() || order.source != SoundSource::Centre {
        return None;
    }
    let rate_hz = f64::from(scenario.rate_hz);
    let sweep = &scenario.sweep;
    let mut rng = random(scenario.seed, Stream::Rattle, order.key.seat as u64);
    let (from, to) = (sweep.time_s(rattle.low_hz), sweep.time_s(rattle.high_hz));
    let height = 10f64.powf((sweep.level_dbfs + rattle.level_db) / 20.0);
    let mut ticks = vec![0.0; ((to + 0.01).min(sweep.duration_s) * rate_hz) as usize];
    let length = (0.0015 * rate_hz) as usize;
    let mut t = from;
    while t < to {
        // One tick a period, at about the same phase, of varying strength.
        let start = (t * rate_hz) as usize;
        let strength = height * rng.random_range(0.4..1.0);
        let burst: Vec<f64> = (0..length)
            .map(|n| {
                let noise: f64 = rng.sample(StandardNormal);
                noise * (-(n as f64) / (0.0004 * rate_hz)).exp()
            })
            .collect();
        // The first difference takes away what lies below the kilohertz range.
        let mut before = 0.0;
        let largest = peak(&burst).max(f64::MIN_POSITIVE);
        for (n, x) in burst.iter().enumerate() {
            if let Some(tick) = ticks.get_mut(start + n) {
                *tick += strength * (x - before) / (2.0 * largest);
            }
            before = *x;
        }
        t += 1.0 / sweep.frequency_hz(t);
    }
    Some(spectrum(ticks))
}

fn faults_of(scenario: &Scenario, key: TakeKey) -> impl Iterator<Item = Fault> + '_ {
    scenario.faults.iter().filter(move |(k, _)| *k == key).map(|(_, f)| *f)
}

/// Faults of the sound itself.
pub(crate) fn before_noise(scenario: &Scenario, order: Order, samples: &mut [f64]) {
    if order.source != SoundSource::Centre {
        return;
    }
    let rate_hz = f64::from(scenario.rate_hz);
    for fault in faults_of(scenario, order.key) {
        match fault {
            Fault::SecondSweep { after_s } => {
                let shift = (after_s * rate_hz) as usize;
                for n in (shift..samples.len()).rev() {
                    samples[n] += samples[n - shift];
                }
            }
            Fault::Slam { at_s, level_db } => {
                let height = peak(samples) * 10f64.powf(level_db / 20.0);
                let mut rng = random(scenario.seed, Stream::Fault, order.key.seat as u64);
                let start = (at_s * rate_hz) as usize;
                for (n, x) in samples.iter_mut().skip(start).enumerate() {
                    let t = n as f64 / rate_hz;
                    let crack: f64 = rng.sample(StandardNormal);
                    *x += height * (-t / 0.06).exp() * (2.0 * PI * 90.0 * t).sin()
                        + 0.3 * height * (-t / 0.015).exp() * crack;
                }
            }
            Fault::Silence => samples.fill(0.0),
            Fault::Gain { db } => {
                let gain = 10f64.powf(db / 20.0);
                samples.iter_mut().for_each(|x| *x *= gain);
            }
            Fault::Invert => samples.iter_mut().for_each(|x| *x = -*x),
            Fault::Clip { .. } | Fault::Truncate { .. } | Fault::CopyOfOther => {}
        }
    }
}

/// Faults of the recorder.
pub(crate) fn after_level(scenario: &Scenario, order: Order, take: &mut SimulatedTake) {
    if order.source != SoundSource::Centre {
        return;
    }
    for fault in faults_of(scenario, order.key) {
        match fault {
            Fault::Clip { at } => {
                // Gain turned up until the stated share of the peak meets full scale.
                let gain = 1.0 / (at * peak(&take.samples)).max(f64::MIN_POSITIVE);
                take.samples.iter_mut().for_each(|x| *x = (*x * gain).clamp(-1.0, 1.0));
            }
            Fault::Truncate { at_s } => {
                let keep = (at_s * f64::from(scenario.rate_hz)) as usize;
                take.samples.truncate(keep);
                if let Some(reference) = &mut take.reference {
                    reference.truncate(keep);
                }
            }
            _ => {}
        }
    }
}

/// Takes that are copies of the other condition's.
pub(crate) fn copy_takes(scenario: &Scenario, takes: &mut [(Order, SimulatedTake)]) {
    for (key, fault) in &scenario.faults {
        if *fault != Fault::CopyOfOther {
            continue;
        }
        let other = TakeKey { condition: usize::from(key.condition == 0), ..*key };
        let find = |wanted: TakeKey, takes: &[(Order, SimulatedTake)]| {
            takes.iter().position(|(o, _)| o.key == wanted && o.source == SoundSource::Centre)
        };
        if let (Some(to), Some(from)) = (find(*key, takes), find(other, takes)) {
            takes[to].1.samples = takes[from].1.samples.clone();
            takes[to].1.reference = takes[from].1.reference.clone();
        }
    }
}
