//! Whole takes against closed forms: what goes in must come out. More than 350 lines: one property after
//! the other.

use super::scenario::{Control, Equaliser, Fault, Rattle, TakeKey};
use super::*;
use crate::ingest::manifest::{Condition, SoundSource};
use realfft::RealFftPlanner;
use realfft::num_complex::Complex64;
use std::f64::consts::PI;

/// Two seats, short sweep, no echoes from the room, nothing moves, no noise.
fn quiet(kind: Kind) -> Scenario {
    let mut s = Scenario::random(kind, 11).shortened(0.6, 0.03);
    s.seats.truncate(2);
    s.spots = 1;
    s.move_rms_m = 0.0;
    s.noise = None;
    s.seat_back = None;
    s.recorder.drift_ppm = [0.0; 2];
    s.temperature_c = [20.0; 2];
    s
}

fn dead(kind: Kind) -> Scenario {
    let mut s = quiet(kind);
    for wall in &mut s.room.walls {
        (wall.low, wall.high) = (0.0, 0.0);
    }
    s
}

fn take(session: &SimulatedSession, seat: usize, condition: Condition) -> &SimulatedTake {
    session
        .takes
        .iter()
        .find(|t| t.seat == seat && t.condition == condition && t.source == SoundSource::Centre)
        .expect("the take is there")
}

fn spectrum(samples: &[f64]) -> Vec<Complex64> {
    let n = samples.len() / 2 * 2;
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(n);
    let mut out = fft.make_output_vec();
    fft.process(&mut samples[..n].to_vec(), &mut out).expect("lengths fit");
    out
}

/// Ratio of two takes at the bins of a band of frequencies.
fn ratio(
    session: &SimulatedSession,
    a: &SimulatedTake,
    b: &SimulatedTake,
) -> (Vec<Complex64>, f64) {
    let step_hz = f64::from(session.rate_hz) / (a.samples.len() / 2 * 2) as f64;
    let (a, b) = (spectrum(&a.samples), spectrum(&b.samples));
    (a.iter().zip(&b).map(|(a, b)| a / b).collect(), step_hz)
}

fn band_loss_db(ratio: &[Complex64], step_hz: f64, low_hz: f64, high_hz: f64) -> f64 {
    let bins = (low_hz / step_hz).ceil() as usize..=(high_hz / step_hz).floor() as usize;
    let n = bins.clone().count() as f64;
    -10.0 * (bins.map(|k| ratio[k].norm_sqr()).sum::<f64>() / n).log10()
}

/// Without a room, the quotient of the takes is the sheet: a known filter gives a known curve.
#[test]
fn a_dead_room_gives_back_the_truth() {
    for kind in [Kind::Woven, Kind::Perforated, Kind::Backing, Kind::HeavyLargeGap] {
        let session = simulate(&dead(kind));
        for seat in 0..2 {
            let (t, step) = ratio(
                &session,
                take(&session, seat, Condition::With),
                take(&session, seat, Condition::Without),
            );
            for (b, band) in session.truth.bands.iter().enumerate() {
                // Below 500 Hz a band has too few bins here for the edges not to matter.
                if band.exact_hz() < 490.0 {
                    continue;
                }
                let got = band_loss_db(&t, step, band.lower_hz(), band.upper_hz());
                let want = session.truth.seats[seat][b];
                assert!(
                    (got - want).abs() < 0.01,
                    "{kind:?}, seat {seat}, {} Hz: {got} dB, truth {want}",
                    band.nominal_hz()
                );
                // Weighted by the loudspeaker's ripple, so not quite the same.
                let room = session.truth.in_room_seats[seat][b];
                assert!((room - want).abs() < 0.15, "in room {room}, direct {want}");
            }
        }
    }
}

#[test]
fn the_same_scenario_gives_the_same_samples() {
    let scenario = Scenario::random(Kind::Mixed, 5).shortened(0.3, 0.05);
    let (a, b) = (simulate(&scenario), simulate(&scenario));
    assert_eq!(a.takes.len(), 6 * 2 * 2);
    for (x, y) in a.takes.iter().zip(&b.takes) {
        assert_eq!((&x.file, &x.samples), (&y.file, &y.samples));
    }
    let other = simulate(&Scenario { seed: 6, ..scenario });
    assert_ne!(a.takes[0].samples, other.takes[0].samples);
}

