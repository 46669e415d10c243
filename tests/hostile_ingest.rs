//! Broken and nasty session folders: each is refused with the culprit named, and
//! nothing in the folder changes. The table is the test; `good` is what each case spoils.
//! Long because it is one table: a case is found by reading down its names.

use scrimcheck::ingest::error::IngestError;
use scrimcheck::ingest::session::{OpenMode, Session};
use scrimcheck::ingest::sweep::{SweepParams, generate};
use scrimcheck::ingest::wav::{write_wav_24, write_wav_24_channels};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

const RATE_HZ: u32 = 16_000;

const MANIFEST: &str = r#"[session]
title = "Invented room"

[sweep]
file = "sweep.wav"
start_hz = 50.0
stop_hz = 7500.0
duration_s = 0.5

[screen]
gap_m = 0.065

[[seat]]
id = "R1C"

[[seat]]
id = "R1_L"
"#;

fn sweep_params() -> SweepParams {
    SweepParams {
        start_hz: 50.0,
        stop_hz: 7500.0,
        duration_s: 0.5,
        fade_in_s: 0.02,
        rate_hz: RATE_HZ,
        lead_s: 0.05,
        tail_s: 0.1,
        ..SweepParams::default()
    }
}

/// A whole session of two seats, one take a condition.
fn good(dir: &Path) {
    fs::create_dir(dir.join("takes")).unwrap();
    fs::write(dir.join("session.toml"), MANIFEST).unwrap();
    let sweep = generate(&sweep_params()).unwrap();
    write_wav_24(&dir.join("sweep.wav"), RATE_HZ, &sweep).unwrap();
    for (i, name) in
        ["R1C_without_1", "R1C_with_1", "R1_L_without_1", "R1_L_with_1"].iter().enumerate()
    {
        // Another level for each, so that no two recordings are the same.
        let take: Vec<f64> = sweep.iter().map(|x| x * (0.5 - 0.05 * i as f64)).collect();
        write_wav_24(&dir.join(format!("takes/{name}.wav")), RATE_HZ, &take).unwrap();
    }
}

/// Opens strictly and reads every take.
fn read_all(dir: &Path) -> Result<Session, IngestError> {
    let session = Session::open(dir, OpenMode::Strict)?;
    for take in &session.takes {
        session.read_take(take)?;
    }
    Ok(session)
}

/// Names, kinds and lengths of everything below `dir`, links not followed.
fn inventory(dir: &Path) -> BTreeMap<PathBuf, (bool, u64)> {
    let mut found = BTreeMap::new();
    let mut folders = vec![dir.to_path_buf()];
    while let Some(folder) = folders.pop() {
        let Ok(entries) = fs::read_dir(&folder) else { continue };
        for entry in entries {
            let path = entry.unwrap().path();
            let metadata = path.symlink_metadata().unwrap();
            if metadata.is_dir() {
                folders.push(path.clone());
            }
            found.insert(path, (metadata.is_file(), metadata.len()));
        }
    }
    found
}

type Spoil = Box<dyn Fn(&Path)>;

struct Case {
    name: &'static str,
    spoil: Spoil,
    /// Pieces that the message must hold: the culprit, what was found, what to do.
    says: &'static [&'static str],
}

fn case(
    name: &'static str,
    says: &'static [&'static str],
    spoil: impl Fn(&Path) + 'static,
) -> Case {
    Case { name, spoil: Box::new(spoil), says }
}

/// Replaces a piece of the manifest.
fn manifest(
    name: &'static str,
    from: &'static str,
    to: &'static str,
    says: &'static [&'static str],
) -> Case {
    case(name, says, move |d| {
        assert!(MANIFEST.contains(from), "{name}");
        fs::write(d.join("session.toml"), MANIFEST.replacen(from, to, 1)).unwrap();
    })
}

/// Appends to the manifest.
fn append(name: &'static str, more: &'static str, says: &'static [&'static str]) -> Case {
    case(name, says, move |d| {
        fs::write(d.join("session.toml"), format!("{MANIFEST}\n{more}")).unwrap()
    })
}

