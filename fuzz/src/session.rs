//! A whole session on disk, spoilt by a few edits, checked and analysed.
//!
//! The bytes of the fuzzer are a list of edits, not the files themselves: most
//! inputs then pass the headers and reach the arithmetic.

use scrimcheck::chain::analyze;
use scrimcheck::ingest::session::Session;
use scrimcheck::ingest::sweep::{SweepParams, generate};
use scrimcheck::ingest::wav::write_wav_24;
use scrimcheck::judge::{TakeAnalyser, hear, judge_session, missing_takes, next_take};
use scrimcheck::report::csv::{bands_csv, curve_csv};
use scrimcheck::report::json::json_text;
use scrimcheck::report::look::Look;
use scrimcheck::report::table::table_text;
use scrimcheck::report::write::report_files;
use scrimcheck::transfer::measure::Responder;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

const RATE_HZ: u32 = 16_000;

const MANIFEST: &str = r#"[session]
title = "Invented room"
placement_tolerance_mm = 5
temperature_c = 20.5

[sweep]
file = "sweep.wav"
kind = "exponential"
start_hz = 50.0
stop_hz = 7500.0
duration_s = 0.25

[recording]
mic_channel = 1

[screen]
name = "Invented cloth"
construction = "woven"
width_m = 2.9
height_m = 1.63
gap_m = 0.065
areal_mass_g_m2 = 350
flow_resistance_pa_s_m = 40

[[claim]]
quantity = "maximum_loss"
band_hz = [500, 6300]
limit_db = 3.0
source = "invented"

[[seat]]
id = "A"
position_m = [3.0, 0.0, 1.1]
weight = 1.0

[[seat]]
id = "B"
position_m = [3.5, 0.8, 1.1]

[speaker]
power_w = 100.0
amplifier_w = 400.0
driver_limit_w = 60.0
driver_band_hz = [2000, 7000]
sensitivity_db = 91.0

[correction]
band_hz = [500, 6000]
max_boost_db = 6
max_filters = 2

[picture]
reference_gain = 1.0
projector_lm = 1500
"#;

const READINGS: &str = "point,angle_deg,screen_cd_m2,reference_cd_m2,illuminance_lx\n\
                        centre,0,48.0,50.0,\ncentre,30,40,50,\ntop_left,0,40.5,,150\n";

/// Names and contents of the unspoilt session.
fn good() -> &'static [(&'static str, Vec<u8>)] {
    static GOOD: OnceLock<Vec<(&str, Vec<u8>)>> = OnceLock::new();
    GOOD.get_or_init(|| {
        let params = SweepParams {
            start_hz: 50.0,
            stop_hz: 7500.0,
            duration_s: 0.25,
            fade_in_s: 0.01,
            rate_hz: RATE_HZ,
            lead_s: 0.05,
            tail_s: 0.1,
            ..SweepParams::default()
        };
        let sweep = generate(&params).expect("a sweep that can be made");
        let folder = tempfile::tempdir().expect("a folder");
        let wav = |samples: &[f64]| {
            let path = folder.path().join("x.wav");
            write_wav_24(&path, RATE_HZ, samples).expect("a recording");
            fs::read(&path).expect("a recording")
        };
        let mut files = vec![
            ("session.toml", MANIFEST.as_bytes().to_vec()),
            ("readings.csv", READINGS.as_bytes().to_vec()),
            ("sweep.wav", wav(&sweep)),
        ];
        let names = [
            "takes/A_without_1.wav",
            "takes/A_with_1.wav",
            "takes/B_without_1.wav",
            "takes/B_with_1.wav",
        ];
        let mut state = 1_u32;
        for (i, name) in names.into_iter().enumerate() {
            // The sweep after a delay, one reflection, one pole for the sheet, noise.
            let (delay, pole) = (150 + 7 * i, if i % 2 == 0 { 0.0 } else { 0.3 });
            let mut kept = 0.0;
            let take: Vec<f64> = (0..sweep.len() + 1500)
                .map(|n| {
                    let at = |back: usize| {
                        n.checked_sub(back).and_then(|m| sweep.get(m)).copied().unwrap_or(0.0)
                    };
                    kept = pole * kept + (1.0 - pole) * (at(delay) + 0.4 * at(delay + 60));
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    0.5 * kept + 1e-4 * (f64::from(state >> 8) / f64::from(1 << 23) - 1.0)
                })
                .collect();
            files.push((name, wav(&take)));
        }
        files
    })
}

/// What the manifest and the readings are spoilt with.
const TOKENS: [&str; 32] = [
    "0", "-1", "1e308", "5e-324", "nan", "inf", "\"\"", "[]", "{}", "true", "1e-9", "1000000",
    "\"corrected\"", "\"other\"", "\"perforated\"", "[0.001, 0.0, 0.0]", "[500, 501]", "[20, 20000]",
    "\n[[seat]]\nid = \"C\"\n", "\nquantity = \"loss_at\"\nat_hz = 4000\n", "\u{202e}", "\u{feff}",
    "\"takes/A_with_1.wav\"", "\"logo.svg\"", "../", "\0", "\"", "#", ",", ";", "0.3", "9",
];

struct Bytes<'a>(&'a [u8]);

