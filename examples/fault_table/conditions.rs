//! What differs between the conditions: noise, clock, air, placements.

use crate::clean::*;
use crate::fault::Fault;
use scrimcheck::air::{MoistAir, loss_error_db};
use scrimcheck::ingest::manifest::{EachCondition, PerCondition};
use scrimcheck::ingest::session::Session;
use scrimcheck::units::ThirdOctave;
use scrimcheck::warning::Topic;

pub fn faults() -> Vec<Fault> {
    vec![
        Fault::of_session(
            "noise: worst band above it by (half the noise: 6 dB more)",
            "dB",
            [7.0, 13.0],
            noisy,
        ),
        Fault::of_session("drift of the clock differs by", "ppm", [30.0, 15.0], |clean, size| {
            let mut s = clean.scenario.clone();
            s.recorder.drift_ppm = [0.0, size];
            let drifting = made(&s);
            drifting.judged_with_drift().session.iter().any(|f| f.topic == Topic::ClockDrift)
        }),
        Fault::of_session("temperature changed by", "K", [4.0, 2.0], |clean, size| {
            let mut session = clean.session.clone();
            let each = EachCondition { without: 20.0, with: 20.0 + size, corrected: None };
            session.manifest.session.temperature_c = Some(PerCondition::Each(each));
            about(&session, clean, Topic::Temperature)
        }),
        Fault::of_session(
            "humidity changed: error of a band up to 16 kHz",
            "dB",
            [0.14, 0.07],
            |clean, size| {
                let mut session = clean.session.clone();
                let distance = mean_distance_m(&session);
                let band = [ThirdOctave::from_index(12)];
                // The humidity that makes an error of this size, by trial in small steps.
                let error = |humidity: f64| {
                    let air = MoistAir::at_sea_level(20.0, 50.0);
                    loss_error_db(&band, air, MoistAir::at_sea_level(20.0, humidity), distance)[0]
                };
                let mut with = 50.0;
                while error(with) < size && with > 20.0 {
                    with -= 0.01;
                }
                session.manifest.session.temperature_c = Some(PerCondition::One(20.0));
                let each = EachCondition { without: 50.0, with, corrected: None };
                session.manifest.session.humidity_percent = Some(PerCondition::Each(each));
                about(&session, clean, Topic::Temperature)
            },
        ),
        Fault::of_session("one placement only, gap of", "m", [0.14, 0.07], |clean, size| {
            let mut session = clean.session.clone();
            let keep: Vec<bool> = session.takes.iter().map(|t| t.spot == 1).collect();
            session.takes.retain(|t| t.spot == 1);
            session.manifest.screen.gap_m = Some(size);
            let facts = clean.facts.iter().zip(&keep).filter(|(_, keep)| **keep);
            let reads = facts.map(|(facts, _)| Ok(facts.clone())).collect();
            let judged = judge(&session, reads, [&[], &[]]);
            judged.session.iter().any(|f| f.topic == Topic::SingleSpot)
        }),
    ]
}

fn about(session: &Session, clean: &Clean, topic: Topic) -> bool {
    let judged = judge(session, clean.reads_with(Vec::new()), [&[], &[]]);
    judged.session.iter().any(|f| f.topic == topic)
}

fn noisy(clean: &Clean, size: f64) -> bool {
    let worst = |c: &Clean| {
        let all = c.facts[0].levels.snr_db.iter().flatten().copied();
        all.fold(f64::INFINITY, f64::min)
    };
    let Some(snr_db) = clean.scenario.noise.map(|noise| noise.snr_db) else { return false };
    let lower = clean.scenario.clone().with_snr_db(snr_db - worst(clean) + size);
    says(&made(&lower).judged_with(Vec::new()), 0, Topic::Noise)
}

fn mean_distance_m(session: &Session) -> f64 {
    let distances: Vec<f64> = session
        .manifest
        .seat
        .iter()
        .filter_map(|seat| seat.position_m)
        .map(|[ahead, right, _]| ahead.hypot(right))
        .collect();
    distances.iter().sum::<f64>() / distances.len().max(1) as f64
}