/// Replaces the manifest by bytes.
fn raw(name: &'static str, bytes: Vec<u8>, says: &'static [&'static str]) -> Case {
    case(name, says, move |d| fs::write(d.join("session.toml"), &bytes).unwrap())
}

/// Replaces one recording by bytes.
fn take(name: &'static str, bytes: Vec<u8>, says: &'static [&'static str]) -> Case {
    case(name, says, move |d| fs::write(d.join("takes/R1C_with_1.wav"), &bytes).unwrap())
}

/// Changes the bytes of one good recording.
fn edit(
    name: &'static str,
    says: &'static [&'static str],
    change: impl Fn(&mut Vec<u8>) + 'static,
) -> Case {
    case(name, says, move |d| {
        let path = d.join("takes/R1C_with_1.wav");
        let mut bytes = fs::read(&path).unwrap();
        change(&mut bytes);
        fs::write(&path, bytes).unwrap();
    })
}

/// Replaces one recording by samples.
fn samples(
    name: &'static str,
    rate_hz: u32,
    make: impl Fn() -> Vec<f64> + 'static,
    says: &'static [&'static str],
) -> Case {
    case(name, says, move |d| {
        write_wav_24(&d.join("takes/R1C_with_1.wav"), rate_hz, &make()).unwrap()
    })
}

/// Replaces the played signal.
fn sweep(
    name: &'static str,
    rate_hz: u32,
    make: impl Fn() -> Vec<f64> + 'static,
    says: &'static [&'static str],
) -> Case {
    case(name, says, move |d| write_wav_24(&d.join("sweep.wav"), rate_hz, &make()).unwrap())
}

fn float_wav(values: &[f32]) -> Vec<u8> {
    let mut bytes = b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\x03\0\x01\0".to_vec();
    bytes.extend(RATE_HZ.to_le_bytes());
    bytes.extend((4 * RATE_HZ).to_le_bytes());
    bytes.extend([4, 0, 32, 0]);
    bytes.extend(b"data");
    bytes.extend((4 * values.len() as u32).to_le_bytes());
    bytes.extend(values.iter().flat_map(|x| x.to_le_bytes()));
    bytes
}

fn utf16(text: &str, little: bool) -> Vec<u8> {
    let mark = std::iter::once(0xfeffu16);
    mark.chain(text.encode_utf16())
        .flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() })
        .collect()
}

fn folders() -> Vec<Case> {
    vec![
        case("no manifest", &["session.toml", "scrimcheck start"], |d| {
            fs::remove_file(d.join("session.toml")).unwrap()
        }),
        case("manifest is a folder", &["session.toml", "folder", "expected a file"], |d| {
            fs::remove_file(d.join("session.toml")).unwrap();
            fs::create_dir(d.join("session.toml")).unwrap();
        }),
        case("no sweep", &["sweep.wav", "no such file", "sweep.file"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap()
        }),
        case("sweep is a folder", &["sweep.wav", "folder"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap();
            fs::create_dir(d.join("sweep.wav")).unwrap();
        }),
        case("no takes folder", &["takes", "no take", "R1C_without_1.wav"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap()
        }),
        case("empty takes folder", &["no take", "R1C_without_1.wav"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap();
            fs::create_dir(d.join("takes")).unwrap();
        }),
        case("takes is a file", &["takes"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap();
            fs::write(d.join("takes"), "x").unwrap();
        }),
        case("a seat with one condition", &["R1C", "with the screen", "R1C_with_1.wav"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
        }),
        case("a seat without takes", &["R1_L", "without the screen", "R1_L_without_1.wav"], |d| {
            fs::remove_file(d.join("takes/R1_L_with_1.wav")).unwrap();
            fs::remove_file(d.join("takes/R1_L_without_1.wav")).unwrap();
        }),
        case("a seat whose only take is a control", &["R1C", "with the screen"], |d| {
            fs::rename(d.join("takes/R1C_with_1.wav"), d.join("takes/R1C_with_control_1.wav"))
                .unwrap();
        }),
        case(
            "a name of no seat",
            &["R1X_with_1.wav", "no seat is called `R1X`", "did you mean R1C"],
            |d| {
                fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1X_with_1.wav")).unwrap();
            },
        ),
        case("a name without condition", &["R1C_2.wav", "_without_", "rename"], |d| {
            fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1C_2.wav")).unwrap();
        }),
        case("a name without number", &["R1C_with.wav", "number", "R1C_without_1.wav"], |d| {
            fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1C_with.wav")).unwrap();
        }),
        case(
            "the same number twice",
            &["R1C_with_01.wav", "R1C_with_1.wav", "number 1 of seat R1C"],
            |d| {
                fs::copy(d.join("takes/R1C_with_1.wav"), d.join("takes/R1C_with_01.wav")).unwrap();
            },
        ),
        case("a name that drives the terminal", &["\\u{1b}[2J"], |d| {
            fs::write(d.join("takes/\u{1b}[2J_with_1.wav"), "x").unwrap();
        }),
        case("a folder called like a take", &["R1C_with_1.wav", "folder"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            fs::create_dir(d.join("takes/R1C_with_1.wav")).unwrap();
        }),
    ]
}

