//! The table: what is spoiled, and what must become of it.

use super::folder::*;
use serde_json::Value;
use std::collections::BTreeSet;

/// Losses of the clean session, seat by seat.
fn clean() -> &'static Value {
    static CLEAN: std::sync::OnceLock<Value> = std::sync::OnceLock::new();
    CLEAN.get_or_init(|| {
        let run = Copy::new().analyze();
        assert_eq!(run.status, 0, "{run:?}");
        run.document()
    })
}

/// Both commands must leave out the same takes for the same kind of reason.
fn agree(copy: &Copy, document: &Value) {
    let check = copy.check();
    let said = check.document();
    for state in ["used", "doubtful", "left_out"] {
        let of = |d: &Value| takes(d, state).into_iter().collect::<BTreeSet<_>>();
        let ours: BTreeSet<_> =
            of(document).into_iter().filter(|t| t.0.ends_with(".wav")).collect();
        assert_eq!(of(&said), ours, "{state}");
    }
}

/// Figures of the seats that are used are those of the clean session, but for what a fit over
/// fewer seats changes; all by `step_db` lower where a gain was changed.
fn figures_are_right(document: &Value, step_db: f64) {
    for seat in document["seats"].as_array().unwrap() {
        let same = |s: &&Value| s["id"] == seat["id"];
        let want = clean()["seats"].as_array().unwrap().iter().find(same).unwrap();
        for (b, loss) in seat["loss_db"].as_array().unwrap().iter().enumerate() {
            let (Some(got), Some(want)) = (loss.as_f64(), want["loss_db"][b].as_f64()) else {
                continue;
            };
            let u = seat["u95_db"][b].as_f64().unwrap();
            assert!(
                (got - want + step_db).abs() < 0.1 + u,
                "seat {}: {got} for {want}",
                seat["id"]
            );
        }
    }
}

/// Seats that are left, verdicts, and the topic that names the fault at each of the files.
fn left(copy: &Copy, seats_left: &[&str], verdict: [&str; 2], topic: &str, at: &[&str]) -> Value {
    left_by(copy, seats_left, verdict, topic, at, 0.0)
}

fn left_by(
    copy: &Copy,
    seats_left: &[&str],
    verdict: [&str; 2],
    topic: &str,
    at: &[&str],
    step_db: f64,
) -> Value {
    let run = copy.analyze();
    assert_eq!(run.status, 0, "{run:?}");
    let document = run.document();
    assert_eq!(seats(&document), seats_left);
    assert_eq!(verdicts(&document), verdict, "{}", document["claims"]);
    let out = takes(&document, "left_out");
    for file in at {
        let wanted = (format!("takes/{file}.wav"), topic.to_owned());
        assert!(out.contains(&wanted), "{file} {topic}: {out:?}");
    }
    // Every take of the seats that are gone, and none of the others.
    for (file, _) in &out {
        let seat = &file["takes/".len()..][..1];
        assert!(!seats_left.contains(&seat), "{file} of a seat in use: {out:?}");
    }
    figures_are_right(&document, step_db);
    agree(copy, &document);
    let strict = copy.run(&["analyze", "room", "--strict", "--force"]);
    assert_eq!(strict.status, i32::from(!out.is_empty() || verdict != ["pass", "pass"]));
    document
}

/// No figure at all: refused, with the reason.
fn refused(copy: &Copy, words: &str) {
    let run = copy.analyze();
    assert_eq!(run.status, 3, "{run:?}");
    assert!(run.said.contains(words), "{words}: {}", run.said);
    assert!(!copy.room().join("report").exists());
    let check = copy.check();
    assert_eq!(check.status, 1, "{check:?}");
    assert!(check.out.contains(words), "{words}: {}", check.out);
}

const PASS: [&str; 2] = ["pass", "pass"];
const ALL: [&str; 4] = SEATS;

#[test]
fn the_clean_copy_passes_both_claims_and_nothing_is_said() {
    let copy = Copy::new();
    let document = left(&copy, &ALL, PASS, "", &[]);
    assert_eq!(takes(&document, "used").len(), 16, "{}", document["takes"]);
    let topics: Vec<&Value> =
        document["warnings"].as_array().unwrap().iter().map(|w| &w["topic"]).collect();
    assert!(topics.is_empty(), "{}", document["warnings"]);
    let check = copy.check();
    assert_eq!(check.status, 0);
    assert_eq!(check.document()["warnings"].as_array().unwrap().len(), 0);
}

#[test]
fn conditions_exchanged_at_one_seat() {
    let copy = Copy::new();
    for n in 1..=2 {
        copy.exchange(("B", "without", n), ("B", "with", n));
    }
    let files = ["B_without_1", "B_without_2", "B_with_1", "B_with_2"];
    let document = left(&copy, &["A", "C", "D"], PASS, "swapped", &files);
    let sentence = document["claims"][0]["sentence"].as_str().unwrap();
    assert!(sentence.contains("seat B is left out"), "{sentence}");
}

