//! Gauss-Newton steps: all seats' taps and the front's terms at once.

use super::echoes::LAG_PART;
use super::equations::emphasised;
use super::front::{Front, N_TERMS, expected, terms};
use super::late::{N_STRETCHES, apart_sd, apart_sd_at_first, stretches};
use super::pair::{Reduced, Rows};
use super::reflector::{Reflector, clear_s};
use super::slow::{SLOW_S, slow_parts};
use super::state::{Look, Pair, Seat, Solved, State};
use super::{Joint, SeatFit, Spectrum, echo_series, thin};
use crate::transfer::deconvolve::fast_length;
use crate::transfer::direct::{DirectPair, HEAD_S, SeatTiming};
use crate::transfer::fft::RealFft;
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;
use realfft::num_complex::Complex;

/// The filter may lead by this much (band-limited sheets ring both ways), s.
const LEAD_S: f64 = 0.0003;
/// With the echoes in the fit it goes on to this lag at least, s: what the edges of the cabinet send
/// may look like the first reflection, but the sheet's own answer is not over by then.
const TAPS_AT_LEAST_S: f64 = 0.0009;
/// Rows go on this far beyond the last tap, s ...
const ROWS_BEYOND_S: f64 = 0.0002;
/// ... and this far beyond the first round trip, where there is one.
const ROWS_AFTER_TRIP_S: f64 = 0.0009;
/// No row is taken later than this, s.
const LAST_ROW_S: f64 = 0.0035;
/// Error power of a row before any reflection, relative to the energy of the direct sound.
pub const ROW_ERROR: f64 = 1e-5;
/// Weight of the residual's power against the error of clean rows: what reflections leave is
/// alike at neighbouring samples and at seats side by side, and so tells less than its
/// number of rows.
const LEFT_WEIGHT: f64 = 4.0;

/// Gauss-Newton steps while the late sound may differ in any way ...
const FREE_STEPS: usize = 3;
/// ... and after that, while it may differ as far as all pairs have shown.
const HELD_STEPS: usize = 3;

/// Length of the circle on which spectra are worked out, s (a power of two at 48 kHz): what a
/// heavy sheet adds after its takes' end has died away by then. Half of it bends heavy sheets.
const CIRCLE_S: f64 = 0.0426;

/// All seats, ready for the steps.
pub struct Fitter<'a> {
    pub(super) fft: RealFft,
    /// Sampling rate, Hz.
    pub rate_hz: f64,
    /// Index of the crest in every response.
    pub head: usize,
    /// Terms of a front per bin.
    pub(super) terms: Vec<[Complex<f64>; N_TERMS]>,
    /// Seats with their pairs.
    pub seats: Vec<Seat<'a>>,
}

