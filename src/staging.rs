//! Folders in the making: hidden, beside the place that they are renamed to.
//!
//! Nothing of them stays behind. A failure drops them; an interruption removes
//! them ([`clear_up_when_interrupted`]); what a killed run could not remove, the
//! next run that writes there does. Whether a folder is still in use is told by a
//! lock on a file inside it, which the system takes off when its process ends.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::TempDir;

/// How the names of such folders begin.
const PREFIX: &str = ".scrimcheck-";
/// The locked file.
const LOCK_NAME: &str = "lock";
/// What is in it: only folders with exactly this are ever cleared away.
const LOCK_TEXT: &str = "a report of scrimcheck in the making\n";
/// Exit status after an interruption, as shells give it for SIGINT.
const INTERRUPTED: i32 = 130;

/// A hidden folder, removed with all it holds when dropped.
#[derive(Debug)]
pub struct Staging {
    // In this order: the lock goes last but for the folders made around it.
    folder: TempDir,
    _lock: Option<File>,
    _made: Made,
}

/// Folders that were made on the way; those still empty are removed when dropped.
#[derive(Debug)]
struct Made(Vec<PathBuf>);

impl Drop for Made {
    fn drop(&mut self) {
        self.0.iter().rev().for_each(|folder| {
            // Fails where the finished folder now is, as it should.
            let _ = fs::remove_dir(folder);
        });
    }
}

/// What an interruption must remove.
static UNFINISHED: Mutex<Vec<(PathBuf, Vec<PathBuf>)>> = Mutex::new(Vec::new());
/// Held while finished files are put into their place.
static PLACING: Mutex<()> = Mutex::new(());

impl Staging {
    /// Makes a hidden folder in `parent`, and `parent` with the folders above it
    /// where they are missing. Clears away what killed runs left there.
    ///
    /// # Errors
    /// The system's, when nothing can be written there.
    pub fn inside(parent: &Path) -> io::Result<Self> {
        let made = Made(make_missing(parent)?);
        clear_stale(parent);
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As a folder made by hand would have; the system takes the user's mask off.
            builder.permissions(fs::Permissions::from_mode(0o777));
        }
        let folder = builder.tempdir_in(parent)?;
        entries().push((folder.path().to_owned(), made.0.clone()));
        let lock = lock(folder.path())?;
        Ok(Self { folder, _lock: lock, _made: made })
    }

    /// A path inside the folder.
    pub fn at(&self, name: impl AsRef<Path>) -> PathBuf {
        self.folder.path().join(name)
    }
}

impl Drop for Staging {
    fn drop(&mut self) {
        entries().retain(|(folder, _)| folder != self.folder.path());
    }
}

/// While this is held, an interruption waits: for the renames that put finished
/// files into place, which are either all done or not begun.
pub fn hold_interruption() -> MutexGuard<'static, ()> {
    PLACING.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes unfinished folders when the user interrupts the program (Ctrl-C) or
/// the system asks it to end, then ends it with status 130.
pub fn clear_up_when_interrupted() {
    // Fails only when there is a handler already; then that one is in charge.
    let _ = ctrlc::set_handler(|| {
        let _placing = hold_interruption();
        for (folder, made) in entries().drain(..) {
            // The interrupted work may still be adding files.
            for _ in 0..20 {
                if fs::remove_dir_all(&folder).is_ok() || !folder.exists() {
                    break;
                }
            }
            drop(Made(made));
        }
        std::process::exit(INTERRUPTED)
    });
}

fn entries() -> MutexGuard<'static, Vec<(PathBuf, Vec<PathBuf>)>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Makes `folder` and those above it; returns those that were not there, outermost first.
fn make_missing(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let missing: Vec<PathBuf> = folder
        .ancestors()
        .take_while(|f| !f.as_os_str().is_empty() && f.symlink_metadata().is_err())
        .map(Path::to_owned)
        .collect();
    let mut made = Made(Vec::new());
    for folder in missing.into_iter().rev() {
        match fs::create_dir(&folder) {
            Ok(()) => made.0.push(folder),
            // Another run was quicker.
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(e),
        }
    }
    Ok(std::mem::take(&mut made.0))
}

/// Puts a locked file into the folder. It gets its name only once it is locked, so
/// that no other run takes the folder for a forgotten one. `None` where the file
/// system knows no locks: such a folder is never cleared away by others.
fn lock(folder: &Path) -> io::Result<Option<File>> {
    let making = folder.join("lock-in-the-making");
    let mut file = File::create_new(&making)?;
    if file.try_lock().is_err() {
        drop(file);
        fs::remove_file(&making)?;
        return Ok(None);
    }
    file.write_all(LOCK_TEXT.as_bytes())?;
    fs::rename(&making, folder.join(LOCK_NAME))?;
    Ok(Some(file))
}

/// Removes folders of runs that ended without removing them. Best effort: what
/// cannot be removed bothers nobody but the eye.
fn clear_stale(parent: &Path) {
    let Ok(entries) = fs::read_dir(parent) else { return };
    for entry in entries.flatten() {
        let hidden = entry.file_name().to_string_lossy().starts_with(PREFIX);
        if hidden && entry.file_type().is_ok_and(|t| t.is_dir()) && is_forgotten(&entry.path()) {
            let _ = fs::remove_dir_all(entry.path());
        }
    }
}

fn is_forgotten(folder: &Path) -> bool {
    let path = folder.join(LOCK_NAME);
    let plain =
        path.symlink_metadata().is_ok_and(|m| m.is_file() && m.len() == LOCK_TEXT.len() as u64);
    plain
        && fs::read(&path).is_ok_and(|text| text == LOCK_TEXT.as_bytes())
        && File::open(&path).is_ok_and(|file| file.try_lock().is_ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect()
    }

    #[test]
    fn nothing_stays_but_what_was_renamed() {
        let home = tempfile::tempdir().unwrap();
        let deep = home.path().join("a/b");
        drop(Staging::inside(&deep).unwrap());
        assert!(names(home.path()).is_empty(), "folders made on the way stay");
        let staging = Staging::inside(&deep).unwrap();
        fs::write(staging.at("new"), "1").unwrap();
        fs::rename(staging.at("new"), deep.join("done")).unwrap();
        drop(staging);
        assert_eq!(names(&deep), ["done"]);
    }

    #[test]
    fn a_forgotten_folder_is_cleared_one_in_use_and_a_strangers_are_not() {
        let home = tempfile::tempdir().unwrap();
        let used = Staging::inside(home.path()).unwrap();
        let forgotten = home.path().join(".scrimcheck-forgotten");
        let stranger = home.path().join(".scrimcheck-stranger");
        for (folder, text) in [(&forgotten, LOCK_TEXT), (&stranger, "mine")] {
            fs::create_dir(folder).unwrap();
            fs::write(folder.join(LOCK_NAME), text).unwrap();
        }
        drop(Staging::inside(home.path()).unwrap());
        assert!(used.at(LOCK_NAME).exists() && stranger.exists() && !forgotten.exists());
    }

    #[test]
    fn a_file_in_the_way_is_an_error_and_stays() {
        let home = tempfile::tempdir().unwrap();
        fs::write(home.path().join("file"), "mine").unwrap();
        assert!(Staging::inside(&home.path().join("file/below/deep")).is_err());
        assert!(Staging::inside(&home.path().join("file")).is_err());
        assert_eq!(names(home.path()), ["file"]);
    }
}
