//! Simulated sessions, short ones, with one thing wrong.

use super::*;
use crate::analysis::level::LevelDoubt;
use crate::analysis::rough_level::rough_level;
use crate::judge::{missing_takes, next_take};
use crate::simulate::memory::InMemory;
use crate::simulate::scenario::{Fault, TakeKey};
use crate::simulate::{Kind, Scenario, simulate};
use std::sync::OnceLock;

fn scenario(seed: u64) -> Scenario {
    let mut s = Scenario::random(Kind::Woven, seed).shortened(2.0, 0.25);
    s.seats.truncate(3);
    s.trail_s = 0.9;
    s.spots = 2;
    s.gap_m = 0.08;
    s.stated_gap_m = Some(0.08);
    // Hum of the simulated room would be a true remark on every take.
    if let Some(noise) = &mut s.noise {
        noise.hum = 0.0;
    }
    s
}

fn key(seat: usize, condition: usize, spot: u32) -> TakeKey {
    TakeKey { seat, condition, spot }
}

fn judged(memory: &InMemory) -> (Judged, Vec<TakeRead>) {
    let session = &memory.session;
    let analyser = TakeAnalyser::new(&session.sweep);
    let reads: Vec<TakeRead> =
        (0..session.takes.len()).map(|i| Ok(analyser.facts(&memory.recording(i)))).collect();
    (judge_session(session, &analyser, &reads, [&[], &[]]), reads)
}

fn memory(scenario: &Scenario) -> InMemory {
    InMemory::new(simulate(scenario)).expect("the simulated manifest parses")
}

/// One clean session with its facts, made once: simulating is what takes the time here.
fn clean() -> &'static (InMemory, Vec<TakeFacts>) {
    static CLEAN: OnceLock<(InMemory, Vec<TakeFacts>)> = OnceLock::new();
    CLEAN.get_or_init(|| {
        let memory = memory(&scenario(1));
        let analyser = TakeAnalyser::new(&memory.session.sweep);
        let n = memory.session.takes.len();
        let facts = (0..n).map(|i| analyser.facts(&memory.recording(i))).collect();
        (memory, facts)
    })
}

#[test]
fn a_clean_session_is_good_and_complete() {
    let (memory, facts) = clean();
    let analyser = TakeAnalyser::new(&memory.session.sweep);
    let reads: Vec<TakeRead> = facts.iter().cloned().map(Ok).collect();
    let judged = judge_session(&memory.session, &analyser, &reads, [&[], &[]]);
    for take in &judged.takes {
        assert_eq!(take.findings, vec![], "{}", take.file);
    }
    assert_eq!(judged.session, vec![]);
    assert!(!judged.must_repeat() && judged.rattle.ranges.is_empty());
    let missing = missing_takes(&memory.session);
    assert_eq!(missing, vec![]);
    assert_eq!(next_take(&memory.session, &missing, &judged.takes), None);
    let level = rough_level(&memory.session, &reads, &judged);
    assert!(level.as_ref().is_some_and(|level| level.doubts.is_empty()), "{level:?}");
}

#[test]
fn a_clean_session_with_a_sweep_of_1_s_is_good() {
    // A short sweep of a live room: decay, harmonics and noise must not pass for a second one,
    // nor the crossover's phase for a drift of the clock.
    for seed in [8004, 8007] {
        let mut s = Scenario::random(Kind::Mixed, seed).shortened(1.0, 0.4);
        s.seats.truncate(2);
        s.trail_s = 0.9;
        if let Some(noise) = &mut s.noise {
            noise.hum = 0.0;
        }
        let (judged, _) = judged(&memory(&s));
        for take in &judged.takes {
            assert_eq!(take.findings, vec![], "{seed}: {}", take.file);
        }
    }
}

#[test]
fn faults_of_single_takes_are_named_at_their_take() {
    let s = scenario(2)
        .with_fault(key(0, 0, 1), Fault::Clip { at: 0.7 })
        .with_fault(key(1, 0, 2), Fault::Slam { at_s: 1.2, level_db: -6.0 })
        .with_fault(key(2, 1, 1), Fault::Truncate { at_s: 1.9 })
        .with_fault(key(2, 0, 1), Fault::Silence)
        .with_fault(key(1, 1, 1), Fault::CopyOfOther);
    let memory = memory(&s);
    let (judged, _) = judged(&memory);
    let of = |k: TakeKey| {
        let condition = [Condition::Without, Condition::With][k.condition];
        let take = judged
            .takes
            .iter()
            .find(|t| {
                (t.seat.as_str(), t.condition, t.spot)
                    == (s.seats[k.seat].id.as_str(), condition, k.spot)
            })
            .expect("there");
        (take.verdict, take.findings.iter().map(|f| f.topic).collect::<Vec<_>>())
    };
    assert_eq!(of(key(0, 0, 1)), (TakeVerdict::Repeat, vec![Topic::Clipping]));
    let (verdict, topics) = of(key(1, 0, 2));
    assert!(verdict >= TakeVerdict::Doubt && topics.contains(&Topic::Disturbance), "{topics:?}");
    assert!(of(key(2, 1, 1)).1.contains(&Topic::Truncation), "{:?}", of(key(2, 1, 1)));
    assert_eq!(of(key(2, 0, 1)), (TakeVerdict::Repeat, vec![Topic::WrongSignal]));
    assert!(of(key(1, 1, 1)).1.contains(&Topic::Duplicate), "{:?}", of(key(1, 1, 1)));
    assert!(judged.must_repeat());
    let next = next_take(&memory.session, &[], &judged.takes).expect("something to repeat");
    let first = (s.seats[0].id.clone(), Condition::Without, true);
    assert_eq!((next.seat, next.condition, next.repeat), first);
}

