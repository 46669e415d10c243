//! The one finished document of a session. Every table, file, plot and paper is
//! written from it, and none of them computes a figure anew.
//!
//! The field names here are the keys of `result.json`; a key is always there,
//! and a figure that the data cannot carry is `null`.

use crate::analysis::claims::ClaimVerdict;
use crate::analysis::correction::Correction;
use crate::analysis::geometry::Geometry;
use crate::analysis::level::LevelFinding;
use crate::analysis::loss::{Absence, Estimate, LossTable, SeatLoss};
use crate::analysis::picture::Light;
use crate::analysis::power::PowerCost;
use crate::analysis::seats::SeatDependence;
use crate::analysis::sheet::finding::SheetFinding;
use crate::analysis::verification::Verification;
use crate::ingest::manifest::SeatInfo;
use crate::ingest::session::Session;
use crate::transfer::distortion::Distortion;
use crate::warning::Warning;
use serde::Serialize;

/// Value of `format`: what tells a result document from any other JSON file.
pub const FORMAT: &str = "scrimcheck-result";

/// Value of `version`: raised when a key changes its meaning or goes away.
pub const VERSION: u32 = 1;

/// Everything that was found about a session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SessionResult {
    /// Always [`FORMAT`].
    pub format: &'static str,
    /// Always [`VERSION`].
    pub version: u32,
    /// Title of the session.
    pub title: String,
    /// Date of the recordings as written in the manifest.
    pub date: Option<String>,
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
    /// Sound pressure levels by condition, and the noise under them.
    pub levels: Option<Levels>,
    /// What the uncertainty of the losses is made of.
    pub budget: Vec<BudgetTerm>,
    /// Broadband level between the conditions, and whether it can be told from loss.
    pub level: Option<LevelFinding>,
    /// Verdicts on the maker's claims.
    pub claims: Vec<ClaimVerdict>,
    /// Ranges in which something rattles only with the screen.
    pub rattle: Vec<RattleRange>,
    /// What the ranges of `rattle` were found in; absent without takes in both conditions.
    pub rattle_profile: Option<RattleProfile>,
    /// Smallest rattle that the noise would have let through, dB below the sweep's own level
    /// at the frequency that excites it; weaker ones stay hidden.
    pub rattle_limit_db: Option<f64>,
    /// Harmonics of the loudspeaker by condition, where the sweep can tell them.
    pub distortion: Option<DistortionResult>,
    /// How much of the shape of the loss is common to the seats.
    pub seat_dependence: Option<SeatDependence>,
    /// The equaliser setting, and whether it serves all seats.
    pub correction: Option<Correction>,
    /// The setting as achieved, where takes with it active were made.
    pub verification: Option<Verification>,
    /// Which physical description of the sheet the data support, and the gap
    /// between loudspeaker and sheet, stated and found.
    pub sheet: Option<SheetFinding>,
    /// What the correction costs in power, against the limits.
    pub power: Option<PowerCost>,
    /// Light readings and viewing geometry.
    pub picture: Option<PictureResult>,
    /// What is doubtful, and what to do about it.
    pub warnings: Vec<Warning>,
}

/// The figures that sum a session up: over the bands from 500 Hz, from where
/// the losses are those of the direct sound, to 16 kHz.
#[derive(Debug, Clone, PartialEq, Serialize)]
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
        super::words::frequency_label(self.nominal_hz)
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
    /// Metres ahead of the loudspeaker, to the right seen from it, above the floor.
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
#[derive(Debug, Clone, PartialEq, Serialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize)]
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
    /// Loss, dB.
    pub loss_db: Vec<Option<f64>>,
}

/// Band levels, mean over seats, lists by band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Levels {
    /// What 0 dB is.
    pub reference: String,
    /// Without the screen, dB.
    pub without_db: Vec<Option<f64>>,
    /// With the screen, dB.
    pub with_db: Vec<Option<f64>>,
    /// With screen and equaliser, dB; empty without such takes.
    pub corrected_db: Vec<Option<f64>>,
    /// Noise in the same recordings, the larger of the conditions, dB.
    pub noise_db: Vec<Option<f64>>,
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
    pub light: Option<Light>,
    /// Seats and screen.
    pub geometry: Geometry,
}

/// A range of frequencies in which something rattles only with the screen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RattleRange {
    /// Lower end, Hz.
    pub low_hz: f64,
    /// Upper end, Hz.
    pub high_hz: f64,
    /// Rattle above what is there without the screen, dB.
    pub excess_db: f64,
    /// Seats at which it was found.
    pub seats: Vec<String>,
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
    /// With it.
    pub with: Option<Distortion>,
    /// With it, equaliser active.
    pub corrected: Option<Distortion>,
}

