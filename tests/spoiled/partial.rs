//! Sessions that are not whole, and takes of another session: what is there is analysed.

use super::folder::*;
use std::fs;

/// Takes of the clean session are found, and the seats in use are these.
fn seats_used(copy: &Copy, wanted: &[&str]) -> serde_json::Value {
    let run = copy.analyze();
    assert_eq!(run.status, 0, "{run:?}");
    let document = run.document();
    assert_eq!(seats(&document), wanted, "{}", document["takes"]);
    document
}

fn reason_of(document: &serde_json::Value, file: &str) -> String {
    let takes = document["takes"].as_array().unwrap().iter();
    let own = takes.clone().find(|t| t["file"].as_str().unwrap().ends_with(file));
    let own = own.unwrap_or_else(|| panic!("{file} is not in {}", document["takes"]));
    format!("{} {} {}", own["state"], own["reason"]["message"], own["reason"]["advice"])
}

#[test]
fn a_seat_without_one_condition_is_left_out_and_the_rest_goes_on() {
    let copy = Copy::new();
    for n in 1..=2 {
        fs::remove_file(copy.file("C", "with", n)).unwrap();
    }
    let document = seats_used(&copy, &["A", "B", "D"]);
    let said = reason_of(&document, "C_without_1.wav");
    assert!(said.contains("left_out") && said.contains("no usable take with the screen"), "{said}");
    assert!(said.contains("C_with_1.wav"), "names what to record: {said}");
    let table = copy.run(&["analyze", "room", "--force"]);
    assert!(table.out.contains("C_without_1.wav and C_without_2.wav are left out"), "{table:?}");
}

#[test]
fn stray_files_and_folders_in_takes_are_named() {
    let copy = Copy::new();
    let folder = copy.room().join("takes");
    fs::write(folder.join("notes.txt"), "windy").unwrap();
    fs::write(folder.join("REC0007.WAV"), "RIFF").unwrap();
    fs::create_dir(folder.join("second evening")).unwrap();
    fs::create_dir(folder.join("aside")).unwrap();
    fs::write(folder.join("origin.csv"), "take\n").unwrap();
    let document = seats_used(&copy, &SEATS);
    for (file, words) in [
        ("notes.txt", "not a WAV file"),
        ("REC0007.WAV", "_ and a number"),
        ("second evening", "it is a folder"),
    ] {
        let said = reason_of(&document, file);
        assert!(said.contains("left_out") && said.contains(words), "{file}: {said}");
    }
    assert_eq!(takes(&document, "left_out").len(), 3, "what is the program's own is not named");
    let check = copy.check();
    assert!(check.out.contains("notes.txt") && check.out.contains("second evening"), "{check:?}");
}

#[test]
fn a_file_that_cannot_be_read_is_left_out() {
    let copy = Copy::new();
    fs::write(copy.file("B", "with", 2), "this is no sound").unwrap();
    let document = seats_used(&copy, &SEATS);
    let said = reason_of(&document, "B_with_2.wav");
    assert!(said.contains("left_out") && said.contains("not a WAV file"), "{said}");
}

#[test]
fn a_recorder_that_was_cut_off_loses_nothing() {
    let clean = seats_used(&Copy::new(), &SEATS);
    for declared in [0u32, u32::MAX] {
        let copy = Copy::new();
        let path = copy.file("A", "without", 1);
        let mut bytes = fs::read(&path).unwrap();
        let data = bytes.windows(4).position(|w| w == b"data").unwrap();
        bytes[4..8].copy_from_slice(&declared.to_le_bytes());
        bytes[data + 4..data + 8].copy_from_slice(&declared.to_le_bytes());
        bytes.pop();
        fs::write(&path, bytes).unwrap();
        let document = seats_used(&copy, &SEATS);
        let loss = |d: &serde_json::Value| -> Vec<f64> {
            let row = d["seats"][0]["loss_db"].as_array().unwrap();
            row.iter().map(|v| v.as_f64().unwrap()).collect()
        };
        for (got, want) in loss(&document).iter().zip(loss(&clean)) {
            assert!((got - want).abs() < 1e-4, "{declared}: {got} for {want}");
        }
        let check = copy.check();
        assert!(check.out.contains("does not say how long it is"), "{check:?}");
    }
}

#[test]
fn no_seat_left_is_refused() {
    let copy = Copy::new();
    for seat in SEATS {
        for n in 1..=2 {
            fs::remove_file(copy.file(seat, "with", n)).unwrap();
        }
    }
    let run = copy.analyze();
    assert_eq!(run.status, 3, "{run:?}");
    assert!(run.said.contains("with the screen"), "{}", run.said);
    fs::remove_dir_all(copy.room().join("takes")).unwrap();
    let run = copy.analyze();
    assert_eq!(run.status, 3, "{run:?}");
    assert!(run.said.contains("there is no take"), "{}", run.said);
}

#[test]
fn two_files_of_one_number_are_both_left_out() {
    let copy = Copy::new();
    fs::copy(copy.file("B", "with", 1), copy.room().join("takes/B_WITH_01.wav")).unwrap();
    let document = seats_used(&copy, &SEATS);
    for file in ["B_WITH_01.wav", "B_with_1.wav"] {
        assert!(reason_of(&document, file).contains("both number 1"), "{file}");
    }
}

