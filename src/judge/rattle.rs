//! Rattle: ticks of sheet, frame or fixings that sound only while the sweep passes certain
//! low frequencies.
//!
//! While the sweep is at `f`, the range from `max(2 kHz, 12 f)` to 16 kHz holds no sweep, no
//! decay of it yet, and no harmonic of low order. What sounds there above the take's own
//! silence is ticking, or noise of that moment. Ticking of the screen is in every take with
//! it and in none without: hence the smallest of the takes with, minus the largest of those
//! without.

use super::noise::BandLevels;
use super::spectrogram::Spectrogram;
use super::track::Course;
use crate::transfer::median::median;
use serde::Serialize;

/// Range of the sweep frequencies looked at, Hz.
const RANGE_HZ: [f64; 2] = [20.0, 900.0];
/// Steps an octave.
const PER_OCTAVE: f64 = 12.0;
/// Listening starts at this frequency, Hz, or at this multiple of the sweep frequency.
const LISTEN_FROM_HZ: f64 = 2000.0;
const LISTEN_FROM_MULTIPLE: f64 = 12.0;
/// Highest band listened to, nominal Hz.
const LISTEN_TO_HZ: f64 = 16_000.0;
/// Excess that counts, dB.
pub const ALARM_DB: f64 = 3.0;
/// So many steps must exceed it, with at most one step missing between two of them.
const ALARM_STEPS: usize = 3;

/// High-frequency sound of one take against momentary sweep frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Power in the listening range over that of the take's silence, dB, per step.
    pub excess_db: Vec<Option<f64>>,
    /// Power of the silence in the listening range below the sweep's level at that
    /// frequency, dB, per step: what hides a rattle.
    pub cover_db: Vec<Option<f64>>,
}

/// A range in which the screen rattles.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rattle {
    /// Lowest sweep frequency, Hz.
    pub low_hz: f64,
    /// Highest sweep frequency, Hz.
    pub high_hz: f64,
    /// Largest excess over the takes without the screen, median over seats, dB.
    pub excess_db: f64,
    /// Seats at which it exceeds 3 dB.
    pub seats: Vec<String>,
}

/// Outcome of the search.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RattleSearch {
    /// Ranges found, from low to high.
    pub ranges: Vec<Rattle>,
    /// Excess at every step of [`steps_hz`], median over seats, dB: what the ranges were found
    /// in. Absent where no seat has a value.
    pub excess_db: Vec<Option<f64>>,
    /// Smallest rattle that the noise would have let through: its level in 2 to 16 kHz below
    /// the sweep's own level at the frequency that excites it, dB, median over steps and
    /// seats. Weaker ticks stay hidden.
    pub detection_limit_db: Option<f64>,
    /// Seats with takes in both conditions.
    pub n_seats: usize,
}

/// Profiles of the takes of one seat.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SeatProfiles<'a> {
    /// Seat id.
    pub id: String,
    /// Takes without the screen.
    pub without: Vec<&'a Profile>,
    /// Takes with the screen.
    pub with: Vec<&'a Profile>,
}

/// Mid-frequencies of the steps, Hz.
pub fn steps_hz() -> Vec<f64> {
    let n = (PER_OCTAVE * (RANGE_HZ[1] / RANGE_HZ[0]).log2()).floor() as usize;
    (0..n).map(|i| RANGE_HZ[0] * ((i as f64 + 0.5) / PER_OCTAVE).exp2()).collect()
}

/// Profile of a take whose sweep starts at `start_s`; `None` without silence to compare with.
pub fn profile(
    s: &Spectrogram,
    course: &Course,
    start_s: f64,
    levels: &BandLevels,
) -> Option<Profile> {
    levels.silent?;
    // Excess and cover at a frequency of the sweep.
    let heard_at = |hz: f64| -> Option<(f64, Option<f64>)> {
        let half = (0.5 / PER_OCTAVE).exp2();
        let (from_s, to_s) =
            (start_s + course.passes_s(hz / half), start_s + course.passes_s(hz * half));
        let listen_hz = LISTEN_FROM_HZ.max(LISTEN_FROM_MULTIPLE * hz);
        let bands: Vec<usize> = (0..s.bands.len())
            .filter(|b| {
                s.edges_hz[*b][0] >= 0.89 * listen_hz && s.bands[*b].nominal_hz() <= LISTEN_TO_HZ
            })
            .collect();
        let silence: f64 = bands.iter().map(|b| levels.floor[*b]).sum();
        // Frames whose middle lies in the step; a step shorter than a hop takes the nearest.
        let frame_at = |time_s: f64| (time_s - s.first_s) / s.hop_s;
        let (first, last) = (frame_at(from_s).ceil(), frame_at(to_s).floor());
        let (first, last) = if last < first {
            let nearest = frame_at(0.5 * (from_s + to_s)).round();
            (nearest, nearest)
        } else {
            (first, last)
        };
        let covered = hz >= course.low_hz && hz <= course.high_hz && !bands.is_empty();
        if !covered || silence <= 0.0 || first < 0.0 || last >= s.n_frames as f64 {
            return None;
        }
        let frames = first as usize..=last as usize;
        let n = frames.clone().count() as f64;
        let power = frames.flat_map(|f| bands.iter().map(move |b| s.at(f, *b))).sum::<f64>() / n;
        let level = s.band_of(hz).and_then(|b| levels.level_db[b]);
        let cover_db = level.map(|level| level - 10.0 * silence.log10());
        Some((10.0 * (power / silence).max(1e-12).log10(), cover_db))
    };
    let (excess_db, cover_db) = steps_hz()
        .into_iter()
        .map(|hz| heard_at(hz).map_or((None, None), |(excess, cover)| (Some(excess), cover)))
        .unzip();
    Some(Profile { excess_db, cover_db })
}

