//! A new session that shares room, seats and takes without a screen with one that is there.

use super::options::{Like, StartOptions};
use crate::ingest::error::IngestError;
use crate::ingest::session::Session;
use crate::ingest::sweep::SweepParams;
use std::fs;
use std::path::{Path, PathBuf};

/// Options for a session in `dir` that takes its takes without a screen from the session in
/// `other`, which must lie in the same folder; and the names of its seats. What is told in
/// `options` of the sweep is replaced by that of the other session.
///
/// # Errors
/// [`IngestError`] of the other session; [`IngestError::Borrow`] where it does not lie beside the
/// new one, or takes its own takes from a third.
pub fn like(
    dir: &Path,
    other: &Path,
    mut options: StartOptions,
) -> Result<(Vec<String>, StartOptions), IngestError> {
    let lender = Session::open(other)?;
    let refuse = |problem: &str, advice: &'static str| IngestError::Borrow {
        path: dir.to_path_buf(),
        other: other.to_path_buf(),
        problem: problem.into(),
        advice,
    };
    if let Some(third) = &lender.without_from {
        return Err(refuse(
            &format!("its own are those of {}", third.folder.display()),
            "make the new session like that one",
        ));
    }
    let read = |source| IngestError::Read { path: other.to_path_buf(), source };
    let real = other.canonicalize().map_err(read)?;
    let beside = parent_of(dir).canonicalize().ok();
    let name = real.file_name().filter(|_| real.parent() == beside.as_deref());
    let name = name.ok_or_else(|| {
        refuse("it does not lie beside the new one", "make both sessions in one folder")
    })?;
    let manifest = &lender.manifest;
    take_sweep(&mut options.sweep, &lender);
    options.like = Some(Like {
        folder: Path::new("..").join(name),
        sweep: lender.sweep.samples.clone(),
        seats: manifest.seat.clone(),
        channels: (manifest.recording.mic_channel, manifest.recording.reference_channel),
        calibration: calibration(&lender)?,
    });
    Ok((manifest.seat.iter().map(|seat| seat.id.clone()).collect(), options))
}

/// The folder that a new session is to lie in.
pub(super) fn parent_of(dir: &Path) -> &Path {
    dir.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// What is told of the sweep of a session, as far as that is known.
fn take_sweep(params: &mut SweepParams, lender: &Session) {
    let (told, sweep) = (&lender.manifest.sweep, &lender.sweep);
    let [start_hz, stop_hz] = sweep.band_hz;
    let seconds = |n: usize| n as f64 / f64::from(sweep.rate_hz);
    *params = SweepParams {
        start_hz,
        stop_hz,
        duration_s: told
            .duration_s
            .or(sweep.rate_constant_s.map(|l| l * (stop_hz / start_hz).ln()))
            .unwrap_or_else(|| seconds(sweep.active.len())),
        fade_in_s: told.fade_in_s.unwrap_or(params.fade_in_s),
        fade_out_s: told.fade_out_s.unwrap_or(params.fade_out_s),
        level_dbfs: told.level_dbfs.unwrap_or(params.level_dbfs),
        rate_hz: sweep.rate_hz,
        lead_s: seconds(sweep.active.start),
        tail_s: seconds(sweep.samples.len() - sweep.active.end),
    };
}

/// The calibration file of a session: its path in it, and its contents.
fn calibration(lender: &Session) -> Result<Option<(PathBuf, Vec<u8>)>, IngestError> {
    let Some(file) = &lender.manifest.recording.calibration_file else { return Ok(None) };
    let path = lender.file(file, "put the calibration file there")?;
    let bytes = fs::read(&path).map_err(|source| IngestError::Read { path, source })?;
    Ok(Some((file.clone(), bytes)))
}
