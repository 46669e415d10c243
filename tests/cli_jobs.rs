//! Many jobs at once, by the built command: what each sheet did, the choice for the next room, one
//! room measured twice.

mod support;

use assert_cmd::Command;
use predicates::prelude::*;
use std::fs;
use std::path::Path;
use std::time::Instant;
use support::contents;

fn scrimcheck(folder: &Path) -> Command {
    let mut command = Command::cargo_bin("scrimcheck").unwrap();
    command.env("NO_COLOR", "1").current_dir(folder);
    command
}

/// A copy of the small session as a job: `client` in its title, `sheet` as the name of its sheet,
/// claims as in the manifest.
fn job(jobs: &Path, name: &str, client: &str, sheet: &str) {
    let small = Path::new(env!("CARGO_MANIFEST_DIR")).join("sessions/three-seats");
    let folder = jobs.join(name);
    for (file, bytes) in contents(&small) {
        if file.starts_with("report") {
            continue;
        }
        let to = folder.join(&file);
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::write(to, bytes).unwrap();
    }
    edit(&folder, "Invented cloth no. 1", sheet);
    edit(&folder, "Small session (simulated)", client);
    edit(&folder, "client = \"Invented client\"", &format!("client = \"{client}\""));
}

fn edit(folder: &Path, from: &str, to: &str) {
    let path = folder.join("session.toml");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(path, text.replace(from, to)).unwrap();
    // What is written within a tick of the clock before a run is analysed again by the next one.
    std::thread::sleep(std::time::Duration::from_millis(60));
}

fn json(output: &[u8]) -> serde_json::Value {
    serde_json::from_slice(output).unwrap()
}

fn compare(home: &Path, more: &[&str]) -> (serde_json::Value, String) {
    let output = scrimcheck(home).args(["compare", "jobs", "--json"]).args(more).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success(), "{said}");
    (json(&output.stdout), said)
}

#[test]
fn jobs_are_analysed_once_and_again_only_when_they_change() {
    let home = tempfile::tempdir().unwrap();
    let jobs = home.path().join("jobs");
    job(&jobs, "spring/one", "Client Quux", "Open weave");
    job(&jobs, "two", "Client Babel", "OPEN  weave ");
    job(&jobs, "three", "Client Cabel", "Open waeve");
    fs::create_dir_all(jobs.join("notes")).unwrap();
    // What is written in the moment of the analysis is not trusted, and looked at again.
    std::thread::sleep(std::time::Duration::from_millis(200));

    let (first, said) = compare(home.path(), &[]);
    assert!(said.contains("for the first time") && said.contains(": 3"), "{said}");
    // Two spellings of one name are one sheet; a slip is asked about and kept apart.
    assert_eq!(first["n_jobs"], 3);
    assert_eq!(first["sheets"].as_array().unwrap().len(), 2);
    assert_eq!(first["sheets"][0]["rooms"].as_array().unwrap().len(), 2);
    assert!(first["questions"][0].as_str().unwrap().contains("--same"), "{first}");
    // The figures are those of the reports.
    let report = json(&fs::read(jobs.join("two/report/result.json")).unwrap());
    let loss = report["headline"]["mean_loss_db"].as_f64().unwrap();
    let mean = first["sheets"][0]["mean_loss_db"]["mean"].as_f64().unwrap();
    assert!((mean - loss).abs() < 1e-5, "{mean} {loss}");
    assert!(jobs.join("spring/one/report/handover.pdf").is_file());

    let started = Instant::now();
    let (second, said) = compare(home.path(), &["--same", "open weave=open waeve"]);
    assert_eq!(said, "", "nothing changed");
    assert!(started.elapsed().as_secs_f64() < 5.0);
    assert_eq!(second["sheets"].as_array().unwrap().len(), 1);
    assert_eq!(second["questions"], serde_json::json!([]));

    // A manifest that changed, and a take that changed though its length and date did not.
    edit(&jobs.join("two"), "gap_m = 0.080", "gap_m = 0.081");
    let take = jobs.join("three/takes/R1C_with_1.wav");
    let date = fs::metadata(&take).unwrap().modified().unwrap();
    let mut bytes = fs::read(&take).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(&take, bytes).unwrap();
    fs::File::options().write(true).open(&take).unwrap().set_modified(date).unwrap();
    std::thread::sleep(std::time::Duration::from_millis(60));
    let (_, said) = compare(home.path(), &["--distinct", "open weave=open waeve"]);
    assert!(said.contains("session.toml changed; analysed anew"), "{said}");
    assert!(said.contains("R1C_with_1.wav changed; analysed anew"), "{said}");
    assert_eq!(said.lines().count(), 2, "{said}");

    // A report of another version is told and made anew.
    let list = jobs.join("two/report/inputs.json");
    let text = fs::read_to_string(&list).unwrap();
    let version = format!("\"program\":\"{}\"", env!("CARGO_PKG_VERSION"));
    assert!(text.contains(&version));
    fs::write(&list, text.replace(&version, "\"program\":\"0.0.1\"")).unwrap();
    let (_, said) = compare(home.path(), &[]);
    assert!(said.contains("analysed by version 0.0.1"), "{said}");
}

