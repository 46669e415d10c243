//! Readable files with sound that cannot be used, or only with doubt.

use super::room::{MANIFEST, RATE_HZ, TAKES, sweep_params, sweep_samples, take_samples};
use super::run::Class::{Accepted, Refused, Warned};
use super::run::{Case, Class, case};
use scrimcheck::ingest::sweep::{SweepParams, generate};
use scrimcheck::ingest::wav::{write_wav_24, write_wav_24_channels};
use std::fs;

/// Replaces the played signal.
fn sweep(
    name: &'static str,
    class: Class,
    rate_hz: u32,
    make: impl Fn() -> Vec<f64> + Send + Sync + 'static,
    says: &'static [&'static str],
) -> Case {
    case(name, class, says, move |d| write_wav_24(&d.join("sweep.wav"), rate_hz, &make()).unwrap())
}

/// Changes the sound of one recording.
fn take(
    name: &'static str,
    class: Class,
    change: impl Fn(&[f64]) -> Vec<f64> + Send + Sync + 'static,
    says: &'static [&'static str],
) -> Case {
    case(format!("sound: {name}"), class, says, move |d| {
        let samples = change(&take_samples(1));
        write_wav_24(&d.join("takes/R1C_with_1.wav"), RATE_HZ, &samples).unwrap();
    })
}

/// Even noise of the given peak, always the same.
fn noise(n: usize, peak: f64) -> Vec<f64> {
    let mut state = 12_345_u32;
    (0..n)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            peak * (f64::from(state >> 8) / f64::from(1 << 23) - 1.0)
        })
        .collect()
}

