//! Safe writing of an output folder.
//!
//! Files are written into a hidden folder beside the target and put into place
//! by renaming, once all of them are complete: a failure leaves the previous
//! report whole, and two runs at once end with one whole report. A list in the
//! folder (`.scrimcheck`) says which files this program wrote; a folder with
//! any other file is refused, and with `force` such files are kept.

use super::error::ReportError;
use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};
use tempfile::TempDir;

/// Name of the list of written files.
pub const LIST_NAME: &str = ".scrimcheck";

/// First line of the list.
const LIST_HEADER: &str = "files written by scrimcheck; a folder with other files is left alone";

/// An output folder in the making.
#[derive(Debug)]
pub struct OutputFolder {
    /// Where the files will be, with links resolved.
    target: PathBuf,
    /// As the user named it, for messages.
    shown: PathBuf,
    force: bool,
    /// Hidden sibling of the target; removed with all it holds when dropped.
    staging: TempDir,
    written: BTreeSet<PathBuf>,
}

impl OutputFolder {
    /// Prepares the writing of `target`, which need not exist.
    ///
    /// # Errors
    /// [`ReportError::Foreign`] when it holds a file this program did not write
    /// and `force` is not given, [`ReportError::NotAFolder`] when it is a file,
    /// [`ReportError::Write`] when nothing can be written beside it.
    pub fn open(target: &Path, force: bool) -> Result<Self, ReportError> {
        let shown = target.to_owned();
        let resolved = resolve(target).map_err(|e| write_error(&shown, e))?;
        if resolved.exists() && !resolved.is_dir() {
            return Err(ReportError::NotAFolder { path: shown });
        }
        if !force {
            refuse_foreign(&resolved, &shown)?;
        }
        let parent = resolved.parent().unwrap_or(&resolved);
        fs::create_dir_all(parent).map_err(|e| write_error(parent, e))?;
        let staging = tempfile::Builder::new()
            .prefix(".scrimcheck-")
            .tempdir_in(parent)
            .map_err(|e| write_error(parent, e))?;
        // A folder made plainly gets the user's usual permissions; the temporary
        // one around it is closed to others.
        let new = staging.path().join("new");
        fs::create_dir(&new).map_err(|e| write_error(&shown, e))?;
        Ok(Self { target: resolved, shown, force, staging, written: BTreeSet::new() })
    }

    /// Where files are gathered until [`Self::publish`]: for writers that need
    /// a folder. What is written there directly is put into place too.
    pub fn staging_path(&self) -> PathBuf {
        self.staging.path().join("new")
    }

