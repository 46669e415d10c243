//! A simulated session as a folder with real files.

use super::session::SimulatedSession;
use crate::ingest::wav::{WavWriteError, write_wav_24_channels};
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
    #[error(transparent)]
    Wav(#[from] WavWriteError),
}

/// Writes `session.toml`, `sweep.wav`, `takes/*.wav` (24-bit PCM) and the scenario's own files into a
/// folder, which is made if it is not there. Files of the same names are replaced.
///
/// # Errors
/// [`WriteError`] names the file that cannot be written.
pub fn write(session: &SimulatedSession, folder: &Path) -> Result<(), WriteError> {
    let takes = folder.join("takes");
    fs::create_dir_all(&takes).map_err(|source| WriteError::File { path: takes, source })?;
    write_wav_24_channels(&folder.join("sweep.wav"), session.rate_hz, &[&session.sweep])?;
    for take in &session.takes {
        let mut channels: Vec<&[f64]> = vec![&take.samples];
        channels.extend(take.reference.as_deref());
        write_wav_24_channels(&folder.join(&take.file), session.rate_hz, &channels)?;
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
