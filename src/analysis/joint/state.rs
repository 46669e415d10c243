//! What the steps work on: seats and pairs as given, and what a step knows of them.

use super::pair::Reduced;
use super::reflector::Reflector;
use super::spectrum::Spectrum;
use super::stretch::Stretch;
use crate::transfer::direct::DirectPair;
use crate::transfer::seat::SeatTransmission;

/// Weight of the residual's power against the error of clean rows: what reflections leave is
/// alike at neighbouring samples and at seats side by side, and so tells less than its
/// number of rows.
pub(super) const LEFT_WEIGHT: f64 = 4.0;

/// Everything of a seat that does not change from step to step.
pub struct Seat<'a> {
    /// What was measured there.
    pub given: &'a SeatTransmission,
    pub(super) pairs: Vec<Pair>,
}

/// A pair of takes, with the weight of frequencies that [`super::emphasis`] gives them.
pub struct Pair {
    /// Both responses, as far as they can tell in any row.
    pub given: DirectPair,
    /// Spectrum of the response without the screen.
    pub(super) source: Spectrum,
    /// Stretches of what comes after the direct sound without the screen.
    pub(super) late: Vec<Stretch>,
    /// Energy of the direct sound without the screen.
    pub(super) energy: f64,
    /// End of the direct sound at the seat, s after the crest.
    pub(super) end_s: f64,
}

/// What a step knows of one seat.
#[derive(Clone, Default)]
pub(super) struct State {
    /// Taps of all pairs.
    pub(super) taps: Vec<Vec<f64>>,
    /// Gains of the slow parts of all pairs.
    pub(super) slow: Vec<Vec<f64>>,
    /// Power of what the fit leaves, per row; see [`super::fitter::Fitter::left_power`].
    pub(super) left: Vec<f64>,
    /// Delay of the taps after a minimum-phase sheet, s.
    pub(super) delay_s: f64,
    /// How much later each stretch of the late sound comes with the screen, of all pairs, samples.
    pub(super) moved: Vec<Vec<f64>>,
    /// Taps of the filters on top of that, of all pairs.
    pub(super) apart: Vec<Vec<f64>>,
    /// What sends the echoes back, where the other seats have a say in it.
    pub(super) reflector: Option<Reflector>,
    /// Echoes with the front of that step; `None` before the first.
    pub(super) echo: Option<Echo>,
}

/// A pair with what the last step knows of it.
pub(super) struct Look<'a> {
    pub(super) state: &'a State,
    pub(super) pair: &'a Pair,
    /// Standard deviation expected of the filters on its late sound, stretch by stretch.
    pub(super) apart_sd: &'a [f64],
    /// [`LEFT_WEIGHT`], or what stands in its place.
    pub(super) left_weight: f64,
    /// Its late sound, see [`super::fitter::Fitter::late`].
    pub(super) late: &'a [Vec<f64>],
}

/// A pair in one step.
pub(super) struct Solved {
    pub(super) reduced: Reduced,
    /// Response without the screen, its late sound moved.
    pub(super) source: Spectrum,
    /// Its late sound, see [`super::fitter::Fitter::late`].
    pub(super) late: Vec<Vec<f64>>,
}

/// Echoes of one seat.
#[derive(Clone)]
pub(super) struct Echo {
    /// `1/(1 - R B z)`.
    pub(super) series: Spectrum,
    /// `T g^2 R z`: what a unit of front adds to the transmission.
    pub(super) derivative: Spectrum,
    pub(super) round_trip_s: f64,
}
