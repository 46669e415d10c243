//! What is read of a finished job: the parts of `result.json` that sheets are compared by.

use super::mean::RoomFigure;
use crate::analysis::sheet::kinds::{ModelKind, Quantity};
use crate::analysis::sheet::models::Sheet;
use crate::analysis::student::student_quantile;
use serde::Deserialize;

/// A finished job.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredResult {
    /// Kind of document.
    pub format: String,
    pub version: u32,
    /// Title of the job; may name the client.
    pub title: String,
    pub date: Option<String>,
    /// The sheet as the manifest names it.
    pub screen: StoredScreen,
    /// Figures that sum the job up.
    pub headline: StoredHeadline,
    /// Bands of all lists.
    pub bands: Vec<StoredBand>,
    pub seats: Vec<StoredSeat>,
    /// Mean and spread over the seats.
    pub mean: StoredMean,
    /// Uncertainty by its terms.
    pub budget: Vec<StoredTerm>,
    /// Verdicts on claims.
    pub claims: Vec<StoredClaim>,
    /// Ranges in which something rattles.
    pub rattle: Vec<StoredRattle>,
    /// Kind of loss, and the gap.
    pub sheet: Option<StoredSheet>,
    /// The setting.
    pub correction: Option<StoredCorrection>,
    /// Light and geometry.
    pub picture: Option<StoredPicture>,
}

/// `screen`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredScreen {
    /// Name as on the order.
    pub name: Option<String>,
}

/// `headline`
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct StoredHeadline {
    pub largest_loss: Option<StoredLargest>,
}

/// `headline.largest_loss`
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct StoredLargest {
    /// Band, Hz.
    pub nominal_hz: f64,
}

/// `bands[]`
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct StoredBand {
    /// Name, Hz.
    pub nominal_hz: f64,
    /// Mid-band, Hz.
    pub exact_hz: f64,
}

/// `seats[]`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredSeat {
    pub id: String,
    /// Place.
    pub position_m: Option<[f64; 3]>,
    pub loss_db: Vec<Option<f64>>,
    /// Its expanded uncertainty, dB.
    pub u95_db: Vec<Option<f64>>,
    /// Degrees of freedom.
    pub dof: Vec<Option<f64>>,
}

/// `mean`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredMean {
    /// Mean loss, dB.
    pub loss_db: Vec<Option<f64>>,
    /// Expanded uncertainty, dB.
    pub u95_db: Vec<Option<f64>>,
    /// Degrees of freedom.
    pub dof: Vec<Option<f64>>,
    /// Standard deviation over the seats, dB.
    pub sd_db: Vec<Option<f64>>,
}

/// `budget[]`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredTerm {
    /// Which.
    pub term: String,
    /// Whether the seats share it.
    pub common: bool,
    /// Standard uncertainty, dB.
    pub u_db: Vec<Option<f64>>,
}

/// `claims[]`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredClaim {
    /// What is claimed.
    pub quantity: String,
    pub verdict: String,
    pub measured_db: Option<f64>,
    /// Expanded uncertainty, dB.
    pub u95_db: Option<f64>,
    /// Claimed, dB.
    pub limit_db: Option<f64>,
    pub lower_limit_db: Option<f64>,
    /// Measured, of a claim about light.
    #[serde(default)]
    pub measured: Option<f64>,
    /// Its expanded uncertainty.
    #[serde(default)]
    pub u95: Option<f64>,
    /// Upper limit of a claim about light.
    #[serde(default)]
    pub maximum: Option<f64>,
    /// Lower limit of a claim about light.
    #[serde(default)]
    pub minimum: Option<f64>,
}

/// `rattle[]`
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct StoredRattle {
    /// From, Hz.
    pub low_hz: f64,
    /// To, Hz.
    pub high_hz: f64,
}

/// `sheet`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredSheet {
    /// Models.
    pub evidence: StoredEvidence,
    pub gap: StoredGap,
}

/// `sheet.evidence`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredEvidence {
    /// Fits, best first.
    pub fits: Vec<StoredFit>,
}

/// `sheet.evidence.fits[]`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredFit {
    pub kind: ModelKind,
    /// The sheet that came out.
    pub sheet: Sheet,
    /// Parameters with their intervals.
    pub parameters: Vec<StoredParameter>,
    /// Corrected Akaike criterion.
    pub aicc: f64,
}

/// A fitted parameter.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredParameter {
    pub quantity: Quantity,
    pub value: Option<f64>,
    /// Lower end, 95 %.
    pub low: Option<f64>,
    /// Upper end, 95 %.
    pub high: Option<f64>,
}

/// `sheet.gap`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredGap {
    /// As in the manifest, m.
    pub stated_m: Option<f64>,
    /// From the takes.
    pub found: Option<StoredFoundGap>,
    /// The one that was used, m.
    pub used_m: Option<f64>,
}

