//! Every key the installer may write, with its unit ([`values`](super::values) has the ranges). More
//! than 350 lines: one list of keys.

use super::claim::Claim;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// The whole manifest, as written. Unknown keys are refused.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// What and when.
    pub session: SessionInfo,
    /// The signal that was played.
    pub sweep: SweepInfo,
    /// Channels and microphone.
    #[serde(default)]
    pub recording: RecordingInfo,
    /// The sheet.
    pub screen: ScreenInfo,
    /// What the maker's sheet claims.
    #[serde(default)]
    pub claim: Vec<Claim>,
    /// Listening positions.
    #[serde(default)]
    pub seat: Vec<SeatInfo>,
    /// Recordings; when left out the `takes` folder is read by default names.
    #[serde(default)]
    pub take: Vec<TakeInfo>,
    /// Loudspeaker and amplifier, for power figures.
    pub speaker: Option<SpeakerInfo>,
    /// Limits of the processor for the equaliser fit.
    #[serde(default)]
    pub correction: CorrectionLimits,
    /// Picture side.
    pub picture: Option<PictureInfo>,
    /// Names for the papers.
    #[serde(default)]
    pub handover: HandoverInfo,
}

/// `[session]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SessionInfo {
    /// Free text for headings.
    pub title: String,
    /// Local date of the recordings.
    pub date: Option<toml::value::Datetime>,
    /// How well the microphone goes back to its mark, mm (default 10).
    #[serde(default = "default_tolerance_mm")]
    pub placement_tolerance_mm: f64,
    /// The installer attests that no gain was touched between the conditions.
    #[serde(default)]
    pub gain_untouched: bool,
    /// Another session beside this one, `../NAME`, whose takes without a screen are used here:
    /// several cloths in one evening.
    pub without_from: Option<PathBuf>,
    /// Air temperature, degrees Celsius.
    pub temperature_c: Option<PerCondition>,
    /// Relative humidity, percent.
    pub humidity_percent: Option<PerCondition>,
}

fn default_tolerance_mm() -> f64 {
    10.0
}

/// One number, or one for each condition.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(
    untagged,
    expecting = "expected a number, or a table { without = ..., with = ... } with a number for each condition"
)]
pub enum PerCondition {
    /// The same in all conditions.
    One(f64),
    /// A number for each condition.
    Each(EachCondition),
}

/// Numbers by condition.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EachCondition {
    /// Without the screen.
    pub without: f64,
    /// With the screen.
    pub with: f64,
    /// With the screen and the equaliser active.
    pub corrected: Option<f64>,
}

/// `[sweep]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SweepInfo {
    /// The played signal, relative to the session folder.
    pub file: PathBuf,
    /// What signal it is.
    #[serde(default)]
    pub kind: SweepKind,
    /// Lowest frequency, Hz.
    pub start_hz: f64,
    /// Highest frequency, Hz.
    pub stop_hz: f64,
    /// Length of the sweep itself, s.
    pub duration_s: Option<f64>,
    /// Fade at the start, s.
    pub fade_in_s: Option<f64>,
    /// Fade at the end, s.
    pub fade_out_s: Option<f64>,
    /// Peak level, dB re full scale.
    pub level_dbfs: Option<f64>,
}

/// `sweep.kind`
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SweepKind {
    /// Exponential sweep: distortion, rattle and clock drift can be told.
    #[default]
    Exponential,
    /// Any other broadband signal.
    Other,
}

/// `[recording]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct RecordingInfo {
    /// Channel of the measurement microphone, counted from 1.
    pub mic_channel: u16,
    /// Channel with the recorded electrical reference, counted from 1.
    pub reference_channel: Option<u16>,
    /// CSV `frequency_hz, correction_db`; cancels in every loss, used for levels only.
    pub calibration_file: Option<PathBuf>,
}

impl Default for RecordingInfo {
    fn default() -> Self {
        Self { mic_channel: 1, reference_channel: None, calibration_file: None }
    }
}

