//! `scrimcheck analyze` and `scrimcheck demo` on real folders: what is printed,
//! what is written, what is refused, and with which exit status.

mod support;

use assert_cmd::Command;
use predicates::prelude::*;
use predicates::str::contains;
use scrimcheck::simulate::{Kind, Scenario, simulate, write};
use statrs::distribution::{ContinuousCDF, StudentsT};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use support::{assert_close, contents};

fn scrimcheck(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
    command.current_dir(folder).env_clear();
    command
}

/// A fresh folder with a short simulated session `room` of two seats, with
/// `more` added to its manifest.
fn with_session(more: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let mut scenario = Scenario::random(Kind::Woven, 3).shortened(0.6, 0.2);
    scenario.seats.truncate(2);
    scenario.more_manifest = more.to_owned();
    write(&simulate(&scenario), &dir.path().join("room")).unwrap();
    dir
}

/// `result.json` of a short simulated session of two seats after `change`, and `levels.svg`.
fn analysed(kind: Kind, change: impl Fn(&mut Scenario)) -> (serde_json::Value, String) {
    let dir = tempfile::tempdir().unwrap();
    let mut scenario = Scenario::random(kind, 3).shortened(0.6, 0.2);
    scenario.seats.truncate(2);
    change(&mut scenario);
    write(&simulate(&scenario), &dir.path().join("room")).unwrap();
    scrimcheck(dir.path()).args(["analyze", "room"]).assert().code(0);
    let report = dir.path().join("room/report");
    let plot = fs::read_to_string(report.join("plots/levels.svg")).unwrap();
    (json(&fs::read(report.join("result.json")).unwrap()), plot)
}

/// The numbers of a row that has one in every band.
fn numbers(row: &serde_json::Value) -> Vec<f64> {
    let row = row.as_array().expect("a row of numbers");
    row.iter().map(|v| v.as_f64().expect("a number in every band")).collect()
}

fn json(bytes: &[u8]) -> serde_json::Value {
    serde_json::from_slice(bytes).expect("JSON")
}

#[test]
fn a_session_becomes_a_table_and_a_report() {
    let dir = with_session("");
    let before = contents(&dir.path().join("room"));
    let run = scrimcheck(dir.path()).args(["analyze", "room"]).assert().code(0).stderr("");
    run.stdout(contains("mean").and(contains("The screen takes")).and(contains("room/report")));
    let report = contents(&dir.path().join("room/report"));
    for name in ["result.json", "bands.csv", "curve.csv", "plots/loss.svg", "plots/loss@2x.png"] {
        assert!(report.contains_key(Path::new(name)), "{name} is missing: {:?}", report.keys());
    }
    let document = json(&report[Path::new("result.json")]);
    assert_eq!(document["format"], "scrimcheck-result");
    assert_eq!(document["seats"].as_array().unwrap().len(), 2);
    // What the user had is as it was.
    for (name, bytes) in before {
        assert_eq!(fs::read(dir.path().join("room").join(&name)).unwrap(), bytes, "{name:?}");
    }
}

#[test]
fn json_on_standard_output_is_the_document_of_the_report() {
    let dir = with_session("");
    let run = scrimcheck(dir.path()).args(["analyze", "room", "--json", "--out", "r"]).assert();
    let printed = run.code(0).get_output().stdout.clone();
    assert_eq!(printed, fs::read(dir.path().join("r/result.json")).unwrap());
    assert!(!dir.path().join("room/report").exists());
}

#[test]
fn strict_tells_claims_that_are_not_shown_to_hold() {
    let claim = |limit_db: f64| {
        format!(
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [1000, 8000]\nlimit_db = {limit_db}\n"
        )
    };
    for (limit_db, status) in [(40.0, 0), (0.0, 1)] {
        let dir = with_session(&claim(limit_db));
        let strict = ["analyze", "room", "--strict"];
        scrimcheck(dir.path()).args(strict).assert().code(status).stdout(contains("Claims"));
        scrimcheck(dir.path()).args(["analyze", "room"]).assert().code(0);
    }
}

