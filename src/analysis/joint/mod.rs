//! Sheet and loudspeaker front, found together from all seats.
//!
//! All that passes a sheet in front of a loudspeaker is
//!
//! `t = T / (1 - R B z)`, `R = 1 - T`, `z = exp(-j 2 pi f tau)`, `tau = 2 gap cos(theta)/c`:
//!
//! the sheet's own transmission `T`, and echoes between its reflection `R` and the front `B`.
//! `T` is a short causal filter, at each seat its own (angle). `B` is the same for all seats
//! and a few numbers hold it (`front`), and a thin sheet reflects what it does not pass
//! (`thin`). So `h_with = t * h_without` is solved for the taps of `T` and the terms of `B`
//! at once, by Gauss-Newton least squares over the samples in which the direct sound and its
//! first echoes arrive; samples after the first reflection of the room count less, as far as
//! the moved microphone disturbs them there. `T` is left free wherever the direct sound tells
//! of it, so that no model of the cloth or of its holes comes in.

pub mod front;
mod pair;
#[cfg(test)]
mod tests;
mod thin;

use crate::transfer::direct::{DirectPair, HEAD_S};
use crate::transfer::fft::RealFft;
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use front::{Front, MAIN_TERM, N_TERMS, expected, terms};
use nalgebra::{DMatrix, DVector};
use pair::{Reduced, Rows};
use rayon::prelude::*;
use realfft::num_complex::Complex;
use std::f64::consts::PI;

/// One-sided spectrum.
pub type Spectrum = Vec<Complex<f64>>;

/// The equations begin this long before the crest, s.
const BEFORE_S: f64 = 0.001;
/// The filter may lead by this much (band-limited sheets ring both ways), s.
const LEAD_S: f64 = 0.0003;
/// Rows go on this far beyond the last tap, s ...
const ROWS_BEYOND_S: f64 = 0.0002;
/// ... and this far beyond the first round trip, where there is one.
const ROWS_AFTER_TRIP_S: f64 = 0.0009;
/// No row is taken later than this, s.
const LAST_ROW_S: f64 = 0.0035;
/// Fade of the first rows, s.
const ROW_FADE_S: f64 = 0.0003;
/// Error power of a row before any reflection, relative to the energy of the direct sound.
const ROW_ERROR: f64 = 1e-5;
/// Standard deviation expected of a tap near lag 0 ...
const TAP_SD: f64 = 0.3;
/// ... up to this lag, s; beyond it falls off ...
const TAP_NEAR_S: f64 = 0.0003;
/// ... with this time constant, s ...
const TAP_FALL_S: f64 = 0.0002;
/// ... down to this: what may still come is slow and small.
const TAP_LEAST_SD: f64 = 0.01;
/// Time constants of the slow parts of a sheet, s: heavy cloth answers with real poles whose
/// response outlasts the direct sound; a few of them carry it on beyond the taps.
const SLOW_S: [f64; 3] = [0.0006, 0.0015, 0.004];
/// Standard deviation expected of the gain of a slow part at 0 Hz.
const SLOW_SD: f64 = 0.4;
/// Reflections are told from the residual by its power over this, s.
const LOCAL_S: f64 = 0.0005;
/// What a moved microphone makes of reflections rises with frequency; so both responses are
/// brought to a fall of 6 dB an octave from here up before they are compared, Hz ...
const FALL_FROM_HZ: f64 = 500.0;
/// ... by so much at most (as a factor less one).
const FALL_MOST: f64 = 39.0;
/// Weight of the residual's power against the error of clean rows: what reflections leave is
/// alike at neighbouring samples and at seats side by side, and so tells less than its
/// number of rows.
const LEFT_WEIGHT: f64 = 4.0;
/// Gauss-Newton steps.
const STEPS: usize = 5;
/// The first step ends this long before the first echo, s ...
const CLEAR_S: f64 = 0.00008;
/// ... but not before this, s.
const SHORTEST_S: f64 = 0.00025;
/// The stated gap may be off by this part, and by this lag, s.
const LAG_PART: f64 = 0.06;
const LAG_STEP: f64 = 0.004;