/// Looks for rattle that only the screen brings.
///
/// Seats without takes in both conditions do not take part.
pub fn search(seats: &[SeatProfiles]) -> RattleSearch {
    let hz = steps_hz();
    let both: Vec<&SeatProfiles> =
        seats.iter().filter(|seat| !seat.without.is_empty() && !seat.with.is_empty()).collect();
    let own: Vec<Vec<Option<f64>>> = both.iter().map(|seat| seat_excess(seat, hz.len())).collect();
    let common: Vec<Option<f64>> = (0..hz.len())
        .map(|step| median(own.iter().filter_map(|seat| seat[step]).collect()))
        .collect();
    let mut ranges = Vec::new();
    for group in groups(&common) {
        let half = (0.5 / PER_OCTAVE).exp2();
        let peak = |row: &[Option<f64>]| {
            group.iter().filter_map(|step| row[*step]).fold(f64::NEG_INFINITY, f64::max)
        };
        let heard = both.iter().zip(&own).filter(|(_, row)| peak(row) > ALARM_DB);
        let (first, last) = (group[0], group[group.len() - 1]);
        ranges.push(Rattle {
            low_hz: hz[first] / half,
            high_hz: hz[last] * half,
            excess_db: peak(&common),
            seats: heard.map(|(seat, _)| seat.id.clone()).collect(),
        });
    }
    RattleSearch {
        ranges,
        excess_db: common,
        detection_limit_db: limit(&both),
        n_seats: both.len(),
    }
}

/// Smallest over the takes with, minus largest over those without, per step.
fn seat_excess(seat: &SeatProfiles, n_steps: usize) -> Vec<Option<f64>> {
    let all = |takes: &[&Profile], step: usize| -> Option<Vec<f64>> {
        takes.iter().map(|take| take.excess_db.get(step).copied().flatten()).collect()
    };
    (0..n_steps)
        .map(|step| {
            let (with, without) = (all(&seat.with, step)?, all(&seat.without, step)?);
            let smallest = with.into_iter().fold(f64::INFINITY, f64::min);
            let largest = without.into_iter().fold(f64::NEG_INFINITY, f64::max);
            Some(smallest - largest)
        })
        .collect()
}

/// Runs of steps above the alarm, one step missing allowed, long enough to count.
fn groups(excess_db: &[Option<f64>]) -> Vec<Vec<usize>> {
    let mut all: Vec<Vec<usize>> = Vec::new();
    for (step, excess) in excess_db.iter().enumerate() {
        if excess.is_none_or(|db| db <= ALARM_DB) {
            continue;
        }
        match all.last_mut().filter(|group| step - group[group.len() - 1] <= 2) {
            Some(group) => group.push(step),
            None => all.push(vec![step]),
        }
    }
    all.retain(|group| group.len() >= ALARM_STEPS);
    all
}

/// A rattle adds to the noise: 3 dB of excess need as much power as the noise has, to
/// within `10 lg(10^0.3 - 1) = -0.02 dB`.
fn limit(seats: &[&SeatProfiles]) -> Option<f64> {
    let takes = seats.iter().flat_map(|seat| &seat.with);
    let covers: Vec<f64> = takes.flat_map(|take| take.cover_db.iter().flatten()).copied().collect();
    median(covers).map(|cover| cover - 10.0 * (10f64.powf(ALARM_DB / 10.0) - 1.0).log10())
}

#[cfg(test)]
mod tests {
    use super::super::scene::Scene;
    use super::super::{TakeAnalyser, TakeFacts};
    use super::*;
    use crate::ingest::session::Recording;

    /// What is wrong with a take.
    #[derive(Clone, Copy, Default)]
    struct Fault {
        /// Amplitude of a tick at each crest of the sweep between 90 and 140 Hz.
        ticks: f64,
        /// Amount of third-order distortion.
        distortion: f64,
        /// Factor on the noise.
        noise: f64,
    }