#[test]
fn what_is_shared_names_no_client_unless_asked() {
    let home = tempfile::tempdir().unwrap();
    let jobs = home.path().join("jobs");
    for (name, client) in [("folder-of-quux", "Client Quux"), ("second", "Client Babel")] {
        job(&jobs, name, client, "Open weave");
    }
    for with_names in [false, true] {
        let mut run = scrimcheck(home.path());
        run.args(["compare", "jobs", "--out", "papers"]);
        if with_names {
            run.arg("--with-names");
        }
        run.assert().success();
        let files = contents(&home.path().join("papers"));
        for name in ["sheets.csv", "sheets.json", "sheets.html", "sheets.pdf", "plots/sheets.svg"] {
            assert!(files.contains_key(Path::new(name)), "{name}");
        }
        let told = files.iter().any(|(_, bytes)| {
            let text = String::from_utf8_lossy(bytes);
            text.contains("Quux") || text.contains("folder-of-quux")
        });
        assert_eq!(told, with_names);
    }
}

#[test]
fn the_next_room_is_typed_or_read_from_its_manifest() {
    let home = tempfile::tempdir().unwrap();
    let jobs = home.path().join("jobs");
    job(&jobs, "one", "Client Quux", "Open weave");
    // A room that is only begun: its sheet is described.
    job(&jobs, "next", "Client Next", "Heavy weave");
    edit(&jobs.join("next"), "flow_resistance_pa_s_m = 60.0", "flow_resistance_pa_s_m = 600.0");
    edit(&jobs.join("next"), "gap_m = 0.080", "gap_m = 0.12");
    fs::remove_dir_all(jobs.join("next/takes")).unwrap();
    let text = fs::read_to_string(jobs.join("next/session.toml")).unwrap();
    let without_takes = text.split("[[take]]").next().unwrap().to_owned();
    let rest = text.find("[speaker]").map_or("", |i| &text[i..]);
    fs::write(jobs.join("next/session.toml"), without_takes + rest).unwrap();

    let run = scrimcheck(home.path())
        .args(["choose", "jobs", "--room", "jobs/next/session.toml", "--json"])
        .args(["--sheet", "Thin film:areal_mass_g_m2=20"])
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let choice = json(&run.stdout);
    assert_eq!(choice["room"]["gap_m"], 0.12);
    let names: Vec<&str> = choice["candidates"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| c["name"].as_str().unwrap())
        .collect();
    assert_eq!(names.len(), 3, "{names:?}");
    assert_eq!(*names.last().unwrap(), "Heavy weave");
    let by_name = |name: &str| {
        choice["candidates"].as_array().unwrap().iter().find(|c| c["name"] == name).unwrap().clone()
    };
    assert_eq!(by_name("Open weave")["evidence"]["n_rooms"], 1);
    assert_eq!(by_name("Thin film")["evidence"]["from"], "described");
    // 600 Pa s/m: 20 lg (1 + 600 / 826.5) = 4.74 dB without an echo.
    let heavy = by_name("Heavy weave")["mean_loss_db"]["value"].as_f64().unwrap();
    assert!((3.0..6.5).contains(&heavy), "{heavy}");
    assert!(by_name("Open weave")["luminance_cd_m2"].is_object(), "{choice}");
    // Typed beside the manifest: what is typed counts first.
    scrimcheck(home.path())
        .args(["choose", "jobs", "--room", "jobs/next", "--gap-m", "7"])
        .assert()
        .code(2)
        .stderr(predicate::str::contains("the gap is 7"));
    scrimcheck(home.path())
        .args(["choose", "jobs", "--gap-m", "0.1", "--seat", "3,0.5", "--width-m", "3"])
        .assert()
        .success()
        .stdout(predicate::str::contains("measured in 1 room"));
}

