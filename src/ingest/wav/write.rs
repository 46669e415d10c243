//! Writing through `hound`.

use crate::ingest::printable::shown;
use std::path::{Path, PathBuf};

/// Why a WAV file could not be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WavWriteError {
    /// NaN or infinity in the signal: a mistake of the caller.
    #[error("{}: sample {frame} of channel {channel} is not finite, nothing was written", shown(.path))]
    NotFinite {
        /// The file.
        path: PathBuf,
        /// Channel number, counted from 1.
        channel: usize,
        /// Frame number, counted from 0.
        frame: usize,
    },
    /// No channel, no sample, or channels of different length.
    #[error("{}: {what}, nothing was written", shown(.path))]
    Shape {
        /// The file.
        path: PathBuf,
        /// What was found.
        what: &'static str,
    },
    /// The system refused.
    #[error("{}: the WAV file cannot be written; check free space and access rights", shown(.path))]
    Write {
        /// The file.
        path: PathBuf,
        /// The reason.
        #[source]
        source: hound::Error,
    },
}

/// Writes one channel as 24-bit integers. Samples beyond full scale (1) are held
/// at the limit, as a converter does.
///
/// The file is written in place: whoever needs a whole file or none writes to a
/// temporary name and renames.
///
/// # Errors
/// [`WavWriteError`]; samples are checked before the file is made.
pub fn write_wav_24(path: &Path, rate_hz: u32, samples: &[f64]) -> Result<(), WavWriteError> {
    write_wav_24_channels(path, rate_hz, &[samples])
}

/// As [`write_wav_24`], for several channels of equal length.
///
/// # Errors
/// [`WavWriteError`].
pub fn write_wav_24_channels(
    path: &Path,
    rate_hz: u32,
    channels: &[&[f64]],
) -> Result<(), WavWriteError> {
    let shape = |what| WavWriteError::Shape { path: path.to_path_buf(), what };
    let n_channels =
        u16::try_from(channels.len()).map_err(|_| shape("more than 65535 channels"))?;
    let n_frames = channels.first().ok_or_else(|| shape("there is no channel"))?.len();
    if n_frames == 0 {
        return Err(shape("there is no sample"));
    }
    for (i, samples) in channels.iter().enumerate() {
        if samples.len() != n_frames {
            return Err(shape("the channels differ in length"));
        }
        if let Some(frame) = samples.iter().position(|x| !x.is_finite()) {
            return Err(WavWriteError::NotFinite {
                path: path.to_path_buf(),
                channel: i + 1,
                frame,
            });
        }
    }
    let failed = |source| WavWriteError::Write { path: path.to_path_buf(), source };
    let spec = hound::WavSpec {
        channels: n_channels,
        sample_rate: rate_hz,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).map_err(failed)?;
    for frame in 0..n_frames {
        for samples in channels {
            writer.write_sample(to_24_bit(samples[frame])).map_err(failed)?;
        }
    }
    writer.finalize().map_err(failed)
}

/// Nearest 24-bit step, held at the limits.
fn to_24_bit(x: f64) -> i32 {
    const STEPS: f64 = 8_388_608.0;
    (x * STEPS).round().clamp(-STEPS, STEPS - 1.0) as i32
}
