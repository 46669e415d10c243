//! Harmonic distortion from the same takes: an exponential sweep throws each harmonic to a
//! place of its own, `L ln m` before the linear response.
//!
//! For the synchronised sweep `sin(m phi(t)) = x(t + L ln m)`: after division by the sweep's
//! spectrum the m-th harmonic is an impulse response of its own, whose spectrum at `m f`
//! over that of the linear response at `f` is the level of the harmonic for a tone `f`.
//! (Novak, Lotton, Simon, J. Audio Eng. Soc. 63(10), 786-798, 2015.)

use super::powers::PowerPlan;
use super::window::windowed;
use serde::Serialize;

pub const HIGHEST_ORDER: usize = 5;
/// Window before and after the place of each harmonic, s.
const BEFORE_S: f64 = 0.004;
const AFTER_S: f64 = 0.060;
/// Points an octave of the result.
const PER_OCTAVE: f64 = 6.0;
/// Range of the fundamentals, Hz.
const RANGE_HZ: [f64; 2] = [50.0, 10_000.0];
/// A harmonic must stand this far above the noise in its window, dB.
const ABOVE_NOISE_DB: f64 = 6.0;
/// Noise is read from this long after the direct sound, s ...
const NOISE_FROM_S: f64 = 0.5;
/// ... to before the place of this order, in so many windows.
const NOISE_TO_ORDER: f64 = 12.0;
const NOISE_WINDOWS: usize = 4;
/// Tweeter range for the comparison of `corrected` with `with`, Hz.
const TWEETER_HZ: f64 = 1500.0;
/// A rise of distortion that counts, dB, at so many neighbouring points ...
const RISE_DB: f64 = 3.0;
const RISE_POINTS: usize = 3;
/// ... where distortion then exceeds this, dB (1 %).
const AUDIBLE_DB: f64 = -40.0;

/// One harmonic against the frequency of the fundamental.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Harmonic {
    /// Order: 2 to 5.
    pub order: usize,
    /// Level relative to the fundamental, dB; absent where noise covers it or the harmonic
    /// lies beyond the sweep.
    pub level_db: Vec<Option<f64>>,
    /// Level that the noise alone would have, dB relative to the fundamental: weaker
    /// harmonics stay hidden.
    pub floor_db: Vec<Option<f64>>,
}

/// Harmonics of one take, or of all takes of a condition.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Distortion {
    /// Fundamentals, Hz, six an octave.
    pub fundamental_hz: Vec<f64>,
    /// Orders 2 to 5.
    pub harmonics: Vec<Harmonic>,
}

/// Windows and transforms for one sweep and rate, shared by all takes.
pub struct DistortionPlan {
    fft: PowerPlan,
    window: Vec<f32>,
    before: usize,
    rate_hz: f64,
    rate_constant_s: f64,
    fundamental_hz: Vec<f64>,
    /// Highest frequency at which a harmonic can be read, Hz.
    highest_hz: f64,
}

