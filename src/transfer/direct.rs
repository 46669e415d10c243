//! What filter turns the direct sound without the screen into the direct sound with it.
//!
//! The microphone moves by millimetres between conditions, so reflections interfere
//! differently and any long window turns that into error. Here only the samples before
//! the first room reflection are used: convolution is causal, so a short causal filter
//! fitted there by least squares is exact for as long as it is, and nothing is lost by
//! the short window. The first echo between sheet and loudspeaker front comes later, at a
//! known lag, or within that filter; where it comes later it is fitted to what the first
//! filter leaves, in a slot around its lag. Later echoes follow from the first
//! (`analysis::echo`). No model of the sheet is fitted.

use super::early::{EarlyPlan, convolve, fade_out};
use super::window::rise;
use nalgebra::{DMatrix, DVector};

/// Longest and shortest stretch taken for direct sound, s.
pub const DIRECT_S: [f64; 2] = [0.0006, 0.0012];
/// Part of the direct peak above which the treble envelope tells a reflection.
const REFLECTION: f64 = 0.1;
/// Envelope is searched from here after the crest, s ...
const ENVELOPE_FROM_S: f64 = 0.0005;
/// ... and a reflection's rise begins this long before it crosses the threshold, s.
const ENVELOPE_RISE_S: f64 = 0.00015;
/// The fit begins this long before the crest, s.
const FIT_BEFORE_S: f64 = 0.001;
/// The filter may lead by this much (band-limited sheets ring both ways), s.
const LEAD_S: f64 = 0.0003;
/// The fit's rows go on this far beyond the filter's last lag, s.
const ROWS_BEYOND_S: f64 = 0.0002;
/// Fade of the rows at both ends, s.
const ROW_FADE_S: f64 = 0.0003;
/// Ridge relative to the energy of the response: 1e-3 blurs, 1e-5 rings.
const RIDGE: f64 = 1e-4;
/// Echoes whose slots the end of the direct window avoids.
const AVOIDED_ECHOES: usize = 3;
/// Half width of a slot, s ...
const SLOT_HALF_S: f64 = 0.0002;
/// ... and its growth with the lag: the stated gap is good to about 5 %.
const SLOT_GROWTH: f64 = 0.05;
/// The echo of a heavy sheet dies away this much later at low frequencies, s.
const SLOT_TAIL_S: f64 = 0.0003;
/// Where no echo lies beyond the direct filter, its continuation is followed this far, s.
const LATE_S: f64 = 0.0006;
/// A slot must keep this part of its width beyond what is fitted already.
const SLOT_PART: f64 = 0.8;
/// Room noise outside the slots is judged up to here, s.
const OUTSIDE_S: f64 = 0.006;

/// ... and over this much at least: a shorter stretch may miss the reflections.
const OUTSIDE_LEAST_S: f64 = 0.0012;

/// Taps of a filter at consecutive lags.
#[derive(Debug, Clone, PartialEq)]
pub struct Taps {
    /// Lag of the first tap, samples; may be negative.
    pub first_lag: i64,
    /// Taps, linear.
    pub values: Vec<f64>,
}

impl Taps {
    /// Lag after the last tap.
    fn end(&self) -> i64 {
        self.first_lag + self.values.len() as i64
    }
}

/// Transmission of one pair of takes.
#[derive(Debug, Clone, PartialEq)]
pub struct PairTransmission {
    /// Filter of the direct sound (with echoes that come inside its length).
    pub direct: Taps,
    /// Filter that follows it: the end of a heavy sheet's own response, and the first echo
    /// where that lies beyond the direct filter.
    pub late: Option<Taps>,
    /// Whether `late` reaches over the slot of the first echo.
    pub holds_echo: bool,
    /// What the fits leave, from the end of the direct sound to 6 ms, with its start in samples.
    pub residual: Vec<f64>,
}

