//! `scrimcheck check`: half-finished sessions, exit status, words and document.

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use scrimcheck::simulate::scenario::{Fault, TakeKey};
use scrimcheck::simulate::{Kind, Scenario, simulate, write};
use std::path::Path;

fn check(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
    command.env_clear().arg("check").arg(folder);
    command
}

/// A short session of two seats, two takes a condition.
fn scenario() -> Scenario {
    let mut s = Scenario::random(Kind::Woven, 21).shortened(1.6, 0.2);
    s.seats.truncate(2);
    s.trail_s = 0.9;
    s.gap_m = 0.08;
    s.stated_gap_m = Some(0.08);
    if let Some(noise) = &mut s.noise {
        noise.hum = 0.0;
    }
    s
}

fn session(scenario: &Scenario) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    write(&simulate(scenario), dir.path()).unwrap();
    dir
}

#[test]
fn a_complete_clean_session_ends_with_status_0() {
    let dir = session(&scenario());
    check(dir.path())
        .assert()
        .code(0)
        .stdout(contains("8 takes: 8 used").and(contains("The planned takes are complete")));
    assert!(!dir.path().join("report").exists(), "check writes nothing");
}

#[test]
fn a_half_finished_session_says_what_comes_next() {
    let s = scenario();
    let dir = session(&s);
    // The installer's own habit: no take list, default names.
    let manifest = std::fs::read_to_string(dir.path().join("session.toml")).unwrap();
    let listed = manifest.find("[[take]]").expect("the simulation lists its takes");
    std::fs::write(dir.path().join("session.toml"), &manifest[..listed]).unwrap();
    for entry in std::fs::read_dir(dir.path().join("takes")).unwrap() {
        let path = entry.unwrap().path();
        if path.to_string_lossy().contains("_with_") {
            std::fs::remove_file(path).unwrap();
        }
    }
    let next = format!("takes/{}_with_1.wav", s.seats[0].id);
    check(dir.path()).assert().code(0).stdout(
        contains("4 takes: 4 waiting").and(contains("Missing: 2 takes")).and(contains(next)),
    );
}

#[test]
fn a_spoilt_take_ends_with_status_1_and_is_the_next_one() {
    let clipped = TakeKey { seat: 1, condition: 0, spot: 2 };
    let dir = session(&scenario().with_fault(clipped, Fault::Clip { at: 0.6 }));
    let output = check(dir.path()).arg("--json").assert().code(1).get_output().stdout.clone();
    let document: serde_json::Value = serde_json::from_slice(&output).expect("valid JSON");
    assert_eq!(document["format"], "scrimcheck-check");
    let takes = document["takes"].as_array().expect("a list");
    let repeat: Vec<_> = takes.iter().filter(|take| take["verdict"] == "repeat").collect();
    assert_eq!(repeat.len(), 1, "{takes:#?}");
    assert_eq!(repeat[0]["findings"][0]["topic"], "clipping");
    assert_eq!(document["next"]["file"], repeat[0]["file"]);
    assert_eq!(document["next"]["repeat"], true);
}

#[test]
fn no_session_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    check(&dir.path().join("nowhere")).assert().code(3).stderr(contains("no such folder"));
}
