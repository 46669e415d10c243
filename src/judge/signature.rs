//! A few dozen complex numbers that stand for the transfer function of a take: enough to
//! see whether its polarity is that of another take at the same seat.
//!
//! The take is multiplied by the conjugate phase of the sweep where that passes 400 Hz to
//! 1.1 kHz; short means of the product are samples of the transfer function.

use super::track::Course;
use realfft::num_complex::Complex;

/// Range of the sweep that is used, Hz: above the room's lowest modes, below the beaming.
const RANGE_HZ: [f64; 2] = [400.0, 1100.0];
/// Length of one mean, as part of the sweep's rate constant.
const STEP: f64 = 0.01;
/// So far a start may lie off that is only known from short spectra, s.
const START_ERROR_S: f64 = 0.03;
/// Largest difference of the starts read from signatures that is searched, s.
const SEARCH_S: f64 = 0.008;
/// Step of that search, s: a dozen in a period of the highest frequency.
const SHIFT_STEP_S: f64 = 1e-4;
/// Step of the search for a start, s: the sum's magnitude varies as slowly as the range is narrow.
const START_STEP_S: f64 = 4e-4;
/// Polarity is told when the better sign is this much better than the other.
const CLEARER: f64 = 1.15;
/// Below this correlation two takes are too different to tell.
const ALIKE: f64 = 0.5;

/// Samples of a transfer function.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Signature(Vec<Complex<f32>>);

/// Reference phases for one sweep and rate, shared by all takes.
#[derive(Debug, Clone)]
pub struct SignaturePlan {
    /// `exp(-j phase)` from the moment the sweep passes the lower end.
    reference: Vec<Complex<f32>>,
    first_s: f64,
    step: usize,
    hz: Vec<f64>,
    rate_hz: f64,
}

impl SignaturePlan {
    /// Plans for takes of one sweep.
    pub fn new(course: &Course, rate_hz: u32) -> Self {
        let rate = f64::from(rate_hz);
        let low = RANGE_HZ[0].max(course.low_hz * 1.5);
        let high = RANGE_HZ[1].min(course.high_hz / 1.5).min(0.4 * rate);
        let first_s = course.passes_s(low);
        let step = ((STEP * course.rate_constant_s * rate) as usize).max(1);
        let n_steps = ((course.passes_s(high) - first_s) * rate / step as f64).max(0.0) as usize;
        let turns = course.low_hz * course.rate_constant_s;
        let reference = (0..n_steps * step)
            .map(|i| {
                let time_s = first_s + i as f64 / rate;
                // Whole turns are taken off first, for the sake of single precision.
                let phase = (turns * (time_s / course.rate_constant_s).exp()).fract();
                let (sin, cos) = (-std::f64::consts::TAU * phase).sin_cos();
                Complex::new(cos as f32, sin as f32)
            })
            .collect();
        let middle = |k: usize| first_s + (k as f64 + 0.5) * step as f64 / rate;
        let hz = (0..n_steps).map(|k| course.hz_at(middle(k))).collect();
        Self { reference, first_s, step, hz, rate_hz: rate }
    }

    /// Signature of a take whose sweep starts at about `start_s`; `None` where the range is cut.
    ///
    /// A start that lies off lets the samples fall on other frequencies; so the start is read
    /// from a first signature, and a second one is taken there.
    pub fn signature(&self, samples: &[f64], start_s: f64) -> Option<Signature> {
        let first = self.at(samples, start_s)?;
        self.at(samples, start_s + self.late_by_s(&first))
    }

