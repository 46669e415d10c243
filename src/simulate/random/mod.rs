//! Sessions drawn at random, by kind.

mod draw;

use super::drive::{Harmonics, SweepShape};
use super::noise::Noise;
use super::room::Room;
use super::scenario::{Recorder, Scenario, Seat};
use super::sheet::{FrontReflection, Sheet};
use crate::ingest::manifest::Construction;
use draw::Draw;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// What is special about a random session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Cloth (flow resistance and mass in parallel), two spots.
    Woven,
    /// Film with holes, two spots.
    Perforated,
    /// Any sheet, two spots, any gap from 0.04 to 0.3 m.
    Mixed,
    /// A sheet no model fits.
    Unknown,
    /// A sheet that loses much, 0.3 m away.
    HeavyLargeGap,
    /// One spot, hard walls, seat backs.
    OneSpotReflective,
    /// One spot, reflections 0.8 and 1.5 ms after the direct sound.
    StrongEarly,
    /// The same reflections, two spots.
    StrongEarlyTwoSpots,
    /// Cloth with a backing cloth close behind.
    Backing,
    /// 30 dB of signal to noise.
    Noisy,
    /// Gain step between the conditions, with control takes.
    Control,
    /// Gain step between the conditions, no control takes.
    GainStep,
    /// Gap not stated in the manifest.
    NoGapStated,
    /// Clock drift and temperature differ between the conditions.
    Drift,
    /// Three spots.
    ThreeSpots,
    /// Nothing hangs there in either condition; the gap is stated all the same in every other
    /// session.
    NothingHung,
    /// Loudspeakers as real ones are: weak treble, tilt, crossovers from 300 Hz to 3 kHz, horns
    /// whose treble comes later or earlier than the bass.
    RealSpeaker,
    /// Cloth that scatters sound of its own towards each seat.
    Scattering,
    /// The same of a film with holes.
    ScatteringFilm,
    /// A loudspeaker 0.3 to 0.6 m below ears that are 1.5 m away in the first row; no height is
    /// stated.
    Heights,
    /// A heavy film 0.3 m before a front that returns 0.6 at all frequencies, 44.1 kHz, 16 bit; the
    /// microphone moved by 5 mm between takes that are stated as one spot.
    HeavyOneSpot,
}

impl Kind {
    /// All kinds with the names that [`Kind::from_name`] takes.
    pub const ALL: [(Self, &'static str); 21] = [
        (Self::Woven, "woven"),
        (Self::Perforated, "perforated"),
        (Self::Mixed, "mixed"),
        (Self::Unknown, "unknown"),
        (Self::HeavyLargeGap, "heavy_large_gap"),
        (Self::OneSpotReflective, "one_spot_reflective"),
        (Self::StrongEarly, "strong_early"),
        (Self::StrongEarlyTwoSpots, "strong_early_two_spots"),
        (Self::Backing, "backing"),
        (Self::Noisy, "noisy"),
        (Self::Control, "control"),
        (Self::GainStep, "gain_step"),
        (Self::NoGapStated, "no_gap_stated"),
        (Self::Drift, "drift"),
        (Self::ThreeSpots, "three_spots"),
        (Self::NothingHung, "nothing_hung"),
        (Self::RealSpeaker, "real_speaker"),
        (Self::Scattering, "scattering"),
        (Self::ScatteringFilm, "scattering_film"),
        (Self::HeavyOneSpot, "heavy_one_spot"),
        (Self::Heights, "heights"),
    ];

    /// The kind of a name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().find(|(_, n)| *n == name).map(|(k, _)| *k)
    }
}

