//! The loudspeaker: causal response, directivity, and what the cabinet's edges add.

use super::sheet::shelf;
use realfft::num_complex::Complex64;
use std::f64::consts::{PI, SQRT_2};

/// A loudspeaker without its sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Loudspeaker {
    /// Reference point in the room, m: from the front wall, from the left wall, above the floor.
    pub position_m: [f64; 3],
    /// Lower limit (Butterworth, second order), Hz.
    pub high_pass_hz: f64,
    /// Upper limit (Butterworth, second order), Hz.
    pub low_pass_hz: f64,
    /// Crossover whose phase stays in the sum (all-pass, second order); `None` = one driver.
    pub crossover_hz: Option<f64>,
    /// Peaks and dips of the response.
    pub ripple: Vec<Ripple>,
    /// Frequency above which the sound bundles, Hz, for sound at 90 degrees.
    pub directivity_hz: f64,
    /// Pressure that stays off axis at high frequencies, 0-1.
    pub off_axis_floor: f64,
    /// Weak late arrivals from the edges of the cabinet.
    pub edges: Vec<EdgeArrival>,
}

/// A minimum-phase peak or dip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ripple {
    /// Mid-frequency, Hz.
    pub at_hz: f64,
    /// Gain there, dB.
    pub gain_db: f64,
    /// Quality factor.
    pub q: f64,
}

/// Sound that comes from an edge a little later.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeArrival {
    /// Delay after the direct sound, s.
    pub delay_s: f64,
    /// Pressure relative to the direct sound (either sign).
    pub gain: f64,
}

impl Loudspeaker {
    /// Response on the axis without the lower limit, which is long in time and
    /// applied apart ([`Loudspeaker::high_pass`]).
    pub fn on_axis(&self, f_hz: f64) -> Complex64 {
        let one = Complex64::new(1.0, 0.0);
        let mut h = one / butterworth(f_hz / self.low_pass_hz);
        if let Some(fc) = self.crossover_hz {
            let denominator = butterworth(f_hz / fc);
            h *= denominator.conj() / denominator;
        }
        for r in &self.ripple {
            let (x, a) = (f_hz / r.at_hz, 10f64.powf(r.gain_db / 40.0));
            h *= Complex64::new(1.0 - x * x, x * a / r.q)
                / Complex64::new(1.0 - x * x, x / (a * r.q));
        }
        let edges: Complex64 =
            self.edges.iter().map(|e| Complex64::cis(-2.0 * PI * f_hz * e.delay_s) * e.gain).sum();
        h * (one + edges)
    }

    /// Lower limit: Butterworth high-pass of second order.
    pub fn high_pass(&self, f_hz: f64) -> Complex64 {
        let x = f_hz / self.high_pass_hz;
        Complex64::new(-x * x, 0.0) / butterworth(x)
    }

    /// Pressure towards a direction relative to the axis; `cosine` of the angle
    /// to the axis, -1 (backwards) to 1. Causal first-order fall.
    pub fn directivity(&self, f_hz: f64, cosine: f64) -> Complex64 {
        let turned = (1.0 - cosine).max(0.0);
        shelf(f_hz / self.directivity_hz * turned, 1.0, self.off_axis_floor)
    }
}

/// Denominator `1 + sqrt 2 j x - x^2`.
fn butterworth(x: f64) -> Complex64 {
    Complex64::new(1.0 - x * x, SQRT_2 * x)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain() -> Loudspeaker {
        Loudspeaker {
            position_m: [0.4, 2.2, 1.0],
            high_pass_hz: 80.0,
            low_pass_hz: 24_000.0,
            crossover_hz: Some(2000.0),
            ripple: vec![Ripple { at_hz: 4000.0, gain_db: 2.0, q: 2.0 }],
            directivity_hz: 3000.0,
            off_axis_floor: 0.3,
            edges: vec![EdgeArrival { delay_s: 4e-4, gain: -0.1 }],
        }
    }

    #[test]
    fn limits_ripple_and_crossover_have_their_closed_values() {
        let mut speaker = plain();
        // Butterworth: half power at the corner.
        assert!((speaker.high_pass(80.0).norm_sqr() - 0.5).abs() < 1e-12);
        speaker.edges.clear();
        speaker.low_pass_hz = 1e9;
        let with = 20.0 * speaker.on_axis(4000.0).norm().log10();
        assert!((with - 2.0).abs() < 1e-9, "peak of {with} dB instead of 2");
        speaker.ripple.clear();
        // An all-pass keeps the level; at its corner a second-order one turns by 180 degrees.
        let at_corner = speaker.on_axis(2000.0);
        assert!((at_corner.norm() - 1.0).abs() < 1e-9 && at_corner.re < -0.999, "{at_corner}");
    }

    #[test]
    fn off_axis_loses_treble_only() {
        let speaker = plain();
        assert!((speaker.directivity(10_000.0, 1.0).norm() - 1.0).abs() < 1e-12);
        let side = speaker.directivity(10_000.0, 0.0).norm();
        assert!(side < 0.5 && side > 0.3, "{side}");
        assert!(speaker.directivity(100.0, 0.0).norm() > 0.99);
    }
}
