//! Changes beyond both uncertainties, and none where there is none.

use super::*;
use crate::report::example::example_result;

fn stored() -> StoredResult {
    let result = example_result(4);
    let bytes = crate::report::json::json_text(&result).unwrap();
    StoredResult::parse(&bytes).unwrap()
}

fn more(result: &mut StoredResult, seat: Option<usize>, from_hz: f64, db: f64) {
    for (b, _) in result.bands.iter().enumerate().filter(|(_, b)| b.nominal_hz >= from_hz) {
        for (s, of_seat) in result.seats.iter_mut().enumerate() {
            if seat.is_none_or(|wanted| wanted == s) {
                of_seat.loss_db[b].iter_mut().for_each(|l| *l += db);
            }
        }
        if seat.is_none() {
            result.mean.loss_db[b].iter_mut().for_each(|l| *l += db);
        }
    }
}

fn n_shown(again: &Again) -> usize {
    again.seats.iter().flat_map(|s| &s.bands).filter(|b| b.loss_db.shown).count()
}

#[test]
fn the_same_room_twice_shows_nothing() {
    let (old, new) = (stored(), stored());
    let same = again(&old, &new, false);
    assert_eq!((n_shown(&same), same.likely.len(), same.titles.clone()), (0, 0, None));
    assert_eq!(same.seats.len(), 4);
    // Two equal ones: the standard uncertainty grows by the root of two, the degrees of freedom
    // double (Welch-Satterthwaite).
    let at = old.bands.iter().position(|b| b.nominal_hz == 1000.0).unwrap();
    let (u95, dof) = (old.seats[0].u95_db[at].unwrap(), old.seats[0].dof[at].unwrap());
    let t = |dof| student_quantile(0.975, dof).unwrap();
    let band = same.seats[0].bands.iter().find(|b| b.nominal_hz == 1000.0).unwrap();
    let want = t(2.0 * dof) / t(dof) * 2f64.sqrt() * u95;
    assert!((band.loss_db.u95 / want - 1.0).abs() < 1e-6, "{} {want}", band.loss_db.u95);
}

#[test]
fn more_treble_loss_at_all_seats_is_a_clogged_sheet() {
    let (old, mut new) = (stored(), stored());
    more(&mut new, None, 2000.0, 1.5);
    let found = again(&old, &new, false);
    assert_eq!(found.likely, [Cause::Clogged]);
    assert!(n_shown(&found) >= 4 * 8);
}

#[test]
fn one_seat_and_a_level_are_told_apart() {
    let (old, mut new) = (stored(), stored());
    more(&mut new, Some(2), 1000.0, 1.5);
    let found = again(&old, &new, true);
    assert_eq!(found.likely, [Cause::SingleSeats]);
    assert!(found.seats[0].bands.iter().all(|b| !b.loss_db.shown));
    assert!(found.titles.is_some());
    let mut new = stored();
    more(&mut new, None, 0.0, 2.0);
    assert_eq!(again(&old, &new, false).likely, [Cause::Level]);
}

#[test]
fn seats_of_one_measurement_are_named() {
    let (old, mut new) = (stored(), stored());
    new.seats[3].id = "X".into();
    let found = again(&old, &new, false);
    assert_eq!(found.seats.len(), 3);
    assert_eq!(found.seats_of_one, [old.seats[3].id.clone(), "X".into()]);
}
