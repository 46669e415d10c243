//! The synchronised exponential sweep.
//!
//! A. Novak, P. Lotton, L. Simon, "Synchronized swept-sine: theory, application,
//! and implementation", J. Audio Eng. Soc. 63(10), 786-798 (2015).

use crate::ingest::wav::RATE_RANGE_HZ;
use std::f64::consts::{PI, TAU};

/// How a sweep is made.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepParams {
    /// Lowest frequency, Hz.
    pub start_hz: f64,
    /// Highest frequency, Hz, at most half the sampling rate.
    pub stop_hz: f64,
    /// Length of the sweep itself, 0.2-60 s.
    pub duration_s: f64,
    /// Raised-cosine fade inside the sweep's start, s.
    pub fade_in_s: f64,
    /// Raised-cosine fade inside the sweep's end, s.
    pub fade_out_s: f64,
    /// Peak level, dB re full scale, -80-0.
    pub level_dbfs: f64,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Silence before, 0-30 s.
    pub lead_s: f64,
    /// Silence after, 0-30 s.
    pub tail_s: f64,
}

impl Default for SweepParams {
    /// 20 Hz-20 kHz in 5 s at 48 kHz, peak 12 dB below full scale.
    fn default() -> Self {
        Self {
            start_hz: 20.0,
            stop_hz: 20_000.0,
            duration_s: 5.0,
            fade_in_s: 0.1,
            fade_out_s: 0.02,
            level_dbfs: -12.0,
            rate_hz: 48_000,
            lead_s: 0.5,
            tail_s: 1.0,
        }
    }
}

/// A sweep that cannot be made: which figure, and what it may be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{name} is {found}, expected {expected}")]
pub struct SweepParamError {
    /// Name of the figure.
    pub name: &'static str,
    /// What it is.
    pub found: f64,
    /// What it may be.
    pub expected: String,
}

impl SweepParams {
    /// `L = T / ln(f2/f1)` in s: the time in which the frequency grows by a factor e.
    pub fn rate_constant_s(&self) -> f64 {
        self.duration_s / (self.stop_hz / self.start_hz).ln()
    }

    /// Checks every figure.
    ///
    /// # Errors
    /// [`SweepParamError`] with the first one that is out of range or not finite.
    pub fn validate(&self) -> Result<(), SweepParamError> {
        let check = |name, found: f64, low: f64, high: f64| {
            // Written so that NaN fails too.
            if found >= low && found <= high {
                Ok(())
            } else {
                Err(SweepParamError { name, found, expected: format!("{low} to {high}") })
            }
        };
        let rate_hz = f64::from(self.rate_hz);
        check("rate_hz", rate_hz, f64::from(RATE_RANGE_HZ[0]), f64::from(RATE_RANGE_HZ[1]))?;
        check("stop_hz", self.stop_hz, 2.0, rate_hz / 2.0)?;
        check("start_hz", self.start_hz, 1.0, self.stop_hz / 2.0)?;
        check("duration_s", self.duration_s, 0.2, 60.0)?;
        check("fade_in_s", self.fade_in_s, 0.0, self.duration_s / 2.0)?;
        check("fade_out_s", self.fade_out_s, 0.0, self.duration_s / 2.0)?;
        check("level_dbfs", self.level_dbfs, -80.0, 0.0)?;
        check("lead_s", self.lead_s, 0.0, 30.0)?;
        check("tail_s", self.tail_s, 0.0, 30.0)
    }
}