#[test]
fn a_step_measured_with_control_takes_is_a_term_of_the_budget() {
    // Turned down by 1 dB while the screen hung: as if it took 1 dB more.
    let turned = |with_control: bool| {
        analysed(Kind::Control, |scenario| {
            scenario.recorder.gain_step_db = -1.0;
            scenario.control = scenario.control.take().filter(|_| with_control);
        })
        .0
    };
    let terms = |document: &serde_json::Value| -> Vec<serde_json::Value> {
        let budget = document["budget"].as_array().expect("a budget").iter();
        budget.filter(|t| t["term"] == "level").cloned().collect()
    };
    let known = turned(true);
    let step_db = known["level"]["step_db"].as_f64().unwrap();
    assert!((step_db - 1.0).abs() < 0.1, "{step_db}");
    let [level] = terms(&known).try_into().expect("one term of the level");
    assert_eq!(level["common"], true, "one step for all seats");
    let u_db = numbers(&level["u_db"]);
    assert_eq!(u_db.len(), known["bands"].as_array().unwrap().len());
    // At least what a warm loudspeaker may change, and what the seats' steps scatter by.
    assert!(u_db.iter().all(|u| (0.015..0.1).contains(u) && *u == u_db[0]), "{u_db:?}");

    // It is in what is told of the seats: variances add up.
    let seats = known["seats"].as_array().unwrap();
    let told = |seat: &serde_json::Value, band: usize| {
        let t = StudentsT::new(0.0, 1.0, seat["dof"][band].as_f64().unwrap()).unwrap();
        (seat["u95_db"][band].as_f64().unwrap() / t.inverse_cdf(0.975)).powi(2)
    };
    let n_bands = u_db.len();
    let of_seats: Vec<f64> = (0..n_bands)
        .map(|band| (seats.iter().map(|s| told(s, band)).sum::<f64>() / 2.0).sqrt())
        .collect();
    let of_terms: Vec<f64> = (0..n_bands)
        .map(|band| {
            let budget = known["budget"].as_array().unwrap().iter();
            budget.filter_map(|t| t["u_db"][band].as_f64()).map(|u| u * u).sum::<f64>().sqrt()
        })
        .collect();
    assert_close("u of the seats, dB", &of_terms, &of_seats, 1e-4);

    let unknown = turned(false);
    assert!(unknown["level"]["step_db"].is_null() && terms(&unknown).is_empty());
}

#[test]
fn the_microphones_correction_enters_the_levels_and_no_loss() {
    let (plain, _) = analysed(Kind::Woven, |_| {});
    let (corrected, plot) = analysed(Kind::Woven, |scenario| {
        scenario.more_manifest = "[recording]\ncalibration_file = \"mic.csv\"\n".into();
        let rows = "frequency_hz, correction_db\n100, 0\n1000, 2\n10000, -6\n";
        scenario.more_files.push(("mic.csv".into(), rows.into()));
    });
    // The rows as straight lines over the logarithm of frequency, held beyond the ends.
    let correction_db = |hz: f64| match hz.log10() {
        l if l < 3.0 => 2.0 * (l - 2.0).max(0.0),
        l => 2.0 - 8.0 * (l.min(4.0) - 3.0),
    };
    let bands = plain["bands"].as_array().unwrap();
    let hz: Vec<f64> = bands.iter().map(|b| b["exact_hz"].as_f64().unwrap()).collect();
    let level = |document: &serde_json::Value, row: &str| numbers(&document["levels"][row]);
    let sum_db: Vec<f64> = level(&plain, "without_db")
        .iter()
        .zip(&hz)
        .map(|(db, hz)| db + correction_db(*hz))
        .collect();
    // Every level is one against the strongest band of this row.
    let strongest_db = sum_db.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    for row in ["without_db", "with_db", "noise_db"] {
        let want: Vec<f64> = level(&plain, row)
            .iter()
            .zip(&hz)
            .map(|(db, hz)| db + correction_db(*hz) - strongest_db)
            .collect();
        // All three figures are rounded to 0.0001 dB.
        assert_close(row, &level(&corrected, row), &want, 2e-4);
    }
    // What both conditions share cancels.
    assert_eq!(corrected["seats"], plain["seats"]);
    // The plot tells the corrected levels.
    let at = bands.iter().position(|b| b["nominal_hz"] == 10_000.0).unwrap();
    let told = ["without_db", "with_db", "noise_db"].map(|row| level(&corrected, row)[at]);
    for db in told {
        let words = format!("10000 Hz {db:.1}").replace('-', "\u{2212}");
        assert!(plot.contains(&words), "{words}");
    }
}