impl SessionResult {
    /// The document for a session whose losses are known. The parts that not
    /// every session has (`levels` to `picture`) are empty; the chain fills
    /// them in.
    ///
    /// Figures are rounded to a millionth, far below any uncertainty, so that
    /// files stay readable. A value that is not finite becomes absent.
    pub fn new(session: &Session, losses: &LossTable, warnings: Vec<Warning>) -> Self {
        let info = &session.manifest.session;
        let seats: Vec<_> = losses
            .seats
            .iter()
            .map(|s| seat_result(s, session.manifest.seat.get(s.seat)))
            .collect();
        let bands: Vec<Band> = losses
            .bands
            .iter()
            .map(|b| Band { nominal_hz: b.nominal_hz(), exact_hz: b.exact_hz() })
            .collect();
        let mean = mean_result(losses, &seats);
        Self {
            format: FORMAT,
            version: VERSION,
            title: info.title.clone(),
            date: info.date.as_ref().map(ToString::to_string),
            headline: headline(&bands, &mean),
            bands,
            mean,
            curve: Curve {
                frequency_hz: losses.fine_hz.clone(),
                mean_loss_db: all_finite(&losses.mean.fine_db),
                seats: losses
                    .seats
                    .iter()
                    .map(|s| SeatCurve { id: s.id.clone(), loss_db: all_finite(&s.fine_db) })
                    .collect(),
            },
            seats,
            levels: None,
            budget: Vec::new(),
            level: None,
            claims: Vec::new(),
            rattle: Vec::new(),
            rattle_profile: None,
            rattle_limit_db: None,
            distortion: None,
            seat_dependence: None,
            correction: None,
            verification: None,
            sheet: None,
            power: None,
            picture: None,
            warnings,
        }
    }
}

fn seat_result(seat: &SeatLoss, info: Option<&SeatInfo>) -> SeatResult {
    let loss = Columns::of(&seat.loss);
    let absent = seat
        .absent
        .iter()
        .zip(&loss.value)
        .map(|(reason, value)| match (reason, value) {
            (_, Some(_)) => None,
            (Some(reason), None) => Some(absence_sentence(reason)),
            (None, None) => Some("no finite value came out".to_owned()),
        })
        .collect();
    SeatResult {
        id: seat.id.clone(),
        name: info.and_then(|i| i.name.clone()).unwrap_or_else(|| seat.id.clone()),
        weight: seat.weight,
        position_m: info.and_then(|i| i.position_m),
        spots: Spots { without: seat.spots[0], with: seat.spots[1] },
        loss_db: loss.value,
        u95_db: loss.u95,
        dof: loss.dof,
        in_room_loss_db: all_finite(&seat.in_room_db),
        direct_loss_db: all_finite(&seat.direct_db),
        absent,
        doubtful: seat.doubtful.clone(),
    }
}

fn mean_result(losses: &LossTable, seats: &[SeatResult]) -> MeanResult {
    let mean = Columns::of(&losses.mean.loss);
    MeanResult {
        seats: (0..losses.bands.len())
            .map(|b| seats.iter().filter(|s| s.loss_db.get(b).is_some_and(Option::is_some)).count())
            .collect(),
        loss_db: mean.value,
        u95_db: mean.u95,
        dof: mean.dof,
        sd_db: all_finite(&losses.mean.sd_db),
        range_db: all_finite(&losses.mean.range_db),
    }
}

/// Nominal names of the bands that the headline sums up: where the losses are
/// those of the direct sound, and every usual tweeter reaches.
const HEADLINE_HZ: [f64; 2] = [500.0, 16_000.0];

fn headline(bands: &[Band], mean: &MeanResult) -> Headline {
    let inside: Vec<usize> = (0..bands.len())
        .filter(|&b| (HEADLINE_HZ[0]..=HEADLINE_HZ[1]).contains(&bands[b].nominal_hz))
        .collect();
    let largest = |values: &[Option<f64>]| {
        inside
            .iter()
            .filter_map(|&b| {
                Some(BandFigure { nominal_hz: bands[b].nominal_hz, value_db: values[b]? })
            })
            .max_by(|a, b| a.value_db.total_cmp(&b.value_db))
    };
    let losses: Option<Vec<f64>> = inside.iter().map(|&b| mean.loss_db[b]).collect();
    let mean_loss_db = losses
        .filter(|l| !l.is_empty())
        .and_then(|l| finite(l.iter().sum::<f64>() / l.len() as f64));
    Headline {
        band_hz: HEADLINE_HZ,
        mean_loss_db,
        largest_loss: largest(&mean.loss_db),
        largest_range: largest(&mean.range_db),
    }
}

/// Estimates as the three lists of the document; an estimate with any
/// figure that is not finite is absent as a whole.
struct Columns {
    value: Vec<Option<f64>>,
    u95: Vec<Option<f64>>,
    dof: Vec<Option<f64>>,
}

impl Columns {
    fn of(estimates: &[Option<Estimate>]) -> Self {
        let whole: Vec<Option<[f64; 3]>> = estimates
            .iter()
            .map(|e| {
                let e = e.as_ref()?;
                Some([finite(e.value_db)?, finite(e.u95_db)?, finite(e.dof.min(MAX_DOF))?])
            })
            .collect();
        let column = |i: usize| whole.iter().map(|e| e.map(|e| e[i])).collect();
        Self { value: column(0), u95: column(1), dof: column(2) }
    }
}

/// Degrees of freedom are written no larger than this: Student's factor
/// differs from the normal one by less than 0.03 % there, and an infinite
/// number has no place in JSON.
const MAX_DOF: f64 = 1e4;

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then(|| (value * 1e6).round() / 1e6)
}

fn all_finite(values: &[Option<f64>]) -> Vec<Option<f64>> {
    values.iter().map(|v| v.and_then(finite)).collect()
}

/// The reason for an absent band, as a sentence without a full stop.
pub fn absence_sentence(absence: &Absence) -> String {
    match absence {
        Absence::OutsideSweep => "the sweep does not cover this band".to_owned(),
        Absence::Noise { snr_db } if snr_db.is_finite() => {
            format!("only {snr_db:.1} dB above the noise of the take, at least 4 dB are needed")
        }
        Absence::Noise { .. } => "lost in the noise of the take".to_owned(),
        Absence::NoTake => "no usable take in one of the conditions".to_owned(),
    }
}