pub fn cases() -> Vec<Case> {
    let other = |params: SweepParams| move || generate(&params).unwrap();
    vec![
        sweep(
            "sweep that stops early",
            Refused,
            RATE_HZ,
            other(SweepParams { stop_hz: 4000.0, ..sweep_params() }),
            &["sweep.wav", "50 to 20000 Hz", "covers 50 to 39"],
        ),
        sweep(
            "sweep that starts late",
            Refused,
            RATE_HZ,
            other(SweepParams { start_hz: 200.0, ..sweep_params() }),
            &["sweep.wav", "50 to 20000 Hz", "covers 20"],
        ),
        sweep(
            "sweep of another length",
            Refused,
            RATE_HZ,
            other(SweepParams { duration_s: 1.0, ..sweep_params() }),
            &["duration_s is 0.5 s", "takes 1.0"],
        ),
        sweep("silent sweep", Refused, RATE_HZ, || vec![0.0; 27_000], &["sweep.wav", "silent"]),
        sweep(
            "tone for a sweep",
            Refused,
            RATE_HZ,
            || (0..27_000).map(|i| 0.3 * (f64::from(i) * 0.4).sin()).collect(),
            &["sweep.wav", "does not rise", "other"],
        ),
        sweep(
            "click for a sweep",
            Refused,
            RATE_HZ,
            || {
                let mut x = vec![0.0; 27_000];
                x[12_000] = 0.5;
                x
            },
            &["sweep.wav", "lasts 0.00 s"],
        ),
        case("sweep that is no WAV", Refused, &["sweep.wav", "not a WAV file"], |d| {
            fs::write(d.join("sweep.wav"), "x").unwrap()
        }),
        sweep("sweep of one sample", Refused, RATE_HZ, || vec![0.5], &["sweep.wav"]),
        sweep(
            "sweep of another rate",
            Refused,
            44_100,
            other(SweepParams { rate_hz: 44_100, ..sweep_params() }),
            &["R1C", "48000 Hz", "44100 Hz"],
        ),
        sweep("noise for a sweep", Refused, RATE_HZ, || noise(27_000, 0.3), &["sweep.wav"]),
        sweep(
            "clipped sweep",
            Accepted,
            RATE_HZ,
            || sweep_samples().iter().map(|x| (8.0 * x).clamp(-0.9, 0.9)).collect(),
            &[],
        ),
        sweep(
            "sweep played backwards",
            Refused,
            RATE_HZ,
            || sweep_samples().into_iter().rev().collect(),
            &["sweep.wav", "rise"],
        ),
        sweep(
            "very quiet sweep",
            Accepted,
            RATE_HZ,
            || sweep_samples().iter().map(|x| 0.01 * x).collect(),
            &[],
        ),
        sweep(
            "sweep with an offset",
            Accepted,
            RATE_HZ,
            || sweep_samples().iter().map(|x| x + 0.01).collect(),
            &[],
        ),
        sweep(
            "sweep of ten minutes",
            Refused,
            RATE_HZ,
            || {
                let mut x = sweep_samples();
                x.resize(28_800_000, 0.0);
                x[28_799_999] = 0.5;
                x
            },
            &["sweep.wav"],
        ),
        case("any signal by its own word", Accepted, &[], |d| {
            let text = MANIFEST.replace("start_hz", "kind = \"other\"\nstart_hz");
            fs::write(d.join("session.toml"), text).unwrap();
        }),
        case("stereo sweep, left silent", Refused, &["sweep.wav", "silent"], |d| {
            let x = sweep_samples();
            write_wav_24_channels(&d.join("sweep.wav"), RATE_HZ, &[&vec![0.0; x.len()], &x])
                .unwrap();
        }),
        take(
            "clipped",
            Warned,
            |x| x.iter().map(|x| (30.0 * x).clamp(-1.0, 1.0)).collect(),
            &["R1C_with_1.wav", "clip"],
        ),
        take("noise alone", Warned, |x| noise(x.len(), 0.01), &["R1C_with_1.wav"]),
        take(
            "a tone alone",
            Warned,
            |x| (0..x.len()).map(|i| 0.3 * (i as f64 * 0.4).sin()).collect(),
            &["R1C_with_1.wav"],
        ),
        take(
            "one click",
            Warned,
            |x| {
                let mut y = vec![0.0; x.len()];
                y[500] = 0.9;
                y
            },
            &["R1C_with_1.wav"],
        ),
        take("sweep twice", Warned, |x| [x, x].concat(), &["R1C_with_1.wav"]),
        take("end cut off", Warned, |x| x[..25_000].to_vec(), &["R1C_with_1.wav"]),
        take("start cut off", Warned, |x| x[9000..].to_vec(), &["R1C_with_1.wav"]),
        take("turned over", Warned, |x| x.iter().map(|x| -x).collect(), &["R1C", "polarity"]),
        take("backwards", Warned, |x| x.iter().rev().copied().collect(), &["R1C_with_1.wav"]),
        take("large offset", Accepted, |x| x.iter().map(|x| 0.3 * x + 0.6).collect(), &[]),
        take("60 dB quieter", Warned, |x| x.iter().map(|x| 0.001 * x).collect(), &["R1C"]),
        take(
            "half at another level",
            Warned,
            |x| x.iter().enumerate().map(|(i, x)| if i < 13_500 { *x } else { 0.3 * x }).collect(),
            &["R1C"],
        ),
        take(
            "slam in the middle",
            Warned,
            |x| {
                let mut y = x.to_vec();
                for (v, n) in y[9000..12_000].iter_mut().zip(noise(3000, 0.7)) {
                    *v += n;
                }
                y
            },
            &["R1C_with_1.wav", "A noise that is not the sweep"],
        ),
        take(
            "a gap of silence inside",
            Warned,
            |x| {
                let mut y = x.to_vec();
                y[12_000..15_000].fill(0.0);
                y
            },
            &["R1C"],
        ),
        take(
            "much noise",
            Warned,
            |x| {
                let n = noise(x.len(), 0.5);
                x.iter().zip(n).map(|(x, n)| 0.2 * x + 0.2 * n).collect()
            },
            &["R1C"],
        ),
        take(
            "sweep after eight seconds",
            Accepted,
            |x| [&noise(384_000, 1e-4)[..], x].concat(),
            &[],
        ),
        case("with and without exchanged", Refused, &["R1C"], |d| {
            for seat in ["R1C", "R1_L"] {
                let [a, b] = ["with", "without"].map(|c| d.join(format!("takes/{seat}_{c}_1.wav")));
                fs::rename(&a, d.join("x")).unwrap();
                fs::rename(&b, &a).unwrap();
                fs::rename(d.join("x"), &b).unwrap();
            }
        }),
        case("every recording clipped to squares", Refused, &["clip"], |d| {
            for (i, name) in TAKES.iter().enumerate() {
                let x: Vec<f64> = take_samples(i).iter().map(|x| x.signum()).collect();
                write_wav_24(&d.join(format!("takes/{name}.wav")), RATE_HZ, &x).unwrap();
            }
        }),
        case("every recording the sweep itself", Refused, &["same"], |d| {
            for name in TAKES {
                fs::copy(d.join("sweep.wav"), d.join(format!("takes/{name}.wav"))).unwrap();
            }
        }),
    ]
}