impl Bytes<'_> {
    fn next(&mut self) -> Option<usize> {
        let (&first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(usize::from(first))
    }

    /// A place in `0..=len`, from two bytes.
    fn place(&mut self, len: usize) -> Option<usize> {
        let word = 256 * self.next()? + self.next()?;
        Some(word * len / 65_535)
    }
}

/// One edit; `None` at the end of the bytes.
fn spoil(files: &mut Vec<(PathBuf, Vec<u8>)>, bytes: &mut Bytes) -> Option<()> {
    let which = bytes.next()? % files.len();
    let operation = bytes.next()? % 16;
    let content = &mut files[which].1;
    let at = bytes.place(content.len())?;
    match operation {
        // The numbers and words of the text files, one at a time.
        0..=4 => {
            let token = TOKENS[bytes.next()? % TOKENS.len()].as_bytes();
            let starts_at = |i: &usize| matches!(content[*i], b'=' | b',' | b'[' | b'\n');
            let from = (at..content.len()).find(starts_at).map_or(content.len(), |i| i + 1);
            let ends = |i: &usize| matches!(content[*i], b',' | b']' | b'\n');
            let to = (from..content.len()).find(ends).unwrap_or(content.len());
            content.splice(from..to, token.iter().copied());
        }
        5 => {
            let value = bytes.next()? as u8;
            if let Some(byte) = content.get_mut(at) {
                *byte = value;
            }
        }
        // Headers are short: aim at them.
        6 => {
            let (place, value) = (bytes.next()? % 64, bytes.next()? as u8);
            if let Some(byte) = content.get_mut(place) {
                *byte = value;
            }
        }
        7 => content.truncate(at),
        8 => {
            let end = at + bytes.place(content.len() - at)?;
            content.drain(at..end);
        }
        9 => {
            let end = at + bytes.place(content.len() - at)?;
            let copy = content[at..end].to_vec();
            content.splice(at..at, copy);
        }
        // A stretch of one value: clipping, silence, a constant.
        10 => {
            let end = at + bytes.place(content.len() - at)?;
            let value = bytes.next()? as u8;
            content[at..end].fill(value);
        }
        11 => {
            let other = bytes.next()? % files.len();
            files[which].1 = files[other].1.clone();
        }
        12 => {
            files.remove(which);
            if files.is_empty() {
                return None;
            }
        }
        13 => {
            const NAMES: [&str; 8] = [
                "takes/A_with_2.wav",
                "takes/A_with_01.wav",
                "takes/B_corrected_1.wav",
                "takes/A_without_control_1.wav",
                "takes/A_with_control_1.wav",
                "takes/a_with_1.wav",
                "logo.svg",
                "takes/C_with_1.wav",
            ];
            let name = PathBuf::from(NAMES[bytes.next()? % NAMES.len()]);
            let content = files[which].1.clone();
            files.retain(|(n, _)| *n != name);
            files.push((name, content));
        }
        // Samples, scaled or turned over, 24 bit behind a header of 44 bytes.
        _ => {
            let factor = bytes.next()? as i64 - 128;
            for sample in content.get_mut(44..).unwrap_or(&mut []).chunks_exact_mut(3) {
                let value = i64::from(i32::from_le_bytes([0, sample[0], sample[1], sample[2]]));
                let scaled = (value * factor / 64).clamp(i32::MIN.into(), i32::MAX.into()) as i32;
                sample.copy_from_slice(&scaled.to_le_bytes()[1..]);
            }
        }
    }
    Some(())
}

/// Spoils the session, then runs what `check` and `analyze` run.
pub fn run(input: &[u8]) {
    let mut bytes = Bytes(input);
    // Papers and plots take longest, so only some inputs get them.
    let draws = bytes.next().is_some_and(|b| b % 16 == 0);
    let mut files: Vec<(PathBuf, Vec<u8>)> =
        good().iter().map(|(name, content)| (PathBuf::from(name), content.clone())).collect();
    for _ in 0..12 {
        if spoil(&mut files, &mut bytes).is_none() || files.iter().any(|f| f.1.len() > 1 << 20) {
            break;
        }
    }
    let folder = tempfile::tempdir().expect("a folder");
    fs::create_dir(folder.path().join("takes")).expect("a folder");
    for (name, content) in &files {
        fs::write(folder.path().join(name), content).expect("a file");
    }
    check(folder.path());
    if let Ok(session) = Session::open(folder.path())
        && let Ok(result) = analyze(&session, &|| {})
    {
        // A figure that is not finite is an error here.
        json_text(&result).expect("a document");
        bands_csv(&result).expect("a table");
        curve_csv(&result).expect("a table");
        table_text(&result, Look { width: 80, color: false });
        if draws {
            match report_files(&result, &session) {
                Ok(_) | Err(scrimcheck::report::error::ReportError::Logo { .. }) => {}
                Err(error) => panic!("{error}"),
            }
        }
    }
}

fn check(folder: &Path) {
    let Ok(session) = Session::open(folder) else { return };
    let analyser = TakeAnalyser::new(&session.sweep);
    let responder = Responder::new(&session);
    let read = |take: usize| session.read_take(&session.takes[take]);
    let heard = hear(&session, &analyser, &responder, &read, &|| ());
    let [without, with] = heard.drifts(&session);
    let judged = judge_session(&session, &analyser, &heard.reads, [&without, &with]);
    let missing = missing_takes(&session);
    next_take(&session, &missing, &judged.takes);
    json_text(&judged).expect("a document");
}
