//! Advice that is right: nothing is asked for that changes no figure, and what is meant is said.

use super::folder::*;
use serde_json::Value;
use std::fs;

/// What `check` says of a take: its verdict and its findings' sentences.
fn said(copy: &Copy, file: &str) -> (String, String) {
    let check = copy.check();
    let document = check.document();
    let takes = document["takes"].as_array().unwrap().clone();
    let own = takes.iter().find(|t| t["file"].as_str().unwrap().ends_with(file)).unwrap().clone();
    let text = |f: &Value| format!("{} {}", f["message"], f["advice"]);
    let findings: Vec<String> = own["findings"].as_array().unwrap().iter().map(text).collect();
    (own["verdict"].as_str().unwrap().to_owned(), findings.join(" "))
}

#[test]
fn talk_before_the_sweep_costs_nothing() {
    let clean = Copy::new().analyze().document();
    let copy = Copy::new();
    copy.change(&["A"], &["without"], |x| {
        // Two seconds of syllables, four a second, as loud as the sweep nearly, then the take.
        let talk = noise(96_000, 5).into_iter().enumerate().map(|(i, x)| {
            let t_s = i as f64 / 48_000.0;
            x * (std::f64::consts::PI * 4.0 * t_s).sin().powi(2) * if t_s < 1.6 { 0.5 } else { 0.0 }
        });
        // The end of the take's own silence stands in for the pause.
        let pause = x[..4800].to_vec();
        let quiet = pause.iter().cycle().take(96_000).copied();
        talk.zip(quiet).map(|(a, b)| a + b).chain(x.iter().copied()).collect()
    });
    let run = copy.analyze();
    let document = run.document();
    let (a, b) = (&document["seats"][0]["loss_db"], &clean["seats"][0]["loss_db"]);
    for (x, y) in a.as_array().unwrap().iter().zip(b.as_array().unwrap()) {
        let (x, y) = (x.as_f64().unwrap(), y.as_f64().unwrap());
        assert!((x - y).abs() < 0.02, "{x} {y}");
    }
    // The talk is the same in both takes, as what a player says before every sweep is.
    for take in ["A_without_1.wav", "A_without_2.wav"] {
        let (verdict, text) = said(&copy, take);
        assert_eq!(verdict, "good", "{take}: {text}");
        assert!(text.contains("before the sweep"), "{take}: {text}");
    }
}

#[test]
fn sweeps_far_apart_are_not_told_as_decay() {
    let copy = Copy::new();
    copy.change(&["A"], &["without"], |x| {
        let silence = x[..4800].iter().cycle().take(480_000).copied().collect::<Vec<_>>();
        [x.clone(), silence, x].concat()
    });
    let (verdict, text) = said(&copy, "A_without_1.wav");
    assert_eq!(verdict, "repeat");
    assert!(!text.contains("decay") && text.contains("scrimcheck import"), "{text}");
}

/// Takes with a second channel: the microphone's, and one that `first` makes of it.
fn two_channels(copy: &Copy, first: impl Fn(f64) -> f64) {
    for seat in SEATS {
        for condition in ["without", "with"] {
            for n in 1..=2 {
                let path = copy.file(seat, condition, n);
                let samples = copy.samples(&path);
                let spec = hound::WavSpec {
                    channels: 2,
                    sample_rate: 48_000,
                    bits_per_sample: 24,
                    sample_format: hound::SampleFormat::Int,
                };
                let mut writer = hound::WavWriter::create(&path, spec).unwrap();
                for x in samples {
                    for y in [first(x), x] {
                        writer.write_sample((y * 8_388_607.0).round() as i32).unwrap();
                    }
                }
                writer.finalize().unwrap();
            }
        }
    }
}

#[test]
fn a_microphone_on_the_other_channel_is_told_with_what_to_write() {
    let copy = Copy::new();
    two_channels(&copy, |_| 0.0);
    let run = copy.analyze();
    assert_eq!(run.status, 3);
    assert!(run.said.contains("mic_channel = 2"), "{}", run.said);
    let (_, text) = said(&copy, "A_without_1.wav");
    assert!(text.contains("channel 2 holds the sweep: set mic_channel = 2"), "{text}");
    // Crosstalk, 40 dB lower: the sweep is there, and yet it is the wrong channel.
    let copy = Copy::new();
    two_channels(&copy, |x| 0.01 * x);
    let (verdict, text) = said(&copy, "A_without_1.wav");
    assert_eq!(verdict, "doubt", "{text}");
    assert!(text.contains("mic_channel = 2"), "{text}");
    // Written as told, all is well.
    copy.edit_manifest("[sweep]\n", "[recording]\nmic_channel = 2\n\n[sweep]\n");
    assert_eq!(said(&copy, "A_without_1.wav").0, "good");
}

#[test]
fn floats_above_full_scale_are_no_limit() {
    let copy = Copy::new();
    for condition in ["without", "with"] {
        for n in 1..=2 {
            let path = copy.file("A", condition, n);
            let samples = copy.samples(&path);
            let spec = hound::WavSpec {
                channels: 1,
                sample_rate: 48_000,
                bits_per_sample: 32,
                sample_format: hound::SampleFormat::Float,
            };
            let mut writer = hound::WavWriter::create(&path, spec).unwrap();
            samples.iter().for_each(|x| writer.write_sample((x * 20.0) as f32).unwrap());
            writer.finalize().unwrap();
        }
    }
    assert_eq!(said(&copy, "A_without_1.wav").0, "good", "{:?}", said(&copy, "A_without_1.wav"));
}

