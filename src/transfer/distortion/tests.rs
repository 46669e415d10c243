//! Harmonics of a polynomial in closed form, noise, and the warning's limits.

use super::*;
use crate::judge::scene::Scene;
use realfft::RealFftPlanner;

/// Division of spectra in the plain textbook form, apart from the program's own.
fn divided(recording: &[f64], sweep: &[f64], scene: &Scene) -> Vec<f64> {
    let n = (recording.len() + recording.len() % 2).next_multiple_of(2);
    let mut planner = RealFftPlanner::<f64>::new();
    let (forward, inverse) = (planner.plan_fft_forward(n), planner.plan_fft_inverse(n));
    let spectrum = |x: &[f64]| {
        let mut input = x.to_vec();
        input.resize(n, 0.0);
        let mut output = forward.make_output_vec();
        forward.process(&mut input, &mut output).expect("lengths of the plan");
        output
    };
    let (mut y, s) = (spectrum(recording), spectrum(sweep));
    let peak = s.iter().map(|x| x.norm_sqr()).fold(0.0, f64::max);
    for (k, (y, s)) in y.iter_mut().zip(&s).enumerate() {
        let hz = k as f64 * f64::from(scene.rate_hz) / n as f64;
        let inside = hz > scene.low_hz * 1.03 && hz < scene.high_hz / 1.03;
        let guard = if inside { 1e-8 } else { 1e-2 };
        *y *= s.conj() / (s.norm_sqr() + guard * peak);
    }
    y[0].im = 0.0;
    if let Some(last) = y.last_mut() {
        last.im = 0.0;
    }
    let mut response = inverse.make_output_vec();
    inverse.process(&mut y, &mut response).expect("real ends");
    response.iter_mut().for_each(|x| *x /= n as f64);
    response
}

fn plan(scene: &Scene) -> DistortionPlan {
    let band = [scene.low_hz, scene.high_hz];
    DistortionPlan::new(scene.rate_hz, scene.rate_constant_s(), band).expect("long enough")
}

fn scene() -> Scene {
    Scene { duration_s: 4.0, decay_s: 0.02, noise: 0.0, ..Scene::default() }
}

/// A take through `x + a2 x^2 + a3 x^3` at amplitude `a`; no harmonic folds
/// back, as none does in a converter.
fn bent(scene: &Scene, a: f64, a2: f64, a3: f64, noise: f64) -> Vec<f64> {
    let rate = f64::from(scene.rate_hz);
    let (l, f1) = (scene.rate_constant_s(), scene.low_hz);
    let n = (scene.duration_s * rate) as usize;
    let fade = |i: usize, s: f64| {
        let x = (i as f64 / (s * rate)).min(1.0);
        (0.5 * std::f64::consts::PI * x).sin().powi(2)
    };
    let lead = (scene.lead_s * rate) as usize;
    let mut take = Scene { noise, ..*scene }.noise(n + 2 * lead + 48_000);
    for i in 0..n {
        let t = i as f64 / rate;
        let phase = std::f64::consts::TAU * f1 * l * (t / l).exp();
        let hz = f1 * (t / l).exp();
        // Closed form of the polynomial at amplitude g: constant part left out, and each
        // harmonic only below half the rate, as a converter's filter would keep it.
        let g = a * fade(i, 0.02) * fade(n - 1 - i, 0.005);
        let kept = |m: f64| if m * hz < 0.46 * rate { 1.0 } else { 0.0 };
        take[lead + i] += (g + 0.75 * a3 * g.powi(3)) * phase.sin()
            - kept(2.0) * 0.5 * a2 * g * g * (2.0 * phase).cos()
            - kept(3.0) * 0.25 * a3 * g.powi(3) * (3.0 * phase).sin();
    }
    take
}

fn measured(scene: &Scene, take: &[f64]) -> Distortion {
    let response = divided(take, &scene.sweep().samples, scene);
    plan(scene).measure(&response, (scene.lead_s * f64::from(scene.rate_hz)) as usize)
}

