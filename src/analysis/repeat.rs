//! Echoes beyond a direct filter that holds the first ones.
//!
//! With echoes in it the filter obeys `t = t0 + rho * t(. - tau)`: after the first round trip
//! it is `rho` convolved with its own past, and so it can be carried on beyond its end.

use super::echo::direct_taps;
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use realfft::num_complex::Complex;

/// Taps of `rho` around the round trip, s.
const REACH_S: f64 = 0.0003;
/// The filter is carried on to this many round trips, at most.
const MOST_TRIPS: f64 = 40.0;

/// What comes after a direct filter.
pub struct Repeats {
    /// Spectrum of the taps beyond the filter's end.
    pub spectrum: Vec<Complex<f64>>,
    /// Order of the first echo that lies beyond.
    pub first_order: usize,
    /// Part of that echo that lies beyond (its rest is in the filter).
    pub share: f64,
}

/// Carries the direct filter of a seat on beyond its end with the ratio `here` (the round
/// trip's lag included).
pub fn beyond(
    plan: &SeatPlan,
    seat: &SeatTransmission,
    here: &[Complex<f64>],
    round_trip_s: f64,
) -> Repeats {
    let n = plan.fft.n_points();
    let all: Vec<usize> = (0..seat.pairs.len()).collect();
    let (first_lag, taps) = direct_taps(seat, &all);
    let ratio = plan.fft.inverse(here.to_vec());
    // Taps of the ratio that hold something: around its lag.
    let centre = (round_trip_s * plan.rate_hz()).round() as i64;
    let reach = (REACH_S * plan.rate_hz()).round() as i64;
    let window: Vec<(i64, f64)> = (centre - reach..=centre + reach)
        .map(|lag| (lag, ratio[lag.rem_euclid(n as i64) as usize]))
        .collect();
    let end = first_lag + taps.len() as i64;
    let total =
        (end + (MOST_TRIPS * round_trip_s * plan.rate_hz()) as i64).min(n as i64 / 2 - 1).max(end);
    let mut whole = vec![0.0; (total - first_lag) as usize];
    whole[..taps.len()].copy_from_slice(&taps);
    for lag in end..total {
        let value: f64 = window
            .iter()
            .filter_map(|(l, r)| {
                let past = lag - l - first_lag;
                (past >= 0 && past < lag - first_lag).then(|| r * whole[past as usize])
            })
            .sum();
        whole[(lag - first_lag) as usize] = value;
    }
    let spectrum = plan.fft.forward_at(end, &whole[taps.len()..]);
    let inside = seat.timing.end_s / round_trip_s;
    let first_order = inside.round().max(1.0) as usize;
    let share = (first_order as f64 + 0.5 - inside).clamp(0.0, 1.0);
    Repeats { spectrum, first_order: first_order.max(1), share }
}
