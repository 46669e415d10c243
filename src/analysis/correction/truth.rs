//! The fit against the truth of simulated sheets hung in front of a loudspeaker, seen from
//! the seats of simulated rooms: sheet, echoes between sheet and loudspeaker, angle.

use super::tests::{limits, true_shape};
use super::*;
use crate::analysis::made_tables::{noise, table};
use crate::simulate::sheet::HungSheet;
use crate::simulate::{Kind, Scenario};

/// Loss by seat and frequency of a scenario, dB, on a grid of 10 Hz.
pub(super) struct TrueLoss {
    seats: Vec<Vec<f64>>,
}

const STEP_HZ: f64 = 10.0;

impl TrueLoss {
    pub(super) fn of(s: &Scenario) -> Self {
        let hz: Vec<f64> = (1..=1830).map(|i| STEP_HZ * f64::from(i)).collect();
        let hung = HungSheet::new(&s.sheet, s.front, s.gap_m, s.speed_of_sound_m_s()[1], &hz);
        let seat = |seat: usize| {
            let cosine = s.seat_cosine(seat);
            (0..hz.len()).map(|k| -10.0 * hung.total(k, cosine).norm_sqr().log10()).collect()
        };
        Self { seats: (0..s.seats.len()).map(seat).collect() }
    }

    pub(super) fn at(&self, seat: usize, hz: f64) -> f64 {
        let x = hz / STEP_HZ - 1.0;
        let (k, share) = (x.floor() as usize, x.fract());
        let row = &self.seats[seat];
        row[k] + share * (row[k + 1] - row[k])
    }
}

/// Setting from losses with the errors and uncertainty of a good session, and shape of the
/// true loss before and after.
fn outcome(s: &Scenario, seed: u64) -> (Correction, f64, f64) {
    let truth = TrueLoss::of(s);
    let n = s.seats.len();
    let t = table(n, |s, hz| truth.at(s, hz), |s, k| 0.05 * noise(seed, s, k), 0.05, 0.02);
    let c = fit_correction(&t, &limits()).unwrap();
    let (before, after) = true_shape(&c, n, |s, hz| truth.at(s, hz));
    (c, before, after)
}

/// Figures over woven and perforated sheets in rooms of the seeds given: how many keep more
/// shape than 0.35 dB rms and than 35 % of what it was. Sheets with little open area, whose
/// gap makes ripple as wide as the filters are narrow, are known to be among them.
fn missed_of(seeds: std::ops::Range<u64>) -> u32 {
    let (mut sum, mut refused, mut n, mut missed) = (0.0, 0, 0, 0);
    for kind in [Kind::Woven, Kind::Perforated] {
        for seed in seeds.clone() {
            let scenario = Scenario::random(kind, seed);
            let (c, before, after) = outcome(&scenario, seed);
            println!(
                "{kind:?} {seed}: gap {:.2} m, {before:.2} -> {after:.2} dB rms, {} filters, {}",
                scenario.gap_m,
                c.sections.len(),
                if c.serves_all_seats { "serves" } else { "refused" }
            );
            assert!(c.sections.len() <= 4);
            missed += u32::from(after > 0.35 && after > 0.35 * before);
            // The claim to serve, held against the truth with a tenth for the errors put in.
            if c.serves_all_seats {
                assert!(after <= limits().tolerance_rms_db + 0.1, "{kind:?} {seed}");
            }
            sum += after;
            refused += usize::from(!c.serves_all_seats);
            n += 1;
        }
    }
    println!(
        "{n} sheets: {:.3} dB rms left over on average, {missed} missed, {refused} refused",
        sum / f64::from(n)
    );
    missed
}

#[test]
fn simulated_woven_and_perforated_sheets_are_flattened() {
    assert_eq!(missed_of(0..5), 0);
}

#[test]
#[ignore = "slow: 80 sheets; prints the figures"]
fn many_simulated_woven_and_perforated_sheets_are_flattened() {
    // 3 of 80 when this was written, all with ripple of the gap.
    assert!(missed_of(0..40) <= 4);
}

#[test]
fn reflecting_sheets_far_from_the_loudspeaker_are_never_claimed_wrongly() {
    // Heavy sheets 0.3 m away: ripple of the gap, large losses.
    let mut refused = 0;
    for seed in 0..6 {
        let (c, _, after) = outcome(&Scenario::random(Kind::HeavyLargeGap, seed), seed);
        if c.serves_all_seats {
            assert!(after <= limits().tolerance_rms_db + 0.1, "seed {seed}");
        } else {
            assert!(c.cause.is_some(), "seed {seed}");
            refused += 1;
        }
    }
    assert!(refused > 0, "none was hard enough to say anything");
}
