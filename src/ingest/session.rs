//! A checked session: the manifest, its seats, its takes and the played sweep.

use super::error::IngestError;
use super::manifest::Manifest;
use super::notice::Notice;
pub use super::sweep::SweepSignal;
pub use super::takes::Take;
use super::takes::paths::inside;
use super::wav::{WavInfo, read_wav, wav_info};
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
    /// What is left out because it is no take, and what may be wrong with the signal.
    pub notices: Vec<Notice>,
    /// The session whose takes without a screen are used here: how the manifest names its folder,
    /// and its title.
    pub without_from: Option<Borrowed>,
}

/// Another session that lends its takes without a screen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Borrowed {
    /// Its folder, relative to this one: `../NAME`.
    pub folder: PathBuf,
    /// Its title.
    pub title: String,
    /// Its date, as written.
    pub date: Option<String>,
}

/// The samples of one take.
#[derive(Debug, Clone)]
pub struct Recording {
    /// Sampling rate, Hz.
    pub rate_hz: u32,
    /// Microphone, full scale = 1.
    pub mic: Vec<f64>,
    /// Electrical reference, full scale = 1, where the session names one.
    pub reference: Option<Vec<f64>>,
    /// Another channel of the file that is far louder than the microphone's, counted from 1.
    pub louder_channel: Option<u16>,
    /// Whether the header says how long the recording is; a recorder that was cut off leaves it
    /// open, and what is there is read.
    pub closed: bool,
    /// Bits of the integer format, `None` for float files.
    pub integer_bits: Option<u16>,
}

impl Recording {
    /// A recording of the microphone alone, `integer_bits` deep.
    pub fn of_microphone(rate_hz: u32, mic: Vec<f64>, integer_bits: Option<u16>) -> Self {
        Self { rate_hz, mic, reference: None, louder_channel: None, closed: true, integer_bits }
    }
}

/// Difference between highest and lowest sample below which a channel is silent:
/// -126 dB re full scale, eight steps of 24 bits.
const SILENCE: f64 = 1e-6;

impl Session {
    /// The folder that a take's file is confined to, and the file within it.
    fn place_of<'a>(&self, take: &'a Take) -> (PathBuf, &'a Path) {
        let lent = self.without_from.as_ref().and_then(|other| {
            let inside = take.file.strip_prefix(&other.folder).ok()?;
            Some((self.root.join(&other.folder), inside))
        });
        lent.unwrap_or_else(|| (self.root.clone(), &take.file))
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
        self.read_channel(take, self.manifest.recording.mic_channel)
    }

    /// As [`Session::read_take`], with another channel for the microphone's, counted from 1.
    ///
    /// # Errors
    /// As [`Session::read_take`].
    pub fn read_channel(&self, take: &Take, mic_channel: u16) -> Result<Recording, IngestError> {
        let seat = || self.seat_id(take).to_owned();
        let (root, file) = self.place_of(take);
        inside(&root, file, "record this take")?;
        let path = root.join(file);
        let reference = self.manifest.recording.reference_channel;
        let named: Vec<u16> = [Some(mic_channel), reference].into_iter().flatten().collect();
        let wav_error = |wav| IngestError::TakeWav { seat: seat(), wav };
        let info = wav_info(&path).map_err(wav_error)?;
        if info.rate_hz != self.sweep.rate_hz {
            return Err(IngestError::SampleRate {
                seat: seat(),
                path,
                found_hz: info.rate_hz,
                expected_hz: self.sweep.rate_hz,
            });
        }
        if info.n_frames < self.sweep.active.len() as u64 {
            return Err(IngestError::TooShort {
                seat: seat(),
                path,
                found_s: info.duration_s(),
                expected_s: self.sweep.active.len() as f64 / f64::from(self.sweep.rate_hz),
            });
        }
        let wav = read_wav(&path, &named).map_err(wav_error)?;
        let louder_channel = louder_channel(&path, &info, &named, &wav.channels);
        for (&channel, samples) in named.iter().zip(&wav.channels) {
            if is_silent(samples) {
                let other = louder_channel.filter(|_| channel == mic_channel);
                return Err(IngestError::Silent { seat: seat(), path, channel, other });
            }
        }
        let mut read = wav.channels.into_iter();
        Ok(Recording {
            rate_hz: info.rate_hz,
            mic: read.next().unwrap_or_default(),
            reference: read.next(),
            louder_channel,
            closed: info.closed,
            integer_bits: info.integer_bits,
        })
    }
}

/// So much louder than the microphone's channel must another be to be taken for it, in power:
/// 30 dB.
const FAR_LOUDER: f64 = 1e3;

/// A channel that is not named in the manifest and far louder than the microphone's.
fn louder_channel(
    path: &Path,
    info: &WavInfo,
    named: &[u16],
    channels: &[Vec<f64>],
) -> Option<u16> {
    let others: Vec<u16> =
        (1..=info.n_channels.min(MOST_CHANNELS)).filter(|c| !named.contains(c)).collect();
    if others.is_empty() {
        return None;
    }
    let power = |samples: &[f64]| {
        let mean = samples.iter().sum::<f64>() / samples.len() as f64;
        samples.iter().map(|x| (x - mean).powi(2)).sum::<f64>()
    };
    let least = FAR_LOUDER * power(channels.first()?).max(SILENCE * SILENCE);
    // One after the other, so that a recording of many channels needs no more memory than of two.
    let powers = others.into_iter().filter_map(|channel| {
        let read = read_wav(path, &[channel]).ok()?;
        Some((channel, power(read.channels.first()?)))
    });
    let (channel, loudest) = powers.max_by(|a, b| a.1.total_cmp(&b.1))?;
    (loudest > least).then_some(channel)
}

/// Channels that are looked at.
const MOST_CHANNELS: u16 = 32;

/// Nothing but a constant.
fn is_silent(samples: &[f64]) -> bool {
    let Some(&first) = samples.first() else { return true };
    // Ends at the first sample that differs enough, so it costs nothing on recordings.
    samples.iter().all(|x| (x - first).abs() < SILENCE)
}