/// Sheet and front of a session.
pub struct Joint {
    /// Front, where a gap places its echoes.
    pub front: Option<Front>,
    /// Seats, in the order of the transmissions.
    pub seats: Vec<SeatFit>,
}

/// The sheet at one seat.
pub struct SeatFit {
    /// Lag of the first tap, samples.
    pub first_lag: i64,
    /// Taps of the sheet's own transmission, one row a pair (`w * takes_without + o`).
    pub taps: Vec<Vec<f64>>,
    /// Gains at 0 Hz of the slow parts that come on top, one row a pair.
    pub slow: Vec<Vec<f64>>,
    /// What sends the echoes back.
    pub reflector: Reflector,
    /// Round trip, s, with the lag found.
    pub round_trip_s: Option<f64>,
    /// Mean square of what the fit leaves in its rows, over what was expected.
    pub misfit: f64,
}

/// A thin sheet as seen from the loudspeaker: it reflects what it does not pass.
#[derive(Debug, Clone)]
pub struct Reflector {
    /// Lag of the first tap, samples.
    first_lag: i64,
    /// Taps of its transmission that hold no echo.
    taps: Vec<f64>,
    /// Gains of its slow parts at 0 Hz.
    slow: Vec<f64>,
    /// Delay of the taps after a minimum-phase sheet, s.
    delay_s: f64,
}

impl Reflector {
    fn new(state: &State, seat: &SeatTransmission, rate_hz: f64) -> Self {
        let until_s = clear_s(seat);
        Self {
            first_lag: state.first_lag,
            taps: clear_taps(&mean_of(&state.taps), state.first_lag, until_s, rate_hz),
            slow: mean_of(&state.slow),
            delay_s: state.delay_s,
        }
    }

    /// Transmission without what may be echo, on the grid of `fft`.
    fn through(&self, fft: &RealFft, df_hz: f64) -> Spectrum {
        let mut through = fft.forward_at(self.first_lag, &self.taps);
        add_slow(&mut through, &self.slow, df_hz);
        through
    }

    /// Pressure reflection on the grid of `fft`.
    pub fn reflection(&self, fft: &RealFft, df_hz: f64) -> Spectrum {
        thin::reflection(df_hz, &self.through(fft, df_hz), self.delay_s)
    }
}

/// Everything of a seat that does not change from step to step.
struct Seat<'a> {
    given: &'a SeatTransmission,
    pairs: Vec<Pair>,
}

struct Pair {
    given: DirectPair,
    source: Spectrum,
    energy: f64,
}

struct Fitter<'a> {
    fft: RealFft,
    rate_hz: f64,
    head: usize,
    seats: Vec<Seat<'a>>,
}

/// What a step knows of one seat.
#[derive(Clone)]
struct State {
    first_lag: i64,
    /// Taps of all pairs.
    taps: Vec<Vec<f64>>,
    /// Gains of the slow parts of all pairs.
    slow: Vec<Vec<f64>>,
    /// Power of what the fit leaves, per row; see [`Fitter::left_power`].
    left: Vec<f64>,
    delay_s: f64,
    misfit: f64,
}

/// Fits all seats. Where nothing can be fitted all taps are NaN, and so no band gets a value.
pub fn fit(plan: &SeatPlan, seats: &[SeatTransmission]) -> Joint {
    Fitter::new(plan, seats).run().unwrap_or_else(|| Joint::nothing(seats))
}

