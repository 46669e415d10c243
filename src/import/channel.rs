//! Which channel of a recording is the microphone, and which the electrical reference.

use super::find::SweepInStream;
use crate::transfer::fft::RealFft;

/// A channel holds the sweep where it has at least this part of the sweeps that the best has.
const SHARE: f64 = 0.5;
/// Energy of the decay over that of the peak below which no room can have answered, dB.
const NO_ROOM_DB: f64 = -35.0;
/// The peak: this much on either side of it, s.
const PEAK_S: f64 = 0.002;
/// The decay: after the peak, from here to here, s.
const DECAY_S: [f64; 2] = [0.004, 0.2];

/// Where the band that is looked at begins and ends, Hz.
const LOW_EDGE_HZ: [f64; 2] = [200.0, 600.0];
const HIGH_EDGE_HZ: [f64; 2] = [4_000.0, 9_000.0];

/// From 0 at the first frequency to 1 at the second.
fn rise(hz: f64, [from, to]: [f64; 2]) -> f64 {
    let x = ((hz - from) / (to - from)).clamp(0.0, 1.0);
    0.5 - 0.5 * (std::f64::consts::PI * x).cos()
}

/// What the channels of a recording are, counted from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Channels {
    /// The microphone.
    pub mic: usize,
    /// Other channels that hold the sweep as a microphone does, weaker.
    pub others: Vec<usize>,
    /// The electrical reference.
    pub reference: Option<usize>,
}

/// Channels that hold the sweeps, by what was found in each.
pub(super) fn with_sweeps(found: &[Vec<SweepInStream>]) -> Vec<usize> {
    let most = found.iter().map(Vec::len).max().unwrap_or(0);
    let needed = (SHARE * most as f64).ceil().max(1.0) as usize;
    (0..found.len()).filter(|&channel| found[channel].len() >= needed).collect()
}

/// Median energy of the sweeps of a channel.
pub(super) fn strength(found: &[SweepInStream]) -> f64 {
    let mut energies: Vec<f64> = found.iter().map(|f| f.energy).collect();
    energies.sort_by(f64::total_cmp);
    energies.get(energies.len() / 2).copied().unwrap_or(0.0)
}

/// Whether a response, circular, is that of a wire: no room answers in it.
pub(super) fn is_electrical(response: &[f64], rate_hz: f64) -> bool {
    let n = response.len();
    let fft = RealFft::new(n);
    let mut spectrum = fft.forward(response);
    let bin_hz = rate_hz / n as f64;
    // Rumble and the edges of the sweep's band ring on for longer than any decay.
    for (k, x) in spectrum.iter_mut().enumerate() {
        let hz = k as f64 * bin_hz;
        *x *= rise(hz, LOW_EDGE_HZ) * (1.0 - rise(hz, HIGH_EDGE_HZ));
    }
    let response = fft.inverse(spectrum);
    let peak = (0..n).max_by(|&a, &b| response[a].abs().total_cmp(&response[b].abs()));
    let Some(peak) = peak.filter(|&p| response[p] != 0.0) else { return false };
    let energy = |from_s: f64, to_s: f64| {
        let [from, to] = [from_s, to_s].map(|s| (s * rate_hz).round() as i64);
        (from..to)
            .map(|i| response[(peak as i64 + i).rem_euclid(n as i64) as usize].powi(2))
            .sum::<f64>()
    };
    let [from, to] = DECAY_S;
    10.0 * (energy(from, to) / energy(-PEAK_S, PEAK_S)).log10() < NO_ROOM_DB
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wire_has_no_decay_and_a_room_has() {
        let mut wire = vec![1e-6; 48_000];
        wire[100] = 1.0;
        assert!(is_electrical(&wire, 48_000.0));
        let mut room = wire.clone();
        for (i, x) in room[101..].iter_mut().enumerate() {
            *x += 0.02 * (-(i as f64) / 4800.0).exp() * (0.3 * i as f64).sin();
        }
        assert!(!is_electrical(&room, 48_000.0));
        assert!(!is_electrical(&[0.0; 100], 48_000.0));
    }

    #[test]
    fn a_channel_with_few_of_the_sweeps_holds_none() {
        let found =
            |n: usize, energy| vec![SweepInStream { start_frame: 0, energy, contrast_db: 30.0 }; n];
        assert_eq!(with_sweeps(&[found(12, 1.0), found(1, 9.0), found(6, 1.0)]), [0, 2]);
        assert_eq!(with_sweeps(&[vec![], vec![]]), [0usize; 0]);
        assert_eq!(strength(&[]), 0.0);
    }
}
