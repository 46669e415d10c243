//! Putting a finished folder into its place.

use super::listed::{LIST_NAME, first_foreign, foreign_files, is_own, own_files};
use super::{OutputFolder, refuse_foreign, write_error};
use crate::report::error::ReportError;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

impl OutputFolder {
    /// Puts the folder `new`, inside `staging`, into place as a whole. Another run
    /// may do the same at the same time.
    pub(super) fn swap(&self, staging: &Path, new: &Path) -> Result<(), ReportError> {
        let mut last = io::Error::other("the folder was taken again and again by other runs");
        for attempt in 0..100 {
            match fs::rename(new, &self.target) {
                Ok(()) => return Ok(()),
                Err(e) if !self.target.is_dir() => return Err(write_error(&self.shown, e)),
                Err(e) => last = e,
            }
            if !self.force {
                refuse_foreign(&self.target, &self.shown)?;
            }
            let old = staging.join(format!("old-{attempt}"));
            if exchange(new, &self.target) {
                // Out of the way of a name that means something finished.
                fs::rename(new, &old).map_err(|e| write_error(&self.shown, e))?;
                return self.bring_back_foreign(&old);
            }
            match fs::rename(&self.target, &old) {
                Ok(()) => {}
                // The other run has it at this moment.
                Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
                Err(e) => return Err(write_error(&self.shown, e)),
            }
            if let Err(e) = fs::rename(new, &self.target)
                && !self.target.exists()
            {
                fs::rename(&old, &self.target).map_err(|e| write_error(&self.shown, e))?;
                return Err(write_error(&self.shown, e));
            }
            self.bring_back_foreign(&old)?;
            if !new.exists() {
                return Ok(());
            }
        }
        Err(write_error(&self.shown, last))
    }

    /// A file of somebody else that came into the folder between the look and
    /// the exchange goes back to where it was.
    fn bring_back_foreign(&self, old: &Path) -> Result<(), ReportError> {
        for name in foreign_files(old) {
            let (from, to) = (old.join(&name), self.free_name(&name));
            let folder = to.parent().unwrap_or(&self.target);
            fs::create_dir_all(folder)
                .and_then(|()| fs::rename(&from, &to))
                .map_err(|e| write_error(&self.shown.join(&name), e))?;
        }
        Ok(())
    }

    /// Puts the files one by one into a folder that also holds other people's
    /// files; those keep their place, and one whose name is needed gets a new
    /// name. What was done is undone when a step fails.
    pub(super) fn put_beside(&self, staging: &Path, new: &Path) -> Result<(), ReportError> {
        let old_own = own_files(&self.target);
        let backup = staging.join("backup");
        let mut moves = Moves::default();
        let result = (|| {
            for name in self.written.iter().map(PathBuf::as_path).chain([Path::new(LIST_NAME)]) {
                // Also a file or link where a folder is needed makes room: a
                // link is never followed to a place outside.
                let folders = name.ancestors().skip(1).filter(|a| !a.as_os_str().is_empty());
                for folder in folders {
                    let place = self.target.join(folder);
                    if place.symlink_metadata().is_ok_and(|m| !m.is_dir()) {
                        self.make_room(folder, &backup, &mut moves)?;
                    }
                }
                if self.target.join(name).symlink_metadata().is_ok() {
                    self.make_room(name, &backup, &mut moves)?;
                }
                moves.rename(&new.join(name), &self.target.join(name))?;
            }
            for stale in old_own.iter().filter(|name| !self.written.contains(*name)) {
                let place = self.target.join(stale);
                if stale != Path::new(LIST_NAME) && place.symlink_metadata().is_ok() {
                    moves.rename(&place, &backup.join(stale))?;
                }
            }
            Ok(())
        })();
        result.map_err(|(path, source)| {
            moves.undo();
            write_error(&path, source)
        })
    }

    /// Takes what is at `name` out of the way: what is ours goes, the rest gets
    /// another name.
    fn make_room(
        &self,
        name: &Path,
        backup: &Path,
        moves: &mut Moves,
    ) -> Result<(), (PathBuf, io::Error)> {
        let place = self.target.join(name);
        let is_folder = place.symlink_metadata().is_ok_and(|m| m.is_dir());
        let ours =
            if is_folder { first_foreign(&place).is_none() } else { is_own(&self.target, name) };
        let to = if ours { backup.join(name) } else { self.free_name(name) };
        moves.rename(&place, &to)
    }

    /// A name in the target for a file of somebody else that must make room.
    fn free_name(&self, name: &Path) -> PathBuf {
        let place = self.target.join(name);
        let file = name.file_name().unwrap_or_default().to_string_lossy().into_owned();
        (0..u32::MAX)
            .map(|n| match n {
                0 => place.with_file_name(&file),
                1 => place.with_file_name(format!("kept-{file}")),
                n => place.with_file_name(format!("kept-{n}-{file}")),
            })
            .find(|p| {
                let taken = p.strip_prefix(&self.target).is_ok_and(|r| self.written.contains(r));
                !taken && p.symlink_metadata().is_err()
            })
            .unwrap_or(place)
    }
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

/// Renames that can be undone.
#[derive(Default)]
struct Moves {
    done: Vec<(PathBuf, PathBuf)>,
}

impl Moves {
    fn rename(&mut self, from: &Path, to: &Path) -> Result<(), (PathBuf, io::Error)> {
        let folder = to.parent().unwrap_or(to);
        fs::create_dir_all(folder)
            .and_then(|()| fs::rename(from, to))
            .map_err(|e| (to.to_owned(), e))?;
        self.done.push((from.to_owned(), to.to_owned()));
        Ok(())
    }

    fn undo(&mut self) {
        for (from, to) in self.done.drain(..).rev() {
            // The first error is the one that is told; the rest is best effort.
            let _ = fs::rename(to, from);
        }
    }
}
