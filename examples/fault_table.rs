//! Every judged fault at its stated size and at half of it, and false alarms on clean takes,
//! all on simulated sessions: `cargo run --release --example fault_table [SESSIONS]`.
//!
//! Prints the table of `DEVELOPERS.md`. The default of 17 sessions of 12 takes makes 204
//! clean takes. A fault counts as found when its own topic is named at the take (or for the
//! session) that carries it.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use scrimcheck::analysis::air::{Air, loss_error_db};
use scrimcheck::analysis::check::{
    Judged, TakeRead, judge_session, rough_level_warnings, sampled_drift_ppm,
};
use scrimcheck::ingest::manifest::{Condition, EachCondition, PerCondition};
use scrimcheck::ingest::session::{Recording, Session};
use scrimcheck::simulate::memory::InMemory;
use scrimcheck::simulate::scenario::Rattle;
use scrimcheck::simulate::{Kind, Scenario, Truth, simulate};
use scrimcheck::transfer::quality::{TakeAnalyser, TakeFacts};
use scrimcheck::units::ThirdOctave;
use scrimcheck::warning::Topic;
use std::f64::consts::TAU;

const KINDS: [Kind; 4] = [Kind::Woven, Kind::Perforated, Kind::Mixed, Kind::Unknown];

/// A clean session with its recordings and facts.
struct Clean {
    scenario: Scenario,
    session: Session,
    recordings: Vec<Recording>,
    facts: Vec<TakeFacts>,
    truth: Truth,
}

fn scenario(index: u64) -> Scenario {
    let mut s = Scenario::random(KINDS[index as usize % KINDS.len()], 7000 + index);
    s.seats.truncate(3);
    s.spots = 2;
    s.gap_m = 0.06 + 0.01 * (index % 5) as f64;
    s.stated_gap_m = Some(s.gap_m);
    s.temperature_c = [20.0, 20.0];
    if let Some(noise) = &mut s.noise {
        // Hum is a fault of its own here.
        noise.hum = 0.0;
    }
    s
}

fn made(scenario: &Scenario) -> Clean {
    let memory = match InMemory::new(simulate(scenario)) {
        Ok(memory) => memory,
        Err(error) => panic!("the simulated manifest does not parse: {error}"),
    };
    let recordings: Vec<Recording> =
        (0..memory.session.takes.len()).map(|i| rounded(memory.recording(i))).collect();
    let analyser = TakeAnalyser::new(&memory.session.sweep);
    let facts = recordings.iter().map(|r| analyser.facts(r)).collect();
    Clean {
        scenario: scenario.clone(),
        session: memory.session,
        recordings,
        facts,
        truth: memory.simulated.truth,
    }
}

/// As a 24-bit file holds it.
fn rounded(mut r: Recording) -> Recording {
    let step = 8_388_608.0;
    r.mic.iter_mut().for_each(|x| *x = (*x * step).round().clamp(-step, step - 1.0) / step);
    r.integer_bits = Some(24);
    r
}

impl Clean {
    fn judged_with(&self, changed: Vec<(usize, Vec<f64>)>) -> Judged {
        judge(&self.session, self.reads_with(changed), [&[], &[]])
    }

    fn reads_with(&self, changed: Vec<(usize, Vec<f64>)>) -> Vec<TakeRead> {
        let analyser = TakeAnalyser::new(&self.session.sweep);
        let mut facts = self.facts.clone();
        for (index, mic) in changed {
            let take = Recording { mic, ..self.recordings[index].clone() };
            facts[index] = analyser.facts(&rounded(take));
        }
        facts.into_iter().map(Ok).collect()
    }

    fn start_s(&self, take: usize) -> f64 {
        self.facts[take].sweep.map_or(0.0, |sweep| sweep.start_s)
    }

    fn noise_rms(&self) -> f64 {
        let lead = &self.recordings[0].mic[..(0.3 * self.rate()) as usize];
        (lead.iter().map(|x| x * x).sum::<f64>() / lead.len() as f64).sqrt()
    }