fn manifests() -> Vec<Case> {
    let deep = |open: &str, close: &str| {
        format!("a = {}1{}", open.repeat(10_000), close.repeat(10_000)).into_bytes()
    };
    vec![
        raw("empty manifest", vec![], &["line 1", "empty", "scrimcheck start"]),
        raw(
            "UTF-16, little end first",
            utf16(MANIFEST, true),
            &["session.toml", "UTF-16", "UTF-8"],
        ),
        raw("UTF-16, big end first", utf16(MANIFEST, false), &["UTF-16"]),
        raw("UTF-16 without mark", utf16(MANIFEST, true)[2..].to_vec(), &["zero bytes", "UTF-8"]),
        raw(
            "Latin-1",
            b"[session]\ntitle = \"Caf\xe9\"\n".to_vec(),
            &["line 2, column 13", "0xe9", "UTF-8"],
        ),
        raw("binary", vec![0xff; 300], &["not UTF-8"]),
        raw("huge", vec![b'#'; (1 << 20) + 1], &["1048577 bytes", "1048576"]),
        raw("nested lists", deep("[", "]"), &["nested", "32", "line 1, column 37"]),
        raw("nested tables", deep("{ a = ", " }"), &["nested", "32"]),
        raw("long dotted key", [b"a.".repeat(10_000), b"a = 1".to_vec()].concat(), &["nested"]),
        raw("unclosed string", b"[session]\ntitle = \"x\n".to_vec(), &["line 2", "not valid TOML"]),
        manifest(
            "unknown key",
            "gap_m",
            "gap_mm",
            &["line 11, column 1", "unknown key `gap_mm`", "`gap_m`", "^^^^^^"],
        ),
        manifest("unknown table", "[screen]", "[screens]", &["`screens`", "did you mean `screen`"]),
        manifest(
            "wrong type",
            "0.065",
            "\"6.5 cm\"",
            &["line 11, column 9", "expected a number", "6.5 cm"],
        ),
        manifest("not a number", "0.065", "nan", &["line 11", "finite", "nan"]),
        manifest("infinite", "7500.0", "inf", &["line 7", "finite", "inf"]),
        manifest("too large to be a number", "0.065", "1e400", &["line 11", "1e400"]),
        manifest("no gap at all", "0.065", "0", &["gap_m is 0", "above 0 to 5 m"]),
        manifest("negative gap", "0.065", "-0.1", &["gap_m is -0.1"]),
        manifest(
            "missing title",
            "title = \"Invented room\"",
            "",
            &["`title` is missing in [session]"],
        ),
        manifest("missing table", "[screen]\ngap_m = 0.065\n", "", &["[screen] is missing"]),
        manifest(
            "duplicate seat",
            "R1_L",
            "R1C",
            &["line 17", "seat R1C is already there, in line 14"],
        ),
        manifest("empty seat", "\"R1C\"", "\"\"", &["line 14", "visible"]),
        manifest("seat with a line break", "\"R1C\"", "\"R\\n1\"", &["line 14", "\\u{a}"]),
        manifest("seat with an escape code", "\"R1C\"", "\"R\\u001b[1m\"", &["line 14", "\\u{1b}"]),
        manifest(
            "sweep outside",
            "\"sweep.wav\"",
            "\"../sweep.wav\"",
            &["line 5", "..", "session folder"],
        ),
        manifest("sweep absolute", "\"sweep.wav\"", "\"/etc/hostname\"", &["line 5", "absolute"]),
        manifest("sweep on a drive", "\"sweep.wav\"", "'C:\\sweep.wav'", &["line 5", "backslash"]),
        manifest(
            "sweep on a server",
            "\"sweep.wav\"",
            "'\\\\host\\share\\s.wav'",
            &["line 5", "backslash"],
        ),
        manifest("sweep without name", "\"sweep.wav\"", "\"\"", &["line 5", "empty"]),
        manifest("sweep band upside down", "50.0", "9000.0", &["line 7", "octave"]),
        manifest(
            "sweep beyond its rate",
            "7500.0",
            "8000.1",
            &["sweep.wav", "8000.1 Hz", "8000 Hz"],
        ),
        append(
            "unknown seat in a take",
            "[[take]]\nseat = \"R1K\"\ncondition = \"with\"\nfile = \"takes/R1C_with_1.wav\"",
            &["line 20", "no seat is called `R1K`", "`R1C`"],
        ),
        append(
            "unknown condition",
            "[[take]]\nseat = \"R1C\"\ncondition = \"behind\"\nfile = \"a.wav\"",
            &["line 21", "`behind`", "`without`"],
        ),
        append(
            "take outside",
            "[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"takes/../../x.wav\"",
            &["line 22", "\"..\""],
        ),
        append(
            "listed take that is not there",
            "[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"takes/no.wav\"",
            &["takes/no.wav", "no such file"],
        ),
        append(
            "one file for two takes",
            "[[take]]\nseat = \"R1C\"\ncondition = \"without\"\nfile = \"takes/R1C_with_1.wav\"\n[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"./takes/R1C_with_1.wav\"",
            &["line 26", "already used for the take in line 22"],
        ),
        append(
            "claim without its figure",
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 8000]",
            &["line 20", "`limit_db`"],
        ),
        append(
            "claim upside down",
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [8000, 500]\nlimit_db = 3",
            &["line 21", "lower value first"],
        ),
        append("channel 0", "[recording]\nmic_channel = 0", &["line 20", "from 1"]),
        append("negative channel", "[recording]\nmic_channel = -1", &["line 20", "whole number"]),
        append(
            "one channel for two purposes",
            "[recording]\nloopback_channel = 1",
            &["line 20", "both 1"],
        ),
        append(
            "no calibration file",
            "[recording]\ncalibration_file = \"mic.csv\"",
            &["mic.csv", "no such file", "calibration_file"],
        ),
        append(
            "calibration file outside",
            "[recording]\ncalibration_file = \"/dev/zero\"",
            &["line 20", "absolute"],
        ),
        case("bad calibration file", &["mic.csv", "row 2, column 2", "\"x\""], |d| {
            fs::write(
                d.join("session.toml"),
                format!("{MANIFEST}[recording]\ncalibration_file = \"mic.csv\""),
            )
            .unwrap();
            fs::write(d.join("mic.csv"), "100,0\n200,x\n").unwrap();
        }),
    ]
}

