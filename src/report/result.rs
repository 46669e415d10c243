//! The one finished document of a session. Every table, file, plot and paper is
//! written from it, and none of them computes a figure anew.
//!
//! The field names here are the keys of `result.json`; a key is always there,
//! and a figure that the data cannot carry is `null`.

use super::words::claims::ClaimWords;
use super::words::correction::SaidSetting;
use super::words::heard::HeardTest;
use super::words::said::{Said, Statement};
use super::words::sheet::SheetResult;
use super::words::verification::VerificationWords;
use crate::analysis::band_levels::Levels;
use crate::analysis::claims::ClaimVerdict;
use crate::analysis::geometry::Geometry;
use crate::analysis::level::LevelFinding;
use crate::analysis::picture::Light;
use crate::analysis::power::PowerCost;
use crate::analysis::seats::SeatDependence;
use crate::analysis::verification::Verification;
use crate::judge::rattle::Rattle;
use crate::judge::{Linearity, Outcome};
use crate::transfer::distortion::Distortion;
use crate::warning::Warning;
use serde::Serialize;
use std::collections::BTreeMap;

/// Value of `format`: what tells a result document from any other JSON file.
pub const FORMAT: &str = "scrimcheck-result";

/// Value of `version`: raised when a key changes its meaning or goes away.
pub const VERSION: u32 = 1;

/// Everything that was found about a session.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct SessionResult {
    /// Always [`FORMAT`].
    pub format: &'static str,
    /// Always [`VERSION`].
    pub version: u32,
    /// Title of the session.
    pub title: String,
    /// Date of the recordings as written in the manifest.
    pub date: Option<String>,
    /// The sheet as the manifest names it.
    pub screen: ScreenResult,
    /// The figures that sum the session up.
    pub headline: Headline,
    /// The bands that all per-band lists follow.
    pub bands: Vec<Band>,
    /// One entry for each seat, in the order of the manifest.
    pub seats: Vec<SeatResult>,
    /// Mean and spread over the seats.
    pub mean: MeanResult,
    /// Losses on the 1/24-octave grid.
    pub curve: Curve,
    /// What became of each recording: used, doubtful or left out.
    pub takes: Vec<Outcome>,
    /// Whether the recording chain was shown to be linear.
    pub linearity: Linearity,
    /// Sound pressure levels by condition, and the noise under them.
    pub levels: Option<Levels>,
    /// What the uncertainty of the losses is made of.
    pub budget: Vec<BudgetTerm>,
    /// Broadband level between the conditions, and whether it can be told from loss.
    pub level: Option<Said<LevelFinding, Statement<String>>>,
    /// Verdicts on the maker's claims.
    pub claims: Vec<Said<ClaimVerdict, ClaimWords>>,
    /// Ranges in which something rattles only with the screen.
    pub rattle: Vec<Rattle>,
    /// What the ranges of `rattle` were found in; absent without takes in both conditions.
    pub rattle_profile: Option<RattleProfile>,
    /// Smallest rattle that the noise would have let through, dB below the sweep's own level
    /// at the frequency that excites it; weaker ones stay hidden.
    pub rattle_limit_db: Option<f64>,
    /// Harmonics of the loudspeaker by condition, where the sweep can tell them.
    pub distortion: Option<DistortionResult>,
    /// How much of the shape of the loss is common to the seats.
    pub seat_dependence: Option<Said<SeatDependence>>,
    /// The equaliser setting, and whether it serves all seats.
    pub correction: Option<SaidSetting>,
    /// The setting as achieved, where takes with it active were made.
    pub verification: Option<Said<Verification, VerificationWords>>,
    /// Which physical description of the sheet the data support, and the gap
    /// between loudspeaker and sheet, stated and found.
    pub sheet: Option<SheetResult>,
    /// What the correction costs in power, against the limits.
    pub power: Option<Said<PowerCost>>,
    /// Light readings and viewing geometry.
    pub picture: Option<PictureResult>,
    /// Blind tests that were kept in the job.
    pub listening: Vec<HeardTest>,
    /// What is doubtful, and what to do about it.
    pub warnings: Vec<Warning>,
    /// The same in feet and foot-lamberts, for papers whose reader wants these.
    #[serde(skip)]
    pub imperial_warnings: Vec<Warning>,
}

impl SessionResult {
    /// Largest loss of a seat over the bands of the headline: nominal band, Hz, and dB.
    pub fn largest_loss(&self, seat: &SeatResult) -> Option<(f64, f64)> {
        let [low, high] = self.headline.band_hz;
        let bands = self.bands.iter().map(|band| band.nominal_hz).zip(&seat.loss_db);
        bands
            .filter(|(hz, _)| (low..=high).contains(hz))
            .filter_map(|(hz, loss)| Some((hz, (*loss)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }
}

/// The sheet as the manifest names it.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct ScreenResult {
    /// Name as on the order.
    pub name: Option<String>,
    /// Whether a second cloth hangs behind it.
    pub backing: bool,
}

/// The figures that sum a session up: over the bands from 500 Hz, from where
/// the losses are those of the direct sound, to 16 kHz.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Headline {
    /// Nominal names of the lowest and highest band.
    pub band_hz: [f64; 2],
    /// Mean over those bands of the mean over seats, dB; absent when any is.
    pub mean_loss_db: Option<f64>,
    /// The band in which the mean over seats is largest.
    pub largest_loss: Option<BandFigure>,
    /// The band in which the seats differ most.
    pub largest_range: Option<BandFigure>,
}

/// A figure of one band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BandFigure {
    /// Name of the band, Hz.
    pub nominal_hz: f64,
    /// The figure, dB.
    pub value_db: f64,
}

