//! A figure of the loss with its uncertainty.

use serde::Serialize;

/// A value with its uncertainty (GUM): `u95_db = t(0.975, dof) x u_db`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// The value, dB.
    pub value_db: f64,
    /// Combined standard uncertainty, dB.
    pub u_db: f64,
    /// The part of `u_db` that all seats share (window, level, model), dB;
    /// it does not shrink in the mean over seats.
    pub u_common_db: f64,
    /// Effective degrees of freedom (Welch-Satterthwaite).
    pub dof: f64,
    /// Expanded uncertainty, two-sided 95 %, dB.
    pub u95_db: f64,
}