    fn rate(&self) -> f64 {
        f64::from(self.session.sweep.rate_hz)
    }

    fn take(&self, seat: usize, condition: Condition, spot: u32) -> usize {
        let wanted = |t: &scrimcheck::ingest::session::Take| {
            (t.seat, t.condition, t.spot) == (seat, condition, spot)
        };
        self.session.takes.iter().position(wanted).unwrap_or(0)
    }
}

fn judge(session: &Session, reads: Vec<TakeRead>, drift: [&[f64]; 2]) -> Judged {
    let analyser = TakeAnalyser::new(&session.sweep);
    judge_session(session, &analyser, &reads, drift)
}

fn says(judged: &Judged, take: usize, topic: Topic) -> bool {
    judged.takes[take].findings.iter().any(|f| f.topic == topic)
}

fn peak(x: &[f64]) -> f64 {
    x.iter().fold(0f64, |a, x| a.max(x.abs()))
}

fn gain(x: &[f64], db: f64) -> Vec<f64> {
    x.iter().map(|x| x * 10f64.powf(db / 20.0)).collect()
}

/// A fault of one take: its size changes the samples.
type Change<'a> = dyn Fn(&Clean, usize, f64, &mut ChaCha8Rng) -> Vec<f64> + 'a;

struct Row {
    fault: &'static str,
    size: String,
    half: String,
    found: usize,
    half_found: usize,
    n: usize,
}

fn take_fault(
    sessions: &[Clean],
    fault: &'static str,
    topic: Topic,
    unit: &str,
    sizes: [f64; 2],
    change: &Change<'_>,
) -> Row {
    let hits = |size: f64| {
        sessions
            .iter()
            .enumerate()
            .filter(|(i, clean)| {
                let mut rng = ChaCha8Rng::seed_from_u64(500 + *i as u64);
                let take = (5 * i + 1) % clean.recordings.len();
                let mic = change(clean, take, size, &mut rng);
                says(&clean.judged_with(vec![(take, mic)]), take, topic)
            })
            .count()
    };
    let label = |size: f64| format!("{size} {unit}");
    Row {
        fault,
        size: label(sizes[0]),
        half: label(sizes[1]),
        found: hits(sizes[0]),
        half_found: hits(sizes[1]),
        n: sessions.len(),
    }
}

fn session_fault(
    sessions: &[Clean],
    fault: &'static str,
    unit: &str,
    sizes: [f64; 2],
    found: &dyn Fn(&Clean, f64) -> bool,
) -> Row {
    let hits = |size: f64| sessions.iter().filter(|clean| found(clean, size)).count();
    let label = |size: f64| format!("{size} {unit}");
    Row {
        fault,
        size: label(sizes[0]),
        half: label(sizes[1]),
        found: hits(sizes[0]),
        half_found: hits(sizes[1]),
        n: sessions.len(),
    }
}

fn main() {
    let n: u64 = std::env::args().nth(1).and_then(|n| n.parse().ok()).unwrap_or(17);
    let sessions: Vec<Clean> = (0..n).map(|i| made(&scenario(i))).collect();
    false_alarms(&sessions);
    let mut rows = amplitude_rows(&sessions);
    rows.extend(completeness_rows(&sessions));
    rows.extend(disturbance_rows(&sessions));
    rows.extend(comparison_rows(&sessions));
    rows.extend(condition_rows(&sessions));
    println!("\n| fault | size | found | half | found at half |");
    println!("|---|---|---|---|---|");
    for row in rows {
        let Row { fault, size, half, found, half_found, n } = row;
        println!("| {fault} | {size} | {found} of {n} | {half} | {half_found} of {n} |");
    }
    println!(
        "\n(1) The sweep covers a part of every disturbance; how much depends on the moment, so \
         that there is no size below which none is found."
    );
}

