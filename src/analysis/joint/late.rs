//! What comes after the direct sound: reflections of the room, which pass the sheet at other
//! angles and meet a moved microphone.
//!
//! Between two takes a reflection comes a little earlier or later against the direct sound, and
//! each by its own way: a seat back's by twice the microphone's move along the axis, the
//! floor's by its move up and down. So the late sound is cut into stretches; each pair moves
//! each stretch by a time of its own, and what else is different goes into a short filter
//! around that.

use super::fitter::{Fitter, ROW_ERROR};
use super::spectrum::{Spectrum, mean_of};
use super::state::{Pair, State};
use super::stretch::{N_STRETCHES, Stretch};
use crate::transfer::early::convolve;
use crate::transfer::fft::turns;
use realfft::num_complex::Complex;
use std::f64::consts::TAU;

/// Taps of the filter by which a stretch differs from what the sheet makes of it at the angle of
/// the direct sound, after it was moved.
pub const N_APART: usize = 9;
/// Standard deviation expected of each of them before anything is known ...
const APART_SD: f64 = 0.7;
/// ... and afterwards, in units of their rms over all seats ...
const APART_OF_RMS: f64 = 1.5;
/// ... but not below this.
const APART_LEAST_SD: f64 = 0.03;

/// Moves are told in this part of a sample ...
const MOVE_STEP: f64 = 0.25;
/// ... from frequencies in this range, Hz, ...
const MOVE_RANGE_HZ: [f64; 2] = [1000.0, 16_000.0];
/// ... a part of their bins, one every so many Hz.
const MOVE_EVERY_HZ: f64 = 200.0;

/// What is expected of the filters before anything is known of them.
pub fn apart_sd_at_first() -> [f64; N_STRETCHES] {
    [APART_SD; N_STRETCHES]
}

/// What is expected of them, stretch by stretch, after what all pairs of all seats show.
pub fn apart_sd(states: &[State]) -> [f64; N_STRETCHES] {
    std::array::from_fn(|part| {
        let of = part * N_APART..(part + 1) * N_APART;
        let taps = || states.iter().flat_map(|s| &s.apart).flat_map(|a| &a[of.clone()]);
        let rms = (taps().map(|a| a * a).sum::<f64>() / taps().count().max(1) as f64).sqrt();
        (APART_OF_RMS * rms).clamp(APART_LEAST_SD, APART_SD)
    })
}

impl Fitter<'_> {
    /// Late sound of a pair as the sheet of the last step passes it: every stretch, moved as
    /// far as is known, in all lags of its filter.
    pub(super) fn late(&self, pair: &Pair, state: &State, moved: &[f64]) -> Vec<Vec<f64>> {
        let taps = mean_of(&state.taps);
        let mut all = Vec::with_capacity(N_STRETCHES * N_APART);
        for (late, &moved) in pair.late.iter().zip(moved) {
            let through = |sound: &[f64]| convolve(sound, self.first_lag(), &taps);
            let passed = if moved == 0.0 {
                through(&late.sound)
            } else {
                let turns = self.later(moved);
                let spectrum = late.spectrum.iter().zip(turns).map(|(l, turn)| l * turn);
                let later = self.fft.inverse(spectrum.collect());
                through(&later[..late.sound.len()])
            };
            all.extend(self.lagged(&passed));
        }
        all
    }

    /// A sound in all lags of the filter.
    fn lagged(&self, x: &[f64]) -> impl Iterator<Item = Vec<f64>> {
        let (half, step) = (N_APART as i64 / 2, self.apart_step());
        (-half..=half).map(move |lag| {
            let by = (lag * step).unsigned_abs() as usize;
            let kept = x.len().saturating_sub(by);
            let mut moved = vec![0.0; x.len()];
            if lag < 0 {
                moved[..kept].copy_from_slice(&x[x.len() - kept..]);
            } else {
                moved[x.len() - kept..].copy_from_slice(&x[..kept]);
            }
            moved
        })
    }

    /// Samples between taps of the filter.
    fn apart_step(&self) -> i64 {
        (self.rate_hz / 48_000.0).round().max(1.0) as i64
    }

    /// Ridge of the filters' taps.
    pub(super) fn apart_ridge(&self, energy: f64, sd: &[f64]) -> Vec<f64> {
        sd.iter().flat_map(|sd| [ROW_ERROR * energy / sd.powi(2); N_APART]).collect()
    }

    /// Response of a pair without the screen, with each stretch of its late sound moved.
    pub(super) fn moved_source(&self, pair: &Pair, moved: &[f64]) -> Spectrum {
        let mut source = pair.source.clone();
        for (late, &moved) in pair.late.iter().zip(moved).filter(|(_, moved)| **moved != 0.0) {
            let late = source.iter_mut().zip(&late.spectrum);
            for ((all, late), turn) in late.zip(self.later(moved)) {
                *all += late * (turn - 1.0);
            }
        }
        source
    }

    /// Moves of a pair's stretches, with what their filters tell on top.
    pub(super) fn moves(&self, pair: &Pair, moved: &[f64], apart: &[f64]) -> Vec<f64> {
        let filters = apart.chunks(N_APART).zip(&pair.late);
        let on_top = filters.map(|(apart, late)| self.delay_of(late, apart));
        moved.iter().zip(on_top).map(|(moved, delay)| moved + delay).collect()
    }

    /// A stretch, ready for the steps, of which `n` samples can tell.
    pub(super) fn stretch(&self, mut sound: Vec<f64>, n: usize) -> Stretch {
        let spectrum = self.fft.forward(&sound);
        sound.truncate(n);
        let mut resemblance = vec![0.0; 2 * self.moves_each_way() + 1];
        let every = (MOVE_EVERY_HZ / self.df_hz()).ceil().max(1.0) as usize;
        for (k, x) in spectrum.iter().enumerate().step_by(every) {
            let hz = k as f64 * self.df_hz();
            if (MOVE_RANGE_HZ[0]..MOVE_RANGE_HZ[1]).contains(&hz) {
                let power = x.norm_sqr();
                let lags = turns(TAU * hz / self.rate_hz * MOVE_STEP);
                resemblance.iter_mut().zip(lags).for_each(|(r, lag)| *r += power * lag.re);
            }
        }
        Stretch { spectrum, sound, resemblance }
    }

    /// By how many samples a sound is delayed that is itself plus its filtered self: where the
    /// delayed sound resembles that most.
    fn delay_of(&self, late: &Stretch, apart: &[f64]) -> f64 {
        let most = self.moves_each_way() as i64;
        let a_tap = most / (N_APART as i64 / 2);
        let alike = |moves: i64| late.resemblance[moves.unsigned_abs() as usize];
        let heard = |moves: i64| -> f64 {
            let taps = (-most..).step_by(a_tap as usize).zip(apart);
            alike(moves) + taps.map(|(lag, a)| a * alike(moves - lag)).sum::<f64>()
        };
        (-most..=most)
            .map(|moves| (moves, heard(moves)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0.0, |(moves, _)| moves as f64 * MOVE_STEP)
    }

    /// Steps of a move that the filter can tell of to each side.
    fn moves_each_way(&self) -> usize {
        (self.apart_reach() as f64 / MOVE_STEP) as usize
    }

    /// Samples by which the filter reaches to each side.
    pub(super) fn apart_reach(&self) -> usize {
        N_APART / 2 * self.apart_step() as usize
    }

    /// A delay by some samples, bin by bin.
    fn later(&self, samples: f64) -> impl Iterator<Item = Complex<f64>> {
        turns(-TAU / self.fft.n_points() as f64 * samples)
    }
}
