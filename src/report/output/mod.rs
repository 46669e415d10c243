//! Safe writing of an output folder.
//!
//! Files are written into a hidden folder beside the target and put into place
//! by renaming, once all of them are complete: a failure or an interruption leaves
//! the previous report whole, and two runs at once end with one whole report. A list
//! in the folder (`.scrimcheck`) says which files this program wrote; a folder with
//! any other file is refused, and with `force` such files are kept.

mod listed;
mod one_file;
mod place;
#[cfg(test)]
mod tests;

pub use listed::LIST_NAME;
pub use one_file::write_one_file;

use super::error::ReportError;
use crate::staging::{Staging, hold_interruption};
use listed::{all_files, list_text};
use place::{Place, resolve, write_error};
use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};

/// An output folder in the making.
#[derive(Debug)]
pub struct OutputFolder {
    place: Place,
    /// Made with the first file, so that a refused session leaves nothing even when
    /// the program is killed.
    staging: Option<Staging>,
    written: BTreeSet<PathBuf>,
}

impl OutputFolder {
    /// Looks whether `target`, which need not exist, may be written. Nothing is
    /// written yet.
    ///
    /// # Errors
    /// [`ReportError::Foreign`] when it holds a file this program did not write
    /// and `force` is not given, [`ReportError::NotAFolder`] when it or something
    /// above it is a file.
    pub fn open(target: &Path, force: bool) -> Result<Self, ReportError> {
        let shown = target.to_owned();
        let target = resolve(target).map_err(|e| match e.kind() {
            io::ErrorKind::NotADirectory => ReportError::NotAFolder { path: shown.clone() },
            _ => write_error(&shown, e),
        })?;
        let there = target.ancestors().find(|p| p.symlink_metadata().is_ok());
        if there.is_some_and(|p| !p.is_dir()) {
            return Err(ReportError::NotAFolder { path: shown });
        }
        let place = Place { target, shown, force };
        place.refuse_foreign()?;
        Ok(Self { place, staging: None, written: BTreeSet::new() })
    }

    /// Where files are gathered until [`Self::publish`]: for writers that need
    /// a folder. What is written there directly is put into place too.
    ///
    /// # Errors
    /// [`ReportError::Write`] when nothing can be written beside the target.
    pub fn staging_path(&mut self) -> Result<PathBuf, ReportError> {
        if let Some(staging) = &self.staging {
            return Ok(staging.at("new"));
        }
        let failed = |e| write_error(&self.place.shown, e);
        let parent = self.place.target.parent().unwrap_or(&self.place.target);
        let staging = Staging::inside(parent).map_err(failed)?;
        let new = staging.at("new");
        fs::create_dir(&new).map_err(failed)?;
        self.staging = Some(staging);
        Ok(new)
    }

    /// Writes one file, named relative to the folder, with `/` between names.
    ///
    /// # Errors
    /// [`ReportError::Name`] for a name that leaves the folder,
    /// [`ReportError::Write`] when the system refuses.
    pub fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ReportError> {
        let relative = self.claim(name)?;
        let path = self.staging_path()?.join(&relative);
        let folder = path.parent().unwrap_or(&path);
        fs::create_dir_all(folder)
            .and_then(|()| fs::File::create_new(&path)?.write_all(bytes))
            .map_err(|e| write_error(&self.place.shown.join(&relative), e))
    }

    fn claim(&mut self, name: &str) -> Result<PathBuf, ReportError> {
        let relative = PathBuf::from(name);
        let plain = !name.is_empty()
            && !name.contains(['\n', '\r'])
            && relative.components().all(|c| matches!(c, Component::Normal(_)));
        if !plain {
            return Err(ReportError::Name { name: name.escape_debug().to_string() });
        }
        self.written.insert(relative.clone());
        Ok(relative)
    }

    /// Puts the finished files into place and returns their paths.
    ///
    /// # Errors
    /// [`ReportError::Write`] when the system refuses, [`ReportError::Foreign`]
    /// when another file came into the folder meanwhile. The previous report is
    /// then as it was.
    pub fn publish(mut self) -> Result<Vec<PathBuf>, ReportError> {
        let new = self.staging_path()?;
        self.written.extend(all_files(&new));
        fs::write(new.join(LIST_NAME), list_text(&self.written))
            .map_err(|e| write_error(&self.place.shown.join(LIST_NAME), e))?;
        {
            let _whole = hold_interruption();
            self.place.put(&new)?;
        }
        Ok(self.written.iter().map(|name| self.place.shown.join(name)).collect())
    }
}