impl<'a> Fitter<'a> {
    /// Transforms what the steps need.
    pub fn new(plan: &SeatPlan, seats: &'a [SeatTransmission]) -> Self {
        let rate_hz = plan.rate_hz();
        let fft = RealFft::new(fast_length((CIRCLE_S * rate_hz) as usize));
        let head = (HEAD_S * rate_hz) as usize;
        let df_hz = rate_hz / fft.n_points() as f64;
        let terms = (0..fft.n_bins()).map(|k| terms(k as f64 * df_hz)).collect();
        let mut fitter = Self { fft, rate_hz, head, terms, seats: Vec::new() };
        let of_seat = |given: &'a SeatTransmission| {
            let pairs = given.pairs.iter().map(|pair| fitter.prepare(pair, given.timing));
            Seat { given, pairs: pairs.collect() }
        };
        let prepared = seats.iter().map(of_seat).collect();
        fitter.seats = prepared;
        fitter
    }

    /// Both responses of a pair as the equations take them.
    fn prepare(&self, pair: &DirectPair, timing: SeatTiming) -> Pair {
        let SeatTiming { end_s, round_trip_s } = timing;
        let direct_end = self.head + self.samples(end_s + ROWS_BEYOND_S);
        let latest_trip_s = round_trip_s.unwrap_or(0.0) * (1.0 + LAG_PART);
        let n = self.n_looked_at(rows_end_s(end_s, latest_trip_s)).min(pair.with.len());
        let mut without = emphasised(&pair.without, self.rate_hz);
        let mut with = emphasised(&pair.with, self.rate_hz);
        let source = self.fft.forward(&without);
        let energy = without[..direct_end].iter().map(|x| x * x).sum();
        without.truncate(n);
        with.truncate(n);
        let late = stretches(&pair.without, self.head, end_s, self.rate_hz);
        let late = late.into_iter().map(|part| self.stretch(part, n)).collect();
        Pair { given: DirectPair { without, with }, source, late, energy, end_s }
    }

    /// Samples of a response that can tell in rows to `rows_end_s`.
    fn n_looked_at(&self, rows_end_s: f64) -> usize {
        self.last_row(rows_end_s) + 1 + self.samples(LEAD_S) + self.reach_around_row()
    }

    pub(super) fn df_hz(&self) -> f64 {
        self.rate_hz / self.fft.n_points() as f64
    }

    /// Number of samples for a time, rounded down.
    pub fn samples(&self, time_s: f64) -> usize {
        (time_s * self.rate_hz) as usize
    }

    /// Sheet and front of all seats; `None` where nothing can be fitted.
    pub fn run(&self) -> Option<Joint> {
        let mut states: Vec<State> =
            self.seats.par_iter().map(|seat| self.start(seat)).collect::<Option<_>>()?;
        let mut front = None;
        if self.seats.iter().any(|s| s.given.timing.round_trip_s.is_some()) {
            let lag_factor = self.find_lag(&states);
            let mut found = Front {
                weights: expected().map(|[mean, _]| mean),
                covariance: DMatrix::zeros(N_TERMS, N_TERMS),
                lag_factor,
            };
            let echoes = self.seats.par_iter().zip(&mut states);
            echoes.for_each(|(seat, state)| state.echo = self.echo(seat, state, &found));
            let mut of_front = expected();
            for step in 0..FREE_STEPS + HELD_STEPS {
                let of_late =
                    if step < FREE_STEPS { apart_sd_at_first() } else { apart_sd(&states) };
                self.step(&mut states, &mut found, &of_front, &of_late)?;
                of_front = found.expected_next();
            }
            front = Some(found);
        }
        let factor = front.as_ref().map_or(1.0, |f| f.lag_factor);
        let seats = self
            .seats
            .iter()
            .zip(states)
            .map(|(seat, state)| SeatFit {
                reflector: self.reflector(seat, &state),
                first_lag: self.first_lag(),
                taps: state.taps,
                slow: state.slow,
                round_trip_s: seat.given.timing.round_trip_s.map(|t| t * factor),
            })
            .collect();
        Some(Joint { front, seats })
    }

    /// Lag of the first tap, samples.
    pub fn first_lag(&self) -> i64 {
        -(self.samples(LEAD_S) as i64)
    }

    /// Number of taps up to a lag, s.
    fn n_taps(&self, end_s: f64) -> usize {
        (self.samples(end_s) as i64 + 1 - self.first_lag()) as usize
    }

    /// Taps to `end_s` and slow parts alone, from the rows to `rows_end_s` of a pair whose
    /// echoes stand in `source`.
    fn alone(
        &self,
        pair: &Pair,
        source: &[f64],
        end_s: f64,
        rows_end_s: f64,
    ) -> Option<(Vec<f64>, Vec<f64>)> {
        let n_taps = self.n_taps(end_s);
        let mut taps = Rows {
            source,
            slow: &slow_parts(source, self.rate_hz),
            target: &pair.given.with,
            terms: &[],
            first: self.first_row(),
            weights: &self.row_weights(rows_end_s, |_| 1.0),
            first_lag: self.first_lag(),
            ridge: &self.ridge(self.first_lag(), n_taps, pair.energy),
        }
        .reduce(&[0.0; N_TERMS])?
        .taps_with(&[]);
        let slow = taps.split_off(n_taps);
        Some((taps, slow))
    }

    /// Taps alone, from what comes before the first echo.
    fn start(&self, seat: &Seat) -> Option<State> {
        let timing = seat.given.timing;
        let end_s = clear_s(seat.given).min(timing.end_s);
        let cut_short = timing.round_trip_s.is_some() && end_s < timing.end_s;
        let rows_end_s = if cut_short { end_s } else { end_s + ROWS_BEYOND_S };
        let alone = |pair: &Pair| self.alone(pair, &pair.given.without, end_s, rows_end_s);
        let (taps, slow): (Vec<_>, Vec<_>) =
            seat.pairs.iter().map(alone).collect::<Option<Vec<_>>>()?.into_iter().unzip();
        let all_left: Vec<Vec<f64>> = seat
            .pairs
            .iter()
            .zip(taps.iter().zip(&slow))
            .map(|(pair, (taps, slow))| self.residual(&pair.given.without, pair, taps, slow))
            .collect();
        let mut state = State {
            taps,
            slow,
            left: self.left_power(&all_left),
            delay_s: 0.0,
            moved: vec![vec![0.0; N_STRETCHES]; seat.pairs.len()],
            apart: Vec::new(),
            echo: None,
        };
        state.delay_s = self.delay_s(seat, &state)?;
        Some(state)
    }

    /// Taps of one seat, with the echoes of `sheet` in the source.
    pub fn plain(&self, seat: &Seat, sheet: Option<&SeatFit>, known: &Joint) -> Option<SeatFit> {
        let end_s = seat.given.timing.end_s;
        let series = sheet.and_then(|sheet| {
            let ratio = sheet.ratio(&self.fft, self.df_hz(), known.front.as_ref())?;
            Some(echo_series(&ratio).collect::<Spectrum>())
        });
        let alone = |pair: &Pair| match &series {
            Some(series) => {
                let source = self.with_echoes(&pair.source, pair, series);
                self.alone(pair, &source, end_s, end_s + ROWS_BEYOND_S)
            }
            None => self.alone(pair, &pair.given.without, end_s, end_s + ROWS_BEYOND_S),
        };
        let (taps, slow): (Vec<_>, Vec<_>) =
            seat.pairs.iter().map(alone).collect::<Option<Vec<_>>>()?.into_iter().unzip();
        let reflector = match sheet {
            Some(sheet) => sheet.reflector.clone(),
            None => Reflector::new(seat.given, self.rate_hz, self.first_lag(), &taps, &slow, 0.0),
        };
        Some(SeatFit {
            first_lag: self.first_lag(),
            reflector,
            round_trip_s: sheet.and_then(|s| s.round_trip_s),
            taps,
            slow,
        })
    }

    pub(super) fn reflector(&self, seat: &Seat, state: &State) -> Reflector {
        let State { taps, slow, delay_s, .. } = state;
        Reflector::new(seat.given, self.rate_hz, self.first_lag(), taps, slow, *delay_s)
    }

    fn delay_s(&self, seat: &Seat, state: &State) -> Option<f64> {
        let reflector = self.reflector(seat, state);
        let through = reflector.through(&self.fft, self.df_hz());
        thin::excess_delay_s(&self.fft, self.rate_hz, &through)
    }

    pub(super) fn reduce(
        &self,
        Look { state, pair, apart_sd, late }: &Look,
        source: &[f64],
        round_trip_s: f64,
        columns: &[Vec<f64>],
        around: &[f64; N_TERMS],
    ) -> Option<Reduced> {
        let end_s = pair.end_s;
        let rows_end_s = rows_end_s(end_s, round_trip_s);
        let expected = ROW_ERROR * pair.energy;
        let clean = self.head + self.samples(end_s);
        let left = &state.left;
        let weights = self.row_weights(rows_end_s, |row| {
            if row < clean { 1.0 } else { expected / (expected + LEFT_WEIGHT * left[row]) }
        });
        let n_taps = self.n_taps(end_s.max(TAPS_AT_LEAST_S));
        let mut ridge = self.ridge(self.first_lag(), n_taps, pair.energy);
        ridge.extend(self.apart_ridge(pair.energy, apart_sd));
        let mut extra = slow_parts(source, self.rate_hz);
        extra.extend_from_slice(late);
        Rows {
            source,
            slow: &extra,
            target: &pair.given.with,
            terms: columns,
            first: self.first_row(),
            weights: &weights,
            first_lag: self.first_lag(),
            ridge: &ridge,
        }
        .reduce(around)
    }

    /// One Gauss-Newton step for all taps and the front; `of_front` is expected of its terms,
    /// `apart_sd` of the filters on the late sound.
    fn step(
        &self,
        states: &mut Vec<State>,
        front: &mut Front,
        of_front: &[[f64; 2]; N_TERMS],
        apart_sd: &[f64],
    ) -> Option<()> {
        let solved: Vec<Vec<Solved>> = self
            .seats
            .par_iter()
            .zip(states.par_iter())
            .map(|(seat, state)| {
                let Some(echo) = &state.echo else { return Some(Vec::new()) };
                seat.pairs
                    .iter()
                    .zip(&state.moved)
                    .map(|(pair, moved)| {
                        let source = self.moved_source(pair, moved);
                        let columns = self.all_terms(&source, pair, &echo.derivative);
                        let late = self.late(pair, state, moved);
                        let with_echoes = self.with_echoes(&source, pair, &echo.series);
                        let look = Look { state, pair, apart_sd, late: &late };
                        let (trip_s, around) = (echo.round_trip_s, &front.weights);
                        let reduced = self.reduce(&look, &with_echoes, trip_s, &columns, around)?;
                        Some(Solved { reduced, source, late })
                    })
                    .collect()
            })
            .collect::<Option<_>>()?;
        let mut normal = DMatrix::zeros(N_TERMS, N_TERMS);
        let mut target = DVector::zeros(N_TERMS);
        for (seat, pairs) in self.seats.iter().zip(&solved) {
            for (pair, Solved { reduced, .. }) in seat.pairs.iter().zip(pairs) {
                let scale = ROW_ERROR * pair.energy;
                normal += &reduced.normal / scale;
                target += &reduced.target / scale;
            }
        }
        for (i, [mean, sd]) in of_front.iter().enumerate() {
            normal[(i, i)] += 1.0 / sd.powi(2);
            target[i] += mean / sd.powi(2);
        }
        let solver = normal.cholesky()?;
        let found = solver.solve(&target);
        front.weights.copy_from_slice(found.as_slice());
        front.covariance = solver.inverse();
        let next: Vec<State> = self
            .seats
            .par_iter()
            .zip(states.par_iter())
            .zip(&solved)
            .map(|((seat, state), pairs)| self.update(seat, state, pairs, front))
            .collect::<Option<_>>()?;
        *states = next;
        Some(())
    }

    fn update(&self, seat: &Seat, state: &State, pairs: &[Solved], front: &Front) -> Option<State> {
        if pairs.is_empty() {
            return Some(state.clone());
        }
        let mut next = State {
            taps: Vec::new(),
            slow: Vec::new(),
            left: Vec::new(),
            delay_s: 0.0,
            moved: Vec::new(),
            apart: Vec::new(),
            echo: None,
        };
        for Solved { reduced, late, .. } in pairs {
            let mut taps = reduced.taps_with(&front.weights);
            next.apart.push(taps.split_off(taps.len() - late.len()));
            next.slow.push(taps.split_off(taps.len() - SLOW_S.len()));
            next.taps.push(taps);
        }
        next.delay_s = self.delay_s(seat, &next)?;
        let echo = self.echo(seat, &next, front)?;
        let mut all_left = Vec::new();
        for (i, (pair, Solved { source, late, .. })) in seat.pairs.iter().zip(pairs).enumerate() {
            let source = self.with_echoes(source, pair, &echo.series);
            let mut left = self.residual(&source, pair, &next.taps[i], &next.slow[i]);
            for (column, weight) in late.iter().zip(&next.apart[i]) {
                left.iter_mut().zip(column).for_each(|(l, c)| *l -= weight * c);
            }
            all_left.push(left);
            next.moved.push(self.moves(pair, &state.moved[i], &next.apart[i]));
        }
        next.left = self.left_power(&all_left);
        next.echo = Some(echo);
        Some(next)
    }
}

/// Until when the rows of a pair go on whose direct sound ends at `end_s`, s after the crest.
pub(super) fn rows_end_s(end_s: f64, round_trip_s: f64) -> f64 {
    (end_s + ROWS_BEYOND_S).max(round_trip_s + ROWS_AFTER_TRIP_S).min(LAST_ROW_S)
}
