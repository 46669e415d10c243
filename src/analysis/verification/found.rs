//! What takes with the setting active say of it.

use crate::analysis::biquad::SectionKind;
use crate::analysis::correction::{Predicted, WorstBand};
use serde::Serialize;

/// Deviation of a factor from what was asked that counts as asked: a tenth of the gain.
pub(super) const FACTOR_TOLERANCE: f64 = 0.1;

/// Deviation of the trim from what was asked that counts as asked, dB: half a usual step.
pub(super) const TRIM_TOLERANCE_DB: f64 = 0.25;

/// What was found of one number of the setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    AsAsked,
    /// Not there at all.
    NotActive,
    /// With the opposite sign.
    Inverted,
    /// Twice what was asked.
    Twice,
    /// Half of what was asked.
    Half,
    /// Something else.
    Different,
    /// The recordings do not tell.
    CannotTell,
}

/// What of the setting a number belongs to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Part {
    /// Level that is made up.
    Level,
    Filter {
        kind: SectionKind,
        frequency_hz: f64,
    },
}

/// A number of the setting as found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FoundNumber {
    /// What it belongs to.
    #[serde(skip)]
    pub part: Part,
    /// Gain asked, dB.
    pub asked_db: f64,
    /// Gain found, dB; absent where the recordings do not tell.
    pub found_db: Option<f64>,
    /// Expanded uncertainty of the gain found (95 %), dB.
    pub u95_db: Option<f64>,
    /// Judgement.
    pub finding: Finding,
}

/// What the recordings with the setting active say as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum VerificationVerdict {
    /// Done as asked, and every seat lies within the tolerance.
    Achieved,
    /// Done as asked, but what is left exceeds the tolerance at a seat.
    DoneButLeftOver,
    /// Nothing changed: not active, or set on another channel.
    NotActive,
    /// Cuts where boosts were asked, and the reverse.
    Inverted,
    /// Twice the gain asked.
    Twice,
    /// Half the gain asked.
    Half,
    /// The filters are not active, the level is.
    FiltersNotActive,
    /// The filters are active, the level is not made up.
    TrimNotApplied,
    /// Single sections are not as asked; `sections` says which.
    SectionsDiffer,
    /// The change is another one than asked.
    Different,
    /// The recordings do not tell.
    CannotTell,
}

/// One seat with the setting active.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatVerification {
    /// Seat id.
    pub id: String,
    /// Change that the setting made, dB per band; positive = louder.
    pub change_db: Vec<Option<Predicted>>,
    /// Loss left, measured, dB per band.
    pub left: Vec<Option<Predicted>>,
    /// Measured less predicted loss, dB per band; positive = less was achieved than predicted.
    pub off_db: Vec<Option<Predicted>>,
    /// Shape left (level apart), 500 Hz-16 kHz, dB rms.
    pub left_rms_db: Option<f64>,
    /// Band farthest off, level apart.
    pub worst_band: Option<WorstBand>,
    /// Whether the shape left lies within the tolerance.
    pub within: bool,
    /// Whether it does with the uncertainty counted in, in every band.
    pub shown: bool,
}

/// Achieved against predicted. In JSON `trim` and `sections` stand with their names.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verification {
    pub verdict: VerificationVerdict,
    /// The level made up.
    #[serde(skip)]
    pub trim: Option<FoundNumber>,
    /// Factor between the filters' gain found and asked; 1 = as asked.
    pub factor: Option<f64>,
    /// Its expanded uncertainty (95 %).
    pub factor_u95: Option<f64>,
    /// Section by section, in the order of the correction.
    #[serde(skip)]
    pub sections: Vec<FoundNumber>,
    /// Seats of the corrected table that hold a loss in both tables.
    pub seats: Vec<SeatVerification>,
    /// Level left over in the mean of the seats, 500 Hz-2 kHz, dB.
    pub level_left_db: Option<f64>,
    /// All bands, all seats: rms of measured less predicted, dB.
    pub off_rms_db: Option<f64>,
}