/// The sweep with its silence before and after, full scale = 1.
///
/// `x(t) = A sin(2 pi f1 L exp(t/L))`, `L = T / ln(f2/f1)`, times the fades.
/// Because the phase carries no constant term, the m-th harmonic of the sweep is
/// the sweep itself, advanced by `L ln m` (Novak 2015).
///
/// # Errors
/// [`SweepParamError`] for a figure out of range.
pub fn generate(params: &SweepParams) -> Result<Vec<f64>, SweepParamError> {
    params.validate()?;
    let rate_hz = f64::from(params.rate_hz);
    let n_of = |seconds: f64| (seconds * rate_hz).round() as usize;
    let (n_lead, n_sweep, n_tail) =
        (n_of(params.lead_s), n_of(params.duration_s), n_of(params.tail_s));
    let l_s = params.rate_constant_s();
    let amplitude = 10f64.powf(params.level_dbfs / 20.0);
    let mut samples = vec![0.0; n_lead + n_sweep + n_tail];
    for (i, x) in samples[n_lead..n_lead + n_sweep].iter_mut().enumerate() {
        let t_s = i as f64 / rate_hz;
        // Whole turns are taken off before the sine, which keeps its argument small.
        let turns = params.start_hz * l_s * (t_s / l_s).exp();
        let fade = raised_cosine(t_s, params.fade_in_s)
            * raised_cosine(params.duration_s - t_s, params.fade_out_s);
        *x = amplitude * fade * (TAU * turns.fract()).sin();
    }
    Ok(samples)
}