fn false_alarms(sessions: &[Clean]) {
    let (mut takes, mut alarms, mut about_sessions) = (0, 0, 0);
    for clean in sessions {
        let judged = clean.judged_with(Vec::new());
        takes += judged.takes.len();
        for take in &judged.takes {
            alarms += usize::from(!take.findings.is_empty());
            for finding in &take.findings {
                eprintln!("false alarm: {}: {:?} {}", take.file, finding.topic, finding.message);
            }
        }
        let level = rough_level_warnings(&clean.session, &clean.reads_with(Vec::new()));
        for warning in &level {
            eprintln!("level: {}", warning.message);
        }
        about_sessions += usize::from(!judged.session.is_empty());
        for finding in &judged.session {
            eprintln!("false alarm (session): {:?} {}", finding.topic, finding.message);
        }
    }
    println!(
        "Clean: {takes} takes, {alarms} with a finding ({:.2} %); {} sessions, {about_sessions} \
         with a finding.",
        100.0 * alarms as f64 / takes as f64,
        sessions.len()
    );
}

fn amplitude_rows(sessions: &[Clean]) -> Vec<Row> {
    let mic = |clean: &Clean, take: usize| clean.recordings[take].mic.clone();
    vec![
        take_fault(
            sessions,
            "clipping at full scale: peak without the limit",
            Topic::Clipping,
            "times full scale",
            [1.2, 0.6],
            &|clean, take, size, _| {
                let x = mic(clean, take);
                let factor = size / peak(&x);
                x.iter().map(|x| (x * factor).clamp(-1.0, 1.0)).collect()
            },
        ),
        take_fault(
            sessions,
            "flat tops below full scale: peak cut by",
            Topic::Clipping,
            "dB",
            [2.4, 1.2],
            &|clean, take, size, _| {
                let x = mic(clean, take);
                let limit = peak(&x) * 10f64.powf(-size / 20.0);
                x.iter().map(|x| x.clamp(-limit, limit)).collect()
            },
        ),
        take_fault(
            sessions,
            "too little level: below -12 dB re full scale by",
            Topic::LowLevel,
            "dB",
            [34.0, 28.0],
            &|clean, take, size, _| {
                let x = mic(clean, take);
                gain(&x, -12.0 - size - 20.0 * peak(&x).log10())
            },
        ),
        take_fault(
            sessions,
            "constant offset",
            Topic::DcOffset,
            "of full scale",
            [0.02, 0.01],
            &|clean, take, size, _| mic(clean, take).iter().map(|x| x + size).collect(),
        ),
        take_fault(
            sessions,
            "mains hum, strongest line against the noise of the 100 Hz band",
            Topic::Hum,
            "times",
            [4.5, 2.25],
            &|clean, take, size, rng| {
                let rms = size * clean.facts[take].levels.floor[0].sqrt();
                let start: f64 = rng.random_range(0.0..TAU);
                let hum = |i: usize| {
                    let phase = TAU * 50.0 * i as f64 / clean.rate() + start;
                    rms * 2f64.sqrt() * (phase.sin() + 0.5 * (3.0 * phase).sin())
                };
                mic(clean, take).iter().enumerate().map(|(i, x)| x + hum(i)).collect()
            },
        ),
    ]
}

