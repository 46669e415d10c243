//! The ripple that an echo of unknown gap leaves in `ln |H|`: curves without their trend, and the sheet's
//! own reflection.

use super::air::Air;
use crate::transfer::fft::turns;
use realfft::num_complex::Complex;

/// Bins are averaged to about this distance, Hz: fine enough for 0.5 m (peaks every 343 Hz),
/// coarse enough to be quick and to drop what comes later than the echoes.
const BIN_HZ: f64 = 75.0;
/// Coefficients of the smooth trend in ln f that is not ripple.
const N_TREND: usize = 4;

/// Reflection that a level error between the conditions (0.5 dB) can hide or feign.
const LEVEL_DOUBT: f64 = 0.06;
/// No loudspeaker front is softer than this (own choice; foam rings reach 0.3).
const SOFTEST_FRONT: f64 = 0.1;
/// Transmission through the sheet towards one seat.
#[derive(Debug, Clone)]
pub struct SeatRatio {
    /// Ratio with / without the sheet at `k x df_hz`, `k = 0, 1, ...`; linear, screen without
    /// loss = 1. Bins that the data do not carry may be zero or not finite: they are left out.
    /// The responses behind it must reach past the echo: at least `4 x 2 gap / c` (6 ms for
    /// 0.25 m) after the direct sound.
    pub ratio: Vec<Complex<f64>>,
    /// Cosine of the angle between the sheet's normal and the path to the seat, (0, 1].
    pub cos_theta: f64,
}

/// The echo may lead or lag the sheet model by this much. A microphone that moved in front of a
/// wall feigns ripple a quarter turn off, which this keeps out.
pub(super) const MAX_LEAD_RAD: f64 = 55.0 * std::f64::consts::PI / 180.0;

/// One seat's curve on coarse bins.
pub(super) struct Curve {
    pub(super) f_hz: Vec<f64>,
    /// ln |H|.
    log_ratio: Vec<f64>,
    /// The same without its smooth trend.
    pub(super) detrended: Vec<f64>,
    /// Orthonormal trend vectors.
    trend: Vec<Vec<f64>>,
    cos_theta: f64,
    /// Whether no bin was left out.
    evenly_spaced: bool,
}

impl Curve {
    /// What the sheet throws back at each frequency.
    pub(super) fn reflection(&self, sheet: &SheetPhase) -> Vec<Complex<f64>> {
        self.f_hz.iter().map(|f| sheet.reflection(std::f64::consts::TAU * f)).collect()
    }

    pub(super) fn new(seat: &SeatRatio, df_hz: f64, band_hz: [f64; 2]) -> Option<Self> {
        if !(seat.cos_theta > 0.0 && seat.cos_theta <= 1.0) {
            return None;
        }
        let per_bin = (BIN_HZ / df_hz).round().max(1.0) as usize;
        let first = (band_hz[0] / df_hz).ceil() as usize;
        let last = ((band_hz[1] / df_hz).floor() as usize + 1).min(seat.ratio.len());
        let (mut f_hz, mut log_ratio) = (Vec::new(), Vec::new());
        let mut start = first;
        while start + per_bin <= last {
            let logs: Vec<f64> = seat.ratio[start..start + per_bin]
                .iter()
                .map(|h| h.norm().ln())
                .filter(|l| l.is_finite())
                .collect();
            if 2 * logs.len() > per_bin {
                f_hz.push((start as f64 + (per_bin - 1) as f64 / 2.0) * df_hz);
                log_ratio.push(logs.iter().sum::<f64>() / logs.len() as f64);
            }
            start += per_bin;
        }
        if f_hz.len() < 32 {
            return None;
        }
        let trend = trend_basis(&f_hz);
        let step_hz = per_bin as f64 * df_hz;
        let evenly_spaced = f_hz.windows(2).all(|f| (f[1] - f[0] - step_hz).abs() < 1e-6);
        let mut detrended = log_ratio.clone();
        project_out(&trend, &mut detrended);
        let cos_theta = seat.cos_theta;
        Some(Self { f_hz, log_ratio, detrended, trend, cos_theta, evenly_spaced })
    }

    /// Ripple of unit front reflection for a gap: real and imaginary part of
    /// `R exp(-j w tau)`, without what the trend can take up.
    pub(super) fn regressors(
        &self,
        gap_m: f64,
        air: &Air,
        reflection: &[Complex<f64>],
    ) -> [Vec<f64>; 2] {
        let tau_s = 2.0 * gap_m * self.cos_theta / air.speed_m_s;
        let w = std::f64::consts::TAU * tau_s;
        let n = self.f_hz.len();
        let mut parts = [Vec::with_capacity(n), Vec::with_capacity(n)];
        let mut push = |echo: Complex<f64>| {
            parts[0].push(echo.re);
            parts[1].push(echo.im);
        };
        // Evenly spaced frequencies, as all usable curves have, turn on from one to the next.
        if self.evenly_spaced {
            let first = Complex::cis(-w * self.f_hz[0]);
            let step = turns(-w * (self.f_hz[1] - self.f_hz[0]));
            reflection.iter().zip(step).for_each(|(r, turn)| push(r * first * turn));
        } else {
            let lags = self.f_hz.iter().map(|f| Complex::cis(-w * f));
            reflection.iter().zip(lags).for_each(|(r, lag)| push(r * lag));
        }
        for part in &mut parts {
            project_out(&self.trend, part);
        }
        parts
    }
}