/// Fits seats whose takes hold more than the sheet (an equaliser in the signal): the echoes
/// are those that `known` found for the sheet alone at the same seats, `known_seats`.
pub fn fit_with_known_echoes(
    plan: &SeatPlan,
    seats: &[SeatTransmission],
    known: &Joint,
    known_seats: &[SeatTransmission],
) -> Joint {
    let fitter = Fitter::new(plan, seats);
    let alike = |seat: &Seat| {
        let at = known_seats.iter().position(|k| k.seat == seat.given.seat)?;
        known.seats.get(at)
    };
    let fits: Option<Vec<SeatFit>> =
        fitter.seats.par_iter().map(|seat| fitter.plain(seat, alike(seat), known)).collect();
    match fits {
        Some(seats) => Joint { front: known.front.clone(), seats },
        None => Joint::nothing(seats),
    }
}

impl Joint {
    /// All taps NaN.
    fn nothing(seats: &[SeatTransmission]) -> Self {
        let nothing = |seat: &SeatTransmission| SeatFit {
            first_lag: 0,
            taps: vec![vec![f64::NAN]; seat.pairs.len()],
            slow: vec![vec![0.0; SLOW_S.len()]; seat.pairs.len()],
            reflector: Reflector { first_lag: 0, taps: Vec::new(), slow: Vec::new(), delay_s: 0.0 },
            round_trip_s: None,
            misfit: f64::NAN,
        };
        Self { front: None, seats: seats.iter().map(nothing).collect() }
    }
}

impl<'a> Fitter<'a> {
    fn new(plan: &SeatPlan, seats: &'a [SeatTransmission]) -> Self {
        let rate_hz = plan.rate_hz();
        let fft = RealFft::new(crate::transfer::deconvolve::fast_length((0.06 * rate_hz) as usize));
        let head = (HEAD_S * rate_hz) as usize;
        let seats = seats
            .iter()
            .map(|given| {
                let until = head + ((given.timing.end_s + ROWS_BEYOND_S) * rate_hz) as usize;
                let pairs = given
                    .pairs
                    .iter()
                    .map(|pair| {
                        let given = DirectPair {
                            without: emphasised(&pair.without, rate_hz),
                            with: emphasised(&pair.with, rate_hz),
                        };
                        Pair {
                            source: fft.forward(&given.without),
                            energy: given.without[..until].iter().map(|x| x * x).sum(),
                            given,
                        }
                    })
                    .collect();
                Seat { given, pairs }
            })
            .collect();
        Self { fft, rate_hz, head, seats }
    }

    fn df_hz(&self) -> f64 {
        self.rate_hz / self.fft.n_points() as f64
    }

    fn samples(&self, time_s: f64) -> usize {
        (time_s * self.rate_hz) as usize
    }

    fn run(&self) -> Option<Joint> {
        let trips: Vec<Option<f64>> =
            self.seats.iter().map(|s| s.given.timing.round_trip_s).collect();
        let mut states: Vec<State> =
            self.seats.par_iter().map(|seat| self.start(seat)).collect::<Option<_>>()?;
        let mut front = None;
        if trips.iter().any(Option::is_some) {
            let lag_factor = self.find_lag(&states);
            let mut found = Front {
                weights: expected().map(|[mean, _]| mean),
                covariance: DMatrix::zeros(N_TERMS, N_TERMS),
                lag_factor,
            };
            for _ in 0..STEPS {
                self.step(&mut states, &mut found)?;
            }
            front = Some(found);
        }
        let factor = front.as_ref().map_or(1.0, |f| f.lag_factor);
        let seats = self
            .seats
            .iter()
            .zip(states)
            .map(|(seat, state)| SeatFit {
                reflector: Reflector::new(&state, seat.given, self.rate_hz),
                first_lag: state.first_lag,
                taps: state.taps,
                slow: state.slow,
                round_trip_s: seat.given.timing.round_trip_s.map(|t| t * factor),
                misfit: state.misfit,
            })
            .collect();
        Some(Joint { front, seats })
    }