fn completeness_rows(sessions: &[Clean]) -> Vec<Row> {
    let mic = |clean: &Clean, take: usize| clean.recordings[take].mic.clone();
    let seconds = |clean: &Clean, s: f64| (s * clean.rate()).round().max(0.0) as usize;
    vec![
        take_fault(
            sessions,
            "start of the sweep missing",
            Topic::Truncation,
            "s",
            [0.1, 0.05],
            &|clean, take, size, _| {
                mic(clean, take)[seconds(clean, clean.start_s(take) + size)..].to_vec()
            },
        ),
        take_fault(
            sessions,
            "end of the sweep missing",
            Topic::Truncation,
            "s",
            [0.1, 0.05],
            &|clean, take, size, _| {
                let end_s = clean.start_s(take) + clean.scenario.sweep.duration_s;
                let mut x = mic(clean, take);
                x.truncate(seconds(clean, end_s - size));
                // The rest of the file is there, but silent but for noise: only the sweep's
                // end is missing, not the tail.
                let mut rng = ChaCha8Rng::seed_from_u64(3);
                let rms = clean.noise_rms();
                if size < 0.06 {
                    x.extend((0..seconds(clean, 0.5)).map(|_| {
                        let noise: f64 = StandardNormal.sample(&mut rng);
                        rms * noise
                    }));
                }
                x
            },
        ),
        take_fault(
            sessions,
            "drop-out",
            Topic::Truncation,
            "ms",
            [4.0, 1.0],
            &|clean, take, size, rng| {
                let mut x = mic(clean, take);
                let at = seconds(clean, clean.start_s(take) + rng.random_range(1.0..4.5));
                x[at..at + seconds(clean, size / 1000.0)].fill(0.0);
                x
            },
        ),
        take_fault(
            sessions,
            "second sweep: heard above 150 Hz for",
            Topic::DoubleSweep,
            "s",
            [1.2, 0.6],
            &|clean, take, size, _| {
                let mut x = mic(clean, take);
                let sweep = clean.scenario.sweep;
                // The file ends `size` after the second sweep has reached 150 Hz.
                let begins = x.len() - seconds(clean, size + sweep.time_s(150.0));
                let second = x.clone();
                let from = seconds(clean, clean.start_s(take));
                for (i, sample) in x[begins..].iter_mut().enumerate() {
                    *sample += second.get(from + i).copied().unwrap_or(0.0);
                }
                x
            },
        ),
        take_fault(
            sessions,
            "wrong signal: a sweep of other length, longer by",
            Topic::WrongSignal,
            "%",
            [4.0, 2.0],
            &|clean, take, size, _| {
                // Straight-line interpolation is good enough to be the wrong signal.
                let x = mic(clean, take);
                let factor = 1.0 + size / 100.0;
                let n = (x.len() as f64 * factor) as usize;
                (0..n - 2)
                    .map(|i| {
                        let at = i as f64 / factor;
                        let (k, part) = (at as usize, at.fract());
                        let next = x.get(k + 1).copied().unwrap_or(0.0);
                        x.get(k).copied().unwrap_or(0.0) * (1.0 - part) + next * part
                    })
                    .collect()
            },
        ),
    ]
}