/// Where the direct sound ends and the echoes lie at one seat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeatTiming {
    /// End of the direct sound after its crest, s.
    pub end_s: f64,
    /// Lag of one round trip between sheet and loudspeaker, s; `None` without a stated gap.
    pub round_trip_s: Option<f64>,
}

/// Slot of echo `q` (1 for the first round trip), s.
fn slot_s(q: usize, round_trip_s: f64) -> [f64; 2] {
    let centre = q as f64 * round_trip_s;
    // The sheet delays each echo a little: the slot reaches further behind than before.
    [
        centre - 0.6 * SLOT_HALF_S - SLOT_GROWTH * centre,
        centre + 1.4 * SLOT_HALF_S + SLOT_GROWTH * centre,
    ]
}

/// End of the direct sound at a seat, s after its crest, over all takes without the screen:
/// the treble envelope stands above a tenth of the direct peak and twice its running minimum,
/// held to 0.6-1.2 ms; a window that would end within an echo's slot ends before it.
pub fn seat_timing(plan: &EarlyPlan, without: &[&[f64]], round_trip_s: Option<f64>) -> SeatTiming {
    let [shortest_s, longest_s] = DIRECT_S;
    let mut end_s = longest_s;
    for early in without {
        let envelope = plan.treble_envelope(early);
        let around = plan.samples(LEAD_S);
        let peak =
            envelope[plan.zero - around..plan.zero + around].iter().cloned().fold(0.0, f64::max);
        let from = plan.samples(ENVELOPE_FROM_S);
        let to = plan.samples(longest_s + 2.0 * ENVELOPE_RISE_S);
        let mut lowest = f64::INFINITY;
        for (i, &level) in envelope[plan.zero + from..plan.zero + to].iter().enumerate() {
            lowest = lowest.min(level);
            if level > REFLECTION * peak && level > 2.0 * lowest {
                end_s = end_s.min((from + i) as f64 / plan.rate_hz - ENVELOPE_RISE_S);
                break;
            }
        }
    }
    end_s = end_s.max(shortest_s);
    if let Some(round_trip_s) = round_trip_s {
        for q in 1..=AVOIDED_ECHOES {
            let [from_s, to_s] = slot_s(q, round_trip_s);
            if from_s < end_s && end_s < to_s && from_s >= shortest_s {
                return SeatTiming { end_s: from_s, round_trip_s: Some(round_trip_s) };
            }
        }
    }
    SeatTiming { end_s, round_trip_s }
}

/// Least-squares taps at lags `lags` so that `taps * x = y` on the rows `rows_s`
/// (seconds after the crest), rows faded at both ends, ridge on the taps.
fn fit_taps(
    plan: &EarlyPlan,
    y: &[f64],
    x: &[f64],
    lags: std::ops::Range<i64>,
    rows_s: [f64; 2],
    ridge: f64,
) -> Option<Taps> {
    let first_row = (rows_s[0] * plan.rate_hz).floor() as i64;
    let last_row = (rows_s[1] * plan.rate_hz).ceil() as i64;
    let n_rows = usize::try_from(last_row - first_row + 1).ok()?;
    let n_taps = usize::try_from(lags.end - lags.start).ok()?;
    let fade = plan.samples(ROW_FADE_S).min(n_rows / 2);
    // Square roots: the weight acts on both sides of the equation.
    let mut weights = vec![1.0; n_rows];
    weights.iter_mut().zip(rise(fade)).for_each(|(w, r)| *w = r.sqrt());
    weights.iter_mut().rev().zip(rise(fade)).for_each(|(w, r)| *w = r.sqrt());
    let zero = plan.zero as i64;
    let at = |i: i64| usize::try_from(zero + i).ok().filter(|&i| i < x.len());
    at(first_row - lags.end)?;
    at(last_row - lags.start)?;
    let matrix = DMatrix::from_fn(n_rows, n_taps, |r, c| {
        weights[r] * x[(zero + first_row + r as i64 - lags.start - c as i64) as usize]
    });
    let target =
        DVector::from_fn(n_rows, |r, _| weights[r] * y[(zero + first_row + r as i64) as usize]);
    let mut normal = matrix.tr_mul(&matrix);
    for i in 0..n_taps {
        normal[(i, i)] += ridge;
    }
    let taps = normal.cholesky()?.solve(&matrix.tr_mul(&target));
    Some(Taps { first_lag: lags.start, values: taps.as_slice().to_vec() })
}

