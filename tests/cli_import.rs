//! `scrimcheck import`: recordings as recorders give them become takes.
//!
//! The session is the small one under `sessions/`, whose takes stand for those cut by hand;
//! `fixtures/recorders` holds recordings that another program resampled and encoded.

#[path = "support/mod.rs"]
mod support;

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use support::{assert_close, contents};

const SEATS: [&str; 3] = ["R1L", "R1C", "R1R"];
const RATE_HZ: u32 = 48_000;

fn small() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sessions/three-seats")
}

fn recorder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/recorders").join(name)
}

fn scrimcheck(command: &str, folder: &Path) -> Command {
    let mut built = Command::cargo_bin("scrimcheck").expect("the built program");
    built.env_clear().arg(command).arg(folder);
    built
}

/// The small session without a take and without a list of them, as the installer has it.
fn session() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let manifest = fs::read_to_string(small().join("session.toml")).unwrap();
    let listed = manifest.find("[[take]]").expect("the small session lists its takes");
    fs::write(dir.path().join("session.toml"), &manifest[..listed]).unwrap();
    for file in ["sweep.wav", "readings.csv"] {
        fs::copy(small().join(file), dir.path().join(file)).unwrap();
    }
    dir
}

/// Samples of a take cut by hand.
fn take(seat: &str, condition: &str, number: u32) -> Vec<f64> {
    let path = small().join(format!("takes/{seat}_{condition}_{number}.wav"));
    let mut reader = hound::WavReader::open(path).unwrap();
    reader.samples::<i32>().map(|s| f64::from(s.unwrap()) / 8_388_608.0).collect()
}

/// A room's noise, from a seed.
fn noise(n: usize, level: f64, seed: u64) -> Vec<f64> {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    (0..n)
        .map(|_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            level * ((state >> 11) as f64 / (1u64 << 52) as f64 - 1.0)
        })
        .collect()
}

/// Syllables of a buzz, louder than the sweeps, and a step at its end.
fn talk(s: f64, seed: u64) -> Vec<f64> {
    let n = (s * f64::from(RATE_HZ)) as usize;
    let mut sound: Vec<f64> = (0..n)
        .map(|i| {
            let t = i as f64 / f64::from(RATE_HZ);
            let buzz: f64 = (1..20).map(|k| (739.0 * f64::from(k) * t).sin() / f64::from(k)).sum();
            0.25 * buzz * (20.0 * t).sin().max(0.0)
        })
        .collect();
    for (i, x) in noise(2400.min(n), 0.5, seed).into_iter().enumerate() {
        sound[n - 2400.min(n) + i] += x * (-(i as f64) / 300.0).exp();
    }
    sound
}

/// Takes one after the other, with talk and silence between them.
fn evening(takes: &[Vec<f64>]) -> Vec<f64> {
    let mut sound = talk(1.5, 1);
    sound.extend(noise(9600, 2e-6, 2));
    for (i, take) in (3..).zip(takes) {
        sound.extend(take);
        sound.extend(talk(0.7 + 0.1 * (i % 4) as f64, i));
        sound.extend(noise(9600, 2e-6, i));
    }
    sound
}

fn of_condition(condition: &str) -> Vec<Vec<f64>> {
    let numbered = SEATS.iter().flat_map(|seat| [(seat, 1), (seat, 2)]);
    numbered.map(|(seat, number)| take(seat, condition, number)).collect()
}

fn write_wav(path: &Path, rate_hz: u32, channels: &[&[f64]]) {
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate_hz,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for frame in 0..channels[0].len() {
        for channel in channels {
            writer.write_sample((channel[frame] * 8_388_607.0).round() as i32).unwrap();
        }
    }
    writer.finalize().unwrap();
}

/// Losses of every seat and band by `analyze`, in order.
fn losses(session: &Path) -> Vec<f64> {
    let out = scrimcheck("analyze", session).arg("--json").assert().code(0).get_output().clone();
    let result: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let seats = result["seats"].as_array().unwrap();
    seats
        .iter()
        .flat_map(|seat| seat["loss_db"].as_array().unwrap())
        .map(|loss| loss.as_f64().unwrap_or(-99.0))
        .collect()
}

