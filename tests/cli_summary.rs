//! The one page for the client, and that no paper contradicts another: setting, power, prediction,
//! verification and files all rest on what is typed in.

mod support;

use assert_cmd::Command;
use scrimcheck::simulate::{demo_scenario, simulate, write};
use serde_json::Value;
use std::f64::consts::TAU;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;
use support::poppler;

/// The report of a session that needs a setting, with a stated loudspeaker.
fn report() -> &'static Path {
    static REPORT: OnceLock<tempfile::TempDir> = OnceLock::new();
    REPORT
        .get_or_init(|| {
            let dir = tempfile::tempdir().unwrap();
            write(&simulate(&demo_scenario().shortened(2.0, 0.3)), &dir.path().join("room"))
                .unwrap();
            let mut command = Command::cargo_bin("scrimcheck").expect("the built program");
            command.current_dir(dir.path()).env_clear();
            command.args(["analyze", "room", "--out", "report"]).assert().code(0);
            dir
        })
        .path()
}

fn file(name: &str) -> String {
    fs::read_to_string(report().join("report").join(name)).unwrap()
}

fn result() -> Value {
    serde_json::from_str(&file("result.json")).unwrap()
}

#[test]
fn the_summary_is_one_page_of_short_sentences_and_a_picture() {
    let pdf = report().join("report/summary.pdf");
    let info = poppler("pdfinfo", &[], &pdf);
    assert!(
        info.contains("Pages:           1\n") && info.contains("Tagged:          yes"),
        "{info}"
    );
    let words = poppler("pdftotext", &["-raw"], &pdf);
    for part in ["Maker", "To type in", "What it costs", "scrimcheck", "recommended limit"] {
        assert!(words.to_lowercase().contains(&part.to_lowercase()), "{part}: {words}");
    }
    // The same on page one of the handover.
    let first = poppler("pdftotext", &["-raw", "-l", "1"], &report().join("report/handover.pdf"));
    assert!(first.contains("To type in"), "{first}");
    let picture = fs::read(report().join("report/summary.png")).unwrap();
    let side = |at: usize| u32::from_be_bytes(picture[at..at + 4].try_into().unwrap());
    assert_eq!((side(16), side(20)), (1240, 1754), "A4 at 150 pixels an inch");
    // Below the title and the names.
    let said = &words[words.find("What was found").unwrap()..];
    // Letters and figures of the plot are no sentences.
    let (before, plot) = said.split_once("The screen takes").unwrap();
    let after = plot.split_once("(IEC 60263).").unwrap().1;
    for sentence in sentences(before).into_iter().chain(sentences(after)) {
        let n = sentence.split_whitespace().count();
        assert!(n <= 20, "{n} words: {sentence}");
    }
}

/// Running text of the page: what ends with a full stop, from its last line of figures on.
fn sentences(words: &str) -> Vec<String> {
    let is_figures = |line: &&str| {
        let ends = line.trim_end().ends_with('.');
        !line.chars().any(char::is_lowercase) || (line.len() < 24 && !ends)
    };
    let text: Vec<&str> = words.lines().filter(|l| !is_figures(l)).collect();
    let text = text.join(" ");
    text.split(". ").map(str::to_owned).collect()
}

/// Gain of the sections at a frequency, by the transfer function of their coefficients:
/// H(z) = (b0 + b1/z + b2/z2) / (1 + a1/z + a2/z2).
fn gain_db(setting: &Value, hz: f64) -> f64 {
    let rate = setting["rate_hz"].as_f64().unwrap();
    let w = TAU * hz / rate;
    let power = |c: [f64; 3]| {
        let re = c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos();
        let im = c[1] * w.sin() + c[2] * (2.0 * w).sin();
        re * re + im * im
    };
    let sections = setting["sections"].as_array().unwrap().iter();
    let db = sections.map(|s| {
        let c = |key: &str| s[key].as_f64().unwrap();
        10.0 * (power([c("b0"), c("b1"), c("b2")]) / power([1.0, c("a1"), c("a2")])).log10()
    });
    setting["trim_db"].as_f64().unwrap() + db.sum::<f64>()
}

#[test]
fn what_is_typed_in_is_what_everything_is_computed_from() {
    let (result, setting): (Value, Value) =
        (result(), serde_json::from_str(&file("correction.json")).unwrap());
    let number = |v: &Value| v.as_f64().unwrap_or_else(|| panic!("no number: {v}"));
    let correction = &result["correction"];
    // In steps of half a decibel, the same in both files and on the paper.
    let trim = number(&setting["trim_db"]);
    assert!((2.0 * trim - (2.0 * trim).round()).abs() < 1e-9, "{trim}");
    assert_eq!(number(&correction["trim_db"]), trim);
    let csv = file("correction.csv");
    let typed = csv.lines().nth(1).unwrap().split(',').nth(3).unwrap();
    assert_eq!(typed.parse::<f64>().unwrap(), trim);
    let words = poppler("pdftotext", &["-layout"], &report().join("report/summary.pdf"));
    let line = words
        .lines()
        .find(|l| l.contains("Level (trim)"))
        .unwrap_or_else(|| panic!("the trim is on the page: {words}"));
    assert!(line.contains(&format!("{trim:.1}")), "{line}");
    // Power: largest gain of trim and filters together, on a fine grid up to 20 kHz.
    let peak = (0..=2000)
        .map(|i| gain_db(&setting, 100.0 * 200f64.powf(f64::from(i) / 2000.0)))
        .fold(f64::NEG_INFINITY, f64::max);
    let told = number(&result["power"]["peak_gain_db"]);
    assert!((told - peak).abs() < 0.05, "{told} told, {peak} by the coefficients");
    let factor = number(&result["power"]["peak_factor"]);
    assert!((10.0 * factor.log10() - told).abs() < 1e-4);
    let amplifier = &result["power"]["amplifier"];
    let left = number(&amplifier["left_db"]);
    let ratio = number(&amplifier["available_w"]) / number(&amplifier["needs_w"]);
    assert!((10.0 * ratio.log10() - left).abs() < 1e-3);
    // Prediction: loss less what the coefficients do.
    for band in correction["bands"].as_array().unwrap() {
        let (Some(loss), Some(left)) = (band["mean_loss_db"].as_f64(), band["left_db"].as_f64())
        else {
            continue;
        };
        // Mean of the power over the band, as losses are told.
        let exact = number(&band["exact_hz"]);
        let n = 200;
        let power = |i: i32| {
            let part = (f64::from(i) + 0.5) / f64::from(n);
            let hz = exact * (10f64.powf(-0.05) + part * (10f64.powf(0.05) - 10f64.powf(-0.05)));
            10f64.powf(gain_db(&setting, hz) / 10.0)
        };
        let gain = 10.0 * ((0..n).map(power).sum::<f64>() / f64::from(n)).log10();
        assert!((loss - gain - left).abs() < 0.1, "{}: {loss} {gain} {left}", band["nominal_hz"]);
    }
}