/// Transmission of one pair of takes; `None` where the responses carry nothing.
pub fn pair_transmission(
    plan: &EarlyPlan,
    without: &[f64],
    with: &[f64],
    timing: SeatTiming,
) -> Option<PairTransmission> {
    let with = plan.advance(with, plan.delay_s(without, with));
    let energy = |x: &[f64]| x.iter().map(|v| v * v).sum::<f64>();
    let lead = plan.samples(LEAD_S) as i64;
    let last = plan.samples(timing.end_s) as i64 + 1;
    let direct = fit_taps(
        plan,
        &with,
        without,
        -lead..last,
        [-FIT_BEFORE_S, timing.end_s + ROWS_BEYOND_S],
        RIDGE * energy(without),
    )?;
    let subtract = |from: &mut [f64], taps: &Taps| {
        let part = convolve(without, taps.first_lag, &taps.values);
        from.iter_mut().zip(part).for_each(|(r, p)| *r -= p);
    };
    let mut rest = with;
    subtract(&mut rest, &direct);

    // The echo repeats the direct sound alone; what the room adds comes later.
    let mut direct_sound = without.to_vec();
    let fade = plan.samples(0.001);
    let end = plan.zero + fade;
    direct_sound[end..end + fade].iter_mut().zip(rise(fade).rev()).for_each(|(x, w)| *x *= w);
    direct_sound[end + fade..].fill(0.0);
    let slot = timing.round_trip_s.map(|r| slot_s(1, r)).filter(|[from_s, to_s]| {
        let begins = (from_s * plan.rate_hz).max(direct.end() as f64);
        to_s * plan.rate_hz - begins >= SLOT_PART * (to_s - from_s) * plan.rate_hz
    });
    let to_s = slot.map_or(timing.end_s + LATE_S, |[_, to_s]| to_s + SLOT_TAIL_S);
    let lags = direct.end()..((to_s * plan.rate_hz) as i64 + 1).max(direct.end() + 4);
    let rows_s = [
        lags.start as f64 / plan.rate_hz - ROWS_BEYOND_S,
        (lags.end - 1) as f64 / plan.rate_hz + ROWS_BEYOND_S,
    ];
    let ridge = RIDGE * energy(&direct_sound);
    let mut late = fit_taps(plan, &rest, &direct_sound, lags, rows_s, ridge);
    if let Some(taps) = &mut late {
        fade_out(&mut taps.values);
        subtract(&mut rest, taps);
    }
    let [from, to] = outside(plan, timing);
    Some(PairTransmission {
        direct,
        late,
        holds_echo: slot.is_some(),
        residual: rest[from..to].to_vec(),
    })
}

/// Samples of an early part between the end of the direct sound and 6 ms, or the second echo
/// where the first one has a slot: echoes are not what the room leaves.
pub fn outside(plan: &EarlyPlan, timing: SeatTiming) -> [usize; 2] {
    let end_s = match timing.round_trip_s {
        Some(round_trip_s) if slot_s(1, round_trip_s)[0] >= DIRECT_S[0] => {
            let second_s = slot_s(2, round_trip_s)[0];
            if second_s > timing.end_s + OUTSIDE_LEAST_S {
                second_s.min(OUTSIDE_S)
            } else {
                OUTSIDE_S
            }
        }
        _ => OUTSIDE_S,
    };
    [plan.zero + plan.samples(timing.end_s), plan.zero + plan.samples(end_s)]
}
