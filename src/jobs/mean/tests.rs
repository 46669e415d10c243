//! Against an independent program, closed forms, and intervals over drawn years.

use super::*;
use crate::support::assert_close;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

struct Case {
    rooms: Vec<RoomFigure>,
    tau2: f64,
    mean: f64,
    u95: f64,
}

fn cases() -> Vec<Case> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/random_effects.csv");
    let mut cases: Vec<Case> = Vec::new();
    for row in csv::Reader::from_path(path).expect("the table is there").records() {
        let row = row.expect("whole");
        let (case, value): (usize, f64) = (row[0].parse().unwrap(), row[3].parse().unwrap());
        if case == cases.len() {
            let none = f64::NAN;
            cases.push(Case { rooms: Vec::new(), tau2: none, mean: none, u95: none });
        }
        match &row[1] {
            "room" => cases[case].rooms.push(RoomFigure { value, u: row[4].parse().unwrap() }),
            "tau2" => cases[case].tau2 = value,
            "mean" => cases[case].mean = value,
            "u95" => cases[case].u95 = value,
            other => panic!("{other}"),
        }
    }
    cases
}

#[test]
fn means_are_those_of_an_independent_program() {
    let cases = cases();
    assert_eq!(cases.len(), 7);
    assert!(cases.iter().any(|c| c.tau2 == 0.0) && cases.iter().any(|c| c.tau2 > 0.01));
    for (i, case) in cases.iter().enumerate() {
        let got = over_rooms(&case.rooms, 0.0, None).unwrap();
        let what = |part: &str| format!("case {i}, {part}");
        assert_close(&what("tau2"), &[between_variance(&case.rooms)], &[case.tau2], 1e-9);
        assert_close(&what("mean"), &[got.mean], &[case.mean], 1e-9);
        // The quantile of t is that of the library, good to 1e-9 relative at two rooms.
        // Few rooms: never narrower than what their own uncertainty leaves.
        let weights: f64 = case.rooms.iter().map(|r| 1.0 / (r.u * r.u + case.tau2)).sum();
        let least = if case.rooms.len() < 5 { 1.959_963_985 / weights.sqrt() } else { 0.0 };
        let want = case.u95.max(least);
        assert_close(&what("u95"), &[got.u95.unwrap()], &[want], 1e-7);
    }
}

#[test]
fn equal_uncertainties_give_the_plain_mean_and_its_plain_interval() {
    // Closed form: with equal u the interval is t(n-1) s / sqrt(n), and 1.96 u / sqrt(n) at least.
    let values = [1.0, 2.0, 4.0, 5.0];
    for u in [0.01, 1.0, 10.0] {
        let rooms: Vec<RoomFigure> = values.map(|value| RoomFigure { value, u }).to_vec();
        let got = over_rooms(&rooms, 0.0, None).unwrap();
        let s = (10.0f64 / 3.0).sqrt();
        // Student's t, 3 degrees of freedom, 0.975: 3.182 (NIST handbook).
        assert_close("mean", &[got.mean], &[3.0], 1e-12);
        let want = (3.182 * s / 2.0).max(1.96 * u / 2.0);
        assert_close("u95", &[got.u95.unwrap()], &[want], 1e-3);
        let between = (10.0f64 / 3.0 - u * u).max(0.0).sqrt();
        assert_close("between", &[got.between_sd.unwrap()], &[between], 1e-6);
        assert_eq!((got.n_rooms, got.range), (4, [1.0, 5.0]));
    }
}

#[test]
fn what_is_common_does_not_shrink_with_the_rooms() {
    let rooms: Vec<RoomFigure> =
        (0..400).map(|i| RoomFigure { value: f64::from(i % 2) * 0.01, u: 0.01 }).collect();
    let alone = over_rooms(&rooms, 0.0, None).unwrap().u95.unwrap();
    let shared = over_rooms(&rooms, 0.1, None).unwrap().u95.unwrap();
    assert!(alone < 0.002, "{alone}");
    assert_close("u95", &[shared], &[alone.hypot(1.959_964 * 0.1)], 1e-6);
}