fn recordings() -> Vec<Case> {
    let other = |params: SweepParams| move || generate(&params).unwrap();
    vec![
        take("empty file", vec![], &["R1C_with_1.wav", "empty", "repeat"]),
        take(
            "no WAV",
            b"not a recording at all".to_vec(),
            &["seat R1C", "R1C_with_1.wav", "not a WAV file"],
        ),
        take("FLAC in disguise", b"fLaC\0\0\0\x22aaaaaaaaaaaa".to_vec(), &["FLAC"]),
        take("header only", b"RIFF\x24\0\0\0WAVE".to_vec(), &["no `data` chunk"]),
        edit("truncated", &["R1C_with_1.wav", "truncated", "bytes"], |b| b.truncate(b.len() / 2)),
        edit("truncated by one byte", &["truncated"], |b| {
            b.pop();
        }),
        edit("declares 4 GB", &["truncated", "4294967294"], |b| {
            let at = b.windows(4).position(|w| w == b"data").unwrap() + 4;
            b[at..at + 4].copy_from_slice(&0xffff_fffeu32.to_le_bytes());
        }),
        edit("declares no sound", &["0 bytes of sound"], |b| {
            let at = b.windows(4).position(|w| w == b"data").unwrap() + 4;
            b[at..at + 4].copy_from_slice(&[0; 4]);
        }),
        edit("absurd rate", &["rate is 4294967295 Hz"], |b| b[24..28].copy_from_slice(&[0xff; 4])),
        take(
            "not a number",
            {
                let mut x = vec![0.1; 20_000];
                x[123] = f32::NAN;
                float_wav(&x)
            },
            &["seat R1C", "sample 123 of channel 1", "not a finite number"],
        ),
        take(
            "infinite",
            {
                let mut x = vec![0.1; 20_000];
                x[19_999] = f32::INFINITY;
                float_wav(&x)
            },
            &["sample 19999"],
        ),
        take(
            "beyond all scale",
            {
                let mut x = vec![0.1; 20_000];
                x[5] = 1e30;
                float_wav(&x)
            },
            &["sample 5", "full scale"],
        ),
        samples(
            "silent",
            RATE_HZ,
            || vec![0.0; 20_000],
            &["seat R1C", "R1C_with_1.wav", "channel 1 is silent"],
        ),
        samples("constant", RATE_HZ, || vec![0.25; 20_000], &["silent"]),
        samples("too short", RATE_HZ, || vec![0.1; 100], &["seat R1C", "lasts 0.01 s", "0.5"]),
        samples(
            "another rate",
            48_000,
            other(SweepParams { rate_hz: 48_000, ..sweep_params() }),
            &["seat R1C", "48000 Hz", "16000 Hz"],
        ),
        append(
            "channel that is not there",
            "[recording]\nmic_channel = 2",
            &["seat R1C", "channel 2", "has 1"],
        ),
        append(
            "loopback that is not there",
            "[recording]\nloopback_channel = 2",
            &["channel 2", "has 1"],
        ),
        case("silent loopback", &["R1C_without_1.wav", "channel 2 is silent"], |d| {
            fs::write(
                d.join("session.toml"),
                format!("{MANIFEST}[recording]\nloopback_channel = 2"),
            )
            .unwrap();
            let x = generate(&sweep_params()).unwrap();
            write_wav_24_channels(
                &d.join("takes/R1C_without_1.wav"),
                RATE_HZ,
                &[&x, &vec![0.0; x.len()]],
            )
            .unwrap();
        }),
        sweep(
            "sweep that stops early",
            RATE_HZ,
            other(SweepParams { stop_hz: 4000.0, ..sweep_params() }),
            &["sweep.wav", "50 to 7500 Hz", "covers 50 to 39"],
        ),
        sweep(
            "sweep that starts late",
            RATE_HZ,
            other(SweepParams { start_hz: 200.0, ..sweep_params() }),
            &["sweep.wav", "50 to 7500 Hz", "covers 20"],
        ),
        sweep(
            "sweep of another length",
            RATE_HZ,
            other(SweepParams { duration_s: 1.0, ..sweep_params() }),
            &["duration_s is 0.5 s", "takes 1.0"],
        ),
        sweep("silent sweep", RATE_HZ, || vec![0.0; 9000], &["sweep.wav", "silent"]),
        sweep(
            "tone for a sweep",
            RATE_HZ,
            || (0..9000).map(|i| 0.3 * (f64::from(i) * 0.4).sin()).collect(),
            &["sweep.wav", "does not rise", "other"],
        ),
        sweep(
            "click for a sweep",
            RATE_HZ,
            || {
                let mut x = vec![0.0; 9000];
                x[4000] = 0.5;
                x
            },
            &["sweep.wav", "lasts 0.00 s"],
        ),
        case("sweep that is no WAV", &["sweep.wav", "not a WAV file"], |d| {
            fs::write(d.join("sweep.wav"), "x").unwrap()
        }),
    ]
}