impl DistortionPlan {
    /// Plans for exponential sweeps with `L = rate_constant_s` over `band_hz`.
    ///
    /// `None` where the harmonics would lie too close together: their places must be apart
    /// by the window's length, which sweeps of less than about 2.5 s do not give.
    pub fn new(rate_hz: u32, rate_constant_s: f64, band_hz: [f64; 2]) -> Option<Self> {
        let rate = f64::from(rate_hz);
        let apart_s = rate_constant_s * (HIGHEST_ORDER as f64 / (HIGHEST_ORDER as f64 - 1.0)).ln();
        if apart_s.is_nan() || apart_s < BEFORE_S + AFTER_S {
            return None;
        }
        let before = (BEFORE_S * rate).round() as usize;
        let after = (AFTER_S * rate).round() as usize;
        let ramp = |x: f64| (0.5 * std::f64::consts::PI * x).sin().powi(2);
        let window: Vec<f32> = (0..before)
            .map(|i| ramp((i as f64 + 0.5) / before as f64))
            .chain((0..after).map(|i| {
                // Flat for the first half, then a slope.
                let x = (i as f64 + 0.5) / after as f64;
                ramp(2.0 * (1.0 - x).min(0.5))
            }))
            .map(|w| w as f32)
            .collect();
        let n_fft = window.len().next_power_of_two();
        let fft = PowerPlan::new(n_fft);
        let half = (0.5 / PER_OCTAVE).exp2();
        let low = RANGE_HZ[0].max(band_hz[0] * 1.2);
        let high = RANGE_HZ[1].min(band_hz[1] / 2.0);
        let n = (PER_OCTAVE * (high / low).log2()).floor().max(0.0) as usize;
        let fundamental_hz: Vec<f64> =
            (0..n).map(|i| low * half * (i as f64 / PER_OCTAVE).exp2()).collect();
        let highest_hz = (band_hz[1] / 1.03).min(0.44 * rate);
        Some(Self {
            fft,
            window,
            before,
            rate_hz: rate,
            rate_constant_s,
            fundamental_hz,
            highest_hz,
        })
    }

    /// Harmonics of one take.
    ///
    /// # Shapes
    /// `response` is the whole circular impulse response, sweep and recording divided; the
    /// direct sound at index `onset`, harmonics before it, wrapped round to the end.
    /// # Units and sign
    /// dB relative to the fundamental: -40 dB is 1 %.
    /// # Valid range
    /// Only points whose harmonic lies inside the sweep's band; others are `None`.
    pub fn measure(&self, response: &[f64], onset: usize) -> Distortion {
        let n = self.fundamental_hz.len();
        let empty = |order| Harmonic { order, level_db: vec![None; n], floor_db: vec![None; n] };
        let mut distortion = Distortion {
            fundamental_hz: self.fundamental_hz.clone(),
            harmonics: (2..=HIGHEST_ORDER).map(empty).collect(),
        };
        let reach_s = self.rate_constant_s * NOISE_TO_ORDER.ln();
        let noise_s = response.len() as f64 / self.rate_hz - reach_s - NOISE_FROM_S;
        if noise_s < 2.0 * (BEFORE_S + AFTER_S) {
            return distortion;
        }
        let onset = onset as f64;
        // The linear response, then each order, then noise.
        let of_order = |m: usize| -self.rate_constant_s * (m as f64).ln();
        let of_noise = |i: usize| NOISE_FROM_S + noise_s * (i as f64 + 0.5) / NOISE_WINDOWS as f64;
        let places_s = (1..=HIGHEST_ORDER).map(of_order).chain((0..NOISE_WINDOWS).map(of_noise));
        let windows: Vec<Vec<f32>> =
            places_s.map(|s| self.window_at(response, onset + s * self.rate_hz)).collect();
        let powers = self.fft.of(&windows);
        let (signals, noises) = powers.split_at(HIGHEST_ORDER);
        let linear = &signals[0];
        let mut noise = vec![0.0; linear.len()];
        for power in noises {
            noise.iter_mut().zip(power).for_each(|(sum, x)| *sum += x / NOISE_WINDOWS as f32);
        }
        for harmonic in &mut distortion.harmonics {
            let order = harmonic.order as f64;
            let power = &signals[harmonic.order - 1];
            for (i, hz) in self.fundamental_hz.iter().enumerate() {
                let half = (0.5 / PER_OCTAVE).exp2();
                if order * hz * half > self.highest_hz {
                    continue;
                }
                let fundamental = self.mean(linear, *hz);
                let (product, floor) =
                    (self.mean(power, order * hz), self.mean(&noise, order * hz));
                let decibel = |x: f64| 10.0 * (x / fundamental).log10();
                let known = fundamental > 0.0 && floor > 0.0;
                harmonic.floor_db[i] = known.then(|| decibel(floor)).filter(|x| x.is_finite());
                let stands = product > floor * 10f64.powf(ABOVE_NOISE_DB / 10.0);
                // The noise in the window is taken off.
                harmonic.level_db[i] =
                    (known && stands).then(|| decibel(product - floor)).filter(|x| x.is_finite());
            }
        }
        distortion
    }

