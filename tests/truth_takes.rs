//! Distortion and rattle through the whole program, on simulated folders whose harmonics and
//! ticks are known.

use assert_cmd::Command;
use scrimcheck::simulate::drive::Harmonics;
use scrimcheck::simulate::room::Wall;
use scrimcheck::simulate::scenario::{Equaliser, Rattle};
use scrimcheck::simulate::sheet::Sheet;
use scrimcheck::simulate::{Kind, Scenario, simulate, write};
use serde_json::Value;
use std::path::Path;

fn program(verb: &str, folder: &Path) -> Command {
    let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
    command.env_clear().arg(verb).arg(folder);
    command
}

fn document(verb: &str, folder: &Path) -> Value {
    let run = program(verb, folder).arg("--json").assert().code(0);
    serde_json::from_slice(&run.get_output().stdout).expect("JSON")
}

fn folder(scenario: &Scenario) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    write(&simulate(scenario), dir.path()).unwrap();
    dir
}

/// Two seats in front of a flat loudspeaker without walls: what comes out of the loudspeaker
/// reaches the microphone with all frequencies alike.
fn dry() -> Scenario {
    let mut s = Scenario::random(Kind::Woven, 31).shortened(3.0, 0.1).with_snr_db(90.0);
    s.seats.truncate(2);
    s.spots = 1;
    s.trail_s = 0.4;
    s.room.walls = [Wall { low: 0.0, high: 0.0, corner_hz: 1000.0 }; 6];
    s.seat_back = None;
    s.sheet = Sheet::None;
    s.speaker.crossover = None;
    s.speaker.high_pass_hz = 5.0;
    s.speaker.low_pass_hz = 1e6;
    s.speaker.ripple.clear();
    s.speaker.edges.clear();
    s.speaker.directivity_hz = 1e7;
    s
}

#[test]
fn harmonics_of_a_known_nonlinearity_come_out_as_they_went_in() {
    let mut s = dry();
    // 1 % and 0.3 % without, 3 % and 1 % with the screen.
    s.harmonics =
        [Harmonics { second: 0.01, third: 0.003 }, Harmonics { second: 0.03, third: 0.01 }];
    let dir = folder(&s);
    let result = document("analyze", dir.path());
    for (condition, made) in ["without", "with"].iter().zip(s.harmonics) {
        let found = &result["distortion"][condition];
        let hz: Vec<f64> = numbers(&found["fundamental_hz"]).into_iter().flatten().collect();
        for (harmonic, share) in found["harmonics"].as_array().unwrap().iter().zip([
            Some(made.second),
            Some(made.third),
            None,
            None,
        ]) {
            let order = harmonic["order"].as_f64().unwrap();
            let levels = numbers(&harmonic["level_db"]);
            let inside =
                hz.iter().zip(&levels).filter(|(hz, _)| **hz > 150.0 && order * **hz < 17e3);
            let mut checked = 0;
            for (hz, level) in inside {
                match share {
                    Some(share) => {
                        let want_db = 20.0 * share.log10();
                        let level = level.expect("far above the noise");
                        assert!(
                            (level - want_db).abs() < 0.7,
                            "{condition}, order {order}, {hz:.0} Hz: {level:.2} dB, made {want_db:.2}"
                        );
                    }
                    None => assert!(level.is_none_or(|db| db < -70.0), "order {order}: {level:?}"),
                }
                checked += 1;
            }
            assert!(checked >= 20, "order {order}: {checked} points");
        }
    }
}

#[test]
fn an_equaliser_that_drives_the_tweeter_harder_is_warned_of() {
    let mut s = dry();
    s.harmonics = [Harmonics { second: 0.006, third: 0.0 }; 2];
    s.equaliser = Some(Equaliser { trim_db: 0.0, sections: Vec::new(), rate_hz: 48_000.0 });
    let dir = folder(&s);
    let warned = |dir: &Path| {
        let result = document("analyze", dir);
        let all = result["warnings"].as_array().unwrap().clone();
        all.into_iter().find(|w| w["topic"] == "distortion")
    };
    assert_eq!(warned(dir.path()), None, "0.6 % in every condition");
    // The corrected takes again, from a loudspeaker that bends three times as much.
    let mut driven = s.clone();
    driven.harmonics = [Harmonics { second: 0.018, third: 0.0 }; 2];
    let other = folder(&driven);
    copy_takes(other.path(), dir.path(), "_corrected_");
    let warning = warned(dir.path()).expect("1.8 % instead of 0.6 %");
    let message = warning["message"].as_str().unwrap();
    assert!(message.contains("order 2 rises by 10 dB") || message.contains("by 9 dB"), "{message}");
}