#[test]
fn few_rooms_borrow_the_scatter_of_others_or_say_that_they_cannot() {
    let one = [RoomFigure { value: 2.0, u: 0.1 }];
    let alone = over_rooms(&one, 0.0, None).unwrap();
    assert_eq!((alone.u95, alone.between_sd, alone.next_room_u95), (None, None, None));
    let scatter = Scatter { sd: 0.3, dof: 20.0 };
    let got = over_rooms(&one, 0.0, Some(scatter)).unwrap();
    // t(20, 0.975) = 2.086 (NIST handbook).
    assert!(got.borrowed);
    assert_close("u95", &[got.u95.unwrap()], &[2.086 * 0.1f64.hypot(0.3)], 1e-3);
    let three = [one[0], one[0], RoomFigure { value: 2.6, u: 0.1 }];
    assert!(!over_rooms(&three, 0.0, Some(scatter)).unwrap().borrowed);
    assert_eq!(over_rooms(&[RoomFigure { value: f64::NAN, u: 0.1 }], 0.0, None), None);
}

#[test]
fn pooled_scatter_weighs_sheets_by_their_rooms() {
    let sheet = |values: &[f64]| {
        let rooms: Vec<_> = values.iter().map(|&value| RoomFigure { value, u: 0.0 }).collect();
        over_rooms(&rooms, 0.0, None)
    };
    // Variances 1 (2 degrees of freedom) and 4 (2): 2.5.
    let pooled =
        pooled_scatter(&[sheet(&[0.0, 1.0, 2.0]), sheet(&[0.0, 2.0, 4.0]), sheet(&[9.0]), None]);
    assert_close("sd", &[pooled.unwrap().sd], &[2.5f64.sqrt()], 1e-5);
    assert_eq!(pooled.unwrap().dof, 4.0);
    assert_eq!(pooled_scatter(&[sheet(&[1.0, 2.0])]), None);
}

/// Over 4000 drawn sheets the interval holds the mean of all rooms in 95 % (three standard errors
/// of the share: 1 %), whether rooms differ or not, with 5 to 9 rooms.
#[test]
fn intervals_hold_the_truth_as_often_as_they_say() {
    let mut rng = ChaCha8Rng::seed_from_u64(4711);
    let mut draw = |sd: f64| -> f64 { sd * Distribution::<f64>::sample(&StandardNormal, &mut rng) };
    for between in [0.0, 0.05, 0.3] {
        let mut held = 0;
        for sheet in 0..4000 {
            let n = 5 + sheet % 5;
            let rooms: Vec<RoomFigure> = (0..n)
                .map(|i| {
                    let u = 0.05 + 0.03 * f64::from(i % 3);
                    RoomFigure { value: 1.7 + draw(between) + draw(u), u }
                })
                .collect();
            let got = over_rooms(&rooms, 0.0, None).unwrap();
            held += usize::from((got.mean - 1.7).abs() <= got.u95.unwrap());
        }
        let share = held as f64 / 4000.0;
        assert!((0.93..=0.97).contains(&share), "between {between}: {share}");
    }
}

/// Two to four rooms: at least as often, since nothing is taken for surer than its rooms.
#[test]
fn intervals_of_few_rooms_are_wide_enough() {
    let mut rng = ChaCha8Rng::seed_from_u64(815);
    let mut draw = |sd: f64| -> f64 { sd * Distribution::<f64>::sample(&StandardNormal, &mut rng) };
    for (n, between) in [(2, 0.0), (2, 0.2), (3, 0.05), (4, 0.0), (4, 0.2)] {
        let mut held = 0;
        for _ in 0..4000 {
            let rooms: Vec<RoomFigure> =
                (0..n).map(|_| RoomFigure { value: draw(between) + draw(0.1), u: 0.1 }).collect();
            let got = over_rooms(&rooms, 0.0, None).unwrap();
            held += usize::from(got.mean.abs() <= got.u95.unwrap());
            assert!(got.u95.unwrap() >= 1.95 * 0.1 / f64::from(n).sqrt());
        }
        assert!(held >= 3740, "{n} rooms, between {between}: {held} of 4000");
    }
}
