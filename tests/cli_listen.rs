//! `scrimcheck listen` on the built program: what is written, what is refused.

#[path = "support/mod.rs"]
mod support;

use assert_cmd::Command;
use predicates::str::contains;
use std::fs;
use std::path::{Path, PathBuf};
use support::contents;

fn small() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sessions/three-seats")
}

fn listen(arguments: &[&str]) -> Command {
    let mut built = Command::cargo_bin("scrimcheck").expect("the built program");
    built.env_clear().arg("listen").args(arguments);
    built
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// A second of a sine in two channels.
fn tone(path: &Path, rate_hz: u32, channels: u16, seconds: f64) {
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate_hz,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for i in 0..(seconds * f64::from(rate_hz)) as u32 {
        let x = 0.25 * (std::f64::consts::TAU * 1000.0 * f64::from(i) / f64::from(rate_hz)).sin();
        for _ in 0..channels {
            writer.write_sample((x * 8_388_608.0) as i32).unwrap();
        }
    }
    writer.finalize().unwrap();
}

/// Root mean square of a file's first channel, dB re full scale, and its rate and channels.
fn level(path: &Path) -> (f64, u32, u16) {
    let mut reader = hound::WavReader::open(path).unwrap();
    let spec = reader.spec();
    assert_eq!(spec.bits_per_sample, 24);
    let all: Vec<f64> =
        reader.samples::<i32>().map(|s| f64::from(s.unwrap()) / 8_388_608.0).collect();
    // Away from the ends, where a filter swings in.
    let middle = &all[all.len() / 4..3 * all.len() / 4];
    let power = middle.iter().map(|x| x * x).sum::<f64>() / middle.len() as f64;
    (10.0 * power.log10(), spec.sample_rate, spec.channels)
}

#[test]
fn three_sounds_in_three_versions_are_written() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("sounds");
    listen(&[text(&small()), "--seat", "R1C", "--out", text(&out)])
        .assert()
        .success()
        .stdout(contains("Heard at seat R1C"))
        .stdout(contains("pink_screen.wav"))
        .stdout(contains("Begin with the volume low"));
    let written = contents(&out);
    for sound in ["pink", "clicks", "speech"] {
        for version in ["without", "screen", "screen_setting"] {
            let name = PathBuf::from(format!("{sound}_{version}.wav"));
            assert!(written.contains_key(&name), "{name:?} is missing");
        }
    }
    // The same again is the same to the byte, and replaces its own.
    listen(&[text(&small()), "--seat", "R1C", "--out", text(&out)]).assert().success();
    assert_eq!(contents(&out), written);
    // What is somebody else's is left alone.
    fs::write(out.join("mine.txt"), "mine").unwrap();
    listen(&[text(&small()), "--out", text(&out)]).assert().code(4).stderr(contains("mine.txt"));
    listen(&[text(&small()), "--out", text(&out), "--force"]).assert().success();
    assert_eq!(fs::read_to_string(out.join("mine.txt")).unwrap(), "mine");
}

/// The tone at 1 kHz loses what the curve says there, in stereo and at another rate.
#[test]
fn a_sound_of_ones_own_goes_through_the_same_screen() {
    let home = tempfile::tempdir().unwrap();
    let sound = home.path().join("my tone.wav");
    tone(&sound, 44_100, 2, 2.0);
    let out = home.path().join("out");
    let run = |more: &[&str]| {
        let session = small();
        let mut all =
            vec![text(&session), "--sound", text(&sound), "--out", text(&out), "--seat", "R1C"];
        all.extend(more);
        listen(&all).assert().success();
        ["without", "screen"].map(|v| level(&out.join(format!("my-tone_{v}.wav"))))
    };
    let [without, screen] = run(&[]);
    assert_eq!((without.1, without.2), (44_100, 2));
    let report = home.path().join("report");
    let mut analyze = Command::cargo_bin("scrimcheck").unwrap();
    analyze
        .env_clear()
        .args(["analyze", text(&small()), "--out", text(&report)])
        .assert()
        .success();
    let result: serde_json::Value =
        serde_json::from_slice(&fs::read(report.join("result.json")).unwrap()).unwrap();
    let curve = &result["curve"];
    let at = curve["frequency_hz"]
        .as_array()
        .unwrap()
        .iter()
        .position(|f| f.as_f64().unwrap() > 1000.0)
        .unwrap();
    let seat = curve["seats"].as_array().unwrap().iter().find(|s| s["id"] == "R1C").unwrap();
    // 1 kHz is the edge of two cells of the grid.
    let want = (at - 1..=at).map(|i| seat["loss_db"][i].as_f64().unwrap()).sum::<f64>() / 2.0;
    let got = without.0 - screen.0;
    assert!((got - want).abs() < 0.1, "{got} dB, the curve has {want} dB");
    let [without, screen] = run(&["--matched"]);
    assert!((without.0 - screen.0).abs() < 0.1, "{} {}", without.0, screen.0);
}

