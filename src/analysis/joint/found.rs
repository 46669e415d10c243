//! What the fit gives: the sheet at each seat and the front behind it.

use super::front::Front;
use super::reflector::{Reflector, limited};
use super::slow::{SLOW_S, add_slow};
use super::spectrum::{Spectrum, echo_series, mean_of};
use crate::transfer::fft::{RealFft, turns};
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use realfft::num_complex::Complex;
use std::f64::consts::PI;

/// Sheet and front of a session.
pub struct Joint {
    /// Front, where a gap places its echoes.
    pub front: Option<Front>,
    /// Seats, in the order of the transmissions.
    pub seats: Vec<SeatFit>,
    /// The same under other assumptions: how far the loss moves tells how far it hangs on them.
    pub others: Vec<(Assumption, Joint)>,
}

/// What another fit assumes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Assumption {
    /// The room's late sound may differ in any way between the conditions.
    FreeRoom,
    /// Rows that hold reflections count more.
    RoomCountsMore,
    /// The rows end earlier (fits without a front).
    FewerRows,
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
}

impl Joint {
    /// All taps NaN.
    pub(super) fn nothing(seats: &[SeatTransmission]) -> Self {
        let nothing = |seat: &SeatTransmission| SeatFit {
            first_lag: 0,
            taps: vec![vec![f64::NAN]; seat.pairs.len()],
            slow: vec![vec![0.0; SLOW_S.len()]; seat.pairs.len()],
            reflector: Reflector::none(),
            round_trip_s: None,
        };
        Self { front: None, seats: seats.iter().map(nothing).collect(), others: Vec::new() }
    }
}

/// Where the sheet's reflection is asked for, Hz: above, errors of the fit grow.
const REFLECTED_HZ: [f64; 2] = [1000.0, 8000.0];

impl Joint {
    /// Pressure that the sheet throws back over what comes to it, rms from 1 to 8 kHz, by what all
    /// seats show together; 0 = nothing hangs there.
    pub fn reflected(&self, plan: &SeatPlan) -> f64 {
        let reflectors: Vec<Reflector> = self.seats.iter().map(|s| s.reflector.clone()).collect();
        let Some(middle) = Reflector::middle(&reflectors) else { return 0.0 };
        let reflection = middle.reflection(&plan.fft, plan.step_hz());
        let [from, to] = REFLECTED_HZ.map(|hz| (hz / plan.step_hz()) as usize);
        let power = reflection[from..=to].iter().map(Complex::norm_sqr).sum::<f64>();
        (power / (to - from + 1) as f64).sqrt()
    }
}

impl SeatFit {
    /// Whole transmission of some pairs, on the grid of `plan`, with the echoes of a
    /// [`SeatFit::ratio`] on that grid.
    pub fn transmission(
        &self,
        plan: &SeatPlan,
        ratio: Option<&Spectrum>,
        pairs: &[usize],
    ) -> Spectrum {
        let of = |rows: &[Vec<f64>]| -> Vec<f64> {
            mean_of(&pairs.iter().map(|&i| rows[i].clone()).collect::<Vec<_>>())
        };
        let mut own = plan.fft.forward_at(self.first_lag, &of(&self.taps));
        add_slow(&mut own, &of(&self.slow), plan.step_hz());
        if let Some(ratio) = ratio {
            own.iter_mut().zip(echo_series(ratio)).for_each(|(t, g)| *t *= g);
        }
        own
    }

    /// What each echo is of the one before it, on the grid of `fft`; `None` without a front.
    pub fn ratio(&self, fft: &RealFft, df_hz: f64, front: Option<&Front>) -> Option<Spectrum> {
        let (front, round_trip_s) = (front?, self.round_trip_s?);
        let returned = self.reflector.reflection(fft, df_hz);
        let lags = turns(-2.0 * PI * df_hz * round_trip_s);
        let ratio = returned.iter().zip(lags).enumerate();
        Some(ratio.map(|(k, (r, lag))| limited(r * front.at(k as f64 * df_hz) * lag)).collect())
    }
}
