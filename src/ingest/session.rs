//! A checked session: the manifest, its seats, its takes and the played sweep.

use super::calibration::read_calibration;
use super::error::IngestError;
use super::manifest::{self, Condition, MANIFEST_FILE, Manifest, SoundSource};
use super::sweep::load_sweep;
use super::takes::discover;
use super::takes::paths::inside;
use super::wav::read_wav;
use crate::warning::{Topic, Warning};
use std::ops::Range;
use std::path::{Path, PathBuf};

/// A session whose manifest and file list are in order. Recordings are read
/// one at a time later, so that memory does not grow with their number.
#[derive(Debug, Clone)]
pub struct Session {
    /// Session folder.
    pub root: PathBuf,
    /// Everything the installer wrote. Where no seats were written, `seat` holds
    /// those of the takes' names.
    pub manifest: Manifest,
    /// The played signal.
    pub sweep: SweepSignal,
    /// Takes in order of seat, condition, source, spot, file name.
    pub takes: Vec<Take>,
    /// Microphone correction, (Hz, dB) with rising frequency, where a file is named.
    pub calibration: Option<Vec<(f64, f64)>>,
    /// What was passed over in a half-finished session.
    pub warnings: Vec<Warning>,
}

/// How complete a session must be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OpenMode {
    /// For a result: every seat has takes without and with the screen, every listed
    /// file is there, every recording's name fits.
    Strict,
    /// Between takes: what is missing or misnamed becomes a warning.
    Lenient,
}

/// The played signal as recorded in its file.
#[derive(Debug, Clone)]
pub struct SweepSignal {
    /// Samples, full scale = 1.
    pub samples: Vec<f64>,
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Lowest and highest frequency that it covers, Hz.
    pub band_hz: [f64; 2],
    /// `L = T / ln(f2/f1)` in s of an exponential sweep (Novak 2015); `None` for other signals.
    pub rate_constant_s: Option<f64>,
    /// Frames that hold the signal, from first to last above 1/1000 of its peak.
    pub active: Range<usize>,
}

/// One recording in the list of the session; its samples stay on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Take {
    /// Index into `manifest.seat`.
    pub seat: usize,
    /// Screen state.
    pub condition: Condition,
    /// Microphone placement.
    pub spot: u32,
    /// Loudspeaker that played.
    pub source: SoundSource,
    /// File relative to the session folder, as shown to people.
    pub file: PathBuf,
}

/// The samples of one take.
#[derive(Debug, Clone)]
pub struct Recording {
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Microphone, full scale = 1.
    pub mic: Vec<f64>,
    /// Electrical reference, full scale = 1, where the session names one.
    pub loopback: Option<Vec<f64>>,
    /// Bits of the integer format, `None` for float files.
    pub integer_bits: Option<u16>,
}

/// Difference between highest and lowest sample below which a channel is silent:
/// -126 dB re full scale, eight steps of 24 bits.
const SILENCE: f64 = 1e-6;

impl Session {
    /// Reads manifest, played signal and calibration file of the session folder
    /// `root` and lists its takes. No recording is read yet.
    ///
    /// # Errors
    /// [`IngestError`], which names the culprit and what to do.
    pub fn open(root: &Path, mode: OpenMode) -> Result<Self, IngestError> {
        let (mut manifest, text) = manifest::load(root)?;
        let mut found = discover(root, &manifest, &text, mode)?;
        found.warnings.extend(other_manifest(root));
        manifest.seat = found.seats;
        let sweep_path = &manifest.sweep.file;
        inside(
            root,
            sweep_path,
            "put the played signal there, or correct sweep.file in session.toml",
        )?;
        let sweep = load_sweep(&root.join(sweep_path), &manifest.sweep)?;
        let calibration = match &manifest.recording.calibration_file {
            None => None,
            Some(file) => {
                inside(
                    root,
                    file,
                    "put the calibration file there, or leave recording.calibration_file out",
                )?;
                Some(read_calibration(&root.join(file))?)
            }
        };
        Ok(Self {
            root: root.to_path_buf(),
            manifest,
            sweep,
            takes: found.takes,
            calibration,
            warnings: found.warnings,
        })
    }

