//! A good manifest, spoilt in every way, and where the caret then stands.

use super::{Manifest, ManifestText, parse};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

const GOOD: &str = r#"
[session]
title = "Barn"
date = 2026-03-14
temperature_c = { without = 20.5, with = 21 }
[sweep]
file = "sweep.wav"
start_hz = 20
stop_hz = 20000.0
duration_s = 5.0
[screen]
construction = "woven"
gap_m = 0.065
[[claim]]
quantity = "maximum_loss"
band_hz = [500, 16000]
limit_db = 3.0
[[claim]]
quantity = "loss_curve"
points = [{ hz = 1000, loss_db = 0.5 }, { hz = 10000, loss_db = 2 }]
tolerance_db = 1
[[claim]]
quantity = "gain_at_angle"
angle_deg = 45
minimum = 0.8
[[seat]]
id = "R1C"
position_m = [3.15, 0.0, 1.1]
[[seat]]
id = "R1L"
weight = 0
[correction]
frequency_step = "iso_1_12"
[handover]
units = "imperial"
"#;

/// The line of the equaliser's table.
const STEP: &str = "frequency_step = \"iso_1_12\"";

fn parsed(text: &str) -> Result<Manifest, String> {
    let text = ManifestText { path: "session.toml".into(), text: text.into() };
    parse(&text).map_err(|e| e.to_string())
}

/// Replaces `from` once and returns the refusal, its line and what is underlined.
fn refusal(from: &str, to: &str) -> (String, usize, String) {
    assert_eq!(GOOD.matches(from).count(), 1, "{from}");
    let text = GOOD.replacen(from, to, 1);
    let message = parsed(&text).map(|_| ()).expect_err(to);
    let lines: Vec<&str> = message.lines().collect();
    let number = lines[0].split("line ").nth(1).unwrap().split(',').next().unwrap();
    let caret = lines[3];
    let first = caret.chars().position(|c| c == '^').unwrap();
    let n = caret.chars().filter(|&c| c == '^').count();
    let marked = lines[2].chars().skip(first).take(n).collect();
    (message.clone(), number.parse().unwrap(), marked)
}

#[test]
fn a_good_manifest_is_taken_whatever_its_line_ends() {
    let manifest = parsed(GOOD).unwrap();
    assert_eq!(manifest.screen.gap_m, Some(0.065));
    assert_eq!(manifest.claim.len(), 3);
    assert_eq!(manifest.seat[1].weight, 0.0);
    parsed(&GOOD.replace('\n', "\r\n")).unwrap();
}

#[test]
fn keys_types_and_words_are_refused_at_their_place() {
    for (from, to, part, line, marked) in [
        ("gap_m = 0.065", "gap_mm = 65", "unknown key `gap_mm` in [screen]", 13, "gap_mm"),
        ("gap_m = 0.065", "gap_mm = 65", "did you mean `gap_m`?", 13, "gap_mm"),
        ("weight = 0", "wait = 0", "unknown key `wait` in [[seat]] number 2", 31, "wait"),
        ("[handover]", "[hanover]", "did you mean `handover`?", 34, "hanover"),
        ("[handover]", "[hanover]", "unknown key `hanover` at the top", 34, "hanover"),
        (
            "gap_m = 0.065",
            "gap_m = \"65 mm\"",
            "screen.gap_m: expected a number, found the text \"65 mm\"",
            13,
            "\"65 mm\"",
        ),
        ("id = \"R1L\"", "id = 7", "seat.id: expected text in quotes, found the number 7", 30, "7"),
        ("file = \"sweep.wav\"", "file = 3", "expected a file name in quotes", 7, "3"),
        ("\"woven\"", "\"wowen\"", "did you mean `woven`?", 12, "\"wowen\""),
        ("\"maximum_loss\"", "\"max_loss\"", "did you mean `maximum_loss`?", 15, "\"max_loss\""),
        (
            "[500, 16000]",
            "[500]",
            "claim.band_hz: expected a list of 2 numbers, found 1 values",
            16,
            "[500]",
        ),
        (
            "[500, 16000]",
            "[500, \"16k\"]",
            "expected a number, found the text \"16k\"",
            16,
            "\"16k\"",
        ),
        ("title = \"Barn\"\n", "", "the key `title` is missing in [session]", 2, "[session]"),
        ("id = \"R1L\"\n", "", "the key `id` is missing in [[seat]] number 2", 29, "[[seat]]"),
        (
            "{ hz = 1000, loss_db = 0.5 }",
            "{ hz = 1000 }",
            "the key `loss_db` is missing",
            20,
            "{ hz = 1000 }",
        ),
        ("{ without = 20.5, with = 21 }", "\"warm\"", "a number for each condition", 5, "\"warm\""),
        ("2026-03-14", "\"14.3.26\"", "session.date", 4, "\"14.3.26\""),
        ("gap_m = 0.065", "gap_m = ", "not valid TOML", 13, " "),
        ("gap_m = 0.065", "gap_m = 1\ngap_m = 2", "duplicate key", 14, "gap_m"),
    ] {
        let (message, found_line, found_marked) = refusal(from, to);
        assert!(message.contains(part), "{to}:\n{message}\nlacks {part}");
        assert_eq!(found_line, line, "{message}");
        assert!(found_marked == marked || marked == " ", "{message}");
    }
    let message = parsed(&GOOD.replace("[screen]", "[other]")).err().unwrap();
    assert!(
        message.contains("did you mean `sweep`") || message.contains("unknown key `other`"),
        "{message}"
    );
    let without_screen = GOOD.replace("[screen]\nconstruction = \"woven\"\ngap_m = 0.065\n", "");
    let message = parsed(&without_screen).err().unwrap();
    assert!(message.contains("the table [screen] is missing"), "{message}");
}

