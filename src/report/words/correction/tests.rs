//! The words on losses known in closed form: each verdict, each cause.

use super::*;
use crate::analysis::correction::fit_correction;
use crate::analysis::loss::LossTable;
use crate::analysis::made_tables::{estimate, sheet_loss_db, table};
use crate::ingest::manifest::CorrectionLimits;

fn fit(table: &LossTable, limits: &CorrectionLimits) -> SaidSetting {
    said(fit_correction(table, limits).unwrap())
}

fn fit_usual(table: &LossTable) -> SaidSetting {
    fit(table, &CorrectionLimits::default())
}

/// Neither filters nor shelf: what is left is the loss less its trim.
fn fit_without_filters(table: &LossTable) -> SaidSetting {
    fit(table, &CorrectionLimits { max_filters: 0, high_shelf: false, ..Default::default() })
}

fn cloth(hz: f64) -> f64 {
    sheet_loss_db(hz, 0.010, 60.0)
}

#[test]
fn nothing_or_level_alone_is_said_so() {
    let c = fit_usual(&table(6, |_, _| 0.0, |_, _| 0.0, 0.1, 0.0));
    assert!(c.words.reason.starts_with("No equaliser setting is needed"), "{}", c.words.reason);
    assert!(c.words.advice.is_none() && warnings(&c).is_empty());
    let c = fit_usual(&table(3, |_, _| 2.3, |_, _| 0.0, 0.1, 0.02));
    assert!(c.words.reason.starts_with("Level alone (+2.5 dB)"), "{}", c.words.reason);
    let c = fit_usual(&table(1, |_, hz| cloth(hz), |_, _| 0.0, 0.05, 0.02));
    assert!(c.words.reason.contains("the one seat measured"), "{}", c.words.reason);
}

#[test]
fn ripple_that_moves_from_seat_to_seat_is_refused() {
    let comb = |s: usize, hz: f64| {
        let delay_s = 0.9e-3 * (1.0 - 0.12 * s as f64);
        cloth(hz) - 10.0 * (1.0 + 0.45 * (std::f64::consts::TAU * hz * delay_s).cos()).log10()
    };
    let c = fit_usual(&table(6, comb, |_, _| 0.0, 0.08, 0.02));
    let SettingWords { reason, advice, .. } = &c.words;
    assert!(reason.contains("moves from seat to seat"), "{reason}");
    assert!(reason.contains("what differs from seat to seat at"), "{reason}");
    assert!(advice.as_ref().is_some_and(|a| a.contains("absorbent")), "{advice:?}");
    let warned = warnings(&c);
    assert_eq!((warned[0].topic, &warned[0].message), (Topic::Correction, reason));
    assert_eq!(Some(&warned[0].advice), advice.as_ref());
}

#[test]
fn narrow_dips_are_named() {
    let dip = |_: usize, hz: f64| {
        cloth(hz) + 15.0 * 0.5f64.powf((2.0 * (hz / 2512.0).log2() / 0.15).powi(2))
    };
    let c = fit_usual(&table(4, dip, |_, _| 0.0, 0.05, 0.0));
    let reason = &c.words.reason;
    assert!(reason.contains("Part of the loss sits in narrow dips"), "{reason}");
    assert!(reason.contains("do not fill the narrow dips near"), "{reason}");
}

#[test]
fn what_is_not_shown_is_said_beside_what_is() {
    let with = |d: f64, error: f64| {
        fit_without_filters(&table(2, |_, _| 3.0, |_, k| d * [-1.0, 1.0][k % 2], error, 0.0))
    };
    let rms = (1.0f64 + 1.0 / 49.0).sqrt();
    let unsure = with(0.45 / rms, 0.1);
    assert!(unsure.words.reason.contains("not shown at 2 of 2 seats"), "{}", unsure.words.reason);
    assert!(unsure.words.advice.as_ref().is_some_and(|a| a.starts_with("Check the setting")));
    let blind = with(0.2, 0.8);
    assert!(blind.words.reason.contains("uncertainty"), "{}", blind.words.reason);
}

#[test]
fn the_band_that_is_off_is_named() {
    let t = table(2, |_, _| 1.0, move |_, k| if k == 19 { 1.51 } else { 0.0 }, 0.001, 0.0);
    let c = fit_without_filters(&t);
    assert!(c.words.reason.contains("8 kHz is off by 1.5 dB"), "{}", c.words.reason);
}