fn disturbance_rows(sessions: &[Clean]) -> Vec<Row> {
    let mic = |clean: &Clean, take: usize| clean.recordings[take].mic.clone();
    let burst = |clean: &Clean, take: usize, size: f64, rng: &mut ChaCha8Rng, low: bool| {
        let mut x = mic(clean, take);
        let height = peak(&x) * 10f64.powf(size / 20.0);
        let at_s = clean.start_s(take) + rng.random_range(0.0..clean.scenario.sweep.duration_s);
        let from = (at_s.max(0.02) * clean.rate()) as usize;
        for (n, x) in x[from..].iter_mut().enumerate() {
            let t = n as f64 / clean.rate();
            let crack: f64 = StandardNormal.sample(rng);
            *x += if low {
                height * (-t / 0.06).exp() * (TAU * 90.0 * t).sin()
                    + 0.3 * height * (-t / 0.015).exp() * crack
            } else {
                // A cough: noise around 1 kHz for a tenth of a second.
                height * (-((t - 0.06) / 0.03).powi(2)).exp() * crack * (TAU * 1000.0 * t).sin()
            };
        }
        x
    };
    let slam = move |clean: &Clean, take: usize, size: f64, rng: &mut ChaCha8Rng| {
        burst(clean, take, size, rng, true)
    };
    let cough = move |clean: &Clean, take: usize, size: f64, rng: &mut ChaCha8Rng| {
        burst(clean, take, size, rng, false)
    };
    let noisier: Vec<Clean> =
        sessions.iter().map(|clean| made(&clean.scenario.clone().with_snr_db(35.0))).collect();
    // The room's own noise, taken from another take's lead and made louder.
    let louder = |clean: &Clean, take: usize, size: f64, _: &mut ChaCha8Rng| {
        let mut x = mic(clean, take);
        let n = (0.1 * clean.rate()) as usize;
        let from = (0.15 * clean.rate()) as usize;
        let other = &clean.recordings[(take + 1) % clean.recordings.len()].mic;
        let factor = 10f64.powf(size / 20.0);
        for i in 0..n {
            let window = (std::f64::consts::PI * (i as f64 + 0.5) / n as f64).sin();
            x[from + i] += factor * window * other[from + i];
        }
        x
    };
    // Ticks add to the noise; where they start to be found is the stated detection limit.
    let rattle = |clean: &Clean, above_limit_db: f64| {
        let with = |level_db: f64| {
            let mut s = clean.scenario.clone();
            s.rattle = Some(Rattle { low_hz: 90.0, high_hz: 140.0, level_db });
            made(&s).judged_with(Vec::new()).rattle
        };
        // Loud ticks first, to learn how strong they come out in this room.
        let loud_db = 0.0;
        let Some(range) = with(loud_db).ranges.pop() else { return false };
        let power_db = 10.0 * (10f64.powf(range.excess_db / 10.0) - 1.0).log10();
        !with(loud_db + above_limit_db - power_db).ranges.is_empty()
    };
    vec![
        take_fault(
            &noisier,
            "disturbance of 0.1 s in the silence, above the noise of a room with 35 dB of distance, by",
            Topic::Disturbance,
            "dB",
            [17.0, 11.0],
            &louder,
        ),
        take_fault(
            sessions,
            "door slam while the sweep runs, peak against the take's (1)",
            Topic::Disturbance,
            "dB",
            [-14.0, -20.0],
            &slam,
        ),
        take_fault(
            sessions,
            "cough while the sweep runs, peak against the take's (1)",
            Topic::Disturbance,
            "dB",
            [-14.0, -20.0],
            &cough,
        ),
        session_fault(
            &sessions[..sessions.len().min(6)],
            "rattle from 90 to 140 Hz, above the stated detection limit",
            "dB",
            [3.0, -3.0],
            &rattle,
        ),
    ]
}

