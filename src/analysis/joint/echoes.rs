//! Echoes between sheet and front: their lag, their series, and what each term of the front adds.

use super::fitter::{Fitter, LAG_PART, ROW_ERROR, USUAL_TRIP_S, rows_end_s};
use super::front::{Front, MAIN_TERM, N_TERMS, expected, whole_samples};
use super::late::apart_sd_at_first;
use super::reflector::limited;
use super::slow::add_slow;
use super::spectrum::{Spectrum, mean_of};
use super::state::{Echo, LEFT_WEIGHT, Look, Pair, Seat, State};
use crate::transfer::fft::turns;
use crate::transfer::window::cut_circular;
use rayon::prelude::*;
use realfft::num_complex::Complex;
use std::f64::consts::TAU;

/// Standard deviation expected of the gap that places the echoes, as a part of it (cloth sags, a
/// rule is held askew, a front is no plane).
const GAP_SD_PART: f64 = 0.018;
/// Round trips are tried in steps of this part of the stated one.
const LAG_STEP: f64 = 0.006;

impl Fitter<'_> {
    /// Which part of the stated lag is most likely by what the first step leaves. Where echoes
    /// are weak that tells little, and reflections of the room resemble them at any lag; so what
    /// is expected of the gap and of the front counts as well.
    pub(super) fn find_lag(&self, states: &[State]) -> f64 {
        let n = (LAG_PART / LAG_STEP) as i32;
        let factors: Vec<f64> = (-n..=n).map(|i| 1.0 + f64::from(i) * LAG_STEP).collect();
        let [mean, sd] = expected()[MAIN_TERM];
        let sure = 1.0 / sd.powi(2);
        let seats: Vec<Vec<[f64; 2]>> = self
            .seats
            .par_iter()
            .zip(states)
            .filter_map(|(seat, state)| self.agreement(seat, state, &factors))
            .collect();
        factors
            .iter()
            .enumerate()
            .map(|(i, factor)| {
                let [normal, target] =
                    seats.iter().fold([0.0; 2], |sum, s| [sum[0] + s[i][0], sum[1] + s[i][1]]);
                // Twice the logarithm of the likelihood, but for a constant.
                let fits = (target + mean * sure).max(0.0).powi(2) / (normal + sure);
                (*factor, fits - ((factor - 1.0) / GAP_SD_PART).powi(2))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(1.0, |(factor, _)| factor)
    }

    /// Normal matrix and right-hand side of the main reflection alone, at each lag.
    fn agreement(&self, seat: &Seat, state: &State, factors: &[f64]) -> Option<Vec<[f64; 2]>> {
        let round_trip_s = seat.given.timing.round_trip_s?;
        // One pair a seat is enough to see where the echo stands.
        let pair = seat.pairs.first()?;
        let late = self.late(pair, state, state.moved.first()?);
        let scale = ROW_ERROR * pair.energy;
        // The first echo of a front that sends all back; without its lag it is always the same.
        let reflection = self.reflector(seat, state).reflection(&self.fft, self.df_hz());
        let echo: Spectrum =
            self.whole(state).iter().zip(&reflection).map(|(t, r)| t * r).collect();
        let term = |factor: &f64| {
            let lags = self.lags(round_trip_s * factor);
            let derivative: Spectrum = echo.iter().zip(lags).map(|(e, lag)| e * lag).collect();
            self.term(&pair.source, pair, &derivative, MAIN_TERM)
        };
        // Lags with the same rows share all of their equations but one column.
        let rows = |factor: &f64| self.last_row(rows_end_s(pair.end_s, round_trip_s * factor));
        let (apart_sd, left_weight) = (&apart_sd_at_first(), LEFT_WEIGHT);
        let look = Look { state, pair, apart_sd, left_weight, late: &late };
        let mut all = Vec::with_capacity(factors.len());
        for group in factors.chunk_by(|a, b| rows(a) == rows(b)) {
            let terms: Vec<Vec<f64>> = group.iter().map(term).collect();
            let (source, trip_s) = (&pair.given.without, round_trip_s * group[0]);
            let around = &[0.0; N_TERMS];
            let reduced = self.reduce(&look, source, trip_s, &terms, around)?;
            let of = |i| [reduced.normal[(i, i)] / scale, reduced.target[i] / scale];
            all.extend((0..group.len()).map(of));
        }
        Some(all)
    }

    /// Transmission of a step, mean over pairs.
    fn whole(&self, state: &State) -> Spectrum {
        let mut whole = self.fft.forward_at(self.first_lag(), &mean_of(&state.taps));
        add_slow(&mut whole, &mean_of(&state.slow), self.df_hz());
        whole
    }

    /// A delay, bin by bin.
    fn lags(&self, delay_s: f64) -> impl Iterator<Item = Complex<f64>> {
        turns(-TAU * self.df_hz() * delay_s)
    }

    /// Echo series of a seat, and what each term changes.
    pub(super) fn echo(&self, seat: &Seat, state: &State, front: &Front) -> Echo {
        let round_trip_s = self.round_trip_s(seat) * front.lag_factor;
        let reflection = self.reflector(seat, state).reflection(&self.fft, self.df_hz());
        let one = Complex::new(1.0, 0.0);
        let mut series = Vec::with_capacity(reflection.len());
        let mut derivative = Vec::with_capacity(reflection.len());
        let whole = self.whole(state);
        for (k, (r, lag)) in reflection.iter().zip(self.lags(round_trip_s)).enumerate() {
            let returned = r * lag;
            let g = one / (one - limited(front.of(&self.terms[k]) * returned));
            series.push(g);
            derivative.push(whole[k] * g * g * returned);
        }
        Echo { series, derivative, round_trip_s }
    }

    /// Round trip of a seat, s; a usual one where no gap is known, for the rows' sake.
    fn round_trip_s(&self, seat: &Seat) -> f64 {
        seat.given.timing.round_trip_s.unwrap_or(USUAL_TRIP_S)
    }

    /// What a unit of each term of the front adds to a take with the screen.
    pub(super) fn all_terms(
        &self,
        source: &Spectrum,
        pair: &Pair,
        derivative: &[Complex<f64>],
    ) -> Vec<Vec<f64>> {
        // Parts of the front that lie whole samples apart add the same, only later.
        let moved = whole_samples(self.rate_hz);
        let moved: &[i64] = moved.as_ref().map_or(&[], |m| m);
        let main = self.response(source, derivative, MAIN_TERM);
        let length = pair.given.with.len();
        let of_part = |by: &i64| cut_circular(&main, -by, length);
        let rest = (moved.len()..N_TERMS).map(|t| self.term(source, pair, derivative, t));
        moved.iter().map(of_part).chain(rest).collect()
    }

    /// What a unit of one term of the front adds to a take with the screen.
    pub(super) fn term(
        &self,
        source: &Spectrum,
        pair: &Pair,
        derivative: &[Complex<f64>],
        term: usize,
    ) -> Vec<f64> {
        let mut added = self.response(source, derivative, term);
        added.truncate(pair.given.with.len());
        added
    }

    /// The same on the whole circle of the transform.
    fn response(&self, source: &Spectrum, derivative: &[Complex<f64>], term: usize) -> Vec<f64> {
        let spectrum = source
            .iter()
            .zip(derivative)
            .zip(&self.terms)
            .map(|((x, d), terms)| x * d * terms[term])
            .collect();
        self.fft.inverse(spectrum)
    }

    /// A source of a pair with all its echoes.
    pub(super) fn with_echoes(
        &self,
        source: &Spectrum,
        pair: &Pair,
        series: &[Complex<f64>],
    ) -> Vec<f64> {
        let product = source.iter().zip(series).map(|(x, g)| x * g).collect();
        let mut source = self.fft.inverse(product);
        source.truncate(pair.given.without.len());
        source
    }
}
