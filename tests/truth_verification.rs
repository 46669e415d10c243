//! `corrected` takes on real folders: the setting of the program, entered rightly and wrongly
//! in the simulated processor.

use assert_cmd::Command;
use scrimcheck::simulate::scenario::Equaliser;
use scrimcheck::simulate::{Kind, Scenario, simulate, write};
use serde_json::Value;
use std::path::Path;
use std::sync::OnceLock;

fn scenario() -> Scenario {
    let mut s = Scenario::random(Kind::Woven, 9003).shortened(1.5, 0.2);
    s.seats.truncate(3);
    s.gap_m = 0.07;
    s.stated_gap_m = Some(0.07);
    // Level alone would suit this cloth within the usual tolerance; here filters are to be told.
    s.more_manifest = "[correction]\ntolerance_rms_db = 0.2\n".into();
    s
}

fn analyzed(folder: &Path) -> (String, Value) {
    let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
    let run = command.env_clear().arg("analyze").arg(folder).assert().code(0);
    let text = String::from_utf8_lossy(&run.get_output().stdout).into_owned();
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let result = std::fs::read(folder.join("report/result.json")).unwrap();
    (words, serde_json::from_slice(&result).expect("JSON"))
}

/// The setting that `correction.json` tells the installer to enter.
fn setting() -> &'static Equaliser {
    static SETTING: OnceLock<Equaliser> = OnceLock::new();
    SETTING.get_or_init(|| {
        let dir = tempfile::tempdir().unwrap();
        write(&simulate(&scenario()), dir.path()).unwrap();
        let (_, result) = analyzed(dir.path());
        let file = std::fs::read(dir.path().join("report/correction.json")).unwrap();
        let file: Value = serde_json::from_slice(&file).expect("JSON");
        let number = |v: &Value| v.as_f64().expect("a number");
        let sections: Vec<[f64; 5]> = file["sections"]
            .as_array()
            .unwrap()
            .iter()
            .map(|s| ["b0", "b1", "b2", "a1", "a2"].map(|key| number(&s[key])))
            .collect();
        assert!(!sections.is_empty(), "this cloth needs filters");
        let trim_db = number(&result["correction"]["trim_db"]);
        assert!(trim_db >= 1.0, "a level that can be missed: {trim_db} dB");
        Equaliser { trim_db, sections, rate_hz: number(&file["rate_hz"]) }
    })
}

/// Verdict and what is said about takes recorded with this in the processor.
fn verdict(entered: Equaliser) -> (String, String) {
    let dir = tempfile::tempdir().unwrap();
    let mut s = scenario();
    s.equaliser = Some(entered);
    write(&simulate(&s), dir.path()).unwrap();
    let (said, result) = analyzed(dir.path());
    let verification = &result["verification"];
    let sentence = verification["sentence"].as_str().unwrap().to_owned();
    println!("{sentence} {}", verification["advice"].as_str().unwrap_or(""));
    let sentence = sentence.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(said.matches(&sentence).count(), 1, "told once and only once: {said}");
    (verification["verdict"].as_str().unwrap().to_owned(), sentence)
}

/// The inverse of every filter: gains with the opposite sign.
fn inverse(sections: &[[f64; 5]]) -> Vec<[f64; 5]> {
    let turn = |&[b0, b1, b2, a1, a2]: &[f64; 5]| [1.0 / b0, a1 / b0, a2 / b0, b1 / b0, b2 / b0];
    sections.iter().map(turn).collect()
}

#[test]
fn the_setting_as_asked_is_told_as_active() {
    let (verdict, sentence) = verdict(setting().clone());
    assert!(["achieved", "done_but_left_over"].contains(&verdict.as_str()), "{verdict}");
    assert!(sentence.contains("is active and does what was asked"), "{sentence}");
}

#[test]
fn a_setting_that_was_not_active_or_on_another_channel_is_told() {
    let idle = Equaliser { trim_db: 0.0, sections: Vec::new(), ..setting().clone() };
    let (verdict, sentence) = verdict(idle);
    assert_eq!(verdict, "not_active", "{sentence}");
    assert!(sentence.contains("no change: the setting was not active"), "{sentence}");
}

#[test]
fn gains_of_the_wrong_sign_double_the_loss_and_are_told() {
    let s = setting();
    let turned = Equaliser { trim_db: -s.trim_db, sections: inverse(&s.sections), ..s.clone() };
    let (verdict, sentence) = verdict(turned);
    assert_eq!(verdict, "inverted", "{sentence}");
    assert!(sentence.contains("the wrong way round"), "{sentence}");
}

#[test]
fn a_setting_that_is_active_twice_is_told() {
    let s = setting();
    let sections = [s.sections.clone(), s.sections.clone()].concat();
    let (verdict, sentence) =
        verdict(Equaliser { trim_db: 2.0 * s.trim_db, sections, ..s.clone() });
    assert_eq!(verdict, "twice", "{sentence}");
    assert!(sentence.contains("twice what was asked"), "{sentence}");
}

#[test]
fn level_without_filters_and_filters_without_level_are_told_apart() {
    let s = setting();
    let (verdict_a, said) = verdict(Equaliser { sections: Vec::new(), ..s.clone() });
    assert_eq!(verdict_a, "filters_not_active", "{said}");
    let (verdict_b, said) = verdict(Equaliser { trim_db: 0.0, ..s.clone() });
    assert_eq!(verdict_b, "trim_not_applied", "{said}");
}

#[test]
fn the_last_filter_left_out_is_named() {
    let s = setting();
    assert!(s.sections.len() > 1, "more than one filter: {s:?}");
    let sections = s.sections[..s.sections.len() - 1].to_vec();
    let (verdict, said) = verdict(Equaliser { sections, ..s.clone() });
    assert_eq!(verdict, "sections_differ", "{said}");
}
