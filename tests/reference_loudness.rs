//! Loudness and true peak against the published test signals of the loudness standard.

use scrimcheck::listen::levels::level;
use std::f64::consts::TAU;

/// Parts of a 1 kHz sine in both channels: level, dB re full scale, and length, s.
fn sines(parts: &[(f64, f64)], rate_hz: u32) -> Vec<Vec<f64>> {
    let mut samples = Vec::new();
    for (db, s) in parts {
        let n = (s * f64::from(rate_hz)) as usize;
        let start = samples.len();
        let peak = 10f64.powf(db / 20.0);
        samples.extend(
            (start..start + n).map(|i| peak * (TAU * 1000.0 * i as f64 / f64::from(rate_hz)).sin()),
        );
    }
    vec![samples.clone(), samples]
}

/// Name, levels in dB and lengths in s of the parts, loudness.
type Case = (&'static str, &'static [(f64, f64)], f64);

/// EBU Tech 3341 (Loudness Metering: "EBU Mode" metering), table 1, minimum requirements test
/// signals 1 to 5, each defined there by level and length; expected -23 or -33 LUFS, +-0.1 LU.
#[test]
fn published_signals_of_the_loudness_standard_read_as_published() {
    let cases: [Case; 5] = [
        ("1", &[(-23.0, 20.0)], -23.0),
        ("2", &[(-33.0, 20.0)], -33.0),
        ("3", &[(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)], -23.0),
        ("4", &[(-72.0, 10.0), (-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0), (-72.0, 10.0)], -23.0),
        ("5", &[(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)], -23.0),
    ];
    for (name, parts, want) in cases {
        for rate_hz in [44_100, 48_000, 96_000] {
            let got = level(name, &sines(parts, rate_hz), rate_hz).unwrap().loudness_lufs;
            assert!((got - want).abs() <= 0.1, "case {name} at {rate_hz} Hz: {got}");
        }
    }
}

/// EBU Tech 3341, test signals 15 and 16 for true peak: a sine of a quarter of the rate, peak
/// 0.5, with 0 and 45 degrees of phase: -6 dBTP, +0.2/-0.4 dB. The samples of the second
/// reach only -9 dB.
#[test]
fn true_peaks_between_samples_are_seen() {
    for phase in [0.0, 45.0f64.to_radians()] {
        let n = 48_000;
        let samples: Vec<f64> =
            (0..n).map(|i| 0.5 * (TAU * 0.25 * f64::from(i) + phase).sin()).collect();
        let got = level("peak", &[samples], 48_000).unwrap().true_peak_dbtp;
        assert!((-6.4..=-5.8).contains(&got), "{phase}: {got}");
    }
}

#[test]
fn silence_has_no_loudness() {
    assert!(level("nothing", &[vec![0.0; 48_000]], 48_000).is_err());
    assert!(level("short", &[vec![0.1; 4_800]], 48_000).is_err());
}
