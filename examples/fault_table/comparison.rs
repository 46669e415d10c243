//! What takes tell about each other.

use crate::clean::*;
use crate::fault::Fault;
use scrimcheck::analysis::check::rough_level_warnings;
use scrimcheck::ingest::manifest::Condition;
use scrimcheck::units::ThirdOctave;
use scrimcheck::warning::Topic;
use std::f64::consts::TAU;

pub fn faults() -> Vec<Fault> {
    vec![
        Fault::of_session(
            "same recording twice (half: another take)",
            "copies",
            [1.0, 0.5],
            |clean, size| {
                let (to, from) = (with(clean, 1, 1), clean.take(1, Condition::Without, 1));
                let from = if size < 1.0 { with(clean, 1, 1) } else { from };
                let mic = gain(&clean.recordings[from].mic, -1.0);
                one(clean, to, mic, Topic::Duplicate)
            },
        ),
        Fault::of_session(
            "conditions exchanged: shelf above 700 Hz of",
            "dB",
            [0.7, 0.35],
            |clean, size| {
                // Recordings without the screen, tilted, stand for those without; plain for with.
                let mut changed = Vec::new();
                for spot in 1..=2 {
                    let source = clean.take(0, Condition::Without, spot);
                    let mic = &clean.recordings[source].mic;
                    changed.push((source, tilted(mic, size, clean.rate())));
                    changed.push((with(clean, 0, spot), mic.clone()));
                }
                let judged = clean.judged_with(changed);
                says(&judged, with(clean, 0, 1), Topic::Swapped)
            },
        ),
        Fault::of_session(
            "polarity turned (half: not turned)",
            "take",
            [1.0, 0.5],
            |clean, size| {
                let take = with(clean, 2, 2);
                let sign = if size < 1.0 { 1.0 } else { -1.0 };
                let mic = clean.recordings[take].mic.iter().map(|x| sign * x).collect();
                one(clean, take, mic, Topic::Polarity)
            },
        ),
        Fault::of_session("gain step between spots", "dB", [0.55, 0.275], |clean, size| {
            let take = with(clean, 1, 2);
            let mic = gain(&clean.recordings[take].mic, size);
            one(clean, take, mic, Topic::GainStep)
        }),
        Fault::of_session(
            "gain step at one seat between the conditions",
            "dB",
            [0.9, 0.45],
            |clean, size| {
                let changed = (1..=2)
                    .map(|spot| with(clean, 1, spot))
                    .map(|take| (take, gain(&clean.recordings[take].mic, size)))
                    .collect();
                says(&clean.judged_with(changed), with(clean, 1, 1), Topic::GainStep)
            },
        ),
        Fault::of_session(
            "gain step of a whole condition, louder by (more than the cloth loses)",
            "dB",
            [0.2, 0.1],
            |clean, size| {
                let low = scrimcheck::analysis::level::low_band_loss_db(
                    &clean_bands(),
                    &truth_low(clean),
                )
                .unwrap_or(0.0);
                let changed: Vec<(usize, Vec<f64>)> = (0..clean.recordings.len())
                    .filter(|i| clean.session.takes[*i].condition == Condition::With)
                    .map(|i| (i, gain(&clean.recordings[i].mic, low + size)))
                    .collect();
                let reads = clean.reads_with(changed);
                !rough_level_warnings(&clean.session, &reads).is_empty()
            },
        ),
        Fault::of_session(
            "microphone put back elsewhere, rms",
            "mm",
            [50.0, 25.0],
            |clean, size| {
                let mut s = clean.scenario.clone();
                s.move_rms_m = size / 1000.0;
                let moved = made(&s).judged_with(Vec::new());
                moved.session.iter().any(|f| f.topic == Topic::Repeatability)
            },
        ),
    ]
}

fn with(clean: &Clean, seat: usize, spot: u32) -> usize {
    clean.take(seat, Condition::With, spot)
}

fn one(clean: &Clean, take: usize, mic: Vec<f64>, topic: Topic) -> bool {
    says(&clean.judged_with(vec![(take, mic)]), take, topic)
}

/// First-order shelf: 0 dB at low frequencies, `-db` above some kHz.
fn tilted(x: &[f64], db: f64, rate: f64) -> Vec<f64> {
    let keep = (-TAU * 700.0 / rate).exp();
    let high = 10f64.powf(-db / 20.0);
    let mut low = 0.0;
    x.iter()
        .map(|x| {
            low = keep * low + (1.0 - keep) * x;
            low + high * (x - low)
        })
        .collect()
}

fn clean_bands() -> Vec<ThirdOctave> {
    (-10..=12).map(ThirdOctave::from_index).collect()
}

/// True mean loss of a session on those bands.
fn truth_low(clean: &Clean) -> Vec<Option<f64>> {
    let truth = &clean.truth;
    clean_bands()
        .iter()
        .map(|band| {
            let i = truth.bands.iter().position(|b| b == band)?;
            let seats = &truth.in_room_seats;
            Some(seats.iter().map(|seat| seat[i]).sum::<f64>() / seats.len() as f64)
        })
        .collect()
}