    fn facts(seed: u64, fault: Fault) -> TakeFacts {
        let mut scene = Scene { seed, ..Scene::default() };
        scene.noise *= fault.noise.max(1.0);
        let mut played = scene.sweep().samples;
        if fault.distortion > 0.0 {
            played.iter_mut().for_each(|x| *x += fault.distortion * x.powi(3));
        }
        let mut take = scene.take_of(&played);
        let course = Course::of(&scene.sweep()).expect("an exponential sweep");
        let hash = |i: usize| (i.wrapping_mul(2_654_435_761) >> 7) as f64 % 1000.0 / 500.0 - 1.0;
        for i in 1..played.len() {
            let hz = course.hz_at(i as f64 / 48e3);
            if (90.0..140.0).contains(&hz) && played[i - 1] < 0.0 && played[i] >= 0.0 {
                let at = i + (scene.lead_s * 48e3) as usize;
                for k in 0..48 {
                    take.mic[at + k] += fault.ticks * hash(at + k) * (-(k as f64) / 12.0).exp();
                }
            }
        }
        TakeAnalyser::new(&scene.sweep()).facts(&take)
    }

    /// Three seats, two takes a condition.
    fn searched(without: Fault, with: Fault, odd: Option<Fault>) -> RattleSearch {
        let takes = |base: u64, fault: Fault| -> Vec<Profile> {
            (0..2).map(|i| facts(base + i, fault).rattle.expect("a profile")).collect()
        };
        let all: Vec<(Vec<Profile>, Vec<Profile>)> = (0..3)
            .map(|seat| {
                let mut with = takes(100 * seat + 50, with);
                if let (0, Some(odd)) = (seat, odd) {
                    with[0] = facts(7, odd).rattle.expect("a profile");
                }
                (takes(100 * seat, without), with)
            })
            .collect();
        let seats: Vec<SeatProfiles> = all
            .iter()
            .enumerate()
            .map(|(i, (without, with))| SeatProfiles {
                id: format!("S{i}"),
                without: without.iter().collect(),
                with: with.iter().collect(),
            })
            .collect();
        search(&seats)
    }

    #[test]
    fn ticks_with_the_screen_are_found_in_their_range() {
        let ticking = Fault { ticks: 0.02, ..Fault::default() };
        let found = searched(Fault::default(), ticking, None);
        assert_eq!(found.ranges.len(), 1, "{found:?}");
        let range = &found.ranges[0];
        assert!((80.0..=95.0).contains(&range.low_hz), "{range:?}");
        assert!((132.0..=150.0).contains(&range.high_hz), "{range:?}");
        assert_eq!(range.seats, ["S0", "S1", "S2"]);
    }

    #[test]
    fn what_is_not_the_screen_raises_no_alarm() {
        let none = Fault::default();
        let ticking = Fault { ticks: 0.02, ..none };
        let distorted = Fault { distortion: 0.2, ..none };
        let noisy = Fault { noise: 8.0, ..none };
        assert_eq!(searched(none, none, None).ranges, []);
        assert_eq!(searched(ticking, ticking, None).ranges, [], "rattle in both conditions");
        assert_eq!(searched(distorted, distorted, None).ranges, [], "distortion in both");
        assert_eq!(searched(none, noisy, None).ranges, [], "louder noise with");
        assert_eq!(searched(noisy, none, None).ranges, [], "louder noise without");
        assert_eq!(searched(none, none, Some(ticking)).ranges, [], "ticks in a single take");
    }

    #[test]
    fn the_detection_limit_is_where_detection_ends() {
        let limit = searched(Fault::default(), Fault::default(), None).detection_limit_db;
        let noisier = Fault { noise: 4.0, ..Fault::default() };
        let noisy = searched(noisier, noisier, None).detection_limit_db;
        let (limit, noisy) = (limit.expect("noise known"), noisy.expect("noise known"));
        assert!((limit - noisy - 12.04).abs() < 1.0, "four times the noise: {limit}, {noisy}");
        let weak = Fault { ticks: 0.0005, ..Fault::default() };
        assert_eq!(searched(Fault::default(), weak, None).ranges, [], "below the limit");
        let hidden = Fault { ticks: 0.02, noise: 200.0, ..Fault::default() };
        let loud = Fault { noise: 200.0, ..Fault::default() };
        assert_eq!(searched(loud, hidden, None).ranges, [], "drowned in noise");
    }

    #[test]
    fn seats_without_both_conditions_say_nothing() {
        let take = facts(1, Fault::default()).rattle.expect("a profile");
        let seat = SeatProfiles { id: "S0".into(), without: vec![], with: vec![&take] };
        let found = search(&[seat]);
        assert_eq!((found.ranges.len(), found.n_seats, found.detection_limit_db), (0, 0, None));
    }

    #[test]
    fn broken_takes_have_no_profile() {
        let scene = Scene::default();
        let take = Recording::of_microphone(48_000, vec![0.0; 9000], None);
        assert_eq!(TakeAnalyser::new(&scene.sweep()).facts(&take).rattle, None);
    }
}