/// The losses of the takes cut by hand.
fn by_hand() -> Vec<f64> {
    let dir = session();
    fs::create_dir(dir.path().join("takes")).unwrap();
    for seat in SEATS {
        for condition in ["without", "with"] {
            for number in [1, 2] {
                let name = format!("takes/{seat}_{condition}_{number}.wav");
                fs::copy(small().join(&name), dir.path().join(&name)).unwrap();
            }
        }
    }
    losses(dir.path())
}

fn json(command: &mut Command) -> serde_json::Value {
    let out = command.arg("--json").output().unwrap();
    serde_json::from_slice(&out.stdout)
        .unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&out.stderr)))
}

/// Place and fate of every sweep: `R1L without 1`, `left out`, `no place`.
fn places(document: &serde_json::Value) -> Vec<String> {
    let sweeps = document["sweeps"].as_array().unwrap();
    sweeps
        .iter()
        .map(|sweep| {
            let place = &sweep["place"];
            match sweep["fate"].as_str().unwrap() {
                "take" => format!(
                    "{} {} {}",
                    place["seat"].as_str().unwrap(),
                    place["condition"].as_str().unwrap(),
                    place["spot"]
                ),
                fate => fate.replace('_', " "),
            }
        })
        .collect()
}

fn in_order(condition: &str) -> Vec<String> {
    let numbered = SEATS.iter().flat_map(|seat| [(seat, 1), (seat, 2)]);
    numbered.map(|(seat, number)| format!("{seat} {condition} {number}")).collect()
}

#[test]
fn a_long_stereo_recording_gives_the_losses_of_takes_cut_by_hand() {
    let dir = session();
    let all: Vec<Vec<f64>> =
        ["without", "with"].iter().flat_map(|condition| of_condition(condition)).collect();
    let sound = evening(&all);
    let other = noise(sound.len(), 1e-4, 99);
    let recording = dir.path().join("REC0001.WAV");
    write_wav(&recording, RATE_HZ, &[&other, &sound]);
    let before = fs::read(&recording).unwrap();
    scrimcheck("import", dir.path())
        .arg(&recording)
        .args(["--condition", "without,with", "--yes"])
        .assert()
        .code(0)
        .stdout(
            contains("12 sweeps found, 12 for takes.")
                .and(contains("12 takes were written"))
                .and(contains("12 takes: 12 used"))
                .and(contains("The planned takes are complete")),
        );
    assert!(fs::read(&recording).unwrap() == before, "the original was changed");
    assert_close("losses", &losses(dir.path()), &by_hand(), 0.01);
    let origin = fs::read_to_string(dir.path().join("takes/origin.csv")).unwrap();
    let rows: Vec<&str> = origin.lines().collect();
    assert_eq!(rows.len(), 13);
    assert_eq!(
        rows[0],
        "take,recording,start_s,channel,reference_channel,rate_hz,resampled,device,processing,\
         played_db"
    );
    assert!(rows[1].starts_with("R1C_with_1.wav,REC0001.WAV,"), "{}", rows[1]);
    assert!(rows[1].ends_with(",2,,48000,false,,,"), "{}", rows[1]);
    let take = hound::WavReader::open(dir.path().join("takes/R1C_with_1.wav")).unwrap();
    assert_eq!(take.spec().sample_format, hound::SampleFormat::Float);
    assert_eq!((take.spec().bits_per_sample, take.spec().channels), (32, 1));
    // Brought in, it is no longer asked for.
    scrimcheck("check", dir.path()).assert().stdout(contains("not brought in").not());
}

#[test]
fn another_rate_gives_the_same_losses() {
    let dir = session();
    let recording = dir.path().join("evening without.wav");
    write_wav(&recording, RATE_HZ, &[&evening(&of_condition("without"))]);
    scrimcheck("import", dir.path()).arg(&recording).arg("--yes").assert().code(0);
    scrimcheck("import", dir.path())
        .arg(recorder("REC0007.flac"))
        .args(["--condition", "with", "--yes"])
        .assert()
        .code(0)
        .stdout(contains("REC0007.flac has 44100 Hz").and(contains("12 takes: 12 used")));
    assert_close("losses", &losses(dir.path()), &by_hand(), 0.03);
    let origin = fs::read_to_string(dir.path().join("takes/origin.csv")).unwrap();
    assert!(origin.contains("R1L_with_1.wav,REC0007.flac,") && origin.contains(",44100,true"));
}

