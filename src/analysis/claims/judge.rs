//! One measured value against its limits: guard band, verdict, probability of conformity.
//!
//! The guard band is `w = t(0.95, dof) u`, the one-sided 95 % expanded uncertainty, so that
//! a value whose truth lies at or beyond the limit is passed in at most 5 % of the cases
//! (ILAC-G8:09/2019, 4.1 to 4.2.2: acceptance limit `AL = TL - w`; JCGM 106:2012, clause 8).

use crate::analysis::student::{student_quantile, student_sf};
use serde::Serialize;

/// Confidence of the guard band, one-sided.
pub const GUARD_CONFIDENCE: f64 = 0.95;

/// What can be said about a claim, from best to worst.
///
/// The four verdicts are those of the non-binary rule of ILAC-G8:09/2019 (4.2.3); the fifth
/// is for data that cannot carry any of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Shown to hold: at most `TL - w`.
    Pass,
    /// Below the limit, but not by the guard band: `TL - w < y <= TL`.
    ConditionalPass,
    /// Above the limit, but not by the guard band: `TL < y <= TL + w`.
    ConditionalFail,
    /// Absent or non-finite data: nothing is shown, neither way.
    NotShown,
    /// Shown not to hold: above `TL + w`.
    Fail,
}

impl Verdict {
    /// The verdict in words, for tables and papers.
    pub fn label(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::ConditionalPass => "conditional pass",
            Self::ConditionalFail => "conditional fail",
            Self::NotShown => "not shown",
            Self::Fail => "fail",
        }
    }
}

/// Limits of one value; at least one is needed for a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// Smallest allowed value.
    pub lower: Option<f64>,
    /// Largest allowed value.
    pub upper: Option<f64>,
}

/// Outcome for one value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judgement {
    /// What is shown.
    pub verdict: Verdict,
    /// Probability that the true value is inside the limits, given value and uncertainty
    /// (JCGM 106:2012, clause 7, with Student's t for few degrees of freedom); absent when
    /// nothing is shown.
    pub probability: Option<f64>,
    /// Guard band `w`, unit of the value.
    pub guard: Option<f64>,
}

const NOTHING: Judgement = Judgement { verdict: Verdict::NotShown, probability: None, guard: None };

/// How far the truth may lie beyond a figure besides its uncertainty: an interval that is known,
/// not a spread.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Open {
    /// Above the figure.
    pub higher: f64,
    /// Below the figure.
    pub lower: f64,
}

/// Points of the interval over which the probability of conformity is averaged.
const OPEN_POINTS: usize = 65;

/// As [`judge_between`], of a figure whose truth may lie higher or lower by `open`: the interval
/// is added to the guard band on the side where it counts, and the probability of conformity is
/// the mean over the interval (every value in it is as likely as any other: JCGM 100:2008, 4.3.7).
pub fn judge_open(measured: f64, u: f64, dof: f64, limits: Limits, open: Open) -> Judgement {
    let centre = judge_between(measured, u, dof, limits);
    let (Some(w), true) = (centre.guard, open.higher + open.lower > 0.0) else { return centre };
    if !(open.higher.is_finite() && open.lower.is_finite()) {
        return NOTHING;
    }
    // Per side: distance inside, what is open towards the limit, and away from it.
    let sides = [
        limits.upper.map(|upper| (upper - measured, open.higher, open.lower)),
        limits.lower.map(|lower| (measured - lower, open.lower, open.higher)),
    ];
    let verdict_of = |(inside, towards, away): (f64, f64, f64)| {
        if inside >= w + towards {
            Verdict::Pass
        } else if inside >= 0.0 {
            Verdict::ConditionalPass
        } else if inside >= -(w + away) {
            Verdict::ConditionalFail
        } else {
            Verdict::Fail
        }
    };
    let nearest = sides.into_iter().flatten().max_by_key(|side| verdict_of(*side));
    let Some(side) = nearest else { return NOTHING };
    let verdict = verdict_of(side);
    let guard = w + if side.0 >= 0.0 { side.1 } else { side.2 };
    let probabilities: Option<Vec<f64>> = (0..OPEN_POINTS)
        .map(|i| {
            let part = (i as f64 + 0.5) / OPEN_POINTS as f64;
            let truth = measured - open.lower + part * (open.higher + open.lower);
            judge_between(truth, u, dof, limits).probability
        })
        .collect();
    let probability = probabilities.map(|p| p.iter().sum::<f64>() / p.len() as f64);
    Judgement { verdict, probability, guard: Some(guard) }
}

