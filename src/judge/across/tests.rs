//! Small sessions of made-up takes with one thing wrong.

use super::super::facts::TakeFacts;
use super::super::finding::TakeVerdict;
use super::super::scene::Scene;
use super::*;
use crate::ingest::manifest::{Condition, SoundSource};
use crate::ingest::session::{Recording, Take};
use crate::warning::Topic;

/// Three seats, two takes a condition; the screen takes a gentle slope of treble.
struct Room {
    takes: Vec<Take>,
    recordings: Vec<Vec<f64>>,
    scene: Scene,
}

impl Room {
    fn new() -> Self {
        let (mut takes, mut recordings) = (Vec::new(), Vec::new());
        let scene = Scene { duration_s: 1.6, tail_s: 0.8, ..Scene::default() };
        for seat in 0..3 {
            for (c, condition) in [Condition::Without, Condition::With].into_iter().enumerate() {
                for spot in 1..=2u32 {
                    let seed = 100 * seat as u64 + 10 * c as u64 + u64::from(spot);
                    let decay_s = 0.3 + 0.03 * seat as f64;
                    let own =
                        Scene { seed, decay_s, lead_s: 0.4 + 0.01 * f64::from(spot), ..scene };
                    let mut sweep = own.sweep().samples;
                    if c == 1 {
                        treble_cut(&mut sweep);
                    }
                    takes.push(Take {
                        quiet: false,
                        seat,
                        condition,
                        spot,
                        source: SoundSource::Centre,
                        file: format!("takes/S{seat}_{condition:?}_{spot}.wav").into(),
                    });
                    recordings.push(own.take_of(&sweep).mic);
                }
            }
        }
        Self { takes, recordings, scene }
    }

    fn judged(&self) -> Vec<(usize, Topic, TakeVerdict)> {
        let found = self.with_entries(judge_across);
        found.into_iter().map(|(i, f)| (i, f.topic, f.verdict)).collect()
    }

    fn with_entries<T>(&self, with: impl Fn(&[Entry], &TakeAnalyser) -> T) -> T {
        let analyser = TakeAnalyser::new(&self.scene.sweep());
        let facts: Vec<TakeFacts> = self
            .recordings
            .iter()
            .map(|mic| analyser.facts(&Recording::of_microphone(48_000, mic.clone(), Some(24))))
            .collect();
        let entries: Vec<Entry> = self
            .takes
            .iter()
            .zip(&facts)
            .map(|(take, facts)| Entry { take, seat_id: "S", facts: Some(facts), usable: true })
            .collect();
        with(&entries, &analyser)
    }
}

/// First-order loss: 3 dB at 8 kHz, next to nothing at 300 Hz.
fn treble_cut(samples: &mut [f64]) {
    let keep = (-std::f64::consts::TAU * 8000.0 / 48e3).exp();
    let mut last = 0.0;
    for x in samples {
        last = keep * last + (1.0 - keep) * *x;
        *x = last;
    }
}

fn gain(samples: &mut [f64], db: f64) {
    samples.iter_mut().for_each(|x| *x *= 10f64.powf(db / 20.0));
}

#[test]
fn a_clean_session_is_quiet() {
    assert_eq!(Room::new().judged(), vec![]);
}

#[test]
fn a_copy_is_named_bitwise_and_after_requantisation() {
    let mut room = Room::new();
    room.recordings[5] = room.recordings[1].clone();
    let found = room.judged();
    assert!(found.contains(&(5, Topic::Duplicate, TakeVerdict::Repeat)), "{found:?}");
    let mut room = Room::new();
    room.recordings[9] =
        room.recordings[8].iter().map(|x| (0.9 * x * 8_388_608.0).round() / 8_388_608.0).collect();
    let found = room.judged();
    assert!(found.contains(&(9, Topic::Duplicate, TakeVerdict::Repeat)), "{found:?}");
    assert_eq!(found.iter().filter(|f| f.1 == Topic::Duplicate).count(), 1);
}

