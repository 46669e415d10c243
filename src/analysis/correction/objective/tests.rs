//! Derivatives, errors and limits of the fit.

use super::*;
use crate::analysis::correction::target::{CapReason, Row};
use crate::support::assert_close;

fn target() -> Target {
    let rows = (-3..=12)
        .map(|k| {
            let band = ThirdOctave::from_index(k);
            let target_db = 0.3 * f64::from(k).max(0.0);
            let cap = (k == 6).then_some((target_db, CapReason::NarrowDip));
            Row { band, target_db, cap, weight: 2.0 + f64::from(k % 3), variance: Some(0.01) }
        })
        .collect();
    Target { level_db: 0.0, trim_db: 0.0, trim_u95_db: 0.1, rows, mean_db: vec![] }
}

fn ranges() -> Ranges {
    Ranges {
        gain_db: [-6.0, 6.0],
        ln_frequency: [500f64.ln(), 16_000f64.ln()],
        ln_peak_q: [0.3f64.ln(), 4f64.ln()],
        ln_shelf_q: [0.4f64.ln(), 0.71f64.ln()],
    }
}

#[test]
fn derivatives_agree_with_differences_of_the_residuals() {
    let (objective, ranges) = (Objective::new(&target(), &Default::default()), ranges());
    let problem = |x: DVector<f64>| {
        let kinds = vec![SectionKind::HighShelf, SectionKind::Peaking];
        let mut p = Problem { objective: &objective, ranges: &ranges, kinds, x, parts: vec![] };
        p.refresh();
        p
    };
    let x = DVector::from_vec(vec![0.4, 0.8, 0.1, 0.9, 0.3, -0.2]);
    let got = problem(x.clone()).jacobian().unwrap();
    for j in 0..6 {
        let at = |h: f64| {
            let mut y = x.clone();
            y[j] += h;
            problem(y).residuals().unwrap()
        };
        let want = (at(1e-5) - at(-1e-5)) / 2e-5;
        let column: Vec<f64> = got.column(j).iter().copied().collect();
        // One-sided differences are good to about 1e-5 of derivatives that reach 10.
        assert_close(&format!("column {j}"), &column, want.as_slice(), 1e-3);
    }
}

#[test]
fn the_error_is_the_weighted_rms_of_the_targets_when_nothing_is_set() {
    let t = target();
    let sum: f64 = t.rows.iter().map(|r| r.weight * r.target_db.powi(2)).sum();
    let weight: f64 = t.rows.iter().map(|r| r.weight).sum();
    let got = Objective::new(&t, &Default::default()).error_db::<Vec<f64>>(&[], 0.0);
    assert_close("error", &[got], &[(sum / weight).sqrt()], 1e-9);
}

#[test]
fn a_known_setting_is_found_again() {
    let limits = CorrectionLimits::default();
    let truth = Setting { kind: SectionKind::Peaking, frequency_hz: 4700.0, gain_db: 3.3, q: 1.7 };
    let mut t = target();
    let nodes: Vec<ThirdOctave> = t.rows.iter().map(|r| r.band).collect();
    let gains = BandNodes::new(&nodes, 48_000.0).band_gains_db(&[design(truth, 48_000.0).unwrap()]);
    for (row, gain) in t.rows.iter_mut().zip(gains) {
        row.target_db = gain;
        row.cap = None;
    }
    let start = Setting { frequency_hz: 3000.0, gain_db: 1.0, q: 0.7, ..truth };
    let got = minimise(&Objective::new(&t, &limits), &ranges(), &[start])[0];
    // The cost of gain pulls it down by a twentieth of a decibel, below any step.
    assert_close("gain", &[got.gain_db], &[3.25], 0.05);
    assert_close("frequency", &[got.frequency_hz], &[4700.0], 40.0);
    assert_close("Q", &[got.q], &[1.7], 0.1);
}

#[test]
fn totals_beyond_the_limits_have_no_finite_error() {
    let objective = Objective::new(&target(), &Default::default());
    let part = |gain_db| {
        let kind = SectionKind::Peaking;
        objective.powers(Setting { kind, frequency_hz: 5000.0, gain_db, q: 1.0 }).unwrap()
    };
    let (three, four) = (part(3.0), part(4.0));
    assert!(objective.error_db(&[&three, &three], 0.0).is_finite());
    assert!(objective.error_db(&[&three, &four], 0.0).is_infinite());
    let cut = part(-4.0);
    assert!(objective.error_db(&[&cut, &cut], 0.0).is_infinite());
}
