use super::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use realfft::num_complex::Complex;

const DF_HZ: f64 = 48_000.0 / 4096.0;

/// A sheet at a gap in a room whose reflections move by `move_m` between the conditions.
struct Room {
    resistance_pa_s_m: f64,
    mass_kg_m2: f64,
    gap_m: f64,
    front: f64,
    move_m: f64,
    n_seats: usize,
}

impl Room {
    fn seats(&self, seed: u64) -> Vec<SeatRatio> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        (0..self.n_seats)
            .map(|_| {
                let cos_theta = rng.random_range(0.85..1.0);
                let paths: Vec<(f64, f64, f64)> = (0..6)
                    .map(|_| {
                        (
                            rng.random_range(1.0e-3..6.0e-3),
                            rng.random_range(-0.35..0.35),
                            rng.random_range(-1.0..1.0) * self.move_m / 343.2,
                        )
                    })
                    .collect();
                let ratio = (0..2049)
                    .map(|k| {
                        self.ratio(std::f64::consts::TAU * k as f64 * DF_HZ, cos_theta, &paths)
                    })
                    .collect();
                SeatRatio { ratio, cos_theta }
            })
            .collect()
    }

    fn ratio(&self, w: f64, cos_theta: f64, paths: &[(f64, f64, f64)]) -> Complex<f64> {
        let half = Complex::new(self.resistance_pa_s_m, w * self.mass_kg_m2) / 413.25 / 2.0;
        let (t, r) = (1.0 / (1.0 + half), half / (1.0 + half));
        let turn = |s: f64| Complex::from_polar(1.0, -w * s);
        let echo = turn(2.0 * self.gap_m * cos_theta / 343.2);
        let (mut without, mut with) = (Complex::new(1.0, 0.0), Complex::new(1.0, 0.0));
        for &(delay_s, amplitude, moved_s) in paths {
            without += amplitude * turn(delay_s);
            with += amplitude * turn(delay_s + moved_s);
        }
        t / (1.0 - self.front * r * echo) * with / without
    }

    fn estimate(&self, seed: u64) -> Option<GapEstimate> {
        estimate_gap(&self.seats(seed), DF_HZ, &Air::AT_20_C, &GapSearch::default())
    }
}

const WEAVE: Room = Room {
    resistance_pa_s_m: 120.0,
    mass_kg_m2: 0.0,
    gap_m: 0.1,
    front: 0.6,
    move_m: 0.003,
    n_seats: 6,
};
const VINYL: Room = Room { resistance_pa_s_m: 3.0, mass_kg_m2: 0.05, ..WEAVE };
const HEAVY: Room = Room { resistance_pa_s_m: 5.0, mass_kg_m2: 0.15, ..WEAVE };

#[test]
fn finds_the_gap_within_five_percent() {
    for (name, room) in [("weave", WEAVE), ("vinyl", VINYL), ("heavy", HEAVY)] {
        for gap_m in [0.03, 0.05, 0.08, 0.13, 0.2, 0.35] {
            for seed in 0..3 {
                let room = Room { gap_m, ..room };
                let found = room.estimate(seed).map(|e| e.gap_m).unwrap_or(f64::NAN);
                let off = (found / gap_m - 1.0).abs();
                assert!(off < 0.05, "{name}, {gap_m} m, seed {seed}: found {found} m");
            }
        }
    }
}

#[test]
fn intervals_hold_the_truth() {
    let (mut inside, mut n) = (0, 0);
    for room in [WEAVE, VINYL, HEAVY] {
        for seed in 0..12 {
            let room = Room { gap_m: 0.05 + 0.02 * seed as f64, move_m: 0.005, ..room };
            if let Some(found) = room.estimate(100 + seed) {
                n += 1;
                inside += usize::from((found.gap_m - room.gap_m).abs() <= found.u95_m);
                assert!(found.u95_m < 0.1 * room.gap_m, "U without use: {found:?}");
            }
        }
    }
    assert!(n >= 34 && inside * 100 >= 90 * n, "{inside} of {n} inside");
}

