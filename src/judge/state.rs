//! What becomes of a take, and why.

use super::finding::{Finding, TakeVerdict};
use crate::ingest::manifest::{Condition, SoundSource};
use crate::warning::Topic;
use serde::Serialize;

/// What becomes of a take; the order is from good to bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TakeState {
    /// Every figure of its seat rests on it.
    Used,
    /// Used, but something may touch the result: the figures that rest on it carry a mark.
    Doubtful,
    /// No figure rests on it.
    LeftOut,
}

impl TakeState {
    /// What a verdict on a take means for its use.
    pub fn of(verdict: TakeVerdict) -> Self {
        match verdict {
            TakeVerdict::Good => Self::Used,
            TakeVerdict::Doubt => Self::Doubtful,
            TakeVerdict::Repeat => Self::LeftOut,
        }
    }

    /// In words.
    pub fn label(self) -> &'static str {
        match self {
            Self::Used => "used",
            Self::Doubtful => "doubtful",
            Self::LeftOut => "left out",
        }
    }
}

/// Why a take is doubtful or left out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reason {
    /// Kind.
    pub topic: Topic,
    /// What was found, in a sentence.
    pub message: String,
    /// What to do, in a sentence.
    pub advice: String,
}

impl From<&Finding> for Reason {
    fn from(finding: &Finding) -> Self {
        let Finding { topic, message, advice, .. } = finding.clone();
        Self { topic, message, advice }
    }
}

/// One recording of the session folder and what became of it; an entry of `takes` in
/// `result.json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outcome {
    /// File as in the session.
    pub file: String,
    /// Seat id; `null` where the file's name says none.
    pub seat: Option<String>,
    /// Screen state.
    pub condition: Option<Condition>,
    /// Microphone placement.
    pub spot: Option<u32>,
    /// Loudspeaker that played.
    pub source: Option<SoundSource>,
    /// What became of it.
    pub state: TakeState,
    /// Why it is not simply used.
    pub reason: Option<Reason>,
}

/// A take with everything found about it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JudgedTake {
    /// Index into the session's takes.
    #[serde(skip)]
    pub index: usize,
    /// File as in the session.
    pub file: String,
    /// Seat id.
    pub seat: String,
    /// Screen state.
    pub condition: Condition,
    /// Microphone placement.
    pub spot: u32,
    /// Loudspeaker that played.
    pub source: SoundSource,
    /// Whether the sweep was played 10 dB lower.
    pub quiet: bool,
    /// The worst of the findings.
    pub verdict: TakeVerdict,
    /// What was found.
    pub findings: Vec<Finding>,
    /// What becomes of it.
    pub state: TakeState,
    /// Why it is not simply used.
    pub reason: Option<Reason>,
}
