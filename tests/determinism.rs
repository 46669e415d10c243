//! The same session gives the same bytes in every file, whatever the number of threads,
//! the folder it lies in, and the time and place where it is analysed.

mod support;

use assert_cmd::Command;
use scrimcheck::simulate::{Kind, Scenario, simulate, write};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use support::contents;

/// Three seats, control takes, and every table of the manifest that has its own plot or page.
fn session(folder: &Path) {
    let mut scenario = Scenario::random(Kind::Control, 11).shortened(0.6, 0.2);
    scenario.seats.truncate(3);
    scenario.more_manifest = "
[[claim]]
quantity = \"maximum_loss\"
band_hz = [500, 16000]
limit_db = 3.0

[[claim]]
quantity = \"gain_on_axis\"
minimum = 0.9

[speaker]
power_w = 100.0
amplifier_w = 400.0
driver_limit_w = 60.0
driver_band_hz = [2000, 20000]
sensitivity_db = 91.0

[picture]
reference_gain = 1.0

[handover]
client = \"Invented\"
logo = \"logo.svg\"
"
    .into();
    write(&simulate(&scenario), folder).unwrap();
    fs::write(
        folder.join("readings.csv"),
        "point,angle_deg,screen_cd_m2,reference_cd_m2\ncentre,0,48,50\ncentre,30,40,50\n",
    )
    .unwrap();
    let logo = "<svg xmlns='http://www.w3.org/2000/svg' width='40' height='20'>\
                <rect width='40' height='20' rx='5' fill='#336'/></svg>";
    fs::write(folder.join("logo.svg"), logo).unwrap();
}

/// Analyses `session` with the variables set; the printed document and every file.
fn analyse(session: &Path, variables: &[(&str, &str)]) -> BTreeMap<PathBuf, Vec<u8>> {
    let home = tempfile::tempdir().unwrap();
    let mut command = Command::cargo_bin("scrimcheck").unwrap();
    command.env_clear().current_dir(home.path()).envs(variables.iter().copied());
    command.arg("analyze").arg(session).args(["--json", "--out", "report"]);
    let output = command.assert().code(0).get_output().stdout.clone();
    let mut files = contents(&home.path().join("report"));
    // It says when the takes were written and looked at.
    assert!(files.remove(Path::new("inputs.json")).is_some());
    files.insert("standard output".into(), output);
    files
}

/// Files that are not the same, so that a failure does not print megabytes.
fn differing<'a>(
    one: &'a BTreeMap<PathBuf, Vec<u8>>,
    other: &BTreeMap<PathBuf, Vec<u8>>,
) -> Vec<&'a Path> {
    assert!(one.keys().eq(other.keys()), "{:?} and {:?}", one.keys(), other.keys());
    let differ = |(name, bytes): &(&PathBuf, &Vec<u8>)| other[*name] != **bytes;
    one.iter().filter(differ).map(|(name, _)| name.as_path()).collect()
}

#[test]
fn every_file_has_the_same_bytes_on_any_number_of_threads() {
    let home = tempfile::tempdir().unwrap();
    let room = home.path().join("room");
    session(&room);
    for date in [None, Some("1700000000")] {
        let run = |room: &Path, threads: &str, more: &[(&str, &str)]| {
            let mut variables = vec![("RAYON_NUM_THREADS", threads)];
            variables.extend(more);
            variables.extend(date.map(|d| ("SOURCE_DATE_EPOCH", d)));
            analyse(room, &variables)
        };
        let reference = run(&room, "1", &[]);
        for name in ["result.json", "report.html", "handover.pdf", "plots/loss.png", "curve.csv"] {
            assert!(reference.contains_key(Path::new(name)), "no {name}");
        }
        for threads in ["1", "2", "7"] {
            let again = run(&room, threads, &[]);
            assert_eq!(differing(&reference, &again), [""; 0].map(Path::new), "{threads} threads");
        }
        // Elsewhere, in another time zone and language.
        let moved = home.path().join("other place");
        fs::rename(&room, &moved).unwrap();
        let elsewhere = [("TZ", "Pacific/Kiritimati"), ("LC_ALL", "de_DE.UTF-8")];
        let again = run(&moved, "2", &elsewhere);
        assert_eq!(differing(&reference, &again), [""; 0].map(Path::new), "moved");
        fs::rename(&moved, &room).unwrap();
    }
}

#[test]
fn the_date_of_the_environment_goes_into_the_papers_alone() {
    let home = tempfile::tempdir().unwrap();
    let room = home.path().join("room");
    session(&room);
    let at = |seconds: &str| analyse(&room, &[("SOURCE_DATE_EPOCH", seconds)]);
    let (one, other) = (at("1000000000"), at("1700000000"));
    let papers = [Path::new("handover.pdf"), Path::new("summary.pdf")];
    assert_eq!(differing(&one, &other), papers);
    let text = |files: &BTreeMap<PathBuf, Vec<u8>>| {
        String::from_utf8_lossy(&files[Path::new("handover.pdf")]).into_owned()
    };
    // 2001-09-09 and 2023-11-14, UTC.
    assert!(text(&one).contains("20010909") || text(&one).contains("2001-09-09"));
    assert!(text(&other).contains("20231114") || text(&other).contains("2023-11-14"));
}