#[test]
fn every_kind_of_file_is_read_and_its_name_too() {
    for name in ["2026-03-14 R1C vorher 1.aiff", "R1C before 1.w64", "Sitz R1C ohne 1.caf"] {
        let dir = session();
        let document = json(scrimcheck("import", dir.path()).arg(recorder(name)).arg("--yes"));
        assert_eq!(places(&document), ["R1C without 1"], "{name}: {document}");
        assert_eq!(document["written"][0], "R1C_without_1.wav", "{name}");
        assert_eq!(document["check"]["format"], "scrimcheck-check", "{name}");
        let made = fs::File::open(dir.path().join("takes/R1C_without_1.wav")).unwrap();
        let made: Vec<f64> = hound::WavReader::new(made)
            .unwrap()
            .samples::<f32>()
            .map(|s| f64::from(s.unwrap()))
            .collect();
        // Sample by sample what was cut, but for one step of 16 bits in one of them.
        let whole = take("R1C", "without", 1);
        let start_s: f64 = fs::read_to_string(dir.path().join("takes/origin.csv"))
            .unwrap()
            .lines()
            .nth(1)
            .and_then(|row| row.split(',').nth(2))
            .and_then(|s| s.parse().ok())
            .unwrap();
        let first = (start_s * f64::from(RATE_HZ)).round() as usize;
        assert_close(name, &made, &whole[first..first + made.len()], 3.1e-5);
    }
}

#[test]
fn lossy_files_are_refused_whatever_they_are_called() {
    for (name, kind) in
        [("lossy_mp3.wav", "MP3"), ("lossy_vorbis.wav", "Vorbis"), ("lossy_opus.wav", "Opus")]
    {
        let dir = session();
        let before = contents(dir.path());
        scrimcheck("import", dir.path())
            .arg(recorder(name))
            .args(["--condition", "with", "--yes"])
            .assert()
            .code(3)
            .stderr(
                contains(name)
                    .and(contains(kind))
                    .and(contains("lossy: the treble that is to be measured is not in it"))
                    .and(contains("WAV or FLAC")),
            );
        assert!(contents(dir.path()) == before, "{name}");
    }
}

#[test]
fn what_is_wrong_with_a_recording_is_told_once() {
    let dir = session();
    let cut = dir.path().join("cut.wav");
    write_wav(&cut, RATE_HZ, &[&noise(20_000, 0.1, 1)]);
    let whole = fs::read(&cut).unwrap();
    fs::write(&cut, &whole[..3000]).unwrap();
    let told = scrimcheck("import", dir.path()).arg(&cut).arg("--dry-run").output().unwrap();
    let told = String::from_utf8_lossy(&told.stderr);
    assert!(told.contains("cut.wav: the file is truncated"), "{told}");
    assert_eq!(told.matches("truncated").count(), 1, "{told}");
}

#[test]
fn a_spoiled_sweep_gives_way_to_its_repeat() {
    let broken_off = |silence: usize| {
        let mut sound = take("R1C", "without", 1)[..33_000].to_vec();
        sound.extend(noise(silence, 2e-6, 8));
        sound
    };
    let clipped: Vec<f64> =
        take("R1C", "without", 1).iter().map(|x| (4.0 * x).clamp(-0.4, 0.4)).collect();
    // Broken off after the half of it with talk at once, it is nothing but noise; with silence
    // after it, or clipped, it is told why it was left out.
    for (spoiled, said) in [
        (broken_off(0), None),
        (broken_off(72_000), Some("not the whole sweep")),
        (clipped, Some("clipped")),
    ] {
        let dir = session();
        let mut takes = of_condition("without");
        takes.insert(2, spoiled);
        let recording = dir.path().join("REC0003.WAV");
        write_wav(&recording, RATE_HZ, &[&evening(&takes)]);
        let mut import = scrimcheck("import", dir.path());
        import.arg(&recording).args(["--condition", "without", "--yes"]);
        let document = json(&mut import);
        let found = places(&document);
        let kept: Vec<&String> = found.iter().filter(|place| *place != "left out").collect();
        assert_eq!(kept, in_order("without").iter().collect::<Vec<_>>(), "{said:?}: {document}");
        assert_eq!(document["written"].as_array().unwrap().len(), 6, "{said:?}: {document}");
        if let Some(said) = said {
            assert_eq!(found[2], "left out", "{document}");
            assert_eq!(document["sweeps"][2]["reason"], said, "{document}");
        }
    }
}

