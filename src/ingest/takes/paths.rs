//! Paths of a session: relative, and inside its folder.

use crate::ingest::error::IngestError;
use crate::ingest::printable::shown;
use crate::ingest::regular::kind_name;
use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};

/// Why a path in the manifest cannot be used; `None` where it can. Looks at the text
/// only, by the rules of all systems, so that a folder can travel.
pub(crate) fn relative_problem(path: &Path) -> Option<String> {
    let text = path.to_string_lossy();
    let bytes = text.as_bytes();
    if text.trim().is_empty() {
        return Some("the file name is empty".into());
    }
    if text.len() > 1024 {
        return Some(format!("the path has {} bytes, at most 1024 are taken", text.len()));
    }
    if text.contains('\\') {
        return Some(format!("\"{text}\" holds a backslash"));
    }
    if bytes[0] == b'/' || (bytes.len() > 1 && bytes[1] == b':') {
        return Some(format!("\"{text}\" is an absolute path"));
    }
    if path.components().any(|c| c == Component::ParentDir) {
        return Some(format!("\"{text}\" leads out of the folder by \"..\""));
    }
    // `.` alone names the folder itself.
    if !path.components().any(|c| matches!(c, Component::Normal(_))) {
        return Some(format!("\"{text}\" names no file"));
    }
    None
}

/// The folder's name in a path of the form `../NAME`; `None` for any other path.
pub(crate) fn sibling_name(path: &Path) -> Option<&std::ffi::OsStr> {
    if path.to_string_lossy().contains('\\') {
        return None;
    }
    match path.components().collect::<Vec<_>>()[..] {
        [Component::ParentDir, Component::Normal(name)] => Some(name),
        _ => None,
    }
}

/// The regular file `relative` in the session folder `root`, links followed.
///
/// # Errors
/// [`IngestError::NoFile`] with `advice`, [`IngestError::Unfit`] for a link that leads out,
/// [`IngestError::NotRegular`], [`IngestError::Read`].
pub(crate) fn inside(root: &Path, relative: &Path, advice: &str) -> Result<PathBuf, IngestError> {
    let path = root.join(relative);
    let real = resolve(root, &path, advice)?;
    let kind = fs::metadata(&real)
        .map_err(|source| IngestError::Read { path: path.clone(), source })?
        .file_type();
    if kind.is_file() {
        Ok(real)
    } else {
        Err(IngestError::NotRegular { path, found: kind_name(kind) })
    }
}

/// `path` with links followed, if it stays inside `root`.
pub(crate) fn resolve(root: &Path, path: &Path, advice: &str) -> Result<PathBuf, IngestError> {
    let real_root =
        root.canonicalize().map_err(|source| IngestError::Read { path: root.into(), source })?;
    let real = path.canonicalize().map_err(|source| match source.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => {
            IngestError::NoFile { path: path.into(), advice: advice.into() }
        }
        _ => IngestError::Read { path: path.into(), source },
    })?;
    if real.starts_with(&real_root) {
        Ok(real)
    } else {
        Err(IngestError::Unfit {
            path: path.into(),
            problem: format!("this link leads out of the session folder, to {}", shown(&real)),
            advice: "put the file itself into the folder",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_relative_paths_inside_the_folder_pass() {
        for good in [
            "sweep.wav",
            "takes/R1C_without_1.wav",
            "./a.wav",
            "a..b.wav",
            "d/..x/y",
            "Süd/ä b.wav",
        ] {
            assert_eq!(relative_problem(Path::new(good)), None, "{good}");
        }
        for bad in [
            "",
            "  ",
            "/etc/passwd",
            "../a.wav",
            "takes/../../a.wav",
            "C:/a.wav",
            "c:a.wav",
            "takes\\a.wav",
            "\\\\server\\share\\a.wav",
            ".",
            "./",
            "takes/..",
        ] {
            assert!(relative_problem(Path::new(bad)).is_some(), "{bad} passed");
        }
    }
}
