//! All seats, made ready for the equations, and the equations of one pair.

use super::emphasis::Emphasis;
use super::front::{N_TERMS, terms};
use super::pair::{Reduced, Rows};
use super::reflector::Reflector;
use super::slow::slow_parts;
use super::state::{Look, Pair, Seat, State};
use super::stretch::stretches;
use super::thin;
use crate::transfer::deconvolve::fast_length;
use crate::transfer::direct::{DirectPair, HEAD_S, SeatTiming};
use crate::transfer::fft::RealFft;
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use realfft::num_complex::Complex;

/// The filter may lead by this much (band-limited sheets ring both ways), s.
const LEAD_S: f64 = 0.0003;
/// With the echoes in the fit it goes on to this lag at least, s: what the edges of the cabinet send
/// may look like the first reflection, but the sheet's own answer is not over by then.
const TAPS_AT_LEAST_S: f64 = 0.0009;
/// Rows go on this far beyond the last tap, s ...
pub(super) const ROWS_BEYOND_S: f64 = 0.0002;
/// ... and this far beyond the first round trip, where there is one.
const ROWS_AFTER_TRIP_S: f64 = 0.0009;
/// No row is taken later than this, s.
const LAST_ROW_S: f64 = 0.0035;
/// Error power of a row before any reflection, relative to the energy of the direct sound.
pub const ROW_ERROR: f64 = 1e-5;

/// Length of the circle on which spectra are worked out, s (a power of two at 48 kHz): what a
/// heavy sheet adds after its takes' end has died away by then. Half of it bends heavy sheets.
const CIRCLE_S: f64 = 0.0426;

/// The round trip may be off from the stated one by this part at most.
pub(super) const LAG_PART: f64 = 0.06;

/// Round trip of a gap of 0.1 m, s.
pub(super) const USUAL_TRIP_S: f64 = 0.0006;

/// All seats, ready for the steps.
pub struct Fitter<'a> {
    pub(super) fft: RealFft,
    /// Sampling rate, Hz.
    pub rate_hz: f64,
    /// Index of the crest in every response.
    pub head: usize,
    emphasis: Emphasis,
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
        let emphasis = Emphasis::new(plan, seats);
        let mut fitter = Self { fft, rate_hz, head, emphasis, terms, seats: Vec::new() };
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
        let latest_trip_s = round_trip_s.unwrap_or(USUAL_TRIP_S) * (1.0 + LAG_PART);
        let n = self.n_looked_at(rows_end_s(end_s, latest_trip_s)).min(pair.with.len());
        let mut without = self.emphasis.apply(&pair.without);
        let mut with = self.emphasis.apply(&pair.with);
        let source = self.fft.forward(&without);
        let energy = without[..direct_end].iter().map(|x| x * x).sum();
        without.truncate(n);
        with.truncate(n);
        let late = stretches(&pair.without, self.head, end_s, self.rate_hz);
        let late =
            late.into_iter().map(|part| self.stretch(self.emphasis.apply(&part), n)).collect();
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

    /// Lag of the first tap, samples.
    pub fn first_lag(&self) -> i64 {
        -(self.samples(LEAD_S) as i64)
    }

    /// Number of taps up to a lag, s.
    pub(super) fn n_taps(&self, end_s: f64) -> usize {
        (self.samples(end_s) as i64 + 1 - self.first_lag()) as usize
    }

    /// What sends the echoes back: of all seats once a step has been made, of this one before.
    pub(super) fn reflector(&self, seat: &Seat, state: &State) -> Reflector {
        if let Some(reflector) = &state.reflector {
            return reflector.clone();
        }
        let State { taps, slow, delay_s, .. } = state;
        Reflector::new(seat.given, self.rate_hz, self.first_lag(), taps, slow, *delay_s)
    }

    /// Delay of a seat's taps after a minimum-phase sheet, s.
    pub(super) fn delay_s(&self, seat: &Seat, state: &State) -> Option<f64> {
        let reflector = self.reflector(seat, state);
        let through = reflector.through(&self.fft, self.df_hz());
        thin::excess_delay_s(&self.fft, self.rate_hz, &through)
    }

    /// The equations of a pair, solved for its taps as far as the front is known.
    pub(super) fn reduce(
        &self,
        Look { state, pair, apart_sd, left_weight, late }: &Look,
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
            if row < clean { 1.0 } else { expected / (expected + left_weight * left[row]) }
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
}

/// Until when the rows of a pair go on whose direct sound ends at `end_s`, s after the crest.
pub(super) fn rows_end_s(end_s: f64, round_trip_s: f64) -> f64 {
    (end_s + ROWS_BEYOND_S).max(round_trip_s + ROWS_AFTER_TRIP_S).min(LAST_ROW_S)
}
