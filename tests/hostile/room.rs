//! The good session that each case spoils: two seats, one spot, 48 kHz, a sweep of
//! half a second. Made once, copied for each case.

use scrimcheck::ingest::sweep::{SweepParams, generate};
use scrimcheck::ingest::wav::write_wav_24;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;

pub const RATE_HZ: u32 = 48_000;

/// Ends with the seats, so that tables may be added at its end.
pub const MANIFEST: &str = r#"[session]
title = "Invented room"

[sweep]
file = "sweep.wav"
start_hz = 50.0
stop_hz = 20000.0
duration_s = 0.5

[screen]
gap_m = 0.065

[[seat]]
id = "R1C"

[[seat]]
id = "R1_L"
"#;

pub const TAKES: [&str; 4] = ["R1C_without_1", "R1C_with_1", "R1_L_without_1", "R1_L_with_1"];

pub fn sweep_params() -> SweepParams {
    SweepParams {
        start_hz: 50.0,
        stop_hz: 20000.0,
        duration_s: 0.5,
        fade_in_s: 0.02,
        rate_hz: RATE_HZ,
        lead_s: 0.05,
        tail_s: 0.1,
        ..SweepParams::default()
    }
}

pub fn sweep_samples() -> Vec<f64> {
    generate(&sweep_params()).unwrap()
}

/// Take number `i` of [`TAKES`]: the sweep after a delay, one reflection, one pole
/// for the sheet, a little noise.
pub fn take_samples(i: usize) -> Vec<f64> {
    let sweep = sweep_samples();
    let (delay, pole) = (480 + 21 * (i / 2), if i.is_multiple_of(2) { 0.0 } else { 0.2 });
    let mut noise = i as u32 + 1;
    let mut kept = 0.0;
    (0..sweep.len() + 12_000)
        .map(|n| {
            let at = |back: usize| {
                n.checked_sub(back).and_then(|m| sweep.get(m)).copied().unwrap_or(0.0)
            };
            kept = pole * kept + (1.0 - pole) * (at(delay) + 0.4 * at(delay + 180));
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            kept + 1e-4 * (f64::from(noise >> 8) / f64::from(1 << 23) - 1.0)
        })
        .collect()
}

type Files = Vec<(String, Vec<u8>)>;

/// Writes the good session into the new folder `room`.
pub fn good(room: &Path) {
    static FILES: OnceLock<Files> = OnceLock::new();
    let files = FILES.get_or_init(|| {
        let home = tempfile::tempdir().unwrap();
        let wav = |samples: &[f64]| {
            let path = home.path().join("x.wav");
            write_wav_24(&path, RATE_HZ, samples).unwrap();
            fs::read(path).unwrap()
        };
        let mut files = vec![
            ("session.toml".to_owned(), MANIFEST.into()),
            ("sweep.wav".to_owned(), wav(&sweep_samples())),
        ];
        for (i, name) in TAKES.iter().enumerate() {
            files.push((format!("takes/{name}.wav"), wav(&take_samples(i))));
        }
        files
    });
    fs::create_dir_all(room.join("takes")).unwrap();
    for (name, bytes) in files {
        fs::write(room.join(name), bytes).unwrap();
    }
}
