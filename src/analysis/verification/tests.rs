//! Settings done rightly and wrongly on made losses.

use super::*;
use crate::analysis::biquad::SectionKind;
use crate::analysis::correction::{Section, fit_correction};
use crate::analysis::made_tables::{noise, sheet_loss_db, table};
use crate::support::assert_close;

fn cloth(hz: f64) -> f64 {
    1.5 + sheet_loss_db(hz, 0.010, 60.0)
        + 1.5 * 0.5f64.powf((2.0 * (hz / 2500.0).log2() / 0.9).powi(2))
}

fn with_screen() -> LossTable {
    table(4, |_, hz| cloth(hz), |s, k| 0.05 * noise(1, s, k), 0.05, 0.02)
}

fn asked() -> Correction {
    // The fit is the slow part, and always the same.
    static FIT: std::sync::OnceLock<Correction> = std::sync::OnceLock::new();
    let c = FIT.get_or_init(|| {
        fit_correction(&with_screen(), &Default::default()).unwrap().best().clone()
    });
    assert!(c.sections.len() >= 2 && c.trim_db > 1.0, "{c:?}");
    c.clone()
}

/// Losses recorded with `done` active, noise of its own.
fn corrected(done: &Correction, level_db: f64) -> LossTable {
    let gain = |hz: f64| level_db + done.filter_gain_db(hz);
    table(4, |_, hz| cloth(hz) - gain(hz), |s, k| 0.05 * noise(2, s, k), 0.05, 0.02)
}

/// The setting with its gains multiplied, filter by filter.
fn changed(c: &Correction, factor: impl Fn(usize) -> f64) -> Correction {
    let mut out = c.clone();
    for (i, s) in out.sections.iter_mut().enumerate() {
        let setting = crate::analysis::biquad::Setting {
            gain_db: s.setting.gain_db * factor(i),
            ..s.setting
        };
        *s = Section::new(setting, c.rate_hz).unwrap();
    }
    out
}

fn verdict(done: &Correction, level_db: f64) -> Verification {
    verify(&asked(), &with_screen(), &corrected(done, level_db))
}

#[test]
fn a_setting_done_as_asked_is_achieved() {
    let c = asked();
    let v = verdict(&c, c.trim_db);
    assert_eq!(v.verdict, VerificationVerdict::Achieved, "{v:#?}");
    assert_close("factor", &[v.factor.unwrap()], &[1.0], 0.05);
    assert_close("trim", &[v.trim.unwrap().found_db.unwrap()], &[c.trim_db], 0.05);
    assert!(v.seats.iter().all(|s| s.within));
    // Two noises of 0.05 dB in every cell.
    assert_close("off", &[v.off_rms_db.unwrap()], &[0.05 * 2f64.sqrt()], 0.02);
}

#[test]
fn what_can_go_wrong_is_recognised() {
    use VerificationVerdict as V;
    let c = asked();
    let t = c.trim_db;
    let all = |f: f64| changed(&c, move |_| f);
    for (name, done, level, want) in [
        ("bypassed", all(0.0), 0.0, V::NotActive),
        ("inverted", all(-1.0), -t, V::Inverted),
        ("inverted filters", all(-1.0), t, V::Inverted),
        ("twice", all(2.0), 2.0 * t, V::Twice),
        ("half", all(0.5), 0.5 * t, V::Half),
        ("filters off", all(0.0), t, V::FiltersNotActive),
        ("trim off", all(1.0), 0.0, V::TrimNotApplied),
    ] {
        let v = verdict(&done, level);
        assert_eq!(v.verdict, want, "{name}: {v:?}");
    }
}

#[test]
fn a_shelf_that_is_off_is_named() {
    let c = asked();
    let shelf = c.sections.iter().position(|s| s.slope.is_some()).unwrap();
    let v = verdict(&changed(&c, |i| if i == shelf { 0.0 } else { 1.0 }), c.trim_db);
    assert_eq!(v.verdict, VerificationVerdict::SectionsDiffer, "{v:#?}");
    let kind = SectionKind::HighShelf;
    let frequency_hz = c.sections[shelf].setting.frequency_hz;
    assert_eq!(v.sections[shelf].part, Part::Filter { kind, frequency_hz });
    assert_eq!(v.sections[shelf].finding, Finding::NotActive);
}