#[cfg(unix)]
fn links() -> Vec<Case> {
    use std::os::unix::fs::symlink;
    fn fifo(path: &Path) {
        let status = std::process::Command::new("mkfifo").arg(path).status().unwrap();
        assert!(status.success());
    }
    vec![
        case(
            "take is a link outside",
            &["R1C_with_1.wav", "leads out of the session folder", "/etc/"],
            |d| {
                fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
                symlink("/etc/passwd", d.join("takes/R1C_with_1.wav")).unwrap();
            },
        ),
        case("sweep is a link outside", &["sweep.wav", "leads out"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap();
            symlink("/etc/passwd", d.join("sweep.wav")).unwrap();
        }),
        case("takes is a link outside", &["takes", "leads out"], |d| {
            fs::remove_dir_all(d.join("takes")).unwrap();
            symlink("/etc", d.join("takes")).unwrap();
        }),
        case("link to nowhere", &["R1C_with_1.wav", "no such file"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            symlink("nowhere", d.join("takes/R1C_with_1.wav")).unwrap();
        }),
        case("link to itself", &["R1C_with_1.wav", "cannot be read"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            symlink("R1C_with_1.wav", d.join("takes/R1C_with_1.wav")).unwrap();
        }),
        case(
            "two names for one recording",
            &["R1C_with_1.wav", "R1C_with_2.wav", "same file"],
            |d| {
                symlink("R1C_with_1.wav", d.join("takes/R1C_with_2.wav")).unwrap();
            },
        ),
        case("take is a pipe", &["R1C_with_1.wav", "pipe"], |d| {
            fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
            fifo(&d.join("takes/R1C_with_1.wav"));
        }),
        case("sweep is a pipe", &["sweep.wav", "pipe"], |d| {
            fs::remove_file(d.join("sweep.wav")).unwrap();
            fifo(&d.join("sweep.wav"));
        }),
        case("manifest is a pipe", &["session.toml", "pipe"], |d| {
            fs::remove_file(d.join("session.toml")).unwrap();
            fifo(&d.join("session.toml"));
        }),
        case("manifest is a link to an endless device", &["session.toml", "leads out"], |d| {
            fs::remove_file(d.join("session.toml")).unwrap();
            symlink("/dev/zero", d.join("session.toml")).unwrap();
        }),
    ]
}

