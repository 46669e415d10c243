//! What sends the echoes back: the sheet as seen from the loudspeaker.

use super::slow::add_slow;
use super::spectrum::{Spectrum, mean_of};
use super::thin;
use crate::transfer::fft::RealFft;
use crate::transfer::seat::SeatTransmission;
use realfft::num_complex::Complex;

/// The first step ends this long before the first echo, s ...
const CLEAR_S: f64 = 0.00008;
/// ... but not before this, s.
const SHORTEST_S: f64 = 0.00025;

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
    /// Of a seat whose taps (one row a pair, from `first_lag` samples on) and slow parts are
    /// known, with their delay after a minimum-phase sheet, s.
    pub fn new(
        seat: &SeatTransmission,
        rate_hz: f64,
        first_lag: i64,
        taps: &[Vec<f64>],
        slow: &[Vec<f64>],
        delay_s: f64,
    ) -> Self {
        Self {
            first_lag,
            taps: clear_taps(&mean_of(taps), first_lag, clear_s(seat), rate_hz),
            slow: mean_of(slow),
            delay_s,
        }
    }

    /// The middle of several with the same first lag, figure by figure: means of what lies inside
    /// the quartiles, so that one seat in four may be wild. What one has no tap for counts as 0.
    /// `None` of none.
    pub fn middle(all: &[Self]) -> Option<Self> {
        let n_taps = all.iter().map(|r| r.taps.len()).max()?;
        let tap = |i: usize| middle(all.iter().map(|r| r.taps.get(i).copied().unwrap_or(0.0)));
        Some(Self {
            first_lag: all[0].first_lag,
            taps: (0..n_taps).map(tap).collect(),
            slow: (0..all[0].slow.len()).map(|i| middle(all.iter().map(|r| r.slow[i]))).collect(),
            delay_s: middle(all.iter().map(|r| r.delay_s)),
        })
    }

    /// One that reflects everything, for seats without values.
    pub fn none() -> Self {
        Self { first_lag: 0, taps: Vec::new(), slow: Vec::new(), delay_s: 0.0 }
    }

    /// Transmission without what may be echo, on the grid of `fft`.
    pub fn through(&self, fft: &RealFft, df_hz: f64) -> Spectrum {
        let mut through = fft.forward_at(self.first_lag, &self.taps);
        add_slow(&mut through, &self.slow, df_hz);
        through
    }

    /// Pressure reflection on the grid of `fft`.
    pub fn reflection(&self, fft: &RealFft, df_hz: f64) -> Spectrum {
        thin::reflection(df_hz, &self.through(fft, df_hz), self.delay_s)
    }
}

/// Mean without the lowest and the highest quarter.
fn middle(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let off = values.len() / 4;
    let inside = &values[off..values.len() - off];
    inside.iter().sum::<f64>() / inside.len() as f64
}

/// From this lag on the taps may hold an echo, s.
pub fn clear_s(seat: &SeatTransmission) -> f64 {
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

/// No sheet and front return more than this part of the power at a round trip.
const MOST_PER_TRIP: f64 = 0.75;

/// Keeps a ratio inside the circle in which the echoes die away.
pub fn limited(ratio: Complex<f64>) -> Complex<f64> {
    let power = ratio.norm_sqr();
    if power > MOST_PER_TRIP { ratio * (MOST_PER_TRIP / power).sqrt() } else { ratio }
}
