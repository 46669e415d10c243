//! Slams and cracks in made-up takes, and takes without any.

use super::super::noise::band_levels;
use super::super::scene::Scene;
use super::super::spectrogram::Analyser;
use super::*;

fn bursts(scene: &Scene, take: &[f64]) -> Vec<Burst> {
    let course = Course::of(&scene.sweep()).expect("an exponential sweep");
    let s = Analyser::new(scene.rate_hz).spectrogram(take);
    find(&s, &course, scene.lead_s, &band_levels(&s, &course, scene.lead_s))
}

/// A slam: noise below about 700 Hz that decays within 0.15 s.
fn add_slam(take: &mut [f64], at_s: f64, amplitude: f64, seed: u64) {
    let raw = Scene { noise: 1.0, seed, ..Scene::default() }.noise(14_400);
    let from = (at_s * 48e3) as usize;
    let mut low = 0.0;
    for (i, x) in raw.iter().enumerate() {
        low += 0.09 * (x - low);
        take[from + i] += amplitude * low * (-(i as f64) / 2400.0).exp();
    }
}

#[test]
fn clean_takes_have_none() {
    for seed in 0..20 {
        let scene = Scene { seed, noise: 1e-4 * (1.0 + seed as f64), ..Scene::default() };
        assert_eq!(bursts(&scene, &scene.take().mic), vec![], "seed {seed}");
    }
}

#[test]
fn a_slam_is_found_where_it_was() {
    for at_s in [0.2, 0.9, 1.6, 2.3, 2.8, 3.5] {
        let scene = Scene::default();
        let mut take = scene.take().mic;
        add_slam(&mut take, at_s, 0.1, 77);
        let found = bursts(&scene, &take);
        assert_eq!(found.len(), 1, "slam at {at_s}: {found:?}");
        assert!((found[0].from_s - at_s).abs() < 0.05, "slam at {at_s}: {found:?}");
        let inside = (0.5..3.0).contains(&at_s);
        assert_eq!(found[0].sweep_hz.is_some(), inside, "slam at {at_s}: {found:?}");
    }
}

#[test]
fn without_silence_a_burst_is_still_found_and_a_clean_take_is_clean() {
    let scene = |seed| Scene {
        seed,
        low_hz: 50.0,
        duration_s: 0.5,
        lead_s: 0.06,
        tail_s: 0.3,
        ..Scene::default()
    };
    for seed in 0..20 {
        let mut take = scene(seed).take().mic;
        assert_eq!(bursts(&scene(seed), &take), vec![], "seed {seed}");
        // 62 ms while the sweep passes 230 to 490 Hz.
        let noise = Scene { noise: 0.05, seed: 99, ..Scene::default() }.noise(3000);
        for (x, noise) in take[9000..].iter_mut().zip(noise) {
            *x += noise;
        }
        let found = bursts(&scene(seed), &take);
        assert_eq!(found.len(), 1, "seed {seed}: {found:?}");
        assert!((found[0].from_s - 0.1875).abs() < 0.03, "seed {seed}: {found:?}");
    }
}

#[test]
fn a_crack_counts_alike_wherever_in_a_frame_it_falls() {
    let scene = Scene::default();
    let excess_db: Vec<f64> = (0..8)
        .map(|eighth| {
            let mut take = scene.take().mic;
            // A single sample; frames begin every 512.
            take[10_240 + 64 * eighth] += 1.0;
            let found = bursts(&scene, &take);
            assert_eq!(found.len(), 1, "{eighth} of 8: {found:?}");
            found[0].excess_db
        })
        .collect();
    let [least, most] = [f64::min, f64::max].map(|f| excess_db.iter().copied().reduce(f));
    let range_db = most.zip(least).map(|(most, least)| most - least).expect("eight");
    // One frame alone would make 6 dB of it.
    assert!(range_db < 1.0, "{excess_db:?}");
}

#[test]
fn what_the_sweep_drowns_is_not_reported() {
    let scene = Scene { noise: 1e-6, ..Scene::default() };
    let mut take = scene.take().mic;
    add_slam(&mut take, 1.6, 1e-4, 77);
    assert_eq!(bursts(&scene, &take), vec![]);
}

#[test]
fn strong_distortion_is_no_burst() {
    let scene = Scene::default();
    let mut sweep = scene.sweep().samples;
    let course = Course::of(&scene.sweep()).expect("an exponential sweep");
    // Above 4.8 kHz the fifth harmonic would fold back, as it does in no converter.
    for (i, x) in sweep.iter_mut().enumerate() {
        if course.hz_at(i as f64 / 48e3) < 4800.0 {
            *x += 0.05 * *x * *x + 0.05 * x.powi(3) + 0.03 * x.powi(5);
        }
    }
    assert_eq!(bursts(&scene, &scene.take_of(&sweep).mic), vec![]);
}
