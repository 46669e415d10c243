//! What was found in the recordings, and what becomes of it.

use super::names::Told;
use super::places::Place;
use crate::judge::Finding;
use std::ops::Range;
use std::path::PathBuf;

/// One recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// The file.
    pub path: PathBuf,
    /// Kind and word length.
    pub format: String,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Channels.
    pub n_channels: usize,
    /// Length, s.
    pub duration_s: f64,
    /// Channel of the microphone, counted from 1; `None` where no sweep was found.
    pub mic_channel: Option<usize>,
    /// Other channels that hold the sweeps, weaker; counted from 1.
    pub other_channels: Vec<usize>,
    /// Channel of the electrical reference, counted from 1.
    pub reference_channel: Option<usize>,
    /// What its name told.
    pub told: Told,
}

/// What becomes of a sweep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fate {
    /// It becomes the take of its place.
    Take,
    /// It is left out, for this reason.
    LeftOut(String),
    /// There is no place for it.
    TooMuch,
}

/// One sweep.
#[derive(Debug, Clone, PartialEq)]
pub struct Sweep {
    /// Index of its recording.
    pub recording: usize,
    /// When it begins, s from the start of the recording.
    pub start_s: f64,
    /// Largest magnitude, dB re full scale.
    pub peak_dbfs: Option<f64>,
    /// Judgement in a few words.
    pub judgement: String,
    /// What was found about it.
    pub findings: Vec<Finding>,
    /// Where it belongs.
    pub place: Option<Place>,
    /// What becomes of it.
    pub fate: Fate,
    /// A seat of the session that it resembles clearly more than its own.
    pub rather: Option<String>,
    /// What a take of it holds, frames of the recording.
    pub stretch: Range<u64>,
}

/// Everything that was found, and what is to be done.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// The recordings, as given.
    pub recordings: Vec<Recording>,
    /// Sweeps in the order of recordings and time.
    pub sweeps: Vec<Sweep>,
    /// Places for which there is no sweep.
    pub missing: Vec<Place>,
    /// Why nothing can be written, and what to do.
    pub refusal: Option<[String; 2]>,
    /// Why the order of the seats is doubted: then it must be said with `--seats`.
    pub order_doubt: Option<String>,
    /// What else is worth saying.
    pub notes: Vec<String>,
}

impl Survey {
    /// How many takes it makes.
    pub fn n_takes(&self) -> usize {
        self.sweeps.iter().filter(|s| s.fate == Fate::Take).count()
    }
}