/// A third-octave band.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Band {
    /// Name on scales, Hz (3150 for 3162.3).
    pub nominal_hz: f64,
    /// Mid-band frequency, Hz (IEC 61260-1, base 10).
    pub exact_hz: f64,
}

impl Band {
    /// Short name for tables: "630", "3.15k".
    pub fn label(&self) -> String {
        crate::words::frequency_label(self.nominal_hz)
    }
}

/// The loss at one seat. All lists have the length of [`SessionResult::bands`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatResult {
    /// Seat id.
    pub id: String,
    /// Name for people; the id where none is given.
    pub name: String,
    /// Importance in the equaliser fit.
    pub weight: f64,
    /// Metres ahead of the loudspeaker, to the right as the audience sees it, above the floor.
    pub position_m: Option<[f64; 3]>,
    /// Number of microphone placements used.
    pub spots: Spots,
    /// Headline loss, dB, positive = the screen takes energy away:
    /// of the direct sound from 500 Hz up, of everything below.
    pub loss_db: Vec<Option<f64>>,
    /// Expanded uncertainty of `loss_db`, two-sided 95 %, dB.
    pub u95_db: Vec<Option<f64>>,
    /// Effective degrees of freedom of `u95_db`.
    pub dof: Vec<Option<f64>>,
    /// Loss of everything that reaches the seat, dB.
    pub in_room_loss_db: Vec<Option<f64>>,
    /// Loss of the direct sound, dB.
    pub direct_loss_db: Vec<Option<f64>>,
    /// Why a band holds no value; `null` where it holds one.
    pub absent: Vec<Option<String>>,
    /// Bands whose level stands only 4 to 10 dB above the noise.
    pub doubtful: Vec<bool>,
    /// Doubtful takes that its figures rest on.
    pub doubtful_takes: Vec<String>,
}

impl SeatResult {
    /// The bands without a value by the reason why, as places in [`SessionResult::bands`].
    pub fn absent_by_reason(&self) -> BTreeMap<&str, Vec<usize>> {
        let mut by_reason: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for (band, reason) in self.absent.iter().enumerate() {
            if let Some(reason) = reason {
                by_reason.entry(reason).or_default().push(band);
            }
        }
        by_reason
    }
}

/// Microphone placements at a seat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Spots {
    /// Without the screen.
    pub without: usize,
    /// With the screen.
    pub with: usize,
}

/// Mean over seats (unweighted) and spread, lists by band.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct MeanResult {
    /// Mean of the seats' headline losses, dB.
    pub loss_db: Vec<Option<f64>>,
    /// Expanded uncertainty of the mean, two-sided 95 %, dB.
    pub u95_db: Vec<Option<f64>>,
    /// Effective degrees of freedom of `u95_db`.
    pub dof: Vec<Option<f64>>,
    /// Standard deviation over seats (n-1), dB.
    pub sd_db: Vec<Option<f64>>,
    /// Largest minus smallest loss, dB.
    pub range_db: Vec<Option<f64>>,
    /// Number of seats with a value.
    pub seats: Vec<usize>,
}

/// Losses on a 1/24-octave grid.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Curve {
    /// Mid-bands, Hz.
    pub frequency_hz: Vec<f64>,
    /// Mean over seats, dB.
    pub mean_loss_db: Vec<Option<f64>>,
    /// Each seat.
    pub seats: Vec<SeatCurve>,
}

/// Loss at one seat on the grid of [`Curve`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeatCurve {
    /// Seat id.
    pub id: String,
    pub loss_db: Vec<Option<f64>>,
}

/// One term of the uncertainty, lists by band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BudgetTerm {
    /// Short name.
    pub term: String,
    /// Where it comes from, in a sentence.
    pub origin: String,
    /// Whether all seats share it, so that it does not shrink in their mean.
    pub common: bool,
    /// Standard uncertainty, root mean square over the seats, dB.
    pub u_db: Vec<Option<f64>>,
}

/// The picture side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PictureResult {
    /// Light readings, where there are any.
    pub light: Option<Said<Light, Statement>>,
    /// Seats and screen.
    pub geometry: Said<Geometry, Statement>,
}

/// Sound above 2 kHz with the screen over that without it, against the sweep's frequency.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RattleProfile {
    /// Momentary frequencies of the sweep, Hz.
    pub frequency_hz: Vec<f64>,
    /// Excess, median over the seats, dB.
    pub excess_db: Vec<Option<f64>>,
    /// Excess from which on it counts, dB.
    pub alarm_db: f64,
}

/// Harmonics by condition, mean over the takes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DistortionResult {
    /// Without the screen.
    pub without: Option<Distortion>,
    pub with: Option<Distortion>,
    /// With it, equaliser active.
    pub corrected: Option<Distortion>,
}