#[test]
fn harmonics_of_a_polynomial_are_those_of_the_closed_form() {
    let scene = scene();
    let (a, a2, a3) = (0.5, 0.1, 0.08);
    let found = measured(&scene, &bent(&scene, a, a2, a3, 1e-6));
    // x + a2 x^2 + a3 x^3 of a sine with amplitude a.
    let fundamental = a + 0.75 * a3 * a.powi(3);
    let want = [0.5 * a2 * a * a / fundamental, 0.25 * a3 * a.powi(3) / fundamental];
    for (harmonic, want) in found.harmonics.iter().zip(want) {
        let want_db = 20.0 * want.log10();
        let m = harmonic.order as f64;
        let mut checked = 0;
        for (hz, level) in found.fundamental_hz.iter().zip(&harmonic.level_db) {
            // Below 120 Hz the 60 ms window hardly resolves a sixth of an octave.
            if *hz < 120.0 || m * hz > 17_000.0 {
                continue;
            }
            let level = level.expect("well above the noise");
            assert!((level - want_db).abs() < 0.3, "h{m} at {hz:.0} Hz: {level}, {want_db}");
            checked += 1;
        }
        assert!(checked > 30, "h{m}: only {checked} points");
    }
    for harmonic in &found.harmonics[2..] {
        let strong = harmonic.level_db.iter().flatten().filter(|db| **db > -70.0).count();
        assert_eq!(strong, 0, "order {} does not exist", harmonic.order);
    }
}

#[test]
fn noise_covers_and_the_floor_says_from_where() {
    let scene = scene();
    let found = measured(&scene, &bent(&scene, 0.5, 1e-4, 0.0, 3e-3));
    let second = &found.harmonics[0];
    // The harmonic has -92 dB; the floor is far above it.
    let present = second.level_db.iter().flatten().count();
    assert!(present <= second.level_db.len() / 20, "{present} points of noise");
    let floors: Vec<f64> = second.floor_db.iter().flatten().copied().collect();
    assert!(floors.len() > 30 && floors.iter().all(|db| *db > -85.0 && *db < -20.0));
    let louder = measured(&scene, &bent(&scene, 0.5, 1e-4, 0.0, 6e-3));
    for (a, b) in second.floor_db.iter().zip(&louder.harmonics[0].floor_db) {
        let change = b.expect("known") - a.expect("known");
        assert!((change - 6.02).abs() < 0.1, "{change}");
    }
}

#[test]
fn harmonics_beyond_the_sweep_are_absent() {
    let scene = scene();
    let found = measured(&scene, &bent(&scene, 0.5, 0.1, 0.1, 1e-6));
    for harmonic in &found.harmonics {
        for (hz, level) in found.fundamental_hz.iter().zip(&harmonic.level_db) {
            assert!(level.is_none() || harmonic.order as f64 * hz < 20_000.0);
        }
    }
    assert!(DistortionPlan::new(48_000, 0.1, [20.0, 20e3]).is_none(), "too fast a sweep");
    assert!(DistortionPlan::new(48_000, f64::NAN, [20.0, 20e3]).is_none());
}

fn flat(level_db: f64) -> Distortion {
    let fundamental_hz: Vec<f64> = (0..40).map(|i| 50.0 * (f64::from(i) / 6.0).exp2()).collect();
    let n = fundamental_hz.len();
    let harmonics = (2..=5)
        .map(|order| Harmonic {
            order,
            level_db: vec![Some(level_db); n],
            floor_db: vec![Some(-80.0); n],
        })
        .collect();
    Distortion { fundamental_hz, harmonics }
}

#[test]
fn more_drive_is_warned_of_on_one_side_of_its_limits_only() {
    assert!(rise_of_drive(&flat(-42.0), &flat(-38.0)).is_some());
    assert!(rise_of_drive(&flat(-40.0), &flat(-38.0)).is_none(), "2 dB more");
    assert!(rise_of_drive(&flat(-50.0), &flat(-42.0)).is_none(), "still below 1 %");
    let mut one = flat(-50.0);
    one.harmonics[0].level_db[35] = Some(-30.0);
    assert!(rise_of_drive(&flat(-50.0), &one).is_none(), "a single point");
    let mut hidden = flat(-42.0);
    hidden.harmonics[0].level_db.fill(None);
    hidden.harmonics[0].floor_db.fill(Some(-45.0));
    let told = rise_of_drive(&hidden, &flat(-38.0)).expect("above the floor by 7 dB");
    assert_eq!((told.order, told.rise_db, told.level_db), (2, 7.0, -38.0));
}

#[test]
fn combining_is_a_mean_of_powers() {
    let both = combine(&[&flat(-40.0), &flat(-40.0)]).expect("alike");
    assert!((both.harmonics[0].level_db[3].expect("there") + 40.0).abs() < 1e-9);
    // 0 dB and nothing else: 10 lg((1 + 0.01) / 2) = -2.967 dB.
    let mixed = combine(&[&flat(0.0), &flat(-20.0)]).expect("alike");
    assert!((mixed.harmonics[1].level_db[3].expect("there") + 2.967).abs() < 0.001);
    assert_eq!(combine(&[]), None);
    let mut hidden = flat(-40.0);
    hidden.harmonics[0].level_db.fill(None);
    let one_of_three = combine(&[&hidden, &hidden, &flat(-40.0)]).expect("alike");
    assert_eq!(one_of_three.harmonics[0].level_db[3], None);
}
