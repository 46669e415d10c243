//! The early part of a response: the direct sound and what follows at once.

use super::fft::RealFft;
use super::window::cut_circular;
use realfft::num_complex::Complex;
use std::f64::consts::PI;

/// Kept before the crest of the direct sound, s.
const BEFORE_S: f64 = 0.025;
/// Kept after it, s: echoes between sheet and loudspeaker end far earlier.
const AFTER_S: f64 = 0.060;
/// Faded at both ends, s, so that circular shifts meet no step.
const FADE_S: f64 = 0.005;

/// Plans for the early part at one sampling rate.
#[derive(Clone)]
pub struct EarlyPlan {
    /// Sampling rate, Hz.
    pub rate_hz: f64,
    /// Index of the crest of the direct sound in every [`EarlyPlan::cut`].
    pub zero: usize,
    fft: RealFft,
    correlation: RealFft,
    fine: RealFft,
}

/// Shifts are found on a grid this much finer than the samples.
const OVERSAMPLING: usize = 16;
/// Around the direct sound, for alignment, s.
const ALIGN_S: [f64; 2] = [0.001, 0.0012];
/// Band in which two takes are aligned, Hz: below, the phase of rooms rules; above, noise.
const ALIGN_HZ: [f64; 2] = [500.0, 12_000.0];
/// The same where crests were found at different places.
const COARSE_S: [f64; 2] = [0.003, 0.006];

impl EarlyPlan {
    /// Plans for one sampling rate.
    pub fn new(rate_hz: f64) -> Self {
        let n = super::deconvolve::fast_length(((BEFORE_S + AFTER_S) * rate_hz) as usize);
        let window = ((ALIGN_S[0] + ALIGN_S[1]) * rate_hz) as usize;
        let short = (4 * window).next_power_of_two();
        Self {
            rate_hz,
            zero: (BEFORE_S * rate_hz) as usize,
            fft: RealFft::new(n),
            correlation: RealFft::new(short),
            fine: RealFft::new(short * OVERSAMPLING),
        }
    }

    /// Transform of early parts.
    pub fn fft(&self) -> &RealFft {
        &self.fft
    }

    /// Length of every early part, samples.
    pub fn n_points(&self) -> usize {
        self.fft.n_points()
    }

    /// Number of samples for a time, rounded down.
    pub fn samples(&self, time_s: f64) -> usize {
        (time_s * self.rate_hz) as usize
    }

    /// The early part around `onset` of a circular response.
    pub fn cut(&self, response: &[f64], onset: usize) -> Vec<f64> {
        let n = self.fft.n_points();
        let mut early = cut_circular(response, onset as i64 - self.zero as i64, n);
        super::window::taper_ends(&mut early, self.samples(FADE_S), self.samples(FADE_S));
        early
    }

    /// Direct sound with `before_s` and `after_s` around the crest, faded in over all of
    /// `before_s` and out over the last 40 % of `after_s`.
    pub fn direct_window(&self, early: &[f64], before_s: f64, after_s: f64) -> Vec<f64> {
        let (head, length) = (self.samples(before_s), self.samples(after_s));
        let mut direct = early[self.zero - head..self.zero + length].to_vec();
        super::window::taper_ends(&mut direct, head, (0.4 * length as f64) as usize);
        direct
    }

    /// Time by which `late` comes after `early`, s, to 1/16 of a sample: largest
    /// cross-correlation of the direct sounds between 0.5 and 12 kHz.
    pub fn delay_s(&self, early: &[f64], late: &[f64]) -> f64 {
        let spectrum = |x| self.correlation.forward(&self.direct_window(x, ALIGN_S[0], ALIGN_S[1]));
        let df_hz = self.rate_hz / self.correlation.n_points() as f64;
        let mut cross: Vec<Complex<f64>> =
            spectrum(late).iter().zip(spectrum(early)).map(|(l, e)| l * e.conj()).collect();
        for (k, x) in cross.iter_mut().enumerate() {
            let hz = k as f64 * df_hz;
            if hz <= ALIGN_HZ[0] || hz >= ALIGN_HZ[1] {
                *x = Complex::default();
            }
        }
        cross.resize(self.fine.n_bins(), Complex::default());
        let correlation = self.fine.inverse(cross);
        let n = correlation.len();
        let (best, _) = correlation
            .iter()
            .enumerate()
            .fold((0, f64::MIN), |best, (i, &x)| if x > best.1 { (i, x) } else { best });
        let signed = if best > n / 2 { best as f64 - n as f64 } else { best as f64 };
        signed / (OVERSAMPLING as f64 * self.rate_hz)
    }

    /// Whole samples by which `late` comes after `early`, up to 3 ms either way: largest
    /// cross-correlation of all early sound between 0.5 and 12 kHz, reflections included.
    pub fn coarse_delay(&self, early: &[f64], late: &[f64]) -> i64 {
        let df_hz = self.rate_hz / self.fft.n_points() as f64;
        let spectrum = |x| {
            let [before_s, after_s] = COARSE_S;
            let mut window = vec![0.0; self.fft.n_points()];
            let part = self.direct_window(x, before_s, after_s);
            window[..part.len()].copy_from_slice(&part);
            self.fft.forward(&window)
        };
        let (early, late) = (spectrum(early), spectrum(late));
        let cross = late.iter().zip(&early).enumerate().map(|(k, (l, e))| {
            let hz = k as f64 * df_hz;
            let inside = hz > ALIGN_HZ[0] && hz < ALIGN_HZ[1];
            if inside { l * e.conj() } else { Complex::default() }
        });
        let correlation = self.fft.inverse(cross.collect());
        let most = self.samples(COARSE_S[0]) as i64;
        let at = |by: i64| correlation[by.rem_euclid(correlation.len() as i64) as usize];
        (-most..=most).max_by(|a, b| at(*a).total_cmp(&at(*b))).unwrap_or(0)
    }

