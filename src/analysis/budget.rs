//! Terms of an uncertainty, and what they come to together (GUM).
//!
//! Every term is a standard uncertainty in dB with degrees of freedom. Terms that each
//! seat draws for itself shrink in the mean over seats; terms that all seats share do not.

use super::estimate::Estimate;
use super::student::student_quantile;
use serde::Serialize;

/// A line of the budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Term {
    /// Scatter between microphone spots.
    Spots,
    /// One spot only: how far the microphone may be off its mark.
    Placement,
    /// Echoes between sheet and loudspeaker: error of their common ratio.
    Echo,
    /// What a fit assumes: how far the loss moves under other assumptions.
    Model,
    /// Echoes of an unknown gap.
    UnknownGap,
    /// Short window and ridge of the fit.
    Window,
    /// Noise of recording.
    Noise,
    /// Room's sound below 500 Hz: fields with and without the sheet differ.
    Room,
    /// Level step between conditions, where control takes measured it.
    Level,
}

/// One term at one seat and band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Contribution {
    /// Which.
    pub term: Term,
    /// Standard uncertainty, dB.
    pub u_db: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Whether all seats share it.
    pub common: bool,
}

/// Terms of one figure.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Combined {
    /// Contributions.
    pub terms: Vec<Contribution>,
}

impl Combined {
    /// Combined standard uncertainty, degrees of freedom (Welch-Satterthwaite, GUM G.4.1)
    /// and expanded uncertainty around `value_db`; `None` where nothing finite results.
    pub fn estimate(&self, value_db: f64) -> Option<Estimate> {
        let squares = |common: Option<bool>| -> f64 {
            self.terms
                .iter()
                .filter(|t| common.is_none_or(|c| c == t.common))
                .map(|t| t.u_db.powi(2))
                .sum()
        };
        let variance = squares(None);
        let inverse: f64 = self.terms.iter().map(|t| t.u_db.powi(4) / t.dof).sum();
        let dof = if inverse > 0.0 { variance.powi(2) / inverse } else { f64::MAX };
        let u_db = variance.sqrt();
        let u95_db = student_quantile(0.975, dof)? * u_db;
        let finite = value_db.is_finite() && u95_db.is_finite();
        finite.then_some(Estimate {
            value_db,
            u_db,
            u_common_db: squares(Some(true)).sqrt(),
            dof: dof.min(1e6),
            u95_db,
        })
    }

    /// Adds a term, unless it is zero.
    pub fn push(&mut self, term: Term, u_db: f64, dof: f64, common: bool) {
        if u_db > 0.0 {
            self.terms.push(Contribution { term, u_db, dof, common });
        }
    }
}

/// Budget of a session: terms for each seat and band.
#[derive(Debug, Clone)]
pub struct Budget {
    pub(super) seats: Vec<Vec<Combined>>,
}

impl Budget {
    /// Terms at one seat (place in the list of transmissions) and band.
    pub fn seat(&self, at: usize, band: usize) -> &Combined {
        &self.seats[at][band]
    }

    /// Terms of the mean over the seats `which`: independent terms add in power and are
    /// divided by the number of seats, shared ones are averaged.
    pub fn mean(&self, which: &[usize], band: usize) -> Combined {
        let mut combined = Combined::default();
        let n = which.len() as f64;
        let mut seen: Vec<(Term, bool)> = Vec::new();
        for &at in which {
            for t in &self.seats[at][band].terms {
                if !seen.contains(&(t.term, t.common)) {
                    seen.push((t.term, t.common));
                }
            }
        }
        for (term, common) in seen {
            let terms = || {
                which.iter().flat_map(|&at| {
                    self.seats[at][band]
                        .terms
                        .iter()
                        .filter(move |t| (t.term, t.common) == (term, common))
                })
            };
            let (u_db, dof) = if common {
                let mean = terms().map(|t| t.u_db).sum::<f64>() / n;
                (mean, terms().map(|t| t.dof).fold(f64::INFINITY, f64::min))
            } else {
                let variance: f64 = terms().map(|t| t.u_db.powi(2)).sum();
                let fourth: f64 = terms().map(|t| t.u_db.powi(4) / t.dof).sum();
                (variance.sqrt() / n, variance.powi(2) / fourth)
            };
            combined.push(term, u_db, dof, common);
        }
        combined
    }

    /// Adds one term that is common to every seat and band, dB; its degrees of freedom count as
    /// unlimited.
    pub fn add_to_all(&mut self, term: Term, u_db: f64) {
        for combined in self.seats.iter_mut().flatten() {
            combined.push(term, u_db, f64::INFINITY, true);
        }
    }
}
