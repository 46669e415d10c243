//! `[[claim]]`: what the maker's sheet says.

use serde::Deserialize;

/// `[[claim]]`: one line of the maker's sheet. Which keys a quantity needs is
/// checked when the manifest is read.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Claim {
    /// What is claimed.
    pub quantity: ClaimQuantity,
    /// Frequency range, Hz: bands whose nominal names lie inside, ends included.
    pub band_hz: Option<[f64; 2]>,
    /// Largest loss, dB.
    pub limit_db: Option<f64>,
    /// Frequency of the claim, Hz.
    pub at_hz: Option<f64>,
    /// Reference frequency of a relative claim, Hz.
    pub reference_hz: Option<f64>,
    /// Points of a claimed curve.
    pub points: Option<Vec<CurvePoint>>,
    /// Tolerance of a claimed curve or of a two-sided figure, dB.
    pub tolerance_db: Option<f64>,
    /// Smallest figure (gain, ratio, uniformity), plain number.
    pub minimum: Option<f64>,
    /// Largest figure, plain number.
    pub maximum: Option<f64>,
    /// Viewing angle of a light claim, degrees.
    pub angle_deg: Option<f64>,
    /// For which seats.
    #[serde(default)]
    pub scope: ClaimScope,
    /// Where the claim stands.
    pub source: Option<String>,
}

/// `claim.quantity`
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ClaimQuantity {
    /// Largest loss of any band in `band_hz`.
    MaximumLoss,
    /// Mean loss over the bands in `band_hz`.
    AverageLoss,
    /// Loss in the band at `at_hz`.
    LossAt,
    /// Loss at `at_hz` above the loss at `reference_hz`.
    RelativeLoss,
    /// A curve with tolerance.
    LossCurve,
    /// Range over seats, any band in `band_hz`.
    SeatSpread,
    /// Luminance factor on the axis.
    GainOnAxis,
    /// Luminance factor at `angle_deg`.
    GainAtAngle,
    /// Gain at `angle_deg` over gain on the axis.
    GainOffAxisRatio,
    /// Luminance at the edges over the centre.
    Uniformity,
}

/// `claim.scope`
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ClaimScope {
    /// The mean over the seats.
    #[default]
    Mean,
    /// Each seat by itself.
    EverySeat,
}

/// A point of a claimed curve.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CurvePoint {
    /// Frequency, Hz.
    pub hz: f64,
    /// Claimed loss, dB.
    pub loss_db: f64,
}
