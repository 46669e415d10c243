//! Flat tops, gaps and offsets of made-up takes.

use super::super::scene::Scene;
use super::*;

fn clipped(level: f64, full_scale: f64) -> Amplitudes {
    let scene = Scene { level, ..Scene::default() };
    let mut take = scene.take().mic;
    take.iter_mut().for_each(|x| *x = x.clamp(-full_scale, full_scale));
    measure(&take, scene.rate_hz)
}

#[test]
fn a_clean_take_has_no_flat_top() {
    for seed in 0..5 {
        let scene = Scene { seed, level: 0.1 + 0.1 * seed as f64, ..Scene::default() };
        let a = measure(&scene.take().mic, scene.rate_hz);
        assert_eq!((a.clipping, a.gap_s), (None, None), "level {}", scene.level);
        assert!(a.finite && a.offset.abs() < 1e-3);
    }
}

#[test]
fn full_scale_is_found_and_almost_full_scale_is_not() {
    let loud = clipped(0.95, 1.0);
    let peak = clipped(0.95, 9.0).peak;
    assert!(peak > 1.0, "the scene must go beyond full scale: {peak}");
    let clipping = loud.clipping.expect("clips");
    assert!(clipping.full_scale && clipping.level_dbfs.abs() < 0.01, "{clipping:?}");
    let just_below = clipped(0.95 * 0.99 / peak, 1.0);
    assert!(just_below.peak > 0.98 && just_below.clipping.is_none(), "{just_below:?}");
}

#[test]
fn floats_above_full_scale_that_nothing_cut_are_no_limit() {
    let scene = Scene { level: 1.9, ..Scene::default() };
    assert_eq!(measure(&scene.take().mic, scene.rate_hz).clipping, None);
}

#[test]
fn flat_tops_below_full_scale_are_found_and_half_as_much_is_not() {
    let free = clipped(0.2, 9.0).peak;
    let cut = |db: f64| clipped(0.2, free * 10f64.powf(-db / 20.0)).clipping;
    let found = cut(2.0).expect("2 dB of the highest peak gone");
    assert!(!found.full_scale && found.first_s > 0.5, "{found:?}");
    // To about a decibel: half-waves are no sines, and have few samples.
    assert!((found.missing_db - 2.0).abs() < 1.0, "{found:?}");
    assert_eq!(cut(1.0), None);
}

#[test]
fn flat_tops_of_high_tones_are_found_and_sharp_ones_are_not() {
    // A tone that glides from 3 to 7 kHz, as a resonance of a tweeter would show.
    let tone = |cut: f64| -> Vec<f64> {
        let mut phase = 0.0f64;
        (0..48_000)
            .map(|i| {
                phase += std::f64::consts::TAU * (3000.0 + 4000.0 * i as f64 / 48e3) / 48e3;
                (0.5 * phase.sin()).clamp(-cut, cut)
            })
            .collect()
    };
    assert_eq!(measure(&tone(1.0), 48_000).clipping, None);
    let found = measure(&tone(0.5 * 10f64.powf(-3.0 / 20.0)), 48_000).clipping.expect("cut");
    assert!(!found.full_scale && (found.level_dbfs + 9.02).abs() < 0.01, "{found:?}");
}

#[test]
fn offset_gap_and_non_finite_samples() {
    let scene = Scene::default();
    let mut take = scene.take().mic;
    take.iter_mut().for_each(|x| *x += 0.02);
    let a = measure(&take, scene.rate_hz);
    assert!((a.offset - 0.02).abs() < 1e-3, "{}", a.offset);
    take[60_000..60_480].fill(0.0);
    let (at, length) = measure(&take, scene.rate_hz).gap_s.expect("10 ms gap");
    assert!((at - 1.25).abs() < 1e-3 && (length - 0.01).abs() < 1e-3);
    take[60_000] = f64::NAN;
    assert!(!measure(&take, scene.rate_hz).finite);
    let nothing = measure(&[], 48_000);
    assert_eq!((nothing.peak, nothing.clipping, nothing.gap_s), (0.0, None, None));
}