#[test]
fn conditions_exchanged_at_all_seats() {
    let copy = Copy::new();
    for seat in ALL {
        for n in 1..=2 {
            copy.exchange((seat, "without", n), (seat, "with", n));
        }
    }
    refused(&copy, "were exchanged");
}

#[test]
fn the_same_recordings_in_both_conditions() {
    let copy = Copy::new();
    for seat in ALL {
        for n in 1..=2 {
            std::fs::copy(copy.file(seat, "without", n), copy.file(seat, "with", n)).unwrap();
        }
    }
    refused(&copy, "is the same recording as");
}

#[test]
fn the_same_recordings_in_both_conditions_of_one_seat() {
    let copy = Copy::new();
    for n in 1..=2 {
        std::fs::copy(copy.file("C", "without", n), copy.file("C", "with", n)).unwrap();
    }
    left(&copy, &["A", "B", "D"], PASS, "duplicate", &["C_with_1", "C_with_2", "C_without_1"]);
}

#[test]
fn takes_with_the_screen_of_two_seats_exchanged() {
    let copy = Copy::new();
    for n in 1..=2 {
        copy.exchange(("A", "with", n), ("C", "with", n));
    }
    let files = ["A_with_1", "A_with_2", "C_with_1", "C_with_2"];
    let document = left(&copy, &["B", "D"], PASS, "wrong_seat", &files);
    let all = document["takes"].to_string();
    assert!(all.contains("seats A and C are exchanged"), "{all}");
}

/// A block of 128 samples, the least that browsers and interfaces lose: alone it made the fit of all
/// seats useless.
#[test]
fn a_block_lost_in_the_middle_of_one_sweep() {
    let copy = Copy::new();
    copy.change_take(("B", "with", 1), |mut x| {
        let at = x.len() / 2;
        x.drain(at..at + 128);
        x.resize(x.len() + 128, 0.0);
        x
    });
    let run = copy.analyze();
    assert_eq!(run.status, 0, "{run:?}");
    let document = run.document();
    let lost = ("takes/B_with_1.wav".to_owned(), "disturbance".to_owned());
    assert_eq!(takes(&document, "left_out"), [lost]);
    assert_eq!(seats(&document), ALL);
    assert_eq!(verdicts(&document), PASS);
    let reason = document["takes"].to_string();
    assert!(reason.contains("Sound was lost or doubled"), "{reason}");
    let u95_db = document["mean"]["u95_db"].as_array().unwrap();
    assert!(u95_db.iter().all(|u| u.as_f64().unwrap() < 0.2), "{u95_db:?}");
}

#[test]
fn noise_instead_of_a_sweep_at_one_seat() {
    let copy = Copy::new();
    copy.change(&["D"], &["without", "with"], |x| noise(x.len(), x.len() as u64));
    left(&copy, &["A", "B", "C"], PASS, "wrong_signal", &["D_with_1", "D_without_2"]);
}

#[test]
fn all_takes_with_the_screen_louder() {
    for db in [2.0, 6.0] {
        let copy = Copy::new();
        copy.change(&ALL, &["with"], gain(db));
        let document = left_by(&copy, &ALL, ["not_shown", "pass"], "", &[], db);
        let sentence = document["claims"][0]["sentence"].as_str().unwrap();
        assert!(sentence.contains("control"), "{sentence}");
    }
}

#[test]
fn one_seat_with_the_screen_louder() {
    let copy = Copy::new();
    copy.change(&["A"], &["with"], gain(3.0));
    left(&copy, &["B", "C", "D"], PASS, "gain_step", &["A_with_1", "A_with_2"]);
}

#[test]
fn played_at_44_1_khz() {
    let copy = Copy::new();
    copy.change(&ALL, &["with"], slower(48.0 / 44.1));
    refused(&copy, "played 8.8 % too slowly");
    let copy = Copy::new();
    copy.change(&ALL, &["without", "with"], slower(48.0 / 44.1));
    refused(&copy, "a file of 48 kHz is played at 44.1 kHz");
}

#[test]
fn automatic_gain_in_all_takes() {
    let copy = Copy::new();
    copy.change(&ALL, &["without", "with"], automatic_gain(48_000.0));
    refused(&copy, "automatic gain");
}

#[test]
fn clipped_below_full_scale_with_the_screen() {
    let copy = Copy::new();
    // Every take with the screen would peak at -5 dB, and something cuts it at -9.
    let at = 10f64.powf(-9.0 / 20.0);
    copy.change(&ALL, &["with"], |x| {
        let peak = x.iter().fold(0f64, |a, x| a.max(x.abs()));
        let up = 10f64.powf(-5.0 / 20.0) / peak;
        x.into_iter().map(|x| (up * x).clamp(-at, at)).collect()
    });
    refused(&copy, "flat tops at -9.0 dB");
}
