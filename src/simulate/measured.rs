//! Measured responses in place of the simulated loudspeaker and room: what a real loudspeaker and
//! a real room do, with a simulated sheet put on and a microphone that moves.
//!
//! The direct sound passes the sheet at the seat's angle. What follows is cut into stretches, each
//! of which comes from a direction of its own: by that the moved microphone hears it earlier or
//! later, and it passes the sheet at an angle of its own. The direction is that of a wall beside
//! the way: its image of the loudspeaker stands as far as the sound is late, so that the angle to
//! the direct sound is `arccos(d/(d + c t))`, to any side.

use super::response::{Acoustics, ExactPath, Geometry, PRE_ROLL, SeatPaths};
use super::scenario::Scenario;
use super::sheet::SPEED_OF_SOUND;
use super::stream::{Stream, random};
use rand::RngExt;
use std::f64::consts::PI;

/// Ends of the stretches, s after the crest. The first is the direct sound with what the cabinet
/// adds: the nearest wall of a room, a metre beside a way of 3 m, comes 1.8 ms late.
const ENDS_S: [f64; 8] = [0.0012, 0.0018, 0.0026, 0.004, 0.006, 0.010, 0.020, 0.050];
/// Overlap of neighbouring stretches, s.
const FADE_S: f64 = 0.0002;
/// When the last stretch is taken to come, s.
const LAST_S: f64 = 0.1;

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
        let exact = stretches(response, self.rate_hz)
            .into_iter()
            .enumerate()
            .map(|(i, part)| {
                let towards = to_source.map(|x| x / direct_m);
                let (towards, cosine) = if i == 0 {
                    (towards, scenario.seat_cosine(seat))
                } else {
                    let late_s =
                        ENDS_S.get(i).map_or(LAST_S, |end_s| 0.5 * (ENDS_S[i - 1] + end_s));
                    let turned = direct_m / (direct_m + SPEED_OF_SOUND * late_s);
                    let image = turned_from(towards, turned, draw.random_range(0.0..2.0 * PI));
                    (image, image[0].abs())
                };
                // The level of a response is its own; the length of the way only moves it.
                let place = std::array::from_fn(|a| mic[a] + direct_m * towards[a]);
                let spectrum = self.transform.forward(part.iter().map(|x| x * direct_m).collect());
                let through = |k: usize| self.sheet.total(k, cosine);
                let with = spectrum.iter().enumerate().map(|(k, x)| x * through(k)).collect();
                ExactPath { geometry: Geometry::Source(place), spectrum: [spectrum, with] }
            })
            .collect();
        let n_frames = PRE_ROLL + self.transform.n + (direct_m / 330.0 * self.rate_hz) as usize;
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

/// A unit vector at an angle (its cosine) to another, to a side.
fn turned_from(axis: [f64; 3], cosine: f64, side: f64) -> [f64; 3] {
    let [x, y, z] = axis;
    // Two vectors across the axis; it is never upright, since seats lie ahead.
    let flat = x.hypot(y).max(1e-9);
    let (across, up) = ([-y / flat, x / flat, 0.0], [-x * z / flat, -y * z / flat, flat]);
    let sine = (1.0 - cosine * cosine).sqrt();
    std::array::from_fn(|a| cosine * axis[a] + sine * (side.cos() * across[a] + side.sin() * up[a]))
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
        // Up to a millisecond after the crest all is direct sound.
        assert_eq!(parts[0][..348], response[..348]);
    }

    #[test]
    fn an_image_stands_at_its_angle_and_its_distance_is_one() {
        let axis = [-0.96, 0.0, 0.28];
        for side in [0.0, 1.0, 4.0] {
            let found = turned_from(axis, 0.8, side);
            let dot: f64 = found.iter().zip(axis).map(|(a, b)| a * b).sum();
            let length: f64 = found.iter().map(|a| a * a).sum();
            assert!((dot - 0.8).abs() < 1e-12 && (length - 1.0).abs() < 1e-12);
        }
    }

    /// Without a sheet, noise and movement a take is the sweep through the measured response.
    #[test]
    fn a_take_is_the_sweep_through_the_response() {
        let mut s = Scenario::random(Kind::NothingHung, 3).shortened(0.3, 0.03);
        s.seats.truncate(1);
        s.noise = None;
        s.recorder.drift_ppm = [0.0; 2];
        // A take starts between two samples: at low frequencies that is little.
        s.sweep.stop_hz = 3000.0;
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
        assert!(best > 0.99, "{best}");
    }
}
