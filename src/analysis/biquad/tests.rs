//! Coefficients and responses against the public cookbook, a published example and a general filter library.

use super::*;
use crate::support::assert_close;
use std::f64::consts::PI;

const FS: f64 = 48_000.0;

fn set(kind: SectionKind, frequency_hz: f64, gain_db: f64, q: f64) -> Setting {
    Setting { kind, frequency_hz, gain_db, q }
}

/// The cookbook written out by hand, as the check on the crate.
fn cookbook(s: Setting, rate_hz: f64) -> Biquad {
    let a = 10f64.powf(s.gain_db / 40.0);
    let w0 = 2.0 * PI * s.frequency_hz / rate_hz;
    let (sin, cos) = w0.sin_cos();
    let alpha = sin / (2.0 * s.q);
    let (b, a) = match s.kind {
        SectionKind::Peaking => (
            [1.0 + alpha * a, -2.0 * cos, 1.0 - alpha * a],
            [1.0 + alpha / a, -2.0 * cos, 1.0 - alpha / a],
        ),
        SectionKind::HighShelf => {
            let r = 2.0 * a.sqrt() * alpha;
            (
                [
                    a * ((a + 1.0) + (a - 1.0) * cos + r),
                    -2.0 * a * ((a - 1.0) + (a + 1.0) * cos),
                    a * ((a + 1.0) + (a - 1.0) * cos - r),
                ],
                [
                    (a + 1.0) - (a - 1.0) * cos + r,
                    2.0 * ((a - 1.0) - (a + 1.0) * cos),
                    (a + 1.0) - (a - 1.0) * cos - r,
                ],
            )
        }
    };
    Biquad { b0: b[0] / a[0], b1: b[1] / a[0], b2: b[2] / a[0], a1: a[1] / a[0], a2: a[2] / a[0] }
}

fn as_array(b: Biquad) -> [f64; 5] {
    [b.b0, b.b1, b.b2, b.a1, b.a2]
}
/// Q of a bandwidth in octaves, analog definition; inverse of `bandwidth_analog_oct`.
pub(crate) fn q_from_bandwidth_analog(bandwidth_oct: f64) -> f64 {
    0.5 / (std::f64::consts::LN_2 / 2.0 * bandwidth_oct).sinh()
}

/// Q of a bandwidth in octaves, digital definition; inverse of `bandwidth_digital_oct`.
pub(crate) fn q_from_bandwidth_digital(bandwidth_oct: f64, frequency_hz: f64, rate_hz: f64) -> f64 {
    let w0 = 2.0 * std::f64::consts::PI * frequency_hz / rate_hz;
    q_from_bandwidth_analog(bandwidth_oct * w0 / w0.sin())
}

/// Whether a section dies away by itself: both poles inside the unit circle
/// (the stability triangle `|a2| < 1`, `|a1| < 1 + a2`).
pub(crate) fn is_stable(s: &Biquad) -> bool {
    s.a2.abs() < 1.0 && s.a1.abs() < 1.0 + s.a2
}

#[test]
fn the_crate_follows_the_cookbook_at_every_rate() {
    for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        for kind in [SectionKind::HighShelf, SectionKind::Peaking] {
            for f0 in [63.0, 1000.0, 6300.0, 16_000.0] {
                for gain in [-6.0, -0.5, 0.0, 3.0, 12.0] {
                    for q in [0.3, 0.7071, 4.0] {
                        let s = set(kind, f0, gain, q);
                        let got = design(s, rate_hz).unwrap();
                        let name = format!("{s:?} at {rate_hz}");
                        assert_close(&name, &as_array(got), &as_array(cookbook(s, rate_hz)), 1e-13);
                        assert!(is_stable(&got), "{name} is not stable");
                    }
                }
            }
        }
    }
}