impl Scenario {
    /// A session of a kind, everything else drawn from the seed.
    pub fn random(kind: Kind, seed: u64) -> Self {
        let mut draw = Draw(ChaCha8Rng::seed_from_u64(seed ^ 0x5EED_0000));
        let mut s = base(&mut draw, seed);
        let (sheet, construction) = match kind {
            Kind::Woven => draw.woven(),
            Kind::Perforated => draw.perforated(),
            Kind::Unknown => draw.unknown(),
            Kind::Backing => draw.backing(),
            Kind::HeavyLargeGap => draw.heavy(),
            Kind::NothingHung => (Sheet::None, Construction::Other),
            Kind::Scattering => draw.woven(),
            Kind::ScatteringFilm => draw.perforated(),
            Kind::HeavyOneSpot => draw.heavy_film(),
            _ => draw.any_sheet(),
        };
        if matches!(&sheet, Sheet::Double { spacing_m, .. } if *spacing_m > 0.0) {
            s.screen_lines.push_str("\nbacking = true");
        }
        s.sheet = sheet;
        s.construction = construction;
        s.gap_m = draw.between(0.04, 0.3);
        match kind {
            Kind::HeavyLargeGap => s.gap_m = 0.3,
            Kind::OneSpotReflective => {
                s.spots = 1;
                s.gap_m = draw.between(0.04, 0.12);
                s.room.walls = draw.walls(0.05, 0.2);
                s.seat_back = Some(draw.seat_back());
            }
            Kind::StrongEarly | Kind::StrongEarlyTwoSpots => {
                s.spots = if kind == Kind::StrongEarly { 1 } else { 2 };
                s.early = [8e-4, 1.5e-3].map(|delay_s| draw.early(delay_s)).to_vec();
            }
            Kind::Noisy => s = s.with_snr_db(30.0),
            Kind::Control => {
                s.recorder.gain_step_db = draw.between(-1.5, 1.5);
                s.control = Some(draw.control(&s));
            }
            Kind::GainStep => s.recorder.gain_step_db = draw.between(0.5, 1.5),
            Kind::Drift => {
                let drift = draw.between(-60.0, 60.0);
                s.recorder.drift_ppm = [drift, drift + draw.between(-120.0, 120.0)];
                s.temperature_c[1] += draw.between(-2.0, 2.0);
            }
            Kind::ThreeSpots => s.spots = 3,
            Kind::RealSpeaker => draw.as_real_ones_are(&mut s.speaker),
            Kind::Scattering | Kind::ScatteringFilm => {
                s.scatter = s.seats.iter().map(|_| draw.scatter()).collect();
            }
            Kind::Heights => {
                s.speaker.position_m[2] = draw.between(0.55, 0.85);
                for (i, seat) in s.seats.iter_mut().enumerate() {
                    seat.position_m[0] = if i < 3 { 1.5 } else { 2.4 };
                }
            }
            Kind::HeavyOneSpot => {
                (s.rate_hz, s.recorder.bits) = (44_100, Some(16));
                (s.gap_m, s.move_rms_m, s.stated_as_one_spot) = (0.3, 0.005, true);
                s.front = FrontReflection {
                    low: 0.6,
                    high: 0.6,
                    corner_hz: 1000.0,
                    deep: 0.0,
                    deep_s: 0.0,
                };
            }
            _ => {}
        }
        s.stated_gap_m = match kind {
            Kind::NoGapStated => None,
            Kind::NothingHung if seed % 2 == 1 => None,
            // Measured with a folding rule.
            _ => Some(s.gap_m + draw.between(-0.002, 0.002)),
        };
        s
    }
}

/// Room, loudspeaker, seats and recorder, common to all kinds.
fn base(draw: &mut Draw, seed: u64) -> Scenario {
    // Of its own, so that all else stays as it is.
    let mut inside = Draw(ChaCha8Rng::seed_from_u64(seed ^ 0xF407));
    let size_m = [draw.between(5.0, 7.5), draw.between(3.8, 5.5), draw.between(2.3, 2.8)];
    let speaker = draw.speaker(size_m[1]);
    let front_row = draw.between(2.7, 3.6);
    let back_row =
        (front_row + draw.between(0.9, 1.3)).min(size_m[0] - speaker.position_m[0] - 0.4);
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
            bits: None,
            drift_ppm: [drift, drift + draw.between(-3.0, 3.0)],
            gain_step_db: 0.0,
            peak_dbfs: -12.0,
            reference: false,
            inverted_with: false,
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
