//! Runs of `scrimcheck predict`.

use assert_cmd::Command;
use predicates::prelude::*;

fn predict() -> Command {
    let mut command = Command::cargo_bin("scrimcheck").unwrap();
    command.env("NO_COLOR", "1").arg("predict");
    command
}

#[test]
fn a_weave_of_the_impedance_of_air_loses_three_and_a_half_db() {
    // 20 lg 1.5 = 3.52 dB at all frequencies (closed form for Rs = rho c), 1.5^2 = 2.25 in power.
    predict()
        .args(["--set", "flow_resistance_pa_s_m=413.25", "--set", "name=weave"])
        .assert()
        .success()
        .stdout(predicate::str::contains("Loses 3.5 dB at 10 kHz"))
        .stdout(
            predicate::str::contains("needs 2.25 times the power")
                .and(predicate::str::contains("2.25 times for pink")),
        )
        .stderr("");
}

#[test]
fn sheets_side_by_side_as_json() {
    let output = predict()
        .args(["--sheet", "a:flow_resistance_pa_s_m=413.25", "--sheet", "b:areal_mass_g_m2=50"])
        .args(["--gap-m", "0.2", "--angle-deg", "0,30", "--json"])
        .args(["--width-m", "3", "--seat", "4,-2"])
        .output()
        .unwrap();
    assert!(output.status.success());
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(json["format"], "scrimcheck-forecast");
    assert_eq!(json["sheets"][1]["sheet"]["name"], "b");
    assert_eq!(json["sheets"][0]["angles"].as_array().unwrap().len(), 2);
    let spacing = json["sheets"][0]["angles"][0]["comb"]["spacing_hz"].as_f64().unwrap();
    assert!((spacing - 858.0).abs() < 0.01, "c / 2d for 0.20 m: {spacing}");
    // Off-axis form, w = 3, D = 4, x = 2: 34.061 degrees (computed).
    let angle = json["seats"][0]["picture"]["angle_deg"].as_f64().unwrap();
    assert!((angle - 34.061).abs() < 1e-3, "{angle}");
}

#[test]
fn plots_and_tables_go_into_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("forecast");
    let run = || {
        let mut command = predict();
        command.args(["--set", "hole_diameter_mm=0.5", "--set", "hole_pitch_mm=2"]);
        command.args(["--set", "thickness_mm=0.3"]);
        command.args(["--gap-m", "0.08", "--out"]).arg(&out);
        command
    };
    run().assert().success().stderr(predicate::str::contains("Wrote"));
    for name in ["forecast.csv", "forecast-curve.csv", "forecast.json", "plots/forecast.svg"] {
        assert!(out.join(name).is_file(), "{name} is missing");
    }
    // A second run replaces its own files, but not others'.
    run().assert().success();
    std::fs::write(out.join("notes.txt"), "mine").unwrap();
    run().assert().code(4).stderr(predicate::str::contains("notes.txt"));
}

#[test]
fn what_cannot_be_used_is_refused_with_its_name() {
    for (arguments, words) in [
        (vec![], vec!["no sheet is described"]),
        (vec!["--set", "hole_diameter_mm=0.5"], vec!["thickness_mm"]),
        (vec!["--set", "gap_m"], vec!["--set is \"gap_m\"", "gap_m=0.08"]),
        (vec!["--set", "width_m=wide"], vec!["--set width_m", "above 0"]),
        (vec!["--set", "gap_m=0.1"], vec!["no sheet is described"]),
        (vec!["--sheet", "x:hole=1"], vec!["\"x\"", "did you mean hole_diameter_mm"]),
        (vec!["--set", "areal_mass_g_m2=none"], vec!["areal_mass_g_m2", "none"]),
        (vec!["--set", "areal_mass_g_m2=50", "--gap-m", "0"], vec!["gap", "0.005 to 3 m"]),
        (vec!["--set", "areal_mass_g_m2=50", "--gap-m", "NaN"], vec!["gap"]),
        (vec!["--set", "areal_mass_g_m2=50", "--angle-deg", "85"], vec!["angle", "80"]),
        (vec!["--set", "areal_mass_g_m2=50", "--temperature-c", "-80"], vec!["temperature"]),
        (
            vec!["--set", "areal_mass_g_m2=50", "--width-m", "3", "--seat", "x"],
            vec!["--seat", "\"x\""],
        ),
        (vec!["--set", "areal_mass_g_m2=50", "--seat", "3"], vec!["--width-m"]),
    ] {
        let mut run = predict().args(&arguments).assert().code(2).stdout("");
        for word in words {
            run = run.stderr(predicate::str::contains(word));
        }
    }
}

#[test]
fn the_sheet_of_a_session_is_described_by_its_manifest() {
    let home = tempfile::tempdir().unwrap();
    let at = |name: &str| home.path().join(name);
    let start = |folder: &str| {
        let mut command = Command::cargo_bin("scrimcheck").unwrap();
        command.arg("start").arg(at(folder)).args(["--seats", "A", "--duration-s", "0.5"]);
        command.assert().success();
    };
    start("room");
    let toml = at("room/session.toml");
    let text = std::fs::read_to_string(&toml).unwrap();
    let screen = "[screen]\nname = \"Weave\"\nflow_resistance_pa_s_m = 413.25\ngap_m = 0.2\n\
                  width_m = 3.0\nheight_m = 1.5\nweave_pitch_mm = 1.0\n";
    let text = text.replacen("[screen]", screen, 1);
    let seat = "id = \"A\"\nposition_m = [4.2, -2.0, 1.1]\n";
    let text = text.replacen("id = \"A\"", seat, 1);
    std::fs::write(&toml, text).unwrap();
    let json = |more: &[&str]| -> serde_json::Value {
        let output = predict().arg(&toml).args(more).arg("--json").output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let told = json(&[]);
    assert_eq!(told["sheets"][0]["sheet"]["name"], "Weave");
    // c / 2d for 0.20 m, and the seat of the off-axis form above: 4 m from the sheet.
    let spacing =
        |f: &serde_json::Value| f["sheets"][0]["angles"][0]["comb"]["spacing_hz"].as_f64().unwrap();
    assert!((spacing(&told) - 858.0).abs() < 0.01, "{told}");
    let angle = told["seats"][0]["picture"]["angle_deg"].as_f64().unwrap();
    assert!((angle - 34.061).abs() < 1e-3, "{angle}");
    // What is typed stands in place of what the file says.
    let typed = json(&["--set", "gap_m=0.1", "--set", "name=Other"]);
    assert_eq!(typed["sheets"][0]["sheet"]["name"], "Other");
    assert!((spacing(&typed) - 1716.0).abs() < 0.01, "{typed}");

    // A screen of which nothing is known, and a file that is not there.
    start("new");
    predict()
        .arg(at("new"))
        .assert()
        .code(2)
        .stdout("")
        .stderr(predicate::str::contains("[screen] says nothing of the sheet itself"));
    predict().arg(at("nowhere")).assert().code(3).stderr(predicate::str::contains("nowhere"));
}