#[test]
fn exchanged_seats_are_found_out() {
    let dir = session();
    let first = dir.path().join("without.wav");
    write_wav(&first, RATE_HZ, &[&evening(&of_condition("without"))]);
    scrimcheck("import", dir.path()).arg(&first).arg("--yes").assert().code(0);
    let mut takes = of_condition("with");
    takes.swap(0, 2);
    takes.swap(1, 3);
    let second = dir.path().join("with.wav");
    write_wav(&second, RATE_HZ, &[&evening(&takes)]);
    let before = contents(dir.path());
    scrimcheck("import", dir.path())
        .arg(&second)
        .arg("--yes")
        .assert()
        .code(3)
        .stdout(contains("resembles seat R1C").and(contains("resembles seat R1L")))
        .stderr(contains("order of the seats is in doubt").and(contains("--seats")));
    assert!(contents(dir.path()) == before, "something was written");
    let mut import = scrimcheck("import", dir.path());
    import.arg(&second).args(["--seats", "R1C,R1L,R1R", "--yes"]);
    let document = json(&mut import);
    assert_eq!(document["order_doubt"], serde_json::Value::Null);
    assert_close("losses", &losses(dir.path()), &by_hand(), 0.01);
}

#[test]
fn a_missing_sweep_stops_the_import_and_the_gap_is_named() {
    for (left_out, seat) in [(1, "R1L"), (2, "R1C"), (5, "R1R")] {
        let dir = session();
        let mut takes = of_condition("without");
        takes.remove(left_out);
        let recording = dir.path().join("REC0004.WAV");
        write_wav(&recording, RATE_HZ, &[&evening(&takes)]);
        let before = contents(dir.path());
        scrimcheck("import", dir.path())
            .arg(&recording)
            .args(["--condition", "without", "--yes"])
            .assert()
            .code(3)
            .stdout(contains("missing"))
            .stderr(
                contains(format!("likeliest gap is seat {seat}, without"))
                    .and(contains("nothing was written")),
            );
        assert!(contents(dir.path()) == before, "something was written");
    }
}

#[test]
fn one_sweep_too_many_stops_the_import_and_is_named() {
    let dir = session();
    let mut takes = of_condition("without");
    takes.insert(4, take("R1C", "without", 2));
    let recording = dir.path().join("REC0005.WAV");
    write_wav(&recording, RATE_HZ, &[&evening(&takes)]);
    let mut import = scrimcheck("import", dir.path());
    import.arg(&recording).args(["--condition", "without", "--spots", "2", "--yes"]);
    let document = json(&mut import);
    let extra = places(&document).iter().position(|place| place == "no place");
    assert!(extra.is_some_and(|i| (2..5).contains(&i)), "{document}");
    assert!(document["refusal"].as_str().unwrap().contains("likeliest too many"), "{document}");
    assert!(!dir.path().join("takes").exists());
}

#[test]
fn a_sweep_played_at_a_wrong_rate_is_told_from_one_recorded_at_another() {
    let dir = session();
    let recording = dir.path().join("REC0006.WAV");
    write_wav(&recording, 44_100, &[&evening(&of_condition("without"))]);
    scrimcheck("import", dir.path())
        .arg(&recording)
        .args(["--condition", "without", "--yes"])
        .assert()
        .code(3)
        .stderr(
            contains("8.8 % longer")
                .and(contains("played at 44100 Hz"))
                .and(contains("set the player to 48000 Hz")),
        );
}

#[test]
fn an_electrical_reference_is_found_and_kept() {
    let dir = session();
    let takes = of_condition("without");
    let mut reader = hound::WavReader::open(small().join("sweep.wav")).unwrap();
    let sweep: Vec<f64> =
        reader.samples::<i32>().map(|s| f64::from(s.unwrap()) / 8_388_608.0).collect();
    // What went into the amplifier, and what came out of the microphone.
    let mut wire = Vec::new();
    let mut mic = Vec::new();
    for take in &takes {
        let mut played = sweep.clone();
        played.resize(take.len(), 0.0);
        wire.extend(played);
        mic.extend(take);
        wire.extend(vec![0.0; 24_000]);
        mic.extend(noise(24_000, 2e-6, 5));
    }
    let recording = dir.path().join("REC0008.WAV");
    write_wav(&recording, RATE_HZ, &[&wire, &mic]);
    let mut import = scrimcheck("import", dir.path());
    import.arg(&recording).args(["--condition", "without", "--yes"]);
    let document = json(&mut import);
    assert_eq!(document["recordings"][0]["mic_channel"], 2, "{document}");
    assert_eq!(document["recordings"][0]["reference_channel"], 1, "{document}");
    let take = hound::WavReader::open(dir.path().join("takes/R1L_without_1.wav")).unwrap();
    assert_eq!(take.spec().channels, 2);
    assert!(document["notes"].to_string().contains("reference_channel = 2"), "{document}");
}

