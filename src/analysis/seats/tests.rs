//! Common shape and movement on made losses.

use super::*;
use crate::analysis::made_tables::{estimate, noise, sheet_loss_db, table};
use crate::support::assert_close;

fn cloth(hz: f64) -> f64 {
    sheet_loss_db(hz, 0.25, 40.0)
}

#[test]
fn seats_that_differ_by_noise_alone_are_found_common() {
    for seed in 0..5 {
        let t = table(6, |_, hz| cloth(hz), |s, k| 0.15 * noise(seed, s, k), 0.15, 0.0);
        let got = judge_seats(&t);
        assert!(got.bands.iter().all(|b| b.common), "seed {seed}: {got:?}");
        assert!(got.bands.iter().filter(|b| b.moves).count() <= 1, "seed {seed}");
        assert!(got.common_share.unwrap() > 0.98, "{:?}", got.common_share);
        assert!(got.moving_rms_db.unwrap() < 0.07, "{:?}", got.moving_rms_db);
    }
}

#[test]
fn the_shared_uncertainty_makes_no_movement_small_but_none_is_shown_within_it() {
    // The same noise as above, but stated as shared.
    let t = table(6, |_, hz| cloth(hz), |s, k| 0.6 * noise(3, s, k), 0.6, 0.599);
    let got = judge_seats(&t);
    assert!((0.4..0.8).contains(&got.moving_rms_db.unwrap()), "{:?}", got.moving_rms_db);
    assert!(got.bands.iter().filter(|b| b.moves).count() <= 1, "{got:?}");
    // A quarter of the uncertainty: the same is shown.
    let t = table(6, |_, hz| cloth(hz), |s, k| 0.6 * noise(3, s, k), 0.15, 0.149);
    assert!(judge_seats(&t).bands.iter().filter(|b| b.moves).count() > 10);
}

#[test]
fn a_comb_that_moves_is_found_with_its_size() {
    // Movement of +-1.5 dB by turns in the bands from 2 kHz up, known in closed form.
    let swing = |s: usize, k: usize| if k >= 13 { [1.5, -1.5][(s + k) % 2] } else { 0.0 };
    let t = table(6, |_, hz| cloth(hz), swing, 0.05, 0.0);
    let got = judge_seats(&t);
    let at = |hz: f64| got.bands.iter().find(|b| b.nominal_hz == hz).unwrap();
    assert!(at(4000.0).moves && !at(4000.0).common);
    assert!(at(630.0).common);
    // n-1 standard deviation of three +1.5 and three -1.5: 1.5 sqrt(6/5); the levels of
    // the seats are equal (10 bands, five up and five down).
    let want = (1.5f64.powi(2) * 6.0 / 5.0 / (1.0 - 1.0 / 16.0) - 0.05f64.powi(2)).sqrt();
    assert_close("movement", &[at(4000.0).moving_db.unwrap()], &[want], 0.01);
    let (most_db, band) = got.moves_most().unwrap();
    assert_close("most", &[most_db], &[want], 0.01);
    assert!(band.nominal_hz >= 2000.0, "{band:?}");
}

#[test]
fn a_seat_that_is_lower_throughout_differs_in_level_not_in_shape() {
    let t = table(3, |s, hz| cloth(hz) + s as f64, |_, _| 0.0, 0.05, 0.0);
    let got = judge_seats(&t);
    let level: Vec<f64> = got.level_db.iter().map(|l| l.unwrap()).collect();
    assert_close("levels", &level, &[-1.0, 0.0, 1.0], 1e-6);
    assert_close("movement", &[got.moving_rms_db.unwrap()], &[0.0], 1e-9);
    assert!(got.bands.iter().all(|b| !b.moves));
}

#[test]
fn levels_are_found_with_bands_absent() {
    let mut t = table(4, |s, hz| cloth(hz) + 0.5 * s as f64, |_, _| 0.0, 0.05, 0.0);
    t.seats[0].loss[22] = None;
    t.seats[0].loss[21] = None;
    t.seats[2].loss[9] = Some(estimate(f64::NAN, 0.05, 0.0));
    let got = judge_seats(&t);
    let level: Vec<f64> = got.level_db.iter().map(|l| l.unwrap()).collect();
    assert_close("levels", &level, &[-0.75, -0.25, 0.25, 0.75], 1e-6);
    assert_eq!((got.bands[22].n_seats, got.bands[9].n_seats), (3, 3));
    assert!(got.bands.iter().all(|b| !b.moves));
}

#[test]
fn movement_just_below_and_above_the_limit() {
    let with = |size: f64| {
        let swing = move |s: usize, k: usize| {
            if k == 16 { size * [1.0, -1.0][s % 2] } else { 0.0 }
        };
        judge_seats(&table(6, |_, hz| cloth(hz), swing, 0.02, 0.0))
    };
    // Deviation sd over seats: size x (1 - 1/16) x sqrt(6/5 / (1 - 1/16)).
    let factor = (1.0 - 1.0 / 16.0) * (6.0 / 5.0 / (1.0 - 1.0 / 16.0f64)).sqrt();
    let below = with(0.95 * MOVEMENT_LIMIT_DB / factor);
    let above = with(1.05 * MOVEMENT_LIMIT_DB / factor);
    assert!(below.bands[16].moves && below.bands[16].common);
    assert!(above.bands[16].moves && !above.bands[16].common);
}

#[test]
fn one_seat_or_none_says_nothing_of_movement() {
    let one = judge_seats(&table(1, |_, hz| cloth(hz), |_, _| 0.0, 0.05, 0.0));
    assert_eq!((one.moving_rms_db, one.common_share), (None, None));
    assert!(one.bands.iter().all(|b| b.common && b.p_value.is_none()));
    assert!(one.moves_most().is_none());
    let mut t = table(2, |_, hz| cloth(hz), |_, _| 0.0, 0.05, 0.0);
    t.seats.iter_mut().for_each(|s| s.loss.iter_mut().for_each(|l| *l = None));
    let none = judge_seats(&t);
    assert_eq!(none.n_seats, 0);
    assert!(none.bands.iter().all(|b| b.common_db.is_none()));
    t.seats.clear();
    assert_eq!(judge_seats(&t).n_seats, 0);
}

/// F distribution, upper 5 % points, NIST/SEMATECH e-Handbook 1.3.6.7.3 (from memory).
#[test]
fn chances_are_those_of_the_f_table() {
    for (d1, d2, f) in [(5.0, 10.0, 3.326), (2.0, 20.0, 3.493), (1.0, 60.0, 4.001)] {
        assert_close("F", &[chance_of(f, 1.0, d1, d2)], &[0.05], 1e-4);
    }
    // Chi-square with 5 degrees of freedom, upper 5 %: 11.070 (same handbook, from memory).
    assert_close("chi2", &[chance_of(11.070 / 5.0, 1.0, 5.0, f64::INFINITY)], &[0.05], 1e-4);
    assert_eq!(chance_of(0.1, 0.0, 3.0, 10.0), 0.0);
    assert_eq!(chance_of(0.0, 0.0, 3.0, 10.0), 1.0);
}
