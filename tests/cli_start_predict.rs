//! `scrimcheck start` and `scrimcheck predict`.

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use std::path::Path;

fn scrimcheck(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
    command.current_dir(folder).env_clear();
    command
}

const SHORT: [&str; 2] = ["--duration-s", "0.5"];

#[test]
fn a_new_session_has_manifest_sweep_and_take_sheet() {
    let dir = tempfile::tempdir().unwrap();
    scrimcheck(dir.path())
        .args(["start", "barn", "--seats", "R1L,R1C", "--title", "Invented barn"])
        .args(SHORT)
        .assert()
        .code(0)
        .stdout(contains("session.toml").and(contains("scrimcheck analyze barn")));
    let manifest = std::fs::read_to_string(dir.path().join("barn/session.toml")).unwrap();
    assert!(manifest.contains("Invented barn") && manifest.contains("R1C"));
    assert!(hound::WavReader::open(dir.path().join("barn/sweep.wav")).is_ok());
    assert!(dir.path().join("barn/take-sheet.html").is_file());
}

#[test]
fn a_new_session_replaces_nothing_without_force() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::create_dir(dir.path().join("barn")).unwrap();
    let precious = dir.path().join("barn/session.toml");
    std::fs::write(&precious, "mine").unwrap();
    let start = ["start", "barn", "--seats", "R1C"];
    let refused = scrimcheck(dir.path()).args(start).args(SHORT).assert().code(4);
    refused.stderr(contains("--force"));
    assert_eq!(std::fs::read_to_string(&precious).unwrap(), "mine");
    scrimcheck(dir.path()).args(start).args(SHORT).arg("--force").assert().code(0);
    assert_ne!(std::fs::read_to_string(&precious).unwrap(), "mine");
}

#[test]
fn seats_that_cannot_be_file_names_are_a_wrong_command() {
    let dir = tempfile::tempdir().unwrap();
    for (seats, words) in [
        ("../a", "seat \"../a\""),
        ("a/b", "cannot hold /"),
        ("a,a", "named twice"),
        ("", "seat 1 of 1 has no name"),
        ("a,,b", "seat 2 of 3 has no name"),
        ("a,b,", "seat 3 of 3 has no name"),
    ] {
        scrimcheck(dir.path())
            .args(["start", "barn", "--seats", seats])
            .args(SHORT)
            .assert()
            .code(2)
            .stderr(contains(words));
    }
    assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 0, "something was left behind");
}

const CLOTH: &str = "cloth:areal_mass_g_m2=180,flow_resistance_pa_s_m=60";

#[test]
fn a_forecast_comes_as_table_json_and_csv() {
    let dir = tempfile::tempdir().unwrap();
    let predict = |more: &[&str]| {
        let mut command = scrimcheck(dir.path());
        command.args(["predict", "--sheet", CLOTH, "--gap-m", "0.06"]).args(more);
        String::from_utf8(command.assert().code(0).get_output().stdout.clone()).unwrap()
    };
    assert!(predict(&[]).contains("cloth"));
    let document: serde_json::Value = serde_json::from_str(&predict(&["--json"])).unwrap();
    let losses = document["sheets"][0]["angles"][0]["loss_db"].as_array().unwrap().len();
    let csv = predict(&["--csv"]);
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    assert!(reader.headers().unwrap().iter().any(|h| h == "loss_db"));
    assert_eq!(reader.records().count(), losses);
}

#[test]
fn a_forecast_of_nonsense_is_a_wrong_command() {
    let dir = tempfile::tempdir().unwrap();
    for (arguments, word) in [
        (&["--sheet", "x:areal_mas_g_m2=1"][..], "areal_mass_g_m2"),
        (&["--sheet", "x:areal_mass_g_m2=nan"], "areal_mass_g_m2"),
        (&["--sheet", CLOTH, "--gap-m", "NaN"], "gap"),
        (&["--sheet", CLOTH, "--angles-deg", "89"], "angle"),
        (&["--sheet", CLOTH, "--temperature-c", "1000"], "--temperature-c"),
        (&["--sheet", CLOTH, "--width-m", "3", "--seat", "3;1"], "--seat"),
        (&["--sheet", CLOTH, "--seat", "3,0"], "--width-m"),
        (&[], "--sheet"),
    ] {
        scrimcheck(dir.path())
            .arg("predict")
            .args(arguments)
            .assert()
            .code(2)
            .stdout("")
            .stderr(contains(word));
    }
}