    /// Writes one file, named relative to the folder, with `/` between names.
    ///
    /// # Errors
    /// [`ReportError::Name`] for a name that leaves the folder,
    /// [`ReportError::Write`] when the system refuses.
    pub fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), ReportError> {
        let relative = self.claim(name)?;
        let path = self.staging_path().join(&relative);
        let shown = self.shown.join(&relative);
        let folder = path.parent().unwrap_or(&path);
        fs::create_dir_all(folder).map_err(|e| write_error(&shown, e))?;
        let mut file = fs::File::create_new(&path).map_err(|e| write_error(&shown, e))?;
        file.write_all(bytes).and_then(|()| file.flush()).map_err(|e| write_error(&shown, e))
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
        walk(&self.staging_path(), Path::new(""), &BTreeSet::new(), &mut |name, _| {
            self.written.insert(name.to_owned());
        });
        self.write_list()?;
        if self.force && !foreign_files(&self.target).is_empty() {
            self.put_beside()?;
        } else {
            self.swap()?;
        }
        Ok(self.written.iter().map(|name| self.shown.join(name)).collect())
    }

    fn write_list(&self) -> Result<(), ReportError> {
        let mut list = format!("{LIST_HEADER}\n");
        for name in &self.written {
            list.push_str(&name.to_string_lossy());
            list.push('\n');
        }
        let path = self.staging_path().join(LIST_NAME);
        fs::write(&path, list).map_err(|e| write_error(&self.shown.join(LIST_NAME), e))
    }

    /// Exchanges the whole folder. Another run may do the same at the same time:
    /// whoever finds the place taken again steps aside and tries again.
    fn swap(&self) -> Result<(), ReportError> {
        let new = self.staging_path();
        let mut last = io::Error::other("the folder was taken again and again by other runs");
        for attempt in 0..100 {
            match fs::rename(&new, &self.target) {
                Ok(()) => return Ok(()),
                Err(e) if !self.target.is_dir() => return Err(write_error(&self.shown, e)),
                Err(e) => last = e,
            }
            if !self.force {
                refuse_foreign(&self.target, &self.shown)?;
            }
            let old = self.staging.path().join(format!("old-{attempt}"));
            match fs::rename(&self.target, &old) {
                Ok(()) => {}
                // The other run has it at this moment.
                Err(e) if e.kind() == io::ErrorKind::NotFound => continue,
                Err(e) => return Err(write_error(&self.shown, e)),
            }
            if let Err(e) = fs::rename(&new, &self.target)
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
    fn put_beside(&self) -> Result<(), ReportError> {
        let mut foreign: BTreeSet<PathBuf> = foreign_files(&self.target).into_iter().collect();
        let old_own = own_files(&self.target);
        let backup = self.staging.path().join("backup");
        let mut moves = Moves::default();
        let result = (|| {
            let names = self.written.iter().cloned().chain([PathBuf::from(LIST_NAME)]);
            for name in names {
                // Also a file or link where a folder is needed makes room: a
                // link is never followed to a place outside.
                for taken in name.ancestors().filter(|a| !a.as_os_str().is_empty()) {
                    if foreign.remove(taken) {
                        moves.rename(&self.target.join(taken), &self.free_name(taken))?;
                    }
                }
                let place = self.target.join(&name);
                if place.symlink_metadata().is_ok() {
                    moves.rename(&place, &backup.join(&name))?;
                }
                moves.rename(&self.staging_path().join(&name), &place)?;
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

/// Writes a single file the same way: under a temporary name beside its place,
/// then renamed. `write` gets the temporary path; its own failure is the inner result.
///
/// # Errors
/// [`ReportError::Taken`] when the file is there and `force` is not given,
/// [`ReportError::Write`] when the system refuses.
pub fn write_one_file<E>(
    target: &Path,
    force: bool,
    write: impl FnOnce(&Path) -> Result<(), E>,
) -> Result<Result<(), E>, ReportError> {
    let failed = |e| write_error(target, e);
    let taken = target.symlink_metadata().is_ok();
    if taken && (!force || target.is_dir()) {
        return Err(ReportError::Taken { path: target.to_owned() });
    }
    let resolved = resolve(target).map_err(failed)?;
    let parent = resolved.parent().unwrap_or(&resolved);
    let staging =
        tempfile::Builder::new().prefix(".scrimcheck-").tempdir_in(parent).map_err(failed)?;
    let new = staging.path().join("new");
    if let Err(error) = write(&new) {
        return Ok(Err(error));
    }
    fs::rename(&new, &resolved).map_err(failed)?;
    Ok(Ok(()))
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

/// The target with links and `..` resolved as far as it exists.
fn resolve(target: &Path) -> io::Result<PathBuf> {
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

/// Looks again for a while before it refuses: another run may exchange the folder
/// between the reading of its list and of its files.
fn refuse_foreign(folder: &Path, shown: &Path) -> Result<(), ReportError> {
    let mut looks = 0;
    loop {
        let Some(found) = foreign_files(folder).into_iter().next() else { return Ok(()) };
        looks += 1;
        if looks == 20 {
            return Err(ReportError::Foreign { folder: shown.to_owned(), found });
        }
        std::thread::sleep(std::time::Duration::from_millis(3));
    }
}

/// Files below `folder` that are on no list of ours, relative to it, sorted.
/// A folder inside that has a list of its own (a report inside a demo session)
/// is judged by that. What cannot be read is not ours.
fn foreign_files(folder: &Path) -> Vec<PathBuf> {
    let mut foreign = Vec::new();
    walk(folder, Path::new(""), &BTreeSet::new(), &mut |name, own| {
        if !own {
            foreign.push(name.to_owned());
        }
    });
    foreign.sort();
    foreign
}

/// Files below `folder` that are on a list of ours, relative to it.
fn own_files(folder: &Path) -> Vec<PathBuf> {
    let mut own_names = Vec::new();
    walk(folder, Path::new(""), &BTreeSet::new(), &mut |name, own| {
        if own {
            own_names.push(name.to_owned());
        }
    });
    own_names
}

/// Visits every file with whether it is ours. `listed` are names relative to `root`.
fn walk(
    root: &Path,
    inside: &Path,
    listed: &BTreeSet<PathBuf>,
    visit: &mut dyn FnMut(&Path, bool),
) {
    let here = root.join(inside);
    let Ok(entries) = fs::read_dir(&here) else {
        if here.symlink_metadata().is_ok() {
            visit(inside, false);
        }
        return;
    };
    let own_list = read_list(&here.join(LIST_NAME))
        .map(|names| names.into_iter().map(|n| inside.join(n)).collect::<BTreeSet<_>>());
    let listed = own_list.as_ref().unwrap_or(listed);
    for entry in entries {
        let Ok(entry) = entry else {
            visit(inside, false);
            continue;
        };
        let name = inside.join(entry.file_name());
        // A link is a file here: what it leads to is never looked into.
        let is_folder = entry.file_type().is_ok_and(|t| t.is_dir());
        if is_folder {
            walk(root, &name, listed, visit);
        } else {
            let is_list = own_list.is_some() && entry.file_name() == LIST_NAME;
            visit(&name, is_list || listed.contains(&name));
        }
    }
}

/// Names in a list of ours; `None` when the file is no such list.
fn read_list(path: &Path) -> Option<Vec<PathBuf>> {
    let is_file = path.symlink_metadata().is_ok_and(|m| m.is_file() && m.len() < 1 << 24);
    let text = if is_file { fs::read_to_string(path).ok()? } else { return None };
    let mut lines = text.lines();
    (lines.next()? == LIST_HEADER).then(|| lines.map(PathBuf::from).collect())
}

fn write_error(path: &Path, source: io::Error) -> ReportError {
    ReportError::Write { path: path.to_owned(), source }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report(target: &Path, force: bool, files: &[(&str, &str)]) -> Result<(), ReportError> {
        let mut folder = OutputFolder::open(target, force)?;
        for (name, text) in files {
            folder.write(name, text.as_bytes())?;
        }
        folder.publish().map(|_| ())
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_second_report_replaces_the_first_and_leaves_nothing_beside() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("deep/report");
        report(&target, false, &[("result.json", "1"), ("plots/old.svg", "1")]).unwrap();
        report(&target, false, &[("result.json", "2"), ("bands.csv", "2")]).unwrap();
        assert_eq!(names(&target), [".scrimcheck", "bands.csv", "result.json"]);
        assert_eq!(fs::read_to_string(target.join("result.json")).unwrap(), "2");
        assert_eq!(names(target.parent().unwrap()), ["report"]);
    }

    #[test]
    fn what_another_writer_put_there_is_published_too() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("demo");
        for _ in 0..2 {
            let folder = OutputFolder::open(&target, false).unwrap();
            fs::create_dir(folder.staging_path().join("takes")).unwrap();
            fs::write(folder.staging_path().join("takes/a.wav"), "1").unwrap();
            assert_eq!(folder.publish().unwrap(), [target.join("takes/a.wav")]);
        }
        assert_eq!(names(&target), [".scrimcheck", "takes"]);
    }

    #[test]
    fn an_empty_folder_is_taken() {
        let dir = tempfile::tempdir().unwrap();
        report(dir.path().join("x").as_path(), false, &[]).unwrap();
        let empty = dir.path().join("empty");
        fs::create_dir(&empty).unwrap();
        report(&empty, false, &[("a", "1")]).unwrap();
        assert_eq!(names(&empty), [".scrimcheck", "a"]);
    }

    #[test]
    fn a_folder_with_other_files_is_refused_and_left_as_it_was() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("mine");
        fs::create_dir_all(target.join("sub")).unwrap();
        fs::write(target.join("sub/letter.txt"), "dear").unwrap();
        let error = report(&target, false, &[("a", "1")]).unwrap_err();
        assert!(error.to_string().contains("letter.txt"), "{error}");
        assert_eq!(names(dir.path()), ["mine"]);
        assert_eq!(names(&target), ["sub"]);
    }

    #[test]
    fn force_keeps_other_files_even_under_a_name_that_is_needed() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("r");
        report(&target, false, &[("bands.csv", "old"), ("stale.csv", "old")]).unwrap();
        fs::write(target.join("notes.txt"), "mine").unwrap();
        fs::write(target.join("curve.csv"), "mine too").unwrap();
        report(&target, true, &[("bands.csv", "new"), ("curve.csv", "new")]).unwrap();
        assert_eq!(
            names(&target),
            [".scrimcheck", "bands.csv", "curve.csv", "kept-curve.csv", "notes.txt"]
        );
        let read = |n: &str| fs::read_to_string(target.join(n)).unwrap();
        assert_eq!((read("bands.csv"), read("curve.csv")), ("new".into(), "new".into()));
        assert_eq!((read("kept-curve.csv"), read("notes.txt")), ("mine too".into(), "mine".into()));
        assert_eq!(names(dir.path()), ["r"]);
        // Still other people's files there: refused again without force.
        assert!(matches!(report(&target, false, &[]), Err(ReportError::Foreign { .. })));
    }

    #[test]
    fn a_failure_before_the_end_leaves_the_previous_report() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("r");
        report(&target, false, &[("a", "old")]).unwrap();
        let mut folder = OutputFolder::open(&target, false).unwrap();
        folder.write("a", b"new").unwrap();
        // The same name twice is a mistake of the program and fails like a full disk does.
        assert!(matches!(folder.write("a", b"again"), Err(ReportError::Write { .. })));
        drop(folder);
        assert_eq!(fs::read_to_string(target.join("a")).unwrap(), "old");
        assert_eq!(names(dir.path()), ["r"]);
    }

    #[test]
    fn a_file_that_arrives_during_the_run_is_not_lost() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("r");
        report(&target, false, &[("a", "old")]).unwrap();
        let mut folder = OutputFolder::open(&target, false).unwrap();
        folder.write("a", b"new").unwrap();
        fs::write(target.join("notes.txt"), "mine").unwrap();
        assert!(matches!(folder.publish(), Err(ReportError::Foreign { .. })));
        assert_eq!(fs::read_to_string(target.join("a")).unwrap(), "old");
        assert_eq!(fs::read_to_string(target.join("notes.txt")).unwrap(), "mine");
    }

    #[test]
    fn one_file_is_written_whole_or_not_at_all() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("out.wav");
        let write = |force, text: &str, fails: bool| {
            write_one_file(&target, force, |path| {
                fs::write(path, text)?;
                if fails { Err(io::Error::other("full")) } else { Ok(()) }
            })
        };
        write(false, "1", false).unwrap().unwrap();
        assert!(matches!(write(false, "2", false), Err(ReportError::Taken { .. })));
        write(true, "3", true).unwrap().unwrap_err();
        assert_eq!(fs::read_to_string(&target).unwrap(), "1");
        write(true, "4", false).unwrap().unwrap();
        assert_eq!(fs::read_to_string(&target).unwrap(), "4");
        assert_eq!(names(dir.path()), ["out.wav"]);
    }

    #[test]
    fn names_stay_inside() {
        let dir = tempfile::tempdir().unwrap();
        let mut folder = OutputFolder::open(&dir.path().join("r"), false).unwrap();
        for bad in ["", "../a", "/a", "a/../../b", "a\nb", "."] {
            assert!(matches!(folder.write(bad, b""), Err(ReportError::Name { .. })), "{bad:?}");
        }
    }

    #[test]
    fn a_file_in_the_place_of_the_folder_or_above_it_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("file");
        fs::write(&file, "mine").unwrap();
        let at = |p: &Path| report(p, true, &[("a", "1")]).unwrap_err();
        assert!(matches!(at(&file), ReportError::NotAFolder { .. }));
        assert!(matches!(at(&file.join("below")), ReportError::Write { .. }));
        assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
    }

    #[test]
    fn runs_at_once_end_with_one_whole_report() {
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("r");
        std::thread::scope(|scope| {
            for run in 0..8 {
                let target = &target;
                scope.spawn(move || {
                    let text = run.to_string();
                    report(target, false, &[("a", &text), ("b/c", &text)]).unwrap();
                });
            }
        });
        assert_eq!(names(&target), [".scrimcheck", "a", "b"]);
        let read = |n: &str| fs::read_to_string(target.join(n)).unwrap();
        assert_eq!(read("a"), read("b/c"));
        assert_eq!(names(dir.path()), ["r"]);
    }

    #[test]
    fn a_report_inside_a_folder_of_ours_is_ours_too() {
        let dir = tempfile::tempdir().unwrap();
        let demo = dir.path().join("demo");
        report(&demo, false, &[("session.toml", "1")]).unwrap();
        report(&demo.join("report"), false, &[("result.json", "1")]).unwrap();
        report(&demo, false, &[("session.toml", "2")]).unwrap();
        assert_eq!(names(&demo), [".scrimcheck", "session.toml"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_in_the_folder_is_a_file_of_somebody_else() {
        let dir = tempfile::tempdir().unwrap();
        let outside = dir.path().join("outside");
        fs::create_dir(&outside).unwrap();
        fs::write(outside.join("precious"), "mine").unwrap();
        let target = dir.path().join("r");
        report(&target, false, &[("a", "1")]).unwrap();
        std::os::unix::fs::symlink(&outside, target.join("b")).unwrap();
        assert!(matches!(report(&target, false, &[]), Err(ReportError::Foreign { .. })));
        report(&target, true, &[("b/c", "2")]).unwrap();
        assert_eq!(names(&outside), ["precious"]);
        assert_eq!(names(&target), [".scrimcheck", "b", "kept-b"]);
        assert_eq!(names(&target.join("kept-b")), ["precious"]);
        assert_eq!(names(&target.join("b")), ["c"]);
    }
}
