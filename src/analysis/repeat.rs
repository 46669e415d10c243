//! Echoes within the direct filter: how the filter repeats itself a round trip later.
//!
//! With the echoes in it the filter obeys `t = t0 + rho * t(. - tau)`: after the first round
//! trip it is `rho` convolved with its own past. `rho` is fitted over all seats by least
//! squares and carries the filter on beyond its end.

use super::echo::{EchoRatio, MOST_PER_TRIP, SeatParts, direct_taps, independent, limited, turn};
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use nalgebra::{DMatrix, DVector};
use realfft::num_complex::Complex;

/// Taps of `rho` before and after the round trip, s.
const REACH_S: [f64; 2] = [0.00008, 0.00015];
/// Rows begin this long before the round trip, s.
const ROWS_BEFORE_S: f64 = 0.00006;
/// The last taps of the filter are weak in the fit and left out, s.
const LEFT_OUT_S: f64 = 0.00006;
/// First difference before the fit: the slow decay of a heavy sheet's own response is no
/// echo, and this takes it out.
const DIFFERENCE: f64 = 0.95;
/// Ridge relative to the energy of the repeated part.
const RIDGE: f64 = 3e-2;
/// The filter is carried on to this many round trips, at most.
const MOST_TRIPS: usize = 60;

/// Ratio from the repetition of the direct filters of all seats.
pub fn repeat_ratio(
    plan: &SeatPlan,
    seats: &[SeatTransmission],
    parts: &[SeatParts],
) -> Option<EchoRatio> {
    let rate_hz = plan.rate_hz();
    let samples = |s: f64| (s * rate_hz).round() as i64;
    let lags: Vec<i64> = (-samples(REACH_S[0])..=samples(REACH_S[1])).collect();
    let n_taps = lags.len();
    let mut normal = DMatrix::<f64>::zeros(n_taps, n_taps);
    let mut right = DVector::<f64>::zeros(n_taps);
    let mut rows: Vec<(Vec<f64>, f64)> = Vec::new();
    for (seat, part) in seats.iter().zip(parts) {
        let Some(round_trip_s) = part.round_trip_s else { continue };
        let all: Vec<usize> = (0..seat.pairs.len()).collect();
        let (first_lag, taps) = direct_taps(seat, &all);
        let end = first_lag + taps.len() as i64 - samples(LEFT_OUT_S);
        let now = differenced(plan, &part.direct);
        let past = plan.fft.inverse(turn(plan, &now, -round_trip_s));
        let now = plan.fft.inverse(now);
        let n = plan.fft.n_points() as i64;
        let at = |x: &[f64], lag: i64| x[lag.rem_euclid(n) as usize];
        for lag in samples(round_trip_s - ROWS_BEFORE_S)..end {
            let row: Vec<f64> = lags.iter().map(|l| at(&past, lag - l)).collect();
            rows.push((row, at(&now, lag)));
        }
    }
    if rows.len() < 2 * n_taps {
        return None;
    }
    for (row, value) in &rows {
        let row = DVector::from_column_slice(row);
        normal += &row * row.transpose();
        right += row * *value;
    }
    let energy = normal.trace() / n_taps as f64;
    for i in 0..n_taps {
        normal[(i, i)] += RIDGE * energy;
    }
    let solver = normal.cholesky()?;
    let taps = solver.solve(&right);
    let left: f64 = rows
        .iter()
        .map(|(row, value)| {
            (value - row.iter().zip(taps.iter()).map(|(r, t)| r * t).sum::<f64>()).powi(2)
        })
        .sum();
    let variance = left / (rows.len() - n_taps) as f64;
    let covariance = solver.inverse() * variance;
    let spectrum = plan.fft.forward_at(lags[0], taps.as_slice());
    // White error of the taps: each adds its variance at every frequency.
    let noise: f64 = covariance.trace();
    let power: Vec<f64> = (0..plan.n_bands)
        .map(|b| {
            let found = plan.bins.mean(b, |k| spectrum[k].norm_sqr());
            (found - noise / independent(plan, b).sqrt()).clamp(0.0, MOST_PER_TRIP)
        })
        .collect();
    let gain: Vec<f64> = power.iter().map(|p| p / (p + noise + 1e-12)).collect();
    let error = gain.iter().map(|g| g * noise).collect();
    let bins = plan.per_bin(&gain);
    let ratio = spectrum.iter().zip(bins).map(|(r, g)| limited(r * g)).collect();
    Some(EchoRatio { ratio, power, error, from_slots: false })
}

fn differenced(plan: &SeatPlan, spectrum: &[Complex<f64>]) -> Vec<Complex<f64>> {
    let n = plan.fft.n_points() as f64;
    spectrum
        .iter()
        .enumerate()
        .map(|(k, x)| {
            let z = Complex::from_polar(1.0, -2.0 * std::f64::consts::PI * k as f64 / n);
            x * (Complex::new(1.0, 0.0) - z * DIFFERENCE)
        })
        .collect()
}

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
    let reach = (REACH_S[1] * plan.rate_hz()).round() as i64 + 6;
    let window: Vec<(i64, f64)> = (centre - reach..=centre + reach)
        .map(|lag| (lag, ratio[lag.rem_euclid(n as i64) as usize]))
        .collect();
    let end = first_lag + taps.len() as i64;
    let total = (end + (MOST_TRIPS as f64 * round_trip_s * plan.rate_hz()) as i64)
        .min(n as i64 / 2 - 1)
        .max(end);
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