#[test]
fn a_gain_step_between_spots_is_found_and_half_of_it_is_not() {
    let mut room = Room::new();
    gain(&mut room.recordings[7], 0.5);
    assert!(room.judged().contains(&(7, Topic::GainStep, TakeVerdict::Doubt)));
    let mut room = Room::new();
    gain(&mut room.recordings[7], -0.25);
    assert_eq!(room.judged(), vec![]);
}

#[test]
fn a_gain_step_at_one_seat_between_the_conditions_is_found() {
    let mut room = Room::new();
    room.recordings[6..8].iter_mut().for_each(|x| gain(x, 1.0));
    let step = |take| (take, Topic::GainStep, TakeVerdict::Repeat);
    assert_eq!(room.judged(), [step(6), step(7)]);
    let mut room = Room::new();
    room.recordings[6..8].iter_mut().for_each(|x| gain(x, 0.5));
    assert_eq!(room.judged(), vec![]);
    // At all seats alike it cannot be told from loss, and is not judged here.
    let mut room = Room::new();
    for seat in 0..3 {
        room.recordings[4 * seat + 2..4 * seat + 4].iter_mut().for_each(|x| gain(x, 1.0));
    }
    assert_eq!(room.judged(), vec![]);
}

#[test]
fn exchanged_conditions_are_found_seat_by_seat() {
    let mut room = Room::new();
    room.recordings.swap(4, 6);
    room.recordings.swap(5, 7);
    let swapped: Vec<usize> =
        room.judged().into_iter().filter(|f| f.1 == Topic::Swapped).map(|f| f.0).collect();
    assert_eq!(swapped, [4, 5, 6, 7]);
    let mut room = Room::new();
    for seat in 0..3 {
        room.recordings.swap(4 * seat, 4 * seat + 2);
        room.recordings.swap(4 * seat + 1, 4 * seat + 3);
    }
    assert_eq!(room.judged().iter().filter(|f| f.1 == Topic::Swapped).count(), 12);
    // One pair of two: those two and no others, and no gain is blamed.
    let mut room = Room::new();
    room.recordings.swap(4, 6);
    let swapped = |take| (take, Topic::Swapped, TakeVerdict::Repeat);
    assert_eq!(room.judged(), [swapped(4), swapped(6)]);
}

#[test]
fn polarity_names_the_odd_one() {
    let turn = |x: &mut Vec<f64>| x.iter_mut().for_each(|x| *x = -*x);
    let mut room = Room::new();
    turn(&mut room.recordings[3]);
    assert_eq!(room.judged(), [(3, Topic::Polarity, TakeVerdict::Doubt)]);
    let mut room = Room::new();
    turn(&mut room.recordings[0]);
    assert_eq!(room.judged(), [(0, Topic::Polarity, TakeVerdict::Doubt)]);
    let mut room = Room::new();
    room.recordings.iter_mut().for_each(turn);
    assert_eq!(room.judged(), vec![], "all alike");
}

#[test]
fn another_place_of_the_microphone_is_found() {
    let mut room = Room::new();
    // Another room response: a strong reflection at 0.4 ms.
    let moved: Vec<f64> = (0..room.recordings[11].len())
        .map(|i| room.recordings[11][i] + 0.6 * room.recordings[11][i.saturating_sub(19)])
        .collect();
    room.recordings[11] = moved;
    let found = room.judged();
    assert!(found.contains(&(11, Topic::Repeatability, TakeVerdict::Doubt)), "{found:?}");
    let scatter = |room: &Room| {
        room.with_entries(|entries, _| session_scatter(entries).map(|finding| finding.topic))
    };
    assert_eq!(scatter(&room), Some(Topic::Repeatability));
    assert_eq!(scatter(&Room::new()), None);
}

#[test]
fn takes_that_are_not_usable_are_not_compared() {
    let room = Room::new();
    let entries: Vec<Entry> = room
        .takes
        .iter()
        .map(|take| Entry { take, seat_id: "S", facts: None, usable: false })
        .collect();
    assert_eq!(judge_across(&entries, &TakeAnalyser::new(&room.scene.sweep())), vec![]);
}