#[test]
fn the_first_notch_would_mislead_and_is_not_used() {
    let room = Room { gap_m: 0.2, front: 0.9, move_m: 0.0, ..VINYL };
    // First minimum of the ripple between 300 Hz and 1 kHz, from the closed form.
    let ripple = |f: f64| {
        let w = std::f64::consts::TAU * f;
        let bare = Room { front: 0.0, ..room };
        room.ratio(w, 1.0, &[]).norm() / bare.ratio(w, 1.0, &[]).norm()
    };
    let notch_hz = (300..1000)
        .map(f64::from)
        .min_by(|a, b| ripple(*a).total_cmp(&ripple(*b)))
        .unwrap_or(f64::NAN);
    let by_notch_m = 343.2 / (4.0 * notch_hz);
    assert!(by_notch_m < 0.8 * room.gap_m, "notch at {notch_hz} Hz: {by_notch_m} m");
    let found = room.estimate(1).map(|e| e.gap_m).unwrap_or(f64::NAN);
    assert!((found / room.gap_m - 1.0).abs() < 0.01, "{found}");
}

#[test]
fn no_echo_no_gap() {
    let mut finds = 0;
    for (room, seeds) in [(WEAVE, 0..10), (VINYL, 10..20), (HEAVY, 20..30)] {
        for seed in seeds {
            let silent = Room { front: 0.0, move_m: 0.004, ..room };
            finds += usize::from(silent.estimate(seed).is_some());
        }
    }
    assert!(finds <= 1, "{finds} gaps found where there is no echo, of 30");
}

#[test]
fn unusable_bins_are_left_out() {
    let mut seats = WEAVE.seats(3);
    for seat in &mut seats {
        for k in (0..seat.ratio.len()).step_by(19) {
            seat.ratio[k] = Complex::new(f64::NAN, 0.0);
            seat.ratio[k + 1] = Complex::new(0.0, 0.0);
        }
    }
    let find = |seats: &[SeatRatio]| {
        estimate_gap(seats, DF_HZ, &Air::AT_20_C, &GapSearch::default()).map(|e| e.gap_m)
    };
    let found = find(&seats).unwrap_or(f64::NAN);
    assert!((found / 0.1 - 1.0).abs() < 0.05, "{found}");
    for seat in &mut seats {
        seat.ratio.fill(Complex::new(f64::NAN, f64::NAN));
    }
    assert_eq!(find(&seats), None);
    assert_eq!(find(&[]), None);
    let short = SeatRatio { ratio: vec![Complex::new(1.0, 0.0); 3], cos_theta: 1.0 };
    assert_eq!(find(&[short]), None);
}

#[test]
fn spacing_is_that_of_the_comb() {
    // c / (2 d) at 343.2 m/s: 0.20 m 858 Hz (closed form).
    let found = Room { gap_m: 0.2, ..WEAVE }.estimate(0).map_or(f64::NAN, |e| e.spacing_hz);
    assert!((found - 858.0).abs() < 10.0, "{found}");
}

#[test]
fn a_stated_gap_is_doubted_only_beyond_both_uncertainties() {
    let found = Room { gap_m: 0.1, ..WEAVE }.estimate(0);
    assert!(found.is_some());
    let found = found.as_ref();
    assert_eq!(compare_gap(Some(0.100), found, false), None);
    assert_eq!(compare_gap(Some(0.104), found, false), None);
    assert_eq!(compare_gap(Some(0.100), None, false), None);
    assert_eq!(compare_gap(Some(0.091), found, false), Some(GapDoubt::Differs));
    assert_eq!(compare_gap(Some(0.091), found, true), None);
    for stated in [Some(0.085), Some(0.115), Some(f64::NAN)] {
        let doubt = compare_gap(stated, found, false);
        assert_eq!(doubt, Some(GapDoubt::Differs), "stated {stated:?}");
    }
    assert_eq!(compare_gap(None, found, false), Some(GapDoubt::NotStated));
}