/// `[screen]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScreenInfo {
    /// Name as on the order.
    pub name: Option<String>,
    /// How the sheet lets sound through.
    pub construction: Option<Construction>,
    /// Width of the picture area, m.
    pub width_m: Option<f64>,
    /// Height of the picture area, m.
    pub height_m: Option<f64>,
    /// Air between loudspeaker front and sheet, m.
    pub gap_m: Option<f64>,
    /// Whether a second (usually black) cloth hangs behind the sheet.
    #[serde(default)]
    pub backing: bool,
    /// Hole diameter, mm.
    pub hole_diameter_mm: Option<f64>,
    /// Distance between hole centres, mm.
    pub hole_pitch_mm: Option<f64>,
    /// Sheet thickness, mm.
    pub thickness_mm: Option<f64>,
    /// Open area, percent.
    pub open_area_percent: Option<f64>,
    /// Mass per area, g/m2.
    pub areal_mass_g_m2: Option<f64>,
    /// Specific flow resistance, Pa s/m.
    pub flow_resistance_pa_s_m: Option<f64>,
    /// Distance of the weave's threads, mm.
    pub weave_pitch_mm: Option<f64>,
}

/// `screen.construction`
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Construction {
    /// Cloth.
    Woven,
    /// Film or vinyl with holes.
    Perforated,
    /// Anything else.
    Other,
}

/// `[[seat]]`
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SeatInfo {
    /// Short name; part of default file names.
    pub id: String,
    /// Name for people.
    pub name: Option<String>,
    /// Metres ahead of the loudspeaker, to the right as the audience sees it, above the floor.
    pub position_m: Option<[f64; 3]>,
    /// Importance in the equaliser fit (default 1).
    #[serde(default = "one")]
    pub weight: f64,
}

fn one() -> f64 {
    1.0
}

/// `[[take]]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TakeInfo {
    /// Seat id.
    pub seat: String,
    /// Screen state.
    pub condition: Condition,
    /// Recording, relative to the session folder.
    pub file: PathBuf,
    /// Microphone placement; takes with equal number were made without touching it.
    pub spot: Option<u32>,
    /// Which loudspeaker played.
    #[serde(default)]
    pub source: SoundSource,
    /// Whether the sweep was played 10 dB lower, to show that the chain is linear.
    #[serde(default)]
    pub quiet: bool,
}

/// State of screen and equaliser during a take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Condition {
    /// Screen not hung.
    Without,
    /// Screen hung.
    With,
    /// Screen hung, equaliser active.
    Corrected,
}

/// Loudspeaker that played a take.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize, Serialize,
)]
#[serde(rename_all = "lowercase")]
pub enum SoundSource {
    /// The one behind the screen.
    #[default]
    Centre,
    /// A second one, not behind the screen.
    Control,
}

/// `[speaker]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpeakerInfo {
    /// Height of its reference point above the floor, m: angles to seats whose position is stated
    /// are worked out in three dimensions then.
    pub height_m: Option<f64>,
    /// Power used at reference level without the screen, W.
    pub power_w: Option<f64>,
    /// Power the amplifier can give, W.
    pub amplifier_w: Option<f64>,
    /// Power the high-frequency driver stands, W.
    pub driver_limit_w: Option<f64>,
    /// Band of that driver, Hz.
    pub driver_band_hz: Option<[f64; 2]>,
    /// Sensitivity, dB at 1 W, 1 m.
    pub sensitivity_db: Option<f64>,
}

impl Manifest {
    /// Cosine of the angle between the loudspeaker's axis and a seat, 0.1 to 1; 1 where no position
    /// is stated, in the plan alone where the loudspeaker's height is not.
    pub fn seat_cosine(&self, seat: usize) -> f64 {
        let Some([ahead, right, height]) = self.seat[seat].position_m else { return 1.0 };
        let speaker_m = self.speaker.as_ref().and_then(|s| s.height_m);
        let up = speaker_m.map_or(0.0, |speaker_m| height - speaker_m);
        let distance = ahead.hypot(right).hypot(up);
        if distance > 0.0 { (ahead / distance).clamp(0.1, 1.0) } else { 1.0 }
    }
}