/// Polynomials in ln f, orthonormal on the bins.
fn trend_basis(f_hz: &[f64]) -> Vec<Vec<f64>> {
    let (low, high) = (f_hz[0].ln(), f_hz[f_hz.len() - 1].ln());
    let mut basis: Vec<Vec<f64>> = Vec::with_capacity(N_TREND);
    for power in 0..N_TREND {
        let mut v: Vec<f64> = f_hz
            .iter()
            .map(|f| (2.0 * (f.ln() - low) / (high - low) - 1.0).powi(power as i32))
            .collect();
        project_out(&basis, &mut v);
        let norm = dot(&v, &v).sqrt();
        v.iter_mut().for_each(|x| *x /= norm);
        basis.push(v);
    }
    basis
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn project_out(basis: &[Vec<f64>], v: &mut [f64]) {
    for b in basis {
        let along = dot(b, v);
        v.iter_mut().zip(b).for_each(|(x, y)| *x -= along * y);
    }
}

#[derive(Clone, Copy)]
/// Reflection of a resistive and inert sheet, `R = z / (2 + z)`, `z / 2 = r + j w m`.
pub(super) struct SheetPhase {
    half_resistance: f64,
    half_mass_s: f64,
    flat: bool,
}

impl SheetPhase {
    pub(super) const FLAT: Self = Self { half_resistance: 0.0, half_mass_s: 0.0, flat: true };

    /// `ln |T| = -ln((1 + r)^2 + (w m)^2) / 2`, fitted to all seats by Gauss-Newton with equal
    /// weight per octave; known ripple is taken out first. In the logarithm, because the noise
    /// of moved reflections would bias a mean of powers.
    pub(super) fn fit(curves: &[Curve], ripple: Option<&Ripple>) -> Self {
        let mut points: Vec<[f64; 3]> = Vec::new();
        for curve in curves {
            let known = ripple.map(|r| r.curve(curve));
            for (i, (&f, &l)) in curve.f_hz.iter().zip(&curve.log_ratio).enumerate() {
                let l = l - known.as_ref().map_or(0.0, |k| k[i]);
                points.push([(f / 1e4).powi(2), l, 1.0 / f]);
            }
        }
        // offset = (1 + r)^2; slope = (w m)^2 at 10 kHz.
        let (mut offset, mut slope) = (1.1, 0.1);
        for _ in 0..12 {
            let (mut s0, mut s1, mut s2, mut t0, mut t1) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for &[x, l, weight] in &points {
                let y = offset + slope * x;
                let (d0, d1) = (-0.5 / y, -0.5 * x / y);
                let miss = l + 0.5 * y.ln();
                s0 += weight * d0 * d0;
                s1 += weight * d0 * d1;
                s2 += weight * d1 * d1;
                t0 += weight * d0 * miss;
                t1 += weight * d1 * miss;
            }
            let det = s0 * s2 - s1 * s1;
            let (step0, step1) = ((s2 * t0 - s1 * t1) / det, (s0 * t1 - s1 * t0) / det);
            if !(step0.is_finite() && step1.is_finite()) {
                break;
            }
            offset = (offset + step0).clamp(0.3, 100.0);
            slope = (slope + step1).clamp(0.0, 1e4);
        }
        let half_resistance = (offset.sqrt() - 1.0).max(0.0);
        let half_mass_s = slope.sqrt() / (std::f64::consts::TAU * 1e4);
        // Nothing is lost: no phase to be had from the transmission.
        let flat = half_resistance < 2e-3 && slope.sqrt() < 2e-3;
        Self { half_resistance, half_mass_s, flat }
    }

    fn reflection(&self, w_rad_s: f64) -> Complex<f64> {
        if self.flat {
            return Complex::new(1.0, 0.0);
        }
        let half = Complex::new(self.half_resistance, w_rad_s * self.half_mass_s);
        half / (1.0 + half)
    }
}

/// The echo that was fitted.
pub(super) struct Ripple {
    pub(super) gap_m: f64,
    pub(super) speed_m_s: f64,
    pub(super) sheet: SheetPhase,
    /// Reflection of the loudspeaker's front.
    pub(super) strength: f64,
    pub(super) lead_rad: f64,
    /// Root mean square of the sheet's reflection over the band.
    pub(super) sheet_rms: f64,
}

impl Ripple {
    /// Not a quarter turn off, not more than the sheet throws back, not so little that a
    /// loudspeaker's front would have to swallow it: otherwise it is the room.
    pub(super) fn is_plausible(&self) -> bool {
        let thrown = if self.sheet.flat { 0.0 } else { self.sheet_rms };
        let height = self.strength * self.sheet_rms;
        self.lead_rad.abs() <= 0.9 * MAX_LEAD_RAD
            && height <= thrown + LEVEL_DOUBT
            && height >= SOFTEST_FRONT * (thrown - LEVEL_DOUBT)
    }

    /// The ripple in ln |H| on a seat's bins.
    fn curve(&self, curve: &Curve) -> Vec<f64> {
        let tau_s = 2.0 * self.gap_m * curve.cos_theta / self.speed_m_s;
        curve
            .f_hz
            .iter()
            .map(|f| {
                let w = std::f64::consts::TAU * f;
                let turn = Complex::from_polar(self.strength, self.lead_rad - w * tau_s);
                (self.sheet.reflection(w) * turn).re
            })
            .collect()
    }
}