/// Judges `measured` against a lower limit, an upper limit, or both.
///
/// With both, a pass needs `lower + w <= y <= upper - w`; each side is one test at 95 %, and
/// since the truth can be beyond one side only, the risk of a false pass stays below 5 %.
///
/// The probability of conformity is `F((upper - y) / u) - F((lower - y) / u)`, `F` the
/// distribution function of Student's t with `dof` degrees of freedom.
///
/// # Valid range
/// Finite `measured` and limits, finite `u >= 0`, `dof > 0` (infinite allowed), at least one
/// limit, a lower one not above the upper; anything else, NaN included, is
/// [`Verdict::NotShown`].
pub fn judge_between(measured: f64, u: f64, dof: f64, limits: Limits) -> Judgement {
    let known = |limit: Option<f64>| limit.is_none_or(f64::is_finite);
    let ordered = match (limits.lower, limits.upper) {
        (None, None) => false,
        (Some(lower), Some(upper)) => lower <= upper,
        _ => true,
    };
    if !measured.is_finite() || !u.is_finite() || u < 0.0 || !known(limits.lower) {
        return NOTHING;
    }
    if !known(limits.upper) || !ordered {
        return NOTHING;
    }
    let Some(t) = student_quantile(GUARD_CONFIDENCE, dof) else { return NOTHING };
    let guard = t * u;
    // Distance to each limit, positive inside.
    let above_lower = limits.lower.map_or(f64::INFINITY, |lower| measured - lower);
    let below_upper = limits.upper.map_or(f64::INFINITY, |upper| upper - measured);
    let inside = above_lower.min(below_upper);
    let verdict = if inside >= guard {
        Verdict::Pass
    } else if inside >= 0.0 {
        Verdict::ConditionalPass
    } else if inside >= -guard {
        Verdict::ConditionalFail
    } else {
        Verdict::Fail
    };
    let beyond = |distance: f64| tail(distance, u, dof);
    let probability = match (beyond(above_lower), beyond(below_upper)) {
        (Some(low), Some(high)) => Some((1.0 - low - high).clamp(0.0, 1.0)),
        _ => return NOTHING,
    };
    Judgement { verdict, probability, guard: Some(guard) }
}

