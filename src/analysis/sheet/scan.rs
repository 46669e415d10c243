//! The ripple of every gap held against the curves: least squares over all seats.

use super::air::Air;
use super::ripple::{Curve, MAX_LEAD_RAD, Ripple, SheetPhase, dot};
use rayon::prelude::*;

/// Median and 90 % point of chi-squared with two degrees of freedom: `-2 ln(1 - p)`.
pub(super) const CHI2_MEDIAN: f64 = 1.386_294;
const CHI2_P90: f64 = 4.605_170;

/// Normal equations of the ripple per seat and gap, scaled by the seat's noise.
pub(super) struct Scan {
    sheet: SheetPhase,
    per_seat: Vec<Vec<Normal>>,
}

/// Sums of products of the two regressors and the curve.
#[derive(Clone, Copy, Default)]
struct Normal {
    cc: f64,
    cs: f64,
    ss: f64,
    cy: f64,
    sy: f64,
}

impl Normal {
    fn of([c, s]: &[Vec<f64>; 2], y: &[f64]) -> Self {
        Self { cc: dot(c, c), cs: dot(c, s), ss: dot(s, s), cy: dot(c, y), sy: dot(s, y) }
    }

    fn scaled(self, by: f64) -> Self {
        Self {
            cc: self.cc * by,
            cs: self.cs * by,
            ss: self.ss * by,
            cy: self.cy * by,
            sy: self.sy * by,
        }
    }

    fn plus(self, other: Self) -> Self {
        Self {
            cc: self.cc + other.cc,
            cs: self.cs + other.cs,
            ss: self.ss + other.ss,
            cy: self.cy + other.cy,
            sy: self.sy + other.sy,
        }
    }

    /// Amplitude and lead of the echo, free.
    fn solve(&self) -> Option<(f64, f64)> {
        let det = self.cc * self.ss - self.cs * self.cs;
        if det <= 1e-6 * self.cc * self.ss {
            return None;
        }
        let a = (self.ss * self.cy - self.cs * self.sy) / det;
        let b = (self.cc * self.sy - self.cs * self.cy) / det;
        // a Re(E) + b Im(E) = Re((a - j b) E): the echo is turned by atan2(-b, a).
        Some((a.hypot(b), (-b).atan2(a)))
    }

    /// Amplitude, lead and explained energy with the lead held to what an echo can have.
    fn solve_held(&self) -> (f64, f64, f64) {
        let Some((amplitude, lead)) = self.solve() else { return (0.0, 0.0, 0.0) };
        let held = lead.clamp(-MAX_LEAD_RAD, MAX_LEAD_RAD);
        if held == lead {
            let (a, b) = (amplitude * lead.cos(), -amplitude * lead.sin());
            return (amplitude, lead, a * self.cy + b * self.sy);
        }
        let (p, q) = (held.cos(), -held.sin());
        let along = p * self.cy + q * self.sy;
        let energy = p * p * self.cc + 2.0 * p * q * self.cs + q * q * self.ss;
        if along <= 0.0 { (0.0, held, 0.0) } else { (along / energy, held, along * along / energy) }
    }
}

impl Scan {
    pub(super) fn new(curves: &[Curve], gaps_m: &[f64], air: &Air, sheet: SheetPhase) -> Self {
        let per_seat = curves
            .par_iter()
            .map(|curve| {
                let reflection = curve.reflection(&sheet);
                let normals: Vec<Normal> = gaps_m
                    .iter()
                    .map(|&gap_m| {
                        Normal::of(&curve.regressors(gap_m, air, &reflection), &curve.detrended)
                    })
                    .collect();
                let energies: Vec<f64> = normals.iter().map(|n| n.solve_held().2).collect();
                let noise = noise_level(energies).unwrap_or(0.0).max(1e-12);
                normals.into_iter().map(|n| n.scaled(1.0 / noise)).collect()
            })
            .collect();
        Self { sheet, per_seat }
    }

    /// Energy explained by one echo common to the seats, one seat left out if asked.
    pub(super) fn pooled(&self, without: Option<usize>) -> Vec<f64> {
        let n = self.per_seat.first().map_or(0, Vec::len);
        (0..n)
            .map(|i| {
                self.per_seat
                    .iter()
                    .enumerate()
                    .filter(|(seat, _)| Some(*seat) != without)
                    .fold(Normal::default(), |sum, (_, seat)| sum.plus(seat[i]))
                    .solve_held()
                    .2
            })
            .collect()
    }

    /// Largest value that is a true maximum inside the range: an edge is no peak.
    pub(super) fn peak(&self, total: &[f64]) -> Option<usize> {
        (1..total.len() - 1)
            .filter(|&i| total[i] >= total[i - 1] && total[i] >= total[i + 1] && total[i] > 0.0)
            .max_by(|&a, &b| total[a].total_cmp(&total[b]))
    }

    /// The echo at one gap, fitted to all seats.
    pub(super) fn ripple(&self, curves: &[Curve], gap_m: f64, air: &Air) -> Ripple {
        let sum = curves.iter().fold(Normal::default(), |sum, curve| {
            let parts = curve.regressors(gap_m, air, &curve.reflection(&self.sheet));
            sum.plus(Normal::of(&parts, &curve.detrended))
        });
        let (strength, lead_rad, _) = sum.solve_held();
        let n: usize = curves.iter().map(|c| c.f_hz.len()).sum();
        let sheet_rms = ((sum.cc + sum.ss) / n as f64).sqrt();
        Ripple { gap_m, speed_m_s: air.speed_m_s, sheet: self.sheet, strength, lead_rad, sheet_rms }
    }
}

/// What one degree of chi-squared is worth in these energies: by the median or by the 90 %
/// point, whichever is larger.
pub(super) fn noise_level(mut energies: Vec<f64>) -> Option<f64> {
    energies.sort_by(f64::total_cmp);
    let at = |p: f64| energies[((energies.len() - 1) as f64 * p) as usize];
    let scale = (at(0.5) / CHI2_MEDIAN).max(at(0.9) / CHI2_P90);
    (scale > 0.0).then_some(scale)
}