#[test]
fn a_loss_beyond_the_largest_boost_says_so() {
    let steep = |_: usize, hz: f64| 4.0 * (hz / 2000.0).log2().max(0.0);
    let c = fit_usual(&table(3, steep, |_, _| 0.0, 0.05, 0.0));
    let SettingWords { reason, advice, .. } = &c.words;
    assert!(reason.contains("more boost than is allowed"), "{reason}");
    assert!(reason.contains("The best that can be done"), "{reason}");
    let advice = advice.as_ref().unwrap();
    assert!(advice.contains("takes less away. Raise max_boost_db above 6 dB only"), "{advice}");
}

#[test]
fn other_causes_are_said() {
    let t = table(4, |s, hz| cloth(hz) + if s == 3 { 1.2 } else { 0.0 }, |_, _| 0.0, 0.05, 0.0);
    let level = fit_usual(&t).words.reason;
    assert!(level.contains("different amounts over the whole range"), "{level}");
    assert!(level.contains("S4"), "{level}");
    let high = |_: usize, hz: f64| 2.0 * (hz / 5000.0).log2().max(0.0);
    let limits = CorrectionLimits { band_hz: [500.0, 4000.0], ..Default::default() };
    let outside = fit(&table(3, high, |_, _| 0.0, 0.05, 0.0), &limits).words.reason;
    assert!(outside.contains("outside the range"), "{outside}");
    let mut t = table(3, |_, hz| cloth(hz), |_, _| 0.0, 0.05, 0.02);
    t.seats[1].loss.iter_mut().for_each(|l| *l = None);
    let unmeasured = fit_usual(&t).words.reason;
    assert!(unmeasured.contains("it fails at S2"), "{unmeasured}");
    assert!(unmeasured.contains("no loss to judge by"), "{unmeasured}");
}

#[test]
fn absent_bands_are_named() {
    let mut t = table(3, |_, hz| cloth(hz), |_, _| 0.0, 0.05, 0.02);
    t.seats[1].loss[22] = None;
    t.seats[1].loss[21] = Some(estimate(f64::NAN, 0.05, 0.02));
    t.seats[2].loss[20] = Some(estimate(2.0, f64::INFINITY, 0.02));
    let c = fit_usual(&t);
    assert!(c.words.reason.contains("(10 kHz, 12.5 kHz, 16 kHz; 2 seats)"), "{}", c.words.reason);
}

#[test]
fn the_finer_setting_has_its_own_words_beside_its_numbers() {
    let c = fit_usual(&table(6, |_, hz| cloth(hz), |_, _| 0.0, 0.08, 0.03));
    let finer = c.words.finer.as_ref().expect("a finer one");
    assert_eq!(Some(&finer.setting.found), c.finer.as_deref());
    assert!(c.words.reason.contains("It is the simplest that does"), "{}", c.words.reason);
    assert!(!finer.setting.words.reason.contains("simplest"));
    let json = serde_json::to_value(&c).unwrap();
    assert_eq!(json["reason"], *c.words.reason);
    assert_eq!(json["finer"]["reason"], *finer.setting.words.reason);
    assert_eq!(json["finer"]["trim_db"], finer.setting.trim_db);
    assert!(json["finer"]["finer"].is_null() && json["finer"]["warnings"].is_array());
}

#[test]
fn a_seat_that_comes_off_worse_is_warned_of() {
    let mut c = fit_usual(&table(2, |_, _| 1.8, |_, _| 0.0, 0.05, 0.0));
    assert!(warnings(&c).iter().all(|w| w.seat.is_none()));
    let seat = &mut c.found.seats[1];
    (seat.before_rms_db, seat.after_rms_db) = (Some(0.20), Some(0.45));
    let warned = warnings(&c);
    let of_seat = warned.iter().find(|w| w.seat.as_deref() == Some("S2"));
    let of_seat = of_seat.unwrap_or_else(|| panic!("{warned:?}"));
    assert!(
        of_seat.message.starts_with("The setting makes seat S2 worse: 0.45 dB rms"),
        "{of_seat:?}"
    );
}
