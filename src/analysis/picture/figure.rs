//! Light figures with the uncertainty of the meter.

use super::super::claims::LightFigure;
use super::super::student::student_quantile;
use serde::Serialize;

/// Degrees of freedom of a stated meter uncertainty: taken as well known.
const METER_DOF: f64 = 1e4;

/// A light figure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Figure {
    pub value: f64,
    /// Standard uncertainty, same unit.
    pub u: f64,
    /// Expanded uncertainty, two-sided 95 %.
    pub u95: f64,
}

impl Figure {
    /// A value with a relative standard uncertainty (0.02 = 2 %).
    pub fn relative(value: f64, u_relative: f64) -> Self {
        Self::absolute(value, (value * u_relative).abs())
    }

    /// A value with a standard uncertainty in its own unit.
    pub fn absolute(value: f64, u: f64) -> Self {
        Self { value, u, u95: u * student_quantile(0.975, METER_DOF).unwrap_or(1.96) }
    }

    /// In the form that claims are judged by.
    pub fn for_claim(self) -> LightFigure {
        LightFigure { value: self.value, u: self.u, dof: METER_DOF }
    }
}

/// How far one reading is trusted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MeterDoubt {
    /// Standard uncertainty of one reading, percent of reading.
    pub percent: f64,
    /// Whether the manifest stated it.
    pub stated: bool,
}

/// Taken where the manifest states none, percent (own choice, a meter of the hand-held kind).
const UNSTATED_PERCENT: f64 = 3.0;

impl MeterDoubt {
    /// From `meter_uncertainty_percent`; values that are no percentage count as not stated.
    pub fn new(stated_percent: Option<f64>) -> Self {
        match stated_percent.filter(|p| p.is_finite() && *p > 0.0 && *p < 100.0) {
            Some(percent) => Self { percent, stated: true },
            None => Self { percent: UNSTATED_PERCENT, stated: false },
        }
    }

    /// Relative standard uncertainty of one reading.
    pub fn whole(self) -> f64 {
        self.percent / 100.0
    }

    /// The part that differs from reading to reading. Half of the variance is taken as the
    /// meter's calibration, common to all its readings, which cancels in ratios (own choice).
    pub fn own(self) -> f64 {
        self.whole() * std::f64::consts::FRAC_1_SQRT_2
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_meter_without_statement_is_assumed() {
        for bad in [None, Some(f64::NAN), Some(0.0), Some(-1.0), Some(100.0)] {
            let m = MeterDoubt::new(bad);
            assert!(!m.stated && m.percent == 3.0);
        }
        let m = MeterDoubt::new(Some(2.0));
        assert!(m.stated && (m.whole() - 0.02).abs() < 1e-15);
        assert!((m.own().powi(2) * 2.0 - 0.0004).abs() < 1e-15);
    }

    #[test]
    fn expanded_is_the_normal_quantile() {
        let f = Figure::relative(2.0, 0.01);
        assert!((f.u - 0.02).abs() < 1e-15 && (f.u95 / f.u - 1.96).abs() < 1e-3);
    }
}
