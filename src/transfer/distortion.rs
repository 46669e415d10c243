//! Harmonic distortion from the same takes: an exponential sweep throws each harmonic to a
//! place of its own, `L ln m` before the linear response.
//!
//! For the synchronised sweep `sin(m phi(t)) = x(t + L ln m)`: after division by the sweep's
//! spectrum the m-th harmonic is an impulse response of its own, whose spectrum at `m f`
//! over that of the linear response at `f` is the level of the harmonic for a tone `f`.
//! (Novak, Lotton, Simon, J. Audio Eng. Soc. 63(10), 786-798, 2015.)

use crate::warning::{Topic, Warning};
use realfft::{RealFftPlanner, RealToComplex};
use serde::Serialize;
use std::sync::Arc;

/// Highest order.
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
    fft: Arc<dyn RealToComplex<f64>>,
    window: Vec<f64>,
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
        let window: Vec<f64> = (0..before)
            .map(|i| ramp((i as f64 + 0.5) / before as f64))
            .chain((0..after).map(|i| {
                // Flat for the first half, then a slope.
                let x = (i as f64 + 0.5) / after as f64;
                ramp(2.0 * (1.0 - x).min(0.5))
            }))
            .collect();
        let n_fft = window.len().next_power_of_two();
        let fft = RealFftPlanner::new().plan_fft_forward(n_fft);
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
        let linear = self.power(response, onset);
        let mut noise = vec![0.0; linear.len()];
        for i in 0..NOISE_WINDOWS {
            let at_s = NOISE_FROM_S + noise_s * (i as f64 + 0.5) / NOISE_WINDOWS as f64;
            let power = self.power(response, onset + at_s * self.rate_hz);
            noise.iter_mut().zip(power).for_each(|(sum, x)| *sum += x / NOISE_WINDOWS as f64);
        }
        for harmonic in &mut distortion.harmonics {
            let order = harmonic.order as f64;
            let place = onset - self.rate_constant_s * order.ln() * self.rate_hz;
            let power = self.power(response, place);
            for (i, hz) in self.fundamental_hz.iter().enumerate() {
                let half = (0.5 / PER_OCTAVE).exp2();
                if order * hz * half > self.highest_hz {
                    continue;
                }
                let fundamental = self.mean(&linear, *hz);
                let (product, floor) =
                    (self.mean(&power, order * hz), self.mean(&noise, order * hz));
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

    /// Power spectrum of the window whose direct sound is at `place` (circular).
    fn power(&self, response: &[f64], place: f64) -> Vec<f64> {
        let first = place.round() as i64 - self.before as i64;
        let mut input = self.fft.make_input_vec();
        for (i, (x, w)) in input.iter_mut().zip(&self.window).enumerate() {
            let index = (first + i as i64).rem_euclid(response.len() as i64);
            *x = w * response[index as usize];
        }
        let mut output = self.fft.make_output_vec();
        // Cannot fail: both buffers were made by the plan itself.
        let _ = self.fft.process(&mut input, &mut output);
        output.iter().map(|x| x.norm_sqr()).collect()
    }

    /// Mean power over a sixth of an octave around `hz`, at least one bin.
    fn mean(&self, power: &[f64], hz: f64) -> f64 {
        let bin_hz = self.rate_hz / (2.0 * (power.len() as f64 - 1.0));
        let half = (0.5 / PER_OCTAVE).exp2();
        let first = ((hz / half) / bin_hz).round() as usize;
        let last = (((hz * half) / bin_hz).round() as usize).clamp(first, power.len() - 1);
        let inside = &power[first.min(last)..=last];
        inside.iter().sum::<f64>() / inside.len() as f64
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

/// Warns where the equaliser drives the high-frequency driver into more distortion.
pub fn warn_of_drive(with: &Distortion, corrected: &Distortion) -> Option<Warning> {
    let mut worst: Option<(usize, f64, f64, f64)> = None;
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
                && worst.is_none_or(|w| rise > w.2)
            {
                worst = Some((a.order, *hz, rise, after));
            }
        }
    }
    let (order, hz, rise, after) = worst?;
    Some(Warning {
        topic: Topic::Distortion,
        seat: None,
        take: None,
        message: format!(
            "With the equaliser active the harmonic of order {order} rises by {rise:.0} dB to \
             {:.1} % near {:.1} kHz: the high-frequency driver is driven harder than it likes.",
            100.0 * 10f64.powf(after / 20.0),
            hz / 1000.0
        ),
        advice: "Lower the playback level or take back the boost there; check the driver's power \
                 limit before the system is used loud."
            .into(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::transfer::quality::scene::Scene;
    use realfft::RealFftPlanner;

    /// Division of spectra in the plain textbook form, apart from the program's own.
    fn divided(recording: &[f64], sweep: &[f64], scene: &Scene) -> Vec<f64> {
        let n = (recording.len() + recording.len() % 2).next_multiple_of(2);
        let mut planner = RealFftPlanner::<f64>::new();
        let (forward, inverse) = (planner.plan_fft_forward(n), planner.plan_fft_inverse(n));
        let spectrum = |x: &[f64]| {
            let mut input = x.to_vec();
            input.resize(n, 0.0);
            let mut output = forward.make_output_vec();
            forward.process(&mut input, &mut output).expect("lengths of the plan");
            output
        };
        let (mut y, s) = (spectrum(recording), spectrum(sweep));
        let peak = s.iter().map(|x| x.norm_sqr()).fold(0.0, f64::max);
        for (k, (y, s)) in y.iter_mut().zip(&s).enumerate() {
            let hz = k as f64 * f64::from(scene.rate_hz) / n as f64;
            let inside = hz > scene.low_hz * 1.03 && hz < scene.high_hz / 1.03;
            let guard = if inside { 1e-8 } else { 1e-2 };
            *y *= s.conj() / (s.norm_sqr() + guard * peak);
        }
        y[0].im = 0.0;
        if let Some(last) = y.last_mut() {
            last.im = 0.0;
        }
        let mut response = inverse.make_output_vec();
        inverse.process(&mut y, &mut response).expect("real ends");
        response.iter_mut().for_each(|x| *x /= n as f64);
        response
    }

    fn plan(scene: &Scene) -> DistortionPlan {
        let band = [scene.low_hz, scene.high_hz];
        DistortionPlan::new(scene.rate_hz, scene.rate_constant_s(), band).expect("long enough")
    }

    fn scene() -> Scene {
        Scene { duration_s: 4.0, decay_s: 0.02, noise: 0.0, ..Scene::default() }
    }

    /// A take through `x + a2 x^2 + a3 x^3` at amplitude `a`; no harmonic folds
    /// back, as none does in a converter.
    fn bent(scene: &Scene, a: f64, a2: f64, a3: f64, noise: f64) -> Vec<f64> {
        let rate = f64::from(scene.rate_hz);
        let (l, f1) = (scene.rate_constant_s(), scene.low_hz);
        let n = (scene.duration_s * rate) as usize;
        let fade = |i: usize, s: f64| {
            let x = (i as f64 / (s * rate)).min(1.0);
            (0.5 * std::f64::consts::PI * x).sin().powi(2)
        };
        let lead = (scene.lead_s * rate) as usize;
        let mut take = Scene { noise, ..*scene }.noise(n + 2 * lead + 48_000);
        for i in 0..n {
            let t = i as f64 / rate;
            let phase = std::f64::consts::TAU * f1 * l * (t / l).exp();
            let hz = f1 * (t / l).exp();
            // Closed form of the polynomial at amplitude g: constant part left out, and each
            // harmonic only below half the rate, as a converter's filter would keep it.
            let g = a * fade(i, 0.02) * fade(n - 1 - i, 0.005);
            let kept = |m: f64| if m * hz < 0.46 * rate { 1.0 } else { 0.0 };
            take[lead + i] += (g + 0.75 * a3 * g.powi(3)) * phase.sin()
                - kept(2.0) * 0.5 * a2 * g * g * (2.0 * phase).cos()
                - kept(3.0) * 0.25 * a3 * g.powi(3) * (3.0 * phase).sin();
        }
        take
    }

    fn measured(scene: &Scene, take: &[f64]) -> Distortion {
        let response = divided(take, &scene.sweep().samples, scene);
        plan(scene).measure(&response, (scene.lead_s * f64::from(scene.rate_hz)) as usize)
    }

    #[test]
    fn harmonics_of_a_polynomial_are_those_of_the_closed_form() {
        let scene = scene();
        let (a, a2, a3) = (0.5, 0.1, 0.08);
        let found = measured(&scene, &bent(&scene, a, a2, a3, 1e-6));
        // x + a2 x^2 + a3 x^3 of a sine with amplitude a.
        let fundamental = a + 0.75 * a3 * a.powi(3);
        let want = [0.5 * a2 * a * a / fundamental, 0.25 * a3 * a.powi(3) / fundamental];
        for (harmonic, want) in found.harmonics.iter().zip(want) {
            let want_db = 20.0 * want.log10();
            let m = harmonic.order as f64;
            let mut checked = 0;
            for (hz, level) in found.fundamental_hz.iter().zip(&harmonic.level_db) {
                // Below 120 Hz the 60 ms window hardly resolves a sixth of an octave.
                if *hz < 120.0 || m * hz > 17_000.0 {
                    continue;
                }
                let level = level.expect("well above the noise");
                assert!((level - want_db).abs() < 0.3, "h{m} at {hz:.0} Hz: {level}, {want_db}");
                checked += 1;
            }
            assert!(checked > 30, "h{m}: only {checked} points");
        }
        for harmonic in &found.harmonics[2..] {
            let strong = harmonic.level_db.iter().flatten().filter(|db| **db > -70.0).count();
            assert_eq!(strong, 0, "order {} does not exist", harmonic.order);
        }
    }

    #[test]
    fn noise_covers_and_the_floor_says_from_where() {
        let scene = scene();
        let found = measured(&scene, &bent(&scene, 0.5, 1e-4, 0.0, 3e-3));
        let second = &found.harmonics[0];
        // The harmonic has -92 dB; the floor is far above it.
        let present = second.level_db.iter().flatten().count();
        assert!(present <= second.level_db.len() / 20, "{present} points of noise");
        let floors: Vec<f64> = second.floor_db.iter().flatten().copied().collect();
        assert!(floors.len() > 30 && floors.iter().all(|db| *db > -85.0 && *db < -20.0));
        let louder = measured(&scene, &bent(&scene, 0.5, 1e-4, 0.0, 6e-3));
        for (a, b) in second.floor_db.iter().zip(&louder.harmonics[0].floor_db) {
            let change = b.expect("known") - a.expect("known");
            assert!((change - 6.02).abs() < 0.1, "{change}");
        }
    }

    #[test]
    fn harmonics_beyond_the_sweep_are_absent() {
        let scene = scene();
        let found = measured(&scene, &bent(&scene, 0.5, 0.1, 0.1, 1e-6));
        for harmonic in &found.harmonics {
            for (hz, level) in found.fundamental_hz.iter().zip(&harmonic.level_db) {
                assert!(level.is_none() || harmonic.order as f64 * hz < 20_000.0);
            }
        }
        assert!(DistortionPlan::new(48_000, 0.1, [20.0, 20e3]).is_none(), "too fast a sweep");
        assert!(DistortionPlan::new(48_000, f64::NAN, [20.0, 20e3]).is_none());
    }

    fn flat(level_db: f64) -> Distortion {
        let fundamental_hz: Vec<f64> =
            (0..40).map(|i| 50.0 * (f64::from(i) / 6.0).exp2()).collect();
        let n = fundamental_hz.len();
        let harmonics = (2..=5)
            .map(|order| Harmonic {
                order,
                level_db: vec![Some(level_db); n],
                floor_db: vec![Some(-80.0); n],
            })
            .collect();
        Distortion { fundamental_hz, harmonics }
    }

    #[test]
    fn more_drive_is_warned_of_on_one_side_of_its_limits_only() {
        assert!(warn_of_drive(&flat(-42.0), &flat(-38.0)).is_some());
        assert!(warn_of_drive(&flat(-40.0), &flat(-38.0)).is_none(), "2 dB more");
        assert!(warn_of_drive(&flat(-50.0), &flat(-42.0)).is_none(), "still below 1 %");
        let mut one = flat(-50.0);
        one.harmonics[0].level_db[35] = Some(-30.0);
        assert!(warn_of_drive(&flat(-50.0), &one).is_none(), "a single point");
        let mut hidden = flat(-42.0);
        hidden.harmonics[0].level_db.fill(None);
        hidden.harmonics[0].floor_db.fill(Some(-45.0));
        let told = warn_of_drive(&hidden, &flat(-38.0)).expect("above the floor by 7 dB");
        assert!(told.message.contains("order 2"), "{}", told.message);
    }

    #[test]
    fn combining_is_a_mean_of_powers() {
        let both = combine(&[&flat(-40.0), &flat(-40.0)]).expect("alike");
        assert!((both.harmonics[0].level_db[3].expect("there") + 40.0).abs() < 1e-9);
        // 0 dB and nothing else: 10 lg((1 + 0.01) / 2) = -2.967 dB.
        let mixed = combine(&[&flat(0.0), &flat(-20.0)]).expect("alike");
        assert!((mixed.harmonics[1].level_db[3].expect("there") + 2.967).abs() < 0.001);
        assert_eq!(combine(&[]), None);
        let mut hidden = flat(-40.0);
        hidden.harmonics[0].level_db.fill(None);
        let one_of_three = combine(&[&hidden, &hidden, &flat(-40.0)]).expect("alike");
        assert_eq!(one_of_three.harmonics[0].level_db[3], None);
    }
}