#[test]
fn meanings_are_refused_at_their_place() {
    for (from, to, part, line, marked) in [
        ("gap_m = 0.065", "gap_m = 0.0", "gap_m is 0, expected 0.001 to 5 m", 13, "0.0"),
        ("gap_m = 0.065", "gap_m = 5.001", "gap_m is 5.001", 13, "5.001"),
        ("gap_m = 0.065", "gap_m = nan", "expected a finite number, found nan", 13, "nan"),
        ("gap_m = 0.065", "gap_m = -inf", "found -inf", 13, "-inf"),
        ("gap_m = 0.065", "gap_m = 1e999", "found 1e999", 13, "1e999"),
        ("3.15, 0.0, 1.1", "3.15, nan, 1.1", "finite", 28, "nan"),
        ("3.15, 0.0, 1.1", "3.15, 0.0, 1100", "position_m, value 3, is 1100", 28, "1100"),
        ("id = \"R1L\"", "id = \"R1C\"", "seat R1C is already there, in line 27", 30, "\"R1C\""),
        ("id = \"R1L\"", "id = \"\"", "at least one visible character", 30, "\"\""),
        ("id = \"R1L\"", "id = \"a\\u202eb\"", "\\u{202e}", 30, "\"a\\u202eb\""),
        ("title = \"Barn\"", "title = \"a\\u001b[2J\"", "control character", 3, "\"a\\u001b[2J\""),
        ("weight = 0", "weight = -1", "weight is -1", 31, "-1"),
        ("[500, 16000]", "[16000, 500]", "lower value first", 16, "[16000, 500]"),
        ("limit_db = 3.0\n", "", "needs the key `limit_db`", 15, "\"maximum_loss\""),
        ("limit_db = 3.0", "limit_db = -3.0", "write limit_db = 3", 17, "-3.0"),
        (
            "limit_db = 3.0",
            "limit_db = 3.0\nminimum = 1",
            "does not use the key `minimum`",
            18,
            "1",
        ),
        ("angle_deg = 45\n", "", "needs the key `angle_deg`", 23, "\"gain_at_angle\""),
        ("minimum = 0.8\n", "", "needs `minimum` or `maximum`", 23, "\"gain_at_angle\""),
        ("minimum = 0.8\n", "limit_db = 1\n", "does not use the key `limit_db`", 25, "1"),
        ("hz = 10000", "hz = 1000.0", "expected rising frequencies", 20, "1000.0"),
        ("tolerance_db = 1\n", "", "needs the key `tolerance_db`", 19, "\"loss_curve\""),
        ("start_hz = 20\n", "start_hz = 15000\n", "at least one octave", 9, "20000.0"),
        ("stop_hz = 20000.0", "stop_hz = 96001", "stop_hz is 96001", 9, "96001"),
        ("duration_s = 5.0", "duration_s = 0.1", "duration_s is 0.1", 10, "0.1"),
        ("with = 21", "with = 99", "temperature_c.with is 99", 5, "99"),
        ("hz = 10000", "hz = 5", "points.hz is 5", 20, "5"),
        ("\"sweep.wav\"", "\"../sweep.wav\"", "leads out of the folder", 7, "\"../sweep.wav\""),
        ("\"sweep.wav\"", "\"/sweep.wav\"", "absolute", 7, "\"/sweep.wav\""),
        ("\"iso_1_12\"", "\"iso_1_13\"", "did you mean `iso_1_", 33, "\"iso_1_13\""),
        (STEP, "max_boost_db = 25", "max_boost_db is 25, expected 0 to 20 dB", 33, "25"),
        (STEP, "max_cut_db = -1", "max_cut_db is -1", 33, "-1"),
        (STEP, "max_cut_db = nan", "finite", 33, "nan"),
        (STEP, "max_filters = 13", "max_filters is 13", 33, "13"),
        (STEP, "processor_rate_hz = 32000", "expected 40000 to 768000 Hz", 33, "32000"),
        (STEP, "tolerance_rms_db = 0", "tolerance_rms_db is 0, expected above 0", 33, "0"),
        (STEP, "tolerance_band_db = inf", "finite", 33, "inf"),
        (STEP, "q = [2.0, 1.0]", "lower value first", 33, "[2.0, 1.0]"),
        (STEP, "q = [0.01, 1.0]", "q, value 1, is 0.01", 33, "0.01"),
        (STEP, "gain_step_db = 1e-9", "expected 0.01 to 6 dB (0: any gain)", 33, "1e-9"),
        (STEP, "gain_step_db = -0.5", "gain_step_db is -0.5", 33, "-0.5"),
        (STEP, "q_step = 9", "q_step is 9, expected 0.01 to 5 (0: any Q)", 33, "9"),
        (STEP, "q_step = nan", "finite", 33, "nan"),
        (STEP, "band_hz = [1000, 900]", "lower value first", 33, "[1000, 900]"),
    ] {
        let (message, found_line, found_marked) = refusal(from, to);
        assert!(message.contains(part), "{to}:\n{message}\nlacks {part}");
        assert_eq!((found_line, found_marked.as_str()), (line, marked), "{message}");
    }
    // The other side of the limits.
    for (from, to) in [
        ("gap_m = 0.065", "gap_m = 5"),
        ("[500, 16000]", "[500, 500]"),
        ("duration_s = 5.0", "duration_s = 0.2"),
    ] {
        parsed(&GOOD.replacen(from, to, 1)).unwrap();
    }
}

