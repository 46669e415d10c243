//! The signal that drives the loudspeaker: exponential sweep, and on request
//! the harmonics and the clock error that a measured one carries.

use std::f64::consts::PI;

/// The played sweep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SweepShape {
    /// Lowest frequency, Hz.
    pub start_hz: f64,
    /// Highest frequency, Hz.
    pub stop_hz: f64,
    /// Length, s.
    pub duration_s: f64,
    /// Fade at the start, s.
    pub fade_in_s: f64,
    /// Fade at the end, s.
    pub fade_out_s: f64,
    /// Peak level, dB re full scale.
    pub level_dbfs: f64,
}

/// Harmonics that a memoryless nonlinearity adds, as pressure relative to the fundamental.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Harmonics {
    /// Second harmonic, linear.
    pub second: f64,
    /// Third harmonic, linear.
    pub third: f64,
}

impl SweepShape {
    /// `L = T / ln(f2/f1)`, s.
    pub fn rate_constant_s(&self) -> f64 {
        self.duration_s / (self.stop_hz / self.start_hz).ln()
    }

    /// Momentary frequency `f1 exp(t/L)`, Hz.
    pub fn frequency_hz(&self, t_s: f64) -> f64 {
        self.start_hz * (t_s / self.rate_constant_s()).exp()
    }

    /// Moment at which the sweep passes a frequency, s.
    pub fn time_s(&self, f_hz: f64) -> f64 {
        self.rate_constant_s() * (f_hz / self.start_hz).ln()
    }

    fn fade(&self, t_s: f64) -> f64 {
        let up = |x: f64, over: f64| {
            if over > 0.0 && x < over { (PI / 2.0 * x / over).sin().powi(2) } else { 1.0 }
        };
        up(t_s, self.fade_in_s) * up(self.duration_s - t_s, self.fade_out_s)
    }

    /// The sweep `A sin(2 pi f1 L exp(t/L))`, sampled.
    ///
    /// A recorder whose clock is `drift_ppm` fast takes its samples closer
    /// together, so that the sweep comes out longer. Harmonics are those of
    /// the polynomial `x + 2 h2 x^2/A + h3 A (4 (x/A)^3 - 3 x/A)` at full level
    /// (a sine gives exactly `h2`, `h3`; its constant part left out), each
    /// only as long as it lies below 45 % of the rate, as a recorder's own
    /// filter would keep it.
    ///
    /// # Source
    /// Novak, Lotton, Simon, J. Audio Eng. Soc. 63(10), 786 (2015): synchronised sweep.
    pub fn samples(&self, rate_hz: f64, drift_ppm: f64, harmonics: Harmonics) -> Vec<f64> {
        let rate_hz = rate_hz * (1.0 + drift_ppm * 1e-6);
        let n_frames = (self.duration_s * rate_hz).round() as usize;
        let amplitude = 10f64.powf(self.level_dbfs / 20.0);
        let constant = self.rate_constant_s();
        let keep = |f_hz: f64| ((0.45 * rate_hz - f_hz) / (0.02 * rate_hz)).clamp(0.0, 1.0);
        (0..n_frames)
            .map(|n| {
                let t = n as f64 / rate_hz;
                let f = self.frequency_hz(t);
                let phase = 2.0 * PI * constant * f;
                let fade = self.fade(t);
                let mut x = fade * phase.sin();
                if harmonics.second != 0.0 {
                    x -= harmonics.second * fade * fade * (2.0 * phase).cos() * keep(2.0 * f);
                }
                if harmonics.third != 0.0 {
                    // 4 u^3 - 3 u with u = fade sin: the cubic part falls with the fade.
                    let cube = fade.powi(3);
                    x += harmonics.third
                        * (3.0 * (cube - fade) * phase.sin()
                            - cube * (3.0 * phase).sin() * keep(3.0 * f));
                }
                amplitude * x
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shape() -> SweepShape {
        SweepShape {
            start_hz: 20.0,
            stop_hz: 20_000.0,
            duration_s: 5.0,
            fade_in_s: 0.05,
            fade_out_s: 0.01,
            level_dbfs: -6.0,
        }
    }

    /// L for 20 Hz to 20 kHz in 5 s, to the printed digits of `T/ln(f2/f1)`.
    #[test]
    fn rate_constant_and_length() {
        assert!((shape().rate_constant_s() - 0.723_824).abs() < 5e-7);
        assert_eq!(shape().samples(48_000.0, 0.0, Harmonics::default()).len(), 240_000);
        assert!((shape().frequency_hz(shape().time_s(1000.0)) - 1000.0).abs() < 1e-9);
    }

    /// What is played here is what the `sweep` command writes.
    #[test]
    fn the_drive_is_the_sweep_of_the_sweep_command() {
        use crate::ingest::sweep::{SweepParams, generate};
        let s = SweepShape { duration_s: 1.0, ..shape() };
        let file = generate(&SweepParams {
            start_hz: s.start_hz,
            stop_hz: s.stop_hz,
            duration_s: s.duration_s,
            fade_in_s: s.fade_in_s,
            fade_out_s: s.fade_out_s,
            level_dbfs: s.level_dbfs,
            rate_hz: 48_000,
            lead_s: 0.0,
            tail_s: 0.0,
        })
        .expect("figures in range");
        let drive = s.samples(48_000.0, 0.0, Harmonics::default());
        crate::support::assert_close("sweep", &drive, &file, 1e-9);
    }

    #[test]
    fn a_fast_recorder_makes_the_sweep_longer() {
        assert_eq!(shape().samples(48_000.0, 100.0, Harmonics::default()).len(), 240_024);
    }

    /// The polynomial at a full-level sine gives harmonics of the asked size.
    #[test]
    fn harmonics_are_those_of_the_polynomial() {
        let (h2, h3) = (0.03, 0.02);
        let s = shape();
        let plain = s.samples(48_000.0, 0.0, Harmonics::default());
        let bent = s.samples(48_000.0, 0.0, Harmonics { second: h2, third: h3 });
        let a = 10f64.powf(-6.0 / 20.0);
        // Between the fades and below a third of 0.43 of the rate nothing is left out.
        let (from, to) = ((0.1 * 48e3) as usize, (s.time_s(6000.0) * 48e3) as usize);
        let mut largest = 0f64;
        for n in from..to {
            let u = plain[n] / a;
            let want = a * (u + h2 * (2.0 * u * u - 1.0) + h3 * (4.0 * u.powi(3) - 3.0 * u));
            largest = largest.max((bent[n] - want).abs());
        }
        assert!(largest < 1e-12, "differs by {largest}");
    }
}