    /// Taps alone, from what comes before the first echo.
    fn start(&self, seat: &Seat) -> Option<State> {
        let end_s = clear_s(seat.given).min(seat.given.timing.end_s);
        let has_echo = seat.given.timing.round_trip_s.is_some();
        let rows_end_s =
            if has_echo && end_s < seat.given.timing.end_s { end_s } else { end_s + ROWS_BEYOND_S };
        let first_lag = -(self.samples(LEAD_S) as i64);
        let mut state = State {
            first_lag,
            taps: Vec::new(),
            slow: Vec::new(),
            left: Vec::new(),
            delay_s: 0.0,
            misfit: 0.0,
        };
        let n_taps = (self.samples(end_s) as i64 + 1 - first_lag) as usize;
        let mut all_left = Vec::new();
        for pair in &seat.pairs {
            let weights = self.row_weights(rows_end_s, |_| 1.0);
            let ridge = self.ridge(first_lag, n_taps, pair.energy);
            let rows = Rows {
                source: &pair.given.without,
                slow: &slow_parts(&pair.given.without, self.rate_hz),
                target: &pair.given.with,
                terms: &[],
                first: self.first_row(),
                weights: &weights,
                first_lag,
                ridge: &ridge,
            };
            let mut taps = rows.reduce(&[0.0; N_TERMS])?.taps_with(&[]);
            let slow = taps.split_off(n_taps);
            let left = self.residual(&pair.given.without, pair, first_lag, &taps, &slow);
            all_left.push(left);
            state.taps.push(taps);
            state.slow.push(slow);
        }
        state.left = self.left_power(&all_left);
        state.delay_s = self.delay_s(seat, &state)?;
        Some(state)
    }

    /// Taps of one seat, with the echoes of `sheet` in the source.
    fn plain(&self, seat: &Seat, sheet: Option<&SeatFit>, known: &Joint) -> Option<SeatFit> {
        let end_s = seat.given.timing.end_s;
        let first_lag = -(self.samples(LEAD_S) as i64);
        let n_taps = (self.samples(end_s) as i64 + 1 - first_lag) as usize;
        let weights = self.row_weights(end_s + ROWS_BEYOND_S, |_| 1.0);
        let series = sheet.and_then(|sheet| {
            let ratio = sheet.ratio_on(&self.fft, self.df_hz(), known.front.as_ref())?;
            let one = Complex::new(1.0, 0.0);
            Some(ratio.into_iter().map(|r| one / (one - r)).collect::<Spectrum>())
        });
        let mut state = State {
            first_lag,
            taps: Vec::new(),
            slow: Vec::new(),
            left: Vec::new(),
            delay_s: 0.0,
            misfit: 0.0,
        };
        for pair in &seat.pairs {
            let source = match &series {
                Some(series) => self.with_echoes(pair, series),
                None => pair.given.without.clone(),
            };
            let mut taps = Rows {
                source: &source,
                slow: &slow_parts(&source, self.rate_hz),
                target: &pair.given.with,
                terms: &[],
                first: self.first_row(),
                weights: &weights,
                first_lag,
                ridge: &self.ridge(first_lag, n_taps, pair.energy),
            }
            .reduce(&[0.0; N_TERMS])?
            .taps_with(&[]);
            state.slow.push(taps.split_off(n_taps));
            state.taps.push(taps);
        }
        let own = || Reflector::new(&state, seat.given, self.rate_hz);
        Some(SeatFit {
            first_lag,
            reflector: sheet.map_or_else(own, |s| s.reflector.clone()),
            round_trip_s: sheet.and_then(|s| s.round_trip_s),
            misfit: 0.0,
            taps: state.taps.clone(),
            slow: state.slow.clone(),
        })
    }

    fn first_row(&self) -> usize {
        self.head - self.samples(BEFORE_S)
    }