/// Half a millimetre away is a phase of `2 pi f 0.5 mm / c` later, and 1/r lower.
#[test]
fn half_a_millimetre_turns_the_phase() {
    let mut s = dead(Kind::Woven);
    s.seats.truncate(1);
    s.speaker.edges.clear();
    s.seats[0].position_m = [3.0, 0.0, s.speaker.position_m[2]];
    // The peak of the loudest take sets the level, so the level is compared in the ratio of
    // two seats of one session.
    let mut farther = s.seats[0].clone();
    farther.id = "X".into();
    farther.position_m[0] += 0.0005;
    s.seats.push(farther);
    let session = simulate(&s);
    let (t, step) = ratio(
        &session,
        take(&session, 1, Condition::Without),
        take(&session, 0, Condition::Without),
    );
    // Each take starts at its own moment; two frequencies tell start and path apart only
    // together, so the start is taken from the scenario's own quotient of a still copy.
    s.seats[1].position_m[0] -= 0.0005;
    let still = simulate(&s);
    let (t0, _) =
        ratio(&still, take(&still, 1, Condition::Without), take(&still, 0, Condition::Without));
    for f in [1000.0, 5000.0, 15_000.0] {
        let k = (f / step) as usize;
        let turn = (t[k] / t0[k]).arg();
        let want = -2.0 * PI * k as f64 * step * 0.0005 / sheet::SPEED_OF_SOUND;
        assert!((turn - want).abs() < 2e-4, "{f} Hz: turned by {turn}, want {want}");
        let level = (t[k] / t0[k]).norm() * 3.0005 / 3.0;
        assert!((level - 1.0).abs() < 2e-4, "{f} Hz: level {level}");
    }
}

/// Energy of the grouped late part against a plain sum over the lattice of images,
/// `r^(2n) / d^2` (Allen and Berkley 1979), written out here without sharing code.
#[test]
fn late_energy_is_that_of_the_image_lattice() {
    let mut s = quiet(Kind::Woven);
    s.seats.truncate(1);
    s.room.size_m = [6.0, 4.5, 2.5];
    s.room.walls = [room::Wall::absorbing(0.3, 0.3, 1000.0); 6];
    s.room.tail_s = 0.3;
    s.speaker.off_axis_floor = 1.0;
    s.speaker.low_pass_hz = 1e9;
    s.speaker.ripple.clear();
    s.speaker.edges.clear();
    let mut planner = RealFftPlanner::new();
    let acoustics = response::Acoustics::new(&s, &mut planner);
    let images = acoustics.images(s.speaker.position_m, 1);
    let paths = acoustics.paths(&s, 0, &images, true);
    let c = s.speed_of_sound_m_s()[0];
    let (from, to) = (s.speaker.position_m, s.seat_in_room_m(0));
    let mut h = acoustics.impulse_response(&paths, to, false, c, 0.0, 1.0);
    // All images push the same way: the pressure they build up together at the lowest
    // frequencies is no sum of energies. Without the loudspeaker's lower limit it must go here.
    let mut slow = 0.0;
    for x in &mut h {
        slow += 0.05 * (*x - slow);
        *x -= slow;
    }
    for (start_s, end_s) in [(0.05, 0.09), (0.1, 0.15), (0.2, 0.25)] {
        let mut want = 0.0;
        for m in -12i32..=12 {
            for n in -15i32..=15 {
                for p in -25i32..=25 {
                    for u in 0..8 {
                        let flip = |bit: i32, x: f64| if u >> bit & 1 == 1 { -x } else { x };
                        let dx = flip(0, from[0]) + 12.0 * f64::from(m) - to[0];
                        let dy = flip(1, from[1]) + 9.0 * f64::from(n) - to[1];
                        let dz = flip(2, from[2]) + 5.0 * f64::from(p) - to[2];
                        let d = (dx * dx + dy * dy + dz * dz).sqrt();
                        if d < start_s * c || d >= end_s * c {
                            continue;
                        }
                        let count = |bit: i32, k: i32| (k - (u >> bit & 1)).abs() + k.abs();
                        let bounces = count(0, m) + count(1, n) + count(2, p);
                        want += 0.7f64.powi(bounces) / (d * d);
                    }
                }
            }
        }
        let bin = |t: f64| (t * 48e3) as usize + response::PRE_ROLL;
        // The recorder's upper limit leaves 0.43 + 0.07 x 3/8 of the rate (cos^2 in pressure).
        let passed = (0.43 + 0.07 * 3.0 / 8.0) / 0.5;
        let got = h[bin(start_s)..bin(end_s)].iter().map(|x| x * x).sum::<f64>() / passed;
        let difference = 10.0 * (got / want).log10();
        assert!(difference.abs() < 1.0, "{start_s} s: {difference} dB off the lattice");
    }
}

