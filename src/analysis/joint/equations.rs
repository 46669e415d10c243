//! Rows and ridges of the equations, and what a fit leaves of them.

use super::fitter::{Fitter, ROW_ERROR};
use super::slow::{SLOW_S, slow_parts};
use super::spectrum::mean_of;
use super::state::Pair;
use crate::transfer::early::convolve;
use crate::transfer::window::rise;

/// The equations begin this long before the crest, s.
const BEFORE_S: f64 = 0.001;
/// Fade of the first rows, s.
const ROW_FADE_S: f64 = 0.0003;
/// Standard deviation expected of a tap near lag 0 ...
const TAP_SD: f64 = 0.3;
/// ... up to this lag, s; beyond it falls off ...
const TAP_NEAR_S: f64 = 0.0003;
/// ... with this time constant, s ...
const TAP_FALL_S: f64 = 0.0002;
/// ... down to this: what may still come is slow and small.
const TAP_LEAST_SD: f64 = 0.01;
/// Standard deviation expected of the gain of a slow part at 0 Hz.
const SLOW_SD: f64 = 0.4;
/// Reflections are told from the residual by its power over this, s.
const LOCAL_S: f64 = 0.0005;

impl Fitter<'_> {
    /// Index of the first row of the equations.
    pub fn first_row(&self) -> usize {
        self.head - self.samples(BEFORE_S)
    }

    /// Index of the last row where they go on until `end_s`.
    pub fn last_row(&self, end_s: f64) -> usize {
        self.head + (end_s * self.rate_hz).ceil() as usize
    }

    /// Weights of the rows to `end_s`, the first ones faded in.
    pub fn row_weights(&self, end_s: f64, of_row: impl Fn(usize) -> f64) -> Vec<f64> {
        let first = self.first_row();
        let mut weights: Vec<f64> = (first..=self.last_row(end_s)).map(of_row).collect();
        let fade = self.samples(ROW_FADE_S);
        weights.iter_mut().zip(rise(fade)).for_each(|(w, r)| *w *= r);
        weights
    }

    /// Ridge of the taps, then of the slow parts.
    pub fn ridge(&self, first_lag: i64, n_taps: usize, energy: f64) -> Vec<f64> {
        let slow = ROW_ERROR * energy / SLOW_SD.powi(2);
        (0..n_taps)
            .map(|i| {
                let lag_s = (first_lag + i as i64).unsigned_abs() as f64 / self.rate_hz;
                let fall = (-(lag_s - TAP_NEAR_S).max(0.0) / TAP_FALL_S).exp();
                let sd = (TAP_SD * fall).max(TAP_LEAST_SD);
                ROW_ERROR * energy / sd.powi(2)
            })
            .chain([slow; SLOW_S.len()])
            .collect()
    }

    /// With minus filtered source, per sample.
    pub fn residual(&self, source: &[f64], pair: &Pair, taps: &[f64], slow: &[f64]) -> Vec<f64> {
        let mut left = pair.given.with.clone();
        let mut take_off = |part: &[f64], gain: f64| {
            left.iter_mut().zip(part).for_each(|(l, p)| *l -= gain * p);
        };
        take_off(&convolve(source, self.first_lag(), taps), 1.0);
        for (part, gain) in slow_parts(source, self.rate_hz).iter().zip(slow) {
            take_off(part, *gain);
        }
        left
    }

    /// Power of what the pairs of a seat leave, per row, as if each pair were of its own: pairs
    /// share takes, and what a sheet passes at other angles is alike in all of them, so it is
    /// the power of their mean times their number.
    pub fn left_power(&self, pairs: &[Vec<f64>]) -> Vec<f64> {
        let mut power = self.local_power(&mean_of(pairs));
        power.iter_mut().for_each(|p| *p *= pairs.len() as f64);
        power
    }

    /// Samples around a row that tell of what is left there, and of the late sound.
    pub fn reach_around_row(&self) -> usize {
        self.samples(0.5 * LOCAL_S) + self.apart_reach()
    }

    /// Mean square around each sample.
    fn local_power(&self, x: &[f64]) -> Vec<f64> {
        let half = self.samples(0.5 * LOCAL_S);
        let mut sums = Vec::with_capacity(x.len() + 1);
        sums.push(0.0);
        for v in x {
            sums.push(sums[sums.len() - 1] + v * v);
        }
        (0..x.len())
            .map(|i| {
                let (from, to) = (i.saturating_sub(half), (i + half + 1).min(x.len()));
                (sums[to] - sums[from]) / (to - from) as f64
            })
            .collect()
    }
}
