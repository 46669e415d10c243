//! What a claim is judged to be, with all that its sentence needs.

use super::judge::Verdict;
use crate::analysis::loss::Absence;
use crate::analysis::open_level::OpenLevel;
use crate::ingest::manifest::{Claim, ClaimQuantity, ClaimScope};
use serde::Serialize;

/// Verdict on one claim; keys as in `result.json`.
///
/// Loss claims fill the `_db` fields, light claims the plain ones.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClaimVerdict {
    /// What is claimed.
    pub quantity: ClaimQuantity,
    /// For which seats.
    pub scope: ClaimScope,
    /// What is shown.
    pub verdict: Verdict,
    /// The claimed figure as measured, dB: the largest loss, the mean, the loss at the
    /// governing point; absent when nothing is shown.
    pub measured_db: Option<f64>,
    /// Its two-sided 95 % expanded uncertainty, dB.
    pub u95_db: Option<f64>,
    /// Upper limit, dB.
    pub limit_db: Option<f64>,
    /// Lower limit of a claim with a tolerance, dB.
    pub lower_limit_db: Option<f64>,
    /// Limits along a claimed curve, in the order of its points; empty for other claims.
    pub curve: Vec<CurveLimits>,
    /// Guard band of the governing band or seat: one-sided 95 % expanded uncertainty, dB
    /// (plain number for light claims).
    pub guard: Option<f64>,
    /// Probability of conformity of the governing band or seat, 0 to 1.
    pub probability: Option<f64>,
    /// Range of the claim, nominal Hz, where it has one.
    pub band_hz: Option<[f64; 2]>,
    /// Nominal frequency of the band that decides, Hz.
    pub governing_hz: Option<f64>,
    /// Seat that decides, where single seats are judged.
    pub governing_seat: Option<String>,
    /// Measured figure of a light claim, plain number.
    pub measured: Option<f64>,
    /// Its two-sided 95 % expanded uncertainty.
    pub u95: Option<f64>,
    /// Upper limit of a light claim.
    pub maximum: Option<f64>,
    /// Lower limit of a light claim.
    pub minimum: Option<f64>,
    /// Where the claim stands.
    pub source: Option<String>,
    /// The claim as it was made.
    #[serde(skip)]
    pub claim: Claim,
    /// What the verdict rests on.
    #[serde(skip)]
    pub basis: Basis,
    /// Seats that do not count, or not in full; absent where all do.
    #[serde(skip)]
    pub weak_seats: Option<WeakSeats>,
}

/// Limits of a claimed curve at one of its points; keys as in `result.json`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CurveLimits {
    /// Nominal frequency of the band that the point is judged in, Hz.
    pub nominal_hz: f64,
    /// Smallest loss that is claimed, dB.
    pub lower_limit_db: f64,
    /// Largest loss that is claimed, dB.
    pub limit_db: f64,
}

/// What a verdict rests on.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Basis {
    /// A loss.
    Loss {
        /// Where the figure that is told was taken.
        told_at: Place,
        /// Where another figure decides, since it is less certain: its place and value in dB.
        decided_at: Option<(Place, f64)>,
        /// Seats of the measurement.
        n_seats: usize,
        /// What is known of a gain step; absent where the figure does not depend on it.
        level: Option<OpenLevel>,
    },
    /// A light reading.
    Light,
    /// Nothing is shown.
    Nothing(NotShown),
}

/// Where a figure was taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Nominal frequency, Hz; absent for a mean over bands.
    pub nominal_hz: Option<f64>,
    /// Ids of seats: none for the mean, two for a difference of seats.
    pub seats: Vec<String>,
}

impl Place {
    /// Its seat or seats; `None` for a mean over all of them.
    pub fn seat_label(&self) -> Option<String> {
        (!self.seats.is_empty()).then(|| self.seats.join(" and "))
    }
}

/// Why nothing is shown about a claim.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum NotShown {
    /// The gain between the conditions is not known.
    Level(OpenLevel),
    /// No band of the measurement lies in the range of the claim.
    NoBand,
    /// Figures that it needs are absent; at least one.
    Absent(Vec<Absent>),
    /// Too few seats are clear to stand for the session: see [`ClaimVerdict::weak_seats`].
    TooFewSeats,
    /// There is no light figure.
    NoLight(NoLight),
    /// The light figure, its uncertainty or the limits are not finite numbers in order.
    LightNotFinite,
}

/// A figure that a claim needs and that is absent.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum Absent {
    /// No seat was measured.
    Seats,
    /// A spread over seats needs at least two.
    SecondSeat,
    /// The band of this nominal frequency in Hz was not measured.
    Band(f64),
    /// No band has its nominal frequency between these, Hz.
    BandBetween([f64; 2]),
    /// A seat has no loss in a band.
    AtSeat {
        /// Nominal frequency, Hz.
        nominal_hz: f64,
        /// Seat id.
        seat: String,
        /// Why, where it is known.
        why: Option<Absence>,
    },
    /// The band of this nominal frequency in Hz has no mean over the seats.
    Mean(f64),
    /// The figure there, or its uncertainty, is not a finite number.
    Finite(Place),
}

/// Why there is no light figure for a claim.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum NoLight {
    /// No light readings at all.
    Readings,
    /// No reading at the centre has a reference or illuminance.
    Reference,
    /// No reading on the axis.
    OnAxis,
    /// No reading on the axis to hold the reading at an angle against.
    OnAxisForRatio,
    /// No readings around the angle.
    AtAngle {
        /// Angle of the claim, degrees.
        angle_deg: f64,
        /// Largest angle read, degrees.
        largest_deg: f64,
    },
    /// No readings of the centre and four other points.
    Points,
    /// The claim is not about light.
    OtherQuantity,
}

/// Seats that a verdict does not rest on, or not firmly.
#[derive(Debug, Clone, PartialEq)]
pub struct WeakSeats {
    /// Ids of seats that are left out.
    pub left_out: Vec<String>,
    /// Ids of seats that rest on doubtful takes.
    pub in_doubt: Vec<String>,
    /// Seats of the session.
    pub n_seats: usize,
}

impl WeakSeats {
    /// Seats that count in full.
    pub fn n_clear(&self) -> usize {
        self.n_seats.saturating_sub(self.left_out.len() + self.in_doubt.len())
    }
}
