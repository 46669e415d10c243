//! Putting a finished folder into its place.

use super::listed::{first_foreign, foreign_files};
use crate::report::error::ReportError;
use std::collections::BTreeMap;
use std::ffi::OsString;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// The place of a folder.
#[derive(Debug)]
pub(super) struct Place {
    /// Where the files will be, with links resolved.
    pub(super) target: PathBuf,
    /// As the user named it, for messages.
    pub(super) shown: PathBuf,
    /// Whether files of somebody else that are there are kept beside ours, not refused.
    pub(super) force: bool,
}

/// Files of somebody else, and when they were last written.
pub(super) type Kept = BTreeMap<PathBuf, Option<SystemTime>>;

impl Place {
    /// Refuses a folder that holds files of somebody else. Looks again for a while before it
    /// does: another run may exchange the folder between the reading of its list and of its files.
    pub(super) fn refuse_foreign(&self) -> Result<(), ReportError> {
        let mut looks = 0;
        while !self.force
            && let Some(found) = first_foreign(&self.target)
        {
            looks += 1;
            if looks == 20 {
                return Err(ReportError::Foreign { folder: self.shown.clone(), found });
            }
            std::thread::sleep(std::time::Duration::from_millis(3));
        }
        Ok(())
    }

    /// Puts the folder `new`, which lies in a staging folder, into place as a whole.
    pub(super) fn put(&self, new: &Path) -> Result<(), ReportError> {
        let kept = if self.force { self.keep_foreign(new)? } else { Kept::new() };
        self.swap(new.parent().unwrap_or(new), new, &kept)
    }

    /// Puts the folder `new`, inside `staging`, into place as a whole. Another run
    /// may do the same at the same time. `kept` are files of somebody else that are in both.
    pub(super) fn swap(&self, staging: &Path, new: &Path, kept: &Kept) -> Result<(), ReportError> {
        let failed = |e| write_error(&self.shown, e);
        let mut last = io::Error::other("the folder was taken again and again by other runs");
        for attempt in 0..100 {
            match fs::rename(new, &self.target) {
                Ok(()) => return Ok(()),
                Err(e) if !self.target.is_dir() => return Err(failed(e)),
                Err(e) => last = e,
            }
            self.refuse_foreign()?;
            let old = staging.join(format!("old-{attempt}"));
            if exchange(new, &self.target) {
                // Out of the way of a name that means something finished.
                fs::rename(new, &old).map_err(failed)?;
                return self.bring_back_foreign(&old, kept);
            }
            match fs::rename(&self.target, &old) {
                Ok(()) => {}
                // The other run has it at this moment.
                Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
                Err(e) => return Err(failed(e)),
            }
            if let Err(e) = fs::rename(new, &self.target)
                && !self.target.exists()
            {
                fs::rename(&old, &self.target).map_err(failed)?;
                return Err(failed(e));
            }
            self.bring_back_foreign(&old, kept)?;
            if !new.exists() {
                return Ok(());
            }
        }
        Err(failed(last))
    }

    /// Puts the files of somebody else that are in the folder into `new` too; one whose name is
    /// needed gets a new name. They stay where they are, so a failure leaves all as it was.
    pub(super) fn keep_foreign(&self, new: &Path) -> Result<Kept, ReportError> {
        let mut kept = Kept::new();
        for name in foreign_files(&self.target) {
            let from = self.target.join(&name);
            let written = last_written(&from);
            free_place(new, &name)
                .and_then(|to| same_file(&from, &to))
                .map_err(|e| write_error(&self.shown.join(&name), e))?;
            kept.insert(name, written);
        }
        Ok(kept)
    }

    /// A file of somebody else that came into the folder, or was written, between the look and
    /// the exchange goes back to where it was.
    fn bring_back_foreign(&self, old: &Path, kept: &Kept) -> Result<(), ReportError> {
        for name in foreign_files(old) {
            let from = old.join(&name);
            if kept.get(&name) == Some(&last_written(&from)) {
                continue;
            }
            free_place(&self.target, &name)
                .and_then(|to| fs::rename(from, to))
                .map_err(|e| write_error(&self.shown.join(&name), e))?;
        }
        Ok(())
    }
}

/// The target with links and `..` resolved as far as it exists.
pub(super) fn resolve(target: &Path) -> io::Result<PathBuf> {
    match target.canonicalize() {
        Ok(path) => Ok(path),
        Err(e) if e.kind() == io::ErrorKind::NotFound => {
            let name = target.file_name().ok_or(e)?;
            let parent = match target.parent() {
                Some(p) if !p.as_os_str().is_empty() => p,
                _ => Path::new("."),
            };
            Ok(resolve(parent)?.join(name))
        }
        Err(e) => Err(e),
    }
}

pub(super) fn write_error(path: &Path, source: io::Error) -> ReportError {
    ReportError::Write { path: path.to_owned(), source }
}

fn last_written(path: &Path) -> Option<SystemTime> {
    path.symlink_metadata().and_then(|about| about.modified()).ok()
}

/// A path for `name` inside `folder` where nothing is yet, in folders that are there or are made.
fn free_place(folder: &Path, name: &Path) -> io::Result<PathBuf> {
    let mut place = folder.to_owned();
    let mut parts = name.components().peekable();
    while let Some(part) = parts.next() {
        let part = part.as_os_str();
        let is_file = parts.peek().is_none();
        let mut tried = place.join(part);
        for n in 1u32.. {
            match tried.symlink_metadata() {
                Err(_) => break,
                Ok(there) if there.is_dir() && !is_file => break,
                Ok(_) => {}
            }
            let mut other =
                OsString::from(if n == 1 { "kept-".into() } else { format!("kept-{n}-") });
            other.push(part);
            tried = place.join(other);
        }
        place = tried;
        if !is_file && !place.is_dir() {
            fs::create_dir(&place)?;
        }
    }
    Ok(place)
}

/// Makes `to` the same file as `from`: a second name of it, or a copy where the file system has
/// none.
fn same_file(from: &Path, to: &Path) -> io::Result<()> {
    #[cfg(unix)]
    if from.is_symlink() {
        return std::os::unix::fs::symlink(from.read_link()?, to);
    }
    fs::hard_link(from, to).or_else(|_| fs::copy(from, to).map(drop))
}

/// Exchanges two folders in one step, where system and file system can: a run that
/// is killed then leaves either the old folder or the new one, never none.
#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
fn exchange(one: &Path, other: &Path) -> bool {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    let swap = || renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE).is_ok();
    if !swap() {
        return false;
    }
    // Something that is no folder came into the place a moment ago: it is not ours.
    let is_folder = one.symlink_metadata().is_ok_and(|m| m.is_dir());
    is_folder || !swap()
}

#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
fn exchange(_: &Path, _: &Path) -> bool {
    false
}
