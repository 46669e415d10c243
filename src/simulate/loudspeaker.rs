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
    /// Where two drivers meet; `None` = one driver.
    pub crossover: Option<Crossover>,
    /// Falls towards high frequencies.
    pub falls: Vec<Fall>,
    /// Peaks and dips of the response.
    pub ripple: Vec<Ripple>,
    /// Frequency above which the sound bundles, Hz, for sound at 90 degrees.
    pub directivity_hz: f64,
    /// Pressure that stays off axis at high frequencies, 0-1.
    pub off_axis_floor: f64,
    /// Weak late arrivals from the edges of the cabinet.
    pub edges: Vec<EdgeArrival>,
}

/// Two drivers that meet at half pressure (Linkwitz-Riley), whose sum is an all-pass where both
/// sound at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossover {
    /// Frequency at which they meet, Hz.
    pub at_hz: f64,
    /// Order of each filter.
    pub order: CrossoverOrder,
    /// How much later the treble comes (a horn's length), s; negative: the bass comes later.
    pub treble_late_s: f64,
}

/// Order of the filters of a [`Crossover`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrossoverOrder {
    /// 12 dB an octave, the treble's polarity turned over.
    Second,
    /// 24 dB an octave.
    Fourth,
}

/// A minimum-phase fall `(1 + j f/fc)^-n` towards high frequencies; `n` need not be whole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fall {
    /// Where it begins, Hz.
    pub corner_hz: f64,
    /// The exponent `n`; 6.02 dB an octave each.
    pub exponent: f64,
}

impl Crossover {
    /// Fourth order, both drivers at once.
    pub fn fourth(at_hz: f64) -> Self {
        Self { at_hz, order: CrossoverOrder::Fourth, treble_late_s: 0.0 }
    }

    /// Sum of the drivers.
    fn at(&self, f_hz: f64) -> Complex64 {
        let x = f_hz / self.at_hz;
        let (denominator, treble) = match self.order {
            CrossoverOrder::Second => (Complex64::new(1.0, x).powu(2), x.powi(2)),
            CrossoverOrder::Fourth => (butterworth(x).powu(2), x.powi(4)),
        };
        let late = |s: f64| Complex64::cis(-2.0 * PI * f_hz * s.max(0.0));
        (late(-self.treble_late_s) + late(self.treble_late_s) * treble) / denominator
    }
}

impl Fall {
    /// One that has come to `fall_db` at `at_hz`.
    pub fn to(corner_hz: f64, at_hz: f64, fall_db: f64) -> Self {
        let one_db = 10.0 * (1.0 + (at_hz / corner_hz).powi(2)).log10();
        Self { corner_hz, exponent: fall_db / one_db }
    }

    /// One of some dB an octave well above its corner.
    pub fn tilt(corner_hz: f64, db_per_octave: f64) -> Self {
        Self { corner_hz, exponent: db_per_octave / (20.0 * 2f64.log10()) }
    }

    fn at(&self, f_hz: f64) -> Complex64 {
        Complex64::new(1.0, f_hz / self.corner_hz).powf(-self.exponent)
    }
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
        if let Some(crossover) = &self.crossover {
            h *= crossover.at(f_hz);
        }
        for fall in &self.falls {
            h *= fall.at(f_hz);
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
            crossover: Some(Crossover::fourth(2000.0)),
            falls: Vec::new(),
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

    /// Linkwitz and Riley, J. Audio Eng. Soc. 24 (1976): the sum of both orders is an all-pass,
    /// turned by 90 degrees at the corner for the second order, by 180 for the fourth.
    #[test]
    fn drivers_that_sound_at_once_sum_to_an_all_pass() {
        for (order, turned) in [(CrossoverOrder::Second, -90.0), (CrossoverOrder::Fourth, 180.0)] {
            let crossover = Crossover { at_hz: 1000.0, order, treble_late_s: 0.0 };
            for hz in [30.0, 700.0, 1000.0, 9000.0] {
                assert!((crossover.at(hz).norm() - 1.0).abs() < 1e-12);
            }
            let found = crossover.at(1000.0).arg().to_degrees();
            assert!(((found - turned + 540.0).rem_euclid(360.0) - 180.0).abs() < 1e-6, "{found}");
        }
    }

    #[test]
    fn a_late_treble_leaves_either_end_alone_and_comes_later() {
        for late_s in [0.0007, -0.0007] {
            let crossover = Crossover { treble_late_s: late_s, ..Crossover::fourth(1000.0) };
            // Group delay of bass and treble by a small step of frequency.
            let delay = |hz: f64| {
                let turn = crossover.at(hz + 0.1) * crossover.at(hz - 0.1).conj();
                -turn.arg() / (2.0 * PI * 0.2)
            };
            let all_pass = Crossover::fourth(1000.0);
            let plain = |hz: f64| {
                let turn = all_pass.at(hz + 0.1) * all_pass.at(hz - 0.1).conj();
                -turn.arg() / (2.0 * PI * 0.2)
            };
            let later = (delay(20_000.0) - plain(20_000.0)) - (delay(20.0) - plain(20.0));
            assert!((later - late_s).abs() < 1e-6, "{later}");
            assert!((crossover.at(20_000.0).norm() - 1.0).abs() < 1e-4);
        }
    }

    #[test]
    fn a_fall_comes_to_what_was_asked() {
        let at = |fall: Fall, hz: f64| -20.0 * fall.at(hz).norm().log10();
        assert!((at(Fall::to(4000.0, 16_000.0, 30.0), 16_000.0) - 30.0).abs() < 1e-9);
        let tilt = Fall::tilt(100.0, 1.0);
        assert!((at(tilt, 16_000.0) - at(tilt, 8000.0) - 1.0).abs() < 1e-3);
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