fn comparison_rows(sessions: &[Clean]) -> Vec<Row> {
    let with = |clean: &Clean, seat: usize, spot: u32| clean.take(seat, Condition::With, spot);
    let one = |clean: &Clean, take: usize, mic: Vec<f64>, topic: Topic| {
        says(&clean.judged_with(vec![(take, mic)]), take, topic)
    };
    let tilted = |x: &[f64], db: f64, rate: f64| -> Vec<f64> {
        // First-order shelf: 0 dB at low frequencies, -db above some kHz.
        let keep = (-TAU * 700.0 / rate).exp();
        let high = 10f64.powf(-db / 20.0);
        let mut low = 0.0;
        x.iter()
            .map(|x| {
                low = keep * low + (1.0 - keep) * x;
                low + high * (x - low)
            })
            .collect()
    };
    vec![
        session_fault(
            sessions,
            "same recording twice (half: another take)",
            "copies",
            [1.0, 0.5],
            &|clean, size| {
                let (to, from) = (with(clean, 1, 1), clean.take(1, Condition::Without, 1));
                let from = if size < 1.0 { with(clean, 1, 1) } else { from };
                let mic = gain(&clean.recordings[from].mic, -1.0);
                one(clean, to, mic, Topic::Duplicate)
            },
        ),
        session_fault(
            sessions,
            "conditions exchanged: shelf above 700 Hz of",
            "dB",
            [0.7, 0.35],
            &|clean, size| {
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
        session_fault(
            sessions,
            "polarity turned (half: not turned)",
            "take",
            [1.0, 0.5],
            &|clean, size| {
                let take = with(clean, 2, 2);
                let sign = if size < 1.0 { 1.0 } else { -1.0 };
                let mic = clean.recordings[take].mic.iter().map(|x| sign * x).collect();
                one(clean, take, mic, Topic::Polarity)
            },
        ),
        session_fault(sessions, "gain step between spots", "dB", [0.5, 0.25], &|clean, size| {
            let take = with(clean, 1, 2);
            let mic = gain(&clean.recordings[take].mic, size);
            one(clean, take, mic, Topic::GainStep)
        }),
        session_fault(
            sessions,
            "gain step at one seat between the conditions",
            "dB",
            [1.0, 0.5],
            &|clean, size| {
                let changed = (1..=2)
                    .map(|spot| with(clean, 1, spot))
                    .map(|take| (take, gain(&clean.recordings[take].mic, size)))
                    .collect();
                says(&clean.judged_with(changed), with(clean, 1, 1), Topic::GainStep)
            },
        ),
        session_fault(
            sessions,
            "gain step of a whole condition, louder by (more than the cloth loses)",
            "dB",
            [0.3, 0.1],
            &|clean, size| {
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
        session_fault(
            &sessions[..sessions.len().min(8)],
            "microphone put back elsewhere, rms",
            "mm",
            [50.0, 25.0],
            &|clean, size| {
                let mut s = clean.scenario.clone();
                s.move_rms_m = size / 1000.0;
                let moved = made(&s).judged_with(Vec::new());
                moved.session.iter().any(|f| f.topic == Topic::Repeatability)
            },
        ),
    ]
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

fn condition_rows(sessions: &[Clean]) -> Vec<Row> {
    let some = &sessions[..sessions.len().min(6)];
    let about = |session: &Session, clean: &Clean, topic: Topic| {
        let judged = judge(session, clean.reads_with(Vec::new()), [&[], &[]]);
        judged.session.iter().any(|f| f.topic == topic)
    };
    let noisy = |clean: &Clean, size: f64| {
        let worst = |c: &Clean| {
            let all = c.facts[0].levels.snr_db.iter().flatten().copied();
            all.fold(f64::INFINITY, f64::min)
        };
        let Some(snr_db) = clean.scenario.noise.map(|noise| noise.snr_db) else { return false };
        let lower = clean.scenario.clone().with_snr_db(snr_db - worst(clean) + size);
        says(&made(&lower).judged_with(Vec::new()), 0, Topic::Noise)
    };
    vec![
        session_fault(
            some,
            "noise: worst band above it by (half the noise: 6 dB more)",
            "dB",
            [7.0, 13.0],
            &noisy,
        ),
        session_fault(
            some,
            "drift of the clock differs by",
            "ppm",
            [30.0, 15.0],
            &|clean, size| {
                let mut s = clean.scenario.clone();
                s.recorder.drift_ppm = [0.0, size];
                let drifting = made(&s);
                let read = |take: &scrimcheck::ingest::session::Take| {
                    let index = drifting.session.takes.iter().position(|t| t == take).unwrap_or(0);
                    Ok(drifting.recordings[index].clone())
                };
                let usable = vec![true; drifting.recordings.len()];
                let [a, b] = sampled_drift_ppm(&drifting.session, &usable, &read);
                let judged = judge(&drifting.session, drifting.reads_with(Vec::new()), [&a, &b]);
                judged.session.iter().any(|f| f.topic == Topic::ClockDrift)
            },
        ),
        session_fault(some, "temperature changed by", "K", [4.0, 2.0], &|clean, size| {
            let mut session = clean.session.clone();
            let each = EachCondition { without: 20.0, with: 20.0 + size, corrected: None };
            session.manifest.session.temperature_c = Some(PerCondition::Each(each));
            about(&session, clean, Topic::Temperature)
        }),
        session_fault(
            some,
            "humidity changed: error of a band up to 16 kHz",
            "dB",
            [0.14, 0.07],
            &|clean, size| {
                let mut session = clean.session.clone();
                let distance = mean_distance_m(&session);
                let band = [ThirdOctave::from_index(12)];
                // The humidity that makes an error of this size, by trial in small steps.
                let error = |humidity: f64| {
                    let air = Air::at_sea_level(20.0, 50.0);
                    loss_error_db(&band, air, Air::at_sea_level(20.0, humidity), distance)[0]
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
        session_fault(some, "one placement only, gap of", "m", [0.14, 0.07], &|clean, size| {
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