#[test]
fn noise_keeps_the_verdict_back() {
    let c = asked();
    let noisy = |error: f64, seed: u64| {
        let gain = |hz: f64| c.trim_db + c.filter_gain_db(hz);
        let t =
            table(1, |_, hz| cloth(hz) - gain(hz), |s, k| error * noise(seed, s, k), error, 0.0);
        verify(&c, &with_screen(), &t)
    };
    for seed in 0..5 {
        assert_eq!(noisy(3.0, seed).verdict, VerificationVerdict::CannotTell, "seed {seed}");
    }
}

#[test]
fn factors_on_both_sides_of_their_tolerance() {
    assert_eq!(judge_factor(1.09, 0.0), Finding::AsAsked);
    assert_eq!(judge_factor(1.11, 0.0), Finding::Different);
    assert_eq!(judge_factor(0.52, 0.05), Finding::Half);
    assert_eq!(judge_factor(0.75, 0.16), Finding::CannotTell);
    assert_eq!(judge_factor(0.75, 0.14), Finding::Different);
    assert_eq!(judge_factor(f64::NAN, 0.1), Finding::CannotTell);
    assert_eq!(judge_factor(1.0, f64::NAN), Finding::CannotTell);
    assert_eq!(judge_trim(2.0, 2.24, 0.0), Finding::AsAsked);
    assert_eq!(judge_trim(2.0, 2.26, 0.0), Finding::Different);
    assert_eq!(judge_trim(2.0, 0.1, 0.1), Finding::NotActive);
    assert_eq!(judge_trim(0.0, 0.1, 0.1), Finding::AsAsked);
    assert_eq!(judge_trim(2.0, 1.5, 2.0), Finding::CannotTell);
}

#[test]
fn a_seat_over_the_tolerance_is_left_over() {
    let c = asked();
    let gain = |hz: f64| c.trim_db + c.filter_gain_db(hz);
    // One seat got a ripple of its own, which no setting removes.
    let ripple = |s: usize, k: usize| if s == 2 { [0.9, -0.9][k % 2] } else { 0.0 };
    let t = table(4, |_, hz| cloth(hz) - gain(hz), ripple, 0.05, 0.0);
    let v = verify(&c, &with_screen(), &t);
    assert_eq!(v.verdict, VerificationVerdict::DoneButLeftOver, "{v:?}");
    let within: Vec<bool> = v.seats.iter().map(|s| s.within).collect();
    assert_eq!(within, [true, true, false, true]);
}

#[test]
fn a_level_without_filters_is_verified_too() {
    let flat = |loss: f64, seed: u64| {
        table(3, move |_, _| loss, |s, k| 0.02 * noise(seed, s, k), 0.02, 0.0)
    };
    let with = flat(3.0, 1);
    let c = fit_correction(&with, &Default::default()).unwrap();
    assert!(c.sections.is_empty());
    let at = |left: f64| verify(&c, &with, &flat(left, 2)).verdict;
    assert_eq!(at(0.0), VerificationVerdict::Achieved);
    assert_eq!(at(3.0), VerificationVerdict::NotActive);
    assert_eq!(at(6.0), VerificationVerdict::Inverted);
    assert_eq!(at(-3.0), VerificationVerdict::Twice);
}

#[test]
fn nothing_recorded_tells_nothing() {
    let c = asked();
    let mut t = corrected(&c, c.trim_db);
    t.seats.iter_mut().for_each(|s| s.loss.iter_mut().for_each(|l| *l = None));
    let v = verify(&c, &with_screen(), &t);
    assert_eq!(v.verdict, VerificationVerdict::CannotTell);
    assert!(v.seats.is_empty() && v.factor.is_none() && v.off_rms_db.is_none());
    t.seats.clear();
    assert_eq!(verify(&c, &with_screen(), &t).verdict, VerificationVerdict::CannotTell);
}

#[test]
fn seats_are_matched_by_name_and_absent_cells_left_out() {
    let c = asked();
    let mut t = corrected(&c, c.trim_db);
    t.seats.remove(0);
    t.seats[0].loss[15] = None;
    let v = verify(&c, &with_screen(), &t);
    let ids: Vec<&str> = v.seats.iter().map(|s| s.id.as_str()).collect();
    assert_eq!(ids, ["S2", "S3", "S4"]);
    assert!(v.seats[0].left[15].is_none() && !v.seats[0].shown && v.seats[0].within);
    assert_eq!(v.verdict, VerificationVerdict::Achieved);
}
