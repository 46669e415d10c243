//! What an opened session holds, for odd sessions that are right, and half-finished ones.

use super::room::{MANIFEST, RATE_HZ, good, sweep_samples};
use scrimcheck::ingest::error::IngestError;
use scrimcheck::ingest::session::Session;
use scrimcheck::ingest::wav::write_wav_24_channels;
use scrimcheck::judge::{Missing, missing_takes};
use scrimcheck::report::words;
use std::fs;
use std::path::Path;

/// Opens and reads every take.
fn read_all(dir: &Path) -> Result<Session, IngestError> {
    let session = Session::open(dir)?;
    for take in &session.takes {
        session.read_take(take)?;
    }
    Ok(session)
}
/// Seats and conditions that still want takes.
fn missing(session: &Session) -> Vec<(usize, String)> {
    let of = |m: &Missing| (m.seat_index, format!("{:?}", m.condition));
    missing_takes(session).iter().map(of).collect()
}

#[test]
fn the_unspoilt_session_is_taken() {
    let home = tempfile::tempdir().unwrap();
    good(home.path());
    let session = read_all(home.path()).unwrap();
    let takes: Vec<_> = session.takes.iter().map(|t| (session.seat_id(t), t.spot)).collect();
    assert_eq!(takes, [("R1C", 1), ("R1C", 1), ("R1_L", 1), ("R1_L", 1)]);
    assert!(missing(&session).is_empty() && session.notices.is_empty());
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
    let session = accept("reference and calibration", &|d| {
        fs::write(d.join("mic.csv"), "frequency_hz,correction_db\n100,0.5\n1000,0\n").unwrap();
        let more =
            "[recording]\nmic_channel = 2\nreference_channel = 1\ncalibration_file = \"mic.csv\"";
        fs::write(d.join("session.toml"), format!("{MANIFEST}{more}")).unwrap();
        let x = sweep_samples();
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
    let text = format!("{MANIFEST}[recording]\nmic_channel = 2\nreference_channel = 1");
    fs::write(home.path().join("session.toml"), text).unwrap();
    let x = sweep_samples();
    let quarter: Vec<f64> = x.iter().map(|v| 0.25 * v).collect();
    write_wav_24_channels(&home.path().join("takes/R1C_with_1.wav"), RATE_HZ, &[&x, &quarter])
        .unwrap();
    let session = Session::open(home.path()).unwrap();
    let take = session.takes.iter().find(|t| t.file.ends_with("R1C_with_1.wav")).unwrap();
    let recording = session.read_take(take).unwrap();
    assert_eq!(
        (recording.rate_hz, recording.integer_bits, recording.mic.len()),
        (RATE_HZ, Some(24), x.len())
    );
    for (got, want) in [(&recording.mic, &quarter), (recording.reference.as_ref().unwrap(), &x)] {
        assert!(got.iter().zip(want).all(|(g, w)| (g - w).abs() < 1.2e-7));
    }
}

#[test]
fn a_half_finished_session_opens_and_says_what_is_missing() {
    let home = tempfile::tempdir().unwrap();
    let d = home.path();
    good(d);
    fs::remove_file(d.join("takes/R1C_with_1.wav")).unwrap();
    fs::write(d.join("takes/Untitled.wav"), "x").unwrap();
    let session = Session::open(d).unwrap();
    assert_eq!(session.takes.len(), 3);
    assert_eq!(missing(&session), [(0, "With".to_owned())]);
    assert_eq!(session.notices.len(), 1);
    let warning = words::notices::warning(&session.notices[0]);
    assert!(
        warning.take.as_deref() == Some("takes/Untitled.wav") && warning.advice.contains("ename")
    );

    let list = "[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"takes/later.wav\"";
    fs::write(d.join("session.toml"), format!("{MANIFEST}{list}")).unwrap();
    let session = Session::open(d).unwrap();
    assert!(
        session.takes.is_empty()
            && session.notices[0].file.as_deref() == Some(Path::new("takes/later.wav"))
    );
    // A path out of the folder is refused all the same.
    fs::write(d.join("session.toml"), format!("{MANIFEST}{}", list.replace("takes/", "../")))
        .unwrap();
    assert!(Session::open(d).is_err());
}

#[test]
fn a_path_that_is_no_session_folder_is_named() {
    let home = tempfile::tempdir().unwrap();
    let open = |p: &Path| Session::open(p).unwrap_err().to_string();
    let text = open(&home.path().join("nowhere"));
    assert!(text.contains("nowhere") && text.contains("no such folder"), "{text}");
    let file = home.path().join("file");
    fs::write(&file, "x").unwrap();
    assert!(open(&file).contains("this is a file, expected the folder"));
    assert!(open(&file.join("below")).contains("no such folder"));
    assert!(open(home.path()).contains("no session.toml"));
}
