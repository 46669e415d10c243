//! Folders in the making: hidden, beside the place that they are renamed to.
//!
//! Nothing of them stays behind. A failure drops them; an interruption removes
//! them ([`clear_up_when_interrupted`]); what a killed run could not remove, the
//! next run that writes there does. Whether a folder is still in use is told by a
//! lock on a file inside it, which the system takes off when its process ends.

use std::fs::{self, File, TryLockError};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use tempfile::TempDir;

/// How the names of such folders begin.
const PREFIX: &str = ".scrimcheck-";
/// How many letters and digits follow.
const RANDOM_CHARACTERS: usize = 6;
/// How often a folder is made anew when another run has removed it.
const ATTEMPTS: usize = 8;
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
    _lock: File,
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
        builder.prefix(PREFIX).rand_bytes(RANDOM_CHARACTERS);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // As a folder made by hand would have; the system takes the user's mask off.
            builder.permissions(fs::Permissions::from_mode(0o777));
        }
        // Until the lock is on, another run may take the folder for a forgotten one.
        for _ in 0..ATTEMPTS {
            let folder = builder.tempdir_in(parent)?;
            entries().push((folder.path().to_owned(), made.0.clone()));
            match lock(folder.path()) {
                Ok(Some(lock)) => return Ok(Self { folder, _lock: lock, _made: made }),
                other => {
                    entries().retain(|(listed, _)| listed != folder.path());
                    other?;
                }
            }
        }
        Err(io::Error::other("other runs keep removing the folder that this one makes"))
    }

    /// A path inside the folder.
    pub fn at(&self, name: impl AsRef<Path>) -> PathBuf {
        self.folder.path().join(name)
    }
}

impl Drop for Staging {
    fn drop(&mut self) {
        remove(self.folder.path());
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
                remove(&folder);
                if !folder.exists() {
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

/// Puts a locked file into the folder. Where the file system knows no locks the file
/// has none, and others, who cannot lock it either, never clear the folder away. `None`
/// when another run has taken the folder for a forgotten one in the meantime.
fn lock(folder: &Path) -> io::Result<Option<File>> {
    let path = folder.join(LOCK_NAME);
    let mut file = match File::create_new(&path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        file => file?,
    };
    if let Err(TryLockError::WouldBlock) = file.try_lock() {
        return Ok(None);
    }
    file.write_all(LOCK_TEXT.as_bytes())?;
    // Others remove the file only while they hold its lock: still there, it stays.
    Ok(path.exists().then_some(file))
}

/// Removes the folder, what tells whose it is last, so that a run killed in
/// between leaves what the next one knows. Best effort: what cannot be removed
/// bothers nobody but the eye.
fn remove(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten().filter(|e| e.file_name() != LOCK_NAME) {
        let _ = match entry.file_type() {
            Ok(t) if t.is_dir() => fs::remove_dir_all(entry.path()),
            _ => fs::remove_file(entry.path()),
        };
    }
    remove_bare(folder);
}

/// Removes the folder if it holds nothing but the lock.
fn remove_bare(folder: &Path) {
    let alone = fs::read_dir(folder)
        .is_ok_and(|entries| entries.flatten().all(|e| e.file_name() == LOCK_NAME));
    if alone {
        let _ = fs::remove_file(folder.join(LOCK_NAME));
        let _ = fs::remove_dir(folder);
    }
}

/// Whether `folder` is one of these, and held by a run that is at work.
pub(crate) fn is_in_use(folder: &Path) -> bool {
    let ours = folder.file_name().is_some_and(|n| n.to_string_lossy().starts_with(PREFIX));
    let path = folder.join(LOCK_NAME);
    if !ours || !path.symlink_metadata().is_ok_and(|about| about.is_file()) {
        return false;
    }
    File::open(path).is_ok_and(|f| matches!(f.try_lock(), Err(TryLockError::WouldBlock)))
}

/// Removes folders of runs that ended without removing them.
fn clear_stale(parent: &Path) {
    let Ok(entries) = fs::read_dir(parent) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let ours = name.to_str().and_then(|n| n.strip_prefix(PREFIX)).is_some_and(|random| {
            random.len() == RANDOM_CHARACTERS && random.bytes().all(|b| b.is_ascii_alphanumeric())
        });
        if ours && entry.file_type().is_ok_and(|t| t.is_dir()) {
            clear_forgotten(&entry.path());
        }
    }
}

fn clear_forgotten(folder: &Path) {
    let path = folder.join(LOCK_NAME);
    let Ok(about) = path.symlink_metadata() else {
        // Killed before the lock or after it; fails where anything is inside.
        let _ = fs::remove_dir(folder);
        return;
    };
    if !about.is_file() || about.len() > LOCK_TEXT.len() as u64 {
        return;
    }
    let Ok(mut file) = File::open(&path) else { return };
    let mut text = Vec::new();
    if file.read_to_end(&mut text).is_err() {
        return;
    }
    if !LOCK_TEXT.as_bytes().starts_with(&text) || file.try_lock().is_err() {
        return;
    }
    if text.len() == LOCK_TEXT.len() {
        remove(folder);
    } else {
        // Killed while the lock was written: nothing else can be of ours.
        remove_bare(folder);
    }
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
        // As a run leaves it that is killed at work, at the lock, before it and after it.
        let gone = [("forgot", Some(LOCK_TEXT)), ("begun1", Some("a rep")), ("empty1", None)]
            .map(|(name, text)| (home.path().join(format!("{PREFIX}{name}")), text));
        let stay = [("strang", "mine"), ("longname", LOCK_TEXT)]
            .map(|(name, text)| (home.path().join(format!("{PREFIX}{name}")), Some(text)));
        for (folder, text) in gone.iter().chain(&stay) {
            fs::create_dir(folder).unwrap();
            if let Some(text) = text {
                fs::write(folder.join(LOCK_NAME), text).unwrap();
            }
        }
        fs::create_dir(gone[0].0.join("plots")).unwrap();
        fs::write(gone[0].0.join("plots/loss.svg"), "half").unwrap();
        let full = home.path().join(format!("{PREFIX}photos"));
        fs::create_dir(&full).unwrap();
        fs::write(full.join("mine"), "").unwrap();
        drop(Staging::inside(home.path()).unwrap());
        assert!(used.at(LOCK_NAME).exists() && full.join("mine").exists());
        assert!(stay.iter().all(|(folder, _)| folder.exists()), "a stranger's folder is gone");
        assert!(gone.iter().all(|(folder, _)| !folder.exists()), "a forgotten folder stays");
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
