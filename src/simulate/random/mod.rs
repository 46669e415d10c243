//! Sessions drawn at random, by kind.

mod draw;
mod kind;

use super::drive::{Harmonics, SweepShape};
use super::noise::Noise;
use super::room::Room;
use super::scenario::{Recorder, Scenario, Seat};
use super::sheet::{FrontReflection, Sheet};
use crate::ingest::manifest::Construction;
use draw::Draw;
pub use kind::Kind;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

impl Scenario {
    /// A session of a kind, everything else drawn from the seed.
    pub fn random(kind: Kind, seed: u64) -> Self {
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(seed ^ 0x5EED_0000));
        let mut s = base(&mut draw, seed);
        let (sheet, construction) = draw.sheet(kind);
        if matches!(&sheet, Sheet::Double { spacing_m, .. } if *spacing_m > 0.0) {
            s.screen_lines.push_str("\nbacking = true");
        }
        s.sheet = sheet;
        s.construction = construction;
        s.gap_m = draw.between(0.04, 0.3);
        s.make_special(kind, &mut draw);
        s.stated_gap_m = match kind {
            Kind::NoGapStated => None,
            Kind::NothingHung if seed % 2 == 1 => None,
            // Measured with a folding rule.
            _ => Some(s.gap_m + draw.between(-0.002, 0.002)),
        };
        s
    }

    /// What sets the sessions of a kind apart, but for the sheet.
    fn make_special(&mut self, kind: Kind, draw: &mut Draw) {
        match kind {
            Kind::HeavyLargeGap => self.gap_m = 0.3,
            Kind::OneSpotReflective => {
                self.spots = 1;
                self.gap_m = draw.between(0.04, 0.12);
                self.room.walls = draw.walls(0.05, 0.2);
                self.seat_back = Some(draw.seat_back());
            }
            Kind::StrongEarly | Kind::StrongEarlyTwoSpots => {
                self.spots = if kind == Kind::StrongEarly { 1 } else { 2 };
                self.early = [8e-4, 1.5e-3].map(|delay_s| draw.early(delay_s)).to_vec();
            }
            Kind::Noisy => *self = self.clone().with_snr_db(30.0),
            Kind::Control => {
                self.recorder.gain_step_db = draw.between(-1.5, 1.5);
                self.control = Some(draw.control(self));
            }
            Kind::GainStep => self.recorder.gain_step_db = draw.between(0.5, 1.5),
            Kind::Drift => {
                let drift = draw.between(-60.0, 60.0);
                self.recorder.drift_ppm = [drift, drift + draw.between(-120.0, 120.0)];
                self.temperature_c[1] += draw.between(-2.0, 2.0);
            }
            Kind::ThreeSpots => self.spots = 3,
            Kind::RealSpeaker => draw.as_real_ones_are(&mut self.speaker),
            Kind::Scattering | Kind::ScatteringFilm => {
                self.scatter = self.seats.iter().map(|_| draw.scatter()).collect();
            }
            Kind::Heights => {
                self.speaker.position_m[2] = draw.between(0.55, 0.85);
                for (i, seat) in self.seats.iter_mut().enumerate() {
                    seat.position_m[0] = if i < 3 { 1.5 } else { 2.4 };
                }
            }
            Kind::HeavyOneSpot => {
                (self.rate_hz, self.recorder.bits) = (44_100, Some(16));
                (self.gap_m, self.move_rms_m, self.stated_as_one_spot) = (0.3, 0.005, true);
                self.front = FrontReflection {
                    low: 0.6,
                    high: 0.6,
                    corner_hz: 1000.0,
                    deep: 0.0,
                    deep_s: 0.0,
                };
            }
            _ => {}
        }
    }
}

/// Three seats in each of two rows of a room that reaches so far behind the loudspeaker.
fn seats(draw: &mut Draw, behind_speaker_m: f64) -> Vec<Seat> {
    let front_row = draw.between(2.7, 3.6);
    let back_row = (front_row + draw.between(0.9, 1.3)).min(behind_speaker_m - 0.4);
    let pitch = draw.between(0.6, 0.85);
    let rows = [("R1", "Front row", front_row, 1.05), ("R2", "Back row", back_row, 1.2)];
    let places = [("L", "left", -1.0), ("C", "centre", 0.0), ("R", "right", 1.0)];
    let mut seats = Vec::new();
    for (row, row_name, ahead, height) in rows {
        for (place, place_name, right) in places {
            seats.push(Seat {
                id: format!("{row}{place}"),
                name: format!("{row_name} {place_name}"),
                position_m: [
                    ahead + draw.between(-0.05, 0.05),
                    right * pitch + draw.between(-0.05, 0.05),
                    height + draw.between(-0.05, 0.05),
                ],
                weight: 1.0,
            });
        }
    }
    seats
}

/// Room, loudspeaker, seats and recorder, common to all kinds. More than 60 lines: one row a
/// parameter, in the order in which they are drawn.
fn base(draw: &mut Draw, seed: u64) -> Scenario {
    // Of its own, so that all else stays as it is.
    let mut inside = Draw(ChaCha8Rng::seed_from_u64(seed ^ 0xF407));
    let size_m = [draw.between(5.0, 7.5), draw.between(3.8, 5.5), draw.between(2.3, 2.8)];
    let speaker = draw.speaker(size_m[1]);
    let seats = seats(draw, size_m[0] - speaker.position_m[0]);
    let temperature = draw.between(18.0, 23.0);
    let drift = draw.between(-40.0, 40.0);
    Scenario {
        title: format!("Simulated session {seed}"),
        seed,
        rate_hz: 48_000,
        sweep: SweepShape {
            start_hz: 20.0,
            stop_hz: 20_000.0,
            duration_s: 5.0,
            fade_in_s: 0.05,
            fade_out_s: 0.005,
            level_dbfs: -6.0,
        },
        lead_s: 0.5,
        trail_s: 1.0,
        room: Room { size_m, walls: draw.walls(0.1, 0.35), tail_s: 0.3, unevenness_m: 0.02 },
        speaker,
        sheet: Sheet::None,
        scatter: Vec::new(),
        front: FrontReflection {
            low: draw.between(0.15, 0.4),
            high: draw.between(0.5, 0.9),
            corner_hz: draw.log_between(500.0, 1500.0),
            deep: inside.between(0.0, 0.5),
            deep_s: inside.between(0.00003, 0.00025),
        },
        gap_m: 0.1,
        stated_gap_m: None,
        construction: Construction::Woven,
        session_lines: String::new(),
        screen_lines: "width_m = 2.9\nheight_m = 1.63".into(),
        more_manifest: String::new(),
        more_files: Vec::new(),
        seats,
        spots: 2,
        stated_as_one_spot: false,
        measured: Vec::new(),
        repeats: 1,
        move_rms_m: draw.between(0.002, 0.008),
        early: Vec::new(),
        seat_back: draw.chance(0.5).then(|| draw.seat_back()),
        noise: Some(Noise {
            snr_db: draw.between(40.0, 60.0),
            white: draw.between(0.05, 0.4),
            pink: draw.between(0.4, 1.0),
            hum: draw.between(0.0, 0.2),
            mains_hz: 50.0,
        }),
        recorder: Recorder {
            drift_ppm: [drift, drift + draw.between(-3.0, 3.0)],
            peak_dbfs: -12.0,
            ..Recorder::default()
        },
        temperature_c: [temperature, temperature + draw.between(-0.3, 0.3)],
        control: None,
        harmonics: [Harmonics::default(); 2],
        rattle: None,
        equaliser: None,
        faults: Vec::new(),
    }
}

#[cfg(test)]
mod tests;
