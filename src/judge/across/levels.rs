//! Levels of takes against each other: gain steps, scatter of spots.
//!
//! All by the levels in third-octave bands while the sweep passes them, without any
//! transfer function: the room is in both takes of a difference.

use super::super::facts::TakeFacts;
use super::super::finding::{Finding, TakeVerdict};
use super::entry::{Entry, TakeFindings};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::transfer::median::median;
use crate::units::ThirdOctave;
use crate::warning::Topic;
use std::collections::BTreeMap;

/// Bands from 100 Hz to 16 kHz.
pub(super) const BANDS: std::ops::RangeInclusive<i32> = -10..=12;
/// Bands in which sheets lose next to nothing: 100 to 315 Hz.
pub(super) const LOW: std::ops::RangeInclusive<i32> = -10..=-5;
/// Bands for the scatter between spots: 250 Hz to 1 kHz. There it grows in proportion to the
/// distance between the placements; above, it soon stays at 1 dB whatever the distance.
const SCATTER: std::ops::RangeInclusive<i32> = -6..=0;
/// A deviation of one seat's low-frequency loss from that of the others that counts, dB.
const SEAT_STEP_DB: f64 = 0.6;
/// Scatter of one pair of spots that counts, dB rms.
const PAIR_SCATTER_DB: f64 = 1.0;
/// Scatter of all pairs together that counts, dB rms: in simulated rooms 0.1 to 0.2 dB where
/// the microphone goes back to 8 mm, 0.5 to 0.9 dB at 50 mm.
const ALL_SCATTER_DB: f64 = 0.42;
/// What is added to it (by squares) for a sweep with a rate constant of 1 s, dB: a shorter one
/// passes a band within fewer frames, and the levels scatter the more, in proportion.
const FAST_SWEEP_DB: f64 = 0.042;

pub(super) type Group = (usize, SoundSource, Condition);

/// Comparable takes by seat, loudspeaker and condition.
pub(super) fn groups<'a>(entries: &[Entry<'a>]) -> BTreeMap<Group, Vec<(usize, &'a TakeFacts)>> {
    let mut groups: BTreeMap<Group, Vec<(usize, &TakeFacts)>> = BTreeMap::new();
    for (index, entry) in entries.iter().enumerate() {
        if let Some(facts) = entry.comparable() {
            let key = (entry.take.seat, entry.take.source, entry.take.condition);
            groups.entry(key).or_default().push((index, facts));
        }
    }
    groups
}

/// Level of a take in a band, dB.
pub(super) fn level(facts: &TakeFacts, index: i32) -> Option<f64> {
    let position = facts.bands.iter().position(|band| band.index() == index)?;
    facts.levels.level_db.get(position).copied().flatten()
}

/// Level differences `a - b` in the bands that both have.
fn differences(a: &TakeFacts, b: &TakeFacts, bands: std::ops::RangeInclusive<i32>) -> Vec<f64> {
    bands.filter_map(|k| Some(level(a, k)? - level(b, k)?)).collect()
}

/// Scatter between each take and the first of its seat and condition, dB rms without the
/// common level: index of the take, index of the first, scatter.
fn scatters(entries: &[Entry]) -> Vec<(usize, usize, f64)> {
    let mut found = Vec::new();
    for takes in groups(entries).values() {
        for (index, facts) in takes.iter().skip(1) {
            let steps = differences(facts, takes[0].1, SCATTER);
            let Some(middle) = median(steps.clone()).filter(|_| steps.len() >= 5) else { continue };
            let sum: f64 = steps.iter().map(|step| (step - middle).powi(2)).sum();
            found.push((*index, takes[0].0, (sum / steps.len() as f64).sqrt()));
        }
    }
    found
}

/// Takes whose microphone was clearly elsewhere than that of the first at the same seat.
pub(super) fn repeatability(entries: &[Entry]) -> TakeFindings {
    let far = scatters(entries).into_iter().filter(|(_, _, rms_db)| *rms_db > PAIR_SCATTER_DB);
    far.map(|(index, first, rms_db)| {
        let message = format!(
            "This take differs from {} by {rms_db:.1} dB rms from 250 Hz to 1 kHz: the microphone \
             was not at the same place.",
            entries[first].name()
        );
        (index, Finding::new(TakeVerdict::Doubt, Topic::Repeatability, message, PUT_BACK))
    })
    .collect()
}

const PUT_BACK: &str = "Mark the place of the microphone (stand, height, direction) and put it \
                        back to a few millimetres.";