/// Probability of lying more than `distance` away on one side, `1 - F(distance / u)`.
fn tail(distance: f64, u: f64, dof: f64) -> Option<f64> {
    if distance == f64::INFINITY {
        return Some(0.0);
    }
    if u == 0.0 {
        return Some(if distance >= 0.0 { 0.0 } else { 1.0 });
    }
    student_sf(distance / u, dof)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Which side of a limit is allowed.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    enum Side {
        /// The claim holds at or below the limit.
        AtMost,
        /// The claim holds at or above the limit.
        AtLeast,
    }

    fn judge(measured: f64, u: f64, dof: f64, limit: f64, side: Side) -> Judgement {
        let limits = match side {
            Side::AtMost => Limits { lower: None, upper: Some(limit) },
            Side::AtLeast => Limits { lower: Some(limit), upper: None },
        };
        judge_between(measured, u, dof, limits)
    }

    #[test]
    fn probability_of_conformity_is_that_of_the_normal_distribution() {
        // Evaluated from p = Phi((TL - y) / u), TL = 3.0 (JCGM 106:2012 clause 7).
        let rows = [
            (2.4, 0.3, 0.97725),
            (2.5, 0.3, 0.95221),
            (2.7, 0.3, 0.84134),
            (3.3, 0.3, 0.15866),
            (3.7, 0.3, 0.00982),
        ];
        for (y, u, want) in rows {
            let got = judge(y, u, f64::INFINITY, 3.0, Side::AtMost).probability;
            let got = got.expect("finite data");
            assert!((got - want).abs() < 5e-6, "p({y}) = {got}, want {want}");
            let mirrored = judge(-y, u, f64::INFINITY, -3.0, Side::AtLeast).probability;
            assert!((mirrored.expect("finite data") - want).abs() < 5e-6);
        }
        // Example with a voltage at most -5.40 V, y = -5.47 V, u = 0.05 V: about 92 %.
        let got = judge(-5.47, 0.05, f64::INFINITY, -5.40, Side::AtMost).probability;
        assert!((got.expect("finite data") - 0.91924).abs() < 5e-6);
    }

    #[test]
    fn risk_at_the_acceptance_limit_is_the_published_one() {
        // ILAC-G8:09/2019 table 1 gives bounds (50, 5, 2.5, 0.16 %); the exact values follow
        // from the normal distribution at y = TL - w, with U = 2 u.
        for (w_over_u, risk) in [(2.0, 0.02275), (1.66, 0.04846), (3.0, 0.0013499), (0.0, 0.5)] {
            let p = judge(-w_over_u, 1.0, f64::INFINITY, 0.0, Side::AtMost).probability;
            let got = 1.0 - p.expect("finite data");
            assert!((got - risk).abs() < 5e-6, "w = {w_over_u} u: risk {got}, want {risk}");
        }
        // The guard band used here carries exactly 5 %.
        let w = judge(0.0, 1.0, f64::INFINITY, 9.0, Side::AtMost).guard.expect("finite data");
        let p = judge(9.0 - w, 1.0, f64::INFINITY, 9.0, Side::AtMost).probability;
        assert!((p.expect("finite data") - 0.95).abs() < 1e-9);
    }

    #[test]
    fn worked_acceptance_limit() {
        // Published example: limit 0.003 mm, U 0.0010 mm, acceptance limit 0.002 mm:
        // 0.0017 passes, 0.0025 does not. The example's w is U, so u = U / t(0.95).
        let u = 0.0010 / 1.644_853_6;
        let at = |y: f64| judge(y, u, f64::INFINITY, 0.003, Side::AtMost).verdict;
        assert_eq!(at(0.0017), Verdict::Pass);
        assert_eq!(at(0.001_999), Verdict::Pass);
        assert_eq!(at(0.002_001), Verdict::ConditionalPass);
        assert_eq!(at(0.0025), Verdict::ConditionalPass);
    }

    #[test]
    fn each_limit_has_two_sides() {
        let w = 2.353_363_434_801_823_6 * 0.1; // t(0.95, 3), table: 2.35
        let at = |y: f64| judge(y, 0.1, 3.0, 2.0, Side::AtMost).verdict;
        let step = 1e-6;
        assert_eq!(at(2.0 - w - step), Verdict::Pass);
        assert_eq!(at(2.0 - w + step), Verdict::ConditionalPass);
        assert_eq!(at(2.0), Verdict::ConditionalPass);
        assert_eq!(at(2.0 + step), Verdict::ConditionalFail);
        assert_eq!(at(2.0 + w - step), Verdict::ConditionalFail);
        assert_eq!(at(2.0 + w + step), Verdict::Fail);
        let at = |y: f64| judge(y, 0.1, 3.0, 2.0, Side::AtLeast).verdict;
        assert_eq!(at(2.0 + w + step), Verdict::Pass);
        assert_eq!(at(2.0 + w - step), Verdict::ConditionalPass);
        assert_eq!(at(2.0 - step), Verdict::ConditionalFail);
        assert_eq!(at(2.0 - w - step), Verdict::Fail);
        let both = Limits { lower: Some(1.0), upper: Some(2.0) };
        let at = |y: f64| judge_between(y, 0.1, 3.0, both).verdict;
        assert_eq!(at(1.5), Verdict::Pass);
        assert_eq!(at(1.0 + w - step), Verdict::ConditionalPass);
        assert_eq!(at(1.0 - step), Verdict::ConditionalFail);
        assert_eq!(at(2.0 + w + step), Verdict::Fail);
        // Closer together than two guard bands: no value can be shown to be inside.
        let narrow = Limits { lower: Some(1.4), upper: Some(1.6) };
        assert_eq!(judge_between(1.5, 0.1, 3.0, narrow).verdict, Verdict::ConditionalPass);
    }

    #[test]
    fn what_is_open_adds_to_the_guard_band_on_its_side() {
        let w = 2.353_363_434_801_823_6 * 0.1; // t(0.95, 3), table: 2.35
        let upper = Limits { lower: None, upper: Some(2.0) };
        let open = Open { higher: 0.4, lower: 0.2 };
        let at = |y: f64| judge_open(y, 0.1, 3.0, upper, open).verdict;
        let step = 1e-6;
        assert_eq!(at(2.0 - w - 0.4 - step), Verdict::Pass);
        assert_eq!(at(2.0 - w - 0.4 + step), Verdict::ConditionalPass);
        assert_eq!(at(2.0 + w + 0.2 - step), Verdict::ConditionalFail);
        assert_eq!(at(2.0 + w + 0.2 + step), Verdict::Fail);
        let lower = Limits { lower: Some(1.0), upper: None };
        let at = |y: f64| judge_open(y, 0.1, 3.0, lower, open).verdict;
        assert_eq!(at(1.0 + w + 0.2 + step), Verdict::Pass);
        assert_eq!(at(1.0 + w + 0.2 - step), Verdict::ConditionalPass);
        assert_eq!(at(1.0 - w - 0.4 + step), Verdict::ConditionalFail);
        assert_eq!(at(1.0 - w - 0.4 - step), Verdict::Fail);
        // Half of the interval lies beyond the limit and u is nothing: one half.
        let half = Open { higher: 0.3, lower: 0.3 };
        let p = judge_open(2.0, 1e-9, 3.0, upper, half).probability.expect("shown");
        assert!((p - 0.5).abs() < 0.01, "{p}");
        let none = judge_open(1.7, 0.1, 3.0, upper, Open::default());
        assert_eq!(none, judge_between(1.7, 0.1, 3.0, upper));
        assert_eq!(judge_open(f64::NAN, 0.1, 3.0, upper, open), NOTHING);
    }

    #[test]
    fn nothing_is_shown_by_what_is_no_number() {
        let bad = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY];
        for x in bad {
            for side in [Side::AtMost, Side::AtLeast] {
                assert_eq!(judge(x, 0.1, 5.0, 3.0, side), NOTHING, "measured {x}");
                assert_eq!(judge(1.0, x, 5.0, 3.0, side), NOTHING, "u {x}");
                assert_eq!(judge(1.0, 0.1, 5.0, x, side), NOTHING, "limit {x}");
            }
        }
        assert_eq!(judge(1.0, 0.1, f64::NAN, 3.0, Side::AtMost), NOTHING);
        assert_eq!(judge(1.0, 0.1, 0.0, 3.0, Side::AtMost), NOTHING);
        assert_eq!(judge(1.0, -0.1, 5.0, 3.0, Side::AtMost), NOTHING);
        assert_eq!(judge_between(1.0, 0.1, 5.0, Limits::default()), NOTHING);
        let turned = Limits { lower: Some(2.0), upper: Some(1.0) };
        assert_eq!(judge_between(1.5, 0.1, 5.0, turned), NOTHING);
    }
}