#[test]
fn two_microphones_are_both_named_and_the_stronger_is_taken() {
    let dir = session();
    let sound = evening(&of_condition("without"));
    let weaker: Vec<f64> = sound.iter().map(|x| 0.5 * x).collect();
    let recording = dir.path().join("REC0009.WAV");
    write_wav(&recording, RATE_HZ, &[&weaker, &sound]);
    let import = || {
        let mut import = scrimcheck("import", dir.path());
        import.arg(&recording).args(["--condition", "without", "--dry-run"]);
        import
    };
    import().assert().code(0).stdout(contains("channels 2 and 1 hold the sweep"));
    assert_eq!(json(&mut import())["recordings"][0]["mic_channel"], 2);
    let overruled = json(import().args(["--channel", "1"]));
    assert_eq!(overruled["recordings"][0]["mic_channel"], 1);
    import().args(["--channel", "3"]).assert().code(3).stderr(contains("the recording has 2"));
}

#[test]
fn nothing_is_written_unasked() {
    let dir = session();
    let recording = dir.path().join("without.wav");
    write_wav(&recording, RATE_HZ, &[&evening(&of_condition("without"))]);
    let before = contents(dir.path());
    let import = || {
        let mut import = scrimcheck("import", dir.path());
        import.arg(&recording);
        import
    };
    import().arg("--dry-run").assert().code(0).stdout(contains("Nothing was written"));
    import().assert().code(2).stderr(contains("say --yes"));
    assert!(contents(dir.path()) == before, "something was written");
    import().arg("--yes").assert().code(0);
    let written = contents(dir.path());
    import()
        .arg("--yes")
        .assert()
        .code(4)
        .stderr(contains("6 of these takes are already there").and(contains("--force")));
    assert!(contents(dir.path()) == written, "something was replaced");
    import().args(["--yes", "--force"]).assert().code(0);
    assert!(contents(dir.path()) == written, "the same recordings give other takes");
}

#[test]
fn recordings_that_lie_unimported_are_named_with_the_command() {
    let dir = session();
    fs::create_dir(dir.path().join("recordings")).unwrap();
    fs::copy(recorder("REC0007.flac"), dir.path().join("recordings/REC0007.flac")).unwrap();
    scrimcheck("check", dir.path())
        .assert()
        .stdout(contains("REC0007.flac").and(contains("scrimcheck import")));
    scrimcheck("analyze", dir.path()).assert().code(3).stderr(
        contains("there is no take in this session")
            .and(contains("REC0007.flac"))
            .and(contains("scrimcheck import")),
    );
}

#[test]
fn words_that_are_missing_are_asked_for() {
    let dir = session();
    let flac = recorder("REC0007.flac");
    let import = |more: &[&str]| {
        let mut import = scrimcheck("import", dir.path());
        import.arg(&flac).args(more).arg("--yes");
        import
    };
    import(&[])
        .assert()
        .code(3)
        .stderr(contains("in which condition").and(contains("--condition")));
    import(&["--condition", "with", "--seats", "R1L,R1X"])
        .assert()
        .code(3)
        .stderr(contains("there is no seat R1X").and(contains("did you mean")));
    import(&["--condition", "with", "--seats", "R1L,R1L"])
        .assert()
        .code(3)
        .stderr(contains("twice"));
    let nowhere = dir.path().join("nothing.wav");
    scrimcheck("import", dir.path())
        .arg(&nowhere)
        .assert()
        .code(3)
        .stderr(contains("no such file"));
    scrimcheck("import", dir.path()).arg(dir.path().join("takes")).assert().code(3);
    let quiet = dir.path().join("quiet.wav");
    write_wav(&quiet, RATE_HZ, &[&noise(200_000, 1e-3, 3)]);
    scrimcheck("import", dir.path())
        .arg(&quiet)
        .args(["--condition", "with"])
        .assert()
        .code(3)
        .stderr(contains("the sweep of this session is not in it"));
}