    /// A further file of the session (light readings, logo), named relative to its
    /// folder: its path, once it is known to be a file inside.
    ///
    /// # Errors
    /// [`IngestError`] where it is not there (with `advice`), no regular file, or a
    /// link that leaves the folder.
    pub fn file(&self, relative: &Path, advice: &str) -> Result<PathBuf, IngestError> {
        inside(&self.root, relative, advice)?;
        Ok(self.root.join(relative))
    }

    /// The light readings: the file named in the manifest, else `readings.csv` where
    /// there is one.
    ///
    /// # Errors
    /// As [`Session::file`].
    pub fn readings_file(&self) -> Result<Option<PathBuf>, IngestError> {
        let named = self.manifest.picture.as_ref().and_then(|p| p.readings_file.as_ref());
        if let Some(file) = named {
            let advice = "put the light readings there, or correct picture.readings_file";
            return self.file(file, advice).map(Some);
        }
        let usual = Path::new("readings.csv");
        let is_there = self.root.join(usual).symlink_metadata().is_ok();
        match self.file(usual, "this link leads to nothing: remove it, or put the file there") {
            Err(IngestError::NoFile { .. }) if !is_there => Ok(None),
            other => other.map(Some),
        }
    }

    /// Id of the seat of a take.
    pub fn seat_id(&self, take: &Take) -> &str {
        self.manifest.seat.get(take.seat).map_or("", |seat| &seat.id)
    }

    /// Reads the recording of a take.
    ///
    /// # Errors
    /// [`IngestError`], which names seat and file: unreadable, another rate than the
    /// played signal, a channel that is not there or silent, non-finite samples,
    /// shorter than the played signal.
    pub fn read_take(&self, take: &Take) -> Result<Recording, IngestError> {
        let seat = || self.seat_id(take).to_owned();
        let path = self.root.join(&take.file);
        inside(&self.root, &take.file, "record this take")?;
        let recording = &self.manifest.recording;
        let channels: Vec<u16> = [Some(recording.mic_channel), recording.loopback_channel]
            .into_iter()
            .flatten()
            .collect();
        let wav =
            read_wav(&path, &channels).map_err(|wav| IngestError::TakeWav { seat: seat(), wav })?;
        if wav.info.rate_hz != self.sweep.rate_hz {
            return Err(IngestError::SampleRate {
                seat: seat(),
                path,
                found_hz: wav.info.rate_hz,
                expected_hz: self.sweep.rate_hz,
            });
        }
        if wav.info.n_frames < self.sweep.active.len() as u64 {
            return Err(IngestError::TooShort {
                seat: seat(),
                path,
                found_s: wav.info.duration_s(),
                expected_s: self.sweep.active.len() as f64 / f64::from(self.sweep.rate_hz),
            });
        }
        for (&channel, samples) in channels.iter().zip(&wav.channels) {
            if is_silent(samples) {
                return Err(IngestError::Silent { seat: seat(), path, channel });
            }
        }
        let mut read = wav.channels.into_iter();
        Ok(Recording {
            rate_hz: wav.info.rate_hz,
            mic: read.next().unwrap_or_default(),
            loopback: read.next(),
            integer_bits: wav.info.integer_bits,
        })
    }
}

/// A second manifest, whose name differs in small and capital letters: on a system that
/// does not tell them apart it would be in the place of the first.
fn other_manifest(root: &Path) -> Option<Warning> {
    let name = |entry: std::fs::DirEntry| entry.file_name().to_string_lossy().into_owned();
    let other = std::fs::read_dir(root)
        .ok()?
        .flatten()
        .map(name)
        .filter(|n| n.eq_ignore_ascii_case(MANIFEST_FILE) && n != MANIFEST_FILE)
        .min()?;
    Some(Warning {
        topic: Topic::FileName,
        seat: None,
        take: None,
        message: format!("Besides {MANIFEST_FILE} there is {other}, which was not read."),
        advice: "Keep one of the two.".into(),
    })
}

/// Nothing but a constant.
fn is_silent(samples: &[f64]) -> bool {
    let Some(&first) = samples.first() else { return true };
    // Ends at the first sample that differs enough, so it costs nothing on recordings.
    samples.iter().all(|x| (x - first).abs() < SILENCE)
}
