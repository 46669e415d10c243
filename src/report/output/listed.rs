//! Which files in an output folder are ours: those on a list that lies there.
//!
//! A folder inside that has a list of its own (a report inside a demo session) is
//! judged by that. Links count as files: what they lead to is never looked into.

use std::collections::BTreeSet;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

/// Name of the list of written files.
pub const LIST_NAME: &str = ".scrimcheck";

/// First line of the list.
const LIST_HEADER: &str = "files written by scrimcheck; a folder with other files is left alone";

pub(super) fn list_text(names: &BTreeSet<PathBuf>) -> String {
    let names = names.iter().map(|name| format!("{}\n", name.to_string_lossy()));
    std::iter::once(format!("{LIST_HEADER}\n")).chain(names).collect()
}

/// Names in the list that lies in `folder`; `None` when there is no list of ours.
fn read_list(folder: &Path) -> Option<BTreeSet<PathBuf>> {
    let path = folder.join(LIST_NAME);
    let is_file = path.symlink_metadata().is_ok_and(|m| m.is_file() && m.len() < 1 << 24);
    let text = if is_file { fs::read_to_string(path).ok()? } else { return None };
    let mut lines = text.lines();
    (lines.next()? == LIST_HEADER).then(|| lines.map(PathBuf::from).collect())
}

/// A file below `folder` that is on no list of ours, relative to it. Ends at the
/// first, so that a whole disk given by mistake is not walked through.
pub(super) fn first_foreign(folder: &Path) -> Option<PathBuf> {
    walk(folder, Path::new(""), &BTreeSet::new(), &mut |name, own| match own {
        true => ControlFlow::Continue(()),
        false => ControlFlow::Break(name.to_owned()),
    })
    .break_value()
}

/// All files below `folder` that are on no list of ours, relative to it.
pub(super) fn foreign_files(folder: &Path) -> Vec<PathBuf> {
    files(folder, |own| !own)
}

/// All files below `folder`, relative to it.
pub(super) fn all_files(folder: &Path) -> Vec<PathBuf> {
    files(folder, |_| true)
}

/// Files below `folder`, relative to it, told by whether they are ours.
fn files(folder: &Path, is_wanted: impl Fn(bool) -> bool) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let _ = walk(folder, Path::new(""), &BTreeSet::new(), &mut |name, own| {
        found.extend(is_wanted(own).then(|| name.to_owned()));
        ControlFlow::Continue(())
    });
    found
}

/// Visits files with whether they are ours, in the order of names. `listed` are
/// names relative to `root`. What cannot be read is not ours.
fn walk(
    root: &Path,
    inside: &Path,
    listed: &BTreeSet<PathBuf>,
    visit: &mut dyn FnMut(&Path, bool) -> ControlFlow<PathBuf>,
) -> ControlFlow<PathBuf> {
    let here = root.join(inside);
    let Ok(entries) = fs::read_dir(&here) else {
        return if here.symlink_metadata().is_ok() {
            visit(inside, false)
        } else {
            ControlFlow::Continue(())
        };
    };
    let own_list = read_list(&here)
        .map(|names| names.into_iter().map(|n| inside.join(n)).collect::<BTreeSet<_>>());
    let listed = own_list.as_ref().unwrap_or(listed);
    let mut names = Vec::new();
    for entry in entries {
        let Ok(entry) = entry else {
            visit(inside, false)?;
            continue;
        };
        let is_folder = entry.file_type().is_ok_and(|t| t.is_dir());
        names.push((is_folder, entry.file_name()));
    }
    // Files before folders: a foreign one is then found at once.
    names.sort();
    for (is_folder, file_name) in names {
        let name = inside.join(&file_name);
        if is_folder {
            walk(root, &name, listed, visit)?;
        } else {
            let is_list = own_list.is_some() && file_name == LIST_NAME;
            visit(&name, is_list || listed.contains(&name))?;
        }
    }
    ControlFlow::Continue(())
}