#[test]
fn a_room_measured_twice_shows_what_changed_and_where() {
    let home = tempfile::tempdir().unwrap();
    let jobs = home.path().join("jobs");
    job(&jobs, "old", "Client Quux", "Open weave");
    job(&jobs, "new", "Client Quux", "Open weave");
    let again = |args: &[&str]| {
        let output = scrimcheck(home.path())
            .args(["compare", "jobs/old", "jobs/new", "--same-room"])
            .args(args)
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        output.stdout
    };
    let same = json(&again(&["--json"]));
    assert_eq!(same["likely"], serde_json::json!([]), "{same}");
    assert_eq!(same["titles"], serde_json::Value::Null);
    assert!(String::from_utf8(again(&[])).unwrap().contains("No change of the loss is shown"));
    // Half of the pressure at one seat with the screen: 6 dB at all bands there.
    for n in 1..=2 {
        let path = jobs.join(format!("new/takes/R1C_with_{n}.wav"));
        let mut reader = hound::WavReader::open(&path).unwrap();
        let spec = reader.spec();
        let samples: Vec<i32> = reader.samples().map(|s| s.unwrap()).collect();
        let mut writer = hound::WavWriter::create(&path, spec).unwrap();
        samples.iter().for_each(|s| writer.write_sample(s / 2).unwrap());
        writer.finalize().unwrap();
    }
    let changed = json(&again(&["--json", "--out", "again"]));
    let seat = |id: &str| {
        let seats = changed["seats"].as_array().unwrap();
        seats.iter().find(|s| s["id"] == id).map(|s| s["bands"].as_array().unwrap().clone())
    };
    let shown = |id: &str| {
        seat(id).map(|bands| bands.iter().filter(|b| b["loss_db"]["shown"] == true).count())
    };
    // A seat whose level fell by itself may be left out by the judge; then it is named.
    match shown("R1C") {
        Some(n) => assert!(n > 10, "{changed}"),
        None => assert!(changed["seats_of_one"].to_string().contains("R1C")),
    }
    assert_eq!(shown("R1L"), Some(0));
    assert!(home.path().join("again/again.pdf").is_file());
}

#[test]
fn what_cannot_be_compared_is_refused_with_what_to_do() {
    let home = tempfile::tempdir().unwrap();
    let jobs = home.path().join("jobs");
    job(&jobs, "one", "Client Quux", "Open weave");
    edit(&jobs.join("one"), "name = \"Open weave\"", "");
    let refused = |args: &[&str], code: i32, words: &str| {
        scrimcheck(home.path())
            .args(args)
            .assert()
            .code(code)
            .stderr(predicate::str::contains(words));
    };
    refused(&["compare", "jobs"], 3, "write screen.name into");
    refused(&["compare", "jobs", "--sheet", "a:areal_mass_g_m2=20"], 2, "choose --sheet");
    refused(&["compare", "jobs/one", "--same-room"], 2, "needs two sessions");
    refused(&["compare", "jobs/one", "jobs/one", "--same"], 2, "");
    refused(&["compare", "jobs/one", "jobs/one", "--same", "a=b"], 2, "folder of sessions");
    refused(&["compare", "jobs", "--same", "a"], 2, "is no pair of names");
    refused(&["compare", "nowhere", "jobs/nothing"], 3, "nowhere");
    refused(&["choose", "nowhere"], 3, "no sheet is known");
}