/// A control loudspeaker shows the gain step and nothing else.
#[test]
fn a_control_take_shows_only_the_gain_step() {
    let mut s = quiet(Kind::Woven);
    s.recorder.gain_step_db = -0.7;
    s.control = Some(Control { position_m: [0.5, 0.6, 1.0], every_spot: true });
    let session = simulate(&s);
    let find = |condition| {
        session
            .takes
            .iter()
            .find(|t| t.source == SoundSource::Control && t.seat == 0 && t.condition == condition)
            .expect("control take")
    };
    let (t, step) = ratio(&session, find(Condition::With), find(Condition::Without));
    let got = band_loss_db(&t, step, 500.0, 8000.0);
    assert!((got - 0.7).abs() < 0.002, "{got}");
}

/// The equalised take over the one with the screen is the equaliser.
#[test]
fn a_corrected_take_carries_the_equaliser() {
    let mut s = quiet(Kind::Woven);
    // Peak of +6 dB, Q 1 at 1 kHz, 48 kHz by the cookbook formulae.
    let b = [1.043953087, -1.895320724, 0.867722285, -1.895320724, 0.911675372];
    s.equaliser = Some(Equaliser { trim_db: -2.0, sections: vec![b], rate_hz: 48e3 });
    let session = simulate(&s);
    let (t, step) = ratio(
        &session,
        take(&session, 0, Condition::Corrected),
        take(&session, 0, Condition::With),
    );
    for (f, want) in [(1000.0, 4.0), (500.0, 1.8794 - 2.0), (2000.0, 1.8660 - 2.0)] {
        let got = 20.0 * t[(f / step).round() as usize].norm().log10();
        assert!((got - want).abs() < 0.02, "{f} Hz: {got} dB");
    }
}

/// Sweep over noise as asked, from the silence before and the sweep's own time.
#[test]
fn noise_stands_as_far_below_as_asked() {
    let mut s = quiet(Kind::Noisy);
    s.noise = Scenario::random(Kind::Noisy, 11).noise;
    let session = simulate(&s);
    let x = &take(&session, 0, Condition::Without).samples;
    let power = |from: usize, to: usize| {
        x[from..to].iter().map(|v| v * v).sum::<f64>() / (to - from) as f64
    };
    let silent = power(0, (0.45 * 48e3) as usize);
    let loud = power((0.5 * 48e3) as usize, (1.1 * 48e3) as usize);
    let snr = 10.0 * (loud / silent).log10();
    assert!((snr - 30.0).abs() < 1.0, "{snr} dB");
}

/// A fast clock stretches the take about its start.
#[test]
fn drift_stretches_the_take() {
    let mut s = dead(Kind::Woven);
    s.seats.truncate(1);
    let plain = simulate(&s);
    s.recorder.drift_ppm = [200.0, 0.0];
    let fast = simulate(&s);
    let (a, b) =
        (&take(&plain, 0, Condition::Without).samples, &take(&fast, 0, Condition::Without).samples);
    // The start is drawn in recorder samples, so it is the same in both.
    let lead = session_start(&s);
    let largest = take::peak(a);
    // 1 kHz passes at 0.34 s of 0.6 s; straight interpolation is good to 1 % there.
    let from = lead as usize + (0.25 * 48e3) as usize;
    for (n, want) in a.iter().enumerate().skip(from).take(2000) {
        let at = lead + (n as f64 - lead) * 1.0002;
        let (i, part) = (at as usize, at.fract());
        let got = b[i] * (1.0 - part) + b[i + 1] * part;
        assert!((got - want).abs() < 0.01 * largest, "sample {n}: {got} against {want}");
    }
}

fn session_start(s: &Scenario) -> f64 {
    use rand::RngExt;
    // Seat 0, condition 0, spot 1, repeat 0, centre.
    let mut start = stream::random(s.seed, stream::Stream::Start, 64 * 2);
    (s.lead_s + start.random_range(-0.03..0.03)) * f64::from(s.rate_hz)
}