/// 0 at the edge, 1 from `fade_s` on.
fn raised_cosine(from_edge_s: f64, fade_s: f64) -> f64 {
    if from_edge_s >= fade_s { 1.0 } else { 0.5 - 0.5 * (PI * from_edge_s.max(0.0) / fade_s).cos() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use realfft::RealFftPlanner;
    use realfft::num_complex::Complex;

    /// Analytic inverse of the sweep's spectrum:
    /// `X~(f) = 2 sqrt(f/L) exp{-j 2 pi f L [1 - ln(f/f1)] + j pi/4}`; the response to
    /// the sweep times this is the transfer function.
    ///
    /// # Units
    /// Seconds in the spectrum (sampled at `rate_hz`, the DFT is `rate_hz` times that), 1/s here.
    /// # Source
    /// Novak 2015.
    fn inverse_spectrum(f_hz: f64, start_hz: f64, rate_constant_s: f64) -> Complex<f64> {
        let phase = -TAU * f_hz * rate_constant_s * (1.0 - (f_hz / start_hz).ln()) + PI / 4.0;
        Complex::from_polar(2.0 * (f_hz / rate_constant_s).sqrt(), phase)
    }

    fn bare(start_hz: f64, stop_hz: f64, duration_s: f64, rate_hz: u32) -> SweepParams {
        SweepParams {
            start_hz,
            stop_hz,
            duration_s,
            rate_hz,
            fade_in_s: 0.0,
            fade_out_s: 0.0,
            level_dbfs: 0.0,
            lead_s: 0.0,
            tail_s: 0.0,
        }
    }

    #[test]
    fn rate_constant_and_harmonic_advance_match_the_table() {
        // L = T / ln(f2/f1), advance L ln m: values computed from Novak 2015 by hand.
        for (f1, f2, t, l_s, advance_s) in [
            (20.0, 20_000.0, 10.0, 1.447_648, [1.003_43, 1.590_40]),
            (20.0, 20_000.0, 5.0, 0.723_824, [0.501_72, 0.795_20]),
            (10.0, 22_000.0, 10.0, 1.299_340, [0.900_63, 1.427_47]),
        ] {
            let l = bare(f1, f2, t, 48_000).rate_constant_s();
            assert!((l - l_s).abs() < 1e-6, "{l}");
            for (m, want) in [2.0f64, 3.0].iter().zip(advance_s) {
                assert!((l * m.ln() - want).abs() < 1e-5);
            }
        }
        // |X~(1 kHz)| for L = 1.447648 is 52.565.
        assert!((inverse_spectrum(1000.0, 20.0, 1.447_648).norm() - 52.565).abs() < 5e-4);
    }

    /// Chebyshev: cos(2a) = 1 - 2 sin^2 a. The second harmonic of the sweep is the
    /// same sweep read `L ln 2` later, which is what "synchronised" means.
    #[test]
    fn a_harmonic_is_the_sweep_itself_advanced() {
        let params = bare(50.0, 5_000.0, 2.0, 48_000);
        let x = generate(&params).unwrap();
        let l_s = params.rate_constant_s();
        for m in [2u32, 3, 5] {
            let advance_s = l_s * f64::from(m).ln();
            let mut n_seen = 0;
            for i in (0..x.len()).step_by(97) {
                let t_s = i as f64 / 48_000.0;
                if t_s + advance_s >= 2.0 {
                    break;
                }
                let phase = TAU * 50.0 * l_s * ((t_s + advance_s) / l_s).exp();
                let want = (f64::from(m) * TAU * 50.0 * l_s * (t_s / l_s).exp()).sin();
                assert!((phase.sin() - want).abs() < 1e-6, "m {m}, t {t_s}");
                n_seen += 1;
            }
            assert!(n_seen > 100);
        }
        // And the generated samples are that phase.
        for i in [0usize, 1, 4_800, 95_999] {
            let t_s = i as f64 / 48_000.0;
            let want = (TAU * 50.0 * l_s * (t_s / l_s).exp()).sin();
            assert!((x[i] - want).abs() < 1e-9);
        }
    }

    /// The numerical spectrum times the analytic inverse is 1, level and phase.
    #[test]
    fn the_analytic_inverse_undoes_the_sweep() {
        let params =
            SweepParams { fade_in_s: 0.2, fade_out_s: 0.05, ..bare(20.0, 20_000.0, 5.0, 48_000) };
        let mut x = generate(&params).unwrap();
        let n_fft = 1usize << 18;
        x.resize(n_fft, 0.0);
        let plan = RealFftPlanner::<f64>::new().plan_fft_forward(n_fft);
        let mut bins = plan.make_output_vec();
        plan.process(&mut x, &mut bins).unwrap();
        let l_s = params.rate_constant_s();
        let mut n_seen = 0;
        for (k, bin) in bins.iter().enumerate().skip(1) {
            let f_hz = k as f64 * 48_000.0 / n_fft as f64;
            if !(60.0..16_000.0).contains(&f_hz) {
                continue;
            }
            let product = bin / 48_000.0 * inverse_spectrum(f_hz, 20.0, l_s);
            let deviation_db = 20.0 * product.norm().log10();
            assert!(deviation_db.abs() < 0.1, "{f_hz} Hz: {deviation_db} dB");
            assert!(product.arg().abs() < 0.02, "{f_hz} Hz: {} rad", product.arg());
            n_seen += 1;
        }
        assert!(n_seen > 50_000);
    }

    #[test]
    fn the_defaults_are_what_the_text_says() {
        let x = generate(&SweepParams::default()).unwrap();
        assert_eq!(x.len(), 312_000, "0.5 + 5 + 1 s at 48 kHz");
        let peak = x.iter().fold(0.0f64, |a, b| a.max(b.abs()));
        assert!((20.0 * peak.log10() + 12.0).abs() < 0.01);
        assert!(x[..24_000].iter().chain(&x[264_000..]).all(|&v| v == 0.0));
    }

    #[test]
    fn figures_out_of_range_are_named() {
        let good = SweepParams::default();
        let bad = [
            ("duration_s", SweepParams { duration_s: f64::NAN, ..good.clone() }),
            ("duration_s", SweepParams { duration_s: 0.199, ..good.clone() }),
            ("stop_hz", SweepParams { stop_hz: 24_000.1, ..good.clone() }),
            ("start_hz", SweepParams { start_hz: 0.0, ..good.clone() }),
            ("start_hz", SweepParams { start_hz: 30_000.0, ..good.clone() }),
            ("level_dbfs", SweepParams { level_dbfs: 0.1, ..good.clone() }),
            ("fade_in_s", SweepParams { fade_in_s: -1.0, ..good.clone() }),
            ("lead_s", SweepParams { lead_s: f64::INFINITY, ..good.clone() }),
            ("rate_hz", SweepParams { rate_hz: 7_999, ..good.clone() }),
        ];
        for (name, params) in bad {
            assert_eq!(generate(&params).unwrap_err().name, name);
        }
        assert!(generate(&SweepParams { duration_s: 0.2, fade_in_s: 0.1, ..good }).is_ok());
    }
}
