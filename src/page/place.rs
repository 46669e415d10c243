//! Names of jobs to folders: one step below the opened folder, or the folder itself.

use super::refusal::Refusal;
use super::words::{fill, word};
use crate::ingest::session::Session;
use crate::ingest::takes::paths::resolve;
use crate::jobs::find::is_session;
use axum::http::StatusCode;
use std::path::{Component, Path, PathBuf};

/// The name by which the opened folder itself goes, where it is a session.
pub(super) const HERE: &str = "@";

/// Whether `name` is one plain step: nothing that any system takes for a way elsewhere.
pub(super) fn is_plain(name: &str) -> bool {
    let mut steps = Path::new(name).components();
    let one = matches!((steps.next(), steps.next()), (Some(Component::Normal(_)), None));
    one && name.len() <= 255
        && !name.starts_with(['.', '@'])
        && name.trim() == name
        && !name.contains(['/', '\\', ':', '\0'])
        && !name.chars().any(crate::ingest::error::is_invisible)
}

/// What a folder is called, for people.
pub(super) fn own_name(folder: &Path) -> String {
    folder.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// The folder of a job.
///
/// # Errors
/// 404 where there is no such session; 403 where the name or a link leads out of `root`.
pub(super) fn job_folder(root: &Path, name: &str) -> Result<PathBuf, Refusal> {
    if name == HERE {
        return if is_session(root) { Ok(root.to_owned()) } else { Err(no_job()) };
    }
    if !is_plain(name) {
        return Err(outside());
    }
    let folder = root.join(name);
    if folder.symlink_metadata().is_err() {
        return Err(no_job());
    }
    resolve(root, &folder, "").map_err(|_| outside())?;
    if is_session(&folder) { Ok(folder) } else { Err(no_job()) }
}

/// Refuses seats whose names, which a manifest may hold, would lead elsewhere as part of a file's.
pub(super) fn names_are_plain(session: &Session) -> Result<(), Refusal> {
    let seats = &session.manifest.seat;
    match seats.iter().find(|seat| !is_plain(&seat.id)) {
        Some(seat) => Err(Refusal::bad(fill("error.seat_name", &[("seat", &seat.id)]))),
        None => Ok(()),
    }
}

fn no_job() -> Refusal {
    Refusal::say(StatusCode::NOT_FOUND, "error.no_job")
}

pub(super) fn outside() -> Refusal {
    Refusal::new(StatusCode::FORBIDDEN, word("error.outside"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::manifest::MANIFEST_FILE;

    #[test]
    fn only_plain_names_pass() {
        for good in ["barn", "Süd Kino 2", "a..b", "a.b"] {
            assert!(is_plain(good), "{good}");
        }
        for bad in [
            "",
            ".",
            "..",
            "../x",
            "a/b",
            "a\\b",
            "C:",
            ".hidden",
            "@",
            " a",
            "a\n",
            "a\u{202e}b",
            "/etc",
        ] {
            assert!(!is_plain(bad), "{bad:?} passed");
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_link_out_of_the_folder_is_no_job() {
        let home = tempfile::tempdir().unwrap();
        let (root, other) = (home.path().join("root"), home.path().join("other"));
        for folder in [&root, &other, &root.join("inside")] {
            std::fs::create_dir(folder).unwrap();
            std::fs::write(folder.join(MANIFEST_FILE), "").unwrap();
        }
        std::os::unix::fs::symlink(&other, root.join("link")).unwrap();
        assert!(job_folder(&root, "link").is_err() && job_folder(&root, "../other").is_err());
        assert!(job_folder(&root, "inside").is_ok() && job_folder(&root, HERE).is_ok());
    }
}