#[test]
fn other_peoples_files_are_never_in_danger() {
    let dir = with_session("");
    let room = dir.path().join("room");
    let mine = dir.path().join("mine");
    fs::create_dir(&mine).unwrap();
    fs::write(mine.join("bands.csv"), "mine").unwrap();
    let analyze = ["analyze", "room", "--out", "mine"];
    let refused = scrimcheck(dir.path()).args(analyze).assert().code(4).stdout("");
    refused.stderr(contains("bands.csv").and(contains("--force")));
    assert_eq!(contents(&mine).len(), 1);
    scrimcheck(dir.path()).args(analyze).arg("--force").assert().code(0);
    assert_eq!(fs::read_to_string(mine.join("kept-bands.csv")).unwrap(), "mine");
    // The session's own folder is no place for a report.
    let before = contents(&room);
    scrimcheck(dir.path()).args(["analyze", "room", "--out", "room"]).assert().code(4);
    assert_eq!(contents(&room), before);
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 2, "something was left behind");
}

#[test]
fn a_refused_session_leaves_nothing_behind() {
    let dir = with_session("");
    let refused = |session: &str, word: &str| {
        let run = scrimcheck(dir.path()).args(["analyze", session]).assert().code(3).stdout("");
        run.stderr(contains("error: ").and(contains(word)));
        assert!(!dir.path().join("room/report").exists(), "{word}");
    };
    refused("nowhere", "nowhere");
    let manifest = dir.path().join("room/session.toml");
    let good = fs::read_to_string(&manifest).unwrap();
    fs::write(&manifest, good.replace("[sweep]", "[sweep]\nstop_hertz = 1")).unwrap();
    refused("room", "stop_hertz");
    fs::write(&manifest, format!("{good}\n[correction]\nmax_filters = 1\nq = [4.0, 0.3]\n"))
        .unwrap();
    refused("room", "q");
    fs::write(&manifest, &good).unwrap();
    let take = fs::read_dir(dir.path().join("room/takes")).unwrap().next().unwrap().unwrap().path();
    let name = take.file_name().unwrap().to_str().unwrap().to_owned();
    let wav = fs::read(&take).unwrap();
    // A take that cannot be read is left out and named; without any other nothing is left.
    for spoilt in [&wav[..wav.len() / 2], b"no sound"] {
        fs::write(&take, spoilt).unwrap();
        let run = scrimcheck(dir.path()).args(["analyze", "room", "--force"]).assert().code(0);
        run.stdout(contains("left out").and(contains(&*name)));
        fs::remove_dir_all(dir.path().join("room/report")).unwrap();
    }
    for entry in fs::read_dir(dir.path().join("room/takes")).unwrap() {
        fs::write(entry.unwrap().path(), "no sound").unwrap();
    }
    refused("room", &name);
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1, "something was left behind");
}