    /// `early` moved earlier by `advance_s`.
    pub fn advance(&self, early: &[f64], advance_s: f64) -> Vec<f64> {
        let df_hz = self.rate_hz / self.fft.n_points() as f64;
        let mut spectrum = self.fft.forward(early);
        spectrum.iter_mut().enumerate().for_each(|(k, x)| {
            *x *= Complex::from_polar(1.0, 2.0 * PI * k as f64 * df_hz * advance_s);
        });
        self.fft.inverse(spectrum)
    }

    /// Envelope of the band 1.5-19 kHz (analytic signal) of an early part.
    pub fn treble_envelope(&self, early: &[f64]) -> Vec<f64> {
        let df_hz = self.rate_hz / self.fft.n_points() as f64;
        let band = |hz: f64| {
            ((hz - 1500.0) / 1000.0).clamp(0.0, 1.0) * ((19_000.0 - hz) / 3000.0).clamp(0.0, 1.0)
        };
        let real: Vec<Complex<f64>> = self
            .fft
            .forward(early)
            .into_iter()
            .enumerate()
            .map(|(k, x)| x * band(k as f64 * df_hz))
            .collect();
        // The quadrature part: all phases turned back by a quarter.
        let turned = real.iter().map(|x| x * Complex::new(0.0, -1.0)).collect();
        let (real, turned) = (self.fft.inverse(real), self.fft.inverse(turned));
        real.iter().zip(&turned).map(|(a, b)| (a * a + b * b).sqrt()).collect()
    }
}

/// Convolution of `x` with taps at lags `first_lag ..`, same length and place as `x`.
pub fn convolve(x: &[f64], first_lag: i64, taps: &[f64]) -> Vec<f64> {
    let n = x.len() as i64;
    let mut y = vec![0.0; x.len()];
    for (i, &tap) in taps.iter().enumerate() {
        let lag = first_lag + i as i64;
        let (to, from) = (lag.clamp(0, n) as usize, (-lag).clamp(0, n) as usize);
        let length = (n - lag.abs()).max(0) as usize;
        for (out, &sample) in y[to..to + length].iter_mut().zip(&x[from..from + length]) {
            *out += tap * sample;
        }
    }
    y
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pulse(plan: &EarlyPlan, delay_samples: f64) -> Vec<f64> {
        (0..plan.fft.n_points())
            .map(|i| {
                let t = i as f64 - plan.zero as f64 - delay_samples;
                // Band-limited pulse (a Gaussian of 2 samples' deviation on 6 kHz).
                (-t * t / 8.0).exp() * (PI / 4.0 * t).cos()
            })
            .collect()
    }

    #[test]
    fn a_delay_is_found_and_undone() {
        let plan = EarlyPlan::new(48_000.0);
        let (a, b) = (pulse(&plan, 0.0), pulse(&plan, 2.3));
        let delay_s = plan.delay_s(&a, &b);
        assert!((delay_s * 48_000.0 - 2.3).abs() < 0.04, "{}", delay_s * 48_000.0);
        let back = plan.advance(&b, 2.3 / 48_000.0);
        let worst = a.iter().zip(&back).map(|(x, y)| (x - y).abs()).fold(0.0, f64::max);
        // The pulse itself holds that much above half the rate.
        assert!(worst < 1e-5, "{worst}");
    }

    #[test]
    fn takes_that_were_cut_a_millisecond_apart_are_laid_over_each_other() {
        let plan = EarlyPlan::new(48_000.0);
        let direct = pulse(&plan, -20.0);
        let wall = pulse(&plan, 30.0);
        let a: Vec<f64> = direct.iter().zip(&wall).map(|(d, w)| d + 1.1 * w).collect();
        // The other take was cut around the wall's reflection.
        let direct = pulse(&plan, -68.0);
        let wall = pulse(&plan, -18.0);
        let b: Vec<f64> = direct.iter().zip(&wall).map(|(d, w)| d + 0.9 * w).collect();
        assert_eq!(plan.coarse_delay(&a, &b), -48);
        assert_eq!(plan.coarse_delay(&b, &a), 48);
    }

    #[test]
    fn convolution_keeps_the_place() {
        let x = [0.0, 1.0, 0.0, 0.0];
        assert_eq!(convolve(&x, -1, &[1.0, 2.0, 3.0]), [1.0, 2.0, 3.0, 0.0]);
    }

    #[test]
    fn the_envelope_of_a_pulse_is_its_outline() {
        let plan = EarlyPlan::new(48_000.0);
        // Narrow against the band: a Gaussian of 6 samples' deviation on 6 kHz.
        let outline = |t: f64| (-t * t / 72.0).exp();
        let pulse: Vec<f64> = (0..plan.fft.n_points())
            .map(|i| i as f64 - plan.zero as f64)
            .map(|t| outline(t) * (PI / 4.0 * t).cos())
            .collect();
        let envelope = plan.treble_envelope(&pulse);
        for t in -6i64..=6 {
            let got = envelope[(plan.zero as i64 + t) as usize];
            let want = outline(t as f64);
            assert!((got - want).abs() < 0.03, "{t}: {got} {want}");
        }
    }
}