/// `[correction]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CorrectionLimits {
    /// Range in which filters may act, Hz.
    pub band_hz: [f64; 2],
    /// Largest gain of a filter, dB.
    pub max_boost_db: f64,
    /// Largest cut of a filter, dB (positive number).
    pub max_cut_db: f64,
    /// Smallest and largest Q of a peaking filter.
    pub q: [f64; 2],
    /// Most peaking filters.
    pub max_filters: usize,
    /// Gain step of the processor, dB.
    pub gain_step_db: f64,
    /// Frequencies a filter may stand at.
    pub frequency_step: FrequencyStep,
    /// Step of Q (0 = free).
    pub q_step: f64,
    /// Sample rate of the processor, Hz.
    pub processor_rate_hz: f64,
    /// Whether a high shelf is at hand.
    pub high_shelf: bool,
    /// Largest residual shape at a seat that still counts as served, dB rms.
    pub tolerance_rms_db: f64,
    /// Largest residual of one band that still counts as served, dB.
    pub tolerance_band_db: f64,
}

/// `correction.frequency_step`: steps of an octave by the series of ISO 3, or any frequency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum FrequencyStep {
    /// Third octaves.
    #[serde(rename = "iso_1_3")]
    Iso3,
    /// Sixths.
    #[serde(rename = "iso_1_6")]
    Iso6,
    /// Twelfths.
    #[serde(rename = "iso_1_12")]
    Iso12,
    /// Twenty-fourths.
    #[serde(rename = "iso_1_24")]
    Iso24,
    /// Any.
    #[serde(rename = "free")]
    Free,
}

impl Default for CorrectionLimits {
    fn default() -> Self {
        Self {
            band_hz: [500.0, 16_000.0],
            max_boost_db: 6.0,
            max_cut_db: 6.0,
            q: [0.3, 4.0],
            max_filters: 3,
            gain_step_db: 0.5,
            frequency_step: FrequencyStep::Iso12,
            q_step: 0.0,
            processor_rate_hz: 48_000.0,
            high_shelf: true,
            tolerance_rms_db: 0.5,
            tolerance_band_db: 1.5,
        }
    }
}

/// `[picture]`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PictureInfo {
    /// Light readings (default `readings.csv` when present).
    pub readings_file: Option<PathBuf>,
    /// Gain of the white reference (default 1).
    pub reference_gain: Option<f64>,
    /// Standard uncertainty of one light reading, percent of reading.
    pub meter_uncertainty_percent: Option<f64>,
    /// Projector output, lm.
    pub projector_lm: Option<f64>,
    /// Aspect ratio of the full picture, width over height.
    pub aspect: Option<f64>,
    /// Aspect ratio of the masked (scope) picture.
    pub masked_aspect: Option<f64>,
    /// Picture elements across the full width.
    pub pixels_across: Option<u32>,
}

/// `[handover]`
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct HandoverInfo {
    /// For whom.
    pub client: Option<String>,
    /// Where.
    pub site: Option<String>,
    /// By whom.
    pub installer: Option<String>,
    /// Job number.
    pub reference: Option<String>,
    /// Units on display.
    pub units: DisplayUnits,
    /// Logo, PNG, JPEG or SVG.
    pub logo: Option<PathBuf>,
    /// Date of the papers.
    pub date: Option<toml::value::Datetime>,
    /// Instruments used, one line each.
    pub instruments: Vec<String>,
    /// What was not measured, one line each.
    pub not_measured: Vec<String>,
    /// Who signs, one line each.
    pub signatures: Vec<String>,
}

/// `handover.units`
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum DisplayUnits {
    /// Metres, cd/m2.
    #[default]
    Metric,
    /// Feet and inches, foot-lamberts.
    Imperial,
}
