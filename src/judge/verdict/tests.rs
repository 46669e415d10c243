//! Faults of single made takes.

use super::super::facts::TakeAnalyser;
use super::super::scene::Scene;
use super::*;
use crate::ingest::session::Recording;
use crate::judge::TakeVerdict;

fn judged(scene: &Scene, mic: Vec<f64>) -> Vec<Finding> {
    let take = Recording::of_microphone(scene.rate_hz, mic, Some(24));
    judge_take(&TakeAnalyser::new(&scene.sweep()).facts(&take), scene.rate_hz)
}

fn topics(found: &[Finding]) -> Vec<(Topic, TakeVerdict)> {
    found.iter().map(|f| (f.topic, f.verdict)).collect()
}

#[test]
fn clean_takes_are_good() {
    for seed in 0..10 {
        let scene = Scene { seed, ..Scene::default() };
        assert_eq!(judged(&scene, scene.take().mic), vec![], "seed {seed}");
    }
}

#[test]
fn cut_takes_say_what_is_lost() {
    let scene = Scene::default();
    let mic = scene.take().mic;
    // L = 2.5 / ln 1000 = 0.3619 s; 1 s of the sweep reaches 317 Hz, closed form.
    let late = judged(&scene, mic[72_000..].to_vec());
    assert!(topics(&late).contains(&(Topic::Truncation, Repeat)), "{late:?}");
    assert!(late.iter().any(|f| f.message.contains("below 31")), "{late:?}");
    let faded: Vec<f64> =
        mic.iter().enumerate().map(|(i, x)| if i < 72_000 { 0.0 } else { *x }).collect();
    assert!(topics(&judged(&scene, faded)).contains(&(Topic::Truncation, Repeat)));
    let slightly = judged(&scene, mic[33_600..].to_vec());
    assert!(topics(&slightly).contains(&(Topic::Truncation, Doubt)), "{slightly:?}");
    // The last 0.2 s reach from 11.5 kHz to the end.
    let early = judged(&scene, mic[..134_400].to_vec());
    assert!(topics(&early).contains(&(Topic::Truncation, Repeat)), "{early:?}");
    assert!(early.iter().any(|f| f.message.contains("above 11")), "{early:?}");
    let no_tail = judged(&scene, mic[..146_400].to_vec());
    assert!(topics(&no_tail).contains(&(Topic::Truncation, Doubt)), "{no_tail:?}");
    let enough = judged(&scene, mic[..144_000 + 14_400].to_vec());
    assert!(!topics(&enough).iter().any(|t| t.0 == Topic::Truncation), "{enough:?}");
}

#[test]
fn two_sweeps_wrong_signals_and_silence_are_told() {
    let scene = Scene::default();
    let sweep = scene.sweep().samples;
    for pause_s in [0.3, 1.5] {
        let mut twice = sweep.clone();
        twice.extend(vec![0.0; (pause_s * 48e3) as usize]);
        twice.extend(&sweep);
        let found = judged(&scene, scene.take_of(&twice).mic);
        assert!(topics(&found).contains(&(Topic::DoubleSweep, Repeat)), "{found:?}");
    }
    // Overlapping: the second starts one second into the first.
    let mut overlapped = sweep.clone();
    overlapped.resize(sweep.len() + 48_000, 0.0);
    for (i, x) in sweep.iter().enumerate() {
        overlapped[48_000 + i] += x;
    }
    let found = judged(&scene, scene.take_of(&overlapped).mic);
    assert!(topics(&found).contains(&(Topic::DoubleSweep, Repeat)), "{found:?}");
    let other = Scene { duration_s: 1.8, ..Scene::default() };
    assert_eq!(topics(&judged(&scene, other.take().mic)), [(Topic::WrongSignal, Repeat)]);
    let noise = Scene { noise: 0.05, ..Scene::default() }.noise(150_000);
    assert_eq!(topics(&judged(&scene, noise)), [(Topic::WrongSignal, Repeat)]);
    assert_eq!(topics(&judged(&scene, vec![0.0; 150_000])), [(Topic::LowLevel, Repeat)]);
    assert_eq!(topics(&judged(&scene, vec![])), [(Topic::LowLevel, Repeat)]);
    let mut broken = scene.take().mic;
    broken[1000] = f64::NAN;
    assert_eq!(topics(&judged(&scene, broken)), [(Topic::WrongSignal, Repeat)]);
}

#[test]
fn level_offset_gap_and_noise() {
    let soft = Scene { level: 0.004, noise: 6e-6, ..Scene::default() };
    assert_eq!(topics(&judged(&soft, soft.take().mic)), [(Topic::LowLevel, Doubt)]);
    let twice = Scene { level: 0.008, noise: 6e-6, ..Scene::default() };
    assert_eq!(topics(&judged(&twice, twice.take().mic)), []);
    let scene = Scene::default();
    let with = |offset: f64| scene.take().mic.iter().map(|x| x + offset).collect::<Vec<_>>();
    assert_eq!(topics(&judged(&scene, with(0.02))), [(Topic::DcOffset, Good)]);
    assert_eq!(topics(&judged(&scene, with(0.01))), []);
    let mut dropped = scene.take().mic;
    dropped[72_000..72_300].fill(0.0);
    assert!(topics(&judged(&scene, dropped)).contains(&(Topic::Truncation, Repeat)));
    let noisy = Scene { noise: 0.2, ..Scene::default() };
    let found = judged(&noisy, noisy.take().mic);
    assert!(
        found.iter().any(|f| f.topic == Topic::Noise && f.message.contains("100 Hz")),
        "{found:?}"
    );
    let bare = Scene { lead_s: 0.05, tail_s: 0.3, ..Scene::default() };
    assert_eq!(topics(&judged(&bare, bare.take().mic)), [(Topic::Noise, Doubt)]);
}

#[test]
fn hum_is_a_remark_until_it_comes_near_the_sweep() {
    let hummed = |rms: f64| {
        let scene = Scene::default();
        let mut mic = scene.take().mic;
        for (i, x) in mic.iter_mut().enumerate() {
            for multiple in [1.0, 2.0, 3.0] {
                let phase = std::f64::consts::TAU * 50.0 * multiple * i as f64 / 48e3;
                *x += rms * 2f64.sqrt() * phase.sin();
            }
        }
        topics(&judged(&scene, mic))
    };
    assert_eq!(hummed(4e-4), [(Topic::Hum, Good)]);
    assert!(hummed(2e-2).contains(&(Topic::Hum, Doubt)), "{:?}", hummed(2e-2));
    assert_eq!(hummed(2e-5), []);
}