/// `sheet.gap.found`
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct StoredFoundGap {
    pub gap_m: f64,
    /// Expanded uncertainty, m.
    pub u95_m: f64,
}

/// `correction`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredCorrection {
    pub trim_db: f64,
    /// Its expanded uncertainty, dB.
    pub trim_u95_db: f64,
    /// Whether one setting serves all seats.
    pub serves_all_seats: bool,
    /// Filters.
    pub sections: Vec<StoredSection>,
    /// Per band.
    pub bands: Vec<StoredCorrectionBand>,
}

/// `correction.sections[]`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredSection {
    /// Type of filter.
    #[serde(rename = "type")]
    pub kind: String,
    pub frequency_hz: f64,
    pub gain_db: f64,
    pub q: f64,
}

/// `correction.bands[]`
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct StoredCorrectionBand {
    /// Band, Hz.
    pub nominal_hz: f64,
    /// Gain of the filters, dB.
    pub gain_db: f64,
}

/// `picture`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredPicture {
    pub light: Option<StoredLight>,
    pub geometry: StoredGeometry,
}

/// `picture.light`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredLight {
    pub gain: Option<StoredGain>,
}

/// `picture.light.gain`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredGain {
    pub on_axis: Option<RoomFigure>,
    pub over_angle: Vec<StoredGainPoint>,
}

/// `picture.light.gain.over_angle[]`
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct StoredGainPoint {
    /// Angle, degrees.
    pub angle_deg: f64,
    /// Gain over that on the axis.
    pub ratio: Option<RoomFigure>,
}

/// `picture.geometry`
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct StoredGeometry {
    pub seats: Vec<StoredSeatGeometry>,
    /// Distance from which the structure is below one minute of arc, m.
    pub structure_distance_m: Option<f64>,
}

/// `picture.geometry.seats[]`
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct StoredSeatGeometry {
    /// Angle off the loudspeaker's axis, degrees.
    pub loudspeaker_deg: f64,
}

impl StoredResult {
    /// Reads a result document.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn parse(text: &[u8]) -> Result<Self, String> {
        let result: Self = serde_json::from_slice(text).map_err(|e| e.to_string())?;
        let n = result.bands.len();
        let lists =
            [&result.mean.loss_db, &result.mean.u95_db, &result.mean.dof, &result.mean.sd_db];
        let of_seats = result.seats.iter().flat_map(|s| [&s.loss_db, &s.u95_db, &s.dof]);
        if result.format != crate::report::result::FORMAT {
            Err("it is no result document".into())
        } else if n == 0 || lists.into_iter().chain(of_seats).any(|list| list.len() != n) {
            Err("its lists do not follow its bands".into())
        } else {
            Ok(result)
        }
    }

    /// Place of a band in all lists.
    pub fn at(&self, nominal_hz: f64) -> Option<usize> {
        self.bands.iter().position(|b| (b.nominal_hz / nominal_hz - 1.0).abs() < 1e-6)
    }

    /// Mean loss of a band, dB.
    pub fn band(&self, nominal_hz: f64) -> Option<RoomFigure> {
        let (b, m) = (self.at(nominal_hz)?, &self.mean);
        Some(RoomFigure { value: m.loss_db[b]?, u: standard(m.u95_db[b]?, m.dof[b]?)? })
    }

    /// Standard uncertainty in a band of the terms that come from the method, dB.
    pub fn method_u_db(&self, nominal_hz: f64) -> f64 {
        let b = self.at(nominal_hz);
        let of = |t: &&StoredTerm| METHOD_TERMS.contains(&t.term.as_str());
        // What each seat draws for itself shrinks in the mean over the seats.
        let n_seats = self.seats.len().max(1) as f64;
        let square = |t: &StoredTerm| {
            let u = b.and_then(|b| t.u_db.get(b).copied().flatten()).unwrap_or(0.0);
            u * u / if t.common { 1.0 } else { n_seats }
        };
        self.budget.iter().filter(of).map(square).sum::<f64>().sqrt()
    }

    /// Cosines of the angles to the seats, where positions are stated.
    pub fn cosines(&self) -> Vec<f64> {
        let seats = self.picture.iter().flat_map(|p| &p.geometry.seats);
        seats.map(|s| s.loudspeaker_deg.to_radians().cos().max(0.1)).collect()
    }
}

/// Terms of the uncertainty that are the method's own. They may err in the same way in every room
/// with the same sheet, so they do not shrink with the number of rooms.
const METHOD_TERMS: [&str; 2] = ["model", "window"];

/// Standard uncertainty of an expanded one with its degrees of freedom.
pub fn standard(u95: f64, dof: f64) -> Option<f64> {
    Some(u95 / student_quantile(0.975, dof)?)
}
