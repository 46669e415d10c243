//! One thing found in a take, and how much it weighs.

use crate::ingest::manifest::DisplayUnits;
use crate::warning::{Topic, Warning};
use serde::Serialize;

/// How a take can be used; the order is from good to bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TakeVerdict {
    /// Nothing that touches the result.
    Good,
    /// Usable, but something may touch the result.
    Doubt,
    /// Must be made again.
    Repeat,
}

impl TakeVerdict {
    /// In words.
    pub fn label(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Doubt => "usable with doubt",
            Self::Repeat => "repeat",
        }
    }
}

/// One thing found, with its weight; [`TakeVerdict::Good`] is a remark.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Weight.
    pub verdict: TakeVerdict,
    /// Kind.
    pub topic: Topic,
    /// What was found, in a sentence.
    pub message: String,
    /// What to do, in a sentence.
    pub advice: String,
    /// Both sentences in feet, where they tell a length.
    #[serde(skip)]
    imperial: Option<[String; 2]>,
}

impl Finding {
    /// A finding with its two sentences.
    pub fn new(
        verdict: TakeVerdict,
        topic: Topic,
        message: impl Into<String>,
        advice: impl Into<String>,
    ) -> Self {
        Self { verdict, topic, message: message.into(), advice: advice.into(), imperial: None }
    }

    /// A finding whose two sentences tell a length.
    pub fn said(
        verdict: TakeVerdict,
        topic: Topic,
        say: impl Fn(DisplayUnits) -> [String; 2],
    ) -> Self {
        let [message, advice] = say(DisplayUnits::Metric);
        let imperial = Some(say(DisplayUnits::Imperial));
        Self { verdict, topic, message, advice, imperial }
    }

    /// The same in the units of its reader.
    pub fn in_units(&self, units: DisplayUnits) -> Self {
        let mut finding = self.clone();
        if let (DisplayUnits::Imperial, Some([message, advice])) = (units, &self.imperial) {
            finding.message.clone_from(message);
            finding.advice.clone_from(advice);
        }
        finding
    }

    /// The same as a warning about a seat and a take.
    pub fn warning(&self, seat: Option<&str>, take: Option<&str>) -> Warning {
        Warning {
            topic: self.topic,
            seat: seat.map(Into::into),
            take: take.map(Into::into),
            message: self.message.clone(),
            advice: self.advice.clone(),
        }
    }
}

/// The worst of the findings; good when there are none.
pub fn worst(findings: &[Finding]) -> TakeVerdict {
    findings.iter().map(|finding| finding.verdict).max().unwrap_or(TakeVerdict::Good)
}