    /// Weights of the rows to `end_s`, the first ones faded in.
    fn row_weights(&self, end_s: f64, of_row: impl Fn(usize) -> f64) -> Vec<f64> {
        let first = self.first_row();
        let last = self.head + (end_s * self.rate_hz).ceil() as usize;
        let mut weights: Vec<f64> = (first..=last).map(of_row).collect();
        let fade = self.samples(ROW_FADE_S);
        weights.iter_mut().zip(crate::transfer::window::rise(fade)).for_each(|(w, r)| *w *= r);
        weights
    }

    fn ridge(&self, first_lag: i64, n_taps: usize, energy: f64) -> Vec<f64> {
        let slow = ROW_ERROR * energy / SLOW_SD.powi(2);
        (0..n_taps)
            .map(|i| {
                let lag_s = (first_lag + i as i64).unsigned_abs() as f64 / self.rate_hz;
                let fall = (-(lag_s - TAP_NEAR_S).max(0.0) / TAP_FALL_S).exp();
                let sd = (TAP_SD * fall).max(TAP_LEAST_SD);
                // Taps of a finer grid are smaller: the same filter is spread over more of them.
                ROW_ERROR * energy / sd.powi(2)
            })
            .chain([slow; SLOW_S.len()])
            .collect()
    }

    /// With minus filtered source, per sample.
    fn residual(
        &self,
        source: &[f64],
        pair: &Pair,
        first_lag: i64,
        taps: &[f64],
        slow: &[f64],
    ) -> Vec<f64> {
        let n = source.len() as i64;
        let slow_parts = slow_parts(source, self.rate_hz);
        (0..source.len())
            .map(|row| {
                let filtered: f64 = taps
                    .iter()
                    .enumerate()
                    .filter_map(|(c, t)| {
                        let at = row as i64 - first_lag - c as i64;
                        (at >= 0 && at < n).then(|| t * source[at as usize])
                    })
                    .sum();
                let slow: f64 = slow_parts.iter().zip(slow).map(|(p, a)| p[row] * a).sum();
                pair.given.with[row] - filtered - slow
            })
            .collect()
    }