#[test]
fn missing_takes_come_without_first_and_name_their_file() {
    let mut session = clean().0.session.clone();
    // Half-finished: seat 1 lacks its second take without, seat 2 all takes with.
    session.takes.retain(|t| {
        let missing = match t.seat {
            0 => t.condition == Condition::Without && t.spot == 2,
            1 => t.condition == Condition::With,
            _ => false,
        };
        !missing
    });
    let missing = missing_takes(&session);
    let said: Vec<(usize, Condition, usize)> =
        missing.iter().map(|m| (m.seat_index, m.condition, m.n_takes)).collect();
    assert_eq!(said, [(0, Condition::Without, 1), (1, Condition::With, 2)]);
    let next = next_take(&session, &missing, &[]).expect("two places are empty");
    let id = &session.manifest.seat[0].id;
    assert_eq!(next.file, format!("takes/{id}_without_2.wav"));
    assert!(!next.repeat);
}

#[test]
fn a_large_gap_asks_for_two_placements() {
    let (memory, facts) = clean();
    let mut session = memory.session.clone();
    let first: Vec<bool> = session.takes.iter().map(|t| t.spot == 1).collect();
    session.takes.retain(|t| t.spot == 1);
    let reads: Vec<TakeRead> =
        facts.iter().zip(&first).filter(|(_, first)| **first).map(|(f, _)| Ok(f.clone())).collect();
    let analyser = TakeAnalyser::new(&session.sweep);
    for (gap_m, n_missing) in [(0.13, 6), (0.11, 0)] {
        session.manifest.screen.gap_m = Some(gap_m);
        assert_eq!(missing_takes(&session).len(), n_missing, "gap {gap_m}");
        let judged = judge_session(&session, &analyser, &reads, [&[], &[]]);
        let asked = judged.session.iter().any(|f| f.topic == Topic::SingleSpot);
        assert_eq!(asked, n_missing > 0, "gap {gap_m}");
    }
}

#[test]
fn a_gain_step_of_a_condition_is_a_doubt_about_the_level() {
    let mut s = scenario(5);
    s.recorder.gain_step_db = 1.0;
    let memory = memory(&s);
    let (judged, reads) = judged(&memory);
    let found = rough_level(&memory.session, &reads, &judged).expect("seats in both conditions");
    assert!(matches!(found.doubts[..], [LevelDoubt::Louder { .. }]), "{found:?}");
}

#[test]
fn files_that_cannot_be_read_are_findings() {
    let (memory, facts) = clean();
    let analyser = TakeAnalyser::new(&memory.session.sweep);
    let silent = || IngestError::Silent {
        seat: "A".into(),
        path: "takes/x.wav".into(),
        channel: 1,
        other: None,
    };
    let reads: Vec<TakeRead> = facts
        .iter()
        .enumerate()
        .map(|(i, facts)| if i == 3 { Err(silent()) } else { Ok(facts.clone()) })
        .collect();
    let judged = judge_session(&memory.session, &analyser, &reads, [&[], &[]]);
    assert_eq!(judged.takes[3].verdict, TakeVerdict::Repeat);
    assert_eq!(judged.takes[3].findings[0].topic, Topic::LowLevel);
    let warnings = judged.warnings(DisplayUnits::Metric);
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    assert_eq!(warnings[0].take.as_deref(), Some(judged.takes[3].file.as_str()));
}

#[test]
fn what_many_takes_share_is_one_warning() {
    let (memory, facts) = clean();
    let analyser = TakeAnalyser::new(&memory.session.sweep);
    let judged = |n: usize| {
        let reads: Vec<TakeRead> = facts
            .iter()
            .enumerate()
            .map(|(i, facts)| {
                let mut facts = facts.clone();
                facts.amplitudes.offset = if i < n { 0.1 } else { 0.0 };
                Ok(facts)
            })
            .collect();
        judge_session(&memory.session, &analyser, &reads, [&[], &[]])
    };
    assert_eq!(judged(3).warnings(DisplayUnits::Metric).len(), 3);
    let many = judged(12).warnings(DisplayUnits::Metric);
    assert_eq!(many.len(), 1, "{many:?}");
    assert!(many[0].message.starts_with("In 12 of 12 takes"), "{many:?}");
    assert_eq!((many[0].topic, &many[0].take), (Topic::DcOffset, &None));
}