/// Worked from the W3C note's formulae in double precision, 48 kHz.
#[test]
fn worked_coefficients_and_responses() {
    use SectionKind::*;
    let s1 = 0.5f64.sqrt();
    type Row = (SectionKind, f64, f64, f64, [f64; 5], &'static [(f64, f64)]);
    let rows: &[Row] = &[
        (
            Peaking,
            1000.0,
            6.0,
            1.0,
            [1.043953087, -1.895320724, 0.867722285, -1.895320724, 0.911675372],
            &[(500.0, 1.8794), (1000.0, 6.0), (2000.0, 1.8660)],
        ),
        (
            Peaking,
            10_000.0,
            3.0,
            2.0,
            [1.069665247, -0.430224505, 0.592594596, -0.430224505, 0.662259844],
            &[(8000.0, 1.2896), (10_000.0, 3.0), (12_500.0, 1.0714)],
        ),
        (
            Peaking,
            3150.0,
            -4.0,
            4.0,
            [0.978107297, -1.723673949, 0.903246780, -1.723673949, 0.881354077],
            &[(2000.0, -0.2619), (3150.0, -4.0)],
        ),
        (
            HighShelf,
            6000.0,
            3.0,
            s1,
            [1.289231621, -1.311916525, 0.465369127, -0.864121877, 0.306806100],
            &[(3000.0, 0.1541), (6000.0, 1.5), (12_000.0, 2.9126), (20_000.0, 2.9995)],
        ),
        (
            HighShelf,
            6000.0,
            3.0,
            0.498142,
            [1.276445269, -1.145384925, 0.255430585, -0.754432277, 0.140923206],
            &[(3000.0, 0.5678), (6000.0, 1.5), (12_000.0, 2.5554)],
        ),
        (
            HighShelf,
            8000.0,
            4.0,
            s1,
            [1.351962065, -0.997746667, 0.364421311, -0.496931788, 0.215568496],
            &[(4000.0, 0.1828), (8000.0, 2.0), (16_000.0, 3.9495)],
        ),
        (
            HighShelf,
            5000.0,
            6.0,
            s1,
            [1.709988787, -2.114436921, 0.780064095, -0.966047773, 0.341663734],
            &[(2500.0, 0.3396), (5000.0, 3.0), (10_000.0, 5.7628)],
        ),
        (
            HighShelf,
            6000.0,
            -3.0,
            s1,
            [0.775655812, -0.670261156, 0.237975935, -1.017595677, 0.360966268],
            &[(6000.0, -1.5), (12_000.0, -2.9126)],
        ),
    ];
    for &(kind, f0, gain, q, want, points) in rows {
        let got = design(set(kind, f0, gain, q), FS).unwrap();
        // The Q of S = 0.5 is printed to six digits, which the coefficients feel.
        assert_close(&format!("{kind:?} {f0} {gain} {q}"), &as_array(got), &want, 5e-7);
        for &(hz, want_db) in points {
            assert_close(&format!("{kind:?} at {hz}"), &[got.gain_db(hz, FS)], &[want_db], 6e-5);
        }
    }
}

/// ITU-R BS.1770 annex 1, table 1 (48 kHz high shelf), coefficients as published; not a
/// cookbook shelf, so it checks the evaluation alone. The want column is the complex
/// transfer function written out below.
#[test]
fn response_of_published_coefficients() {
    let b = Biquad {
        b0: 1.53512485958697,
        b1: -2.69169618940638,
        b2: 1.19839281085285,
        a1: -1.69065929318241,
        a2: 0.73248077421585,
    };
    let complex_db = |hz: f64| {
        let w = 2.0 * PI * hz / FS;
        let sum = |c: [f64; 3]| {
            let re: f64 = (0..3).map(|k| c[k] * (w * k as f64).cos()).sum();
            let im: f64 = (0..3).map(|k| c[k] * (w * k as f64).sin()).sum();
            re * re + im * im
        };
        10.0 * (sum([b.b0, b.b1, b.b2]) / sum([1.0, b.a1, b.a2])).log10()
    };
    let hz = [1000.0, 1500.0, 2000.0, 4000.0, 10_000.0];
    let got: Vec<f64> = hz.iter().map(|&f| b.gain_db(f, FS)).collect();
    assert_close("BS.1770 shelf", &got, &hz.map(complex_db), 1e-9);
    assert_close("BS.1770 shelf", &got, &[0.6670, 1.9978, 3.0311, 3.9255, 3.9987], 6e-5);
}

#[test]
fn a_peak_has_its_gain_at_its_frequency_and_half_at_its_band_edges() {
    for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
        for (f0, gain, q) in [(1000.0, 6.0, 1.0), (12_500.0, -4.5, 2.0), (16_000.0, 3.0, 0.7)] {
            let b = design(set(SectionKind::Peaking, f0, gain, q), rate_hz).unwrap();
            assert_close("peak", &[b.gain_db(f0, rate_hz)], &[gain], 1e-9);
            // Midpoints of the bilinear transform: tan(w/2) a factor 2^(+-BW/2) away.
            let half = |sign: f64| {
                let t = (PI * f0 / rate_hz).tan() * 2f64.powf(sign * bandwidth_analog_oct(q) / 2.0);
                b.gain_db(t.atan() * rate_hz / PI, rate_hz)
            };
            assert_close("edges", &[half(-1.0), half(1.0)], &[gain / 2.0; 2], 1e-9);
        }
    }
}

