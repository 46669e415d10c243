//! Runs that are interrupted or killed, and two at once.

use super::room::good;
use super::run::{inventory, scrimcheck};
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

fn begin(folder: &Path, arguments: &[&str]) -> Child {
    Command::new(assert_cmd::cargo::cargo_bin("scrimcheck"))
        .current_dir(folder)
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

fn signal(child: &Child, name: &str) {
    let status = Command::new("kill").arg(format!("-{name}")).arg(child.id().to_string()).status();
    assert!(status.unwrap().success());
}

fn analyse(folder: &Path) {
    let arguments = ["analyze", "room"].map(str::to_owned);
    let run = scrimcheck(folder, &arguments).output().unwrap();
    assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
}

/// How long the command takes, undisturbed.
fn length(folder: &Path, arguments: &[&str]) -> Duration {
    let clock = Instant::now();
    assert!(begin(folder, arguments).wait().unwrap().success());
    clock.elapsed()
}

#[test]
fn an_interrupted_run_leaves_the_previous_report_or_the_new_one_and_nothing_else() {
    for name in ["INT", "TERM"] {
        let home = tempfile::tempdir().unwrap();
        good(&home.path().join("room"));
        let whole = length(home.path(), &["analyze", "room"]);
        let report = inventory(home.path());
        // The same session gives the same bytes, so that only times may differ.
        let names = |folder: &Path| inventory(folder).into_keys().collect::<Vec<_>>();
        let before = names(home.path());
        let mut interrupted = 0;
        // Spread over the run; on a busy machine some come too late.
        for step in 0..24 {
            if interrupted == 8 {
                break;
            }
            let mut child = begin(home.path(), &["analyze", "room"]);
            std::thread::sleep(whole.mul_f64(f64::from(step % 8) / 8.0));
            let ended = child.try_wait().unwrap().is_some();
            if !ended {
                signal(&child, name);
            }
            let status = child.wait().unwrap();
            // 130 as the shell tells it; the signal itself before the program is set up.
            let code = status.code();
            assert!(code.is_none() || code == Some(130) || code == Some(0), "{status:?}");
            interrupted += usize::from(code != Some(0));
            assert_eq!(names(home.path()), before, "after {name} at step {step}");
        }
        assert!(interrupted > 0, "{name} always came too late");
        let now = inventory(home.path());
        for (path, (kind, len, _)) in &report {
            if path.ends_with("inputs.json") {
                inputs_are_whole(&home.path().join(path));
                continue;
            }
            assert_eq!((*kind, *len), (now[path].0, now[path].1), "{path:?} is not whole");
        }
    }
}

/// It tells when the takes were looked at, and nothing where they had just been written: its length
/// differs from run to run, but it is one whole document.
fn inputs_are_whole(path: &Path) {
    let text = fs::read_to_string(path).unwrap();
    let list: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert!(list["files"].is_array() && text.ends_with('\n'), "{text}");
}

#[test]
fn a_killed_run_leaves_no_half_report_and_the_next_one_clears_up() {
    let home = tempfile::tempdir().unwrap();
    good(&home.path().join("room"));
    let before = inventory(home.path());
    let whole = length(home.path(), &["analyze", "room"]);
    fs::remove_dir_all(home.path().join("room/report")).unwrap();
    for step in 0..12 {
        let mut child = begin(home.path(), &["analyze", "room"]);
        // Most of them late, where files are written.
        std::thread::sleep(whole.mul_f64(0.6 + 0.45 * f64::from(step) / 11.0));
        if child.try_wait().unwrap().is_none() {
            signal(&child, "KILL");
        }
        child.wait().unwrap();
        let report = home.path().join("room/report");
        if report.exists() {
            for name in [".scrimcheck", "result.json", "bands.csv", "report.html", "handover.pdf"] {
                assert!(report.join(name).is_file(), "half a report: no {name}");
            }
        }
    }
    analyse(home.path());
    let mut after = inventory(home.path());
    after.retain(|path, _| !path.starts_with("room/report"));
    assert_eq!(after, before, "what killed runs left was not cleared away");
}

#[test]
fn runs_at_once_on_one_session_end_with_one_whole_report() {
    let home = tempfile::tempdir().unwrap();
    good(&home.path().join("room"));
    analyse(home.path());
    let alone = inventory(&home.path().join("room/report"));
    let before: Vec<_> = inventory(home.path()).into_keys().collect();
    let children: Vec<Child> = (0..6).map(|_| begin(home.path(), &["analyze", "room"])).collect();
    for child in children {
        let out = child.wait_with_output().unwrap();
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    }
    assert_eq!(inventory(home.path()).into_keys().collect::<Vec<_>>(), before);
    let now = inventory(&home.path().join("room/report"));
    inputs_are_whole(&home.path().join("room/report/inputs.json"));
    for (path, (kind, len, _)) in alone.into_iter().filter(|(p, _)| !p.ends_with("inputs.json")) {
        assert_eq!((kind, len), (now[&path].0, now[&path].1), "{path:?}");
    }
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let home = tempfile::tempdir().unwrap();
    good(&home.path().join("room"));
    let mut child = Command::new(assert_cmd::cargo::cargo_bin("scrimcheck"))
        .current_dir(home.path())
        .args(["analyze", "room", "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let out = child.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success() && !said.contains("panicked"), "{:?} {said}", out.status);
}
