//! A new session that shares room, seats and takes without a screen with one that is there.

use super::{Like, StartOptions};
use crate::ingest::error::IngestError;
use crate::ingest::session::Session;
use std::fs;
use std::path::Path;

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
    let parent = match dir.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let beside = parent.canonicalize().ok();
    let name = real.file_name().filter(|_| real.parent() == beside.as_deref());
    let name = name.ok_or_else(|| {
        refuse("it does not lie beside the new one", "make both sessions in one folder")
    })?;
    let (manifest, sweep) = (&lender.manifest, &lender.sweep);
    let calibration = match &manifest.recording.calibration_file {
        None => None,
        Some(file) => {
            let path = lender.file(file, "put the calibration file there")?;
            let read = |source| IngestError::Read { path: path.clone(), source };
            Some((file.clone(), fs::read(&path).map_err(read)?))
        }
    };
    let [start_hz, stop_hz] = sweep.band_hz;
    let params = &mut options.sweep;
    (params.start_hz, params.stop_hz, params.rate_hz) = (start_hz, stop_hz, sweep.rate_hz);
    let rate_s = |s: f64| s / f64::from(sweep.rate_hz);
    params.duration_s = manifest
        .sweep
        .duration_s
        .or(sweep.rate_constant_s.map(|l| l * (stop_hz / start_hz).ln()))
        .unwrap_or_else(|| rate_s(sweep.active.len() as f64));
    params.lead_s = rate_s(sweep.active.start as f64);
    params.tail_s = rate_s((sweep.samples.len() - sweep.active.end) as f64);
    params.fade_in_s = manifest.sweep.fade_in_s.unwrap_or(params.fade_in_s);
    params.fade_out_s = manifest.sweep.fade_out_s.unwrap_or(params.fade_out_s);
    params.level_dbfs = manifest.sweep.level_dbfs.unwrap_or(params.level_dbfs);
    options.like = Some(Like {
        folder: Path::new("..").join(name),
        sweep: sweep.samples.clone(),
        seats: manifest.seat.clone(),
        channels: (manifest.recording.mic_channel, manifest.recording.reference_channel),
        calibration,
    });
    Ok((manifest.seat.iter().map(|seat| seat.id.clone()).collect(), options))
}