#[test]
fn rattle_sounds_only_with_the_screen_and_in_its_range() {
    let mut s = dead(Kind::Woven);
    s.seats.truncate(1);
    let clean = simulate(&s);
    s.rattle = Some(Rattle { low_hz: 90.0, high_hz: 140.0, level_db: -30.0 });
    let rattling = simulate(&s);
    let difference = |condition| -> Vec<f64> {
        let (a, b) = (take(&clean, 0, condition), take(&rattling, 0, condition));
        a.samples.iter().zip(&b.samples).map(|(x, y)| y - x).collect()
    };
    assert!(take::peak(&difference(Condition::Without)) < 1e-12);
    let with = difference(Condition::With);
    let lead = (s.lead_s + 0.01) * 48e3;
    let (from, to) = (s.sweep.time_s(90.0) * 48e3 + lead, s.sweep.time_s(140.0) * 48e3 + lead);
    let energy = |r: std::ops::Range<usize>| with[r].iter().map(|x| x * x).sum::<f64>();
    let inside = energy((from - 2000.0) as usize..(to + 3000.0) as usize);
    assert!(inside > 0.999 * energy(0..with.len()), "energy outside the range");
    let relative = take::peak(&with) / take::peak(&take(&clean, 0, Condition::With).samples);
    assert!(relative > 0.003 && relative < 0.1, "{relative}");
}

#[test]
fn faults_do_what_their_names_say() {
    let mut s = quiet(Kind::Woven);
    let key = |seat, condition| TakeKey { seat, condition, spot: 1 };
    s.recorder.inverted_with = true;
    let s = s
        .with_fault(key(0, 0), Fault::Clip { at: 0.5 })
        .with_fault(key(0, 1), Fault::Truncate { at_s: 0.7 })
        .with_fault(key(1, 1), Fault::CopyOfOther);
    let session = simulate(&s);
    let clipped = &take(&session, 0, Condition::Without).samples;
    assert!(clipped.iter().filter(|x| x.abs() >= 1.0).count() > 50);
    assert!(clipped.iter().all(|x| x.abs() <= 1.0));
    assert_eq!(take(&session, 0, Condition::With).samples.len(), (0.7 * 48e3) as usize);
    assert_eq!(
        take(&session, 1, Condition::With).samples,
        take(&session, 1, Condition::Without).samples
    );

    let base = quiet(Kind::Woven);
    let plain = simulate(&base);
    let power = |s: &SimulatedSession| {
        take(s, 0, Condition::With).samples.iter().map(|x| x * x).sum::<f64>()
    };
    for (fault, low_db, high_db) in [
        (Fault::SecondSweep { after_s: 0.2 }, 0.5, 6.1),
        (Fault::Slam { at_s: 0.2, level_db: 10.0 }, 0.3, 20.0),
        (Fault::Gain { db: -3.0 }, -3.001, -2.999),
        (Fault::Invert, -0.001, 0.001),
    ] {
        let hurt = simulate(&base.clone().with_fault(key(0, 1), fault));
        let change = 10.0 * (power(&hurt) / power(&plain)).log10();
        assert!(change > low_db && change < high_db, "{fault:?}: {change} dB");
    }
    let silent = simulate(&base.clone().with_fault(key(0, 1), Fault::Silence));
    assert_eq!(power(&silent), 0.0);
    let turned = simulate(&base.with_fault(key(0, 1), Fault::Invert));
    let (a, b) = (take(&plain, 0, Condition::With), take(&turned, 0, Condition::With));
    assert!(a.samples.iter().zip(&b.samples).all(|(x, y)| *x == -*y));
}

/// The reference channel is the sweep, at its place between two samples.
#[test]
fn the_reference_channel_is_the_sweep() {
    let mut s = quiet(Kind::Woven);
    s.recorder.reference = true;
    let session = simulate(&s);
    let reference =
        take(&session, 0, Condition::Without).reference.as_ref().expect("second channel");
    let energy = |x: &[f64]| x.iter().map(|v| v * v).sum::<f64>();
    let level = 10.0 * (energy(reference) / energy(&session.sweep)).log10();
    assert!(level.abs() < 0.01, "{level} dB");
    let n = reference.len() / 2 * 2;
    let mut sweep = session.sweep.clone();
    sweep.resize(n, 0.0);
    let (l, w) = (spectrum(reference), spectrum(&sweep));
    let step = 48e3 / n as f64;
    // A pure delay: level 1 at single frequencies.
    for f in [100.0, 1000.0, 10_000.0] {
        let k = (f / step) as usize;
        assert!(((l[k] / w[k]).norm() - 1.0).abs() < 0.02, "{f} Hz");
    }
}
