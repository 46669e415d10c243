//! `scrimcheck sweep` and what every command shares: help, version, wrong words.

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;

fn scrimcheck(folder: &std::path::Path) -> Command {
    let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
    command.current_dir(folder).env_clear();
    command
}

#[test]
fn help_and_version_are_results() {
    let dir = tempfile::tempdir().unwrap();
    let help = scrimcheck(dir.path()).arg("--help").assert().code(0);
    help.stdout(contains("sweep").and(contains("Exit status"))).stderr("");
    scrimcheck(dir.path()).arg("--version").assert().code(0).stdout(contains("scrimcheck 0."));
}

#[test]
fn wrong_words_are_status_2() {
    let dir = tempfile::tempdir().unwrap();
    for arguments in [&["swep", "x.wav"][..], &["sweep"], &["sweep", "x.wav", "--loud"]] {
        scrimcheck(dir.path()).args(arguments).assert().code(2).stdout("");
    }
    for (option, value, word) in [
        ("--stop-hz", "30000", "24000"),
        ("--stop-hz", "NaN", "--stop-hz"),
        ("--start-hz", "0", "--start-hz"),
        ("--duration-s", "1e9", "60"),
        ("--level-dbfs", "6", "--level-dbfs"),
        ("--rate-hz", "1", "--rate-hz"),
    ] {
        scrimcheck(dir.path())
            .args(["sweep", "x.wav", option, value])
            .assert()
            .code(2)
            .stdout("")
            .stderr(contains(word));
    }
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0, "something was written");
}

#[test]
fn the_sweep_is_a_wav_file_of_the_asked_shape() {
    let dir = tempfile::tempdir().unwrap();
    scrimcheck(dir.path())
        .args(["sweep", "s.wav", "--duration-s", "1", "--rate-hz", "44100", "--level-dbfs", "-20"])
        .assert()
        .code(0)
        .stdout(contains("44100 Hz, 24 bit").and(contains("volume low")));
    // Read with another program's reader.
    let reader = hound::WavReader::open(dir.path().join("s.wav")).unwrap();
    assert_eq!(reader.spec().sample_rate, 44_100);
    assert_eq!(reader.spec().bits_per_sample, 24);
    assert_eq!(reader.duration(), 44_100 + 44_100 / 2 + 44_100);
    let peak = reader.into_samples::<i32>().map(|s| s.unwrap().abs()).max().unwrap();
    // -20 dB re 2^23 is 838 861.
    assert!((f64::from(peak) - 838_861.0).abs() < 100.0, "{peak}");
}

#[test]
fn a_file_is_not_replaced_without_force() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("s.wav");
    std::fs::write(&path, "mine").unwrap();
    let sweep = ["sweep", "s.wav", "--duration-s", "0.3"];
    scrimcheck(dir.path()).args(sweep).assert().code(4).stderr(contains("--force"));
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "mine");
    scrimcheck(dir.path()).args(sweep).arg("--force").assert().code(0);
    assert!(hound::WavReader::open(&path).is_ok());
    scrimcheck(dir.path())
        .args(["sweep", "no/such/folder/s.wav"])
        .assert()
        .code(4)
        .stderr(contains("cannot be written"));
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1, "something was left behind");
}