    /// Power of what the pairs of a seat leave, per row, as if each pair were of its own: pairs
    /// share takes, and what a sheet passes at other angles is alike in all of them, so it is
    /// the power of their mean times their number.
    fn left_power(&self, pairs: &[Vec<f64>]) -> Vec<f64> {
        let mut power = self.local_power(&mean_of(pairs));
        power.iter_mut().for_each(|p| *p *= pairs.len() as f64);
        power
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

    fn delay_s(&self, seat: &Seat, state: &State) -> Option<f64> {
        let reflector = Reflector::new(state, seat.given, self.rate_hz);
        let through = reflector.through(&self.fft, self.df_hz());
        thin::excess_delay_s(&self.fft, self.rate_hz, &through)
    }

    /// Which part of the stated lag explains most of what the first step leaves.
    fn find_lag(&self, states: &[State]) -> f64 {
        let n = (LAG_PART / LAG_STEP) as i32;
        let floor = 1.0 / expected()[MAIN_TERM][1].powi(2);
        (-n..=n)
            .map(|i| {
                let factor = 1.0 + f64::from(i) * LAG_STEP;
                let parts: Vec<[f64; 2]> = self
                    .seats
                    .par_iter()
                    .zip(states)
                    .filter_map(|(seat, state)| self.agreement(seat, state, factor))
                    .collect();
                let [normal, target] =
                    parts.iter().fold([0.0; 2], |sum, p| [sum[0] + p[0], sum[1] + p[1]]);
                (factor, target.max(0.0).powi(2) / (normal + floor))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(1.0, |(factor, _)| factor)
    }

    /// Normal matrix and right-hand side of the main reflection alone, at a lag.
    fn agreement(&self, seat: &Seat, state: &State, factor: f64) -> Option<[f64; 2]> {
        let mut sum = [0.0; 2];
        let echo = self.echo(seat, state, None, factor)?;
        for (i, pair) in seat.pairs.iter().enumerate() {
            let term = self.term(pair, &echo.derivative, MAIN_TERM);
            let reduced = self.reduce(seat, state, i, &echo, &[term], &[0.0; N_TERMS])?;
            let scale = ROW_ERROR * pair.energy;
            sum[0] += reduced.normal[(0, 0)] / scale;
            sum[1] += reduced.target[0] / scale;
        }
        Some(sum)
    }

    /// Echo series of a seat, and what each term changes.
    fn echo(&self, seat: &Seat, state: &State, front: Option<&Front>, factor: f64) -> Option<Echo> {
        let round_trip_s = seat.given.timing.round_trip_s? * factor;
        let reflector = Reflector::new(state, seat.given, self.rate_hz);
        let reflection = reflector.reflection(&self.fft, self.df_hz());
        let one = Complex::new(1.0, 0.0);
        let mut series = Vec::with_capacity(reflection.len());
        let mut derivative = Vec::with_capacity(reflection.len());
        let mut whole = self.fft.forward_at(state.first_lag, &mean_of(&state.taps));
        add_slow(&mut whole, &mean_of(&state.slow), self.df_hz());
        for (k, r) in reflection.iter().enumerate() {
            let hz = k as f64 * self.df_hz();
            let returned = r * Complex::from_polar(1.0, -2.0 * PI * hz * round_trip_s);
            let ratio = limited(front.map_or(Complex::default(), |f| f.at(hz) * returned));
            let g = one / (one - ratio);
            series.push(g);
            derivative.push(whole[k] * g * g * returned);
        }
        Some(Echo { series, derivative, round_trip_s })
    }

    /// What a unit of one term of the front adds to a take with the screen.
    fn term(&self, pair: &Pair, derivative: &[Complex<f64>], term: usize) -> Vec<f64> {
        let df_hz = self.df_hz();
        let spectrum = pair
            .source
            .iter()
            .zip(derivative)
            .enumerate()
            .map(|(k, (x, d))| x * d * terms(k as f64 * df_hz)[term])
            .collect();
        let mut added = self.fft.inverse(spectrum);
        added.truncate(pair.given.with.len());
        added
    }

    fn reduce(
        &self,
        seat: &Seat,
        state: &State,
        pair: usize,
        echo: &Echo,
        columns: &[Vec<f64>],
        around: &[f64; N_TERMS],
    ) -> Option<Reduced> {
        let timing = seat.given.timing;
        let given = &seat.pairs[pair];
        let source = self.with_echoes(given, &echo.series);
        let rows_end_s = (timing.end_s + ROWS_BEYOND_S)
            .max(echo.round_trip_s + ROWS_AFTER_TRIP_S)
            .min(LAST_ROW_S);
        let expected = ROW_ERROR * given.energy;
        let clean = self.head + self.samples(timing.end_s);
        let left = &state.left;
        let weights = self.row_weights(rows_end_s, |row| {
            if row < clean { 1.0 } else { expected / (expected + LEFT_WEIGHT * left[row]) }
        });
        let n_taps = (self.samples(timing.end_s) as i64 + 1 - state.first_lag) as usize;
        let ridge = self.ridge(state.first_lag, n_taps, given.energy);
        Rows {
            source: &source,
            slow: &slow_parts(&source, self.rate_hz),
            target: &given.given.with,
            terms: columns,
            first: self.first_row(),
            weights: &weights,
            first_lag: state.first_lag,
            ridge: &ridge,
        }
        .reduce(around)
    }

    fn with_echoes(&self, pair: &Pair, series: &[Complex<f64>]) -> Vec<f64> {
        let product = pair.source.iter().zip(series).map(|(x, g)| x * g).collect();
        let mut source = self.fft.inverse(product);
        source.truncate(pair.given.without.len());
        source
    }

    /// One Gauss-Newton step for all taps and the front.
    fn step(&self, states: &mut Vec<State>, front: &mut Front) -> Option<()> {
        let factor = front.lag_factor;
        let reduced: Vec<Vec<Reduced>> = self
            .seats
            .par_iter()
            .zip(states.par_iter())
            .map(|(seat, state)| {
                let Some(echo) = self.echo(seat, state, Some(front), factor) else {
                    return Some(Vec::new());
                };
                (0..seat.pairs.len())
                    .map(|i| {
                        let columns: Vec<Vec<f64>> = (0..N_TERMS)
                            .map(|t| self.term(&seat.pairs[i], &echo.derivative, t))
                            .collect();
                        self.reduce(seat, state, i, &echo, &columns, &front.weights)
                    })
                    .collect()
            })
            .collect::<Option<_>>()?;
        let mut normal = DMatrix::zeros(N_TERMS, N_TERMS);
        let mut target = DVector::zeros(N_TERMS);
        for (seat, pairs) in self.seats.iter().zip(&reduced) {
            for (pair, r) in seat.pairs.iter().zip(pairs) {
                let scale = ROW_ERROR * pair.energy;
                normal += &r.normal / scale;
                target += &r.target / scale;
            }
        }
        for (i, [mean, sd]) in expected().iter().enumerate() {
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
            .zip(&reduced)
            .map(|((seat, state), pairs)| self.update(seat, state, pairs, front))
            .collect::<Option<_>>()?;
        *states = next;
        Some(())
    }

    fn update(
        &self,
        seat: &Seat,
        state: &State,
        pairs: &[Reduced],
        front: &Front,
    ) -> Option<State> {
        if pairs.is_empty() {
            return Some(state.clone());
        }
        let mut next = state.clone();
        let n_slow = SLOW_S.len();
        let solved = |r: &Reduced| {
            let mut taps = r.taps_with(&front.weights);
            let slow = taps.split_off(taps.len() - n_slow);
            (taps, slow)
        };
        (next.taps, next.slow) = pairs.iter().map(solved).unzip();
        next.delay_s = self.delay_s(seat, &next)?;
        let echo = self.echo(seat, &next, Some(front), front.lag_factor)?;
        let mut misfit = 0.0;
        let mut all_left = Vec::new();
        for (i, pair) in seat.pairs.iter().enumerate() {
            let source = self.with_echoes(pair, &echo.series);
            let left = self.residual(&source, pair, next.first_lag, &next.taps[i], &next.slow[i]);
            let clean = self.first_row()..self.head + self.samples(seat.given.timing.end_s);
            let n = clean.len() as f64;
            misfit +=
                left[clean].iter().map(|x| x * x).sum::<f64>() / n / (ROW_ERROR * pair.energy);
            all_left.push(left);
        }
        next.left = self.left_power(&all_left);
        next.misfit = misfit / seat.pairs.len() as f64;
        Some(next)
    }
}

struct Echo {
    /// `1/(1 - R B z)`.
    series: Spectrum,
    /// `T g^2 R z`: what a unit of front adds to the transmission.
    derivative: Spectrum,
    round_trip_s: f64,
}

/// From this lag on the taps may hold an echo, s.
fn clear_s(seat: &SeatTransmission) -> f64 {
    seat.timing.round_trip_s.map_or(seat.timing.end_s, |t| (t - CLEAR_S).max(SHORTEST_S))
}

/// Taps before `until_s`, faded out over the end.
fn clear_taps(taps: &[f64], first_lag: i64, until_s: f64, rate_hz: f64) -> Vec<f64> {
    let n = ((until_s * rate_hz) as i64 + 1 - first_lag).clamp(1, taps.len() as i64) as usize;
    let mut clear = taps[..n].to_vec();
    let fade = ((0.00006 * rate_hz) as usize).max(2);
    clear.iter_mut().rev().zip(crate::transfer::window::rise(fade)).for_each(|(t, w)| *t *= w);
    clear
}

/// A response with more weight at low frequencies, see [`FALL_FROM_HZ`].
fn emphasised(x: &[f64], rate_hz: f64) -> Vec<f64> {
    let keep = (-2.0 * PI * FALL_FROM_HZ / rate_hz).exp();
    let mut level = 0.0;
    x.iter()
        .map(|x| {
            level = keep * level + (1.0 - keep) * x;
            x + FALL_MOST * level
        })
        .collect()
}

/// A response through each slow part of unit gain at 0 Hz.
fn slow_parts(source: &[f64], rate_hz: f64) -> Vec<Vec<f64>> {
    SLOW_S
        .iter()
        .map(|time_s| {
            let keep = (-1.0 / (time_s * rate_hz)).exp();
            let mut level = 0.0;
            source
                .iter()
                .map(|x| {
                    level = keep * level + (1.0 - keep) * x;
                    level
                })
                .collect()
        })
        .collect()
}

/// Adds slow parts of these gains to a transmission.
fn add_slow(spectrum: &mut [Complex<f64>], gains: &[f64], df_hz: f64) {
    for (k, x) in spectrum.iter_mut().enumerate() {
        let omega = 2.0 * PI * k as f64 * df_hz;
        for (gain, time_s) in gains.iter().zip(SLOW_S) {
            *x += Complex::new(1.0, omega * time_s).inv() * *gain;
        }
    }
}

fn mean_of(rows: &[Vec<f64>]) -> Vec<f64> {
    let mut mean = vec![0.0; rows.first().map_or(0, Vec::len)];
    for row in rows {
        mean.iter_mut().zip(row).for_each(|(m, x)| *m += x / rows.len() as f64);
    }
    mean
}

/// No sheet and front return more than this part of the power at a round trip.
const MOST_PER_TRIP: f64 = 0.75;

/// Keeps a ratio inside the circle in which the echoes die away.
fn limited(ratio: Complex<f64>) -> Complex<f64> {
    let most = MOST_PER_TRIP.sqrt();
    let size = ratio.norm();
    if size > most { ratio * (most / size) } else { ratio }
}

impl SeatFit {
    /// Whole transmission of some pairs, on the grid of `plan`; the echoes are those of all
    /// pairs.
    pub fn transmission(
        &self,
        plan: &SeatPlan,
        front: Option<&Front>,
        pairs: &[usize],
    ) -> Spectrum {
        let of = |rows: &[Vec<f64>]| -> Vec<f64> {
            mean_of(&pairs.iter().map(|&i| rows[i].clone()).collect::<Vec<_>>())
        };
        let df_hz = plan.rate_hz() / plan.fft.n_points() as f64;
        let mut own = plan.fft.forward_at(self.first_lag, &of(&self.taps));
        add_slow(&mut own, &of(&self.slow), df_hz);
        match self.ratio(plan, front) {
            None => own,
            Some(ratio) => {
                let one = Complex::new(1.0, 0.0);
                own.iter().zip(ratio).map(|(t, r)| t / (one - r)).collect()
            }
        }
    }

    /// What each echo is of the one before it; `None` without a front.
    pub fn ratio(&self, plan: &SeatPlan, front: Option<&Front>) -> Option<Spectrum> {
        let df_hz = plan.rate_hz() / plan.fft.n_points() as f64;
        self.ratio_on(&plan.fft, df_hz, front)
    }

    fn ratio_on(&self, fft: &RealFft, df_hz: f64, front: Option<&Front>) -> Option<Spectrum> {
        let (front, round_trip_s) = (front?, self.round_trip_s?);
        let returned = self.reflector.reflection(fft, df_hz);
        Some(
            returned
                .iter()
                .enumerate()
                .map(|(k, r)| {
                    let hz = k as f64 * df_hz;
                    let lag = Complex::from_polar(1.0, -2.0 * PI * hz * round_trip_s);
                    limited(r * front.at(hz) * lag)
                })
                .collect(),
        )
    }

    /// Taps of the sheet, mean over pairs.
    pub fn mean_taps(&self) -> Vec<f64> {
        mean_of(&self.taps)
    }
}
