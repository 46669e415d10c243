//! The sessions below a folder.

use crate::ingest::manifest::MANIFEST_FILE;
use std::fs;
use std::path::{Path, PathBuf};

/// A session lies at most so many folders below the one that is named.
pub const DEPTH: usize = 3;
/// Most folders that are looked into: a disk given by mistake is not walked through.
const MOST_FOLDERS: usize = 20_000;

/// What lies below a folder.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SessionsFound {
    /// Session folders, by path.
    pub sessions: Vec<PathBuf>,
    /// Links that leave the folder; not followed.
    pub links_out: Vec<PathBuf>,
    /// Folders that could not be read, with what the system said.
    pub unread: Vec<(PathBuf, String)>,
    /// Whether the walk ended early because there were too many folders.
    pub cut_short: bool,
}

/// Whether a folder is a session.
pub fn is_session(folder: &Path) -> bool {
    folder.join(MANIFEST_FILE).is_file()
}

/// Sessions in `root` and up to [`DEPTH`] folders below. A session is not looked into; hidden
/// folders are passed over; a link counts as what it leads to only where that lies inside `root`.
pub fn find_sessions(root: &Path) -> SessionsFound {
    let mut found = SessionsFound::default();
    let Ok(real_root) = root.canonicalize() else {
        found.unread.push((root.to_owned(), "not there".into()));
        return found;
    };
    let mut seen = vec![real_root.clone()];
    let mut left = vec![(root.to_owned(), 0)];
    let mut n_folders = 0;
    while let Some((folder, depth)) = left.pop() {
        n_folders += 1;
        if n_folders > MOST_FOLDERS {
            found.cut_short = true;
            break;
        }
        if is_session(&folder) {
            found.sessions.push(folder);
            continue;
        }
        if depth == DEPTH {
            continue;
        }
        match fs::read_dir(&folder) {
            Err(error) => found.unread.push((folder, error.to_string())),
            Ok(entries) => {
                for entry in entries.flatten() {
                    let (path, name) = (entry.path(), entry.file_name());
                    if name.to_string_lossy().starts_with('.') || !path.is_dir() {
                        continue;
                    }
                    let Ok(real) = path.canonicalize() else { continue };
                    if !real.starts_with(&real_root) {
                        found.links_out.push(path);
                        continue;
                    }
                    // A link to a folder inside is walked once.
                    if entry.file_type().is_ok_and(|t| t.is_symlink()) {
                        if seen.contains(&real) {
                            continue;
                        }
                        seen.push(real);
                    }
                    left.push((path, depth + 1));
                }
            }
        }
    }
    one_path_each(&mut found.sessions);
    found.links_out.sort();
    found
}

/// A session that is reached directly and through a link counts once, by its own path.
fn one_path_each(sessions: &mut Vec<PathBuf>) {
    let real = |p: &PathBuf| p.canonicalize().unwrap_or_else(|_| p.clone());
    sessions.sort_by_cached_key(|p| (real(p), p.is_symlink(), p.clone()));
    sessions.dedup_by(|b, a| real(a) == real(b));
    sessions.sort();
}

#[cfg(test)]
mod tests {
    use super::*;

    fn session(folder: PathBuf) {
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join(MANIFEST_FILE), "").unwrap();
    }

    #[test]
    fn sessions_are_found_three_folders_down_and_no_further() {
        let dir = tempfile::tempdir().unwrap();
        let at = |p: &str| dir.path().join(p);
        for path in ["a", "2026/b", "2026/spring/c", "2026/spring/late/d", ".hidden/e", "a/inside"]
        {
            session(at(path));
        }
        let found = find_sessions(dir.path());
        assert_eq!(found.sessions, [at("2026/b"), at("2026/spring/c"), at("a")]);
        assert!(!found.cut_short && found.links_out.is_empty());
        assert_eq!(find_sessions(&at("a")).sessions, [at("a")]);
    }

    #[cfg(unix)]
    #[test]
    fn links_out_are_refused_and_links_inside_count_once() {
        use std::os::unix::fs::symlink;
        let (dir, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        session(dir.path().join("a"));
        session(other.path().join("b"));
        symlink(other.path(), dir.path().join("away")).unwrap();
        symlink(dir.path().join("a"), dir.path().join("again")).unwrap();
        symlink(dir.path(), dir.path().join("round")).unwrap();
        let found = find_sessions(dir.path());
        assert_eq!(found.sessions, [dir.path().join("a")]);
        assert_eq!(found.links_out, [dir.path().join("away")]);
    }
}