#[test]
fn clipping_names_the_decibels() {
    let copy = Copy::new();
    copy.change(&["A"], &["with"], |x| {
        let peak = x.iter().fold(0f64, |a, x| a.max(x.abs()));
        x.into_iter().map(|x| (1.8 * x / peak).clamp(-1.0, 1.0)).collect()
    });
    let (verdict, text) = said(&copy, "A_with_1.wav");
    assert_eq!(verdict, "repeat");
    let by = text.split("gain down by ").nth(1).unwrap().split(' ').next().unwrap();
    let by: f64 = by.parse().unwrap();
    // 5.1 dB are gone; with room for a step more.
    assert!((6.0..=10.0).contains(&by), "{text}");
}

#[test]
fn a_nominal_duration_that_is_off_costs_a_warning_only() {
    let clean = Copy::new().analyze().document();
    let copy = Copy::new();
    copy.edit_manifest("duration_s = 2.0", "duration_s = 2.15");
    let run = copy.analyze();
    assert_eq!(run.status, 0, "{run:?}");
    assert!(run.out.contains("the file is believed"), "{}", run.out);
    let document = run.document();
    for (x, y) in document["mean"]["loss_db"]
        .as_array()
        .unwrap()
        .iter()
        .zip(clean["mean"]["loss_db"].as_array().unwrap())
    {
        assert!((x.as_f64().unwrap() - y.as_f64().unwrap()).abs() < 0.02, "{x} {y}");
    }
}

/// A quiet take of seat A without the screen: what it was, put through `chain`.
fn add_quiet(copy: &Copy, lower_db: f64, chain: impl Fn(Vec<f64>) -> Vec<f64>) {
    let loud = copy.samples(&copy.file("A", "without", 1));
    let hiss = noise(loud.len(), 77).into_iter().map(|x| 1e-4 * x);
    let quiet: Vec<f64> = gain(-lower_db)(loud).into_iter().zip(hiss).map(|(a, b)| a + b).collect();
    copy.write(&copy.room().join("takes/A_without_quiet_1.wav"), &chain(quiet));
}

#[test]
fn a_quiet_take_shows_that_the_chain_is_linear() {
    let copy = Copy::new();
    assert_eq!(copy.analyze().document()["linearity"]["state"], "not_shown");
    add_quiet(&copy, 10.0, |x| x);
    let run = copy.analyze();
    assert_eq!(run.status, 0, "{run:?}");
    let document = run.document();
    assert_eq!(document["linearity"]["state"], "shown", "{}", document["linearity"]);
    assert!((document["linearity"]["step_db"].as_f64().unwrap() - 10.0).abs() < 0.05);
    assert_eq!(takes(&document, "used").len(), 17, "{}", document["takes"]);
    let check = copy.check();
    assert_eq!(check.status, 0);
    // Being softer it must not count as a level of its seat.
    assert_eq!(check.document()["warnings"], serde_json::json!([]));
}

#[test]
fn a_quiet_take_that_contradicts_leaves_no_figure() {
    // A gain that is set by each take's peak leaves no other trace.
    let press = |x: Vec<f64>| -> Vec<f64> {
        let peak = x.iter().fold(0f64, |a, x| a.max(x.abs()));
        x.into_iter().map(|x| x * (peak / 0.1).powf(-0.2)).collect()
    };
    let copy = Copy::new();
    add_quiet(&copy, 10.0, |x| x);
    let quiet = copy.samples(&copy.room().join("takes/A_without_quiet_1.wav"));
    copy.change(&SEATS, &["without", "with"], press);
    copy.write(&copy.room().join("takes/A_without_quiet_1.wav"), &press(quiet));
    let run = copy.analyze();
    assert_eq!(run.status, 3, "{run:?}");
    assert!(run.said.contains("not linear"), "{}", run.said);
    let check = copy.check();
    assert_eq!(check.status, 1, "{check:?}");
    assert!(check.out.contains("not linear"));
}

#[test]
fn a_quiet_take_without_its_neighbour_shows_nothing() {
    let copy = Copy::new();
    add_quiet(&copy, 10.0, |x| x);
    fs::rename(
        copy.room().join("takes/A_without_quiet_1.wav"),
        copy.room().join("takes/A_without_quiet_7.wav"),
    )
    .unwrap();
    let document = copy.analyze().document();
    assert_eq!(document["linearity"]["state"], "not_shown");
    let (verdict, text) = said(&copy, "A_without_quiet_7.wav");
    assert!(verdict == "doubt" && text.contains("same number"), "{text}");
}

#[test]
fn an_attest_takes_the_level_for_granted_until_the_low_bands_contradict_it() {
    let copy = Copy::new();
    copy.edit_manifest("[session]\n", "[session]\ngain_untouched = true\n");
    let document = copy.analyze().document();
    let sentence = document["claims"][0]["sentence"].as_str().unwrap().to_owned();
    assert!(sentence.contains("attests"), "{sentence}");
    let page = fs::read_to_string(copy.room().join("report/report.html")).unwrap();
    assert!(page.contains("attests that no gain"), "the paper says who attests it");
    copy.change(&SEATS, &["with"], gain(2.0));
    let document = copy.analyze().document();
    assert_eq!(verdicts(&document), ["not_shown", "pass"]);
}