    /// The window whose direct sound is at `place` (circular).
    fn window_at(&self, response: &[f64], place: f64) -> Vec<f32> {
        windowed(response, place.round() as i64 - self.before as i64, &self.window)
    }

    /// Mean power over a sixth of an octave around `hz`, at least one bin.
    fn mean(&self, power: &[f32], hz: f64) -> f64 {
        let bin_hz = self.rate_hz / (2.0 * (power.len() as f64 - 1.0));
        let half = (0.5 / PER_OCTAVE).exp2();
        let first = ((hz / half) / bin_hz).round() as usize;
        let last = (((hz * half) / bin_hz).round() as usize).clamp(first, power.len() - 1);
        let inside = &power[first.min(last)..=last];
        inside.iter().map(|x| f64::from(*x)).sum::<f64>() / inside.len() as f64
    }
}

/// Mean power of several takes; a point is present where at least half of the takes have it.
///
/// `None` without takes, or with takes of different plans.
pub fn combine(takes: &[&Distortion]) -> Option<Distortion> {
    let first = takes.first()?;
    if takes.iter().any(|take| take.fundamental_hz != first.fundamental_hz) {
        return None;
    }
    let mean = |of: &dyn Fn(&Distortion) -> Option<f64>| {
        let values: Vec<f64> = takes.iter().filter_map(|take| of(take)).collect();
        let power = values.iter().map(|db| 10f64.powf(db / 10.0)).sum::<f64>();
        (2 * values.len() >= takes.len() && !values.is_empty())
            .then(|| 10.0 * (power / values.len() as f64).log10())
    };
    let points = 0..first.fundamental_hz.len();
    let harmonics = first
        .harmonics
        .iter()
        .enumerate()
        .map(|(m, harmonic)| Harmonic {
            order: harmonic.order,
            level_db: points.clone().map(|i| mean(&|t| t.harmonics[m].level_db[i])).collect(),
            floor_db: points.clone().map(|i| mean(&|t| t.harmonics[m].floor_db[i])).collect(),
        })
        .collect();
    Some(Distortion { fundamental_hz: first.fundamental_hz.clone(), harmonics })
}

/// A harmonic that rises with the equaliser active.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriveRise {
    /// Order of the harmonic.
    pub order: usize,
    /// Fundamental where it rises most, Hz.
    pub fundamental_hz: f64,
    pub rise_db: f64,
    /// Level that it reaches, dB relative to the fundamental.
    pub level_db: f64,
}

/// Where the equaliser drives the high-frequency driver into more distortion; the largest rise.
pub fn rise_of_drive(with: &Distortion, corrected: &Distortion) -> Option<DriveRise> {
    let mut worst: Option<DriveRise> = None;
    for (a, b) in with.harmonics.iter().zip(&corrected.harmonics).filter(|(a, _)| a.order <= 3) {
        let mut run = 0;
        for (i, hz) in with.fundamental_hz.iter().enumerate() {
            // Where noise hides the distortion without the equaliser, its floor is the most
            // that it can have been.
            let before = a.level_db[i].or(a.floor_db[i]);
            let rise = before.zip(b.level_db[i]).map(|(before, after)| (after - before, after));
            let counts = rise.is_some_and(|(rise, after)| {
                *hz >= TWEETER_HZ && rise > RISE_DB && after > AUDIBLE_DB
            });
            run = if counts { run + 1 } else { 0 };
            if let (Some((rise, after)), true) = (rise, run >= RISE_POINTS)
                && worst.is_none_or(|w| rise > w.rise_db)
            {
                worst = Some(DriveRise {
                    order: a.order,
                    fundamental_hz: *hz,
                    rise_db: rise,
                    level_db: after,
                });
            }
        }
    }
    worst
}

#[cfg(test)]
mod tests;
