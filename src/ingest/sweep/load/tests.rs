//! Tests of `load`.

use super::super::{SweepParams, generate};
use super::*;
use crate::ingest::wav::write_wav_24;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

fn info(start_hz: f64, stop_hz: f64, duration_s: Option<f64>, kind: SweepKind) -> SweepInfo {
    SweepInfo {
        file: "sweep.wav".into(),
        kind,
        start_hz,
        stop_hz,
        duration_s,
        fade_in_s: None,
        fade_out_s: None,
        level_dbfs: None,
    }
}

fn load(samples: &[f64], rate_hz: u32, info: &SweepInfo) -> Result<SweepSignal, String> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("sweep.wav");
    write_wav_24(&path, rate_hz, samples).unwrap();
    load_sweep(&path, info).map(|(sweep, _)| sweep).map_err(|e| e.to_string())
}

fn swept(start_hz: f64, stop_hz: f64, duration_s: f64) -> SweepParams {
    let fade_in_s = 0.02 * duration_s;
    SweepParams { start_hz, stop_hz, duration_s, fade_in_s, ..SweepParams::default() }
}

#[test]
fn the_default_sweep_is_what_it_says() {
    let params = SweepParams::default();
    let x = generate(&params).unwrap();
    for duration_s in [Some(5.0), None] {
        let sweep =
            load(&x, 48_000, &info(20.0, 20e3, duration_s, SweepKind::Exponential)).unwrap();
        let l_s = sweep.rate_constant_s.unwrap();
        let tolerance = if duration_s.is_some() { 1e-12 } else { 1e-3 };
        assert!((l_s / params.rate_constant_s() - 1.0).abs() < tolerance, "{l_s}");
        assert!(sweep.active.start >= 24_000 && sweep.active.end <= 264_000);
        assert!(sweep.active.len() > 230_000);
    }
}

#[test]
fn short_sweeps_and_other_rates_pass() {
    for (rate_hz, stop_hz, duration_s) in [
        (48_000, 20e3, 0.5),
        (48_000, 16e3, 1.0),
        (96_000, 40e3, 2.0),
        (44_100, 20e3, 3.0),
        (16_000, 7_900.0, 0.4),
        (48_000, 20e3, 0.25),
    ] {
        let params = SweepParams { rate_hz, ..swept(50.0, stop_hz, duration_s) };
        let stated = info(50.0, stop_hz, Some(duration_s), SweepKind::Exponential);
        load(&generate(&params).unwrap(), rate_hz, &stated).unwrap();
    }
}

fn upper_hz(text: &str) -> f64 {
    let found = text.split("covers 20 to ").nth(1).expect(text);
    found.split(' ').next().unwrap().parse().unwrap()
}

#[test]
fn a_sweep_that_does_not_reach_its_band_is_refused_with_what_was_found() {
    let x = generate(&swept(20.0, 10_000.0, 5.0)).unwrap();
    let text = load(&x, 48_000, &info(20.0, 20e3, None, SweepKind::Exponential)).unwrap_err();
    assert!(text.contains("says 20 to 20000 Hz"), "{text}");
    assert!((upper_hz(&text) / 10_000.0 - 1.0).abs() < 0.01, "{text}");
    // Both sides of the limit of 1/12 octave: 18.9 kHz of 20 kHz.
    let stated = info(20.0, 20e3, None, SweepKind::Exponential);
    assert!(load(&generate(&swept(20.0, 18_400.0, 5.0)).unwrap(), 48_000, &stated).is_err());
    assert!(load(&generate(&swept(20.0, 19_500.0, 5.0)).unwrap(), 48_000, &stated).is_ok());
    let text = load(&generate(&swept(200.0, 20e3, 5.0)).unwrap(), 48_000, &stated).unwrap_err();
    assert!(text.contains("covers 20"), "{text}");
    // The band is there, but its upper end was filtered away.
    let mut x = generate(&swept(20.0, 20e3, 5.0)).unwrap();
    let n_cut = 24_000 + (0.9 * 5.0 * 48e3) as usize;
    x[n_cut..].iter_mut().for_each(|v| *v *= 0.004);
    let text = load(&x, 48_000, &stated).unwrap_err();
    assert!((10_000.0..12_000.0).contains(&upper_hz(&text)), "{text}");
}

#[test]
fn pace_and_kind_are_checked() {
    let x = generate(&swept(20.0, 20e3, 2.0)).unwrap();
    let text = load(&x, 48_000, &info(20.0, 20e3, Some(5.0), SweepKind::Exponential)).unwrap_err();
    assert!(text.contains("duration_s is 5 s") && text.contains("takes 2.0"), "{text}");

    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let noise: Vec<f64> = (0..96_000).map(|_| rng.random_range(-0.3..0.3)).collect();
    let text = load(&noise, 48_000, &info(20.0, 20e3, None, SweepKind::Exponential)).unwrap_err();
    assert!(text.contains("kind = \"other\""), "{text}");
    let sweep = load(&noise, 48_000, &info(20.0, 20e3, None, SweepKind::Other)).unwrap();
    assert_eq!(sweep.rate_constant_s, None);

    let tone: Vec<f64> = (0..96_000).map(|i| 0.3 * (f64::from(i) * 0.13).sin()).collect();
    let text = load(&tone, 48_000, &info(20.0, 20e3, None, SweepKind::Other)).unwrap_err();
    assert!(text.contains("covers"), "{text}");
}

#[test]
fn silence_shortness_and_nyquist_are_refused() {
    let stated = info(20.0, 20e3, None, SweepKind::Exponential);
    assert!(load(&[0.0; 48_000], 48_000, &stated).unwrap_err().contains("silent"));
    assert!(load(&[0.25; 48_000], 48_000, &stated).unwrap_err().contains("silent"));
    let x = generate(&SweepParams { fade_out_s: 0.0, ..swept(200.0, 20e3, 0.25) }).unwrap();
    let short = &x[..24_000 + 9_500];
    assert!(load(short, 48_000, &stated).unwrap_err().contains("lasts 0.2"));
    let stated = info(20.0, 24_000.5, None, SweepKind::Exponential);
    assert!(load(&x, 48_000, &stated).unwrap_err().contains("at most 24000 Hz"));
}
