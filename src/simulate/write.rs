//! A simulated session as a folder with real files.

use super::session::SimulatedSession;
use std::fs;
use std::path::{Path, PathBuf};

/// Why a session folder cannot be written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// A folder or the manifest.
    #[error("{path}: cannot be written")]
    File {
        /// What was to be written.
        path: PathBuf,
        /// What the system says.
        #[source]
        source: std::io::Error,
    },
    /// A recording.
    #[error("{path}: the WAV file cannot be written")]
    Wav {
        /// What was to be written.
        path: PathBuf,
        /// What the writer says.
        #[source]
        source: hound::Error,
    },
}

/// Writes `session.toml`, `sweep.wav`, `takes/*.wav` (24-bit PCM) and the scenario's own files into a
/// folder, which is made if it is not there. Files of the same names are replaced.
///
/// # Errors
/// [`WriteError`] names the file that cannot be written.
pub fn write(session: &SimulatedSession, folder: &Path) -> Result<(), WriteError> {
    let takes = folder.join("takes");
    fs::create_dir_all(&takes).map_err(|source| WriteError::File { path: takes, source })?;
    write_wav(&folder.join("sweep.wav"), session.rate_hz, &[&session.sweep])?;
    for take in &session.takes {
        let mut channels: Vec<&[f64]> = vec![&take.samples];
        channels.extend(take.reference.as_deref());
        write_wav(&folder.join(&take.file), session.rate_hz, &channels)?;
    }
    let manifest = [("session.toml", session.manifest.as_str())];
    let more =
        session.scenario.more_files.iter().map(|(name, text)| (name.as_str(), text.as_str()));
    for (name, text) in manifest.into_iter().chain(more) {
        let path = folder.join(name);
        fs::write(&path, text).map_err(|source| WriteError::File { path, source })?;
    }
    Ok(())
}

/// 24-bit PCM; samples beyond full scale are limited to it.
fn write_wav(path: &Path, rate_hz: u32, channels: &[&[f64]]) -> Result<(), WriteError> {
    let failed = |source| WriteError::Wav { path: path.to_path_buf(), source };
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate_hz,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).map_err(failed)?;
    let n_frames = channels.iter().map(|c| c.len()).min().unwrap_or(0);
    for frame in 0..n_frames {
        for channel in channels {
            let step = (channel[frame] * 8_388_608.0).round().clamp(-8_388_608.0, 8_388_607.0);
            writer.write_sample(step as i32).map_err(failed)?;
        }
    }
    writer.finalize().map_err(failed)
}

#[cfg(test)]
mod tests {
    use super::super::{Kind, Scenario, simulate};
    use super::*;

    #[test]
    fn files_hold_the_samples_to_a_24_bit_step() {
        let mut scenario = Scenario::random(Kind::Woven, 3).shortened(0.3, 0.03);
        scenario.seats.truncate(1);
        scenario.recorder.reference = true;
        let session = simulate(&scenario);
        let folder = tempfile::tempdir().expect("folder");
        write(&session, folder.path()).expect("written");
        let take = &session.takes[0];
        let mut reader = hound::WavReader::open(folder.path().join(&take.file)).expect("readable");
        assert_eq!(reader.spec().channels, 2);
        let read: Vec<i32> = reader.samples().collect::<Result<_, _>>().expect("whole");
        assert_eq!(read.len(), 2 * take.samples.len());
        let worst = read
            .iter()
            .step_by(2)
            .zip(&take.samples)
            .map(|(r, x)| (f64::from(*r) / 8_388_608.0 - x).abs())
            .fold(0.0, f64::max);
        assert!(worst <= 0.5000001 / 8_388_608.0, "{worst}");
    }

    #[test]
    fn a_folder_that_cannot_be_made_is_named() {
        let mut scenario = Scenario::random(Kind::Woven, 3).shortened(0.3, 0.03);
        scenario.seats.truncate(1);
        let file = tempfile::NamedTempFile::new().expect("file");
        let error = write(&simulate(&scenario), file.path()).expect_err("a file is no folder");
        assert!(error.to_string().contains("takes"), "{error}");
    }
}