/// Bytes of a good file of each kind, spoilt in every way.
fn spoilt(good: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut cases = Vec::new();
    for n in [1, 3, 4, 11, 12, 13, 27, 40, 47, 63, 100, good.len() / 2, good.len() - 1] {
        cases.push((format!("cut after {n} bytes"), good[..n].to_vec()));
    }
    for at in (0..100.min(good.len())).step_by(7) {
        for value in [0x00, 0xff] {
            let mut bytes = good.to_vec();
            bytes[at] = value;
            cases.push((format!("byte {at} is {value}"), bytes));
        }
    }
    for at in [4, 16, 20, 22, 40, 50, 54, 60, 64] {
        let mut bytes = good.to_vec();
        bytes[at..at + 4].fill(0xff);
        cases.push((format!("bytes {at} to {} are 255", at + 3), bytes));
    }
    cases
}

#[test]
fn spoilt_files_of_every_kind_are_refused_or_read_and_never_worse() {
    let dir = session();
    let wav = dir.path().join("good.wav");
    write_wav(&wav, RATE_HZ, &[&take("R1C", "without", 1)]);
    let flac = fs::read(recorder("REC0007.flac")).unwrap();
    let kinds = [
        ("wav", fs::read(&wav).unwrap()),
        ("aiff", fs::read(recorder("2026-03-14 R1C vorher 1.aiff")).unwrap()),
        ("w64", fs::read(recorder("R1C before 1.w64")).unwrap()),
        ("caf", fs::read(recorder("Sitz R1C ohne 1.caf")).unwrap()),
        ("flac", flac),
    ];
    fs::remove_file(&wav).unwrap();
    let path = dir.path().join("R1C before 1.rec");
    for (kind, good) in kinds {
        for (what, bytes) in spoilt(&good) {
            fs::write(&path, &bytes).unwrap();
            let started = Instant::now();
            let out =
                scrimcheck("import", dir.path()).arg(&path).arg("--dry-run").output().unwrap();
            let said = String::from_utf8_lossy(&out.stderr).into_owned();
            let code = out.status.code();
            assert!(matches!(code, Some(0 | 3)), "{kind}, {what}: {code:?} {said}");
            assert!(!said.contains("panicked") && said.len() < 2000, "{kind}, {what}: {said}");
            assert!(code == Some(0) || said.contains("R1C before 1.rec"), "{kind}, {what}: {said}");
            assert!(started.elapsed() < Duration::from_secs(20), "{kind}, {what}");
        }
    }
    // A header that promises a day of sound, and a file that is long and empty.
    let huge = fs::File::create(&path).unwrap();
    huge.set_len(1 << 37).unwrap();
    scrimcheck("import", dir.path())
        .arg(&path)
        .assert()
        .code(3)
        .stderr(contains("137438953472 bytes"));
    assert!(!dir.path().join("takes").exists());
}

#[test]
fn a_killed_import_leaves_whole_takes_or_none() {
    let dir = session();
    let recording = dir.path().join("without.wav");
    write_wav(&recording, RATE_HZ, &[&evening(&of_condition("without"))]);
    for wait_ms in [5, 20, 40, 60, 80, 100, 130, 160] {
        let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("scrimcheck"))
            .arg("import")
            .arg(dir.path())
            .arg(&recording)
            .args(["--yes", "--force"])
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(wait_ms));
        let _ = child.kill();
        child.wait().unwrap();
        let Ok(takes) = fs::read_dir(dir.path().join("takes")) else { continue };
        for take in takes.map(|t| t.unwrap().path()) {
            if take.extension().is_some_and(|e| e == "wav") {
                let reader = hound::WavReader::open(&take).unwrap();
                assert!(reader.duration() > 60_000, "{} is cut off", take.display());
            }
        }
    }
    // The next one clears up and is whole.
    scrimcheck("import", dir.path()).arg(&recording).args(["--yes", "--force"]).assert().code(0);
    let hidden = fs::read_dir(dir.path()).unwrap().map(|e| e.unwrap().file_name());
    let left: Vec<_> = hidden.filter(|n| n.to_string_lossy().starts_with('.')).collect();
    assert!(left.is_empty(), "{left:?}");
}
