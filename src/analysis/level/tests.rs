//! Steps and level warnings, both sides of each limit.

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

fn finding(low_db: f64, step: Option<&ControlStep>) -> (LevelFinding, Vec<Warning>) {
    let loss = vec![Some(low_db); bands().len()];
    let finding = find_level(&bands(), &loss, step);
    let warnings = level_warnings(&finding, step);
    (finding, warnings)
}

#[test]
fn warnings_stand_on_both_sides_of_their_limits() {
    for (low_db, n) in [(-0.16, 1), (-0.14, 0), (0.3, 0), (0.79, 0), (0.81, 1)] {
        let (found, warnings) = finding(low_db, None);
        assert_eq!(warnings.len(), n, "{low_db}: {warnings:?}");
        assert!((found.low_band_loss_db.expect("known") - low_db).abs() < 1e-12);
        assert_eq!((found.step_db, found.source), (None, LevelKnowledge::None));
        assert!(found.statement.contains("nothing was subtracted"));
    }
    let (found, warnings) = finding(f64::NAN, None);
    assert_eq!((found.low_band_loss_db, warnings.len()), (None, 0));
}

#[test]
fn with_control_takes_the_words_change() {
    let step = measure_step(&bands(), &[control("A", -0.6), control("B", -0.6)]);
    let (found, warnings) = finding(0.9, step.as_ref());
    assert_eq!(found.source, LevelKnowledge::Control);
    assert!(found.statement.contains("0.60 dB louder"), "{}", found.statement);
    assert!(warnings[0].message.contains("no change of gain"), "{warnings:?}");
    let uneven = [control("A", 0.0), control("B", 0.0), control("C", 0.4)];
    let step = measure_step(&bands(), &uneven);
    let (_, warnings) = finding(0.2, step.as_ref());
    let seats: Vec<Option<&str>> = warnings.iter().map(|w| w.seat.as_deref()).collect();
    assert_eq!(seats, [Some("C")]);
}

#[test]
fn fewer_than_four_low_bands_are_no_figure() {
    let mut loss = vec![None; bands().len()];
    loss[..3].fill(Some(0.2));
    assert_eq!(low_band_loss_db(&bands(), &loss), None);
    loss[3] = Some(0.2);
    assert!(low_band_loss_db(&bands(), &loss).is_some());
}