/// A short session of three seats in an ordinary room.
fn room() -> Scenario {
    let mut s = Scenario::random(Kind::Woven, 47).shortened(2.5, 0.2);
    s.seats.truncate(3);
    s.trail_s = 0.9;
    s.gap_m = 0.08;
    s.stated_gap_m = Some(0.08);
    if let Some(noise) = &mut s.noise {
        noise.hum = 0.0;
    }
    s
}

fn ticking() -> Scenario {
    let mut s = room();
    s.rattle = Some(Rattle { low_hz: 90.0, high_hz: 140.0, level_db: -10.0 });
    s
}

fn ranges(folder: &Path) -> Vec<Value> {
    document("check", folder)["rattle"]["ranges"].as_array().unwrap().clone()
}

#[test]
fn ticks_that_come_with_the_screen_are_found_in_their_range() {
    let dir = folder(&ticking());
    let found = ranges(dir.path());
    assert_eq!(found.len(), 1, "{found:?}");
    let (low, high) = (found[0]["low_hz"].as_f64().unwrap(), found[0]["high_hz"].as_f64().unwrap());
    assert!((78.0..100.0).contains(&low) && (126.0..162.0).contains(&high), "{found:?}");
    assert_eq!(found[0]["seats"].as_array().unwrap().len(), 3);
    let run = program("analyze", dir.path()).assert().code(0);
    let said = words(&run.get_output().stdout);
    assert!(said.contains("Something rattles with the screen hung"), "{said}");
    assert!(!said.contains("No rattle was found"), "{said}");
}

#[test]
fn what_is_not_the_screen_raises_no_alarm() {
    let quiet = folder(&room());
    assert_eq!(ranges(quiet.path()), Vec::<Value>::new(), "clean");
    let run = program("analyze", quiet.path()).assert().code(0);
    let said = words(&run.get_output().stdout);
    assert!(said.contains("No rattle was found with the screen. The noise of the room"), "{said}");

    let mut bent = room();
    bent.harmonics = [Harmonics { second: 0.03, third: 0.02 }; 2];
    assert_eq!(ranges(folder(&bent).path()), Vec::<Value>::new(), "distortion in both conditions");

    // The room grew louder between the conditions.
    let noisy = folder(&room().with_snr_db(30.0));
    copy_takes(noisy.path(), quiet.path(), "_with_");
    assert_eq!(ranges(quiet.path()), Vec::<Value>::new(), "louder noise with the screen");

    // Ticks in one take of one seat only.
    let single = folder(&room());
    let first = format!("{}_with_1", room().seats[0].id);
    copy_takes(folder(&ticking()).path(), single.path(), &first);
    assert_eq!(ranges(single.path()), Vec::<Value>::new(), "ticks in a single take");
}

/// Copies the takes whose name holds `part`; there must be some.
fn copy_takes(from: &Path, to: &Path, part: &str) {
    let mut copied = 0;
    for entry in std::fs::read_dir(from.join("takes")).unwrap() {
        let name = entry.unwrap().file_name();
        if name.to_string_lossy().contains(part) {
            std::fs::copy(from.join("takes").join(&name), to.join("takes").join(&name)).unwrap();
            copied += 1;
        }
    }
    assert!(copied > 0, "no take is called {part}");
}

fn numbers(list: &Value) -> Vec<Option<f64>> {
    list.as_array().unwrap().iter().map(Value::as_f64).collect()
}

/// Text without its line breaks.
fn words(stdout: &[u8]) -> String {
    String::from_utf8_lossy(stdout).split_whitespace().collect::<Vec<_>>().join(" ")
}