#[test]
fn screens_are_heard_against_each_other_and_against_described_ones() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("out");
    let sheet = "weave:flow_resistance_pa_s_m=60,areal_mass_g_m2=250";
    let session = small();
    listen(&[text(&session), text(&session), "--sheet", sheet, "--out", text(&out)])
        .assert()
        .success()
        .stdout(contains("weave (predicted)"));
    for version in ["without", "screen_1", "screen_2", "predicted_1"] {
        assert!(out.join(format!("pink_{version}.wav")).is_file(), "{version}");
    }
    let alone = home.path().join("alone");
    listen(&["--sheet", sheet, "--out", text(&alone)]).assert().success();
    assert!(alone.join("clicks_predicted_1.wav").is_file());
}

#[test]
fn what_cannot_be_heard_is_refused_with_what_to_do() {
    let home = tempfile::tempdir().unwrap();
    let out = home.path().join("out");
    let session = small();
    let (session, out) = (text(&session), text(&out));
    let six = home.path().join("six.wav");
    tone(&six, 48_000, 6, 1.0);
    let short = home.path().join("short.wav");
    tone(&short, 48_000, 1, 0.2);
    let text_file = home.path().join("words.wav");
    fs::write(&text_file, "no sound at all").unwrap();
    let lossy = home.path().join("song.mp3");
    fs::write(&lossy, b"ID3\x04\x00\x00\x00\x00\x00\x00rest of it, long enough to look at")
        .unwrap();
    let missing = home.path().join("missing.wav");
    for (arguments, status, said) in [
        (vec![session, "--seat", "R9X"], 3, "R1C"),
        (vec![session, "--sound", text(&six)], 3, "6 channels"),
        (vec![session, "--sound", text(&short)], 3, "0.20 s"),
        (vec![session, "--sound", text(&text_file)], 3, "words.wav"),
        (vec![session, "--sound", text(&lossy)], 3, "song.mp3"),
        (vec![session, "--sound", text(&missing)], 3, "missing.wav"),
        (vec![session, "--sheet", "weave:colour=red"], 2, "colour"),
        (vec![], 2, "DIR"),
    ] {
        let mut all = arguments.clone();
        all.extend(["--out", out]);
        listen(&all).assert().code(status).stderr(contains(said));
        assert!(!Path::new(out).exists(), "{arguments:?} leaves something behind");
    }
    listen(&["--sheet", "weave:flow_resistance_pa_s_m=60"])
        .assert()
        .code(2)
        .stderr(contains("--out"));
}

/// Sounds that lie in the session are no recordings that were forgotten, and kept tests go into
/// result and paper.
#[test]
fn sounds_and_kept_tests_live_in_the_session() {
    let home = tempfile::tempdir().unwrap();
    let job = home.path().join("job");
    fs::create_dir_all(job.join("takes")).unwrap();
    for (name, bytes) in contents(&small()) {
        fs::write(job.join(name), bytes).unwrap();
    }
    listen(&[text(&job)]).assert().success();
    assert!(job.join("listen/pink_screen_setting.wav").is_file());
    let head = "date,listener,seat,sound,first,second,matched,rounds,right\n";
    let row = "2026-03-14,AB,R1C,pink noise,without the screen,with the screen,true,16,11\n";
    fs::write(job.join("listening.csv"), format!("{head}{row}")).unwrap();
    let run = |arguments: &[&str]| {
        let mut command = Command::cargo_bin("scrimcheck").unwrap();
        command.env_clear().args(arguments).arg(&job);
        command
    };
    let answer = run(&["check"]).output().unwrap();
    assert!(!String::from_utf8_lossy(&answer.stdout).contains("pink"), "{answer:?}");
    run(&["analyze"]).assert().success();
    let result: serde_json::Value =
        serde_json::from_slice(&fs::read(job.join("report/result.json")).unwrap()).unwrap();
    let sentence =
        "11 of 16 right: guessing does as well in 1 of 10 tries. No difference is shown.";
    assert_eq!(result["listening"][0]["sentence"], sentence);
    assert_eq!(result["listening"][0]["shown"], false);
    let paper = fs::read_to_string(job.join("report/report.html")).unwrap();
    assert!(paper.contains(sentence) && paper.contains("Heard in a blind test"));
    // A line that cannot be meant is named.
    for (bad, said) in [
        (row.replace(",11", ",17"), "17 of 16"),
        (row.replace("2026-03-14", "14.3.2026"), "14.3.2026"),
        (row.replace(",true", ",maybe"), "line 3"),
    ] {
        fs::write(job.join("listening.csv"), format!("{head}{row}{bad}")).unwrap();
        run(&["analyze"]).assert().code(3).stderr(contains("listening.csv")).stderr(contains(said));
    }
}