#[cfg(not(unix))]
fn links() -> Vec<Case> {
    Vec::new()
}

#[test]
fn the_unspoilt_session_is_taken() {
    let home = tempfile::tempdir().unwrap();
    good(home.path());
    let session = read_all(home.path()).unwrap();
    let takes: Vec<_> = session.takes.iter().map(|t| (session.seat_id(t), t.spot)).collect();
    assert_eq!(takes, [("R1C", 1), ("R1C", 1), ("R1_L", 1), ("R1_L", 1)]);
    assert!(session.missing_conditions().is_empty() && session.warnings.is_empty());
}

#[test]
fn every_spoilt_session_is_refused_with_the_culprit_named() {
    let cases: Vec<Case> =
        [folders(), manifests(), recordings(), links()].into_iter().flatten().collect();
    assert!(cases.len() >= 80, "{}", cases.len());
    let mut wrong = Vec::new();
    for case in &cases {
        let home = tempfile::tempdir().unwrap();
        good(home.path());
        (case.spoil)(home.path());
        let before = inventory(home.path());
        let clock = Instant::now();
        let result = read_all(home.path());
        let elapsed_s = clock.elapsed().as_secs_f64();
        assert_eq!(inventory(home.path()), before, "{}: the folder changed", case.name);
        assert!(elapsed_s < 5.0, "{}: took {elapsed_s} s", case.name);
        match result {
            Ok(_) => wrong.push(format!("{}: was taken", case.name)),
            Err(error) => {
                let text = error.to_string();
                let lacking: Vec<_> =
                    case.says.iter().filter(|part| !text.contains(**part)).collect();
                if !lacking.is_empty() {
                    wrong.push(format!("{}: lacks {lacking:?} in\n{text}", case.name));
                }
                assert!(!text.contains('\u{1b}'), "{}: control code in the message", case.name);
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

/// What must not be refused: the other side of the table.
#[test]
fn odd_but_right_sessions_are_taken() {
    let accept = |name: &str, spoil: &dyn Fn(&Path)| {
        let home = tempfile::tempdir().unwrap();
        good(home.path());
        spoil(home.path());
        read_all(home.path()).unwrap_or_else(|e| panic!("{name}: {e}"))
    };
    accept("byte-order mark and CRLF", &|d| {
        let text = format!("\u{feff}{}", MANIFEST.replace('\n', "\r\n"));
        fs::write(d.join("session.toml"), text).unwrap();
    });
    accept("notes of the system beside recordings", &|d| {
        for name in [".DS_Store", "._R1C_with_1.wav", "notes.txt", "R1C.wav.bak"] {
            fs::write(d.join("takes").join(name), "x").unwrap();
        }
        fs::create_dir(d.join("takes/old")).unwrap();
    });
    let session = accept("other case in names", &|d| {
        fs::rename(d.join("takes/R1C_with_1.wav"), d.join("takes/r1c_WITH_1.WAV")).unwrap();
    });
    assert_eq!(session.takes.len(), 4);
    let session = accept("no seats in the manifest", &|d| {
        fs::write(d.join("session.toml"), MANIFEST.split("[[seat]]").next().unwrap()).unwrap();
    });
    let ids: Vec<_> = session.manifest.seat.iter().map(|s| s.id.as_str()).collect();
    assert_eq!(ids, ["R1C", "R1_L"]);
    let session = accept("listed takes, some with spots", &|d| {
        let mut text = MANIFEST.to_owned();
        for (file, seat, condition, spot) in [
            ("R1C_without_1", "R1C", "without", ""),
            ("R1C_with_1", "R1C", "with", "spot = 1"),
            ("R1C_with_2", "R1C", "with", ""),
            ("R1C_with_3", "R1C", "with", "spot = 1"),
            ("c", "R1C", "with", "source = \"control\""),
            ("R1_L_without_1", "R1_L", "without", "spot = 7"),
            ("R1_L_with_1", "R1_L", "with", ""),
        ] {
            let path = d.join(format!("takes/{file}.wav"));
            if !path.exists() {
                fs::copy(d.join("takes/R1C_with_1.wav"), path).unwrap();
            }
            text += &format!(
                "[[take]]\nseat = \"{seat}\"\ncondition = \"{condition}\"\nfile = \"takes/{file}.wav\"\n{spot}\n"
            );
        }
        fs::write(d.join("session.toml"), text).unwrap();
    });
    let spots: Vec<_> = session
        .takes
        .iter()
        .map(|t| (t.file.file_stem().unwrap().to_str().unwrap(), t.spot))
        .collect();
    assert_eq!(
        spots,
        [
            ("R1C_without_1", 1),
            ("R1C_with_1", 1),
            ("R1C_with_3", 1),
            ("R1C_with_2", 2),
            ("c", 1),
            ("R1_L_without_1", 7),
            ("R1_L_with_1", 1),
        ]
    );
    let session = accept("loopback and calibration", &|d| {
        fs::write(d.join("mic.csv"), "frequency_hz,correction_db\n100,0.5\n1000,0\n").unwrap();
        let more =
            "[recording]\nmic_channel = 2\nloopback_channel = 1\ncalibration_file = \"mic.csv\"";
        fs::write(d.join("session.toml"), format!("{MANIFEST}{more}")).unwrap();
        let x = generate(&sweep_params()).unwrap();
        let half: Vec<f64> = x.iter().map(|v| 0.5 * v).collect();
        for name in ["R1C_without_1", "R1C_with_1", "R1_L_without_1", "R1_L_with_1"] {
            write_wav_24_channels(&d.join(format!("takes/{name}.wav")), RATE_HZ, &[&x, &half])
                .unwrap();
        }
    });
    assert_eq!(session.calibration, Some(vec![(100.0, 0.5), (1000.0, 0.0)]));
}

#[test]
fn channels_and_samples_arrive_as_recorded() {
    let home = tempfile::tempdir().unwrap();
    good(home.path());
    let text = format!("{MANIFEST}[recording]\nmic_channel = 2\nloopback_channel = 1");
    fs::write(home.path().join("session.toml"), text).unwrap();
    let x = generate(&sweep_params()).unwrap();
    let quarter: Vec<f64> = x.iter().map(|v| 0.25 * v).collect();
    write_wav_24_channels(&home.path().join("takes/R1C_with_1.wav"), RATE_HZ, &[&x, &quarter])
        .unwrap();
    let session = Session::open(home.path(), OpenMode::Strict).unwrap();
    let take = session.takes.iter().find(|t| t.file.ends_with("R1C_with_1.wav")).unwrap();
    let recording = session.read_take(take).unwrap();
    assert_eq!(
        (recording.rate_hz, recording.integer_bits, recording.mic.len()),
        (RATE_HZ, Some(24), x.len())
    );
    for (got, want) in [(&recording.mic, &quarter), (recording.loopback.as_ref().unwrap(), &x)] {
        assert!(got.iter().zip(want).all(|(g, w)| (g - w).abs() < 1.2e-7));
    }
}

#[test]
fn a_half_finished_session_opens_leniently_and_says_what_is_missing() {
    let home = tempfile::tempdir().unwrap();
    let d = home.path();
    good(d);
    fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
    fs::write(d.join("takes/Untitled.wav"), "x").unwrap();
    assert!(Session::open(d, OpenMode::Strict).is_err());
    let session = Session::open(d, OpenMode::Lenient).unwrap();
    assert_eq!(session.takes.len(), 3);
    let missing: Vec<_> =
        session.missing_conditions().iter().map(|(s, c)| (*s, format!("{c:?}"))).collect();
    assert_eq!(missing, [(0, "With".to_owned())]);
    assert_eq!(session.warnings.len(), 1);
    let warning = &session.warnings[0];
    assert!(
        warning.take.as_deref() == Some("takes/Untitled.wav") && warning.advice.contains("ename")
    );

    let list = "[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"takes/later.wav\"";
    fs::write(d.join("session.toml"), format!("{MANIFEST}{list}")).unwrap();
    let session = Session::open(d, OpenMode::Lenient).unwrap();
    assert!(
        session.takes.is_empty() && session.warnings[0].take.as_deref() == Some("takes/later.wav")
    );
    // A path out of the folder is refused all the same.
    fs::write(d.join("session.toml"), format!("{MANIFEST}{}", list.replace("takes/", "../")))
        .unwrap();
    assert!(Session::open(d, OpenMode::Lenient).is_err());
}

#[test]
fn a_path_that_is_no_session_folder_is_named() {
    let home = tempfile::tempdir().unwrap();
    let open = |p: &Path| Session::open(p, OpenMode::Strict).unwrap_err().to_string();
    let text = open(&home.path().join("nowhere"));
    assert!(text.contains("nowhere") && text.contains("no such folder"), "{text}");
    let file = home.path().join("file");
    fs::write(&file, "x").unwrap();
    assert!(open(&file).contains("this is a file, expected the folder"));
    assert!(open(&file.join("below")).contains("no such folder"));
    assert!(open(home.path()).contains("no session.toml"));
}
