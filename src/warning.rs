//! What is doubtful: kept in the result, printed, and written to JSON and papers alike.

use crate::ingest::manifest::DisplayUnits;
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

/// Warnings for every reader: those that tell a length or a luminance differ in it alone.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Warnings {
    /// In metric units: for files, table and page.
    pub metric: Vec<Warning>,
    /// In feet and foot-lamberts: for papers whose reader wants these.
    pub imperial: Vec<Warning>,
}

impl Warnings {
    /// Adds warnings that are said in the units of their reader.
    pub fn say(&mut self, said: impl Fn(DisplayUnits) -> Vec<Warning>) {
        self.metric.extend(said(DisplayUnits::Metric));
        self.imperial.extend(said(DisplayUnits::Imperial));
    }
}

/// Warnings that hold no length.
impl Extend<Warning> for Warnings {
    fn extend<T: IntoIterator<Item = Warning>>(&mut self, warnings: T) {
        for warning in warnings {
            self.imperial.push(warning.clone());
            self.metric.push(warning);
        }
    }
}

impl From<Vec<Warning>> for Warnings {
    fn from(metric: Vec<Warning>) -> Self {
        Self { imperial: metric.clone(), metric }
    }
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

impl Warning {
    /// A doubt about the session as a whole.
    pub fn of_session(topic: Topic, message: String, advice: impl Into<String>) -> Self {
        Self { topic, seat: None, take: None, message, advice: advice.into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::Digits;

    #[test]
    fn every_reader_gets_all_warnings_in_one_order() {
        let warning = |message: &str| Warning {
            topic: Topic::Gap,
            seat: None,
            take: None,
            message: message.into(),
            advice: "Measure again.".into(),
        };
        let mut warnings = Warnings::from(vec![warning("first")]);
        warnings.say(|units| vec![warning(&crate::words::metres(2.0, Digits::All, units))]);
        warnings.extend([warning("last")]);
        let told = |list: &[Warning]| list.iter().map(|w| w.message.clone()).collect::<Vec<_>>();
        assert_eq!(told(&warnings.metric), ["first", "2 m", "last"]);
        // 2 m / 0.0254 m = 78.7 in.
        assert_eq!(told(&warnings.imperial), ["first", "6 ft 7 in", "last"]);
    }
}
