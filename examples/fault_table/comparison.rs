//! What takes tell about each other.

use crate::clean::*;
use crate::fault::Fault;
use realfft::RealFftPlanner;
use scrimcheck::analysis::rough_level::rough_level;
use scrimcheck::ingest::manifest::Condition;
use scrimcheck::simulate::{Scenario, SimulatedTake, simulate};
use scrimcheck::transfer::median::median;
use scrimcheck::units::ThirdOctave;
use scrimcheck::warning::Topic;
use std::f64::consts::TAU;

/// Samples at the start of a take in which there is nothing but noise.
const OWN_NOISE: usize = 5000;

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
                // Recordings without the screen, tilted, stand for those without; plain for with, with
                // a noise of their own at the start: they are no copies.
                let mut changed = Vec::new();
                for spot in 1..=2 {
                    let source = clean.take(0, Condition::Without, spot);
                    let mic = &clean.recordings[source].mic;
                    changed.push((source, tilted(mic, size, clean.rate())));
                    let mut plain = mic.clone();
                    plain[..OWN_NOISE].reverse();
                    changed.push((with(clean, 0, spot), plain));
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
                let judged = clean.judged_with(changed.clone());
                let reads = clean.reads_with(changed);
                let level = rough_level(&clean.session, &reads, &judged);
                level.is_some_and(|level| !level.doubts.is_empty())
            },
        ),
        Fault::of_session(
            "microphone put back elsewhere: placements disagree, 250 Hz to 1 kHz, by",
            "dB rms",
            [0.6, 0.3],
            |clean, size| {
                let moved = made(&moved_to_disagree(&clean.scenario, size));
                let judged = moved.judged_with(Vec::new());
                judged.session.iter().any(|f| f.topic == Topic::Repeatability)
            },
        ),
        Fault::of_session(
            "microphone put back elsewhere by (half: as in clean sessions, 8 mm at most)",
            "mm rms",
            [80.0, 8.0],
            |clean, size| {
                let s = Scenario { move_rms_m: size / 1000.0, ..clean.scenario.clone() };
                let judged = made(&s).judged_with(Vec::new());
                judged.session.iter().any(|f| f.topic == Topic::Repeatability)
            },
        ),
    ]
}

/// The scenario with the microphone moved so far that its placements disagree by `size_db`.
fn moved_to_disagree(clean: &Scenario, size_db: f64) -> Scenario {
    // Noise is no disagreement.
    let quiet = Scenario { noise: None, ..clean.clone() };
    let at = |move_rms_m: f64| Scenario { move_rms_m, ..quiet.clone() };
    let (mut near_m, mut far_m) = (0.002f64, 0.3f64);
    for _ in 0..7 {
        let middle_m = (near_m * far_m).sqrt();
        if disagreement_db(&at(middle_m)) < size_db { near_m = middle_m } else { far_m = middle_m }
    }
    Scenario { move_rms_m: (near_m * far_m).sqrt(), ..clean.clone() }
}

/// How much the placements at one seat disagree, dB rms over all seats, conditions and
/// third-octave bands from 250 Hz to 1 kHz without what is common to the bands: from one
/// transform of each whole recording.
fn disagreement_db(scenario: &Scenario) -> f64 {
    let session = simulate(scenario);
    let rate_hz = f64::from(session.rate_hz);
    let n = session.takes[0].samples.len();
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(n);
    let mut scratch = fft.make_scratch_vec();
    let levels: Vec<Vec<f64>> = session
        .takes
        .iter()
        .map(|take| {
            let (mut input, mut spectrum) = (take.samples.clone(), fft.make_output_vec());
            if fft.process_with_scratch(&mut input, &mut spectrum, &mut scratch).is_err() {
                return Vec::new();
            }
            let bin = |hz: f64| (hz * n as f64 / rate_hz) as usize;
            let bands = (-6..=0).map(ThirdOctave::from_index);
            let inside = bands.map(|band| &spectrum[bin(band.lower_hz())..bin(band.upper_hz())]);
            inside
                .map(|bins| 10.0 * bins.iter().map(|x| x.norm_sqr()).sum::<f64>().log10())
                .collect()
        })
        .collect();
    let mut squares = Vec::new();
    for (take, own) in session.takes.iter().zip(&levels).filter(|(take, _)| take.spot > 1) {
        let same = |t: &SimulatedTake| {
            (t.seat, t.condition, t.source, t.spot) == (take.seat, take.condition, take.source, 1)
        };
        let Some(first) = session.takes.iter().position(same) else { continue };
        let steps: Vec<f64> = own.iter().zip(&levels[first]).map(|(a, b)| a - b).collect();
        let common = median(steps.clone()).unwrap_or(0.0);
        squares.extend(steps.iter().map(|step| (step - common).powi(2)));
    }
    (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
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
