//! What is doubtful: kept in the result, printed, and written to JSON and papers alike.

use serde::Serialize;

/// What a warning is about; the words used as `topic` in `result.json`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Topic {
    /// Samples at or near the converter's limit.
    Clipping,
    /// Recorded too low.
    LowLevel,
    /// Noise in bands.
    Noise,
    /// Mains hum lines.
    Hum,
    /// Constant offset.
    DcOffset,
    /// Recorder clock against player clock.
    ClockDrift,
    /// Sweep cut at start or end.
    Truncation,
    /// More than one sweep in a file.
    DoubleSweep,
    /// Door slam, cough or the like.
    Disturbance,
    /// Not a recording of this sweep.
    WrongSignal,
    /// Two files with the same recording.
    Duplicate,
    /// Recorded at another seat.
    WrongSeat,
    /// Gain that follows the level: automatic gain, a limiter.
    Linearity,
    /// Without and with exchanged.
    Swapped,
    /// Polarity differs.
    Polarity,
    /// Level changed between takes.
    GainStep,
    /// Level between conditions cannot be told from loss.
    LevelAmbiguity,
    /// Spots at a seat disagree.
    Repeatability,
    /// Air changed between conditions.
    Temperature,
    /// One placement only where two are needed.
    SingleSpot,
    /// Stated and found gap differ, or gap not stated.
    Gap,
    /// Takes or seats missing.
    Missing,
    /// A file whose name fits no take.
    FileName,
    /// Rattle with the screen.
    Rattle,
    /// Distortion.
    Distortion,
    /// Equaliser setting.
    Correction,
    /// Power or driver limits.
    Power,
    /// Light readings.
    Picture,
    /// Seat and screen geometry.
    Geometry,
    /// Sheet model against data.
    Sheet,
}

/// One doubt, with what to do about it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Warning {
    /// Kind.
    pub topic: Topic,
    /// Seat id, where one seat is meant.
    pub seat: Option<String>,
    /// Take file, where one take is meant.
    pub take: Option<String>,
    /// What was found, in a sentence.
    pub message: String,
    /// What to do, in a sentence.
    pub advice: String,
}
