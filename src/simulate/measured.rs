//! Measured responses in place of the simulated loudspeaker and room: what a real loudspeaker and
//! a real room do, with a simulated sheet put on and a microphone that moves.
//!
//! The direct sound passes the sheet at the seat's angle. What follows is cut into stretches, each
//! of which comes from a direction of its own: by that the moved microphone hears it earlier or
//! later, and it passes the sheet at an angle of its own.

use super::response::{Acoustics, ExactPath, Geometry, PRE_ROLL, SeatPaths};
use super::scenario::Scenario;
use super::session::{Stream, random};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use std::f64::consts::PI;

/// Ends of the stretches, s after the crest; the first is the direct sound.
const ENDS_S: [f64; 8] = [0.0007, 0.0012, 0.002, 0.0035, 0.006, 0.010, 0.020, 0.050];
/// Overlap of neighbouring stretches, s.
const FADE_S: f64 = 0.0002;
/// Angles at which later sound passes the sheet, as cosines.
const COSINES: std::ops::Range<f64> = 0.35..1.0;

impl Acoustics {
    /// The ways to a seat whose response was measured.
    pub(super) fn measured_paths(
        &self,
        scenario: &Scenario,
        seat: usize,
        response: &[f64],
    ) -> SeatPaths {
        let mic = scenario.seat_in_room_m(seat);
        let source = scenario.speaker.position_m;
        let to_source: [f64; 3] = std::array::from_fn(|a| source[a] - mic[a]);
        let direct_m = to_source.iter().map(|x| x * x).sum::<f64>().sqrt();
        let mut draw = random(scenario.seed, Stream::Direction, seat as u64);
        let exact = stretches(response, self.rate_hz())
            .into_iter()
            .enumerate()
            .map(|(i, part)| {
                let (towards, cosine) = if i == 0 {
                    (to_source.map(|x| x / direct_m), scenario.seat_cosine(seat))
                } else {
                    (direction(&mut draw), draw.random_range(COSINES))
                };
                // The level of a response is its own; the length of the way only moves it.
                let place = std::array::from_fn(|a| mic[a] + direct_m * towards[a]);
                let spectrum = self.transform(part.iter().map(|x| x * direct_m));
                let through = |k: usize| self.sheet_at(k, cosine);
                let with = spectrum.iter().enumerate().map(|(k, x)| x * through(k)).collect();
                ExactPath { geometry: Geometry::Source(place), spectrum: [spectrum, with] }
            })
            .collect();
        let n_frames = PRE_ROLL + self.n_fft() + (direct_m / 330.0 * self.rate_hz()) as usize;
        SeatPaths { exact, stretches: Vec::new(), n_frames, behind_screen: true }
    }
}

/// A response in stretches that add up to it.
fn stretches(response: &[f64], rate_hz: f64) -> Vec<Vec<f64>> {
    let crest = response
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .map_or(0, |(at, _)| at);
    let rise = |at: usize, from_s: f64| {
        let after_s = (at as f64 - crest as f64) / rate_hz - from_s;
        (PI / 2.0 * (after_s / FADE_S).clamp(0.0, 1.0)).sin().powi(2)
    };
    (0..=ENDS_S.len())
        .map(|i| {
            let share = |at: usize| {
                let begun = if i == 0 { 1.0 } else { rise(at, ENDS_S[i - 1]) };
                begun - ENDS_S.get(i).map_or(0.0, |end_s| rise(at, *end_s))
            };
            response.iter().enumerate().map(|(at, x)| x * share(at)).collect()
        })
        .collect()
}

/// A direction, all alike likely.
fn direction(draw: &mut ChaCha8Rng) -> [f64; 3] {
    let up: f64 = draw.random_range(-1.0..1.0);
    let around = draw.random_range(0.0..2.0 * PI);
    let flat = (1.0 - up * up).sqrt();
    [flat * around.cos(), flat * around.sin(), up]
}

#[cfg(test)]
mod tests {
    use super::super::{Kind, Scenario, simulate};
    use super::*;

    #[test]
    fn stretches_add_up_to_the_response() {
        let mut response: Vec<f64> = (0..6000).map(|i| (f64::from(i) * 0.7).sin() * 0.1).collect();
        response[300] = 1.0;
        let parts = stretches(&response, 48_000.0);
        let sum: Vec<f64> =
            (0..response.len()).map(|i| parts.iter().map(|p| p[i]).sum::<f64>()).collect();
        crate::support::assert_close("sum", &sum, &response, 1e-12);
        // Up to half a millisecond after the crest all is direct sound.
        assert_eq!(parts[0][..324], response[..324]);
    }

    /// Without a sheet, noise and movement a take is the sweep through the measured response.
    #[test]
    fn a_take_is_the_sweep_through_the_response() {
        let mut s = Scenario::random(Kind::NothingHung, 3).shortened(0.3, 0.03);
        s.seats.truncate(1);
        s.noise = None;
        s.recorder.drift_ppm = [0.0; 2];
        s.sweep.stop_hz = 15_000.0;
        let mut response = vec![0.0; 600];
        (response[240], response[300], response[500]) = (1.0, -0.5, 0.25);
        let session = simulate(&s.with_measured(vec![response.clone()]));
        let energy = |x: &[f64]| x.iter().map(|v| v * v).sum::<f64>();
        let take = &session.takes[0].samples;
        let n = session.sweep.len();
        let mut played = vec![0.0; n + 600];
        for (at, gain) in [(240, 1.0), (300, -0.5), (500, 0.25)] {
            played[at..at + n].iter_mut().zip(&session.sweep).for_each(|(p, x)| *p += gain * x);
        }
        // Where it stands in the take, and at what level, is the recorder's: the best there is.
        let best = (0..take.len() - played.len())
            .map(|from| {
                let dot: f64 = take[from..].iter().zip(&played).map(|(a, b)| a * b).sum();
                dot.powi(2) / energy(&played) / energy(take)
            })
            .fold(0.0, f64::max);
        assert!(best > 0.97, "{best}");
    }
}