#[test]
fn seat_names_may_be_encoded_either_way() {
    let copy = Copy::new();
    for (n, condition) in [(1, "without"), (2, "without"), (1, "with"), (2, "with")] {
        // "u" and a combining diaeresis, as some systems write names.
        let name = format!("takes/Su\u{308}d_{condition}_{n}.wav");
        fs::rename(copy.file("A", condition, n), copy.room().join(name)).unwrap();
    }
    copy.edit_manifest("id = \"A\"", "id = \"S\u{fc}d\"");
    seats_used(&copy, &["S\u{fc}d", "B", "C", "D"]);
}

/// The second cloth of an evening: a session that borrows the takes without a screen.
fn second_cloth(copy: &Copy) {
    let other = copy.room().with_file_name("second");
    fs::create_dir_all(other.join("takes")).unwrap();
    for seat in SEATS {
        for n in 1..=2 {
            let name = format!("takes/{seat}_with_{n}.wav");
            fs::copy(copy.room().join(&name), other.join(&name)).unwrap();
        }
    }
    fs::copy(copy.room().join("sweep.wav"), other.join("sweep.wav")).unwrap();
    let text = fs::read_to_string(copy.room().join("session.toml")).unwrap();
    let text = text.replacen("[session]\n", "[session]\nwithout_from = \"../room\"\n", 1);
    fs::write(other.join("session.toml"), text).unwrap();
}

#[test]
fn takes_without_a_screen_can_be_those_of_another_session() {
    let copy = Copy::new();
    let own = seats_used(&copy, &SEATS);
    second_cloth(&copy);
    let run = copy.run(&["analyze", "second", "--json"]);
    assert_eq!(run.status, 0, "{run:?}");
    let document = run.document();
    for (a, b) in document["seats"].as_array().unwrap().iter().zip(own["seats"].as_array().unwrap())
    {
        assert_eq!(a["loss_db"], b["loss_db"]);
    }
    assert!(run.out.contains("../room/takes/A_without_1.wav"), "names the other session's takes");
    let page = fs::read_to_string(copy.room().with_file_name("second/report/report.html")).unwrap();
    assert!(page.contains("those of ../room"), "the paper says whose takes they are");
}

#[test]
fn a_session_that_does_not_fit_lends_nothing() {
    let copy = Copy::new();
    second_cloth(&copy);
    let manifest = copy.room().with_file_name("second/session.toml");
    let good = fs::read_to_string(&manifest).unwrap();
    let refused = |text: &str, words: &str| {
        fs::write(&manifest, text).unwrap();
        let run = copy.run(&["analyze", "second", "--json"]);
        assert_eq!(run.status, 3, "{run:?}");
        assert!(run.said.contains(words), "{words}: {}", run.said);
        let check = copy.run(&["check", "second"]);
        assert_eq!(check.status, 3, "{check:?}");
    };
    for path in ["../../room", "/etc", "room", "..", "../room/takes", "../room\\\\x", "../second"] {
        refused(&good.replace("../room", path), "beside this");
    }
    refused(&good.replace("../room", "../nowhere"), "nowhere");
    refused(&good.replacen("id = \"B\"", "id = \"Z\"", 1), "it has no seat Z");
    let moved = good.replacen("position_m = [", "position_m = [1", 1);
    refused(&moved, "stands elsewhere");
    #[cfg(unix)]
    {
        let outside = tempfile::tempdir().unwrap();
        fs::write(outside.path().join("session.toml"), &good).unwrap();
        std::os::unix::fs::symlink(outside.path(), copy.room().with_file_name("link")).unwrap();
        refused(&good.replace("../room", "../link"), "link");
    }
    let other = copy.room().with_file_name("second/sweep.wav");
    let sweep = copy.samples(&other);
    copy.write(&other, &gain(-1.0)(sweep));
    refused(&good, "its sweep is another one");
}

#[test]
fn start_like_makes_a_session_for_the_second_cloth() {
    let copy = Copy::new();
    let run = copy.run(&["start", "next", "--like", "room"]);
    assert_eq!(run.status, 0, "{run:?}");
    let next = copy.room().with_file_name("next");
    let text = fs::read_to_string(next.join("session.toml")).unwrap();
    assert!(text.contains("without_from = \"../room\""), "{text}");
    assert_eq!(
        fs::read(next.join("sweep.wav")).unwrap().len(),
        fs::read(copy.room().join("sweep.wav")).unwrap().len()
    );
    for seat in SEATS {
        for n in 1..=2 {
            let name = format!("takes/{seat}_with_{n}.wav");
            fs::copy(copy.room().join(&name), next.join(&name)).unwrap();
        }
    }
    let sheet = fs::read_to_string(next.join("take-sheet.html")).unwrap();
    assert!(!sheet.contains("A_without_1.wav") && sheet.contains("A_with_quiet_1.wav"), "{sheet}");
    let check = copy.run(&["check", "next"]);
    assert_eq!(check.status, 0, "{check:?}");
    let run = copy.run(&["analyze", "next", "--json"]);
    assert_eq!(run.status, 0, "{run:?}");
    assert_eq!(seats(&run.document()), SEATS);
    // A session that lies elsewhere cannot lend.
    let run = copy.run(&["start", "room/inside", "--like", "room"]);
    assert_eq!(run.status, 3, "{run:?}");
    assert!(run.said.contains("beside the new one"), "{}", run.said);
}
