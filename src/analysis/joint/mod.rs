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
//! first echoes arrive. The room's first reflections pass the sheet at other angles and meet a
//! moved microphone: each pair may move and filter them in its own way (`late`), and samples
//! after them count less, as far as that does not explain them. `T` is left free wherever the direct sound tells
//! of it, so that no model of the cloth or of its holes comes in.

mod alone;
mod echoes;
mod emphasis;
mod equations;
mod fitter;
pub(crate) mod front;
mod late;
mod pair;
pub(crate) mod reflector;
mod slow;
mod state;
mod steps;
mod stretch;
#[cfg(test)]
mod tests;
mod thin;

use crate::transfer::fft::{RealFft, turns};
use crate::transfer::seat::{SeatPlan, SeatTransmission};
use fitter::Fitter;
use front::Front;
use rayon::prelude::*;
use realfft::num_complex::Complex;
use reflector::{Reflector, limited};
use slow::{SLOW_S, add_slow};
use state::Seat;
use std::f64::consts::PI;

/// One-sided spectrum.
pub type Spectrum = Vec<Complex<f64>>;

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
    let fits = |fewer_rows: bool| -> Option<Joint> {
        let one = |seat: &Seat| fitter.plain(seat, alike(seat), known, fewer_rows);
        let seats = fitter.seats.par_iter().map(one).collect::<Option<_>>()?;
        Some(Joint { front: known.front.clone(), seats, others: Vec::new() })
    };
    let Some(joint) = fits(false) else { return Joint::nothing(seats) };
    let others = fits(true).map(|other| (Assumption::FewerRows, other)).into_iter().collect();
    Joint { others, ..joint }
}

impl Joint {
    /// All taps NaN.
    fn nothing(seats: &[SeatTransmission]) -> Self {
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

/// `1/(1 - ratio)`: a sound and all its echoes.
fn echo_series(ratio: &[Complex<f64>]) -> impl Iterator<Item = Complex<f64>> {
    let one = Complex::new(1.0, 0.0);
    ratio.iter().map(move |r| one / (one - r))
}

fn mean_of(rows: &[Vec<f64>]) -> Vec<f64> {
    let mut mean = vec![0.0; rows.first().map_or(0, Vec::len)];
    for row in rows {
        mean.iter_mut().zip(row).for_each(|(m, x)| *m += x / rows.len() as f64);
    }
    mean
}