#[test]
fn a_shelf_has_half_its_gain_at_its_frequency_and_all_at_the_top() {
    for rate_hz in [44_100.0, 48_000.0, 96_000.0] {
        for (f0, gain, q) in [(2000.0, 6.0, 0.7071), (8000.0, -3.0, 0.5), (16_000.0, 4.0, 0.6)] {
            let b = design(set(SectionKind::HighShelf, f0, gain, q), rate_hz).unwrap();
            assert_close(
                "midpoint, top, bottom",
                &[
                    b.gain_db(f0, rate_hz),
                    b.gain_db(rate_hz / 2.0, rate_hz),
                    b.gain_db(0.0, rate_hz),
                ],
                &[gain / 2.0, gain, 0.0],
                1e-9,
            );
        }
    }
}

#[test]
fn equal_boost_and_cut_undo_each_other() {
    for kind in [SectionKind::HighShelf, SectionKind::Peaking] {
        let up = design(set(kind, 7000.0, 5.0, 0.7), FS).unwrap();
        let down = design(set(kind, 7000.0, -5.0, 0.7), FS).unwrap();
        for hz in [100.0, 5000.0, 7000.0, 20_000.0] {
            assert_close("sum", &[up.gain_db(hz, FS) + down.gain_db(hz, FS)], &[0.0], 1e-10);
        }
    }
}

/// Q(BW) and Q(S) worked from the W3C note's formulae.
#[test]
fn bandwidth_and_slope_translate() {
    let got: Vec<f64> = [1.0 / 6.0, 1.0 / 3.0, 0.5, 1.0, 2.0].map(q_from_bandwidth_analog).to_vec();
    assert_close("analog", &got, &[8.65136, 4.31847, 2.87100, 1.41421, 0.66667], 6e-6);
    let got = [1.0 / 3.0, 1.0].map(|bw| q_from_bandwidth_digital(bw, 10_000.0, FS));
    assert_close("digital", &got, &[3.18074, 1.02643], 6e-6);
    for (s, gain, q) in
        [(0.75, 3.0, 0.61123), (0.5, -6.0, 0.49264), (0.25, 12.0, 0.32462), (1.0, 4.0, 0.707107)]
    {
        assert_close("slope", &[shelf_slope(q, gain)], &[s], 3e-5);
    }
    for q in [0.3, 1.0, 4.0] {
        let there = bandwidth_digital_oct(q, 9000.0, 44_100.0);
        assert_close("back", &[q_from_bandwidth_digital(there, 9000.0, 44_100.0)], &[q], 1e-12);
        assert_close("back", &[q_from_bandwidth_analog(bandwidth_analog_oct(q))], &[q], 1e-12);
    }
}

/// `scipy.signal.freqz`, see `fixtures/biquad_response/README.md`.
#[test]
fn responses_agree_with_a_general_filter_library() {
    let table = include_str!("../../../fixtures/biquad_response/responses.csv");
    let mut rows = 0;
    for line in table.lines().skip(1) {
        let cell: Vec<&str> = line.split(',').collect();
        let number = |i: usize| cell[i].parse::<f64>().unwrap();
        let kind = match cell[0] {
            "high_shelf" => SectionKind::HighShelf,
            "peaking" => SectionKind::Peaking,
            other => panic!("{other}"),
        };
        let rate_hz = number(1);
        let got = design(set(kind, number(2), number(3), number(4)), rate_hz)
            .unwrap()
            .gain_db(number(5), rate_hz);
        assert_close(line, &[got], &[number(6)], 1e-8);
        rows += 1;
    }
    assert_eq!(rows, 600, "the table is not whole");
}

#[test]
fn numbers_out_of_range_are_refused_by_name() {
    let ok = set(SectionKind::Peaking, 1000.0, 3.0, 1.0);
    for bad in [f64::NAN, f64::INFINITY, 0.0, -1.0] {
        assert!(matches!(design(ok, bad), Err(BiquadError::Rate { .. })), "rate {bad}");
        let s = Setting { frequency_hz: bad, ..ok };
        assert!(matches!(design(s, FS), Err(BiquadError::Frequency { .. })), "frequency {bad}");
        let s = Setting { q: bad, ..ok };
        assert!(matches!(design(s, FS), Err(BiquadError::Q { .. })), "Q {bad}");
    }
    for bad in [f64::NAN, f64::INFINITY, 60.1, -60.1] {
        let s = Setting { gain_db: bad, ..ok };
        assert!(matches!(design(s, FS), Err(BiquadError::Gain { .. })), "gain {bad}");
    }
    let edge = |frequency_hz| design(Setting { frequency_hz, ..ok }, FS);
    assert!(edge(23_999.0).is_ok() && edge(24_000.0).is_err());
}
