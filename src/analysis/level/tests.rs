//! Steps and doubts about the level, both sides of each limit.

use super::super::control_step::*;
use super::super::loss::LossTable;
use super::*;
use crate::analysis::estimate::Estimate;
use crate::analysis::loss::{MeanLoss, SeatLoss};

fn bands() -> Vec<ThirdOctave> {
    ThirdOctave::report_bands(20_000.0)
}

fn control(seat: &str, step_db: f64) -> ControlLoss {
    // Single bands off by a lot, as a moved microphone makes them: the median stays.
    let off = |i: usize| if i.is_multiple_of(5) { 0.8 } else { 0.0 };
    let loss_db = (0..bands().len()).map(|i| Some(step_db + off(i))).collect();
    ControlLoss { seat: seat.into(), loss_db }
}

fn table(loss_db: f64) -> LossTable {
    let e = Estimate { value_db: loss_db, u_db: 0.03, u_common_db: 0.0, dof: 12.0, u95_db: 0.0654 };
    let n = bands().len();
    let seat = SeatLoss {
        seat: 0,
        id: "R1C".into(),
        weight: 1.0,
        loss: vec![Some(e); n],
        in_room_db: vec![Some(loss_db); n],
        direct_db: vec![Some(loss_db); n],
        absent: vec![None; n],
        doubtful: vec![false; n],
        spots: [2, 2],
        fine_db: vec![Some(loss_db); 3],
    };
    let mean = MeanLoss {
        loss: seat.loss.clone(),
        sd_db: vec![None; n],
        range_db: vec![None; n],
        fine_db: seat.fine_db.clone(),
    };
    LossTable { bands: bands(), fine_hz: vec![1e3, 2e3, 3e3], seats: vec![seat], mean }
}

#[test]
fn the_step_is_median_over_bands_and_mean_over_seats() {
    let step = measure_step(&bands(), &[control("A", 0.5), control("B", 0.54)]);
    let step = step.expect("measured");
    assert!((step.step_db - 0.52).abs() < 1e-12, "{step:?}");
    // Scatter 0.0283 dB over sqrt 2 is 0.02 dB, above the floor of 0.015 dB.
    assert!((step.u_db - 0.02).abs() < 1e-6, "{step:?}");
    let alike = measure_step(&bands(), &[control("A", 0.5), control("B", 0.5)]);
    assert_eq!(alike.map(|s| s.u_db), Some(CONTROL_U_DB));
}

#[test]
fn too_little_control_data_measures_nothing() {
    assert_eq!(measure_step(&bands(), &[]), None);
    let mut thin = control("A", 0.5);
    let mut kept = 0;
    for (band, loss) in bands().iter().zip(&mut thin.loss_db) {
        if CONTROL_BANDS.contains(&band.index()) {
            kept += 1;
            if kept > 6 {
                *loss = if kept % 2 == 0 { None } else { Some(f64::NAN) };
            }
        }
    }
    assert_eq!(measure_step(&bands(), &[thin]), None);
}

#[test]
fn a_measured_step_widens_u() {
    let step = measure_step(&bands(), &[control("A", 0.5)]).expect("measured");
    let mut t = table(1.7);
    widen_by_step(&mut t, &step);
    let e = t.seats[0].loss[7].expect("kept");
    assert_eq!(e.value_db, 1.7);
    assert!((e.u_db - 0.03f64.hypot(0.015)).abs() < 1e-12);
    assert!((e.u_common_db - 0.015).abs() < 1e-12);
    assert!((e.u95_db / e.u_db - 0.0654 / 0.03).abs() < 1e-9, "the coverage factor stays");
    assert!((t.mean.loss[3].expect("kept").u_common_db - 0.015).abs() < 1e-12);
}

fn finding(low_db: f64, step: Option<&ControlStep>) -> LevelFinding {
    find_level(&bands(), &vec![Some(low_db); bands().len()], step)
}

#[test]
fn doubts_stand_on_both_sides_of_their_limits() {
    for (low_db, n) in [(-0.16, 1), (-0.14, 0), (0.3, 0), (0.79, 0), (0.81, 1)] {
        let found = finding(low_db, None);
        assert_eq!(found.doubts.len(), n, "{low_db}: {found:?}");
        assert!((found.low_band_loss_db.expect("known") - low_db).abs() < 1e-12);
        assert_eq!((found.step_db, found.source), (None, LevelKnowledge::None));
    }
    let low = finding(-0.16, None).doubts;
    assert!(matches!(low[..], [LevelDoubt::Louder { by_db }] if (by_db - 0.16).abs() < 1e-12));
    let high = finding(0.81, None).doubts;
    assert!(matches!(high[..], [LevelDoubt::Softer { loss_db }] if (loss_db - 0.81).abs() < 1e-12));
    let found = finding(f64::NAN, None);
    assert_eq!((found.low_band_loss_db, found.doubts.len()), (None, 0));
}

#[test]
fn control_takes_tell_of_their_seats() {
    let step = measure_step(&bands(), &[control("A", -0.6), control("B", -0.6)]);
    let found = finding(0.9, step.as_ref());
    assert_eq!((found.source, found.step_u_db), (LevelKnowledge::Control, Some(CONTROL_U_DB)));
    assert!((found.step_db.expect("measured") + 0.6).abs() < 1e-12);
    assert!(matches!(found.doubts[..], [LevelDoubt::Softer { .. }]), "{found:?}");
    let uneven = [control("A", 0.0), control("B", 0.0), control("C", 0.4)];
    let step = measure_step(&bands(), &uneven);
    let found = finding(0.2, step.as_ref());
    let [LevelDoubt::SeatStep { seat, step_db, mean_db }] = &found.doubts[..] else {
        panic!("{found:?}")
    };
    assert_eq!(seat, "C");
    assert!((step_db - 0.4).abs() < 1e-12 && (mean_db - 0.4 / 3.0).abs() < 1e-12, "{found:?}");
}

#[test]
fn fewer_than_four_low_bands_are_no_figure() {
    let mut loss = vec![None; bands().len()];
    loss[..3].fill(Some(0.2));
    assert_eq!(low_band_loss_db(&bands(), &loss), None);
    loss[3] = Some(0.2);
    assert!(low_band_loss_db(&bands(), &loss).is_some());
}
