//! Safe writing of a single file.

use super::place::{resolve, write_error};
use crate::report::error::ReportError;
use crate::staging::{Staging, hold_interruption};
use std::fs;
use std::path::Path;

/// Writes a single file under a temporary name beside its place, then renames it.
/// `write` gets the temporary path; its own failure is the inner result.
///
/// # Errors
/// [`ReportError::Taken`] when the file is there and `force` is not given,
/// [`ReportError::NotAFile`] when a folder, pipe or device is there,
/// [`ReportError::Write`] when the system refuses.
pub fn write_one_file<E>(
    target: &Path,
    force: bool,
    write: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<Result<(), E>, ReportError> {
    let failed = |e| write_error(target, e);
    if target.metadata().is_ok_and(|m| !m.is_file()) {
        return Err(ReportError::NotAFile { path: target.to_owned() });
    }
    if target.symlink_metadata().is_ok() && !force {
        return Err(ReportError::Taken { path: target.to_owned() });
    }
    let resolved = resolve(target).map_err(failed)?;
    let parent = resolved.parent().unwrap_or(&resolved);
    fs::metadata(parent).map_err(failed)?;
    let staging = Staging::inside(parent).map_err(failed)?;
    let new = staging.at("new");
    if let Err(error) = write(&new) {
        return Ok(Err(error));
    }
    let _whole = hold_interruption();
    fs::rename(&new, &resolved).map_err(failed)?;
    Ok(Ok(()))
}