#[test]
fn a_listed_take_needs_a_known_seat() {
    let text =
        format!("{GOOD}\n[[take]]\nseat = \"R1c\"\ncondition = \"with\"\nfile = \"a.wav\"\n");
    let message = parsed(&text).err().unwrap();
    assert!(message.contains("no seat is called `R1c`") && message.contains("`R1C`"), "{message}");
}

#[test]
fn deep_nesting_and_huge_counts_are_refused_before_they_hurt() {
    for deep in [
        format!("a = {}1{}", "[".repeat(10_000), "]".repeat(10_000)),
        format!("a = {}1{}", "{ a = ".repeat(10_000), "}".repeat(10_000)),
        format!("{}a = 1", "a.".repeat(10_000)),
        format!("[{}a]", "a.".repeat(10_000)),
        format!("a = {}", "[".repeat(500_000)),
    ] {
        let message = parsed(&deep).err().unwrap();
        assert!(message.contains("nested more than 32"), "{}", &message[..200]);
    }
    // Brackets and dots inside text and comments are no nesting.
    let harmless =
        format!("# {0}\n{GOOD}\n", "[.".repeat(100)).replacen("Barn", &"[.{".repeat(100), 1);
    parsed(&harmless).unwrap();
    let seats: String = (0..1001).map(|i| format!("[[seat]]\nid = \"S{i}\"\n")).collect();
    assert!(parsed(&format!("{GOOD}{seats}")).err().unwrap().contains("at most 1000"));
    assert!(parsed("").err().unwrap().contains("empty"));
    let long = format!("id = \"{}\"", "x".repeat(65));
    assert!(refusal("id = \"R1L\"", &long).0.contains("at most 64"));
}

/// Any change of any character: a manifest or a refusal that can be shown, never a panic.
#[test]
fn changed_text_is_survived() {
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    let pieces = [
        "[", "]", "{", "}", "\"", "'", "=", ".", ",", "#", "\n", "nan", "-1", "é", "\u{0}",
        "1e400", "[[seat]]",
    ];
    let (mut n_taken, mut n_refused) = (0, 0);
    for _ in 0..3000 {
        let mut chars: Vec<char> = GOOD.chars().collect();
        for _ in 0..rng.random_range(1..4) {
            let at = rng.random_range(0..chars.len());
            match rng.random_range(0..3) {
                0 => drop(chars.remove(at)),
                1 => drop(chars.drain(at..(at + rng.random_range(1..40usize)).min(chars.len()))),
                _ => {
                    let piece = pieces[rng.random_range(0..pieces.len())];
                    chars.splice(at..at, piece.chars()).for_each(drop);
                }
            }
        }
        match parsed(&chars.into_iter().collect::<String>()) {
            Ok(_) => n_taken += 1,
            Err(message) => {
                assert!(message.starts_with("session.toml, line "), "{message}");
                n_refused += 1;
            }
        }
    }
    assert!(n_taken > 50 && n_refused > 1000, "{n_taken} taken, {n_refused} refused");
}