    /// How much later than assumed the loudest sound arrives, s.
    fn late_by_s(&self, signature: &Signature) -> f64 {
        let values = signature.0.iter().map(|z| double(*z));
        let sums = self.over_shifts(values, START_ERROR_S, START_STEP_S);
        let sums: Vec<f64> = sums.iter().map(|z| z.norm()).collect();
        let top = (0..sums.len()).max_by(|a, b| sums[*a].total_cmp(&sums[*b])).unwrap_or(0);
        let inside = top.clamp(1, sums.len() - 2);
        let [before, at, after] = [sums[inside - 1], sums[inside], sums[inside + 1]];
        let bend = before - 2.0 * at + after;
        let part = if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 };
        (inside as f64 + part.clamp(-1.0, 1.0)) * START_STEP_S - START_ERROR_S
    }

    /// Sums of `value e^(j 2 pi f shift)` over the samples, for shifts from `-reach_s` to
    /// `reach_s` in steps of `step_s`.
    fn over_shifts(
        &self,
        values: impl Iterator<Item = Complex<f64>>,
        reach_s: f64,
        step_s: f64,
    ) -> Vec<Complex<f64>> {
        let n = (reach_s / step_s).round() as usize;
        let mut sums = vec![Complex::default(); 2 * n + 1];
        for (value, hz) in values.zip(&self.hz) {
            let turn = std::f64::consts::TAU * hz * step_s;
            let mut turned = value * Complex::cis(-turn * n as f64);
            let step = Complex::cis(turn);
            for sum in &mut sums {
                *sum += turned;
                turned *= step;
            }
        }
        sums
    }

    /// Samples of the transfer function for a sweep that starts at `start_s`.
    fn at(&self, samples: &[f64], start_s: f64) -> Option<Signature> {
        let first = ((start_s + self.first_s) * self.rate_hz).round();
        if self.reference.is_empty() || !(first >= 0.0 && first < samples.len() as f64) {
            return None;
        }
        let part = samples[first as usize..].get(..self.reference.len())?;
        let means = part.chunks(self.step).zip(self.reference.chunks(self.step));
        let sum = |(x, r): (&[f64], &[Complex<f32>])| {
            x.iter().zip(r).map(|(x, r)| r * *x as f32).sum::<Complex<f32>>()
        };
        Some(Signature(means.map(sum).collect()))
    }

    /// Whether two takes at one seat have the same polarity; `None` where that cannot be told.
    pub fn same_polarity(&self, a: &Signature, b: &Signature) -> Option<bool> {
        if a.0.len() != self.hz.len() || b.0.len() != a.0.len() {
            return None;
        }
        let energy = |s: &Signature| s.0.iter().map(|x| f64::from(x.norm_sqr())).sum::<f64>();
        let scale = (energy(a) * energy(b)).sqrt();
        if scale <= 0.0 || !scale.is_finite() {
            return None;
        }
        let products = a.0.iter().zip(&b.0).map(|(a, b)| double(a * b.conj()));
        let (mut best, mut worst) = (0f64, 0f64);
        for sum in self.over_shifts(products, SEARCH_S, SHIFT_STEP_S) {
            best = best.max(sum.re / scale);
            worst = worst.min(sum.re / scale);
        }
        if best.max(-worst) < ALIKE {
            None
        } else if best > CLEARER * -worst {
            Some(true)
        } else if -worst > CLEARER * best {
            Some(false)
        } else {
            None
        }
    }
}

fn double(z: Complex<f32>) -> Complex<f64> {
    Complex::new(f64::from(z.re), f64::from(z.im))
}

#[cfg(test)]
mod tests {
    use super::super::scene::Scene;
    use super::*;

    #[test]
    fn polarity_is_told_whatever_the_start_and_the_gain() {
        polarity_is_told(Scene::default());
        // A short sweep turns the same error of its start into more of the frequency.
        polarity_is_told(Scene { duration_s: 1.0, ..Scene::default() });
    }

    fn polarity_is_told(scene: Scene) {
        let course = Course::of(&scene.sweep()).expect("an exponential sweep");
        let plan = SignaturePlan::new(&course, scene.rate_hz);
        let of = |scene: &Scene, sign: f64, error_s: f64| {
            let take: Vec<f64> = scene.take().mic.iter().map(|x| sign * x).collect();
            plan.signature(&take, scene.lead_s + error_s).expect("not cut")
        };
        let reference = of(&scene, 1.0, 0.0);
        for (lead_s, error_s, gain) in
            [(0.5, 0.0, 1.0), (0.613, 0.003, 0.1), (0.4, -0.003, 5.0), (0.5, 0.025, 1.0)]
        {
            let other = Scene { lead_s, seed: 99, ..scene };
            let same = of(&other, gain, error_s);
            let turned = of(&other, -gain, error_s);
            assert_eq!(plan.same_polarity(&reference, &same), Some(true), "lead {lead_s}");
            assert_eq!(plan.same_polarity(&reference, &turned), Some(false), "lead {lead_s}");
        }
        let noise = plan.signature(&scene.noise(150_000), 0.5).expect("not cut");
        assert_eq!(plan.same_polarity(&reference, &noise), None);
        assert_eq!(plan.same_polarity(&reference, &Signature::default()), None);
        assert_eq!(plan.signature(&[0.0; 100], 0.5), None);
    }
}
