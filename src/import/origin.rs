//! `takes/origin.csv`: where each take came from.

use super::error::ImportError;
use crate::ingest::error::IngestError;
use crate::ingest::takes::TAKES_FOLDER;
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::Path;

/// Name of the list, in the folder of the takes.
pub const ORIGIN_FILE: &str = "origin.csv";

/// Largest list that is read, bytes.
const MAX_BYTES: u64 = 4 << 20;

/// Where one take came from: a row of `takes/origin.csv`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Origin {
    /// File name of the take.
    pub take: String,
    /// File name of the recording.
    pub recording: String,
    /// Where the take begins in the recording, s.
    pub start_s: f64,
    /// Channel of the microphone in the recording, counted from 1.
    pub channel: usize,
    /// Channel of the electrical reference in the recording, counted from 1; empty without.
    pub reference_channel: Option<usize>,
    /// Sampling rate of the recording, Hz.
    pub rate_hz: u32,
    /// Whether it was brought to another rate.
    pub resampled: bool,
    /// Input device, where the page recorded it.
    #[serde(default)]
    pub device: Option<String>,
    /// State of the browser's echo cancellation, noise suppression and gain control, where the
    /// page recorded it: `off`, or `not told`.
    #[serde(default)]
    pub processing: Option<String>,
    /// Level at which the page played the sweep, dB re that of the session's file.
    #[serde(default)]
    pub played_db: Option<f64>,
}

/// The rows of the list of the session in `root`; none where there is no list.
///
/// # Errors
/// [`ImportError`] where it is there and cannot be read as a list.
pub fn origins(root: &Path) -> Result<Vec<Origin>, ImportError> {
    let path = root.join(TAKES_FOLDER).join(ORIGIN_FILE);
    let about = match fs::metadata(&path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        about => about.map_err(|source| ImportError::Read { path: path.clone(), source })?,
    };
    let refuse = |problem: String| {
        ImportError::recording(&path, problem, "mend it, or move it away: a new one is made")
    };
    if !about.is_file() || about.len() > MAX_BYTES {
        return Err(refuse(format!("this is no list of takes ({} bytes)", about.len())));
    }
    let mut reader =
        csv::Reader::from_path(&path).map_err(|e| refuse(format!("it cannot be read ({e})")))?;
    reader
        .deserialize()
        .collect::<Result<_, _>>()
        .map_err(|e| refuse(format!("it is no list of takes ({e})")))
}

/// Writes the rows to `path`.
pub(crate) fn write(path: &Path, rows: &[Origin]) -> Result<(), ImportError> {
    let failed = IngestError::write(path);
    let csv_failed = |e: csv::Error| failed(std::io::Error::other(e));
    let mut writer = csv::Writer::from_path(path).map_err(csv_failed)?;
    for row in rows {
        writer.serialize(row).map_err(csv_failed)?;
    }
    writer.flush().map_err(failed)?;
    Ok(())
}
