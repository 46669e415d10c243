//! The loss per seat and its mean: what every later step and paper reads.

use crate::units::ThirdOctave;
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

/// Why a band holds no value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub enum Absence {
    /// The sweep does not cover the band.
    OutsideSweep,
    /// Level above the take's own noise, dB, below the 4 dB of ISO 2969:2015.
    Noise {
        /// Smallest level-to-noise distance of the takes used, dB.
        snr_db: f64,
    },
    /// The seat has no usable take in one condition.
    NoTake,
}

/// Loss at one seat, third-octave bands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatLoss {
    /// Index into `manifest.seat`.
    pub seat: usize,
    /// Seat id.
    pub id: String,
    /// Weight in fits and weighted means.
    pub weight: f64,
    /// Headline loss: direct from 500 Hz up, in the room below.
    pub loss: Vec<Option<Estimate>>,
    /// Loss of everything that reaches the seat, 240 ms, dB.
    pub in_room_db: Vec<Option<f64>>,
    /// Loss of the direct sound, dB.
    pub direct_db: Vec<Option<f64>>,
    /// Why a band is absent.
    pub absent: Vec<Option<Absence>>,
    /// Bands between 4 and 10 dB above noise: corrected, and doubtful.
    pub doubtful: Vec<bool>,
    /// Spots without and with.
    pub spots: [usize; 2],
    /// Loss on the 1/24-octave grid of [`LossTable::fine_hz`], dB.
    pub fine_db: Vec<Option<f64>>,
}

/// Mean over seats (unweighted) and spread, third-octave bands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeanLoss {
    /// Mean loss.
    pub loss: Vec<Option<Estimate>>,
    /// Standard deviation over seats (n-1), dB; absent below two seats.
    pub sd_db: Vec<Option<f64>>,
    /// Largest minus smallest, dB; absent below two seats.
    pub range_db: Vec<Option<f64>>,
    /// Mean on the fine grid, dB.
    pub fine_db: Vec<Option<f64>>,
}

/// Losses of a session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LossTable {
    /// Bands of all per-band vectors.
    #[serde(skip)]
    pub bands: Vec<ThirdOctave>,
    /// Mid-bands of all fine vectors, Hz.
    pub fine_hz: Vec<f64>,
    /// Seats in the order of the manifest.
    pub seats: Vec<SeatLoss>,
    /// Mean and spread.
    pub mean: MeanLoss,
}