#[cfg(target_os = "linux")]
#[test]
fn output_that_cannot_be_written_is_status_4() {
    let dir = with_session("");
    let analyze =
        |out: &str| scrimcheck(dir.path()).args(["analyze", "room", "--out", out]).assert();
    analyze("/proc/report").code(4).stderr(contains("cannot be written"));
    fs::write(dir.path().join("file"), "mine").unwrap();
    analyze("file").code(4).stderr(contains("not a folder"));
    analyze("file/below").code(4);
    assert_eq!(fs::read_to_string(dir.path().join("file")).unwrap(), "mine");
    // A full disk under standard output.
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let status = std::process::Command::new(assert_cmd::cargo::cargo_bin("scrimcheck"))
        .args(["analyze", "room"])
        .current_dir(dir.path())
        .stdout(full)
        .stderr(std::process::Stdio::null())
        .status()
        .unwrap();
    assert_eq!(status.code(), Some(4));
}

#[test]
fn colours_and_bars_are_for_terminals_only() {
    let dir = with_session("");
    let run = scrimcheck(dir.path()).args(["analyze", "room"]).assert().code(0);
    let output = run.get_output();
    assert!(!output.stdout.contains(&0x1b) && output.stderr.is_empty());
}

#[test]
fn the_demo_is_made_and_analysed_and_made_again() {
    let dir = tempfile::tempdir().unwrap();
    let demo = || scrimcheck(dir.path()).arg("demo").assert();
    demo().code(0).stdout(contains("invented").and(contains("scrimcheck-demo/report")));
    let folder = dir.path().join("scrimcheck-demo");
    let first = contents(&folder);
    assert_eq!(first.keys().filter(|k| k.extension().is_some_and(|e| e == "wav")).count(), 25);
    let document = json(&first[Path::new("report/result.json")]);
    assert_eq!(document["seats"].as_array().unwrap().len(), 6);
    // It is a session like any other.
    scrimcheck(&folder).args(["analyze", ".", "--out", "../again"]).assert().code(0);
    assert_eq!(
        fs::read(dir.path().join("again/result.json")).unwrap(),
        first[Path::new("report/result.json")]
    );
    // Our own folder is made anew; one with somebody's file in it is not.
    fs::write(folder.join("takes/notes.txt"), "mine").unwrap();
    demo().code(4).stderr(contains("notes.txt"));
    fs::remove_file(folder.join("takes/notes.txt")).unwrap();
    demo().code(0);
    // But for when the takes were written and looked at.
    let lasting = |mut files: BTreeMap<PathBuf, Vec<u8>>| {
        assert!(files.remove(Path::new("report/inputs.json")).is_some());
        files
    };
    assert!(lasting(contents(&folder)) == lasting(first), "the demo differs");
}

#[test]
fn sessions_are_compared_side_by_side() {
    let dir = with_session("");
    let copy = dir.path().join("again");
    fs::create_dir_all(copy.join("takes")).unwrap();
    for (name, bytes) in contents(&dir.path().join("room")) {
        fs::write(copy.join(name), bytes).unwrap();
    }
    let run = scrimcheck(dir.path()).args(["compare", "room", "again", "--out", "c"]).assert();
    run.code(0).stdout(contains("room").and(contains("again")).and(contains("no difference")));
    let written = contents(&dir.path().join("c"));
    for name in ["comparison.csv", "comparison.json", "plots/compare.svg", "plots/compare.png"] {
        assert!(written.contains_key(Path::new(name)), "{name} is missing");
    }
    scrimcheck(dir.path()).args(["compare", "room"]).assert().code(2);
    // A sheet that is only described stands beside the measured one.
    let sheet = "cloth:flow_resistance_pa_s_m=60,areal_mass_g_m2=280";
    scrimcheck(dir.path())
        .args(["compare", "room", "--sheet", sheet, "--gap-m", "0.08"])
        .assert()
        .success()
        .stdout(predicates::str::contains("cloth"));
    scrimcheck(dir.path())
        .args(["compare", "room", "--sheet", "cloth:weight=3"])
        .assert()
        .code(2)
        .stderr(predicates::str::contains("weight"));
    scrimcheck(dir.path()).args(["compare", "room", "nowhere"]).assert().code(3).stdout("");
}