/// Whether the placements of the whole session scatter too much.
pub fn session_scatter(entries: &[Entry]) -> Option<Finding> {
    let all = scatters(entries);
    let squares: f64 = all.iter().map(|(_, _, rms_db)| rms_db * rms_db).sum();
    let rms_db = (squares / all.len() as f64).sqrt();
    let course = entries.iter().find_map(|entry| entry.comparable()?.course)?;
    let limit_db = ALL_SCATTER_DB.hypot(FAST_SWEEP_DB / course.rate_constant_s);
    (rms_db > limit_db).then(|| {
        let message = format!(
            "Placements of the microphone at one seat differ by {rms_db:.1} dB rms from 250 Hz to \
             1 kHz, over {} pairs: it was not put back closely enough, and every loss is less \
             certain.",
            all.len()
        );
        Finding::new(TakeVerdict::Doubt, Topic::Repeatability, message, PUT_BACK)
    })
}

/// A seat, the indices of its takes with the screen, and the loss by band index.
type SeatLevels = (usize, Vec<usize>, BTreeMap<i32, f64>);

/// Difference of the mean levels, by band index, in bands that all takes have, dB.
pub(super) fn loss(
    without: &[(usize, &TakeFacts)],
    with: &[(usize, &TakeFacts)],
) -> BTreeMap<i32, f64> {
    let mean = |takes: &[(usize, &TakeFacts)], k: i32| {
        let levels: Vec<f64> = takes.iter().filter_map(|(_, facts)| level(facts, k)).collect();
        (levels.len() == takes.len()).then(|| levels.iter().sum::<f64>() / takes.len() as f64)
    };
    BANDS.filter_map(|k| Some((k, mean(without, k)? - mean(with, k)?))).collect()
}

/// Loss at each seat by the levels of its takes alone.
fn losses(entries: &[Entry], source: SoundSource) -> Vec<SeatLevels> {
    let groups = groups(entries);
    let mut seats: Vec<usize> = groups.keys().map(|key| key.0).collect();
    seats.dedup();
    seats
        .into_iter()
        .filter_map(|seat| {
            let without = groups.get(&(seat, source, Condition::Without))?;
            let with = groups.get(&(seat, source, Condition::With))?;
            Some((seat, with.iter().map(|(index, _)| *index).collect(), loss(without, with)))
        })
        .collect()
}

/// Losses by the levels of takes alone.
#[derive(Debug, Clone, PartialEq)]
pub struct RoughLosses {
    /// Bands of the rows.
    pub bands: Vec<ThirdOctave>,
    /// Seat id and loss per band, dB, for seats with takes in both conditions.
    pub seats: Vec<(String, Vec<Option<f64>>)>,
}

/// Loss at each seat by the levels of its takes alone, 100 Hz to 16 kHz: seat id and values.
///
/// Everything that reaches the seat while the sweep passes a band is in it: good to some
/// tenths of a decibel in single bands, to hundredths in the mean over low ones.
pub fn rough_losses(entries: &[Entry], source: SoundSource) -> RoughLosses {
    let bands: Vec<ThirdOctave> = BANDS.map(ThirdOctave::from_index).collect();
    let seats = losses(entries, source)
        .into_iter()
        .filter_map(|(seat, _, loss)| {
            let id = entries.iter().find(|entry| entry.take.seat == seat)?.seat_id;
            let row = bands.iter().map(|band| loss.get(&band.index()).copied()).collect();
            Some((id.to_owned(), row))
        })
        .collect();
    RoughLosses { bands, seats }
}

pub(super) fn mean_over(
    loss: &BTreeMap<i32, f64>,
    bands: std::ops::RangeInclusive<i32>,
) -> Option<f64> {
    let inside: Vec<f64> = loss.range(bands).map(|(_, db)| *db).collect();
    (inside.len() >= 4).then(|| inside.iter().sum::<f64>() / inside.len() as f64)
}

/// Seats whose loss at 100 to 315 Hz is not that of the other seats: a knob was turned
/// between that seat's takes without and with.
pub(super) fn seat_steps(entries: &[Entry]) -> TakeFindings {
    let low: Vec<(Vec<usize>, f64)> = losses(entries, SoundSource::Centre)
        .into_iter()
        .filter_map(|(_, takes, loss)| {
            let inside: Vec<f64> = loss.range(LOW).map(|(_, db)| *db).collect();
            Some((takes, median(inside)?))
        })
        .collect();
    if low.len() < 3 {
        return TakeFindings::new();
    }
    let Some(middle) = median(low.iter().map(|(_, db)| *db).collect()) else {
        return TakeFindings::new();
    };
    let mut found = TakeFindings::new();
    for (takes, db) in low {
        let step_db = db - middle;
        if step_db.abs() <= SEAT_STEP_DB {
            continue;
        }
        let finding = Finding::new(
            TakeVerdict::Repeat,
            Topic::GainStep,
            format!(
                "From 100 to 315 Hz this seat loses {db:.1} dB, the other seats {middle:.1} dB: \
                 between its takes without and with the screen a gain was changed by about {:.1} \
                 dB, and the level of this seat is not known.",
                step_db.abs()
            ),
            "Check playback and recording gain; repeat this seat's takes in the condition whose \
             gain differs.",
        );
        found.extend(takes.into_iter().map(|index| (index, finding.clone())));
    }
    found
}
